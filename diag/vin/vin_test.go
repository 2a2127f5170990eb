package vin

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
)

func mustParse(t *testing.T, s string) (VIN, []Warning) {
	t.Helper()
	v, w, err := Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return v, w
}

func TestCheckDigit(t *testing.T) {
	for _, c := range []struct {
		vin   string
		sum   int
		digit byte
		valid bool
	}{
		{"1G4AH59H45G118341", 411, '4', true},  // sample of 49 CFR 565.15
		{"11111111111111111", 89, '1', true},   // public test code, and computed
		{"1M8GDM9AXKP042788", 351, 'X', true},  // the same
		{"1G4AH59HX5G118344", 417, 'X', true},  // made up, computed
		{"1G4AH59H45G118331", 408, '1', false}, // position 9 says 4
	} {
		v, w := mustParse(t, c.vin)
		if v.weightedSum() != c.sum || v.CheckDigit() != c.digit || (len(w) == 0) != c.valid {
			t.Errorf("%s: sum %d, digit %c, warnings %v; want %d, %c, valid %v", c.vin, v.weightedSum(), v.CheckDigit(), w, c.sum, c.digit, c.valid)
		}
	}
	t.Run("adds the CFR sample up term by term", func(t *testing.T) {
		// 49 CFR 565.15, sample: 8+49+24+5+32+15+18+80+0+45+56+7+6+40+12+12+2.
		want := [Length]int{8, 49, 24, 5, 32, 15, 18, 80, 0, 45, 56, 7, 6, 40, 12, 12, 2}
		for i, c := range []byte("1G4AH59H45G118341") {
			if got := weights[i] * value(c); got != want[i] {
				t.Errorf("position %d: %d, want %d", i+1, got, want[i])
			}
		}
	})
	t.Run("has the letters of Table III", func(t *testing.T) {
		// 49 CFR 565.15(c) Table III.
		for pair := range strings.FieldsSeq("A1 B2 C3 D4 E5 F6 G7 H8 J1 K2 L3 M4 N5 P7 R9 S2 T3 U4 V5 W6 X7 Y8 Z9") {
			if got := value(pair[0]); got != int(pair[1]-'0') {
				t.Errorf("%c stands for %d, want %c", pair[0], got, pair[1])
			}
		}
		for _, c := range []byte("IOQ-a") {
			if value(c) >= 0 {
				t.Errorf("%c has a value", c)
			}
		}
	})
}

func TestWarnings(t *testing.T) {
	t.Run("is grave about a wrong check digit in North America", func(t *testing.T) {
		_, w := mustParse(t, "1G4AH59H45G118331")
		if len(w) != 1 || !w[0].Grave || w[0].Position != 9 || !strings.Contains(w[0].Text.String(), "is 4 and should be 1") {
			t.Errorf("%v", w)
		}
	})
	t.Run("is mild about it elsewhere", func(t *testing.T) {
		// A European VIN seen in python-OBD's test data; position 9 computes to 8.
		v, w := mustParse(t, "WP0ZZZ99ZTS392124")
		if len(w) != 1 || w[0].Grave || w[0].Position != 9 || v.CheckDigit() != '8' || v.Region() != Europe {
			t.Errorf("%v %c %s", w, v.CheckDigit(), v.Region())
		}
	})
	t.Run("is grave about a North American year that does not exist", func(t *testing.T) {
		v := VIN("1G4AH59H0UG118341")
		v = v[:8] + VIN(v.CheckDigit()) + v[9:]
		_, w := mustParse(t, string(v))
		if len(w) != 1 || !w[0].Grave || w[0].Position != 10 || v.ModelYears() != nil {
			t.Errorf("%v", w)
		}
	})
	t.Run("doubts a first character that no region has", func(t *testing.T) {
		v := VIN("0G4AH59H05G118341")
		v = v[:8] + VIN(v.CheckDigit()) + v[9:]
		if _, w := mustParse(t, string(v)); len(w) != 1 || w[0].Position != 1 {
			t.Errorf("%v", w)
		}
	})
}

func TestParse(t *testing.T) {
	for _, s := range []string{"1g4ah59h45g118341", " 1G4 AH59H 45 G118341\n", "1G4AH59H4-5G-118341", "*1G4AH59H45G118341*", "\ufeff1G4AH59H45G118341"} {
		if v, w := mustParse(t, s); v != "1G4AH59H45G118341" || len(w) != 0 {
			t.Errorf("%q: %s %v", s, v, w)
		}
	}
	for _, c := range []struct {
		in   string
		at   int
		mend string
	}{
		{"", 0, "17 letters"},
		{"1G4AH59H45G11834", 0, "count them again"},
		{"1G4AH59H45G1183411", 0, "count them again"},
		{"IG4AH59H45G118341", 1, "digit 1"},
		{"1G4AH59H45GO18341", 12, "digit 0"},
		{"1G4AH59H45Q118341", 11, "digit 0"},
		{"1G4 AH5-9H4_5G118341", 10, "A to Z"},
		{"1G4АH59H45G118341", 4, "Latin keyboard"}, // a Cyrillic А
		{"1G4AH59H45G11834\xff", 0, "17 letters"},
		{"1G4AH59H45G118341é", 18, "Latin keyboard"},
	} {
		t.Run(fmt.Sprintf("refuses %q and says how to mend it", c.in), func(t *testing.T) {
			v, _, err := Parse(c.in)
			e, ok := errors.AsType[*Error](err)
			if !ok || e.Position != c.at || !strings.Contains(e.Mend.String(), c.mend) || v != "" {
				t.Errorf("%q %v", v, err)
			}
		})
	}
}

