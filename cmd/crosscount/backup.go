package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/store/cluster"
)

var backupCommand = command{
	name: "backup", args: "[FILE]", about: "write everything the shop wrote down to a file",
	long: `
FILE gets all of the database in PostgreSQL's custom format; without it a name
with the date is made up here, and - writes to standard output. A file that is
there already is not overwritten. It works while the server runs; the backup is
the state of one moment.

It needs PostgreSQL's program pg_dump, of the server's version or newer.`,
	run: func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
		words, err := parse(fs, args, 0, 1)
		if err != nil {
			return err
		}
		name := time.Now().Format("crosscount-20060102-150405.dump")
		if len(words) == 1 {
			name = words[0]
		}
		return withDatabase(ctx, c, access{share: true}, func(ctx context.Context, db *database) error {
			return backup(ctx, c, db, name)
		})
	},
}

func backup(ctx context.Context, c *console, db *database, name string) error {
	began := time.Now()
	dump, err := clientProgram(ctx, db, "pg_dump")
	if err != nil {
		return err
	}
	list, err := clientProgram(ctx, db, "pg_restore")
	if err != nil {
		return err
	}
	arguments := []string{"--format=custom", "--no-owner", "--no-privileges"}
	if name == "-" {
		return dump.run(ctx, db.url, c.out, arguments...)
	}
	if _, err := os.Lstat(name); err == nil {
		return fmt.Errorf("%s is there already: give another name", name)
	}
	// Beside its place, so that a file of that name is always whole.
	tmp, err := os.CreateTemp(filepath.Dir(name), ".crosscount-backup-")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	defer tmp.Close()
	if err := dump.run(ctx, db.url, tmp, arguments...); err != nil {
		return err
	}
	if err := tmp.Sync(); err != nil {
		return err
	}
	var contents bytes.Buffer
	if err := list.runOn(ctx, tmp.Name(), &contents, "--list"); err != nil {
		return fmt.Errorf("the backup cannot be read back: %w", err)
	}
	if !strings.Contains(contents.String(), "TABLE DATA public schema_migrations") {
		return errors.New("the backup does not hold the shop's records: is this the right database?")
	}
	// A link does not overwrite, as a rename would.
	if err := os.Link(tmp.Name(), name); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return fmt.Errorf("%s is there already: give another name", name)
		}
		if err := os.Rename(tmp.Name(), name); err != nil { // no links on this file system
			return err
		}
	}
	st, err := os.Stat(name)
	if err != nil {
		return err
	}
	(&narrator{w: c.err}).did(began, "wrote %s, %.1f MB", name, float64(st.Size())/1e6)
	return nil
}

// program is one of PostgreSQL's client programs.
type program struct{ name, path string }

// clientProgram finds a program that works with the server of db.
func clientProgram(ctx context.Context, db *database, name string) (program, error) {
	var major int
	if err := db.pool.QueryRow(ctx, `SELECT current_setting('server_version_num')::int / 10000`).Scan(&major); err != nil {
		return program{}, fmt.Errorf("ask the server's version: %w", err)
	}
	binDir := ""
	if db.cluster != nil {
		binDir = db.cluster.Installation().Dir
	}
	path, err := cluster.Client(binDir, name, major)
	if err != nil && binDir != "" {
		path, err = cluster.Client("", name, major)
	}
	return program{name, path}, err
}

// run runs the program on a database.
func (p program) run(ctx context.Context, dsn string, out io.Writer, args ...string) error {
	address, password := libpq(dsn)
	return p.start(ctx, out, password, append(args, "--dbname="+address)...)
}

// runOn runs the program on a file.
func (p program) runOn(ctx context.Context, file string, out io.Writer, args ...string) error {
	return p.start(ctx, out, "", append(args, file)...)
}

func (p program) start(ctx context.Context, out io.Writer, password string, args ...string) error {
	cmd := exec.CommandContext(ctx, p.path, args...)
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	cmd.WaitDelay = 10 * time.Second
	cmd.Env = os.Environ()
	if password != "" { // not among the arguments, which all users of the machine see
		cmd.Env = append(cmd.Env, "PGPASSWORD="+password)
	}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = out, &said
	if err := cmd.Run(); err != nil {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		return fmt.Errorf("%s: %w: %s", p.name, err, strings.TrimSpace(said.String()))
	}
	return nil
}

// libpqWords are the words of an address that PostgreSQL's own programs know in
// every version that we work with (PostgreSQL 14 documentation, section 34.1.2).
// Our driver knows more.
var libpqWords = []string{"host", "hostaddr", "port", "dbname", "user", "passfile", "channel_binding", "connect_timeout",
	"client_encoding", "options", "application_name", "keepalives", "keepalives_idle", "keepalives_interval",
	"keepalives_count", "tcp_user_timeout", "sslmode", "sslcert", "sslkey", "sslpassword", "sslrootcert", "sslcrl", "sslcrldir", "sslsni",
	"ssl_min_protocol_version", "ssl_max_protocol_version", "requirepeer", "krbsrvname", "gssencmode", "gsslib", "service",
	"target_session_attrs"}

var dsnWord = regexp.MustCompile(`(\w+)\s*=\s*('(?:[^'\\]|\\.)*'|(?:[^\s\\]|\\.)*)`)

// libpq is an address as PostgreSQL's programs take it, and the password out of it.
func libpq(dsn string) (address, password string) {
	if u, err := url.Parse(dsn); err == nil && (u.Scheme == "postgres" || u.Scheme == "postgresql") {
		password, _ = u.User.Password()
		if u.User != nil {
			u.User = url.User(u.User.Username())
		}
		q := u.Query()
		if password == "" {
			password = q.Get("password")
		}
		for word := range q {
			if !slices.Contains(libpqWords, word) {
				q.Del(word)
			}
		}
		u.RawQuery = strings.ReplaceAll(q.Encode(), "+", "%20")
		return u.String(), password
	}
	var words []string
	for _, m := range dsnWord.FindAllStringSubmatch(dsn, -1) {
		if m[1] == "password" {
			if config, err := pgx.ParseConfig(dsn); err == nil {
				password = config.Password
			}
		}
		if slices.Contains(libpqWords, m[1]) {
			words = append(words, m[0])
		}
	}
	return strings.Join(words, " "), password
}
