package web

import (
	"context"
	"math"

	"crosscount/diag"
	"crosscount/store"
)

const (
	modelWeighs  = 5   // measurements that the model's minutes count as
	minutesStep  = 0.5 // so that not every measurement changes every case
	minutesYears = 2   // older measurements are another shop's
)

// testMinutes sums up what tests took in this shop.
func (s *server) testMinutes(ctx context.Context) ([]store.TestMinutes, error) {
	return s.store.TestMinutes(ctx, store.Period{From: s.now().AddDate(-minutesYears, 0, 0), To: s.now()})
}

// weighed are the minutes that the engine reckons with, by test, where they are not the
// model's. The median stands for the measurements: a clock left running over lunch
// does not move it. Few measurements are drawn towards the model.
func weighed(took []store.TestMinutes) map[string]float64 {
	var out map[string]float64
	for _, m := range took {
		t, ok := diag.TestByID(m.Test)
		if !ok {
			continue
		}
		mean := (modelWeighs*t.Minutes + float64(m.Times)*m.Median) / float64(modelWeighs+m.Times)
		if mean = max(minutesStep, math.Round(mean/minutesStep)*minutesStep); mean != t.Minutes {
			if out == nil {
				out = map[string]float64{}
			}
			out[m.Test] = mean
		}
	}
	return out
}
