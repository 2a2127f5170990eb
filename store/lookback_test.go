package store_test

import (
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest/factory"
)

// again opens another job of the same car.
func again(earlier store.JobFile) func(*store.Intake) {
	return func(in *store.Intake) { in.Customer, in.Vehicle, in.Sensors = earlier.Customer, earlier.Vehicle, nil }
}

func TestComebacks(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	first := job(t, st, factory.JobAt(t, st, owner, factory.Closed))
	id := factory.Job(t, st, owner, again(first), func(in *store.Intake) { in.ComebackOf = first.Job.ID })

	t.Run("are seen from both jobs", func(t *testing.T) {
		if c := job(t, st, id).Comeback; c == nil || c.EarlierID != first.Job.ID || c.Kind != store.ComebackNotKnownYet {
			t.Errorf("got %+v", c)
		}
		if c := job(t, st, first.Job.ID).CameBackAs; len(c) != 1 || c[0].JobID != id {
			t.Errorf("got %+v", c)
		}
		jobs := get[[]store.JobSummary](t)(st.JobsOf(ctx, first.Vehicle.ID))
		if *jobs[0].ComebackOf != first.Job.ID || jobs[1].CameBackAs[0] != id {
			t.Errorf("got %+v", jobs)
		}
	})
	t.Run("can be judged later, taken back and linked again", func(t *testing.T) {
		ok(t, st.LinkComeback(ctx, owner, store.NewComeback{JobID: id, EarlierID: first.Job.ID, Kind: store.ComebackCauseMissed, Words: "It was the breather."}))
		if c := job(t, st, id).Comeback; c.Kind != store.ComebackCauseMissed || c.Words != "It was the breather." {
			t.Errorf("got %+v", c)
		}
		ok(t, st.UnlinkComeback(ctx, owner, id))
		refused(t, st.UnlinkComeback(ctx, owner, id), store.NotFound, "")
		if c := job(t, st, id).Comeback; c != nil {
			t.Errorf("got %+v", c)
		}
		ok(t, st.LinkComeback(ctx, owner, store.NewComeback{JobID: id, EarlierID: first.Job.ID, Kind: store.ComebackPartFailed}))
	})
	t.Run("are refused from another car, from the job itself, and from a job not closed before", func(t *testing.T) {
		other := factory.Job(t, st, owner)
		refused(t, st.LinkComeback(ctx, owner, store.NewComeback{JobID: other, EarlierID: first.Job.ID, Kind: store.ComebackUnrelated}), store.Rule, "comebacks_same_vehicle")
		refused(t, st.LinkComeback(ctx, owner, store.NewComeback{JobID: other, EarlierID: other, Kind: store.ComebackUnrelated}), store.Rule, "comebacks_not_itself")
		refused(t, st.LinkComeback(ctx, owner, store.NewComeback{JobID: first.Job.ID, EarlierID: id, Kind: store.ComebackUnrelated}), store.Rule, "comebacks_after_closing")
		refused(t, st.LinkComeback(ctx, owner, store.NewComeback{JobID: 1, EarlierID: id, Kind: store.ComebackUnrelated}), store.NotFound, "")
		_, err := st.OpenJob(ctx, owner, factory.Intake(func(in *store.Intake) { in.ComebackOf = first.Job.ID }))
		refused(t, err, store.Rule, "comebacks_same_vehicle")
	})
	t.Run("keep the earlier job closed", func(t *testing.T) {
		refused(t, st.ReopenJob(ctx, owner, first.Job.ID, "x"), store.Rule, "jobs_reopened_without_comeback")
	})
}

