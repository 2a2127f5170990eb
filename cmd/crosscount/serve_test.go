//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package main

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/diag/diagtest"
	"crosscount/store/cluster"
	"crosscount/store/storetest"
)

var (
	siteAddress = regexp.MustCompile(`is ready: (https?://\S+)`)
	ownerLink   = regexp.MustCompile(`https?://\S+/start/\S+`)
)

// site waits until the program serves and returns its address.
func (p *process) site(t *testing.T) string {
	t.Helper()
	m := siteAddress.FindStringSubmatch(p.waitFor(t, "is ready: "))
	if m == nil {
		t.Fatal("no address was printed")
	}
	return m[1]
}

func TestServe(t *testing.T) {
	t.Run("gives a shop without an owner one link, which works", func(t *testing.T) {
		p := launch(t, []string{"DATABASE_URL=" + storetest.DSN(t), "CROSSCOUNT_ADDRESS=127.0.0.1:0"}, "serve")
		base := p.site(t)
		out := p.waitFor(t, "/start/")
		links := ownerLink.FindAllString(out, -1)
		if len(links) != 1 || !strings.HasPrefix(links[0], base) {
			t.Fatalf("links %v on %s", links, base)
		}
		if code := get(t, links[0]); code != http.StatusOK {
			t.Errorf("the link answers %d", code)
		}
		if code := get(t, links[0]+"x"); code != http.StatusNotFound {
			t.Errorf("another link answers %d", code)
		}
		if code := p.stop(t); code != exitGood {
			t.Errorf("it ended with %d", code)
		}
	})

	t.Run("brings an empty database to the schema, from many processes at once", func(t *testing.T) {
		dsn := storetest.Empty(t)
		var all []*process
		for range 3 {
			all = append(all, launch(t, []string{"DATABASE_URL=" + dsn, "CROSSCOUNT_ADDRESS=127.0.0.1:0"}, "serve"))
		}
		for _, p := range all {
			if code := get(t, p.site(t)+"/readyz"); code != http.StatusOK {
				t.Errorf("/readyz answers %d", code)
			}
		}
		for _, p := range all {
			if code := p.stop(t); code != exitGood {
				t.Errorf("it ended with %d", code)
			}
		}
	})

	t.Run("says what it does and how long it took, and its settings without secrets", func(t *testing.T) {
		p := launch(t, []string{"DATABASE_URL=" + storetest.DSN(t), "CROSSCOUNT_ADDRESS=127.0.0.1:0", "CROSSCOUNT_BASE_URL=https://jobs.example.org"}, "serve")
		if base := p.site(t); base != "https://jobs.example.org" {
			t.Errorf("tells %s", base)
		}
		said := p.err.String()
		for _, step := range []string{"settings:", "CROSSCOUNT_BASE_URL", "reached database", "the schema is at version", "serving on 127.0.0.1:"} {
			if !strings.Contains(said, step) {
				t.Errorf("it did not say %q", step)
			}
		}
		if n := len(regexp.MustCompile(`\(\d+(\.\d+)?(µs|ms|s)\)`).FindAllString(said, -1)); n < 3 {
			t.Errorf("it told %d times, want 3 at least", n)
		}
	})

	t.Run("says not ready while the database is away, and ready when it is back", func(t *testing.T) {
		needPostgres(t)
		dir := newDir(t)
		start := func() *cluster.Cluster {
			c, err := cluster.Start(t.Context(), cluster.Options{Dir: dir, Disposable: true})
			check(t, err)
			return c
		}
		c := start()
		p := launch(t, []string{"DATABASE_URL=" + c.URL(), "CROSSCOUNT_ADDRESS=127.0.0.1:0"}, "serve")
		base := p.site(t)
		check(t, c.Stop(context.Background()))
		if code := get(t, base+"/readyz"); code != http.StatusServiceUnavailable {
			t.Errorf("without a database /readyz answers %d", code)
		}
		if code := get(t, base+"/healthz"); code != http.StatusOK {
			t.Errorf("without a database /healthz answers %d", code)
		}
		c = start()
		defer c.Stop(context.Background())
		// Sessions that the old server ended are noticed one by one.
		for began := time.Now(); get(t, base+"/readyz") != http.StatusOK; time.Sleep(50 * time.Millisecond) {
			if time.Since(began) > 10*time.Second {
				t.Fatal("/readyz does not recover")
			}
		}
		if code := p.stop(t); code != exitGood {
			t.Errorf("it ended with %d", code)
		}
	})

	t.Run("waits for a database that is only just starting", func(t *testing.T) {
		needPostgres(t)
		dir := newDir(t)
		// The address is known from an earlier run.
		c, err := cluster.Start(t.Context(), cluster.Options{Dir: dir, Disposable: true})
		check(t, err)
		url := c.URL()
		check(t, c.Stop(context.Background()))
		p := launch(t, []string{"DATABASE_URL=" + url, "CROSSCOUNT_ADDRESS=127.0.0.1:0"}, "serve")
		for !strings.Contains(p.err.String(), "waiting for database") {
			time.Sleep(10 * time.Millisecond)
		}
		c, err = cluster.Start(t.Context(), cluster.Options{Dir: dir, Disposable: true})
		check(t, err)
		defer c.Stop(context.Background())
		p.site(t)
		p.stop(t)
	})

	t.Run("fails at once on a database that refuses it", func(t *testing.T) {
		dsn := strings.Replace(storetest.DSN(t), "/crosscount_test_", "/not_there_", 1)
		began := time.Now()
		code, _, err := said(t, []string{"DATABASE_URL=" + dsn, "CROSSCOUNT_ADDRESS=127.0.0.1:0"}, "", "serve")
		if code != exitFailed || !strings.Contains(err, "not_there_") || time.Since(began) > 20*time.Second {
			t.Errorf("exit %d after %v: %s", code, time.Since(began), err)
		}
	})

	t.Run("names a port that is taken, before it starts anything", func(t *testing.T) {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		check(t, err)
		defer l.Close()
		code, _, said := said(t, []string{"DATABASE_URL=postgres://127.0.0.1:1/none", "CROSSCOUNT_ADDRESS=" + l.Addr().String()}, "", "serve")
		if code != exitFailed || !strings.Contains(said, l.Addr().String()) || !strings.Contains(said, "CROSSCOUNT_ADDRESS") || strings.Contains(said, "waiting") {
			t.Errorf("exit %d: %s", code, said)
		}
	})

	t.Run("serves https with the certificate of the settings, and ready trusts that one only", func(t *testing.T) {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		check(t, err)
		address := l.Addr().String()
		l.Close()
		certificate, key := selfSigned(t)
		environ := []string{"DATABASE_URL=" + storetest.DSN(t), "CROSSCOUNT_ADDRESS=" + address, "CROSSCOUNT_TLS_CERTIFICATE=" + certificate, "CROSSCOUNT_TLS_KEY=" + key}
		p := launch(t, environ, "serve")
		if base := p.site(t); base != "https://"+address {
			t.Errorf("tells %s", base)
		}
		if code, out, err := said(t, environ, "", "ready"); code != exitGood || out != "ready\n" {
			t.Errorf("ready: exit %d, %q, %s", code, out, err)
		}
		certificate, key = selfSigned(t)
		environ[2], environ[3] = "CROSSCOUNT_TLS_CERTIFICATE="+certificate, "CROSSCOUNT_TLS_KEY="+key
		if code, _, err := said(t, environ, "", "ready"); code != exitFailed || !strings.Contains(err, "another server") {
			t.Errorf("with another certificate: exit %d, %s", code, err)
		}
	})

	t.Run("lets a request that is under way finish when told to stop", func(t *testing.T) {
		p := launch(t, []string{"DATABASE_URL=" + storetest.DSN(t), "CROSSCOUNT_ADDRESS=127.0.0.1:0"}, "serve")
		address := strings.TrimPrefix(p.site(t), "http://")
		conn, err := net.Dial("tcp", address)
		check(t, err)
		defer conn.Close()
		// The body is held back until the server has been told to stop.
		fmt.Fprintf(conn, "POST /login HTTP/1.1\r\nHost: %s\r\nOrigin: http://%s\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 22\r\n\r\nlogin=nobody", address, address)
		time.Sleep(200 * time.Millisecond)
		check(t, p.Process.Signal(syscall.SIGTERM))
		for !strings.Contains(p.err.String(), "stopping") {
			time.Sleep(10 * time.Millisecond)
		}
		fmt.Fprint(conn, "&password=")
		check(t, conn.SetReadDeadline(time.Now().Add(10*time.Second)))
		answer := make([]byte, 12)
		if _, err := conn.Read(answer); err != nil || !strings.HasPrefix(string(answer), "HTTP/1.1 ") {
			t.Errorf("answered %q, %v", answer, err)
		}
		<-p.ended
		if code := p.ProcessState.ExitCode(); code != exitGood {
			t.Errorf("it ended with %d", code)
		}
	})
}

