// Package obd reads what a car's on-board diagnostics say: trouble codes and
// their meaning, and the raw responses of the diagnostic services.
//
// Sources. Code layout: SAE J2012 / ISO 15031-6. Services and scaling: SAE J1979
// / ISO 15031-5. Framing on CAN: ISO 15765-2 and -4. None of these texts was at
// hand; the facts come from open data sets and are marked `from memory` where
// they do not.
package obd

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"crosscount/diag/say"
)

// Code is a diagnostic trouble code in the two bytes SAE J2012 gives it: two bits
// for the system, two for the first digit, three hexadecimal digits. The zero
// value is P0000, which means "no code".
type Code uint16

// CodeError says what is wrong with a code's text and how to mend it.
type CodeError struct {
	Text    string // as given
	At      int    // 1-based character at fault, 0 when it is the whole
	Problem say.Text
	Mend    say.Text
}

func (e *CodeError) Error() string {
	return fmt.Sprintf("trouble code %q: %s; %s", e.Text, e.Problem, e.Mend)
}

const systemLetters = "PCBU"

// ParseCode reads the five-character text of a code, such as P0171. Lower case,
// spaces, dashes, dots and a leading or trailing mark are tolerated. The error is
// a *CodeError.
func ParseCode(s string) (Code, error) {
	shown := s
	if len(shown) > 40 {
		shown = strings.ToValidUTF8(shown[:40], "") + "…"
	}
	fail := func(at int, problem say.Text, mend string) (Code, error) {
		return 0, &CodeError{Text: shown, At: at, Problem: problem, Mend: say.T(mend)}
	}
	if !utf8.ValidString(s) {
		return fail(0, say.T("it is not text"), "type the five characters, such as P0171")
	}

	var chars [5]rune // upper case
	var at [5]int     // 1-based place in s
	n, place := 0, 0
	for _, r := range s {
		place++
		if unicode.IsSpace(r) || unicode.Is(unicode.Dash, r) || r == '.' || r == '_' || r == '\u200b' || r == '\ufeff' {
			continue
		}
		if n == len(chars) {
			return fail(place, say.T("it is longer than five characters"), "a code is one letter and four digits, such as P0171; enter one code at a time and leave out what follows it")
		}
		chars[n], at[n] = unicode.ToUpper(r), place
		n++
	}
	if n == 0 {
		return fail(0, say.T("it is empty"), "type the five characters, such as P0171")
	}
	system := strings.IndexRune(systemLetters, chars[0])
	if system < 0 {
		if chars[0] >= '0' && chars[0] <= '9' {
			return fail(at[0], say.T("the letter is missing"), "begin with P, C, B or U; engine codes begin with P, such as P0171")
		}
		return fail(at[0], say.T("it begins with %s", strconv.QuoteRune(chars[0])), "begin with P (powertrain), C (chassis), B (body) or U (network)")
	}
	if n < len(chars) {
		return fail(0, say.T("it has %d of five characters", n), "a code is one letter and four digits, such as P0171")
	}
	code := Code(system) << 14
	for i := 1; i < len(chars); i++ {
		v, ok := hexDigit(chars[i])
		switch {
		case chars[i] == 'O':
			return fail(at[i], say.T("it has the letter O where a digit belongs"), "type a zero")
		case chars[i] == 'I' || chars[i] == 'L':
			return fail(at[i], say.T("it has the letter %s where a digit belongs", string(chars[i])), "type a one")
		case !ok:
			return fail(at[i], say.T("%s is not a digit", strconv.QuoteRune(chars[i])), "use 0 to 9, or A to F in the last three places")
		case i == 1 && v > 3:
			return fail(at[i], say.T("the first digit is %s", string(chars[i])), "it is 0, 1, 2 or 3 in every code")
		}
		code |= Code(v) << (4 * (4 - i))
	}
	if code == 0 {
		return fail(0, say.T("it means that no code is stored"), "leave it out")
	}
	return code, nil
}

