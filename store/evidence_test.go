package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"reflect"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

func TestEvidence(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()

	t.Run("takes an entry once however often it is sent", func(t *testing.T) {
		id := factory.Job(t, st, owner)
		e := factory.Entry(id)
		first, fresh, err := st.AddEntry(ctx, owner, e)
		ok(t, err)
		if !fresh {
			t.Error("the first was not fresh")
		}
		again, fresh, err := st.At(time.Now().Add(time.Hour)).AddEntry(ctx, owner, e)
		ok(t, err)
		if fresh || !reflect.DeepEqual(first, again) {
			t.Errorf("got %+v fresh %v, want %+v", again, fresh, first)
		}
		if n := len(job(t, st, id).Entries); n != 2 { // with the code told at intake
			t.Errorf("got %d entries", n)
		}
	})

	t.Run("takes an entry once from many senders at the same moment", func(t *testing.T) {
		id := factory.Job(t, st, owner)
		e := factory.Entry(id)
		var wg sync.WaitGroup
		var mu sync.Mutex
		freshOnes := 0
		for range 20 {
			wg.Go(func() {
				_, fresh, err := st.AddEntry(ctx, owner, e)
				mu.Lock()
				defer mu.Unlock()
				if err != nil {
					t.Error(err)
				}
				if fresh {
					freshOnes++
				}
			})
		}
		wg.Wait()
		if n := len(job(t, st, id).Entries); freshOnes != 1 || n != 2 {
			t.Errorf("got %d fresh and %d entries", freshOnes, n)
		}
	})

	t.Run("refuses another entry under the same id", func(t *testing.T) {
		id := factory.Job(t, st, owner)
		e := factory.Entry(id)
		_, _, err := st.AddEntry(ctx, owner, e)
		ok(t, err)
		e.Body.Code = "P0174"
		_, _, err = st.AddEntry(ctx, owner, e)
		refused(t, err, store.Conflict, "evidence_pkey")
		e.Body.Code, e.JobID = "P0171", factory.Job(t, st, owner)
		_, _, err = st.AddEntry(ctx, owner, e)
		refused(t, err, store.Conflict, "evidence_pkey")
	})

	t.Run("merges what two connections enter at once, each in its own order", func(t *testing.T) {
		id := factory.Job(t, st, owner)
		var wg sync.WaitGroup
		sent := make([][]string, 2)
		for client := range sent {
			wg.Go(func() {
				for range 50 {
					e := factory.Entry(id)
					if _, _, err := st.AddEntry(ctx, owner, e); err != nil {
						t.Error(err)
					}
					sent[client] = append(sent[client], e.ID)
				}
			})
		}
		wg.Wait()
		entries := job(t, st, id).Entries
		if len(entries) != 101 {
			t.Fatalf("got %d entries", len(entries))
		}
		for client, ids := range sent {
			i := 0
			for _, e := range entries {
				if i < len(ids) && e.ID == ids[i] {
					i++
				}
			}
			if i != len(ids) {
				t.Errorf("client %d: only %d of %d in order", client, i, len(ids))
			}
		}
	})

	t.Run("keeps every number as it was given", func(t *testing.T) {
		id := factory.Job(t, st, owner)
		rng := rand.New(rand.NewPCG(1, 2))
		for range 200 {
			want := diag.Entry{Kind: diag.KindSignal, Bank: 1, Position: 1, State: "idle",
				MinV: new(rng.NormFloat64()), MaxV: new(rng.ExpFloat64() * 1e-9), MeanV: new(1 / rng.Float64()), CrossingsHz: new(0.1 + 0.2)}
			got, _, err := st.AddEntry(ctx, owner, factory.Entry(id, func(e *store.NewEntry) { e.Body = want }))
			ok(t, err)
			if !reflect.DeepEqual(got.Body, want) {
				t.Fatalf("got %v, want %v", dump(got.Body), dump(want))
			}
		}
	})

	t.Run("withdraws an entry once and remembers who and why", func(t *testing.T) {
		id := factory.Job(t, st, owner)
		e := factory.Entry(id)
		_, _, err := st.AddEntry(ctx, owner, e)
		ok(t, err)
		w := store.Withdrawal{ID: store.NewID(), JobID: id, Withdraws: e.ID, Reason: "wrong bank"}
		for _, want := range []bool{true, false} {
			if fresh, err := st.WithdrawEntry(ctx, owner, w); err != nil || fresh != want {
				t.Errorf("got fresh %v, %v", fresh, err)
			}
		}
		f := job(t, st, id)
		got := f.Entries[1]
		if got.Stands() || *got.WithdrawnWhy != "wrong bank" || *got.WithdrawnID != w.ID || len(f.Standing()) != 1 {
			t.Errorf("got %+v", got)
		}
		w.ID = store.NewID()
		_, err = st.WithdrawEntry(ctx, owner, w)
		refused(t, err, store.Conflict, "evidence_withdrawn_once")
	})

	t.Run("refuses to withdraw a withdrawal, an entry of another job, or nothing", func(t *testing.T) {
		id := factory.Job(t, st, owner)
		e := factory.Entry(id)
		_, _, err := st.AddEntry(ctx, owner, e)
		ok(t, err)
		w := store.Withdrawal{ID: store.NewID(), JobID: id, Withdraws: e.ID, Reason: "x"}
		_, err = st.WithdrawEntry(ctx, owner, w)
		ok(t, err)
		for _, bad := range []store.Withdrawal{
			{JobID: id, Withdraws: w.ID}, {JobID: factory.Job(t, st, owner), Withdraws: e.ID}, {JobID: id, Withdraws: store.NewID()},
		} {
			bad.ID, bad.Reason = store.NewID(), "x"
			_, err := st.WithdrawEntry(ctx, owner, bad)
			e, isOurs := errors.AsType[*store.Error](err)
			// The entry of the other job is withdrawn already: either rule may speak.
			if !isOurs || (e.Constraint != "evidence_withdraws_entry_of_job" && e.Constraint != "evidence_withdrawn_once") {
				t.Errorf("got %v", err)
			}
		}
	})

	t.Run("refuses an entry for a finished job, but knows one it took before", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Proved)
		e := factory.Entry(id)
		_, _, err := st.AddEntry(ctx, owner, e)
		ok(t, err)
		ok(t, st.CloseJob(ctx, owner, store.Closing{JobID: id, Outcome: store.OutcomeNotFound}))
		_, _, err = st.AddEntry(ctx, owner, factory.Entry(id))
		refused(t, err, store.Rule, "evidence_job_is_open")
		if _, fresh, err := st.AddEntry(ctx, owner, e); err != nil || fresh {
			t.Errorf("got fresh %v, %v", fresh, err)
		}
	})

	t.Run("refuses an id that is none and text that cannot be kept", func(t *testing.T) {
		id := factory.Job(t, st, owner)
		_, _, err := st.AddEntry(ctx, owner, factory.Entry(id, func(e *store.NewEntry) { e.ID = "17" }))
		refused(t, err, store.Rule, "")
		refused(t, st.AddNote(ctx, owner, id, "a\x00b"), store.Rule, "")
		_, _, err = st.AddEntry(ctx, owner, factory.Entry(id, func(e *store.NewEntry) { e.Body.Bank = 1 << 40 }))
		refused(t, err, store.Rule, "")
	})

	t.Run("keeps the client's clock beside our own", func(t *testing.T) {
		id := factory.Job(t, st, owner)
		wrong := time.Now().Add(-48 * time.Hour).UTC().Truncate(time.Microsecond)
		e, _, err := st.AddEntry(ctx, owner, factory.Entry(id, func(e *store.NewEntry) { e.ClientAt = wrong }))
		ok(t, err)
		if !e.ClientAt.Equal(wrong) || time.Since(e.ReceivedAt) > time.Hour {
			t.Errorf("got %v and %v", e.ClientAt, e.ReceivedAt)
		}
	})
}