func TestPrivateServer(t *testing.T) {
	needPostgres(t)

	t.Run("keeps the shop over stops and kills, and other commands work beside it", func(t *testing.T) {
		dir := newDir(t)
		environ := []string{"CROSSCOUNT_DATA_DIR=" + dir, "CROSSCOUNT_ADDRESS=127.0.0.1:0"}
		p := launch(t, environ, "serve")
		first := ownerLink.FindString(p.waitFor(t, "/start/"))

		if code, out, err := said(t, environ, "", "user", "list"); code != exitGood || !strings.Contains(out, "log-in") {
			t.Errorf("user list beside it: exit %d, %s%s", code, out, err)
		}
		code, _, err := said(t, environ, "", "serve")
		if code != exitFailed || !strings.Contains(err, "in use by process") {
			t.Errorf("a second one on the data: exit %d, %s", code, err)
		}
		code, _, err = said(t, environ, "", "restore", os.Args[0])
		if code != exitFailed || !strings.Contains(err, "in use by process") {
			t.Errorf("restore beside it: exit %d, %s", code, err)
		}

		check(t, p.Process.Kill())
		<-p.ended
		p = launch(t, environ, "serve")
		base := p.site(t)
		second := ownerLink.FindString(p.waitFor(t, "/start/"))
		if first == second || second == "" {
			t.Errorf("links %q and %q", first, second)
		}
		if code := get(t, second); code != http.StatusOK {
			t.Errorf("the second link answers %d", code)
		}
		if code := get(t, base+"/start/"+filepath.Base(first)); code != http.StatusNotFound {
			t.Errorf("the first link still answers %d", code)
		}
		if code := p.stop(t); code != exitGood {
			t.Errorf("it ended with %d", code)
		}
		if code, out, err := said(t, environ, "", "migrate", "--status"); code != exitGood || !strings.Contains(out, "schema version") {
			t.Errorf("migrate --status after it: exit %d, %s%s", code, out, err)
		}
	})

	t.Run("goes on serving when its database server is killed", func(t *testing.T) {
		dir := newDir(t)
		p := launch(t, []string{"CROSSCOUNT_DATA_DIR=" + dir, "CROSSCOUNT_ADDRESS=127.0.0.1:0"}, "serve")
		base := p.site(t)
		link := ownerLink.FindString(p.waitFor(t, "/start/"))
		b, err := os.ReadFile(filepath.Join(dir, "data", "postmaster.pid"))
		check(t, err)
		var pid int
		_, err = fmt.Sscan(string(b), &pid)
		check(t, err)
		check(t, syscall.Kill(pid, syscall.SIGKILL))
		for began := time.Now(); get(t, base+"/readyz") == http.StatusOK && !strings.Contains(p.err.String(), "ended unasked"); time.Sleep(10 * time.Millisecond) {
			if time.Since(began) > 20*time.Second {
				t.Fatal("the kill was not noticed")
			}
		}
		for began := time.Now(); get(t, link) != http.StatusOK; time.Sleep(50 * time.Millisecond) {
			if time.Since(began) > 20*time.Second {
				t.Fatal("the site does not recover")
			}
		}
		if code := p.stop(t); code != exitGood {
			t.Errorf("it ended with %d", code)
		}
	})

	t.Run("names the install command where PostgreSQL is missing", func(t *testing.T) {
		environ := []string{"CROSSCOUNT_DATA_DIR=" + newDir(t), "CROSSCOUNT_ADDRESS=127.0.0.1:0", "CROSSCOUNT_POSTGRES_DIR=" + t.TempDir()}
		code, _, err := said(t, environ, "", "serve")
		install, known := cluster.InstallCommand(0)
		if code != exitFailed || known && (!strings.Contains(err, install.String()) || !strings.Contains(err, "--get-postgres")) {
			t.Errorf("exit %d: %s", code, err)
		}
	})

	t.Run("with --get-postgres says the package manager's command, runs it and goes on", func(t *testing.T) {
		if _, err := exec.LookPath("apt-get"); err != nil {
			diagtest.Missing(t, "the pretended package manager is apt-get's")
		}
		// A package manager that "installs" by linking what is there already.
		bin, tools := t.TempDir(), t.TempDir()
		check(t, os.Chmod(bin, 0o755))
		check(t, os.Chmod(filepath.Dir(bin), 0o755))
		real := cluster.Find("")[0].Dir
		script := "#!/bin/sh\n[ \"$1\" = install ] && for p in postgres initdb; do printf '#!/bin/sh\\nexec " + real + "/%s \"$@\"\\n' $p > " + bin + "/$p; chmod 755 " + bin + "/$p; done\necho pretended \"$@\"\n"
		check(t, os.WriteFile(filepath.Join(tools, "apt-get"), []byte(script), 0o755))
		check(t, os.WriteFile(filepath.Join(tools, "sudo"), []byte("#!/bin/sh\nexec \"$@\"\n"), 0o755))
		p := launch(t, []string{"CROSSCOUNT_DATA_DIR=" + newDir(t), "CROSSCOUNT_ADDRESS=127.0.0.1:0", "CROSSCOUNT_POSTGRES_DIR=" + bin,
			"PATH=" + tools + ":" + os.Getenv("PATH")}, "serve", "--get-postgres")
		p.site(t)
		said := p.err.String()
		running, pretended := strings.Index(said, "running: "), strings.Index(said, "pretended install -y postgresql")
		if running < 0 || pretended < running {
			t.Errorf("it did not say the command before it ran it:\n%s", said)
		}
		p.stop(t)
	})
}

