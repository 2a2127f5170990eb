// Package storetest gives each test a PostgreSQL database of its own.
//
// The server is the first of these that there is:
//
//  1. the one that DATABASE_URL names; its account must be allowed to create
//     databases, and nothing but databases named crosscount_test_… is touched;
//  2. a container, where Docker answers;
//  3. a private server from installed binaries, in memory where there is
//     /dev/shm, shared by all test processes of a run and stopped soon after the
//     last of them has ended.
//
// The schema is migrated once for each state of the migrations and then copied
// for each test. Without any server tests skip, or fail when CI=true.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"net/url"
	"os"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/diag/diagtest"
	"crosscount/migrations"
)

// DB is a pool on a migrated database that nobody else uses. It is closed and
// the database removed when the test ends.
func DB(tb testing.TB) *pgxpool.Pool {
	tb.Helper()
	return pool(tb, DSN(tb))
}

// DSN is the address of a migrated database that nobody else uses.
func DSN(tb testing.TB) string {
	tb.Helper()
	return get(tb).clone(tb, schema())
}

// Empty is the address of a database without any table, for tests that migrate
// or restore by themselves.
func Empty(tb testing.TB) string {
	tb.Helper()
	return get(tb).clone(tb, template{name: "template1"})
}

// Seeded is a pool on a copy of a migrated database that fill has filled. Fill
// runs once for each key and state of the migrations, on all processes together,
// so key must change with what fill writes.
func Seeded(tb testing.TB, key string, fill func(ctx context.Context, db *pgxpool.Pool) error) *pgxpool.Pool {
	tb.Helper()
	return pool(tb, SeededDSN(tb, key, fill))
}

// SeededDSN is the address of such a copy.
func SeededDSN(tb testing.TB, key string, fill func(ctx context.Context, db *pgxpool.Pool) error) string {
	tb.Helper()
	h := fnv.New64a()
	h.Write([]byte(key))
	base := schema()
	return get(tb).clone(tb, template{
		name: fmt.Sprintf("%s_%x", base.name, h.Sum64()),
		from: &base,
		fill: func(ctx context.Context, dsn string) error {
			db, err := pgxpool.New(ctx, dsn)
			if err != nil {
				return err
			}
			defer db.Close()
			return fill(ctx, db)
		},
	})
}

// Tx is a transaction that is rolled back when the test ends, on a migrated
// database that other tests use in the same way: cheaper than DB, for tests that
// need no commit. The schema's own rows are there, nothing else is.
func Tx(tb testing.TB) pgx.Tx {
	tb.Helper()
	s := get(tb)
	s.shared.Do(func() { s.sharedPool, s.sharedErr = s.openShared(context.Background()) })
	if s.sharedErr != nil {
		tb.Fatalf("storetest: %v", s.sharedErr)
	}
	tx, err := s.sharedPool.Begin(tb.Context())
	if err != nil {
		tb.Fatalf("storetest: %v", err)
	}
	tb.Cleanup(func() {
		if err := tx.Rollback(context.Background()); err != nil && !errors.Is(err, pgx.ErrTxClosed) {
			tb.Errorf("storetest: roll back: %v", err)
		}
	})
	return tx
}

// Server tells which server the tests of this process use, in words.
func Server(tb testing.TB) string {
	tb.Helper()
	return get(tb).label
}

func pool(tb testing.TB, dsn string) *pgxpool.Pool {
	tb.Helper()
	db, err := pgxpool.New(tb.Context(), dsn)
	if err != nil {
		tb.Fatalf("storetest: %v", err)
	}
	tb.Cleanup(db.Close)
	return db
}

// server is a PostgreSQL that may be filled with test databases.
type server struct {
	label  string
	admin  *pgxpool.Pool // on the database from which others are made
	url    string
	major  int
	memory bool      // copying files with a checkpoint is then the faster way, see BenchmarkClone
	holder *pgx.Conn // its session marks this process as living
	prefix string    // of the names of this process's databases

	count atomic.Int64

	shared     sync.Once
	sharedPool *pgxpool.Pool
	sharedErr  error
}

var found = sync.OnceValues(find)

// get finds the server, once in a process.
func get(tb testing.TB) *server {
	tb.Helper()
	s, err := found()
	if err == nil {
		return s
	}
	if errors.Is(err, errNone) {
		diagtest.Missing(tb, err.Error())
	}
	tb.Fatalf("storetest: %v", err)
	return nil
}

var errNone = errors.New("no database for tests")

func find() (*server, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute)
	defer cancel()
	s, err := locate(ctx)
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(os.Stderr, "storetest: %s\n", s.label)
	return s, nil
}

