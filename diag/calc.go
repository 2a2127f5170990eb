package diag

import (
	"math"
	"slices"
)

// calc holds the likelihood of the evidence, taken apart so that a set of causes
// is weighed by looking up tables.
//
// The causes of the engine and its banks are the context. Given a context the
// sensors are independent of each other but for what they do together: front
// sensors move their banks' trims and with them lambda, and several sensors can
// set one bank's code. For that each sensor's states are summed into classes that
// act alike on the outside.
type calc struct {
	ev   *evidence
	w    *world
	out  []Exclusion        // tests that cannot be done
	took map[string]float64 // minutes of tests in this shop
	at   []string           // set-ups in place; nil: what the tests made have left

	outcomes []outcomeChannel
	amounts  []amountChannel
	remarks  []orChannel
	silences []silence
	keep     []float64     // context unit: what all silences leave of it
	idle     []float64     // context place: its chance by itself, where nothing touches it
	codes    []codeChannel // of banks or the engine
	codesOf  [][]int       // bank: its codes
	cells    []trimCell
	cellsOf  [][]int // bank: its cells
	hasCell  [maxBank][frames]bool
	framed   bool // trims of a freeze frame are known
	lambdas  []lambdaChannel
	proof    *finding // nil: none
	visit    bool     // no code has brought the car in
	judged   bool     // proof or visit bear on the weight
	sensors  []sensorCalc
	fronts   []int // distinct front sensors
	pulls    []unitPull
	coupled  []bool // sensor: is it summed jointly with others
	touched  []bool // context place: has the evidence anything to say about it
	child    []int  // touched places that others can have made
	scratch
}

// orChannel is an observation that any cause can bring about on its own.
type orChannel struct {
	finding int
	none    float64   // chance that nothing in this model brought it about, as 1-false
	q       []float64 // context unit: chance that it does
	power   float64
}

type outcomeChannel struct {
	finding int
	slots   []slot
	looks   []look
	d       [][]float64 // slot, context unit
	quiet   float64
}

// amountChannel is a quantity of the engine.
type amountChannel struct {
	finding int
	quant   int
	good    float64   // likelihood of the readings on a sound car, 1 at the best
	show    []float64 // context unit: likelihood where it decides, or -1
	grip    []float64 // order of precedence
	add     []level
	shifted *table // likelihood of a summed shift, nil where nothing adds
}

type codeChannel struct {
	orChannel
	bank int // 0-based, -1 for the engine
}

type trimCell struct {
	bank, state int
	table       *table
	lost        float64 // likelihood with the sensor lost: the module stops trimming
}

// unitPull is what a context unit does to the trims of each bank and state.
type unitPull struct {
	need, needVar, lie, lieVar [][allStates]float64 // bank
	any                        bool
}

// A table gives the likelihood of readings for a predicted value, by the
// prediction's own spread; 1 at the best.
type table struct {
	lo, inv float64     // inv: steps to one; steps are powers of two, so that this is exact
	spread  float64     // from one row to the next
	row     [][]float64 // spread, value
	env     []float64   // the best of all rows, never rising away from the peak
	peak    int
	top     float64
}

// newTable tabulates between lo and hi what with gives for each spread.
func newTable(lo, hi, step, spread float64, rows int, with func(spread float64) func(x float64) float64) *table {
	n := int((hi-lo)/step) + 1
	t := &table{lo: lo, inv: 1 / step, spread: spread, env: make([]float64, n)}
	all := make([]float64, n*rows)
	for k := range rows {
		r := all[k*n : (k+1)*n]
		lik := with(float64(k) * spread)
		for i := range r {
			r[i] = lik(lo + float64(i)*step)
			t.env[i] = max(t.env[i], r[i])
		}
		t.row = append(t.row, r)
	}
	for i, x := range t.env {
		if x > t.top {
			t.top, t.peak = x, i
		}
	}
	for i := 1; i <= t.peak; i++ {
		t.env[i] = max(t.env[i], t.env[i-1])
	}
	for i := n - 2; i >= t.peak; i-- {
		t.env[i] = max(t.env[i], t.env[i+1])
	}
	return t
}

func (t *table) index(x float64) int {
	return min(max(int((x-t.lo)*t.inv+0.5), 0), len(t.env)-1)
}

// at gives the likelihood of a prediction with a variance.
func (t *table) at(x, variance float64) float64 {
	s := math.Sqrt(variance) / t.spread
	i, j := int(s), t.index(x)
	if i >= len(t.row)-1 {
		return t.row[len(t.row)-1][j]
	}
	f := s - float64(i)
	return t.row[i][j]*(1-f) + t.row[i+1][j]*f
}

// best bounds the table over predictions from lo to hi with any variance.
func (t *table) best(lo, hi float64) float64 {
	i, j := t.index(lo), t.index(hi)
	switch {
	case j < t.peak:
		return t.env[j]
	case i > t.peak:
		return t.env[i]
	}
	return t.top
}