func TestEvidenceAndClosing(t *testing.T) {
	t.Run("a closing waits for an entry under way", func(t *testing.T) {
		db := storetest.DB(t)
		st := store.New(db)
		owner := factory.Person(t, st, store.Owner).ID
		id := factory.JobAt(t, st, owner, factory.Proved)
		ctx := t.Context()
		tx, err := db.Begin(ctx)
		ok(t, err)
		defer tx.Rollback(context.WithoutCancel(ctx))
		_, err = tx.Exec(ctx, `INSERT INTO evidence (id, job_id, body, source, entered_by, client_at, received_at)
			VALUES ($1::text::uuid, $2, '{"kind":"tip"}', 'observed', $3, now(), now())`, store.NewID(), id, owner)
		ok(t, err)
		closed := make(chan error, 1)
		go func() {
			closed <- st.CloseJob(ctx, owner, store.Closing{JobID: id, Outcome: store.OutcomeNotFound})
		}()
		for waiting := false; !waiting; {
			rows, _ := db.Query(ctx, `SELECT EXISTS (SELECT FROM pg_stat_activity
				WHERE datname = current_database() AND wait_event_type = 'Lock')`)
			waiting, err = pgx.CollectExactlyOneRow(rows, pgx.RowTo[bool])
			ok(t, err)
			select {
			case err := <-closed:
				t.Fatalf("it did not wait (%v)", err)
			default:
			}
		}
		ok(t, tx.Commit(ctx))
		ok(t, <-closed)
	})

	t.Run("evidence cannot be changed, deleted or emptied", func(t *testing.T) {
		db := storetest.DB(t)
		st := store.New(db)
		owner := factory.Person(t, st, store.Owner).ID
		factory.JobAt(t, st, owner, factory.Read)
		for _, sql := range []string{`UPDATE evidence SET client_at = now()`, `DELETE FROM evidence`, `TRUNCATE evidence CASCADE`} {
			_, err := db.Exec(t.Context(), sql)
			refused(t, store.Translate(err), store.Rule, "evidence_append_only")
		}
	})
}

func dump(v any) string {
	b, _ := json.Marshal(v)
	return string(b)
}
