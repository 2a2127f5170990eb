package diag

import (
	"slices"
)

// NothingKnown is the remark that the driver was asked and told nothing more of note. It
// speaks against every cause that would often have been told of.
const NothingKnown = "nothing"

// silence is what was not found where it would have been: for each unit what it takes
// from the likelihood.
type silence struct {
	finding int
	keep    []float64   // context unit
	sensor  [][]float64 // sensor, unit
}

// nothingSaid is the silence of the remarks that were not made.
func (c *calc) nothingSaid(i int) silence {
	f := &c.ev.findings[i]
	said := make([]bool, len(c.w.m.Remarks))
	for k := range c.ev.findings {
		if o := &c.ev.findings[k]; o.kind == fRemark {
			said[o.said] = true
		}
	}
	return c.silent(i, func(fx *effects, p *place, sensor int) float64 {
		if sensor < 0 && !p.reaches(f.bank) || sensor >= 0 && !c.ev.concerns(f, sensor) {
			return 1
		}
		keep := 1.0
		for r, say := range fx.say {
			if !said[r] {
				keep *= 1 - say
			}
		}
		return keep
	})
}

// noOtherCode is the silence of the codes that are not stored.
func (c *calc) noOtherCode(i int) silence {
	w := c.w
	unset := make([][]finding, len(w.m.Codes))
	note := func(k int, f finding) {
		f.code, f.back = k, c.ev.back()
		if !c.ev.codes[findKey{kind: f.kind, code: k, sensor: f.sensor, bank: f.bank}] {
			unset[k] = append(unset[k], f)
		}
	}
	for k := range unset {
		for bank := -1; bank < w.nb; bank++ {
			if w.hasCode(k, bank+1, 0) {
				note(k, finding{kind: fCode, sensor: -1, bank: bank})
			}
		}
		for s := range w.sens {
			if w.hasCode(k, w.sens[s].Bank, w.sens[s].Position) {
				note(k, finding{kind: fSensorCode, sensor: s, bank: -1})
			}
		}
	}
	return c.silent(i, func(fx *effects, p *place, sensor int) float64 {
		keep := 1.0
		for _, k := range fx.sets {
			for j := range unset[k] {
				keep *= 1 - unset[k][j].back*w.setsCode(&unset[k][j], fx, p, sensor)
			}
		}
		return keep
	})
}

// notPending is the silence of a stored code that is not pending.
func (c *calc) notPending(i int) silence {
	return c.silent(i, func(fx *effects, p *place, sensor int) float64 {
		return 1 - c.w.setsCode(&c.ev.findings[i], fx, p, sensor)*c.ev.findings[i].back*c.w.stays(p)
	})
}

// mended is the silence of a cause that was mended: mostly it is gone.
func (c *calc) mended(i int) silence {
	m := c.w.mendedBy(c.ev.entries[c.ev.findings[i].entries[0]])
	places := c.w.places
	if m.sensor >= 0 {
		places = c.w.sens[m.sensor].places
	}
	return c.silent(i, func(_ *effects, p *place, sensor int) float64 {
		if sensor == m.sensor && slices.ContainsFunc(m.places, func(at int) bool { return &places[at] == p }) {
			return c.w.remains
		}
		return 1
	})
}

// silent is a silence that leaves of each cause what keep says; sensor is -1 for causes of
// the engine and its banks.
func (c *calc) silent(i int, keep func(fx *effects, p *place, sensor int) float64) silence {
	w := c.w
	s := silence{i, make([]float64, len(w.units)), make([][]float64, len(w.sens))}
	for u := range w.units {
		s.keep[u] = keep(w.units[u].fx, &w.places[w.units[u].place], -1)
	}
	for k := range w.sens {
		sw := &w.sens[k]
		for u := range sw.units {
			s.sensor[k] = append(s.sensor[k], keep(sw.units[u].fx, &sw.places[sw.units[u].place], k))
		}
	}
	return s
}

func (s *silence) likelihood(us []int16) float64 { return kept(s.keep, us) }

// kept is what silences leave of a set of causes.
func kept(keep []float64, us []int16) float64 {
	p := 1.0
	for _, u := range us {
		p *= keep[u]
	}
	return p
}

// hush puts the silences together. What they take from a cause is the same whatever else
// is there, so that they alone are no reason to enumerate it; but where causes make one
// another, the maker's chance depends on what is silent about the other.
func (c *calc) hush() {
	w := c.w
	c.keep = make([]float64, len(w.units))
	for u := range c.keep {
		c.keep[u] = 1
		for i := range c.silences {
			c.keep[u] *= c.silences[i].keep[u]
		}
	}
	c.idle = make([]float64, len(w.places))
	for p := range w.places {
		pl := &w.places[p]
		left := 0.0
		for u := pl.first; u < pl.last; u++ {
			left += w.units[u].chance * c.keep[u]
		}
		odds := pl.prior / (1 - pl.prior) * left
		c.idle[p] = odds / (1 + odds)
		c.touched[p] = len(pl.parents) > 0 && left < 1
	}
	for s := range c.sensors {
		sw := &w.sens[s]
		for p := range sw.places {
			if c.sensors[s].keep[p] < 1 {
				for _, par := range sw.places[p].parents {
					c.touched[par.place] = true
				}
			}
		}
	}
}
