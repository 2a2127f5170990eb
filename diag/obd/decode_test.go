package obd

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
)

// mustDecode decodes a text that holds something readable.
func mustDecode(t *testing.T, text string) *Result {
	t.Helper()
	r, err := Decode(strings.NewReader(text))
	if err != nil {
		t.Fatalf("Decode: %v\n%s", err, text)
	}
	return r
}

func near(got, want, tolerance float64) bool { return math.Abs(got-want) <= tolerance }

// last is the last value of a quantity at a place; NaN without one.
func last(r *Result, q Quantity, bank, position int) float64 {
	if s, ok := r.Find(q, bank, position); ok {
		return s.Last
	}
	return math.NaN()
}

func hasNote(r *Result, kind NoteKind, line int, part string) bool {
	return slices.ContainsFunc(r.Notes, func(n Note) bool {
		return n.Kind == kind && (line == 0 || n.Line == line) && strings.Contains(n.Text.String(), part)
	})
}

// Vectors V1 to V19: elmobd device_test.go and commands_test.go (MIT, commit
// 01e7bbc1) and python-OBD test_decoders (facts only, commit a378bdd8); "computed"
// where the source gives only the input. Formulas: OBDb/SAEJ1979 (commit d528efd8).
func TestScaling(t *testing.T) {
	for _, c := range []struct {
		raw            string
		quantity       Quantity
		bank, position int
		want, within   float64
	}{
		{"41 04 00", EngineLoad, 0, 0, 0, 0},              // V6 python-OBD
		{"41 04 FF", EngineLoad, 0, 0, 100, 0},            // V6
		{"41 04 02", EngineLoad, 0, 0, 0.7843, 5e-5},      // V7 elmobd input, computed
		{"41 05 00", CoolantC, 0, 0, -40, 0},              // V8 python-OBD
		{"41 05 FF", CoolantC, 0, 0, 215, 0},              // V8
		{"41 06 00", ShortTrim, 1, 0, -100, 0},            // V9 python-OBD
		{"41 06 80", ShortTrim, 1, 0, 0, 0},               // V9
		{"41 06 FF", ShortTrim, 1, 0, 99.21875, 0},        // V9; python-OBD says 99.2 within 0.025
		{"41 07 90", LongTrim, 1, 0, 12.5, 0},             // computed
		{"41 08 90", ShortTrim, 2, 0, 12.5, 0},            // computed
		{"41 09 70", LongTrim, 2, 0, -12.5, 0},            // computed
		{"41 09 70 90", LongTrim, 4, 0, 12.5, 0},          // byte B is bank 4: OBDb
		{"41 0B C2", ManifoldKPa, 0, 0, 194, 0},           // V12 elmobd input, computed
		{"41 0C FF B2", EngineSpeed, 0, 0, 16364.5, 0},    // V11 elmobd input, computed
		{"41 0D A9", VehicleSpeed, 0, 0, 169, 0},          // V12 elmobd input, computed
		{"41 0F EB", IntakeAirC, 0, 0, 195, 0},            // V14 elmobd input, computed
		{"41 10 FF FF", Airflow, 0, 0, 655.35, 1e-9},      // range of OBDb
		{"41 14 00 00", SensorVoltage, 1, 1, 0, 0},        // V15 python-OBD
		{"41 14 FF FF", SensorVoltage, 1, 1, 1.275, 0},    // V15
		{"41 14 5A 80", SensorVoltage, 1, 1, 0.45, 0},     // computed
		{"41 14 5A 80", SensorTrim, 1, 1, 0, 0},           // computed
		{"41 34 12 34 00 00", WideCurrent, 1, 1, -128, 0}, // V17 python-OBD, AB ignored there
		{"41 34 00 00 80 00", WideCurrent, 1, 1, 0, 0},
		{"41 34 00 00 FF FF", WideCurrent, 1, 1, 127.99609375, 0}, // D4: exact; python-OBD prints 128
		{"41 24 00 00 00 00", WideVoltage, 1, 1, 0, 0},            // V18 python-OBD
		{"41 24 00 00 80 00", WideVoltage, 1, 1, 4, 0.005},        // D2: divisors differ between sources
		{"41 24 00 00 FF FF", WideVoltage, 1, 1, 8, 0.005},
		{"41 24 80 00 00 00", WideLambda, 1, 1, 1, 0},
		{"41 34 80 00 80 00", WideLambda, 1, 1, 1, 0},
		{"41 44 80 00", CommandedLambda, 0, 0, 1, 0},  // D3: 32768, not 65535
		{"41 3C 03 E8", CatalystTemp, 1, 1, 60, 1e-9}, // V19 scaling 0.1 - 40
		{"41 3D 03 E8", CatalystTemp, 2, 1, 60, 1e-9}, // place from memory of SAE J1979
		{"41 3E 03 E8", CatalystTemp, 1, 2, 60, 1e-9}, // place from memory
		{"41 3F FF FF", CatalystTemp, 2, 2, 6513.5, 1e-9},
		{"41 42 36 B0", ModuleVoltage, 0, 0, 14, 1e-9}, // from memory: 1 mV/bit
		{"41 33 65", BarometricKPa, 0, 0, 101, 0},
	} {
		r := mustDecode(t, c.raw)
		if got := last(r, c.quantity, c.bank, c.position); !near(got, c.want, c.within) {
			t.Errorf("%s: %s is %v, want %v", c.raw, c.quantity, got, c.want)
		}
	}
	t.Run("leaves the sensor's trim out where the sensor is not used in trim", func(t *testing.T) {
		if _, ok := mustDecode(t, "41 14 FF FF").Find(SensorTrim, 1, 1); ok {
			t.Error("FF was read as a trim") // V15
		}
	})
	t.Run("prints trims as the published range does", func(t *testing.T) {
		if got := fmt.Sprintf("%.1f", last(mustDecode(t, "4106FF"), ShortTrim, 1, 0)); got != "99.2" {
			t.Errorf("got %s", got)
		}
	})
}

