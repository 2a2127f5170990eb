package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

// bulky is a store with 10,000 jobs of 30 entries and the number of a job in
// their middle.
func bulky(tb testing.TB) (*store.Store, int64) {
	tb.Helper()
	db := storetest.Seeded(tb, "bulk 10000x30 v2", func(ctx context.Context, db *pgxpool.Pool) error {
		return factory.Bulk(ctx, db, 10_000, 30)
	})
	var id int64
	ok(tb, db.QueryRow(tb.Context(), `SELECT (min(id) + max(id)) / 2 FROM jobs`).Scan(&id))
	return store.New(db), id
}

func BenchmarkJobFile(b *testing.B) {
	st, id := bulky(b)
	for b.Loop() {
		if _, err := st.JobFile(b.Context(), id); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkOpenJobs(b *testing.B) {
	st, _ := bulky(b)
	for b.Loop() {
		if jobs, err := st.OpenJobs(b.Context()); err != nil || len(jobs) != 40 {
			b.Fatal(len(jobs), err)
		}
	}
}

func BenchmarkLookBack(b *testing.B) {
	st, _ := bulky(b)
	p := store.Period{From: time.Date(2022, 1, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)}
	ctx := b.Context()
	for b.Loop() {
		for _, err := range []error{
			second(st.Totals(ctx, p)), second(st.CauseRates(ctx, p)), second(st.FittedRates(ctx, p)), second(st.FinishedJobs(ctx, p)),
			second(st.Comebacks(ctx, p)), second(st.Forecasts(ctx, p)), second(st.Overrides(ctx, p)),
		} {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
}

func BenchmarkAddEntry(b *testing.B) {
	st, owner := open(b)
	id := factory.Job(b, st, owner)
	for b.Loop() {
		if _, _, err := st.AddEntry(b.Context(), owner, factory.Entry(id)); err != nil {
			b.Fatal(err)
		}
	}
}

func second[T any](_ T, err error) error { return err }
