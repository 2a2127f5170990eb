package diag

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"

	"crosscount/diag/model"
	"crosscount/diag/obd"
)

// The simulated shop: cars are drawn from the trade model, come in with the codes
// their faults set, and are worked on by several policies. What a test shows is
// drawn from the model too, once for each car, so that every policy sees the same
// car. It is the method of experiment of Heckerman, Breese and Rommelse (1994), who
// found 1.213 times the cost of one who knows the fault.
//
// One who knows the fault pays for its repair and for the proof of it, nothing else:
// no test and no set-up. Where nothing is wrong any more he pays for the proof alone.
// The engine pays for every test and every set-up that is not in place, for all work it
// asks for, for the proof, and where a fault is left for the drive that shows it
// (failed_proof_minutes, also where the drive is made as a test), for finding it anew
// (redo_minutes; or comeback_minutes if the proof missed it), its repair and another proof.
// A job comes in with all its codes,
// stored and pending, the freeze frame, what the driver told at the counter, and, where
// the car comes in warm, the trims at idle, which its module tells with the codes: neither
// the engine nor the others pay for these. Half of the cars come in warm, the others cold.
// What is in place is paid for by nobody; what a test left or another repair needed too is
// paid for once.

// truth is what a simulated car really has.
type truth struct {
	w     *world
	h     hyp
	size  map[int]float64   // context unit; sensors: 1000*(1+sensor)+unit
	lit   map[CauseRef]bool // faults that set a stored code, and what made them
	rng   uint64
	about []CauseRef            // what the job is about, and still there
	setBy map[string][]CauseRef // code: what set it
	clear bool                  // the codes were cleared or the battery was off a short while ago
}

var layouts = []Vehicle{
	{Cylinders: 4, Arrangement: "inline", DisplacementL: 1.6, Fuel: "petrol", AirMetering: "maf", Sensors: []Sensor{{1, 1, Zirconia, 4, false}, {1, 2, Zirconia, 4, false}}},
	{Cylinders: 4, Arrangement: "inline", DisplacementL: 2.0, Fuel: "petrol", AirMetering: "map", Sensors: []Sensor{{1, 1, Zirconia, 4, false}, {1, 2, Zirconia, 4, false}}},
	{Cylinders: 6, Arrangement: "v", DisplacementL: 3.0, Fuel: "petrol", AirMetering: "maf", Sensors: []Sensor{{1, 1, Zirconia, 4, false}, {1, 2, Zirconia, 4, false}, {2, 1, Zirconia, 4, false}, {2, 2, Zirconia, 4, false}}},
	{Cylinders: 6, Arrangement: "flat", DisplacementL: 3.0, Fuel: "petrol", AirMetering: "maf", Sensors: []Sensor{{1, 1, Zirconia, 4, false}, {2, 1, Zirconia, 4, false}, {1, 2, Zirconia, 4, true}}},
	{Cylinders: 4, Arrangement: "inline", DisplacementL: 2.0, Fuel: "petrol", AirMetering: "maf", Sensors: []Sensor{{1, 1, Zirconia, 3, false}}},
}

// job is one simulated visit.
type job struct {
	car   truth
	codes []Entry
}

// drawJob draws a job on one of the usual layouts.
func drawJob(e *engine, seed uint64) job { return drawJobOf(e, seed, layouts) }

// drawJobOf draws cars until one comes in with a code that brings an oxygen-sensor job.
func drawJobOf(e *engine, seed uint64, cars []Vehicle) job {
	r := rand.New(rand.NewPCG(seed, 0xC055C0))
	for {
		v := cars[r.IntN(len(cars))]
		v.OdometerKm = 40000 + r.IntN(220000)
		w := newWorld(e, v)
		t := truth{w: w, size: map[int]float64{}, lit: map[CauseRef]bool{}, setBy: map[string][]CauseRef{}, rng: seed * 0x9e3779b97f4a7c15}
		t.h.st = make([]int16, len(w.sens))
		t.draw(r)
		t.clear = slices.ContainsFunc(t.perform("history_ask", 0, 0), func(e Entry) bool { return e.Remark == "codes_cleared" || e.Remark == "battery_off" })
		if codes := t.drawCodes(r); len(codes) > 0 {
			t.about = t.faults()
			return job{t, codes}
		}
	}
}

func (t *truth) draw(r *rand.Rand) {
	w := t.w
	present := make([]bool, len(w.places))
	// Makers come before what they make: engine, then bank, then the rest.
	order := make([]int, len(w.places))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(len(w.places[a].parents), len(w.places[b].parents)) })
	has := func(parents []parent, prior float64) bool {
		miss := 1 - prior
		for _, p := range parents {
			if present[p.place] {
				miss *= 1 - p.p
			}
		}
		return r.Float64() > miss
	}
	pick := func(us []unit, first, last int) int {
		x := r.Float64()
		for u := first; u < last; u++ {
			if x -= us[u].chance; x < 0 {
				return u
			}
		}
		return last - 1
	}
	size := func(k *model.Cause) float64 { return max(1+k.SizeSD*r.NormFloat64(), 0.25) }
	for _, p := range order {
		pl := &w.places[p]
		if has(pl.parents, pl.prior) && len(t.h.us) < maxContext {
			present[p] = true
			u := pick(w.units, pl.first, pl.last)
			t.h.us = append(t.h.us, int16(u))
			t.size[u] = size(pl.k)
		}
	}
	slices.Sort(t.h.us)
	for s := range w.sens {
		sw := &w.sens[s]
		var us []int
		for p := range sw.places {
			pl := &sw.places[p]
			if has(pl.parents, pl.prior) && len(us) < 2 { // as many as the engine takes together
				us = append(us, pick(sw.units, pl.first, pl.last))
			}
		}
		t.h.st[s] = sw.stateOf(us)
	}
}

