package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"github.com/go-chi/chi/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest"
)

func itoa(n int64) string { return strconv.FormatInt(n, 10) }

// emptyRig is a site without people.
func emptyRig(t *testing.T) *rig {
	t.Helper()
	r := newRig(t)
	st := store.New(storetest.DB(t))
	r.store, r.server.store = st, st
	r.people = nil
	return r
}

// TestRoles tries every route the router knows with every role and with nobody.
func TestRoles(t *testing.T) {
	stopping := make(chan struct{})
	close(stopping) // streams end after their first line
	r := newRig(t, func(o *Options) { o.Stopping = stopping })
	job := r.job()
	entry := r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	fill := strings.NewReplacer("{job}", itoa(job), "{entry}", entry, "{person}", itoa(r.people[store.Writer].ID), "{vehicle}", "1", "{place}", "1-1", "{photo}", store.NewID(), "{aside}", store.NewID(),
		"{repair}", "1", "{token}", "nothing", "*", "none")

	table := map[string]access{}
	for _, rt := range r.server.routes() {
		table[rt.method+" "+rt.pattern] = rt.may
	}
	// who may do what, written down a second time on purpose
	ownerOnly := []string{"GET /people", "POST /people", "POST /people/{person}", "POST /people/{person}/link", "GET /shop", "POST /shop", "POST /shop/taxes",
		"GET /lookback", "POST /jobs/{job}/reopen"}
	benchOnly := []string{"POST /jobs/{job}/verdict", "POST /jobs/{job}/override", "POST /jobs/{job}/mended", "POST /jobs/{job}/fitted",
		"POST /jobs/{job}/repairs/{repair}/undo", "POST /jobs/{job}/finish", "POST /jobs/{job}/proof",
		"POST /jobs/{job}/sensor/{place}"}
	open := []string{"GET /healthz", "GET /readyz", "GET /static/*", "GET /favicon.ico", "GET /sw.js", "GET /manifest.webmanifest", "GET /login", "POST /login", "GET /start/{token}",
		"POST /start/{token}", "GET /password/{token}", "POST /password/{token}", "POST /theme",
		"GET /c/{token}", "GET /c/{token}/photos/{photo}"}
	want := map[string]access{}
	for key := range table {
		want[key] = staff
	}
	for list, may := range map[*[]string]access{&ownerOnly: owner, &benchOnly: bench, &open: anyone} {
		for _, key := range *list {
			if _, ok := table[key]; !ok {
				t.Errorf("%s is no longer a route", key)
			}
			want[key] = may
		}
	}

	browsers := map[access]func() *browser{
		anonymous:  r.nobody,
		writer:     func() *browser { return r.as(store.Writer) },
		technician: func() *browser { return r.as(store.Technician) },
		owner:      func() *browser { return r.as(store.Owner) },
	}
	walked := 0
	err := chi.Walk(r.server.router(), func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		walked++
		key := method + " " + pattern
		if table[key] != want[key] {
			t.Errorf("%s is open to %b, want %b", key, table[key], want[key])
		}
		for who, open := range browsers {
			b := open()
			var a answer
			if method == http.MethodPost {
				a = b.post(fill.Replace(pattern), url.Values{})
			} else {
				a = b.get(fill.Replace(pattern))
			}
			allowed := want[key]&who != 0
			sent := a.status == http.StatusSeeOther && strings.HasPrefix(a.location, "/login?next=")
			refused := a.status == http.StatusForbidden || a.status == http.StatusUnauthorized || sent
			switch {
			case allowed && refused && key != "POST /login":
				t.Errorf("%s by %b: refused with %d", key, who, a.status)
			case !allowed && !refused:
				t.Errorf("%s by %b: status %d", key, who, a.status)
			case who != anonymous && !allowed && a.status != http.StatusForbidden:
				t.Errorf("%s by %b: status %d, want 403", key, who, a.status)
			}
			if a.status >= 500 {
				t.Errorf("%s by %b: status %d", key, who, a.status)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if walked != len(table) {
		t.Errorf("the router has %d routes, the table %d", walked, len(table))
	}
}

func TestCrossOrigin(t *testing.T) {
	r := newRig(t)
	host := strings.TrimPrefix(r.site.URL, "http://")
	send := func(header map[string]string) int {
		b := r.as(store.Writer)
		return b.do(http.MethodPost, "/theme", strings.NewReader("theme=dark&back=/"), func(q *http.Request) {
			q.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			for k, v := range header {
				q.Header.Set(k, v)
			}
		}).status
	}
	for _, x := range []struct {
		name   string
		header map[string]string
		want   int
	}{
		// Browsers send Sec-Fetch-Site only to https and to localhost; in a shop's own
		// network by plain http there is only Origin.
		{"takes a form from the same host by plain http", map[string]string{"Origin": "http://" + host}, 303},
		{"takes a same-origin form", map[string]string{"Sec-Fetch-Site": "same-origin", "Origin": "http://" + host}, 303},
		{"takes a request of a program, which sends neither", nil, 303},
		{"takes what the person typed or bookmarked", map[string]string{"Sec-Fetch-Site": "none"}, 303},
		{"refuses another site's form by plain http", map[string]string{"Origin": "http://elsewhere.example"}, 403},
		{"refuses another port of the same machine", map[string]string{"Origin": "http://127.0.0.1:1"}, 403},
		{"refuses a form from a page without an origin", map[string]string{"Origin": "null"}, 403},
		{"refuses another site's form", map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"}, 403},
		{"refuses a sister site's form", map[string]string{"Sec-Fetch-Site": "same-site"}, 403},
	} {
		t.Run(x.name, func(t *testing.T) {
			if got := send(x.header); got != x.want {
				t.Errorf("status %d, want %d", got, x.want)
			}
		})
	}
	t.Run("lets anyone link to a page", func(t *testing.T) {
		a := r.as(store.Writer).do(http.MethodGet, "/", nil, func(q *http.Request) { q.Header.Set("Sec-Fetch-Site", "cross-site") })
		a.want(t, 200)
	})
}

func TestHeaders(t *testing.T) {
	r := newRig(t)
	paths := []string{"/login", "/", "/nowhere", "/healthz", "/static/nothing.css"}
	t.Run("go with every answer, errors and files included", func(t *testing.T) {
		for _, p := range paths {
			a := r.nobody().get(p)
			for _, h := range headers {
				if h.name == "Cache-Control" {
					continue
				}
				if got := a.header.Get(h.name); got != h.value {
					t.Errorf("%s: %s is %q", p, h.name, got)
				}
			}
		}
	})
	t.Run("allow no inline script or style, and pages hold none", func(t *testing.T) {
		csp := r.nobody().get("/login").header.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none';") || strings.Contains(csp, "unsafe") {
			t.Errorf("policy %q", csp)
		}
		b := r.as(store.Owner)
		job := r.job("P0171")
		for _, p := range []string{"/", "/people", "/shop", "/jobs/new", "/jobs/" + itoa(job), "/vehicles/1"} {
			body := b.get(p).want(t, 200).body
			for _, bad := range []string{" style=", "<style", " onclick=", " onload=", "javascript:", "<script>"} {
				if strings.Contains(body, bad) {
					t.Errorf("%s holds %q", p, bad)
				}
			}
		}
	})
	t.Run("tell browsers to stay with https only where there is https", func(t *testing.T) {
		if v := r.nobody().get("/login").header.Get("Strict-Transport-Security"); v != "" {
			t.Errorf("over plain http: %q", v)
		}
		s := newRig(t, func(o *Options) { o.HTTPS = true })
		a := s.nobody().post("/login", url.Values{"login": {"olga"}, "password": {password}})
		if a.header.Get("Strict-Transport-Security") == "" || !strings.Contains(a.header.Get("Set-Cookie"), "Secure") {
			t.Errorf("%v", a.header)
		}
	})
}

func TestLimits(t *testing.T) {
	r := newRig(t)
	job := r.job()
	t.Run("refuses a form that is far too large", func(t *testing.T) {
		a := r.as(store.Technician).post("/jobs/"+itoa(job)+"/evidence", url.Values{"kind": {"note"}, "note": {strings.Repeat("x", formLimit)}})
		a.want(t, 413, "too much at once")
	})
	t.Run("shows a number to name and no inner error", func(t *testing.T) {
		a := r.nobody().get("/nowhere").want(t, 404, "Request")
		a.lacks(t, "goroutine", "pgx", "SQLSTATE")
	})
	t.Run("does not know what is no number", func(t *testing.T) {
		b := r.as(store.Owner)
		for _, p := range []string{"/jobs/0", "/jobs/-1", "/jobs/x", "/jobs/99999999", "/jobs/99999999999999999999", "/vehicles/abc"} {
			b.get(p).want(t, 404)
		}
	})
	t.Run("answers a question about a page as for the page", func(t *testing.T) {
		r.nobody().do(http.MethodHead, "/login", nil, nil).want(t, 200)
	})
	t.Run("says which address takes what", func(t *testing.T) {
		r.as(store.Owner).get("/logout").want(t, 405)
	})
}

func TestLostDatabase(t *testing.T) {
	r := newRig(t)
	job := r.job()
	b := r.as(store.Technician)
	pool, err := pgxpool.New(t.Context(), "postgres://crosscount@127.0.0.1:1/none?connect_timeout=2") // nobody listens there
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close()
	r.server.store = store.New(pool)
	t.Run("answers 503 and when to try again, and keeps what was typed", func(t *testing.T) {
		a := b.post("/jobs/"+itoa(job)+"/evidence", url.Values{"kind": {"code"}, "codes": {"P0171 and <more>"}, "status": {"stored"}})
		a.want(t, 503, "does not answer", `value="P0171 and &lt;more&gt;"`, "Send it")
		if a.header.Get("Retry-After") == "" {
			t.Error("no Retry-After")
		}
	})
	t.Run("lives but is not ready", func(t *testing.T) {
		r.nobody().get("/healthz").want(t, 200)
		r.nobody().get("/readyz").want(t, 503)
	})
	t.Run("never sends a password back", func(t *testing.T) {
		r.nobody().post("/login", url.Values{"login": {"olga"}, "password": {"secret words"}}).want(t, 503).lacks(t, "secret words")
	})
}
