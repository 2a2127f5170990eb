package web

import (
	"context"
	"net/http"
	"time"
)

// healthz says that the process lives; a restart would help if it does not answer.
func (s *server) healthz(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, _ = w.Write([]byte("alive\n"))
	return nil
}

// readyz says that work can be done, which takes the database; a restart would not
// help.
func (s *server) readyz(w http.ResponseWriter, r *http.Request) error {
	ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
	defer cancel()
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if err := s.store.Ping(ctx); err != nil {
		infoOf(r).cause = err
		w.Header().Set("Retry-After", "5")
		w.WriteHeader(http.StatusServiceUnavailable)
		_, _ = w.Write([]byte("the database does not answer\n"))
		return nil
	}
	_, _ = w.Write([]byte("ready\n"))
	return nil
}
