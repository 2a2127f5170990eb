package storetest

import (
	"bytes"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/diag/diagtest"
	"crosscount/migrations"
	"crosscount/store/cluster"
	"crosscount/store/internal/flock"
)

func check(tb testing.TB, err error) {
	tb.Helper()
	if err != nil {
		tb.Fatal(err)
	}
}

func count(tb testing.TB, db interface {
	QueryRow(context.Context, string, ...any) pgx.Row
}, sql string, args ...any) int {
	tb.Helper()
	var n int
	check(tb, db.QueryRow(tb.Context(), sql, args...).Scan(&n))
	return n
}

func TestServerInUse(t *testing.T) {
	t.Logf("this run uses %s", Server(t))
}

func TestDB(t *testing.T) {
	t.Run("is at the newest version of the schema", func(t *testing.T) {
		st, err := migrations.Read(t.Context(), DSN(t))
		check(t, err)
		if st.Version != migrations.Latest() || st.Dirty {
			t.Errorf("status is %+v", st)
		}
	})

	t.Run("is the test's own and gone after it", func(t *testing.T) {
		var name string
		t.Run("inner", func(t *testing.T) {
			a, b := DB(t), DB(t)
			_, err := a.Exec(t.Context(), `CREATE TABLE mine (id int)`)
			check(t, err)
			if n := count(t, b, `SELECT count(*) FROM pg_tables WHERE tablename = 'mine'`); n != 0 {
				t.Error("two databases of a test are one")
			}
			check(t, a.QueryRow(t.Context(), `SELECT current_database()`).Scan(&name))
		})
		if n := count(t, get(t).admin, `SELECT count(*) FROM pg_database WHERE datname = $1`, name); n != 0 || name == "" {
			t.Errorf("%q is left over", name)
		}
	})

	t.Run("can be had by many tests at once", func(t *testing.T) {
		for range 8 {
			t.Run("parallel", func(t *testing.T) {
				t.Parallel()
				check(t, DB(t).Ping(t.Context()))
			})
		}
	})
}

func TestEmpty(t *testing.T) {
	conn, err := pgx.Connect(t.Context(), Empty(t))
	check(t, err)
	defer conn.Close(context.Background())
	if n := count(t, conn, `SELECT count(*) FROM pg_class WHERE relnamespace = 'public'::regnamespace`); n != 0 {
		t.Errorf("%d tables and the like in an empty database", n)
	}
}

func TestTx(t *testing.T) {
	t.Run("starts afresh each time", func(t *testing.T) {
		for range 2 {
			t.Run("inner", func(t *testing.T) {
				_, err := Tx(t).Exec(t.Context(), `CREATE TABLE once (id int)`) // fails if it is there
				check(t, err)
			})
		}
	})
}

func TestSeeded(t *testing.T) {
	var runs atomic.Int64
	key := time.Now().String()
	fill := func(ctx context.Context, db *pgxpool.Pool) error {
		runs.Add(1)
		_, err := db.Exec(ctx, `CREATE TABLE seed AS SELECT generate_series(1, 1000) AS n`)
		return err
	}
	t.Run("is filled once for a key and copied each time", func(t *testing.T) {
		for range 3 {
			db := Seeded(t, key, fill)
			if n := count(t, db, `SELECT count(*) FROM seed`); n != 1000 {
				t.Errorf("%d rows, want 1000", n)
			}
			_, err := db.Exec(t.Context(), `DELETE FROM seed`)
			check(t, err)
		}
		if runs.Load() != 1 {
			t.Errorf("filled %d times", runs.Load())
		}
	})

	t.Run("is filled again when it failed the first time", func(t *testing.T) {
		s, first := get(t), true
		base := schema()
		tmpl := template{name: schemaPrefix + "broken_test", from: &base, fill: func(ctx context.Context, dsn string) error {
			if first {
				first = false
				return errors.New("half-way")
			}
			return nil
		}}
		if err := s.make(t.Context(), tmpl); err == nil || err.Error() != "half-way" {
			t.Fatalf("got %v", err)
		}
		check(t, s.make(t.Context(), tmpl))
		_, err := s.admin.Exec(t.Context(), `ALTER DATABASE `+quote(tmpl.name)+` IS_TEMPLATE false`)
		check(t, err)
		_, err = s.admin.Exec(t.Context(), `DROP DATABASE `+quote(tmpl.name))
		check(t, err)
	})
}

