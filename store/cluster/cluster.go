// Package cluster runs the app's own PostgreSQL server from installed binaries,
// for the shop that has no database server.
//
// The server listens on a unix socket in a private directory only, runs as an
// ordinary user even when the app is root, belongs to one app at a time, and
// ends with it. A directory given to [Start] holds:
//
//	data        the database files; made once, never removed, never overwritten
//	lock        locked while an app owns the directory
//	run         the socket, unless its path would be too long
//	server.log  what the server says (one older file is kept as server.log.1)
package cluster

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"crosscount/store/internal/flock"
)

const (
	role     = "crosscount" // the server's one role, its superuser
	database = "crosscount"
	port     = "5432" // names the socket file only: nothing listens on a port

	logLimit = 4 << 20 // bytes, above which server.log is set aside at a start
)

// Options say where and how to run the server.
type Options struct {
	// Dir is the directory described above. It is created where it is missing.
	Dir string
	// User is the account for the server when the app runs as root. Empty
	// takes the owner of existing data, else postgres, else nobody.
	User string
	// BinDir, if set, is the only place to look for PostgreSQL's programs.
	BinDir string
	// Disposable is for test data: nothing is forced to disk, so a crash of the
	// machine (not of the server) may cost all of it.
	Disposable bool
	// Settings are further server settings, each "name=value".
	Settings []string
	// Logf, if set, is told what happens.
	Logf func(format string, args ...any)

	orphanable bool // tests: as on systems without a parent-death signal
}

// Cluster is a running private server.
type Cluster struct {
	opts Options
	bin  Installation
	who  identity
	data string
	lock *flock.File

	stopCtx context.Context // ends when Stop is called
	stop    context.CancelFunc

	mu     sync.Mutex
	server *server
	socket string // directory of the socket

	stopped sync.Once
	stopErr error

	done chan struct{} // closed when there is no server and none will come
	err  error         // why, set before done is closed
}

// ErrLocked reports that another app owns the directory.
type ErrLocked struct {
	Dir string
	PID int // of the owner, 0 if unknown
}

func (e *ErrLocked) Error() string {
	who := "another process"
	if e.PID > 0 {
		who = fmt.Sprintf("process %d", e.PID)
	}
	return fmt.Sprintf("the data directory %s is in use by %s: stop it, or choose another directory", e.Dir, who)
}

// ErrVersion reports data that none of the installed versions can read.
type ErrVersion struct {
	Dir     string         // the data
	Need    int            // the major version that made the data
	Have    []Installation // what is installed
	Install Command        // installs Need, if a way is known
}

func (e *ErrVersion) Error() string {
	have := "none is installed"
	if len(e.Have) > 0 {
		var list []string
		for _, in := range e.Have {
			list = append(list, fmt.Sprintf("%s in %s", in.Version, in.Dir))
		}
		have = "installed: " + strings.Join(list, ", ")
	}
	s := fmt.Sprintf("the data in %s was made by PostgreSQL %d and needs that version (%s). Nothing was changed.", e.Dir, e.Need, have)
	if len(e.Install.Steps) > 0 {
		s += " Install it: " + e.Install.String()
	}
	return s
}

// Start makes the data where there are none and starts the server. It returns
// once the database answers. If ctx has no deadline it waits as long as the
// server needs to recover from an unclean end.
//
// The errors [*ErrNoPostgres], [*ErrVersion] and [*ErrLocked] can be mended by
// the person at the terminal; their text says how.
func Start(ctx context.Context, opts Options) (*Cluster, error) {
	if !supported {
		return nil, errors.New("a private PostgreSQL is not supported on this system: set DATABASE_URL to a server")
	}
	if opts.Logf == nil {
		opts.Logf = func(string, ...any) {}
	}
	dir, err := filepath.Abs(opts.Dir)
	if err != nil {
		return nil, fmt.Errorf("data directory: %w", err)
	}
	if err := makeDirs(dir); err != nil {
		return nil, fmt.Errorf("make the data directory: %w", err)
	}
	// The server reports real paths, and we compare with them.
	if dir, err = filepath.EvalSymlinks(dir); err != nil {
		return nil, fmt.Errorf("data directory: %w", err)
	}
	opts.Dir = dir
	c := &Cluster{opts: opts, data: filepath.Join(dir, "data"), done: make(chan struct{})}
	c.stopCtx, c.stop = context.WithCancel(context.Background())

	if c.who, err = resolveUser(opts.User, dir, c.data); err != nil {
		return nil, err
	}
	if c.lock, err = takeLock(dir); err != nil {
		return nil, err
	}
	if err := c.start(ctx); err != nil {
		c.stop()
		removeSocketDir(dir, c.socketDir())
		c.lock.Close()
		return nil, err
	}
	go c.watch()
	return c, nil
}

