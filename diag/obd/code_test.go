package obd

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"unicode"
)

func TestParseCode(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"P0171", "P0171"}, {"p0171", "P0171"}, {" P 01 71\n", "P0171"}, {"P-0171", "P0171"},
		{"P0–171", "P0171"}, {"p2a00", "P2A00"}, {"u0100", "U0100"}, {"C0123", "C0123"},
		{"B0003", "B0003"}, {"P0.1.7.1", "P0171"}, {"\u00a0P0420\u00a0", "P0420"}, {"B0000", "B0000"},
	} {
		t.Run("reads "+c.in, func(t *testing.T) {
			got, err := ParseCode(c.in)
			if err != nil || got.String() != c.want {
				t.Errorf("ParseCode(%q) = %v, %v; want %s", c.in, got, err, c.want)
			}
		})
	}
	for _, c := range []struct {
		in   string
		at   int
		mend string
	}{
		{"", 0, "such as P0171"},
		{"  - ", 0, "such as P0171"},
		{"0171", 1, "begin with P"},
		{"X0171", 1, "begin with P (powertrain)"},
		{"P017", 0, "one letter and four digits"},
		{"P01711", 6, "one code at a time"},
		{"P0171 P0174", 7, "one code at a time"},
		{"PO171", 2, "type a zero"},
		{"P0I71", 3, "type a one"},
		{"P4171", 2, "0, 1, 2 or 3"},
		{"P017G", 5, "0 to 9"},
		{"P0000", 0, "leave it out"},
		{"P01\xff1", 0, "five characters"},
		{" PO171", 3, "type a zero"},
	} {
		t.Run(fmt.Sprintf("refuses %q and says how to mend it", c.in), func(t *testing.T) {
			code, err := ParseCode(c.in)
			e, ok := errors.AsType[*CodeError](err)
			if !ok {
				t.Fatalf("ParseCode(%q) = %v, %v; want a *CodeError", c.in, code, err)
			}
			if e.At != c.at || !strings.Contains(e.Mend.String(), c.mend) {
				t.Errorf("at %d, mend %q; want at %d, mend with %q", e.At, e.Mend, c.at, c.mend)
			}
		})
	}
}

// Bytes and texts: checks computed from the layout "top 2 bits 00 P, 01 C, 10 B,
// 11 U" (as in python-OBD parse_dtc, commit a378bdd8).
func TestCodeFromBytes(t *testing.T) {
	for _, c := range []struct {
		hi, lo byte
		want   string
	}{
		{0x01, 0x30, "P0130"}, {0x01, 0x71, "P0171"}, {0x04, 0x20, "P0420"}, {0x21, 0x95, "P2195"},
		{0x2A, 0x00, "P2A00"}, {0x22, 0x70, "P2270"}, {0xC1, 0x00, "U0100"}, {0x00, 0x30, "P0030"},
		{0x01, 0x04, "P0104"}, {0x41, 0x23, "C0123"}, {0x80, 0x03, "B0003"},
	} {
		if got := CodeFromBytes(c.hi, c.lo).String(); got != c.want {
			t.Errorf("%02X %02X = %s, want %s", c.hi, c.lo, got, c.want)
		}
	}
}

func TestEveryCodeRoundTrips(t *testing.T) {
	for n := 1; n <= 0xFFFF; n++ {
		c := Code(n)
		got, err := ParseCode(strings.ToLower(c.String()))
		if err != nil || got != c || CodeFromBytes(c.Bytes()) != c {
			t.Fatalf("%04X: text %s came back as %v, %v", n, c, got, err)
		}
	}
	out, err := json.Marshal(map[string]Code{"code": 0x0171})
	if err != nil || string(out) != `{"code":"P0171"}` {
		t.Errorf("JSON is %s, %v", out, err)
	}
	var back map[string]Code
	if err := json.Unmarshal(out, &back); err != nil || back["code"] != 0x0171 {
		t.Errorf("JSON came back as %v, %v", back, err)
	}
	if err := json.Unmarshal([]byte(`{"code":"Q0171"}`), &back); err == nil {
		t.Error("JSON with a bad code was accepted")
	}
}

