package diag

import (
	"math"
	"testing"
)

// TestProbabilitiesComeTrue holds what the engine believes against what is so, on cars
// drawn from its own model: of all that it holds for likely to some degree as much must be
// there. It looks at arrival and after the tests that the engine asked for, since what it sees
// then is what it chose to look for. That is the calibration of Dawid (1982): what a coherent
// forecaster expects of his own forecasts, whatever he has looked at in between.
func TestProbabilitiesComeTrue(t *testing.T) {
	const jobs = 1500
	type count struct{ expected, found, variance float64 }
	at := map[string]*count{}
	e := trade()
	note := func(where, what string, p float64, is bool) {
		key := what + " " + where
		if at[key] == nil {
			at[key] = &count{}
		}
		c := at[key]
		c.expected += p
		c.variance += p * (1 - p)
		if is {
			c.found++
		}
	}
	for i := range jobs {
		j := drawJob(e, uint64(i)+900_000)
		c := Case{Version: CaseVersion, Vehicle: j.car.w.v, Evidence: j.arrival(), Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
		has := map[CauseRef]bool{}
		for _, r := range j.car.all() {
			has[r] = true
		}
		look := func(where string, d *decision) {
			note(where, "nothing is wrong", d.healthy(), len(j.car.about) == 0)
			for p := range d.c.w.places {
				note(where, "cause of the engine or a bank", d.b.marg[p], has[d.c.w.places[p].ref])
			}
			for s := range d.c.w.sens {
				for p := range d.c.w.sens[s].places {
					note(where, "cause at a sensor", d.b.smarg[s][p], has[d.c.w.sens[s].places[p].ref])
				}
			}
		}
		d := e.weigh(c, nil)
		look("at arrival", d)
		if i%3 > 0 { // the tests take longer
			continue
		}
		for range 4 {
			m, ok := d.first(d.pr.choose())
			if !ok || m.ask < 0 {
				break
			}
			n := d.nextTest(m.ask, 0)
			c.Evidence = append(c.Evidence, j.car.perform(n.Test, n.Bank, n.Position)...)
			d = e.weigh(c, nil)
		}
		look("after tests", d)
	}
	for key, c := range at {
		z := (c.found - c.expected) / math.Sqrt(c.variance)
		t.Logf("%s: %.0f, expected %.1f (%.1f standard deviations)", key, c.found, c.expected, z)
		// One sum in 2,000 is that far off by chance; the seeds are fixed.
		if math.Abs(z) > 3.5 {
			t.Errorf("%s: %.0f, expected %.1f", key, c.found, c.expected)
		}
	}
}

// all are the causes that are there.
func (t *truth) all() []CauseRef {
	var out []CauseRef
	for _, u := range t.h.us {
		out = append(out, t.w.places[t.w.units[u].place].ref)
	}
	for s := range t.w.sens {
		for _, u := range t.w.sens[s].states[t.h.st[s]].units {
			out = append(out, t.w.sens[s].places[t.w.sens[s].units[u].place].ref)
		}
	}
	return out
}
