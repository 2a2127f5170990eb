package diag

import "math"

// bounds gives upper bounds on the weight of all supersets of a context.
type bounds struct {
	c     *calc
	order []int
	rank  []int   // place: its position in the order
	later []int16 // units in the order of their places
	start []int   // position in the order: first of its units in later

	odds []float64 // place: prior odds
	most []float64 // place: with everything that can have made it
	one  []float64 // position: sum of odds from here on
	prod []float64 // position: product of one plus odds
	link []float64 // position: what links among those from here on can add to prod

	remarks, codes []suffix
	outcomes       [][]suffix // outcome channel, slot
	amounts        [][]float64
	shifts         []pullSuffix
	cells          []pullSuffix // trim cell: need and lie
	lies           []pullSuffix // bank*4+state
	totals         []pullSuffix // bank*4+state
	touch          [][]int      // sensor, position: later places that touch it
	sums           []map[uint64]*sensorSum
}

// suffix holds, for each position, what the later places can do to an observation:
// the most one of them can, and the chance that all together do not.
type suffix struct{ one, none []float64 }

// pullSuffix holds, for each position, how far the later places can pull a trim:
// one of them, or all.
type pullSuffix struct{ loOne, hiOne, loAll, hiAll []float64 }

func newBounds(c *calc, order []int) *bounds {
	w := c.w
	n := len(order)
	b := &bounds{c: c, order: order, start: make([]int, n+1), one: make([]float64, n+1), prod: make([]float64, n+1), link: make([]float64, n+1)}
	for i, p := range order {
		b.start[i] = len(b.later)
		for u := w.places[p].first; u < w.places[p].last; u++ {
			b.later = append(b.later, int16(u))
		}
	}
	b.start[n] = len(b.later)
	b.rank = make([]int, len(w.places))
	for p := range b.rank {
		b.rank[p] = -1
	}
	for i, p := range order {
		b.rank[p] = i
	}
	for p := range w.places {
		miss := 1 - w.places[p].prior
		b.odds = append(b.odds, (1-miss)/miss)
		lmiss := miss
		for _, par := range w.places[p].parents {
			lmiss *= 1 - par.p
		}
		b.most = append(b.most, (1-lmiss)/miss)
	}
	maker := make([]bool, len(w.places))
	for _, p := range c.child {
		for _, par := range w.places[p].parents {
			maker[par.place] = true
		}
	}
	b.prod[n] = 1
	most, makers := 1.0, 0.0
	for i := n - 1; i >= 0; i-- {
		p := order[i]
		b.one[i] = b.one[i+1] + b.odds[p]
		b.prod[i] = b.prod[i+1] * (1 + b.odds[p])
		most *= 1 + b.most[p]
		if maker[p] {
			makers += b.odds[p]
		}
		// A link adds weight only to sets that hold some maker.
		b.link[i] = makers * (most - b.prod[i])
	}
	for i := range c.remarks {
		b.remarks = append(b.remarks, b.suffix(c.remarks[i].q))
	}
	for i := range c.codes {
		b.codes = append(b.codes, b.suffix(c.codes[i].q))
	}
	for i := range c.outcomes {
		var s []suffix
		for j := range c.outcomes[i].d {
			s = append(s, b.suffix(c.outcomes[i].d[j]))
		}
		b.outcomes = append(b.outcomes, s)
	}
	for i := range c.amounts {
		ch := &c.amounts[i]
		best := make([]float64, n+1)
		for j := n - 1; j >= 0; j-- {
			best[j] = best[j+1]
			for _, u := range b.later[b.start[j]:b.start[j+1]] {
				best[j] = max(best[j], ch.show[u])
			}
		}
		b.amounts = append(b.amounts, best)
		b.shifts = append(b.shifts, b.pullSuffix(func(u int16) float64 { return ch.add[u].mean }))
	}
	for bank := range w.nb {
		for st := range 4 {
			b.lies = append(b.lies, b.pullSuffix(func(u int16) float64 { return c.pulls[u].lie[bank][st] }))
			b.totals = append(b.totals, b.pullSuffix(func(u int16) float64 { return c.pulls[u].lie[bank][st] + c.pulls[u].need[bank][st] }))
		}
	}
	for s := range c.sensors {
		count := make([]int, n+1)
		for j := n - 1; j >= 0; j-- {
			count[j] = count[j+1]
			if c.sensors[s].touches[order[j]] {
				count[j]++
			}
		}
		b.touch = append(b.touch, count)
		b.sums = append(b.sums, map[uint64]*sensorSum{})
	}
	return b
}

