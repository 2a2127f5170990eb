package plan

import (
	"math"
	"math/rand/v2"
	"testing"
)

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-7*math.Max(1, math.Abs(b)) }

func TestSolverAgreesWithTryingEverything(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	var s Solver
	trials := 1000
	if testing.Short() {
		trials = 200
	}
	for i := range trials {
		p := randomProblem(rng)
		want := naiveValue(p)
		r, err := s.Solve(p, Options{Budget: 1 << 40})
		if err != nil {
			t.Fatal(err)
		}
		if !near(r.Total, want) || !near(r.Lower, want) {
			t.Fatalf("trial %d: %v to %v, want %v\n%+v", i, r.Lower, r.Total, want, *p)
		}
	}
}
