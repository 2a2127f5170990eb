package diag

import (
	"math"
	"math/bits"
	"slices"
)

// An upper bound on the weight of every set that adds causes to a context.
//
// What a further cause can gain is bounded cause by cause. A finding that any of
// several causes can bring about (noisy-or) is log-submodular in the set of causes:
// what two gain together is at most the product of what each gains alone. A finding
// that a test came out clean is a plain product. So the sum over all sets to be
// added is at most a product of one plus odds times gain. Nor can all of them together
// gain more from a finding than it lacks: where many could each explain a code, the sets of
// several are bounded by what explaining it once is worth. Trims, lambda and summed
// shifts are not of that kind: causes that move them are bounded by how far one, or
// several together, can reach. The same holds for causes that move what is known of
// a sensor that acts on them.
type bounds struct {
	c           *calc
	touch       []uint64    // sensor: places that touch it
	clean       []float64   // unit: what it costs in findings that came out clean
	plus        [][]plus    // unit: findings it can bring about
	signs       []sign      // those findings
	miss, lik   []float64   // sign: chance that the context leaves it out; how likely it is then
	reacher     []bool      // place: moves trims, lambda or a summed shift
	spans       []span      // bank*allStates+state, for the candidates at hand
	wanted      []int       // the bank*allStates+state that are read or mixed into a lambda
	amounts     int         // those that are bounded
	pull        [][]pulled  // place: where it pulls
	shift       []reachPair // place, amount: how far it can shift that
	one, all    tables      // with one candidate that reaches, or with any
	cells       []cellPull  // unit, cell
	base        []cellBase  // cell, under the context
	apart       []float64   // amount: its likelihood under the context
	list        []cand
	order       []rank
	classes     [][]float64 // memory for those of the sensors with a candidate added
	may         [][]float64
	floats      []float64
	masks       []uint64
	places      []int8
	children    [][]offspring // place
	frontOf     []int         // sensor: the front sensor whose factor it is in, as a number among them; -1: the shared rear sensor
	acts        []uint8       // place: fronts whose trims it moves
	shifts      []bool        // place: moves a summed shift
	frontOfCell []int
	movers      []mover
	floor       float64 // log of a weight that is not looked into
	apiece      chain   // with what each gains
	together    chain   // with what several gain once
}

// pulled is how far the units of a place pull the lie and the total of a bank in one
// state.
type pulled struct {
	at         int // bank*allStates+state
	lie, total reachPair
}

// cellPull is what a unit does to the bank and state of a cell.
type cellPull struct {
	need, lie, needVar, lieVar float64
	any                        bool
}

// cellBase is where a context puts a cell with all sensors honest, and the likelihood
// of its trims there.
type cellBase struct{ mean, variance, lik float64 }

// rank is a candidate's place in the order of what it may hold.
type rank struct {
	worth float64
	at    int32
}

// plus is a finding a unit can bring about.
type plus struct {
	sign int
	q    float64
}

// sign is a code, a remark or a look that causes can bring about; or a sensor that nothing
// couples, which causes that touch it can explain.
type sign struct {
	kind    signKind
	channel int // or sensor
	slot    int
	power   float64
	places  uint64 // that can
}

type signKind int8

const (
	remarkSign signKind = iota
	codeSign
	lookSign
	sensorSign
)

// likelihood is that of a sign where it is left out with a chance of miss.
func (s *sign) likelihood(miss float64) float64 {
	switch s.kind {
	case codeSign:
		return tempered(miss, s.power)
	case lookSign:
		return power(1-miss, s.power)
	}
	return 1 - miss
}

// span is how far the candidates can pull the lies and the totals of a bank in one
// state: one of them, or all.
type span struct{ lieOne, lieAll, totOne, totAll reachPair }

type reachPair struct{ lo, hi float64 }

func (r *reachPair) one(x float64) { r.lo, r.hi = min(r.lo, x), max(r.hi, x) }
func (r *reachPair) add(lo, hi float64) {
	r.lo += lo
	r.hi += hi
}

// subtree is all sets above one node, sorted by what their first further cause can
// gain.
type subtree struct {
	node   int32
	index  int32
	log    float64   // of everything common
	cands  []int8    // places, the most promising first
	ub     []float64 // position: all sets whose first further place is here or later, against log
	own    []float64 // position: the set with this place alone added
	above  []float64 // position: the sets with this place and later ones added
	most   []float64 // position: the heaviest set with one place from here on added
	mayAll []uint64  // position: mask of the places from here on
}