func TestModelYears(t *testing.T) {
	for _, c := range []struct {
		vin  string
		want []int
	}{
		{"1G4AH59H45G118341", []int{2005}},       // digit in position 7
		{"1M8GDM9AXKP042788", []int{1989}},       // the same
		{"1G4AH5BH45G118341", []int{2035}},       // letter in position 7
		{"1G4AH5BH4AG118341", []int{2010}},       // first year of the present rule
		{"WP0ZZZ99ZTS392124", []int{1996, 2026}}, // no such rule outside North America
	} {
		if got := VIN(c.vin).ModelYears(); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: %v, want %v", c.vin, got, c.want)
		}
	}
	// The letters of open VIN libraries; never I O Q U Z 0.
	for year, c := range map[int]byte{1980: 'A', 1987: 'H', 1988: 'J', 1992: 'N', 1993: 'P', 1994: 'R', 1996: 'T', 1997: 'V', 2000: 'Y', 2001: '1', 2009: '9'} {
		v := VIN("1G4AH59H4" + string(c) + "G118341")
		if got := v.ModelYears(); !reflect.DeepEqual(got, []int{year}) {
			t.Errorf("%c: %v, want %d", c, got, year)
		}
		v = VIN("1G4AH5NH4" + string(c) + "G118341")
		if got := v.ModelYears(); !reflect.DeepEqual(got, []int{year + 30}) {
			t.Errorf("%c: %v, want %d", c, got, year+30)
		}
	}
	for _, c := range "IOQUZ0" {
		if yearIndex(byte(c)) >= 0 {
			t.Errorf("%c stands for a year", c)
		}
	}
	if len(yearCodes) != 30 {
		t.Errorf("%d year codes", len(yearCodes))
	}
}

func TestRegion(t *testing.T) {
	// ISO 3780, from memory.
	for chars, want := range map[string]Region{
		"ABCDEFGH": Africa, "JKLMNPR": Asia, "STUVWXYZ": Europe, "12345": NorthAmerica, "67": Oceania, "89": SouthAmerica, "0": Unassigned,
	} {
		for _, c := range chars {
			v := VIN(string(c) + "G4AH59H45G118341")
			if v.Region() != want || v.Maker() != string(c)+"G4" {
				t.Errorf("%c: %s, %s", c, v.Region(), v.Maker())
			}
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"1G4AH59H45G118341", "WP0ZZZ99ZTS392124", "*1m8gdm9axkp042788*", "1G4AH59H45G11834O", "", "\xff", "1G4АH59H45G118341", "00000000000000000"} {
		f.Add(s)
	}
	// Oracle: the transliteration table written out, by position in this string
	// modulo ten.
	const digits = "0123456789.ABCDEFGH..JKLMN.P.R..STUVWXYZ"
	f.Fuzz(func(t *testing.T, s string) {
		v, warnings, err := Parse(s)
		if err != nil {
			if e, ok := errors.AsType[*Error](err); !ok || e.Mend.IsZero() || v != "" || warnings != nil {
				t.Fatalf("%q: %q, %v, %v", s, v, warnings, err)
			}
			return
		}
		if len(v) != Length || strings.ContainsAny(string(v), "IOQ") {
			t.Fatalf("%q was accepted as %q", s, v)
		}
		if again, w, err := Parse(string(v)); err != nil || again != v || !reflect.DeepEqual(w, warnings) {
			t.Fatalf("%q came back as %q, %v, %v", v, again, w, err)
		}
		sum := 0
		for i := range Length {
			weight := 9 - i%10 - 1 // 8 7 6 5 4 3 2
			switch {
			case i == 7:
				weight = 10
			case i == 8:
				weight = 0
			case i >= 9:
				weight = 18 - i // 9 8 7 … 2
			}
			sum += weight * (strings.IndexByte(digits, v[i]) % 10)
		}
		if want := "0123456789X"[sum%11]; v.CheckDigit() != want {
			t.Fatalf("%s: check digit %c, oracle %c", v, v.CheckDigit(), want)
		}
		fixed := v[:8] + VIN(v.CheckDigit()) + v[9:]
		if _, w, err := Parse(string(fixed)); err != nil || len(w) > 0 && w[0].Position == 9 {
			t.Fatalf("%s with its check digit: %v, %v", fixed, w, err)
		}
		for _, y := range v.ModelYears() {
			if y < 1980 || y > 2039 || yearCodes[(y-1980)%30] != v[9] {
				t.Fatalf("%s: year %d", v, y)
			}
		}
	})
}
