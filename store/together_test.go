package store_test

import (
	"errors"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest"
)

func TestTogether(t *testing.T) {
	st := store.New(storetest.DB(t))
	ctx := t.Context()
	then := time.Date(2025, 5, 6, 7, 8, 9, 0, time.UTC)
	boom := errors.New("boom")

	t.Run("keeps nothing if the last step fails", func(t *testing.T) {
		err := st.Together(ctx, func(st *store.Store) error {
			p, err := st.AddPerson(ctx, 0, store.NewPerson{Name: "Ada Quill", Login: "ada", Role: store.Owner})
			if err != nil {
				return err
			}
			if got, err := st.Person(ctx, p.ID); err != nil || got.Login != "ada" {
				t.Errorf("the step before is not seen: %+v, %v", got, err)
			}
			return boom
		})
		if !errors.Is(err, boom) {
			t.Errorf("error %v", err)
		}
		if people, err := st.People(ctx); err != nil || len(people) != 0 {
			t.Errorf("people %v, %v", people, err)
		}
	})
	t.Run("goes on after a refused step, and keeps its own time", func(t *testing.T) {
		var job int64
		err := st.Together(ctx, func(st *store.Store) error {
			st = st.At(then)
			p, err := st.AddPerson(ctx, 0, store.NewPerson{Name: "Ada Quill", Login: "ada", Role: store.Owner})
			if err != nil {
				return err
			}
			if _, err := st.AddPerson(ctx, 0, store.NewPerson{Name: "Ada Again", Login: "ada", Role: store.Owner}); !errors.Is(err, store.ErrConflict) {
				t.Errorf("second log-in of one name: %v", err)
			}
			job, err = st.OpenJob(ctx, p.ID, store.Intake{ID: store.NewID(), Concern: "Light on", OdometerUnit: "km",
				Customer: store.Customer{Name: "Bo Fen"},
				Vehicle: store.Vehicle{Make: "Tindrel", Model: "Pennon", Cylinders: 4, Arrangement: "inline", DisplacementL: 2,
					Fuel: "petrol", AirMetering: "maf"},
				Sensors: []store.Sensor{{Bank: 1, Position: 1, Kind: diag.Zirconia, Wires: 4}}})
			if err != nil {
				return err
			}
			entry := store.NewEntry{ID: store.NewID(), JobID: job, Source: store.Observed, Body: diag.Entry{Kind: diag.KindCode, Code: "P0171"}}
			other := entry
			other.ID, other.Body.Code = store.NewID(), "P0133"
			if err := st.AddEntries(ctx, p.ID, []store.NewEntry{entry, other, entry}); err != nil {
				return err
			}
			bad := other
			bad.ID, bad.JobID = store.NewID(), job+1
			if err := st.AddEntries(ctx, p.ID, []store.NewEntry{{ID: store.NewID(), JobID: job, Source: store.Observed, Body: entry.Body}, bad}); err == nil {
				t.Error("an entry of a job that is not there was taken")
			}
			f, err := st.JobFile(ctx, job)
			if err != nil || len(f.Entries) != 2 {
				t.Errorf("%d entries, want 2: %v", len(f.Entries), err)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		f, err := st.JobFile(ctx, job)
		if err != nil || !f.Job.OpenedAt.Equal(then) || len(f.Entries) != 2 || f.Entries[0].Body.Code != "P0171" {
			t.Errorf("%+v, %v", f.Entries, err)
		}
	})
}
