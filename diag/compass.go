package diag

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
	"sync"
)

// The compass chooses the next step where the job is too large to be planned to its end:
// two steps are looked ahead, and what lies beyond is estimated as the cost of one who
// knows the faults; plus the questions without which the work is not open; plus a price
// for every bit of doubt that is left (the idea of the entropy heuristic of Warnquist
// and Nyberg), which for each two kinds of work is what the best question left asks for
// a bit about them; plus what no question left can resolve. A doubt never costs more
// than trying the likelier work first.
type compass struct {
	pr      *prospect
	known   []float64 // set: of one who knows the faults, without set-ups
	again   []float64 // set: chance that the proof shows it, if work leaves it
	after   []float64 // set: what it then costs one who knows the faults
	group   []int     // sets that want the same work
	works   []uint64  // group: work it wants, bit i for mends[i]
	setup   []uint32  // group: set-ups of that work
	weighty int       // groups that weigh at the start; the others come first with work
	need    [][]int   // mend: questions one of which must have been asked; nil: none
	barred  []bool    // mend: not open whatever is asked
	base    float64   // of going on at all
	proof   float64
	redo    float64
	spared  float64 // of the proof, where it fails
	miss    float64
	p       [][][]float64 // question, answer, set
	asking  []float64     // question: its price, with half of each set-up that is not in place
	dearest float64       // price of a bit that no question left gives
	wrong   []wrong       // two groups
	shared  []float64     // two weighty groups: what they share of all that could be seen
	apart   [][]float64   // question, two weighty groups: by what they share more without it
	price   [][]float64   // question, two weighty groups: of a bit about them
	first   []firstPrices // two weighty groups
	index   map[uint64]int
	jobs    map[uint64]*errand
	errands []*errand // group: its work
	floor   []float64 // set: no estimate and no work from it costs less
	likely  []int     // questions to plan with, in the order in which to look at them
	pair    [2]*scout
}

// Two groups are numbered as the cells below the diagonal of a table, row by row.
func twoGroups(i, j int) int { return i*(i-1)/2 + j }

// wrong is what it costs to do one group's work where another's is due.
type wrong struct{ first, second float64 }

// firstPrices are the questions that give a bit about two groups for the least.
type firstPrices struct {
	price [3]float64
	q     [3]uint8
}

const noQuestion = 63