func TestSupportedPIDs(t *testing.T) {
	// V1: elmobd device_test.go quotes the public table; D6: PID 0C belongs to it.
	r := mustDecode(t, "41 00 BE 1F A8 13")
	got := fmt.Sprint(r.Supported[0].PIDs)
	if want := "[01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 15 1C 1F 20]"; got != want {
		t.Errorf("supported %s, want %s", got, want)
	}
}

func TestReadiness(t *testing.T) {
	r := mustDecode(t, "41 01 FF 00 00 00").Readiness[0] // V2 elmobd
	if !r.Lamp || r.Codes != 127 || len(r.Monitors) != 0 {
		t.Errorf("V2: %+v", r)
	}
	r = mustDecode(t, "41 01 83 07 FF 00").Readiness[0] // V3 python-OBD
	if !r.Lamp || r.Codes != 3 || r.Compression || len(r.Monitors) != 11 || !r.Complete() {
		t.Errorf("V3: %+v", r)
	}
	r = mustDecode(t, "41 01 00 79 03 03").Readiness[0] // V4 python-OBD
	if r.Lamp || r.Codes != 0 || !r.Compression || r.Complete() || r.Monitors[0] != (Monitor{"misfire", false}) || len(r.Monitors) != 3 {
		t.Errorf("V4: %+v", r)
	}
}

func TestFuelSystem(t *testing.T) {
	for _, c := range []struct {
		raw  string
		a, b FuelStatus
	}{ // V5 python-OBD fuel_status
		{"41 03 01 00", OpenLoopCold, FuelOff},
		{"41 03 08 00", OpenLoopFault, FuelOff},
		{"41 03 08 08", OpenLoopFault, OpenLoopFault},
		{"41 03 00 00", FuelOff, FuelOff},
		{"41 03 03 00", FuelStatusNotStated, FuelOff}, // D5: two bits set say nothing
		{"41 03 02 10", ClosedLoop, ClosedLoopFault},
	} {
		r := mustDecode(t, c.raw)
		if f := r.FuelSystems[0]; f.System1 != c.a || f.System2 != c.b {
			t.Errorf("%s: %+v", c.raw, f)
		}
		if got := hasNote(r, Assumed, 1, "more than one bit"); got != (c.a == FuelStatusNotStated) {
			t.Errorf("%s: notes %v", c.raw, r.Notes)
		}
	}
}

func TestLayout(t *testing.T) {
	// D1: A0 is bank 1 sensor 1 (OBDb, COVESA); python-OBD reads from the other end
	// and is not followed.
	r := mustDecode(t, "41 13 01")
	if got := r.Layouts[0].Sensors; !reflect.DeepEqual(got, []Location{{1, 1}}) {
		t.Errorf("PID 13, 01: %v", got)
	}
	r = mustDecode(t, "41 13 33")
	if got := r.Layouts[0].Sensors; !reflect.DeepEqual(got, []Location{{1, 1}, {1, 2}, {2, 1}, {2, 2}}) {
		t.Errorf("PID 13, 33: %v", got)
	}
	r = mustDecode(t, "41 1D FF")
	if got := r.Layouts[0].Sensors; !reflect.DeepEqual(got, []Location{{1, 1}, {1, 2}, {2, 1}, {2, 2}, {3, 1}, {3, 2}, {4, 1}, {4, 2}}) {
		t.Errorf("PID 1D, FF: %v", got)
	}
	t.Run("places sensor 3 by whichever of PID 13 and 1D the car has, even when it comes later", func(t *testing.T) {
		for _, c := range []struct {
			with           string
			bank, position int
		}{{"41 13 07", 1, 3}, {"41 1D 07", 2, 1}, {"41 00 00 00 00 08", 2, 1}, {"41 00 00 00 20 00", 1, 3}} {
			r := mustDecode(t, "41 16 5A FF\n"+c.with)
			if got := last(r, SensorVoltage, c.bank, c.position); got != 0.45 {
				t.Errorf("with %s: %+v", c.with, r.Series)
			}
			if hasNote(r, Assumed, 0, "PID 13") {
				t.Errorf("with %s: %v", c.with, r.Notes)
			}
		}
	})
	t.Run("says so when it has to assume the places", func(t *testing.T) {
		if r := mustDecode(t, "41 16 5A FF"); !hasNote(r, Assumed, 1, "PID 13") {
			t.Errorf("notes %v", r.Notes)
		}
	})
}

