package diag

import (
	"cmp"
	"slices"

	"crosscount/diag/model"
)

// Engine is the version of the reasoning and its model, stored with a verdict.
var Engine = "crosscount-engine 0 model " + model.Trade().Version

// Decide weighs a case. The same case always gives the same decision, whatever
// the order of its entries. The error is Problems, for a case that Check refuses.
func Decide(c Case) (Decision, error) {
	if err := c.Check().err(); err != nil {
		return Decision{}, err
	}
	c = canonical(c)
	d := Decision{Engine: Engine, Together: []Combination{}, Plan: []PlanStep{}}
	for _, k := range model.Trade().Causes {
		for _, ref := range places(c.Vehicle, k) {
			d.Causes = append(d.Causes, Cause{CauseRef: ref, P: k.Prior, Why: []string{"how common it is"}})
		}
	}
	slices.SortStableFunc(d.Causes, func(a, b Cause) int { return cmp.Compare(b.P, a.P) })
	rate := c.Costs.LabourPerHour
	t, _ := TestByID("trims")
	d.Next = &NextTest{Test: t.ID, Minutes: t.Minutes, ExpectedTotal: 2 * rate, Why: "The trims tell air and fuel from the sensor.", Cautions: t.Cautions}
	d.Verdict = Verdict{Decision: DecideOpen, Mend: []CauseRef{}, Parts: []Part{}, First: []CauseRef{}, Why: "Too little has been measured."}
	d.Costs = CostView{Expected: 2 * rate, CodeTakenAtItsWord: 3 * rate, CauseKnown: rate}
	return d, nil
}

// places lists where a cause can be on a car.
func places(v Vehicle, k model.Cause) []CauseRef {
	var out []CauseRef
	if k.Only.Metering != "" && k.Only.Metering != v.AirMetering || k.Only.Banks > v.Banks() {
		return nil
	}
	switch k.Scope {
	case model.Engine:
		out = append(out, CauseRef{Cause: k.ID})
	case model.Bank:
		for b := range v.Banks() {
			out = append(out, CauseRef{Cause: k.ID, Bank: b + 1})
		}
	case model.Sensor:
		for _, s := range v.Sensors {
			if k.Only.Heated && !s.Heated() || len(k.Only.Kinds) > 0 && !slices.Contains(k.Only.Kinds, string(s.Kind)) {
				continue
			}
			out = append(out, CauseRef{Cause: k.ID, Bank: s.Bank, Position: s.Position})
		}
	}
	return out
}
