package templates

import (
	"slices"
	"strings"

	"crosscount/templates/lang"
)

// TitleAccount names the page of a job's money.
const TitleAccount = "Money and papers"

// ScopeNames name the two things a customer says yes to.
var ScopeNames = map[string]string{"diagnosis": "The yes to looking", "repair": "The yes to mending"}

var scopeOptions = []Option{{"diagnosis", "looking for it"}, {"repair", "mending it"}}

var howOptions = []Option{{"in_person", "in person"}, {"telephone", "by telephone"}, {"message", "by message"}, {"email", "by mail"}, {"signature", "signed"}}

// HowWord says how a yes was given.
func HowWord(how string) string { return labelOf(howOptions, how) }

var methodOptions = []Option{{"cash", "cash"}, {"card", "card"}, {"transfer", "transfer"}, {"other", "otherwise"}}

// MethodWord says how something was paid.
func MethodWord(m string) string { return labelOf(methodOptions, m) }

func labelOf(os []Option, v string) string {
	for _, o := range os {
		if o.Value == v {
			return o.Label
		}
	}
	return v
}

// NewYesForm is the empty form of a customer's yes.
func NewYesForm(scope, currency string) YesForm {
	return YesForm{Scope: scope,
		Limit: Field{Name: "limit", Label: "Up to", Unit: currency, Mode: "decimal", Required: true, Hint: "Tax included."},
		Who:   Field{Name: "who", Label: "Who said yes", Required: true},
		How:   Field{Name: "how", Label: "How", Required: true, Options: howOptions},
		When:  Field{Name: "said_at", Label: "When", Type: "datetime-local", Hint: "Empty: just now."},
		Words: Field{Name: "words", Label: "In what words", Whole: true},
	}
}

// NewLineForm is the empty form of a line of one kind.
func NewLineForm(kind, currency string, taxes []Option) LineForm {
	f := LineForm{Kind: kind,
		Scope:    Field{Name: "scope", Label: "It belongs to", Required: true, Value: "repair", Options: scopeOptions},
		Words:    Field{Name: "words", Label: "What for", Required: true, Whole: true},
		Quantity: Field{Name: "quantity", Label: "How many", Mode: "decimal", Required: true, Value: "1"},
		Price:    Field{Name: "price", Label: "Price of one", Unit: currency, Mode: "decimal", Required: true},
		Tax:      Field{Name: "tax", Label: "Tax", Required: true, Options: taxes, Value: taxes[0].Value},
	}
	switch kind {
	case "labour":
		f.Title = "Labour"
		f.Quantity.Label, f.Quantity.Unit, f.Price.Label = "Time", "h", "Price of an hour"
	case "part":
		f.Title = "A part"
		f.Place = &Field{Name: "place", Label: "Sensor for", Whole: true, Hint: "A sensor is never just a sensor: it is named by bank and position."}
		f.SensorKind = &Field{Name: "sensor_kind", Label: "Kind, as on the box"}
		f.Wires = &Field{Name: "wires", Label: "Wires, as on the box", Mode: "numeric"}
		f.Connector = &Field{Name: "connector", Label: "Connector"}
		f.Number = &Field{Name: "part_number", Label: "Part number"}
		f.Supplier = &Field{Name: "supplier", Label: "Supplier"}
		f.Core = &Field{Name: "core", Label: "Deposit on the old part", Unit: currency, Mode: "decimal"}
	case "fee":
		f.Title = "A fee"
	case "discount":
		f.Title = "A discount"
		f.Percent = &Field{Name: "percent", Label: "Of the lines of this scope", Unit: "%", Mode: "decimal"}
		f.Price.Label, f.Price.Required, f.Price.Hint = "or an amount", false, "Before tax."
	}
	return f
}

// LineKinds are the kinds of line a person adds.
var LineKinds = []Option{{"labour", "Labour"}, {"part", "Part"}, {"fee", "Fee"}, {"discount", "Discount"}}

// NoSensorPart is a part that is no sensor.
const NoSensorPart = "No sensor: another part"

// PickKind asks for the kind of sensor.
const PickKind = "Choose"