func (sw *sensorWorld) stateOf(us []int) int16 {
	i := slices.IndexFunc(sw.states, func(s sensorState) bool { return slices.Equal(s.units, us) })
	return int16(i)
}

// codeTexts gives a code of each kind at a place.
var codeTexts = sync.OnceValue(func() map[string]map[[2]int]string {
	out := map[string]map[[2]int]string{}
	for _, c := range obd.Known() {
		m, _ := c.Meaning()
		for _, id := range []string{string(m.Subject) + ":" + string(m.Sense), string(m.Subject)} {
			if out[id] == nil {
				out[id] = map[[2]int]string{}
			}
			if at := [2]int{m.Bank, m.Position}; out[id][at] == "" && m.When == "" {
				out[id][at] = c.String()
			}
		}
	}
	return out
})

// drawCodes draws the stored codes; none unless one of them is an oxygen-sensor
// matter.
func (t *truth) drawCodes(r *rand.Rand) []Entry {
	w := t.w
	var out []Entry
	related := false
	// Each fault sets the code or not on its own: those that did are what the job is
	// about.
	var by []CauseRef
	// Of those that did, each is seen again lately or not; the code is pending if one is.
	again, lately := false, rand.New(rand.NewPCG(t.rng, 11))
	back := 1.0
	if t.clear {
		back = w.returns
	}
	fires := func(q float64, ref CauseRef) {
		if r.Float64() < q*back {
			by = append(by, ref)
			x := w.lasts
			if ref.Cause == "" || w.m.Causes[w.cause[ref.Cause]].Nothing {
				x = w.lapses
			}
			again = lately.Float64() < x || again
		}
	}
	add := func(k int, bank, pos int) {
		if len(by) == 0 {
			return
		}
		text := codeTexts()[w.m.Codes[k].ID][[2]int{bank, pos}]
		code, _ := obd.ParseCode(text)
		m, _ := code.Meaning()
		related = related || m.SensorRelated
		out = append(out, Entry{Kind: KindCode, Code: text, Status: "stored"})
		if again {
			out = append(out, Entry{Kind: KindCode, Code: text, Status: "pending"})
		}
		again = false
		t.setBy[text] = slices.Clone(by)
		for _, ref := range by {
			t.lit[ref] = true
		}
	}
	for k := range w.m.Codes {
		texts := codeTexts()[w.m.Codes[k].ID]
		for bank := range w.nb + 1 {
			if _, ok := texts[[2]int{bank, 0}]; !ok {
				continue
			}
			by, again = by[:0], false
			fires(w.m.Codes[k].False, CauseRef{})
			for _, u := range t.h.us {
				if p := &w.places[w.units[u].place]; p.reaches(bank - 1) {
					fires(w.units[u].fx.code[k].p, p.ref)
				}
			}
			for s := range w.sens {
				sw := &w.sens[s]
				if bank == 0 || sw.Position > 2 || !slices.Contains(sw.banks, bank-1) {
					continue
				}
				for _, u := range sw.states[t.h.st[s]].units {
					fires(sided(sw.units[u].fx.code[k], sw.Position), sw.places[sw.units[u].place].ref)
				}
			}
			add(k, bank, 0)
		}
		for s := range w.sens {
			sw := &w.sens[s]
			if _, ok := texts[[2]int{sw.Bank, sw.Position}]; !ok {
				continue
			}
			by, again = by[:0], false
			fires(w.m.Codes[k].False, CauseRef{})
			for _, u := range t.h.us {
				if p := &w.places[w.units[u].place]; p.reachesSensor(sw) {
					fires(sided(w.units[u].fx.code[k], sw.Position), p.ref)
				}
			}
			for _, u := range sw.states[t.h.st[s]].units {
				fires(sided(sw.units[u].fx.code[k], sw.Position), sw.places[sw.units[u].place].ref)
			}
			add(k, sw.Bank, sw.Position)
		}
	}
	if !related {
		return nil
	}
	return out
}

