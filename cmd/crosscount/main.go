// Command crosscount is the repair shop's work-order and diagnosis server. Run it
// with "help" to see what it can do.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"
)

// The exit codes, told by "crosscount help".
const (
	exitGood    = 0
	exitFailed  = 1 // it could not be done
	exitUsage   = 2 // the command line or the settings are wrong
	exitRefused = 3 // the input was read and refused: what is wrong was printed
)

// console is what a command has of the world outside.
type console struct {
	in       io.Reader
	out, err io.Writer // what was asked for; everything said beside it
	environ  []string
}

// command is one of the program's commands, in a file of its own.
type command struct {
	name, args, about string
	long              string // printed by "help NAME", before the flags
	// run does it. It gets the words after the command's name.
	run func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error
}

// commands in the order in which a shop meets them.
func commands() []command {
	return []command{demoCommand, serveCommand, userCommand, migrateCommand, backupCommand, restoreCommand, decideCommand, measureCommand, modelCommand, readyCommand}
}

// usageError is for what exits with exitUsage.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// errRefused is for what exits with exitRefused, its reasons printed already.
var errRefused = errors.New("the input was refused")

func main() {
	if os.Getenv("GOGC") == "" {
		// A decision takes a few MiB of memory and keeps next to none of it: at the
		// usual doubling of so small a heap, collecting takes a fifth of its time.
		debug.SetGCPercent(400)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	c := &console{in: os.Stdin, out: os.Stdout, err: os.Stderr, environ: os.Environ()}
	os.Exit(run(ctx, c, os.Args[1:]))
}

// run runs the command that args name and returns the exit code.
func run(ctx context.Context, c *console, args []string) int {
	if len(args) == 0 {
		printHelp(c.err)
		return exitUsage
	}
	name := args[0]
	switch name {
	case "help", "-h", "-help", "--help":
		return help(c, args[1:])
	}
	for _, cmd := range commands() {
		if cmd.name == name {
			err := cmd.start(ctx, c, args[1:])
			if ctx.Err() != nil && errors.Is(err, context.Canceled) {
				err = errors.New("interrupted")
			}
			return c.finish(cmd, err)
		}
	}
	var names []string
	for _, cmd := range commands() {
		names = append(names, cmd.name)
	}
	fmt.Fprintf(c.err, "crosscount: there is no command %q%s; see crosscount help\n", name, didYouMean(name, names))
	return exitUsage
}

func (cmd command) flags(c *console) *flag.FlagSet {
	fs := flag.NewFlagSet(cmd.name, flag.ContinueOnError)
	fs.SetOutput(c.err)
	fs.Usage = func() {}
	return fs
}

func (cmd command) start(ctx context.Context, c *console, args []string) error {
	return cmd.run(ctx, c, cmd.flags(c), args)
}

// parse reads the flags and checks how many words follow them. Flags and words
// may come in any order.
func parse(fs *flag.FlagSet, args []string, least, most int) ([]string, error) {
	var words []string
	fs.SetOutput(io.Discard) // the error says it all
	for {
		if err := fs.Parse(args); err != nil {
			return nil, usageError{err}
		}
		rest := fs.Args()
		if len(rest) == 0 {
			break
		}
		if n := len(args) - len(rest); n > 0 && args[n-1] == "--" {
			words = append(words, rest...)
			break
		}
		words, args = append(words, rest[0]), rest[1:]
	}
	switch {
	case len(words) < least:
		return nil, usageError{errors.New("something is missing")}
	case len(words) > most:
		return nil, usageError{fmt.Errorf("%q is too much", words[most])}
	}
	return words, nil
}

// finish prints the error of a command and gives the exit code.
func (c *console) finish(cmd command, err error) int {
	switch {
	case err == nil:
		return exitGood
	case errors.Is(err, flag.ErrHelp):
		cmd.print(c.out)
		return exitGood
	case errors.Is(err, errRefused):
		return exitRefused
	}
	fmt.Fprintf(c.err, "crosscount %s: %v\n", cmd.name, err)
	if _, ok := errors.AsType[usageError](err); ok {
		fmt.Fprintf(c.err, "usage: crosscount %s; see crosscount help %s\n", strings.TrimSpace(cmd.name+" "+cmd.args), cmd.name)
		return exitUsage
	}
	return exitFailed
}

func help(c *console, args []string) int {
	if len(args) == 0 {
		printHelp(c.out)
		return exitGood
	}
	if args[0] == "settings" {
		printSettingsHelp(c.out)
		return exitGood
	}
	for _, cmd := range commands() {
		if cmd.name == args[0] {
			cmd.print(c.out)
			return exitGood
		}
	}
	fmt.Fprintf(c.err, "crosscount: there is no command %q; see crosscount help\n", args[0])
	return exitUsage
}

func printHelp(w io.Writer) {
	fmt.Fprintf(w, "Crosscount carries a repair shop's job from the counter to the hand-over.\n\nusage: crosscount COMMAND\n\n")
	for _, cmd := range commands() {
		fmt.Fprintf(w, "  %-9s %s\n", cmd.name, cmd.about)
	}
	fmt.Fprintf(w, `  %-9s %s

More: crosscount help COMMAND, and crosscount help settings for the environment
variables.

Exit codes: %d done; %d it could not be done; %d the command line or the settings
are wrong; %d the input was read and refused.
`, "help", "tell this, or about one command", exitGood, exitFailed, exitUsage, exitRefused)
}

func (cmd command) print(w io.Writer) {
	fmt.Fprintf(w, "usage: crosscount %s\n\n%s\n", strings.TrimSpace(cmd.name+" "+cmd.args), cmd.about)
	if cmd.long != "" {
		fmt.Fprintf(w, "\n%s\n", strings.TrimSpace(cmd.long))
	}
}
