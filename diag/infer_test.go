package diag

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// TestEveryLikelyCauseIsLookedAt weighs every cause of the engine and its banks alone. One
// that weighs as much as others must not stay behind them because more could be added to
// those: the search once left out single causes with a third of all weight.
func TestEveryLikelyCauseIsLookedAt(t *testing.T) {
	looked := 0
	for i := range 120 {
		v, entries := fiveSensors, 10
		if i%4 == 3 {
			v, entries = tenSensors, 30
		}
		c, _ := canonicalOrder(workedOn(v, entries, uint64(i+101)))
		w := newWorld(trade(), c.Vehicle)
		calc := newCalc(w.collect(c.Evidence))
		b := calc.infer()
		for u := range w.units {
			p := &w.places[w.units[u].place]
			if !calc.touched[w.units[u].place] || math.Exp(calc.weigh([]int16{int16(u)})-b.logZ) < 0.01 {
				continue
			}
			looked++
			if !slices.ContainsFunc(b.nodes, func(n node) bool { return n.n == 1 && n.us[0] == int16(u) }) {
				t.Errorf("case %d: %v alone was not looked at", i, p.ref)
			}
		}
	}
	if looked < 100 {
		t.Errorf("only %d causes weigh something alone", looked)
	}
}

// BenchmarkLeftOut sets what the search leaves out by its own bound against what one of
// forty times the length finds besides, both as a share of all weight.
func BenchmarkLeftOut(b *testing.B) {
	for _, x := range []struct {
		v       Vehicle
		entries int
	}{{fiveSensors, 3}, {fiveSensors, 10}, {fiveSensors, 30}, {tenSensors, 30}} {
		b.Run(fmt.Sprintf("%d sensors, %d entries", len(x.v.Sensors), x.entries), func(b *testing.B) {
			var bound, missed []float64
			for b.Loop() {
				bound, missed = nil, nil
				for seed := range uint64(200) {
					c, _ := canonicalOrder(workedOn(x.v, x.entries, seed+101))
					w := newWorld(trade(), c.Vehicle)
					short := newCalc(w.collect(c.Evidence)).infer()
					long := newCalc(w.collect(c.Evidence)).search(40 * budgetABank * w.nb)
					bound = append(bound, short.leftOut)
					missed = append(missed, max(1-math.Exp(short.logZ-long.logZ), 0))
				}
			}
			report := func(list []float64, name string) {
				slices.Sort(list)
				mean := 0.0
				for _, x := range list {
					mean += x / float64(len(list))
				}
				b.ReportMetric(mean, name+"-mean")
				b.ReportMetric(list[len(list)/2], name+"-median")
				b.ReportMetric(list[len(list)*95/100], name+"-p95")
				b.ReportMetric(list[len(list)-1], name+"-worst")
			}
			report(bound, "bound")
			report(missed, "missed")
			b.ReportMetric(0, "ns/op")
		})
	}
}
