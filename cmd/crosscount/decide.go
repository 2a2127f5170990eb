package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"

	"crosscount/diag"
)

var decideCommand = command{
	name: "decide", args: "FILE", about: "read a case, print what the engine makes of it",
	long: `
FILE is a case file, version 1, or - for standard input. The decision is printed
as JSON. It needs no database, and the same case always gives the same decision.

Besides the rate, "costs" may hold "test_minutes": what tests take in this shop, in
minutes by the test's id, such as {"intake_smoke": 25}. Tests that are not named
take the minutes of the model.

"ready" may list what is in place on the car now, by the model's set-ups, such as
["warm_engine"] or ["cold_exhaust", "lift"]; an empty list says that nothing is.
Without it, what the tests in the case have left counts as in place.

Exits 3 if the case is refused; each thing wrong is then told on standard error,
one a line: the field's path, the reason, and how to mend it.`,
	run: func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
		words, err := parse(fs, args, 1, 1)
		if err != nil {
			return err
		}
		return decide(c, words[0])
	},
}

// caseLimit is far above any real case, of some kilobytes.
const caseLimit = 4 << 20 // bytes

func decide(c *console, name string) error {
	b, err := readInput(c, name, caseLimit)
	if err != nil {
		return err
	}
	kase, err := diag.DecodeCase(bytes.NewReader(b))
	var d diag.Decision
	if err == nil {
		d, err = diag.Decide(kase)
	}
	if problems, ok := errors.AsType[diag.Problems](err); ok {
		for _, p := range problems {
			fmt.Fprintf(c.err, "%s\n", p)
		}
		return errRefused
	}
	if err != nil {
		return err
	}
	e := json.NewEncoder(c.out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(d)
}

// readInput reads a file, or standard input for "-", of no more than limit bytes.
func readInput(c *console, name string, limit int64) ([]byte, error) {
	in := c.in
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in = f
	}
	b, err := io.ReadAll(io.LimitReader(in, limit+1))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, err)
	}
	if int64(len(b)) > limit {
		return nil, fmt.Errorf("%s is larger than %d MiB, which is no file of this kind", name, limit>>20)
	}
	return b, nil
}
