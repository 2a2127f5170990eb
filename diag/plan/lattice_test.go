package plan

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// classic is a small problem of the kind that the lattice values, less plain than
// randomSingle's: a gain once mended, two calls for help, a question that says
// nothing and an action that mends nothing.
func classic(rng *rand.Rand) *Problem {
	k := rng.IntN(2)
	m := randomSingle(rng, 2+k, 2-k)
	p := m.problem()
	n := len(p.Hypotheses)
	p.Stops[0].Loss[0] = -m.help * rng.Float64()
	other := Stop{ID: "other", Loss: slices.Repeat([]float64{m.help * 2 * rng.Float64()}, n)}
	if rng.IntN(2) == 0 {
		p.Stops = append(p.Stops, other)
	} else {
		p.Stops = append([]Stop{other}, p.Stops...)
	}
	p.Questions = append(p.Questions, Question{Outcomes: []Outcome{{P: slices.Repeat([]float64{1}, n)}}})
	p.Actions = append(p.Actions, Action{Cost: 1})
	return p
}

func TestLatticeAgreesWithTryingEverything(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	var s Solver
	valued := 0
	for i := range 60 {
		p := classic(rng)
		want := naiveValue(p)
		r, err := s.Solve(p, Options{Budget: 100_000, Depth: 1000})
		if err != nil {
			t.Fatal(err)
		}
		if known := r.Best.Kind == Finish; !known && (!s.lattice.ready || !s.lattice.full) || !r.Exact {
			t.Fatalf("trial %d: not valued state by state: %+v", i, r)
		}
		if s.lattice.ready {
			valued++
		}
		if v := enact(t, p, r.Plan); !near(r.Total, want) || !near(r.Lower, want) || !near(v, want) {
			t.Fatalf("trial %d: %v to %v, the plan costs %v, want %v\n%+v", i, r.Lower, r.Total, v, want, *p)
		}
	}
	if valued < 30 {
		t.Errorf("only %d of them were worth a plan", valued)
	}
}

// The value of each first step is its cost and the optimum of what is left.
func TestLatticeValuesEachFirstStep(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 2))
	var o optimum
	best := func(m *single, w []float64, done, asked uint64) float64 {
		left, _, _ := m.left(w, done, asked)
		return mass(w) * o.solve(left)
	}
	for range 10 {
		m := randomSingle(rng, 5, 3)
		r, err := Solve(m.problem(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Steps) != 5+3+1 {
			t.Errorf("%d first steps, want 9", len(r.Steps))
		}
		for _, c := range r.Steps {
			want := m.help
			switch c.Kind {
			case Do:
				want = m.cost[c.Index] + best(m, m.fail(m.prior, c.Index), 1<<c.Index, 0)
			case Ask:
				want = m.qcost[c.Index]
				for k := range m.ans[c.Index] {
					want += best(m, m.answer(m.prior, c.Index, k), 0, 1<<c.Index)
				}
			}
			if math.Abs(c.Total-want) > 1e-5*want || !near(c.Lower, c.Total) || c.Lower > c.Total {
				t.Errorf("%v: %v to %v, want %v", c.Step, c.Lower, c.Total, want)
			}
		}
	}
}

