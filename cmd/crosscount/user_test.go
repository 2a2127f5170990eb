package main

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/web"
)

func TestUser(t *testing.T) {
	dsn := storetest.DSN(t)
	environ := []string{"DATABASE_URL=" + dsn, "CROSSCOUNT_BASE_URL=https://jobs.example.org"}
	do := func(t *testing.T, want int, args ...string) string {
		t.Helper()
		code, out, err := said(t, environ, "", append([]string{"user"}, args...)...)
		if code != want {
			t.Fatalf("user %v: exit %d, want %d: %s%s", args, code, want, out, err)
		}
		return out + err
	}
	db, err := openDatabase(t.Context(), &narrator{w: t.Output()}, &config{databaseURL: dsn}, access{})
	check(t, err)
	defer db.close(t.Context())
	site, err := web.New(web.Options{Store: db.store})
	check(t, err)
	// path opens a link that was printed, as its reader would.
	path := func(t *testing.T, out string) int {
		t.Helper()
		link := regexp.MustCompile(`https://jobs\.example\.org(/\S+)`).FindStringSubmatch(out)
		if link == nil {
			t.Fatalf("no link in %q", out)
		}
		w := httptest.NewRecorder()
		site.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, link[1], nil))
		return w.Code
	}

	t.Run("makes a link for the first owner while there is none", func(t *testing.T) {
		if code := path(t, do(t, exitGood, "owner")); code != http.StatusOK {
			t.Errorf("the link answers %d", code)
		}
	})
	hash, err := web.HashPassword("kettle and counter")
	check(t, err)
	for _, p := range []store.NewPerson{{Name: "Ondine Farrow", Login: "ondine", Role: store.Owner, PasswordHash: hash}, {Name: "Piet Lamm", Login: "piet", Role: store.Technician}} {
		_, err := db.store.AddPerson(t.Context(), 0, p)
		check(t, err)
	}
	t.Run("and none once there is one", func(t *testing.T) {
		if out := do(t, exitFailed, "owner"); !strings.Contains(out, "user link") {
			t.Errorf("said %q", out)
		}
	})
	t.Run("lists everyone and no password", func(t *testing.T) {
		out := do(t, exitGood, "list")
		for _, want := range []string{"ondine", "Ondine Farrow", "owner", "piet", "no password yet"} {
			if !strings.Contains(out, want) {
				t.Errorf("%q is not in:\n%s", want, out)
			}
		}
	})
	t.Run("makes a link to choose a new password", func(t *testing.T) {
		if code := path(t, do(t, exitGood, "link", "Ondine")); code != http.StatusOK {
			t.Errorf("the link answers %d", code)
		}
	})
	t.Run("disables and enables", func(t *testing.T) {
		do(t, exitGood, "disable", "piet")
		p, err := db.store.PersonByLogin(t.Context(), "piet")
		check(t, err)
		if p.Active {
			t.Error("piet is still active")
		}
		if out := do(t, exitFailed, "link", "piet"); !strings.Contains(out, "enable piet") {
			t.Errorf("said %q", out)
		}
		do(t, exitGood, "disable", "piet") // again, with no harm
		do(t, exitGood, "enable", "piet")
		if p, err = db.store.PersonByLogin(t.Context(), "piet"); err != nil || !p.Active {
			t.Errorf("piet is %+v, %v", p, err)
		}
	})
	t.Run("does not disable the last owner", func(t *testing.T) {
		do(t, exitFailed, "disable", "ondine")
		if p, err := db.store.PersonByLogin(t.Context(), "ondine"); err != nil || !p.Active {
			t.Errorf("ondine is %+v, %v", p, err)
		}
	})
	t.Run("names a log-in that nobody has", func(t *testing.T) {
		if out := do(t, exitFailed, "link", "nobody"); !strings.Contains(out, `"nobody"`) || !strings.Contains(out, "user list") {
			t.Errorf("said %q", out)
		}
	})
}
