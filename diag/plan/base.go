package plan

import (
	"math"
	"slices"
)

// walker follows a policy that asks nothing but proofs: the bundle with the
// most gain per cost, a proof, and if that fails the next bundle; and it stops
// where stopping is best. Its value bounds the optimum from above. This is the
// P/C rule of Heckerman et al. (1995), chances taken anew after each failure.
type walker struct {
	w     []float64 // belief, dense
	in    []bool
	list  []int32 // where w may be positive
	mass  float64
	stops []float64 // loss of each stop
	score []float64 // gain of each bundle
	hot   []int32   // bundles whose score was ever touched
	isHot []bool
	pass  []float64
	flow  []float64
	plan  []micro
}

// micro is one step of the walk. After a question that is asked only because an
// action needs it the walk goes on whatever the answer (on < 0); after a proof
// it goes on after outcome on and stops after any other.
type micro struct {
	Step
	on int
}

func (k *walker) reset(m *model) {
	k.w = zeroed(k.w, m.n)
	k.in = zeroed(k.in, m.n)
	k.list = k.list[:0]
	k.stops = zeroed(k.stops, len(m.p.Stops))
	k.pass = zeroed(k.pass, len(m.p.Stops))
	k.score = zeroed(k.score, len(m.bundles))
	k.isHot = zeroed(k.isHot, len(m.bundles))
	k.hot = k.hot[:0]
}

func zeroed[T any](s []T, n int) []T {
	s = slices.Grow(s[:0], n)[:n]
	clear(s)
	return s
}

// load starts a walk at a belief.
func (k *walker) load(m *model, idx []int32, w []float64) {
	for _, h := range k.list {
		k.w[h], k.in[h] = 0, false
	}
	for _, b := range k.hot {
		k.score[b], k.isHot[b] = 0, false
	}
	clear(k.stops)
	k.list, k.hot, k.mass = k.list[:0], k.hot[:0], 0
	for i, h := range idx {
		k.list = append(k.list, h)
		k.in[h] = true
		k.shift(m, h, w[i])
	}
}

// shift adds dw to the weight of h and to all that depends on it.
func (k *walker) shift(m *model, h int32, dw float64) {
	k.w[h] += dw
	k.mass += dw
	addTimes(k.stops, dw, m.loss[h])
	for _, sh := range m.byHyp[h] {
		if !k.isHot[sh.bundle] {
			k.isHot[sh.bundle] = true
			k.hot = append(k.hot, sh.bundle)
		}
		k.score[sh.bundle] += dw * sh.gain
	}
}

// walk returns the value of the walk from a belief and its steps, which are good
// until the next call. The last step, to finish, is left out.
func (s *Solver) walk(st state, idx []int32, w []float64) (float64, []micro) {
	k := &s.walker
	k.load(&s.m, idx, w)
	v, n := s.stroll(st, false)
	if st.done == 0 || s.m.repeats&^st.asked == 0 {
		return v, k.plan[:n]
	}
	k.load(&s.m, idx, w)
	if v2, n := s.stroll(st, true); v2 < v {
		return v2, k.plan[:n]
	}
	k.load(&s.m, idx, w)
	v, n = s.stroll(st, false)
	return v, k.plan[:n]
}

const (
	tiny       = 1e-9 // stands for no cost where one is divided by
	maxBundles = 24   // a walk longer than this is cut
	fine       = 1e-5 // a walk ends when no more than this share can be saved
)

func (s *Solver) stroll(st state, proofFirst bool) (float64, int) {
	m, k := &s.m, &s.walker
	k.plan = k.plan[:0]
	s.work += len(k.list)
	var acc float64 // paid so far, and lost where the walk has stopped
	best, cut := m.least(st, k.stops, k.mass), 0
	start := k.mass
	look := func() {
		if v := acc + m.least(st, k.stops, k.mass); v < best {
			best, cut = v, len(k.plan)
		}
	}
	for range maxBundles {
		if k.mass <= 1e-13*start || m.kind && (acc >= best || m.least(st, k.stops, k.mass) <= fine*best) {
			break
		}
		if !proofFirst {
			b := s.pick(st)
			if b < 0 {
				break
			}
			for _, a8 := range m.bundles[b].actions {
				a := int(a8)
				if st.done>>a&1 == 1 || !s.changes(a) {
					continue
				}
				c, q := m.needCost(st, a)
				if math.IsInf(c, 1) {
					continue
				}
				if q >= 0 {
					acc += k.mass * c
					st = m.afterAsk(st, q)
					k.plan = append(k.plan, micro{Step{Ask, q}, -1})
				}
				acc += k.mass * m.doCost(st, a)
				st = m.afterDo(st, a)
				s.apply(a)
				k.plan = append(k.plan, micro{Step{Do, a}, 0})
			}
			look()
		}
		proofFirst = false
		for _, q := range m.proofs {
			if st.asked>>q&1 == 1 {
				continue
			}
			acc += k.mass * m.askCost(st, q)
			st = m.afterAsk(st, q)
			on, lost := s.prove(st, q)
			if on < 0 {
				return best, cut // the belief has faded below what a float holds
			}
			acc += lost
			k.plan = append(k.plan, micro{Step{Ask, q}, on})
			look()
			break
		}
	}
	return best, cut
}

