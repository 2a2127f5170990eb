package signal

import (
	"math"

	"crosscount/diag/say"
)

// Reading is one measured value with its unit, the half-width of the interval
// meant to hold the true value in about 95 of 100 cases, and the count it rests
// on; or the reason why there is none.
type Reading struct {
	Value       *float64 `json:"value,omitempty"`
	Unit        string   `json:"unit"`
	Uncertainty float64  `json:"uncertainty,omitempty"` // in Unit
	N           int      `json:"n"`                     // samples, transitions, cycles
	AtLeast     bool     `json:"at_least,omitempty"`    // the recording began or ended before it did
	Refused     *Refusal `json:"refused,omitempty"`
}

// RefusalKind says why a value was not measured.
type RefusalKind string

// The reasons for refusing a value.
const (
	TooSlow    RefusalKind = "too_slow"   // sampled too slowly to judge; NeedHz says how fast it takes
	NoneSeen   RefusalKind = "none_seen"  // it did not happen in the recording
	TooShort   RefusalKind = "too_short"  // the recording is too short
	NotItsKind RefusalKind = "not_a_kind" // the measurement does not apply to this kind of sensor
	NoEvent    RefusalKind = "no_event"   // the moment of the mixture change is not known
	NoState    RefusalKind = "no_state"   // the signal does not rest at two levels
)

// Refusal is a value that cannot be given honestly.
type Refusal struct {
	Kind   RefusalKind `json:"kind"`
	Why    say.Text    `json:"why"`
	NeedHz float64     `json:"need_hz,omitempty"` // samples per second that would do
}

// Get answers the value and whether there is one.
func (r Reading) Get() (float64, bool) {
	if r.Value == nil {
		return math.NaN(), false
	}
	return *r.Value, true
}

// Or answers the value, or other where there is none.
func (r Reading) Or(other float64) float64 {
	if r.Value == nil {
		return other
	}
	return *r.Value
}

func read(v float64, unit string, uncertainty float64, n int) Reading {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return refuse(unit, NoneSeen, say.T("not seen in this recording"))
	}
	if !(uncertainty >= 0) || math.IsInf(uncertainty, 0) {
		uncertainty = 0
	}
	return Reading{Value: &v, Unit: unit, Uncertainty: uncertainty, N: n}
}

func refuse(unit string, k RefusalKind, why say.Text) Reading {
	return Reading{Unit: unit, Refused: &Refusal{Kind: k, Why: why}}
}

func tooSlow(unit string, what say.Text, step, needHz float64) Reading {
	r := refuse(unit, TooSlow, say.T("one sample every %s is too slow to judge %s; record at %.6g samples per second or more",
		secondsWords(step), what, needHz))
	r.Refused.NeedHz = needHz
	return r
}

func secondsWords(s float64) say.Text {
	if s < 1 {
		return say.T("%.3g ms", s*1000)
	}
	return say.T("%.3g s", s)
}

// Limits are the levels and times of the trade. All are common practice, no
// source, and settings of the shop.
type Limits struct {
	MidV       float64 `json:"mid_v"`        // stoichiometric voltage of a narrow-band cell, V
	MidBandV   float64 `json:"mid_band_v"`   // hysteresis to either side of it, V
	LeanV      float64 `json:"lean_v"`       // lower end of the timed transition, V
	RichV      float64 `json:"rich_v"`       // upper end, V
	EdgeBandV  float64 `json:"edge_band_v"`  // hysteresis at both ends, V
	ForcedRich float64 `json:"forced_rich"`  // level to reach when made rich, V
	ForcedLean float64 `json:"forced_lean"`  // level to reach when made lean, V
	OverV      float64 `json:"over_v"`       // no sound narrow-band cell passes this, V
	NegativeV  float64 `json:"negative_v"`   // below this the voltage is negative beyond an offset, V
	JudgeMs    float64 `json:"judge_ms"`     // transition time to be judged, ms
	JudgeHz    float64 `json:"judge_hz"`     // fastest switching to be counted, cycles per second
	WindowS    float64 `json:"window_s"`     // how long after a mixture change is looked at, s
	WarmAboveV float64 `json:"warm_above_v"` // a cell that passes this, or falls below LeanV, is active, V
}

// DefaultLimits are the limits used where a shop has set none.
func DefaultLimits() Limits {
	return Limits{MidV: 0.45, MidBandV: 0.05, LeanV: 0.3, RichV: 0.6, EdgeBandV: 0.02,
		ForcedRich: 0.8, ForcedLean: 0.2, OverV: 1.1, NegativeV: -0.05,
		JudgeMs: 100, JudgeHz: 5, WindowS: 5, WarmAboveV: 0.6}
}

// slower tells that one sample every step seconds is slower than needHz.
func slower(step, needHz float64) bool { return !(step*needHz <= 1+1e-6) }

// needTransition is the slowest sampling that judges a transition of JudgeMs: two
// samples within it.
func (l Limits) needTransition() float64 { return 2000 / l.JudgeMs }

// needCrossing is the slowest sampling that counts switching at JudgeHz: two
// samples a cycle.
func (l Limits) needCrossing() float64 { return 2 * l.JudgeHz }
