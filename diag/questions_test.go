package diag

import (
	"slices"
	"testing"
)

// A question keeps its answers by what has a say in them. That must not merge
// explanations that it can tell apart.
func TestAnswersAreKeptByWhatHasASay(t *testing.T) {
	for _, v := range []Vehicle{fiveSensors, tenSensors} {
		for seed := range uint64(2) {
			d := trade().weigh(workedOn(v, 5, seed+1), nil)
			kept := 0
			for _, q := range d.c.questions(d.pr.likely()) {
				bare := q
				bare.moves = nil
				for i := range d.hyps {
					if got, want := q.of(d.c, &d.hyps[i]), bare.of(d.c, &d.hyps[i]); !slices.Equal(got, want) {
						t.Fatalf("%s at sensor %d, explanation %d: %v, without memory %v", d.c.w.m.Tests[q.test].ID, q.sensor, i, got, want)
					}
				}
				if q.moves != nil {
					kept += len(d.hyps) - len(q.keys)
				}
			}
			if kept == 0 {
				t.Error("no answer was asked for twice, so that nothing was tried")
			}
		}
	}
}
