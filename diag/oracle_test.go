package diag

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"crosscount/diag/internal/oracle"
	"crosscount/diag/model"
	"crosscount/diag/obd"
)

// The engine against an oracle that lists every set of causes with exact fractions.
// The oracle's likelihoods are written here once more, straight from the model's
// numbers.

// subModel is the trade model with only some causes left.
func subModel(keep ...string) *engine {
	m := *model.Trade()
	m.Causes = nil
	for _, k := range model.Trade().Causes {
		if slices.Contains(keep, k.ID) {
			k.Makes = slices.DeleteFunc(slices.Clone(k.Makes), func(l model.Link) bool { return !slices.Contains(keep, l.Child) })
			m.Causes = append(m.Causes, k)
		}
	}
	return newEngine(&m)
}

// atom is one variant of a cause at a place, one bit of the oracle's sets.
type atom struct {
	k    *model.Cause
	v    model.Variant
	bank int
	pos  int
}

func (a atom) on(variants []string) bool {
	return len(variants) == 0 || slices.Contains(variants, a.v.Name)
}

func (a atom) ref() CauseRef { return CauseRef{a.k.ID, a.bank, a.pos} }

// atoms lays the model over the car for the oracle.
func atoms(m *model.Model, v Vehicle) []atom {
	var out []atom
	for i := range m.Causes {
		k := &m.Causes[i]
		for _, x := range k.Variants {
			switch k.Scope {
			case model.Engine:
				out = append(out, atom{k, x, 0, 0})
			case model.Bank:
				for b := range v.Banks() {
					out = append(out, atom{k, x, b + 1, 0})
				}
			default:
				for _, s := range v.Sensors {
					out = append(out, atom{k, x, s.Bank, s.Position})
				}
			}
		}
	}
	return out
}

type oracleCase struct {
	m     *model.Model
	atoms []atom
	km    float64
	back  float64 // chance that a code that was set is there; 0: surely
}

func (o *oracleCase) prior(set uint64) *big.Rat {
	p := big.NewRat(1, 1)
	seen := map[CauseRef]bool{}
	for i, a := range o.atoms {
		if set>>i&1 == 1 {
			if seen[a.ref()] {
				return new(big.Rat) // one variant at a time
			}
			seen[a.ref()] = true
		}
	}
	done := map[CauseRef]bool{}
	for i, a := range o.atoms {
		if set>>i&1 == 1 {
			p.Mul(p, oracle.Float(a.v.Chance))
		}
		if done[a.ref()] {
			continue
		}
		done[a.ref()] = true
		miss := 1 - o.own(a)
		for j, b := range o.atoms {
			if set>>j&1 == 0 || b.pos > 0 || b.bank > 0 && b.bank != a.bank {
				continue
			}
			for _, l := range b.k.Makes {
				if l.Child == a.k.ID {
					miss *= 1 - l.P
				}
			}
		}
		if seen[a.ref()] {
			p.Mul(p, oracle.Float(1-miss))
		} else {
			p.Mul(p, oracle.Float(miss))
		}
	}
	return p
}

// own is a cause's prior by itself: with the mileage.
func (o *oracleCase) own(a atom) float64 {
	odds := a.k.Prior / (1 - a.k.Prior)
	for _, c := range o.m.Curves {
		if c.Name == a.k.Curve {
			odds *= c.Factor(o.km)
		}
	}
	return odds / (1 + odds)
}

// or is the chance that something brings a sign about.
func (o *oracleCase) or(leak float64, q func(a atom) float64) func(uint64) *big.Rat {
	return func(set uint64) *big.Rat {
		miss := new(big.Rat).Sub(big.NewRat(1, 1), oracle.Float(leak))
		for i, a := range o.atoms {
			if x := q(a); set>>i&1 == 1 && x > 0 {
				miss.Mul(miss, new(big.Rat).Sub(big.NewRat(1, 1), oracle.Float(x)))
			}
		}
		return new(big.Rat).Sub(big.NewRat(1, 1), miss)
	}
}

func not(f func(uint64) *big.Rat) func(uint64) *big.Rat {
	return func(set uint64) *big.Rat { return new(big.Rat).Sub(big.NewRat(1, 1), f(set)) }
}

