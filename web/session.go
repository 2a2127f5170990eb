package web

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"

	"crosscount/store"
)

const sessionCookie = "crosscount_session"

// newSecret has at least 128 bits of chance.
func newSecret() string { return rand.Text() }

// hashSecret is a plain hash: the input is random, so nothing is won by a slow one.
func hashSecret(secret string) []byte {
	sum := sha256.Sum256([]byte(secret))
	return sum[:]
}

// startSession logs a person in under a new id and secret; what the browser
// carried before is worthless afterwards.
func (s *server) startSession(w http.ResponseWriter, r *http.Request, person int64) error {
	id, secret := newSecret(), newSecret()
	n := store.NewSession{
		ID: id, SecretHash: hashSecret(secret), PersonID: person,
		ExpiresAt: s.now().Add(s.SessionIdle), UserAgent: cut(r.UserAgent(), 300), Address: clientAddress(r),
	}
	if v := viewer(r); v != nil {
		n.Replaces = v.SessionID
	}
	if err := s.store.StartSession(r.Context(), n); err != nil {
		return err
	}
	s.setCookie(w, sessionCookie, id+"."+secret, int(s.SessionAbsolute.Seconds()))
	return nil
}

// identified finds out who asks. A request without a valid session goes on as
// nobody's.
func (s *server) identified(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		c, err := r.Cookie(sessionCookie)
		if err != nil || !needsSession(r) {
			next.ServeHTTP(w, r)
			return
		}
		v, err := s.session(r.Context(), c.Value)
		switch {
		case errors.Is(err, store.ErrNotFound):
			// The cookie stays: a late answer to a request from before a log-out would
			// otherwise take the next person's new one away.
		case err != nil:
			if r.Method == http.MethodPost && formType(r) {
				r.Body = http.MaxBytesReader(w, r.Body, formLimit)
				r.ParseForm() // so that the answer can keep what was typed
			}
			s.fail(w, r, err)
			return
		default:
			infoOf(r).person = v.PersonID
			w.Header().Set("Crosscount-Person", strconv.FormatInt(v.PersonID, 10)) // whose page this is, for the service worker
			r = r.WithContext(context.WithValue(r.Context(), viewerKey, &v))
		}
		next.ServeHTTP(w, r)
	})
}

// needsSession spares the database the question for files and checks.
func needsSession(r *http.Request) bool {
	return !strings.HasPrefix(r.URL.Path, "/static/") && r.URL.Path != "/healthz" && r.URL.Path != "/readyz"
}

// session checks a cookie's value and keeps the session alive while it is used.
func (s *server) session(ctx context.Context, cookie string) (store.SignedIn, error) {
	id, secret, ok := strings.Cut(cookie, ".")
	if !ok {
		return store.SignedIn{}, store.ErrNotFound
	}
	v, err := s.store.SessionByID(ctx, id)
	if err != nil {
		return v, err
	}
	if subtle.ConstantTimeCompare(v.SecretHash, hashSecret(secret)) != 1 {
		return store.SignedIn{}, store.ErrNotFound
	}
	now := s.now()
	if now.Sub(v.SeenAt) > time.Minute {
		end := v.StartedAt.Add(s.SessionAbsolute)
		if e := now.Add(s.SessionIdle); e.Before(end) {
			end = e
		}
		if err := s.store.TouchSession(ctx, id, end); err != nil && !errors.Is(err, store.ErrNotFound) {
			return v, err
		}
	}
	return v, nil
}

func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "")
}
