package diag

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// The compass chooses the next step where the job is too large to be planned to its end:
// two steps are looked ahead, and what lies beyond is estimated as the cost of one who
// knows the faults; plus the questions without which the work is not open; plus a price
// for every bit of doubt that is left (the idea of the entropy heuristic of Warnquist
// and Nyberg), which for each two kinds of work is what the best question left asks for
// a bit about them; plus what no question left can resolve. A doubt never costs more
// than trying the likelier work first.
type compass struct {
	pr       *prospect
	n        int // sets of faults
	known    []float64
	loss     []float64 // of handing over with these faults
	shows    []float64 // chance that they show, on the proof or by a comeback
	group    []int     // sets that want the same work
	groups   int
	work     []uint64 // set: work it wants, bit i for mends[i]
	need     [][]int  // mend: questions one of which must have been asked; nil: none
	barred   []bool   // mend: not open whatever is asked
	base     float64  // of going on at all
	proof    float64
	redo     float64
	miss     float64
	p        [][][]float64 // question, answer, set
	g        []float64
	heavy    []int
	share    []float64
	overlap  [][]float64 // question, two groups
	asking   []float64   // question: its price, with half of each set-up
	dearest  float64     // price of a bit that no question left gives
	outlooks map[uint64]*outlook
	asked    uint64 // of the outlook that was used last
	last     *outlook
	wrong    []float64 // group that is there, group whose work is done
	index    map[uint64]int
	setupC   []float64
	jobs     map[uint64]*errand
	floor    []float64 // set: no estimate and no work from it costs less
	buf      [2][]float64
	scratch  []float64
}

// worthMending is the chance of a fault to be what the job is about at which it is
// mended with it. Others are told of, not mended.
const worthMending = 0.35

// moment is where the work stands.
type moment struct {
	asked uint64
	place uint32 // set-ups in place
}

// move is a step with its expected total.
type move struct {
	ask   int    // question; -1: work
	work  uint64 // to do and prove; zero: clear and prove
	total float64
}

func newCompass(pr *prospect, need [][]int, barred []bool) *compass {
	w := pr.c.w
	c := &compass{pr: pr, n: len(pr.sets), need: need, barred: barred, base: pr.money(w.onPrice, 0), proof: pr.money(w.proof, 0),
		redo: pr.money(w.redo, 0), miss: w.proofMiss, index: map[uint64]int{}}
	groups := map[uint64]int{}
	for i := range pr.sets {
		c.index[pr.sets[i].mask] = i
		var work uint64
		cost := 0.0
		for m := pr.sets[i].mask; m != 0; m &= m - 1 {
			f := bits.TrailingZeros64(m)
			if pr.faults[f].shows < worthMending {
				continue
			}
			// With a fault goes what has made it.
			for all := (1<<f | pr.makers(f)) & pr.sets[i].mask; all != 0; all &= all - 1 {
				if by := pr.faults[bits.TrailingZeros64(all)].by; work>>by&1 == 0 {
					work |= 1 << by
					cost += pr.mends[by].cost
				}
			}
		}
		g, ok := groups[work]
		if !ok {
			g = len(groups)
			groups[work] = g
		}
		c.work = append(c.work, work)
		c.group = append(c.group, g)
		known := cost + c.proof
		for m := work; m != 0; m &= m - 1 {
			if barred[bits.TrailingZeros64(m)] { // no test that is left would open it
				known = cost + c.proof + pr.money(w.comeback, 0)
			}
		}
		c.known = append(c.known, known)
		l := 0.0
		if work != 0 {
			l = pr.money(w.comeback, 0) + cost + c.proof
		}
		c.loss = append(c.loss, l)
		quiet := 1.0
		for m := pr.sets[i].mask; m != 0; m &= m - 1 {
			quiet *= 1 - pr.faults[bits.TrailingZeros64(m)].shows
		}
		c.shows = append(c.shows, 1-quiet)
	}
	c.groups = len(groups)
	for q := range pr.problem.Questions {
		var rows [][]float64
		for _, o := range pr.problem.Questions[q].Outcomes {
			rows = append(rows, o.P)
		}
		c.p = append(c.p, rows)
	}
	for _, s := range pr.problem.Setups {
		c.setupC = append(c.setupC, s.Cost)
	}
	for i := range c.buf {
		c.buf[i] = make([]float64, c.n)
	}
	c.scratch = make([]float64, c.n)
	c.compare(pr.belief())
	c.lay(groups)
	return c
}

