package diag

import (
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
