package plan

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-7*math.Max(1, math.Abs(b)) }

func TestSolverAgreesWithTryingEverything(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	var s Solver
	for i := range 150 {
		p := randomProblem(rng)
		want := naiveValue(p)
		r, err := s.Solve(p, Options{Budget: 1 << 40, Depth: 1000})
		if err != nil {
			t.Fatal(err)
		}
		if !near(r.Total, want) || !near(r.Lower, want) {
			t.Fatalf("trial %d: %v to %v, want %v\n%+v", i, r.Lower, r.Total, want, *p)
		}
		if v := enact(t, p, r.Plan); !near(v, want) {
			t.Fatalf("trial %d: the plan costs %v, want %v\n%+v", i, v, want, *p)
		}
		// However little is looked at, the bounds hold on both sides.
		for _, b := range []int{1, 30, 300, 3000} {
			r, err := s.Solve(p, Options{Budget: b, Depth: 1000})
			if err != nil {
				t.Fatal(err)
			}
			if r.Lower > want+1e-7*math.Max(1, math.Abs(want)) || r.Total < want-1e-7*math.Max(1, math.Abs(want)) {
				t.Fatalf("trial %d, budget %d: %v to %v do not hold %v\n%+v", i, b, r.Lower, r.Total, want, *p)
			}
			if v := enact(t, p, r.Plan); !near(v, r.Total) {
				t.Fatalf("trial %d, budget %d: the plan costs %v, not %v as said\n%+v", i, b, v, r.Total, *p)
			}
		}
	}
}

// enact is what a plan costs when it is carried out, which it refuses if a step
// is not allowed. It uses nothing of the solver.
func enact(t *testing.T, p *Problem, plan *Tree) float64 {
	t.Helper()
	w := make([]float64, len(p.Hypotheses))
	total := 0.0
	for h := range w {
		w[h] = p.Hypotheses[h].P
		total += w[h]
	}
	for h := range w {
		w[h] /= total
	}
	var walk func(k *Tree, w []float64, asked, ever, done uint64, open uint32) float64
	walk = func(k *Tree, w []float64, asked, ever, done uint64, open uint32) float64 {
		m := mass(w)
		if k == nil {
			if m > 1e-9 {
				t.Errorf("no plan for a branch of probability %v", m)
			}
			return 0
		}
		setups := func(need uint32) (c float64) {
			for i, s := range p.Setups {
				if (need&^open)>>i&1 == 1 {
					c += s.Cost
				}
			}
			return c
		}
		var v float64
		switch i := k.Index; k.Kind {
		case Finish:
			ok := len(p.Stops[i].Needs) == 0
			for _, q := range p.Stops[i].Needs {
				ok = ok || ever>>q&1 == 1
			}
			if !ok {
				t.Errorf("stop %d is not open", i)
			}
			v = m * setups(p.Stops[i].Setup)
			for h, x := range w {
				v += x * p.Stops[i].Loss[h]
			}
		case Ask:
			q := p.Questions[i]
			if asked>>i&1 == 1 {
				t.Errorf("question %d is asked twice", i)
			}
			v = m * (q.Cost + setups(q.Setup))
			for o, out := range q.Outcomes {
				x := make([]float64, len(w))
				for h := range w {
					x[h] = w[h] * out.P[h]
				}
				v += walk(k.Then[o], x, asked|1<<i, ever|1<<i, done, (open|q.Setup|q.Leaves)&^q.Ends)
			}
		case Do:
			a := p.Actions[i]
			ok := len(a.Needs) == 0
			for _, q := range a.Needs {
				ok = ok || ever>>q&1 == 1
			}
			if !ok || done>>i&1 == 1 {
				t.Errorf("action %d is not allowed", i)
			}
			for q, qu := range p.Questions {
				if qu.Repeats {
					asked &^= 1 << q
				}
			}
			x, _ := mended(p, a, w)
			v = m*(a.Cost+setups(a.Setup)) + walk(k.Then[0], x, asked, ever, done|1<<i, (open|a.Setup)&^a.Ends)
		}
		if !near(v, k.Total*k.P) || !near(m, k.P) {
			t.Errorf("%v says %v with probability %v, is %v with %v", k.Step, k.Total, k.P, v/m, m)
		}
		return v
	}
	return walk(plan, w, 0, 0, 0, p.Open)
}