// LineStatusWord names how far a line is.
func LineStatusWord(s string) string {
	switch s {
	case "offered":
		return "offered"
	case "accepted":
		return "accepted"
	case "declined":
		return "declined"
	}
	return "done"
}

// ConsequenceField asks what was said about declining.
func ConsequenceField(usual string) Field {
	return Field{Name: "consequence", Label: "What it means, as said to the customer", Value: usual, Required: true, Whole: true}
}

// UsualConsequence is what declining usually means.
func UsualConsequence(kind string, sensor, makesDamage bool) string {
	switch {
	case makesDamage:
		return "Without it a new sensor would fail the same way, so we fit none."
	case sensor:
		return "The light stays on, the engine burns more fuel than it should, and the converter may suffer."
	case kind == "discount" || kind == "fee":
		return "It is left away."
	}
	return "The fault stays, and the light is likely to come back."
}

var consequences = []string{
	UsualConsequence("", false, true), UsualConsequence("", true, false), UsualConsequence("fee", false, false), UsualConsequence("", false, false),
}

// ConsequenceIn says a usual consequence in another language. What a person wrote stays
// as it is.
func ConsequenceIn(l *lang.Language, from []*lang.Language, words string) string {
	for _, c := range consequences {
		if slices.ContainsFunc(from, func(f *lang.Language) bool { return f.T(c) == words }) {
			return l.T(c)
		}
	}
	return words
}

// SearchLine names the line for the search.
const SearchLine = "Finding the cause: readings and tests"

// MendLine names labour that mends a cause, at its place if it has one.
func MendLine(l *lang.Language, order, place string) string {
	order = Upper(strings.TrimSuffix(l.T(order), "."))
	if place == "" {
		return order
	}
	return order + ", " + place
}

// FitLine names the labour of fitting a sensor.
func FitLine(l *lang.Language, place string) string { return l.T("Fit the sensor, %s", place) }

// PartLine names a sensor as a line.
func PartLine(l *lang.Language, place string) string { return l.T("Oxygen sensor, %s", place) }

// PriceThePart links to the form of a part.
func PriceThePart(l *lang.Language, place string) string {
	return l.T("The sensor itself, %s", place)
}

// KnownPartSay tells how a part number fared.
func KnownPartSay(l *lang.Language, kind string, fitted, back, failed int, price, supplier string) string {
	s := l.T("%s, fitted %s, never came back", kind, times(l, fitted))
	switch {
	case back == 0:
	case failed > 0:
		s = l.T("%s, fitted %s, came back %s, failed %s", kind, times(l, fitted), times(l, back), times(l, failed))
	default:
		s = l.T("%s, fitted %s, came back %s, never because the part failed", kind, times(l, fitted), times(l, back))
	}
	return commas(s, price, supplier)
}

func times(l *lang.Language, n int) string {
	switch n {
	case 1:
		return l.T("once")
	case 2:
		return l.T("twice")
	}
	return l.T("%d times", n)
}

// BeyondWords says how sure the reckoning of the search is.
func BeyondWords(l *lang.Language, p float64) string {
	if p < 0.005 {
		return ""
	}
	return l.T("In %.0f of 100 the search goes on past what was counted.", max(p*100, 1))
}

// AskWords is the sentence to ask a customer with.
func AskWords(l *lang.Language, customer, car, shop, agreed, limit, work string) string {
	s := l.T("%s, this is about your %s.", customer, car) + " "
	if agreed == "" {
		s += l.T("May we go up to %s, tax included, for %s?", limit, l.T(work))
	} else {
		s += l.T("So far you agreed to %s. To go on we would need up to %s, tax included, for %s. May we?", agreed, limit, l.T(work))
	}
	if shop != "" {
		s += " " + shop
	}
	return s
}

// The work a yes is for.
const (
	WorkLooking = "finding the cause of the warning light"
	WorkMending = "the work on the estimate"
)

// OverWords says how far the plan goes past the yes.
func OverWords(l *lang.Language, planned, limit string) string {
	if limit == "" {
		return l.T("There is no yes yet to what comes to %s.", planned)
	}
	return l.T("What is planned comes to %s, past the limit of %s.", planned, limit)
}

