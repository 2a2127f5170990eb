package diag

import (
	"math"
	"slices"

	"crosscount/diag/chem"
	"crosscount/diag/model"
	"crosscount/diag/say"
)

// A finding is what one or several entries say about one thing: readings of the
// same quantity at the same place are one finding, and so are repeated looks.
type finding struct {
	kind    findKind
	entries []int // of the canonical case
	sensor  int   // the sensor it is about, or -1
	bank    int   // 0-based, or -1
	power   float64

	code  int // fCode, fSensorCode
	test  int // fOutcome, fSensorOutcome
	looks []look
	slots []slot // fOutcome, fSensorOutcome: what the test can show
	quant int    // fQuantity, fSensorQuantity
	xs    []float64
	pow   []float64 // of each reading
	state int       // fLambda
	us    []float64 // fLambda: standard uncertainty of each reading, %
	said  int       // fRemark
	bad   bool      // fProof: failed
	last  lasting   // fCode, fSensorCode
	back  float64   // the same: chance that it is there again where it was set and may have been cleared; 1: it was not
}

type findKind int8

const (
	fCode           findKind = iota // a code that names no sensor
	fSensorCode                     // a code about one sensor
	fOutcome                        // a test of the engine or a bank that ends in a word
	fSensorOutcome                  // the same at a sensor
	fQuantity                       // a number of the engine
	fSensorQuantity                 // a number of a sensor
	fTrims                          // all trims of a bank
	fLambda                         // lambda at the tailpipe in one state
	fRemark                         // a word of history
	fProof                          // the proof drive
	fUnlisted                       // the codes that are not stored
	fMended                         // a repair
)

// slot is an outcome of a test at a bank (0-based, or -1).
type slot struct {
	outcome int
	bank    int
	false   float64
}

// look is an outcome that was seen, with its weight.
type look struct {
	slot  int // -1: the default
	bank  int // for the default: only this bank was looked at; -1: all
	power float64
}

// trimReading is one entry of trims.
type trimReading struct {
	x, gain, sd float64
	weight      float64
}

// evidence is the case in the form that the reckoning uses.
type evidence struct {
	w         *world
	entries   []Entry
	findings  []finding
	trims     [][allStates][]trimReading // bank, state
	unlearned bool
	listed    map[string]bool  // status: all codes of it are among the entries
	codes     map[findKey]bool // of all codes, also of those that a repair has overtaken
	round     int              // repairs so far
	unused    []Note
}

type findKey struct {
	kind                             findKind
	code, test, quant, sensor, state int
	bank                             int
}

// collector groups entries into findings.
type collector struct {
	ev    *evidence
	index map[findKey]int
}

func (c *collector) at(k findKey) *finding {
	i, ok := c.index[k]
	if !ok {
		i = len(c.ev.findings)
		c.index[k] = i
		c.ev.findings = append(c.ev.findings, finding{kind: k.kind, sensor: k.sensor, bank: k.bank, power: 1, back: 1,
			code: k.code, test: k.test, quant: k.quant, state: k.state})
	}
	return &c.ev.findings[i]
}

func (w *world) noEvidence() *evidence {
	return &evidence{w: w, listed: map[string]bool{}, codes: map[findKey]bool{}, trims: make([][allStates][]trimReading, w.nb)}
}

// collect turns the entries of a canonical case into findings.
func (w *world) collect(entries []Entry) *evidence {
	ev := w.noEvidence()
	ev.entries = entries
	c := &collector{ev, map[findKey]int{}}
	repairs := w.repairs(entries)
	for _, r := range repairs {
		ev.round = max(ev.round, r.round)
	}
	var past []int
	for i, e := range entries {
		if e.Kind == KindCode {
			if k, ok := w.codeKey(e); ok {
				ev.codes[k] = true
			}
		}
		if w.overtaken(e, repairs) {
			past = append(past, i)
			continue
		}
		if e.Kind == KindHistory && (e.Remark == "codes_cleared" || e.Remark == "battery_off") {
			ev.unlearned = true
		}
		w.collectOne(c, i, e)
	}
	if len(past) > 0 {
		ev.unused = append(ev.unused, Note{past, say.T("Found before the repair, and what was mended can show like this: not weighed any more.")})
	}
	ev.weigh()
	return ev
}