func TestDemo(t *testing.T) {
	needPostgres(t)
	dir := newDir(t)
	busy, err := net.Listen("tcp", "127.0.0.1:0")
	check(t, err)
	defer busy.Close()
	logins := regexp.MustCompile(`(?m)^  (writer|technician|owner)\s+(\S+)\s+(\S+)$`)

	t.Run("leaves nothing half made when interrupted while it makes up the shop", func(t *testing.T) {
		p := launch(t, nil, "demo", "--data", dir, "--address", "127.0.0.1:0")
		for !strings.Contains(p.err.String(), "making up a shop") {
			time.Sleep(time.Millisecond)
		}
		if code := p.stop(t); code != exitFailed || !strings.HasSuffix(p.err.String(), "crosscount demo: interrupted\n") {
			t.Errorf("it ended with %d", code)
		}
	})

	// DATABASE_URL is not touched, wherever it leads.
	p := launch(t, []string{"DATABASE_URL=postgres://127.0.0.1:1/none", "CROSSCOUNT_ADDRESS=nonsense"}, "demo", "--data", dir, "--address", busy.Addr().String())
	base := p.site(t)
	out := p.waitFor(t, "Ctrl-C")
	t.Run("takes the next port where one is taken, and says so", func(t *testing.T) {
		if strings.HasSuffix(base, busy.Addr().String()) || !strings.Contains(p.err.String(), "is taken, using") {
			t.Errorf("serves on %s", base)
		}
	})
	t.Run("prints three log-ins, one for each role", func(t *testing.T) {
		roles := map[string]bool{}
		for _, m := range logins.FindAllStringSubmatch(out, -1) {
			roles[m[1]] = true
		}
		if len(roles) != 3 {
			t.Errorf("roles %v in:\n%s", roles, out)
		}
	})
	t.Run("has a shop with finished and open jobs", func(t *testing.T) {
		url, err := cluster.Address(dir)
		check(t, err)
		conn, err := pgx.Connect(t.Context(), url)
		check(t, err)
		defer conn.Close(context.Background())
		var closed, open int
		check(t, conn.QueryRow(t.Context(), `SELECT count(*) FILTER (WHERE closed_at IS NOT NULL), count(*) FILTER (WHERE closed_at IS NULL) FROM jobs`).Scan(&closed, &open))
		if closed < 60 || open < 8 {
			t.Errorf("%d finished and %d open jobs", closed, open)
		}
	})
	if code := p.stop(t); code != exitGood {
		t.Errorf("it ended with %d", code)
	}

	t.Run("keeps what is there the next time", func(t *testing.T) {
		again := launch(t, nil, "demo", "--data", dir, "--address", "127.0.0.1:0")
		again.site(t)
		if !strings.Contains(again.err.String(), "found the shop of an earlier run") {
			t.Errorf("it said:\n%s", again.err.String())
		}
		if code := again.stop(t); code != exitGood {
			t.Errorf("it ended with %d", code)
		}
	})
}
