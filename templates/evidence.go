package templates

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"crosscount/templates/lang"
)

// Spot is where on the exhaust something was found. Zero bank: the whole engine;
// zero position: the whole bank.
type Spot struct {
	Bank, Position int
	Common         bool // one sensor behind both banks
}

// SpotWords names a spot: "bank 1, position 2".
func SpotWords(l *lang.Language, s Spot) string {
	switch {
	case s.Common:
		return l.T("common, position %d", s.Position)
	case s.Position > 0:
		return l.T("bank %d, position %d", s.Bank, s.Position)
	case s.Bank > 0:
		return l.T("bank %d", s.Bank)
	}
	return l.T("engine")
}

// SpotHint says where that is along the exhaust.
func SpotHint(l *lang.Language, s Spot) string {
	switch s.Position {
	case 1:
		return l.T("ahead of the converter")
	case 2:
		return l.T("behind the converter")
	case 3:
		return l.T("further on")
	}
	return ""
}

// Upper sets the first letter of a sentence.
func Upper(s string) string {
	r := []rune(s)
	if len(r) == 0 {
		return s
	}
	return strings.ToUpper(string(r[0])) + string(r[1:])
}

// quantityText is how one number of an entry is asked for and told. The key is the
// field's name in the case format.
type quantityText struct{ label, unit, hint string }

var quantityTexts = map[string]quantityText{
	"short_pct":     {"Short-term trim", "%", ""},
	"long_pct":      {"Long-term trim", "%", ""},
	"min_v":         {"Lowest", "V", ""},
	"max_v":         {"Highest", "V", ""},
	"mean_v":        {"Mean", "V", ""},
	"crossings_hz":  {"Crossings", "Hz", "Full cycles a second through 0.45 V."},
	"lean_rich_ms":  {"Lean to rich", "ms", "From 300 to 600 mV."},
	"rich_lean_ms":  {"Rich to lean", "ms", "From 600 to 300 mV."},
	"volts":         {"Voltage reached", "V", ""},
	"ms":            {"Time taken", "ms", "From 300 to 600 mV or back."},
	"ohm":           {"Resistance", "Ω", "For an open element, the largest number the meter shows."},
	"ohm_low":       {"Maker's range, from", "Ω", ""},
	"ohm_high":      {"Maker's range, to", "Ω", ""},
	"feed_v":        {"Feed", "V", "Against battery ground."},
	"ground_drop_v": {"Drop of the ground", "V", "Under load."},
	"warm_up_s":     {"Time to activity", "s", "From a cold start until the voltage first moves."},
	"co_pct":        {"CO", "%", ""},
	"co2_pct":       {"CO₂", "%", ""},
	"o2_pct":        {"O₂", "%", ""},
	"hc_ppm":        {"HC", "ppm", "As hexane."},
	"nox_ppm":       {"NOx", "ppm", ""},
	"value":         {"Lambda", "", "1.00 is neither rich nor lean."},
	"kpa":           {"Pressure", "kPa", pressuresToo},
	"kpa_low":       {"Maker's range, from", "kPa", ""},
	"kpa_high":      {"Maker's range, to", "kPa", ""},
	"rpm":           {"Speed", "rpm", ""},
	"g_per_s":       {"Airflow", "g/s", ""},
	"intake_c":      {"Air temperature", "°C", ""},
	"baro_kpa":      {"Barometer", "kPa", ""},
}

// QuantityField is the box for one number of an entry.
func QuantityField(l *lang.Language, name string) Field {
	t := quantityTexts[name]
	f := Field{Name: name, Label: t.label, Unit: l.Unit(t.unit), Hint: t.hint, Mode: "decimal"}
	f.Choice = t.unit == "kPa" || t.unit == "°C"
	if f.Unit == "psi" && f.Hint == pressuresToo {
		f.Hint = "kPa and bar may be typed too."
	}
	return f
}

const pressuresToo = "psi and bar may be typed too."

// QuantityUnit is the unit in which records keep a number of an entry.
func QuantityUnit(name string) string { return quantityTexts[name].unit }

// StateWord names an engine state.
func StateWord(l *lang.Language, s string) string {
	switch s {
	case "idle":
		return l.T("idle")
	case "fast_idle":
		return l.T("2500 rpm")
	case "cruise":
		return l.T("cruise")
	case "load":
		return l.T("load")
	}
	return l.T(s)
}