func TestSweep(t *testing.T) {
	t.Run("removes the databases of ended processes and spares the living", func(t *testing.T) {
		s := get(t)
		living, _, err := s.newDatabase(t.Context(), template{name: "template1"})
		check(t, err)
		other, err := connect(t.Context(), s.url)
		check(t, err)
		dead, _, err := other.newDatabase(t.Context(), template{name: "template1"})
		check(t, err)
		check(t, other.holder.Close(t.Context())) // as when the process ends
		other.admin.Close()

		next, err := connect(t.Context(), s.url)
		check(t, err)
		defer next.admin.Close()
		defer next.holder.Close(context.Background())
		if n := count(t, s.admin, `SELECT count(*) FROM pg_database WHERE datname = $1`, dead); n != 0 {
			t.Errorf("%s is left over", dead)
		}
		if n := count(t, s.admin, `SELECT count(*) FROM pg_database WHERE datname = $1`, living); n != 1 {
			t.Errorf("%s was removed", living)
		}
		_, err = s.admin.Exec(t.Context(), `DROP DATABASE `+quote(living))
		check(t, err)
	})
}

func TestWithDatabase(t *testing.T) {
	for in, want := range map[string]string{
		"postgres://u:p@h:1/app?sslmode=disable":       "postgres://u:p@h:1/x?sslmode=disable",
		"postgresql://u@/app?host=%2Fs&dbname=app":     "postgresql://u@/x?host=%2Fs",
		"host=/s user=u dbname=app":                    "host=/s user=u dbname=app dbname=x",
		"postgres://u@a,b/app?target_session_attrs=rw": "postgres://u@a,b/x?target_session_attrs=rw",
	} {
		got, err := withDatabase(in, "x")
		if err != nil || got != want {
			t.Errorf("%s became %s, %v; want %s", in, got, err, want)
		}
		config, err := pgx.ParseConfig(strings.Replace(got, "=rw", "=read-write", 1))
		if err != nil || config.Database != "x" {
			t.Errorf("%s names database %q, %v", got, config.Database, err)
		}
	}
	for _, bad := range []string{"app", "postgres://u:secret@[/app"} {
		if _, err := withDatabase(bad, "x"); err == nil || strings.Contains(err.Error(), "secret") {
			t.Errorf("%s gave %v", bad, err)
		}
	}
}

// TestWithoutServer runs this test binary as on a machine that has none.
func TestWithoutServer(t *testing.T) {
	if os.Getenv("STORETEST_INNER") != "" {
		binDir = t.TempDir()
		DB(t)
		return
	}
	run := func(ci string) (string, error) {
		cmd := exec.Command(os.Args[0], "-test.v", "-test.run=^TestWithoutServer$")
		cmd.Env = append(os.Environ(), "STORETEST_INNER=1", "CI="+ci, "DATABASE_URL=", "DOCKER_HOST=unix:///nowhere")
		var out bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &out
		err := cmd.Run()
		return out.String(), err
	}
	t.Run("a developer's run skips and says so", func(t *testing.T) {
		out, err := run("")
		if err != nil || !strings.Contains(out, "NOTHING WAS TESTED") || !strings.Contains(out, "--- SKIP") {
			t.Errorf("%v:\n%s", err, out)
		}
	})
	t.Run("the checking machine's run fails", func(t *testing.T) {
		out, err := run("true")
		if err == nil || !strings.Contains(out, "no database for tests") {
			t.Errorf("%v:\n%s", err, out)
		}
	})
}

// TestBroken shows that a server that was asked for and is not there is a
// failure, never a skip.
func TestBroken(t *testing.T) {
	t.Setenv("DATABASE_URL", "postgres://nobody@127.0.0.1:1/none?connect_timeout=1")
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	if _, err := locate(ctx); err == nil || errors.Is(err, errNone) || !strings.Contains(err.Error(), "DATABASE_URL") {
		t.Errorf("got %v", err)
	}
}