func (f *firstPrices) put(price float64, q int) {
	for n := range f.price {
		if price < f.price[n] {
			copy(f.price[n+1:], f.price[n:])
			copy(f.q[n+1:], f.q[n:])
			f.price[n], f.q[n] = price, uint8(q)
			return
		}
	}
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
	w, n := pr.c.w, len(pr.sets)
	c := &compass{pr: pr, need: need, barred: barred, base: pr.money(w.onPrice, 0), proof: pr.money(w.proof, 0),
		redo: pr.money(w.redo, 0), spared: pr.money(w.proof-w.proofFails, 0), miss: w.proofMiss, dearest: pr.money(w.comeback, 0), index: map[uint64]int{}}
	all := make([]float64, 4*n)
	c.known, c.again, c.after, c.floor = all[:n:n], all[n:2*n:2*n], all[2*n:3*n:3*n], all[3*n:]
	c.group = make([]int, n)
	groups := map[uint64]int{}
	for i := range pr.sets {
		c.index[pr.sets[i].mask] = i
		var work uint64
		cost, barredWork, quiet := 0.0, false, 1.0 // without set-ups
		for m := pr.sets[i].mask; m != 0; m &= m - 1 {
			f := bits.TrailingZeros64(m)
			quiet *= 1 - pr.faults[f].shows
			if pr.faults[f].shows < worthMending {
				continue
			}
			// With a fault goes what has made it.
			for all := (1<<f | pr.faults[f].makers) & pr.sets[i].mask; all != 0; all &= all - 1 {
				if by := pr.faults[bits.TrailingZeros64(all)].by; work>>by&1 == 0 {
					work |= 1 << by
					cost += pr.bare(by)
					barredWork = barredWork || barred[by]
				}
			}
		}
		for m := work; m != 0; m &= m - 1 { // what a new sensor ends wants no work of its own
			for _, f := range pr.mends[bits.TrailingZeros64(m)].ends {
				if by := pr.faults[f].by; by != bits.TrailingZeros64(m) && work>>by&1 == 1 {
					work &^= 1 << by
					cost -= pr.bare(by)
				}
			}
		}
		g, ok := groups[work]
		if !ok {
			g = len(groups)
			groups[work] = g
			c.works = append(c.works, work)
			c.setup = append(c.setup, pr.setupOf(work))
		}
		setup := pr.setupCost(c.setup[g])
		c.group[i] = g
		if pr.sets[i].p > 0 {
			c.weighty = max(c.weighty, g+1)
		}
		c.known[i] = cost + c.proof + c.base
		if barredWork { // no test that is left would open it
			c.known[i] += c.dearest
		}
		loss := 0.0 // of handing over with these faults
		if work != 0 {
			loss = c.dearest + cost + setup + c.proof
		}
		shows := 1 - quiet
		c.again[i] = shows * (1 - c.miss)
		c.after[i] = shows * ((1-c.miss)*(c.redo-c.spared+c.known[i]+setup) + c.miss*loss)
	}
	for q := range pr.problem.Questions {
		qu := &pr.problem.Questions[q]
		var rows [][]float64
		for _, o := range qu.Outcomes {
			rows = append(rows, o.P)
		}
		c.p = append(c.p, rows)
		c.asking = append(c.asking, pr.asking(qu.Cost, qu.Setup))
		if c.told(q) {
			c.likely = append(c.likely, q)
		}
	}
	c.lay()
	return c
}

// lay finds the floor. Work and estimate are, but for terms that are never negative,
// sums over the sets, so the least of them at each set bounds them from below.
func (c *compass) lay() {
	copy(c.floor, c.known)
	c.jobs = map[uint64]*errand{0: c.errandOf(0)}
	for _, work := range c.works {
		if c.jobs[work] == nil {
			c.jobs[work] = c.errandOf(work)
		}
		c.errands = append(c.errands, c.jobs[work])
	}
	for _, t := range c.jobs {
		for i, x := range t.least {
			c.floor[i] = min(c.floor[i], x)
		}
	}
}

// errand is work with its proof.
type errand struct {
	work   uint64
	setup  uint32
	barred bool
	needs  []uint64  // questions; of each one must have been asked
	least  []float64 // set: what it costs without set-ups, and after it one who knows the faults
	left   []int16   // set: what it leaves of it, -1: nothing
}

func (c *compass) errandOf(work uint64) *errand {
	pr, n := c.pr, len(c.group)
	t := &errand{work: work, setup: pr.setupOf(work), least: make([]float64, n), left: make([]int16, n)}
	cost := c.proof
	var mended uint64
	for m := work; m != 0; m &= m - 1 {
		k := bits.TrailingZeros64(m)
		cost += pr.bare(k)
		for _, f := range pr.mends[k].ends {
			mended |= 1 << f
		}
		t.barred = t.barred || c.barred[k]
		if len(c.need[k]) > 0 {
			var need uint64
			for _, q := range c.need[k] {
				need |= 1 << q
			}
			t.needs = append(t.needs, need)
		}
	}
	for i := range pr.sets {
		mask := pr.sets[i].mask
		if pr.sets[i].p == 0 {
			break // comes only after work, and what follows then is only estimated
		}
		rest := mask &^ mended
		// What is new has its fault again where a maker of it is left.
		for m := mask & mended; m != 0; m &= m - 1 {
			f := bits.TrailingZeros64(m)
			if pr.faults[f].makers&rest != 0 {
				rest |= 1 << f
			}
		}
		t.left[i], t.least[i] = -1, cost
		if rest != 0 {
			t.left[i] = int16(i)
			if rest != mask {
				if j, ok := c.index[rest]; ok {
					t.left[i] = int16(j)
				}
			}
			t.least[i] += c.after[t.left[i]]
		}
	}
	return t
}

