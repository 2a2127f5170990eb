// Package vin reads vehicle identification numbers: the North American check digit
// and model year (49 CFR 565) and the region (ISO 3780).
package vin

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"crosscount/diag/say"
)

// Length of every VIN since model year 1981.
const Length = 17

// VIN is a vehicle identification number: 17 capital letters and digits without I,
// O and Q. Parse makes one.
type VIN string

// Region is the part of the world that the first character stands for.
type Region string

// The regions of ISO 3780 (from memory).
const (
	Unassigned   Region = ""
	Africa       Region = "Africa"
	Asia         Region = "Asia"
	Europe       Region = "Europe"
	NorthAmerica Region = "North America"
	Oceania      Region = "Oceania"
	SouthAmerica Region = "South America"
)

// Error says why a text cannot be a VIN, where, and how to mend it.
type Error struct {
	Position int // of the VIN, from 1; 0 when the whole is meant
	Problem  say.Text
	Mend     say.Text
}

func (e *Error) Error() string {
	at := ""
	if e.Position > 0 {
		at = fmt.Sprintf(" position %d:", e.Position)
	}
	return fmt.Sprintf("VIN:%s %s; %s", at, e.Problem, e.Mend)
}

// Warning is a doubt about a VIN that is possible all the same.
type Warning struct {
	Grave    bool // almost surely misread or mistyped
	Position int  // from 1
	Text     say.Text
	Mend     say.Text
}

func (w Warning) String() string {
	return fmt.Sprintf("VIN position %d: %s; %s", w.Position, w.Text, w.Mend)
}

// Parse reads a VIN. Lower case, blanks, dashes and the stars around a stamped
// number are tolerated. The error, a *Error, is for what cannot be a VIN: a wrong
// length, I, O or Q, or another character. A check digit that does not match is a
// warning: grave for North America, where the rule holds, mild elsewhere, where most
// makers do not follow it.
func Parse(s string) (VIN, []Warning, error) {
	if !utf8.ValidString(s) {
		return "", nil, &Error{0, say.T("it is not text"), say.T("type the 17 letters and digits")}
	}
	var b [Length]byte
	n := 0
	for _, r := range strings.Trim(strings.TrimSpace(s), "*") {
		if unicode.IsSpace(r) || unicode.Is(unicode.Dash, r) || r == '\u200b' || r == '\ufeff' {
			continue
		}
		n++
		if r >= 'a' && r <= 'z' {
			r -= 'a' - 'A'
		}
		switch {
		case r == 'I':
			return "", nil, &Error{n, say.T("the letter I is never used"), say.T("type the digit 1")}
		case r == 'O' || r == 'Q':
			return "", nil, &Error{n, say.T("the letter %s is never used", string(r)), say.T("type the digit 0")}
		case r > unicode.MaxASCII && unicode.IsLetter(r):
			return "", nil, &Error{n, say.T("%s is a letter of another alphabet", strconv.QuoteRune(r)), say.T("type it on a Latin keyboard")}
		case r > unicode.MaxASCII || value(byte(r)) < 0:
			return "", nil, &Error{n, say.T("%s is not a letter or digit", strconv.QuoteRune(r)), say.T("use A to Z without I, O and Q, and 0 to 9")}
		}
		if n <= Length {
			b[n-1] = byte(r)
		}
	}
	switch {
	case n == 0:
		return "", nil, &Error{0, say.T("it is empty"), say.T("type the 17 letters and digits, or leave the field out")}
	case n != Length:
		return "", nil, &Error{0, say.T("it has %d of %d characters", n, Length), say.T("count them again; a car built before 1981 has a shorter number: put that into the remarks")}
	}
	v := VIN(b[:])
	return v, v.warnings(), nil
}

func (v VIN) warnings() []Warning {
	var w []Warning
	american := v.Region() == NorthAmerica
	if v.Region() == Unassigned {
		w = append(w, Warning{false, 1, say.T("no region has the digit 0"), say.T("compare with the plate")})
	}
	if want := v.CheckDigit(); v[8] != want {
		if american {
			w = append(w, Warning{true, 9, say.T("the check digit is %s and should be %s, so some character is wrong", string(v[8]), string(want)), say.T("compare each character with the plate; 5 and S, 8 and B, 2 and Z, 6 and G, 1 and 7 are easily confused")})
		} else {
			w = append(w, Warning{false, 9, say.T("no valid check digit (%s, computed %s); outside North America most makers do not use one", string(v[8]), string(want)), say.T("compare with the plate once more")})
		}
	}
	if american && yearIndex(v[9]) < 0 {
		w = append(w, Warning{true, 10, say.T("%s stands for no model year", string(v[9])), say.T("compare this character with the plate")})
	}
	return w
}

// value is the number a character stands for in the check digit, 49 CFR 565.15(c)
// Table III; −1 for a character that no VIN holds.
func value(c byte) int {
	switch {
	case c >= '0' && c <= '9':
		return int(c - '0')
	case c >= 'A' && c <= 'H':
		return int(c-'A') + 1
	case c >= 'J' && c <= 'R' && c != 'O' && c != 'Q':
		return int(c-'J') + 1
	case c >= 'S' && c <= 'Z':
		return int(c-'S') + 2
	}
	return -1
}

// weights of the positions, 49 CFR 565.15(c) Table IV.
var weights = [Length]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

func (v VIN) weightedSum() int {
	sum := 0
	for i := range min(len(v), Length) {
		sum += weights[i] * value(v[i])
	}
	return sum
}

// CheckDigit computes the digit that position 9 of a North American VIN holds: 0 to
// 9, or X for ten.
func (v VIN) CheckDigit() byte {
	if r := v.weightedSum() % 11; r < 10 {
		return '0' + byte(r)
	}
	return 'X'
}

// Region tells where the maker is registered, by the first character.
func (v VIN) Region() Region {
	if v == "" {
		return Unassigned
	}
	switch c := v[0]; {
	case c >= 'A' && c <= 'H':
		return Africa
	case c >= 'J' && c <= 'R':
		return Asia
	case c >= 'S' && c <= 'Z':
		return Europe
	case c >= '1' && c <= '5':
		return NorthAmerica
	case c == '6' || c == '7':
		return Oceania
	case c == '8' || c == '9':
		return SouthAmerica
	}
	return Unassigned
}

// yearCodes in order from 1980; the thirty of them come round every thirty years
// (49 CFR 565.15 Table VII, from memory).
const yearCodes = "ABCDEFGHJKLMNPRSTVWXY123456789"

func yearIndex(c byte) int { return strings.IndexByte(yearCodes, c) }

// ModelYears lists the model years that position 10 can mean, earlier first. In
// North America position 7 decides for cars and light trucks: a digit means 1980 to
// 2009, a letter 2010 to 2039 (49 CFR 565.15(b)), so there is one; elsewhere the
// position is customary but not prescribed, and there are two. None where the
// character stands for no year.
func (v VIN) ModelYears() []int {
	if len(v) != Length {
		return nil
	}
	i := yearIndex(v[9])
	switch {
	case i < 0:
		return nil
	case v.Region() != NorthAmerica:
		return []int{1980 + i, 2010 + i}
	case v[6] >= '0' && v[6] <= '9':
		return []int{1980 + i}
	}
	return []int{2010 + i}
}

// Maker is the world manufacturer identifier, the first three characters.
func (v VIN) Maker() string { return string(v[:min(3, len(v))]) }