// lay finds the floor. Work and estimate are, but for terms that are never negative,
// sums over the sets, so the least of them at each set bounds them from below.
func (c *compass) lay(works map[uint64]int) {
	c.floor = make([]float64, c.n)
	for i := range c.floor {
		c.floor[i] = c.known[i] + c.base
	}
	c.jobs = map[uint64]*errand{}
	works[0] = 0
	for work := range works {
		t := c.errandOf(work)
		c.jobs[work] = t
		for i, j := range t.left {
			x := t.cost
			if j >= 0 {
				x += c.shows[j] * ((1-c.miss)*(c.redo+c.known[j]+c.base) + c.miss*c.loss[j])
			}
			c.floor[i] = min(c.floor[i], x)
		}
	}
}

// errand is work with its proof.
type errand struct {
	cost float64
	left []int // set: what it leaves of it, -1: nothing
}

func (c *compass) errandOf(work uint64) *errand {
	pr := c.pr
	t := &errand{cost: c.proof}
	var mended uint64
	for m := work; m != 0; m &= m - 1 {
		md := &pr.mends[bits.TrailingZeros64(m)]
		t.cost += md.cost
		for _, f := range md.faults {
			mended |= 1 << f
		}
	}
	for i := range pr.sets {
		mask := pr.sets[i].mask
		rest := mask &^ mended
		// A new sensor whose maker is left has its fault again.
		for m := mask & mended; m != 0; m &= m - 1 {
			f := bits.TrailingZeros64(m)
			if pr.faults[f].sensor >= 0 && pr.makers(f)&rest != 0 {
				rest |= 1 << f
			}
		}
		left := -1
		if rest != 0 {
			left = i
			if j, ok := c.index[rest]; ok {
				left = j
			}
		}
		t.left = append(t.left, left)
	}
	return t
}

// estimate is what a belief is expected to cost in all, as far as it is not looked
// into: knowing the faults, a price for the doubt, and what the part of the doubt
// costs that no question left can resolve. The belief need not add up to one. What is
// above the limit may come out less, but above the limit too.
func (c *compass) estimate(b []float64, at moment, limit float64) float64 {
	g := c.g
	clear(g)
	mass, known := 0.0, 0.0
	for i, x := range b {
		if x != 0 {
			mass += x
			known += x * c.known[i]
			g[c.group[i]] += x
		}
	}
	if mass == 0 {
		return 0
	}
	o := c.outlook(at.asked)
	for k, x := range g {
		if x != 0 {
			known += x * o.gate[k]
		}
	}
	least := known + mass*c.base
	if least > limit {
		return least
	}
	heavy := c.heavy[:0]
	for k, x := range g {
		if x > 1e-3*mass {
			heavy = append(heavy, k)
			c.share[k] = x / (mass - x) * math.Log2(mass/x)
		}
	}
	doubt := 0.0
	slight := 1e-5 * least // a doubt this small is not looked into
	for n, i := range heavy {
		if least+doubt > limit {
			break
		}
		for _, j := range heavy[:n] {
			k := i*c.groups + j
			w := min(g[i]*c.wrong[k], g[j]*c.wrong[j*c.groups+i])
			if w <= slight {
				doubt += w
				continue
			}
			a := c.alike(o, i, j)
			// Its share of the entropy: over all pairs these add up to it.
			e := g[i]*c.share[j] + g[j]*c.share[i]
			doubt += min(e*o.rate[k]+a*w, w)
		}
	}
	return least + doubt
}

// gate is what must still be paid for questions before the work of each group is open.
func (c *compass) gate(asked uint64) []float64 {
	out := make([]float64, c.groups)
	done := make([]bool, c.groups)
	for i, k := range c.group {
		if done[k] {
			continue
		}
		done[k] = true
		var paid uint64
		for m := c.work[i]; m != 0; m &= m - 1 {
			need := c.need[bits.TrailingZeros64(m)]
			least, at := math.Inf(1), 0
			for _, q := range need {
				if (asked|paid)>>q&1 == 1 {
					least = 0
					break
				}
				if c.asking[q] < least {
					least, at = c.asking[q], q
				}
			}
			if len(need) > 0 && least > 0 {
				paid |= 1 << at
				out[k] += least
			}
		}
	}
	return out
}

// outlook is what the questions that are left can still do.
type outlook struct {
	asked uint64
	alike []float64 // two groups: what they share of what could be seen; zero is not yet known
	rate  []float64 // two groups: price of a bit about them
	gate  []float64 // group: what must be paid before its work is open
}

func (c *compass) outlook(asked uint64) *outlook {
	if c.last == nil || asked != c.asked {
		o, ok := c.outlooks[asked]
		if !ok {
			n := c.groups * c.groups
			both := make([]float64, 2*n)
			o = &outlook{asked, both[:n], both[n:], c.gate(asked)}
			c.outlooks[asked] = o
		}
		c.asked, c.last = asked, o
	}
	return c.last
}