// URL is the address of the app's database.
func (c *Cluster) URL() string { return c.url(database) }

// Address is the address of the database of a server that runs on dir for
// another app. It is an error if none does.
func Address(dir string) (string, error) {
	data, err := filepath.Abs(filepath.Join(dir, "data"))
	if err != nil {
		return "", err
	}
	b, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if err != nil {
		return "", fmt.Errorf("find the running server: %w", err)
	}
	pf := parsePidFile(b)
	if stateOf(pf.pid) != alive || !serverOf(pf.pid, data) || pf.socket == "" {
		return "", fmt.Errorf("no server runs on %s", data)
	}
	c := Cluster{socket: pf.socket}
	return c.URL(), nil
}

// Installation is the PostgreSQL in use.
func (c *Cluster) Installation() Installation { return c.bin }

// PID is the process id of the server.
func (c *Cluster) PID() int {
	return c.current().pid
}

// Done is closed when the server has ended for good: after Stop, or when it
// cannot be kept running. Err then says why.
func (c *Cluster) Done() <-chan struct{} { return c.done }

// Err is nil until Done is closed, and after a Stop that went well.
func (c *Cluster) Err() error {
	select {
	case <-c.done:
		return c.err
	default:
		return nil
	}
}

// Stop ends the server. It first lets sessions finish for a moment, then cuts
// them off, and when ctx ends it stops waiting for the last checkpoint: the
// data are safe, the next start replays the log.
func (c *Cluster) Stop(ctx context.Context) error {
	c.stopped.Do(func() {
		c.stop()
		<-c.done // from here on nobody starts the server again
		began := time.Now()
		if err := c.current().end(ctx); err != nil {
			c.stopErr = err // and keep the lock: the server may still be there
			return
		}
		removeSocketDir(c.opts.Dir, c.socketDir())
		c.opts.Logf("stopped PostgreSQL (%s)", since(began))
		c.stopErr = c.lock.Close()
	})
	return c.stopErr
}

func (c *Cluster) current() *server {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.server
}

func (c *Cluster) socketDir() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.socket
}

func (c *Cluster) setSocketDir(dir string) {
	c.mu.Lock()
	c.socket = dir
	c.mu.Unlock()
}

func (c *Cluster) url(db string) string {
	q := url.Values{"host": {c.socketDir()}, "port": {port}}
	return (&url.URL{Scheme: "postgres", User: url.User(role), Path: "/" + db, RawQuery: q.Encode()}).String()
}

func takeLock(dir string) (*flock.File, error) {
	path := filepath.Join(dir, "lock")
	l, err := flock.Open(path)
	if err != nil {
		return nil, err
	}
	if err := l.TryExclusive(); err != nil {
		l.Close()
		if errors.Is(err, flock.ErrHeld) {
			b, _ := os.ReadFile(path) // only for the message
			pid, _ := strconv.Atoi(strings.TrimSpace(string(b)))
			return nil, &ErrLocked{Dir: dir, PID: pid}
		}
		return nil, err
	}
	if err := l.Note(strconv.Itoa(os.Getpid()) + "\n"); err != nil {
		l.Close()
		return nil, fmt.Errorf("write lock file: %w", err)
	}
	giveToOwner(dir, path)
	return l, nil
}

// start is Start under the lock.
func (c *Cluster) start(ctx context.Context) error {
	need, err := dataMajor(c.data)
	if err != nil {
		return err
	}
	if c.bin, err = choose(c.opts.BinDir, c.data, need); err != nil {
		return err
	}
	if uid, _, err := owner(c.opts.Dir); err == nil && uid != c.who.uid {
		// The server's account must be able to pass through.
		if err := os.Chmod(c.opts.Dir, 0o711); err != nil {
			return fmt.Errorf("open the data directory to %s: %w", c.who.name, err)
		}
	}
	c.removeInterrupted()
	if need == 0 {
		began := time.Now()
		if err := c.create(ctx); err != nil {
			return err
		}
		c.opts.Logf("made a database in %s with PostgreSQL %s (%s)", c.data, c.bin.Version, since(began))
	} else if err := c.claimData(); err != nil {
		return err
	}
	return c.up(ctx)
}

