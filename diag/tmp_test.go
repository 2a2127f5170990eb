package diag

import (
	"fmt"
	"sort"
	"testing"
	"time"
)

func fl(x float64) *float64 { return &x }

func car4() Vehicle {
	return Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf", OdometerKm: 150000,
		Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}, {Bank: 1, Position: 2, Kind: Zirconia, Wires: 4}}}
}
func carV() Vehicle {
	v := car4()
	v.Cylinders, v.Arrangement, v.DisplacementL = 6, "v", 3
	v.Sensors = append(v.Sensors, Sensor{Bank: 2, Position: 1, Kind: Zirconia, Wires: 4}, Sensor{Bank: 2, Position: 2, Kind: Zirconia, Wires: 4}, Sensor{Bank: 1, Position: 3, Kind: Zirconia, Wires: 4})
	return v
}

func show(name string, v Vehicle, es ...Entry) {
	cs := canonical(Case{Version: 1, Vehicle: v, Evidence: es, Costs: Costs{120, "USD"}})
	w := newWorld(trade(), v)
	t0 := time.Now()
	ev := w.collect(cs.Evidence)
	c := newCalc(ev)
	t1 := time.Now()
	b := c.infer()
	t2 := time.Now()
	type mp struct {
		r string
		p float64
	}
	var l []mp
	for i, p := range b.marg {
		l = append(l, mp{fmt.Sprint(w.places[i].ref), p})
	}
	for s := range b.smarg {
		for i, p := range b.smarg[s] {
			l = append(l, mp{fmt.Sprint(w.sens[s].places[i].ref), p})
		}
	}
	sort.Slice(l, func(i, j int) bool { return l[i].p > l[j].p })
	fmt.Printf("%s: calc %v infer %v nodes %d work %d left %.2g\n", name, t1.Sub(t0), t2.Sub(t1), len(b.nodes), b.work, b.leftOut)
	for _, x := range l[:8] {
		fmt.Printf("   %-40s %.4f\n", x.r, x.p)
	}
}

func TestTmp(t *testing.T) {
	tr := func(b int, st string, x float64) Entry {
		return Entry{Kind: KindTrim, Bank: b, State: st, ShortPct: fl(0), LongPct: fl(x)}
	}
	lam := func(st string, x float64) Entry { return Entry{Kind: KindLambda, State: st, Value: fl(x)} }
	code := func(c string) Entry { return Entry{Kind: KindCode, Code: c} }
	for range 1 {
		show("none", car4())
		show("L1", car4(), code("P0171"), tr(1, "cruise", 25), lam("cruise", 1.0))
		show("L1 V", carV(), code("P0171"), tr(1, "cruise", 25), lam("cruise", 1.0))
		show("L2", car4(), code("P0171"), tr(1, "idle", 8), tr(1, "cruise", 15), tr(1, "load", 25), lam("idle", 1.0), lam("cruise", 1))
		show("L3", car4(), code("P0171"), tr(1, "idle", 25), tr(1, "cruise", 25), lam("idle", .85), lam("cruise", .85))
		show("L5", car4(), tr(1, "idle", -12), tr(1, "cruise", 9), lam("idle", .96), lam("cruise", 1.03), Entry{Kind: KindHistory, Remark: "codes_cleared"})
		show("L7", car4(), Entry{Kind: KindGas, State: "fast_idle", COPct: fl(1.0), CO2Pct: fl(14.2), O2Pct: fl(.3), HCPpm: fl(350)})
		show("P0420", carV(), code("P0420"))
		show("P0420 P0430", carV(), code("P0420"), code("P0430"), code("P0133"))
		c := decode(t, exampleCase)
		show("example", c.Vehicle, c.Evidence...)
	}
}
