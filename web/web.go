// Package web serves Crosscount's pages: routes, one file per use case, one place
// for errors, one for security, and the turning of records into view models.
package web

import (
	"fmt"
	"log/slog"
	"net/http"
	"net/netip"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/go-chi/chi/v5/middleware"

	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// Options is what the server needs. Store is required; the zero value of anything
// else takes its default.
type Options struct {
	Store  *store.Store
	Logger *slog.Logger // slog.Default()

	// HTTPS says that people reach the server by https, directly or through a
	// proxy: cookies are then marked Secure and browsers told to stay with https.
	HTTPS bool
	// TrustedProxies are the addresses whose X-Forwarded-For is believed. Empty: the
	// peer's own address counts and the header is ignored.
	TrustedProxies []netip.Prefix

	SessionIdle     time.Duration // a session unused for so long ends; 12 h
	SessionAbsolute time.Duration // no session lasts longer; 7 days
	PasswordCost    PasswordCost  // RFC 9106, second recommended option
	Limits          LoginLimits

	// Stopping is closed when the server begins to stop: streams end, so that it need
	// not wait for pages that are only open. Nil: never.
	Stopping <-chan struct{}

	// Speak gives the language of a BCP 47 tag; lang.Of if nil. Tests put one in that
	// marks its texts.
	Speak func(tag, decimal string) *lang.Language

	// Demo lists log-ins to show on the log-in page of a demonstration server.
	Demo []templates.DemoLogin
}

type server struct {
	Options
	store     *store.Store
	log       *slog.Logger
	now       func() time.Time
	measuring chan struct{} // bounds how many recordings are read at once
	hashing   chan struct{} // bounds the memory that password hashing takes
	decoy     string        // checked when a name is unknown, so that both take equally long
	minds     *minds
	wire      *wire
	darkroom  chan struct{} // bounds the memory that photos take
	guesses   guesses
}

// New returns the handler for the whole site.
func New(o Options) (http.Handler, error) {
	s, err := newServer(o)
	if err != nil {
		return nil, err
	}
	return s.router(), nil
}

func newServer(o Options) (*server, error) {
	if o.Store == nil {
		return nil, fmt.Errorf("web: no store given")
	}
	if o.Logger == nil {
		o.Logger = slog.Default()
	}
	if o.Speak == nil {
		o.Speak = lang.Of
	}
	if o.SessionIdle == 0 {
		o.SessionIdle = 12 * time.Hour
	}
	if o.SessionAbsolute == 0 {
		o.SessionAbsolute = 7 * 24 * time.Hour
	}
	if o.PasswordCost == (PasswordCost{}) {
		o.PasswordCost = DefaultPasswordCost
	}
	if o.Limits == (LoginLimits{}) {
		o.Limits = DefaultLoginLimits
	}
	if o.SessionIdle < 0 || o.SessionAbsolute < o.SessionIdle {
		return nil, fmt.Errorf("web: a session's idle time (%v) must lie between 0 and its whole time (%v)", o.SessionIdle, o.SessionAbsolute)
	}
	decoy, err := hashPassword(newSecret(), o.PasswordCost)
	if err != nil {
		return nil, fmt.Errorf("web: password cost: %w", err)
	}
	return &server{
		Options: o, store: o.Store, log: o.Logger, now: time.Now,
		hashing: make(chan struct{}, 2), measuring: make(chan struct{}, 2), decoy: decoy, minds: newMinds(),
		wire: newWire(o.Store.Listen), darkroom: make(chan struct{}, 1),
	}, nil
}

// router puts the table of routes behind what every request passes. The order
// matters: whoever is outermost also sees the failures of those within.
func (s *server) router() chi.Router {
	r := chi.NewRouter()
	r.Use(
		s.clientAddress(),
		s.traced,
		s.recovered,
		secured(s.HTTPS),
		middleware.GetHead,
		middleware.Compress(5, "text/html", "application/json", "image/svg+xml"),
		s.sameOrigin(),
		s.identified,
		s.spoken,
	)
	for _, rt := range s.routes() {
		r.Method(rt.method, rt.pattern, s.handler(rt))
	}
	r.NotFound(s.plain(func(http.ResponseWriter, *http.Request) error { return trouble(templates.TroubleNotFound, "") }))
	r.MethodNotAllowed(s.plain(func(http.ResponseWriter, *http.Request) error { return trouble(templates.TroubleMethod, "") }))
	return r
}
