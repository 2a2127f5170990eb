package main

import (
	"bytes"
	"strings"
	"testing"
)

func TestModelCommand(t *testing.T) {
	t.Run("prints causes, tests, sources and what no test tells apart", func(t *testing.T) {
		var out, errs bytes.Buffer
		if code := run(t.Context(), &console{out: &out, err: &errs}, []string{"model"}); code != exitGood {
			t.Fatalf("exit %d: %s", code, &errs)
		}
		for _, want := range []string{"CAUSES", "TESTS", "head_gasket_leak", "combustion_gas_test", "common practice", "causes.model:", "CAUSES THAT NO TEST TELLS APART"} {
			if !strings.Contains(out.String(), want) {
				t.Errorf("%q is not printed", want)
			}
		}
	})
	t.Run("takes no file", func(t *testing.T) {
		var out, errs bytes.Buffer
		if code := run(t.Context(), &console{out: &out, err: &errs}, []string{"model", "other.model"}); code != exitUsage {
			t.Errorf("exit %d, want %d", code, exitUsage)
		}
	})
}