func TestStructure(t *testing.T) {
	for _, c := range []struct {
		code   string
		system System
		origin Origin
		group  string
	}{
		{"P0171", Powertrain, Generic, "fuel, air and emission control"},
		{"P1171", Powertrain, Maker, ""},
		{"P2A00", Powertrain, Generic, "fuel, air and emission control"},
		{"P0301", Powertrain, Generic, "ignition and misfire"},
		{"P3000", Powertrain, Maker, ""},
		{"P33FF", Powertrain, Maker, ""},
		{"P3400", Powertrain, Generic, "cylinder deactivation"},
		{"P0A80", Powertrain, Generic, "hybrid drive"},
		{"U0100", Network, Generic, ""},
		{"C1234", Chassis, Maker, ""},
		{"B3001", Body, Reserved, ""},
	} {
		code, err := ParseCode(c.code)
		if err != nil {
			t.Fatal(err)
		}
		if code.System() != c.system || code.Origin() != c.origin || code.Group() != c.group {
			t.Errorf("%s: %s, %s, %q; want %s, %s, %q", code, code.System(), code.Origin(), code.Group(), c.system, c.origin, c.group)
		}
		if code.Describe().IsZero() {
			t.Errorf("%s: no description", code)
		}
	}
}

// sensorTable restates location and kind of the oxygen-sensor codes: open code
// list OBDIICodes (MIT, commit a146d475), kinds cross-checked with python-OBD
// codes.py (commit a378bdd8); rows marked * are from memory of SAE J2012.
const sensorTable = `
P0030 P0031 P0032         11 sensor_heater - low high
P0036 P0037 P0038         12 sensor_heater - low high
P0042 P0043 P0044         13 sensor_heater - low high
P0050 P0051 P0052         21 sensor_heater - low high
P0056 P0057 P0058         22 sensor_heater - low high
P0062 P0063 P0064         23 sensor_heater - low high
P0053                     11 sensor_heater_ohm -
P0054                     12 sensor_heater_ohm -
P0055                     13 sensor_heater_ohm -
P0059                     21 sensor_heater_ohm -
P0060                     22 sensor_heater_ohm -
P0061                     23 sensor_heater_ohm -
P0040                     01 sensor_swapped -
P0041                     02 sensor_swapped -
P2278                     03 sensor_swapped -
P0130                     11 sensor_circuit -
P0131 P0132               11 sensor_volts low high
P0133                     11 sensor_slow -
P0134                     11 sensor_no_activity -
P0135                     11 sensor_heater -
P0136                     12 sensor_circuit -
P0137 P0138               12 sensor_volts low high
P0139                     12 sensor_slow -
P0140                     12 sensor_no_activity -
P0141                     12 sensor_heater -
P0142                     13 sensor_circuit -
P0143 P0144               13 sensor_volts low high
P0145                     13 sensor_slow -
P0146                     13 sensor_no_activity -
P0147                     13 sensor_heater -
P0150                     21 sensor_circuit -
P0151 P0152               21 sensor_volts low high
P0153                     21 sensor_slow -
P0154                     21 sensor_no_activity -
P0155                     21 sensor_heater -
P0156                     22 sensor_circuit -
P0157 P0158               22 sensor_volts low high
P0159                     22 sensor_slow -
P0160                     22 sensor_no_activity -
P0161                     22 sensor_heater -
P0162                     23 sensor_circuit -
P0163 P0164               23 sensor_volts low high
P0165                     23 sensor_slow -
P0166                     23 sensor_no_activity -
P0167                     23 sensor_heater -
P013A P013B               12 sensor_slow rich_to_lean lean_to_rich
P013C P013D               22 sensor_slow rich_to_lean lean_to_rich
P013E P013F               12 sensor_delayed rich_to_lean lean_to_rich
P014A P014B               22 sensor_delayed rich_to_lean lean_to_rich
P014C P014D               11 sensor_slow rich_to_lean lean_to_rich
P014E *P014F              21 sensor_slow rich_to_lean lean_to_rich
P015A P015B               11 sensor_delayed rich_to_lean lean_to_rich
P015C P015D               21 sensor_delayed rich_to_lean lean_to_rich
P0171 P0172               10 mixture lean rich
P0174 P0175               20 mixture lean rich
P0420                     10 catalyst -
P0430                     20 catalyst -
P2195 P2196               11 sensor_stuck lean rich
P2197 P2198               21 sensor_stuck lean rich
*P2270 P2271              12 sensor_stuck lean rich
*P2272 P2273              22 sensor_stuck lean rich
P2274 *P2275              13 sensor_stuck lean rich
*P2276 *P2277             23 sensor_stuck lean rich
P2231                     11 sensor_to_heater -
*P2232                    12 sensor_to_heater -
*P2233                    13 sensor_to_heater -
P2234                     21 sensor_to_heater -
P2235                     22 sensor_to_heater -
*P2236                    23 sensor_to_heater -
P2237 P2238 P2239         11 sensor_pump_positive open low high
P2240 P2241 P2242         21 sensor_pump_positive open low high
P2243 P2244 P2245 P2246   11 sensor_reference open out_of_range low high
P2247 P2248 P2249 P2250   21 sensor_reference open out_of_range low high
P2251 P2252 P2253         11 sensor_pump_negative open low high
P2254 P2255 P2256         21 sensor_pump_negative open low high
P2626 P2627 P2628         11 sensor_pump_trim open low high
*P2629 P2630 P2631        21 sensor_pump_trim open low high
*P2297                    11 sensor_deceleration -
*P2298                    21 sensor_deceleration -
*P2414                    11 sensor_exhaust_sample -
*P2415                    21 sensor_exhaust_sample -
*P2A00                    11 sensor_range -
*P2A01                    12 sensor_range -
P2A02                     13 sensor_range -
P2A03                     21 sensor_range -
P2A04                     22 sensor_range -
P2A05                     23 sensor_range -
`

