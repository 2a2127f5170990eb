// Package lang holds all texts in all languages: one catalogue, keyed by the English.
//
// The code says things in English. A language looks the English up, as it stands or as
// a format with blanks, and fills in numbers the way it writes them. What is missing
// stays English; a test keeps the catalogue complete.
package lang

import (
	"context"
	"embed"
	"fmt"
	"io/fs"
	"strings"
	"sync"

	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/message/catalog"
)

//go:embed es/*.txt
var files embed.FS

// Language chooses words and writes numbers. The zero value is English with a decimal
// point.
type Language struct {
	Tag     language.Tag
	Decimal string // the decimal sign; empty is a point
	Units   Units  // of the shop; nil shows values as records keep them
	Dates   string // which stands first in the shop's dates: day, month, year
	printer *message.Printer
	marked  bool
}

// Offered are the languages that people choose from, by tag, with their own names.
var Offered = []struct{ Tag, Name string }{{"en", "English"}, {"es", "Español"}}

// known is the catalogue with the English texts that it has.
type known struct {
	*catalog.Builder
	has map[string]bool
}

var load = sync.OnceValue(func() known {
	k := known{catalog.NewBuilder(catalog.Fallback(language.English)), map[string]bool{}}
	for _, name := range names() {
		for _, e := range must(Entries(name)) {
			k.has[e.English] = true
			if err := e.into(k.Builder, language.Spanish); err != nil {
				panic(err) // a test reads every file
			}
		}
	}
	return k
})

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func names() []string { return must(fs.Glob(files, "es/*.txt")) }

// Of gives the language of a BCP 47 tag, the nearest that is offered; English where
// none is near. The decimal sign is given by whoever knows the shop.
func Of(tag, decimal string) *Language {
	want, err := language.Parse(tag)
	if err != nil {
		want = language.English
	}
	if base, _ := want.Base(); base.String() == "es" {
		return &Language{Tag: want, Decimal: decimal, printer: message.NewPrinter(language.Spanish, message.Catalog(load().Builder))}
	}
	return &Language{Tag: language.English, Decimal: decimal}
}

// Marked is English with every text that the catalogue has in brackets, for tests:
// what a page shows outside of them was typed by somebody, or is missing.
func Marked() *Language { return &Language{Tag: language.English, marked: true} }

// Phrase is something that knows its English but not yet its language.
type Phrase interface {
	Phrase() (format string, args []any)
	Fit(words string) string
}

// Units turn a value from the unit that records keep (°C, kPa, km, km/h) into the one
// that people read. Units of other quantities stay.
type Units interface {
	// Shown is exact.
	Shown(value float64, kept string) (shown float64, unit string)
	// Figure is rounded and written, with a decimal point.
	Figure(value float64, kept string) (figure, unit string)
}

// Measured is a value in the unit that records keep, such as a quantity of the engine.
type Measured interface {
	Measure() (value float64, unit string, bare bool)
}

// Shown gives a value in the shop's unit, exact.
func (l *Language) Shown(value float64, kept string) (shown float64, unit string) {
	if l == nil || l.Units == nil {
		return value, kept
	}
	return l.Units.Shown(value, kept)
}

// Unit names the shop's unit for what records keep in another.
func (l *Language) Unit(kept string) string {
	_, unit := l.Shown(0, kept)
	return unit
}

// Figure writes a value in the shop's unit, rounded as people read it.
func (l *Language) Figure(value float64, kept string) (figure, unit string) {
	if l == nil || l.Units == nil {
		return l.Point(fmt.Sprintf("%g", value)), kept
	}
	figure, unit = l.Units.Figure(value, kept)
	return l.Point(figure), unit
}

func (l *Language) quantity(m Measured) string {
	value, unit, bare := m.Measure()
	figure, unit := l.Figure(value, unit)
	if unit == "" || bare {
		return figure
	}
	return figure + " " + unit
}

// Point sets the shop's decimal sign in a figure written with a point.
func (l *Language) Point(figure string) string {
	if l == nil || l.Decimal == "" {
		return figure
	}
	return strings.Replace(figure, ".", l.Decimal, 1)
}