// open tells whether the work may be done once some questions have been asked.
func (t *errand) open(asked uint64) bool {
	return !t.barred && !slices.ContainsFunc(t.needs, func(need uint64) bool { return need&asked == 0 })
}

// compare prepares what the price of doubt needs: how alike the answers of the groups
// are, and what it costs to do one group's work where another's is due.
func (c *compass) compare() {
	n, belief := c.weighty, c.pr.belief()
	mass := make([]float64, n)
	for i, x := range belief {
		mass[c.group[i]] += x
	}
	all := twoGroups(n, 0)
	c.shared, c.first = make([]float64, all), make([]firstPrices, all)
	for k := range c.shared {
		c.shared[k] = 1
	}
	root := make([]float64, n)
	slab := make([]float64, 2*all*len(c.p))
	for q, rows := range c.p {
		o, price := slab[:all:all], slab[all:2*all:2*all]
		slab = slab[2*all:]
		c.apart, c.price = append(c.apart, o), append(c.price, price)
		if !c.told(q) {
			continue
		}
		// The overlap (Bhattacharyya coefficient) of the answers of two groups. A question
		// gives about as much of a bit about them as their answers do not overlap.
		for _, row := range rows {
			clear(root)
			for i, x := range belief {
				root[c.group[i]] += x / mass[c.group[i]] * row[i]
			}
			for i := range root {
				root[i] = math.Sqrt(root[i])
				below := o[twoGroups(i, 0):twoGroups(i+1, 0)]
				for j, y := range root[:i] {
					below[j] += root[i] * y
				}
			}
		}
		for k, x := range o {
			c.shared[k] *= x
			o[k] = 1 / x
			price[k] = c.asking[q] / max(1-x, 1e-3)
		}
	}
	for k := range c.first {
		f := &c.first[k]
		for n := range f.price {
			f.price[n], f.q[n] = c.dearest, noQuestion
		}
		for q, price := range c.price {
			if c.told(q) {
				f.put(price[k], q)
			}
		}
	}
	c.wrong = make([]wrong, 0, twoGroups(len(c.works), 0))
	for i, a := range c.works {
		for _, b := range c.works[:i] {
			c.wrong = append(c.wrong, wrong{c.wrongly(a, b), c.wrongly(b, a)})
		}
	}
}

// wrongly is what it costs to do other work than that which is due.
func (c *compass) wrongly(due, done uint64) float64 {
	cost := 0.0
	for m := done &^ due; m != 0; m &= m - 1 {
		cost += c.pr.bare(bits.TrailingZeros64(m))
	}
	if due&^done != 0 {
		cost += (1-c.miss)*(c.redo-c.spared+c.proof) + c.miss*c.dearest
	}
	return cost
}

// outlook is what the questions that are left can still do.
type outlook struct {
	asked uint64
	least float64   // price of a bit about groups that no answer lets overlap
	pairs []doubt   // two weighty groups
	gate  []float64 // group: what must be paid before its work is open
}

// doubt is what telling two groups apart takes.
type doubt struct {
	rate   float64 // price of a bit
	shared float64 // what they share of all that could be seen: the product of the overlaps
}

func (c *compass) look(asked uint64) *outlook {
	o := &outlook{asked: asked, least: c.dearest, pairs: make([]doubt, len(c.shared)), gate: c.gate(asked)}
	var left uint64
	for q, price := range c.asking {
		if asked>>q&1 == 0 && c.told(q) {
			left |= 1 << q
			o.least = min(o.least, price)
		}
	}
	for k := range o.pairs {
		o.pairs[k] = doubt{c.rate(k, left), c.shared[k]}
	}
	for m := asked; m != 0; m &= m - 1 {
		if q := bits.TrailingZeros64(m); c.told(q) {
			for k, x := range c.apart[q] {
				o.pairs[k].shared *= x
			}
		}
	}
	return o
}