func TestSensorCodes(t *testing.T) {
	seen := map[Code]bool{}
	for line := range strings.Lines(sensorTable) {
		var codes, rest []string
		for _, f := range strings.Fields(line) {
			if len(rest) == 0 && strings.ContainsRune("P*", rune(f[0])) {
				codes = append(codes, f)
			} else {
				rest = append(rest, f)
			}
		}
		for i, text := range codes {
			code, err := ParseCode(strings.TrimPrefix(text, "*"))
			if err != nil {
				t.Fatal(err)
			}
			seen[code] = true
			m, ok := code.Meaning()
			if !ok {
				t.Errorf("%s is not known", code)
				continue
			}
			sense := Sense(strings.TrimPrefix(rest[2+i], "-"))
			if place := fmt.Sprint(m.Bank, m.Position); place != string(rest[0][0])+" "+string(rest[0][1]) || string(m.Subject) != rest[1] || m.Sense != sense {
				t.Errorf("%s: %s %s %q, want %s %s %q", code, place, m.Subject, m.Sense, rest[0], rest[1], sense)
			}
			wantBasis := FromList
			if text[0] == '*' {
				wantBasis = FromMemory
			}
			if m.Basis != wantBasis {
				t.Errorf("%s: basis %q, want %q", code, m.Basis, wantBasis)
			}
			if m.NamesSensor != (m.Position > 0) || !m.SensorRelated || m.LookAlike {
				t.Errorf("%s: names a sensor %v, related %v, look-alike %v", code, m.NamesSensor, m.SensorRelated, m.LookAlike)
			}
		}
	}
	for _, code := range Known() {
		if m, _ := code.Meaning(); m.NamesSensor && m.Subject != SensorProcessor && !seen[code] {
			t.Errorf("%s names a sensor but is not in the published table", code)
		}
	}
}

func TestLookAlikes(t *testing.T) {
	// The codes between sensor codes that are about something else: OBDIICodes
	// (commit a146d475); P0045-P0049 python-OBD too.
	for text := range strings.FieldsSeq("P0033 P0034 P0035 P0039 P0045 P0046 P0047 P0048 P0049 P0148 P0149 P0168 P2200 P2213") {
		code, _ := ParseCode(text)
		m, ok := code.Meaning()
		if !ok || !m.LookAlike || m.NamesSensor || m.SensorRelated || m.Bank != 0 || m.Position != 0 {
			t.Errorf("%s must be known and must not be a sensor code: %+v", code, m)
		}
		if !strings.HasPrefix(m.Testifies.String(), "Not an oxygen-sensor code") {
			t.Errorf("%s does not say that it is no sensor code: %q", code, m.Testifies)
		}
	}
	for n := Code(0x0030); n <= 0x0064; n++ {
		if m, ok := n.Meaning(); ok && !m.NamesSensor && !m.LookAlike {
			t.Errorf("%s sits among the heater codes and is neither a sensor code nor marked", n)
		}
	}
}