// saturate is what the module can still do of a wanted trim: beyond its
// authority it adds little more.
func (w *world) saturate(m float64) float64 {
	a := w.authority
	if m > a {
		return a + (m-a)*0.25
	}
	if m < -a {
		return -a + (m+a)*0.25
	}
	return m
}

func (w *world) newTrimTable(rs []trimReading) *table {
	per, high := make([]float64, len(rs)), make([]float64, len(rs)) // one spread, and the density at the reading
	wild := w.wild * w.trimSD / 200
	return newTable(-45, 45, 0.5, 1.25, 13, func(spread float64) func(float64) float64 {
		for i, r := range rs {
			// Readings of one state share the spread of the cause, so it is in
			// each of them, and together they count as one.
			per[i] = 1 / math.Sqrt(r.sd*r.sd+spread*r.gain*spread*r.gain)
			high[i] = (1 - w.wild) * w.trimSD * per[i] / heavy(0)
		}
		return func(m float64) float64 {
			m = w.saturate(m)
			lik := 1.0
			for i := range rs {
				r := &rs[i]
				lik *= power(high[i]*heavy((r.x-r.gain*m)*per[i])+wild, r.weight)
			}
			return lik
		}
	})
}

// lambdaChannel is lambda at the tailpipe in one state.
type lambdaChannel struct {
	finding int
	state   int
	table   *table
}

func (w *world) newLambdaTable(xs, us []float64, state int, unlearned bool) *table {
	good := w.m.Quantities[w.quantity["lambda.tailpipe"]]
	mean, sd := good.Mean, good.SD
	if unlearned {
		sd *= 2
	}
	if state == 3 {
		mean, sd = -9, 6 // full load runs rich on purpose, by how much the maker decides
	}
	all := make([]float64, len(xs))
	return newTable(-40, 45, 0.25, 1, 10, func(spread float64) func(float64) float64 {
		for i := range xs {
			all[i] = math.Sqrt(sd*sd + spread*spread + us[i]*us[i])
		}
		return func(dev float64) float64 {
			lik := 1.0
			for i, x := range xs {
				lik *= power((1-w.wild)*heavy((x-dev-mean)/all[i])*sd/all[i]/heavy(0)+w.wild*sd/100, 1/float64(len(xs)))
			}
			return lik
		}
	})
}

// deviation is how far off lambda is, in per cent, where sensors lie by lie per
// cent of trim and the engine needs need per cent: an honest sensor in closed loop
// holds lambda at 1 whatever the engine needs; a lie makes the mixture wrong by as
// much; what the module cannot add or take any more is left over; and without
// the sensor the whole need is. Until the trims are learned, part of it shows too.
func (w *world) deviation(need, lie float64, open, unlearned bool) float64 {
	if open {
		return need
	}
	total := need + lie
	d := wrongBy(lie) + (total - w.saturate(total))
	if unlearned {
		d += need * w.partial
	}
	return d
}

func wrongBy(lie float64) float64 { return 100 * (1/(1+max(lie, -60)/100) - 1) }

// product multiplies likelihoods without running out of exponent.
type product struct{ lg, p float64 }

func (a *product) mul(x float64) {
	a.p *= x
	if a.p < 1e-200 {
		a.lg += math.Log(max(a.p, 1e-300))
		a.p = 1
	}
}

func (a *product) log() float64 { return a.lg + math.Log(max(a.p, 1e-300)) }

// reaches tells whether an effect at a context place is felt at a bank (0-based;
// -1: the whole engine).
func (p *place) reaches(bank int) bool { return p.bank == 0 || bank < 0 || p.bank == bank+1 }

func (p *place) reachesSensor(sw *sensorWorld) bool {
	return p.bank == 0 || slices.Contains(sw.banks, p.bank-1)
}

