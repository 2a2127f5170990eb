package diag

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
)

// exampleCase is the example of the case format, word for word.
const exampleCase = `{ "case": 1,
  "vehicle": { "cylinders": 6, "arrangement": "flat", "displacement_l": 3.0, "fuel": "petrol", "air_metering": "maf",
    "odometer_km": 182000, "sensors": [ {"bank":1,"position":1,"kind":"zirconia","wires":4},
      {"bank":2,"position":1,"kind":"zirconia","wires":4}, {"bank":1,"position":2,"kind":"zirconia","wires":4,"common":true} ] },
  "evidence": [
    {"kind":"code","code":"P0171","status":"stored"},
    {"kind":"trim","bank":1,"state":"idle","short_pct":8,"long_pct":17},
    {"kind":"signal","bank":1,"position":1,"state":"fast_idle","min_v":0.1,"max_v":0.85,"mean_v":0.44,"crossings_hz":1.4,"lean_rich_ms":70,"rich_lean_ms":80},
    {"kind":"forced","bank":1,"position":1,"mixture":"rich","volts":0.87,"ms":80},
    {"kind":"heater","bank":1,"position":1,"ohm":6.1,"ohm_low":5,"ohm_high":8,"feed_v":13.9,"ground_drop_v":0.05},
    {"kind":"circuit","bank":1,"position":1,"result":"good"},
    {"kind":"connector","bank":1,"position":1,"result":"greased"},
    {"kind":"tip","bank":1,"position":1,"look":"white"},
    {"kind":"gas","state":"idle","co_pct":0.3,"co2_pct":14.9,"o2_pct":0.7,"hc_ppm":90,"nox_ppm":0},
    {"kind":"lambda","state":"cruise","value":1.0},
    {"kind":"fuel_pressure","kpa":300,"kpa_low":290,"kpa_high":320,"holds":true},
    {"kind":"airflow","rpm":5000,"g_per_s":95,"intake_c":30,"baro_kpa":100,"wide_open":true},
    {"kind":"result","test":"intake_smoke","outcome":"bank","bank":1},
    {"kind":"history","remark":"sealant"} ],
  "costs": { "labour_per_hour": 120, "currency": "USD" } }`

func decode(t testing.TB, s string) Case {
	t.Helper()
	c, err := DecodeCase(strings.NewReader(s))
	if err != nil {
		t.Fatalf("refused: %v", err)
	}
	return c
}

