package plan

import (
	"math"
	"slices"
)

// walker follows a policy that asks nothing but proofs: the bundle with the
// most gain per cost, a proof, and if that fails the next bundle; and it stops
// where stopping is best. Its value bounds the optimum from above.
type walker struct {
	w    []float64 // belief, dense
	in   []bool
	list []int32 // where w may be positive
	plan []micro
}

// micro is one step of the walk. After a question that is asked only because an
// action needs it the walk goes on whatever the answer (on < 0); after a proof
// it goes on after outcome on and stops after any other.
type micro struct {
	Step
	on int
}

func (k *walker) reset(n int) {
	k.w = slices.Grow(k.w[:0], n)[:n]
	k.in = slices.Grow(k.in[:0], n)[:n]
	clear(k.w)
	clear(k.in)
	k.list = k.list[:0]
}

func (k *walker) load(idx []int32, w []float64) {
	for _, h := range k.list {
		k.w[h], k.in[h] = 0, false
	}
	k.list = append(k.list[:0], idx...)
	for i, h := range idx {
		k.w[h], k.in[h] = w[i], true
	}
}

func (k *walker) mass() float64 {
	var m float64
	for _, h := range k.list {
		m += k.w[h]
	}
	return m
}

// bestStop is the least expected loss and the stop that has it; row, if not
// nil, weighs the belief by an outcome's likelihood.
func (s *Solver) bestStop(row []float64) (float64, int) {
	best, at := math.Inf(1), 0
	for i, sp := range s.m.p.Stops {
		var l float64
		for _, h := range s.walk.list {
			w := s.walk.w[h]
			if row != nil {
				w *= row[h]
			}
			l += w * sp.Loss[h]
		}
		if l < best {
			best, at = l, i
		}
	}
	return best, at
}

// base is the value of the walk from a belief.
func (s *Solver) base(st state, idx []int32, w []float64) float64 {
	v, _ := s.basePlan(st, idx, w)
	return v
}

// basePlan is base with the steps that lead to it; they are good until the next
// call. A last step, to finish, is left out.
func (s *Solver) basePlan(st state, idx []int32, w []float64) (float64, []micro) {
	s.walk.load(idx, w)
	v, n := s.stroll(st, false)
	if st.done == 0 || len(s.m.proofs) == 0 || s.m.repeats&^st.asked == 0 {
		return v, s.walk.plan[:n]
	}
	s.walk.load(idx, w)
	v2, n2 := s.stroll(st, true)
	if v2 < v {
		return v2, s.walk.plan[:n2]
	}
	s.walk.load(idx, w)
	_, n = s.stroll(st, false)
	return v, s.walk.plan[:n]
}

// maxBundles ends a walk that goes nowhere.
const maxBundles = 24

// stroll returns the value of the walk and how many steps of s.walk.plan it
// takes before it stops.
func (s *Solver) stroll(st state, proofFirst bool) (float64, int) {
	m, k := &s.m, &s.walk
	k.plan = k.plan[:0]
	var acc float64 // paid so far, and lost where the walk has stopped
	mass := k.mass()
	start := mass
	best, _ := s.bestStop(nil)
	cut := 0
	look := func() {
		if v, _ := s.bestStop(nil); acc+v < best {
			best, cut = acc+v, len(k.plan)
		}
	}
	for range maxBundles {
		if !proofFirst {
			b := s.pickBundle(st, mass)
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
					acc += mass * c
					st = m.afterAsk(st, q)
					k.plan = append(k.plan, micro{Step{Ask, q}, -1})
				}
				acc += mass * m.doCost(st, a)
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
			acc += mass * m.askCost(st, q)
			st = m.afterAsk(st, q)
			on, worst := -1, math.Inf(-1)
			var sum float64
			for o := range m.p.Questions[q].Outcomes {
				row := m.lik[q][o*m.n : (o+1)*m.n]
				v, _ := s.bestStop(row)
				sum += v
				var om float64
				for _, h := range k.list {
					om += k.w[h] * row[h]
				}
				if om > 0 && v/om > worst {
					on, worst = o, v/om
				}
			}
			if on < 0 {
				return best, cut // the belief has faded below what a float holds
			}
			row := m.lik[q][on*m.n : (on+1)*m.n]
			v, _ := s.bestStop(row)
			acc += sum - v
			for _, h := range k.list {
				k.w[h] *= row[h]
			}
			mass = k.mass()
			k.plan = append(k.plan, micro{Step{Ask, q}, on})
			look()
			break
		}
		s.work += len(k.list)
		if mass <= 1e-13*start {
			break
		}
	}
	return best, cut
}

// pickBundle is the bundle with the most gain per cost, or -1.
func (s *Solver) pickBundle(st state, mass float64) int {
	m, k := &s.m, &s.walk
	clear(s.score)
	for _, h := range k.list {
		w := k.w[h]
		if w == 0 {
			continue
		}
		for _, sh := range m.byHyp[h] {
			s.score[sh.bundle] += w * sh.gain
		}
	}
	var proof float64
	if len(m.proofs) > 0 {
		proof = m.p.Questions[m.proofs[0]].Cost
	}
	pick, top := -1, 0.0
	for b, gain := range s.score {
		if gain <= 0 {
			continue
		}
		c := proof
		live := false
		open := st.open
		for _, a := range m.bundles[b].actions {
			if st.done>>a&1 == 1 {
				continue
			}
			x := m.firstExtra(st, int(a))
			if math.IsInf(x, 1) {
				continue
			}
			live = true
			if m.needs[a] == 0 {
				x = m.setupCost(m.p.Actions[a].Setup, open)
			}
			open |= m.p.Actions[a].Setup
			c += m.p.Actions[a].Cost + x
		}
		if !live {
			continue
		}
		if r := gain / math.Max(c, 1e-9*mass); r > top {
			pick, top = b, r
		}
	}
	return pick
}

// changes reports whether action a can change the belief the walk is at.
func (s *Solver) changes(a int) bool {
	for i := range s.m.moves[a] {
		if s.walk.w[s.m.moves[a][i].from] > 0 {
			return true
		}
	}
	return false
}

// apply takes action a. Moves go from more faults to fewer, so each source is
// read before anything is added to it only if sources are emptied first.
func (s *Solver) apply(a int) {
	k := &s.walk
	moves := s.m.moves[a]
	s.flow = s.flow[:0]
	for i := range moves {
		w := k.w[moves[i].from]
		s.flow = append(s.flow, w)
		k.w[moves[i].from] = w * moves[i].stay
	}
	for i := range moves {
		if s.flow[i] == 0 {
			continue
		}
		for _, t := range moves[i].to {
			if !k.in[t.to] {
				k.in[t.to] = true
				k.list = append(k.list, t.to)
			}
			k.w[t.to] += s.flow[i] * t.p
		}
	}
}