// told is the chance to hear a remark of the car with one sensor.
func (o *oracleCase) told(remark string) func(uint64) *big.Rat {
	i := slices.IndexFunc(o.m.Remarks, func(r model.Remark) bool { return r.ID == remark })
	return o.or(o.m.Remarks[i].Usual, func(a atom) float64 {
		for _, s := range a.k.Says {
			if s.Remark == remark {
				return s.P
			}
		}
		return 0
	})
}

// code is the chance that a code is set at a bank (position 0) or a sensor.
func (o *oracleCase) code(id string, bank, pos int) func(uint64) *big.Rat {
	return o.codeOf(id, bank, pos, func(bool) float64 { return 1 })
}

// codeOf is the chance that a code is set and something happens with it besides, each
// cause with the chance of share; there says whether anything is wrong now.
func (o *oracleCase) codeOf(id string, bank, pos int, share func(there bool) float64) func(uint64) *big.Rat {
	i := slices.IndexFunc(o.m.Codes, func(c model.Code) bool { return c.ID == id })
	base, _, _ := strings.Cut(id, ":")
	back := o.back
	if back == 0 {
		back = 1
	}
	return o.or(o.m.Codes[i].False*back*share(false), func(a atom) float64 {
		if a.bank > 0 && bank > 0 && a.bank != bank || a.pos > 0 && pos > 0 && a.pos != pos {
			return 0
		}
		for _, e := range a.k.Codes {
			if (e.Code == id || e.Code == base) && a.on(e.Variants) {
				at := max(pos, a.pos)
				if e.Front && at > 1 || e.Rear && at == 1 {
					return 0
				}
				return e.P * back * share(!a.k.Nothing)
			}
		}
		return 0
	})
}

// pending is the chance that a code is stored and pending.
func (o *oracleCase) pending(id string, bank, pos int) func(uint64) *big.Rat {
	return o.codeOf(id, bank, pos, func(there bool) float64 {
		if there {
			return o.m.Settings["pending_again"].Value
		}
		return o.m.Settings["pending_lapsed"].Value
	})
}

// storedOnly is the chance that a code is stored and not pending.
func (o *oracleCase) storedOnly(id string, bank, pos int) func(uint64) *big.Rat {
	stored, both := o.code(id, bank, pos), o.pending(id, bank, pos)
	return func(set uint64) *big.Rat { return new(big.Rat).Sub(stored(set), both(set)) }
}

// noneBut is the chance that of all codes that there are for this car only some are
// stored, as far as the others go.
func (o *oracleCase) noneBut(v Vehicle, stored ...string) func(uint64) *big.Rat {
	is := map[string]bool{}
	var absent []func(uint64) *big.Rat
	note := func(text string) (what string, bank, pos int, ok bool) {
		c, _ := obd.ParseCode(text)
		m, ok := c.Meaning()
		for _, id := range []string{string(m.Subject) + ":" + string(m.Sense), string(m.Subject)} {
			if ok && slices.ContainsFunc(o.m.Codes, func(c model.Code) bool { return c.ID == id }) {
				return id, m.Bank, m.Position, true
			}
		}
		return "", 0, 0, false
	}
	for _, text := range stored {
		id, bank, pos, _ := note(text)
		is[fmt.Sprint(id, bank, pos)] = true
	}
	for _, c := range obd.Known() {
		id, bank, pos, ok := note(c.String())
		if _, fitted := v.at(bank, pos); !ok || bank > v.Banks() || pos > 0 && !fitted || is[fmt.Sprint(id, bank, pos)] {
			continue
		}
		is[fmt.Sprint(id, bank, pos)] = true // several codes say the same
		absent = append(absent, not(o.code(id, bank, pos)))
	}
	return func(set uint64) *big.Rat {
		p := big.NewRat(1, 1)
		for _, f := range absent {
			x, _ := f(set).Float64()
			p.Mul(p, oracle.Float(x))
		}
		return p
	}
}

// finds is the chance that a test shows an outcome.
func (o *oracleCase) finds(test, outcome string, bank, pos int) func(uint64) *big.Rat {
	t, _ := o.m.TestByID(test)
	i := slices.IndexFunc(t.Outcomes, func(x model.Outcome) bool { return x.ID == outcome })
	return o.or(t.Outcomes[i].False, func(a atom) float64 {
		if a.bank > 0 && bank > 0 && a.bank != bank || a.pos > 0 && a.pos != pos {
			return 0
		}
		for _, f := range a.k.Finds {
			if f.Test == test && f.Outcome == outcome && a.on(f.Variants) {
				return f.P
			}
		}
		return 0
	})
}