// Codes: V20 to V23, python-OBD test_decoders. The byte written ".." there is the
// count on CAN.
func TestCodes(t *testing.T) {
	for _, c := range []struct{ data, want string }{
		{"0104", "P0104"},               // V20
		{"4123 8003", "C0123 B0003"},    // V21
		{"0000 0104 0000", "P0104"},     // V22: 0000 is padding
		{"0104 8003 41", "P0104 B0003"}, // V23: an odd byte is dropped
	} {
		var b []byte
		for i, s := 0, strings.ReplaceAll(c.data, " ", ""); i < len(s); i += 2 {
			b = append(b, byte(hexValue([]byte(s[i:i+2]))))
		}
		var got []string
		for _, code := range pairs(b) {
			got = append(got, code.String())
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: %v, want %s", c.data, got, c.want)
		}
	}
	for _, c := range []struct {
		name, text string
		status     CodeStatus
		want       string
	}{
		{"on CAN, where a count comes first", "7E8 04 43 01 01 04 00 00 00", Stored, "P0104"},
		{"on CAN without protocol byte or header", "43 02 41 23 80 03", Stored, "C0123 B0003"},
		{"on CAN with none stored", "7E8 02 43 00 00 00 00 00 00", Stored, ""},
		{"on an older bus, padded with zeros", "48 6B 10 43 01 71 01 74 00 00 ED", Stored, "P0171 P0174"},
		{"bare from an older bus", "43 01 71 01 74 00 00", Stored, "P0171 P0174"},
		{"pending", "7E8 04 47 01 04 20 00 00 00", Pending, "P0420"},
		{"permanent", "7E8 04 4A 01 04 20 00 00 00", Permanent, "P0420"},
		{"five of them in two frames", "7E8 10 0C 43 05 01 71 01 74\n7E8 21 04 20 21 95 C1 00 00", Stored, "P0171 P0174 P0420 P2195 U0100"},
		{"two answers of an older bus", "48 6B 10 43 01 71 01 74 04 20 11\n48 6B 10 43 04 30 00 00 00 00 3A", Stored, "P0171 P0174 P0420 P0430"},
	} {
		t.Run("reads codes "+c.name, func(t *testing.T) {
			r := mustDecode(t, c.text)
			if len(r.CodeLists) != 1 || r.CodeLists[0].Status != c.status {
				t.Fatalf("lists %+v, notes %v", r.CodeLists, r.Notes)
			}
			var got []string
			for _, code := range r.CodeLists[0].Codes {
				got = append(got, code.String())
			}
			if strings.Join(got, " ") != c.want || len(r.Notes) != 0 {
				t.Errorf("%v, want %s; notes %v", got, c.want, r.Notes)
			}
		})
	}
	t.Run("keeps the lists apart and lists stored codes first", func(t *testing.T) {
		r := mustDecode(t, "7E8 04 47 01 01 71\n7E8 04 43 01 01 71\n7E9 04 43 01 01 71\n7E9 04 4A 01 C1 00")
		if got := fmt.Sprint(r.Codes()); got != "[{P0171 stored 7E8} {P0171 pending 7E8} {U0100 permanent 7E9}]" {
			t.Errorf("codes %s", got)
		}
	})
	t.Run("says when the count does not match", func(t *testing.T) {
		r := mustDecode(t, "7E8 04 43 03 01 71 00 00 00")
		if !hasNote(r, Damaged, 1, "says 3 codes and holds 1") || len(r.Codes()) != 1 {
			t.Errorf("notes %v", r.Notes)
		}
		r = mustDecode(t, "7E8 06 43 00 01 71 04 20 00")
		if !hasNote(r, Assumed, 1, "says 0 codes and holds 2") || len(r.Codes()) != 2 {
			t.Errorf("notes %v", r.Notes)
		}
	})
}