func TestTheSameBudgetGivesTheSameAnswer(t *testing.T) {
	m := randomSingle(rand.New(rand.NewPCG(3, 3)), 9, 4)
	var used Solver
	if _, err := used.Solve(coherent().problem(), Options{}); err != nil {
		t.Fatal(err)
	}
	first, err := Solve(m.problem(), Options{Budget: 20_000, Depth: 4})
	if err != nil {
		t.Fatal(err)
	}
	again, err := used.Solve(m.problem(), Options{Budget: 20_000, Depth: 4})
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(first, again) {
		t.Errorf("%+v and %+v", first, again)
	}
}

func TestMoreBudgetNeverWidensTheLowerBound(t *testing.T) {
	m := randomSingle(rand.New(rand.NewPCG(3, 4)), 9, 3)
	low := math.Inf(-1)
	for b := 100; b <= 1_000_000; b *= 10 {
		r, err := Solve(m.problem(), Options{Budget: b})
		if err != nil {
			t.Fatal(err)
		}
		if r.Lower < low-1e-9 {
			t.Errorf("budget %d: the lower bound falls from %v to %v", b, low, r.Lower)
		}
		low = r.Lower
	}
}

// The optimum of a single-fault model by dynamic programming, against which the
// benchmark measures, is itself checked by trying everything.
func TestTheOptimumAgreesWithTryingEverything(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	var o optimum
	for range 12 {
		m := randomSingle(rng, 3, 2)
		if got, want := o.solve(m), naiveValue(m.problem()); math.Abs(got-want) > 1e-5*want {
			t.Errorf("%v, want %v", got, want)
		}
	}
}

func TestPublishedSizesAreSolvedToTheOptimum(t *testing.T) {
	var o optimum
	var s Solver
	for _, size := range publishedSizes[:4] {
		t.Run(fmt.Sprintf("%d actions and %d questions", size[0], size[1]), func(t *testing.T) {
			rng := rand.New(rand.NewPCG(uint64(size[0]), uint64(size[1])))
			for range 10 {
				m := randomSingle(rng, size[0], size[1])
				best := o.solve(m)
				r, err := s.Solve(m.problem(), Options{})
				if err != nil {
					t.Fatal(err)
				}
				if !r.Exact || math.Abs(r.Total-best) > 1e-5*best {
					t.Errorf("%v to %v, the optimum is %v", r.Lower, r.Total, best)
				}
				for _, by := range []rule{ruleNoQuestions, ruleNowOrNever, ruleThreeWay} {
					if v := m.follow(by); v < best*(1-1e-5) {
						t.Errorf("rule %d costs %v, below the optimum %v", by, v, best)
					}
				}
			}
		})
	}
}

// lift is two tests that need the same set-up, either of which alone is not
// worth it.
func lift(ends uint32) *Problem {
	p := &Problem{
		Hypotheses: []Hypothesis{{0, 0.25}, {1, 0.25}, {2, 0.25}, {3, 0.25}},
		Setups:     []Setup{{"lift", 10}},
		Stops: []Stop{{ID: "00", Loss: []float64{0, 40, 40, 40}}, {ID: "01", Loss: []float64{40, 0, 40, 40}},
			{ID: "10", Loss: []float64{40, 40, 0, 40}}, {ID: "11", Loss: []float64{40, 40, 40, 0}}},
	}
	for b := range 2 {
		q := Question{Cost: 1, Setup: 1, Ends: ends, Outcomes: []Outcome{{P: make([]float64, 4)}, {P: make([]float64, 4)}}}
		for h := range 4 {
			q.Outcomes[h>>b&1].P[h] = 1
		}
		p.Questions = append(p.Questions, q)
	}
	return p
}

func TestSetups(t *testing.T) {
	t.Run("are paid once by the steps that share them", func(t *testing.T) {
		if r := solveFully(t, lift(0)); !near(r.Total, 10+1+1) {
			t.Errorf("costs %v, want 12", r.Total)
		}
	})
	t.Run("are paid again once a step has undone them", func(t *testing.T) {
		if r := solveFully(t, lift(1)); !near(r.Total, 2*(10+1)) {
			t.Errorf("costs %v, want 22", r.Total)
		}
	})
	t.Run("are paid by the end that still needs them", func(t *testing.T) {
		p := lift(0)
		for i := range p.Stops {
			p.Stops[i].Setup = 1
		}
		if r := solveFully(t, p); !near(r.Total, 10+1+1) {
			t.Errorf("costs %v, want 12", r.Total)
		}
		for i := range p.Questions {
			p.Questions[i].Ends = 1
		}
		if r := solveFully(t, p); !near(r.Total, 3*10+1+1) {
			t.Errorf("costs %v, want 32", r.Total)
		}
	})
	t.Run("cost nothing where they are in place", func(t *testing.T) {
		p := lift(0)
		p.Open = 1
		if r := solveFully(t, p); !near(r.Total, 2) {
			t.Errorf("costs %v, want 2", r.Total)
		}
	})
}

