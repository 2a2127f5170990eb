package plan

import (
	"math"
	"math/rand/v2"
)

// naive is the optimum by trying everything: no bounds, no shared states, no
// rule that a free question is asked at once. It shares nothing with the solver
// but the Problem and is exponential in everything.
type naive struct{ p *Problem }

func (n naive) value(w []float64, asked, ever, done uint64, open uint32) float64 {
	p := n.p
	var mass float64
	for _, x := range w {
		mass += x
	}
	if mass == 0 {
		return 0
	}
	setups := func(need uint32) float64 {
		var c float64
		for i, s := range p.Setups {
			if need>>i&1 == 1 && open>>i&1 == 0 {
				c += s.Cost
			}
		}
		return c
	}
	best := math.Inf(1)
	for _, s := range p.Stops {
		ready := len(s.Needs) == 0
		for _, q := range s.Needs {
			ready = ready || ever>>q&1 == 1
		}
		if !ready {
			continue
		}
		l := mass * setups(s.Setup)
		for h, x := range w {
			l += x * s.Loss[h]
		}
		best = math.Min(best, l)
	}
	for q, qu := range p.Questions {
		if asked>>q&1 == 1 {
			continue
		}
		v := mass * (qu.Cost + setups(qu.Setup))
		for _, out := range qu.Outcomes {
			x := make([]float64, len(w))
			for h := range w {
				x[h] = w[h] * out.P[h]
			}
			v += n.value(x, asked|1<<q, ever|1<<q, done, (open|qu.Setup|qu.Leaves)&^qu.Ends)
		}
		best = math.Min(best, v)
	}
	for a, ac := range p.Actions {
		if done>>a&1 == 1 {
			continue
		}
		ok := len(ac.Needs) == 0
		for _, q := range ac.Needs {
			ok = ok || ever>>q&1 == 1
		}
		if !ok {
			continue
		}
		x, changed := mended(p, ac, w)
		if !changed {
			continue // an action that can change nothing is never taken
		}
		again := asked
		for q, qu := range p.Questions {
			if qu.Repeats {
				again &^= 1 << q
			}
		}
		v := mass*(ac.Cost+setups(ac.Setup)) + n.value(x, again, ever, done|1<<a, (open|ac.Setup)&^ac.Ends)
		best = math.Min(best, v)
	}
	return best
}

// mended is the belief after an action, one mend after the other, and whether it
// changed.
func mended(p *Problem, ac Action, w []float64) (x []float64, changed bool) {
	x = make([]float64, len(w))
	var mends uint64
	for _, m := range ac.Mends {
		mends |= 1 << m.Fault
	}
	for h := range w {
		// Sets of faults with probabilities.
		now := map[uint64]float64{p.Hypotheses[h].Faults: w[h]}
		blocked := p.Hypotheses[h].Faults &^ mends
		for _, m := range ac.Mends {
			if blocked&m.Unless != 0 {
				continue
			}
			next := map[uint64]float64{}
			for f, v := range now {
				if f>>m.Fault&1 == 1 {
					next[f&^(1<<m.Fault)] += v * m.P
					if m.P < 1 {
						next[f] += v * (1 - m.P)
					}
				} else {
					next[f] += v
				}
			}
			now = next
		}
		for f, v := range now {
			if v == 0 {
				continue
			}
			for g := range w {
				if p.Hypotheses[g].Faults == f {
					x[g] += v
					changed = changed || g != h
				}
			}
		}
	}
	return x, changed
}

func naiveValue(p *Problem) float64 {
	w := make([]float64, len(p.Hypotheses))
	var sum float64
	for h := range w {
		w[h] = p.Hypotheses[h].P
		sum += w[h]
	}
	for h := range w {
		w[h] /= sum
	}
	return naive{p}.value(w, 0, 0, 0, p.Open)
}

// randomProblem draws a small problem with everything in it: several faults at
// once, proofs that err, shared set-ups that others end, imperfect mends, mends
// that another fault undoes, actions and stops that need a question first.
func randomProblem(rng *rand.Rand) *Problem {
	p := &Problem{}
	faults := 1 + rng.IntN(3)
	for f := range uint64(1) << faults {
		w := rng.Float64()
		if rng.IntN(4) == 0 {
			w = 0
		}
		p.Hypotheses = append(p.Hypotheses, Hypothesis{Faults: f, P: w})
	}
	p.Hypotheses[rng.IntN(len(p.Hypotheses))].P = 1
	n := len(p.Hypotheses)
	for range rng.IntN(3) {
		p.Setups = append(p.Setups, Setup{Cost: 5 * rng.Float64()})
	}
	mask := func() uint32 {
		if rng.IntN(2) == 0 {
			return 0
		}
		return rng.Uint32() & (1<<len(p.Setups) - 1)
	}
	p.Open = mask()
	cost := func(scale float64) float64 {
		if rng.IntN(6) == 0 {
			return 0
		}
		return scale * rng.Float64()
	}
	for range rng.IntN(4) {
		q := Question{Cost: cost(3), Setup: mask(), Leaves: mask(), Ends: mask()}
		k := 2 + rng.IntN(2)
		for range k {
			q.Outcomes = append(q.Outcomes, Outcome{P: make([]float64, n)})
		}
		for h := range n {
			var sum float64
			for o := range k {
				x := rng.ExpFloat64()
				if rng.IntN(4) == 0 {
					x = 0
				}
				q.Outcomes[o].P[h] = x
				sum += x
			}
			for o := range k {
				if sum == 0 {
					q.Outcomes[o].P[h] = 1 / float64(k)
				} else {
					q.Outcomes[o].P[h] /= sum
				}
			}
		}
		p.Questions = append(p.Questions, q)
	}
	if rng.IntN(3) > 0 {
		q := Question{Cost: cost(4), Repeats: true, Setup: mask(), Ends: mask(), Outcomes: []Outcome{{P: make([]float64, n)}, {P: make([]float64, n)}}}
		wrong := 0.0
		if rng.IntN(2) == 0 {
			wrong = 0.2 * rng.Float64()
		}
		for h := range n {
			pass := wrong
			if h == 0 {
				pass = 1
			}
			q.Outcomes[0].P[h], q.Outcomes[1].P[h] = pass, 1-pass
		}
		p.Questions = append(p.Questions, q)
	}
	for range rng.IntN(4) {
		a := Action{Cost: cost(10), Setup: mask(), Ends: mask()}
		for _, f := range rng.Perm(faults)[:1+rng.IntN(min(2, faults))] {
			m := Mend{Fault: f, P: 1}
			if rng.IntN(2) == 0 {
				m.P = 0.2 + 0.8*rng.Float64()
			}
			if rng.IntN(3) == 0 {
				m.Unless = rng.Uint64() & (1<<faults - 1)
			}
			a.Mends = append(a.Mends, m)
		}
		if len(p.Questions) > 0 && rng.IntN(3) == 0 {
			for range 1 + rng.IntN(2) {
				a.Needs = append(a.Needs, rng.IntN(len(p.Questions)))
			}
		}
		p.Actions = append(p.Actions, a)
	}
	for range 1 + rng.IntN(3) {
		s := Stop{Loss: make([]float64, n), Setup: mask()}
		for h := range n {
			s.Loss[h] = 40 * rng.Float64()
			if h == 0 && rng.IntN(2) == 0 {
				s.Loss[h] = -10 * rng.Float64()
			}
		}
		if len(p.Stops) > 0 && len(p.Questions) > 0 && rng.IntN(2) == 0 {
			s.Needs = []int{rng.IntN(len(p.Questions))}
		}
		p.Stops = append(p.Stops, s)
	}
	return p
}
