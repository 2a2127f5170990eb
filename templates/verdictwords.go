package templates

import (
	"fmt"
	"slices"
	"strings"

	"crosscount/templates/lang"
)

// VerdictHeadline says the decision in one sentence. Parts and work come as words.
func VerdictHeadline(l *lang.Language, decision string, parts, mend []string) string {
	switch decision {
	case "part":
		if len(parts) == 1 {
			return l.T("A part is justified: the sensor at %s.", parts[0])
		}
		return l.T("Parts are justified: the sensors at %s.", and(l, parts))
	case "no_part":
		if len(mend) == 0 {
			return l.T("No part, and nothing to mend.")
		}
		return l.T("No part. The sensor is not the fault.")
	}
	return l.T("No verdict yet.")
}

// HandHeadline is the verdict as it reads once the work is done.
func HandHeadline(l *lang.Language, decision string, parts, mend []string) string {
	switch {
	case decision == "part" && len(parts) == 1:
		return l.T("A new sensor was needed, at %s.", parts[0])
	case decision == "part":
		return l.T("New sensors were needed, at %s.", and(l, parts))
	case decision == "no_part" && len(mend) > 0:
		return l.T("No part was needed. The sensor was not the fault.")
	}
	return VerdictHeadline(l, decision, parts, mend)
}

// FirmWords says how much the verdict depends on the estimates behind it.
func FirmWords(l *lang.Language, firm float64) string {
	var w string
	switch {
	case firm <= 0:
		return ""
	case firm >= 0.95:
		w = l.T("Very firm")
	case firm >= 0.85:
		w = l.T("Firm")
	case firm >= 0.7:
		w = l.T("Rather firm")
	default:
		w = l.T("Not firm")
	}
	share := fmt.Sprintf("%.0f", firm*100)
	if firm > 0.99 {
		share = l.T("more than 99")
	}
	return l.T("%s: it holds in %s of 100 if the estimates behind it are off by a factor of two either way.", w, share)
}

// CustomerSentence explains a verdict without jargon. Found are plain clauses that
// follow "we found that".
// Once the work is done it tells what was done.
func CustomerSentence(l *lang.Language, decision string, found, parts, first []string, done bool) string {
	ahead := func(ahead, behind string) string {
		if done {
			return behind
		}
		return ahead
	}
	var out []string
	switch decision {
	case "part":
		if len(found) > 0 {
			out = append(out, l.T("The warning light was right to come on: we found that %s.", and(l, found)))
		} else {
			out = append(out, l.T("The warning light was right to come on."))
		}
		if n := len(parts); n > 1 {
			out = append(out, l.T(ahead("%d exhaust sensors have to be renewed.", "%d exhaust sensors had to be renewed."), n))
		} else {
			out = append(out, l.T(ahead("One exhaust sensor has to be renewed.", "One exhaust sensor had to be renewed.")))
		}
		if len(first) > 0 {
			out = append(out, l.T(ahead("Before that, what damaged it has to be put right (%s), or the new one would fail the same way.",
				"Before that, what damaged it was put right (%s), or the new one would have failed the same way."), and(l, first)))
		}
	case "no_part":
		if len(found) == 0 {
			return l.T("We measured everything that bears on the warning light and found it well. No part is needed. Should the light come on again, bring the car back; we keep all we measured.")
		}
		out = append(out, l.T("The exhaust sensor only reported the trouble; it is not broken, and a new one would not help."),
			l.T("We found that %s.", and(l, found)), l.T(ahead("That is what we would put right.", "That is what we put right.")))
	}
	return strings.Join(out, " ")
}

// and joins clauses as a person would.
func and(l *lang.Language, ss []string) string {
	out := slices.Clone(ss)
	for i := 1; i < len(out); i++ {
		out[i] = lower(out[i])
	}
	return l.And(out)
}

// FaultHere is what the line map says of the suspicion against a sensor.
func FaultHere(l *lang.Language, cause, percent string) string {
	if cause != "" {
		return lower(cause) + ": " + percent
	}
	return l.T("a fault here: at most %s", percent)
}

// Marks on the line map.
const (
	MarkNext  = "look here next"
	MarkRenew = "renew this one"
)

// LeftOutWords is honest about what was not reckoned.
func LeftOutWords(l *lang.Language, percent string) string {
	return l.T("Causes that come more than three at once were not reckoned; together they stay below %s.", percent)
}

// PercentWords writes a chance: whole per cent, and no more certainty than there is.
func PercentWords(l *lang.Language, p float64) string {
	switch {
	case p > 0.995:
		return l.T("over 99 %")
	case p < 0.005:
		return l.T("under 1 %")
	}
	return fmt.Sprintf("%.0f %%", p*100)
}

// PercentRange writes a chance with its bounds, or alone when they are close.
func PercentRange(l *lang.Language, p, low, high float64) string {
	a, b := PercentWords(l, low), PercentWords(l, high)
	if a == b || high-low < 0.02 {
		return PercentWords(l, p)
	}
	return l.T("%s to %s", strings.TrimSuffix(a, " %"), b)
}

// MinutesWords writes a time.
func MinutesWords(l *lang.Language, m float64) string {
	switch {
	case m < 90:
		return fmt.Sprintf("%.0f min", m)
	}
	h := int(m) / 60
	if r := int(m) % 60; r >= 5 {
		return fmt.Sprintf("%d h %d min", h, r)
	}
	return fmt.Sprintf("%d h", h)
}