func TestValidateNamesWhatIsWrong(t *testing.T) {
	for _, x := range []struct {
		name, field string
		spoil       func(p *Problem)
	}{
		{"no hypothesis", "hypotheses", func(p *Problem) { p.Hypotheses = nil }},
		{"no stop", "stops", func(p *Problem) { p.Stops = nil }},
		{"a negative weight", "hypotheses[1].p", func(p *Problem) { p.Hypotheses[1].P = -1 }},
		{"no weight at all", "hypotheses", func(p *Problem) {
			for i := range p.Hypotheses {
				p.Hypotheses[i].P = 0
			}
		}},
		{"a cost that is not a number", "questions[0].cost", func(p *Problem) { p.Questions[0].Cost = math.NaN() }},
		{"answers that do not add up", "questions[0].outcomes[*].p[1]", func(p *Problem) { p.Questions[0].Outcomes[0].P[1] *= 0.5 }},
		{"an answer too short", "questions[0].outcomes[0].p", func(p *Problem) { p.Questions[0].Outcomes[0].P = nil }},
		{"a set-up that is not there", "actions[0].setup", func(p *Problem) { p.Actions[0].Setup = 1 << 5 }},
		{"a mend that never works", "actions[0].mends[0].p", func(p *Problem) { p.Actions[0].Mends[0].P = 0 }},
		{"a set-up of an end that is not there", "stops[0].setup", func(p *Problem) { p.Stops[0].Setup = 1 << 5 }},
		{"a fault beyond the last bit", "actions[0].mends[0].fault", func(p *Problem) { p.Actions[0].Mends[0].Fault = MaxFaults }},
		{"a need that is no question", "actions[0].needs[0]", func(p *Problem) { p.Actions[0].Needs = []int{-1} }},
		{"a stop's need that is no question", "stops[0].needs[0]", func(p *Problem) { p.Stops[0].Needs = []int{99} }},
		{"no stop that is always open", "stops", func(p *Problem) { p.Stops[0].Needs = []int{0} }},
		{"an infinite loss", "stops[0].loss[1]", func(p *Problem) { p.Stops[0].Loss[1] = math.Inf(1) }},
		{"a state an action leads to that is not listed", "hypotheses[1]", func(p *Problem) { p.Hypotheses[0].Faults = 1 << 60 }},
		{"a state listed twice", "hypotheses[1]", func(p *Problem) { p.Hypotheses[2].Faults = 0 }},
	} {
		t.Run(x.name, func(t *testing.T) {
			p := randomSingle(rand.New(rand.NewPCG(1, 1)), 3, 2).problem()
			if err := p.Validate(); err != nil {
				t.Fatal(err)
			}
			x.spoil(p)
			_, err := Solve(p, Options{})
			e, ok := errors.AsType[*Error](err)
			if !ok {
				t.Fatalf("%v, want an Error", err)
			}
			if e.Field != x.field || e.Mend == "" || !strings.Contains(err.Error(), e.Mend) {
				t.Errorf("%v, want the field %s and a mend", err, x.field)
			}
		})
	}
}

func FuzzSolve(f *testing.F) {
	f.Add(uint64(1), uint64(2), 1000, 3)
	f.Add(uint64(9), uint64(0), 1, 50)
	f.Fuzz(func(t *testing.T, a, b uint64, budget, depth int) {
		p := randomProblem(rand.New(rand.NewPCG(a, b)))
		r, err := Solve(p, Options{Budget: budget % 100_000, Depth: depth % 1000})
		if err != nil {
			t.Fatal(err)
		}
		if math.IsNaN(r.Total) || r.Lower > r.Total || len(r.Steps) == 0 || r.Steps[0].Step != r.Best {
			t.Fatalf("%+v", r)
		}
	})
}
