package templates

import (
	"fmt"
	"strings"
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

// SearchLine names the line for the search.
const SearchLine = "Finding the cause: readings and tests"

// MendLine names labour that mends a cause.
func MendLine(order string) string { return Upper(strings.TrimSuffix(order, ".")) }

// FitLine names the labour of fitting a sensor.
func FitLine(place string) string { return "Fit the sensor, " + place }

// PartLine names a sensor as a line.
func PartLine(place string) string { return "Oxygen sensor, " + place }

// PriceThePart links to the form of a part.
func PriceThePart(place string) string { return "The sensor itself, " + place }

// KnownPartSay tells how a part number fared.
func KnownPartSay(kind string, fitted, back, failed int, price, supplier string) string {
	s := fmt.Sprintf("%s, fitted %s", kind, times(fitted))
	switch {
	case back == 0:
		s += ", never came back"
	case failed > 0:
		s += fmt.Sprintf(", came back %s, failed %s", times(back), times(failed))
	default:
		s += fmt.Sprintf(", came back %s, never because the part failed", times(back))
	}
	return commas(s, price, supplier)
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// BeyondWords says how sure the reckoning of the search is.
func BeyondWords(p float64) string {
	if p < 0.005 {
		return ""
	}
	return fmt.Sprintf("In %.0f of 100 the search goes on past what was counted.", max(p*100, 1))
}

// AskWords is the sentence to ask a customer with.
func AskWords(customer, car, shop, agreed, limit, work string) string {
	s := customer + ", this is about your " + car + ". "
	if agreed == "" {
		s += "May we go up to " + limit + ", tax included, for " + work + "?"
	} else {
		s += "So far you agreed to " + agreed + ". To go on we would need up to " + limit + ", tax included, for " + work + ". May we?"
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
func OverWords(planned, limit string) string {
	if limit == "" {
		return "There is no yes yet to what comes to " + planned + "."
	}
	return "What is planned comes to " + planned + ", past the limit of " + limit + "."
}

// PastLimit says that a test goes past the yes.
func PastLimit(total, limit string) string {
	return "With this test looking comes to " + total + ", past the customer's limit of " + limit + "."
}

// AskedNote goes into the job's log.
func AskedNote(limit, scope string) string {
	return "Asked the customer for a yes up to " + limit + " for " + labelOf(scopeOptions, scope) + "."
}

// YesLine is one yes in the list of all.
func YesLine(when, limit, who, how, words, by string) string {
	s := commas(when, "up to "+limit, who, HowWord(how), "written down by "+by)
	if words != "" {
		s += ": " + words
	}
	return s
}

// SayBelowDone refuses a limit below the work already done.
func SayBelowDone(done string) Mend {
	return Mend{"Work for " + done + " is done already.", "The limit must cover it. If that is not agreed, take the work off the lines first."}
}

// SayBeyond refuses work past the limit.
func SayBeyond(would, limit string) string {
	if limit == "" {
		return "The customer has not said yes to any work of this kind. With this line it would come to " + would + ". Ask first, then write the yes down."
	}
	return "With this line the work would come to " + would + ", past the limit of " + limit + ". Ask for a new yes first."
}

// SayOtherPlace refuses a part number known from another place.
func SayOtherPlace(number, place, here string) Mend {
	return Mend{number + " was fitted at " + place + " in cars of this family, never at " + here + ".",
		"Upstream and downstream sensors are not interchangeable. Check the number on the box and the place."}
}

// SayWrongKind refuses a box that does not fit the place.
func SayWrongKind(place, has string) Mend {
	return Mend{"The sensor at " + place + " is " + has + ".", "This box does not belong there. If the car really has another sensor, correct the car's layout first."}
}

// SayDiscountHow wants a share or an amount.
var SayDiscountHow = Mend{"Neither a share nor an amount is given.", "Give one of the two."}

// SayNoLines refuses a share of nothing.
var SayNoLines = Mend{"There is no line to take a share of.", "Add the lines first, or give an amount."}

// DiscountWords names a discount by its share.
func DiscountWords(percent string) string { return "Discount, " + percent }

// NoTax is the choice of no tax.
const NoTax = "no tax"

// DocumentTitle names a paper by kind and number.
func DocumentTitle(kind string, number int64) string {
	if kind == "invoice" {
		return fmt.Sprintf("Invoice %d", number)
	}
	return fmt.Sprintf("Estimate %d", number)
}

// PaidWords tells what is paid and open.
func PaidWords(paid, open string) (string, string) {
	if open == "" {
		return "Paid in full.", ""
	}
	if paid == "" {
		return "Nothing paid yet.", ""
	}
	return "Paid " + paid + ",", open + " open."
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
func LinkSay(made, until string, views int, last string, state string) string {
	s := "Made " + made + ", works until " + until
	switch state {
	case "ended":
		s = "Made " + made + ", ended by the shop"
	case "over":
		s = "Made " + made + ", ran out " + until
	}
	if views == 0 {
		return s + ". Never opened."
	}
	return s + fmt.Sprintf(". Opened %s, last %s.", times(views), last)
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
func ConverterSay(place, number string) string {
	return "Converter " + number + ", " + place
}

// ConverterTagged names a converter by its part number and the tag of the removed one.
func ConverterTagged(number, tag string) string {
	return "Converter " + number + ", removed unit " + tag
}

// ConverterDue tells what the papers still ask for.
func ConverterDue(keepUnit, keepPaper string, gone, signed, card bool) string {
	var due []string
	if !signed {
		due = append(due, "wants the customer's signature")
	}
	if !card {
		due = append(due, "wants the maker's warranty card")
	}
	if !gone {
		due = append(due, "keep the removed unit until "+keepUnit)
	}
	due = append(due, "keep the papers until "+keepPaper)
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
func TaxWords(percent string) string { return percent + " tax in it" }

// NumberWords names a part by its number.
func NumberWords(n string) string { return "no. " + n }

// CoreWords names the deposit on an old part.
func CoreWords(money string) string { return "deposit on the old part " + money }

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
func VoidWords(why string) string { return "Taken back: " + why }

// SayShopFirst refuses money before the shop has a currency.
const SayShopFirst = "The shop has no currency yet. The owner saves the shop's settings once; then come back and do this again."
