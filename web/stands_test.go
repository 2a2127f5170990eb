package web

import (
	"slices"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
)

// How the car stands is said or follows from the tests made, and what time does to it.
func TestHowTheCarStands(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	ready := func(what string, want ...string) {
		t.Helper()
		d, err := r.server.desk(t.Context(), job)
		if err != nil || d.noFit != "" {
			t.Fatal(err, d.noFit)
		}
		if !slices.Equal(d.kase.Ready, want) {
			t.Errorf("%s: %q is in place, want %q", what, d.kase.Ready, want)
		}
		if slices.ContainsFunc(d.kase.Evidence, func(e diag.Entry) bool { return e.Kind == diag.KindCar }) {
			t.Errorf("%s: the engine is told an entry that is no evidence", what)
		}
	}
	send := func(result string) {
		t.Helper()
		r.as(store.Technician).post(at(job, "/evidence"), with(nil, "kind", "car", "id", store.NewID(), "result", result)).want(t, 303)
	}
	ready("nobody looked")
	r.as(store.Technician).get(at(job, "/bay")).want(t, 200, "Nothing is known of how the car stands now.", "#f-car")

	send("warm_engine")
	ready("said to be warm", "warm_engine")
	r.as(store.Technician).get(at(job, "/bay")).want(t, 200, "The car now: engine at working temperature, extraction running.")
	r.as(store.Technician).get(at(job, "")).want(t, 200, "Engine at working temperature")
	d, err := r.server.desk(t.Context(), job)
	if err != nil || !d.unread() {
		t.Errorf("a word on how the car stands counts as a reading of ours (%v)", err)
	}

	r.entry(job, diag.Entry{Kind: diag.KindResult, Test: "exhaust_leak_test", Outcome: "none"})
	ready("searched underneath", "cold_exhaust", "lift")
	send(diag.OffLift)
	ready("let down", "cold_exhaust")
	r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: 1, State: "idle", LongPct: new(14.0)})
	ready("trims read", "warm_engine")
	r.later(2 * time.Hour)
	ready("two hours on")
	r.later(4 * time.Hour)
	ready("four hours on", "cold_exhaust")

	t.Run("a state nobody knows is refused at its field", func(t *testing.T) {
		r.as(store.Technician).post(at(job, "/evidence"), with(nil, "kind", "car", "id", store.NewID(), "result", "hovering")).want(t, 422, "What holds now?")
	})
}
