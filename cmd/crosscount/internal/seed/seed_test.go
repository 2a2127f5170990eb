package seed

import (
	"context"
	"errors"
	"reflect"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/diag/outcome"
	"crosscount/diag/vin"
	"crosscount/store"
	"crosscount/store/storetest"
)

// now is a Tuesday noon; the seed must not care.
var now = time.Date(2026, time.March, 17, 12, 0, 0, 0, time.UTC)

func hash(password string) (string, error) { return "$test$" + password, nil }

func files(t *testing.T, st *store.Store) []store.JobFile {
	t.Helper()
	closed, err := st.ClosedJobs(t.Context(), now.Add(time.Hour), 1<<40, 1000)
	if err != nil {
		t.Fatal(err)
	}
	open, err := st.OpenJobs(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var ids []int64
	for _, j := range closed {
		ids = append(ids, j.ID)
	}
	for _, j := range open {
		ids = append(ids, j.ID)
	}
	fs := make([]store.JobFile, len(ids))
	for i, id := range ids {
		if fs[i], err = st.JobFile(t.Context(), id); err != nil {
			t.Fatal(err)
		}
	}
	return fs
}

func stageOf(f store.JobFile) stage {
	j := f.Job
	v, has := f.Verdict()
	switch {
	case j.ClosedAt != nil:
		return ""
	case j.ProvedAt != nil:
		return awaitClose
	case j.RepairedAt != nil:
		return awaitProof
	case j.ApprovedAt != nil && len(v.Verdict.First) > 0:
		return mendFirst
	case j.ApprovedAt != nil && v.Verdict.Decision == diag.DecideNoPart:
		return awaitRepair
	case has && j.ApprovedAt == nil:
		return waitingYes
	case has:
		return "unknown"
	}
	kinds := map[diag.EntryKind]bool{}
	for _, e := range f.Entries {
		kinds[e.Body.Kind] = true
	}
	delete(kinds, diag.KindCodeList) // read with the codes
	switch {
	case len(kinds) > 1:
		return midway
	case kinds[diag.KindCode]:
		return codesRead
	}
	return takenIn
}

func TestDemo(t *testing.T) {
	st := store.New(storetest.DB(t))
	began := time.Now()
	r, err := Demo(t.Context(), st, now, hash)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("made in %v: %d finished and %d open jobs, %d comebacks, %d overrides", time.Since(began), r.Finished, r.Open, r.Comebacks, r.Overrides)
	fs := files(t, st)

	t.Run("has at least 60 finished jobs over two years and an open one at each stage", func(t *testing.T) {
		count := map[stage]int{}
		oldest := now
		for _, f := range fs {
			count[stageOf(f)]++
			if f.Job.OpenedAt.Before(oldest) {
				oldest = f.Job.OpenedAt
			}
		}
		if count[""] < 60 || count[""] != r.Finished || r.Open != 8 {
			t.Errorf("%d closed jobs, reported %d finished and %d open", count[""], r.Finished, r.Open)
		}
		for _, s := range []stage{takenIn, codesRead, midway, waitingYes, awaitRepair, mendFirst, awaitProof, awaitClose} {
			if count[s] != 1 {
				t.Errorf("%d jobs at %q", count[s], s)
			}
		}
		if age := now.Sub(oldest).Hours() / 24; age < 700 || age > 745 {
			t.Errorf("the oldest job is %.0f days old", age)
		}
	})
	t.Run("has stories that the engine agrees with, but for their overrides", func(t *testing.T) {
		for _, u := range r.unplanned {
			t.Error(u)
		}
	})
	t.Run("keeps verdicts that the engine gave on the case as it stood", func(t *testing.T) {
		for i, f := range fs {
			for _, v := range f.Verdicts {
				var then []store.Entry
				for _, e := range f.Entries {
					if e.Stands() && !e.ReceivedAt.After(v.At) {
						then = append(then, e)
					}
				}
				c := f.Case(then, diag.Costs{LabourPerHour: labourPerHour, Currency: currency})
				if got := diag.Fingerprint(c); got != v.Fingerprint {
					t.Errorf("job %d: the case in the log is not the one that was decided on", f.Job.ID)
				}
				if i%10 != 0 {
					continue // the engine is asked again on every tenth
				}
				d, err := diag.Decide(c)
				if err != nil || !reflect.DeepEqual(d.Verdict.Parts, v.Verdict.Parts) || d.Verdict.Decision != v.Verdict.Decision {
					t.Errorf("job %d: kept %+v, decided again %+v, %v", f.Job.ID, v.Verdict, d.Verdict, err)
				}
			}
		}
	})
	t.Run("leaves a next test where the search is on", func(t *testing.T) {
		for _, f := range fs {
			if s := stageOf(f); s != codesRead && s != midway {
				continue
			}
			d, err := diag.Decide(f.Case(f.Entries, diag.Costs{LabourPerHour: labourPerHour, Currency: currency}))
			if err != nil || d.Verdict.Decision != diag.DecideOpen || d.Next == nil {
				t.Errorf("job %d: %+v, next %+v, %v", f.Job.ID, d.Verdict, d.Next, err)
			} else {
				t.Logf("job %d, %s: next %s, %.0f minutes", f.Job.ID, stageOf(f), d.Next.Test, d.Next.Minutes)
			}
		}
	})
	t.Run("holds entries that the case format takes", func(t *testing.T) {
		for _, f := range fs {
			v := f.Vehicle.Diag(f.Sensors, 0)
			for _, e := range f.Entries {
				if ps := e.Body.Check(v); len(ps) > 0 {
					t.Errorf("job %d: %v", f.Job.ID, ps)
				}
			}
		}
	})
	t.Run("lets nothing happen in the future or at a car's expense twice", func(t *testing.T) {
		vins := map[string]int64{}
		for _, f := range fs {
			for _, l := range f.Log {
				if l.At.After(now) {
					t.Errorf("job %d: %s at %v", f.Job.ID, l.What, l.At)
				}
			}
			for _, e := range f.Entries {
				if e.ReceivedAt.After(now) || e.ReceivedAt.Before(f.Job.OpenedAt) {
					t.Errorf("job %d: entry at %v", f.Job.ID, e.ReceivedAt)
				}
			}
			if car, ok := vins[f.Vehicle.VIN]; ok && car != f.Vehicle.ID {
				t.Errorf("VIN %s twice", f.Vehicle.VIN)
			}
			vins[f.Vehicle.VIN] = f.Vehicle.ID
			if makes[f.Vehicle.Make] == "" || f.Vehicle.VIN[:3] != makes[f.Vehicle.Make] || vin.VIN(f.Vehicle.VIN).CheckDigit() != f.Vehicle.VIN[8] {
				t.Errorf("%s %s is not of the invented makes", f.Vehicle.Make, f.Vehicle.VIN)
			}
		}
		if len(vins) != r.Vehicles {
			t.Errorf("%d cars seen, %d reported", len(vins), r.Vehicles)
		}
	})
	t.Run("has comebacks with their causes, overrides that held and overrides that came back", func(t *testing.T) {
		kinds := map[string]int{}
		held, failed, despite, slips, failedProofs := 0, 0, 0, 0, 0
		for _, f := range fs {
			if f.Comeback != nil {
				kinds[f.Comeback.Kind]++
			}
			if v, ok := f.Verdict(); ok && v.Override != nil && f.Job.ClosedAt != nil {
				if len(f.CameBackAs) > 0 {
					failed++
				} else {
					held++
				}
			}
			for _, p := range f.Repairs {
				if p.Despite != "" {
					despite++
				}
			}
			for _, e := range f.Entries {
				if !e.Stands() {
					slips++
				}
			}
			for _, p := range f.Proofs {
				if !p.Passed {
					failedProofs++
				}
			}
		}
		for _, k := range []string{store.ComebackCauseMissed, store.ComebackRepairFailed, store.ComebackPartFailed, store.ComebackUnrelated, store.ComebackNotKnownYet} {
			if kinds[k] == 0 {
				t.Errorf("no comeback of kind %s", k)
			}
		}
		if held < 2 || failed < 2 || held+failed != r.Overrides {
			t.Errorf("%d overrides held, %d came back, %d reported", held, failed, r.Overrides)
		}
		if despite == 0 || slips == 0 || failedProofs == 0 {
			t.Errorf("%d parts fitted despite, %d slips, %d failed road tests", despite, slips, failedProofs)
		}
	})
	t.Run("gives the look back something to look at", func(t *testing.T) {
		all := store.Period{From: now.AddDate(-3, 0, 0), To: now}
		n, err := st.Totals(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		if n.Closed != r.Finished || n.CameBack < 6 || n.CameBack > n.Closed/4 || n.Part < 15 || n.NoPart < 25 || n.Overridden < 5 || n.NotFound == 0 || n.NothingWrong == 0 || n.Declined == 0 || n.Unproved == 0 {
			t.Errorf("totals %+v", n)
		}
		minutes, err := st.TestMinutes(t.Context(), all)
		if err != nil || len(minutes) < 15 {
			t.Errorf("minutes of %d tests: %v", len(minutes), err)
		}
		jobs, err := st.FinishedJobs(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		var life []outcome.Observation
		for _, j := range jobs {
			until := now
			if j.CameBackAt != nil {
				until = *j.CameBackAt
			}
			life = append(life, outcome.Observation{Time: until.Sub(j.ClosedAt).Hours() / 24, Event: j.CameBackAt != nil})
		}
		curve, err := outcome.KaplanMeier(life)
		if err != nil || curve.At(365).Survival > 0.96 || curve.At(365).Survival < 0.75 {
			t.Errorf("share without a comeback after a year: %+v, %v", curve.At(365), err)
		}
	})
	t.Run("charges what was done, within what the customer said yes to", func(t *testing.T) {
		for _, f := range fs {
			m, err := st.Money(t.Context(), f.Job.ID)
			if err != nil {
				t.Fatal(err)
			}
			for _, scope := range []store.Scope{store.ScopeDiagnosis, store.ScopeRepair} {
				net, tax := m.Sum(scope, store.LineDone)
				yes, said := m.InForce(scope)
				if net+tax > yes.LimitMinor || said && (yes.Who == "" || yes.SaidAt.After(now)) {
					t.Errorf("job %d, %s: %d done of %+v", f.Job.ID, scope, net+tax, yes)
				}
				if done := scope == store.ScopeDiagnosis && len(f.Verdicts) > 0 || scope == store.ScopeRepair && f.Job.RepairedAt != nil; done != (net > 0) {
					t.Errorf("job %d, %s: %d charged", f.Job.ID, scope, net)
				}
			}
			if net, _ := m.Sum(store.ScopeRepair, store.LineOffered); stageOf(f) == waitingYes && net == 0 {
				t.Errorf("job %d waits for a yes to nothing", f.Job.ID)
			}
		}
	})
	t.Run("has recordings and pictures to look at, before and after a repair", func(t *testing.T) {
		recordings, pairs, overlays, open := 0, 0, 0, 0
		for _, f := range fs {
			captures, err := st.Captures(t.Context(), f.Job.ID)
			if err != nil {
				t.Fatal(err)
			}
			before, after := false, false
			for _, c := range captures {
				recordings++
				if svg, err := st.CapturePicture(t.Context(), c.ID); err != nil || len(svg) < 2000 {
					t.Errorf("job %d: a picture of %d bytes, %v", f.Job.ID, len(svg), err)
				}
				if at := f.Job.RepairedAt; at != nil && c.At.After(*at) {
					after = true
				} else {
					before = true
					if len(c.Entries) != 1 {
						t.Errorf("job %d: the recording gave %d entries", f.Job.ID, len(c.Entries))
					}
				}
			}
			photos, err := st.Photos(t.Context(), f.Job.ID)
			if err != nil {
				t.Fatal(err)
			}
			moments := map[string]bool{}
			for _, p := range photos {
				moments[p.Moment] = true
			}
			if moments["before"] && moments["after"] {
				pairs++
			}
			if before && after {
				overlays++
			}
			if f.Job.ClosedAt == nil && len(captures)+len(photos) > 0 {
				open++
			}
		}
		if recordings < 8 || pairs < 3 || overlays < 3 || open < 3 {
			t.Errorf("%d recordings, %d pairs of pictures, %d of recordings, %d open jobs with any", recordings, pairs, overlays, open)
		}
	})
	t.Run("tells sensors' lives", func(t *testing.T) {
		whole := 0
		for _, f := range fs {
			for _, s := range f.Fittings {
				if s.FittedAt != nil && s.RemovedAt != nil && s.RemovedWhy != "" && s.FittedKm != nil && s.RemovedKm != nil && *s.RemovedKm >= *s.FittedKm {
					whole++
				}
			}
		}
		if whole < 5 {
			t.Errorf("%d whole lives", whole)
		}
	})
	t.Run("lets its people in", func(t *testing.T) {
		roles := map[store.Role]bool{}
		for _, l := range r.Logins {
			p, err := st.PersonByLogin(t.Context(), l.Login)
			if err != nil || p.Role != l.Role || p.PasswordHash == nil || *p.PasswordHash != "$test$"+l.Password {
				t.Errorf("log-in %+v: %+v, %v", l, p, err)
			}
			roles[p.Role] = true
		}
		if len(roles) != 3 {
			t.Errorf("roles %v", roles)
		}
	})
	t.Run("goes into an empty shop only", func(t *testing.T) {
		if _, err := Demo(t.Context(), st, now, hash); !errors.Is(err, ErrNotEmpty) {
			t.Errorf("second time: %v", err)
		}
		if again := files(t, st); len(again) != len(fs) {
			t.Errorf("%d jobs, then %d", len(fs), len(again))
		}
	})
	t.Run("is the same again for the same time", func(t *testing.T) {
		other := store.New(storetest.DB(t))
		if _, err := Demo(t.Context(), other, now, hash); err != nil {
			t.Fatal(err)
		}
		again := files(t, other)
		for _, fs := range [][]store.JobFile{fs, again} { // what is told at the counter gets a random id
			for _, f := range fs {
				for i := range f.Entries {
					f.Entries[i].ID = ""
				}
			}
		}
		if !reflect.DeepEqual(fs, again) {
			t.Error("two seeds differ")
		}
	})
}

func TestDemoWritesAllOrNothing(t *testing.T) {
	db := storetest.DB(t)
	st := store.New(db)
	boom := errors.New("boom")
	if _, err := Demo(t.Context(), st, now, func(string) (string, error) { return "", boom }); !errors.Is(err, boom) {
		t.Errorf("error %v", err)
	}
	// Cut it short as soon as it has begun to write evidence.
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	go func() {
		for writing := false; !writing && ctx.Err() == nil; time.Sleep(time.Millisecond) {
			if err := db.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_locks
				WHERE relation = 'evidence'::regclass AND mode = 'RowExclusiveLock')`).Scan(&writing); err != nil {
				return
			}
		}
		cancel()
	}()
	if _, err := Demo(ctx, st, now, hash); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v after it was cut short", err)
	}
	if _, err := st.Shop(t.Context()); !errors.Is(err, store.ErrNotFound) {
		t.Errorf("shop: %v", err)
	}
	if people, err := st.People(t.Context()); err != nil || len(people) > 0 {
		t.Errorf("people: %v, %v", people, err)
	}
}

func BenchmarkDemo(b *testing.B) {
	for b.Loop() {
		b.StopTimer()
		st := store.New(storetest.DB(b))
		b.StartTimer()
		if _, err := Demo(b.Context(), st, now, hash); err != nil {
			b.Fatal(err)
		}
	}
}
