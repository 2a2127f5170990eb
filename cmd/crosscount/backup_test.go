package main

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/cmd/crosscount/internal/seed"
	"crosscount/migrations"
	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/web"
)

// seeded is the address of a database with the demo's shop in it.
func seeded(t *testing.T) string {
	t.Helper()
	return storetest.SeededDSN(t, "demo for backups", func(ctx context.Context, db *pgxpool.Pool) error {
		_, err := seed.Demo(ctx, store.New(db), time.Now(), web.HashPassword)
		return err
	})
}

func exec1(t *testing.T, dsn, sql string, args ...any) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	check(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), sql, args...)
	check(t, err)
}

// contents is each table's number of rows and a digest of them.
func contents(t *testing.T, dsn string) map[string]string {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), dsn)
	check(t, err)
	defer conn.Close(context.Background())
	rows, _ := conn.Query(t.Context(), `SELECT tablename FROM pg_tables WHERE schemaname = 'public'`)
	tables, err := pgx.CollectRows(rows, pgx.RowTo[string])
	check(t, err)
	all := map[string]string{}
	for _, name := range tables {
		var n int
		var digest string
		q := pgx.Identifier{name}.Sanitize()
		check(t, conn.QueryRow(t.Context(), `SELECT count(*), coalesce(md5(string_agg(r::text, '|' ORDER BY r::text)), '') FROM `+q+` r`).Scan(&n, &digest))
		all[name] = fmt.Sprint(n, " ", digest)
	}
	// What comes next from the sequences counts too.
	rows, _ = conn.Query(t.Context(), `SELECT sequencename || ' ' || coalesce(last_value, 0) FROM pg_sequences`)
	sequences, err := pgx.CollectRows(rows, pgx.RowTo[string])
	check(t, err)
	for _, s := range sequences {
		all["sequence "+s] = ""
	}
	return all
}

func mustSay(t *testing.T, want int, dsn string, args ...string) (out, err string) {
	t.Helper()
	code, out, err := said(t, []string{"DATABASE_URL=" + dsn}, "", args...)
	if code != want {
		t.Fatalf("%v: exit %d, want %d: %s", args, code, want, err)
	}
	return out, err
}