// rate is the least price of a bit about two groups with the questions that are left.
func (c *compass) rate(k int, left uint64) float64 {
	f := &c.first[k]
	for n, q := range f.q {
		if left>>q&1 == 1 {
			return f.price[n]
		}
	}
	rate := c.dearest
	for m := left; m != 0; m &= m - 1 {
		rate = min(rate, c.price[bits.TrailingZeros64(m)][k])
	}
	return rate
}

// gate is what must still be paid for questions before the work of each group is open.
func (c *compass) gate(asked uint64) []float64 {
	out := make([]float64, len(c.works))
	for k, t := range c.errands {
		have := asked
		for _, need := range t.needs {
			if have&need != 0 {
				continue
			}
			least, at := math.Inf(1), 0
			for m := need; m != 0; m &= m - 1 {
				if q := bits.TrailingZeros64(m); c.asking[q] < least {
					least, at = c.asking[q], q
				}
			}
			have |= 1 << at
			out[k] += least
		}
	}
	return out
}

// scout looks ahead with a compass. Each has memory of its own, so that several can go
// at once.
type scout struct {
	*compass
	outlooks map[uint64]*outlook
	last     *outlook
	g        []float64
	heavy    []weighted
	buf      [2][]float64
	scratch  []float64
}

// weighted is a group with its weight, and its share of the entropy per weight.
type weighted struct {
	group    int
	p, share float64
}

// scouts gives two, always the same: what they have seen serves the next question too. A
// job with an exact plan that ends in a verdict needs none.
func (c *compass) scouts() (one, other *scout) {
	if c.pair[0] == nil {
		c.compare()
		for i := range c.pair {
			n := len(c.works)
			s := &scout{compass: c, outlooks: map[uint64]*outlook{}, g: make([]float64, n), heavy: make([]weighted, 0, n), scratch: make([]float64, len(c.group))}
			for k := range s.buf {
				s.buf[k] = make([]float64, len(c.group))
			}
			c.pair[i] = s
		}
	}
	return c.pair[0], c.pair[1]
}

func (s *scout) outlook(asked uint64) *outlook {
	if s.last == nil || asked != s.last.asked {
		o, ok := s.outlooks[asked]
		if !ok {
			o = s.look(asked)
			s.outlooks[asked] = o
		}
		s.last = o
	}
	return s.last
}

// estimate is what a belief is expected to cost in all, as far as it is not looked
// into: knowing the faults, and the price of the doubt about them. The belief need not
// add up to one. What is above the limit may come out less, but above the limit too.
func (s *scout) estimate(b []float64, at moment, limit float64) float64 {
	known := dot(b, s.known)
	if known > limit {
		return known
	}
	return known + s.doubt(b, at, limit-known)
}

func dot(a, b []float64) float64 {
	sum := 0.0
	b = b[:len(a)]
	for i, x := range a {
		sum += x * b[i]
	}
	return sum
}