func hexDigit(r rune) (uint16, bool) {
	switch {
	case r >= '0' && r <= '9':
		return uint16(r - '0'), true
	case r >= 'A' && r <= 'F':
		return uint16(r-'A') + 10, true
	}
	return 0, false
}

// CodeFromBytes reads the two bytes a module sends.
func CodeFromBytes(hi, lo byte) Code { return Code(hi)<<8 | Code(lo) }

// Bytes gives the two bytes a module sends.
func (c Code) Bytes() (hi, lo byte) { return byte(c >> 8), byte(c) }

// Number is the code without its system: 0x0171 for P0171, at most 0x3FFF.
func (c Code) Number() uint16 { return uint16(c) & 0x3FFF }

// String is the five-character text.
func (c Code) String() string {
	return fmt.Sprintf("%c%04X", systemLetters[c>>14], c.Number())
}

// MarshalText writes the five-character text.
func (c Code) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// UnmarshalText reads the five-character text.
func (c *Code) UnmarshalText(b []byte) error {
	v, err := ParseCode(string(b))
	if err != nil {
		return err
	}
	*c = v
	return nil
}

// System is the part of the car a code belongs to.
type System string

// The four systems of SAE J2012.
const (
	Powertrain System = "powertrain"
	Chassis    System = "chassis"
	Body       System = "body"
	Network    System = "network"
)

// Origin says who defined a code.
type Origin string

// Who defines a code.
const (
	Generic  Origin = "generic"      // defined by the standard, the same on every car
	Maker    Origin = "manufacturer" // defined by the car's maker
	Reserved Origin = "reserved"     // kept by the standard, or shared by standard and maker
)

// System tells the part of the car.
func (c Code) System() System {
	return [4]System{Powertrain, Chassis, Body, Network}[c>>14]
}

// Origin tells who defined the code, by its structure: P0, P2 and P34-P39 are
// generic, P1 and P30-P33 the maker's; B, C and U codes are generic with a 0, the
// maker's with a 1 or 2, reserved with a 3. Source: SAE J2012, from memory.
func (c Code) Origin() Origin {
	first := c.Number() >> 12
	if c.System() == Powertrain {
		switch {
		case first == 1, first == 3 && c.Number() < 0x3400:
			return Maker
		}
		return Generic
	}
	switch first {
	case 0:
		return Generic
	case 3:
		return Reserved
	}
	return Maker
}

// Group tells in a few words what a generic powertrain code is about, by its
// third character; it is empty for every other code. Source: SAE J2012, from
// memory.
func (c Code) Group() string {
	if c.System() != Powertrain || c.Origin() != Generic {
		return ""
	}
	first, group := c.Number()>>12, c.Number()>>8&0xF
	switch {
	case first == 3:
		return "cylinder deactivation"
	case group <= 2:
		return "fuel, air and emission control"
	case group == 3:
		return "ignition and misfire"
	case group == 4:
		return "auxiliary emission control"
	case group == 5:
		return "speed, idle and auxiliary inputs"
	case group == 6:
		return "control module and its outputs"
	case group <= 9:
		return "transmission"
	case first == 2 && group == 0xA:
		return "fuel, air and emission control"
	case first == 0 && group >= 0xA:
		return "hybrid drive"
	}
	return ""
}

// Describe tells what a code is: its title where its meaning is known, otherwise
// what its structure alone says.
func (c Code) Describe() say.Text {
	if m, ok := c.Meaning(); ok {
		return m.Title
	}
	who := map[Origin]string{
		Generic:  "%s code, defined by the standard; meaning not in the table",
		Maker:    "%s code, defined by the car's maker; meaning not in the table",
		Reserved: "%s code, reserved or shared by standard and maker; meaning not in the table",
	}[c.Origin()]
	if g := c.Group(); g != "" {
		return say.T("%s code, defined by the standard, %s; meaning not in the table", say.T(string(c.System())), say.T(g))
	}
	return say.T(who, say.T(string(c.System())))
}
