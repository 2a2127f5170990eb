package main

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// below names, for each top-level folder, the folders it may import. A folder may
// always import its own sub-packages. The arrows point one way: down.
var below = map[string][]string{
	"cmd":        {"web", "templates", "static", "store", "diag", "migrations"},
	"web":        {"templates", "static", "store", "diag"},
	"templates":  {"static"},
	"store":      {"diag", "migrations"},
	"diag":       {},
	"static":     {},
	"migrations": {},
}

func TestTheHouse(t *testing.T) {
	const module = "crosscount/"
	out, err := exec.CommandContext(t.Context(), "go", "list", "-f",
		`{{.ImportPath}} {{join .Imports " "}}`, module+"...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	top := func(path string) string {
		folder, _, _ := strings.Cut(strings.TrimPrefix(path, module), "/")
		return folder
	}

	t.Run("every import points down", func(t *testing.T) {
		seen := 0
		for _, line := range lines {
			fields := strings.Fields(line)
			from := top(fields[0])
			allowed, known := below[from]
			if !known {
				t.Errorf("%s: the folder %q is not part of the house", fields[0], from)
				continue
			}
			for _, path := range fields[1:] {
				if !strings.HasPrefix(path, module) {
					continue
				}
				seen++
				to := top(path)
				if to != from && !slices.Contains(allowed, to) {
					t.Errorf("%s imports %s: %s may not reach %s", fields[0], path, from, to)
				}
			}
		}
		if seen == 0 {
			t.Error("no import between our own packages was seen: the test looks at nothing")
		}
	})

	t.Run("diag imports nothing that could tell two runs apart", func(t *testing.T) {
		// Reading and writing happens through an io.Reader or io.Writer handed in.
		impure := []string{"os", "net", "net/http", "math/rand", "math/rand/v2", "crypto/rand", "database/sql", "os/exec", "log", "log/slog"}
		seen := 0
		for _, line := range lines {
			fields := strings.Fields(line)
			if top(fields[0]) != "diag" || helpsTests(fields[1:]) {
				continue
			}
			seen++
			for _, path := range fields[1:] {
				if slices.Contains(impure, path) || strings.HasPrefix(path, "github.com/") {
					t.Errorf("%s imports %s", fields[0], path)
				}
			}
		}
		if seen == 0 {
			t.Error("no package of diag was seen")
		}
	})

	t.Run("only helpers of tests import helpers of tests", func(t *testing.T) {
		helpers := map[string]bool{}
		for _, line := range lines {
			fields := strings.Fields(line)
			helpers[fields[0]] = helpsTests(fields[1:])
		}
		seen := 0
		for _, line := range lines {
			fields := strings.Fields(line)
			for _, path := range fields[1:] {
				if !helpers[path] {
					continue
				}
				seen++
				if !helpers[fields[0]] {
					t.Errorf("%s imports %s, which serves tests", fields[0], path)
				}
			}
		}
		if seen == 0 {
			t.Error("no helper of tests was seen")
		}
	})
}

// helpsTests tells of a package by its imports that it serves tests alone.
func helpsTests(imports []string) bool { return slices.Contains(imports, "testing") }