func (b *bounds) suffix(q []float64) suffix {
	n := len(b.order)
	s := suffix{make([]float64, n+1), make([]float64, n+1)}
	s.none[n] = 1
	for i := n - 1; i >= 0; i-- {
		most := 0.0
		for _, u := range b.later[b.start[i]:b.start[i+1]] {
			most = max(most, q[u])
		}
		s.one[i] = max(s.one[i+1], most)
		s.none[i] = s.none[i+1] * (1 - most)
	}
	return s
}

func (b *bounds) pullSuffix(at func(int16) float64) pullSuffix {
	n := len(b.order)
	s := pullSuffix{make([]float64, n+1), make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)}
	for i := n - 1; i >= 0; i-- {
		lo, hi := 0.0, 0.0
		for _, u := range b.later[b.start[i]:b.start[i+1]] {
			lo, hi = min(lo, at(u)), max(hi, at(u))
		}
		s.loOne[i], s.hiOne[i] = min(s.loOne[i+1], lo), max(s.hiOne[i+1], hi)
		s.loAll[i], s.hiAll[i] = s.loAll[i+1]+lo, s.hiAll[i+1]+hi
	}
	return s
}

// bound gives the log of a bound on the summed weight of every set that adds one
// or more places, at or after a position in the order, to a context.
func (b *bounds) bound(us []int16, next int) float64 {
	c := b.c
	w := c.w
	// The prior of what is added: one place, or more.
	one, prod := b.one[next], b.prod[next]
	for _, p := range c.child {
		if b.rank[p] < next {
			continue
		}
		miss, made := 1.0, false
		for _, par := range w.places[p].parents {
			if w.has(us, par.place) {
				miss *= 1 - par.p
				made = true
			}
		}
		if made {
			pr := w.places[p].prior
			o := (1 - (1-pr)*miss) / (1 - pr)
			one += o - b.odds[p]
			prod *= (1 + o) / (1 + b.odds[p])
		}
	}
	many := max(prod-1-one, 0) + b.link[next]*prod/b.prod[next]
	if one <= 0 {
		return math.Inf(-1)
	}
	base := b.priorBound(us, next)

	a1, a2 := product{p: 1}, product{p: 1}
	for i := range c.outcomes {
		x1, x2 := b.outcomeBound(i, us, next)
		a1.mul(x1)
		a2.mul(x2)
	}
	for i := range c.amounts {
		lo, hi := b.shifts[i].span(next, false)
		a1.mul(c.amounts[i].bound(us, lo, hi, b.amounts[i][next]))
		lo, hi = b.shifts[i].span(next, true)
		a2.mul(c.amounts[i].bound(us, lo, hi, b.amounts[i][next]))
	}
	for i := range c.remarks {
		m := c.remarks[i].missed(us)
		a1.mul(1 - m*(1-b.remarks[i].one[next]))
		a2.mul(1 - m*b.remarks[i].none[next])
	}
	for i := range c.codes {
		if c.codes[i].bank < 0 {
			m := c.codes[i].missed(us)
			a1.mul(tempered(m*(1-b.codes[i].one[next]), c.codes[i].power))
			a2.mul(tempered(m*b.codes[i].none[next], c.codes[i].power))
		}
	}
	a1.mul(b.sensors(us, next, false))
	a2.mul(b.sensors(us, next, true))
	l1, l2 := a1.log()+math.Log(base*one), math.Inf(-1)
	if many > 0 {
		l2 = a2.log() + math.Log(base*many)
	}
	hi, lo := max(l1, l2), min(l1, l2)
	return hi + math.Log1p(math.Exp(lo-hi))
}

// priorBound is the prior odds of what is there, were all that is still to come
// and can have made it there too.
func (b *bounds) priorBound(us []int16, next int) float64 {
	w := b.c.w
	pr := 1.0
	for _, u := range us {
		p := &w.places[w.units[u].place]
		miss := 1 - p.prior
		for _, par := range p.parents {
			if b.rank[par.place] >= next || w.has(us, par.place) {
				miss *= 1 - par.p
			}
		}
		pr *= w.units[u].chance * (1 - miss) / (1 - p.prior)
	}
	return pr
}

// outcomeBound bounds what a test showed: more causes only take from the default
// and only add to an outcome.
func (b *bounds) outcomeBound(i int, us []int16, next int) (one, many float64) {
	ch := &b.c.outcomes[i]
	var buf [24]float64
	fires := buf[:0]
	for j := range ch.slots {
		miss := 1 - ch.slots[j].false
		for _, u := range us {
			miss *= 1 - ch.d[j][u]
		}
		fires = append(fires, 1-miss)
	}
	one, many = 1, 1
	for _, l := range ch.looks {
		if l.slot < 0 {
			x := seen(ch.slots, []look{l}, fires, 0)
			one, many = one*x, many*x
			continue
		}
		miss := 1 - fires[l.slot]
		s := &b.outcomes[i][l.slot]
		one *= power(1-miss*(1-s.one[next]), l.power)
		many *= power(1-miss*s.none[next], l.power)
	}
	return one, many
}

