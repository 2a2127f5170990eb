package diag

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"crosscount/diag/chem"
)

// The bound of 1.1 V that the trade keeps is the Nernst bound in an engine's
// exhaust: no mixture an engine burns, at no heat at which the cell works (from
// 300 °C), gives more.
func TestACellGivesNoMoreThanTheNernstBound(t *testing.T) {
	top := 0.0
	for kelvin := 600.0; kelvin <= 1200; kelvin += 25 {
		for lambda := 0.75; lambda <= 1.5; lambda += 0.01 {
			v, err := chem.PetrolBalance.VoltageAt(lambda, kelvin)
			if err != nil {
				t.Fatal(err)
			}
			if v < 0 {
				t.Errorf("lambda %.2f at %.0f K: %.4f V, below nothing", lambda, kelvin, v)
			}
			top = max(top, v)
		}
	}
	for _, q := range trade().m.Quantities {
		if q.Cell == nil {
			continue
		}
		if q.Cell.Lo != 0 || math.Abs(q.Cell.Hi-top) > 0.05 {
			t.Errorf("%s: a cell gives %g to %g V by the model; the equation says 0 to %.3f V", q.ID, q.Cell.Lo, q.Cell.Hi, top)
		}
	}
}

func TestVoltagesBeyondACell(t *testing.T) {
	of := func(t *testing.T, cause string, evidence ...Entry) (float64, Decision) {
		t.Helper()
		d, err := Decide(Case{Version: 1, Vehicle: Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf", OdometerKm: 150000,
			Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}, {Bank: 1, Position: 2, Kind: Zirconia, Wires: 4}}},
			Costs: Costs{LabourPerHour: 120, Currency: "USD"}, Evidence: evidence})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range d.Causes {
			if c.Cause == cause && (c.Position == 0 || c.Position == evidence[len(evidence)-1].Position) {
				return c.P, d
			}
		}
		return 0, d
	}
	signal := func(position int, minV, maxV *float64) Entry {
		return Entry{Kind: KindSignal, Bank: 1, Position: position, State: "fast_idle", MinV: minV, MaxV: maxV}
	}
	forced := func(volts float64) Entry {
		return Entry{Kind: KindForced, Bank: 1, Position: 1, Mixture: "rich", Volts: &volts}
	}
	tooRich := Entry{Kind: KindCode, Code: "P0172"}

	for _, with := range []struct {
		name     string
		before   []Entry
		position int
	}{{"without a code", nil, 1}, {"with a code for too rich", []Entry{tooRich}, 1}, {"behind the converter", nil, 2}} {
		t.Run("speak for a short to supply, the more the further they are, "+with.name, func(t *testing.T) {
			last, first := 0.0, 0.0
			for _, v := range []float64{1.1, 1.15, 1.2, 1.3, 1.6, 2.1, 3.1, 5} {
				p, _ := of(t, "signal_short_supply", append(with.before, signal(with.position, nil, &v))...)
				if p < last {
					t.Errorf("%g V: %.4f, less than the %.4f of the reading before", v, p, last)
				}
				if first == 0 {
					first = p
				}
				last = p
			}
			if last < 50*first && last < 0.7 {
				t.Errorf("%.4f at the bound and %.4f at 5 V", first, last)
			}
		})
	}
	t.Run("put it first from 0.3 V over", func(t *testing.T) {
		for _, e := range []Entry{signal(1, nil, new(1.4)), signal(1, nil, new(2.1)), signal(1, nil, new(12.5)), forced(1.4), forced(2.1)} {
			_, d := of(t, "signal_short_supply", e)
			if d.Causes[0].Cause != "signal_short_supply" || d.Causes[0].Position != 1 {
				t.Errorf("%v: %v at %.3f stands first", e, d.Causes[0].CauseRef, d.Causes[0].P)
			}
		}
	})
	t.Run("prove nothing by one number, and several together do", func(t *testing.T) {
		for _, v := range []float64{1.3, 2.1, 5, 12.5} {
			p, d := of(t, "signal_short_supply", signal(1, nil, &v))
			if p > 0.6 || d.Verdict.Decision != DecideOpen || d.Next == nil {
				t.Errorf("%g V alone: %.3f, verdict %s", v, p, d.Verdict.Decision)
			}
		}
		e := signal(1, new(1.2), new(2.0))
		e.MeanV = new(1.5)
		if p, d := of(t, "signal_short_supply", e); p < 0.95 || d.Verdict.Decision != DecideNoPart {
			t.Errorf("highest 2.0, mean 1.5, lowest 1.2 V: %.3f, verdict %s", p, d.Verdict.Decision)
		}
	})
	t.Run("below zero speak for a crack or starved reference air, never for a supply", func(t *testing.T) {
		sound, _ := of(t, "signal_short_supply", signal(1, new(0.13), nil))
		for _, v := range []float64{-0.15, -0.3, -0.6} {
			crack, _ := of(t, "sensor_cracked", signal(1, &v, nil))
			starved, _ := of(t, "reference_air_blocked", signal(1, &v, nil))
			if crack+starved < 0.3 {
				t.Errorf("%g V: cracked %.3f, starved %.3f", v, crack, starved)
			}
			if p, _ := of(t, "signal_short_supply", signal(1, &v, nil)); p > max(2*sound, 0.005) {
				t.Errorf("%g V: %.4f for a short to supply, %.4f with a sound lowest voltage", v, p, sound)
			}
		}
	})
	t.Run("come with a word about the tool", func(t *testing.T) {
		note := func(e Entry) string {
			_, d := of(t, "signal_short_supply", e)
			return fmt.Sprint(d.Notes)
		}
		if s := note(signal(1, nil, new(1.6))); !strings.Contains(s, "1.6 V is more than a cell can give, about 1.1 V") || !strings.Contains(s, "another tool") {
			t.Error(s)
		}
		if s := note(signal(1, new(-0.3), nil)); !strings.Contains(s, "crossed") {
			t.Error(s)
		}
		for _, e := range []Entry{signal(1, new(0.02), new(1.08)), signal(1, new(-0.03), new(1.13))} {
			if s := note(e); strings.Contains(s, "cell") {
				t.Error("within the tool's error: " + s)
			}
		}
	})
}