// Names splits a list of single words, such as the months.
func (l *Language) Names(list string) []string {
	words := strings.Fields(strings.Trim(l.T(list), Open+Close))
	if l != nil && l.marked && load().has[list] {
		for i := range words {
			words[i] = Open + words[i] + Close
		}
	}
	return words
}

// T says a text. Without arguments the English is the text itself, and a per cent sign
// in it means itself; with arguments it is a format of package fmt. Arguments that are
// phrases are said in the same language.
func (l *Language) T(english string, args ...any) string {
	if english == "" {
		return ""
	}
	filled := make([]any, len(args))
	for i, a := range args {
		filled[i] = l.fill(a)
	}
	var out string
	switch {
	case l != nil && l.printer != nil && len(args) == 0:
		out = l.printer.Sprintf(message.Key(literal+english, escape(english)))
	case l != nil && l.printer != nil:
		out = l.printer.Sprintf(message.Key(english, english), filled...)
	case len(args) == 0:
		out = english
	default:
		out = fmt.Sprintf(english, filled...)
	}
	if l != nil && l.marked && load().has[english] {
		return Open + out + Close
	}
	return out
}

// Say says a phrase, such as a sentence of the engine.
func (l *Language) Say(p Phrase) string {
	format, args := p.Phrase()
	if format == "" {
		return ""
	}
	return p.Fit(l.T(format, args...))
}

// Has says whether the catalogue holds a text.
func Has(english string) bool { return load().has[english] }

// All says several.
func All[P Phrase](l *Language, ps []P) []string {
	out := make([]string, len(ps))
	for i, p := range ps {
		out[i] = l.Say(p)
	}
	return out
}

// Each says several texts that have no blanks.
func (l *Language) Each(english []string) []string {
	out := make([]string, len(english))
	for i, e := range english {
		out[i] = l.T(e)
	}
	return out
}

// And joins clauses as a sentence does. The clauses are in the language already.
func (l *Language) And(clauses []string) string {
	switch n := len(clauses); n {
	case 0:
		return ""
	case 1:
		return clauses[0]
	default:
		return l.T("%s and %s", strings.Join(clauses[:n-1], ", "), clauses[n-1])
	}
}

// Plain says that English stays as it is.
func (l *Language) Plain() bool { return l == nil || l.printer == nil && !l.marked }

// Code is what goes into the page's lang attribute.
func (l *Language) Code() string {
	if l == nil || l.Tag == language.Und {
		return "en"
	}
	base, _ := l.Tag.Base()
	return base.String()
}

func (l *Language) fill(a any) any {
	switch v := a.(type) {
	case Phrase:
		return l.fill(l.Say(v))
	case Measured:
		return l.fill(l.quantity(v))
	case string:
		if l != nil && l.marked {
			return Close + v + Open
		}
	case int:
		return plain{v}
	case int64:
		return plain{v}
	case float64:
		return decimal{v, l}
	}
	return a
}

// plain keeps whole numbers as they are: most are the numbers of jobs and places, and
// those that want grouping have been written by the shop's own style.
type plain struct{ n any }

func (p plain) Format(f fmt.State, verb rune) { fmt.Fprintf(f, fmt.FormatString(f, verb), p.n) }

type decimal struct {
	x float64
	l *Language
}

func (d decimal) Format(f fmt.State, verb rune) {
	fmt.Fprint(f, d.l.Point(fmt.Sprintf(fmt.FormatString(f, verb), d.x)))
}

// Marks of the marked language.
const (
	Open  = "⟦"
	Close = "⟧"
)

type key struct{}

// With carries the language of a request or a paper.
func With(ctx context.Context, l *Language) context.Context { return context.WithValue(ctx, key{}, l) }

// From is the language of the context, English if none was chosen.
func From(ctx context.Context) *Language {
	if l, ok := ctx.Value(key{}).(*Language); ok {
		return l
	}
	return &Language{}
}

// T says a text in the context's language.
func T(ctx context.Context, english string, args ...any) string { return From(ctx).T(english, args...) }