// sensors bounds what is known of the sensors, trims and lambda.
func (b *bounds) sensors(us []int16, next int, many bool) float64 {
	c := b.c
	w := c.w
	c.miss = c.miss[:0]
	for k := range c.codes {
		m := c.codes[k].missed(us)
		if many {
			m *= b.codes[k].none[next]
		} else {
			m *= 1 - b.codes[k].one[next]
		}
		c.miss = append(c.miss, m)
	}
	c.sums = c.sums[:0]
	c.j.classes = c.j.classes[:0]
	for s := range c.sensors {
		m := b.sum(s, us, next)
		c.sums = append(c.sums, m)
		c.j.classes = append(c.j.classes, m.classes)
	}
	sc := c.scene(us)
	c.sizeJoint()
	j := &c.j
	for i, f := range c.fronts {
		for k := range c.sensors[f].classes {
			cl := &c.sensors[f].classes[k]
			x := 1.0
			for _, bank := range w.sens[f].banks {
				x *= b.trimBound(&sc, bank, cl, next, many)
			}
			j.trim[i][k] = x
			for l := range c.lambdas {
				j.dev[i][k*len(c.lambdas)+l] = b.reach(&sc, f, cl, c.lambdas[l].state, next, many)
			}
		}
	}
	j.exact = false
	c.sumHonest()
	p := c.sumJoint(nil)
	for s := range c.sums {
		if !c.coupled[s] {
			p *= c.sums[s].total
		}
	}
	if c.judged {
		p *= max(c.cleanness(true, true), c.cleanness(false, true))
	}
	return p
}

// sum bounds the weights of a sensor's classes.
func (b *bounds) sum(s int, us []int16, next int) *sensorSum {
	sc := &b.c.sensors[s]
	count := b.touch[s][next]
	if count == 0 {
		return sc.sum(us)
	}
	key := uint64(count)
	var buf [maxContext]int16
	mine := buf[:0]
	for _, u := range us {
		if sc.touches[b.c.w.units[u].place] {
			key = key<<10 | uint64(u+1)
			mine = append(mine, u)
		}
	}
	m, ok := b.sums[s][key]
	if !ok {
		later := []int16{}
		for _, u := range b.later[b.start[next]:] {
			if sc.touches[b.c.w.units[u].place] {
				later = append(later, u)
			}
		}
		m = sc.weigh(mine, later)
		b.sums[s][key] = m
	}
	return m
}

func (s *pullSuffix) span(next int, many bool) (lo, hi float64) {
	if many {
		return s.loAll[next], s.hiAll[next]
	}
	return s.loOne[next], s.hiOne[next]
}

func (b *bounds) trimBound(s *scene, bank int, cl *class, next int, many bool) float64 {
	c := b.c
	cells := c.cellsOf[bank]
	if len(cells) == 0 {
		return 1
	}
	p := 1.0
	for _, i := range cells {
		cell := &c.cells[i]
		st := cell.state
		if cl.open {
			p *= cell.table.at(0, 16)
			continue
		}
		lo, hi := b.totals[bank*4+st].span(next, many)
		m := s.need[bank][st] + s.lie[bank][st] + cl.lie[st]
		p *= cell.table.best(m+lo, m+hi)
	}
	return p
}

func (b *bounds) reach(s *scene, f int, cl *class, st, next int, many bool) devReach {
	w := b.c.w
	var out devReach
	for _, bank := range w.sens[f].banks {
		llo, lhi := b.lies[bank*4+st].span(next, many)
		tlo, thi := b.totals[bank*4+st].span(next, many)
		lie := s.lie[bank][st] + cl.lie[st]
		need := s.need[bank][st]
		if cl.open {
			// Without the sensor the need itself shows, lies do not.
			out.lo += need + tlo - max(lhi, 0)
			out.hi += need + thi - min(llo, 0)
		} else {
			t1, t2 := need+lie+tlo, need+lie+thi
			out.lo += wrongBy(lie+lhi) + min(0, t1-w.saturate(t1))
			out.hi += wrongBy(lie+llo) + max(0, t2-w.saturate(t2))
		}
		out.variance += 1 // any; a span takes the best of all
	}
	if out.hi <= out.lo {
		out.hi = out.lo + 1e-9
	}
	return out
}