// PastLimit says that a test goes past the yes.
func PastLimit(l *lang.Language, total, limit string) string {
	return l.T("With this test looking comes to %s, past the customer's limit of %s.", total, limit)
}

// AskedNote goes into the job's log.
func AskedNote(l *lang.Language, limit, scope string) string {
	return l.T("Asked the customer for a yes up to %s for %s.", limit, l.T(labelOf(scopeOptions, scope)))
}

// YesLine is one yes in the list of all.
func YesLine(l *lang.Language, when, limit, who, how, words, by string) string {
	s := commas(when, l.T("up to %s", limit), who, l.T(HowWord(how)), l.T("written down by %s", by))
	if words != "" {
		s += ": " + words
	}
	return s
}

// SayBelowDone refuses a limit below the work already done.
func SayBelowDone(l *lang.Language, done string) Mend {
	return Mend{l.T("Work for %s is done already.", done), "The limit must cover it. If that is not agreed, take the work off the lines first."}
}

// SayBeyond refuses work past the limit.
func SayBeyond(l *lang.Language, would, limit string) string {
	if limit == "" {
		return l.T("The customer has not said yes to any work of this kind. With this line it would come to %s. Ask first, then write the yes down.", would)
	}
	return l.T("With this line the work would come to %s, past the limit of %s. Ask for a new yes first.", would, limit)
}

// SayOtherPlace refuses a part number known from another place.
func SayOtherPlace(l *lang.Language, number, place, here string) Mend {
	return Mend{l.T("%s was fitted at %s in cars of this family, never at %s.", number, place, here),
		"Upstream and downstream sensors are not interchangeable. Check the number on the box and the place."}
}

// SayWrongKind refuses a box that does not fit the place.
func SayWrongKind(l *lang.Language, place, has string) Mend {
	return Mend{l.T("The sensor at %s is %s.", place, has), "This box does not belong there. If the car really has another sensor, correct the car's layout first."}
}

// SayDiscountHow wants a share or an amount.
var SayDiscountHow = Mend{"Neither a share nor an amount is given.", "Give one of the two."}

// SayNoLines refuses a share of nothing.
var SayNoLines = Mend{"There is no line to take a share of.", "Add the lines first, or give an amount."}

// DiscountWords names a discount by its share.
func DiscountWords(l *lang.Language, percent string) string { return l.T("Discount, %s", percent) }

// NoTax is the choice of no tax.
const NoTax = "no tax"

// DocumentTitle names a paper by kind and number.
func DocumentTitle(l *lang.Language, kind string, number int64) string {
	if kind == "invoice" {
		return l.T("Invoice %d", number)
	}
	return l.T("Estimate %d", number)
}

// PaidWords tells what is paid and open.
func PaidWords(l *lang.Language, paid, open string) string {
	if open == "" {
		return l.T("Paid in full.")
	}
	if paid == "" {
		return l.T("Nothing paid yet.")
	}
	return l.T("Paid %s, %s open.", paid, open)
}

// NewPayForm is the empty form of a payment.
func NewPayForm(currency string) PayForm {
	return PayForm{
		Amount: Field{Name: "amount", Label: "Amount", Unit: currency, Mode: "decimal", Required: true, Hint: "A refund is negative."},
		Method: Field{Name: "method", Label: "How", Required: true, Options: methodOptions},
		Words:  Field{Name: "words", Label: "For the record"},
	}
}

// VoidField asks why a paper is taken back.
func VoidField() Field {
	return Field{Name: "why", Label: "Why?", Required: true, Whole: true}
}

// LinkDaysField asks how long a link works.
func LinkDaysField() Field {
	return Field{Name: "days", Label: "It works for", Unit: "days", Mode: "numeric", Required: true, Value: "30"}
}

// LinkSay describes a link.
func LinkSay(l *lang.Language, made, until string, views int, last string, state string) string {
	var s string
	switch state {
	case "ended":
		s = l.T("Made %s, ended by the shop.", made)
	case "over":
		s = l.T("Made %s, ran out %s.", made, until)
	default:
		s = l.T("Made %s, works until %s.", made, until)
	}
	if views == 0 {
		return s + " " + l.T("Never opened.")
	}
	return s + " " + l.T("Opened %s, last %s.", times(l, views), last)
}