func TestMonitorResults(t *testing.T) {
	// V24: python-OBD test_monitor.
	r := mustDecode(t, "46 01 01 0A 0B B0 0B B0 0B B0")
	got := r.Tests[0]
	if got.Bank != 1 || got.Position != 1 || got.TID != 1 || got.Unit != "mV" || !near(got.Value, 365.0, 0.05) || *got.Min != got.Value || *got.Max != got.Value {
		t.Errorf("V24: %+v", got)
	}
	if passed, ok := got.Passed(); !passed || !ok {
		t.Error("V24 lies on its limits and passes")
	}
	// V26.
	r = mustDecode(t, "46 01 85 24 00 96 00 4B FF FF")
	got = r.Tests[0]
	if got.Value != 150 || *got.Min != 75 || *got.Max != 65535 || got.Unit != "counts" || got.Name != "" {
		t.Errorf("V26: %+v", got)
	}
	t.Run("reads several records of one answer and keeps what is whole", func(t *testing.T) {
		r := mustDecode(t, "7E8 10 0F 46 21 80 1E 80 00\n7E8 21 00 00 80 00 41 81 14\n7E8 22 00 05 00 00 00 00 00")
		if len(r.Tests) != 1 || r.Tests[0].Monitor != "catalyst" || r.Tests[0].Bank != 1 || !near(r.Tests[0].Value, 1, 1e-3) ||
			!hasNote(r, Damaged, 1, "5 of 9 bytes") {
			t.Errorf("tests %+v", r.Tests)
		}
		r = mustDecode(t, "7E8 10 13 46 01 05 10 00 50\n7E8 21 00 00 00 64 41 81 14\n7E8 22 00 05 00 03 00 08 00")
		if len(r.Tests) != 2 || r.Tests[1].Monitor != "oxygen sensor heater" || r.Tests[1].Value != 5 || r.Tests[1].Unit != "Ω" || r.Tests[0].Unit != "ms" {
			t.Errorf("tests %+v, notes %v", r.Tests, r.Notes)
		}
	})
	t.Run("reads signed units", func(t *testing.T) {
		if got := mustDecode(t, "46 01 81 96 FF 9C 80 00 7F FF").Tests[0]; !near(got.Value, -10, 1e-9) || !near(*got.Min, -3276.8, 1e-9) {
			t.Errorf("%+v", got)
		}
	})
	t.Run("keeps plain counts for a unit it does not know", func(t *testing.T) {
		r := mustDecode(t, "46 01 81 7E 00 0A 00 00 FF FF")
		if !r.Tests[0].Raw || r.Tests[0].Value != 10 || !hasNote(r, Assumed, 1, "7E") {
			t.Errorf("%+v %v", r.Tests, r.Notes)
		}
	})
	t.Run("reads service 05 with the scaling remembered from SAE J1979", func(t *testing.T) {
		r := mustDecode(t, "41 13 33\n45 07 10 14 00 28\n45 01 01 5A")
		if len(r.Tests) != 2 {
			t.Fatalf("tests %+v", r.Tests)
		}
		got := r.Tests[0]
		if got.Service != 5 || got.Bank != 2 || got.Position != 1 || !near(got.Value, 0.1, 1e-12) || !near(*got.Max, 0.2, 1e-12) || got.Unit != "V" {
			t.Errorf("%+v", got)
		}
		if r.Tests[1].Max != nil || !near(r.Tests[1].Value, 0.45, 1e-12) {
			t.Errorf("%+v", r.Tests[1])
		}
	})
	t.Run("reads service 06 of an older bus as the maker's counts", func(t *testing.T) {
		got := mustDecode(t, "46 05 81 01 00 00 80").Tests[0]
		if !got.Raw || got.Value != 256 || got.Max != nil || *got.Min != 128 || got.Monitor != "component 1" {
			t.Errorf("%+v", got)
		}
	})
}

func TestVIN(t *testing.T) {
	// V27 payload: python-OBD test_decoders.
	const payload = "49 02 01 57 50 30 5A 5A 5A 39 39 5A 54 53 33 39 32 31 32 34"
	const vin = "WP0ZZZ99ZTS392124"
	for _, c := range []struct{ name, text string }{
		{"in one line", payload},
		{"in three frames", "7E8 10 14 49 02 01 57 50 30\n7E8 21 5A 5A 5A 39 39 5A 54\n7E8 22 53 33 39 32 31 32 34"},
		{"in numbered lines", "014\n0: 49 02 01 57 50 30\n1: 5A 5A 5A 39 39 5A 54\n2: 53 33 39 32 31 32 34"},
		{"in numbered lines without blanks or length", "0:490201575030\n1:5A5A5A39395A54\n2:53333932313234"},
		{"in numbered lines with run-together bytes", "014\n0: 490201575030\n1: 5A5A5A39395A54\n2: 53333932313234"},
		{"in frames without header", "10 14 49 02 01 57 50 30\n21 5A 5A 5A 39 39 5A 54\n22 53 33 39 32 31 32 34"},
		{"from an older bus", "87 F1 10 49 02 01 00 00 00 57 2B\n87 F1 10 49 02 02 50 30 5A 5A 09\n87 F1 10 49 02 03 5A 39 39 5A FC\n87 F1 10 49 02 04 54 53 33 39 EA\n87 F1 10 49 02 05 32 31 32 34 A1"},
		{"bare from an older bus", "49 02 01 00 00 00 57\n49 02 02 50 30 5A 5A\n49 02 03 5A 39 39 5A\n49 02 04 54 53 33 39\n49 02 05 32 31 32 34"},
	} {
		t.Run("reads the VIN "+c.name, func(t *testing.T) {
			r := mustDecode(t, c.text)
			if r.VIN != vin || len(r.Notes) != 0 {
				t.Errorf("VIN %q, notes %v", r.VIN, r.Notes)
			}
		})
	}
	t.Run("names the missing line of an older VIN", func(t *testing.T) {
		r := mustDecode(t, "49 02 01 00 00 00 57\n49 02 02 50 30 5A 5A\n49 02 04 54 53 33 39\n49 02 05 32 31 32 34")
		if r.VIN != "" || !hasNote(r, Damaged, 1, "missing: 3") {
			t.Errorf("VIN %q, notes %v", r.VIN, r.Notes)
		}
	})
	t.Run("reads names and calibrations of two modules", func(t *testing.T) {
		r := mustDecode(t, `7E8 10 13 49 04 01 41 42 43
7E9 10 13 49 04 01 58 59 5A
7E8 21 2D 31 32 33 34 00 00
7E9 21 30 30 30 00 00 00 00
7E8 22 00 00 00 00 00 00 AA
7E9 22 00 00 00 00 00 00 AA
7E8 07 49 06 01 DE AD BE EF`)
		if len(r.Identities) != 2 || r.Identities[0].Calibrations[0] != "ABC-1234" || r.Identities[1].Calibrations[0] != "XYZ000" || r.Identities[0].Checks[0] != "DEADBEEF" {
			t.Errorf("%+v %v", r.Identities, r.Notes)
		}
	})
}

