package web

import (
	"fmt"
	"testing"

	"crosscount/diag"
	"crosscount/store"
)

func TestMinutesWeighed(t *testing.T) {
	info, _ := diag.TestByID("intake_smoke")
	for _, c := range []struct {
		what   string
		times  int
		median float64
		want   float64
	}{
		{"one measurement moves the model's figure by a sixth", 1, info.Minutes + 12, info.Minutes + 2},
		{"five count as much as the model", 5, info.Minutes + 12, info.Minutes + 6},
		{"many all but replace it", 1000, 40, 40},
		{"an instant still takes half a minute", 100000, 0.01, 0.5},
	} {
		t.Run(c.what, func(t *testing.T) {
			if got := weighed([]store.TestMinutes{{Test: info.ID, Times: c.times, Median: c.median}})[info.ID]; got != c.want {
				t.Errorf("%g min, want %g", got, c.want)
			}
		})
	}
	t.Run("what rounds to the model's figure stays out of the case", func(t *testing.T) {
		if got := weighed([]store.TestMinutes{{Test: info.ID, Times: 1, Median: info.Minutes + 1}, {Test: "no_longer_known", Times: 9, Median: 3}}); got != nil {
			t.Errorf("%v", got)
		}
	})
}

func TestMinutesOfTheShopReachTheEngine(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Technician)
	job := r.job("P0171")
	r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: 1, State: "idle", ShortPct: new(8.0), LongPct: new(14.0)})
	kase := func() diag.Case {
		d, err := r.server.desk(t.Context(), job)
		if err != nil || d.noFit != "" {
			t.Fatal(err, d.noFit)
		}
		return d.kase
	}
	if m := kase().Costs.TestMinutes; m != nil {
		t.Fatalf("nothing was timed, yet the case has %v", m)
	}
	before := diag.Fingerprint(kase())
	other := r.job("P0172")
	var timed []item
	for range 5 {
		timed = append(timed, item{ID: store.NewID(), Job: other, Test: "intake_smoke", Minutes: 45})
	}
	if _, out := b.send(t, nil, timed...); len(out.Results) != 5 || out.Results[4].State != itemArrived {
		t.Fatalf("%+v", out)
	}
	info, _ := diag.TestByID("intake_smoke")
	want := (info.Minutes + 45) / 2
	if m := kase().Costs.TestMinutes["intake_smoke"]; m != want {
		t.Errorf("the case has %g min, want %g", m, want)
	}
	if diag.Fingerprint(kase()) == before {
		t.Error("the decision is kept under the old minutes")
	}
	b.get(fmt.Sprintf("/jobs/%d/bay", job)).want(t, 200, "Done here 5 times", "weighs this 5 to 5")
	b.get(fmt.Sprintf("/jobs/%d/case.json", job)).want(t, 200, `"test_minutes"`)
}
