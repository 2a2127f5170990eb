package web

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"time"

	"crosscount/static"
)

const (
	beat        = 20 * time.Second // between signs of life on a quiet stream
	streamWrite = 10 * time.Second // what a slow reader gets for one line
	listenAgain = time.Second      // after the database was lost
)

// anyJob stands for "it may have been any of them".
const anyJob = 0

// wire tells open pages of changes, whichever process made them. It listens to the
// database only while somebody follows.
type wire struct {
	listen func(ctx context.Context, ready func(), changed func(int64)) error

	mu      sync.Mutex
	readers map[*reader]bool
	stop    context.CancelFunc // of the listening; nil when nobody follows
}

// reader is one open page. Its news hold at most one word for each job: what is read
// late is read once.
type reader struct {
	job  int64 // or anyJob
	mu   sync.Mutex
	news map[int64]bool
	wake chan struct{}
}

func newWire(listen func(context.Context, func(), func(int64)) error) *wire {
	return &wire{listen: listen, readers: map[*reader]bool{}}
}

// follow returns a reader of one job, or of all; leave ends it.
func (w *wire) follow(job int64) (rd *reader, leave func()) {
	rd = &reader{job: job, news: map[int64]bool{}, wake: make(chan struct{}, 1)}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.readers[rd] = true
	if w.stop == nil {
		ctx, stop := context.WithCancel(context.Background())
		w.stop = stop
		go w.run(ctx)
	}
	return rd, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		if delete(w.readers, rd); len(w.readers) == 0 && w.stop != nil {
			w.stop()
			w.stop = nil
		}
	}
}

func (w *wire) run(ctx context.Context) {
	for ctx.Err() == nil {
		// What happened before it listened is not known: everyone looks once.
		w.listen(ctx, func() { w.tell(anyJob) }, w.tell) // whatever ended it, it listens again
		select {
		case <-ctx.Done():
		case <-time.After(listenAgain):
		}
	}
}

func (w *wire) tell(job int64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for rd := range w.readers {
		if rd.job == anyJob || job == anyJob || rd.job == job {
			rd.tell(job)
		}
	}
}

func (rd *reader) tell(job int64) {
	rd.mu.Lock()
	rd.news[job] = true
	rd.mu.Unlock()
	select {
	case rd.wake <- struct{}{}:
	default: // it is awake already
	}
}

func (rd *reader) take() []int64 {
	rd.mu.Lock()
	defer rd.mu.Unlock()
	out := make([]int64, 0, len(rd.news))
	for job := range rd.news {
		out = append(out, job)
	}
	clear(rd.news)
	return out
}

// jobNews streams the changes of one job.
func (s *server) jobNews(w http.ResponseWriter, r *http.Request) error {
	id, err := idIn(r, "job")
	if err != nil {
		return err
	}
	return s.stream(w, r, id)
}

// allNews streams the changes of all jobs.
func (s *server) allNews(w http.ResponseWriter, r *http.Request) error {
	return s.stream(w, r, anyJob)
}

// stream sends server-sent events (WHATWG HTML, 9.2) until the page goes, the server
// stops or the session ends. The server's time limit for an answer is moved on with
// every line, so that it still ends a reader that hangs.
func (s *server) stream(w http.ResponseWriter, r *http.Request, job int64) error {
	rd, leave := s.wire.follow(job)
	defer leave()
	out := http.NewResponseController(w)
	say := func(line string) bool {
		// A server without time limits cannot move them; then there is nothing to move.
		_ = out.SetWriteDeadline(time.Now().Add(beat + streamWrite))
		if _, err := fmt.Fprint(w, line); err != nil {
			return false
		}
		return out.Flush() == nil
	}
	_ = out.SetReadDeadline(time.Time{})
	w.Header().Set("Content-Type", "text/event-stream; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Accel-Buffering", "no") // proxies that hold answers back let this one through
	if !say(fmt.Sprintf("retry: 2000\nevent: hello\ndata: %s\n\n", static.Version())) {
		return nil
	}
	ends := time.NewTimer(s.SessionAbsolute)
	defer ends.Stop()
	tick := time.NewTicker(beat)
	defer tick.Stop()
	for {
		line := ": here\n\n"
		select {
		case <-r.Context().Done():
			return nil
		case <-s.Stopping:
			return nil
		case <-ends.C:
			return nil
		case <-tick.C:
			if _, err := s.store.SessionByID(r.Context(), viewer(r).SessionID); err != nil {
				return nil
			}
		case <-rd.wake:
			line = ""
			for _, j := range rd.take() {
				line += fmt.Sprintf("event: changed\ndata: %d\n\n", j)
			}
		}
		if !say(line) {
			return nil
		}
	}
}
