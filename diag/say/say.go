// Package say holds what the engine has to say until somebody chooses a language.
//
// A Text is an English sentence with its blanks not yet filled in. Its String is the
// English; a catalogue translates Format and fills the arguments in afterwards.
package say

import (
	"encoding/json"
	"fmt"
	"unicode"
	"unicode/utf8"
)

// Text is a sentence or a part of one. Without arguments Format is the text itself and
// a per cent sign in it means itself; with arguments it is a format of package fmt.
// Arguments may be Texts. The zero value says nothing.
type Text struct {
	Format string
	Args   []any
	First  Case // how the first letter stands in the sentence around it
}

// Case is what happens to the first letter once the words are chosen.
type Case int8

// The cases.
const (
	AsIs Case = iota
	Small
	Capital
)

// T makes a text.
func T(format string, args ...any) Text { return Text{Format: format, Args: args} }

// Lower is the text for the middle of a sentence.
func (t Text) Lower() Text { t.First = Small; return t }

// Upper is the text for the beginning of a sentence.
func (t Text) Upper() Text { t.First = Capital; return t }

// IsZero says that there is nothing to say.
func (t Text) IsZero() bool { return t.Format == "" }

// Phrase gives the parts to translate.
func (t Text) Phrase() (format string, args []any) { return t.Format, t.Args }

// Fit sets the first letter of chosen words as the text asks.
func (t Text) Fit(words string) string {
	if t.First == AsIs || words == "" {
		return words
	}
	r, n := utf8.DecodeRuneInString(words)
	if t.First == Small {
		return string(unicode.ToLower(r)) + words[n:]
	}
	return string(unicode.ToUpper(r)) + words[n:]
}

// Quantity is a value in the unit that records keep, °C, kPa, km or km/h: an argument
// of a Text, for a blank %s. By itself it says so; a language with a shop's units says
// it in those. A difference of temperatures is none: it does not turn as a value does.
type Quantity struct {
	Value float64
	Unit  string
	Bare  bool // say the number alone: its unit stands behind another, as in "40 to 115 kPa"
}

// Measure gives the value and its unit, and whether to leave the unit unsaid.
func (q Quantity) Measure() (value float64, unit string, bare bool) { return q.Value, q.Unit, q.Bare }

// String is the English, in the records' own unit.
func (q Quantity) String() string {
	if q.Unit == "" || q.Bare {
		return fmt.Sprintf("%g", q.Value)
	}
	return fmt.Sprintf("%g %s", q.Value, q.Unit)
}

// String is the English.
func (t Text) String() string {
	if len(t.Args) == 0 {
		return t.Fit(t.Format)
	}
	return t.Fit(fmt.Sprintf(t.Format, t.Args...))
}

// MarshalJSON writes the English.
func (t Text) MarshalJSON() ([]byte, error) { return json.Marshal(t.String()) }

// UnmarshalJSON reads finished words.
func (t *Text) UnmarshalJSON(b []byte) error {
	*t = Text{}
	return json.Unmarshal(b, &t.Format)
}

// List joins with commas.
func List(ts []Text) Text { return join("%s, %s", ts) }

func join(two string, ts []Text) Text {
	if len(ts) == 0 {
		return Text{}
	}
	out := ts[0]
	for _, t := range ts[1:] {
		out = T(two, out, t)
	}
	return out
}

// Series joins what has commas of its own.
func Series(ts []Text) Text { return join("%s; %s", ts) }

// Sentences puts whole sentences behind each other.
func Sentences(ts []Text) Text { return join("%s %s", ts) }

// And joins as a sentence does.
func And(ts []Text) Text {
	if n := len(ts); n > 1 {
		return T("%s and %s", List(ts[:n-1]), ts[n-1])
	}
	return List(ts)
}

// Texts makes each word a text of its own.
func Texts(words []string) []Text {
	out := make([]Text, len(words))
	for i, w := range words {
		out[i] = T(w)
	}
	return out
}
