package cluster

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"syscall"
	"time"
)

// state is what is known of a process id.
type state int

const (
	gone   state = iota // no such process
	zombie              // ended, but not yet collected by its parent
	alive
)

// server is a running PostgreSQL server process.
type server struct {
	pid    int
	signal func(syscall.Signal) error
	log    func() string // what it said since its start

	gone chan struct{} // closed when the process has ended
	err  error         // how, set before gone is closed
}

// launch starts the server process. It does not wait until it answers.
func (c *Cluster) launch() (*server, error) {
	logFile, offset, err := c.openLog()
	if err != nil {
		return nil, err
	}
	defer logFile.Close()

	args := []string{"-D", c.data, "-k", c.socketDir(), "-p", port,
		"-c", "listen_addresses=", "-c", "unix_socket_permissions=0700"}
	if c.opts.Disposable {
		for _, s := range []string{"fsync=off", "full_page_writes=off", "wal_level=minimal", "max_wal_senders=0"} {
			args = append(args, "-c", s)
		}
	}
	for _, s := range c.opts.Settings {
		args = append(args, "-c", s)
	}
	cmd := exec.Command(c.bin.program("postgres"), args...)
	cmd.Dir = "/" // a root app may be where the server's account may not be
	cmd.Env = environ()
	cmd.Stdout, cmd.Stderr = logFile, logFile
	// SIGINT asks for a fast and clean end.
	cmd.SysProcAttr = attributes(c.who, syscall.SIGINT, c.opts.orphanable)

	logPath := logFile.Name()
	s := &server{
		gone:   make(chan struct{}),
		signal: func(sig syscall.Signal) error { return cmd.Process.Signal(sig) },
		log:    func() string { return tail(logPath, offset) },
	}
	if err := startAndWatch(cmd, func(err error) {
		if err == nil {
			err = errors.New("it ended by itself")
		}
		s.err = err
		close(s.gone)
	}); err != nil {
		return nil, fmt.Errorf("start PostgreSQL: %w", err)
	}
	s.pid = cmd.Process.Pid
	return s, nil
}

// startAndWatch starts cmd and calls ended when it has ended. The kernel sends
// the parent-death signal when the thread that started the process ends, so one
// thread is kept for that.
func startAndWatch(cmd *exec.Cmd, ended func(error)) error {
	started := make(chan error)
	go func() {
		runtime.LockOSThread() // never unlocked: the thread ends with the goroutine
		err := cmd.Start()
		started <- err
		if err == nil {
			ended(cmd.Wait())
		}
	}()
	return <-started
}

// watchProcess makes a server of a process that is not our child.
func watchProcess(pid int, data string) *server {
	s := &server{
		pid:  pid,
		gone: make(chan struct{}),
		log:  func() string { return "" },
		signal: func(sig syscall.Signal) error {
			if !serverOf(pid, data) {
				return os.ErrProcessDone
			}
			return kill(pid, sig)
		},
	}
	go func() {
		for stateOf(pid) == alive && serverOf(pid, data) {
			time.Sleep(20 * time.Millisecond)
		}
		s.err = errors.New("it ended")
		close(s.gone)
	}()
	return s
}

// end ends the server: SIGTERM lets sessions finish, SIGINT soon after cuts
// them off, SIGQUIT at the end of ctx skips the last checkpoint, which the next
// start makes up for. It is not killed harder: that could leave its sessions.
func (s *server) end(ctx context.Context) error {
	steps := []struct {
		sig  syscall.Signal
		wait time.Duration
	}{{syscall.SIGTERM, 200 * time.Millisecond}, {syscall.SIGINT, 30 * time.Second}, {syscall.SIGQUIT, 10 * time.Second}}
	for i, step := range steps {
		if err := s.signal(step.sig); err != nil && !errors.Is(err, os.ErrProcessDone) && !errors.Is(err, syscall.ESRCH) {
			return fmt.Errorf("end PostgreSQL (process %d): %w", s.pid, err)
		}
		var cut <-chan struct{}
		if i < len(steps)-1 {
			cut = ctx.Done()
		}
		select {
		case <-s.gone:
			return nil
		case <-cut:
		case <-time.After(step.wait):
		}
	}
	return fmt.Errorf("PostgreSQL (process %d) does not end", s.pid)
}

// initdb makes a database directory and returns what the program said.
func (c *Cluster) initdb(ctx context.Context, args []string) (string, error) {
	out, err := os.CreateTemp("", "crosscount-initdb-")
	if err != nil {
		return "", err
	}
	defer os.Remove(out.Name())
	defer out.Close()
	cmd := exec.Command(c.bin.program("initdb"), args...)
	cmd.Dir = "/"
	cmd.Env = environ()
	cmd.Stdout, cmd.Stderr = out, out // a file: a pipe would be kept open by stragglers
	cmd.SysProcAttr = attributes(c.who, syscall.SIGKILL, false)
	ended := make(chan error, 1)
	if err := startAndWatch(cmd, func(err error) { ended <- err }); err != nil {
		return "", err
	}
	select {
	case err = <-ended:
	case <-ctx.Done():
		killGroup(cmd.Process.Pid)
		err = errors.Join(context.Cause(ctx), <-ended)
	}
	return tail(out.Name(), 0), err
}

// identity is the account that owns the data and runs the server.
type identity struct {
	uid, gid int
	name     string
	drop     bool // the app is root and becomes this account
}

// own gives dir to the account, for it alone.
func (w identity) own(dir string) error {
	if w.drop {
		if err := os.Lchown(dir, w.uid, w.gid); err != nil {
			return err
		}
	}
	return os.Chmod(dir, 0o700)
}

// hint explains a failure that comes from a directory which the account may
// not pass through, as /root mostly is.
func (w identity) hint(dir string) string {
	if !w.drop {
		return ""
	}
	for d := filepath.Dir(dir); ; d = filepath.Dir(d) {
		st, err := os.Stat(d)
		if err != nil {
			return ""
		}
		uid, gid, err := owner(d)
		if err != nil {
			return ""
		}
		bit := os.FileMode(0o001)
		switch {
		case uid == w.uid:
			bit = 0o100
		case gid == w.gid:
			bit = 0o010
		}
		if st.Mode()&bit == 0 {
			return fmt.Sprintf(" (the server runs as %s, which may not enter %s: choose a data directory elsewhere, such as /var/lib/crosscount)", w.name, d)
		}
		if d == filepath.Dir(d) {
			return ""
		}
	}
}