// perform does a test on the car: the entries that record it.
func (t *truth) perform(test string, bank, position int) []Entry {
	w := t.w
	// What is added to the model must not draw the rest anew.
	drawn := func(name string) *rand.Rand {
		h := fnv.New64a()
		h.Write([]byte(name))
		return rand.New(rand.NewPCG(hash(t.rng^hash(h.Sum64()<<16|uint64(bank)<<8|uint64(position))), 7))
	}
	r := drawn(test)
	c := newCalc(&evidence{w: w, trims: make([][allStates][]trimReading, w.nb)})
	s := -1
	if position > 0 {
		s = w.sensorAt(bank, position)
	}
	normal := func(id string) float64 {
		q := w.quantity[id]
		l := c.level(q, s, &t.h)
		x := l.mean + l.sd*r.NormFloat64()
		for l.bounded() && (x < l.lo || x > l.hi) {
			x = l.mean + l.sd*r.NormFloat64()
		}
		if w.m.Quantities[q].Log {
			x = math.Exp(x)
		}
		return min(max(x, w.m.Quantities[q].Lo), w.m.Quantities[q].Hi)
	}
	mt := &w.m.Tests[w.test[test]]
	fires := func(d float64) bool { return r.Float64() < d }
	switch test {
	case "history_ask":
		var out []Entry
		for k, m := range w.m.Remarks {
			if m.ID == NothingKnown {
				continue
			}
			miss := 1 - m.Usual
			for _, u := range t.h.us {
				miss *= 1 - w.units[u].fx.say[k]
			}
			for i := range w.sens {
				for _, u := range w.sens[i].states[t.h.st[i]].units {
					miss *= 1 - w.sens[i].units[u].fx.say[k]
				}
			}
			if drawn(test+m.ID).Float64() < 1-miss {
				out = append(out, Entry{Kind: KindHistory, Remark: m.ID})
			}
		}
		return append(out, Entry{Kind: KindHistory, Remark: NothingKnown})
	case "trims":
		var out []Entry
		for b := range w.nb {
			for st, name := range States {
				need, lie, open := t.pull(b, st)
				x := 0.0
				if !open {
					x = w.saturate(need + lie)
				}
				sd := w.trimSD
				if t.clear {
					sd *= w.unlearned
				}
				x += sd * r.NormFloat64()
				out = append(out, Entry{Kind: KindTrim, Bank: b + 1, State: name, ShortPct: new(1.0), LongPct: new(math.Round(x - 1))})
			}
		}
		return out
	case "gas_analysis":
		out := []Entry{}
		for st, name := range States[:2] {
			dev := 0.0
			for b := range w.nb {
				need, lie, open := t.pull(b, st)
				dev += w.deviation(need, lie, open, t.clear) / float64(w.nb)
			}
			sd := w.m.Quantities[w.quantity["lambda.tailpipe"]].SD
			if t.clear {
				sd *= 2
			}
			out = append(out, Entry{Kind: KindLambda, State: name, Value: new(min(max(1+(dev+sd*r.NormFloat64())/100, 0.5), 2))})
		}
		pair := normal("gas.unburnt")
		return append(out, Entry{Kind: KindGas, State: "idle", COPct: new(min(pair, 10)), O2Pct: new(min(pair, 10)), HCPpm: new(normal("gas.hc_ppm"))})
	case "road_proof":
		word := "passed"
		if len(t.about) > 0 && !fires(w.proofMiss) || len(t.about) == 0 && fires(0.05) {
			word = "failed"
		}
		return []Entry{{Kind: KindResult, Test: test, Outcome: word}}
	case "fuel_pressure":
		x := normal("fuel.kpa")
		kpa := 300.0
		if x > 0 {
			kpa = 310 * (1 + x/100)
		} else {
			kpa = 290 * (1 + x/100)
		}
		holds := !fires(t.chance(c, w.test[test], w.slots(mt)[0], -1))
		return []Entry{{Kind: KindFuelPressure, KPa: &kpa, KPaLow: new(290.0), KPaHigh: new(310.0), Holds: &holds}}
	case "airflow_check":
		e := Entry{Kind: KindAirflow, RPM: new(5000.0), GPerS: new(1.0), IntakeC: new(25.0), BaroKPa: new(100.0), WideOpen: new(true)}
		e.GPerS = new(w.expectedAirflow(e) * (1 + normal("airflow.ratio")/100))
		return []Entry{e}
	case "signal_capture":
		e := Entry{Kind: KindSignal, Bank: bank, Position: position, State: "fast_idle"}
		if position == 1 {
			lo, hi := normal("signal.min_v"), normal("signal.max_v")
			lo, hi = min(lo, hi), max(lo, hi)
			e.MinV, e.MaxV, e.MeanV = &lo, &hi, new(min(max(normal("signal.mean_v"), lo), hi))
			e.CrossingsHz, e.LeanRichMs, e.RichLeanMs = new(normal("signal.crossings_hz")), new(normal("signal.lean_rich_ms")), new(normal("signal.rich_lean_ms"))
		} else {
			lo, hi := normal("rear.min_v"), normal("rear.max_v")
			lo, hi = min(lo, hi), max(lo, hi)
			e.MinV, e.MaxV, e.MeanV, e.CrossingsHz = &lo, &hi, new(min(max(normal("rear.mean_v"), lo), hi)), new(normal("rear.crossings_hz"))
		}
		return []Entry{e}
	case "forced_rich", "forced_lean":
		mix := strings.TrimPrefix(test, "forced_")
		return []Entry{{Kind: KindForced, Bank: bank, Position: position, Mixture: mix, Volts: new(normal(mix + ".volts")), Ms: new(normal(mix + ".ms"))}}
	case "heater_resistance":
		x := max(normal("heater.ohm"), 0)
		ohm := 6.0
		if x > 0.1 {
			ohm = 8 * math.Exp(x)
		}
		return []Entry{{Kind: KindHeater, Bank: bank, Position: position, Ohm: &ohm, OhmLow: new(5.0), OhmHigh: new(8.0)}}
	case "heater_supply":
		return []Entry{{Kind: KindHeater, Bank: bank, Position: position, FeedV: new(normal("heater.feed_v")), GroundDropV: new(normal("heater.ground_drop_v"))}}
	}
	// Tests that end in a word: each outcome that fires is recorded.
	record := func(o int, b int) Entry {
		word := mt.Outcomes[o].ID
		e := Entry{Kind: EntryKind(mt.Entry), Bank: bank, Position: position}
		switch e.Kind {
		case KindCircuit, KindConnector:
			e.Result = word
		case KindTip:
			e.Look = word
		default:
			e.Test, e.Outcome = test, word
			if mt.Scope == model.Engine {
				e.Bank, e.Position = 0, 0
			}
			if b >= 0 {
				e.Bank = b + 1
			}
		}
		return e
	}
	var out []Entry
	for _, sl := range w.slots(mt) {
		if bank > 0 && sl.bank >= 0 && sl.bank != bank-1 && s < 0 {
			continue
		}
		if fires(t.chance(c, w.test[test], sl, s)) {
			out = append(out, record(sl.outcome, sl.bank))
		}
	}
	if s >= 0 && len(out) > 1 {
		out = out[:1] // one look at a sensor, one word
	}
	if len(out) == 0 {
		out = append(out, record(0, bank-1))
	}
	return out
}