// doubt is what a belief costs beyond knowing the faults: the questions without which
// the work is not open, a price for every bit of doubt, and what the part of it costs
// that no question left can resolve.
func (s *scout) doubt(b []float64, at moment, limit float64) float64 {
	clear(s.g)
	mass := 0.0
	for i, x := range b {
		if x != 0 {
			mass += x
			s.g[s.group[i]] += x
		}
	}
	o := s.outlook(at.asked)
	sum := 0.0
	heavy := s.heavy[:0]
	for k, x := range s.g {
		if x != 0 {
			sum += x * (o.gate[k] + s.missing(s.setup[k], at))
			if x > 1e-3*mass {
				heavy = append(heavy, weighted{group: k, p: x})
			}
		}
	}
	if sum > limit {
		return sum
	}
	for n := range heavy {
		a := &heavy[n]
		// Over all pairs these add up to the entropy.
		a.share = a.p / (mass - a.p) * log2(mass/a.p)
		if a.group < s.weighty {
			pairs := o.pairs[twoGroups(a.group, 0):twoGroups(a.group+1, 0)]
			wrong := s.wrong[twoGroups(a.group, 0):twoGroups(a.group+1, 0)]
			for m := range heavy[:n] {
				b := &heavy[m]
				w := min(a.p*wrong[b.group].first, b.p*wrong[b.group].second)
				d := &pairs[b.group]
				sum += min((a.p*b.share+b.p*a.share)*d.rate+w*d.shared, w)
			}
		} else {
			wrong := s.wrong[twoGroups(a.group, 0):twoGroups(a.group+1, 0)]
			for m := range heavy[:n] {
				b := &heavy[m]
				w := min(a.p*wrong[b.group].first, b.p*wrong[b.group].second)
				sum += min((a.p*b.share+b.p*a.share)*o.least, w)
			}
		}
		if sum > limit {
			break
		}
	}
	return sum
}

// logs holds the middles of equal parts of the numbers from one to two: one by the
// middle, and its binary logarithm.
var logs = func() (out [128]struct{ inverse, log float64 }) {
	for i := range out {
		x := 1 + (float64(i)+0.5)/float64(len(out))
		out[i].inverse, out[i].log = 1/x, math.Log2(x)
	}
	return out
}()

// log2 is the binary logarithm of a normal positive number to within 1e-12: the nearest
// in the table and four terms of the series of log(1+r). It takes a third of the time
// of the one of the standard library.
func log2(x float64) float64 {
	b := math.Float64bits(x)
	t := &logs[b>>45&127]
	r := math.Float64frombits(b&(1<<52-1)|1023<<52)*t.inverse - 1
	return float64(int(b>>52)-1023) + t.log + r*(1-r*(1./2-r*(1./3-r/4)))*math.Log2E
}

// do is the expected total of doing work, proving it, and going on where the proof
// fails.
func (s *scout) do(b []float64, t *errand, at moment) float64 {
	return s.doBelow(b, t, at, math.Inf(1))
}

// doBelow is do where that is below the limit, else something above it: what is left
// costs no less than knowing the faults, and mostly that is too much already.
func (s *scout) doBelow(b []float64, t *errand, at moment, limit float64) float64 {
	least := dot(b, t.least)
	if least > limit {
		return least
	}
	if t.setup&^at.place != 0 {
		mass := 0.0
		for _, x := range b {
			mass += x
		}
		if least += mass * s.missing(t.setup, at); least > limit {
			return least
		}
	}
	at.place = math.MaxUint32 // the set-ups of what follows are in what it leaves
	scratch := s.scratch
	clear(scratch)
	for i, x := range b {
		if j := t.left[i]; j >= 0 {
			scratch[j] += x * s.again[j]
		}
	}
	return least + s.doubt(scratch, at, limit-least)
}

// bestWork is the best work to do and prove from a belief: nothing at all, or what
// one of the likeliest sets wants; some of them where none is below the limit.
func (s *scout) bestWork(b []float64, at moment, limit float64) (uint64, float64) {
	best := s.doBelow(b, s.jobs[0], at, limit)
	var work uint64
	// The likeliest groups, by their heaviest set.
	var top [4]int
	var weight [4]float64
	n := 0
	for i, x := range b {
		if x <= weight[len(weight)-1] || s.works[s.group[i]] == 0 {
			continue
		}
		n = min(n+1, len(top))
		j := n - 1
		for ; j > 0 && weight[j-1] < x; j-- {
			top[j], weight[j] = top[j-1], weight[j-1]
		}
		top[j], weight[j] = s.group[i], x
	}
	for k, g := range top[:n] {
		t := s.errands[g]
		if slices.Contains(top[:k], g) || !t.open(at.asked) {
			continue
		}
		if v := s.doBelow(b, t, at, min(best, limit)*(1+rounding)); v < best {
			best, work = v, t.work
		}
	}
	return work, best
}

