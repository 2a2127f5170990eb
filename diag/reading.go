package diag

import (
	"math"
	"slices"

	"crosscount/diag/model"
	"crosscount/diag/say"
)

// A reading is normal about its mean in the middle and heavy in the tails: a
// t distribution with four degrees of freedom, and a share that is plain wrong.
func heavy(z float64) float64 {
	u := 1 + z*z/4
	return 0.375 / (u * u * math.Sqrt(u))
}

// heavyCDF is the distribution function of the same t distribution.
func heavyCDF(z float64) float64 {
	if math.IsInf(z, 0) {
		return (1 + math.Copysign(1, z)) / 2
	}
	s := math.Sqrt(1 + z*z/4)
	t := z / (2 * s)
	return 0.5 + 0.75*(t-t*t*t/3)
}

// held is a level with the bounds that a cell sets to it. A voltage that a cause
// adds is not held at the top, and no level is held on the side on which its mean
// lies beyond.
func held(q *model.Quantity, mean, sd float64, adds bool) level {
	l := level{has: true, mean: mean, sd: sd, mass: 1}
	if q.Cell == nil {
		return l
	}
	l.lo, l.hi = q.Cell.Lo, q.Cell.Hi
	if mean < l.lo {
		l.lo = math.Inf(-1)
	}
	if mean > l.hi || adds {
		l.hi = math.Inf(1)
	}
	l.mass = heavyCDF((l.hi-mean)/sd) - heavyCDF((l.lo-mean)/sd)
	return l
}

// bounded tells whether a cell sets bounds to the level.
func (l level) bounded() bool { return l.lo < l.hi }

// readings gives the likelihood of a finding's readings about a level, relative
// to the best a sound car could show. Several readings count as one.
func (w *world) readings(f *finding, l level) float64 {
	good := w.goodLevel(f.quant).sd
	lg := 0.0
	for i, x := range f.xs {
		p := (1-w.wild)*w.density(l, x) + w.wildDensity(f.quant, x)
		lg += f.pow[i] * math.Log(p*good/heavy(0))
	}
	return math.Exp(lg)
}

// density is how likely a level reads x, plainly wrong readings aside. Beyond what
// the level is held within only the error of tool and leads is left.
func (w *world) density(l level, x float64) float64 {
	p := heavy((x-l.mean)/l.sd) / l.sd
	if !l.bounded() {
		return p
	}
	over := max(x-l.hi, l.lo-x, 0) / w.cellError
	return p / l.mass * math.Exp(-over*over/2)
}

// wildDensity is the density of plainly wrong readings: level over what an
// instrument can show, but rarer beyond what a cell can give, as most slips are to
// read a cell at the wrong moment or the wrong cell.
func (w *world) wildDensity(q int, x float64) float64 {
	p := w.wild / w.span(q)
	if c := w.m.Quantities[q].Cell; c != nil && (x < c.Lo || x > c.Hi) {
		return p * w.beyond
	}
	return p
}

// below is the chance that a level reads below a limit.
func (w *world) below(q int, l level, limit float64) float64 {
	mq := &w.m.Quantities[q]
	lo, hi := mq.Lo, mq.Hi
	if mq.Log {
		limit, lo, hi = math.Log(limit), math.Log(lo), math.Log(hi)
	}
	p := heavyCDF((limit - l.mean) / l.sd)
	if l.bounded() {
		p = min(max((p-heavyCDF((l.lo-l.mean)/l.sd))/l.mass, 0), 1)
	}
	// Plainly wrong readings: level, but thinner beyond what a cell can give.
	wild, all := min(max(limit, lo), hi)-lo, hi-lo
	if c := mq.Cell; c != nil {
		thin := func(x float64) float64 {
			return w.beyond*(min(x, c.Lo)-lo) + max(min(x, c.Hi)-c.Lo, 0) + w.beyond*max(x-c.Hi, 0)
		}
		wild, all = thin(lo+wild), thin(hi)
	}
	return (1-w.wild)*p + w.wild*wild/all
}

// goodLevel is where a quantity lies on a sound, warm car.
func (w *world) goodLevel(q int) level {
	mq := &w.m.Quantities[q]
	mean, sd := model.Scale(mq, mq.Mean, mq.SD)
	return held(mq, mean, sd, false)
}

// span is the width of what an instrument can show, on the quantity's own scale.
func (w *world) span(q int) float64 {
	mq := &w.m.Quantities[q]
	if mq.Log {
		return math.Log(mq.Hi / mq.Lo)
	}
	return mq.Hi - mq.Lo
}

// beyondCell says of voltages that no cell can give what they are worth.
func (d *decision) beyondCell() []Note {
	w := d.c.w
	var out []Note
	for i := range d.c.ev.findings {
		f := &d.c.ev.findings[i]
		if f.kind != fSensorQuantity {
			continue
		}
		c := w.m.Quantities[f.quant].Cell
		if c == nil {
			continue
		}
		what := d.c.ev.say(f).Upper()
		var words say.Text
		switch {
		case slices.Max(f.xs) > c.Hi+w.cellError:
			words = say.T("%s is more than a cell can give, about %g V. Either a voltage reaches the signal wire, or tool, range or lead is wrong: read it again with another tool.", what, c.Hi)
		case slices.Min(f.xs) < c.Lo-w.cellError:
			words = say.T("%s is below zero, which a cell gives only when cracked or starved of reference air. Or the tool's leads are crossed: read it again with another tool.", what)
		default:
			continue
		}
		out = append(out, Note{d.given(f.entries), words})
	}
	return out
}
