package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"crosscount/diag"
)

// sound is a small case, with a lean code and a vacuum-leak-like trim.
const sound = `{"case": 1,
  "vehicle": {"cylinders": 4, "arrangement": "inline", "displacement_l": 2.0, "fuel": "petrol", "air_metering": "maf",
    "sensors": [{"bank": 1, "position": 1, "kind": "zirconia", "wires": 4}]},
  "evidence": [{"kind": "code", "code": "P0171", "status": "stored"}, {"kind": "trim", "bank": 1, "state": "idle", "long_pct": 17}],
  "costs": {"labour_per_hour": 120, "currency": "USD"}}`

func TestDecide(t *testing.T) {
	file := filepath.Join(t.TempDir(), "case.json")
	check(t, os.WriteFile(file, []byte(sound), 0o600))
	kase, err := diag.DecodeCase(strings.NewReader(sound))
	check(t, err)
	want, err := diag.Decide(kase)
	check(t, err)

	for name, in := range map[string]string{file: "", "-": sound} {
		t.Run("prints the engine's decision for "+filepath.Base(name), func(t *testing.T) {
			code, out, said := said(t, nil, in, "decide", name)
			if code != exitGood || said != "" {
				t.Fatalf("exit %d: %s", code, said)
			}
			var got diag.Decision
			check(t, json.Unmarshal([]byte(out), &got))
			// A printed sentence is finished words; the two say the same.
			is, err := json.Marshal(got)
			check(t, err)
			was, err := json.Marshal(want)
			check(t, err)
			if !bytes.Equal(is, was) {
				t.Errorf("got %s\nwant %s", is, was)
			}
		})
	}

	t.Run("needs no settings", func(t *testing.T) {
		if code, _, said := said(t, []string{"CROSSCOUNT_NONSENSE=1"}, "", "decide", file); code != exitGood {
			t.Errorf("exit %d: %s", code, said)
		}
	})

	for name, tc := range map[string]struct{ in, path, want string }{
		"a voltage of 40 V":          {strings.Replace(sound, `"evidence": [`, `"evidence": [{"kind": "forced", "bank": 1, "position": 1, "mixture": "rich", "volts": 40},`, 1), "evidence[0].volts", "40 V"},
		"a bank the car has not got": {strings.Replace(sound, `"trim", "bank": 1`, `"trim", "bank": 2`, 1), "evidence[1].bank", ""},
		"a field nobody knows":       {strings.Replace(sound, `"long_pct"`, `"lang_pct"`, 1), "evidence[1].lang_pct", ""},
		"a text that is no case":     {"case one", "", "JSON"},
		"a case of another version":  {strings.Replace(sound, `"case": 1`, `"case": 2`, 1), "case", ""},
		"nothing":                    {"", "", "empty"},
	} {
		t.Run("refuses "+name+" with exit 3, telling where", func(t *testing.T) {
			code, out, said := said(t, nil, tc.in, "decide", "-")
			if code != exitRefused || out != "" || !strings.HasPrefix(said, tc.path) || !strings.Contains(said, tc.want) {
				t.Errorf("exit %d, out %q, said %q", code, out, said)
			}
		})
	}

	t.Run("exits 1 for a file it cannot read", func(t *testing.T) {
		if code, _, said := said(t, nil, "", "decide", "/nowhere/case.json"); code != exitFailed || !strings.Contains(said, "/nowhere/case.json") {
			t.Errorf("exit %d: %s", code, said)
		}
	})

	t.Run("exits 1 for a file that is far too large, without reading on", func(t *testing.T) {
		if code, _, said := said(t, nil, strings.Repeat(" ", caseLimit+1), "decide", "-"); code != exitFailed || !strings.Contains(said, "4 MiB") {
			t.Errorf("exit %d: %s", code, said)
		}
	})
}