var resultWords = map[string]string{
	"good": "good", "open": "open", "short_ground": "shorted to ground", "short_supply": "shorted to supply", "ground_fault": "poor ground",
	"corroded": "corroded", "greased": "greased", "wet": "wet", "oily": "oily", "chafed": "cable chafed",
}

// ResultWord names the result of a look at a circuit or a connector.
func ResultWord(l *lang.Language, r string) string {
	if w, ok := resultWords[r]; ok {
		return l.T(w)
	}
	return l.T(r)
}

// TipLook describes one look of a tip.
type TipLook struct{ ID, Name, Says string }

// TipLooks are the looks in the order of the picture guide.
var TipLooks = []TipLook{
	{"clean", "Clean", "Light tan or grey, dry. Nothing on it."},
	{"white", "White powder", "A white dust: silicone from a sealant, or an additive."},
	{"green", "Green crust", "A greenish glaze: coolant was burnt."},
	{"sooty", "Dry soot", "Black and dry, wipes off: long rich running or misfire."},
	{"oily", "Oily", "Dark, wet or glazed: oil is burnt or runs in."},
	{"damaged", "Damaged", "Cracked, dented, melted or broken."},
}

// TipWord names a look.
func TipWord(l *lang.Language, look string) string {
	for _, t := range TipLooks {
		if t.ID == look {
			return lower(l.T(t.Name))
		}
	}
	return look
}

// SourceWord says how an entry came to us, when it is not our own.
func SourceWord(l *lang.Language, source string) string {
	switch source {
	case "told":
		return l.T("told by others")
	case "measured":
		return l.T("measured from a recording")
	}
	return ""
}

// StatusWord names the status of a code.
func StatusWord(l *lang.Language, s string) string {
	switch s {
	case "pending", "permanent", "stored":
		return l.T(s)
	}
	return ""
}

// ListWords says that the codes of a status were read to the last.
func ListWords(l *lang.Language, status string) string {
	if status == "pending" {
		return l.T("all pending codes were read: no other")
	}
	return l.T("all stored codes were read: no other")
}

// KindWord names a kind of entry.
func KindWord(l *lang.Language, kind string) string {
	switch kind {
	case "code":
		return l.T("Codes")
	case "history":
		return l.T("History")
	case "car":
		return l.T("How the car stands")
	case "trim":
		return l.T("Fuel trims")
	case "signal":
		return l.T("Signal")
	case "forced":
		return l.T("Forced rich or lean")
	case "heater":
		return l.T("Heater")
	case "circuit":
		return l.T("Signal circuit")
	case "connector":
		return l.T("Connector")
	case "tip":
		return l.T("Tip look")
	case "gas":
		return l.T("Exhaust gas")
	case "lambda":
		return l.T("Lambda")
	case "fuel_pressure":
		return l.T("Fuel pressure")
	case "airflow":
		return l.T("Airflow")
	case "note":
		return l.T("Note")
	}
	return kind
}

// Evidence is an entry of the log in neutral terms; Statement puts it in words.
type Evidence struct {
	Kind    string
	Spot    Spot
	State   string
	Frame   bool   // trims of a freeze frame
	Code    string // of trims: whose freeze frame it is, where that is known
	Status  string
	Mixture string
	Result  string
	Look    string
	Numbers []Number
	Holds   string // yes, no or empty
	Open    bool   // wide-open throttle
	Test    string // the test's name
	Outcome string // the outcome's name
	Remark  string // the remark's words
}

// Number is one number of an entry, with the field's name in the case format and the
// reader's unit.
type Number struct{ Field, Value, Unit string }

// say puts a number in words: "short-term trim +8 %".
func (n Number) say(l *lang.Language) string {
	unit := n.Unit
	if unit != "" {
		unit = "\u00a0" + unit
	}
	return lower(l.T(quantityTexts[n.Field].label)) + " " + n.Value + unit
}

// lower makes a label part of a sentence; formulas such as CO₂ stay.
func lower(s string) string {
	first, n := utf8.DecodeRuneInString(s)
	if second, _ := utf8.DecodeRuneInString(s[n:]); unicode.IsLower(second) {
		return string(unicode.ToLower(first)) + s[n:]
	}
	return s
}

