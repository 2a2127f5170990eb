package templates

import (
	"fmt"
	"strings"
)

// Spot is where on the exhaust something was found. Zero bank: the whole engine;
// zero position: the whole bank.
type Spot struct {
	Bank, Position int
	Common         bool // one sensor behind both banks
}

// SpotWords names a spot: "bank 1, position 2".
func SpotWords(s Spot) string {
	switch {
	case s.Common:
		return fmt.Sprintf("common, position %d", s.Position)
	case s.Position > 0:
		return fmt.Sprintf("bank %d, position %d", s.Bank, s.Position)
	case s.Bank > 0:
		return fmt.Sprintf("bank %d", s.Bank)
	}
	return "engine"
}

// SpotHint says where that is along the exhaust.
func SpotHint(s Spot) string {
	switch s.Position {
	case 1:
		return "ahead of the converter"
	case 2:
		return "behind the converter"
	case 3:
		return "further on"
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
	"co_pct":        {"CO", "%", ""},
	"co2_pct":       {"CO₂", "%", ""},
	"o2_pct":        {"O₂", "%", ""},
	"hc_ppm":        {"HC", "ppm", "As hexane."},
	"nox_ppm":       {"NOx", "ppm", ""},
	"value":         {"Lambda", "", "1.00 is neither rich nor lean."},
	"kpa":           {"Pressure", "kPa", "psi and bar may be typed too."},
	"kpa_low":       {"Maker's range, from", "kPa", ""},
	"kpa_high":      {"Maker's range, to", "kPa", ""},
	"rpm":           {"Speed", "rpm", ""},
	"g_per_s":       {"Airflow", "g/s", ""},
	"intake_c":      {"Air temperature", "°C", ""},
	"baro_kpa":      {"Barometer", "kPa", ""},
}

// QuantityField is the box for one number of an entry.
func QuantityField(name string) Field {
	t := quantityTexts[name]
	return Field{Name: name, Label: t.label, Unit: t.unit, Hint: t.hint, Mode: "decimal"}
}

// StateWord names an engine state.
func StateWord(s string) string {
	switch s {
	case "idle":
		return "idle"
	case "fast_idle":
		return "2500 rpm"
	case "cruise":
		return "cruise"
	case "load":
		return "load"
	}
	return s
}

var resultWords = map[string]string{
	"good": "good", "open": "open", "short_ground": "shorted to ground", "short_supply": "shorted to supply", "ground_fault": "poor ground",
	"corroded": "corroded", "greased": "greased", "wet": "wet", "oily": "oily", "chafed": "cable chafed",
}

// ResultWord names the result of a look at a circuit or a connector.
func ResultWord(r string) string {
	if w, ok := resultWords[r]; ok {
		return w
	}
	return r
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
func TipWord(look string) string {
	for _, t := range TipLooks {
		if t.ID == look {
			return strings.ToLower(t.Name)
		}
	}
	return look
}

// SourceWord says how an entry came to us, when it is not our own.
func SourceWord(source string) string {
	switch source {
	case "told":
		return "told by others"
	case "measured":
		return "measured from a recording"
	}
	return ""
}

// StatusWord names the status of a code.
func StatusWord(s string) string {
	switch s {
	case "pending", "permanent", "stored":
		return s
	}
	return ""
}

// KindWord names a kind of entry.
func KindWord(kind string) string {
	switch kind {
	case "code":
		return "Codes"
	case "history":
		return "History"
	case "trim":
		return "Fuel trims"
	case "signal":
		return "Signal"
	case "forced":
		return "Forced rich or lean"
	case "heater":
		return "Heater"
	case "circuit":
		return "Signal circuit"
	case "connector":
		return "Connector"
	case "tip":
		return "Tip look"
	case "gas":
		return "Exhaust gas"
	case "lambda":
		return "Lambda"
	case "fuel_pressure":
		return "Fuel pressure"
	case "airflow":
		return "Airflow"
	case "note":
		return "Note"
	}
	return kind
}

// Evidence is an entry of the log in neutral terms; Statement puts it in words.
type Evidence struct {
	Kind    string
	Spot    Spot
	State   string
	Code    string
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

// Number is one number of an entry, with the field's name in the case format.
type Number struct{ Field, Value string }

// say puts a number in words: "short-term trim +8 %".
func (n Number) say() string {
	t := quantityTexts[n.Field]
	unit := t.unit
	if unit != "" {
		unit = "\u00a0" + unit
	}
	return lower(t.label) + " " + n.Value + unit
}

// lower makes a label part of a sentence; formulas such as CO₂ stay.
func lower(s string) string {
	if len(s) > 1 && s[1] >= 'a' && s[1] <= 'z' {
		return strings.ToLower(s[:1]) + s[1:]
	}
	return s
}

// Statement is the entry as a sentence without its spot.
func Statement(e Evidence) string {
	numbers := make([]string, len(e.Numbers))
	for i, n := range e.Numbers {
		numbers[i] = n.say()
	}
	list := strings.Join(numbers, ", ")
	var out string
	switch e.Kind {
	case "code":
		out = e.Code
		if s := StatusWord(e.Status); s != "" {
			out += ", " + s
		}
	case "history":
		out = e.Remark
	case "trim":
		out = "trims at " + StateWord(e.State) + ": " + list
	case "signal":
		out = "signal at " + StateWord(e.State) + ": " + list
	case "forced":
		out = "forced " + e.Mixture + ": " + list
	case "heater":
		out = "heater: " + list
	case "circuit":
		out = "signal circuit " + ResultWord(e.Result)
	case "connector":
		out = "connector " + ResultWord(e.Result)
	case "tip":
		out = "tip " + TipWord(e.Look)
	case "gas":
		out = "exhaust gas at " + StateWord(e.State) + ": " + list
	case "lambda":
		out = list + " at " + StateWord(e.State)
	case "fuel_pressure":
		out = "fuel " + list
		switch e.Holds {
		case "yes":
			out += ", holds"
		case "no":
			out += ", does not hold"
		}
	case "airflow":
		out = list
		if e.Open {
			out += ", wide open"
		}
	case "result":
		out = lower(e.Test) + ": " + e.Outcome
	default:
		out = e.Kind
	}
	return Upper(strings.TrimSpace(out))
}

// TrimLine is a bank's trim for the line map: "idle +25 % in all".
func TrimLine(state, total string, whole bool) string {
	if whole {
		return StateWord(state) + " " + total + " % in all"
	}
	return StateWord(state) + " " + total + " %"
}

// KnownLine is what the line map says of a sensor after an entry, short.
func KnownLine(e Evidence) string {
	pick := func(names ...string) string {
		var out []string
		for _, name := range names {
			for _, n := range e.Numbers {
				if n.Field == name {
					out = append(out, n.Value)
				}
			}
		}
		return strings.Join(out, " to ")
	}
	with := func(label, v, unit string) string {
		if v == "" {
			return ""
		}
		return strings.TrimSpace(label + " " + v + "\u00a0" + unit)
	}
	join := func(parts ...string) string {
		var out []string
		for _, p := range parts {
			if p != "" {
				out = append(out, p)
			}
		}
		return strings.Join(out, ", ")
	}
	switch e.Kind {
	case "code":
		return e.Code
	case "signal":
		return join(with("signal", pick("min_v", "max_v"), "V"), with("", pick("crossings_hz"), "Hz"))
	case "forced":
		return join(with("forced "+e.Mixture, pick("volts"), "V"), with("in", pick("ms"), "ms"))
	case "heater":
		return join(with("heater", pick("ohm"), "Ω"), with("feed", pick("feed_v"), "V"), with("ground drop", pick("ground_drop_v"), "V"))
	case "circuit":
		return "circuit " + ResultWord(e.Result)
	case "connector":
		return "connector " + ResultWord(e.Result)
	case "tip":
		return "tip " + TipWord(e.Look)
	case "result":
		return lower(e.Test) + ": " + e.Outcome
	case "history":
		return lower(e.Remark)
	}
	return ""
}
