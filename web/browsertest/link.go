package browsertest

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// Link is the way between a tablet and the shop. It can be cut, and it can be bad: it
// then drops requests, drops answers, stalls and sends requests twice.
type Link struct {
	t      testing.TB
	URL    string
	target atomic.Pointer[url.URL]
	bad    atomic.Bool
	off    atomic.Bool

	swap atomic.Pointer[[2]string]
	held atomic.Pointer[held]

	pace  atomic.Int64 // bytes a second; 0 is as fast as it goes
	round atomic.Int64 // nanoseconds there and back
	wire  sync.Mutex   // one byte after the other, whichever answer it is of

	mu     sync.Mutex
	random *rand.Rand
	cancel []context.CancelFunc // of requests under way

	dropped, lost, stalled, doubled atomic.Int64
}

// NewLink opens a link to a site; seed settles its moods.
func NewLink(t testing.TB, to string, seed uint64) *Link {
	t.Helper()
	l := &Link{t: t, random: rand.New(rand.NewPCG(seed, 1))}
	l.To(to)
	srv := httptest.NewUnstartedServer(l)
	srv.Config.ConnContext = func(ctx context.Context, _ net.Conn) context.Context {
		return context.WithValue(ctx, freshKey{}, new(atomic.Bool))
	}
	srv.Start()
	l.URL = srv.URL
	t.Cleanup(func() {
		l.Cut()
		srv.CloseClientConnections()
		srv.Close()
	})
	return l
}

// To leads the link to another address of the site.
func (l *Link) To(site string) {
	u, err := url.Parse(site)
	if err != nil {
		l.t.Fatal(err)
	}
	l.target.Store(u)
}

// Cut ends everything under way and lets nothing through until Mend.
func (l *Link) Cut() {
	l.off.Store(true)
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, c := range l.cancel {
		c()
	}
	l.cancel = nil
}

// Mend lets everything through again.
func (l *Link) Mend() { l.off.Store(false) }

// Slow gives the link a rate and a time there and back. A new connection costs one more
// round trip, as TCP's handshake does.
func (l *Link) Slow(bitsPerSecond float64, round time.Duration) {
	l.pace.Store(int64(bitsPerSecond / 8))
	l.round.Store(int64(round))
}

type freshKey struct{}

// travel lets a request and the head of its answer take their time.
func (l *Link) travel(ctx context.Context) {
	round := time.Duration(l.round.Load())
	if used, ok := ctx.Value(freshKey{}).(*atomic.Bool); ok && !used.Swap(true) {
		round *= 2
	}
	time.Sleep(round)
}

// carry lets n bytes take their time.
func (l *Link) carry(n int) {
	if pace := l.pace.Load(); pace > 0 {
		l.wire.Lock()
		defer l.wire.Unlock()
		time.Sleep(time.Duration(n) * time.Second / time.Duration(pace))
	}
}

// Becomes has every answer say now where the site says was, as a newer version of the
// site would. Both are of one length. Empty ones end it.
func (l *Link) Becomes(was, now string) {
	if len(was) != len(now) {
		l.t.Fatalf("%q and %q differ in length", was, now)
	}
	l.swap.Store(&[2]string{was, now})
}

// held is a path whose answers wait on the way back.
type held struct {
	path     string
	answered chan struct{}
	free     chan struct{}
}

// Hold keeps the answers to a path back. The first function waits until the site has
// answered such a request, the second lets the answers go.
func (l *Link) Hold(path string) (answered, free func()) {
	h := &held{path, make(chan struct{}, 1), make(chan struct{})}
	l.held.Store(h)
	free = sync.OnceFunc(func() {
		l.held.Store(nil)
		close(h.free)
	})
	l.t.Cleanup(free)
	return func() {
		l.t.Helper()
		select {
		case <-h.answered:
		case <-time.After(patience):
			l.t.Fatalf("nobody asked for %s", path)
		}
	}, free
}

// wait holds an answer back if it is to be held.
func (h *held) wait(ctx context.Context, path string) {
	if h == nil || h.path != path {
		return
	}
	select {
	case h.answered <- struct{}{}:
	default:
	}
	select {
	case <-h.free:
	case <-ctx.Done():
	}
}

// Bad gives the link its bad moods, or takes them away.
func (l *Link) Bad(bad bool) { l.bad.Store(bad) }

// Moods counts what the link did: requests lost on the way, answers lost, requests that
// hung and requests sent twice.
func (l *Link) Moods() string {
	return fmt.Sprintf("%d requests lost, %d answers lost, %d stalled, %d doubled", l.dropped.Load(), l.lost.Load(), l.stalled.Load(), l.doubled.Load())
}

func (l *Link) roll() (mood float64, wait time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.random.Float64(), time.Duration(l.random.IntN(400)) * time.Millisecond
}

// hangUp closes the connection without an answer.
func hangUp() { panic(http.ErrAbortHandler) }

func (l *Link) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if l.off.Load() {
		hangUp()
	}
	ctx, cancel := context.WithCancel(r.Context())
	defer cancel()
	l.mu.Lock()
	l.cancel = append(l.cancel, cancel)
	l.mu.Unlock()
	l.travel(r.Context())
	body, err := io.ReadAll(r.Body)
	if err != nil {
		hangUp()
	}
	lose := false
	if l.bad.Load() && strings.HasPrefix(r.URL.Path, "/api/") {
		switch mood, wait := l.roll(); {
		case mood < 0.12: // it never gets there
			l.dropped.Add(1)
			hangUp()
		case mood < 0.30: // it gets there, but the answer does not come back
			l.lost.Add(1)
			lose = true
		case mood < 0.42: // it hangs, then gets there or not
			l.stalled.Add(1)
			time.Sleep(wait)
			lose = wait > 200*time.Millisecond
		case mood < 0.60: // it gets there twice, the second time later
			l.doubled.Add(1)
			go func() {
				time.Sleep(wait)
				if res, err := l.forward(context.Background(), r, body); err == nil {
					res.Body.Close()
				}
			}()
		}
	}
	res, err := l.forward(ctx, r, body)
	if err != nil || lose {
		if err == nil {
			res.Body.Close()
		}
		hangUp()
	}
	defer res.Body.Close()
	l.held.Load().wait(ctx, r.URL.Path)
	for k, v := range res.Header {
		w.Header()[k] = v
	}
	w.WriteHeader(res.StatusCode)
	control := http.NewResponseController(w)
	buf := make([]byte, 4<<10)
	for {
		n, err := res.Body.Read(buf)
		if n > 0 {
			l.carry(n)
			out := buf[:n]
			if s := l.swap.Load(); s != nil && s[0] != "" {
				out = bytes.ReplaceAll(out, []byte(s[0]), []byte(s[1]))
			}
			if _, err := w.Write(out); err != nil {
				return
			}
			_ = control.Flush()
		}
		if err == io.EOF {
			return
		}
		if err != nil {
			hangUp()
		}
	}
}

func (l *Link) forward(ctx context.Context, r *http.Request, body []byte) (*http.Response, error) {
	u := *l.target.Load()
	u.Path, u.RawPath, u.RawQuery = r.URL.Path, r.URL.RawPath, r.URL.RawQuery
	req, err := http.NewRequestWithContext(ctx, r.Method, u.String(), bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	req.Header = r.Header.Clone()
	if l.swap.Load() != nil {
		req.Header.Del("Accept-Encoding") // so that it can be read
	}
	req.Host = r.Host // the shop sees the address that the tablet uses
	return plainTransport.RoundTrip(req)
}

// plainTransport passes answers on as they are.
var plainTransport = &http.Transport{DisableCompression: true}