func TestMeaningTable(t *testing.T) {
	codes, duplicates := buildTable()
	if len(duplicates) > 0 {
		t.Errorf("entered twice: %v", duplicates)
	}
	if len(Known()) != len(codes) {
		t.Errorf("Known lists %d of %d codes", len(Known()), len(codes))
	}
	titles := map[string]Code{}
	for code, m := range codes {
		switch {
		case m.Code != code:
			t.Errorf("%s carries the code %s", code, m.Code)
		case m.Title.IsZero() || m.Testifies.IsZero() || m.Basis == "" || m.Subject == "":
			t.Errorf("%s is incomplete: %+v", code, m)
		case code.Origin() != Generic:
			t.Errorf("%s is not a generic code and cannot have a meaning of its own", code)
		case m.Bank < 0 || m.Bank > 2 || m.Position < 0 || m.Position > 3 || m.Cylinder < 0 || m.Cylinder > 12:
			t.Errorf("%s has an impossible place: %+v", code, m)
		case m.LookAlike && m.SensorRelated:
			t.Errorf("%s is a look-alike and sensor-related", code)
		case m.NamesSensor && !m.SensorRelated:
			t.Errorf("%s names a sensor but is not related", code)
		case strings.Contains(m.Title.String(), "  ") || strings.TrimFunc(m.Title.String(), unicode.IsSpace) != m.Title.String():
			t.Errorf("%s: title %q", code, m.Title)
		}
		if m.NamesSensor && m.Subject != SensorHeater && m.Subject != SensorSlow {
			if other, taken := titles[m.Title.String()]; taken {
				t.Errorf("%s and %s share the title %q", code, other, m.Title)
			}
			titles[m.Title.String()] = code
		}
	}
	for _, c := range []struct {
		code     string
		subject  Subject
		bank     int
		cylinder int
		sense    Sense
		when     string
	}{
		{"P0304", Misfire, 0, 4, "", ""},
		{"P0300", Misfire, 0, 0, "", ""},
		{"P0101", AirflowMeter, 0, 0, OutOfRange, ""},
		{"P0087", FuelPressure, 0, 0, Low, ""},
		{"P0128", Thermostat, 0, 0, "", ""},
		{"P2187", Mixture, 1, 0, Lean, "idle"},
		{"P2180", Mixture, 2, 0, Rich, "off_idle"},
		{"P2098", PostCatalyst, 2, 0, Lean, ""},
		{"P0173", Mixture, 2, 0, "", ""},
		{"P0022", CamTiming, 2, 0, Retarded, ""},
		{"P0496", EvapPurge, 0, 0, High, ""},
		{"P0402", EGR, 0, 0, High, ""},
		{"P0202", Injector, 0, 2, "", ""},
	} {
		code, _ := ParseCode(c.code)
		m, ok := code.Meaning()
		if !ok || m.Subject != c.subject || m.Bank != c.bank || m.Cylinder != c.cylinder || m.Sense != c.sense || m.When != c.when {
			t.Errorf("%s: %+v, want %+v", c.code, m, c)
		}
	}
	if _, ok := Code(0x1234).Meaning(); ok {
		t.Error("a maker's code has no meaning of ours")
	}
}

func FuzzParseCode(f *testing.F) {
	for _, s := range []string{"P0171", "p 2a00", "U-0100", "PO171", "P0171 P0174", "", "\xff", "P017É"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		code, err := ParseCode(s)
		if err != nil {
			if e, ok := errors.AsType[*CodeError](err); !ok || e.Mend.IsZero() || code != 0 {
				t.Fatalf("%q: %v, %v", s, code, err)
			}
			return
		}
		// Oracle: the letters and digits of an accepted text are the code.
		var kept strings.Builder
		for _, r := range s {
			if r < 128 && (unicode.IsLetter(r) || unicode.IsDigit(r)) {
				kept.WriteRune(unicode.ToUpper(r))
			}
		}
		if kept.String() != code.String() {
			t.Fatalf("%q was read as %s", s, code)
		}
		code.Describe()
	})
}
