package templates

import (
	"strings"

	"crosscount/templates/lang"
	"crosscount/templates/paper"
)

// Titles of the papers.
const (
	TitleOrder       = "Work order"
	TitleHandOver    = "Hand-over sheet"
	TitleExplanation = "What we found"
	TitleConverter   = "Converter record"
)

// DocumentKind names an estimate or invoice without its number.
func DocumentKind(kind string) string {
	if kind == "invoice" {
		return "Invoice"
	}
	return "Estimate"
}

// Facts at the head of a paper.
const (
	FactCar      = "Car"
	FactPlate    = "Plate"
	FactDistance = "Odometer"
	FactJob      = "Job"
)

// DocumentHead heads the columns of an estimate or invoice.
func DocumentHead(l *lang.Language, currency string) []string {
	return []string{l.T("What"), l.T("How many"), l.T("Each, %s", currency), l.T("Tax"), l.T("Amount, %s", currency)}
}

// SumNet names what comes before tax.
const SumNet = "Before tax"

// SumTotal names the last sum: only an invoice is owed.
func SumTotal(kind string) string {
	if kind == "invoice" {
		return "Amount due"
	}
	return "Total, if all is done"
}

// SumTax names the tax of one rate.
func SumTax(l *lang.Language, rate string) string { return l.T("Tax %s", rate) }

// CoreNote explains the deposit on old parts.
func CoreNote(l *lang.Language, money string) string {
	return l.T("A deposit of %s on old parts is charged by the supplier and returned with them. It is not in the sum above.", money)
}

// DeclinedHead stands above the lines a customer declined.
const DeclinedHead = "Declined, and what that means"

// DeclinedWords is a declined line with its consequence.
func DeclinedWords(words, consequence string) string {
	return words + ": " + consequence
}

// YesHead heads the place where a customer signs.
const YesHead = "Your yes"

// YesPaper is what a customer signs.
func YesPaper(l *lang.Language, limit string) string {
	return l.T("I agree to this work up to %s, tax included. For anything beyond, I am asked first.", limit)
}

// What is signed on papers.
var (
	SignYes       = []string{"Name", "Date", "Signature"}
	SignBay       = []string{"Technician", "Date and time"}
	SignHandOver  = []string{"Handed over by", "Received, date"}
	SignConverter = []string{"Customer", "Date", "For the shop"}
)

// AgreedPaper recalls the customer's yes on an invoice.
func AgreedPaper(l *lang.Language, scope, limit, who, how, when string) string {
	say := "Mending it was agreed to by %s, up to %s, %s, %s."
	if scope == "diagnosis" {
		say = "Looking for it was agreed to by %s, up to %s, %s, %s."
	}
	return l.T(say, who, limit, l.T(HowWord(how)), when)
}

// DocumentFoot is the small print.
func DocumentFoot(kind string) []string {
	out := []string{"Each line and its tax are rounded by themselves to the smallest coin, half a coin away from zero; the sums are the sums of what stands here."}
	if kind == "estimate" {
		out = append(out, "An estimate, not an invoice.")
	}
	return out
}

// Words of the work order.
const (
	OrderConcern = "What the customer says"
	OrderTold    = "Codes told by others"
	OrderRead    = "Codes we read"
	OrderSensors = "Where the sensors sit. Tick what is so on the car, correct what is not."
	OrderTests   = "Tests. Write what each shows."
	OrderWork    = "Work, in this order"
	OrderProof   = "Proof drive: readiness complete, no code, trims near zero"
	OrderNotes   = "Notes"
	NoYes        = "no yes yet"
	LocalRules   = "Local rules and your training come before this paper."
)

// FittingCautions go with every repair at the exhaust.
var FittingCautions = []string{
	"Hot exhaust burns: let it cool. Raise the car only on stands made for it.",
	"Carbon monoxide: run an engine indoors only with extraction.",
	"No grease or contact spray in a sensor's connector; only sealants marked sensor-safe; a dropped sensor is scrap.",
	"Torque and thread care from the maker's data. " + LocalRules,
}

// OrNone writes a list, or that there is nothing.
func OrNone(l *lang.Language, ss []string) string {
	if len(ss) == 0 {
		return l.T("none")
	}
	return strings.Join(ss, ", ")
}

