package main

import (
	"context"
	"errors"
	"flag"
	"fmt"

	"crosscount/migrations"
)

var migrateCommand = command{
	name: "migrate", args: "[--status]", about: "bring the database's schema to this program's version",
	long: `
Serve does this by itself; alone it is for upgrades in steps. Production goes
forward only: to go back, restore a backup with the older program.

  --status  tell the versions and change nothing; exits 1 if they differ`,
	run: func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
		status := fs.Bool("status", false, "")
		if _, err := parse(fs, args, 0, 0); err != nil {
			return err
		}
		return withDatabase(ctx, c, access{share: *status, migrate: !*status}, func(ctx context.Context, db *database) error {
			st, err := migrations.Read(ctx, db.url)
			if err != nil {
				return err
			}
			fmt.Fprintf(c.out, "the database has schema version %d, this program %d\n", st.Version, st.Latest)
			switch {
			case st.Dirty:
				return errors.New("the last migration was cut short: run crosscount migrate, it goes on by itself")
			case st.Version < st.Latest:
				return errors.New("run crosscount migrate, or crosscount serve, which does it too")
			case st.Version > st.Latest:
				return &migrations.ErrNewer{Database: st.Version, Program: st.Latest}
			}
			return nil
		})
	},
}

// withDatabase runs do on the database that the settings name.
func withDatabase(ctx context.Context, c *console, a access, do func(context.Context, *database) error) error {
	cfg, err := loadConfig(c.environ)
	if err != nil {
		return err
	}
	db, err := openDatabase(ctx, &narrator{w: c.err}, cfg, a)
	if err != nil {
		return err
	}
	return errors.Join(do(ctx, db), db.close(context.WithoutCancel(ctx)))
}
