// Package outcome holds the statistics by which a shop learns from its finished
// jobs: rates with intervals, time to comeback, how well the issued probabilities
// held, priors updated by counts, and what the work cost.
//
// Everything is computed here from published formulas; each function names its
// source. Probabilities and rates run from 0 to 1, levels of confidence lie
// strictly between 0 and 1 (0.95 is 95 %). Times and amounts carry whatever unit
// the caller uses. Bad input is refused with an *InputError that names the field
// and how to mend it; nothing panics.
package outcome

import (
	"fmt"
	"math"
)

// InputError says which input is unusable and how to mend it.
type InputError struct {
	Field   string // the parameter, with its index when it is a list: "observations[3].time"
	Problem string // what is wrong and what would be right
}

func (e *InputError) Error() string { return e.Field + ": " + e.Problem }

func bad(field, format string, args ...any) error {
	return &InputError{Field: field, Problem: fmt.Sprintf(format, args...)}
}

// Interval is a two-sided interval. A side that the data cannot bound is infinite.
type Interval struct {
	Low, High float64
}

// Contains reports whether x lies in the closed interval.
func (i Interval) Contains(x float64) bool { return i.Low <= x && x <= i.High }

// Finite reports whether the data bound both sides.
func (i Interval) Finite() bool { return !math.IsInf(i.Low, 0) && !math.IsInf(i.High, 0) }

// Width is High minus Low.
func (i Interval) Width() float64 { return i.High - i.Low }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func checkLevel(level float64) error {
	if !(level > 0 && level < 1) {
		return bad("level", "%v is not a level of confidence; give a number between 0 and 1, such as 0.95", level)
	}
	return nil
}

func clamp01(x float64) float64 { return min(1, max(0, x)) }
