package main

import (
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"crosscount/diag/signal"
)

// recording is half a minute of two sensors at 200 Hz, the front one switching at
// 1 Hz, the rear one quiet.
func recording() string {
	var b strings.Builder
	b.WriteString("Time (ms);Bank 1 Sensor 1 (V);Bank 1 Sensor 2 (V)\r\n")
	for i := range 6000 {
		t := float64(i) / 200
		row := fmt.Sprintf("%d;%.4f;%.4f\r\n", i*5, 0.45+0.4*math.Sin(2*math.Pi*t), 0.68+0.02*math.Sin(t/3))
		b.WriteString(strings.ReplaceAll(row, ".", ","))
	}
	return b.String()
}

func TestMeasure(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "capture.csv")
	check(t, os.WriteFile(file, []byte(recording()), 0o600))
	result := func(t *testing.T, out string) signal.Result {
		t.Helper()
		var r signal.Result
		d := json.NewDecoder(strings.NewReader(out))
		d.DisallowUnknownFields()
		if err := d.Decode(&r); err != nil {
			t.Fatalf("%v in %.500s", err, out)
		}
		return r
	}

	t.Run("prints measurements and writes the picture", func(t *testing.T) {
		svg := filepath.Join(dir, "capture.svg")
		code, out, err := said(t, nil, "", "measure", file, "--svg", svg)
		if code != exitGood {
			t.Fatalf("exit %d: %s", code, err)
		}
		r := result(t, out)
		if hz := r.Channels[0].Narrow.CyclesHz.Or(0); math.Abs(hz-1) > 1e-4 {
			t.Errorf("%v cycles a second, want 1", hz)
		}
		if len(r.Pairs) != 1 || r.Pairs[0].Activity.Or(9) != 0 {
			t.Errorf("pair: %+v", r.Pairs)
		}
		b, e := os.ReadFile(svg)
		check(t, e)
		d := xml.NewDecoder(strings.NewReader(string(b)))
		for {
			if _, err := d.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Fatal(err)
			}
		}
		for _, want := range []string{"B1S1", "B1S2", "0.45 V middle", "xmlns="} {
			if !strings.Contains(string(b), want) {
				t.Errorf("the picture lacks %q", want)
			}
		}
	})
	t.Run("reads standard input", func(t *testing.T) {
		code, out, err := said(t, nil, recording(), "measure", "-", "--channel", "B1S2")
		if code != exitGood {
			t.Fatalf("exit %d: %s", code, err)
		}
		if r := result(t, out); len(r.Channels) != 1 || r.Channels[0].Position != 2 {
			t.Errorf("%+v", r.Channels)
		}
	})
	t.Run("takes back the mapping it printed", func(t *testing.T) {
		_, mapping, _ := said(t, nil, "", "measure", "--print-mapping", file)
		mapping = strings.Replace(mapping, `"bank": 1`, `"bank": 2`, 1)
		kept := filepath.Join(dir, "mapping.json")
		check(t, os.WriteFile(kept, []byte(mapping), 0o600))
		code, out, err := said(t, nil, "", "measure", file, "--mapping", kept)
		if code != exitGood {
			t.Fatalf("exit %d: %s", code, err)
		}
		if r := result(t, out); r.Channels[0].Bank != 2 {
			t.Errorf("the correction was lost: %+v", r.Channels[0].Column)
		}
	})
	t.Run("measures a marked change of mixture", func(t *testing.T) {
		code, out, err := said(t, nil, "", "measure", file, "--event", "0.9", "--mixture", "rich", "--cold-start", "0")
		if code != exitGood {
			t.Fatalf("exit %d: %s", code, err)
		}
		f := result(t, out).Channels[0].Narrow.Forced
		// 0.45 + 0.4 sin(2πt) passes 0.3 V at 1 - asin(0.375)/2π, 0.8 V at 1 + asin(0.875)/2π
		want := 1000 * (0.1 - math.Asin(0.375)/(2*math.Pi))
		if len(f) != 1 || math.Abs(f[0].Delay.Or(0)-want) > f[0].Delay.Uncertainty {
			t.Errorf("%+v, want %v", f, want)
		}
	})
	t.Run("needs the rate where there is no time", func(t *testing.T) {
		in := "B1S1 (V)\n" + strings.Repeat("0.1\n0.8\n", 50)
		code, _, err := said(t, nil, in, "measure", "-")
		if code != exitRefused || !strings.Contains(err, "samples per second") {
			t.Errorf("exit %d: %s", code, err)
		}
		code, out, err := said(t, nil, in, "measure", "-", "--rate", "50")
		if code != exitGood {
			t.Fatalf("exit %d: %s", code, err)
		}
		if r := result(t, out); r.Sampling.Rate.Or(0) != 50 {
			t.Errorf("%+v", r.Sampling)
		}
	})
	t.Run("refuses what is no table, with what to do", func(t *testing.T) {
		for in, want := range map[string]string{"": "empty", "\x89PNG\r\n\x1a\n\x00\x00": "image", "one line": "one line"} {
			code, out, err := said(t, nil, in, "measure", "-")
			if code != exitRefused || out != "" || !strings.Contains(err, want) || !strings.Contains(err, ";") {
				t.Errorf("%q: exit %d: %s%s", in, code, out, err)
			}
		}
	})
	t.Run("tells a bad row and measures the rest", func(t *testing.T) {
		in := strings.Replace(recording(), "\r\n100;", "\r\nsoon;", 1)
		code, out, err := said(t, nil, in, "measure", "-")
		if code != exitGood || !strings.Contains(err, "line 22:") || !strings.Contains(err, "left out") {
			t.Errorf("exit %d: %s", code, err)
		}
		if r := result(t, out); r.Report.Rows != 5999 || r.Report.Skipped != 1 {
			t.Errorf("%+v", r.Report)
		}
	})
	t.Run("refuses a wrong call", func(t *testing.T) {
		for _, args := range [][]string{{}, {file, "more"}, {file, "--event", "3"}, {file, "--mixture", "rich"}, {file, "--event", "x", "--mixture", "rich"},
			{file, "--event", "1", "--mixture", "hot"}, {file, "--channel", "B4S4"}, {file, "--rate", "-1"}, {file, "--mapping", file}} {
			if code, out, _ := said(t, nil, "", append([]string{"measure"}, args...)...); code != exitUsage || out != "" {
				t.Errorf("%v: exit %d: %s", args, code, out)
			}
		}
	})
	t.Run("a mapping that does not fit is refused", func(t *testing.T) {
		kept := filepath.Join(dir, "wrong.json")
		_, mapping, _ := said(t, nil, "", "measure", "--print-mapping", file)
		check(t, os.WriteFile(kept, []byte(strings.Replace(mapping, "semicolon", "colon", 1)), 0o600))
		if code, _, err := said(t, nil, "", "measure", file, "--mapping", kept); code != exitRefused || !strings.Contains(err, "delimiter") {
			t.Errorf("exit %d: %s", code, err)
		}
	})
}