func TestBackupAndRestore(t *testing.T) {
	needPostgres(t)
	from := seeded(t)
	want := contents(t, from)
	if len(want) < 20 || want["jobs"] < "8" {
		t.Fatalf("too little to prove anything: %v", want)
	}
	file := filepath.Join(t.TempDir(), "shop.dump")
	_, said := mustSay(t, exitGood, from, "backup", file)
	if !strings.Contains(said, file) {
		t.Errorf("it said %q", said)
	}
	same := func(t *testing.T, dsn string) {
		t.Helper()
		if got := contents(t, dsn); !maps.Equal(got, want) {
			for name := range want {
				if got[name] != want[name] {
					t.Errorf("%s: %q became %q", name, want[name], got[name])
				}
			}
			t.Errorf("%d tables and sequences became %d", len(want), len(got))
		}
	}

	t.Run("a backup is for its owner's eyes only", func(t *testing.T) {
		st, err := os.Stat(file)
		check(t, err)
		if st.Mode().Perm() != 0o600 {
			t.Errorf("mode %v", st.Mode().Perm())
		}
	})

	t.Run("an empty database gets back all that the backup holds", func(t *testing.T) {
		to := storetest.Empty(t)
		mustSay(t, exitGood, to, "restore", file)
		same(t, to)
	})

	t.Run("a backup through standard output is the same", func(t *testing.T) {
		var out bytes.Buffer
		code := run(t.Context(), &console{out: &out, err: t.Output(), environ: []string{"DATABASE_URL=" + from}}, []string{"backup", "-"})
		other := filepath.Join(t.TempDir(), "other.dump")
		check(t, os.WriteFile(other, out.Bytes(), 0o600))
		if code != exitGood {
			t.Fatalf("exit %d", code)
		}
		to := storetest.Empty(t)
		mustSay(t, exitGood, to, "restore", other)
		same(t, to)
	})

	t.Run("a database that is not empty is refused and left as it is", func(t *testing.T) {
		to := storetest.DSN(t)
		exec1(t, to, `INSERT INTO people (name, login, role, created_at) VALUES ('Rosalin Tey', 'rosalin', 'owner', now())`)
		before := contents(t, to)
		_, said := mustSay(t, exitFailed, to, "restore", file)
		if !strings.Contains(said, "not empty") || !strings.Contains(said, "--replace") {
			t.Errorf("it said %q", said)
		}
		if !maps.Equal(contents(t, to), before) {
			t.Error("it was changed")
		}
	})

	t.Run("--replace puts the backup in its place and keeps what was there", func(t *testing.T) {
		to := storetest.DSN(t)
		exec1(t, to, `INSERT INTO people (name, login, role, created_at) VALUES ('Rosalin Tey', 'rosalin', 'owner', now())`)
		before := contents(t, to)
		_, said := mustSay(t, exitGood, to, "restore", "--replace", file)
		same(t, to)
		_, kept, ok := strings.Cut(said, "is kept as ")
		if !ok {
			t.Fatalf("it said %q", said)
		}
		kept, _, _ = strings.Cut(kept, " ")
		old := withName(to, kept)
		if !maps.Equal(contents(t, old), before) {
			t.Error("what was there is not what is kept")
		}
		exec1(t, storetest.Empty(t), `DROP DATABASE `+pgx.Identifier{kept}.Sanitize()+` WITH (FORCE)`)
	})

	t.Run("a database in use is refused", func(t *testing.T) {
		to := storetest.DSN(t)
		conn, err := pgx.Connect(t.Context(), to)
		check(t, err)
		defer conn.Close(context.Background())
		_, said := mustSay(t, exitFailed, to, "restore", "--replace", file)
		if !strings.Contains(said, "stop the server first") {
			t.Errorf("it said %q", said)
		}
	})

	t.Run("a backup of an older schema is brought up to date", func(t *testing.T) {
		old := storetest.Empty(t)
		versions := migrations.Versions()
		_, _, err := migrations.To(t.Context(), old, versions[len(versions)-2])
		check(t, err)
		file := filepath.Join(t.TempDir(), "old.dump")
		mustSay(t, exitGood, old, "backup", file)
		to := storetest.Empty(t)
		mustSay(t, exitGood, to, "restore", file)
		if st, err := migrations.Read(t.Context(), to); err != nil || st.Version != migrations.Latest() {
			t.Errorf("status %+v, %v", st, err)
		}
	})

	t.Run("a backup of a newer schema is refused before anything happens", func(t *testing.T) {
		newer := storetest.DSN(t)
		exec1(t, newer, `UPDATE schema_migrations SET version = version + 1`)
		file := filepath.Join(t.TempDir(), "newer.dump")
		mustSay(t, exitGood, newer, "backup", file)
		to := storetest.Empty(t)
		_, said := mustSay(t, exitFailed, to, "restore", file)
		if !strings.Contains(said, "newer program") {
			t.Errorf("it said %q", said)
		}
		if len(contents(t, to)) != 0 {
			t.Error("something was restored")
		}
	})

	t.Run("a file that is cut short leaves the database empty, or as it was", func(t *testing.T) {
		b, err := os.ReadFile(file)
		check(t, err)
		short := filepath.Join(t.TempDir(), "short.dump")
		check(t, os.WriteFile(short, b[:len(b)*2/3], 0o600))
		to := storetest.Empty(t)
		mustSay(t, exitFailed, to, "restore", short)
		if got := contents(t, to); len(got) != 0 {
			t.Errorf("%d tables were restored", len(got))
		}
		full := storetest.DSN(t)
		before := contents(t, full)
		mustSay(t, exitFailed, full, "restore", "--replace", short)
		if !maps.Equal(contents(t, full), before) {
			t.Error("the database was changed")
		}
	})

	t.Run("files that are no backups of ours are refused", func(t *testing.T) {
		other := storetest.Empty(t)
		exec1(t, other, `CREATE TABLE letters (text text)`)
		foreign := filepath.Join(t.TempDir(), "foreign.dump")
		_, said := mustSay(t, exitFailed, other, "backup", foreign)
		if !strings.Contains(said, "the right database") {
			t.Errorf("it said %q", said)
		}
		if left, _ := filepath.Glob(filepath.Join(filepath.Dir(foreign), "*")); len(left) != 0 {
			t.Errorf("it left %v", left)
		}
		_, said = mustSay(t, exitFailed, storetest.Empty(t), "restore", os.Args[0])
		if !strings.Contains(said, "cannot be read as a backup") {
			t.Errorf("it said %q", said)
		}
	})

	t.Run("a file that is there is not overwritten", func(t *testing.T) {
		before, err := os.ReadFile(file)
		check(t, err)
		_, said := mustSay(t, exitFailed, from, "backup", file)
		if after, err := os.ReadFile(file); err != nil || !bytes.Equal(before, after) || !strings.Contains(said, "another name") {
			t.Errorf("%v, it said %q", err, said)
		}
	})
}
