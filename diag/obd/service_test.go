package obd

import (
	"encoding/json"
	"strings"
	"testing"

	"crosscount/diag/say"
)

func TestMonitorNames(t *testing.T) {
	// MIDs 01-10, 21-24, 31-50: python-OBD commands (facts only, commit a378bdd8);
	// the rest from memory of SAE J1979.
	for _, c := range []struct {
		mid                      byte
		name                     string
		bank, position, cylinder int
	}{
		{0x01, "oxygen sensor", 1, 1, 0}, {0x04, "oxygen sensor", 1, 4, 0}, {0x05, "oxygen sensor", 2, 1, 0}, {0x10, "oxygen sensor", 4, 4, 0},
		{0x21, "catalyst", 1, 0, 0}, {0x24, "catalyst", 4, 0, 0}, {0x32, "EGR", 2, 0, 0}, {0x35, "valve timing", 1, 0, 0},
		{0x3C, "evaporative system leak", 0, 0, 0}, {0x3D, "purge flow", 0, 0, 0},
		{0x42, "oxygen sensor heater", 1, 2, 0}, {0x45, "oxygen sensor heater", 2, 1, 0},
		{0x62, "heated catalyst", 2, 0, 0}, {0x71, "secondary air", 1, 0, 0}, {0x82, "fuel system", 2, 0, 0},
		{0xA1, "misfire", 0, 0, 0}, {0xA2, "misfire", 0, 0, 1}, {0xAD, "misfire", 0, 0, 12}, {0xE0, "", 0, 0, 0},
	} {
		if name, bank, position, cylinder := monitorOf(c.mid); name != c.name || bank != c.bank || position != c.position || cylinder != c.cylinder {
			t.Errorf("%02X: %s %d %d %d, want %+v", c.mid, name, bank, position, cylinder, c)
		}
	}
}

func TestUnitScales(t *testing.T) {
	// Full-scale values of SAE J1979 appendix E: factors seen in python-OBD
	// UnitsAndScaling (commit a378bdd8), the full-scale values from memory.
	for _, c := range []struct {
		id     byte
		raw    uint16
		want   float64
		within float64
		unit   string
	}{
		{0x05, 0xFFFF, 1.999, 5e-4, ""}, {0x07, 0xFFFF, 16383.75, 0, "rpm"}, {0x0A, 0xFFFF, 7995.27, 1e-9, "mV"},
		{0x10, 0xFFFF, 65535, 0, "ms"}, {0x11, 10, 1000, 0, "ms"}, {0x16, 0, -40, 0, "°C"}, {0x16, 0xFFFF, 6513.5, 1e-9, "°C"},
		{0x1E, 0x8000, 1, 1e-3, "lambda"}, {0x24, 0xFFFF, 65535, 0, "counts"}, {0x39, 0x8000, 0, 1e-9, "%"},
		{0x81, 0xFFFF, -1, 0, ""}, {0x8A, 0x8000, -3997.696, 1e-9, "mV"}, {0xFE, 0x8000, -8192, 0, "Pa"},
	} {
		v, unit, known := scaleUAS(c.id, c.raw)
		if !known || !near(v, c.want, c.within) || unit != c.unit {
			t.Errorf("%02X of %04X: %v %s, want %v %s", c.id, c.raw, v, unit, c.want, c.unit)
		}
	}
	if v, _, known := scaleUAS(0xF0, 0xFFFF); known || v != 65535 {
		t.Errorf("an unknown id gives %v", v)
	}
}

