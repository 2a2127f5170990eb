package main

import (
	"context"
	"crypto/tls"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"time"

	"crosscount/store"
	"crosscount/web"
)

var serveCommand = command{
	name: "serve", args: "[--get-postgres]", about: "run the shop's server",
	long: `
Settings come from the environment; see crosscount help settings. Without
DATABASE_URL a private PostgreSQL is run from installed programs.

A shop without an owner gets a link, printed once, with which the first owner
makes a log-in.

  --get-postgres  install PostgreSQL with the system's package manager if it is
                  missing; the command is said before it is run`,
	run: func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
		get := fs.Bool("get-postgres", false, "")
		if _, err := parse(fs, args, 0, 0); err != nil {
			return err
		}
		return serve(ctx, c, *get)
	},
}

func serve(ctx context.Context, c *console, getPostgres bool) error {
	began := time.Now()
	cfg, err := loadConfig(c.environ)
	if err != nil {
		return err
	}
	cfg.print(c.err)
	n := &narrator{w: c.err}
	// First, so that a busy port is told before anything is started.
	listener, err := listen(ctx, cfg.address)
	if err != nil {
		return err
	}
	defer listener.Close()
	db, err := openDatabase(ctx, n, cfg, access{getPostgres: getPostgres, migrate: true})
	if err != nil {
		return err
	}
	s := &site{console: c, narrator: n, config: cfg, db: db, listener: listener}
	return errors.Join(s.run(ctx, began, s.firstOwner), db.close(context.WithoutCancel(ctx)))
}

// site is the web site on an open database.
type site struct {
	*console
	*narrator
	config   *config
	db       *database
	listener net.Listener
	options  web.Options
}

// How long each part of a request may take. A photo over the bay's weak radio
// takes its time; a client that sends nothing does not.
const (
	headerTimeout = 10 * time.Second
	readTimeout   = 2 * time.Minute
	writeTimeout  = 2 * time.Minute
	idleTimeout   = 2 * time.Minute

	finishTimeout = 10 * time.Second // for requests under way when the server stops
)

// run serves until ctx ends or the database is lost for good. ready is called once
// the site answers.
func (s *site) run(ctx context.Context, began time.Time, ready func(context.Context) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)

	o := s.options
	o.Store = s.db.store
	o.Logger = s.logger()
	o.Stopping = ctx.Done()
	o.HTTPS = s.base().Scheme == "https"
	o.TrustedProxies = s.config.trustedProxies
	o.SessionIdle, o.SessionAbsolute = s.config.sessionIdle, s.config.sessionLongest
	handler, err := web.New(o)
	if err != nil {
		return err
	}
	// Requests live on while the server lets them finish, and no longer.
	requests, cut := context.WithCancel(context.WithoutCancel(ctx))
	defer cut()
	srv := &http.Server{
		Handler:           handler,
		ReadHeaderTimeout: headerTimeout, ReadTimeout: readTimeout, WriteTimeout: writeTimeout, IdleTimeout: idleTimeout,
		MaxHeaderBytes: 64 << 10,
		BaseContext:    func(net.Listener) context.Context { return requests },
		ErrorLog:       slog.NewLogLogger(o.Logger.Handler(), slog.LevelWarn),
	}
	if s.config.certificate != nil {
		srv.TLSConfig = &tls.Config{Certificates: []tls.Certificate{*s.config.certificate}}
	}
	served := make(chan error, 1)
	go func() {
		if srv.TLSConfig != nil {
			served <- srv.ServeTLS(s.listener, "", "")
		} else {
			served <- srv.Serve(s.listener)
		}
	}()
	go s.sweep(ctx, o.Logger)
	if s.db.cluster != nil {
		go func() {
			select {
			case <-s.db.cluster.Done():
				cancel(s.db.cluster.Err())
			case <-ctx.Done():
			}
		}()
	}
	s.did(began, "serving on %s, ready", s.listener.Addr())
	err = ready(ctx)
	if err == nil {
		select {
		case <-ctx.Done():
			if cause := context.Cause(ctx); !errors.Is(cause, context.Canceled) {
				err = cause
			}
		case err = <-served:
			err = fmt.Errorf("serve: %w", err)
		}
	}

	stopping := time.Now()
	s.say("stopping: requests under way may finish")
	finish, done := context.WithTimeout(context.WithoutCancel(ctx), finishTimeout)
	defer done()
	if srv.Shutdown(finish) != nil {
		cut()
		srv.Close()
	}
	s.did(stopping, "stopped serving")
	return err
}

// sweep removes what has run out, every hour.
func (s *site) sweep(ctx context.Context, log *slog.Logger) {
	const keepAttempts = 7 * 24 * time.Hour
	for tick := time.NewTicker(time.Hour); ; {
		if err := s.db.store.Sweep(ctx, keepAttempts); err != nil && ctx.Err() == nil {
			log.Warn("remove old sessions", "error", err)
		}
		select {
		case <-ctx.Done():
			tick.Stop()
			return
		case <-tick.C:
		}
	}
}

// firstOwner prints the link for a shop that has no owner.
func (s *site) firstOwner(ctx context.Context) error {
	path, err := web.FirstOwnerPath(ctx, s.db.store)
	if err != nil {
		return fmt.Errorf("make the first owner's link: %w", err)
	}
	fmt.Fprintf(s.out, "Crosscount is ready: %s\n", s.base())
	if path != "" {
		fmt.Fprintf(s.out, "This shop has no owner yet. Whoever opens this link once becomes the owner:\n  %s\n", s.base().JoinPath(path))
	}
	return nil
}

func (s *site) logger() *slog.Logger { return newLogger(s.err, s.config) }

func newLogger(w io.Writer, c *config) *slog.Logger {
	o := &slog.HandlerOptions{Level: c.logLevel}
	if c.logJSON {
		return slog.New(slog.NewJSONHandler(w, o))
	}
	return slog.New(slog.NewTextHandler(w, o))
}

// base is how people reach the site.
func (s *site) base() *url.URL {
	if s.config.baseURL != nil {
		return s.config.baseURL
	}
	u := &url.URL{Scheme: "http", Host: s.listener.Addr().String()}
	if s.config.certificate != nil {
		u.Scheme = "https"
	}
	if host, port, err := net.SplitHostPort(u.Host); err == nil {
		if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
			u.Host = net.JoinHostPort(reachable(), port)
		}
	}
	return u
}

// reachable is this machine's address in its own network, where tablets are.
func reachable() string {
	// Nothing is sent: the system only says from which of its addresses it would
	// reach others. The address is one kept for documentation, RFC 5737.
	if c, err := net.Dial("udp4", "192.0.2.1:9"); err == nil {
		defer c.Close()
		if a, ok := c.LocalAddr().(*net.UDPAddr); ok && a.IP.IsPrivate() {
			return a.IP.String()
		}
	}
	if name, err := os.Hostname(); err == nil {
		return name
	}
	return "localhost"
}

func listen(ctx context.Context, address string) (net.Listener, error) {
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("listen on %s: %w: stop what uses it, or set %sADDRESS to another", address, err, prefix)
	}
	return l, nil
}

// shopName is for messages, the product's name until the shop has one.
func shopName(ctx context.Context, st *store.Store) string {
	shop, err := st.Shop(ctx)
	if err != nil || shop.Name == "" {
		return "Crosscount"
	}
	return shop.Name
}