func newCalc(ev *evidence) *calc {
	w := ev.w
	c := &calc{ev: ev, w: w, cellsOf: make([][]int, w.nb), codesOf: make([][]int, w.nb)}
	for s := range w.sens {
		if w.sens[s].Position == 1 {
			c.fronts = append(c.fronts, s)
		}
	}
	for i := range ev.findings {
		f := &ev.findings[i]
		if f.last == notAgain {
			c.silences = append(c.silences, c.notPending(i))
		}
		switch f.kind {
		case fOutcome:
			ch := outcomeChannel{finding: i, slots: f.slots, looks: f.looks, quiet: w.quiet}
			for _, s := range f.slots {
				ch.d = append(ch.d, c.finds(f.test, s))
			}
			c.outcomes = append(c.outcomes, ch)
		case fRemark:
			if w.m.Remarks[f.said].ID == NothingKnown {
				c.silences = append(c.silences, c.nothingSaid(i))
				continue
			}
			c.remarks = append(c.remarks, c.remark(i, f))
		case fCode:
			ch := codeChannel{orChannel{finding: i, none: 1 - w.leak(f), q: make([]float64, len(w.units)), power: f.power}, f.bank}
			for u := range w.units {
				p := &w.places[w.units[u].place]
				ch.q[u] = w.asSeen(f, w.setsCode(f, w.units[u].fx, p, -1), p)
			}
			if f.bank >= 0 {
				c.codesOf[f.bank] = append(c.codesOf[f.bank], len(c.codes))
			}
			c.codes = append(c.codes, ch)
		case fProof:
			c.proof = f
		case fMended:
			c.silences = append(c.silences, c.mended(i))
		case fUnlisted:
			c.silences = append(c.silences, c.noOtherCode(i))
		}
	}
	c.pulls = make([]unitPull, len(w.units))
	for u := range w.units {
		c.pulls[u] = w.pull(&w.units[u], &w.places[w.units[u].place])
		if w.places[w.units[u].place].k.Nothing {
			c.wasOff(&c.pulls[u])
		}
	}
	atOnce(c.tabulate, func() {
		for s := range w.sens {
			c.sensors = append(c.sensors, newSensorCalc(c, s))
			sw := &w.sens[s]
			c.coupled = append(c.coupled, sw.Position == 1 || sw.Position == 2 && slices.ContainsFunc(sw.banks, c.hasCodes))
		}
	})
	c.visit = len(ev.codes) == 0
	c.judged = c.visit || c.proof != nil
	c.touch()
	return c
}

// remark is a thing that was told; told of several places it is told once.
func (c *calc) remark(i int, f *finding) orChannel {
	w := c.w
	ch := orChannel{finding: i, none: 1 - w.m.Remarks[f.said].Usual, q: make([]float64, len(w.units)), power: 1}
	for u := range w.units {
		once := !slices.ContainsFunc(c.remarks, func(o orChannel) bool { return c.ev.findings[o.finding].said == f.said && o.q[u] > 0 })
		if p := &w.places[w.units[u].place]; p.reaches(f.bank) && once {
			ch.q[u] = w.units[u].fx.say[f.said]
		}
	}
	return ch
}

// tabulate lays the tables of what was read of the engine and its banks.
func (c *calc) tabulate() {
	w, ev := c.w, c.ev
	for i := range ev.findings {
		switch f := &ev.findings[i]; f.kind {
		case fQuantity:
			c.amounts = append(c.amounts, c.amount(i, f))
		case fLambda:
			c.lambdas = append(c.lambdas, lambdaChannel{i, f.state, w.newLambdaTable(f.xs, f.us, f.state, ev.unlearned)})
		}
	}
	for b := range ev.trims {
		for s := range ev.trims[b] {
			if rs := ev.trims[b][s]; len(rs) > 0 {
				c.cellsOf[b] = append(c.cellsOf[b], len(c.cells))
				if s < frames {
					c.hasCell[b][s] = true
				} else {
					c.framed = true
				}
				t := w.newTrimTable(rs)
				c.cells = append(c.cells, trimCell{b, s, t, t.at(0, 16)})
			}
		}
	}
}

// touch finds the context places that the evidence has anything to say about.
// The others are as likely as they were before, whatever else is there, and need
// not be enumerated.
func (c *calc) touch() {
	w := c.w
	c.touched = make([]bool, len(w.places))
	c.hush()
	for u := range w.units {
		if c.judged || c.moves(u) {
			c.touched[w.units[u].place] = true
		}
	}
	for s := range c.sensors {
		if c.counts(s) {
			for p, t := range c.sensors[s].touches {
				c.touched[p] = c.touched[p] || t
			}
		}
	}
	// What can have made a touched place is touched through it.
	for again := true; again; {
		again = false
		for p := range w.places {
			for _, par := range w.places[p].parents {
				if c.touched[p] && !c.touched[par.place] {
					c.touched[par.place], again = true, true
				}
			}
		}
	}
	for p := range w.places {
		if c.touched[p] && len(w.places[p].parents) > 0 {
			c.child = append(c.child, p)
		}
	}
}

// moves tells whether a context unit bears on any evidence of the context.
func (c *calc) moves(u int) bool {
	for i := range c.outcomes {
		for j := range c.outcomes[i].d {
			if c.outcomes[i].d[j][u] > 0 {
				return true
			}
		}
	}
	for i := range c.amounts {
		if c.amounts[i].show[u] >= 0 || c.amounts[i].add[u].has {
			return true
		}
	}
	for i := range c.remarks {
		if c.remarks[i].q[u] > 0 {
			return true
		}
	}
	for i := range c.codes {
		if c.codes[i].q[u] > 0 {
			return true
		}
	}
	pull := &c.pulls[u]
	for _, cell := range c.cells {
		b, s := cell.bank, cell.state
		if pull.needVar[b][s] > 0 || pull.lieVar[b][s] > 0 {
			return true
		}
	}
	for _, l := range c.lambdas {
		for b := range c.w.nb {
			if pull.lieVar[b][l.state] > 0 {
				return true
			}
		}
	}
	return false
}