// UpTo names a limit.
func UpTo(l *lang.Language, limit string) string { return l.T("up to %s", limit) }

// IfWords says when a test comes.
func IfWords(l *lang.Language, outcome string) string { return l.T("if: %s", outcome) }

// Words of the hand-over sheet.
const (
	HandDone     = "What we did"
	HandPictures = "Before and after"
	HandProof    = "How it was proved"
	HandWarranty = "If it comes back"
	WatchHead    = "What to watch for"
	WatchFlash   = "If the light flashes while driving, ease off and stop as soon as it is safe: unburnt fuel is ruining the converter."
	WatchCO      = "Exhaust gas escapes. It holds carbon monoxide, which cannot be smelt: never let the engine run in a closed space, and keep a window open until it is mended."
	WatchCoolant = "Watch the temperature and never open a hot cooling system."
)

// ProofPaper tells a proof.
func ProofPaper(l *lang.Language, passed bool, statement, when, who string) string {
	if passed {
		return l.T("The proof drive passed on %s (%s): %s", when, who, statement)
	}
	return l.T("The proof drive of %s (%s) did not pass: %s", when, who, statement)
}

// MendedPaper tells what was mended.
func MendedPaper(l *lang.Language, cause, words string) string {
	if words == "" {
		return l.T("%s: mended.", cause)
	}
	return cause + ": " + words
}

// FittedPaper tells what was fitted.
func FittedPaper(what, words string) string {
	if words == "" {
		return what + "."
	}
	return what + ". " + words
}

// NoProof says honestly that there is none.
func NoProof(l *lang.Language, why string) string {
	if why == "" {
		return l.T("No proof drive was made, as nothing was mended.")
	}
	return l.T("No proof drive was made: %s", why)
}

// WarrantyPaper says what the shop does when it comes back.
func WarrantyPaper(l *lang.Language, days int, mended bool) []string {
	if !mended {
		return []string{l.T("If the light is on again within %d days, bring the car back: we keep all we measured and begin from there.", days)}
	}
	return []string{l.T("If the same trouble is back within %d days, bring the car back. We look at it first, at no charge, and begin from what we measured this time. The maker's warranty on parts runs beside this.", days)}
}

// WatchLight says what to do when the light is back.
func WatchLight(l *lang.Language, days int) string {
	return l.T("If the warning light comes on again, write down when and how the car was driven, and ring us; within %d days it counts as the same job.", days)
}

// Words of the explanation.
const (
	ExplainConcern     = "What you told us"
	ExplainCodes       = "What the car's computer had stored"
	ExplainDid         = "What we looked at"
	ExplainFound       = "What we found"
	ExplainWhy         = "Why this, and not just a new sensor"
	ExplainPictures    = "What it looks like"
	CodeIsWitness      = "A stored code is a witness, not a verdict: it says what the computer saw, not which part is broken."
	NothingYetCustomer = "We are still looking. This page says more as soon as we know."
	RecordingCaption   = "What the sensor reported while the engine ran."
)

// SaidByCodes is what one or several codes say.
type SaidByCodes struct {
	Codes []string
	Say   string
}

func (c SaidByCodes) String() string { return strings.Join(c.Codes, ", ") + ": " + c.Say + "." }

// PlainCode says what a code says by its title, for who never heard of codes.
func PlainCode(title string) string {
	t := strings.ToLower(title)
	say := "it saw a reading that was not what it expected"
	has := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(t, w) {
				return true
			}
		}
		return false
	}
	switch {
	case has("heater"):
		say = "the small heater inside an exhaust sensor did not draw the current it should"
	case has("misfire"):
		say = "fuel in a cylinder did not always burn"
	case has("converter", "catalyst"):
		say = "the exhaust cleaner seemed to clean less than it should"
	case has("slow", "response"):
		say = "an exhaust sensor answered more slowly than it should"
	case has("lean"):
		say = "there was too much air, or too little fuel, in the mixture"
	case has("rich"):
		say = "there was too much fuel, or too little air, in the mixture"
	case has("sensor", "signal", "circuit"):
		say = "the signal of an exhaust sensor was not what it expected"
	}
	return say
}

// Shorten cuts a text at a word, with a sign that it goes on.
func Shorten(s string, most int) string {
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	cut := string(r[:most])
	if i := strings.LastIndexAny(cut, " \n"); i > len(cut)/2 {
		cut = cut[:i]
	}
	return strings.TrimRight(cut, " \n.,;:") + " …"
}

