package static

import (
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

func get(t *testing.T, target, encoding string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, target, nil)
	if encoding != "" {
		r.Header.Set("Accept-Encoding", encoding)
	}
	w := httptest.NewRecorder()
	Handler().ServeHTTP(w, r)
	return w
}

func TestHandler(t *testing.T) {
	t.Run("serves every file under its hashed name, to be kept for ever", func(t *testing.T) {
		for name, u := range urls {
			w := get(t, u, "")
			if w.Code != http.StatusOK {
				t.Errorf("%s: status %d", name, w.Code)
			}
			if !strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
				t.Errorf("%s: may not be kept: %q", name, w.Header().Get("Cache-Control"))
			}
			if w.Header().Get("Content-Type") == "" {
				t.Errorf("%s: no content type", name)
			}
		}
	})
	t.Run("does not know a file by its plain name", func(t *testing.T) {
		if w := get(t, Prefix+"app.css", ""); w.Code != http.StatusNotFound {
			t.Errorf("status %d, want 404", w.Code)
		}
	})
	t.Run("does not know a file under an old hash", func(t *testing.T) {
		if w := get(t, Prefix+"app.000000000000.css", ""); w.Code != http.StatusNotFound {
			t.Errorf("status %d, want 404", w.Code)
		}
	})
	t.Run("sends the same bytes compressed to whoever accepts it", func(t *testing.T) {
		w := get(t, URL("app.css"), "gzip, br")
		if w.Header().Get("Content-Encoding") != "gzip" {
			t.Fatalf("not compressed: %v", w.Header())
		}
		z, err := gzip.NewReader(w.Body)
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(z)
		if err != nil {
			t.Fatal(err)
		}
		if plain := get(t, URL("app.css"), ""); plain.Body.String() != string(got) {
			t.Error("the compressed file differs from the plain one")
		}
	})
}
