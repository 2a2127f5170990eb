package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"crosscount/diag/picture"
	"crosscount/diag/signal"
	"crosscount/diag/signal/draw"
)

var measureCommand = command{
	name: "measure", args: "FILE", about: "read a recording, print what it measures",
	long: `
FILE is a table of numbers over time as a scope, logger or scan tool writes it, or -
for standard input: any delimiter, decimal sign, header and units; oxygen sensor
voltage, lambda, trims, engine speed and so on; up to 200 MB. What the columns are is
guessed; the guess is part of the answer. The measurements are printed as JSON, each
with its unit, uncertainty and count, or the reason why it cannot be given.

  --svg OUT          write a picture of it to the file OUT
  --mapping FILE     read the table as this JSON says instead of guessing
  --print-mapping    print the guess as JSON, to be corrected and given back
  --channel NAME     measure this column only: its name, its number from 1, or a
                     place such as B1S2; may be given several times
  --rate HZ          samples per second, where the table has no time column
  --event SECONDS    when the mixture was forced, on the recording's clock
  --mixture rich     or lean: which way it was forced
  --cold-start SECONDS   when the cold engine was started: measures the warm-up

Exits 0 if something was measured; rows that could not be read are told on standard
error and listed under "report". Exits 3 if nothing could be read; why, where and how
to mend it is then told on standard error.`,
	run: runMeasure,
}

type measureArgs struct {
	svg, mapping string
	printMapping bool
	channels     []string
	rate         float64
	event        *float64
	mixture      string
	coldStart    *float64
}

func runMeasure(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
	var a measureArgs
	fs.StringVar(&a.svg, "svg", "", "")
	fs.StringVar(&a.mapping, "mapping", "", "")
	fs.BoolVar(&a.printMapping, "print-mapping", false, "")
	fs.Func("channel", "", func(s string) error { a.channels = append(a.channels, s); return nil })
	fs.Float64Var(&a.rate, "rate", 0, "")
	seconds := func(to **float64) func(string) error {
		return func(s string) error {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil || v-v != 0 {
				return errors.New("give a number of seconds")
			}
			*to = &v
			return nil
		}
	}
	fs.Func("event", "", seconds(&a.event))
	fs.Func("cold-start", "", seconds(&a.coldStart))
	fs.StringVar(&a.mixture, "mixture", "", "")
	words, err := parse(fs, args, 1, 1)
	if err != nil {
		return err
	}
	switch {
	case a.rate < 0 || a.rate-a.rate != 0:
		return usageError{errors.New("--rate wants a number of samples per second")}
	case (a.event == nil) != (a.mixture == ""):
		return usageError{errors.New("--event and --mixture belong together: when and which way the mixture was forced")}
	case a.mixture != "" && a.mixture != "rich" && a.mixture != "lean":
		return usageError{fmt.Errorf("--mixture is rich or lean, not %q", a.mixture)}
	}
	in, done, err := seekable(c, words[0])
	if err != nil {
		return err
	}
	defer done()
	err = measure(c, in, a)
	if p, ok := errors.AsType[*signal.Problem](err); ok {
		fmt.Fprintf(c.err, "crosscount measure: %v\n", p)
		return errRefused
	}
	return err
}

// measure prints the measurements of the table in.
func measure(c *console, in io.ReadSeeker, a measureArgs) error {
	m, problems, err := mappingFor(in, a)
	if err != nil {
		return err
	}
	if a.printMapping {
		return printJSON(c.out, m)
	}
	opt := signal.Options{ColdStart: a.coldStart, Limits: signal.DefaultLimits()}
	if a.event != nil {
		opt.Event = &signal.Event{At: *a.event, Mixture: a.mixture}
	}
	board := draw.NewBoard(m)
	if a.svg != "" {
		opt.Watch = board.Watch
	}
	res, err := signal.Measure(in, m, opt)
	if err != nil {
		return err
	}
	res.Warnings = append(res.Warnings, problems...)
	for _, list := range [][]signal.Problem{res.Warnings, res.Report.Problems} {
		for _, p := range list {
			fmt.Fprintln(c.err, p.Error())
		}
	}
	if a.svg != "" {
		svg := board.Picture(res, opt.Limits, picture.Frame{Standalone: true})
		if err := os.WriteFile(a.svg, svg, 0o644); err != nil {
			return fmt.Errorf("write the picture: %w", err)
		}
	}
	return printJSON(c.out, res)
}

// mappingFor guesses how to read the table or takes what was given.
func mappingFor(in io.ReadSeeker, a measureArgs) (signal.Mapping, []signal.Problem, error) {
	var m signal.Mapping
	var problems []signal.Problem
	if a.mapping != "" {
		b, err := os.ReadFile(a.mapping)
		if err != nil {
			return m, nil, err
		}
		d := json.NewDecoder(strings.NewReader(string(b)))
		d.DisallowUnknownFields()
		if err := d.Decode(&m); err != nil {
			return m, nil, usageError{fmt.Errorf("the mapping %s: %w", a.mapping, err)}
		}
	} else {
		if _, err := in.Seek(0, io.SeekStart); err != nil {
			return m, nil, err
		}
		found, preview, err := signal.Sniff(in)
		if err != nil {
			return m, nil, err
		}
		m = found
		for _, p := range preview.Problems {
			if a.rate == 0 || p.Kind != signal.NoTime {
				problems = append(problems, p)
			}
		}
	}
	if a.rate > 0 {
		if m.Time.Kind != signal.TimeIndex {
			m.Time = signal.Time{Kind: signal.TimeIndex}
		}
		m.Time.RateHz = a.rate
	}
	if len(a.channels) > 0 {
		kept, err := pick(m.Channels, a.channels)
		if err != nil {
			return m, nil, err
		}
		m.Channels = kept
	}
	return m, problems, nil
}

// pick finds the columns asked for, in the order of the table.
func pick(cs []signal.Column, wanted []string) ([]signal.Column, error) {
	take := map[int]bool{}
	for _, w := range wanted {
		found := false
		for i, c := range cs {
			place := fmt.Sprintf("b%ds%d", c.Bank, c.Position)
			if strings.EqualFold(c.Name, w) || strconv.Itoa(c.Column) == w || strings.EqualFold(place, w) && c.Position > 0 {
				take[i], found = true, true
			}
		}
		if !found {
			var names []string
			for _, c := range cs {
				names = append(names, fmt.Sprintf("%d %q", c.Column, c.Name))
			}
			return nil, usageError{fmt.Errorf("there is no column %q; there are %s", w, strings.Join(names, ", "))}
		}
	}
	var kept []signal.Column
	for i, c := range cs {
		if take[i] {
			kept = append(kept, c)
		}
	}
	return kept, nil
}

func printJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// seekable opens a file that can be read twice; standard input, and a pipe by name,
// is first written to a file that is gone afterwards.
func seekable(c *console, name string) (io.ReadSeeker, func(), error) {
	in := c.in
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, nil, err
		}
		if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
			return f, func() { f.Close() }, nil
		}
		defer f.Close()
		in = f
	}
	tmp, err := os.CreateTemp("", "crosscount-measure-*")
	if err != nil {
		return nil, nil, fmt.Errorf("a place to keep the recording: %w", err)
	}
	done := func() { tmp.Close(); os.Remove(tmp.Name()) }
	if _, err := io.Copy(tmp, io.LimitReader(in, signal.MaxBytes+1)); err != nil {
		done()
		return nil, nil, fmt.Errorf("read %s: %w", name, err)
	}
	return tmp, done, nil
}