// up brings a server to life on existing data and waits for the database.
func (c *Cluster) up(ctx context.Context) error {
	began := time.Now()
	adopted, err := c.settle(ctx)
	if err != nil {
		return err
	}
	if adopted != nil {
		c.set(adopted)
		if err := c.ensureDatabase(ctx); err != nil {
			return err
		}
		c.opts.Logf("took over the PostgreSQL %s server that an earlier run left behind (process %d)", c.bin.Version, adopted.pid)
		return nil
	}
	if err := c.openSocketDir(); err != nil {
		return err
	}
	for {
		s, err := c.launch()
		if err != nil {
			return err
		}
		err = c.waitReady(ctx, s)
		if err == nil {
			c.set(s)
			break
		}
		select {
		case <-s.gone:
		default:
			stopCtx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
			err = errors.Join(err, s.end(stopCtx))
			cancel()
			return err
		}
		// Sessions of a killed server hold its shared memory until they notice.
		if !strings.Contains(err.Error(), "shared memory block") || time.Since(began) > 20*time.Second {
			return err
		}
		if err := sleep(ctx, 50*time.Millisecond); err != nil {
			return err
		}
	}
	if err := c.ensureDatabase(ctx); err != nil {
		stopCtx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
		defer cancel()
		return errors.Join(err, c.server.end(stopCtx))
	}
	c.opts.Logf("started PostgreSQL %s as %s, process %d (%s)", c.bin.Version, c.who.name, c.server.pid, since(began))
	return nil
}

func (c *Cluster) set(s *server) {
	c.mu.Lock()
	c.server = s
	c.mu.Unlock()
}

// watch starts the server again when it ends unasked, and leaves when it must
// not or cannot.
func (c *Cluster) watch() {
	defer close(c.done)
	const tries = 5
	var last time.Time
	failures := 0
	for {
		s := c.current()
		select {
		case <-c.stopCtx.Done():
			return
		case <-s.gone:
		}
		if c.stopCtx.Err() != nil {
			return
		}
		if time.Since(last) > time.Minute {
			failures = 0
		}
		last = time.Now()
		c.opts.Logf("the PostgreSQL server ended unasked (%v); starting it again", s.err)
		for {
			err := c.up(c.stopCtx)
			if err == nil {
				failures++ // a server that keeps dying must not restart for ever
				if failures < tries {
					break
				}
				err = errors.New("it ends again each time")
				ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
				err = errors.Join(err, c.server.end(ctx))
				cancel()
				failures = tries
			}
			if c.stopCtx.Err() != nil {
				return
			}
			failures++
			if failures >= tries {
				c.err = fmt.Errorf("the private PostgreSQL cannot be kept running: %w", err)
				c.opts.Logf("%v", c.err)
				return
			}
			c.opts.Logf("starting PostgreSQL again failed: %v", err)
			if sleep(c.stopCtx, 100*time.Millisecond<<failures) != nil {
				return
			}
		}
	}
}

// create runs initdb in a sibling directory and moves the result into place,
// so that data is either whole or not there.
func (c *Cluster) create(ctx context.Context) error {
	tmp, err := os.MkdirTemp(c.opts.Dir, newPrefix)
	if err != nil {
		return fmt.Errorf("make the database: %w", err)
	}
	defer os.RemoveAll(tmp) // gone already when all went well
	if err := c.who.own(tmp); err != nil {
		return fmt.Errorf("make the database: %w", err)
	}
	args := []string{"-D", tmp, "-U", role, "-A", "trust", "-E", "UTF8"}
	if c.opts.Disposable {
		args = append(args, "--no-sync")
	} else {
		args = append(args, "--data-checksums")
	}
	out, err := c.initdb(ctx, append(args, "--locale=C.UTF-8"))
	if err != nil && strings.Contains(out, "invalid locale name") {
		out, err = c.initdb(ctx, append(args, "--locale=C"))
	}
	if err != nil {
		if ctx.Err() != nil {
			return fmt.Errorf("make the database: %w", context.Cause(ctx))
		}
		return fmt.Errorf("make the database: initdb: %w%s\n%s", err, c.who.hint(c.opts.Dir), strings.TrimSpace(out))
	}
	// Removes an empty directory only.
	if err := os.Remove(c.data); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("make the database: %w", err)
	}
	if err := os.Rename(tmp, c.data); err != nil {
		return fmt.Errorf("make the database: %w", err)
	}
	if !c.opts.Disposable {
		return syncDir(c.opts.Dir)
	}
	return nil
}

