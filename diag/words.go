package diag

import (
	"math"
	"strings"

	"crosscount/diag/obd"
	"crosscount/diag/say"
)

// say names a finding in a few words.
func (ev *evidence) say(f *finding) say.Text {
	w := ev.w
	switch f.kind {
	case fCode, fSensorCode:
		var list []say.Text
		for _, i := range f.entries {
			e := ev.entries[i]
			switch {
			case e.AfterRepair > 0:
				list = append(list, say.T("%s back after a repair", e.Code))
			case e.Status == "pending":
				list = append(list, say.T("%s pending", e.Code))
			case f.last == notAgain:
				list = append(list, say.T("%s, not pending", e.Code))
			default:
				list = append(list, say.T("%s", e.Code))
			}
		}
		if code, err := obd.ParseCode(ev.entries[f.entries[0]].Code); err == nil && len(f.entries) == 1 {
			return say.T("code %s (%s)", list[0], code.Describe())
		}
		return say.T("code %s", say.List(list))
	case fOutcome, fSensorOutcome:
		var list []say.Text
		for _, l := range f.looks {
			o, b := w.m.Tests[f.test].Outcomes[0].Name, l.bank
			if l.slot >= 0 {
				o, b = w.m.Tests[f.test].Outcomes[f.slots[l.slot].outcome].Name, f.slots[l.slot].bank
			}
			if b >= 0 && w.nb > 1 {
				list = append(list, say.T("%s (bank %d)", say.T(o), b+1))
			} else {
				list = append(list, say.T(o))
			}
		}
		return w.found(say.T(w.m.Tests[f.test].Name).Lower(), f.sensor, say.Series(list))
	case fQuantity, fSensorQuantity:
		q := &w.m.Quantities[f.quant]
		var list []say.Text
		for _, x := range f.xs {
			if q.Log {
				x = math.Exp(x)
			}
			switch {
			case q.ID != "heater.ohm" && q.Unit != "":
				list = append(list, say.T("%.3g %s", x, say.T(q.Unit)))
			case q.ID != "heater.ohm":
				list = append(list, say.T("%.3g", x))
			case x > 8:
				list = append(list, say.T("open"))
			case x < 0.02:
				list = append(list, say.T("in range"))
			default:
				list = append(list, say.T("off by a factor of %.3g", math.Exp(x)))
			}
		}
		return w.found(say.T(q.Name), f.sensor, say.List(list))
	case fTrims:
		var list []say.Text
		for st, rs := range ev.trims[f.bank] {
			for _, r := range rs {
				if st < frames {
					list = append(list, say.T("%s %+.0f %%", stateWords(st), r.x))
				} else {
					list = append(list, say.T("%s %+.0f %% in the freeze frame", stateWords(st-frames), r.x))
				}
			}
		}
		if w.nb > 1 {
			return say.T("trims of bank %d: %s", f.bank+1, say.List(list))
		}
		return say.T("trims: %s", say.List(list))
	case fLambda:
		var list []say.Text
		for _, x := range f.xs {
			list = append(list, say.T("%.2f", 1+x/100))
		}
		return say.T("true lambda at %s: %s", stateWords(f.state), say.List(list))
	case fRemark:
		return say.T("history: %s", say.T(w.m.Remarks[f.said].Name))
	case fUnlisted:
		return say.T("no other code is stored")
	case fMended:
		return ev.entries[f.entries[0]].repaired()
	case fProof:
		if f.bad {
			return say.T("the proof drive failed")
		}
		return say.T("the proof drive passed")
	}
	return say.Text{}
}

func stateWords(state int) say.Text { return say.T(strings.ReplaceAll(States[state], "_", " ")) }

// found says what was found, with the sensor's place where it was one.
func (w *world) found(what say.Text, s int, found say.Text) say.Text {
	if s < 0 {
		return say.T("%s: %s", what, found)
	}
	return say.T("%s at %s: %s", what, w.sensorName(s), found)
}

func (w *world) sensorName(s int) say.Text {
	sw := &w.sens[s]
	return placeWords(CauseRef{Bank: sw.Bank, Position: sw.Position})
}

func placeWords(r CauseRef) say.Text {
	switch {
	case r.Position > 0:
		return say.T("bank %d position %d", r.Bank, r.Position)
	case r.Bank > 0:
		return say.T("bank %d", r.Bank)
	}
	return say.T("the engine")
}

// repaired says what a repair was.
func (e *Entry) repaired() say.Text {
	r := CauseRef{e.Cause, e.Bank, e.Position}
	if e.Cause == NewSensor {
		return say.T("new sensor at %s", placeWords(r))
	}
	return say.T("mended: %s", r.name().Lower())
}

// name gives a cause with its place where it has one.
func (r CauseRef) name() say.Text {
	info, _ := CauseByID(r.Cause)
	if r.Bank == 0 {
		return say.T(info.Name)
	}
	return say.T("%s, %s", say.T(info.Name), placeWords(r))
}

// weightWord puts the natural logarithm of a likelihood ratio on a scale of our
// own. A hint doubles nothing; near proof outweighs twenty to one.
func weightWord(lr float64) say.Text {
	switch x := math.Abs(lr); {
	case x < 0.3:
		return say.T("next to nothing")
	case x < 0.9:
		return say.T("a hint")
	case x < 2:
		return say.T("a sign")
	case x < 3:
		return say.T("a strong sign")
	default:
		return say.T("near proof")
	}
}

// percent writes a probability so that it never claims certainty.
func percent(p float64) say.Text {
	switch {
	case p >= 0.995:
		return say.T("over 99 %")
	case p < 0.005:
		return say.T("under 1 %")
	}
	return say.T("%.0f %%", 100*p)
}