// lg is the logarithm of a weight above the node.
func (t *subtree) lg(x float64) float64 { return t.log + math.Log(max(x, 1e-300)) }

// cand is a place that may be added.
type cand struct {
	place   int8
	reaches bool    // moves trims, lambda or a summed shift
	touches bool    // moves what is known of a coupled sensor
	og      float64 // odds times gain
	may     float64 // the same if all that can make it were there
	odds    float64 // then, without gain
	capped  float64 // then, without the gain from what is counted once for all of a set
	j       float64 // the sensors' part with it alone
}

func newBounds(c *calc) *bounds {
	w := c.w
	b := &bounds{c: c, clean: make([]float64, len(w.units)), plus: make([][]plus, len(w.units)), reacher: make([]bool, len(w.places)),
		spans: make([]span, w.nb*allStates), children: make([][]offspring, len(w.places)), base: make([]cellBase, len(c.cells)), amounts: min(len(c.amounts), 8)}
	c.sizeJoint()
	b.one, b.all = c.newTables(), c.newTables()
	for at := range w.nb * allStates {
		if len(c.ev.trims[at/allStates][at%allStates]) > 0 || slices.ContainsFunc(c.lambdas, func(l lambdaChannel) bool { return l.state == at%allStates }) {
			b.wanted = append(b.wanted, at)
		}
	}
	b.pull, b.shift = make([][]pulled, len(w.places)), make([]reachPair, len(w.places)*b.amounts)
	for p := range w.places {
		pl := &w.places[p]
		for _, at := range b.wanted {
			x := pulled{at: at}
			for u := pl.first; u < pl.last; u++ {
				lie, need := c.pulls[u].lie[at/allStates][at%allStates], c.pulls[u].need[at/allStates][at%allStates]
				x.lie.one(lie)
				x.total.one(lie + need)
			}
			if x.lie != (reachPair{}) || x.total != (reachPair{}) {
				b.pull[p] = append(b.pull[p], x)
			}
		}
	}
	for u := range w.units {
		for i := range b.amounts {
			b.shift[w.units[u].place*b.amounts+i].one(c.amounts[i].add[u].mean)
		}
		for _, cell := range c.cells {
			pull := &c.pulls[u]
			x := cellPull{need: pull.need[cell.bank][cell.state], lie: pull.lie[cell.bank][cell.state],
				needVar: pull.needVar[cell.bank][cell.state], lieVar: pull.lieVar[cell.bank][cell.state]}
			x.any = x != cellPull{}
			b.cells = append(b.cells, x)
		}
	}
	b.acts, b.shifts, b.apiece.moved.n = make([]uint8, len(w.places)), make([]bool, len(w.places)), len(c.fronts)
	frontOfBank := make([]int, w.nb)
	for i, f := range c.fronts {
		for _, bank := range w.sens[f].banks {
			frontOfBank[bank] = i
		}
	}
	for i := range c.cells {
		b.frontOfCell = append(b.frontOfCell, frontOfBank[c.cells[i].bank])
	}
	for s := range w.sens {
		at := -1
		if s != w.commonRear {
			at = frontOfBank[w.sens[s].banks[0]]
		}
		b.frontOf = append(b.frontOf, at)
	}
	for u := range w.units {
		p := w.units[u].place
		for i := range c.cells {
			if b.cells[u*len(c.cells)+i].any {
				b.acts[p] |= 1 << frontOfBank[c.cells[i].bank]
			}
		}
		for i := range c.amounts {
			b.shifts[p] = b.shifts[p] || c.amounts[i].add[u].has
		}
	}
	for _, p := range c.child {
		pr := w.places[p].prior
		for _, par := range w.places[p].parents {
			b.children[par.place] = append(b.children[par.place], offspring{p, (1 - (1-pr)*(1-par.p)) / (1 - pr), pr / (1 - pr)})
		}
	}
	for s := range c.sensors {
		var m uint64
		for p, t := range c.sensors[s].touches {
			if t {
				m |= 1 << p
			}
		}
		b.touch = append(b.touch, m)
	}
	signs := map[sign]int{}
	brings := func(u int, x sign, q float64) {
		at, ok := signs[x]
		if !ok {
			at = len(b.signs)
			signs[x] = at
			b.signs = append(b.signs, x)
		}
		b.signs[at].places |= 1 << w.units[u].place
		b.plus[u] = append(b.plus[u], plus{at, q})
	}
	for u := range w.units {
		b.clean[u] = c.keep[u]
		for i := range c.remarks {
			if q := c.remarks[i].q[u]; q > 0 {
				brings(u, sign{kind: remarkSign, channel: i, power: 1}, q)
			}
		}
		for i := range c.codes {
			if q := c.codes[i].q[u]; q > 0 {
				brings(u, sign{kind: codeSign, channel: i, power: c.codes[i].power}, q)
			}
		}
		for i := range c.outcomes {
			ch := &c.outcomes[i]
			some := false
			for _, l := range ch.looks {
				if l.slot >= 0 {
					some = true
					if d := ch.d[l.slot][u]; d > 0 {
						brings(u, sign{kind: lookSign, channel: i, slot: l.slot, power: l.power}, d)
					}
					continue
				}
				for j, s := range ch.slots {
					if l.bank < 0 || s.bank < 0 || s.bank == l.bank {
						b.clean[u] *= power(1-ch.d[j][u], l.power)
					}
				}
			}
			for j := range ch.slots {
				if some && !mentioned(ch.looks, j) {
					b.clean[u] *= power(1-ch.d[j][u], ch.quiet)
				}
			}
		}
		p := w.units[u].place
		if c.pulls[u].any {
			b.reacher[p] = true
		}
		for i := range c.amounts {
			if c.amounts[i].add[u].has {
				b.reacher[p] = true
			}
		}
	}
	for s := range c.sensors {
		if b.touch[s] != 0 && !c.coupled[s] && c.counts(s) {
			b.signs = append(b.signs, sign{kind: sensorSign, channel: s, places: b.touch[s]})
		}
	}
	b.miss, b.lik = make([]float64, len(b.signs)), make([]float64, len(b.signs))
	return b
}

