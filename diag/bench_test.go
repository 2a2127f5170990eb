package diag

import "testing"

func BenchmarkInferL1V(b *testing.B) {
	tr := func(bk int, st string, x float64) Entry {
		return Entry{Kind: KindTrim, Bank: bk, State: st, ShortPct: fl(0), LongPct: fl(x)}
	}
	es := []Entry{{Kind: KindCode, Code: "P0171"}, tr(1, "cruise", 25), {Kind: KindLambda, State: "cruise", Value: fl(1)}}
	cs := canonical(Case{Version: 1, Vehicle: carV(), Evidence: es, Costs: Costs{120, "USD"}})
	w := newWorld(trade(), cs.Vehicle)
	for b.Loop() {
		newCalc(w.collect(cs.Evidence)).infer()
	}
}
