package diag

import (
	"cmp"
	"slices"
)

// Exclusion is a test that cannot be done on this job. Without a place it holds for
// every place of the test.
type Exclusion struct {
	Test     string
	Bank     int
	Position int
}

// Excludes says whether the exclusion covers a test at a place.
func (x Exclusion) Excludes(test string, bank, position int) bool {
	return x.Test == test && (x.Bank == 0 && x.Position == 0 || x.Bank == bank && x.Position == position)
}

// DecideWithout weighs a case of which some tests cannot be done. Its verdict and
// probabilities are those of Decide; its next test is the best of those left. The
// same case and exclusions always give the same decision.
func DecideWithout(c Case, out []Exclusion) (Decision, error) {
	d, err := Decide(c)
	if err != nil || d.Next == nil || !excluded(out, d.Next.Test, d.Next.Bank, d.Next.Position) {
		return d, err
	}
	left := slices.DeleteFunc(Tests(), func(t TestInfo) bool {
		return t.ID == "road_proof" || excluded(out, t.ID, 0, 0) || tested(c, t)
	})
	slices.SortStableFunc(left, func(a, b TestInfo) int { return cmp.Compare(a.Minutes, b.Minutes) })
	d.Next, d.Plan = nil, []PlanStep{}
	for _, t := range left {
		at, ok := firstPlace(c.Vehicle, t, out)
		if !ok {
			continue
		}
		d.Next = &NextTest{Test: t.ID, Bank: at.Bank, Position: at.Position, Minutes: t.Minutes, Cautions: t.Cautions,
			Why: "The better test cannot be done here. Of those left this one is the quickest."}
		break
	}
	return d, nil
}

func excluded(out []Exclusion, test string, bank, position int) bool {
	return slices.ContainsFunc(out, func(x Exclusion) bool { return x.Excludes(test, bank, position) })
}

// tested says that the log holds what the test would show.
func tested(c Case, t TestInfo) bool {
	return slices.ContainsFunc(c.Evidence, func(e Entry) bool { return e.Kind == t.Entry && (t.Entry != KindResult || e.Test == t.ID) })
}

func firstPlace(v Vehicle, t TestInfo, out []Exclusion) (Sensor, bool) {
	switch t.Scope {
	case ScopeSensor:
		for _, s := range v.Sensors {
			if !excluded(out, t.ID, s.Bank, s.Position) {
				return s, true
			}
		}
		return Sensor{}, false
	case ScopeBank:
		for b := range v.Banks() {
			if !excluded(out, t.ID, b+1, 0) {
				return Sensor{Bank: b + 1}, true
			}
		}
		return Sensor{}, false
	}
	return Sensor{}, true
}