// pull is what the car's faults of their actual size do to a bank's trim.
func (t *truth) pull(b, st int) (need, lie float64, open bool) {
	w := t.w
	add := func(fx *effects, key int, reaches bool) {
		if !reaches {
			return
		}
		for i, x := range fx.trims {
			if x.state != st || x.metering != "" && x.metering != w.v.AirMetering || x.bank != 0 && x.bank != b+1 {
				continue
			}
			k := t.size[key]
			if k == 0 {
				k = 1
			}
			own := x.sd // about its size: the spread without the size's part
			if k != 1 {
				own = x.sd * 0.6
			}
			m := k*x.mean + own*gauss(hash(t.rng^uint64(key*64+i)))
			if x.lie {
				lie += m
			} else {
				need += m
			}
		}
	}
	for _, u := range t.h.us {
		add(w.units[u].fx, int(u), w.places[w.units[u].place].reaches(b))
	}
	f := w.front[b]
	for _, u := range w.sens[f].states[t.h.st[f]].units {
		add(w.sens[f].units[u].fx, 1000*(1+f)+u, true)
		open = open || w.sens[f].units[u].fx.open
	}
	return need, lie, open
}

// chance is the chance of an outcome of a test on this car.
func (t *truth) chance(c *calc, test int, sl slot, s int) float64 {
	w := t.w
	miss := 1 - sl.false
	for _, u := range t.h.us {
		p := &w.places[w.units[u].place]
		x := w.units[u].fx.find[test][sl.outcome]
		if s >= 0 {
			if p.reachesSensor(&w.sens[s]) {
				miss *= 1 - sided(x, w.sens[s].Position)
			}
		} else if p.reaches(sl.bank) {
			miss *= 1 - x.p
		}
	}
	if s >= 0 {
		for _, u := range w.sens[s].states[t.h.st[s]].units {
			miss *= 1 - sided(w.sens[s].units[u].fx.find[test][sl.outcome], w.sens[s].Position)
		}
	}
	return 1 - miss
}

// faults lists what the job is about: the faults that set the codes, and those that
// made them.
func (t *truth) faults() []CauseRef {
	w := t.w
	var out []CauseRef
	lit := func(p *place) bool { return t.lit[p.ref] }
	makes := make([]bool, len(w.places))
	note := func(p *place) {
		for _, par := range p.parents {
			makes[par.place] = true
		}
	}
	for s := range w.sens {
		for _, u := range w.sens[s].states[t.h.st[s]].units {
			if p := &w.sens[s].places[w.sens[s].units[u].place]; lit(p) {
				out = append(out, p.ref)
				note(p)
			}
		}
	}
	for range 2 { // what made what made it
		for _, u := range t.h.us {
			if p := w.units[u].place; lit(&w.places[p]) || makes[p] {
				note(&w.places[p])
			}
		}
	}
	for _, u := range t.h.us {
		if p := w.units[u].place; !w.places[p].k.Nothing && (lit(&w.places[p]) || makes[p]) {
			out = append(out, w.places[p].ref)
		}
	}
	return out
}

// bill counts what a job costs, in the shop's currency.
type bill struct {
	total    float64
	goneOn   float64 // total, where the engine itself goes on after a proof that failed
	needless int     // sensors fitted where no fault needed one
	steps    int
	comeback bool
	stuck    bool
	wrong    bool    // the verdict's work left a fault or was not needed
	careless bool    // handed over without proof
	proved   bool    // the proof drive has been made already
	tests    float64 // of the total
	expected float64 // of the total, at arrival
}

const simRate = 120.0 / 60 // a minute

func workCost(e *engine, ref CauseRef) float64 {
	k := &e.m.Causes[e.cause[ref.Cause]]
	return simRate * (k.Minutes + k.Price/e.reference*60)
}

// shared is what work needs no more of its set-ups, and puts the rest in place.
func shared(e *engine, cause string, bank, position int, ready map[string]bool) float64 {
	saved := 0.0
	for _, s := range e.m.Causes[e.cause[cause]].Setups {
		at := setupAt(e, s, bank, position)
		if ready[at] {
			saved += simRate * e.m.SetupByID(s).Minutes
		}
		ready[at] = true
	}
	return saved
}

// setupAt names a set-up where it is.
func setupAt(e *engine, id string, bank, position int) string {
	if e.m.SetupByID(id).Scope == model.Engine {
		return id
	}
	return fmt.Sprint(id, bank, position)
}