// alike tells how much of what could be seen two groups share once some questions are
// asked: the product of the overlaps (Bhattacharyya coefficients) of the answers that
// are left. With it goes the price of a bit: a question gives about as much of one as
// the answers do not overlap.
func (c *compass) alike(o *outlook, i, j int) float64 {
	at := i*c.groups + j
	if o.alike[at] == 0 {
		x, rate := 1.0, c.dearest
		for q := range c.p {
			if o.asked>>q&1 == 0 && c.told(q) {
				shared := c.overlap[q][at]
				x *= shared
				rate = min(rate, c.asking[q]/max(1-shared, 1e-3))
			}
		}
		o.rate[at] = rate
		o.alike[at] = max(x, math.SmallestNonzeroFloat64)
	}
	return o.alike[at]
}

// compare prepares what estimate needs: how alike the answers of the groups are, and
// what it costs to do one group's work where another's is due.
func (c *compass) compare(belief []float64) {
	pr, n := c.pr, c.groups
	c.g, c.share, c.heavy = make([]float64, n), make([]float64, n), make([]int, 0, n)
	c.outlooks, c.dearest = map[uint64]*outlook{}, pr.money(pr.c.w.comeback, 0)
	for q := range pr.problem.Questions {
		qu := &pr.problem.Questions[q]
		x := qu.Cost
		for m := qu.Setup; m != 0; m &= m - 1 {
			x += pr.problem.Setups[bits.TrailingZeros32(m)].Cost / 2
		}
		c.asking = append(c.asking, x)
	}
	mass := make([]float64, n)
	works := make([]uint64, n)
	for i, x := range belief {
		mass[c.group[i]] += x
		works[c.group[i]] = c.work[i]
	}
	for _, rows := range c.p {
		o := make([]float64, n*n)
		for _, row := range rows {
			root := make([]float64, n)
			for i, x := range belief {
				if m := mass[c.group[i]]; m > 0 {
					root[c.group[i]] += x / m * row[i]
				}
			}
			for k := range root {
				root[k] = math.Sqrt(root[k])
			}
			for i, x := range root {
				if x == 0 {
					continue
				}
				for j, y := range root[:i] { // alike asks for no others
					o[i*n+j] += x * y
				}
			}
		}
		c.overlap = append(c.overlap, o)
	}
	c.wrong = make([]float64, n*n)
	for i := range n {
		for j := range n {
			cost := 0.0
			for m := works[j] &^ works[i]; m != 0; m &= m - 1 {
				cost += pr.mends[bits.TrailingZeros64(m)].cost
			}
			if works[i]&^works[j] != 0 {
				cost += (1-c.miss)*(c.redo+c.proof) + c.miss*pr.money(pr.c.w.comeback, 0)
			}
			c.wrong[i*n+j] = cost
		}
	}
}

// open tells whether a piece of work may be done yet.
func (c *compass) open(m int, at moment) bool {
	if c.barred[m] {
		return false
	}
	if len(c.need[m]) == 0 {
		return true
	}
	for _, q := range c.need[m] {
		if at.asked>>q&1 == 1 {
			return true
		}
	}
	return false
}

// do is the expected total of doing work, proving it, and going on where the proof
// fails.
func (c *compass) do(b []float64, work uint64, at moment) float64 {
	return c.doBelow(b, work, at, math.Inf(1))
}

// doBelow is do where that is below the limit, else something above it: what is left
// costs no less than knowing the faults, and mostly that is too much already.
func (c *compass) doBelow(b []float64, work uint64, at moment, limit float64) float64 {
	t := c.jobs[work]
	scratch := c.scratch
	clear(scratch)
	mass, failed, lost, known := 0.0, 0.0, 0.0, 0.0
	for i, x := range b {
		if x == 0 {
			continue
		}
		mass += x
		j := t.left[i]
		if j < 0 {
			continue
		}
		x *= c.shows[j]
		scratch[j] += x * (1 - c.miss)
		failed += x * (1 - c.miss)
		known += x * (1 - c.miss) * (c.known[j] + c.base)
		lost += x * c.miss * c.loss[j]
	}
	total := mass*t.cost + lost
	if least := total + failed*c.redo + known; least > limit {
		return least
	}
	if failed > 0 {
		total += failed*c.redo + c.estimate(scratch, at, limit-total-failed*c.redo)
	}
	return total
}