// cost is the price of a question at a moment, and the moment after it.
func (c *compass) cost(q int, at moment) (float64, moment) {
	qu := &c.pr.problem.Questions[q]
	return qu.Cost + c.missing(qu.Setup, at), moment{at.asked | 1<<q, (at.place | qu.Setup | qu.Leaves) &^ qu.Ends}
}

// missing is what it costs to put in place what is not.
func (c *compass) missing(setup uint32, at moment) float64 {
	if setup &^= at.place; setup == 0 {
		return 0
	}
	return c.pr.setupCost(setup)
}

// ask is the expected total of a question and the best of what is known after it:
// with depth one the answers are settled by work or estimate, with more by further
// questions. Infinity: it is not below the limit.
func (s *scout) ask(b []float64, q int, at moment, depth int, limit float64) float64 {
	cost, next := s.cost(q, at)
	mass, floor := 0.0, 0.0
	for i, x := range b {
		mass += x
		floor += x * s.floor[i]
	}
	total := mass * cost
	bo := s.buf[depth-1][:len(b)]
	for _, row := range s.p[q] {
		if total+floor >= limit {
			return math.Inf(1)
		}
		mass, low := 0.0, 0.0
		for i, x := range b {
			bo[i] = x * row[i]
			mass += bo[i]
			low += bo[i] * s.floor[i]
		}
		floor -= low
		if mass == 0 {
			continue
		}
		spare := limit - total - floor + rounding*limit
		v := s.estimate(bo, next, spare)
		_, work := s.bestWork(bo, next, min(v, spare)*(1+rounding))
		v = min(v, work)
		if depth > 1 && mass > rareAnswer {
			for _, r := range s.likely {
				if next.asked>>r&1 == 0 {
					v = min(v, s.ask(bo, r, next, depth-1, v))
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
func (s *scout) best(b []float64, at moment) move {
	work, v := s.bestWork(b, at, math.Inf(1))
	out := move{-1, work, v}
	for q := range s.p {
		if at.asked>>q&1 == 0 && s.told(q) {
			if v := s.ask(b, q, at, 1, out.total); v < out.total*(1-rounding) {
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
// first. What is not the best of the questions may come out dearer than it is.
func (c *compass) choose(b []float64, at moment) []move {
	one, other := c.scouts()
	work, v := one.bestWork(b, at, math.Inf(1))
	out := []move{{-1, work, v}}
	for q := range c.p {
		if at.asked>>q&1 == 0 && c.told(q) {
			out = append(out, move{q, 0, one.ask(b, q, at, 1, math.Inf(1))})
		}
	}
	sortMoves(out)
	var near []*move
	c.likely = c.likely[:0]
	for i := range out {
		if out[i].ask >= 0 {
			c.likely = append(c.likely, out[i].ask)
			near = append(near, &out[i])
		}
	}
	if near = near[:min(len(near), looked)]; len(near) > 0 {
		var lock sync.Mutex
		best := near[0].total
		sideBySide(len(near), one, other, func(s *scout, i int) {
			lock.Lock()
			limit := best + 10*sameCost // who comes first must not decide between equals
			lock.Unlock()
			v := s.ask(b, near[i].ask, at, 2, limit)
			lock.Lock()
			near[i].total = min(near[i].total, v)
			best = min(best, v)
			lock.Unlock()
		})
	}
	sortMoves(out)
	return out
}

// sameCost is how close two totals may be to count as the same.
const sameCost = 1e-6

// sortMoves puts the cheapest first; of equals what stood first stays first. Two
// questions asked in either order cost the same, but for rounding.
func sortMoves(out []move) {
	slices.SortStableFunc(out, func(a, b move) int { return cmp.Compare(math.Round(a.total/sameCost), math.Round(b.total/sameCost)) })
}
