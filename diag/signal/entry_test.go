package signal

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
)

func TestEntriesForTheCaseFile(t *testing.T) {
	ts, vs := sampled(trapezoid(0.1, 0.9, 0.25, 2), 1.0/1024, 16)
	e, ok := measured(t, ts, vs, Options{}).Signal()
	if !ok || e.Bank != 1 || e.Position != 1 {
		t.Fatalf("%+v", e)
	}
	for name, pair := range map[string][2]float64{
		"min": {*e.MinV, 0.1}, "max": {*e.MaxV, 0.9}, "mean": {*e.MeanV, 0.5}, "crossings": {*e.CrossingsHz, 0.5},
		"lean to rich": {*e.LeanRichMs, 93.75}, "rich to lean": {*e.RichLeanMs, 93.75},
	} {
		if !near(pair[0], pair[1], 1e-9) {
			t.Errorf("%s = %v, want %v", name, pair[0], pair[1])
		}
	}
	t.Run("what was refused is absent, not zero", func(t *testing.T) {
		ts, vs := sampled(trapezoid(0.1, 0.9, 0.25, 2), 1, 60)
		e, _ := measured(t, ts, vs, Options{}).Signal()
		if e.LeanRichMs != nil || e.RichLeanMs != nil || e.CrossingsHz != nil || e.MinV == nil {
			t.Errorf("%+v", e)
		}
	})
	t.Run("trims become one entry for each bank and state", func(t *testing.T) {
		data := drive(t, func(bank int, _ float64) float64 { return float64(4 * bank) }, false)
		m, _ := sniff(t, data)
		res, err := Measure(bytes.NewReader(data), m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if es := res.Trims.Entries(); len(es) != 8 || es[0].State != Idle || es[0].ShortPct == nil {
			t.Errorf("%+v", es)
		}
	})
	t.Run("a result is plain JSON", func(t *testing.T) {
		data := "Time (s),O2 B1S1 (V)\n"
		for i := range 100 {
			data += itoa(i) + ",0." + itoa(1+i%8) + "\n"
		}
		m, _ := sniff(t, []byte(data))
		res, err := Measure(strings.NewReader(data), m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		b, err := json.Marshal(res)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(b), `"kind":"too_slow"`) {
			t.Errorf("no refusal in %s", b)
		}
	})
}
