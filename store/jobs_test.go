package store_test

import (
	"reflect"
	"sync"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/diag/say"
	"crosscount/store"
	"crosscount/store/storetest/factory"
)

func TestJob(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	fitUpstream := func(id int64) store.NewRepair {
		return store.NewRepair{JobID: id, Action: store.Fitted, Cause: "sensor_coolant", Bank: 1, Position: 1, Kind: diag.Zirconia, PartNumber: "NV-4411"}
	}
	mendGasket := func(id int64) store.NewRepair {
		return store.NewRepair{JobID: id, Action: store.Mended, Cause: "head_gasket_leak"}
	}

	t.Run("goes from the counter to the hand-over with a part after the head gasket", func(t *testing.T) {
		start := time.Date(2025, 3, 1, 8, 0, 0, 0, time.UTC)
		step := 0
		at := func() *store.Store { step++; return st.At(start.Add(time.Duration(step) * time.Hour)) }
		id := factory.Job(t, at(), owner)
		_, _, err := at().AddEntry(ctx, owner, factory.Entry(id))
		ok(t, err)
		verdictID := get[int64](t)(at().AcceptVerdict(ctx, owner, factory.Part(id)))
		ok(t, at().Approve(ctx, owner, id, "by telephone"))
		_, err = at().AddRepair(ctx, owner, fitUpstream(id))
		refused(t, err, store.Rule, "repairs_first_is_mended")
		_, err = at().AddRepair(ctx, owner, mendGasket(id))
		ok(t, err)
		_, err = at().AddRepair(ctx, owner, fitUpstream(id))
		ok(t, err)
		ok(t, at().FinishRepair(ctx, owner, id))
		ok(t, at().AddProof(ctx, owner, factory.Proof(id, "passed")))
		ok(t, at().CloseJob(ctx, owner, store.Closing{JobID: id, Outcome: store.OutcomeConfirmed, Words: "Two troubles, one maker.",
			Causes: []diag.CauseRef{{Cause: "head_gasket_leak"}, {Cause: "sensor_coolant", Bank: 1, Position: 1}}}))

		f := job(t, st, id)
		v, there := f.Verdict()
		want := factory.Part(id)
		if !there || v.ID != verdictID || !reflect.DeepEqual(v.Verdict, want.Decision.Verdict) || v.Engine != "test" ||
			!reflect.DeepEqual(v.Causes, want.Decision.Causes) || v.Costs != want.Decision.Costs || !reflect.DeepEqual(v.Case, want.Case) {
			t.Errorf("the verdict is %+v", v)
		}
		if len(f.Causes) != 2 || *f.Job.Outcome != store.OutcomeConfirmed || !f.Job.ClosedAt.Equal(start.Add(time.Duration(step)*time.Hour)) {
			t.Errorf("got %+v, %v", f.Job, f.Causes)
		}
		if len(f.Repairs) != 2 || len(f.Proofs) != 1 || !f.Proofs[0].Passed || !f.Proofs[0].Stands {
			t.Errorf("got %+v and %+v", f.Repairs, f.Proofs)
		}
		var what []string
		for _, l := range f.Log {
			what = append(what, l.What)
		}
		if want := []string{"opened", "accepted", "approved", "repaired", "proved", "closed"}; !reflect.DeepEqual(what, want) {
			t.Errorf("got %v", what)
		}
		h := get[store.VehicleHistory](t)(st.VehicleHistory(ctx, f.Vehicle.ID))
		if len(h.Fittings) != 2 || h.Fittings[0].RemovedWhy != "sensor_coolant" || *h.Fittings[0].RemovedKm != 182000 ||
			h.Fittings[1].PartNumber != "NV-4411" || *h.Fittings[1].JobID != id || h.Fittings[1].RemovedAt != nil {
			t.Errorf("the sensors' lives are %+v", h.Fittings)
		}
		if len(h.Jobs) != 1 || len(h.Jobs[0].FittedParts) != 1 || h.Jobs[0].Codes[0] != "P0171" || h.LastKm != 182000 {
			t.Errorf("got %+v", h)
		}
	})

	t.Run("fits a part before the cause is mended only with a reason, and remembers it", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Read)
		_, err := st.AcceptVerdict(ctx, owner, factory.Part(id))
		ok(t, err)
		ok(t, st.Approve(ctx, owner, id, ""))
		r := fitUpstream(id)
		r.Despite = "The customer pays for the gasket next month."
		_, err = st.AddRepair(ctx, owner, r)
		ok(t, err)
		if got := job(t, st, id).Repairs[0].Despite; got != r.Despite {
			t.Errorf("got %q", got)
		}
	})

	t.Run("keeps how a verdict's sentences were made, to say them in another language", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Read)
		why := say.T("%s (%s).", say.T("Air leak").Lower(), say.T("%.0f %%", 93.4))
		_, err := st.AcceptVerdict(ctx, owner, factory.NoPart(id, func(v *store.NewVerdict) { v.Decision.Verdict.Why = why }))
		ok(t, err)
		if v, _ := job(t, st, id).Verdict(); !reflect.DeepEqual(v.Verdict.Why, why) {
			t.Errorf("got %+v", v.Verdict.Why)
		}
	})

	t.Run("refuses a part that neither verdict nor override asks for", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Approved)
		_, err := st.AddRepair(ctx, owner, fitUpstream(id))
		refused(t, err, store.Rule, "repairs_part_is_justified")
		v, _ := job(t, st, id).Verdict()
		o := store.NewOverride{Decision: "part", Parts: []diag.Part{{Bank: 1, Position: 1, Kind: diag.Zirconia}}, Reason: "The tip is broken off."}
		ok(t, st.OverrideVerdict(ctx, owner, id, v.ID, o))
		_, err = st.AddRepair(ctx, owner, fitUpstream(id))
		refused(t, err, store.Rule, "repairs_job_is_approved") // the customer said yes to something else
		ok(t, st.Approve(ctx, owner, id, ""))
		_, err = st.AddRepair(ctx, owner, fitUpstream(id))
		ok(t, err)
		v, _ = job(t, st, id).Verdict()
		if v.Override == nil || v.Override.Reason != o.Reason || !reflect.DeepEqual(v.Override.Parts, o.Parts) || v.Override.By != owner {
			t.Errorf("got %+v", v.Override)
		}
	})

	t.Run("refuses a part that an override took away", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Read)
		_, err := st.AcceptVerdict(ctx, owner, factory.Part(id, func(v *store.NewVerdict) {
			v.Override = &store.NewOverride{Decision: "no_part", Reason: "The car is sold."}
		}))
		ok(t, err)
		ok(t, st.Approve(ctx, owner, id, ""))
		_, err = st.AddRepair(ctx, owner, fitUpstream(id))
		refused(t, err, store.Rule, "repairs_part_is_justified")
	})

	t.Run("refuses to accept an open verdict unless someone decides", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Read)
		undecided := func(v *store.NewVerdict) { v.Decision.Verdict = diag.Verdict{Decision: diag.DecideOpen} }
		_, err := st.AcceptVerdict(ctx, owner, factory.NoPart(id, undecided))
		refused(t, err, store.Rule, "jobs_diagnosed_is_decided")
		if n := len(job(t, st, id).Verdicts); n != 0 {
			t.Errorf("%d verdicts were kept", n)
		}
		_, err = st.AcceptVerdict(ctx, owner, factory.NoPart(id, undecided, func(v *store.NewVerdict) {
			v.Override = &store.NewOverride{Decision: "no_part", Reason: "The customer takes the car home."}
		}))
		ok(t, err)
	})

	t.Run("refuses to override a verdict that no longer stands", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Read)
		old := get[int64](t)(st.AcceptVerdict(ctx, owner, factory.NoPart(id)))
		_, err := st.AcceptVerdict(ctx, owner, factory.NoPart(id))
		ok(t, err)
		err = st.OverrideVerdict(ctx, owner, id, old, store.NewOverride{Decision: "no_part", Reason: "x"})
		refused(t, err, store.Conflict, "overrides_of_verdict_in_force")
	})

	t.Run("a new verdict takes back the yes, the repair and the proof", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Proved)
		_, err := st.AcceptVerdict(ctx, owner, factory.Part(id))
		ok(t, err)
		j := job(t, st, id).Job
		if j.ApprovedAt != nil || j.RepairedAt != nil || j.ProvedAt != nil || j.DiagnosedAt == nil {
			t.Errorf("got %+v", j)
		}
	})

	t.Run("a failed proof sends the job back to the repair", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Repaired)
		p := factory.Proof(id, "failed")
		ok(t, st.AddProof(ctx, owner, p))
		ok(t, st.AddProof(ctx, owner, p)) // sent again
		f := job(t, st, id)
		if f.Job.RepairedAt != nil || f.Job.ProvedAt != nil || f.Job.ApprovedAt == nil || len(f.Proofs) != 1 || f.Proofs[0].Passed {
			t.Errorf("got %+v, %+v", f.Job, f.Proofs)
		}
		ok(t, st.FinishRepair(ctx, owner, id))
		ok(t, st.AddProof(ctx, owner, factory.Proof(id, "passed")))
		if f := job(t, st, id); f.Job.ProvedAt == nil || len(f.Proofs) != 2 {
			t.Errorf("got %+v", f.Job)
		}
	})

	t.Run("a proof whose entry is withdrawn proves nothing", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Repaired)
		p := factory.Proof(id, "passed")
		ok(t, st.AddProof(ctx, owner, p))
		_, err := st.WithdrawEntry(ctx, owner, store.Withdrawal{ID: store.NewID(), JobID: id, Withdraws: p.Entry.ID, Reason: "the other car"})
		ok(t, err)
		f := job(t, st, id)
		if f.Job.ProvedAt != nil || f.Job.RepairedAt == nil || f.Proofs[0].Stands {
			t.Errorf("got %+v", f.Job)
		}
		refused(t, st.CloseJob(ctx, owner, store.Closing{JobID: id, Outcome: store.OutcomeNotFound}), store.Rule, "jobs_closed_repair_is_proved")
		ok(t, st.CloseJob(ctx, owner, store.Closing{JobID: id, Outcome: store.OutcomeNotFound, UnprovedWhy: "The customer could not wait."}))
	})

	t.Run("undoing a fitting gives the old sensor its place back", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Read)
		fitted := time.Date(2020, 5, 1, 0, 0, 0, 0, time.UTC)
		_, err := st.AddFitting(ctx, owner, store.Fitting{VehicleID: job(t, st, id).Vehicle.ID, Bank: 1, Position: 1, Kind: diag.Zirconia,
			FittedAt: &fitted, FittedKm: new(90000)})
		ok(t, err)
		before := job(t, st, id).Fittings
		_, err = st.AcceptVerdict(ctx, owner, factory.Part(id))
		ok(t, err)
		ok(t, st.Approve(ctx, owner, id, ""))
		_, err = st.AddRepair(ctx, owner, mendGasket(id))
		ok(t, err)
		repairID := get[int64](t)(st.AddRepair(ctx, owner, fitUpstream(id)))
		ok(t, st.FinishRepair(ctx, owner, id))
		if n := len(job(t, st, id).Fittings); n != 2 {
			t.Fatalf("got %d fittings", n)
		}
		ok(t, st.UndoRepair(ctx, owner, id, repairID, "wrong job"))
		f := job(t, st, id)
		if !reflect.DeepEqual(f.Fittings, before) || f.Job.RepairedAt != nil || f.Repairs[1].UndoneWhy != "wrong job" {
			t.Errorf("got %+v, want %+v", f.Fittings, before)
		}
		refused(t, st.UndoRepair(ctx, owner, id, repairID, "again"), store.Rule, "repairs_append_only")
		refused(t, st.UndoRepair(ctx, owner, factory.Job(t, st, owner), repairID, "x"), store.NotFound, "")
	})

	t.Run("takes an intake once however often the form is sent", func(t *testing.T) {
		in := factory.Intake()
		ids := make([]int64, 8)
		var wg sync.WaitGroup
		for i := range ids {
			wg.Go(func() {
				id, err := st.OpenJob(ctx, owner, in)
				if err != nil {
					t.Error(err)
				}
				ids[i] = id
			})
		}
		wg.Wait()
		for _, id := range ids {
			if id != ids[0] || id < 1001 {
				t.Fatalf("got %v", ids)
			}
		}
		if cars := get[[]store.FoundVehicle](t)(st.VehiclesByPlate(ctx, in.Vehicle.Plate)); len(cars) != 1 || *cars[0].OpenJobID != ids[0] {
			t.Errorf("got %+v", cars)
		}
	})

	t.Run("a refused intake leaves nothing behind", func(t *testing.T) {
		in := factory.Intake(func(in *store.Intake) { in.Concern = " " })
		_, err := st.OpenJob(ctx, owner, in)
		refused(t, err, store.Rule, "jobs_concern_present")
		if found := get[[]store.Customer](t)(st.FindCustomers(ctx, in.Customer.Name, 5)); len(found) != 0 { // looks at customers without a job too
			t.Errorf("got %+v", found)
		}
	})

	t.Run("keeps the odometer as read and in kilometres", func(t *testing.T) {
		id := factory.Job(t, st, owner, func(in *store.Intake) { in.Odometer, in.OdometerUnit = new(100000), "mi" })
		j := job(t, st, id).Job
		if *j.Odometer != 100000 || *j.OdometerKm != 160934 { // 1 mi = 1.609344 km, by definition of the international mile
			t.Errorf("got %d, %d", *j.Odometer, *j.OdometerKm)
		}
		ok(t, st.UpdateJob(ctx, owner, store.JobEdit{ID: id, CustomerID: j.CustomerID, Concern: "Stalls", OdometerUnit: "km"}))
		if j := job(t, st, id).Job; j.Odometer != nil || j.OdometerKm != nil || j.Concern != "Stalls" {
			t.Errorf("got %+v", j)
		}
		err := st.UpdateJob(ctx, owner, store.JobEdit{ID: id, CustomerID: j.CustomerID, Concern: "Stalls", Odometer: new(1 << 40), OdometerUnit: "km"})
		refused(t, err, store.Rule, "")
	})

	t.Run("can be cancelled with a reason, reopened, and not worked on in between", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Approved)
		refused(t, st.CancelJob(ctx, owner, id, " "), store.Rule, "jobs_cancelled_has_reason")
		ok(t, st.CancelJob(ctx, owner, id, "The customer took the car."))
		refused(t, st.Approve(ctx, owner, id, ""), store.Rule, "jobs_closed_is_final")
		refused(t, st.Assign(ctx, owner, id, owner), store.Rule, "jobs_closed_is_final")
		ok(t, st.AddNote(ctx, owner, id, "Rang back."))
		ok(t, st.ReopenJob(ctx, owner, id, "It is here again."))
		ok(t, st.Assign(ctx, owner, id, owner))
		if j := job(t, st, id).Job; j.CancelledAt != nil || *j.TechnicianID != owner {
			t.Errorf("got %+v", j)
		}
	})

	t.Run("a reopened job keeps its former outcome in the log", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Closed)
		ok(t, st.ReopenJob(ctx, owner, id, "Closed by mistake."))
		f := job(t, st, id)
		last := f.Log[len(f.Log)-1]
		if f.Job.ClosedAt != nil || len(f.Causes) != 0 || last.Words != "Closed by mistake. [confirmed, intake_leak_bank 1/0]" {
			t.Errorf("got %+v, %q", f.Job, last.Words)
		}
	})

	t.Run("says so when there is no such job", func(t *testing.T) {
		_, err := st.JobFile(ctx, 1)
		refused(t, err, store.NotFound, "")
		refused(t, st.Approve(ctx, owner, 1, ""), store.NotFound, "")
		refused(t, st.CloseJob(ctx, owner, store.Closing{JobID: 1, Outcome: store.OutcomeNotFound}), store.NotFound, "")
		_, err = st.AcceptVerdict(ctx, owner, factory.NoPart(1))
		refused(t, err, store.NotFound, "")
		refused(t, st.AddNote(ctx, owner, 1, "x"), store.Rule, "job_log_of_job")
	})
}

