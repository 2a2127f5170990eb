package web

import (
	"math"
	"strconv"
	"strings"
	"unicode"

	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// Units that are defined by others, exactly (NIST SP 811, 2008, appendix B: the
// international yard and pound, standard gravity, the inch of 25.4 mm).
const (
	poundForce = 0.45359237 * 9.80665                  // N
	kPaOfPsi   = poundForce / (0.0254 * 0.0254) / 1000 // 6.894757 in B.8
	kPaOfInHg  = 3.386389                              // conventional inch of mercury, B.8
	nmOfLbFt   = poundForce * 0.3048                   // 1.355818 in B.8
	kmOfMile   = 1.609344                              // exact
	litreOfIn3 = 0.0254 * 0.0254 * 0.0254 * 1000       // 0.01638706 in B.8
)

// unitOf gives, for each unit a person may type, what it measures in which unit the
// records keep, and how to get there: kept = typed*factor + shift.
var unitOf = map[string]struct {
	kept          string
	factor, shift float64
}{
	"v": {"V", 1, 0}, "volt": {"V", 1, 0}, "volts": {"V", 1, 0}, "mv": {"V", 1e-3, 0},
	"ms": {"ms", 1, 0}, "s": {"ms", 1000, 0}, "sec": {"ms", 1000, 0},
	"hz": {"Hz", 1, 0}, "1/s": {"Hz", 1, 0},
	"%": {"%", 1, 0}, "pct": {"%", 1, 0}, "percent": {"%", 1, 0},
	"ppm": {"ppm", 1, 0},
	"ohm": {"Ω", 1, 0}, "ohms": {"Ω", 1, 0}, "ω": {"Ω", 1, 0}, "kohm": {"Ω", 1e3, 0}, "kω": {"Ω", 1e3, 0}, "mohm": {"Ω", 1e6, 0}, "mω": {"Ω", 1e6, 0},
	"kpa": {"kPa", 1, 0}, "bar": {"kPa", 100, 0}, "psi": {"kPa", kPaOfPsi, 0}, "inhg": {"kPa", kPaOfInHg, 0}, "hpa": {"kPa", 0.1, 0}, "mbar": {"kPa", 0.1, 0}, "mpa": {"kPa", 1000, 0},
	"nm": {"Nm", 1, 0}, "lb·ft": {"Nm", nmOfLbFt, 0}, "lbft": {"Nm", nmOfLbFt, 0}, "lb-ft": {"Nm", nmOfLbFt, 0}, "ft-lb": {"Nm", nmOfLbFt, 0},
	"mm":  {"mm", 1, 0},
	"rpm": {"rpm", 1, 0}, "1/min": {"rpm", 1, 0},
	"g/s": {"g/s", 1, 0}, "kg/h": {"g/s", 1000.0 / 3600, 0},
	"°c": {"°C", 1, 0}, "c": {"°C", 1, 0}, "°f": {"°C", 1 / 1.8, -32 / 1.8}, "f": {"°C", 1 / 1.8, -32 / 1.8},
	"l": {"l", 1, 0}, "in³": {"l", litreOfIn3, 0}, "cc": {"l", 1e-3, 0}, "cm³": {"l", 1e-3, 0}, "ccm": {"l", 1e-3, 0},
	"km": {"km", 1, 0}, "mi": {"km", kmOfMile, 0}, "miles": {"km", kmOfMile, 0},
	"km/h": {"km/h", 1, 0}, "mph": {"km/h", kmOfMile, 0},
	"min": {"min", 1, 0}, "days": {"days", 1, 0}, "d": {"days", 1, 0},
}

// measures are the units a shop reads and types, by the unit that records keep.
type measures map[string]string

func measuresOf(shop store.Shop) measures {
	m := measures{}
	if shop.TemperatureUnit == "f" {
		m["°C"] = "°F"
	}
	if shop.PressureUnit == "psi" {
		m["kPa"] = "psi"
	}
	if shop.DistanceUnit == "mi" {
		m["km"], m["km/h"] = "mi", "mph"
	}
	return m
}

// Shown turns a kept value into the shop's unit.
func (m measures) Shown(value float64, kept string) (shown float64, unit string) {
	unit, ok := m[kept]
	if !ok {
		return value, kept
	}
	u := unitOf[strings.ToLower(unit)]
	return (value - u.shift) / u.factor, unit
}

// Figure writes a kept value in the shop's unit. What was typed in this unit comes back
// as it was typed; what was typed in another is rounded to what the gauges of a workshop
// show: a tenth, three figures below ten, a whole number from a thousand.
func (m measures) Figure(value float64, kept string) (figure, unit string) {
	shown, unit := m.Shown(value, kept)
	switch {
	case unit == "°F": // each tenth of °C is a hundredth of °F that nobody read
		shown = tenth(shown)
	case kept == "°C", kept == "kPa", kept == "km", kept == "km/h":
		shown = tidy(shown)
	}
	return trim(shown), unit
}

func tidy(x float64) float64 {
	if typed := math.Round(x*1000) / 1000; math.Abs(x-typed) <= 1e-9*max(1, math.Abs(x)) {
		return typed
	}
	switch a := math.Abs(x); {
	case a >= 1000:
		return math.Round(x)
	case a >= 10 || x == 0:
		return tenth(x)
	}
	step := math.Pow10(int(math.Floor(math.Log10(math.Abs(x)))) - 2)
	return math.Round(x/step) * step
}

func tenth(x float64) float64 { return math.Round(x*10)/10 + 0 } // never a negative zero

// measured writes a kept value with the reader's unit behind it.
func measured(l *lang.Language, value float64, kept string) string {
	figure, unit := l.Figure(value, kept)
	if unit == "" {
		return figure
	}
	return figure + "\u00a0" + unit
}

// number splits what was typed into a number and its unit. A comma is a decimal
// sign unless it can only group thousands.
func number(typed string) (n float64, unit string, ok bool) {
	t := strings.TrimSpace(strings.NewReplacer("\u2212", "-", "\u2013", "-", "\u00a0", " ", "\u202f", " ").Replace(typed))
	end := strings.LastIndexFunc(t, unicode.IsDigit) + 1
	// "1/s", "cm³" and the like hold digits of their own; a unit begins at the first
	// letter or sign that no number has.
	if i := strings.IndexFunc(t, func(r rune) bool {
		return !unicode.IsDigit(r) && !strings.ContainsRune("+-., '", r)
	}); i >= 0 {
		end = i
	}
	num, unit := strings.TrimSpace(t[:end]), strings.TrimSpace(t[end:])
	num = strings.NewReplacer(" ", "", "'", "").Replace(num)
	dots, commas := strings.Count(num, "."), strings.Count(num, ",")
	switch {
	case commas == 0 && dots <= 1:
	case dots == 1 && commas >= 1 && strings.LastIndex(num, ",") < strings.Index(num, "."): // 1,234.5
		num = strings.ReplaceAll(num, ",", "")
	case commas == 1 && dots >= 1 && strings.LastIndex(num, ".") < strings.Index(num, ","): // 1.234,5
		num = strings.ReplaceAll(strings.ReplaceAll(num, ".", ""), ",", ".")
	case commas == 1 && dots == 0: // 0,45
		num = strings.ReplaceAll(num, ",", ".")
	case commas > 1 && dots == 0: // 1,234,567
		num = strings.ReplaceAll(num, ",", "")
	default:
		return 0, unit, false
	}
	n, err := strconv.ParseFloat(num, 64)
	return n, unit, err == nil && !math.IsInf(n, 0) && !math.IsNaN(n)
}

// quantity reads a number in the field's unit, or in another unit of the same quantity
// typed behind it, and gives it in the unit that records keep. A unit of another
// quantity is refused.
func (f *form) quantity(fd *templates.Field) (n float64, given bool) {
	v := f.value(fd)
	if v == "" {
		if fd.Required {
			f.wrong(fd, templates.SayMissing)
		}
		return 0, false
	}
	if fd.Unit == "s" { // the one time that is kept in seconds
		return f.seconds(fd)
	}
	// The unit that stood behind the box when it was filled in counts, even if the
	// shop has chosen another since: a tablet may have kept the form for days.
	if u, known := unitOf[strings.ToLower(f.r.PostFormValue("unit_"+fd.Name))]; fd.Choice && known && u.kept == unitOf[strings.ToLower(fd.Unit)].kept {
		fd.Unit = f.r.PostFormValue("unit_" + fd.Name)
	}
	n, unit, ok := number(v)
	switch {
	case !ok:
		f.wrong(fd, templates.SayNotNumber(tongue(f.r), v, fd.Unit))
		return 0, false
	case unit == "":
		unit = fd.Unit
	}
	if unit == fd.Unit && unitOf[strings.ToLower(unit)].kept == "" {
		return n, true
	}
	u, known := unitOf[strings.ToLower(unit)]
	if !known || u.kept != unitOf[strings.ToLower(fd.Unit)].kept {
		f.wrong(fd, templates.SayWrongUnit(tongue(f.r), unit, fd.Unit))
		return 0, false
	}
	return n*u.factor + u.shift, true
}

// number reads a number between two bounds.
func (f *form) number(fd *templates.Field, low, high float64) float64 {
	n, given := f.quantity(fd)
	if given && (n < low || n > high) {
		f.wrong(fd, templates.SayOutOfRange(tongue(f.r), trim(low), trim(high), fd.Unit))
	}
	return n
}

// whole reads a whole number between two bounds. Thousands may be grouped.
func (f *form) whole(fd *templates.Field, low, high int64) int64 {
	v := f.value(fd)
	if v == "" {
		if fd.Required {
			f.wrong(fd, templates.SayMissing)
		}
		return 0
	}
	t := strings.NewReplacer(" ", "", "'", "", "\u00a0", "", "\u202f", "").Replace(v)
	if fd.Unit != "" {
		t = strings.TrimSuffix(t, fd.Unit)
	}
	if grouped(t) {
		t = strings.NewReplacer(",", "", ".", "").Replace(t)
	}
	n, err := strconv.ParseInt(t, 10, 64)
	if err != nil {
		f.wrong(fd, templates.SayNotWhole(tongue(f.r), v))
		return 0
	}
	if n < low || n > high {
		f.wrong(fd, templates.SayOutOfRange(tongue(f.r), strconv.FormatInt(low, 10), strconv.FormatInt(high, 10), fd.Unit))
	}
	return n
}

// grouped says whether commas or dots only stand between groups of three.
func grouped(s string) bool {
	for _, sep := range []string{",", "."} {
		parts := strings.Split(s, sep)
		if len(parts) < 2 {
			continue
		}
		for i, p := range parts {
			if i > 0 && len(p) != 3 || i == 0 && (p == "" || len(p) > 3) {
				return false
			}
		}
		return true
	}
	return false
}

// trim writes a number without needless zeros, to six figures: instruments show no
// more, and sums of decimals carry dust behind that.
func trim(n float64) string {
	short, err := strconv.ParseFloat(strconv.FormatFloat(n, 'g', 6, 64), 64)
	if err != nil {
		short = n
	}
	return strconv.FormatFloat(short, 'f', -1, 64)
}