func (ev *evidence) skip(i int, why say.Text) {
	ev.unused = append(ev.unused, Note{[]int{i}, why})
}

func (w *world) collectOne(c *collector, i int, e Entry) {
	ev := c.ev
	sensor := -1
	if e.Position != 0 {
		sensor = w.sensorAt(max(e.Bank, 1), e.Position)
	}
	number := func(id string, x *float64, scale func(float64) float64) {
		if x == nil {
			return
		}
		q := w.quantity[id]
		k := findKey{kind: fQuantity, quant: q, sensor: -1, bank: -1}
		if w.m.Quantities[q].Scope == model.Sensor {
			k.kind, k.sensor = fSensorQuantity, sensor
		}
		f := c.at(k)
		f.entries = append(f.entries, i)
		f.xs = append(f.xs, w.onScale(q, scale(*x)))
	}
	same := func(x float64) float64 { return x }
	switch e.Kind {
	case KindCode:
		w.collectCode(c, i, e)
	case KindCodeList:
		if e.AfterRepair > 0 { // the codes were cleared not long ago
			ev.skip(i, say.T("After a repair it is only the codes that came back that tell: what is not stored may not have had the time."))
			return
		}
		ev.listed[e.Status] = true
		if e.Status == "stored" {
			f := c.at(findKey{kind: fUnlisted, sensor: -1, bank: -1})
			f.entries = append(f.entries, i)
		}
	case KindTrim:
		b, s := e.Bank-1, slices.Index(States, e.State)
		if e.Frame {
			s += frames
		}
		f := c.at(findKey{kind: fTrims, bank: b, sensor: -1})
		f.entries = append(f.entries, i)
		r := trimReading{gain: 1, sd: w.trimSD}
		switch {
		case e.ShortPct != nil && e.LongPct != nil:
			r.x = *e.ShortPct + *e.LongPct
		case e.LongPct != nil:
			r.x, r.gain, r.sd = *e.LongPct, 0.9, math.Hypot(r.sd, w.longSD)
		default:
			// What is learned has moved into the long trim, which nobody read.
			r.x, r.gain, r.sd = *e.ShortPct, 0.5, math.Hypot(r.sd, w.shortSD)
		}
		ev.trims[b][s] = append(ev.trims[b][s], r)
	case KindSignal:
		kind := w.sens[sensor].Kind
		if kind == WideRange {
			ev.skip(i, say.T("A wide-range sensor does not switch: its voltage is not judged by narrow-band figures."))
			return
		}
		if kind == Titania {
			if e.CrossingsHz == nil || e.Position != 1 {
				ev.skip(i, say.T("A titania sensor's voltage depends on the module's reference: only its crossings are judged."))
				return
			}
			number("signal.crossings_hz", e.CrossingsHz, same)
			return
		}
		if e.Position != 1 {
			number("rear.max_v", e.MaxV, same)
			number("rear.min_v", e.MinV, same)
			number("rear.mean_v", e.MeanV, same)
			number("rear.crossings_hz", e.CrossingsHz, same)
			return
		}
		if e.State == "load" {
			// Under load the mixture is meant to be rich: only the mean is judged.
			number("load.mean_v", e.MeanV, same)
			return
		}
		number("signal.max_v", e.MaxV, same)
		number("signal.min_v", e.MinV, same)
		number("signal.mean_v", e.MeanV, same)
		number("signal.crossings_hz", e.CrossingsHz, same)
		number("signal.lean_rich_ms", e.LeanRichMs, same)
		number("signal.rich_lean_ms", e.RichLeanMs, same)
	case KindForced:
		if w.sens[sensor].Kind != Zirconia {
			ev.skip(i, say.T("Forced levels and times are narrow-band zirconia figures: not judged on this kind of sensor."))
			return
		}
		number(e.Mixture+".volts", e.Volts, same)
		number(e.Mixture+".ms", e.Ms, same)
	case KindHeater:
		lo, hi := 1.0, 60.0 // without the maker's range only an open or shorted element shows
		if e.OhmLow != nil {
			lo, hi = max(*e.OhmLow, 0.05), *e.OhmHigh
		}
		number("heater.ohm", e.Ohm, func(x float64) float64 {
			return min(max(math.Log(max(x, 1e-3)/hi), math.Log(lo/max(x, 1e-3)), 0), 12)
		})
		number("heater.feed_v", e.FeedV, same)
		number("heater.ground_drop_v", e.GroundDropV, same)
		if e.WarmUpS != nil && w.sens[sensor].Kind != Zirconia {
			ev.skip(i, say.T("The time to activity is a narrow-band zirconia figure: not judged on this kind of sensor."))
			return
		}
		number("heater.warm_up_s", e.WarmUpS, same)
	case KindCircuit:
		w.collectLook(c, i, "signal_circuit", e.Result, sensor, -1)
	case KindConnector:
		w.collectLook(c, i, "connector_look", e.Result, sensor, -1)
	case KindTip:
		w.collectLook(c, i, "tip_look", e.Look, sensor, -1)
	case KindGas:
		w.collectGas(c, i, e)
	case KindLambda:
		w.collectLambda(c, i, e.State, chem.Estimate{Lambda: *e.Value})
	case KindFuelPressure:
		if e.KPa != nil && e.KPaLow != nil {
			lo, hi := *e.KPaLow, *e.KPaHigh
			number("fuel.kpa", e.KPa, func(x float64) float64 {
				return max(100*(x-hi)/hi, 0) + min(100*(x-lo)/lo, 0)
			})
		} else if e.KPa != nil {
			ev.skip(i, say.T("A fuel pressure without the maker's range cannot be judged."))
		}
		if e.Holds != nil {
			word := "holds"
			if !*e.Holds {
				word = "falls"
			}
			w.collectLook(c, i, "fuel_pressure", word, -1, -1)
		}
	case KindAirflow:
		if want := w.expectedAirflow(e); want > 0 {
			number("airflow.ratio", e.GPerS, func(x float64) float64 { return 100 * (x/want - 1) })
		} else {
			ev.skip(i, say.T("An airflow is judged at full throttle or at idle: between them nothing says what the engine must breathe."))
		}
	case KindResult:
		if w.m.Tests[w.test[e.Test]].Proof {
			f := c.at(findKey{kind: fProof, sensor: -1, bank: -1})
			f.entries = append(f.entries, i)
			f.xs = append(f.xs, map[string]float64{"passed": 0, "failed": 1}[e.Outcome])
			return
		}
		w.collectLook(c, i, e.Test, e.Outcome, sensor, e.Bank-1)
	case KindRepair:
		f := c.at(findKey{kind: fMended, sensor: sensor, bank: e.Bank - 1, code: w.mendedKey(e)})
		f.entries = append(f.entries, i)
	case KindHistory:
		r := w.remark[e.Remark]
		f := c.at(findKey{kind: fRemark, code: r, sensor: sensor, bank: e.Bank - 1})
		f.said = r
		f.entries = append(f.entries, i)
	}
}

