package main

import (
	"context"
	"flag"

	"crosscount/diag/model"
)

var modelCommand = command{
	name: "model", about: "print what the engine believes, every number with its source",
	long: `
Each number of the trade model is printed with the kind of its source (published,
common practice, estimate) and the line where it can be changed. Last come the
pairs of causes that no test of the model tells apart.`,
	run: func(ctx context.Context, c *console, fs *flag.FlagSet, args []string) error {
		if _, err := parse(fs, args, 0, 0); err != nil {
			return err
		}
		return model.Trade().Print(c.out)
	},
}