func TestRemarks(t *testing.T) {
	const fine = "41 05 7B\n"
	for _, c := range []struct {
		name, text string
		kind       NoteKind
		line       int
		part       string
	}{
		{"a refusal", fine + "7F 01 12", Ignored, 2, "service 01 was refused: request not supported"},
		{"a refusal it does not know", fine + "7E8 03 7F 22 99", Ignored, 2, "reason 99"},
		{"a service it does not read", fine + "48 01 02", Ignored, 2, "service 08"},
		{"a PID it does not read", fine + "41 7B 01", Ignored, 2, "PID 7B of service 01 is not read"},
		{"bytes after the last PID", fine + "7E8 07 41 0C 1A F8 7B 01 02", Ignored, 2, "3 bytes after PID 0C"},
		{"an information type it does not read", fine + "7E8 07 49 08 01 00 01 00 02", Ignored, 2, "information type 08"},
		{"two bare answers to one request", "41 01 83 07 FF 00\n41 01 00 04 00 00", Assumed, 2, "several modules"},
		{"two numbered answers in one another", "014\n0: 49 02 01 57 50 30\n0: 49 02 01 57 50 30\n1: 5A 5A 5A 39 39 5A 54", Assumed, 3, "several modules"},
		{"a numbered line without a beginning", fine + "2: 53 33 39 32 31 32 34", Damaged, 2, "beginning is missing"},
		{"three digits that announce nothing", fine + "014\n" + fine, Ignored, 2, "three digits"},
		{"a trouble code among the answers", fine + "P0171", Ignored, 2, "is a trouble code"},
		{"two kinds of time stamp", "1.5 41 05 7B\n10:00:00.0 41 05 7B", Assumed, 2, "another kind of time stamp"},
		{"a KWP length that does not match", fine + "85 F1 10 41 0C 1A", Damaged, 2, "length does not match"},
		{"an impossible single frame", fine + "7E8 00 41 0C 1A F8", Damaged, 2, "impossible length"},
		{"a CAN FD frame", fine + "(1.0) can0 7E8##104410C1AF8", Ignored, 2, "CAN FD"},
		{"service 05 of no one sensor", fine + "45 01 03 5A", Damaged, 2, "not one sensor"},
		{"different VINs", "7E8 10 14 49 02 01 31 31 31\n7E8 21 31 31 31 31 31 31 31\n7E8 22 31 31 31 31 31 31 31\n" +
			"7E9 10 14 49 02 01 31 31 31\n7E9 21 31 31 31 31 31 31 31\n7E9 22 31 31 31 31 31 31 32", Assumed, 4, "different VINs"},
	} {
		t.Run("remarks on "+c.name, func(t *testing.T) {
			if r := mustDecode(t, c.text); !hasNote(r, c.kind, c.line, c.part) {
				t.Errorf("notes %v", r.Notes)
			}
		})
	}
	t.Run("does not read the filler of a frame as a PID", func(t *testing.T) {
		for _, filler := range []string{" 55 55 55", " AA AA AA AA", " 00 00 00 00", " FF FF"} {
			r := mustDecode(t, "41 05 7B"+filler)
			if len(r.Series) != 1 || len(r.Notes) != 0 {
				t.Errorf("%s: %+v %v", filler, r.Series, r.Notes)
			}
		}
	})
	t.Run("knows that codes were cleared", func(t *testing.T) {
		if r := mustDecode(t, "7E8 01 44 00 00 00 00 00 00"); !r.Cleared || r.Messages != 1 {
			t.Errorf("%+v", r)
		}
	})
	t.Run("keeps the last of equal monitor results", func(t *testing.T) {
		r := mustDecode(t, "46 01 85 24 00 96 00 4B FF FF\n46 01 85 24 00 20 00 4B FF FF")
		if len(r.Tests) != 1 || r.Tests[0].Value != 32 {
			t.Fatalf("%+v", r.Tests)
		}
		if passed, ok := r.Tests[0].Passed(); passed || !ok {
			t.Error("32 lies below its limit of 75")
		}
	})
	t.Run("says what standard the car is built to", func(t *testing.T) {
		if r := mustDecode(t, "41 1C 06"); r.Standard != "EOBD" {
			t.Errorf("%q", r.Standard)
		}
	})
	t.Run("writes a result as JSON with codes and PIDs as text", func(t *testing.T) {
		out, err := json.Marshal(mustDecode(t, "43 01 01 71\n41 00 80 00 00 00\n42 02 00 04 20"))
		for _, want := range []string{`"codes":["P0171"]`, `"pids":["01"]`, `"code":"P0420"`} {
			if err != nil || !strings.Contains(string(out), want) {
				t.Errorf("%s is not in %s, %v", want, out, err)
			}
		}
	})
	t.Run("writes remarks and errors as sentences with the mend", func(t *testing.T) {
		n := Note{7, 2, Damaged, say.T("line cut off"), say.T("read again")}
		if n.String() != "line 7: line cut off (2 times); read again" {
			t.Error(n)
		}
		if e := (&Error{3, say.T("not text"), say.T("paste text")}).Error(); e != "line 3: not text; paste text" {
			t.Error(e)
		}
		if _, err := ParseCode("PO171"); err.Error() != `trouble code "PO171": it has the letter O where a digit belongs; type a zero` {
			t.Error(err)
		}
	})
}
