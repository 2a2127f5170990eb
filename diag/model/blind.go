package model

import (
	"math"
	"slices"
)

// Apart is the separation below which two causes count as not told apart: no
// test's outcome is shifted by more than this share between them (total
// variation distance).
const Apart = 0.35

// BlindPairs lists the causes of one scope that no test of the model separates by
// more than Apart. Codes and history do not count: they are witnesses, not tests.
func (m *Model) BlindPairs() []Pair {
	var out []Pair
	for i := range m.Causes {
		for j := i + 1; j < len(m.Causes); j++ {
			a, b := &m.Causes[i], &m.Causes[j]
			if a.Scope == b.Scope && !separable(m, a, b) {
				out = append(out, Pair{a.ID, b.ID})
			}
		}
	}
	return out
}

// separable tells whether some observation puts more than Apart between two causes.
func separable(m *Model, a, b *Cause) bool {
	for i := range m.Tests {
		t := &m.Tests[i]
		for _, o := range t.Outcomes {
			if math.Abs(found(a, t.ID, o.ID)-found(b, t.ID, o.ID)) > Apart {
				return true
			}
		}
	}
	noise := m.Settings["trim_sd"].Value
	for _, state := range states {
		for _, lie := range []bool{false, true} {
			// A lie and a need of the same size are told apart by true lambda.
			if apart(trimmed(a, state, lie, noise), trimmed(b, state, lie, noise)) > Apart {
				return true
			}
		}
	}
	for i := range m.Quantities {
		if q := &m.Quantities[i]; apart(shown(a, q), shown(b, q)) > Apart {
			return true
		}
	}
	return false
}

func found(k *Cause, test, outcome string) float64 {
	p := 0.0
	for _, v := range k.Variants {
		miss := 1.0
		for _, f := range k.Finds {
			if f.Test == test && f.Outcome == outcome && has(f.Variants, v.Name) {
				miss *= 1 - f.P
			}
		}
		p += v.Chance * (1 - miss)
	}
	return p
}

func has(list []string, name string) bool { return len(list) == 0 || slices.Contains(list, name) }

// bell is one part of a mixture of normal distributions.
type bell struct{ weight, mean, sd float64 }

// shown is the distribution of a quantity under a cause, over its variants.
func shown(k *Cause, q *Quantity) []bell {
	good, spread := Scale(q, q.Mean, q.SD)
	var out []bell
	for _, v := range k.Variants {
		m, s := good, spread
		for _, sh := range k.Shows {
			if sh.Quantity == q.ID && has(sh.Variants, v.Name) {
				m, s = Scale(q, sh.Mean, sh.SD)
			}
		}
		for _, sh := range k.Adds {
			if sh.Quantity == q.ID && has(sh.Variants, v.Name) {
				m += sh.Mean
				s = math.Hypot(s, math.Hypot(sh.SD, k.SizeSD*sh.Mean))
			}
		}
		out = append(out, bell{v.Chance, m, s})
	}
	return out
}

// Scale puts a mean and a spread of a quantity on the scale it is normal on: the
// natural logarithm for a quantity with a factor, else as it is.
func Scale(q *Quantity, mean, sd float64) (m, s float64) {
	if q.Log {
		return math.Log(mean), math.Log(sd)
	}
	return mean, sd
}

// trimmed is the distribution of a bank's trim under a cause, over its variants.
func trimmed(k *Cause, state string, lie bool, noise float64) []bell {
	var out []bell
	for _, v := range k.Variants {
		m, s := 0.0, noise
		for _, t := range k.Trims {
			if t.State == state && t.Lie == lie && t.Metering != "map" && t.Bank <= 1 && has(t.Variants, v.Name) {
				m += t.Mean
				s = math.Hypot(s, math.Hypot(t.SD, k.SizeSD*t.Mean))
			}
		}
		out = append(out, bell{v.Chance, m, s})
	}
	return out
}

// apart is the total variation distance of two mixtures, by the rectangle rule.
func apart(a, b []bell) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, x := range slices.Concat(a, b) {
		lo, hi = min(lo, x.mean-4*x.sd), max(hi, x.mean+4*x.sd)
	}
	const steps = 400
	sum := 0.0
	for i := range steps {
		x := lo + (hi-lo)*(float64(i)+0.5)/steps
		sum += math.Abs(height(a, x) - height(b, x))
	}
	return sum * (hi - lo) / steps / 2
}

func height(bells []bell, x float64) float64 {
	sum := 0.0
	for _, b := range bells {
		z := (x - b.mean) / b.sd
		sum += b.weight / b.sd * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	}
	return sum
}