// above bounds the sets above the node that was laid last that add places among
// the candidates; nil when there are none.
func (b *bounds) above(us []int16, candidates uint64) *subtree {
	c := b.c
	if candidates == 0 {
		return nil
	}
	t := &subtree{}

	// What is there, apart from the sensors, and what it leaves unexplained.
	common := product{p: c.priorPresent(us)}
	for i := range c.outcomes {
		common.mul(c.outcomes[i].likelihood(us))
	}
	for i := range c.remarks {
		common.mul(1 - c.remarks[i].missed(us))
	}
	common.mul(kept(c.keep, us))
	for i := range c.codes {
		if c.codes[i].bank < 0 {
			common.mul(tempered(c.codes[i].missed(us), c.codes[i].power))
		}
	}
	t.log = common.log()

	// Sensors that nothing couples: each candidate that touches one may gain all
	// that any can.
	loose := 1.0
	var gainAt [MaxSensors]float64
	joint := c.j.laid
	b.may = append(b.may[:0], joint...)
	coupledTouch := uint64(0)
	for s, m := range c.sums {
		gain := 1.0
		if at := b.touch[s] & candidates; at != 0 && c.counts(s) {
			may := c.sensors[s].sumWith(us, at)
			if c.coupled[s] {
				coupledTouch |= at
				b.may[s] = may.classes
			} else if len(c.sensors[s].touched)+len(c.sensors[s].fixed)+len(c.sensors[s].heard) > 0 {
				gain = max(1, may.total/max(m.total, 1e-300))
			}
		}
		gainAt[s] = gain
		if !c.coupled[s] {
			loose *= m.total
		}
	}

	b.sight(us, gainAt[:])
	as := 1.0
	b.apart = b.apart[:0]
	for i := range c.amounts {
		b.apart = append(b.apart, c.amounts[i].likelihood(us))
		as *= b.apart[i]
	}

	// The gain of each candidate, and how far candidates reach.
	list := b.list[:0]
	clear(b.spans)
	var shiftOne, shiftAll [8]reachPair
	for m := candidates; m != 0; m &= m - 1 {
		p := bits.TrailingZeros64(m)
		k := cand{place: int8(p), reaches: b.reacher[p], touches: coupledTouch>>p&1 == 1}
		raw, may := b.odds(p, us, candidates)
		gain := b.gain(p, 0)
		k.og, k.may, k.odds = gain*raw, gain*may, may
		list = append(list, k)
		if k.reaches {
			b.stretch(p, &shiftOne, &shiftAll)
		}
	}
	b.list = list
	// The sensors together: as they are, with what touches them, with one candidate
	// that reaches, and with several; each with the sensors as they are and as they
	// may be.
	one, all := 1.0, 1.0
	for i := range b.amounts {
		one *= c.amounts[i].bound(us, shiftOne[i].lo, shiftOne[i].hi, 0)
		all *= c.amounts[i].bound(us, shiftAll[i].lo, shiftAll[i].hi, 0)
	}
	for i := b.amounts; i < len(c.amounts); i++ {
		one, all = math.Inf(1), math.Inf(1) // more than the case format can bring
	}
	sum := func(tab *tables, classes [][]float64, factor float64) (total, honest float64) {
		total = loose * factor * c.sumJoint(tab, classes, nil)
		return total, loose * factor * c.j.sound
	}
	scale := 1.0
	if c.judged {
		scale = max(c.cleanness(true, true), c.cleanness(false, true))
	}
	var js jointSums
	mv := &b.apiece.moved
	js.none, _ = sum(&c.j.exact, joint, as)
	copy(mv.base[:], c.j.front)
	b.fillJoint(&b.one, false)
	js.reach, js.honest = sum(&b.one, joint, one)
	js.reach = max(js.reach, js.none)
	var reach, honest, best0 [maxBank]float64
	best := 1.0 // the trims' part of honest
	for i := range c.fronts {
		reach[i], honest[i], best0[i] = c.j.front[i], c.j.honest[i], b.one.trim[i][0]
		best *= best0[i]
	}
	b.fillJoint(&b.all, true)
	c.sumJoint(&b.all, joint, nil)
	copy(mv.many[:], c.j.front)
	if coupledTouch != 0 {
		c.sumJoint(&b.all, b.may, nil)
	}
	copy(mv.may[:], c.j.front)
	js.none, js.reach, js.honest = js.none*scale, js.reach*scale, js.honest*scale
	shared, sharedMay := b.shared(joint), b.shared(b.may)
	mv.apart, mv.apartMany, mv.apartMay = as*shared, all*shared, all*sharedMay

	for i := range c.cells {
		cell := &c.cells[i]
		bk, st := cell.bank, cell.state
		mean, variance := c.sc.need[bk][st]+c.sc.lie[bk][st], c.sc.needVar[bk][st]+c.sc.lieVar[bk][st]
		b.base[i] = cellBase{mean, variance, cell.table.at(mean, variance)}
	}
	// Each candidate alone, and what it acts on. Alone it reaches no further than it does
	// itself: of the part with honest front sensors that is known to the point.
	movers := slices.Grow(b.movers[:0], len(list))[:len(list)]
	b.movers = movers
	pairs, sets := 0.0, 1.0
	for i := range list {
		if k := &list[i]; k.reaches || k.touches {
			pairs += k.may
			sets *= 1 + k.may
		}
	}
	beyond := loose * scale * b.lambdaBest() // of several, apart from the factors
	most := beyond * mv.apartMay * sets
	for i := range mv.n {
		most *= mv.may[i]
	}
	least := math.Exp(b.floor - t.log)
	for i := range list {
		k, x := &list[i], &movers[i]
		if !k.reaches && !k.touches {
			k.j = js.none
			continue
		}
		*x = mover{changes: k.touches, apart: as * shared, own: mv.base}
		if k.touches && k.may*most < least {
			// Whatever it is added to weighs next to nothing: it is not looked into.
			*x = mover{changes: true, kind: wide, acts: 1<<mv.n - 1, touches: 1<<mv.n - 1, own: mv.may, others: mv.may, apart: mv.apartMay}
			k.j = most
			continue
		}
		fit, fits := 1.0, [maxBank]float64{}
		if k.reaches {
			x.acts = b.acts[k.place]
			var shift float64
			fit, shift = b.fit(us, int(k.place), &fits)
			fit = min(fit/max(best*one, 1e-300), 1)
			for c := range mv.n {
				fits[c] = min(fits[c]/max(best0[c], 1e-300), 1)
				if x.acts>>c&1 == 1 {
					x.own[c] = reach[c] - honest[c]*(1-fits[c])
				}
			}
			x.apart = shift * shared
		}
		far := b.shifts[k.place]
		if k.touches {
			far = b.touching(us, k, x, joint, stage{loose * scale, as, one, fit, fits}) || far
		} else {
			k.j = js.reach - js.honest*(1-fit)
		}
		switch n := bits.OnesCount8(x.acts); {
		case far || n > 1:
			x.kind = wide
		case n == 0:
			x.kind = idle
		}
	}
	// First what holds most of the bound, so that little is left for the rest.
	order := b.order[:0]
	for i := range list {
		k := &list[i]
		worth := k.og * k.j
		if k.reaches || k.touches {
			with := beyond * mv.apartMany
			for c := range mv.n {
				if movers[i].acts>>c&1 == 1 {
					with *= mv.may[c]
				} else {
					with *= mv.base[c]
				}
			}
			worth += k.og * with * pairs / 2
		}
		order = append(order, rank{worth, int32(i)})
	}
	b.order = order
	slices.SortFunc(order, func(x, y rank) int {
		switch {
		case x.worth > y.worth:
			return -1
		case x.worth < y.worth:
			return 1
		}
		return int(x.at - y.at)
	})
	n := len(list)
	b.grow(t, n)
	// What several gain, cause by cause; and where that is better, with what they gain
	// together counted once.
	lack := b.once(list, candidates)
	apiece, together := &b.apiece, &b.together
	apiece.begin()
	if lack > 1 {
		together.moved.like(mv)
		together.begin()
	}
	x, most := 0.0, 0.0
	var mask uint64
	for i := n - 1; i >= 0; i-- {
		k := &list[order[i].at]
		var m *mover
		if k.touches || k.reaches {
			m = &movers[order[i].at]
		}
		alone := k.og * k.j
		more := apiece.add(k.may, k.j, m, js.none, beyond)
		if lack > 1 {
			more = min(more, lack*together.add(k.capped, k.j, m, js.none, beyond))
		}
		x += alone + more
		t.cands[i] = k.place
		mask |= 1 << k.place
		t.mayAll[i] = mask
		most = max(most, alone)
		t.ub[i], t.own[i], t.above[i], t.most[i] = x, alone, more+1e-12*alone, most
	}
	return t
}