// Where not every state can be valued the plan is still one that can be carried
// out at the cost said, and the bounds hold.
func TestPartOfTheLatticeIsAPolicy(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 3))
	var o optimum
	var s Solver
	const end = 500
	part, left, improved := 0, 0, 0
	for i := range 16 {
		m := randomSingle(rng, 9+rng.IntN(2), 3+rng.IntN(2))
		if i%2 == 0 { // and an action that cannot fail
			m.cost = append(m.cost, 1.1*o.solve(m))
			m.mends = append(m.mends, slices.Repeat([]float64{1}, len(m.prior)))
		}
		p := m.problem()
		p.Stops[0].Loss[0] = end
		for h := range p.Stops[0].Loss[1:] {
			p.Stops[0].Loss[h+1] += end
		}
		best := end + o.solve(m)
		for _, budget := range []int{25_000, 50_000, 100_000} {
			r, err := s.Solve(p, Options{Budget: budget, Depth: 1000})
			if err != nil {
				t.Fatal(err)
			}
			if s.lattice.ready && !s.lattice.full {
				part++
				if s.nodes[0].best != bestLattice {
					improved++
				}
				idx, w := s.belief(&s.nodes[0])
				total, plan := s.read(scene{s.nodes[0].state, idx, w}, 1, 1000)
				if v := enact(t, p, plan); !near(v, total) || !near(v, s.lattice.total(1)) {
					t.Errorf("budget %d: the plan of the states valued costs %v, not %v", budget, v, total)
				}
				if len(s.lattice.tail) > 0 && plan.has(s.lattice.tail[0].Step) {
					left++
				}
			}
			if r.Total < best*(1-1e-5) || r.Lower > best*(1+1e-5) || r.Total-end > 1.2*(best-end) {
				t.Errorf("budget %d: %v to %v, the optimum is %v", budget, r.Lower, r.Total, best)
			}
			if v := enact(t, p, r.Plan); !near(v, r.Total) {
				t.Errorf("budget %d: the plan costs %v, not %v as said", budget, v, r.Total)
			}
		}
	}
	if part < 10 || left < 5 || improved < 5 {
		t.Errorf("%d in part, %d with the actions left out at the end, %d improved by the search: too few to tell", part, left, improved)
	}
}

func TestWhatIsNotClassicIsSearched(t *testing.T) {
	for _, x := range []struct {
		name  string
		spoil func(p *Problem)
	}{
		{"a proof that costs something", func(p *Problem) { proofOf(p).Cost = 1 }},
		{"a proof that may err", func(p *Problem) {
			last := len(p.Hypotheses) - 1
			proofOf(p).Outcomes[0].P[last], proofOf(p).Outcomes[1].P[last] = 0.1, 0.9
		}},
		{"a proof that may miss", func(p *Problem) { proofOf(p).Outcomes[0].P[0], proofOf(p).Outcomes[1].P[0] = 0.8, 0.2 }},
		{"a set-up", func(p *Problem) {
			p.Setups = []Setup{{Cost: 5}}
			p.Actions[0].Setup, p.Questions[0].Setup = 1, 1
		}},
		{"an action that needs a question", func(p *Problem) { p.Actions[0].Needs = []int{0} }},
		{"a stop that needs a question", func(p *Problem) {
			p.Stops = append(p.Stops, Stop{Loss: make([]float64, len(p.Hypotheses)), Needs: []int{0}})
			for h := range p.Stops[1].Loss {
				p.Stops[1].Loss[h] = p.Stops[0].Loss[h] / 2
			}
		}},
		{"a loss that depends on the fault", func(p *Problem) { p.Stops[0].Loss[1] /= 4 }},
		{"two faults at once", func(p *Problem) {
			p.Hypotheses = append(p.Hypotheses, Hypothesis{Faults: 0b11, P: 0.5})
			for q := range p.Questions {
				for o := range p.Questions[q].Outcomes {
					out := &p.Questions[q].Outcomes[o]
					out.P = append(out.P, out.P[1])
				}
			}
			p.Stops[0].Loss = append(p.Stops[0].Loss, p.Stops[0].Loss[1])
		}},
		{"a chance that nothing is wrong", func(p *Problem) { p.Hypotheses[0].P = 0.3 }},
	} {
		t.Run(x.name, func(t *testing.T) {
			rng := rand.New(rand.NewPCG(11, 4))
			for range 5 {
				p := randomSingle(rng, 2, 1).problem()
				x.spoil(p)
				var s Solver
				r, err := s.Solve(p, Options{Budget: 1 << 40, Depth: 1000})
				if err != nil {
					t.Fatal(err)
				}
				if s.lattice.ready {
					t.Error("taken for classic")
				}
				want := naiveValue(p)
				if v := enact(t, p, r.Plan); !near(r.Total, want) || !near(r.Lower, want) || !near(v, want) {
					t.Errorf("%v to %v, the plan costs %v, want %v", r.Lower, r.Total, v, want)
				}
			}
		})
	}
}

func proofOf(p *Problem) *Question {
	return &p.Questions[slices.IndexFunc(p.Questions, func(q Question) bool { return q.Repeats })]
}

// has reports whether the plan takes a step anywhere.
func (k *Tree) has(x Step) bool {
	return k != nil && (k.Step == x || slices.ContainsFunc(k.Then, func(k *Tree) bool { return k.has(x) }))
}
