package web

import (
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

// table makes a made-up recording of two sensors as it is read: a line of 32 bytes for
// each millisecond.
type table struct {
	left int64 // bytes
	n    int
	line []byte
}

func (b *table) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, io.EOF
	}
	read := 0
	for read < len(p) && b.left > 0 {
		if len(b.line) == 0 {
			v := 0.1 + 0.7*float64(b.n/500%2)
			b.line = fmt.Appendf(nil, "%012.3f,%.6f,%.7f\n", float64(b.n)/1000, v, 0.68)
			if b.n == 0 {
				b.line = []byte("Time (s),O2 B1S1 (V),O2 B1S2 (V)\n")
			}
			b.n++
		}
		if int64(len(b.line)) > b.left {
			b.left = 0
			break
		}
		c := copy(p[read:], b.line)
		b.line, b.left, read = b.line[c:], b.left-int64(c), read+c
	}
	if read == 0 {
		return 0, io.EOF
	}
	return read, nil
}

// peak watches how much memory the heap takes while do runs, above what it took before.
func peak(do func()) float64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	before := m.HeapAlloc
	var most atomic.Uint64
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		var m runtime.MemStats
		for {
			runtime.ReadMemStats(&m)
			if m.HeapAlloc > most.Load() {
				most.Store(m.HeapAlloc)
			}
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
	}()
	do()
	close(stop)
	<-done
	return float64(most.Load()-min(most.Load(), before)) / (1 << 20)
}

// BenchmarkLargestFile sends, looks at and writes down a file of 200 MB through the
// whole server. Memory stays a small part of the file's size.
func BenchmarkLargestFile(b *testing.B) {
	st := store.New(storetest.DB(b))
	s, err := newServer(Options{Store: st, Logger: slog.New(slog.DiscardHandler), PasswordCost: cheap})
	if err != nil {
		b.Fatal(err)
	}
	p, err := st.AddPerson(b.Context(), 0, store.NewPerson{Name: "Olga Owner", Login: "olga", Role: store.Owner})
	if err != nil {
		b.Fatal(err)
	}
	id, secret := newSecret(), newSecret()
	if err := st.StartSession(b.Context(), store.NewSession{ID: id, SecretHash: hashSecret(secret), PersonID: p.ID, ExpiresAt: time.Now().Add(time.Hour)}); err != nil {
		b.Fatal(err)
	}
	cookie := &http.Cookie{Name: sessionCookie, Value: id + "." + secret}
	h := s.router()
	do := func(method, path string, body io.Reader, kind string, want int) *httptest.ResponseRecorder {
		r := httptest.NewRequest(method, path, body)
		r.AddCookie(cookie)
		r.Header.Set("Content-Type", kind)
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if w.Code != want {
			b.Fatalf("%s %s: status %d: %s", method, path, w.Code, plainText(w.Body.String()))
		}
		return w
	}
	var sent, looked, written time.Duration
	var most float64
	var page int
	for b.Loop() {
		job := factory.Job(b, st, p.ID)
		most = max(most, peak(func() {
			r, w := io.Pipe()
			m := multipart.NewWriter(w)
			go func() {
				part, err := m.CreateFormFile("file", "long.csv")
				if err == nil {
					_, err = io.Copy(part, &table{left: store.MaxFile - 100})
				}
				if err == nil {
					err = m.Close()
				}
				w.CloseWithError(err)
			}()
			start := time.Now()
			to := do(http.MethodPost, at(job, "/files"), r, m.FormDataContentType(), http.StatusSeeOther).Header().Get("Location")
			sent += time.Since(start)
			start = time.Now()
			seen := do(http.MethodGet, to, nil, "", http.StatusOK).Body.String()
			page = len(seen)
			looked += time.Since(start)
			file := strings.Split(to, "?")[0]
			start = time.Now()
			form := (answer{body: seen}).fields(b, file+"/keep")
			do(http.MethodPost, file+"/keep", strings.NewReader(form.Encode()), "application/x-www-form-urlencoded", http.StatusSeeOther)
			written += time.Since(start)
		}))
		f, err := st.JobFile(b.Context(), job)
		if err != nil || len(f.Captures) != 1 || len(f.Captures[0].Entries) == 0 || f.Entries[len(f.Entries)-1].Body.Kind != diag.KindSignal {
			b.Fatalf("nothing was written down: %v", err)
		}
	}
	n := float64(b.N)
	b.ReportMetric(most, "peak-MiB")
	b.ReportMetric(sent.Seconds()/n, "s/upload")
	b.ReportMetric(looked.Seconds()/n, "s/look")
	b.ReportMetric(written.Seconds()/n, "s/keep")
	b.ReportMetric(float64(page), "bytes/page")
}