// chain sums over the sets of two and more, candidate after candidate.
type chain struct {
	plain   float64 // product of one plus odds over what moves nothing
	first   float64 // sets of one that moves
	several float64 // sets of more that move
	moved   moved
}

func (c *chain) begin() {
	c.plain, c.first, c.several = 1, 0, 0
	c.moved.begin()
}

// add gives all sets that hold a candidate and one that was added before. A candidate that
// another can make counts at its own odds only where it is alone.
func (c *chain) add(odds, j float64, x *mover, none, beyond float64) (more float64) {
	if x == nil {
		more = odds * ((c.plain-1)*none + c.plain*(c.first+c.several))
		c.plain *= 1 + odds
		return more
	}
	before := c.several
	c.moved.add(x, odds)
	c.several = beyond * c.moved.several()
	c.first += odds * j
	return (c.plain-1)*odds*j + c.plain*max(c.several-before, 0)
}

// grow takes memory for n candidates out of a slab.
func (b *bounds) grow(t *subtree, n int) {
	if len(b.floats) < 4*n {
		b.floats = make([]float64, 4096)
	}
	f := b.floats
	b.floats = b.floats[4*n:]
	t.ub, t.own, t.above, t.most = f[:n:n], f[n:2*n:2*n], f[2*n:3*n:3*n], f[3*n:4*n:4*n]
	if len(b.masks) < n {
		b.masks, b.places = make([]uint64, 2048), make([]int8, 2048)
	}
	t.mayAll, t.cands = b.masks[:n:n], b.places[:n:n]
	b.masks, b.places = b.masks[n:], b.places[n:]
}