// compare holds the engine's marginals against the oracle's.
func compare(t *testing.T, e *engine, c Case, o *oracleCase, seen []func(uint64) *big.Rat, tolerance float64) {
	t.Helper()
	want, err := oracle.Sets{Causes: len(o.atoms), Prior: o.prior, Seen: seen}.Query()
	if err != nil {
		t.Fatal(err)
	}
	c = canonical(c)
	w := newWorld(e, c.Vehicle)
	b := newCalc(w.collect(c.Evidence)).infer()
	get := func(r CauseRef) float64 {
		for p := range w.places {
			if w.places[p].ref == r {
				return b.marg[p]
			}
		}
		for s := range w.sens {
			for p := range w.sens[s].places {
				if w.sens[s].places[p].ref == r {
					return b.smarg[s][p]
				}
			}
		}
		t.Fatalf("no place for %v", r)
		return 0
	}
	exact := map[CauseRef]float64{}
	for i, a := range o.atoms {
		x, _ := want.Cause[i].Float64()
		exact[a.ref()] += x
	}
	for r, x := range exact {
		got := get(r)
		// The share left out may belong to any cause or to none.
		low, high := got*(1-b.leftOut)-tolerance, got*(1-b.leftOut)+b.leftOut+tolerance
		if x < low || x > high {
			t.Errorf("%v: %.6f, exactly %.6f, left out %.4g", r, got, x, b.leftOut)
		}
	}
	if b.leftOut > 0.02 {
		t.Errorf("left out %.3g of so small a model", b.leftOut)
	}
}

