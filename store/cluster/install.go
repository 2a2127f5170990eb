package cluster

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strconv"
	"strings"
)

// Command installs PostgreSQL with the system's package manager.
type Command struct {
	Manager string     // the package manager's program
	Steps   [][]string // each a program and its arguments, to run in order
}

// String is the command as one would type it.
func (c Command) String() string {
	var steps []string
	for _, s := range c.Steps {
		steps = append(steps, typed(s))
	}
	return strings.Join(steps, " && ")
}

func typed(words []string) string {
	words = slices.Clone(words)
	for i, w := range words {
		if strings.Contains(w, " ") {
			words[i] = "'" + w + "'"
		}
	}
	return strings.Join(words, " ")
}

// Run says each step to out, then runs it with its output on out.
func (c Command) Run(ctx context.Context, out io.Writer) error {
	if len(c.Steps) == 0 {
		return errors.New("no package manager that this program knows: install PostgreSQL by hand")
	}
	for _, s := range c.Steps {
		fmt.Fprintf(out, "running: %s\n", typed(s))
		cmd := exec.CommandContext(ctx, s[0], s[1:]...)
		cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, out, out // sudo may ask
		if c.Manager == "apt-get" {
			cmd.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
		}
		if err := cmd.Run(); err != nil {
			return fmt.Errorf("%s: %w", typed(s), err)
		}
	}
	return nil
}

// manager is a package manager: how it installs PostgreSQL, any version or one
// (%d). Package names are those of the systems' own repositories. Where they
// are a package apart, the extensions for searching (contrib) are named too.
type manager struct {
	program  string
	update   []string // refreshes the list of packages first, if needed
	any, one []string
	asUser   bool // must not run as root
}

var managers = []manager{
	{program: "apt-get", update: []string{"update"}, any: []string{"install", "-y", "postgresql"}, one: []string{"install", "-y", "postgresql-%d"}},
	{program: "dnf", any: []string{"install", "-y", "postgresql-server", "postgresql-contrib"}, one: []string{"install", "-y", "postgresql%d-server", "postgresql%d-contrib"}},
	{program: "yum", any: []string{"install", "-y", "postgresql-server", "postgresql-contrib"}, one: []string{"install", "-y", "postgresql%d-server", "postgresql%d-contrib"}},
	{program: "zypper", any: []string{"--non-interactive", "install", "postgresql-server", "postgresql-contrib"}, one: []string{"--non-interactive", "install", "postgresql%d-server", "postgresql%d-contrib"}},
	{program: "pacman", any: []string{"-S", "--noconfirm", "postgresql"}},
	{program: "apk", any: []string{"add", "postgresql", "postgresql-contrib"}, one: []string{"add", "postgresql%d", "postgresql%d-contrib"}},
	{program: "pkg", any: []string{"install", "-y", "postgresql17-server", "postgresql17-contrib"}, one: []string{"install", "-y", "postgresql%d-server", "postgresql%d-contrib"}},
	{program: "brew", any: []string{"install", "postgresql@17"}, one: []string{"install", "postgresql@%d"}, asUser: true},
}

// InstallCommand is the command that installs PostgreSQL here: one major
// version, or what the system offers for 0. It reports false if it knows none.
func InstallCommand(major int) (Command, bool) {
	order := managers
	if runtime.GOOS == "darwin" { // other managers may be there as guests
		order = managers[len(managers)-1:]
	}
	return installCommand(order, major, os.Geteuid() == 0, func(name string) bool {
		_, err := exec.LookPath(name)
		return err == nil
	})
}

func installCommand(order []manager, major int, root bool, has func(string) bool) (Command, bool) {
	for _, m := range order {
		args := m.any
		if major != 0 {
			args = m.one
		}
		if !has(m.program) || args == nil {
			continue
		}
		var as []string
		switch {
		case m.asUser && root:
			continue
		case m.asUser || root:
		case has("sudo"):
			as = []string{"sudo"}
		case has("doas"):
			as = []string{"doas"}
		default:
			as = []string{"su", "root", "-c"}
		}
		c := Command{Manager: m.program}
		for _, step := range [][]string{m.update, args} {
			if step == nil {
				continue
			}
			words := []string{m.program}
			for _, a := range step {
				words = append(words, strings.ReplaceAll(a, "%d", strconv.Itoa(major)))
			}
			if len(as) == 3 { // su takes the command as one word
				words = []string{strings.Join(words, " ")}
			}
			c.Steps = append(c.Steps, append(append([]string{}, as...), words...))
		}
		return c, true
	}
	return Command{}, false
}
