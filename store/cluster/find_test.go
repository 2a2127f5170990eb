//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package cluster

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// pretend makes an installation that only tells its version.
func pretend(t *testing.T, dir, version string) string {
	t.Helper()
	check(t, os.MkdirAll(dir, 0o755))
	for name, text := range map[string]string{
		"postgres": fmt.Sprintf("#!/bin/sh\necho 'postgres (PostgreSQL) %s'\n", version),
		"initdb":   "#!/bin/sh\nexit 1\n",
	} {
		check(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o755))
	}
	return dir
}

func TestFind(t *testing.T) {
	t.Run("puts the newest version first and follows links to the whole of it", func(t *testing.T) {
		old := pretend(t, filepath.Join(t.TempDir(), "14"), "14.9")
		minor := pretend(t, filepath.Join(t.TempDir(), "a"), "99.2")
		newest := pretend(t, filepath.Join(t.TempDir(), "b"), "99.11 (Debian 99.11-0)")
		links := t.TempDir() // has postgres but not initdb, as some systems do
		check(t, os.Symlink(filepath.Join(newest, "postgres"), filepath.Join(links, "postgres")))
		t.Setenv("PATH", old+":"+minor+":"+links)
		all := Find("")
		if len(all) < 3 || all[0].Dir != newest || all[0].Version != "99.11" || all[1].Dir != minor {
			t.Fatalf("found %+v", all)
		}
		if got, err := choose("", "/data", 14); err != nil || got.Major != 14 {
			t.Errorf("for data of 14 it chose %+v, %v", got, err)
		}
	})

	t.Run("reads what versions call themselves", func(t *testing.T) {
		for line, want := range map[string]Installation{
			"postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n": {Version: "15.18", Major: 15, minor: 18},
			"postgres (PostgreSQL) 18beta1\n":                        {Version: "18beta1", Major: 18},
			"postgres (PostgreSQL) 9.6.24\n":                         {Version: "9.6.24", Major: 9, minor: 6},
		} {
			var got Installation
			if !got.parse(line) || got != want {
				t.Errorf("%q reads %+v, want %+v", line, got, want)
			}
		}
		var none Installation
		if none.parse("postgres 15") || none.parse("") {
			t.Error("took another program for one of PostgreSQL's")
		}
	})

	t.Run("takes a client program of the server's version, else a newer one", func(t *testing.T) {
		dir := t.TempDir()
		for _, v := range []string{"14.9", "96.1", "98.2"} {
			sub := filepath.Join(dir, v)
			check(t, os.Mkdir(sub, 0o755))
			check(t, os.WriteFile(filepath.Join(sub, "pg_dump"), []byte("#!/bin/sh\necho 'pg_dump (PostgreSQL) "+v+"'\n"), 0o755))
		}
		t.Setenv("PATH", filepath.Join(dir, "14.9")+":"+filepath.Join(dir, "98.2")+":"+filepath.Join(dir, "96.1"))
		for major, want := range map[int]string{14: "14.9", 96: "96.1", 97: "98.2"} {
			if got, err := Client("", "pg_dump", major); err != nil || got != filepath.Join(dir, want, "pg_dump") {
				t.Errorf("for a server of %d it took %s, %v", major, got, err)
			}
		}
		if _, err := Client("", "pg_dump", 99); err == nil || !strings.Contains(err.Error(), "98.2") {
			t.Errorf("got %v, want an error that names what is there", err)
		}
	})

	t.Run("names the install command when there is none", func(t *testing.T) {
		_, err := Start(t.Context(), Options{Dir: newDir(t), BinDir: t.TempDir()})
		none, ok := errors.AsType[*ErrNoPostgres](err)
		if !ok {
			t.Fatalf("got %v, want ErrNoPostgres", err)
		}
		if want, known := InstallCommand(0); known && none.Install.String() != want.String() {
			t.Errorf("names %q, want %q", none.Install, want)
		}
	})

	t.Run("refuses one that is too old by its version", func(t *testing.T) {
		_, err := Start(t.Context(), Options{Dir: newDir(t), BinDir: pretend(t, t.TempDir(), "9.6.24")})
		if none, ok := errors.AsType[*ErrNoPostgres](err); !ok || len(none.Old) != 1 {
			t.Fatalf("got %v, want ErrNoPostgres that names the old one", err)
		}
	})
}

func TestInstallCommand(t *testing.T) {
	for _, tc := range []struct {
		name  string
		major int
		root  bool
		has   []string
		want  string
	}{
		{"Debian as root", 0, true, []string{"apt-get"}, "apt-get update && apt-get install -y postgresql"},
		{"Debian with sudo", 15, false, []string{"apt-get", "sudo"}, "sudo apt-get update && sudo apt-get install -y postgresql-15"},
		{"Debian without sudo", 0, false, []string{"apt-get"}, "su root -c 'apt-get update' && su root -c 'apt-get install -y postgresql'"},
		{"Fedora with sudo", 0, false, []string{"dnf", "sudo"}, "sudo dnf install -y postgresql-server postgresql-contrib"},
		{"Alpine with doas, one version", 16, false, []string{"apk", "doas"}, "doas apk add postgresql16 postgresql16-contrib"},
		{"a Mac", 0, false, []string{"brew", "sudo"}, "brew install postgresql@17"},
		{"a Mac as root, which its manager refuses", 0, true, []string{"brew"}, ""},
		{"Arch has one version only", 15, true, []string{"pacman"}, ""},
		{"an unknown system", 0, true, nil, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, known := installCommand(managers, tc.major, tc.root, func(name string) bool {
				for _, h := range tc.has {
					if h == name {
						return true
					}
				}
				return false
			})
			if got.String() != tc.want || known != (tc.want != "") {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}

	t.Run("is said before it is run", func(t *testing.T) {
		var said lines
		c := Command{Steps: [][]string{{"echo", "one"}, {"sh", "-c", "exit 3"}, {"echo", "never"}}}
		err := c.Run(t.Context(), &said)
		want := "running: echo one\none\nrunning: sh -c 'exit 3'\n"
		if string(said) != want || err == nil {
			t.Errorf("said %q with error %v, want %q and an error", said, err, want)
		}
	})
}

type lines []byte

func (l *lines) Write(b []byte) (int, error) { *l = append(*l, b...); return len(b), nil }
