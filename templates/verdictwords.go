package templates

import (
	"fmt"
	"strings"
)

// VerdictHeadline says the decision in one sentence. Parts and work come as words.
func VerdictHeadline(decision string, parts, mend []string) string {
	switch decision {
	case "part":
		if len(parts) == 1 {
			return "A part is justified: the sensor at " + parts[0] + "."
		}
		return "Parts are justified: the sensors at " + and(parts) + "."
	case "no_part":
		if len(mend) == 0 {
			return "No part, and nothing to mend."
		}
		return "No part. The sensor is not the fault."
	}
	return "No verdict yet."
}

// HandHeadline is the verdict as it reads once the work is done.
func HandHeadline(decision string, parts, mend []string) string {
	switch {
	case decision == "part" && len(parts) == 1:
		return "A new sensor was needed, at " + parts[0] + "."
	case decision == "part":
		return "New sensors were needed, at " + and(parts) + "."
	case decision == "no_part" && len(mend) > 0:
		return "No part was needed. The sensor was not the fault."
	}
	return VerdictHeadline(decision, parts, mend)
}

// FirmWords says how much the verdict depends on the estimates behind it.
func FirmWords(firm float64) string {
	var w string
	switch {
	case firm <= 0:
		return ""
	case firm >= 0.95:
		w = "Very firm"
	case firm >= 0.85:
		w = "Firm"
	case firm >= 0.7:
		w = "Rather firm"
	default:
		w = "Not firm"
	}
	share := fmt.Sprintf("%.0f", firm*100)
	if firm > 0.99 {
		share = "more than 99"
	}
	return fmt.Sprintf("%s: it holds in %s of 100 if the estimates behind it are off by a factor of two either way.", w, share)
}

// CustomerSentence explains a verdict without jargon. Found are plain clauses that
// follow "we found that".
// Once the work is done it tells what was done.
func CustomerSentence(decision string, found, parts, first []string, done bool) string {
	say := func(ahead, behind string) string {
		if done {
			return behind
		}
		return ahead
	}
	var b strings.Builder
	switch decision {
	case "part":
		b.WriteString("The warning light was right to come on")
		if len(found) > 0 {
			b.WriteString(": we found that " + and(found))
		}
		b.WriteString(". ")
		if len(parts) > 1 {
			fmt.Fprintf(&b, "%d exhaust sensors %s to be renewed.", len(parts), say("have", "had"))
		} else {
			fmt.Fprintf(&b, "One exhaust sensor %s to be renewed.", say("has", "had"))
		}
		if len(first) > 0 {
			b.WriteString(" Before that, what damaged it " + say("has to be", "was") + " put right (" + and(first) + "), or the new one would " + say("fail", "have failed") + " the same way.")
		}
	case "no_part":
		if len(found) == 0 {
			b.WriteString("We measured everything that bears on the warning light and found it well. No part is needed. Should the light come on again, bring the car back; we keep all we measured.")
		} else {
			b.WriteString("The exhaust sensor only reported the trouble; it is not broken, and a new one would not help. We found that " + and(found) + ". That is what we " + say("would put", "put") + " right.")
		}
	default:
		return ""
	}
	return b.String()
}

// and joins clauses as a person would.
func and(ss []string) string {
	switch len(ss) {
	case 0:
		return ""
	case 1:
		return ss[0]
	}
	out := ss[0]
	for i, s := range ss[1:] {
		if i == len(ss)-2 {
			out += " and " + lower(s)
		} else {
			out += ", " + lower(s)
		}
	}
	return out
}

// FaultHere is what the line map says of the suspicion against a sensor.
func FaultHere(cause, percent string) string {
	if cause != "" {
		return lower(cause) + ": " + percent
	}
	return "a fault here: at most " + percent
}

// Marks on the line map.
const (
	MarkNext  = "look here next"
	MarkRenew = "renew this one"
)

// LeftOutWords is honest about what was not reckoned.
func LeftOutWords(percent string) string {
	return "Causes that come more than three at once were not reckoned; together they stay below " + percent + "."
}