func TestFreezeFrame(t *testing.T) {
	r := mustDecode(t, `42 02 00 01 71
42 03 00 02 00
42 0C 00 0B B8
42 06 00 90
42 14 00 28 FF`)
	f := r.FreezeFrames[0]
	if len(r.FreezeFrames) != 1 || f.Code.String() != "P0171" || f.FuelSystem[0] != ClosedLoop || len(f.Readings) != 3 {
		t.Fatalf("%+v", r.FreezeFrames)
	}
	for i, want := range []Reading{
		{Channel{"", 0x0C, EngineSpeed, "rpm", 0, 0}, 750},
		{Channel{"", 0x06, ShortTrim, "%", 1, 0}, 12.5},
		{Channel{"", 0x14, SensorVoltage, "V", 1, 1}, 0.2},
	} {
		if f.Readings[i] != want {
			t.Errorf("reading %d: %+v, want %+v", i, f.Readings[i], want)
		}
	}
	r = mustDecode(t, "42 02 00 00 00")
	if len(r.FreezeFrames) != 0 || !hasNote(r, Ignored, 1, "no freeze frame") {
		t.Errorf("%+v %v", r.FreezeFrames, r.Notes)
	}
}

func TestFraming(t *testing.T) {
	// One answer, 41 0C 1A F8 (1726 rpm), in every framing.
	for name, text := range map[string]string{
		"bare":                            "41 0C 1A F8",
		"without blanks":                  "410C1AF8",
		"lower case with prefix":          "0x41 0x0c 0x1a 0xf8",
		"with commas":                     "41,0C,1A,F8",
		"header of 11 bits":               "7E8 04 41 0C 1A F8 00 00 00",
		"header of 11 bits run together":  "7E804410C1AF8000000",
		"header and frame length":         "7E8 8 04 41 0C 1A F8 00 00 00",
		"header without protocol byte":    "7E8 41 0C 1A F8",
		"header with leading zeros":       "00 00 07 E8 04 41 0C 1A F8",
		"header of 29 bits":               "18 DA F1 10 04 41 0C 1A F8",
		"header of 29 bits in one word":   "18DAF110 04 41 0C 1A F8 AA AA AA",
		"header of 29 bits run together":  "18DAF11004410C1AF8",
		"protocol byte without header":    "04 41 0C 1A F8 00 00 00",
		"J1850 with CRC":                  "48 6B 10 41 0C 1A F8 B2",
		"J1850 with the other header":     "41 6B 10 41 0C 1A F8 3D",
		"ISO 9141-2 with sum":             "48 6B 10 41 0C 1A F8 22",
		"ISO 9141-2 run together":         "486B10410C1AF822",
		"older bus without checksum":      "48 6B 10 41 0C 1A F8",
		"ISO 14230":                       "84 F1 10 41 0C 1A F8 E4",
		"ISO 14230 with a length byte":    "80 F1 10 04 41 0C 1A F8 E4",
		"ISO 14230 without checksum":      "84 F1 10 41 0C 1A F8",
		"candump log":                     "(1436509052.249713) can0 7E8#04410C1AF8000000",
		"candump log with direction":      "(1436509052.249713) can0 7E8#04410C1AF8000000 R",
		"candump log, 29 bits":            "(1436509052.249713) vcan0 18DAF110#04410C1AF8000000",
		"candump":                         "  can0  7E8   [8]  04 41 0C 1A F8 00 00 00",
		"candump with text":               "  can0  7E8   [8]  04 41 0C 1A F8 00 00 00   '.A......'",
		"candump with direction and time": " (000.010341)  can0  RX - -  7E8   [8]  04 41 0C 1A F8 00 00 00",
		"epoch seconds":                   "1436509052.249713 41 0C 1A F8",
		"epoch milliseconds":              "1436509052249 41 0C 1A F8",
		"seconds":                         "12.345 41 0C 1A F8",
		"seconds in a table":              "12.345;\"41 0C 1A F8\"",
		"clock":                           "10:15:30.250 41 0C 1A F8",
		"clock in brackets":               "[10:15:30.250] 7E8 04 41 0C 1A F8",
		"date and clock":                  "2026-03-01 10:15:30.250 41 0C 1A F8",
		"date and clock in one":           "2026-03-01T10:15:30.250Z 7E8 04 41 0C 1A F8",
		"clock and arrow":                 "10:15:30.250 <- 410C1AF8",
		"prompt":                          ">41 0C 1A F8\r\r>",
		"request before it":               ">010C\r\n41 0C 1A F8\r\n\r\n>",
		"request on the same line":        "01 0C 41 0C 1A F8",
		"whole milliseconds":              "1250 41 0C 1A F8",
		"milliseconds and colon":          "1250: 41 0C 1A F8",
		"few milliseconds":                "10 410C1AF8",
		"milliseconds and header":         "7 7E8 04 41 0C 1A F8",
		"milliseconds in a table":         "250,410C1AF8",
		"word before it":                  "SEARCHING...\r410C1AF8\r",
		"word run into it":                "SEARCHING...410C1AF8",
		"label before it":                 "Rx: 41 0C 1A F8",
		"byte order mark":                 "\ufeff41 0C 1A F8",
		"carriage returns only":           "010C\r41 0C 1A F8\r\r>",
		"several PIDs in one answer":      "7E8 07 41 0C 1A F8 05 7B 00",
		"several with the long trims":     "41 06 80 90 0C 1A F8",
	} {
		t.Run("reads "+name, func(t *testing.T) {
			r := mustDecode(t, text)
			if got := last(r, EngineSpeed, 0, 0); got != 1726 {
				t.Errorf("%s: %v rpm, notes %v", text, got, r.Notes)
			}
			for _, n := range r.Notes {
				if n.Kind == Damaged {
					t.Errorf("%s: %v", text, n)
				}
			}
			whole, err := Decode(iotest.OneByteReader(strings.NewReader(text)))
			if err != nil || !reflect.DeepEqual(whole, r) {
				t.Errorf("byte by byte: %+v, %v", whole, err)
			}
		})
	}
	t.Run("keeps modules apart by header", func(t *testing.T) {
		r := mustDecode(t, `7E8 10 14 49 02 01 31 48 47
7EA 06 41 00 80 00 00 01 00
7E8 21 42 48 34 31 4A 58 4D
7E9 04 41 0C 0F A0 00 00 00
7E8 22 4E 31 30 39 31 38 36`)
		if got := fmt.Sprint(r.Modules); got != "[7E8 7E9 7EA]" || len(r.VIN) != 17 || last(r, EngineSpeed, 0, 0) != 1000 {
			t.Errorf("%s, VIN %q, %v", got, r.VIN, r.Notes)
		}
	})
	t.Run("steps over other traffic, requests and flow control on the bus", func(t *testing.T) {
		r := mustDecode(t, `(1.000000) can0 7DF#0201000000000000
(1.001000) can0 123#DEADBEEF
(1.002000) can0 7E0#3000000000000000
(1.003000) can0 7E8#06410098180001AA
(1.004000) can0 456#R
(1.005000) can0 18DB33F1#0201000000000000`)
		if r.Messages != 1 || len(r.Notes) != 1 || !hasNote(r, Ignored, 2, "2 frames of other bus traffic") {
			t.Errorf("%d messages, notes %v", r.Messages, r.Notes)
		}
	})
}

