package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"net"
	"strconv"
	"syscall"
	"text/tabwriter"
	"time"

	"crosscount/cmd/crosscount/internal/seed"
	"crosscount/templates"
	"crosscount/web"
)

var demoCommand = command{
	name: "demo", args: "[--get-postgres] [--address HOST:PORT] [--data DIR]", about: "run a server with an invented shop in it, to look around",
	long: `
Everything lives in a private PostgreSQL of the demo's own; DATABASE_URL and the
real shop's data are not touched. What you change stays for the next time.

  --get-postgres       install PostgreSQL with the system's package manager if it
                       is missing; the command is said before it is run
  --address HOST:PORT  listen there (127.0.0.1:8080); use :8080 for tablets too
  --data DIR           keep the demo's database there`,
	run: func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
		get := fs.Bool("get-postgres", false, "")
		address := fs.String("address", "127.0.0.1:8080", "")
		data := fs.String("data", standardDemoDir(), "")
		if _, err := parse(fs, args, 0, 0); err != nil {
			return err
		}
		return demo(ctx, c, *get, *address, *data)
	},
}

func demo(ctx context.Context, c *console, getPostgres bool, address, data string) error {
	began := time.Now()
	// The demo is the same everywhere: of the environment only what tells where
	// PostgreSQL is, and how to log, counts.
	var environ []string
	for _, kv := range c.environ {
		if keepForDemo(kv) {
			environ = append(environ, kv)
		}
	}
	cfg, err := loadConfig(append(environ, prefix+"DATA_DIR="+data, prefix+"ADDRESS="+address))
	if err != nil {
		return err
	}
	n := &narrator{w: c.err}
	listener, err := listenNear(ctx, n, cfg.address)
	if err != nil {
		return err
	}
	defer listener.Close()
	db, err := openDatabase(ctx, n, cfg, access{getPostgres: getPostgres, migrate: true})
	if err != nil {
		return err
	}
	err = func() error {
		filling := time.Now()
		if people, err := db.store.People(ctx); err == nil && len(people) == 0 {
			n.say("making up a shop with two years of jobs; this takes a moment")
		}
		result, err := seed.Demo(ctx, db.store, time.Now(), web.HashPassword)
		switch {
		case errors.Is(err, seed.ErrNotEmpty):
			n.say("found the shop of an earlier run in %s", cfg.dataDir)
		case err != nil:
			return fmt.Errorf("fill the demo: %w", err)
		default:
			n.did(filling, "made up a shop: %d customers, %d vehicles, %d finished jobs, %d open ones", result.Customers, result.Vehicles, result.Finished, result.Open)
		}
		s := &site{console: c, narrator: n, config: cfg, db: db, listener: listener}
		for _, l := range seed.Logins() {
			s.options.Demo = append(s.options.Demo, templates.DemoLogin{Name: l.Login, Password: l.Password, Role: string(l.Role)})
		}
		return s.run(ctx, began, func(ctx context.Context) error {
			fmt.Fprintf(c.out, "%s is ready: %s\n\n", shopName(ctx, db.store), s.base())
			t := tabwriter.NewWriter(c.out, 0, 0, 3, ' ', 0)
			fmt.Fprintln(t, "  role\tlog-in\tpassword")
			for _, l := range seed.Logins() {
				fmt.Fprintf(t, "  %s\t%s\t%s\n", l.Role, l.Login, l.Password)
			}
			t.Flush()
			fmt.Fprintln(c.out, "\nStop with Ctrl-C.")
			return nil
		})
	}()
	return errors.Join(err, db.close(context.WithoutCancel(ctx)))
}

func keepForDemo(kv string) bool {
	for _, name := range []string{"POSTGRES_USER", "POSTGRES_DIR", "LOG_LEVEL", "LOG_FORMAT"} {
		for _, end := range []string{"=", "_FILE="} {
			if full := prefix + name + end; len(kv) > len(full) && kv[:len(full)] == full {
				return true
			}
		}
	}
	return false
}

// listenNear listens on address, or if its port is taken on the next free one.
func listenNear(ctx context.Context, n *narrator, address string) (net.Listener, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err
	}
	first, err := net.LookupPort("tcp", port)
	if err != nil {
		return nil, err
	}
	const tries = 50
	for p := first; p < min(first+tries, 65536); p++ {
		l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", net.JoinHostPort(host, strconv.Itoa(p)))
		if err == nil {
			if p != first {
				n.say("port %d is taken, using %d", first, p)
			}
			return l, nil
		}
		if !errors.Is(err, syscall.EADDRINUSE) || first == 0 {
			return nil, fmt.Errorf("listen on %s: %w: give another with --address", address, err)
		}
	}
	return nil, fmt.Errorf("ports %d to %d are all taken: give another with --address", first, min(first+tries, 65536)-1)
}