// What the reckoning expects of a test and what it makes of the answer are one
// distribution: the share of the density below a limit is the chance that the
// reading is said to be below it.
func TestReadingsAddUp(t *testing.T) {
	e := trade()
	w := &world{engine: e}
	for q := range e.m.Quantities {
		mq := &e.m.Quantities[q]
		if mq.Cell == nil {
			continue
		}
		levels := []level{w.goodLevel(q)}
		for c := range e.effects {
			for v := range e.effects[c] {
				if l := e.effects[c][v].show[q]; l.has {
					levels = append(levels, l)
				}
			}
		}
		for _, l := range levels {
			limits := []float64{-0.06, 0.2, 0.55, 0.8, 1.3, 5}
			read, wild := make([]float64, len(limits)+1), make([]float64, len(limits)+1) // the last: all
			limits = append(limits, 40)
			const step = 0.0005
			for x := -40 + step/2; x < 40; x += step {
				for i, limit := range limits {
					if x < limit {
						if x >= l.lo && x <= l.hi {
							read[i] += w.density(l, x) * step
						}
						if x >= mq.Lo && x <= mq.Hi {
							wild[i] += w.wildDensity(q, x) * step
						}
					}
				}
			}
			all := len(limits) - 1
			if math.Abs(read[all]-1) > 0.005 {
				t.Errorf("%s at %g sd %g: its density adds up to %.4f", mq.ID, l.mean, l.sd, read[all])
			}
			for i, limit := range limits[:all] {
				want := (1-e.wild)*read[i] + e.wild*wild[i]/wild[all]
				if got := w.below(q, l, limit); math.Abs(got-want) > 0.005 {
					t.Errorf("%s at %g sd %g, below %g V: %.4f, by its density %.4f", mq.ID, l.mean, l.sd, limit, got, want)
				}
			}
		}
	}
}

// A cell without its heater waits for the exhaust (trade knowledge: late activity).
func TestLateActivity(t *testing.T) {
	of := func(kind SensorKind, wires int, warmUp float64) (element, supply float64, d Decision) {
		t.Helper()
		d, err := Decide(Case{Version: 1, Vehicle: Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf", OdometerKm: 150000,
			Sensors: []Sensor{{Bank: 1, Position: 1, Kind: kind, Wires: wires}, {Bank: 1, Position: 2, Kind: Zirconia, Wires: 4}}},
			Costs: Costs{LabourPerHour: 120, Currency: "USD"}, Evidence: []Entry{
				{Kind: KindCode, Code: "P0133"}, {Kind: KindHeater, Bank: 1, Position: 1, WarmUpS: &warmUp}}})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range d.Causes {
			switch {
			case c.Position != 1:
			case c.Cause == "heater_element_open":
				element = c.P
			case c.Cause == "heater_supply_fault":
				supply = c.P
			}
		}
		return element, supply, d
	}
	t.Run("speaks for the heater or its supply, and quick activity against both", func(t *testing.T) {
		quickE, quickS, _ := of(Zirconia, 4, 25)
		lateE, lateS, d := of(Zirconia, 4, 150)
		if lateE < 10*quickE || lateS < 10*quickS || lateE+lateS < 0.3 {
			t.Errorf("active after 25 s: %.4f and %.4f; after 150 s: %.4f and %.4f", quickE, quickS, lateE, lateS)
		}
		if d.Verdict.Decision == DecidePart {
			t.Error("a part without a measurement of the heater")
		}
	})
	t.Run("is not judged on a wide-range sensor", func(t *testing.T) {
		a, b, d := of(WideRange, 5, 20)
		c, e, _ := of(WideRange, 5, 200)
		if a != c || b != e || len(d.Notes) != 1 {
			t.Errorf("%.4f %.4f, %.4f %.4f, notes %v", a, b, c, e, d.Notes)
		}
	})
	t.Run("is refused where there is no heater", func(t *testing.T) {
		ps := Entry{Kind: KindHeater, Bank: 1, Position: 1, WarmUpS: new(90.0)}.Check(Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf",
			Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 1}}})
		if len(ps) == 0 {
			t.Error("taken")
		}
	})
}