// Statement is the entry as a sentence without its spot.
func Statement(l *lang.Language, e Evidence) string {
	numbers := make([]string, len(e.Numbers))
	for i, n := range e.Numbers {
		numbers[i] = n.say(l)
	}
	list := strings.Join(numbers, ", ")
	state := StateWord(l, e.State)
	var out string
	switch e.Kind {
	case "code":
		out = commas(e.Code, StatusWord(l, e.Status))
	case "code_list":
		out = ListWords(l, e.Status)
	case "history":
		out = e.Remark
	case "trim":
		if e.Frame {
			state = frameWords(l, state, e.Code)
		}
		out = l.T("trims at %s: %s", state, list)
	case "signal":
		out = l.T("signal at %s: %s", state, list)
	case "forced":
		out = l.T("forced lean: %s", list)
		if e.Mixture == "rich" {
			out = l.T("forced rich: %s", list)
		}
	case "heater":
		out = l.T("heater: %s", list)
	case "circuit":
		out = l.T("signal circuit %s", ResultWord(l, e.Result))
	case "connector":
		out = l.T("connector %s", ResultWord(l, e.Result))
	case "car":
		out = e.Outcome
	case "tip":
		out = l.T("tip %s", TipWord(l, e.Look))
	case "gas":
		out = l.T("exhaust gas at %s: %s", state, list)
	case "lambda":
		out = l.T("%s at %s", list, state)
	case "fuel_pressure":
		out = l.T("fuel %s", list)
		switch e.Holds {
		case "yes":
			out = l.T("fuel %s, holds", list)
		case "no":
			out = l.T("fuel %s, does not hold", list)
		}
	case "airflow":
		out = list
		if e.Open {
			out = l.T("%s, wide open", list)
		}
	case "result":
		out = lower(e.Test) + ": " + e.Outcome
	default:
		out = e.Kind
	}
	return Upper(strings.TrimSpace(out))
}

// frameWords puts an engine state into the freeze frame, of a code where it is known.
func frameWords(l *lang.Language, state, code string) string {
	if code != "" {
		return l.T("%s in the freeze frame of %s", state, code)
	}
	return l.T("%s in the freeze frame", state)
}

// TrimLine is a bank's trim for the line map: "idle +25 % in all".
func TrimLine(l *lang.Language, state string, frame bool, total string, whole bool) string {
	state = StateWord(l, state)
	if frame {
		state = frameWords(l, state, "")
	}
	if whole {
		return l.T("%s %s %% in all", state, total)
	}
	return state + " " + total + " %"
}

// KnownLine is what the line map says of a sensor after an entry, short.
func KnownLine(l *lang.Language, e Evidence) string {
	number := func(name string) string {
		for _, n := range e.Numbers {
			if n.Field == name {
				return n.Value
			}
		}
		return ""
	}
	with := func(format, v string) string {
		if v == "" {
			return ""
		}
		return l.T(format, v)
	}
	switch e.Kind {
	case "code":
		return e.Code
	case "signal":
		low, high := number("min_v"), number("max_v")
		volts := with("signal %s\u00a0V", low+high)
		if low != "" && high != "" {
			volts = l.T("signal %s to %s\u00a0V", low, high)
		}
		return commas(volts, with("%s\u00a0Hz", number("crossings_hz")))
	case "forced":
		volts := "forced lean %s\u00a0V"
		if e.Mixture == "rich" {
			volts = "forced rich %s\u00a0V"
		}
		return commas(with(volts, number("volts")), with("in %s\u00a0ms", number("ms")))
	case "heater":
		return commas(with("heater %s\u00a0Ω", number("ohm")), with("feed %s\u00a0V", number("feed_v")), with("ground drop %s\u00a0V", number("ground_drop_v")),
			with("active after %s\u00a0s", number("warm_up_s")))
	case "circuit":
		return l.T("circuit %s", ResultWord(l, e.Result))
	case "connector":
		return l.T("connector %s", ResultWord(l, e.Result))
	case "tip":
		return l.T("tip %s", TipWord(l, e.Look))
	case "result":
		return lower(e.Test) + ": " + e.Outcome
	case "history":
		return lower(e.Remark)
	}
	return ""
}