// ExpectedWords says what the rest of the job is expected to cost.
func ExpectedWords(l *lang.Language, money string) string {
	return l.T("With this test next, the rest of the job is expected to cost about %s.", money)
}

// ThenTest and ThenVerdict say what follows an outcome.
func ThenTest(name, spot string) string { return lower(name) + spotIf(spot) }

// ThenVerdict names the verdict that follows.
func ThenVerdict(l *lang.Language, decision, what string) string {
	switch decision {
	case "part":
		return l.T("a part: %s", what)
	case "no_part":
		if what == "" {
			return l.T("no part")
		}
		return l.T("no part: %s", what)
	}
	return l.T("more to test")
}

// Words on why something cannot be done yet.
const (
	NothingRead   = "No verdict yet: nothing has been read on the car."
	WaitVerdict   = "First a verdict has to be accepted."
	WaitTechnic   = "The technician or the owner accepts the verdict."
	WaitOpen      = "The verdict is still open. The next test above is what it lacks; or decide otherwise with a reason."
	NothingToMend = "Nothing has to be mended. Tell the customer and close the job."
)

// SensorWords describes a sensor: "zirconia, 4 wires".
func SensorWords(l *lang.Language, kind string, wires int) string {
	if wires == 1 {
		return l.T("%s, 1 wire", SensorKindWord(l, kind))
	}
	return l.T("%s, %d wires", SensorKindWord(l, kind), wires)
}

// SensorKindWord names a kind of sensor.
func SensorKindWord(l *lang.Language, kind string) string {
	if kind == "wide_range" {
		return l.T("wide-range")
	}
	return l.T(kind)
}

// EngineWords describes an engine: "V 6", "flat 6", "inline 4".
func EngineWords(l *lang.Language, arrangement string, cylinders int) string {
	switch arrangement {
	case "v":
		return fmt.Sprintf("V %d", cylinders)
	case "flat":
		return l.T("flat %d", cylinders)
	}
	return l.T("inline %d", cylinders)
}

// MapTitle and MapSummary describe the line map to those who cannot see it.
func MapTitle(l *lang.Language, arrangement string, cylinders, sensors int) string {
	if sensors == 1 {
		return l.T("%s with one oxygen sensor", Upper(EngineWords(l, arrangement, cylinders)))
	}
	return l.T("%s with %d oxygen sensors", Upper(EngineWords(l, arrangement, cylinders)), sensors)
}

// MapSummary lists the sensors with what is known.
func MapSummary(lines []string) string { return strings.Join(lines, ". ") + "." }

// FitWords says which sensor was fitted.
func FitWords(l *lang.Language, spot, kind, number string) string {
	out := l.T("New sensor at %s: %s", spot, SensorKindWord(l, kind))
	if number != "" {
		out += ", " + number
	}
	return out
}

// StageNames are the moments of a job.
var StageNames = [6]string{"Taken in", "Diagnosed", "Approved", "Mended", "Proved", "Closed"}

// CarWords names a car: "2014 Halden Corrie".
func CarWords(year int, make, model string) string {
	out := strings.TrimSpace(make + " " + model)
	if year > 0 {
		return fmt.Sprintf("%d %s", year, out)
	}
	return out
}

// BankWords names a bank.
func BankWords(l *lang.Language, n int) string { return l.T("Bank %d", n) }

// MapWords are the fixed texts of the line map.
const (
	ConverterWord = "converter"
	MapAsTable    = "The same as a table"
	MapSensor     = "Sensor"
	MapKind       = "Kind"
	MapKnown      = "What is known"
	MapNothing    = "nothing yet"
	WholeEngine   = "the whole engine"
	CodeUnknown   = "Not in the list of generic codes. The maker's data says more."
	NobodyYet     = "nobody yet"
	NoOtherCause  = "none of these"
	OutcomeUnsaid = "anything else"
)

// BoundWords writes a small bound without claiming more than it says.
func BoundWords(l *lang.Language, p float64) string {
	switch {
	case p < 0.001:
		return l.T("%.1f %%", 0.1)
	case p < 0.01:
		return l.T("%.1f %%", p*100+0.05)
	}
	return fmt.Sprintf("%.0f %%", p*100+0.5)
}

// AssignField chooses who works on a job.
func AssignField(l *lang.Language) Field {
	return Field{Name: "technician", Label: "In the bay", Own: true, Options: []Option{{"", l.T(NobodyYet)}}}
}

// ReadCodes is what every job begins with.
func ReadCodes(l *lang.Language) TestView {
	return TestView{
		Title: l.T("Read the codes"), Minutes: MinutesWords(l, 5), Tools: l.Each([]string{"scan tool"}),
		Why:    l.T("Every job begins with what the car itself says. What another shop told is no reading."),
		Expect: l.T("No code stored or pending, all monitors ready."),
		Cautions: l.Each([]string{"Carbon monoxide: run an engine indoors only with extraction.",
			"Ignition on can start fans: keep hands, sleeves and leads clear."}),
		Steps: l.Each([]string{
			"Ignition on, engine off. Connect the scan tool.",
			"Note stored, pending and permanent codes, and the freeze frame with its speed, load and trims.",
			"Note which monitors are ready. Do not clear anything: readiness and the freeze frame would be gone.",
		}),
	}
}
