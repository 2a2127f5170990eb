package diag

import (
	"math"
	"testing"
)

func TestFreezeFrame(t *testing.T) {
	chance := chanceOn(t)
	lean := Entry{Kind: KindCode, Code: "P0171"}
	trim := func(pct float64, frame bool) Entry {
		return Entry{Kind: KindTrim, Bank: 1, State: "idle", ShortPct: new(1.0), LongPct: new(pct), Frame: frame}
	}
	t.Run("may be of an event that is over, as trims read today may not", func(t *testing.T) {
		none, then, today := chance("past_event", lean), chance("past_event", lean, trim(16, true)), chance("past_event", lean, trim(16, false))
		if then < none/2 || today > then/5 {
			t.Errorf("past event: %.4f by the code, %.4f with +17 %% in the frame, %.4f with +17 %% today", none, then, today)
		}
	})
	t.Run("with good trims today speaks for an event that is over", func(t *testing.T) {
		if then, both := chance("past_event", lean, trim(16, true)), chance("past_event", lean, trim(16, true), trim(0, false)); both < 1.5*then {
			t.Errorf("past event: %.4f by the frame, %.4f with good trims today", then, both)
		}
	})
	t.Run("speaks for the cause whose trims it shows", func(t *testing.T) {
		if without, with := chance("intake_leak_common", lean), chance("intake_leak_common", lean, trim(16, true)); with < 1.3*without {
			t.Errorf("air leak: %.4f, with +17 %% at idle in the frame %.4f", without, with)
		}
	})
	t.Run("tells less than half as much again of a state that was read today", func(t *testing.T) {
		today := chance("intake_leak_common", lean, trim(16, false))
		again := chance("intake_leak_common", lean, trim(16, false), trim(16, true))
		first := chance("intake_leak_common", lean)
		lo := func(p float64) float64 { return math.Log(p / (1 - p)) }
		if more, was := lo(again)-lo(today), lo(today)-lo(first); more > was/2 {
			t.Errorf("log odds %.2f by today's trims, %.2f more by the frame", was, more)
		}
	})
}