func TestEngineAgainstOracle(t *testing.T) {
	one := Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf", OdometerKm: 150000,
		Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}}}
	two := Vehicle{Cylinders: 6, Arrangement: "v", DisplacementL: 3, Fuel: "petrol", AirMetering: "maf", OdometerKm: 150000,
		Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}, {Bank: 2, Position: 1, Kind: Zirconia, Wires: 4}}}
	price := Costs{LabourPerHour: 120, Currency: "USD"}

	t.Run("codes, tests, history and causes that make causes", func(t *testing.T) {
		e := subModel("intake_leak_common", "past_event", "oil_burning", "head_gasket_leak", "misfire", "catalyst_worn",
			"sensor_coolant", "sensor_oil", "sensor_aged", "signal_open")
		o := &oracleCase{m: e.m, atoms: atoms(e.m, one), km: 150000}
		tip := o.finds("tip_look", "green", 1, 1)
		quiet := func(set uint64) *big.Rat { // the looks nobody mentioned count half
			x := 1.0
			for _, other := range []string{"white", "sooty", "oily", "damaged"} {
				f, _ := o.finds("tip_look", other, 1, 1)(set).Float64()
				x *= math.Sqrt(1 - f)
			}
			return oracle.Float(x)
		}
		compare(t, e, Case{Version: 1, Vehicle: one, Costs: price, Evidence: []Entry{
			{Kind: KindCode, Code: "P0133"}, {Kind: KindCode, Code: "P0300"}, {Kind: KindCode, Code: "P0420"},
			{Kind: KindResult, Test: "combustion_gas_test", Outcome: "none"},
			{Kind: KindResult, Test: "misfire_counts", Outcome: "counted", Bank: 1},
			{Kind: KindTip, Bank: 1, Position: 1, Look: "green"},
			{Kind: KindHistory, Remark: "coolant_loss"},
		}}, o, []func(uint64) *big.Rat{
			o.code("sensor_slow", 1, 1), o.code("misfire", 0, 0), o.code("catalyst", 1, 0),
			not(o.finds("combustion_gas_test", "found", 0, 0)), o.finds("misfire_counts", "counted", 1, 0),
			tip, quiet, o.told("coolant_loss"),
		}, 1e-6)
	})

	t.Run("codes that are pending, not pending and not there", func(t *testing.T) {
		e := subModel("intake_leak_common", "past_event", "misfire", "head_gasket_leak", "sensor_coolant", "sensor_aged", "signal_open", "heater_supply_fault")
		o := &oracleCase{m: e.m, atoms: atoms(e.m, one), km: 150000}
		compare(t, e, Case{Version: 1, Vehicle: one, Costs: price, Evidence: []Entry{
			{Kind: KindCode, Code: "P0133"}, {Kind: KindCode, Code: "P0133", Status: "pending"}, {Kind: KindCode, Code: "P0300"}, {Kind: KindCode, Code: "P0171"},
			{Kind: KindCodeList, Status: "stored"}, {Kind: KindCodeList, Status: "pending"},
			{Kind: KindResult, Test: "combustion_gas_test", Outcome: "none"},
		}}, o, []func(uint64) *big.Rat{
			o.pending("sensor_slow", 1, 1), o.storedOnly("misfire", 0, 0), o.storedOnly("mixture:lean", 1, 0),
			o.noneBut(one, "P0133", "P0300", "P0171"), not(o.finds("combustion_gas_test", "found", 0, 0)),
		}, 1e-6)
	})

	t.Run("all that the driver could tell, and codes that may not be back", func(t *testing.T) {
		e := subModel("intake_leak_common", "past_event", "oil_burning", "misfire", "sensor_oil", "sensor_aged", "sensor_soot", "heater_supply_fault")
		o := &oracleCase{m: e.m, atoms: atoms(e.m, one), km: 150000, back: e.returns}
		c := Case{Version: CaseVersion, Vehicle: one, Costs: price, Evidence: []Entry{
			{Kind: KindCode, Code: "P0133"}, {Kind: KindCode, Code: "P0300"}, {Kind: KindCode, Code: "P0300", Status: "pending"},
			{Kind: KindCodeList, Status: "stored"}, {Kind: KindCodeList, Status: "pending"}, {Kind: KindHistory, Remark: NothingKnown},
		}}
		likely := []func(uint64) *big.Rat{o.storedOnly("sensor_slow", 1, 1), o.pending("misfire", 0, 0), o.noneBut(one, "P0133", "P0300")}
		said := []string{"oil_use", "battery_off", "fuel_use_up"}
		for _, r := range e.m.Remarks {
			switch {
			case r.ID == NothingKnown:
			case slices.Contains(said, r.ID):
				c.Evidence = append(c.Evidence, Entry{Kind: KindHistory, Remark: r.ID})
				likely = append(likely, o.told(r.ID))
			default:
				likely = append(likely, not(o.told(r.ID)))
			}
		}
		compare(t, e, c, o, likely, 1e-6)
	})

	t.Run("two banks whose codes, trims and lambda hang together through lying sensors", func(t *testing.T) {
		e := subModel("intake_leak_bank", "exhaust_leak_upstream", "fuel_delivery_low", "sensor_shifted", "signal_short_ground")
		o := &oracleCase{m: e.m, atoms: atoms(e.m, two), km: 150000}
		sum := func(set uint64, bank int, state string) (need, lie, needVar, lieVar float64) {
			for i, a := range o.atoms {
				if set>>i&1 == 0 || a.bank > 0 && a.bank != bank {
					continue
				}
				for _, x := range a.k.Trims {
					if x.State != state || x.Metering == "map" || !a.on(x.Variants) {
						continue
					}
					v := x.SD*x.SD + a.k.SizeSD*x.Mean*a.k.SizeSD*x.Mean
					if x.Lie {
						lie, lieVar = lie+x.Mean, lieVar+v
					} else {
						need, needVar = need+x.Mean, needVar+v
					}
				}
			}
			return
		}
		trim := func(bank int, state string, x float64) func(uint64) *big.Rat {
			return func(set uint64) *big.Rat {
				need, lie, nv, lv := sum(set, bank, state)
				m, sd := need+lie, math.Sqrt(e.trimSD*e.trimSD+nv+lv)
				if m > e.authority {
					m = e.authority + (m-e.authority)/4
				}
				z := (x - m) / sd
				return oracle.Float((1-e.wild)*math.Pow(1+z*z/4, -2.5)*e.trimSD/sd + e.wild*e.trimSD/200)
			}
		}
		lambda := func(state string, value float64, read map[int]bool) func(uint64) *big.Rat {
			return func(set uint64) *big.Rat {
				var dev, variance float64
				lying := 0
				for b := 1; b <= 2; b++ {
					need, lie, _, lv := sum(set, b, state)
					if !read[b] {
						need = 0
					}
					dev += 100 * (1/(1+lie/100) - 1)
					if over := need + lie - e.authority; over > 0 {
						dev += over * 0.75
					}
					variance += 0.8 * lv
					for i, a := range o.atoms {
						if set>>i&1 == 1 && a.pos == 1 && a.bank == b {
							lying++
							break
						}
					}
				}
				dev, variance = dev/2, variance/4
				if lying == 2 {
					dev, variance = 0, 81 // two liars: lambda tells nothing
				}
				sd0 := e.m.Quantities[e.quantity["lambda.tailpipe"]].SD
				sd := math.Sqrt(sd0*sd0 + variance)
				z := (100*(value-1) - dev) / sd
				return oracle.Float((1-e.wild)*math.Pow(1+z*z/4, -2.5)*sd0/sd + e.wild*sd0/100)
			}
		}
		pct := func(b int, s string, x float64) Entry {
			return Entry{Kind: KindTrim, Bank: b, State: s, ShortPct: new(0.0), LongPct: new(x)}
		}
		compare(t, e, Case{Version: 1, Vehicle: two, Costs: price, Evidence: []Entry{
			{Kind: KindCode, Code: "P0171"}, {Kind: KindCode, Code: "P0131", Status: "pending"},
			pct(1, "idle", 19), pct(1, "cruise", 14), pct(2, "idle", 3),
			{Kind: KindTrim, Bank: 2, State: "load", LongPct: new(4.0), ShortPct: new(5.0), Frame: true}, // what is there was there
			{Kind: KindLambda, State: "idle", Value: new(0.94)},
		}}, o, []func(uint64) *big.Rat{
			o.code("mixture:lean", 1, 0),
			func(set uint64) *big.Rat { // pending: with the rest of its weight it says nothing
				miss := new(big.Rat).Sub(big.NewRat(1, 1), o.code("sensor_volts:low", 1, 1)(set))
				return new(big.Rat).Sub(big.NewRat(1, 1), miss.Mul(miss, oracle.Float(e.pending)))
			},
			trim(1, "idle", 19), trim(1, "cruise", 14), trim(2, "idle", 3), trim(2, "load", 9),
			lambda("idle", 0.94, map[int]bool{1: true, 2: true}),
		}, 0.02) // the engine's tables are half a per cent of trim wide
	})
}