// collectLook notes an outcome of a test that ends in a word. bank is 0-based,
// -1 when the entry names none.
func (w *world) collectLook(c *collector, i int, test, word string, sensor, bank int) {
	t := w.test[test]
	mt := &w.m.Tests[t]
	k := findKey{kind: fOutcome, test: t, sensor: -1, bank: -1}
	if mt.Scope == model.Sensor {
		k.kind, k.sensor = fSensorOutcome, sensor
		bank = -1
	}
	f := c.at(k)
	if f.slots == nil {
		f.slots = w.slots(mt)
	}
	f.entries = append(f.entries, i)
	if bank < 0 && w.nb == 1 && k.sensor < 0 {
		bank = 0
	}
	l := look{slot: -1, bank: bank, power: 1}
	for j, s := range f.slots {
		if mt.Outcomes[s.outcome].ID == word && (s.bank < 0 || s.bank == bank) {
			l.slot = j
		}
	}
	f.looks = append(f.looks, l)
}

// slots lists the outcomes of a test besides the default, at each bank where
// they are about one.
func (w *world) slots(t *model.Test) []slot {
	var out []slot
	for o := 1; o < len(t.Outcomes); o++ {
		if t.Scope == model.Bank || t.Outcomes[o].NeedBank {
			for b := range w.nb {
				out = append(out, slot{o, b, t.Outcomes[o].False})
			}
		} else {
			out = append(out, slot{o, -1, t.Outcomes[o].False})
		}
	}
	return out
}

