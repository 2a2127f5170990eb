package web

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"crosscount/diag/say"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

var (
	americanShop = store.Shop{TemperatureUnit: "f", PressureUnit: "psi", DistanceUnit: "mi"}
	metricShop   = store.Shop{TemperatureUnit: "c", PressureUnit: "kpa", DistanceUnit: "km"}
)

// The pairs are values of NIST SP 811 (2008): the table of section B.9 for psi and mile,
// and the fixed points of water and the equation of B.9 for temperature.
func TestUnitsAgreeWithNISTSP811(t *testing.T) {
	for _, c := range []struct {
		kept  float64
		unit  string
		shown float64
	}{
		{6.894757, "kPa", 1}, {101.325, "kPa", 14.69595}, {0, "°C", 32}, {100, "°C", 212}, {-40, "°C", -40}, {1.609344, "km", 1}, {160.9344, "km/h", 100},
	} {
		got, _ := measuresOf(americanShop).Shown(c.kept, c.unit)
		if math.Abs(got-c.shown) > 1e-6*max(1, math.Abs(c.shown)) {
			t.Errorf("%v %s are shown as %v, want %v", c.kept, c.unit, got, c.shown)
		}
		if got, unit := measuresOf(metricShop).Shown(c.kept, c.unit); got != c.kept || unit != c.unit {
			t.Errorf("a metric shop turns %v %s into %v %s", c.kept, c.unit, got, unit)
		}
	}
	for unit, want := range map[string]float64{"psi": 6.894757, "lb·ft": 1.355818, "mi": 1.609344, "inHg": 3.386389, "in³": 0.01638706} {
		if u := unitOf[strings.ToLower(unit)]; math.Abs(u.factor-want) > 1e-6*want {
			t.Errorf("1 %s is %v %s, want %v", unit, u.factor, u.kept, want)
		}
	}
}

// typedIn reads what somebody types into a box with a unit behind it.
func typedIn(text, unit string) (float64, *templates.Mend) {
	f := form{r: &http.Request{PostForm: url.Values{"x": {text}}, Form: url.Values{}}}
	fd := templates.Field{Name: "x", Unit: unit}
	n, _ := f.quantity(&fd)
	return n, fd.Error
}

func TestNothingIsLostBetweenTypingAndShowing(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		for _, shop := range []store.Shop{americanShop, metricShop} {
			l := &lang.Language{Units: measuresOf(shop), Decimal: []string{"", ","}[rnd.IntN(2)]}
			for _, kept := range []string{"°C", "kPa", "km", "km/h"} {
				digits := rnd.IntN(3)
				if l.Unit(kept) == "°F" {
					digits = min(digits, 1)
				}
				typed := fmt.Sprintf("%.*f", digits, rnd.Float64()*2000-200)
				n, refused := typedIn(typed, l.Unit(kept))
				if refused != nil {
					t.Fatalf("%q is refused: %v", typed, refused)
				}
				figure, unit := l.Figure(n, kept)
				want := typed
				if digits > 0 {
					want = strings.TrimRight(strings.TrimRight(want, "0"), ".")
				}
				if want == "-0" {
					want = "0"
				}
				if got := strings.Replace(figure, ",", ".", 1); got != want || unit != l.Unit(kept) {
					t.Fatalf("%q typed in %s comes back as %s %s", typed, l.Unit(kept), figure, unit)
				}
				// What is shown means the same in the other shop, to the digit shown.
				other, refused := typedIn(figure+" "+unit, kept)
				if refused != nil || math.Abs(other-n) > 1e-9*max(1, math.Abs(n)) {
					t.Fatalf("%s %s is read as %v %s, was %v; %v", figure, unit, other, kept, n, refused)
				}
			}
		}
	}
}

func TestAnyUnitMayBeTypedInAnyShop(t *testing.T) {
	for _, c := range []struct {
		typed, box string
		want       float64
	}{
		{"40", "psi", 275.7903}, {"40 psi", "kPa", 275.7903}, {"40 psi", "psi", 275.7903}, {"3 bar", "psi", 300}, {"300 kPa", "psi", 300}, {"300", "kPa", 300},
		{"200 °F", "°C", 93.33333}, {"200", "°F", 93.33333}, {"90 °C", "°F", 90}, {"90 c", "°F", 90}, {"−40", "°F", -40}, {"62 mi", "km", 99.77933}, {"62", "mi", 99.77933},
	} {
		if n, refused := typedIn(c.typed, c.box); refused != nil || math.Abs(n-c.want) > 1e-4 {
			t.Errorf("%q in a box of %s is %v, want %v; %v", c.typed, c.box, n, c.want, refused)
		}
	}
	for _, c := range [][2]string{{"40 °F", "psi"}, {"40 psi", "°F"}, {"40 V", "kPa"}, {"3 psi", ""}, {"3 cubits", "mi"}} {
		if n, refused := typedIn(c[0], c[1]); refused == nil {
			t.Errorf("%q in a box of %q is taken as %v", c[0], c[1], n)
		}
	}
}

func TestValuesFromElsewhereAreRounded(t *testing.T) {
	for _, c := range []struct {
		value       float64
		kept        string
		there, here string
	}{
		{300, "kPa", "43.5\u00a0psi", "300\u00a0kPa"}, {40 * kPaOfPsi, "kPa", "40\u00a0psi", "275.8\u00a0kPa"}, {88, "°C", "190.4\u00a0°F", "88\u00a0°C"},
		{10, "kPa", "1.45\u00a0psi", "10\u00a0kPa"}, {0.01, "kPa", "0.00145\u00a0psi", "0.01\u00a0kPa"}, {100000, "km", "62137\u00a0mi", "100000\u00a0km"},
		{-17.8, "°C", "0\u00a0°F", "-17.8\u00a0°C"}, {0.45, "V", "0.45\u00a0V", "0.45\u00a0V"}, {1.02, "", "1.02", "1.02"},
	} {
		there, here := &lang.Language{Units: measuresOf(americanShop)}, &lang.Language{Units: measuresOf(metricShop)}
		if got := measured(there, c.value, c.kept); got != c.there {
			t.Errorf("%v %s: %q, want %q", c.value, c.kept, got, c.there)
		}
		if got := measured(here, c.value, c.kept); got != c.here {
			t.Errorf("%v %s: %q, want %q", c.value, c.kept, got, c.here)
		}
	}
	l := lang.Of("es", ",")
	l.Units = measuresOf(americanShop)
	if got := l.Say(say.T("%s cannot be right", say.Quantity{Value: 300, Unit: "kPa"})); !strings.HasPrefix(got, "43,5 psi") {
		t.Errorf("the engine's quantity is said as %q", got)
	}
}