func TestOpenJobs(t *testing.T) {
	st, owner := open(t)
	stages := []factory.Stage{factory.Opened, factory.Read, factory.Diagnosed, factory.Approved, factory.Worked, factory.Repaired, factory.Proved, factory.Closed}
	for _, s := range stages {
		factory.JobAt(t, st, owner, s)
	}
	jobs := get[[]store.OpenJob](t)(st.OpenJobs(t.Context()))
	t.Run("lists the jobs that are not finished, the oldest first", func(t *testing.T) {
		if len(jobs) != len(stages)-1 {
			t.Fatalf("got %d", len(jobs))
		}
	})
	t.Run("gives the facts that tell whose move it is", func(t *testing.T) {
		for i, j := range jobs {
			stage := stages[i]
			own := 0
			for _, s := range []factory.Stage{factory.Read, factory.Proved} {
				if stage >= s {
					own++
				}
			}
			facts := []bool{
				j.Told == 1, j.Sensors == 4, j.Own == own, j.Codes[0] == "P0171",
				(j.DiagnosedAt != nil) == (stage >= factory.Diagnosed), (j.Decision != nil) == (stage >= factory.Diagnosed),
				(j.ApprovedAt != nil) == (stage >= factory.Approved), (j.Mended == 1) == (stage >= factory.Worked), j.Fitted == 0,
				(j.RepairedAt != nil) == (stage >= factory.Repaired), (j.ProofPassed != nil) == (stage >= factory.Proved),
				(len(j.Mend) == 1) == (stage >= factory.Diagnosed), len(j.Parts) == 0, j.Override == nil,
			}
			for n, fact := range facts {
				if !fact {
					t.Errorf("stage %d: fact %d is wrong in %+v", stage, n, j)
				}
			}
		}
	})
	t.Run("counts what was entered since the verdict", func(t *testing.T) {
		if n := jobs[factory.Diagnosed].OwnSince; n != 0 {
			t.Fatalf("got %d", n)
		}
		_, _, err := st.AddEntry(t.Context(), owner, factory.Entry(jobs[factory.Diagnosed].ID))
		ok(t, err)
		again := get[[]store.OpenJob](t)(st.OpenJobs(t.Context()))
		if n := again[factory.Diagnosed].OwnSince; n != 1 {
			t.Errorf("got %d", n)
		}
	})
}