// NewConverterForm is the empty form of a converter's papers.
func NewConverterForm(banks []Option) ConverterForm {
	date := func(name, label, hint string) Field { return Field{Name: name, Label: label, Type: "date", Hint: hint} }
	f := ConverterForm{
		Bank:     Field{Name: "bank", Label: "Which", Required: true, Options: banks},
		Need:     Field{Name: "need", Label: "Why it had to be replaced", Required: true, Whole: true, Hint: "The statement of need; it goes with the invoice."},
		Number:   Field{Name: "part_number", Label: "Part number of the new one", Required: true},
		Tag:      Field{Name: "tag", Label: "Tag on the removed unit", Required: true},
		Name:     Field{Name: "customer_name", Label: "Customer's name", Required: true},
		Removed:  date("removed_on", "Removed on", ""),
		Invoiced: date("invoiced_on", "Invoice dated", ""),
		Signed:   date("signed_on", "Signed by the customer", ""),
		Card:     date("card_filled_on", "Warranty card filled in", ""),
		Gone:     date("unit_gone_on", "Removed unit let go", "Not before 15 days have passed."),
	}
	f.Removed.Required = true
	if len(banks) == 1 {
		f.Bank.Value = banks[0].Value
	}
	return f
}

// ConverterSay names a converter's papers.
func ConverterSay(l *lang.Language, place, number string) string {
	return l.T("Converter %s, %s", number, place)
}

// ConverterTagged names a converter by its part number and the tag of the removed one.
func ConverterTagged(l *lang.Language, number, tag string) string {
	return l.T("Converter %s, removed unit %s", number, tag)
}

// ConverterDue tells what the papers still ask for.
func ConverterDue(l *lang.Language, keepUnit, keepPaper string, gone, signed, card bool) string {
	var due []string
	if !signed {
		due = append(due, l.T("wants the customer's signature"))
	}
	if !card {
		due = append(due, l.T("wants the maker's warranty card"))
	}
	if !gone {
		due = append(due, l.T("keep the removed unit until %s", keepUnit))
	}
	due = append(due, l.T("keep the papers until %s", keepPaper))
	return Upper(commas(due...))
}

// OnlyConverter is the converter of a car with one.
const OnlyConverter = "the only one"

// Things done on the page of money.
const (
	DidYes     Did = "yes"
	DidAsked   Did = "asked"
	DidPaid    Did = "paid"
	DidRevoked Did = "revoked"
	DidPapers  Did = "papers"
)

// SayNotDate refuses a date.
var SayNotDate = Mend{"That is not a date.", "Give year, month and day."}

// TaxWords names a line's tax.
func TaxWords(l *lang.Language, percent string) string { return l.T("%s tax in it", percent) }

// NumberWords names a part by its number.
func NumberWords(l *lang.Language, n string) string { return l.T("no. %s", n) }

// CoreWords names the deposit on an old part.
func CoreWords(l *lang.Language, money string) string {
	return l.T("deposit on the old part %s", money)
}

// Commas joins what is there.
func Commas(parts ...string) string { return commas(parts...) }

// The hints on the emission warranty.
const (
	WarrantyAll    = "By its age and odometer this car may still be under the federal emission warranty of 2 years or 24,000 miles, which takes in oxygen sensors. The maker may have to pay, not the customer: let them ask a dealer first."
	WarrantyMajor  = "By its age and odometer the converter and the engine control unit of this car may still be under the federal emission warranty of 8 years or 80,000 miles. The maker may have to pay for them, not the customer: let them ask a dealer first."
	WarrantySource = "A hint, not legal advice. Source: fact sheet EPA420-F-96-020. The term runs from the first sale, which the model year only approximates; makers and states may give more."
)

// SayDeadCustomerLink is the one answer to every customer link that does not work.
const SayDeadCustomerLink = "This link does not work. It may have run out or been ended. Ask the shop for a new one."

// VoidWords stand across a paper that was taken back.
func VoidWords(l *lang.Language, why string) string { return l.T("Taken back: %s", why) }

// SayShopFirst refuses money before the shop has a currency.
const SayShopFirst = "The shop has no currency yet. The owner saves the shop's settings once; then come back and do this again."
