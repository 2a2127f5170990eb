package diag

import (
	"math"
	"testing"
)

func TestSpread(t *testing.T) {
	for _, x := range []struct {
		name      string
		ends      []branch
		mean, p90 float64
	}{
		{"is the value itself when there is one", []branch{{1, 20}}, 20, 20},
		{"takes the least that covers nine in ten", []branch{{0.9, 10}, {0.1, 100}}, 19, 10},
		{"takes the next when it falls short", []branch{{0.1001, 100}, {0.8999, 10}}, 19.009, 100},
		{"does not need weights that add up to one", []branch{{2, 30}, {2, 10}}, 20, 30},
		{"is nothing without branches", nil, 0, 0},
	} {
		t.Run(x.name, func(t *testing.T) {
			mean, p90 := spread(x.ends)
			if math.Abs(mean-x.mean) > 1e-9 || p90 != x.p90 {
				t.Errorf("%g and %g, want %g and %g", mean, p90, x.mean, x.p90)
			}
		})
	}
}

func TestLookingFor(t *testing.T) {
	six := Vehicle{Cylinders: 6, Arrangement: "v", DisplacementL: 3, Fuel: "petrol", AirMetering: "maf", Sensors: []Sensor{
		{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}, {Bank: 1, Position: 2, Kind: Zirconia, Wires: 4},
		{Bank: 2, Position: 1, Kind: Zirconia, Wires: 4}, {Bank: 2, Position: 2, Kind: Zirconia, Wires: 4}}}
	look := func(t *testing.T, ev ...Entry) (Looking, Decision) {
		t.Helper()
		c := Case{Version: CaseVersion, Vehicle: six, Evidence: ev, Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
		l, err := LookingFor(c)
		if err != nil {
			t.Fatal(err)
		}
		d, err := Decide(c)
		if err != nil {
			t.Fatal(err)
		}
		return l, d
	}
	code := func(c string) Entry { return Entry{Kind: KindCode, Code: c, Status: "stored"} }
	t.Run("takes at least the next test and at most all of them", func(t *testing.T) {
		all := 0.0
		for _, x := range Tests() {
			all += x.Minutes * 8 // at every place, with its set-ups
		}
		for _, c := range []string{"P0171", "P0135", "P0420", "P0133"} {
			l, d := look(t, code(c))
			if l.Minutes < d.Next.Minutes || l.Minutes90 < d.Next.Minutes || l.Minutes90 > all || l.Minutes > all {
				t.Errorf("%s: %+v, the next test alone takes %g min", c, l, d.Next.Minutes)
			}
			if l.Beyond < 0 || l.Beyond > 0.5 {
				t.Errorf("%s: goes on past what was counted with %g", c, l.Beyond)
			}
		}
	})
	t.Run("takes no time when the verdict is there", func(t *testing.T) {
		l, d := look(t, code("P0171"), code("P0174"), Entry{Kind: KindResult, Test: "intake_smoke", Outcome: "common"}, Entry{Kind: KindResult, Test: "pcv_pinch", Outcome: "unchanged"},
			Entry{Kind: KindTrim, Bank: 1, State: "idle", ShortPct: new(2.0), LongPct: new(22.0)}, Entry{Kind: KindTrim, Bank: 2, State: "idle", ShortPct: new(1.0), LongPct: new(21.0)},
			Entry{Kind: KindTrim, Bank: 1, State: "cruise", ShortPct: new(1.0), LongPct: new(5.0)}, Entry{Kind: KindTrim, Bank: 2, State: "cruise", ShortPct: new(0.0), LongPct: new(5.0)})
		if d.Verdict.Decision == DecideOpen {
			t.Fatal("this evidence leaves the verdict open")
		}
		if l.Minutes != 0 || l.Minutes90 != 0 {
			t.Errorf("%+v", l)
		}
	})
	t.Run("refuses a case that is none", func(t *testing.T) {
		if _, err := LookingFor(Case{}); err == nil {
			t.Error("no error")
		}
	})
}
