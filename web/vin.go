package web

import (
	"errors"
	"strings"

	"crosscount/diag/vin"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// vinProblem is what is wrong with a VIN; soft when it may still stand so on the car.
type vinProblem struct {
	mend templates.Mend
	soft bool
}

// shortestVIN is the fewest characters that cars from before 1981 carry.
const shortestVIN = 5

// checkVIN refuses what cannot be a VIN and doubts what is almost surely misread.
func checkVIN(l *lang.Language, s string) (vinProblem, bool) {
	v, warnings, err := vin.Parse(s)
	if e, ok := errors.AsType[*vin.Error](err); ok {
		if e.Position == 0 && len(s) >= shortestVIN && len(s) < vin.Length {
			return vinProblem{templates.SayVINLength(l, len(s)), true}, false
		}
		return vinProblem{mend: mendOf(l, e.Problem, e.Mend)}, false
	}
	for _, w := range warnings {
		if w.Grave && w.Position == 9 {
			return vinProblem{templates.SayVINDigit(l, string(v[8]), string(v.CheckDigit())), true}, false
		}
		if w.Grave {
			return vinProblem{templates.Mend{Reason: sentence(l, w.Text), Mend: sentence(l, w.Mend) + " " + l.T(templates.IfItStandsSo)}, true}, false
		}
	}
	return vinProblem{}, true
}

// yearOf is the model year a VIN names, 0 where it names none or leaves two.
func yearOf(s string) int {
	v, _, err := vin.Parse(s)
	if err != nil {
		return 0
	}
	if years := v.ModelYears(); len(years) == 1 {
		return years[0]
	}
	return 0
}

// vin reads a vehicle identification number. The check digit is a rule of North
// America (49 CFR 565.15); elsewhere a number that fails it is common. A failing
// number is taken when the person says that it stands so on the car.
func (f *form) vin(fd, asIs *templates.Field) string {
	v := strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(f.text(fd, 40)))
	confirmed := f.value(asIs) != ""
	if v == "" {
		return ""
	}
	fd.Value = v
	p, ok := checkVIN(tongue(f.r), v)
	if !ok && (!p.soft || !confirmed) {
		f.wrong(fd, p.mend)
	}
	return v
}
