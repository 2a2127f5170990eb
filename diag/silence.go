package diag

import (
	"math"
	"slices"
)

// nothingKnown is the remark that the driver was asked and told nothing of note. It
// speaks against every cause that is often told of, by half, as people forget.
const nothingKnown = "nothing"

// silence is what was not found where it would have been: for each unit what it takes
// from the likelihood.
type silence struct {
	finding int
	keep    []float64   // context unit
	sensor  [][]float64 // sensor, unit; nil: counted among the risks
}

func (c *calc) nothingSaid(i int) silence {
	w := c.w
	s := silence{i, make([]float64, len(w.units)), nil}
	for u := range w.units {
		s.keep[u] = w.untold(w.units[u].fx)
	}
	return s
}

// noOtherCode is the silence of the codes that are not stored.
func (c *calc) noOtherCode(i int) silence {
	w := c.w
	s := c.silent(i)
	all := func(q float64, _ *place) float64 { return q }
	for k := range w.m.Codes {
		for bank := -1; bank < w.nb; bank++ {
			if w.hasCode(k, bank+1, 0) && !c.ev.codes[findKey{kind: fCode, code: k, sensor: -1, bank: bank}] {
				s.of(w, &finding{kind: fCode, code: k, sensor: -1, bank: bank}, all)
			}
		}
		for i := range w.sens {
			if w.hasCode(k, w.sens[i].Bank, w.sens[i].Position) && !c.ev.codes[findKey{kind: fSensorCode, code: k, sensor: i, bank: -1}] {
				s.of(w, &finding{kind: fSensorCode, code: k, sensor: i, bank: -1}, all)
			}
		}
	}
	return s
}

// notPending is the silence of a stored code that is not pending.
func (c *calc) notPending(i int) silence {
	s := c.silent(i)
	s.of(c.w, &c.ev.findings[i], func(q float64, p *place) float64 { return q * c.w.stays(p) })
	return s
}

// mended is the silence of a cause that was mended: mostly it is gone.
func (c *calc) mended(i int) silence {
	w, s := c.w, c.silent(i)
	m := w.mendedBy(c.ev.entries[c.ev.findings[i].entries[0]])
	units, keep := w.units, s.keep
	if m.sensor >= 0 {
		units, keep = w.sens[m.sensor].units, s.sensor[m.sensor]
	}
	for u := range units {
		if slices.Contains(m.places, units[u].place) {
			keep[u] = w.remains
		}
	}
	return s
}

// silent is a silence that takes nothing yet.
func (c *calc) silent(i int) silence {
	s := silence{i, make([]float64, len(c.w.units)), make([][]float64, len(c.w.sens))}
	for u := range s.keep {
		s.keep[u] = 1
	}
	for k := range s.sensor {
		s.sensor[k] = make([]float64, len(c.w.sens[k].units))
		for u := range s.sensor[k] {
			s.sensor[k][u] = 1
		}
	}
	return s
}

// of adds a code that was not set; chance is that of a cause to set it, from the one in
// the model.
func (s *silence) of(w *world, f *finding, chance func(q float64, p *place) float64) {
	for u := range w.units {
		p := &w.places[w.units[u].place]
		s.keep[u] *= 1 - chance(w.setsCode(f, w.units[u].fx, p, -1), p)
	}
	for i := range w.sens {
		for u := range w.sens[i].units {
			p := &w.sens[i].places[w.sens[i].units[u].place]
			s.sensor[i][u] *= 1 - chance(w.setsCode(f, w.sens[i].units[u].fx, p, i), p)
		}
	}
}

// untold is the likelihood that none of a cause's usual remarks is made.
func (w *world) untold(fx *effects) float64 {
	p := 1.0
	for _, say := range fx.say {
		p *= 1 - say
	}
	return math.Pow(p, w.forgotten)
}

func (s *silence) likelihood(us []int16) float64 {
	p := 1.0
	for _, u := range us {
		p *= s.keep[u]
	}
	return p
}