// jointSums are the sums over the sensors: as they are, and with one candidate that
// reaches.
type jointSums struct {
	none, reach float64
	honest      float64 // the part of reach with honest front sensors
}

// shared is the weight of the rear sensor that banks share, where that is coupled.
func (b *bounds) shared(classes [][]float64) float64 {
	r := b.c.w.commonRear
	if r < 0 || !b.c.coupled[r] {
		return 1
	}
	sum := 0.0
	for _, x := range classes[r] {
		sum += x
	}
	return sum
}

// lambdaBest bounds the likelihood of lambda with several candidates added.
func (b *bounds) lambdaBest() float64 {
	c := b.c
	n := len(c.lambdas)
	if n == 0 {
		return 1
	}
	best := c.vague()
	for i := range c.fronts {
		for at := 0; at < len(b.all.lambda[i]); at += n {
			p := 1.0
			for _, x := range b.all.lambda[i][at : at+n] {
				p *= x
			}
			best = max(best, p)
		}
	}
	return best
}

// stage is what is there before a candidate that touches sensors is added.
type stage struct {
	factor, as, one, fit float64
	fits                 [maxBank]float64
}

// touching fills in the sensors' part for a candidate that touches coupled sensors, with
// the sensors as it makes them. It tells whether one is the rear sensor that banks share.
func (b *bounds) touching(us []int16, k *cand, x *mover, joint [][]float64, at stage) (common bool) {
	c, w := b.c, b.c.w
	pl := &w.places[k.place]
	own := [maxBank]float64{}
	shift, shared := x.apart/b.shared(joint), 0.0
	var buf [maxContext + 1]int16
	for u := pl.first; u < pl.last; u++ {
		add := append(append(buf[:0], us...), int16(u))
		classes := append(b.classes[:0], joint...)
		b.classes = classes
		for s := range c.sensors {
			if c.coupled[s] && b.touch[s]>>k.place&1 == 1 {
				classes[s] = c.sensors[s].sum(add).classes
				if f := b.frontOf[s]; f >= 0 {
					x.acts |= 1 << f
					x.touches |= 1 << f
				} else {
					common = true
				}
			}
		}
		shared = max(shared, b.shared(classes))
		c.sumJoint(&b.all, classes, nil)
		for i := range c.fronts {
			x.others[i] = max(x.others[i], c.j.front[i])
		}
		tab, amounts := &c.j.exact, at.as
		if k.reaches {
			tab, amounts = &b.one, at.one
		}
		total := c.sumJoint(tab, classes, nil)
		k.j = max(k.j, at.factor*amounts*(total-c.j.sound*(1-at.fit)))
		for i := range c.fronts {
			y := c.j.front[i]
			if k.reaches && b.acts[k.place]>>i&1 == 1 {
				y -= c.j.honest[i] * (1 - at.fits[i])
			}
			own[i] = max(own[i], y)
		}
	}
	for i := range c.fronts {
		if x.acts>>i&1 == 1 {
			x.own[i] = own[i]
		}
	}
	x.apart = shift * shared
	return common
}