func TestTimeSeries(t *testing.T) {
	t.Run("makes a capture of a logged sensor", func(t *testing.T) {
		r := mustDecode(t, `(1436509052.000000) can0 7E8#0441145A80000000
(1436509052.100000) can0 7E8#044114A080000000
(1436509052.250000) can0 7E8#0441142880000000`)
		s, ok := r.Find(SensorVoltage, 1, 1)
		want := []Sample{{0, 0.45}, {0.1, 0.8}, {0.25, 0.2}}
		if !ok || !reflect.DeepEqual(s.Samples, want) || s.Resolution != 0.005 || s.Min != 0.2 || s.Max != 0.8 || s.Count != 3 {
			t.Errorf("%+v", s)
		}
		if r.Clock != EpochClock || !near(r.Start, 1436509052, 1e-6) {
			t.Errorf("clock %s, start %v", r.Clock, r.Start)
		}
	})
	t.Run("keeps no series without time stamps, but the values", func(t *testing.T) {
		r := mustDecode(t, "41 14 5A 80\n41 14 A0 80")
		if s, _ := r.Find(SensorVoltage, 1, 1); s.Samples != nil || s.Count != 2 || s.Last != 0.8 {
			t.Errorf("%+v", s)
		}
	})
	t.Run("gives a line without a stamp the last one", func(t *testing.T) {
		r := mustDecode(t, "10:00:00.5 >0114\n41 14 5A 80\n10:00:01.0 >0114\n41 14 A0 80")
		if s, _ := r.Find(SensorVoltage, 1, 1); !reflect.DeepEqual(s.Samples, []Sample{{0, 0.45}, {0.5, 0.8}}) {
			t.Errorf("%+v", s)
		}
	})
	t.Run("takes whole numbers as milliseconds and says so", func(t *testing.T) {
		r := mustDecode(t, "5 41 14 5A 80\n105 41 14 A0 80\n1105 41 14 28 80")
		s, _ := r.Find(SensorVoltage, 1, 1)
		if !reflect.DeepEqual(s.Samples, []Sample{{0, 0.45}, {0.1, 0.8}, {1.1, 0.2}}) || r.Clock != MillisClock || !hasNote(r, Assumed, 1, "milliseconds") {
			t.Errorf("%+v %v", s, r.Notes)
		}
	})
	t.Run("does not take a request before its answer for a time", func(t *testing.T) {
		if r := mustDecode(t, "0105 41 05 7B\n01 05 41 05 7B"); r.Clock != NoClock || r.Series[0].Count != 2 {
			t.Errorf("%+v", r)
		}
	})
	t.Run("runs on past midnight", func(t *testing.T) {
		r := mustDecode(t, "23:59:59.5 41 14 5A 80\n00:00:00.5 41 14 A0 80")
		if s, _ := r.Find(SensorVoltage, 1, 1); len(s.Samples) != 2 || s.Samples[1].T != 1 || len(r.Notes) != 1 {
			t.Errorf("%+v %v", s, r.Notes)
		}
	})
	t.Run("keeps values out of the series while the clock runs backwards", func(t *testing.T) {
		r := mustDecode(t, "1.0 41 0D 01\n2.0 41 0D 02\n1.5 41 0D 03\n2.5 41 0D 04")
		s, _ := r.Find(VehicleSpeed, 0, 0)
		if !reflect.DeepEqual(s.Samples, []Sample{{0, 1}, {1, 2}, {1.5, 4}}) || s.Count != 4 || !hasNote(r, Damaged, 3, "backwards") {
			t.Errorf("%+v %v", s, r.Notes)
		}
		r = mustDecode(t, "1.0 41 0D 01\n0.5 41 0C 0F A0")
		if s, _ := r.Find(EngineSpeed, 0, 0); len(s.Samples) != 0 || s.Last != 1000 {
			t.Errorf("%+v", s)
		}
	})
	t.Run("keeps a bounded number of samples and says so", func(t *testing.T) {
		d := newDecoder()
		d.maxSamples = 3
		r, err := d.run(strings.NewReader("1.0 41 0D 01\n2.0 41 0D 02\n3.0 41 0D 03\n4.0 41 0D 04\n5.0 41 0D 05"))
		s, _ := r.Find(VehicleSpeed, 0, 0)
		if err != nil || len(s.Samples) != 3 || s.Count != 5 || s.Last != 5 || !hasNote(r, Damaged, 4, "more than 3 samples") {
			t.Errorf("%+v %v %v", s, r.Notes, err)
		}
	})
}