func TestLookBack(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	day := func(n int) *store.Store { return st.At(time.Date(2025, 1, n, 9, 0, 0, 0, time.UTC)) }
	leak := diag.CauseRef{Cause: "intake_leak_bank", Bank: 1}

	// Day 1: an air leak mended, confirmed. It comes back on day 11: cause missed.
	// Day 2: the same, comes back as unrelated on day 12.
	// Day 3: the engine says no part, overridden, part fitted; comes back on day 13, the part failed.
	// Day 4: nothing wrong. Day 5: not found. Day 6 is open.
	one := job(t, st, factory.JobAt(t, day(1), owner, factory.Closed))
	two := job(t, st, factory.JobAt(t, day(2), owner, factory.Closed))
	three := factory.JobAt(t, day(3), owner, factory.Read)
	part := diag.Part{Bank: 2, Position: 1, Kind: diag.Zirconia}
	_, err := day(3).AcceptVerdict(ctx, owner, factory.NoPart(three, func(v *store.NewVerdict) {
		v.Override = &store.NewOverride{Decision: "part", Parts: []diag.Part{part}, Reason: "The customer wants it."}
	}))
	ok(t, err)
	ok(t, day(3).Approve(ctx, owner, three, ""))
	_, err = day(3).AddRepair(ctx, owner, store.NewRepair{JobID: three, Action: store.Fitted, Bank: 2, Position: 1, Kind: diag.Zirconia})
	ok(t, err)
	ok(t, day(3).FinishRepair(ctx, owner, three))
	ok(t, day(3).CloseJob(ctx, owner, store.Closing{JobID: three, Outcome: store.OutcomeConfirmed, UnprovedWhy: "No time.",
		Causes: []diag.CauseRef{{Cause: "sensor_aged", Bank: 2, Position: 1}}}))
	four := factory.JobAt(t, day(4), owner, factory.Diagnosed)
	ok(t, day(4).CloseJob(ctx, owner, store.Closing{JobID: four, Outcome: store.OutcomeNothingWrong}))
	five := factory.JobAt(t, day(5), owner, factory.Diagnosed)
	ok(t, day(5).CloseJob(ctx, owner, store.Closing{JobID: five, Outcome: store.OutcomeNotFound}))
	factory.Job(t, day(6), owner)
	back := func(n int, earlier store.JobFile, kind string) int64 {
		id := factory.Job(t, day(n), owner, again(earlier), func(in *store.Intake) { in.ComebackOf = earlier.Job.ID })
		ok(t, day(n).LinkComeback(ctx, owner, store.NewComeback{JobID: id, EarlierID: earlier.Job.ID, Kind: kind}))
		return id
	}
	oneBack := back(11, one, store.ComebackCauseMissed)
	back(12, two, store.ComebackUnrelated)
	threeBack := back(13, job(t, st, three), store.ComebackPartFailed)
	all := store.Period{From: time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2025, 2, 1, 0, 0, 0, 0, time.UTC)}

	t.Run("counts closed jobs, comebacks and decisions", func(t *testing.T) {
		got := get[store.Totals](t)(st.Totals(ctx, all))
		want := store.Totals{Closed: 5, CameBack: 2, Part: 1, NoPart: 4, Overridden: 1, Confirmed: 3, NotFound: 1, NothingWrong: 1, Unproved: 1}
		if got != want {
			t.Errorf("got %+v", got)
		}
		got = get[store.Totals](t)(st.Totals(ctx, store.Period{From: all.From, To: *one.Job.ClosedAt}))
		if got != (store.Totals{}) {
			t.Errorf("the end of a period is in it: %+v", got)
		}
	})
	t.Run("counts by confirmed cause and by place fitted", func(t *testing.T) {
		causes := get[[]store.CauseRate](t)(st.CauseRates(ctx, all))
		if len(causes) != 2 || causes[0] != (store.CauseRate{Cause: leak.Cause, Closed: 2, CameBack: 1}) ||
			causes[1] != (store.CauseRate{Cause: "sensor_aged", Closed: 1, CameBack: 1}) {
			t.Errorf("got %+v", causes)
		}
		fitted := get[[]store.FittedRate](t)(st.FittedRates(ctx, all))
		if len(fitted) != 1 || fitted[0] != (store.FittedRate{Bank: 2, Position: 1, Kind: diag.Zirconia, Fitted: 1, CameBack: 1, Failed: 1}) {
			t.Errorf("got %+v", fitted)
		}
	})
	t.Run("tells when each job came back, for a survival curve", func(t *testing.T) {
		rows := get[[]store.FinishedJob](t)(st.FinishedJobs(ctx, all))
		if len(rows) != 5 || *rows[0].CameBackAs != oneBack || rows[0].CameBackAt.Sub(rows[0].ClosedAt) != 10*24*time.Hour ||
			rows[1].CameBackAs != nil || *rows[2].CameBackAs != threeBack || rows[2].FittedParts[0] != part || *rows[2].Override != "part" ||
			rows[0].Codes[0] != "P0171" || rows[0].Causes[0] != leak || rows[4].CameBackAt != nil {
			t.Errorf("got %+v", rows)
		}
	})
	t.Run("lists comebacks with the causes of both jobs", func(t *testing.T) {
		rows := get[[]store.CameBack](t)(st.Comebacks(ctx, all))
		if len(rows) != 3 || rows[0].JobID != threeBack || rows[0].Kind != store.ComebackPartFailed || rows[0].EarlierCauses[0].Cause != "sensor_aged" ||
			*rows[0].EarlierReason != "The customer wants it." || len(rows[0].Causes) != 0 || rows[2].EarlierID != one.Job.ID {
			t.Errorf("got %+v", rows)
		}
	})
	t.Run("gives each cause's probability and whether it was confirmed", func(t *testing.T) {
		rows := get[[]store.Forecast](t)(st.Forecasts(ctx, all))
		// Two causes in each of four jobs, and the cause of day 3 that no verdict had listed.
		if len(rows) != 9 {
			t.Fatalf("got %d: %+v", len(rows), rows)
		}
		confirmed := 0
		for _, r := range rows {
			if r.Confirmed {
				confirmed++
			}
			if r.JobID == three && r.Confirmed && (r.P != 0 || r.Cause != "sensor_aged" || r.Bank != 2 || r.Engine != "test") {
				t.Errorf("got %+v", r)
			}
			if r.JobID == one.Job.ID && r.Cause == leak.Cause && (!r.Confirmed || r.P != 0.9) {
				t.Errorf("got %+v", r)
			}
		}
		if confirmed != 3 {
			t.Errorf("got %d confirmed", confirmed)
		}
	})
	t.Run("shows what became of each override", func(t *testing.T) {
		rows := get[[]store.Overridden](t)(st.Overrides(ctx, all))
		if len(rows) != 1 || rows[0].JobID != three || *rows[0].CameBackAs != threeBack || rows[0].Costs.CodeTakenAtItsWord != 468 ||
			rows[0].Verdict.Decision != "no_part" || rows[0].Parts[0] != part || rows[0].Causes[0].Cause != "sensor_aged" {
			t.Errorf("got %+v", rows)
		}
	})
	t.Run("pages through the closed jobs, the latest first", func(t *testing.T) {
		rows := get[[]store.JobSummary](t)(st.ClosedJobs(ctx, all.To, 0, 2))
		if len(rows) != 2 || rows[0].ID != five || rows[1].ID != four {
			t.Fatalf("got %+v", rows)
		}
		rows = get[[]store.JobSummary](t)(st.ClosedJobs(ctx, *rows[1].ClosedAt, four, 9))
		if len(rows) != 3 || rows[0].ID != three {
			t.Errorf("got %+v", rows)
		}
	})
}