func locate(ctx context.Context) (*server, error) {
	if dsn := os.Getenv("DATABASE_URL"); dsn != "" {
		s, err := connect(ctx, dsn)
		if err != nil {
			return nil, fmt.Errorf("the server of DATABASE_URL: %w", err)
		}
		s.label = "the server of DATABASE_URL, " + s.label
		return s, nil
	}
	dsn, dockerErr := container(ctx)
	where, memory := "a container", true
	if dockerErr != nil {
		var err error
		if dsn, memory, err = private(ctx); err != nil {
			return nil, fmt.Errorf("%w: DATABASE_URL is not set; Docker: %v; private server: %w", errNone, dockerErr, err)
		}
		where = "a private server on disk"
		if memory {
			where = "a private server in memory"
		}
	}
	s, err := connect(ctx, dsn)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", where, err)
	}
	s.memory = memory
	s.label = where + ", " + s.label
	return s, nil
}

// lockClass keeps our advisory locks apart from others in the same database.
const lockClass = 0x63726373

// connect prepares a server for this process and removes the databases that
// ended processes left there.
func connect(ctx context.Context, dsn string) (*server, error) {
	if _, err := withDatabase(dsn, "x"); err != nil {
		return nil, err
	}
	config, err := pgxpool.ParseConfig(dsn)
	if err != nil {
		return nil, err
	}
	config.MaxConns = 4
	admin, err := pgxpool.NewWithConfig(context.Background(), config)
	if err != nil {
		return nil, err
	}
	s := &server{url: dsn, admin: admin}
	var version string
	var oid uint32
	err = admin.QueryRow(ctx, `SELECT current_setting('server_version'), current_setting('server_version_num')::int / 10000, oid
		FROM pg_database WHERE datname = current_database()`).Scan(&version, &s.major, &oid)
	if err != nil {
		return nil, err
	}
	s.label = "PostgreSQL " + version

	// A process is alive as long as a session holds the lock on its number. Such
	// locks hold within one database, so the names say in which.
	if s.holder, err = pgx.Connect(ctx, dsn); err != nil {
		return nil, err
	}
	tag := rand.Int32()
	if _, err := s.holder.Exec(ctx, `SELECT pg_advisory_lock($1, $2)`, lockClass, tag); err != nil {
		return nil, err
	}
	ours := fmt.Sprintf("crosscount_test_%d_", oid)
	s.prefix = fmt.Sprintf("%s%d_", ours, tag)
	return s, s.sweep(ctx, ours)
}

// sweep removes databases of processes that have ended.
func (s *server) sweep(ctx context.Context, ours string) error {
	rows, _ := s.admin.Query(ctx, `SELECT datname FROM pg_database WHERE starts_with(datname, $1)`, ours) // CollectRows reports the error
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return fmt.Errorf("look for old test databases: %w", err)
	}
	for _, name := range names {
		tag, _, _ := strings.Cut(strings.TrimPrefix(name, ours), "_")
		n, err := strconv.ParseInt(tag, 10, 32)
		if err != nil {
			continue
		}
		err = pgx.BeginFunc(ctx, s.admin, func(tx pgx.Tx) error {
			var ended bool
			if err := tx.QueryRow(ctx, `SELECT pg_try_advisory_xact_lock($1, $2)`, lockClass, int32(n)).Scan(&ended); err != nil || ended {
				return err
			}
			return errAlive
		})
		if err == nil {
			_, err = s.admin.Exec(ctx, `DROP DATABASE IF EXISTS `+quote(name)+` WITH (FORCE)`)
		}
		if err != nil && !errors.Is(err, errAlive) {
			return fmt.Errorf("remove the old test database %s: %w", name, err)
		}
	}
	return nil
}

var errAlive = errors.New("its process lives")

// template is a database to copy.
type template struct {
	name string
	from *template // what it starts from, nil for the server's own
	fill func(ctx context.Context, dsn string) error
}

const schemaPrefix = "crosscount_test_schema_"

func schema() template {
	return template{
		name: schemaPrefix + migrations.Hash(),
		fill: func(ctx context.Context, dsn string) error {
			_, _, err := migrations.Up(ctx, dsn)
			return err
		},
	}
}

