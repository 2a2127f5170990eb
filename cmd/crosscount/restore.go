package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"net/url"
	"os"
	"regexp"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	"crosscount/migrations"
)

var restoreCommand = command{
	name: "restore", args: "[--replace] FILE", about: "bring back what a backup holds",
	long: `
The database must be empty. With --replace it need not be: the backup goes into a
new database, which then takes the old one's place; the old one is kept under
another name, which is told. Stop the server first.

A backup of an older version is brought to this program's schema. Anything that
goes wrong leaves the database as it was.

It needs PostgreSQL's program pg_restore, of the server's version or newer.

  --replace  put the backup in the place of what is there`,
	run: func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
		replace := fs.Bool("replace", false, "")
		words, err := parse(fs, args, 1, 1)
		if err != nil {
			return err
		}
		if _, err := os.Stat(words[0]); err != nil {
			return err
		}
		return withDatabase(ctx, c, access{}, func(ctx context.Context, db *database) error {
			return restore(ctx, &narrator{w: c.err}, db, words[0], *replace)
		})
	},
}

func restore(ctx context.Context, n *narrator, db *database, name string, replace bool) error {
	program, err := clientProgram(ctx, db, "pg_restore")
	if err != nil {
		return err
	}
	version, err := versionIn(ctx, program, name)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if latest := migrations.Latest(); version > latest {
		return fmt.Errorf("%s: %w", name, &migrations.ErrNewer{Database: version, Program: latest})
	}
	conn, err := pgx.Connect(ctx, db.url)
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	db.pool.Close() // its sessions would stand in our own way
	var current string
	var tables, others int
	for range 40 { // our own sessions take a moment to go
		err = conn.QueryRow(ctx, `SELECT current_database(),
			(SELECT count(*) FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
				WHERE c.relkind IN ('r', 'p', 'v', 'm', 'S') AND n.nspname NOT IN ('pg_catalog', 'information_schema') AND n.nspname !~ '^pg_'),
			(SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND backend_type = 'client backend' AND pid <> pg_backend_pid())`).
			Scan(&current, &tables, &others)
		if err != nil {
			return fmt.Errorf("look into the database: %w", err)
		}
		if others == 0 {
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	if others > 0 {
		return fmt.Errorf("others are using the database %s (%d sessions): stop the server first", current, others)
	}
	if tables == 0 {
		began := time.Now()
		if err := fill(ctx, program, db.url, name); err != nil {
			return err
		}
		n.did(began, "restored %s into the empty database %s", name, current)
		return nil
	}
	if !replace {
		return fmt.Errorf("the database %s is not empty: name an empty one, or give --replace to put the backup in its place; what is there is then kept under another name", current)
	}
	conn.Close(ctx)
	return swap(ctx, n, program, db.url, current, name)
}

// fill restores into an empty database and brings it to the newest schema.
func fill(ctx context.Context, p program, dsn, name string) error {
	address, password := libpq(dsn)
	if err := p.start(ctx, nil, password, "--single-transaction", "--exit-on-error", "--no-owner", "--no-privileges", "--dbname="+address, name); err != nil {
		return err
	}
	if _, _, err := migrations.Up(ctx, dsn); err != nil {
		return fmt.Errorf("bring the restored schema up to date: %w", err)
	}
	return nil
}

// swap restores into a new database beside the current one and exchanges them.
func swap(ctx context.Context, n *narrator, p program, dsn, current, name string) error {
	began := time.Now()
	admin, err := adminConn(ctx, dsn)
	if err != nil {
		return err
	}
	defer admin.Close(context.WithoutCancel(ctx))
	stamp := time.Now().UTC().Format("20060102_150405")
	short := current[:min(len(current), 40)] // names have 63 bytes at most
	fresh, kept := short+"_restore_"+stamp, short+"_before_"+stamp
	quote := func(s string) string { return pgx.Identifier{s}.Sanitize() }
	if _, err := admin.Exec(ctx, `CREATE DATABASE `+quote(fresh)+` TEMPLATE template0`); err != nil {
		return fmt.Errorf("make a database for the backup: %w: an account that may not make databases can restore into an empty one only", err)
	}
	err = fill(ctx, p, withName(dsn, fresh), name)
	if err == nil {
		err = pgx.BeginFunc(ctx, admin, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, `ALTER DATABASE `+quote(current)+` RENAME TO `+quote(kept)); err != nil {
				return err
			}
			_, err := tx.Exec(ctx, `ALTER DATABASE `+quote(fresh)+` RENAME TO `+quote(current))
			return err
		})
	}
	if err != nil {
		_, dropErr := admin.Exec(context.WithoutCancel(ctx), `DROP DATABASE IF EXISTS `+quote(fresh)+` WITH (FORCE)`)
		return errors.Join(err, dropErr)
	}
	n.did(began, "restored %s in the place of %s; what was there is kept as %s", name, current, kept)
	return nil
}

// adminConn is a session on another database of the same server.
func adminConn(ctx context.Context, dsn string) (*pgx.Conn, error) {
	config, err := pgx.ParseConfig(dsn)
	if err != nil {
		return nil, err
	}
	var all error
	for _, name := range []string{"postgres", "template1"} {
		config.Database = name
		conn, err := pgx.ConnectConfig(ctx, config)
		if err == nil {
			return conn, nil
		}
		all = errors.Join(all, err)
	}
	return nil, fmt.Errorf("reach the server beside the database: %w", all)
}

// withName is the address of another database on the same server.
func withName(dsn, name string) string {
	if u, err := url.Parse(dsn); err == nil && (u.Scheme == "postgres" || u.Scheme == "postgresql") {
		u.Path = "/" + name
		q := u.Query()
		q.Del("dbname")
		q.Del("database")
		u.RawQuery = q.Encode()
		return u.String()
	}
	return dsn + " dbname=" + name // the last one counts
}

var copied = regexp.MustCompile(`(?m)^COPY public\.schema_migrations \(version, dirty\) FROM stdin;\n(\d+)\t[tf]\n`)

// versionIn reads the schema version out of a backup.
func versionIn(ctx context.Context, p program, name string) (uint, error) {
	var text bytes.Buffer
	if err := p.runOn(ctx, name, &text, "--data-only", "--table=schema_migrations", "--file=-"); err != nil {
		return 0, fmt.Errorf("it cannot be read as a backup: %w", err)
	}
	m := copied.FindSubmatch(text.Bytes())
	if m == nil {
		return 0, errors.New("it is a PostgreSQL backup, but not of this program's database")
	}
	v, err := strconv.ParseUint(string(m[1]), 10, 32)
	return uint(v), err
}
