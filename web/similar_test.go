package web

import (
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/web/browsertest"
)

// ended opens a job with a code, ends it with an outcome and causes, and returns it.
func (r *rig) ended(outcome string, causes ...diag.CauseRef) int64 {
	r.t.Helper()
	job := r.job("P0171")
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	r.override(job, "no_part")
	if err := r.store.CloseJob(r.t.Context(), r.people[store.Technician].ID, store.Closing{JobID: job, Outcome: outcome, Causes: causes}); err != nil {
		r.t.Fatal(err)
	}
	return job
}

func TestSimilarJobs(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	b := r.as(store.Technician)
	b.get(at(job, "")).want(t, 200).lacks(t, "Like it in this shop")
	exhaust := r.ended(store.OutcomeConfirmed, diag.CauseRef{Cause: "exhaust_leak_upstream", Bank: 1})
	fuel := r.ended(store.OutcomeConfirmed, diag.CauseRef{Cause: "fuel_delivery_low"})
	lost := r.ended(store.OutcomeNotFound)
	for _, e := range []diag.Entry{{Kind: diag.KindCode, Code: "P0171", Status: "stored"},
		{Kind: diag.KindTrim, Bank: 1, State: "idle", ShortPct: new(6.0), LongPct: new(16.0)}, {Kind: diag.KindTrim, Bank: 2, State: "idle", ShortPct: new(1.0), LongPct: new(2.0)},
		{Kind: diag.KindTrim, Bank: 1, State: "cruise", ShortPct: new(1.0), LongPct: new(4.0)}, {Kind: diag.KindTrim, Bank: 2, State: "cruise", ShortPct: new(1.0), LongPct: new(1.0)}} {
		r.entry(job, e)
	}
	order := func(body string) (at []int) {
		_, list, _ := strings.Cut(body, `id="similar"`)
		list, _, _ = strings.Cut(list, "</ul>")
		for _, j := range []int64{exhaust, fuel, lost} {
			at = append(at, strings.Index(list, `href="/jobs/`+itoa(j)+`"`))
		}
		return at
	}
	t.Run("ranks by how likely what was found is under what it turned out to be", func(t *testing.T) {
		// Bank 1 alone, at idle: a leak ahead of its sensor, not fuel, which starves both
		// banks and most under load (common practice).
		a := b.get(at(job, "")).want(t, 200, "Like it in this shop", "P0171 in common", "times likelier", "The cause was not found")
		if o := order(a.body); o[0] < 0 || o[0] > o[1] || o[1] > o[2] {
			t.Errorf("exhaust, fuel and the lost one stand at %v", o)
		}
	})
	t.Run("turns with the evidence", func(t *testing.T) {
		for _, e := range []diag.Entry{{Kind: diag.KindResult, Test: "exhaust_leak_test", Outcome: "none"},
			{Kind: diag.KindFuelPressure, KPa: new(190.0), KPaLow: new(290.0), KPaHigh: new(320.0)}} {
			r.entry(job, e)
		}
		if o := order(b.get(at(job, "")).want(t, 200).body); o[1] < 0 || o[1] > o[0] {
			t.Errorf("exhaust and fuel stand at %v", o)
		}
	})
	t.Run("says that one came back", func(t *testing.T) {
		if err := r.store.LinkComeback(t.Context(), r.people[store.Writer].ID, store.NewComeback{JobID: r.sameCar(exhaust), EarlierID: exhaust, Kind: "repair_failed"}); err != nil {
			t.Fatal(err)
		}
		b.get(at(job, "")).want(t, 200, "It came back.")
	})
	p := browsertest.Open(t, r.site.URL, browsertest.Tablet)
	logInAt(p, "tomas")
	p.Go(at(job, ""))
	if o := p.Overflow(); o > 0 {
		t.Errorf("%g px wider than the tablet", o)
	}
	p.Shot("similar")
}

// sameCar opens another job on the car of one.
func (r *rig) sameCar(job int64) int64 {
	r.t.Helper()
	f, err := r.store.JobFile(r.t.Context(), job)
	if err != nil {
		r.t.Fatal(err)
	}
	id, err := r.store.OpenJob(r.t.Context(), r.people[store.Writer].ID, store.Intake{ID: store.NewID(), Vehicle: f.Vehicle, Customer: f.Customer, Concern: "Again.", OdometerUnit: "mi"})
	if err != nil {
		r.t.Fatal(err)
	}
	return id
}

func TestAlikeWords(t *testing.T) {
	for ratio, want := range map[float64]string{4321: "over 1000 times likelier", 41.6: "42 times likelier", 2.34: "2.3 times likelier", 1: "nothing for or against",
		0.25: "4.0 times less likely", 0: "does not fit"} {
		if s := templates.AlikeWords(nil, ratio); !strings.Contains(s, want) {
			t.Errorf("%g: %q", ratio, s)
		}
	}
}
