package diag

import "testing"

func TestCodesThatAreNotThere(t *testing.T) {
	chance := chanceOn(t)
	lean := Entry{Kind: KindCode, Code: "P0171"}
	all, pending := Entry{Kind: KindCodeList, Status: "stored"}, Entry{Kind: KindCodeList, Status: "pending"}

	t.Run("speak against a cause that mostly sets them", func(t *testing.T) {
		if alone, listed := chance("signal_short_ground", lean), chance("signal_short_ground", lean, all); listed > alone/2 {
			t.Errorf("%.4f of a short with P0171 alone, %.4f when no other code is stored", alone, listed)
		}
	})
	t.Run("say less once the codes were cleared, as they may not be back", func(t *testing.T) {
		cleared := Entry{Kind: KindHistory, Remark: "codes_cleared"}
		before, after := chance("signal_short_ground", lean, all)/chance("signal_short_ground", lean), chance("signal_short_ground", lean, cleared, all)/chance("signal_short_ground", lean, cleared)
		if after >= 1 || after < 1.5*before {
			t.Errorf("the list leaves %.3f of it, after a clear %.3f", before, after)
		}
	})
	t.Run("make a past event likelier where nothing is pending, and less likely where the code is", func(t *testing.T) {
		alone := chance("past_event", lean)
		not, is := chance("past_event", lean, pending), chance("past_event", lean, pending, Entry{Kind: KindCode, Code: "P0171", Status: "pending"})
		if not < 1.5*alone || is > alone/2 {
			t.Errorf("past event: %.3f alone, %.3f not pending, %.3f pending", alone, not, is)
		}
	})
}

// chanceOn gives the probability of a cause of the engine, of its bank or at its front
// sensor on a four-cylinder car.
func chanceOn(t *testing.T) func(cause string, list ...Entry) float64 {
	return func(cause string, list ...Entry) float64 {
		t.Helper()
		d, err := Decide(Case{Version: CaseVersion, Vehicle: fourInline, Evidence: list, Costs: Costs{LabourPerHour: 120, Currency: "USD"}})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range d.Causes {
			if c.Cause == cause && c.Position < 2 {
				return c.P
			}
		}
		return 0
	}
}
