package diag

import (
	"errors"
	"slices"
	"testing"
)

func TestReadyNow(t *testing.T) {
	car := func(ago float64, id string) Happening { return Happening{ago, Entry{Kind: KindCar, Result: id}} }
	look := func(ago float64) Happening {
		return Happening{ago, Entry{Kind: KindConnector, Bank: 1, Position: 1, Result: "good"}}
	}
	test := func(ago float64, id, outcome string) Happening {
		return Happening{ago, Entry{Kind: KindResult, Test: id, Outcome: outcome}}
	}
	trims := func(ago float64) Happening {
		return Happening{ago, Entry{Kind: KindTrim, Bank: 1, State: "idle", LongPct: new(1.0)}}
	}
	for _, x := range []struct {
		what string
		list []Happening
		want []string
	}{
		{"of a car nobody has looked at nothing is known", nil, nil},
		{"it came in from the road", []Happening{car(5, "warm_engine")}, []string{"warm_engine"}},
		{"what was warm is not relied on after half an hour", []Happening{car(31, "warm_engine")}, nil},
		{"what has stood long enough is cold", []Happening{car(200, "warm_engine")}, []string{"cold_exhaust"}},
		{"it came in cold and stays so", []Happening{car(300, "cold_exhaust")}, []string{"cold_exhaust"}},
		{"a test that wants it cold leaves it cold", []Happening{car(60, "warm_engine"), look(10)}, []string{"cold_exhaust"}},
		{"a test that wants it warm undoes the cold", []Happening{car(60, "cold_exhaust"), look(40), trims(10)}, []string{"warm_engine"}},
		{"the order of the list does not matter, that of time does", []Happening{trims(10), look(40)}, []string{"warm_engine"}},
		{"and the other way round", []Happening{trims(40), look(10)}, []string{"cold_exhaust"}},
		{"a search underneath leaves it on the lift", []Happening{test(10, "exhaust_leak_test", "none")}, []string{"cold_exhaust", "lift"}},
		{"the road takes it off the lift", []Happening{test(20, "exhaust_leak_test", "none"), trims(10)}, []string{"warm_engine"}},
		{"so does somebody who says so", []Happening{car(20, "lift"), car(10, OffLift)}, nil},
		{"the proof comes back warm and on its wheels", []Happening{car(60, "lift"), car(60, "cold_exhaust"), test(5, "road_proof", "failed")}, []string{"warm_engine"}},
		{"a repair leaves nothing to rely on", []Happening{test(50, "exhaust_leak_test", "none"), {10, Entry{Kind: KindRepair, Cause: "pcv_fault"}}}, nil},
		{"a lift is not relied on for ever", []Happening{car(481, "lift")}, []string{"cold_exhaust"}},
		{"relieved pressure goes with time", []Happening{{40, Entry{Kind: KindFuelPressure, KPa: new(300.0)}}}, nil},
		{"or is there just after", []Happening{{10, Entry{Kind: KindFuelPressure, KPa: new(300.0)}}}, []string{"pressure_relieved"}},
		{"a word that no longer means anything", []Happening{car(5, "hovering")}, nil},
	} {
		t.Run(x.what, func(t *testing.T) {
			if got := ReadyNow(x.list); got == nil || !slices.Equal(got, x.want) {
				t.Errorf("%#v, want %q", got, x.want)
			}
		})
	}
}

func TestReadyOfACase(t *testing.T) {
	c := Case{Version: CaseVersion, Vehicle: fourInline, Evidence: codes("P0171"), Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
	next := func(t *testing.T, ready ...string) float64 {
		t.Helper()
		c := c
		c.Ready = slices.Clone(ready)
		d, err := Decide(c)
		if err != nil {
			t.Fatal(err)
		}
		return d.Costs.Expected
	}
	t.Run("what is in place makes the job cheaper by no more than it costs", func(t *testing.T) {
		none := next(t, []string{}...)
		for _, s := range []string{"warm_engine", "lift"} {
			if all := next(t, s); !(all <= none && all >= none-2*120/60*8) {
				t.Errorf("%s: %g, without %g", s, all, none)
			}
		}
	})
	t.Run("its order does not matter", func(t *testing.T) {
		ready := []string{"lift", "warm_engine"}
		if a, b := next(t, ready...), next(t, "warm_engine", "lift"); a != b {
			t.Errorf("%g and %g", a, b)
		}
	})
	t.Run("it is no part of what names the case", func(t *testing.T) {
		a, b := c, c
		a.Ready, b.Ready = nil, []string{"lift"}
		if Fingerprint(a) != Fingerprint(b) {
			t.Error("two fingerprints")
		}
	})
	for _, x := range []struct {
		what, path string
		spoil      func(c *Case)
	}{
		{"a set-up nobody knows", "ready[0]", func(c *Case) { c.Ready = []string{"warm"} }},
		{"a set-up of one sensor", "ready[0]", func(c *Case) { c.Ready = []string{"plug_open"} }},
		{"one named twice", "ready[1]", func(c *Case) { c.Ready = []string{"lift", "lift"} }},
		{"warm and cold at once", "ready[1]", func(c *Case) { c.Ready = []string{"warm_engine", "cold_exhaust"} }},
		{"an entry that says how the car stands", "evidence[1].kind", func(c *Case) {
			c.Evidence = append(slices.Clone(c.Evidence), Entry{Kind: KindCar, Result: "lift"})
		}},
	} {
		t.Run("refuses "+x.what, func(t *testing.T) {
			c := c
			x.spoil(&c)
			_, err := Decide(c)
			ps, ok := errors.AsType[Problems](err)
			if !ok || len(ps) != 1 || ps[0].Path != x.path {
				t.Errorf("%v, want a problem at %s", err, x.path)
			}
		})
	}
}
