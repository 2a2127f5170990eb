package diag

import (
	"math"
	"math/big"
	"slices"
	"testing"
)

// TestAlike checks the ratio by its definition: the likelihood of the evidence summed
// over every world with the set, over that of every world, in rationals.
func TestAlike(t *testing.T) {
	one := Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf", OdometerKm: 150000,
		Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}}}
	c := Case{Version: 1, Vehicle: one, Costs: Costs{LabourPerHour: 120, Currency: "USD"}, Evidence: []Entry{
		{Kind: KindCode, Code: "P0133"}, {Kind: KindCode, Code: "P0300"},
		{Kind: KindResult, Test: "combustion_gas_test", Outcome: "found"},
		{Kind: KindResult, Test: "misfire_counts", Outcome: "counted", Bank: 1},
	}}
	gasket, coolant := CauseRef{Cause: "head_gasket_leak"}, CauseRef{"sensor_coolant", 1, 1}
	misfire, aged, oil := CauseRef{"misfire", 1, 0}, CauseRef{"sensor_aged", 1, 1}, CauseRef{Cause: "oil_burning"}
	sets := [][]CauseRef{{gasket}, {coolant}, {gasket, coolant}, {misfire}, {aged}, {oil}, {misfire, aged}, {}}

	t.Run("is the likelihood with the set over the likelihood by and large", func(t *testing.T) {
		e := subModel("oil_burning", "head_gasket_leak", "misfire", "sensor_coolant", "sensor_aged")
		o := &oracleCase{m: e.m, atoms: atoms(e.m, one), km: 150000}
		seen := []func(uint64) *big.Rat{o.code("sensor_slow", 1, 1), o.code("misfire", 0, 0),
			o.finds("combustion_gas_test", "found", 0, 0), o.finds("misfire_counts", "counted", 1, 0)}
		got := e.alike(c, sets)
		canonical := canonical(c)
		world := newWorld(e, canonical.Vehicle)
		left := newCalc(world.collect(canonical.Evidence)).infer().leftOut
		for i, set := range sets {
			with, prior, all := new(big.Rat), new(big.Rat), new(big.Rat)
			for x := range uint64(1) << len(o.atoms) {
				here := map[CauseRef]bool{}
				for j, a := range o.atoms {
					if x>>j&1 == 1 {
						here[a.ref()] = true
					}
				}
				p := o.prior(x)
				l := new(big.Rat).Set(p)
				for _, f := range seen {
					l.Mul(l, f(x))
				}
				all.Add(all, l)
				in := !slices.ContainsFunc(set, func(r CauseRef) bool { return !here[r] })
				if len(set) == 0 {
					in = len(here) == 0
				}
				if in {
					with.Add(with, l)
					prior.Add(prior, p)
				}
			}
			w, _ := with.Float64()
			p, _ := prior.Float64()
			a, _ := all.Float64()
			if want := w / p / a; got[i] < want-(left+1e-6)/p || got[i] > want*(1+left)+1e-6/p || math.Abs(got[i]-want) > 0.15*want {
				t.Errorf("%v: %.5g, exactly %.5g; left out %.2g of %.2g", set, got[i], want, left, p)
			}
		}
	})
	t.Run("tells no cause from another when nothing was found, and has nothing where the car has no such place", func(t *testing.T) {
		c := c
		c.Evidence = nil
		got, err := Alike(c, append(slices.Clone(sets), []CauseRef{{"sensor_aged", 2, 1}}))
		if err != nil {
			t.Fatal(err)
		}
		// A car without a code has come in for something, so every fault is likelier by the
		// same factor, but for what the search leaves out: with nothing known that is most,
		// and falls on what makes others.
		for i, s := range sets[:7] {
			if math.Abs(got[i]-got[0]) > 0.08*got[0] || got[i] < 1 {
				t.Errorf("%v: %.4f, %v: %.4f", s, got[i], sets[0], got[0])
			}
		}
		if sound := got[7]; sound >= 1 || sound <= 0 {
			t.Errorf("a sound car: %.4f", sound)
		}
		if got[len(sets)] != 0 {
			t.Error("a sensor that is not there is alike")
		}
	})
	t.Run("puts the gasket first where the coolant holds combustion gas", func(t *testing.T) {
		got, err := Alike(c, sets)
		if err != nil || got[2] <= got[3] || got[0] <= 1 || got[7] >= 1 {
			t.Errorf("%.3g, %v", got, err)
		}
	})
	t.Run("refuses what the engine refuses", func(t *testing.T) {
		if _, err := Alike(Case{}, nil); err == nil {
			t.Error("an empty case is weighed")
		}
	})
}

func BenchmarkAlike(b *testing.B) {
	c := Case{Version: 1, Vehicle: Vehicle{Cylinders: 6, Arrangement: "v", DisplacementL: 3, Fuel: "petrol", AirMetering: "maf", OdometerKm: 150000,
		Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}, {Bank: 2, Position: 1, Kind: Zirconia, Wires: 4},
			{Bank: 1, Position: 2, Kind: Zirconia, Wires: 4}, {Bank: 2, Position: 2, Kind: Zirconia, Wires: 4}}}, Costs: Costs{LabourPerHour: 120, Currency: "USD"},
		Evidence: []Entry{{Kind: KindCode, Code: "P0171"}, {Kind: KindCode, Code: "P0174"}, {Kind: KindTrim, Bank: 1, State: "idle", LongPct: new(18.0)}}}
	for b.Loop() {
		if _, err := Alike(c, [][]CauseRef{{{Cause: "intake_leak_common"}}, {{Cause: "fuel_delivery_low"}}, {}}); err != nil {
			b.Fatal(err)
		}
	}
}