func TestDamage(t *testing.T) {
	for _, c := range []struct {
		name, text string
		line       int
		part       string
		kept       func(*Result) bool
	}{
		{"a long answer whose end is missing", "7E8 10 0C 43 05 01 71 01 74\n7E8 04 41 0C 1A F8", 1, "of 7E8 cut off: 6 of 12",
			func(r *Result) bool { return len(r.Codes()) == 2 && last(r, EngineSpeed, 0, 0) == 1726 }},
		{"a long answer with a frame missing", "7E8 10 14 43 09 01 71 01 72\n7E8 22 01 75 04 20 04 30 04\n7E8 04 41 0C 1A F8", 1, "6 of 20",
			func(r *Result) bool { return len(r.Codes()) == 2 }},
		{"the text ending inside a long answer", "7E8 10 14 49 02 01 57 50 30\n7E8 21 5A 5A 5A 39 39 5A 54", 1, "13 of 20",
			func(r *Result) bool { return r.VIN == "" && hasNote(r, Damaged, 1, `cut off after "WP0ZZZ99ZT"`) }},
		{"a numbered answer with a line missing", "00E\n0: 43 06 01 71 01 72\n2: 04 30 00 00 00 00 00\n>", 1, "6 of 14",
			func(r *Result) bool { return len(r.Codes()) == 2 }},
		{"the beginning of a long answer missing", "41 0C 1A F8\n7E8 22 53 33 39 32 31 32 34", 2, "beginning is missing",
			func(r *Result) bool { return last(r, EngineSpeed, 0, 0) == 1726 }},
		{"a line cut in the middle of a byte", "41 0C 1A F8\n41 05 7", 2, "odd number of digits",
			func(r *Result) bool { return r.Messages == 1 }},
		{"a run-together line cut in the middle of a byte", "41 0C 1A F8\n41057", 2, "odd number of digits",
			func(r *Result) bool { return r.Messages == 1 }},
		{"a PID without all its bytes", "41 05 7B\n41 0C 1A", 2, "PID 0C of service 01 cut off: it has 1 of 2 bytes",
			func(r *Result) bool { return last(r, CoolantC, 0, 0) == 83 }},
		{"a wrong checksum", "48 6B 10 43 01 71 01 74 00 00 ED\n48 6B 10 47 01 72 00 00 00 00 AE", 2, "checksum does not match",
			func(r *Result) bool { return len(r.Codes()) == 2 }},
		{"an error word", "41 05 7B\nBUFFER FULL", 2, "an answer was lost",
			func(r *Result) bool { return last(r, CoolantC, 0, 0) == 83 }},
		{"a candump line cut off", "41 05 7B\n(1.0) can0 7E8#06410", 2, "cut off",
			func(r *Result) bool { return last(r, CoolantC, 0, 0) == 83 }},
		{"control characters", "41 05 7B\n\x01\x02PNG", 2, "not text",
			func(r *Result) bool { return last(r, CoolantC, 0, 0) == 83 }},
		{"a line that never ends", "41 05 7B\n" + strings.Repeat("41 ", 60000) + "\n41 0C 1A F8", 2, "longer than 64 KiB",
			func(r *Result) bool {
				return last(r, CoolantC, 0, 0) == 83 && last(r, EngineSpeed, 0, 0) == 1726 && r.Lines == 3
			}},
		{"a record of service 06 cut off", "46 01 01 0A 0B B0 0B B0 0B B0 01 02", 1, "2 of 9 bytes",
			func(r *Result) bool { return len(r.Tests) == 1 }},
	} {
		t.Run("names the line and the mend of "+c.name, func(t *testing.T) {
			r := mustDecode(t, c.text)
			i := slices.IndexFunc(r.Notes, func(n Note) bool {
				return n.Kind == Damaged && n.Line == c.line && strings.Contains(n.Text.String(), c.part)
			})
			if i < 0 || r.Notes[i].Mend.IsZero() {
				t.Errorf("no such note: %v", r.Notes)
			}
			if !c.kept(r) {
				t.Errorf("what was readable is not kept: %+v", r)
			}
		})
	}
	for name, text := range map[string]string{
		"an empty text":      "",
		"words":              "the engine light is on",
		"a picture":          "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x01",
		"a text in UTF-16":   "\xff\xfe4\x001\x00 \x000\x005\x00",
		"requests only":      "0100\n0101\n03\n",
		"one refusal":        "7F 01 12",
		"a list of codes":    "P0171\nP0174",
		"a table of numbers": "time,volts\n0.1,0.45\n0.2,0.5\n",
	} {
		t.Run("refuses "+name+" with a mend", func(t *testing.T) {
			r, err := Decode(strings.NewReader(text))
			e, ok := errors.AsType[*Error](err)
			if !ok || e.Mend.IsZero() || r == nil {
				t.Errorf("%v", err)
			}
		})
	}
	t.Run("keeps what was read when the reader fails", func(t *testing.T) {
		broken := errors.New("line dropped")
		r, err := Decode(iotest.TimeoutReader(iotest.OneByteReader(strings.NewReader("41 05 7B\n"))))
		if !errors.Is(err, iotest.ErrTimeout) || r == nil {
			t.Errorf("%v", err)
		}
		_, err = Decode(iotest.ErrReader(broken))
		if !errors.Is(err, broken) {
			t.Errorf("%v", err)
		}
	})
	t.Run("counts equal remarks and keeps a bounded number of others", func(t *testing.T) {
		var b strings.Builder
		b.WriteString("41 05 7B\n")
		for i := range 1000 {
			fmt.Fprintf(&b, "NO DATA\nword%d\n", i)
		}
		r := mustDecode(t, b.String())
		if len(r.Notes) != maxNotes+1 || r.Notes[0].Count != 1000 || r.Notes[0].Line != 2 {
			t.Errorf("%d notes, first %v", len(r.Notes), r.Notes[0])
		}
	})
}

func TestAResultComesBackFromJSON(t *testing.T) {
	r := mustDecode(t, "7E8 03 41 13 33\n7E8 04 43 01 01 71\n7E8 04 41 14 5A 80\n7E8 05 42 02 00 01 71\n7E8 05 42 0C 00 1A F8")
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var back Result
	if err := json.Unmarshal(b, &back); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(&back, r) {
		t.Errorf("got %+v, want %+v", back, r)
	}
	if err := json.Unmarshal([]byte(`{"layouts":[{"pid":"113"}]}`), &back); err == nil {
		t.Error("three digits are no PID")
	}
}
