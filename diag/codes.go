package diag

import (
	"slices"

	"crosscount/diag/obd"
	"crosscount/diag/say"
)

// lasting tells whether the module saw the fault of a stored code in the current or the
// last driving cycle too: then the code is pending besides.
type lasting int8

const (
	unread lasting = iota // nobody has read the pending codes
	seenAgain
	notAgain
)

// collectCode groups a code with others that are about the same thing.
func (w *world) collectCode(c *collector, i int, e Entry) {
	k, ok := w.codeKey(e)
	if !ok {
		if code, err := obd.ParseCode(e.Code); err == nil { // Check has refused it otherwise
			c.ev.skip(i, say.T("%s: %s. The model knows no cause for it.", code.String(), code.Describe()))
		}
		return
	}
	f := c.at(k)
	if len(f.entries) == 0 {
		f.power = w.pending
	}
	if e.Status != "pending" {
		f.power = 1
	}
	f.entries = append(f.entries, i)
}

// codeKey tells what a code is about; false: nothing that the model knows.
func (w *world) codeKey(e Entry) (findKey, bool) {
	code, err := obd.ParseCode(e.Code)
	if err != nil {
		return findKey{}, false
	}
	m, ok := code.Meaning()
	if !ok {
		return findKey{}, false
	}
	kind, ok := w.codeKind(m)
	k := findKey{kind: fCode, code: kind, sensor: -1, bank: m.Bank - 1}
	if s := w.sensorAt(m.Bank, m.Position); m.Bank > 0 && m.Position > 0 && s >= 0 {
		k.kind, k.sensor, k.bank = fSensorCode, s, -1
	}
	return k, ok
}

// codeKind finds what the model calls the codes of a meaning.
func (e *engine) codeKind(m obd.Meaning) (int, bool) {
	if k, ok := e.code[string(m.Subject)+":"+string(m.Sense)]; ok {
		return k, true
	}
	k, ok := e.code[string(m.Subject)]
	return k, ok
}

// hasCode tells whether there is a code of a kind for a bank and a position, 0 for none.
func (e *engine) hasCode(kind, bank, position int) bool {
	return e.codeAt[kind][[2]int{bank, position}]
}

// setsCode is the chance that a cause sets a code; sensor is where it is, -1 for one of
// the engine or a bank.
func (w *world) setsCode(f *finding, fx *effects, p *place, sensor int) float64 {
	switch {
	case f.kind == fSensorCode && sensor >= 0:
		if sensor == f.sensor {
			return sided(fx.code[f.code], w.sens[sensor].Position)
		}
	case f.kind == fSensorCode:
		if sw := &w.sens[f.sensor]; p.reachesSensor(sw) {
			return sided(fx.code[f.code], sw.Position)
		}
	case sensor >= 0:
		if sw := &w.sens[sensor]; f.bank >= 0 && sw.Position <= 2 && slices.Contains(sw.banks, f.bank) {
			return sided(fx.code[f.code], sw.Position)
		}
	case p.reaches(f.bank):
		return fx.code[f.code].p
	}
	return 0
}

// stays is the chance that what set a code has been seen again in the current or the
// last driving cycle.
func (w *world) stays(p *place) float64 {
	if p != nil && !p.k.Nothing {
		return w.lasts
	}
	return w.lapses
}

// asSeen is the chance that a cause sets a code in the way in which it was seen: stored,
// or stored and pending, or stored and, given that it made nothing pending, stored; from
// the chance that it stores it.
func (w *world) asSeen(f *finding, q float64, p *place) float64 {
	q *= f.back
	switch x := w.stays(p); f.last {
	case seenAgain:
		return q * x
	case notAgain:
		return q * (1 - x) / (1 - q*x)
	}
	return q
}

// leak is the chance that no cause of the model has set a code as it was seen.
func (w *world) leak(f *finding) float64 { return w.asSeen(f, w.m.Codes[f.code].False, nil) }
