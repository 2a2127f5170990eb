package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

func TestListen(t *testing.T) {
	db := storetest.DB(t)
	st := store.New(db)
	factory.Shop(t, st)
	owner := factory.Person(t, st, store.Owner).ID
	id := factory.JobAt(t, st, owner, factory.Closed)
	f := job(t, st, id)
	vehicle := f.Vehicle
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	heard := make(chan int64, 1000)
	ended := make(chan error, 1)
	ready := make(chan struct{})
	go func() {
		ended <- st.Listen(ctx, func() { close(ready) }, func(id int64) { heard <- id })
	}()
	<-ready
	// A later announcement tells that all earlier ones have been heard.
	marker := factory.Job(t, st, owner)
	hear := func(t *testing.T, want int64) {
		t.Helper()
		ok(t, st.AddNote(t.Context(), owner, marker, "marker"))
		found := false
		for {
			select {
			case id := <-heard:
				if id == marker {
					if !found {
						t.Errorf("job %d was not announced", want)
					}
					return
				}
				found = found || id == want
			case <-time.After(30 * time.Second):
				t.Fatal("nothing was announced")
			}
		}
	}
	for len(heard) == 0 { // the marker job's own opening
		time.Sleep(time.Millisecond)
	}
	for len(heard) > 0 {
		<-heard
	}

	t.Run("announces a job that is opened, and each change to it", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Approved)
		hear(t, id)
		e := factory.Entry(id)
		for _, change := range []func() error{
			func() error { _, _, err := st.AddEntry(ctx, owner, e); return err },
			func() error {
				_, err := st.WithdrawEntry(ctx, owner, store.Withdrawal{ID: store.NewID(), JobID: id, Withdraws: e.ID, Reason: "x"})
				return err
			},
			func() error {
				_, err := st.AddRepair(ctx, owner, store.NewRepair{JobID: id, Action: store.Mended, Cause: "pcv_fault"})
				return err
			},
			func() error { _, err := st.AcceptVerdict(ctx, owner, factory.NoPart(id)); return err },
			func() error { return st.SetSensors(ctx, owner, job(t, st, id).Vehicle.ID, factory.FourSensors()[:2]) },
			func() error { return st.CancelJob(ctx, owner, id, "x") },
		} {
			ok(t, change())
			hear(t, id)
		}
	})
	t.Run("announces both jobs of a comeback", func(t *testing.T) {
		later := factory.Job(t, st, owner, again(store.JobFile{Customer: f.Customer, Vehicle: vehicle}))
		ok(t, st.LinkComeback(ctx, owner, store.NewComeback{JobID: later, EarlierID: id, Kind: store.ComebackUnrelated}))
		hear(t, id)
		ok(t, st.UnlinkComeback(ctx, owner, later))
		hear(t, later)
	})
	t.Run("says nothing of what was rolled back", func(t *testing.T) {
		target := factory.Job(t, st, owner)
		hear(t, target)
		refused(t, st.CancelJob(ctx, owner, target, " "), store.Rule, "jobs_cancelled_has_reason")
		ok(t, st.AddNote(ctx, owner, marker, "marker"))
		if got := <-heard; got != marker {
			t.Errorf("heard %d", got)
		}
	})
	t.Run("says that the database went away, so that the caller listens again", func(t *testing.T) {
		_, err := db.Exec(ctx, `SELECT pg_terminate_backend(pid) FROM pg_stat_activity
			WHERE datname = current_database() AND pid <> pg_backend_pid() AND query LIKE 'LISTEN%'`)
		ok(t, err)
		if err := <-ended; !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("ends with its context", func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		err := st.Listen(ctx, cancel, func(int64) {})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("got %v", err)
		}
	})
}

func TestLostDatabase(t *testing.T) {
	db := storetest.DB(t)
	st := store.New(db)
	owner := factory.Person(t, st, store.Owner).ID
	id := factory.Job(t, st, owner)

	t.Run("a connection lost in mid-transaction asks to try again, and trying again works", func(t *testing.T) {
		ctx := t.Context()
		blocker, err := db.Begin(ctx)
		ok(t, err)
		_, err = blocker.Exec(ctx, `LOCK evidence`)
		ok(t, err)
		e := factory.Entry(id)
		result := make(chan error, 1)
		go func() { _, _, err := st.AddEntry(ctx, owner, e); result <- err }()
		for n := 0; n == 0; {
			ok(t, db.QueryRow(ctx, `SELECT count(*) FROM (SELECT pg_terminate_backend(pid) FROM pg_stat_activity
				WHERE datname = current_database() AND wait_event_type = 'Lock') k`).Scan(&n))
		}
		if err := <-result; !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("got %v", err)
		}
		ok(t, blocker.Rollback(ctx))
		if _, fresh, err := st.AddEntry(ctx, owner, e); err != nil || !fresh {
			t.Errorf("got fresh %v, %v", fresh, err)
		}
	})
	t.Run("a caller who gave up is not told that the database is away", func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		_, err := st.JobFile(ctx, id)
		if !errors.Is(err, context.Canceled) || errors.Is(err, store.ErrUnavailable) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("a database that takes too long is away", func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), time.Nanosecond)
		defer cancel()
		if err := st.Ping(ctx); !errors.Is(err, store.ErrUnavailable) {
			t.Errorf("got %v", err)
		}
	})
}
