package diag

import (
	"slices"
)

// NewSensor is what a repair entry names where a new sensor was fitted: whatever the old
// one had is gone with it.
const NewSensor = "new_sensor"

// mended is a repair in a world: causes at a sensor, or one of the engine or a bank.
type mended struct {
	round  int
	sensor int // -1: context
	places []int
}

// repairs lists what was mended.
func (w *world) repairs(entries []Entry) []mended {
	var out []mended
	for _, e := range entries {
		if e.Kind == KindRepair {
			out = append(out, w.mendedBy(e))
		}
	}
	return out
}

func (w *world) mendedBy(e Entry) mended {
	m := mended{round: e.AfterRepair, sensor: -1}
	if e.Position > 0 {
		if m.sensor = w.sensorAt(max(e.Bank, 1), e.Position); m.sensor < 0 {
			return m
		}
		for p := range w.sens[m.sensor].places {
			if k := w.sens[m.sensor].places[p].k; k.ID == e.Cause || e.Cause == NewSensor && (k.Part || k.WithPart) {
				m.places = append(m.places, p)
			}
		}
		return m
	}
	for p := range w.places {
		if w.places[p].ref == (CauseRef{Cause: e.Cause, Bank: e.Bank}) {
			m.places = append(m.places, p)
		}
	}
	return m
}

// overtaken tells whether an entry was made before a repair of something that can bring
// about what it says. Of what it says about other causes the repair changes nothing.
func (w *world) overtaken(e Entry, repairs []mended) bool {
	if e.Kind == KindRepair {
		return false
	}
	for _, m := range repairs {
		if e.AfterRepair < m.round && w.bears(e, &m) {
			return true
		}
	}
	return false
}

// bears tells whether what was mended can bring about what an entry says.
func (w *world) bears(e Entry, m *mended) bool {
	alone := &collector{w.noEvidence(), map[findKey]int{}}
	w.collectOne(alone, 0, e)
	units, places := w.units, w.places
	if m.sensor >= 0 {
		units, places = w.sens[m.sensor].units, w.sens[m.sensor].places
	}
	for i := range alone.ev.findings {
		f := &alone.ev.findings[i]
		if f.kind == fProof {
			return true
		}
		for u := range units {
			if slices.Contains(m.places, units[u].place) && w.shows(f, e, units[u].fx, &places[units[u].place], m.sensor) {
				return true
			}
		}
	}
	return false
}

// shows tells whether a cause moves a finding that one entry makes.
func (w *world) shows(f *finding, e Entry, fx *effects, p *place, sensor int) bool {
	at := func(bank int) bool { // does it act on this bank
		if sensor < 0 {
			return p.reaches(bank)
		}
		return w.sens[sensor].Position == 1 && slices.Contains(w.sens[sensor].banks, bank)
	}
	there := func() bool { // does it act on the sensor of the finding
		if sensor < 0 {
			return p.reachesSensor(&w.sens[f.sensor])
		}
		return sensor == f.sensor
	}
	switch f.kind {
	case fCode, fSensorCode:
		return w.setsCode(f, fx, p, sensor) > 0
	case fOutcome:
		return sensor < 0 && slices.ContainsFunc(f.slots, func(s slot) bool { return fx.find[f.test][s.outcome].p > 0 && p.reaches(s.bank) })
	case fSensorOutcome:
		return there() && slices.ContainsFunc(f.slots, func(s slot) bool { return sided(fx.find[f.test][s.outcome], w.sens[f.sensor].Position) > 0 })
	case fQuantity:
		return sensor < 0 && (fx.show[f.quant].has || fx.add[f.quant].has)
	case fSensorQuantity:
		return there() && fx.show[f.quant].has
	case fTrims, fLambda:
		state := slices.Index(States, e.State)
		for bank := range w.nb {
			if f.kind == fTrims && bank != f.bank || !at(bank) {
				continue
			}
			if fx.open || slices.ContainsFunc(fx.trims, func(t trimEffect) bool {
				return t.state == state && t.at(w.v.AirMetering, bank)
			}) {
				return true
			}
		}
	}
	return false
}

// mendedKey tells repairs at one place apart.
func (w *world) mendedKey(e Entry) int {
	if k, ok := w.cause[e.Cause]; ok {
		return k
	}
	return -1
}