// Random parts of the trade model, with random codes and results, against the oracle.
func TestRandomPartsAgainstOracle(t *testing.T) {
	cars := []Vehicle{
		{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf", OdometerKm: 90000, Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}}},
		{Cylinders: 6, Arrangement: "v", DisplacementL: 3, Fuel: "petrol", AirMetering: "maf", OdometerKm: 210000,
			Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}, {Bank: 2, Position: 1, Kind: Zirconia, Wires: 4}}},
	}
	trade := model.Trade()
	// What may be found, with the oracle's reading of it.
	type find struct {
		e  Entry
		by func(*oracleCase) func(uint64) *big.Rat
	}
	code := func(text, id string, bank, pos int) find {
		return find{Entry{Kind: KindCode, Code: text}, func(o *oracleCase) func(uint64) *big.Rat { return o.code(id, bank, pos) }}
	}
	// others are the outcomes of a test besides one and that of a sound car.
	others := func(test, outcome string) (out []string) {
		t, _ := trade.TestByID(test)
		for _, x := range t.Outcomes[1:] {
			if x.ID != outcome {
				out = append(out, x.ID)
			}
		}
		return out
	}
	seen := func(test, outcome string, bank int) find {
		return find{Entry{Kind: KindResult, Test: test, Outcome: outcome, Bank: bank}, func(o *oracleCase) func(uint64) *big.Rat {
			return func(set uint64) *big.Rat {
				p := o.finds(test, outcome, bank, 0)(set)
				for _, x := range others(test, outcome) { // what nobody mentioned counts half
					f, _ := o.finds(test, x, bank, 0)(set).Float64()
					p = new(big.Rat).Mul(p, oracle.Float(math.Sqrt(1-f)))
				}
				return p
			}
		}}
	}
	clear := func(test, none string) find {
		return find{Entry{Kind: KindResult, Test: test, Outcome: none}, func(o *oracleCase) func(uint64) *big.Rat {
			return func(set uint64) *big.Rat {
				p := big.NewRat(1, 1)
				for _, x := range others(test, "") {
					p = new(big.Rat).Mul(p, not(o.finds(test, x, 0, 0))(set))
				}
				return p
			}
		}}
	}
	finds := []find{
		code("P0171", "mixture:lean", 1, 0), code("P0172", "mixture:rich", 1, 0), code("P0133", "sensor_slow", 1, 1), code("P0131", "sensor_volts:low", 1, 1),
		code("P0132", "sensor_volts:high", 1, 1), code("P0300", "misfire", 0, 0), code("P0420", "catalyst", 1, 0), code("P0135", "sensor_heater", 1, 1),
		seen("combustion_gas_test", "found", 0), clear("combustion_gas_test", "none"),
		seen("purge_pinch", "changed", 0), clear("purge_pinch", "unchanged"),
		seen("pcv_pinch", "changed", 0), clear("pcv_pinch", "unchanged"),
		seen("coolant_temp_compare", "reads_cold", 0), clear("coolant_temp_compare", "agrees"),
		seen("egr_check", "stuck_open", 0), seen("oil_use_check", "high", 0), seen("oil_use_check", "fuel", 0), clear("oil_use_check", "normal"),
		seen("misfire_counts", "counted", 1),
	}
	// Of two causes at one sensor the engine lets the stronger decide what the bank feels,
	// which the oracle does not know: one of that kind is kept.
	outside := func(k model.Cause) bool {
		return k.Scope == model.Sensor && (len(k.Trims) > 0 || slices.ContainsFunc(k.Codes, func(c model.CodeEffect) bool { return !strings.HasPrefix(c.Code, "sensor_") }))
	}
	trials := 24
	if testing.Short() {
		trials = 8
	}
	r := rand.New(rand.NewPCG(11, 4))
	for n := range trials {
		car := cars[n%len(cars)]
		var keep []string
		total, out := 0, 0
		for _, i := range r.Perm(len(trade.Causes)) {
			k := trade.Causes[i]
			places := len(k.Variants)
			if k.Scope != model.Engine {
				places *= car.Banks()
			}
			if k.Only.Metering == "map" || k.Only.Pair || k.Only.Rear || k.Only.Banks > car.Banks() || total+places > 10 {
				continue
			}
			if outside(k) {
				if out++; out > 1 {
					continue
				}
			}
			total += places
			keep = append(keep, k.ID)
		}
		e := subModel(keep...)
		o := &oracleCase{m: e.m, atoms: atoms(e.m, car), km: float64(car.OdometerKm)}
		c := Case{Version: CaseVersion, Vehicle: car, Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
		var likely []func(uint64) *big.Rat
		tests := map[string]bool{}
		for _, i := range r.Perm(len(finds))[:7] {
			f := finds[i]
			if f.e.Bank > 0 && car.Banks() > 1 {
				continue // what is found at one bank says something of the other
			}
			if key := f.e.Test + f.e.Code; !tests[key] {
				tests[key] = true
				c.Evidence = append(c.Evidence, f.e)
				likely = append(likely, f.by(o))
			}
		}
		if n%2 == 0 { // all codes were read
			var codes []string
			for _, e := range c.Evidence {
				if e.Kind == KindCode {
					codes = append(codes, e.Code)
				}
			}
			c.Evidence = append(c.Evidence, Entry{Kind: KindCodeList, Status: "stored"})
			likely = append(likely, o.noneBut(car, codes...))
		}
		if !slices.ContainsFunc(c.Evidence, func(e Entry) bool { return e.Kind == KindCode }) {
			// Without a code a car with nothing wrong seldom comes in.
			likely = append(likely, func(set uint64) *big.Rat {
				if set == 0 {
					return oracle.Float(e.visit)
				}
				return big.NewRat(1, 1)
			})
		}
		compare(t, e, c, o, likely, 1e-6)
		if t.Failed() {
			var said []string
			for _, e := range c.Evidence {
				said = append(said, e.Code+e.Test+" "+e.Outcome)
			}
			t.Fatalf("trial %d: %v, %q", n, keep, said)
		}
	}
}