// mendAll is the price of mending every fault: one sensor mends all that ails it, and
// what several pieces of work need of the car is done once.
func mendAll(e *engine, faults []CauseRef, ready map[string]bool) float64 {
	cost := 0.0
	fitted := map[[2]int]bool{}
	for _, r := range faults {
		if k := &e.m.Causes[e.cause[r.Cause]]; k.WithPart && slices.ContainsFunc(faults, func(o CauseRef) bool {
			return o.Bank == r.Bank && o.Position == r.Position && e.m.Causes[e.cause[o.Cause]].Part
		}) {
			continue
		}
		if e.m.Causes[e.cause[r.Cause]].Part {
			if at := [2]int{r.Bank, r.Position}; !fitted[at] {
				fitted[at] = true
				cost += workCost(e, r) - shared(e, r.Cause, r.Bank, r.Position, ready)
			}
			continue
		}
		cost += workCost(e, r) - shared(e, r.Cause, r.Bank, r.Position, ready)
	}
	return cost
}

// knowing is the bill of one who knows the faults: mend them, prove it.
func (j *job) knowing() float64 {
	e := j.car.w.engine
	return mendAll(e, j.car.faults(), j.stands()) + simRate*e.proof
}

// expertMinutes is what it takes, once a job has gone wrong, to find what is left.
const expertMinutes = 60

// work does what a verdict asks for: its price, and whether a fault of the job is left.
func (j *job) work(b *bill, mend, parts []CauseRef, ready map[string]bool) (cost float64, left bool) {
	e, t := j.car.w.engine, &j.car
	makers := map[string][]string{}
	for i := range e.m.Causes {
		for _, l := range e.m.Causes[i].Makes {
			makers[l.Child] = append(makers[l.Child], e.m.Causes[i].ID)
		}
	}
	for _, r := range mend {
		cost += workCost(e, r) - shared(e, r.Cause, r.Bank, r.Position, ready)
		n := len(t.about)
		t.gone(func(x CauseRef) bool { return x == r })
		b.wrong = b.wrong || len(t.about) == n
	}
	for _, p := range parts {
		cost += workCost(e, CauseRef{Cause: "sensor_aged"}) - shared(e, "sensor_aged", p.Bank, p.Position, ready)
		at := func(x CauseRef) bool {
			return x.Bank == p.Bank && x.Position == p.Position && e.m.Causes[e.cause[x.Cause]].Part
		}
		if !slices.ContainsFunc(t.about, at) {
			b.needless++
			b.wrong = true
		}
		t.gone(func(x CauseRef) bool {
			if !at(x) && !(x.Bank == p.Bank && x.Position == p.Position && e.m.Causes[e.cause[x.Cause]].WithPart) {
				return false
			}
			for _, o := range t.about { // what made it is still there: it dies again
				if slices.Contains(makers[x.Cause], o.Cause) {
					return false
				}
			}
			return true
		})
	}
	return cost, len(t.about) > 0
}

// gone takes what was mended out of the car.
func (t *truth) gone(is func(CauseRef) bool) {
	w := t.w
	t.about = slices.DeleteFunc(slices.Clone(t.about), is)
	t.h.us = slices.DeleteFunc(slices.Clone(t.h.us), func(u int16) bool { return is(w.places[w.units[u].place].ref) })
	t.h.st = slices.Clone(t.h.st)
	for s := range w.sens {
		sw := &w.sens[s]
		left := slices.DeleteFunc(slices.Clone(sw.states[t.h.st[s]].units), func(u int) bool { return is(sw.places[sw.units[u].place].ref) })
		t.h.st[s] = sw.stateOf(left)
	}
}

// conclude does the work of a verdict and what follows: the proof, and if a fault is
// left either the redo or the comeback.
func (j *job) conclude(b *bill, mend, parts []CauseRef, ready map[string]bool) {
	e := j.car.w.engine
	cost, left := j.work(b, mend, parts, ready)
	b.total += cost
	if b.careless {
		// Handed over without proof: what is left comes back, and is then looked for
		// in the fixed order.
		if left {
			b.comeback, b.wrong = true, true
			b.total += simRate * e.comeback
		}
		return
	}
	if !left {
		b.total += simRate * e.proof
		return
	}
	b.wrong = true
	if j.proofMisses() {
		b.total += simRate * (e.proof + e.comeback)
		b.comeback = true
	} else {
		b.total += simRate * (e.proofFails + e.redo)
	}
	b.total += simRate*e.proof + mendAll(e, j.car.about, map[string]bool{})
}

// proofMisses: the proof misses 15 faults in 100.
func (j *job) proofMisses() bool { return gauss(hash(j.car.rng^99)) > 1.036 }

// stands is how the car stands when the work begins: half of them come in warm from the
// road, the others have stood until they were cold.
func (j *job) stands() map[string]bool {
	if hash(j.car.rng^0x57a2d5)%2 == 0 {
		return map[string]bool{"warm_engine": true}
	}
	return map[string]bool{"cold_exhaust": true}
}

