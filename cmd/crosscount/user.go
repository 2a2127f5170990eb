package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"net"
	"net/url"
	"text/tabwriter"

	"crosscount/store"
	"crosscount/web"
)

var userCommand = command{
	name: "user", args: "list | owner | link LOGIN | disable LOGIN | enable LOGIN", about: "see to people's access from the machine itself",
	long: `
For whoever has the machine, when nobody who could help can get in.

  list            everyone, with role
  owner           a new link for the first owner of a shop that has none
  link LOGIN      a link with which that person chooses a new password; earlier
                  ones stop working, and so does the log-in everywhere once the
                  password is changed
  disable LOGIN   sign that person out and let them in no more
  enable LOGIN    let them in again

It works while the server runs.`,
	run: func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
		words, err := parse(fs, args, 1, 2)
		if err != nil {
			return err
		}
		do, ok := userActions[words[0]]
		if !ok {
			var names []string
			for name := range userActions {
				names = append(names, name)
			}
			return usageError{fmt.Errorf("there is no %q%s", words[0], didYouMean(words[0], names))}
		}
		if do.login != (len(words) == 2) {
			return usageError{fmt.Errorf("%s: give a log-in name with link, disable and enable only, and there always", words[0])}
		}
		return withDatabase(ctx, c, access{share: true, migrate: true}, func(ctx context.Context, db *database) error {
			u := userWork{console: c, db: db}
			if do.login {
				p, err := db.store.PersonByLogin(ctx, words[1])
				if errors.Is(err, store.ErrNotFound) {
					return fmt.Errorf("nobody has the log-in name %q: see crosscount user list", words[1])
				}
				if err != nil {
					return err
				}
				u.person = p
			}
			return do.run(&u, ctx)
		})
	},
}

type userWork struct {
	*console
	db     *database
	person store.Person
}

var userActions = map[string]struct {
	login bool
	run   func(*userWork, context.Context) error
}{
	"list":    {false, (*userWork).list},
	"owner":   {false, (*userWork).owner},
	"link":    {true, (*userWork).link},
	"disable": {true, func(u *userWork, ctx context.Context) error { return u.setActive(ctx, false) }},
	"enable":  {true, func(u *userWork, ctx context.Context) error { return u.setActive(ctx, true) }},
}

func (u *userWork) list(ctx context.Context) error {
	people, err := u.db.store.People(ctx)
	if err != nil {
		return err
	}
	t := tabwriter.NewWriter(u.out, 0, 0, 3, ' ', 0)
	fmt.Fprintln(t, "log-in\trole\tname\taccess")
	for _, p := range people {
		access := "yes"
		switch {
		case !p.Active:
			access = "disabled"
		case p.PasswordHash == nil:
			access = "no password yet"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", p.Login, p.Role, p.Name, access)
	}
	return t.Flush()
}

func (u *userWork) owner(ctx context.Context) error {
	path, err := web.FirstOwnerPath(ctx, u.db.store)
	if err != nil {
		return err
	}
	if path == "" {
		return errors.New("the shop has an owner: make a link for that log-in with crosscount user link LOGIN")
	}
	return u.print(path, "Whoever opens this link once becomes the owner:")
}

func (u *userWork) link(ctx context.Context) error {
	if !u.person.Active {
		return fmt.Errorf("%s is disabled: first crosscount user enable %s", u.person.Login, u.person.Login)
	}
	path, err := web.PasswordPath(ctx, u.db.store, 0, u.person.ID)
	if err != nil {
		return err
	}
	return u.print(path, "With this link "+u.person.Name+" can choose a new password once:")
}

func (u *userWork) print(path, words string) error {
	cfg, err := loadConfig(u.environ)
	if err != nil {
		return err
	}
	base := cfg.baseURL
	if base == nil {
		host, port, err := net.SplitHostPort(cfg.address)
		if err != nil {
			return err
		}
		if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
			host = reachable()
		}
		base = &url.URL{Scheme: "http", Host: net.JoinHostPort(host, port)}
		if cfg.certificate != nil {
			base.Scheme = "https"
		}
	}
	fmt.Fprintf(u.out, "%s\n  %s\n", words, base.JoinPath(path))
	return nil
}

func (u *userWork) setActive(ctx context.Context, active bool) error {
	if u.person.Active == active {
		fmt.Fprintf(u.out, "%s is so already\n", u.person.Login)
		return nil
	}
	u.person.Active = active
	if err := u.db.store.UpdatePerson(ctx, 0, u.person); err != nil {
		return err
	}
	word := "disabled and signed out"
	if active {
		word = "enabled"
	}
	fmt.Fprintf(u.out, "%s is %s\n", u.person.Login, word)
	return nil
}
