package main

import (
	"bytes"
	"context"
	"flag"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"crosscount/diag/diagtest"
	"crosscount/store/cluster"
)

// The program under test is this test binary, started again as the program.
const runAs = "RUN_AS_CROSSCOUNT"

func TestMain(m *testing.M) {
	if os.Getenv(runAs) != "" {
		main()
		return
	}
	os.Exit(m.Run())
}

func check(tb testing.TB, err error) {
	tb.Helper()
	if err != nil {
		tb.Fatal(err)
	}
}

// said runs a command in this process and returns what it said.
func said(t *testing.T, environ []string, in string, args ...string) (code int, out, err string) {
	t.Helper()
	var o, e bytes.Buffer
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	code = run(ctx, &console{in: strings.NewReader(in), out: &o, err: &e, environ: environ}, args)
	return code, o.String(), e.String()
}

// process is a running program.
type process struct {
	*exec.Cmd
	out, err output
	ended    chan struct{}
}

// output can be read while it is written.
type output struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *output) Write(b []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(b)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}

// launch starts the program. It is killed when the test ends, if it still runs.
func launch(t *testing.T, environ []string, args ...string) *process {
	t.Helper()
	p := &process{Cmd: exec.Command(os.Args[0], args...), ended: make(chan struct{})}
	p.Env = append(clean(), append(environ, runAs+"=1")...)
	p.Stdout, p.Stderr = &p.out, &p.err
	check(t, p.Start())
	go func() {
		p.Wait()
		close(p.ended)
	}()
	t.Cleanup(func() {
		p.Process.Kill()
		<-p.ended
		if t.Failed() {
			t.Logf("%v said:\n%s\n%s", args, &p.out, &p.err)
		}
	})
	return p
}

// clean is the environment without what would set the program up.
func clean() []string {
	var env []string
	for _, kv := range os.Environ() {
		if !strings.HasPrefix(kv, prefix) && !strings.HasPrefix(kv, "DATABASE_") {
			env = append(env, kv)
		}
	}
	return env
}

// waitFor waits until the program has said something on standard output.
func (p *process) waitFor(t *testing.T, words string) string {
	t.Helper()
	// Far more than it takes; filling the demo under the race detector is slow.
	const patience = 5 * time.Minute
	for began := time.Now(); time.Since(began) < patience; time.Sleep(10 * time.Millisecond) {
		if out := p.out.String(); strings.Contains(out, words) {
			return out
		}
		select {
		case <-p.ended:
			t.Fatalf("it ended without saying %q", words)
		default:
		}
	}
	t.Fatalf("it did not say %q in %v", words, patience)
	return ""
}

// stop asks the program to end and returns its exit code.
func (p *process) stop(t *testing.T) int {
	t.Helper()
	check(t, p.Process.Signal(syscall.SIGTERM))
	select {
	case <-p.ended:
	case <-time.After(30 * time.Second):
		t.Fatal("it does not end")
	}
	return p.ProcessState.ExitCode()
}

// newDir makes a directory that the private server's account can reach.
func newDir(t testing.TB) string {
	t.Helper()
	base := ""
	if st, err := os.Stat("/dev/shm"); err == nil && st.IsDir() {
		base = "/dev/shm"
	}
	dir, err := os.MkdirTemp(base, "crosscount-cmd-")
	check(t, err)
	check(t, os.Chmod(dir, 0o711))
	t.Cleanup(func() { os.RemoveAll(dir) })
	return filepath.Join(dir, "data")
}

// get fetches a page and returns its status.
func get(t *testing.T, url string) int {
	t.Helper()
	client := http.Client{Timeout: 10 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	return resp.StatusCode
}

func needPostgres(t *testing.T) {
	t.Helper()
	if len(cluster.Find("")) == 0 {
		diagtest.Missing(t, "no PostgreSQL is installed")
	}
}

func TestCommandLine(t *testing.T) {
	t.Run("without a command it tells which there are and exits 2", func(t *testing.T) {
		code, out, err := said(t, nil, "")
		if code != exitUsage || out != "" {
			t.Errorf("exit %d, out %q", code, out)
		}
		for _, cmd := range commands() {
			if !strings.Contains(err, cmd.name) {
				t.Errorf("%s is not told", cmd.name)
			}
		}
	})

	t.Run("help goes to standard output and exits 0", func(t *testing.T) {
		for _, args := range [][]string{{"help"}, {"--help"}, {"help", "serve"}, {"serve", "-h"}, {"help", "settings"}} {
			code, out, err := said(t, nil, "", args...)
			if code != exitGood || out == "" || err != "" {
				t.Errorf("%v: exit %d, out %q, err %q", args, code, out, err)
			}
		}
	})

	t.Run("help tells each flag of each command", func(t *testing.T) {
		for _, cmd := range commands() {
			fs := cmd.flags(&console{})
			cmd.run(t.Context(), &console{}, fs, []string{"-h"}) // defines the flags and goes no further
			var text bytes.Buffer
			cmd.print(&text)
			fs.VisitAll(func(f *flag.Flag) {
				if !strings.Contains(text.String(), "--"+f.Name) {
					t.Errorf("%s: --%s is not told", cmd.name, f.Name)
				}
			})
		}
	})

	for _, tc := range []struct {
		args []string
		want string
	}{
		{[]string{"serv"}, "did you mean serve?"},
		{[]string{"frobnicate"}, `no command "frobnicate"`},
		{[]string{"help", "frobnicate"}, `no command "frobnicate"`},
		{[]string{"serve", "--get-postgre"}, "get-postgre"},
		{[]string{"serve", "now"}, `"now" is too much`},
		{[]string{"decide"}, "something is missing"},
		{[]string{"decide", "a", "b"}, `"b" is too much`},
		{[]string{"user"}, "something is missing"},
		{[]string{"user", "lst"}, "did you mean list?"},
		{[]string{"user", "link"}, "log-in name"},
		{[]string{"user", "list", "nessa"}, "log-in name"},
	} {
		t.Run("refuses "+strings.Join(tc.args, " ")+" with exit 2", func(t *testing.T) {
			code, out, err := said(t, nil, "", tc.args...)
			if code != exitUsage || out != "" || !strings.Contains(err, tc.want) {
				t.Errorf("exit %d, out %q, err %q; want %q", code, out, err, tc.want)
			}
		})
	}

	t.Run("takes flags behind the words too", func(t *testing.T) {
		code, _, err := said(t, []string{"DATABASE_URL=nonsense"}, "", "restore", "/dev/null", "--replace")
		if code != exitUsage || !strings.Contains(err, "DATABASE_URL") {
			t.Errorf("exit %d, %s", code, err)
		}
	})
}

func TestNearest(t *testing.T) {
	for _, tc := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"abc", "", 3}, {"", "abc", 3}, {"kitten", "sitting", 3}, {"serve", "serve", 0}, {"srve", "serve", 1}} {
		if got := edits(tc.a, tc.b); got != tc.want {
			t.Errorf("from %q to %q takes %d, want %d", tc.a, tc.b, got, tc.want)
		}
	}
}