// bestWork is the best work to do and prove from a belief: nothing at all, or what
// one of the likeliest sets wants; some of them where none is below the limit.
func (c *compass) bestWork(b []float64, at moment, limit float64) (uint64, float64) {
	best := c.doBelow(b, 0, at, limit)
	var work uint64
	// The likeliest groups, by their heaviest set.
	var top [4]int
	var weight [4]float64
	n := 0
	for i, x := range b {
		if x <= 0 || c.work[i] == 0 {
			continue
		}
		j := n
		for j > 0 && weight[j-1] < x {
			if j < len(top) {
				top[j], weight[j] = top[j-1], weight[j-1]
			}
			j--
		}
		if j < len(top) {
			top[j], weight[j] = i, x
			n = min(n+1, len(top))
		}
	}
	tried := [5]uint64{}
	for k := range n {
		w := c.work[top[k]]
		ok := true
		for _, o := range tried[:k] {
			ok = ok && o != w
		}
		tried[k] = w
		for m := w; m != 0 && ok; m &= m - 1 {
			ok = c.open(bits.TrailingZeros64(m), at)
		}
		if !ok {
			continue
		}
		if v := c.doBelow(b, w, at, min(best, limit)*(1+rounding)); v < best {
			best, work = v, w
		}
	}
	return work, best
}

// cost is the price of a question at a moment, and the moment after it.
func (c *compass) cost(q int, at moment) (float64, moment) {
	qu := &c.pr.problem.Questions[q]
	x := qu.Cost
	for m := qu.Setup &^ at.place; m != 0; m &= m - 1 {
		x += c.setupC[bits.TrailingZeros32(m)]
	}
	return x, moment{at.asked | 1<<q, (at.place | qu.Setup) &^ qu.Ends}
}

// ask is the expected total of a question and the best of what is known after it:
// with depth one the answers are settled by work or estimate, with more by further
// questions. Infinity: it is not below the limit.
func (c *compass) ask(b []float64, q int, at moment, depth int, limit float64) float64 {
	cost, next := c.cost(q, at)
	mass, floor := 0.0, 0.0
	for i, x := range b {
		mass += x
		floor += x * c.floor[i]
	}
	total := mass * cost
	bo := c.buf[depth-1]
	for _, row := range c.p[q] {
		if total+floor >= limit {
			return math.Inf(1)
		}
		mass, low := 0.0, 0.0
		for i, x := range b {
			bo[i] = x * row[i]
			mass += bo[i]
			low += bo[i] * c.floor[i]
		}
		floor -= low
		if mass == 0 {
			continue
		}
		spare := limit - total - floor + rounding*limit
		v := c.estimate(bo, next, spare)
		_, work := c.bestWork(bo, next, min(v, spare)*(1+rounding))
		v = min(v, work)
		if depth > 1 && mass > rareAnswer {
			for r := range c.p {
				if next.asked>>r&1 == 0 && c.told(r) {
					v = min(v, c.ask(bo, r, next, depth-1, v))
				}
			}
		}
		if v > spare {
			return math.Inf(1)
		}
		total += v
	}
	return total
}

// rounding is far more than sums may be off by: what is left aside for being above a
// limit is so for certain.
const rounding = 1e-9

// rareAnswer is the probability of an answer below which no question after it is
// looked at.
const rareAnswer = 5e-3

// best is the best step from a belief, looking one question ahead.
func (c *compass) best(b []float64, at moment) move {
	work, v := c.bestWork(b, at, math.Inf(1))
	out := move{-1, work, v}
	for q := range c.p {
		if at.asked>>q&1 == 0 && c.told(q) {
			if v := c.ask(b, q, at, 1, out.total); v < out.total {
				out = move{q, 0, v}
			}
		}
	}
	return out
}

// told tells whether a question is one to plan with: the proof is not, it comes with
// the work.
func (c *compass) told(q int) bool { return q != c.pr.proof }

// looked is how many of the questions that look best one step ahead are looked at
// two steps ahead.
const looked = 4

// choose ranks what could be done from a belief, looking two questions ahead, best
// first.
func (c *compass) choose(b []float64, at moment) []move {
	work, v := c.bestWork(b, at, math.Inf(1))
	out := []move{{-1, work, v}}
	for q := range c.p {
		if at.asked>>q&1 == 0 && c.told(q) {
			out = append(out, move{q, 0, c.ask(b, q, at, 1, math.Inf(1))})
		}
	}
	sortMoves(out)
	n := 0
	for i := range out {
		if out[i].ask >= 0 && n < looked {
			out[i].total = c.ask(b, out[i].ask, at, 2, math.Inf(1))
			n++
		}
	}
	sortMoves(out)
	return out
}

// sortMoves puts the cheapest first; of equals what stood first stays first.
func sortMoves(out []move) {
	slices.SortStableFunc(out, func(a, b move) int { return cmp.Compare(a.total, b.total) })
}