// PlainTest names a test for a customer.
func PlainTest(l *lang.Language, id, name string) string {
	if say := plainTest(id); say != "" {
		return l.T(say)
	}
	return lower(l.T(name))
}

func plainTest(id string) string {
	switch id {
	case "history_ask":
		return "what you told us of the car"
	case "trims":
		return "how much the computer corrects the fuel"
	case "signal_capture", "rear_activity":
		return "the sensor's signal with the engine running"
	case "forced_rich", "forced_lean":
		return "how the sensor answers when we change the mixture"
	case "heater_resistance", "heater_supply", "heater_current":
		return "the sensor's heater and its supply"
	case "signal_circuit":
		return "the sensor's wiring"
	case "connector_look":
		return "the sensor's plug"
	case "tip_look":
		return "the tip of the sensor"
	case "gas_analysis":
		return "the exhaust gas"
	case "fuel_pressure":
		return "the fuel pressure"
	case "airflow_check":
		return "the air the engine breathes"
	case "fuel_sample":
		return "a sample of the fuel"
	case "vacuum_hold":
		return "whether the exhaust lets the gas out"
	case "calibration_check":
		return "whether the engine's computer has its latest program"
	case "intake_smoke":
		return "leaks in the air intake, with smoke"
	case "exhaust_leak_test":
		return "leaks in the exhaust"
	case "combustion_gas_test":
		return "whether exhaust gas gets into the coolant"
	}
	return ""
}

// DidSentence lists what was looked at.
func DidSentence(did []string) string { return Upper(strings.Join(did, "; ")) + "." }

// WhyPart says why a part is or is not the answer.
func WhyPart(decision string, first, done bool) []string {
	switch {
	case decision == "part" && first && done:
		return []string{"The sensor itself was damaged, which we saw on that very sensor. But something had damaged it. We mended that first, and only then fitted the new one; otherwise the new one would have been ruined the same way."}
	case decision == "part" && first:
		return []string{"The sensor itself is damaged, which we saw on that very sensor. But something damaged it. We mend that first, and only then fit the new one; otherwise the new one would be ruined the same way."}
	case decision == "part":
		return []string{"We saw the fault on that very sensor, and nothing else we found explains it. A new one, of the right kind for its place, is the answer."}
	}
	return []string{"The sensor did its work: it reported the trouble. A new sensor would report the same, and the light would come back."}
}

// PhotoCaption says what a photo shows.
func PhotoCaption(l *lang.Language, subject, moment, words string) string {
	if words != "" {
		return words
	}
	say := map[string]string{"tip": "The tip of the sensor", "connector": "The plug", "gasket": "The gasket"}[subject]
	if say == "" {
		say = "On the car"
	}
	switch moment {
	case "before":
		return l.T("%s, before", l.T(say))
	case "after":
		return l.T("%s, after", l.T(say))
	}
	return l.T(say)
}

// Words of the converter record.
const (
	ConverterNeed      = "Statement of need: why the converter was replaced"
	ConverterWhich     = "Converter"
	ConverterNumber    = "New part number"
	ConverterTag       = "Tag on the removed unit"
	ConverterRemoved   = "Removed on"
	ConverterInvoiced  = "Invoice dated"
	ConverterKeepUnit  = "Keep the unit until"
	ConverterKeepPaper = "Keep the papers until"
	ConverterDo        = "To do"
	ConverterStatement = "The customer and the shop confirm that the converter named above was replaced for the reason stated."
	ConverterSource    = "Source: EPA policy on aftermarket converters, 51 FR 28114 (5 August 1986) and 52 FR 42144 (3 November 1987), as summarised in ICR 2060-0135. States may ask for more; ask your own."
)

// ConverterTicks are the duties of whoever fits an aftermarket converter.
func ConverterTicks(l *lang.Language, unit, papers string) []paper.Tick {
	return []paper.Tick{{Text: l.T("Statement of need signed and kept with the invoice")}, {Text: l.T("Maker's warranty card filled in")},
		{Text: l.T("Removed unit tagged"), Note: l.T("kept until %s", unit)}, {Text: l.T("Invoice and statement filed"), Note: l.T("kept until %s", papers)}}
}