// tells tells whether anything was found that bears on a sensor. What was told of it makes
// its causes likelier, but nobody looks for them on that account.
func (c *calc) tells(s int) bool {
	sw := &c.w.sens[s]
	if c.judged {
		return true // whether anything at all is wrong bears on it
	}
	if len(c.sensors[s].fixed)+len(c.sensors[s].touched) > 0 {
		return true
	}
	if sw.Position == 1 {
		if len(c.lambdas) > 0 {
			return true
		}
		for _, b := range sw.banks {
			if len(c.cellsOf[b]) > 0 {
				return true
			}
		}
	}
	return sw.Position <= 2 && slices.ContainsFunc(sw.banks, c.hasCodes)
}

// counts tells whether anything at all is known that bears on a sensor, hearsay too.
func (c *calc) counts(s int) bool { return c.tells(s) || len(c.sensors[s].heard) > 0 }

// finds lists, for each context unit, the chance that it makes a test show an
// outcome at a bank.
func (c *calc) finds(test int, s slot) []float64 {
	w := c.w
	d := make([]float64, len(w.units))
	for u := range w.units {
		if w.places[w.units[u].place].reaches(s.bank) {
			d[u] = w.units[u].fx.find[test][s.outcome].p
		}
	}
	return d
}

func (c *calc) amount(i int, f *finding) amountChannel {
	w := c.w
	good := w.goodLevel(f.quant)
	adds := false
	ch := amountChannel{finding: i, quant: f.quant, good: w.readings(f, good), show: make([]float64, len(w.units)),
		grip: make([]float64, len(w.units)), add: make([]level, len(w.units))}
	for u := range w.units {
		fx := w.units[u].fx
		ch.show[u] = -1
		if l := fx.show[f.quant]; l.has {
			ch.show[u] = w.readings(f, l)
			ch.grip[u] = grip(w.places[w.units[u].place].k.Grip, l.mean, good)
		}
		if fx.add[f.quant].has {
			ch.add[u] = fx.add[f.quant]
			adds = true
		}
	}
	if adds {
		ch.shifted = newTable(-80, 80, 1, 2.5, 7, func(spread float64) func(float64) float64 {
			sd := math.Hypot(good.sd, spread)
			return func(shift float64) float64 { return w.readings(f, level{mean: good.mean + shift, sd: sd}) }
		})
	}
	return ch
}

// grip orders the causes that put one quantity somewhere: by rank, then by how
// far they put it from a sound car.
func grip(rank int, mean float64, good level) float64 {
	return float64(rank)*1e6 + math.Abs(mean-good.mean)/good.sd
}

// The trims of a freeze frame are those of the moment at which a code was set. They stand
// beside the states of today as states of their own, in which every cause that is there
// acts as it does today.
const (
	frames    = 4 // the first of them
	allStates = 2 * frames
)

// wasOff is what an event that is over has done to the trims of a freeze frame: if it set a
// lean or a rich code, they were off that way.
func (c *calc) wasOff(x *unitPull) {
	w := c.w
	lean, rich := w.code["mixture:lean"], w.code["mixture:rich"]
	for b := range w.nb {
		off := 0.0
		if c.ev.codes[findKey{kind: fCode, code: lean, sensor: -1, bank: b}] {
			off += w.frameOff
		}
		if c.ev.codes[findKey{kind: fCode, code: rich, sensor: -1, bank: b}] {
			off -= w.frameOff
		}
		for st := frames; off != 0 && st < allStates; st++ {
			x.any = true
			x.need[b][st] += off
			x.needVar[b][st] += w.frameOffSD * w.frameOffSD
		}
	}
}

// pull lists what a context unit does to trims.
func (w *world) pull(u *unit, p *place) unitPull {
	x := unitPull{need: make([][allStates]float64, w.nb), needVar: make([][allStates]float64, w.nb), lie: make([][allStates]float64, w.nb), lieVar: make([][allStates]float64, w.nb)}
	for _, t := range u.fx.trims {
		for b := range w.nb {
			if !p.reaches(b) || !t.at(w.v.AirMetering, b) {
				continue
			}
			x.any = true
			for _, st := range [...]int{t.state, t.state + frames} {
				if t.lie {
					x.lie[b][st] += t.mean
					x.lieVar[b][st] += t.sd * t.sd
				} else {
					x.need[b][st] += t.mean
					x.needVar[b][st] += t.sd * t.sd
				}
			}
		}
	}
	return x
}