// prove asks proof q: it returns the outcome after which the walk goes on, the
// one where stopping would cost most, and what stopping after the others costs.
func (s *Solver) prove(st state, q int) (on int, lost float64) {
	m, k := &s.m, &s.walker
	rows := m.lik[q]
	if o := m.sharp[q]; o >= 0 {
		// One outcome can come only from a few hypotheses, the other is the rest.
		clear(k.pass)
		var mass float64
		for _, h := range m.sharpAt[q] {
			x := k.w[h] * rows[o][h]
			mass += x
			addTimes(k.pass, x, m.loss[h])
		}
		pass, fail := m.least(st, k.pass, mass), math.Inf(1)
		rest := k.mass - mass
		for i, v := range k.stops {
			if m.openStop(st, i) {
				fail = min(fail, v-k.pass[i]+rest*m.endCost(st, i))
			}
		}
		if rest <= 0 {
			return -1, 0
		}
		if mass <= 0 || fail*mass >= pass*rest {
			s.work += 4
			for _, h := range m.sharpAt[q] {
				if x := k.w[h] * rows[o][h]; x > 0 {
					k.shift(m, h, -x)
				}
			}
			return 1 - o, pass
		}
	}
	s.work += len(k.list)
	on = -1
	worst, sum, onValue := math.Inf(-1), 0.0, 0.0
	for o, row := range rows {
		clear(k.pass)
		var mass float64
		for _, h := range k.list {
			x := k.w[h] * row[h]
			mass += x
			addTimes(k.pass, x, m.loss[h])
		}
		if mass <= 0 {
			continue
		}
		v := m.least(st, k.pass, mass)
		sum += v
		if v/mass > worst {
			on, worst, onValue = o, v/mass, v
		}
	}
	if on < 0 {
		return -1, 0
	}
	for _, h := range k.list {
		if x := k.w[h] * (1 - rows[on][h]); x != 0 {
			k.shift(m, h, -x)
		}
	}
	return on, sum - onValue
}

// pick is the bundle with the most gain per cost, or -1.
func (s *Solver) pick(st state) int {
	m, k := &s.m, &s.walker
	pick, top := int32(-1), 0.0
	for _, b := range k.hot {
		r := k.score[b] * m.rate[b] // as if no set-up and no question were needed
		mask := m.masks[b]
		left := mask &^ st.done
		if left == 0 || r <= 0 || r < top && left == mask {
			continue
		}
		if left != mask || !m.bare {
			r = k.score[b] / max(m.bundleCost(st, &m.bundles[b])+m.proofCost, tiny)
		}
		if r > top || r == top && b < pick {
			pick, top = b, r
		}
	}
	return int(pick)
}

// bundleCost is what the actions of a bundle cost that can still be done, with
// set-ups and the questions they need; +Inf if there are none.
func (m *model) bundleCost(st state, bu *bundle) float64 {
	var c float64
	live := false
	open := st.open
	for _, a := range bu.actions {
		if st.done>>a&1 == 1 {
			continue
		}
		x := m.firstExtra(st, int(a))
		if math.IsInf(x, 1) {
			continue
		}
		live = true
		setup := m.p.Actions[a].Setup
		if m.needs[a] == 0 {
			x = m.gateCost(state{open: open}, 0, setup)
		}
		open |= setup
		c += m.p.Actions[a].Cost + x
	}
	if !live {
		return math.Inf(1)
	}
	return c
}

// changes reports whether action a can change the belief the walk is at.
func (s *Solver) changes(a int) bool {
	for i := range s.m.moves[a] {
		if s.walker.w[s.m.moves[a][i].from] > 0 {
			return true
		}
	}
	return false
}

// apply takes action a. All sources are read before anything is moved, as one
// move may lead to where another starts.
func (s *Solver) apply(a int) {
	m, k := &s.m, &s.walker
	moves := m.moves[a]
	k.flow = k.flow[:0]
	for i := range moves {
		k.flow = append(k.flow, k.w[moves[i].from])
	}
	s.work += len(moves)
	for i := range moves {
		w := k.flow[i]
		if w <= 0 {
			continue
		}
		k.shift(m, moves[i].from, -w*(1-moves[i].stay))
		for _, t := range moves[i].to {
			if !k.in[t.to] {
				k.in[t.to] = true
				k.list = append(k.list, t.to)
			}
			k.shift(m, t.to, w*t.p)
		}
	}
}
