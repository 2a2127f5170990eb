package diag

import (
	"slices"
	"testing"
)

// A lean bank whose leak was mended, with the proof driven after it.
func leakMended(after ...Entry) Case {
	c := Case{Version: CaseVersion, Vehicle: fourInline, Costs: Costs{LabourPerHour: 120, Currency: "USD"}, Evidence: []Entry{
		{Kind: KindCode, Code: "P0171"}, {Kind: KindCode, Code: "P0135"},
		{Kind: KindTrim, Bank: 1, State: "idle", ShortPct: new(2.0), LongPct: new(17.0)},
		{Kind: KindResult, Test: "intake_smoke", Outcome: "common"},
		{Kind: KindResult, Test: "coolant_temp_compare", Outcome: "agrees"},
		{Kind: KindHeater, Bank: 1, Position: 1, FeedV: new(13.8), GroundDropV: new(0.1)},
		{Kind: KindRepair, Cause: "intake_leak_common", AfterRepair: 1},
	}}
	c.Evidence = append(c.Evidence, after...)
	return c
}

func TestAfterARepair(t *testing.T) {
	back := []Entry{
		{Kind: KindResult, Test: "road_proof", Outcome: "failed", AfterRepair: 1},
		{Kind: KindCode, Code: "P0171", Status: "pending", AfterRepair: 1},
	}
	decide := func(c Case) Decision {
		t.Helper()
		d, err := Decide(c)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}

	t.Run("what was mended is not asked for again, though everything before pointed at it", func(t *testing.T) {
		d := decide(leakMended(back...))
		if slices.Contains(d.Verdict.Mend, CauseRef{Cause: "intake_leak_common"}) {
			t.Errorf("mend it again: %+v", d.Verdict)
		}
		for _, c := range d.Causes {
			if c.Cause == "intake_leak_common" && c.P > 0.2 {
				t.Errorf("the mended leak still has %.2f", c.P)
			}
		}
	})

	t.Run("a failed proof of a new sensor does not end in nothing wrong", func(t *testing.T) {
		c := Case{Version: CaseVersion, Vehicle: fourInline, Costs: Costs{LabourPerHour: 120, Currency: "USD"}, Evidence: []Entry{
			{Kind: KindCode, Code: "P0135", Status: "stored"},
			{Kind: KindRepair, Cause: NewSensor, Bank: 1, Position: 1, AfterRepair: 1}, back[0],
		}}
		if d := decide(c); d.Next == nil {
			t.Errorf("%s, and nothing to look at: %s", d.Verdict.Decision, d.Verdict.Why)
		}
	})

	t.Run("what its cause cannot have shown is still weighed", func(t *testing.T) {
		d := decide(leakMended(back...))
		var past []int
		for _, n := range d.Notes {
			if len(n.Entries) > 1 {
				past = n.Entries
			}
		}
		// The lean code, the trim and the smoke may have come from the leak; the heater's
		// code, the coolant's temperature and the heater's feed may not.
		if want := []int{0, 2, 3}; !slices.Equal(past, want) {
			t.Errorf("set aside: %v, not %v: %+v", past, want, d.Notes)
		}
		without := leakMended(back...)
		without.Evidence = slices.Delete(without.Evidence, 1, 2)
		heater := func(d Decision) (p float64) {
			for _, c := range d.Causes {
				if c.Cause == "heater_element_open" && c.Position == 1 {
					p = c.P
				}
			}
			return p
		}
		if a, b := heater(d), heater(decide(without)); a < 2*b || a < 0.1 {
			t.Errorf("heater: %.3f with its code, %.3f without", a, b)
		}
	})

	t.Run("a code that came back is no past event", func(t *testing.T) {
		p := func(c Case) (p float64) {
			for _, x := range decide(c).Causes {
				if x.Cause == "past_event" {
					p = x.P
				}
			}
			return p
		}
		lean := Case{Version: CaseVersion, Vehicle: fourInline, Costs: Costs{LabourPerHour: 120, Currency: "USD"}, Evidence: []Entry{{Kind: KindCode, Code: "P0171"}}}
		before := p(lean)
		lean.Evidence = append(lean.Evidence, Entry{Kind: KindCode, Code: "P0171", Status: "pending", AfterRepair: 1})
		if after := p(lean); before < 0.05 || after > before/3 {
			t.Errorf("past event: %.3f with a stored code, %.3f when it is back", before, after)
		}
	})

	t.Run("a new sensor takes with it what was found at the old one", func(t *testing.T) {
		c := Case{Version: CaseVersion, Vehicle: fourInline, Costs: Costs{LabourPerHour: 120, Currency: "USD"}, Evidence: []Entry{
			{Kind: KindCode, Code: "P0133"},
			{Kind: KindForced, Bank: 1, Position: 1, Mixture: "rich", Volts: new(0.7), Ms: new(420.0)},
			{Kind: KindForced, Bank: 1, Position: 1, Mixture: "lean", Volts: new(0.15), Ms: new(380.0)},
			{Kind: KindResult, Test: "coolant_temp_compare", Outcome: "agrees"}, {Kind: KindHistory, Remark: "fuel_use_up"},
		}}
		if d := decide(c); d.Verdict.Decision != DecidePart {
			t.Fatalf("before: %+v", d.Verdict)
		}
		c.Evidence = append(c.Evidence, Entry{Kind: KindRepair, Cause: NewSensor, Bank: 1, Position: 1, AfterRepair: 1},
			Entry{Kind: KindResult, Test: "road_proof", Outcome: "failed", AfterRepair: 1})
		if d := decide(c); d.Verdict.Decision == DecidePart {
			t.Errorf("another new sensor: %+v", d.Verdict)
		}
		// Measured slow again, the new one is suspected after all.
		again := c
		again.Evidence = append(slices.Clone(c.Evidence),
			Entry{Kind: KindCode, Code: "P0133", Status: "pending", AfterRepair: 1},
			Entry{Kind: KindForced, Bank: 1, Position: 1, Mixture: "rich", Volts: new(0.7), Ms: new(420.0), AfterRepair: 1},
			Entry{Kind: KindForced, Bank: 1, Position: 1, Mixture: "lean", Volts: new(0.15), Ms: new(380.0), AfterRepair: 1})
		sum := 0.0
		for _, x := range decide(again).Causes {
			if x.Bank == 1 && x.Position == 1 {
				sum += x.P
			}
		}
		if sum < 0.5 {
			t.Errorf("something at the new sensor: only %.2f", sum)
		}
	})

	t.Run("which entry comes first does not matter", func(t *testing.T) {
		c := leakMended(back...)
		want := decide(c)
		slices.Reverse(c.Evidence)
		if got := decide(c); got.Verdict.Decision != want.Verdict.Decision || len(got.Causes) != len(want.Causes) || got.Causes[0].P != want.Causes[0].P {
			t.Errorf("%+v, turned round %+v", want.Causes[0], got.Causes[0])
		}
	})
}
