//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package cluster

import (
	"bufio"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag/diagtest"
)

// The app that a test kills is this test binary, started again as a helper.
const (
	helperDir    = "CLUSTER_TEST_HELPER_DIR"
	helperOrphan = "CLUSTER_TEST_HELPER_ORPHANABLE"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(helperDir); dir != "" {
		helper(dir)
		return
	}
	if len(Find("")) == 0 {
		if os.Getenv("CI") == "true" {
			fmt.Println("no PostgreSQL is installed, and CI must not skip these tests")
			os.Exit(1)
		}
		fmt.Println("SKIPPED: no PostgreSQL is installed; nothing in store/cluster was tested")
		return
	}
	os.Exit(m.Run())
}

// helper is an app: it says "ready PID URL" and stops when its input ends.
func helper(dir string) {
	c, err := Start(context.Background(), Options{
		Dir: dir, orphanable: os.Getenv(helperOrphan) != "",
		Logf: func(f string, a ...any) { fmt.Fprintf(os.Stderr, "helper: "+f+"\n", a...) },
	})
	if err != nil {
		fmt.Println("failed", err)
		os.Exit(1)
	}
	fmt.Println("ready", c.PID(), c.URL())
	io.Copy(io.Discard, os.Stdin)
	if err := c.Stop(context.Background()); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

type app struct {
	*exec.Cmd
	in     io.Closer
	out    io.Reader
	server int
	url    string
}

// launchApp starts a helper and does not wait for its server.
func launchApp(t *testing.T, dir string, env ...string) *app {
	t.Helper()
	a := &app{Cmd: exec.Command(os.Args[0])}
	a.Env = append(append(os.Environ(), helperDir+"="+dir), env...)
	a.Stderr = t.Output()
	in, err := a.StdinPipe()
	check(t, err)
	out, err := a.StdoutPipe()
	check(t, err)
	a.in, a.out = in, out
	check(t, a.Start())
	t.Cleanup(a.kill)
	return a
}

// startApp starts a helper and waits until its server answers.
func startApp(t *testing.T, dir string, env ...string) *app {
	t.Helper()
	a := launchApp(t, dir, env...)
	line, err := bufio.NewReader(a.out).ReadString('\n')
	if err != nil {
		t.Fatalf("helper said %q: %v", line, err)
	}
	if _, err := fmt.Sscanf(line, "ready %d %s", &a.server, &a.url); err != nil {
		t.Fatalf("helper said %q", line)
	}
	return a
}

// kill ends the helper as a crash would.
func (a *app) kill() {
	a.Process.Kill()
	a.Wait()
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// newDir makes a directory that the server's account can reach; t.TempDir
// cannot be entered by anybody but root when the tests run as root.
func newDir(t testing.TB) string {
	t.Helper()
	base := ""
	if isDir("/dev/shm") {
		base = "/dev/shm"
	}
	return newDirIn(t, base)
}

func newDirIn(t testing.TB, base string) string {
	t.Helper()
	dir, err := os.MkdirTemp(base, "cluster-test-")
	check(t, err)
	check(t, os.Chmod(dir, 0o711))
	t.Cleanup(func() { os.RemoveAll(dir) })
	return filepath.Join(dir, "shop")
}

func start(t testing.TB, opts Options) *Cluster {
	t.Helper()
	c, err := tryStart(t, opts)
	check(t, err)
	t.Cleanup(func() {
		if err := c.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
	return c
}

func tryStart(t testing.TB, opts Options) (*Cluster, error) {
	t.Helper()
	if opts.Logf == nil {
		opts.Logf = t.Logf
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	return Start(ctx, opts)
}

func stop(t testing.TB, c *Cluster) {
	t.Helper()
	check(t, c.Stop(context.Background()))
}

func exec1(t testing.TB, url, sql string, args ...any) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	check(t, err)
	defer conn.Close(context.Background())
	_, err = conn.Exec(t.Context(), sql, args...)
	check(t, err)
}

func query1[T any](t testing.TB, url, sql string) T {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	check(t, err)
	defer conn.Close(context.Background())
	rows, _ := conn.Query(t.Context(), sql) // CollectExactlyOneRow reports the error
	v, err := pgx.CollectExactlyOneRow(rows, pgx.RowTo[T])
	check(t, err)
	return v
}

// keepJob writes a row that must survive whatever follows.
func keepJob(t testing.TB, url string) {
	t.Helper()
	exec1(t, url, `CREATE TABLE job (id int); INSERT INTO job VALUES (42)`)
}

func wantJob(t testing.TB, url string) {
	t.Helper()
	if got := query1[int](t, url, `SELECT id FROM job`); got != 42 {
		t.Errorf("the row reads %d, want 42", got)
	}
}

func eventually(t testing.TB, what string, ok func() bool) {
	t.Helper()
	for began := time.Now(); time.Since(began) < 20*time.Second; time.Sleep(5 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("did not happen in 20 s: %s", what)
}

func TestLife(t *testing.T) {
	t.Run("makes a database at the first start and keeps it over a stop", func(t *testing.T) {
		dir := newDir(t)
		c := start(t, Options{Dir: dir})
		keepJob(t, c.URL())
		stop(t, c)
		if stateOf(c.PID()) != gone {
			t.Error("the server is still there after Stop")
		}
		if _, err := os.Stat(filepath.Join(dir, "data", "postmaster.pid")); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("no clean end: the pid file is still there (%v)", err)
		}
		again := start(t, Options{Dir: dir})
		wantJob(t, again.URL())
	})

	t.Run("listens on a private socket only and never as root", func(t *testing.T) {
		dir := newDir(t)
		c := start(t, Options{Dir: dir})
		if got := query1[string](t, c.URL(), `SHOW listen_addresses`); got != "" {
			t.Errorf("listens on %q", got)
		}
		for _, path := range []string{filepath.Join(dir, "data"), c.socketDir()} {
			st, err := os.Stat(path)
			check(t, err)
			if st.Mode().Perm() != 0o700 {
				t.Errorf("%s has mode %v, want 0700", path, st.Mode().Perm())
			}
		}
		uid, _, err := owner(fmt.Sprintf("/proc/%d", c.PID()))
		if errors.Is(err, fs.ErrNotExist) {
			diagtest.Missing(t, "no /proc here")
		}
		check(t, err)
		if uid == 0 || (os.Geteuid() != 0 && uid != os.Geteuid()) {
			t.Errorf("the server runs as user %d", uid)
		}
	})

	t.Run("ends open sessions on Stop", func(t *testing.T) {
		c := start(t, Options{Dir: newDir(t)})
		conn, err := pgx.Connect(t.Context(), c.URL())
		check(t, err)
		defer conn.Close(context.Background())
		stop(t, c)
		if err := conn.Ping(t.Context()); err == nil {
			t.Error("the session outlived the server")
		}
	})

	t.Run("puts the socket elsewhere when its path would be too long", func(t *testing.T) {
		dir := filepath.Join(newDir(t), strings.Repeat("long", 25))
		c := start(t, Options{Dir: dir})
		socket := filepath.Join(c.socketDir(), socketFile)
		if len(socket) > socketPathLimit {
			t.Errorf("the socket's path has %d bytes: %s", len(socket), socket)
		}
		stop(t, c)
		if isDir(c.socketDir()) {
			t.Errorf("%s is left over", c.socketDir())
		}
	})

	t.Run("is not led astray by PG variables", func(t *testing.T) {
		t.Setenv("PGDATA", "/nowhere")
		t.Setenv("PGPORT", "1")
		t.Setenv("PGHOST", "nowhere.invalid")
		t.Setenv("PGUSER", "nobody")
		t.Setenv("PGDATABASE", "nothing")
		t.Setenv("PGOPTIONS", "-c nonsense=1")
		t.Setenv("PGOPTIONS", "")
		c := start(t, Options{Dir: newDir(t)})
		if got := query1[string](t, c.URL(), `SELECT current_user || '/' || current_database()`); got != "crosscount/crosscount" {
			t.Errorf("connected as %s", got)
		}
	})

	t.Run("gives up at the end of the context and leaves nothing half made", func(t *testing.T) {
		dir := newDir(t)
		ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
		defer cancel()
		_, err := Start(ctx, Options{Dir: dir})
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("got %v, want the context's end", err)
		}
		left, _ := filepath.Glob(filepath.Join(dir, "data*"))
		if len(left) > 0 {
			t.Errorf("left %v", left)
		}
		start(t, Options{Dir: dir})
	})
}

func TestOneOwner(t *testing.T) {
	t.Run("refuses a second owner and names the first", func(t *testing.T) {
		dir := newDir(t)
		a := startApp(t, dir)
		_, err := tryStart(t, Options{Dir: dir})
		locked, ok := errors.AsType[*ErrLocked](err)
		if !ok || locked.PID != a.Process.Pid {
			t.Fatalf("got %v, want ErrLocked by %d", err, a.Process.Pid)
		}
		keepJob(t, a.url) // the first is unharmed
		url, err := Address(dir)
		check(t, err)
		wantJob(t, url)
		check(t, a.in.Close())
		check(t, a.Wait())
		if url, err := Address(dir); err == nil {
			t.Errorf("gives the address %s of a server that has ended", url)
		}
		c := start(t, Options{Dir: dir})
		wantJob(t, c.URL())
	})

	t.Run("refuses a second owner in the same process", func(t *testing.T) {
		dir := newDir(t)
		start(t, Options{Dir: dir})
		if _, err := tryStart(t, Options{Dir: dir}); !isErr[*ErrLocked](err) {
			t.Fatalf("got %v, want ErrLocked", err)
		}
	})
}

func isErr[E error](err error) bool {
	_, ok := errors.AsType[E](err)
	return ok
}

func TestKill(t *testing.T) {
	t.Run("a killed app takes its server with it and loses nothing", func(t *testing.T) {
		if !deathSignal {
			diagtest.Missing(t, "no parent-death signal here: the server is taken over instead")
		}
		dir := newDir(t)
		a := startApp(t, dir)
		keepJob(t, a.url)
		a.kill()
		eventually(t, "the server ends", func() bool { return stateOf(a.server) != alive })
		c := start(t, Options{Dir: dir})
		wantJob(t, c.URL())
	})

	t.Run("starts at once after a killed app, while its server is still ending", func(t *testing.T) {
		dir := newDir(t)
		a := startApp(t, dir)
		keepJob(t, a.url)
		a.kill()
		c := start(t, Options{Dir: dir})
		wantJob(t, c.URL())
	})

	t.Run("a killed server comes back under the same address", func(t *testing.T) {
		c := start(t, Options{Dir: newDir(t)})
		keepJob(t, c.URL())
		url, pid := c.URL(), c.PID()
		check(t, kill(pid, syscall.SIGKILL))
		eventually(t, "another server answers", func() bool { return c.PID() != pid && c.ping(t.Context(), database) == nil })
		if c.URL() != url {
			t.Errorf("the address changed from %s to %s", url, c.URL())
		}
		wantJob(t, c.URL())
	})

	t.Run("a killed server with busy sessions comes back", func(t *testing.T) {
		c := start(t, Options{Dir: newDir(t)})
		keepJob(t, c.URL())
		busy := make(chan struct{})
		go func() {
			defer close(busy)
			conn, err := pgx.Connect(t.Context(), c.URL())
			if err != nil {
				t.Error(err)
				return
			}
			defer conn.Close(context.Background())
			conn.Exec(t.Context(), `SELECT pg_sleep(60)`) // cut off below
		}()
		eventually(t, "a session sleeps", func() bool {
			return query1[int](t, c.URL(), `SELECT count(*)::int FROM pg_stat_activity WHERE wait_event = 'PgSleep'`) == 1
		})
		pid := c.PID()
		check(t, kill(pid, syscall.SIGKILL))
		eventually(t, "another server answers", func() bool { return c.PID() != pid && c.ping(t.Context(), database) == nil })
		wantJob(t, c.URL())
		<-busy
	})

	t.Run("a killed server with nothing forced to disk loses nothing either", func(t *testing.T) {
		c := start(t, Options{Dir: newDir(t), Disposable: true})
		pid := c.PID()
		keepJob(t, c.URL())
		check(t, kill(pid, syscall.SIGKILL))
		eventually(t, "another server answers", func() bool { return c.PID() != pid && c.ping(t.Context(), database) == nil })
		wantJob(t, c.URL())
	})

	t.Run("loses nothing when app and server are killed", func(t *testing.T) {
		dir := newDir(t)
		a := startApp(t, dir)
		keepJob(t, a.url)
		check(t, kill(a.server, syscall.SIGKILL))
		a.kill()
		c := start(t, Options{Dir: dir})
		wantJob(t, c.URL())
	})

	t.Run("takes over the server of a killed app where nothing ends it", func(t *testing.T) {
		dir := newDir(t)
		a := startApp(t, dir, helperOrphan+"=1")
		keepJob(t, a.url)
		a.kill()
		c := start(t, Options{Dir: dir, orphanable: true})
		if c.PID() != a.server {
			t.Errorf("runs server %d, want the orphan %d", c.PID(), a.server)
		}
		wantJob(t, c.URL())
		stop(t, c)
		if stateOf(a.server) == alive {
			t.Error("Stop left the orphan running")
		}
	})

	t.Run("replaces an orphan that was killed after the take-over", func(t *testing.T) {
		dir := newDir(t)
		a := startApp(t, dir, helperOrphan+"=1")
		keepJob(t, a.url)
		a.kill()
		c := start(t, Options{Dir: dir, orphanable: true})
		check(t, kill(a.server, syscall.SIGKILL))
		eventually(t, "another server answers", func() bool { return c.PID() != a.server && c.ping(t.Context(), database) == nil })
		wantJob(t, c.URL())
	})

	t.Run("an app killed in the middle of its first start can be started again", func(t *testing.T) {
		dir := newDir(t)
		a := launchApp(t, dir)
		eventually(t, "initdb writes", func() bool {
			half, _ := filepath.Glob(filepath.Join(dir, newPrefix+"*", "base"))
			return len(half) > 0
		})
		a.kill()
		if isDir(filepath.Join(dir, "data")) {
			t.Fatal("killed too late to prove anything")
		}
		c := start(t, Options{Dir: dir})
		keepJob(t, c.URL())
		left, _ := filepath.Glob(filepath.Join(dir, newPrefix+"*"))
		if len(left) > 0 {
			t.Errorf("left %v", left)
		}
	})

	t.Run("says so when the server cannot be kept running", func(t *testing.T) {
		dir := newDir(t)
		c := start(t, Options{Dir: dir})
		control := filepath.Join(dir, "data", "global", "pg_control")
		check(t, os.Rename(control, control+".away"))
		check(t, kill(c.PID(), syscall.SIGKILL))
		select {
		case <-c.Done():
		case <-time.After(30 * time.Second):
			t.Fatal("Done was not closed")
		}
		if err := c.Err(); err == nil || !strings.Contains(err.Error(), "pg_control") {
			t.Errorf("the reason reads %v, want the server's own words", err)
		}
		stop(t, c)
		check(t, os.Rename(control+".away", control))
		start(t, Options{Dir: dir})
	})
}

// stranger starts a living process that has nothing to do with PostgreSQL but is
// the same account's: those of others the server does not take for one of its own.
func stranger(t *testing.T, dir string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command("sleep", "300")
	cmd.Dir = dir
	cmd.SysProcAttr = asServer(t)
	check(t, cmd.Start())
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	return cmd
}

// writeAs writes a file that belongs to the owner of data, as the server does.
func writeAs(t *testing.T, data, path, text string) {
	t.Helper()
	check(t, os.WriteFile(path, []byte(text), 0o600))
	uid, gid, err := owner(data)
	check(t, err)
	check(t, os.Chown(path, uid, gid))
}

// asServer starts a process as the account that runs the server.
func asServer(t *testing.T) *syscall.SysProcAttr {
	t.Helper()
	who, err := resolveUser("", "/nowhere", "/nowhere")
	check(t, err)
	if os.Geteuid() != 0 {
		who, err = resolveUser("", t.TempDir(), "/nowhere")
		check(t, err)
	}
	return credential(who)
}

func TestStalePidFile(t *testing.T) {
	first := newDir(t)
	c := start(t, Options{Dir: first})
	keepJob(t, c.URL())
	stop(t, c)
	// made has data with a row in them, and no server.
	made := func(t *testing.T) string {
		dir := newDir(t)
		if out, err := exec.Command("cp", "-a", first, dir).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return dir
	}
	// leave writes a pid file as a server of that pid would have.
	leave := func(t *testing.T, dir string, pid int) {
		data := filepath.Join(dir, "data")
		text := fmt.Sprintf("%d\n%s\n%d\n5432\n%s\n\n  5432001     32768\nready   \n", pid, data, time.Now().Unix(), filepath.Join(dir, "run"))
		writeAs(t, data, filepath.Join(data, "postmaster.pid"), text)
		writeAs(t, data, filepath.Join(dir, "run", socketFile+".lock"), text)
	}

	t.Run("that names a living stranger does not keep the server from starting", func(t *testing.T) {
		dir := made(t)
		other := stranger(t, "/")
		leave(t, dir, other.Process.Pid)
		c := start(t, Options{Dir: dir})
		wantJob(t, c.URL())
		if stateOf(other.Process.Pid) != alive {
			t.Error("the stranger was ended")
		}
	})

	t.Run("that names a stranger who works in the data directory is no server either", func(t *testing.T) {
		if os.Geteuid() != 0 && !deathSignal {
			diagtest.Missing(t, "only where processes are told apart by their directory")
		}
		dir := made(t)
		other := stranger(t, filepath.Join(dir, "data"))
		leave(t, dir, other.Process.Pid)
		c := start(t, Options{Dir: dir})
		wantJob(t, c.URL())
		if stateOf(other.Process.Pid) != alive {
			t.Error("the stranger was ended")
		}
	})

	t.Run("that names the server of other data leaves that one alone", func(t *testing.T) {
		dir := made(t)
		other := start(t, Options{Dir: newDir(t)})
		leave(t, dir, other.PID())
		c := start(t, Options{Dir: dir})
		wantJob(t, c.URL())
		keepJob(t, other.URL())
	})

	t.Run("that names a zombie does not keep the server from starting", func(t *testing.T) {
		dir := made(t)
		cmd := exec.Command("true")
		cmd.SysProcAttr = asServer(t)
		check(t, cmd.Start())
		t.Cleanup(func() { cmd.Wait() }) // not before: until then it is a zombie
		eventually(t, "a zombie", func() bool { return stateOf(cmd.Process.Pid) == zombie })
		leave(t, dir, cmd.Process.Pid)
		c := start(t, Options{Dir: dir})
		wantJob(t, c.URL())
	})

	t.Run("is kept while a session of the dead server still works on the data", func(t *testing.T) {
		if !deathSignal {
			diagtest.Missing(t, "sessions cannot be seen here")
		}
		dir := made(t)
		a := startApp(t, dir, helperOrphan+"=1")
		conn, err := pgx.Connect(t.Context(), a.url)
		check(t, err)
		defer conn.Close(context.Background())
		session := int(conn.PgConn().PID())
		check(t, kill(session, syscall.SIGSTOP)) // so that it does not notice
		t.Cleanup(func() { kill(session, syscall.SIGKILL) })
		a.kill()
		check(t, kill(a.server, syscall.SIGKILL))
		eventually(t, "the server is gone", func() bool { return stateOf(a.server) != alive })
		leave(t, dir, stranger(t, "/").Process.Pid)

		type result struct {
			c   *Cluster
			err error
		}
		started := make(chan result, 1)
		go func() {
			c, err := tryStart(t, Options{Dir: dir})
			started <- result{c, err}
		}()
		select {
		case r := <-started:
			if r.err == nil {
				stop(t, r.c)
			}
			t.Fatalf("did not wait for the session: %v", r.err)
		case <-time.After(500 * time.Millisecond):
		}
		if _, err := os.Stat(filepath.Join(dir, "data", "postmaster.pid")); err != nil {
			t.Errorf("the pid file was removed: %v", err)
		}
		check(t, kill(session, syscall.SIGKILL))
		r := <-started
		check(t, r.err)
		wantJob(t, r.c.URL())
		stop(t, r.c)
	})

	t.Run("that names nobody is no hindrance", func(t *testing.T) {
		dir := made(t)
		cmd := exec.Command("true")
		check(t, cmd.Run())
		leave(t, dir, cmd.Process.Pid)
		c := start(t, Options{Dir: dir})
		wantJob(t, c.URL())
	})

	for _, text := range []string{"", "rubbish\n", "-1\n", "0\n", "99999999999999999999\n"} {
		t.Run("that reads "+strconv.Quote(text)+" is no hindrance", func(t *testing.T) {
			dir := made(t)
			writeAs(t, filepath.Join(dir, "data"), filepath.Join(dir, "data", "postmaster.pid"), text)
			c := start(t, Options{Dir: dir})
			wantJob(t, c.URL())
		})
	}

	t.Run("of a server started by hand is kept, and that server taken over", func(t *testing.T) {
		dir := made(t)
		c := &Cluster{opts: Options{Dir: dir, orphanable: true, Logf: t.Logf}, data: filepath.Join(dir, "data"), done: make(chan struct{})}
		var err error
		c.who, err = resolveUser("", dir, c.data)
		check(t, err)
		c.bin = Find("")[0]
		check(t, c.openSocketDir())
		byHand, err := c.launch()
		check(t, err)
		check(t, c.waitReady(t.Context(), byHand))
		ours := start(t, Options{Dir: dir})
		if ours.PID() != byHand.pid {
			t.Errorf("runs server %d, want %d", ours.PID(), byHand.pid)
		}
		wantJob(t, ours.URL())
	})
}

// treeHash is over the names, modes and contents of all files under dir.
func treeHash(t *testing.T, dir string) string {
	t.Helper()
	h := sha256.New()
	check(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		fmt.Fprintln(h, path, info.Mode(), info.Size())
		if d.Type().IsRegular() {
			b, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			h.Write(b)
		}
		return nil
	}))
	return fmt.Sprintf("%x", h.Sum(nil))
}

func TestExistingData(t *testing.T) {
	t.Run("of another major version are refused and left as they are", func(t *testing.T) {
		dir := newDir(t)
		c := start(t, Options{Dir: dir})
		keepJob(t, c.URL())
		stop(t, c)
		version := filepath.Join(dir, "data", "PG_VERSION")
		right, err := os.ReadFile(version)
		check(t, err)
		check(t, os.WriteFile(version, []byte("9\n"), 0o600))
		before := treeHash(t, filepath.Join(dir, "data"))

		_, err = tryStart(t, Options{Dir: dir})
		v, ok := errors.AsType[*ErrVersion](err)
		if !ok || v.Need != 9 || len(v.Have) == 0 {
			t.Fatalf("got %v, want ErrVersion that needs 9", err)
		}
		for _, word := range []string{"PostgreSQL 9", v.Have[0].Version, "Nothing was changed"} {
			if !strings.Contains(err.Error(), word) {
				t.Errorf("the message lacks %q: %v", word, err)
			}
		}
		if treeHash(t, filepath.Join(dir, "data")) != before {
			t.Error("the data were changed")
		}
		check(t, os.WriteFile(version, right, 0o600))
		again := start(t, Options{Dir: dir})
		wantJob(t, again.URL())
	})

	t.Run("that are not PostgreSQL's are refused and left as they are", func(t *testing.T) {
		dir := newDir(t)
		data := filepath.Join(dir, "data")
		check(t, os.MkdirAll(data, 0o755))
		check(t, os.WriteFile(filepath.Join(data, "letters.txt"), []byte("mine"), 0o600))
		before := treeHash(t, data)
		if _, err := tryStart(t, Options{Dir: dir}); err == nil || !strings.Contains(err.Error(), "PG_VERSION") {
			t.Fatalf("got %v", err)
		}
		if treeHash(t, data) != before {
			t.Error("the files were changed")
		}
	})

	t.Run("whose version cannot be read are refused", func(t *testing.T) {
		dir := newDir(t)
		data := filepath.Join(dir, "data")
		check(t, os.MkdirAll(data, 0o700))
		check(t, os.WriteFile(filepath.Join(data, "PG_VERSION"), []byte("?"), 0o600))
		if _, err := tryStart(t, Options{Dir: dir}); err == nil || !strings.Contains(err.Error(), "PG_VERSION") {
			t.Fatalf("got %v", err)
		}
	})

	t.Run("an empty directory in their place is used", func(t *testing.T) {
		dir := newDir(t)
		check(t, os.MkdirAll(filepath.Join(dir, "data"), 0o755))
		keepJob(t, start(t, Options{Dir: dir}).URL())
	})
}

func TestAccount(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Run("an ordinary user cannot start the server as another", func(t *testing.T) {
			if _, err := tryStart(t, Options{Dir: newDir(t), User: "root"}); err == nil || !strings.Contains(err.Error(), "only root") {
				t.Fatalf("got %v", err)
			}
		})
		return
	}
	t.Run("root is refused as the server's account", func(t *testing.T) {
		if _, err := tryStart(t, Options{Dir: newDir(t), User: "root"}); err == nil || !strings.Contains(err.Error(), "ordinary account") {
			t.Fatalf("got %v", err)
		}
	})
	t.Run("an unknown account is refused by name", func(t *testing.T) {
		if _, err := tryStart(t, Options{Dir: newDir(t), User: "no-such-account"}); err == nil || !strings.Contains(err.Error(), "no-such-account") {
			t.Fatalf("got %v", err)
		}
	})
	t.Run("a directory that the account cannot reach is named", func(t *testing.T) {
		dir := newDir(t)
		closed := filepath.Dir(dir)
		check(t, os.Chmod(closed, 0o700))
		if _, err := tryStart(t, Options{Dir: dir}); err == nil || !strings.Contains(err.Error(), "may not enter "+closed) {
			t.Fatalf("got %v", err)
		}
	})
	t.Run("an ordinary user's shop can be started by root in between", func(t *testing.T) {
		o := newOrdinary(t)
		dir := filepath.Join(o.home, "shop")
		asUser := func() string {
			cmd := o.command(t.Context())
			cmd.Env = append(cmd.Env, helperDir+"="+dir)
			out, err := cmd.CombinedOutput() // its input has ended, so it stops once it is ready
			if err != nil || !strings.Contains(string(out), "ready ") {
				t.Fatalf("as %s: %v: %s", o.name, err, out)
			}
			return string(out)
		}
		asUser()
		c := start(t, Options{Dir: dir})
		if c.who.uid != o.uid {
			t.Errorf("root runs it as %s, not as its owner %s", c.who.name, o.name)
		}
		keepJob(t, c.URL())
		stop(t, c)
		asUser()
		wantJob(t, start(t, Options{Dir: dir}).URL())
	})
	t.Run("an ordinary user is told whose root's shop is", func(t *testing.T) {
		o := newOrdinary(t)
		dir := newDir(t)
		c := start(t, Options{Dir: dir})
		stop(t, c)
		cmd := o.command(t.Context())
		cmd.Env = append(cmd.Env, helperDir+"="+dir)
		out, err := cmd.CombinedOutput()
		if err == nil || !strings.Contains(string(out), "belongs to root") {
			t.Errorf("%v: %s", err, out)
		}
	})
	t.Run("data move to another account when asked", func(t *testing.T) {
		dir := newDir(t)
		c := start(t, Options{Dir: dir, User: "nobody"})
		keepJob(t, c.URL())
		stop(t, c)
		uid, _, err := owner(filepath.Join(dir, "data"))
		check(t, err)
		same := start(t, Options{Dir: dir}) // without a wish the owner stays
		if now, _, _ := owner(filepath.Join(dir, "data")); now != uid {
			t.Errorf("the data went from user %d to %d unasked", uid, now)
		}
		stop(t, same)
		other, err := resolveUser("", newDir(t), "/nowhere")
		check(t, err)
		if other.name == "nobody" {
			diagtest.Missing(t, "no account but nobody here")
		}
		moved := start(t, Options{Dir: dir, User: other.name})
		wantJob(t, moved.URL())
	})
}