// setups prices a test with what it needs of the car, given what is in place.
func (j *job) setups(ready map[string]bool, test string, bank, position int) float64 {
	e := j.car.w.engine
	t := &e.m.Tests[e.test[test]]
	cost := simRate * t.Minutes
	for _, s := range t.Setups {
		if at := setupAt(e, s, bank, position); !ready[at] {
			cost += simRate * e.m.SetupByID(s).Minutes
			ready[at] = true
		}
		for _, x := range e.m.SetupByID(s).Undoes {
			delete(ready, x)
		}
	}
	for _, x := range t.Undoes {
		delete(ready, x)
	}
	for _, x := range t.Leaves {
		ready[setupAt(e, x, bank, position)] = true
	}
	return cost
}

// repairs is how often the engine may ask for work before an expert is called.
const repairs = 4

// byEngine lets the engine work on the job. The bill ends with the first proof that fails
// and what it then takes to find what is left (redo_minutes); goneOn is the bill where the
// engine goes on by itself from there.
func (j job) byEngine(e *engine) (bill, Case) {
	var b bill
	c := Case{Version: 1, Vehicle: j.car.w.v, Evidence: j.arrival(), Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
	ready := j.stands()
	round := 0
	pay := func(x float64) {
		if b.goneOn += x; round == 0 {
			b.total += x
		}
	}
	note := func(entries ...Entry) {
		for i := range entries {
			entries[i].AfterRepair = round
		}
		c.Evidence = append(c.Evidence, entries...)
	}
	var first Case // as the first verdict found it
	for range 40 {
		c.Ready = []string{}
		for _, s := range e.m.Setups {
			if ready[s.ID] {
				c.Ready = append(c.Ready, s.ID)
			}
		}
		d := e.weigh(c, nil)
		moves := d.pr.choose()
		if len(first.Evidence) == 0 && b.steps == 0 {
			b.expected = moves[0].total * d.pr.fair
		}
		m, ok := d.first(moves)
		if !ok {
			break
		}
		if m.ask >= 0 {
			n := d.nextTest(m.ask, 0)
			x := j.setups(ready, n.Test, n.Bank, n.Position)
			list := j.car.perform(n.Test, n.Bank, n.Position)
			if n.Test == "road_proof" && list[0].Outcome == "failed" {
				x -= simRate * (e.proof - e.proofFails)
			}
			pay(x)
			if round == 0 {
				if b.steps++; n.Test != "road_proof" {
					b.tests += x
				}
			}
			b.proved = b.proved || n.Test == "road_proof" && list[0].Outcome == "passed"
			note(list...)
			continue
		}
		var v Verdict
		if m.work != 0 {
			d.concludeWork(&v, workList(m.work))
		}
		mend := slices.Clone(v.Mend)
		for _, f := range v.First {
			if !slices.Contains(mend, f) {
				mend = append(mend, f)
			}
		}
		var parts []CauseRef
		for _, p := range v.Parts {
			parts = append(parts, CauseRef{"", p.Bank, p.Position})
		}
		if round == 0 {
			first = c
			first.Evidence = slices.Clone(c.Evidence)
		}
		cost, left := j.work(&b, mend, parts, ready)
		pay(cost)
		proved := b.proved && len(mend)+len(parts) == 0 // work wants its own proof
		missed := left && (proved || j.proofMisses())
		switch {
		case !proved && left && !missed:
			pay(simRate * e.proofFails)
		case !proved:
			pay(simRate * e.proof)
		}
		if !left {
			return b, first
		}
		b.wrong, b.proved = true, false
		if missed {
			b.comeback = true
			pay(simRate*(e.comeback+e.proof) + mendAll(e, j.car.about, map[string]bool{}))
			return b, first
		}
		if round == 0 {
			b.total += simRate*(e.redo+e.proof) + mendAll(e, j.car.about, map[string]bool{})
		}
		if round++; round == repairs {
			break
		}
		pay(simRate * readAgain)
		clear(ready)
		ready["warm_engine"] = true // off the drive
		for _, r := range mend {
			note(Entry{Kind: KindRepair, Cause: r.Cause, Bank: r.Bank, Position: r.Position})
		}
		for _, p := range parts {
			note(Entry{Kind: KindRepair, Cause: NewSensor, Bank: p.Bank, Position: p.Position})
		}
		note(Entry{Kind: KindResult, Test: "road_proof", Outcome: "failed"})
		note(j.comeBack(round)...)
		j.car.rng = hash(j.car.rng + uint64(round))
	}
	if round == 0 {
		b.stuck, first = true, c
	}
	pay(simRate*(expertMinutes+e.proof) + mendAll(e, j.car.about, map[string]bool{}))
	return b, first
}

// readAgain is what it takes to read the codes after a proof that failed, in minutes.
const readAgain = 5

// arrival is what is known of a job when the engine is first asked: the codes, stored and
// pending, that there are no others, the freeze frame, what the driver told at the
// counter, and of a warm car the trims at idle.
func (j *job) arrival() []Entry {
	list := append(slices.Clone(j.codes), Entry{Kind: KindCodeList, Status: "stored"}, Entry{Kind: KindCodeList, Status: "pending"})
	list = append(list, j.frame()...)
	if j.stands()["warm_engine"] {
		for _, e := range j.car.perform("trims", 0, 0) {
			if e.State == "idle" {
				list = append(list, e)
			}
		}
	}
	return append(list, j.car.perform("history_ask", 0, 0)...)
}

// frame is the freeze frame: the trims of the moment at which a code was set, one of the
// mixture before others, as a module keeps it (SAE J1979, from memory).
func (j *job) frame() []Entry {
	t := &j.car
	w := t.w
	kind := func(e Entry) string {
		k, _ := w.codeKey(e)
		return w.m.Codes[k.code].ID
	}
	code := j.codes[0]
	for _, e := range j.codes {
		if e.Status == "stored" && strings.HasPrefix(kind(e), "mixture:") {
			code = e
			break
		}
	}
	is := func(ref CauseRef) bool { return ref.Cause != "" && !w.m.Causes[w.cause[ref.Cause]].Nothing }
	over := !slices.ContainsFunc(t.setBy[code.Code], is)
	r := rand.New(rand.NewPCG(t.rng, 21))
	st := r.IntN(len(States))
	var out []Entry
	for b := range w.nb {
		need, lie, open := t.pull(b, st)
		x := 0.0
		if !open {
			x = w.saturate(need + lie)
		}
		off := w.frameOff + w.frameOffSD*r.NormFloat64()
		k, _ := w.codeKey(code)
		switch here := k.bank == b && over; {
		case here && kind(code) == "mixture:lean":
			x += off
		case here && kind(code) == "mixture:rich":
			x -= off
		}
		x += w.trimSD * r.NormFloat64()
		out = append(out, Entry{Kind: KindTrim, Bank: b + 1, State: States[st], Frame: true, ShortPct: new(1.0), LongPct: new(math.Round(min(max(x-1, -100), 100)))})
	}
	return out
}

// comeBack draws the codes that are pending after a proof drive with what is left.
func (j *job) comeBack(round int) []Entry {
	t := &j.car
	r := rand.New(rand.NewPCG(t.rng, 100+uint64(round)))
	var out []Entry
	for _, e := range j.codes {
		if e.Status != "stored" {
			continue
		}
		again := false
		for _, ref := range t.setBy[e.Code] {
			again = slices.Contains(t.about, ref) && r.Float64() < t.w.lasts || again
		}
		if again {
			out = append(out, Entry{Kind: KindCode, Code: e.Code, Status: "pending"})
		}
	}
	return out
}

// byCode replaces what the codes name.
func (j job) byCode() bill {
	var b bill
	w := j.car.w
	c := canonical(Case{Version: 1, Vehicle: w.v, Evidence: j.codes})
	d := &decision{c: newCalc(w.collect(c.Evidence)), pr: &prospect{rate: simRate}}
	d.pr.c = d.c
	taken, _ := d.takenAtTheirWord()
	var mend, parts []CauseRef
	for _, r := range taken {
		if r.Cause == "sensor" {
			parts = append(parts, r)
		} else {
			mend = append(mend, r)
		}
	}
	b.careless = true
	j.conclude(&b, mend, parts, j.stands())
	if b.comeback {
		again := j.byFixedOrder(trade())
		b.total += again.total
		b.needless += again.needless
	}
	return b
}

// fixedOrder is a sensible order of tests that looks neither at likelihood nor price;
// the reading of what they show is the engine's own.
var fixedOrder = []string{"trims", "misfire_counts", "connector_look", "signal_capture", "heater_resistance", "heater_supply",
	"signal_circuit", "intake_smoke", "exhaust_leak_test", "fuel_pressure", "airflow_check", "gas_analysis", "purge_pinch", "pcv_pinch",
	"coolant_temp_compare", "rear_activity", "forced_rich", "forced_lean", "tip_look", "oil_use_check", "combustion_gas_test", "egr_check",
	"injector_balance", "compression"}

func (j job) byFixedOrder(e *engine) bill {
	var b bill
	w := j.car.w
	c := Case{Version: 1, Vehicle: w.v, Evidence: j.arrival(), Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
	ready := j.stands()
	read := func() (mend, parts []CauseRef, sure bool) {
		cc := canonical(c)
		cw := newWorld(e, cc.Vehicle)
		bel := newCalc(cw.collect(cc.Evidence)).infer()
		best := 0.0
		var top *place
		for p := range cw.places {
			if x := bel.marg[p]; x > best {
				best, top = x, &cw.places[p]
			}
		}
		for s := range cw.sens {
			for p := range cw.sens[s].places {
				if x := bel.smarg[s][p]; x > best {
					best, top = x, &cw.sens[s].places[p]
				}
			}
		}
		switch sure = best > 0.9; {
		case top == nil || top.k.Nothing:
			return nil, nil, sure
		case top.k.Part:
			return nil, []CauseRef{{"", top.ref.Bank, top.ref.Position}}, sure
		}
		return []CauseRef{top.ref}, nil, sure
	}
	for _, test := range fixedOrder {
		for _, p := range j.places(test) {
			b.total += j.setups(ready, test, p[0], p[1])
			b.steps++
			c.Evidence = append(c.Evidence, j.car.perform(test, p[0], p[1])...)
		}
		if mend, parts, sure := read(); sure {
			j.conclude(&b, mend, parts, ready)
			return b
		}
	}
	mend, parts, _ := read()
	j.conclude(&b, mend, parts, ready)
	return b
}

// places lists where the fixed order makes a test: at the sensors that the codes speak
// of, and at front sensors of their banks.
func (j *job) places(test string) [][2]int {
	w := j.car.w
	mt := &w.m.Tests[w.test[test]]
	if mt.Metering != "" && mt.Metering != w.v.AirMetering {
		return nil
	}
	var at [][2]int
	switch mt.Scope {
	case model.Engine:
		at = [][2]int{{0, 0}}
	case model.Bank:
		for bk := range w.nb {
			if !mt.Rear || w.rear[bk] >= 0 {
				at = append(at, [2]int{bk + 1, 0})
			}
		}
	default:
		for s := range w.sens {
			if j.names(s) && (!mt.Heated || w.sens[s].Heated()) {
				at = append(at, [2]int{w.sens[s].Bank, w.sens[s].Position})
			}
		}
	}
	return at
}

// names tells whether a code speaks of a sensor or of the mixture it measures.
func (j *job) names(s int) bool {
	sw := &j.car.w.sens[s]
	for _, e := range j.codes {
		c, _ := obd.ParseCode(e.Code)
		m, _ := c.Meaning()
		if m.NamesSensor && m.Bank == sw.Bank && m.Position == sw.Position {
			return true
		}
		if m.Subject == obd.Mixture && sw.Position == 1 && slices.Contains(sw.banks, m.Bank-1) {
			return true
		}
	}
	return false
}

// perturbed is the trade model with noise in log odds on every probability, and in
// proportion on every level. A draw hangs on what an estimate is of, so that what is
// added to the model leaves the others as they were.
func perturbed(sigma float64, seed uint64) *engine {
	m := *model.Trade()
	z := func(of ...any) float64 {
		h := fnv.New64a()
		fmt.Fprintln(h, of...)
		return sigma * gauss(hash(h.Sum64()^hash(seed)))
	}
	p := func(x float64, of ...any) float64 {
		l := math.Log(x/(1-x)) + z(of...)
		return 1 / (1 + math.Exp(-l))
	}
	m.Tests = slices.Clone(m.Tests)
	for i := range m.Tests {
		t := &m.Tests[i]
		t.Outcomes = slices.Clone(t.Outcomes)
		for j := range t.Outcomes {
			if o := &t.Outcomes[j]; j > 0 {
				o.False = min(p(o.False, t.ID, o.ID), 0.3)
			}
		}
	}
	m.Codes = slices.Clone(m.Codes)
	for i := range m.Codes {
		c := &m.Codes[i]
		c.False = p(c.False, "code", c.ID)
	}
	m.Remarks = slices.Clone(m.Remarks)
	for i := range m.Remarks {
		r := &m.Remarks[i]
		r.Usual = p(r.Usual, "remark", r.ID)
	}
	m.Causes = slices.Clone(m.Causes)
	for i := range m.Causes {
		k := &m.Causes[i]
		k.Prior = min(p(k.Prior, k.ID), 0.2)
		k.Codes, k.Finds, k.Says, k.Makes = slices.Clone(k.Codes), slices.Clone(k.Finds), slices.Clone(k.Says), slices.Clone(k.Makes)
		k.Trims, k.Shows = slices.Clone(k.Trims), slices.Clone(k.Shows)
		for j := range k.Codes {
			x := &k.Codes[j]
			x.P = p(x.P, k.ID, "sets", x.Code, x.Front, x.Rear, x.Variants)
		}
		for j := range k.Finds {
			x := &k.Finds[j]
			x.P = p(x.P, k.ID, "found by", x.Test, x.Outcome, x.Front, x.Rear, x.Variants)
		}
		for j := range k.Says {
			x := &k.Says[j]
			x.P = p(x.P, k.ID, "says", x.Remark)
		}
		for j := range k.Makes {
			x := &k.Makes[j]
			x.P = p(x.P, k.ID, "makes", x.Child)
		}
		for j := range k.Trims {
			x := &k.Trims[j]
			x.Mean += z(k.ID, "pulls", x.Lie, x.State, x.Metering, x.Bank, x.Variants) * x.SD / 2
		}
		for j := range k.Shows {
			x := &k.Shows[j]
			by := z(k.ID, "shows", x.Quantity, x.Variants) / 2
			if m.Quantities[slices.IndexFunc(m.Quantities, func(q model.Quantity) bool { return q.ID == x.Quantity })].Log {
				x.Mean *= math.Exp(by * math.Log(x.SD))
			} else {
				x.Mean += by * x.SD
			}
		}
	}
	return newEngine(&m)
}

// tally sums up a policy over many jobs.
type tally struct {
	n                                        int
	cost, known, tests, expected, goneOn     float64
	needless, comebacks, stuck, wrong, steps int
}

func (t *tally) add(b bill, known float64) {
	t.n++
	t.cost += b.total
	t.known += known
	t.tests += b.tests
	t.goneOn += b.goneOn
	t.expected += b.expected
	t.needless += min(b.needless, 1)
	t.steps += b.steps
	for _, x := range []struct {
		is bool
		n  *int
	}{{b.comeback, &t.comebacks}, {b.stuck, &t.stuck}, {b.wrong, &t.wrong}} {
		if x.is {
			*x.n++
		}
	}
}

func (t *tally) String() string {
	f := float64(t.n)
	return fmt.Sprintf("n %5d  cost %7.1f  known %7.1f  ratio %.3f  needless %.2f%%  wrong %.1f%%  comeback %.1f%%  stuck %.1f%%  steps %.1f",
		t.n, t.cost/f, t.known/f, t.cost/t.known, 100*float64(t.needless)/f, 100*float64(t.wrong)/f, 100*float64(t.comebacks)/f, 100*float64(t.stuck)/f, float64(t.steps)/f)
}