// fit is the likelihood of trims, with honest front sensors, and of the summed
// shifts with one place added: the best of its units; and apart from one another the
// best of each front's trims, in fits, and of the shifts.
func (b *bounds) fit(us []int16, place int, fits *[maxBank]float64) (best, shift float64) {
	c, w := b.c, b.c.w
	pl := &w.places[place]
	var buf [maxContext + 1]int16
	for u := pl.first; u < pl.last; u++ {
		p, each := 1.0, [maxBank]float64{1, 1, 1, 1}
		for i, x := range b.cells[u*len(b.base) : (u+1)*len(b.base)] {
			at := &b.base[i]
			lik := at.lik
			if x.any {
				lik = c.cells[i].table.at(at.mean+x.need+x.lie, at.variance+x.needVar+x.lieVar)
			}
			each[b.frontOfCell[i]] *= lik
		}
		for i := range c.fronts {
			p *= each[i]
			fits[i] = max(fits[i], each[i])
		}
		with := append(append(buf[:0], us...), int16(u))
		amounts := 1.0
		for i := range c.amounts {
			if c.amounts[i].add[u].has {
				amounts *= c.amounts[i].likelihood(with)
			} else {
				amounts *= b.apart[i]
			}
		}
		best, shift = max(best, p*amounts), max(shift, amounts)
	}
	return best, shift
}

