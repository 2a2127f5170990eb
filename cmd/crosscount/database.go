package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/migrations"
	"crosscount/store"
	"crosscount/store/cluster"
)

// narrator says what the program does and how long each step took.
type narrator struct {
	mu sync.Mutex
	w  io.Writer
}

func (n *narrator) say(format string, args ...any) {
	n.mu.Lock()
	defer n.mu.Unlock()
	fmt.Fprintf(n.w, format+"\n", args...)
}

func (n *narrator) did(began time.Time, format string, args ...any) {
	n.say("%s (%s)", fmt.Sprintf(format, args...), time.Since(began).Round(time.Millisecond))
}

// access is how a command comes by its database.
type access struct {
	getPostgres bool // may install PostgreSQL
	share       bool // may use the private server of an app that runs
	migrate     bool // brings the schema to the newest version
}

// database is an open database. Close ends what was started for it.
type database struct {
	url     string
	pool    *pgxpool.Pool
	store   *store.Store
	cluster *cluster.Cluster // nil if the server is not ours
}

// openDatabase reaches the database that the settings name, or starts the private
// one.
func openDatabase(ctx context.Context, n *narrator, c *config, a access) (_ *database, err error) {
	db := &database{url: c.databaseURL}
	defer func() {
		if err != nil {
			err = errors.Join(err, db.close(context.WithoutCancel(ctx)))
		}
	}()
	if db.url == "" {
		if db.cluster, db.url, err = private(ctx, n, c, a); err != nil {
			return nil, err
		}
	}
	pool, err := pgxpool.ParseConfig(db.url)
	if err != nil {
		return nil, fmt.Errorf("database address: %w", err)
	}
	if !strings.Contains(db.url, "pool_max_conns") {
		pool.MaxConns = 16 // a shop's tablets at once, and far below a server's usual 100
	}
	if db.pool, err = pgxpool.NewWithConfig(ctx, pool); err != nil {
		return nil, fmt.Errorf("database: %w", err)
	}
	if err := reach(ctx, n, db.pool); err != nil {
		return nil, err
	}
	if a.migrate {
		began := time.Now()
		from, to, err := migrations.Up(ctx, db.url)
		if err != nil {
			return nil, fmt.Errorf("bring the schema up to date: %w", err)
		}
		if from == to {
			n.did(began, "the schema is at version %d", to)
		} else {
			n.did(began, "brought the schema from version %d to %d", from, to)
		}
	}
	db.store = store.New(db.pool)
	return db, nil
}

// close may be called on what is half open.
func (db *database) close(ctx context.Context) error {
	if db.pool != nil {
		db.pool.Close()
	}
	if db.cluster == nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	return db.cluster.Stop(ctx)
}

// private starts the private server, and where PostgreSQL is missing installs it
// if that is allowed.
func private(ctx context.Context, n *narrator, c *config, a access) (*cluster.Cluster, string, error) {
	opts := cluster.Options{Dir: c.dataDir, User: c.postgresUser, BinDir: c.postgresDir, Logf: n.say}
	started, err := cluster.Start(ctx, opts)
	var install cluster.Command
	if missing, ok := errors.AsType[*cluster.ErrNoPostgres](err); ok {
		install = missing.Install
	} else if other, ok := errors.AsType[*cluster.ErrVersion](err); ok {
		install = other.Install
	}
	switch {
	case err == nil:
		return started, started.URL(), nil
	case len(install.Steps) > 0 && a.getPostgres:
		n.say("%v", err)
		began := time.Now()
		if err := install.Run(ctx, n.w); err != nil {
			return nil, "", fmt.Errorf("install PostgreSQL: %w", err)
		}
		n.did(began, "installed PostgreSQL")
		if started, err = cluster.Start(ctx, opts); err != nil {
			return nil, "", err
		}
		return started, started.URL(), nil
	case len(install.Steps) > 0:
		return nil, "", fmt.Errorf("%w\nor give the flag --get-postgres to have that run, or set DATABASE_URL to a server", err)
	}
	if _, ok := errors.AsType[*cluster.ErrLocked](err); ok && a.share {
		url, err2 := cluster.Address(c.dataDir)
		if err2 == nil {
			n.say("using the private server of the app that runs")
			return nil, url, nil
		}
		err = errors.Join(err, err2)
	}
	return nil, "", err
}

// reach waits until the database answers. A server that is just starting gets a
// minute; a refusal is final.
func reach(ctx context.Context, n *narrator, pool *pgxpool.Pool) error {
	began := time.Now()
	cc := pool.Config().ConnConfig
	where := fmt.Sprintf("database %s on %s", cc.Database, cc.Host)
	for told := false; ; {
		try, cancel := context.WithTimeout(ctx, 10*time.Second)
		var version string
		err := pool.QueryRow(try, `SHOW server_version`).Scan(&version)
		cancel()
		if err == nil {
			n.did(began, "reached %s, PostgreSQL %s", where, version)
			return nil
		}
		if ctx.Err() != nil {
			return fmt.Errorf("reach %s: %w", where, context.Cause(ctx))
		}
		if !passing(err) || time.Since(began) > time.Minute {
			return fmt.Errorf("reach %s: %w", where, err)
		}
		if !told {
			told = true
			n.say("waiting for %s: %v", where, err)
		}
		select {
		case <-ctx.Done():
		case <-time.After(500 * time.Millisecond):
		}
	}
}

// passing tells whether a failure to connect may pass by waiting.
func passing(err error) bool {
	if pgErr, ok := errors.AsType[*pgconn.PgError](err); ok {
		return pgErr.Code == "57P03" // cannot_connect_now: it starts or recovers
	}
	_, network := errors.AsType[net.Error](err)
	return network || errors.Is(err, context.DeadlineExceeded)
}
