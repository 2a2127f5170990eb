package web

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"log/slog"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"github.com/a-h/templ"
	"github.com/go-chi/chi/v5/middleware"

	"crosscount/static"
	"crosscount/store"
	"crosscount/templates"
)

const formLimit = 64 << 10 // bytes; the longest form is far shorter

type contextKey int

const (
	requestKey contextKey = iota
	viewerKey
)

// requestInfo is known of every request and filled in on its way.
type requestInfo struct {
	id     string
	person int64 // 0 for nobody
	cause  error // what failed, for the log only
}

func infoOf(r *http.Request) *requestInfo {
	if i, ok := r.Context().Value(requestKey).(*requestInfo); ok {
		return i
	}
	return &requestInfo{}
}

// viewer returns who is logged in, or nil.
func viewer(r *http.Request) *store.SignedIn {
	v, _ := r.Context().Value(viewerKey).(*store.SignedIn)
	return v
}

// handler lets those through who may and hands every error to one place.
func (s *server) handler(rt route) http.HandlerFunc {
	limit := rt.maxBody
	if limit == 0 {
		limit = formLimit
	}
	return s.plain(func(w http.ResponseWriter, r *http.Request) error {
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		who := anonymous
		if v := viewer(r); v != nil {
			who = accessOf(v.Role)
		}
		if rt.may&who == 0 {
			if who == anonymous {
				return s.askLogin(w, r)
			}
			return trouble(templates.TroubleForbid, "")
		}
		if r.Method == http.MethodPost && formType(r) {
			if err := r.ParseForm(); err != nil {
				if _, tooLarge := errors.AsType[*http.MaxBytesError](err); tooLarge {
					return err
				}
				return trouble(templates.TroubleInvalid, "")
			}
		}
		return rt.do(w, r)
	})
}

func formType(r *http.Request) bool {
	return strings.HasPrefix(r.Header.Get("Content-Type"), "application/x-www-form-urlencoded")
}

// plain turns a handler that may fail into one that answers for it.
func (s *server) plain(h handler) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if err := h(w, r); err != nil {
			s.fail(w, r, err)
		}
	}
}

// render draws the whole page before the first byte leaves, so that a page that
// cannot be drawn becomes an error page and never half a page.
func (s *server) render(w http.ResponseWriter, r *http.Request, status int, c templ.Component) error {
	var b bytes.Buffer
	if err := c.Render(r.Context(), &b); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, err := b.WriteTo(w)
	if err != nil {
		infoOf(r).cause = err // the reader has gone; there is nobody to tell
	}
	return nil
}

// see sends the browser on after a change, so that a reload repeats nothing.
func see(w http.ResponseWriter, r *http.Request, path string) error {
	http.Redirect(w, r, path, http.StatusSeeOther)
	return nil
}

// page starts a view model with what the frame needs.
func (s *server) page(w http.ResponseWriter, r *http.Request, here templates.Place, title string) templates.Page {
	p := templates.Page{Title: title, Here: here, Path: r.URL.RequestURI(), Theme: themeOf(r)}
	if r.Method != http.MethodGet {
		p.Path = "/"
	}
	if v := viewer(r); v != nil {
		p.Viewer = &templates.Viewer{ID: v.PersonID, Name: v.Name, Role: string(v.Role), Owner: v.Role == store.Owner}
	}
	p.Notice = s.notice(w, r)
	l := tongue(r)
	p.Dates, p.Decimal = l.Dates, l.Decimal
	if words := wordsOfScripts(l); len(words) > 0 {
		p.Words = words
	}
	return p
}

// traced numbers the request and writes one line about it.
func (s *server) traced(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		info := &requestInfo{id: rand.Text()[:10]}
		r = r.WithContext(context.WithValue(r.Context(), requestKey, info))
		ww := middleware.NewWrapResponseWriter(w, r.ProtoMajor)
		start := time.Now()
		next.ServeHTTP(ww, r)

		status := ww.Status()
		if status == 0 {
			status = http.StatusOK
		}
		level := slog.LevelInfo
		switch {
		case status >= 500:
			level = slog.LevelError
		case strings.HasPrefix(r.URL.Path, static.Prefix), r.URL.Path == "/healthz", r.URL.Path == "/readyz":
			level = slog.LevelDebug
		}
		attrs := []slog.Attr{
			slog.String("request", info.id), slog.String("method", r.Method), slog.String("path", loggedPath(r.URL.Path)),
			slog.Int("status", status), slog.Duration("took", time.Since(start).Round(time.Microsecond)),
			slog.Int("bytes", ww.BytesWritten()), slog.String("address", clientAddress(r)),
		}
		if info.person != 0 {
			attrs = append(attrs, slog.Int64("person", info.person))
		}
		if info.cause != nil {
			attrs = append(attrs, slog.String("error", info.cause.Error()))
		}
		s.log.LogAttrs(r.Context(), level, "request", attrs...)
	})
}

// loggedPath hides the secrets that one-time links carry.
func loggedPath(p string) string {
	for _, prefix := range []string{"/start/", "/password/", "/c/"} {
		if strings.HasPrefix(p, prefix) {
			return prefix + "…"
		}
	}
	return p
}

// recovered answers for a panic, which is always a fault of ours.
func (s *server) recovered(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			v := recover()
			if v == nil {
				return
			}
			if v == http.ErrAbortHandler {
				panic(v)
			}
			s.log.ErrorContext(r.Context(), "panic", "request", infoOf(r).id, "value", v, "stack", string(debug.Stack()))
			s.fail(w, r, errPanic)
		}()
		next.ServeHTTP(w, r)
	})
}