// sight finds how the signs stand under the context; gainAt is what each sensor can gain.
func (b *bounds) sight(us []int16, gainAt []float64) {
	c := b.c
	for i := range b.signs {
		x := &b.signs[i]
		switch x.kind {
		case remarkSign:
			b.miss[i] = c.remarks[x.channel].missed(us)
		case codeSign:
			b.miss[i] = c.miss[x.channel]
		case lookSign:
			ch := &c.outcomes[x.channel]
			b.miss[i] = 1 - ch.slots[x.slot].false
			for _, u := range us {
				b.miss[i] *= 1 - ch.d[x.slot][u]
			}
		case sensorSign:
			b.lik[i] = 1 / gainAt[x.channel]
			continue
		}
		b.lik[i] = x.likelihood(b.miss[i])
	}
}

// gain is how much a place can multiply the likelihood of what it can bring about or keep
// clean, given what is there: that of the best of its units, without some of the signs. For
// a quantity whose level it would decide it is at least one, since something else may
// decide it then.
func (b *bounds) gain(place int, without uint64) float64 {
	c := b.c
	pl := &c.w.places[place]
	best := 0.0
	for u := pl.first; u < pl.last; u++ {
		g := b.clean[u]
		for _, x := range b.plus[u] {
			if without>>x.sign&1 == 0 {
				g *= b.more(x)
			}
		}
		for i := range c.amounts {
			if s := c.amounts[i].show[u]; s >= 0 {
				g *= max(1, s/b.apart[i])
			}
		}
		best = max(best, g)
	}
	for i := range b.signs {
		if x := &b.signs[i]; x.kind == sensorSign && x.places>>place&1 == 1 && without>>i&1 == 0 {
			best /= b.lik[i]
		}
	}
	return best
}

// more is how much a unit multiplies the likelihood of a sign.
func (b *bounds) more(x plus) float64 {
	return b.signs[x.sign].likelihood(b.miss[x.sign]*(1-x.q)) / b.lik[x.sign]
}

// once chooses the signs from which a set of several gains no more than they lack, and
// gives what they lack together; none where that bounds the sets no better. It works out
// each candidate's odds with its gain from the other signs.
func (b *bounds) once(list []cand, candidates uint64) (lack float64) {
	lack = 1
	var chosen uint64
	sum := 0.0
	for i := range list {
		list[i].capped = list[i].may
		sum += list[i].may
	}
	for i := range min(len(b.signs), 64) {
		its := 1 / b.lik[i]
		if b.signs[i].places&candidates == 0 || its < 2 { // so little hardly counts twice
			continue
		}
		less := func(k *cand) float64 { // what is left of it, if the sign is chosen
			if b.signs[i].places>>k.place&1 == 0 {
				return k.capped
			}
			return k.capped / b.most(int(k.place), i)
		}
		rest := 0.0
		for k := range list {
			rest += less(&list[k])
		}
		// The sets of two are half the square of the sum.
		if its*rest*rest < sum*sum {
			for k := range list {
				list[k].capped = less(&list[k])
			}
			chosen |= 1 << i
			lack *= its
			sum = rest
		}
	}
	if chosen != 0 {
		for i := range list {
			list[i].capped = list[i].odds * b.gain(int(list[i].place), chosen)
		}
	}
	return lack
}

// most is what a place gains from a sign.
func (b *bounds) most(place, sign int) float64 {
	if b.signs[sign].kind == sensorSign {
		return 1 / b.lik[sign]
	}
	best := 1.0
	pl := &b.c.w.places[place]
	for u := pl.first; u < pl.last; u++ {
		for _, x := range b.plus[u] {
			if x.sign == sign {
				best = max(best, b.more(x))
			}
		}
	}
	return best
}

// odds is the prior odds of a place given what is there, times what it adds to the
// odds of its children that are there already; and the same if all candidates that can
// make it were there too.
func (b *bounds) odds(p int, us []int16, candidates uint64) (raw, may float64) {
	w := b.c.w
	pl := &w.places[p]
	miss, least := 1-pl.prior, 1.0
	for _, par := range pl.parents {
		if w.has(us, par.place) {
			miss *= 1 - par.p
		} else if candidates>>par.place&1 == 1 {
			least *= 1 - par.p
		}
	}
	adds := 1.0
	for _, l := range b.children[p] {
		if w.has(us, l.child) {
			adds *= l.with / l.base
		}
	}
	return adds * (1 - miss) / (1 - pl.prior), adds * (1 - miss*least) / (1 - pl.prior)
}

