// Package chem holds the physics and chemistry that readings are set against: the
// zirconia cell, the composition of exhaust gas, lambda from measured gas, and the
// air an engine must breathe.
//
// Temperatures of the cell are in kelvin and partial pressures in atmospheres, as
// the formulas have them; gas is in per cent or ppm by volume, dry; the intake is in
// litres, rpm, °C and kPa, as the bay has them. Every argument outside its
// range is named in the error by a *FieldError.
package chem

import (
	"math"

	"crosscount/diag/say"
)

// Constants of nature, exact since 2019 (CODATA 2018, from memory).
const (
	GasConstant = 8.314462618 // J/(mol K)
	Faraday     = 96485.33212 // C/mol

	zeroCelsius = 273.15  // K
	barPerAtm   = 1.01325 // exact
)

// AirOxygen is the partial pressure of oxygen in dry air at one atmosphere, atm.
const AirOxygen = 0.2095

// FieldError says which value cannot be used, why, and how to mend it.
type FieldError struct {
	Field   string
	Value   float64
	Problem say.Text
	Mend    say.Text
}

func (e *FieldError) Error() string { return e.say().String() }

func (e *FieldError) say() say.Text {
	return say.T("%s %g %s; %s", say.T(e.Field), e.Value, e.Problem, e.Mend)
}

// Words says what an error of this package says, all of it.
func Words(err error) say.Text {
	switch e := err.(type) {
	case *FieldError:
		return e.say()
	case interface{ Unwrap() []error }:
		var out say.Text
		for _, one := range e.Unwrap() {
			if w := Words(one); out.IsZero() {
				out = w
			} else {
				out = say.T("%s\n%s", out, w)
			}
		}
		return out
	}
	return say.T(err.Error())
}

// within checks a value against its range, both ends included.
func within(field string, v, low, high float64, unit string) error {
	mend := say.T("give %g to %g %s", low, high, say.T(unit))
	switch {
	case math.IsNaN(v), math.IsInf(v, 0):
		return &FieldError{field, v, say.T("is not a number"), mend}
	case v < low:
		return &FieldError{field, v, say.T("is below %g", low), mend}
	case v > high:
		return &FieldError{field, v, say.T("is above %g", high), mend}
	}
	return nil
}

// Kelvin converts from °C.
func Kelvin(celsius float64) float64 { return celsius + zeroCelsius }

// Celsius converts from kelvin.
func Celsius(kelvin float64) float64 { return kelvin - zeroCelsius }
