package diag

import "slices"

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

// DecideWithout weighs a case of which some tests cannot be done: the plan, its costs
// and the next test are the best of those left. The same case and exclusions always
// give the same decision. The error is Problems, for a case that Check refuses.
func DecideWithout(c Case, without []Exclusion) (Decision, error) {
	if err := c.Check().err(); err != nil {
		return Decision{}, err
	}
	return trade().decide(c, without), nil
}

func excluded(out []Exclusion, test string, bank, position int) bool {
	return slices.ContainsFunc(out, func(x Exclusion) bool { return x.Excludes(test, bank, position) })
}