// PercentWords writes a chance: whole per cent, and no more certainty than there is.
func PercentWords(p float64) string {
	switch {
	case p > 0.995:
		return "over 99 %"
	case p < 0.005:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", p*100)
}

// PercentRange writes a chance with its bounds, or alone when they are close.
func PercentRange(p, low, high float64) string {
	a, b := PercentWords(low), PercentWords(high)
	if a == b || high-low < 0.02 {
		return PercentWords(p)
	}
	return strings.TrimSuffix(a, " %") + " to " + b
}

// MinutesWords writes a time.
func MinutesWords(m float64) string {
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
func ExpectedWords(money string) string {
	return "With this test next, the rest of the job is expected to cost about " + money + "."
}

// ThenTest and ThenVerdict say what follows an outcome.
func ThenTest(name, spot string) string { return lower(name) + spotIf(spot) }

// ThenVerdict names the verdict that follows.
func ThenVerdict(decision, what string) string {
	switch decision {
	case "part":
		return "a part: " + what
	case "no_part":
		if what == "" {
			return "no part"
		}
		return "no part: " + what
	}
	return "more to test"
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
func SensorWords(kind string, wires int) string {
	if wires == 1 {
		return SensorKindWord(kind) + ", 1 wire"
	}
	return fmt.Sprintf("%s, %d wires", SensorKindWord(kind), wires)
}

// SensorKindWord names a kind of sensor.
func SensorKindWord(kind string) string {
	if kind == "wide_range" {
		return "wide-range"
	}
	return kind
}

// EngineWords describes an engine: "V 6", "flat 6", "inline 4".
func EngineWords(arrangement string, cylinders int) string {
	a := arrangement
	if a == "v" {
		a = "V"
	}
	return fmt.Sprintf("%s %d", a, cylinders)
}

// MapTitle and MapSummary describe the line map to those who cannot see it.
func MapTitle(arrangement string, cylinders, sensors int) string {
	if sensors == 1 {
		return Upper(EngineWords(arrangement, cylinders)) + " with one oxygen sensor"
	}
	return fmt.Sprintf("%s with %d oxygen sensors", Upper(EngineWords(arrangement, cylinders)), sensors)
}

// MapSummary lists the sensors with what is known.
func MapSummary(lines []string) string { return strings.Join(lines, ". ") + "." }

// FitWords says which sensor was fitted.
func FitWords(spot, kind, number string) string {
	out := "New sensor at " + spot + ": " + SensorKindWord(kind)
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
func BankWords(n int) string { return fmt.Sprintf("Bank %d", n) }

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
	EngineCantSay = "Look where the sensors sit and correct the car's data: "
)

// BoundWords writes a small bound without claiming more than it says.
func BoundWords(p float64) string {
	switch {
	case p < 0.001:
		return "0.1 %"
	case p < 0.01:
		return fmt.Sprintf("%.1f %%", p*100+0.05)
	}
	return fmt.Sprintf("%.0f %%", p*100+0.5)
}

// AssignField chooses who works on a job.
func AssignField() Field {
	return Field{Name: "technician", Label: "In the bay", Options: []Option{{"", NobodyYet}}}
}

// ReadCodes is what every job begins with.
func ReadCodes() TestView {
	return TestView{
		Title: "Read the codes", Minutes: MinutesWords(5), Tools: []string{"scan tool"},
		Why:      "Every job begins with what the car itself says. What another shop told is no reading.",
		Expect:   "No code stored or pending, all monitors ready.",
		Cautions: []string{"Carbon monoxide: run an engine indoors only with extraction.", "Ignition on can start fans: keep hands, sleeves and leads clear."},
		Steps: []string{
			"Ignition on, engine off. Connect the scan tool.",
			"Note stored, pending and permanent codes, and the freeze frame with its speed, load and trims.",
			"Note which monitors are ready. Do not clear anything: readiness and the freeze frame would be gone.",
		},
	}
}