// make makes the template where it is missing. A template is a database that is
// marked as one at the very end, so a half-made one is made again.
func (s *server) make(ctx context.Context, t template) error {
	if t.fill == nil {
		return nil // the server's own
	}
	there := func(q interface {
		QueryRow(context.Context, string, ...any) pgx.Row
	}) (ok bool, err error) {
		err = q.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1 AND datistemplate)`, t.name).Scan(&ok)
		return ok, err
	}
	if ok, err := there(s.admin); err != nil || ok {
		return err
	}
	from := "template1"
	if t.from != nil {
		if err := s.make(ctx, *t.from); err != nil {
			return err
		}
		from = t.from.name
	}
	conn, err := pgx.Connect(ctx, s.url) // its session holds the lock
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, `SELECT pg_advisory_lock($1, hashtext($2))`, lockClass+1, t.name); err != nil {
		return err
	}
	if ok, err := there(conn); err != nil || ok {
		return err
	}
	if _, err := conn.Exec(ctx, `DROP DATABASE IF EXISTS `+quote(t.name)+` WITH (FORCE)`); err != nil {
		return err
	}
	if err := s.copy(ctx, t.name, from); err != nil {
		return err
	}
	dsn, err := withDatabase(s.url, t.name)
	if err != nil {
		return err
	}
	if err := t.fill(ctx, dsn); err != nil {
		return err
	}
	if _, err = conn.Exec(ctx, `ALTER DATABASE `+quote(t.name)+` WITH IS_TEMPLATE true ALLOW_CONNECTIONS false`); err != nil {
		return err
	}
	return forget(ctx, conn)
}

// forget removes the oldest templates, of states of the schema long gone.
func forget(ctx context.Context, conn *pgx.Conn) error {
	rows, _ := conn.Query(ctx, `SELECT datname FROM pg_database WHERE starts_with(datname, $1) AND datistemplate
		ORDER BY oid DESC OFFSET 20`, schemaPrefix) // CollectRows reports the error
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	for _, name := range names {
		if _, err := conn.Exec(ctx, `ALTER DATABASE `+quote(name)+` WITH IS_TEMPLATE false`); err != nil {
			return err
		}
		if _, err := conn.Exec(ctx, `DROP DATABASE IF EXISTS `+quote(name)); err != nil {
			return err
		}
	}
	return nil
}

func (s *server) copy(ctx context.Context, name, from string) error {
	sql := `CREATE DATABASE ` + quote(name) + ` TEMPLATE ` + quote(from)
	if s.major >= 15 { // older ones know the second way only
		if s.memory {
			sql += ` STRATEGY FILE_COPY`
		} else {
			sql += ` STRATEGY WAL_LOG`
		}
	}
	_, err := s.admin.Exec(ctx, sql)
	return err
}

func (s *server) newDatabase(ctx context.Context, t template) (name, dsn string, err error) {
	if err := s.make(ctx, t); err != nil {
		return "", "", fmt.Errorf("make the template %s: %w", t.name, err)
	}
	name = fmt.Sprintf("%s%d", s.prefix, s.count.Add(1))
	if err := s.copy(ctx, name, t.name); err != nil {
		return "", "", fmt.Errorf("copy the template: %w", err)
	}
	dsn, err = withDatabase(s.url, name)
	return name, dsn, err
}

func (s *server) clone(tb testing.TB, t template) string {
	tb.Helper()
	name, dsn, err := s.newDatabase(tb.Context(), t)
	if err != nil {
		tb.Fatalf("storetest: %v", err)
	}
	tb.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if _, err := s.admin.Exec(ctx, `DROP DATABASE `+quote(name)+` WITH (FORCE)`); err != nil {
			tb.Errorf("storetest: %v", err)
		}
	})
	return dsn
}

// openShared makes the database for Tx. The next process removes it.
func (s *server) openShared(ctx context.Context) (*pgxpool.Pool, error) {
	_, dsn, err := s.newDatabase(ctx, schema())
	if err != nil {
		return nil, err
	}
	return pgxpool.New(ctx, dsn)
}

func quote(name string) string { return pgx.Identifier{name}.Sanitize() }

// withDatabase is the address of another database on the same server. Both
// forms of address are taken: URL and key=value words.
func withDatabase(dsn, name string) (string, error) {
	if strings.HasPrefix(dsn, "postgres://") || strings.HasPrefix(dsn, "postgresql://") {
		u, err := url.Parse(dsn)
		if err != nil {
			return "", errors.New("the database address is no valid URL") // without its password
		}
		u.Path = "/" + name
		q := u.Query()
		q.Del("dbname")
		q.Del("database")
		u.RawQuery = q.Encode()
		return u.String(), nil
	}
	if !strings.Contains(dsn, "=") {
		return "", errors.New("the database address is neither a postgres:// URL nor key=value words")
	}
	return dsn + " dbname=" + name, nil // the last one counts
}
