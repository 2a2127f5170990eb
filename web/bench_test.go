package web

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

// bulky is a site with 10,000 jobs of 30 entries, a job in their middle, and the
// cookie of an owner.
func bulky(b *testing.B) (s *server, job int64, cookie *http.Cookie) {
	b.Helper()
	db := storetest.Seeded(b, "bulk 10000x30 v1", func(ctx context.Context, db *pgxpool.Pool) error {
		return factory.Bulk(ctx, db, 10_000, 30)
	})
	if err := db.QueryRow(b.Context(), `SELECT (min(id) + max(id)) / 2 FROM jobs`).Scan(&job); err != nil {
		b.Fatal(err)
	}
	st := store.New(db)
	s, err := newServer(Options{Store: st, Logger: slog.New(slog.DiscardHandler), PasswordCost: cheap})
	if err != nil {
		b.Fatal(err)
	}
	p, err := st.AddPerson(b.Context(), 0, store.NewPerson{Name: "Olga Owner", Login: "olga-" + newSecret()[:6], Role: store.Owner})
	if err != nil {
		b.Fatal(err)
	}
	id, secret := newSecret(), newSecret()
	if err := st.StartSession(b.Context(), store.NewSession{ID: id, SecretHash: hashSecret(secret), PersonID: p.ID, ExpiresAt: time.Now().Add(time.Hour)}); err != nil {
		b.Fatal(err)
	}
	return s, job, &http.Cookie{Name: sessionCookie, Value: id + "." + secret}
}

// load measures the whole way of a request through the server.
func load(b *testing.B, s *server, path string, cookie *http.Cookie, before func()) {
	b.Helper()
	h := s.router()
	size := 0
	for b.Loop() {
		if before != nil {
			before()
		}
		r := httptest.NewRequest(http.MethodGet, path, nil)
		r.AddCookie(cookie)
		r.Header.Set("Accept-Encoding", "gzip")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != http.StatusOK {
			b.Fatalf("status %d", w.Code)
		}
		n, _ := io.Copy(io.Discard, w.Body)
		size = int(n)
	}
	b.ReportMetric(float64(size), "bytes/page")
}

func BenchmarkJobPage(b *testing.B) {
	s, job, cookie := bulky(b)
	path := fmt.Sprintf("/jobs/%d", job)
	b.Run("weighed before", func(b *testing.B) { load(b, s, path, cookie, nil) })
	b.Run("weighed anew", func(b *testing.B) { load(b, s, path, cookie, func() { s.minds = newMinds() }) })
}

func BenchmarkHomePage(b *testing.B) {
	s, _, cookie := bulky(b)
	load(b, s, "/", cookie, nil)
}
