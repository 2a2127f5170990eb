package diag

import (
	"testing"

	"crosscount/diag/plan"
)

func TestEveryPlanIsAProblem(t *testing.T) {
	for i := range 40 {
		d := trade().weigh(midway(i), nil)
		p := d.pr.problem
		p.Questions = p.Questions[:d.pr.proof]
		if err := p.Validate(); err != nil {
			t.Fatalf("job %d: %v", i, err)
		}
		d.pr.choose()
		if lo, hi := d.pr.atLeast, d.pr.atMost; lo <= 0 || lo > hi*(1+1e-9) {
			t.Errorf("job %d: costs %v at least and %v at most", i, lo, hi)
		}
		r, err := plan.Solve(&p, plan.Options{Budget: 20 * planBudget})
		if err != nil {
			t.Fatal(err)
		}
		if r.Lower > d.pr.atMost*(1+1e-9) || r.Total < d.pr.atLeast*(1-1e-9) {
			t.Errorf("job %d: %v to %v, and with more search %v to %v", i, d.pr.atLeast, d.pr.atMost, r.Lower, r.Total)
		}
	}
}

// That trims in several states are read before anything is taken apart or smoked is
// common practice, no source.
func TestTrimsAreReadFirst(t *testing.T) {
	d := trade().decide(Case{Version: CaseVersion, Vehicle: fourInline, Evidence: codes("P0171"), Costs: Costs{LabourPerHour: 120, Currency: "USD"}}, nil)
	if d.Next == nil || d.Next.Test != "trims" {
		t.Errorf("a lean code alone: next is %+v", d.Next)
	}
}

func TestSetUpsInPlace(t *testing.T) {
	at := func(ready []string, entries []Entry) []string {
		d := trade().weigh(Case{Version: CaseVersion, Vehicle: fourInline, Evidence: entries, Ready: ready, Costs: Costs{LabourPerHour: 120, Currency: "USD"}}, nil)
		var out []string
		for i, l := range d.pr.local {
			if d.pr.problem.Open>>i&1 == 1 {
				out = append(out, d.c.w.m.Setups[l.setup].ID)
			}
		}
		return out
	}
	none := []string{}
	code, trim := codes("P0171")[0], trims(1, 20)[0]
	tip := Entry{Kind: KindTip, Bank: 1, Position: 1, Look: "clean"}
	plug := Entry{Kind: KindConnector, Bank: 1, Position: 1, Result: "good"}
	for _, x := range []struct {
		name    string
		ready   []string
		entries []Entry
		want    string
	}{
		{"none before a test", nil, []Entry{code}, ""},
		{"a warm engine after the trims", nil, []Entry{code, trim}, "warm_engine"},
		{"the lift after the tip, and what was freed at that sensor", nil, []Entry{code, tip}, "lift plug_open thread_freed"},
		{"not the lift after trims, which want the road", nil, []Entry{code, tip, trim}, "warm_engine plug_open thread_freed"},
		{"neither warm nor cold after a test with each", nil, []Entry{code, trim, plug}, "plug_open"},
		{"what the case says rather than what tests left", []string{"lift"}, []Entry{code, trim}, "lift"},
		{"but of a sensor what tests left", none, []Entry{code, trim, plug}, "plug_open"},
	} {
		t.Run(x.name, func(t *testing.T) {
			got := ""
			for i, s := range at(x.ready, x.entries) {
				if i > 0 {
					got += " "
				}
				got += s
			}
			if got != x.want {
				t.Errorf("%q, want %q", got, x.want)
			}
		})
	}
}
