package migrations_test

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"

	"crosscount/migrations"
	"crosscount/store/storetest"
)

func check(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func run(t *testing.T, dsn, sql string, args ...any) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	check(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), sql, args...)
	check(t, err)
}

// structure is every column, constraint and index of the schema, as text.
func structure(t *testing.T, dsn string) string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	check(t, err)
	defer conn.Close(context.Background())
	rows, _ := conn.Query(t.Context(), `
		SELECT format('%s.%s %s %s', table_name, column_name, data_type, column_default) FROM information_schema.columns WHERE table_schema = 'public'
		UNION ALL SELECT format('%s %s', conname, pg_get_constraintdef(oid)) FROM pg_constraint WHERE connamespace = 'public'::regnamespace
		UNION ALL SELECT indexdef FROM pg_indexes WHERE schemaname = 'public'
		ORDER BY 1`)
	lines, err := pgx.CollectRows(rows, pgx.RowTo[string])
	check(t, err)
	return strings.Join(lines, "\n")
}

func TestUp(t *testing.T) {
	t.Run("brings an empty database to the newest version, and again changes nothing", func(t *testing.T) {
		dsn := storetest.Empty(t)
		from, to, err := migrations.Up(t.Context(), dsn)
		if err != nil || from != 0 || to != migrations.Latest() || to == 0 {
			t.Fatalf("from %d to %d, %v", from, to, err)
		}
		from, to, err = migrations.Up(t.Context(), dsn)
		if err != nil || from != migrations.Latest() || to != from {
			t.Fatalf("the second time from %d to %d, %v", from, to, err)
		}
		st, err := migrations.Read(t.Context(), dsn)
		if err != nil || st != (migrations.Status{Version: migrations.Latest(), Latest: migrations.Latest()}) {
			t.Errorf("status %+v, %v", st, err)
		}
	})

	t.Run("runs once when many processes start together", func(t *testing.T) {
		dsn := storetest.Empty(t)
		var all sync.WaitGroup
		for range 4 {
			all.Go(func() {
				if _, _, err := migrations.Up(t.Context(), dsn); err != nil {
					t.Error(err)
				}
			})
		}
		all.Wait()
	})

	t.Run("goes on after a step that was cut short", func(t *testing.T) {
		dsn := storetest.Empty(t)
		for i, version := range migrations.Versions() {
			if i > 0 {
				_, _, err := migrations.To(t.Context(), dsn, migrations.Versions()[i-1])
				check(t, err)
			}
			// The mark that a killed process leaves: its step has begun, and the
			// transaction with everything it did is gone.
			run(t, dsn, `CREATE TABLE IF NOT EXISTS schema_migrations (version bigint PRIMARY KEY, dirty boolean NOT NULL)`)
			run(t, dsn, `TRUNCATE schema_migrations`)
			run(t, dsn, `INSERT INTO schema_migrations VALUES ($1, true)`, version)
			if st, err := migrations.Read(t.Context(), dsn); err != nil || !st.Dirty {
				t.Fatalf("status %+v, %v", st, err)
			}
		}
		_, _, err := migrations.Up(t.Context(), dsn)
		check(t, err)
		if got, want := structure(t, dsn), structure(t, storetest.DSN(t)); got != want {
			t.Error("the schema differs from one that was made without a break")
		}
	})

	t.Run("leaves nothing of a step that fails, and can be run again", func(t *testing.T) {
		dsn := storetest.Empty(t)
		previous, _, table := tableStep(t)
		_, _, err := migrations.To(t.Context(), dsn, previous)
		check(t, err)
		before := structure(t, dsn)
		run(t, dsn, `CREATE TABLE `+table+` (in_the_way int)`)
		if _, _, err := migrations.Up(t.Context(), dsn); err == nil || !strings.Contains(err.Error(), table) {
			t.Fatalf("got %v, want an error that names %s", err, table)
		}
		run(t, dsn, `DROP TABLE `+table)
		if structure(t, dsn) != before {
			t.Error("the failed step left something")
		}
		_, _, err = migrations.Up(t.Context(), dsn)
		check(t, err)
	})

	t.Run("goes on after its sessions were killed within a step", func(t *testing.T) {
		dsn := storetest.Empty(t)
		before, step, table := tableStep(t)
		_, _, err := migrations.To(t.Context(), dsn, before)
		check(t, err)
		conn, err := pgx.Connect(t.Context(), dsn)
		check(t, err)
		defer conn.Close(context.Background())
		tx, err := conn.Begin(t.Context())
		check(t, err)
		_, err = tx.Exec(t.Context(), `CREATE TABLE `+table+` (holds_it_up int)`)
		check(t, err)
		failed := make(chan error)
		go func() {
			_, _, err := migrations.Up(t.Context(), dsn)
			failed <- err
		}()
		// Outside the transaction, in which the activity would look frozen.
		killer, err := pgx.Connect(t.Context(), dsn)
		check(t, err)
		defer killer.Close(context.Background())
		for killed := false; !killed; {
			check(t, killer.QueryRow(t.Context(), `SELECT coalesce(bool_or(pg_terminate_backend(pid)), false) FROM pg_stat_activity
				WHERE datname = current_database() AND pid <> pg_backend_pid() AND wait_event_type = 'Lock'`).Scan(&killed))
		}
		if err := <-failed; err == nil {
			t.Fatal("the step went through")
		}
		check(t, tx.Rollback(t.Context()))
		if st, err := migrations.Read(t.Context(), dsn); err != nil || !st.Dirty || st.Version != step {
			t.Fatalf("status %+v, %v; want the mark of step %d", st, err, step)
		}
		_, _, err = migrations.Up(t.Context(), dsn)
		check(t, err)
		if structure(t, dsn) != structure(t, storetest.DSN(t)) {
			t.Error("the schema differs from one that was made without a break")
		}
	})

	t.Run("goes on after it was killed between a step and the note that it is done", func(t *testing.T) {
		dsn := storetest.Empty(t)
		before, step, table := tableStep(t)
		_, _, err := migrations.To(t.Context(), dsn, before)
		check(t, err)
		connect := func() *pgx.Conn {
			conn, err := pgx.Connect(t.Context(), dsn)
			check(t, err)
			t.Cleanup(func() { conn.Close(context.Background()) })
			return conn
		}
		killer := connect()
		waiting := func(then string) {
			for done := false; !done; {
				check(t, killer.QueryRow(t.Context(), `SELECT coalesce(bool_or(`+then+`), false) FROM pg_stat_activity
					WHERE datname = current_database() AND pid <> pg_backend_pid() AND wait_event_type = 'Lock'`).Scan(&done))
			}
		}
		inTheWay, err := connect().Begin(t.Context())
		check(t, err)
		_, err = inTheWay.Exec(t.Context(), `CREATE TABLE `+table+` (holds_it_up int)`)
		check(t, err)
		failed := make(chan error)
		go func() {
			_, _, err := migrations.Up(t.Context(), dsn)
			failed <- err
		}()
		waiting("true") // the step, for the table
		reader, err := connect().Begin(t.Context())
		check(t, err)
		_, err = reader.Exec(t.Context(), `LOCK TABLE schema_migrations IN ACCESS SHARE MODE`)
		check(t, err)
		check(t, inTheWay.Rollback(t.Context()))
		for there := false; !there; { // the step is done
			check(t, killer.QueryRow(t.Context(), `SELECT to_regclass($1) IS NOT NULL`, table).Scan(&there))
		}
		waiting("pg_terminate_backend(pid)") // the note, for the reader
		if err := <-failed; err == nil {
			t.Fatal("the note went through")
		}
		check(t, reader.Rollback(t.Context()))
		if st, err := migrations.Read(t.Context(), dsn); err != nil || st.Dirty || st.Version != step {
			t.Fatalf("status %+v, %v; want step %d done", st, err, step)
		}
		_, _, err = migrations.Up(t.Context(), dsn)
		check(t, err)
		if structure(t, dsn) != structure(t, storetest.DSN(t)) {
			t.Error("the schema differs from one that was made without a break")
		}
	})

	t.Run("refuses a database of a newer program and leaves it alone", func(t *testing.T) {
		dsn := storetest.DSN(t)
		run(t, dsn, `UPDATE schema_migrations SET version = version + 7`)
		_, _, err := migrations.Up(t.Context(), dsn)
		newer, ok := errors.AsType[*migrations.ErrNewer](err)
		if !ok || newer.Database != migrations.Latest()+7 || newer.Program != migrations.Latest() {
			t.Fatalf("got %v", err)
		}
		st, err := migrations.Read(t.Context(), dsn)
		if err != nil || st.Version != migrations.Latest()+7 {
			t.Errorf("status %+v, %v", st, err)
		}
	})

	t.Run("stops waiting for another migration when told to", func(t *testing.T) {
		dsn := storetest.Empty(t)
		conn, err := pgx.Connect(t.Context(), dsn)
		check(t, err)
		defer conn.Close(context.Background())
		_, err = conn.Exec(t.Context(), `SELECT pg_advisory_lock($1)`, int64(0x63726f7373))
		check(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if _, _, err := migrations.Up(ctx, dsn); !errors.Is(err, context.Canceled) {
			t.Errorf("got %v", err)
		}
	})
}

var create = regexp.MustCompile(`(?im)^create table (\w+)`)

// tableStep is the last step after the first that makes a table, the step before
// it, and that table.
func tableStep(t *testing.T) (before, step uint, table string) {
	t.Helper()
	versions := migrations.Versions()
	for i := len(versions) - 1; i > 0; i-- {
		files, err := fs.Glob(migrations.Files, fmt.Sprintf("%04d_*.up.sql", versions[i]))
		check(t, err)
		for _, name := range files {
			b, err := migrations.Files.ReadFile(name)
			check(t, err)
			if m := create.FindSubmatch(b); m != nil {
				return versions[i-1], versions[i], string(m[1])
			}
		}
	}
	t.Fatal("no step after the first makes a table")
	return 0, 0, ""
}

func TestDown(t *testing.T) {
	t.Run("takes everything back that the steps made", func(t *testing.T) {
		dsn := storetest.DSN(t)
		before := structure(t, dsn)
		_, _, err := migrations.To(t.Context(), dsn, 0)
		check(t, err)
		for line := range strings.Lines(structure(t, dsn)) {
			if !strings.Contains(line, "schema_migrations") {
				t.Errorf("left over: %s", line)
			}
		}
		_, _, err = migrations.Up(t.Context(), dsn)
		check(t, err)
		if structure(t, dsn) != before {
			t.Error("the schema differs after down and up")
		}
	})
}

func TestFiles(t *testing.T) {
	ups, err := fs.Glob(migrations.Files, "*.up.sql")
	check(t, err)
	// The step's own mark is cleared in the same transaction, so a file must
	// not end that transaction.
	transaction := regexp.MustCompile(`(?im)^\s*(begin|commit|rollback|start\s+transaction|end)\s*(transaction|work)?\s*;|\bconcurrently\b`)
	for _, name := range ups {
		if _, err := fs.Stat(migrations.Files, strings.Replace(name, ".up.", ".down.", 1)); err != nil {
			t.Errorf("%s has no way down", name)
		}
		b, err := migrations.Files.ReadFile(name)
		check(t, err)
		// Function bodies have begin and end of their own.
		outside := regexp.MustCompile(`(?s)\$(\w*)\$.*?\$\w*\$`).ReplaceAll(b, nil)
		if m := transaction.Find(outside); m != nil {
			t.Errorf("%s has %q, which breaks the one transaction of a step", name, m)
		}
	}
	versions := migrations.Versions()
	if len(versions) != len(ups) || !slices.IsSorted(versions) || len(slices.Compact(versions)) != len(ups) {
		t.Errorf("%d files but the numbers %v: each needs one of its own, with four digits", len(ups), migrations.Versions())
	}
}