func (w *world) onScale(q int, x float64) float64 {
	mq := &w.m.Quantities[q]
	if !mq.Log {
		return min(max(x, mq.Lo), mq.Hi)
	}
	return math.Log(min(max(x, mq.Lo), mq.Hi))
}

func (w *world) collectLambda(c *collector, i int, state string, lambda chem.Estimate) {
	s := slices.Index(States, state)
	f := c.at(findKey{kind: fLambda, state: s, sensor: -1, bank: -1})
	f.entries = append(f.entries, i)
	f.xs = append(f.xs, 100*(lambda.Lambda-1))
	f.us = append(f.us, 100*lambda.U)
}

func (w *world) collectGas(c *collector, i int, e Entry) {
	number := func(id string, x float64) {
		q := w.quantity[id]
		f := c.at(findKey{kind: fQuantity, quant: q, sensor: -1, bank: -1})
		f.entries = append(f.entries, i)
		f.xs = append(f.xs, w.onScale(q, x))
	}
	if e.COPct != nil && e.CO2Pct != nil && e.O2Pct != nil && *e.COPct+*e.CO2Pct > 1 {
		g := chem.Gas{CO: *e.COPct, CO2: *e.CO2Pct, O2: *e.O2Pct}
		if e.HCPpm != nil {
			g.HC = *e.HCPpm
		}
		if e.NOxPpm != nil {
			g.NOx = *e.NOxPpm
		}
		// A shop's analyser is of class I at best (OIML R 99).
		if lambda, err := chem.Brettschneider.Measure(g, chem.ClassI); err == nil {
			w.collectLambda(c, i, e.State, lambda)
		} else {
			c.ev.skip(i, say.T("No lambda follows from this gas: %s.", chem.Words(err)))
		}
	}
	if e.HCPpm != nil && e.State != "load" {
		// Less than a sound car shows is no better than sound.
		number("gas.hc_ppm", max(*e.HCPpm, 20))
	}
	if e.COPct != nil && e.O2Pct != nil && e.State != "load" {
		// A warm converter leaves no CO beside oxygen that could burn it.
		number("gas.unburnt", max(min(*e.COPct, 2**e.O2Pct), 0.05))
	}
}

// expectedAirflow is what the engine must breathe in g/s, 0 where nothing says:
// displacement times half the speed times air density times a volumetric
// efficiency of 85 % at full throttle (common practice), or 28 % at a warm idle
// (estimate).
func (w *world) expectedAirflow(e Entry) float64 {
	var ve float64
	switch {
	case e.WideOpen != nil && *e.WideOpen && *e.RPM > 1500:
		ve = 0.85
	case *e.RPM < 1100 && (e.WideOpen == nil || !*e.WideOpen):
		ve = 0.28
	default:
		return 0
	}
	celsius, kpa := 25.0, 100.0
	if e.IntakeC != nil {
		celsius = *e.IntakeC
	}
	if e.BaroKPa != nil {
		kpa = *e.BaroKPa
	}
	want, err := chem.Intake{DisplacementL: w.v.DisplacementL, RPM: *e.RPM, Celsius: celsius, KPa: kpa}.Airflow(ve)
	if err != nil {
		return 0
	}
	return want
}

// speedFamily and levelFamily are quantities of a sensor that rise and fall
// together for reasons the model does not hold, so that each further one counts
// less.
var (
	speedFamily = []string{"signal.crossings_hz", "signal.lean_rich_ms", "signal.rich_lean_ms", "rich.ms", "lean.ms"}
	levelFamily = []string{"signal.max_v", "signal.min_v", "signal.mean_v", "rich.volts", "lean.volts"}
	rearFamily  = []string{"rear.max_v", "rear.min_v", "rear.mean_v", "rear.crossings_hz"}
)