func TestKeeper(t *testing.T) {
	if len(cluster.Find("")) == 0 {
		diagtest.Missing(t, "no PostgreSQL is installed for a private server")
	}
	defer func(old time.Duration) { linger = old }(linger)
	linger = 500 * time.Millisecond
	// Not in t.TempDir, which the server's account cannot reach when we are root.
	dir, err := os.MkdirTemp("", "storetest-keeper-")
	check(t, err)
	defer os.RemoveAll(dir)
	check(t, os.Chmod(dir, 0o711))
	users := func() *flock.File {
		l, err := flock.Open(filepath.Join(dir, "users"))
		check(t, err)
		check(t, l.Shared())
		return l
	}
	// What a killed keeper left.
	check(t, os.MkdirAll(filepath.Join(dir, "c-old", "data"), 0o700))

	first := users()
	ended := make(chan error, 1)
	go func() { ended <- keep(dir) }()
	var dsn string
	for ok := false; !ok; time.Sleep(10 * time.Millisecond) {
		select {
		case err := <-ended:
			t.Fatalf("the keeper ended: %v", err)
		default:
		}
		dsn, ok = answering(t.Context(), dir)
	}

	t.Run("removes what a killed one left", func(t *testing.T) {
		if _, err := os.Stat(filepath.Join(dir, "c-old")); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("stays while a process uses the server, and for a moment after", func(t *testing.T) {
		time.Sleep(3 * linger)
		if _, ok := answering(t.Context(), dir); !ok {
			t.Fatal("the server is gone")
		}
		check(t, first.Close())
		second := users()
		time.Sleep(3 * linger)
		if got, ok := answering(t.Context(), dir); !ok || got != dsn {
			t.Errorf("the server is %q, want %q", got, dsn)
		}
		check(t, second.Close())
	})
	t.Run("ends the server and removes everything of it once nobody is left", func(t *testing.T) {
		select {
		case err := <-ended:
			check(t, err)
		case <-time.After(20 * time.Second):
			t.Fatal("it stays")
		}
		if left, _ := filepath.Glob(filepath.Join(dir, "c-*")); len(left) != 0 {
			t.Errorf("left %v", left)
		}
		if _, ok := answering(t.Context(), dir); ok {
			t.Error("the server still answers")
		}
	})
}

// TestBinary keeps what only tests need out of the program.
func TestBinary(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "crosscount/cmd/crosscount").Output()
	check(t, err)
	for _, path := range strings.Fields(string(out)) {
		for _, not := range []string{"testing", "crosscount/store/storetest"} {
			if path == not {
				t.Errorf("the program imports %s", path)
			}
		}
		for _, not := range []string{"github.com/testcontainers/", "github.com/moby/", "github.com/docker/", "github.com/chromedp/"} {
			if strings.HasPrefix(path, not) {
				t.Errorf("the program imports %s", path)
			}
		}
	}
}

func BenchmarkClone(b *testing.B) {
	s := get(b)
	tables := template{name: schemaPrefix + "bench_25_tables", fill: func(ctx context.Context, dsn string) error {
		conn, err := pgx.Connect(ctx, dsn)
		if err != nil {
			return err
		}
		defer conn.Close(ctx)
		_, err = conn.Exec(ctx, `DO $$ BEGIN FOR i IN 1..25 LOOP
			EXECUTE format('CREATE TABLE t%s (id bigint PRIMARY KEY, a text, b text UNIQUE)', i);
		END LOOP; END $$`)
		return err
	}}
	defer func(old bool) { s.memory = old }(s.memory)
	for _, copied := range []bool{true, false} {
		name := "WAL_LOG"
		if s.memory = copied; copied {
			name = "FILE_COPY"
		}
		b.Run(name, func(b *testing.B) {
			var made, dropped time.Duration
			for b.Loop() {
				began := time.Now()
				name, _, err := s.newDatabase(b.Context(), tables)
				check(b, err)
				made += time.Since(began)
				began = time.Now()
				_, err = s.admin.Exec(b.Context(), `DROP DATABASE `+quote(name)+` WITH (FORCE)`)
				check(b, err)
				dropped += time.Since(began)
			}
			b.ReportMetric(float64(made.Microseconds())/1000/float64(b.N), "clone-ms")
			b.ReportMetric(float64(dropped.Microseconds())/1000/float64(b.N), "drop-ms")
		})
	}
}
