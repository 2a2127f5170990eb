package storetest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/store/cluster"
	"crosscount/store/internal/flock"
)

// The private server of a run belongs to a keeper: the first test process that
// needs one starts its own binary again as the keeper, which runs the server and
// ends it when no test process is left. So no package needs a TestMain, and a
// test process may end in any way. In the keeper's directory are:
//
//	users   every test process holds a shared lock on it; whoever gets it alone
//	        knows that there is none
//	start   held by the process that is looking for the server or starting it
//	ready   the server's address
//	c-*     the server's directory, removed with it
const keeperVar = "CROSSCOUNT_TEST_KEEPER"

// linger is how long the server waits for the next test process of a run.
var linger = 5 * time.Second

func init() {
	if dir := os.Getenv(keeperVar); dir != "" {
		if err := keep(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
}

// binDir is where PostgreSQL's programs are, empty for the usual places.
var binDir string

// user is the lock that tells the keeper of this process. It is never closed.
var user *flock.File

// private is the address of the run's private server, started if need be.
func private(ctx context.Context) (dsn string, memory bool, err error) {
	if len(cluster.Find(binDir)) == 0 {
		install, _ := cluster.InstallCommand(0)
		return "", false, &cluster.ErrNoPostgres{Install: install}
	}
	dir, memory, err := keeperDir()
	if err != nil {
		return "", false, err
	}
	if user, err = flock.Open(filepath.Join(dir, "users")); err != nil {
		return "", false, err
	}
	// Waits for a keeper that is just ending its server.
	if err := user.Shared(); err != nil {
		return "", false, err
	}
	unlock, err := lockStart()
	if err != nil {
		return "", false, err
	}
	defer unlock()
	if dsn, ok := answering(ctx, dir); ok {
		return dsn, memory, nil
	}
	os.Remove(filepath.Join(dir, "ready"))
	self, err := os.Executable()
	if err != nil {
		return "", false, err
	}
	log, err := os.OpenFile(filepath.Join(dir, "log"), os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return "", false, err
	}
	defer log.Close()
	cmd := exec.Command(self)
	cmd.Dir = "/"
	cmd.Env = append(os.Environ(), keeperVar+"="+dir)
	cmd.Stdout, cmd.Stderr = log, log // not ours: go test waits until those are closed
	cmd.SysProcAttr = detached()
	if err := cmd.Start(); err != nil {
		return "", false, fmt.Errorf("start the keeper: %w", err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	for {
		if dsn, ok := answering(ctx, dir); ok {
			return dsn, memory, nil
		}
		select {
		case err := <-ended:
			said, _ := os.ReadFile(log.Name()) // only for the message
			return "", false, fmt.Errorf("the keeper of the private server ended: %v: %s", err, strings.TrimSpace(string(said)))
		case <-ctx.Done():
			return "", false, fmt.Errorf("waiting for the private server: %w", context.Cause(ctx))
		case <-time.After(10 * time.Millisecond):
		}
	}
}

func answering(ctx context.Context, dir string) (string, bool) {
	b, err := os.ReadFile(filepath.Join(dir, "ready"))
	if err != nil {
		return "", false
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	conn, err := pgx.Connect(ctx, string(b))
	if err != nil {
		return "", false
	}
	conn.Close(ctx)
	return string(b), true
}

// keeperDir is the directory that the test processes of this user share.
func keeperDir() (dir string, memory bool, err error) {
	name := "crosscount-test-" + strconv.Itoa(os.Geteuid())
	base := os.TempDir()
	const room = 1 << 30 // bytes; containers often have only 64 MB there
	if freeBytes("/dev/shm") > room {
		base, memory = "/dev/shm", true
	}
	dir = filepath.Join(base, name)
	if err := os.Mkdir(dir, 0o711); err != nil && !errors.Is(err, fs.ErrExist) {
		return "", false, err
	}
	// Anybody may have made a directory of that name.
	if !ownedByUs(dir) {
		return "", false, fmt.Errorf("%s belongs to somebody else: remove it", dir)
	}
	return dir, memory, os.Chmod(dir, 0o711)
}

// lockStart holds off other test processes that look for a server.
func lockStart() (unlock func(), err error) {
	dir, _, err := keeperDir()
	if err != nil {
		return nil, err
	}
	l, err := flock.Open(filepath.Join(dir, "start"))
	if err != nil {
		return nil, err
	}
	if err := l.Exclusive(); err != nil {
		l.Close()
		return nil, err
	}
	return func() { l.Close() }, nil
}

// keep is the keeper's life.
func keep(dir string) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	users, err := flock.Open(filepath.Join(dir, "users"))
	if err != nil {
		return err
	}
	defer users.Close() // last of all: newcomers wait until the server is gone
	removeOld(dir)
	home, err := os.MkdirTemp(dir, "c-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(home)
	c, err := cluster.Start(ctx, cluster.Options{
		Dir: home, Disposable: true,
		// Each test has a pool of its own, and packages run at the same time.
		Settings: []string{"max_connections=300", "max_wal_size=256MB"},
		Logf:     func(f string, a ...any) { fmt.Fprintf(os.Stderr, f+"\n", a...) },
	})
	if err != nil {
		return err
	}
	defer c.Stop(context.Background())
	// Databases are made from the server's own one, so the app's stays empty.
	if err := os.WriteFile(filepath.Join(dir, "ready.new"), []byte(c.URL()), 0o600); err != nil {
		return err
	}
	ready := filepath.Join(dir, "ready")
	if err := os.Rename(ready+".new", ready); err != nil {
		return err
	}
	alone := time.Time{}
	for {
		select {
		case <-ctx.Done():
			os.Remove(ready)
			return nil
		case <-c.Done():
			os.Remove(ready)
			return c.Err()
		case <-time.After(200 * time.Millisecond):
		}
		switch err := users.TryExclusive(); {
		case errors.Is(err, flock.ErrHeld):
			alone = time.Time{}
			continue
		case err != nil:
			return err
		}
		if alone.IsZero() {
			alone = time.Now()
		}
		if time.Since(alone) > linger {
			os.Remove(ready)
			return nil
		}
		if err := users.Unlock(); err != nil {
			return err
		}
	}
}

// removeOld removes what keepers left that were killed.
func removeOld(dir string) {
	old, _ := filepath.Glob(filepath.Join(dir, "c-*")) // pattern is well formed
	for _, d := range old {
		l, err := flock.Open(filepath.Join(d, "lock"))
		if err != nil {
			continue
		}
		if l.TryExclusive() == nil {
			os.RemoveAll(d)
		}
		l.Close()
	}
}