func TestDecodeCase(t *testing.T) {
	t.Run("reads the example of the case format", func(t *testing.T) {
		c := decode(t, exampleCase)
		if len(c.Evidence) != 14 || *c.Evidence[1].LongPct != 17 || !c.Vehicle.Sensors[2].Common {
			t.Errorf("read wrongly: %+v", c)
		}
		if _, err := Decide(c); err != nil {
			t.Errorf("refused: %v", err)
		}
	})

	t.Run("names every problem at once with its path, reason and mend", func(t *testing.T) {
		s := strings.NewReplacer(
			`"P0171"`, `"P0Z71"`,
			`"state":"idle","short_pct":8`, `"state":"parked","short_pct":800`,
			`"volts":0.87`, `"volts":40`,
			`"look":"white"`, `"look":"white","ohm":4`,
			`"outcome":"bank","bank":1`, `"outcome":"bank","bank":3`,
			`"remark":"sealant"`, `"remark":"aliens","mileage":3`,
		).Replace(exampleCase)
		_, err := DecodeCase(strings.NewReader(s))
		var ps Problems
		if !errors.As(err, &ps) {
			t.Fatalf("got %v", err)
		}
		for _, want := range []string{"evidence[0].code", "evidence[1].state", "evidence[1].short_pct", "evidence[3].volts",
			"evidence[7].ohm", "evidence[12].bank", "evidence[13].mileage", "evidence[13].remark"} {
			i := slices.IndexFunc(ps, func(p Problem) bool { return p.Path == want })
			if i < 0 {
				t.Errorf("nothing said about %s in %v", want, ps)
			} else if ps[i].Reason.String() == "" || ps[i].Mend.String() == "" {
				t.Errorf("%s lacks reason or mend: %+v", want, ps[i])
			}
		}
		if len(ps) != 8 {
			t.Errorf("%d problems, want 8: %v", len(ps), ps)
		}
	})

	for _, tc := range []struct{ name, old, new, path string }{
		{"an unknown version", `"case": 1`, `"case": 2`, "case"},
		{"an unknown field at the top", `"case": 1`, `"case": 1, "job": 7`, "job"},
		{"a field given twice", `"cylinders": 6`, `"cylinders": 6, "cylinders": 4`, "vehicle.cylinders"},
		{"a text for a number", `"displacement_l": 3.0`, `"displacement_l": "3.0 l"`, "vehicle.displacement_l"},
		{"a null reading", `"ms":80}`, `"ms":null}`, "evidence[3].ms"},
		{"a bank of zero", `"bank":1,"state":"idle"`, `"bank":0,"state":"idle"`, "evidence[1].bank"},
		{"half a bank", `"bank":1,"state":"idle"`, `"bank":1.5,"state":"idle"`, "evidence[1].bank"},
		{"a kind of entry that does not exist", `"kind":"tip"`, `"kind":"colour"`, "evidence[7].kind"},
		{"a test that does not exist", `"test":"intake_smoke"`, `"test":"horoscope"`, "evidence[12].test"},
		{"an outcome of another test", `"outcome":"bank"`, `"outcome":"leaking"`, "evidence[12].outcome"},
		{"a location the car has not got", `{"kind":"tip","bank":1,"position":1`, `{"kind":"tip","bank":1,"position":3`, "evidence[7].position"},
		{"a code of a sensor the car has not got", `"kind":"circuit","bank":1,"position":1,"result":"good"`, `"kind":"code","code":"P0142"`, "evidence[5].code"},
		{"a five-wire zirconia sensor", `"bank":2,"position":1,"kind":"zirconia","wires":4`, `"bank":2,"position":1,"kind":"zirconia","wires":5`, "vehicle.sensors[1].wires"},
		{"two sensors at one place", `"bank":2,"position":1,"kind"`, `"bank":1,"position":1,"kind"`, "vehicle.sensors[1].position"},
		{"half a range", `"ohm_low":5,`, ``, "evidence[4].ohm_low"},
		{"a range upside down", `"kpa_low":290`, `"kpa_low":390`, "evidence[10].kpa_high"},
		{"an empty entry", `"bank":1,"state":"idle","short_pct":8,"long_pct":17`, `"bank":1,"state":"idle"`, "evidence[1].short_pct"},
		{"a mean outside its extremes", `"mean_v":0.44`, `"mean_v":0.95`, "evidence[2].mean_v"},
		{"more gas than exhaust holds", `"co2_pct":14.9,"o2_pct":0.7`, `"co2_pct":14.9,"o2_pct":20.7`, "evidence[8].co2_pct"},
		{"a repair without its number", `{"kind":"history","remark":"sealant"}`, `{"kind":"repair","cause":"intake_leak_common"}`, "evidence[13].after_repair"},
		{"a repair of what is no cause", `{"kind":"history","remark":"sealant"}`, `{"kind":"repair","cause":"the_lamp","after_repair":1}`, "evidence[13].cause"},
		{"a new sensor nowhere", `{"kind":"history","remark":"sealant"}`, `{"kind":"repair","cause":"new_sensor","after_repair":1}`, "evidence[13].bank"},
		{"a leak of the whole engine mended at a bank", `{"kind":"history","remark":"sealant"}`, `{"kind":"repair","cause":"intake_leak_common","bank":1,"after_repair":1}`, "evidence[13].bank"},
		{"a list of permanent codes", `{"kind":"history","remark":"sealant"}`, `{"kind":"code_list","status":"permanent"}`, "evidence[13].status"},
		{"a signal of the freeze frame", `"kind":"signal"`, `"frame":true,"kind":"signal"`, "evidence[2].frame"},
		{"too many repairs", `"kind":"history"`, `"after_repair":21,"kind":"history"`, "evidence[13].after_repair"},
		{"a labour rate of nothing", `"labour_per_hour": 120`, `"labour_per_hour": 0`, "costs.labour_per_hour"},
		{"a currency in small letters", `"USD"`, `"usd"`, "costs.currency"},
		{"sound JSON with a tail", `"currency": "USD" } }`, `"currency": "USD" } } {}`, ""},
		{"broken JSON", `"evidence": [`, `"evidence": `, ""},
	} {
		t.Run("refuses "+tc.name, func(t *testing.T) {
			s := strings.Replace(exampleCase, tc.old, tc.new, 1)
			if s == exampleCase {
				t.Fatal("the replacement did not take")
			}
			_, err := DecodeCase(strings.NewReader(s))
			var ps Problems
			if !errors.As(err, &ps) {
				t.Fatalf("not refused: %v", err)
			}
			if !slices.ContainsFunc(ps, func(p Problem) bool { return p.Path == tc.path }) {
				t.Errorf("no problem at %q: %v", tc.path, ps)
			}
		})
	}

	t.Run("refuses a heater reading of a sensor without a heater", func(t *testing.T) {
		s := strings.Replace(exampleCase, `{"bank":1,"position":1,"kind":"zirconia","wires":4}`, `{"bank":1,"position":1,"kind":"zirconia","wires":1}`, 1)
		_, err := DecodeCase(strings.NewReader(s))
		if err == nil || !strings.Contains(err.Error(), "no heater") {
			t.Errorf("got %v", err)
		}
	})

	t.Run("an empty reader is an empty case, not a crash", func(t *testing.T) {
		if _, err := DecodeCase(strings.NewReader("")); err == nil {
			t.Error("accepted")
		}
	})

	t.Run("a reader's own error comes through", func(t *testing.T) {
		if _, err := DecodeCase(brokenReader{}); !errors.Is(err, os.ErrClosed) {
			t.Errorf("got %v", err)
		}
	})

	t.Run("a written case reads back the same", func(t *testing.T) {
		c := decode(t, exampleCase)
		b, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		if back := decode(t, string(b)); Fingerprint(back) != Fingerprint(c) {
			t.Error("another case came back")
		}
	})
}

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, os.ErrClosed }