const newPrefix = "data.new-"

// removeInterrupted removes what an initdb left that was cut short. Such a
// directory never became the data.
func (c *Cluster) removeInterrupted() {
	left, _ := filepath.Glob(filepath.Join(c.opts.Dir, newPrefix+"*")) // pattern is well formed
	for _, dir := range left {
		if err := os.RemoveAll(dir); err != nil {
			c.opts.Logf("could not remove %s: %v", dir, err)
			continue
		}
		c.opts.Logf("removed %s, left by an interrupted first start", dir)
	}
}

// dataMajor reads which major version made the data, 0 if there are none.
func dataMajor(data string) (int, error) {
	b, err := os.ReadFile(filepath.Join(data, "PG_VERSION"))
	if err == nil {
		major, err := strconv.Atoi(strings.TrimSpace(string(b)))
		if err != nil {
			return 0, fmt.Errorf("%s/PG_VERSION reads %q, which is no PostgreSQL version: restore the directory from a backup", data, b)
		}
		return major, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return 0, fmt.Errorf("read the version of the data: %w", err)
	}
	entries, err := os.ReadDir(data)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return 0, fmt.Errorf("read the data directory: %w", err)
	}
	if len(entries) > 0 {
		return 0, fmt.Errorf("%s holds files but no PG_VERSION, so it is no PostgreSQL data: choose another directory, or move these files away", data)
	}
	return 0, nil
}

// claimData checks that the server's account owns the data, and as root hands
// them over if another account was asked for.
func (c *Cluster) claimData() error {
	uid, _, err := owner(c.data)
	if err != nil {
		return fmt.Errorf("data directory: %w", err)
	}
	if uid == c.who.uid {
		return nil
	}
	if !c.who.drop {
		return fmt.Errorf("the data in %s belong to %s and you are %s: start as that user, or choose another directory", c.data, userName(uid), c.who.name)
	}
	c.opts.Logf("handing the data from %s to %s", userName(uid), c.who.name)
	return filepath.WalkDir(c.data, func(path string, _ fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return os.Lchown(path, c.who.uid, c.who.gid)
	})
}

// openSocketDir makes the private directory for the socket, near the data if
// the path is short enough.
func (c *Cluster) openSocketDir() error {
	dir := c.socketDir() // the same again after a restart: clients know it
	if dir == "" {
		dir = filepath.Join(c.opts.Dir, "run")
		if len(filepath.Join(dir, socketFile)) > socketPathLimit {
			base := os.TempDir()
			if len(base) > 60 {
				base = "/tmp"
			}
			var err error
			if dir, err = os.MkdirTemp(base, socketPrefix); err != nil {
				return fmt.Errorf("make the socket directory: %w", err)
			}
		}
		c.setSocketDir(dir)
	}
	if err := os.Mkdir(dir, 0o700); err != nil && !(errors.Is(err, fs.ErrExist) && isDir(dir)) {
		return fmt.Errorf("make the socket directory: %w", err)
	}
	if err := c.who.own(dir); err != nil {
		return fmt.Errorf("socket directory: %w", err)
	}
	// Under our lock and with no living server these can only be left over. The
	// lock file would keep the server from starting if its pid is in use again.
	for _, name := range []string{socketFile, socketFile + ".lock"} {
		if err := os.Remove(filepath.Join(dir, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("remove the old socket: %w", err)
		}
	}
	return nil
}

const (
	socketPrefix = "crosscount-"
	socketFile   = ".s.PGSQL." + port
)

// removeSocketDir removes a socket directory that openSocketDir made outside
// dir. It removes nothing else.
func removeSocketDir(dir, socket string) {
	if socket == "" || filepath.Dir(socket) == dir || !strings.HasPrefix(filepath.Base(socket), socketPrefix) {
		return
	}
	os.Remove(filepath.Join(socket, socketFile))
	os.Remove(filepath.Join(socket, socketFile+".lock"))
	os.Remove(socket)
}

// waitReady returns when the server answers, or has ended, or ctx has.
func (c *Cluster) waitReady(ctx context.Context, s *server) error {
	pause, began, told := 2*time.Millisecond, time.Now(), time.Now()
	for {
		err := c.ping(ctx, "postgres")
		if err == nil {
			return nil
		}
		select {
		case <-s.gone:
			return fmt.Errorf("PostgreSQL did not start: %w%s\n%s", s.err, c.who.hint(c.opts.Dir), s.log())
		case <-ctx.Done():
			return fmt.Errorf("waiting for PostgreSQL: %w (last answer: %v)", context.Cause(ctx), err)
		case <-time.After(pause):
		}
		pause = min(pause*5/4, 50*time.Millisecond)
		if time.Since(told) > 5*time.Second {
			told = time.Now()
			c.opts.Logf("still waiting for PostgreSQL after %s: %v", since(began), err)
		}
	}
}

func (c *Cluster) ping(ctx context.Context, db string) error {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, c.url(db))
	if err != nil {
		return err
	}
	return conn.Close(ctx)
}

