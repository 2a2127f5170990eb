package diag

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"crosscount/diag/obd"
)

// say names a finding in a few words.
func (ev *evidence) say(f *finding) string {
	w := ev.w
	switch f.kind {
	case fCode, fSensorCode:
		var list []string
		for _, i := range f.entries {
			e := ev.entries[i]
			s := e.Code
			if e.Status == "pending" {
				s += " pending"
			}
			list = append(list, s)
		}
		s := strings.Join(list, ", ")
		if code, err := obd.ParseCode(ev.entries[f.entries[0]].Code); err == nil && len(f.entries) == 1 {
			s += " (" + code.Describe() + ")"
		}
		return "code " + s
	case fOutcome, fSensorOutcome:
		var list []string
		for _, l := range f.looks {
			o := w.m.Tests[f.test].Outcomes[0].Name
			if l.slot >= 0 {
				o = w.m.Tests[f.test].Outcomes[f.slots[l.slot].outcome].Name
				if b := f.slots[l.slot].bank; b >= 0 && w.nb > 1 {
					o += " (bank " + strconv.Itoa(b+1) + ")"
				}
			} else if l.bank >= 0 && w.nb > 1 {
				o += " (bank " + strconv.Itoa(l.bank+1) + ")"
			}
			list = append(list, o)
		}
		return lower(w.m.Tests[f.test].Name) + w.where(f.sensor) + ": " + strings.Join(list, "; ")
	case fQuantity, fSensorQuantity:
		q := &w.m.Quantities[f.quant]
		var list []string
		for _, x := range f.xs {
			if q.Log {
				x = math.Exp(x)
			}
			s := trimZeros(x)
			if q.ID == "heater.ohm" {
				s = map[bool]string{true: "in range", false: "off by a factor of " + trimZeros(math.Exp(x))}[x < 0.02]
				if x > 8 {
					s = "open"
				}
			}
			if q.Unit != "" && q.ID != "heater.ohm" {
				s += " " + q.Unit
			}
			list = append(list, s)
		}
		return q.Name + w.where(f.sensor) + ": " + strings.Join(list, ", ")
	case fTrims:
		var list []string
		for st, rs := range ev.trims[f.bank] {
			for _, r := range rs {
				list = append(list, fmt.Sprintf("%s %+.0f %%", strings.ReplaceAll(States[st], "_", " "), r.x))
			}
		}
		s := "trims"
		if w.nb > 1 {
			s += " of bank " + strconv.Itoa(f.bank+1)
		}
		return s + ": " + strings.Join(list, ", ")
	case fLambda:
		var list []string
		for _, x := range f.xs {
			list = append(list, fmt.Sprintf("%.2f", 1+x/100))
		}
		return "true lambda at " + strings.ReplaceAll(States[f.state], "_", " ") + ": " + strings.Join(list, ", ")
	case fRemark:
		return "history: " + w.m.Remarks[f.said].Name
	case fProof:
		if f.bad {
			return "the proof drive failed"
		}
		return "the proof drive passed"
	}
	return ""
}

// where names a sensor's place, after what was found there.
func (w *world) where(s int) string {
	if s < 0 {
		return ""
	}
	return " at " + w.sensorName(s)
}

func (w *world) sensorName(s int) string {
	sw := &w.sens[s]
	return placeWords(CauseRef{Bank: sw.Bank, Position: sw.Position})
}

func placeWords(r CauseRef) string {
	switch {
	case r.Position > 0:
		return fmt.Sprintf("bank %d position %d", r.Bank, r.Position)
	case r.Bank > 0:
		return fmt.Sprintf("bank %d", r.Bank)
	}
	return "the engine"
}

// name gives a cause with its place where it has one.
func (r CauseRef) name() string {
	info, _ := CauseByID(r.Cause)
	if r.Bank == 0 {
		return info.Name
	}
	return info.Name + ", " + placeWords(r)
}

func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func trimZeros(x float64) string {
	return strconv.FormatFloat(x, 'g', 3, 64)
}

// and joins words as a sentence does.
func and(list []string) string {
	switch n := len(list); n {
	case 0:
		return ""
	case 1:
		return list[0]
	default:
		return strings.Join(list[:n-1], ", ") + " and " + list[n-1]
	}
}

// weightWord puts the natural logarithm of a likelihood ratio on a scale of our
// own. A hint doubles nothing; near proof outweighs twenty to one.
func weightWord(lr float64) string {
	switch x := math.Abs(lr); {
	case x < 0.3:
		return "next to nothing"
	case x < 0.9:
		return "a hint"
	case x < 2:
		return "a sign"
	case x < 3:
		return "a strong sign"
	default:
		return "near proof"
	}
}

// percent writes a probability so that it never claims certainty.
func percent(p float64) string {
	switch {
	case p >= 0.995:
		return "over 99 %"
	case p < 0.005:
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}