// ordinary is a way to start this test binary as an ordinary user.
type ordinary struct {
	identity
	bin, home string
}

func newOrdinary(t *testing.T) ordinary {
	t.Helper()
	who, err := resolveUser("nobody", "/nowhere", "/nowhere")
	check(t, err)
	// Where go test built it only root may go.
	dir := filepath.Dir(newDir(t))
	check(t, os.Chmod(dir, 0o755))
	o := ordinary{who, filepath.Join(dir, "cluster.test"), filepath.Join(dir, "home")}
	b, err := os.ReadFile(os.Args[0])
	check(t, err)
	check(t, os.WriteFile(o.bin, b, 0o755))
	check(t, os.Mkdir(o.home, 0o700))
	check(t, os.Chown(o.home, who.uid, who.gid))
	return o
}

func (o ordinary) command(ctx context.Context, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, o.bin, args...)
	cmd.Dir = o.home
	cmd.Env = append(os.Environ(), "HOME="+o.home, "TMPDIR="+o.home)
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(o.uid), Gid: uint32(o.gid)}}
	return cmd
}

// TestAsOrdinaryUser runs every test of this package again without root.
func TestAsOrdinaryUser(t *testing.T) {
	if os.Geteuid() != 0 {
		diagtest.Missing(t, "this run is not root already: run it as root to see both")
	}
	o := newOrdinary(t)
	cmd := o.command(t.Context(), "-test.v", "-test.timeout=5m", "-test.skip=^TestAsOrdinaryUser$")
	if testing.CoverMode() != "" {
		cmd.Args = append(cmd.Args, "-test.gocoverdir="+o.home)
	}
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("as %s: %v\n%s", o.name, err, out)
	}
	if n := strings.Count(string(out), "--- PASS: TestKill/"); n < 5 {
		t.Errorf("only %d kill tests ran as %s", n, o.name)
	}
}

func BenchmarkStart(b *testing.B) {
	quiet := func(string, ...any) {}
	for name, newDir := range map[string]func(testing.TB) string{"memory": newDir, "disk": newDiskDir} {
		b.Run(name+"/cold", func(b *testing.B) {
			for b.Loop() {
				c := start(b, Options{Dir: newDir(b), Logf: quiet})
				b.StopTimer()
				stop(b, c)
				b.StartTimer()
			}
		})
		b.Run(name+"/warm", func(b *testing.B) {
			dir := newDir(b)
			stop(b, start(b, Options{Dir: dir, Logf: quiet}))
			for b.Loop() {
				c := start(b, Options{Dir: dir, Logf: quiet})
				b.StopTimer()
				stop(b, c)
				b.StartTimer()
			}
		})
		b.Run(name+"/stop", func(b *testing.B) {
			dir := newDir(b)
			for b.Loop() {
				b.StopTimer()
				c := start(b, Options{Dir: dir, Logf: quiet})
				b.StartTimer()
				stop(b, c)
			}
		})
	}
}

// newDiskDir is newDir where files are forced to a disk.
func newDiskDir(t testing.TB) string { return newDirIn(t, "") }