func (c *Cluster) ensureDatabase(ctx context.Context) error {
	err := c.ping(ctx, database)
	if pgErr, ok := errors.AsType[*pgconn.PgError](err); !ok || pgErr.Code != "3D000" { // invalid_catalog_name
		return err
	}
	conn, err := pgx.Connect(ctx, c.url("postgres"))
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, "CREATE DATABASE "+database); err != nil {
		return fmt.Errorf("create the database: %w", err)
	}
	return nil
}

// settle deals with what an earlier run left. It returns a server that is
// still running on the data, if there is one worth keeping.
func (c *Cluster) settle(ctx context.Context) (*server, error) {
	file := filepath.Join(c.data, "postmaster.pid")
	b, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read the server's pid file: %w", err)
	}
	pf := parsePidFile(b)
	state := stateOf(pf.pid)
	if state == alive && serverOf(pf.pid, c.data) {
		return c.settleOrphan(ctx, pf)
	}
	if state == zombie {
		// A zombie answers signals, so the new server would take it for alive. It
		// is mostly collected at once; in a container it may stay for ever.
		for range 100 {
			if state = stateOf(pf.pid); state != zombie {
				break
			}
			if err := sleep(ctx, 10*time.Millisecond); err != nil {
				return nil, err
			}
		}
	}
	if pf.socket != c.socketDir() {
		removeSocketDir(c.opts.Dir, pf.socket)
	}
	if err := c.waitSessions(ctx); err != nil {
		return nil, err
	}
	if pf.pid > 0 && state == gone {
		return nil, nil // the server sees that itself
	}
	// The pid is nobody's, a zombie's or a stranger's; we hold the lock, and no
	// process works on the data. Only then is the file in the way.
	c.opts.Logf("removing a stale pid file that names process %d", pf.pid)
	if err := os.Remove(file); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("remove the stale pid file: %w", err)
	}
	return nil, nil
}

// settleOrphan waits for a server that is ending, takes over one that is well,
// and ends one that is neither.
func (c *Cluster) settleOrphan(ctx context.Context, pf pidFile) (*server, error) {
	s := watchProcess(pf.pid, c.data)
	file := filepath.Join(c.data, "postmaster.pid")
	if deathSignal && !c.opts.orphanable {
		// It was told to end when its app died; give it time to say so.
		c.opts.Logf("waiting for the server of an earlier run to end (process %d)", pf.pid)
		select {
		case <-s.gone:
			return c.settle(ctx)
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		case <-time.After(time.Second):
		}
	}
	if b, err := os.ReadFile(file); err == nil {
		pf = parsePidFile(b)
	}
	if pf.status == "ready" && pf.port == port && pf.pid == s.pid {
		old := c.socketDir()
		c.setSocketDir(pf.socket)
		err := c.ping(ctx, "postgres")
		if err == nil {
			return s, nil
		}
		c.setSocketDir(old)
		c.opts.Logf("the server of an earlier run does not answer: %v", err)
	}
	endCtx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	if err := s.end(endCtx); err != nil {
		return nil, fmt.Errorf("end the server of an earlier run: %w", err)
	}
	return c.settle(ctx)
}