// offspring is a place that another can make, with its odds so made and else.
type offspring struct {
	child      int
	with, base float64
}

// stretch notes how far a place can pull trims, lies and summed shifts.
func (b *bounds) stretch(p int, one, all *[8]reachPair) {
	for i := range b.pull[p] {
		x := &b.pull[p][i]
		sp := &b.spans[x.at]
		sp.lieOne.one(x.lie.lo)
		sp.lieOne.one(x.lie.hi)
		sp.totOne.one(x.total.lo)
		sp.totOne.one(x.total.hi)
		sp.lieAll.add(x.lie.lo, x.lie.hi)
		sp.totAll.add(x.total.lo, x.total.hi)
	}
	for i := range b.amounts {
		r := b.shift[p*b.amounts+i]
		one[i].one(r.lo)
		one[i].one(r.hi)
		all[i].add(r.lo, r.hi)
	}
}

// fillJoint tabulates bounds on trims and lambda with one candidate added, or any.
func (b *bounds) fillJoint(tab *tables, many bool) {
	c, w := b.c, b.c.w
	j := &c.j
	n := len(c.lambdas)
	for i, f := range c.fronts {
		for k := range c.sensors[f].classes {
			cl := &c.sensors[f].classes[k]
			if cl.twin < k {
				tab.trim[i][k] = tab.trim[i][cl.twin]
				continue
			}
			x := 1.0
			for _, bank := range w.sens[f].banks {
				x *= b.trimBound(bank, cl, many)
			}
			tab.trim[i][k] = x
			for l := range c.lambdas {
				j.dev[i][k*n+l] = b.reach(f, cl, c.lambdas[l].state, many)
			}
		}
	}
	c.fillLambda(tab, func(t *table, d devReach) float64 { return t.best(d.lo, d.hi) })
}

func (b *bounds) trimBound(bank int, cl *class, many bool) float64 {
	c := b.c
	s := &c.sc
	p := 1.0
	for _, i := range c.cellsOf[bank] {
		cell := &c.cells[i]
		st := cell.state
		if cl.open {
			p *= cell.lost
			continue
		}
		r := b.spans[bank*allStates+st].totOne
		if many {
			r = b.spans[bank*allStates+st].totAll
		}
		m := s.need[bank][st] + s.lie[bank][st] + cl.lie[st]
		if r.lo == 0 && r.hi == 0 {
			p *= cell.table.at(m, s.needVar[bank][st]+s.lieVar[bank][st]+cl.lieVar[st])
		} else {
			p *= cell.table.best(m+r.lo, m+r.hi)
		}
	}
	return p
}

func (b *bounds) reach(f int, cl *class, st int, many bool) devReach {
	c, w := b.c, b.c.w
	s := &c.sc
	var out devReach
	for _, bank := range w.sens[f].banks {
		sp := &b.spans[bank*allStates+st]
		lies, tots := sp.lieOne, sp.totOne
		if many {
			lies, tots = sp.lieAll, sp.totAll
		}
		lie := s.lie[bank][st] + cl.lie[st]
		need := c.shownNeed(s, bank, st)
		seen := c.hasCell[bank][st]
		switch {
		case cl.open && seen:
			// Without the sensor the need itself shows, lies do not.
			out.lo += need + tots.lo - max(lies.hi, 0)
			out.hi += need + tots.hi - min(lies.lo, 0)
		case cl.open:
		default:
			t1, t2 := need+lie+lies.lo, need+lie+lies.hi
			if seen {
				t1, t2 = need+lie+tots.lo, need+lie+tots.hi
			}
			out.lo += wrongBy(lie+lies.hi) + min(0, t1-w.saturate(t1))
			out.hi += wrongBy(lie+lies.lo) + max(0, t2-w.saturate(t2))
			if c.ev.unlearned && seen {
				out.lo += (need + tots.lo - max(lies.hi, 0)) * w.partial
				out.hi += (need + tots.hi - min(lies.lo, 0)) * w.partial
			}
		}
	}
	return out
}
