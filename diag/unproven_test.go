package diag

import (
	"slices"
	"strings"
	"testing"
)

// Simulated jobs at whose end a sensor is as good as certain to have failed, by what was
// found elsewhere, while nothing found on it says so: no part is called for, and the
// technician is told why not.
func TestALikelySensorWithoutEvidenceOnItIsNamedNotRenewed(t *testing.T) {
	n := 0
	for _, seed := range []uint64{38, 95, 351} {
		j := drawJob(trade(), seed)
		bill, c := j.byEngine(trade())
		if !bill.stuck {
			continue
		}
		n++
		d, err := Decide(c)
		if err != nil {
			t.Fatal(err)
		}
		why := d.Verdict.Why.String()
		if d.Verdict.Decision != DecideOpen || d.Next != nil || !strings.Contains(why, "nothing that was found at that sensor itself") {
			t.Errorf("job %d: %s, next %v: %s", seed, d.Verdict.Decision, d.Next, why)
		}
		t.Log(why)
	}
	if n == 0 {
		t.Fatal("none of these jobs ends so any more: look for others among those that BenchmarkShop counts as stuck")
	}
}

// A heater that draws no current may have burnt out or have no feed: the code says as
// much. Which of the two it is must be measured before a part is called for, and where it
// cannot be measured none is.
func TestAHeaterWithoutCurrentIsNoEvidenceForASensorUntilItsFeedIsKnown(t *testing.T) {
	c := Case{Version: CaseVersion, Vehicle: fourInline, Costs: Costs{LabourPerHour: 120, Currency: "USD"},
		Evidence: slices.Concat(codes("P0135"), shown("heater_current", "none", 1, 1))}
	var cannot []Exclusion
	for range 12 {
		d, err := DecideWithout(c, cannot)
		if err != nil {
			t.Fatal(err)
		}
		if d.Verdict.Decision == DecidePart {
			t.Fatalf("a part, without %v: %s", cannot, d.Verdict.Why)
		}
		if d.Next == nil {
			break
		}
		cannot = append(cannot, Exclusion{Test: d.Next.Test})
	}
	if len(cannot) < 2 {
		t.Errorf("only %v was asked for", cannot)
	}
	c.Evidence = append(c.Evidence, heaterFeed(1, 1, 13.8, 0.04)...)
	if d, err := DecideWithout(c, cannot); err != nil || d.Verdict.Decision != DecidePart {
		t.Errorf("with a good feed: %s, %v", d.Verdict.Decision, err)
	}
}