// waitSessions waits until no process works in the data directory: after a
// kill of the server its sessions live on for a moment.
func (c *Cluster) waitSessions(ctx context.Context) error {
	began := time.Now()
	for {
		left := workingIn(c.data)
		if len(left) == 0 {
			return nil
		}
		if time.Since(began) > 20*time.Second {
			return fmt.Errorf("processes %v of an earlier server still work on %s: end them and start again", left, c.data)
		}
		if err := sleep(ctx, 10*time.Millisecond); err != nil {
			return err
		}
	}
}

// pidFile is what PostgreSQL writes to postmaster.pid, one line each: pid, data
// directory, start time, port, socket directory, listen address, shared memory
// key, status (documented in src/include/utils/pidfile.h).
type pidFile struct {
	pid          int // 0 if it cannot be read
	port, socket string
	status       string // starting, stopping, ready, standby
}

func parsePidFile(b []byte) pidFile {
	var lines [8]string
	for i, line := range strings.SplitN(string(b), "\n", 9) {
		if i < len(lines) {
			lines[i] = strings.TrimSpace(line)
		}
	}
	pid, err := strconv.Atoi(lines[0])
	if err != nil || pid < 0 {
		pid = 0
	}
	return pidFile{pid: pid, port: lines[3], socket: lines[4], status: lines[7]}
}

// openLog opens the server's log for appending and tells where it ends.
func (c *Cluster) openLog() (*os.File, int64, error) {
	path := filepath.Join(c.opts.Dir, "server.log")
	if st, err := os.Stat(path); err == nil && st.Size() > logLimit {
		if err := os.Rename(path, path+".1"); err != nil {
			return nil, 0, fmt.Errorf("set the server's log aside: %w", err)
		}
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, 0, fmt.Errorf("open the server's log: %w", err)
	}
	giveToOwner(c.opts.Dir, path)
	end, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		f.Close()
		return nil, 0, fmt.Errorf("open the server's log: %w", err)
	}
	return f, end, nil
}

// tail is the last lines of the log written from offset on.
func tail(path string, offset int64) string {
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	b, _ := io.ReadAll(io.NewSectionReader(f, offset, 1<<20)) // as much as there is
	b = bytes.TrimSpace(b)
	const most = 2000
	if len(b) > most {
		b = b[len(b)-most:]
		if _, rest, ok := bytes.Cut(b, []byte("\n")); ok {
			b = rest
		}
	}
	return string(b)
}

// environ is the environment for PostgreSQL's programs: ours without the
// variables that would point them elsewhere.
func environ() []string {
	var env []string
	for _, kv := range os.Environ() {
		name, _, _ := strings.Cut(kv, "=")
		if strings.HasPrefix(name, "PG") || strings.HasPrefix(name, "LC_") || name == "LANG" || name == "TZ" ||
			strings.HasPrefix(name, "CROSSCOUNT_") || strings.HasPrefix(name, "DATABASE_URL") {
			continue
		}
		env = append(env, kv)
	}
	return append(env, "LC_ALL=C", "TZ=UTC")
}

func sleep(ctx context.Context, d time.Duration) error {
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-time.After(d):
		return nil
	}
}

func since(t time.Time) time.Duration { return time.Since(t).Round(time.Millisecond) }

// makeDirs makes dir and what is missing above it. Of root's directories the
// server's account needs to pass through all.
func makeDirs(dir string) error {
	var made []string
	for d := dir; ; d = filepath.Dir(d) {
		if _, err := os.Lstat(d); !errors.Is(err, fs.ErrNotExist) {
			break
		}
		made = append(made, d)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil || os.Geteuid() != 0 {
		return err
	}
	for _, d := range made {
		if err := os.Chmod(d, 0o711); err != nil {
			return err
		}
	}
	return nil
}

func isDir(path string) bool {
	st, err := os.Lstat(path)
	return err == nil && st.IsDir()
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("force %s to disk: %w", dir, err)
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) { // some file systems cannot
		return fmt.Errorf("force %s to disk: %w", dir, err)
	}
	return nil
}