func TestFingerprint(t *testing.T) {
	c := decode(t, exampleCase)
	t.Run("does not depend on the order of entries or sensors", func(t *testing.T) {
		o := decode(t, exampleCase)
		slices.Reverse(o.Evidence)
		slices.Reverse(o.Vehicle.Sensors)
		if Fingerprint(o) != Fingerprint(c) {
			t.Error("it does")
		}
	})
	t.Run("depends on every entry", func(t *testing.T) {
		for i := range c.Evidence {
			o := c
			o.Evidence = slices.Delete(slices.Clone(c.Evidence), i, i+1)
			if Fingerprint(o) == Fingerprint(c) {
				t.Errorf("not on entry %d", i)
			}
		}
	})
	t.Run("does not depend on the sign of a zero", func(t *testing.T) {
		trim := func(x float64) Case {
			o := c
			o.Evidence = append(slices.Clone(c.Evidence), Entry{Kind: KindTrim, Bank: 1, State: "load", ShortPct: &x})
			return o
		}
		minus := math.Copysign(0, -1)
		if Fingerprint(trim(minus)) != Fingerprint(trim(0)) || Fingerprint(trim(minus)) == Fingerprint(trim(1)) {
			t.Error("it does")
		}
		if o := trim(minus); Fingerprint(o) == "" || !math.Signbit(*o.Evidence[len(o.Evidence)-1].ShortPct) {
			t.Error("the case given was changed")
		}
	})
	t.Run("is 64 hexadecimal digits", func(t *testing.T) {
		if f := Fingerprint(c); len(f) != 64 || strings.Trim(f, "0123456789abcdef") != "" {
			t.Errorf("got %q", f)
		}
	})
}

func FuzzDecodeCase(f *testing.F) {
	f.Add(exampleCase)
	f.Add(`{"case":1}`)
	f.Add(`{"case":1,"vehicle":null,"evidence":[{}],"costs":[]}`)
	f.Fuzz(func(t *testing.T, s string) {
		c, err := DecodeCase(strings.NewReader(s))
		if err != nil {
			return
		}
		b, err := json.Marshal(c)
		if err != nil {
			t.Fatalf("an accepted case cannot be written: %v", err)
		}
		back, err := DecodeCase(strings.NewReader(string(b)))
		if err != nil || Fingerprint(back) != Fingerprint(c) {
			t.Fatalf("an accepted case does not read back: %v\n%s", err, b)
		}
	})
}
