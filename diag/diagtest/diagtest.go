// Package diagtest is what tests of every folder share: how a test stands aside, and the
// drive logs. Nothing but tests and their helpers imports it.
package diagtest

import (
	"os"
	"path/filepath"
	"testing"
)

// Missing says that a test cannot be made here, and why: with CI=true it fails, else it
// skips, loudly.
func Missing(tb testing.TB, why string) {
	tb.Helper()
	if os.Getenv("CI") == "true" {
		tb.Fatal(why)
	}
	tb.Skip("SKIPPED, NOTHING WAS TESTED: " + why)
}

// DriveLogs gives the open drive logs by name: real logs of one car, from the open dataset
// carOBD (cited as "Detecting Anomalies in the Engine Coolant Sensor Using One-Class
// Classifiers", IEEE, document 8891367). They lie beside the project, in a folder above the
// test's, and are not copied into it; without them the test is Missing.
func DriveLogs(tb testing.TB) map[string][]byte {
	tb.Helper()
	dir, err := filepath.Abs(".")
	if err != nil {
		tb.Fatal(err)
	}
	for {
		found, _ := filepath.Glob(filepath.Join(dir, "shared", "data", "drive-log", "*.csv"))
		if len(found) > 0 {
			out := map[string][]byte{}
			for _, f := range found {
				if out[filepath.Base(f)], err = os.ReadFile(f); err != nil {
					tb.Fatal(err)
				}
			}
			return out
		}
		up := filepath.Dir(dir)
		if up == dir {
			Missing(tb, "no shared/data/drive-log in any folder above this one")
			return nil
		}
		dir = up
	}
}
