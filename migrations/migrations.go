// Package migrations holds the schema as numbered SQL files and brings a
// database to it.
//
// Each file runs as one transaction that also clears its own "dirty" mark, so
// a program or machine that dies half-way leaves either the whole step or
// nothing of it, and the next start goes on by itself. A file must therefore not
// begin or end transactions.
package migrations

import (
	"cmp"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"strconv"
	"strings"

	"github.com/golang-migrate/migrate/v4"
	pgxdriver "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	"github.com/golang-migrate/migrate/v4/source"
	"github.com/golang-migrate/migrate/v4/source/iofs"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// Files are the migrations: NNNN_name.up.sql and NNNN_name.down.sql.
//
//go:embed *.sql
var Files embed.FS

// lockKey is the advisory lock held while the schema changes. Any number of
// processes may start at once; one migrates, the others wait.
const lockKey = 0x63726f7373 // "cross"

// ErrNewer reports a database that a newer program has already migrated.
type ErrNewer struct {
	Database, Program uint // schema versions
}

func (e *ErrNewer) Error() string {
	return fmt.Sprintf("the database has schema version %d but this program knows versions up to %d only: start the newer program that made it, or restore a backup from before the upgrade", e.Database, e.Program)
}

// Status is where a database stands.
type Status struct {
	Version uint // 0 before the first migration
	Latest  uint // the newest this program has
	Dirty   bool // the last run was cut short; Up mends it
}

// Up brings the database named by dsn to the newest version and returns the
// versions before and after. It waits for another process that is migrating.
func Up(ctx context.Context, dsn string) (from, to uint, err error) {
	return run(ctx, dsn, Latest())
}

// To brings the database to one version, downwards too. Down-migrations lose
// data: they are for development and tests.
func To(ctx context.Context, dsn string, version uint) (from, to uint, err error) {
	return run(ctx, dsn, version)
}

// Read tells where the database stands and changes nothing.
func Read(ctx context.Context, dsn string) (Status, error) {
	st := Status{Latest: Latest()}
	conn, err := pgx.Connect(ctx, dsn)
	if err != nil {
		return st, fmt.Errorf("connect: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	var there bool
	if err := conn.QueryRow(ctx, `SELECT to_regclass('schema_migrations') IS NOT NULL`).Scan(&there); err != nil {
		return st, fmt.Errorf("look for the schema version: %w", err)
	}
	if !there {
		return st, nil
	}
	err = conn.QueryRow(ctx, `SELECT version, dirty FROM schema_migrations`).Scan(&st.Version, &st.Dirty)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return st, fmt.Errorf("read the schema version: %w", err)
	}
	return st, nil
}

// Latest is the newest version among Files, 0 if there is none.
func Latest() uint {
	var latest uint
	for _, v := range Versions() {
		latest = max(latest, v)
	}
	return latest
}

// Versions are the numbers of the upward steps in their order. A later step has a
// higher number than all that were ever released: a database is never taken back
// to fill a gap.
func Versions() []uint {
	var all []uint
	for _, name := range names() {
		n, _, _ := strings.Cut(name, "_")
		if v, err := strconv.ParseUint(n, 10, 32); err == nil && strings.HasSuffix(name, ".up.sql") {
			all = append(all, uint(v))
		}
	}
	return all // names are sorted
}

// Hash identifies the content of all migrations, as 16 hex digits.
func Hash() string {
	h := sha256.New()
	for _, name := range names() {
		b, _ := Files.ReadFile(name) // names come from the same embedded listing
		fmt.Fprintf(h, "%s %d\n", name, len(b))
		h.Write(b)
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}

func names() []string {
	found, _ := fs.Glob(Files, "*.sql") // the pattern is well formed
	return found                        // Glob sorts
}

func run(ctx context.Context, dsn string, target uint) (from, to uint, err error) {
	config, err := pgx.ParseConfig(dsn)
	if err != nil {
		return 0, 0, fmt.Errorf("database address: %w", err)
	}
	// Our own lock goes around everything because reading the version and
	// mending a dirty one must not interleave with another process, and because
	// the library's own wait cannot be cancelled.
	holder, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return 0, 0, fmt.Errorf("connect: %w", err)
	}
	defer holder.Close(context.WithoutCancel(ctx))
	if _, err := holder.Exec(ctx, `SELECT pg_advisory_lock($1)`, int64(lockKey)); err != nil {
		return 0, 0, fmt.Errorf("wait for another migration: %w", err)
	}

	src, err := iofs.New(Files, ".")
	if err != nil {
		return 0, 0, fmt.Errorf("read the migrations: %w", err)
	}
	// A step waits a while for a lock that a session of another program holds,
	// not for ever: nobody could then read the message.
	db := stdlib.OpenDB(*config, stdlib.OptionAfterConnect(func(ctx context.Context, conn *pgx.Conn) error {
		_, err := conn.Exec(ctx, `SET lock_timeout = '1min'`)
		return err
	}))
	driver, err := pgxdriver.WithInstance(db, &pgxdriver.Config{})
	if err != nil {
		db.Close()
		return 0, 0, fmt.Errorf("prepare to migrate: %w", err)
	}
	m, err := migrate.NewWithInstance("iofs", &atomicSource{src}, "pgx5", driver)
	if err != nil {
		db.Close()
		return 0, 0, fmt.Errorf("prepare to migrate: %w", err)
	}
	// The driver keeps a connection of db until it is closed.
	defer func() {
		serr, derr := m.Close()
		err = cmp.Or(err, serr, derr)
	}()
	stop := context.AfterFunc(ctx, func() { m.GracefulStop <- true })
	defer stop()

	version, dirty, err := m.Version()
	if err != nil && !errors.Is(err, migrate.ErrNilVersion) {
		return 0, 0, fmt.Errorf("read the schema version: %w", err)
	}
	from = version
	if latest := Latest(); version > latest {
		return from, from, &ErrNewer{Database: version, Program: latest}
	}
	if dirty {
		// The step clears the mark in its own transaction, so a mark that is
		// still there means that nothing of the step remains.
		prev := -1
		if p, perr := src.Prev(version); perr == nil {
			prev = int(p)
		}
		if err := m.Force(prev); err != nil {
			return from, from, fmt.Errorf("go on after an interrupted migration to version %d: %w", version, err)
		}
	}
	if target == 0 {
		err = m.Down()
	} else {
		err = m.Migrate(target)
	}
	if err != nil && !errors.Is(err, migrate.ErrNoChange) {
		return from, from, fmt.Errorf("migrate from version %d to %d: %w", from, target, err)
	}
	if ctx.Err() != nil {
		return from, from, fmt.Errorf("migrate from version %d to %d: %w", from, target, context.Cause(ctx))
	}
	return from, target, nil
}

// atomicSource adds to each upward step the statement that clears its dirty
// mark. A file without explicit transactions is one implicit transaction in the
// simple protocol, which the driver uses, so both take effect together.
type atomicSource struct{ source.Driver }

func (s *atomicSource) ReadUp(version uint) (io.ReadCloser, string, error) {
	r, id, err := s.Driver.ReadUp(version)
	if err != nil {
		return nil, id, err
	}
	defer r.Close()
	b, err := io.ReadAll(io.LimitReader(r, math.MaxInt32))
	if err != nil {
		return nil, id, err
	}
	text := string(b) + "\n;UPDATE schema_migrations SET dirty = false;\n"
	return io.NopCloser(strings.NewReader(text)), id, nil
}