// weigh sets how much each reading and look counts: the same look again adds
// nothing, contradicting looks share, and readings of one family share.
func (ev *evidence) weigh() {
	w := ev.w
	families := map[[2]int]int{}
	familyOf := func(q int) int {
		id := w.m.Quantities[q].ID
		for i, fam := range [][]string{speedFamily, levelFamily, rearFamily} {
			if slices.Contains(fam, id) {
				return i
			}
		}
		return -1
	}
	for i := range ev.findings {
		f := &ev.findings[i]
		if f.kind == fSensorQuantity && familyOf(f.quant) >= 0 {
			families[[2]int{f.sensor, familyOf(f.quant)}]++
		}
	}
	for i := range ev.findings {
		f := &ev.findings[i]
		switch f.kind {
		case fCode, fSensorCode:
			stored, pending := false, false
			f.back = ev.back()
			for _, e := range f.entries {
				if ev.entries[e].AfterRepair > 0 { // it came back after it was cleared
					stored, pending, f.power, f.back = true, true, 1, 1
					break
				}
				stored = stored || ev.entries[e].Status == "stored"
				pending = pending || ev.entries[e].Status == "pending"
			}
			switch {
			case stored && pending:
				f.last = seenAgain
			case stored && ev.listed["pending"]:
				f.last = notAgain
			}
		case fSensorQuantity, fQuantity, fLambda:
			if f.kind == fSensorQuantity && familyOf(f.quant) >= 0 {
				n := float64(families[[2]int{f.sensor, familyOf(f.quant)}])
				f.power = (1 + (n-1)*w.family) / n
			}
			f.pow = make([]float64, len(f.xs))
			for j := range f.pow {
				f.pow[j] = f.power / float64(len(f.xs))
			}
		case fOutcome, fSensorOutcome:
			f.looks = mergeLooks(f.looks)
		case fProof:
			// The last word on a proof is the worst one: a fault left shows in one
			// drive and not in another.
			f.bad = slices.Max(f.xs) > 0
		}
	}
	for b := range ev.trims {
		for s := range ev.trims[b] {
			rs := ev.trims[b][s]
			for j := range rs {
				rs[j].weight = 1 / float64(len(rs))
				if s >= frames && len(ev.trims[b][s-frames]) > 0 { // the same state today tells much of it again
					rs[j].weight *= w.family
				}
				if ev.unlearned && s < frames {
					rs[j].sd *= w.unlearned
				}
			}
		}
	}
}

// back is the chance that a code that was set is there: not surely where the codes were
// cleared a short while ago.
func (ev *evidence) back() float64 {
	if ev.unlearned {
		return ev.w.returns
	}
	return 1
}

// mergeLooks counts each different outcome once. Where outcomes contradict each
// other, each keeps at most the weight of one look, less the rarer it is.
func mergeLooks(looks []look) []look {
	type count struct {
		look
		n int
	}
	var list []count
	for _, l := range looks {
		i := slices.IndexFunc(list, func(c count) bool { return c.slot == l.slot && (c.slot >= 0 || c.bank == l.bank) })
		if i < 0 {
			list = append(list, count{l, 1})
		} else {
			list[i].n++
		}
	}
	clash := func(a, b count) bool { return a.bank < 0 || b.bank < 0 || a.bank == b.bank }
	var out []look
	for i, c := range list {
		n, kinds := 0, 0
		for j, o := range list {
			if i == j || clash(c, o) {
				n += o.n
				kinds++
			}
		}
		c.look.power = min(1, float64(c.n*kinds)/float64(n))
		// A clean look at one bank is part of a clean look at all.
		if c.slot < 0 && c.bank >= 0 && slices.ContainsFunc(list, func(o count) bool { return o.slot < 0 && o.bank < 0 }) {
			continue
		}
		out = append(out, c.look)
	}
	return out
}
