package diag

import (
	"math"
	"math/bits"
	"slices"
)

// sensorCalc weighs the states of one sensor.
type sensorCalc struct {
	s       int
	w       *world
	c       *calc
	classes []class
	classOf []int // state
	base    []float64
	offset  float64   // taken out of base
	keep    []float64 // place: the most that silences leave of it
	fixed   []sensorFinding
	touched []sensorFinding // those that the context can move
	rises   []rise          // the same, taken apart for speed
	falls   []fall
	levels  []stateLevel
	heard   []heard
	touches []bool // context place
	minds   []bool // the same, and what says the remarks that were heard: it only takes from the sensor
	memo    map[sumKey]*sensorSum
	voices  []voice
	voiceOf []int             // state
	untold  map[sumKey]untold // what the context does to the states but for what was told
	states  []float64         // memory for statesUntold
	odds    []float64         // the same
	told    []float64         // memory for toldUnder
	sums    []float64         // memory for classes and voices to come
	lastKey sumKey
	last    *sensorSum
}

// rise is a code or an outcome that was seen: any cause can bring it about, and so
// can the context. Its likelihood is 1 - weight * miss of the context * miss of the
// state, to a power.
type rise struct {
	weight, power float64
	miss          []float64 // state
	cq            []float64 // context unit
}

// fall is an outcome that was not seen: causes only take from it. What the state
// takes is in base; here is what the context takes.
type fall struct {
	power float64
	cq    []float64 // context unit
}

// stateLevel is a quantity that the context can move: its likelihood in each state of
// the sensor, and how much the state holds it there.
type stateLevel struct {
	f         *sensorFinding
	lik, grip []float64 // state
}

// heard is a remark that is made of causes at the sensor as well as of the context. Each
// sensor is weighed as if no other were spoken of: its likelihood is that of the remark
// under the context and the state, over that under the context alone, which is counted
// with the context.
type heard struct {
	channel int       // of the remarks
	keep    []float64 // sensor unit: chance that it is not told of
	miss    []float64 // state
}

// of is the likelihood of a remark for a state where the context leaves it unmade with
// a chance of miss. The more the context says of it the less the state can.
func (t *heard) of(miss float64, st int) float64 { return heardOf(miss, t.miss[st]) }

func heardOf(context, state float64) float64 { return (1 - context*state) / (1 - context) }

// most is the state that is told of most.
func (t *heard) most() int {
	best := 0
	for st, x := range t.miss {
		if x < t.miss[best] {
			best = st
		}
	}
	return best
}

// voice is a group of states of one class that are told of alike. What was told hangs on
// many causes of the context, the rest on few, so that the states are summed by voice
// first, and that serves many contexts.
type voice struct {
	class int
	miss  []float64 // heard
}

// untold is the weight of a sensor's states by voice as if nothing had been told.
type untold struct {
	voices []float64
	sound  float64
}

// class is what a group of states does to the outside.
type class struct {
	lie, lieVar [allStates]float64
	open        bool
	q           []float64 // bank code channel: chance to set it
	twin        int       // the first class that acts alike on trims and lambda
}

// sumKey is what a sum hangs on: the context units, and the places that may be there besides.
type sumKey struct{ have, may uint64 }

// sensorSum is the weight of a sensor's states under one context, summed by class.
type sensorSum struct {
	classes []float64
	total   float64
	sound   float64 // of the state with nothing wrong
	under   [maxContext]int16
	n       int8
	each    []float64 // of all states, where they were asked for
}

// of is the weight of each state. Most contexts are asked for the sums alone, so that it is
// worked out again for those that are not.
func (m *sensorSum) of(sc *sensorCalc) []float64 {
	if m.each == nil {
		m.each = slices.Clone(sc.statesUntold(m.under[:m.n], nil))
		factors := sc.toldUnder(m.under[:m.n])
		for st, v := range sc.voiceOf {
			m.each[st] *= factors[v]
		}
	}
	return m.each
}

// sensorFinding is a finding about one sensor.
type sensorFinding struct {
	f     *finding
	id    int
	none  float64     // fSensorCode: as in orChannel
	q     []float64   // fSensorCode: sensor unit
	cq    []float64   // fSensorCode: context unit
	d     [][]float64 // fSensorOutcome: slot, sensor unit
	cd    [][]float64 // fSensorOutcome: slot, context unit
	good  float64     // fSensorQuantity
	lik   []float64   // fSensorQuantity: sensor unit, -1 where it does not move it
	grip  []float64
	clik  []float64 // fSensorQuantity: context unit
	cgr   []float64
	quiet float64
}

func newSensorCalc(c *calc, s int) sensorCalc {
	w := c.w
	sw := &w.sens[s]
	sc := sensorCalc{s: s, w: w, c: c, touches: make([]bool, len(w.places)), memo: map[sumKey]*sensorSum{}, untold: map[sumKey]untold{}}
	for p := range sw.places {
		for _, par := range sw.places[p].parents {
			sc.touches[par.place] = true
		}
	}
	for i := range c.ev.findings {
		f := &c.ev.findings[i]
		if f.sensor != s || f.kind == fRemark {
			continue
		}
		sf := w.sensorFinding(i, f, sw)
		moved := false
		for u := range w.units {
			if sf.movedBy(u) {
				sc.touches[w.units[u].place] = true
				moved = true
			}
		}
		if moved {
			sc.touched = append(sc.touched, sf)
		} else {
			sc.fixed = append(sc.fixed, sf)
		}
	}
	sc.listen()
	sc.classify(c)
	sc.part()
	keep := make([]float64, len(sw.units)) // what all silences leave of it
	sc.keep = make([]float64, len(sw.places))
	for u := range keep {
		keep[u] = 1
		for _, x := range c.silences {
			keep[u] *= x.sensor[s][u]
		}
		p := sw.units[u].place
		sc.keep[p] = max(sc.keep[p], keep[u])
	}
	sc.base = make([]float64, len(sw.states))
	for st := range sw.states {
		lg := 0.0
		for _, u := range sw.states[st].units {
			lg += math.Log(sw.units[u].chance * keep[u])
		}
		for i := range sc.fixed {
			lg += math.Log(sc.fixed[i].likelihood(sw.states[st].units, nil))
		}
		sc.base[st] = lg
	}
	for i := range sc.touched {
		sc.takeApart(&sc.touched[i])
	}
	sc.offset = slices.Max(sc.base)
	for st := range sc.base {
		sc.base[st] = math.Exp(max(sc.base[st]-sc.offset, -600))
	}
	return sc
}

// listen finds what was told of the sensor.
func (sc *sensorCalc) listen() {
	c, w, sw := sc.c, sc.w, &sc.w.sens[sc.s]
	sc.minds = slices.Clone(sc.touches)
	var said []int
	for i := range c.remarks {
		f := &c.ev.findings[c.remarks[i].finding]
		if !c.ev.concerns(f, sc.s) || slices.Contains(said, f.said) {
			continue
		}
		said = append(said, f.said)
		t := heard{channel: i, keep: make([]float64, len(sw.units)), miss: make([]float64, len(sw.states))}
		some := false
		for u := range sw.units {
			t.keep[u] = 1 - sw.units[u].fx.say[f.said]
			some = some || t.keep[u] < 1
		}
		if !some {
			continue
		}
		for st := range sw.states {
			t.miss[st] = 1
			for _, u := range sw.states[st].units {
				t.miss[st] *= t.keep[u]
			}
		}
		sc.heard = append(sc.heard, t)
		for u, q := range c.remarks[i].q {
			if q > 0 {
				sc.minds[w.units[u].place] = true
			}
		}
	}
}

func (w *world) sensorFinding(i int, f *finding, sw *sensorWorld) sensorFinding {
	sf := sensorFinding{f: f, id: i, quiet: w.quiet}
	feels := func(u int) bool { return w.places[w.units[u].place].reachesSensor(sw) }
	switch f.kind {
	case fSensorCode:
		sf.none = 1 - w.leak(f)
		for u := range sw.units {
			p := &sw.places[sw.units[u].place]
			sf.q = append(sf.q, w.asSeen(f, w.setsCode(f, sw.units[u].fx, p, f.sensor), p))
		}
		for u := range w.units {
			p := &w.places[w.units[u].place]
			sf.cq = append(sf.cq, w.asSeen(f, w.setsCode(f, w.units[u].fx, p, -1), p))
		}
	case fSensorOutcome:
		for _, s := range f.slots {
			d, cd := make([]float64, len(sw.units)), make([]float64, len(w.units))
			for u := range sw.units {
				d[u] = sided(sw.units[u].fx.find[f.test][s.outcome], sw.Position)
			}
			for u := range w.units {
				if feels(u) {
					cd[u] = sided(w.units[u].fx.find[f.test][s.outcome], sw.Position)
				}
			}
			sf.d, sf.cd = append(sf.d, d), append(sf.cd, cd)
		}
	case fSensorQuantity:
		good := w.goodLevel(f.quant)
		sf.good = w.readings(f, good)
		side := func(x *effects, rank int) (lik, gr float64) {
			if l := x.show[f.quant]; l.has {
				return w.readings(f, l), grip(rank, l.mean, good)
			}
			return -1, 0
		}
		for u := range sw.units {
			l, g := side(sw.units[u].fx, sw.places[sw.units[u].place].k.Grip)
			sf.lik, sf.grip = append(sf.lik, l), append(sf.grip, g)
		}
		for u := range w.units {
			l, g := -1.0, 0.0
			if feels(u) {
				l, g = side(w.units[u].fx, w.places[w.units[u].place].k.Grip)
			}
			sf.clik, sf.cgr = append(sf.clik, l), append(sf.cgr, g)
		}
	}
	return sf
}

func sided(c chance, position int) float64 {
	if c.side.covers(position) {
		return c.p
	}
	return 0
}

// takeApart splits a finding that the context can move into its terms.
func (sc *sensorCalc) takeApart(sf *sensorFinding) {
	sw := &sc.w.sens[sc.s]
	missOf := func(none float64, q []float64) []float64 {
		out := make([]float64, len(sw.states))
		for st := range out {
			out[st] = none
			for _, u := range sw.states[st].units {
				out[st] *= 1 - q[u]
			}
		}
		return out
	}
	switch sf.f.kind {
	case fSensorCode:
		sc.rises = append(sc.rises, rise{sf.f.power, 1, missOf(sf.none, sf.q), sf.cq})
	case fSensorOutcome:
		unseen := func(j int, power float64) {
			for st, m := range missOf(1-sf.f.slots[j].false, sf.d[j]) {
				sc.base[st] += power * math.Log(m)
			}
			sc.falls = append(sc.falls, fall{power, sf.cd[j]})
		}
		some := false
		for _, l := range sf.f.looks {
			if l.slot >= 0 {
				some = true
				sc.rises = append(sc.rises, rise{1, l.power, missOf(1-sf.f.slots[l.slot].false, sf.d[l.slot]), sf.cd[l.slot]})
				continue
			}
			for j := range sf.f.slots {
				unseen(j, l.power)
			}
		}
		for j := range sf.f.slots {
			if some && !mentioned(sf.f.looks, j) {
				unseen(j, sf.quiet)
			}
		}
	case fSensorQuantity:
		l := stateLevel{sf, make([]float64, len(sw.states)), make([]float64, len(sw.states))}
		for st := range sw.states {
			l.lik[st], l.grip[st] = sf.held(sw.states[st].units)
		}
		sc.levels = append(sc.levels, l)
	}
}

// movedBy tells whether a context unit has a say in the finding.
func (sf *sensorFinding) movedBy(u int) bool {
	switch sf.f.kind {
	case fSensorCode:
		return sf.cq[u] > 0
	case fSensorOutcome:
		return slices.ContainsFunc(sf.cd, func(d []float64) bool { return d[u] > 0 })
	case fSensorQuantity:
		return sf.clik[u] >= 0
	}
	return false
}

// likelihood weighs the finding for a state of the sensor under a context.
func (sf *sensorFinding) likelihood(su []int, cu []int16) float64 {
	switch sf.f.kind {
	case fSensorCode:
		miss := sf.none
		for _, u := range su {
			miss *= 1 - sf.q[u]
		}
		for _, u := range cu {
			miss *= 1 - sf.cq[u]
		}
		return tempered(miss, sf.f.power)
	case fSensorOutcome:
		var buf [16]float64
		fires := buf[:0]
		for j := range sf.f.slots {
			miss := 1 - sf.f.slots[j].false
			for _, u := range su {
				miss *= 1 - sf.d[j][u]
			}
			for _, u := range cu {
				miss *= 1 - sf.cd[j][u]
			}
			fires = append(fires, 1-miss)
		}
		return seen(sf.f.slots, sf.f.looks, fires, sf.quiet)
	case fSensorQuantity:
		lik, best := sf.held(su)
		if l, g := sf.moved(cu); g > best {
			lik = l
		}
		return lik
	}
	return 1
}

// held is the likelihood of a quantity where the causes at the sensor put it, and the
// grip with which they do.
func (sf *sensorFinding) held(su []int) (lik, grip float64) {
	lik, grip = sf.good, -1.0
	for _, u := range su {
		if sf.lik[u] >= 0 && sf.grip[u] > grip {
			lik, grip = sf.lik[u], sf.grip[u]
		}
	}
	return lik, grip
}

// moved is the same where the context puts it.
func (sf *sensorFinding) moved(cu []int16) (lik, grip float64) {
	grip = -1
	for _, u := range cu {
		if sf.clik[u] >= 0 && sf.cgr[u] > grip {
			lik, grip = sf.clik[u], sf.cgr[u]
		}
	}
	return lik, grip
}

func power(x, p float64) float64 {
	if p == 1 {
		return x
	}
	return math.Pow(x, p)
}

// seen gives the likelihood of what was stated about a test, where fires are the
// chances of its outcomes one by one. An outcome that was seen fired; the default
// says that none did; an outcome not mentioned beside another that was seen counts
// as half not seen (quiet).
func seen(slots []slot, looks []look, fires []float64, quiet float64) float64 {
	lik, some := 1.0, false
	for _, l := range looks {
		p := 1.0
		if l.slot >= 0 {
			p = fires[l.slot]
			some = true
		} else {
			for j, s := range slots {
				if l.bank < 0 || s.bank < 0 || s.bank == l.bank { // else that bank was not looked at
					p *= 1 - fires[j]
				}
			}
		}
		lik *= power(p, l.power)
	}
	if some {
		p := 1.0
		for j := range slots {
			if !mentioned(looks, j) {
				p *= 1 - fires[j]
			}
		}
		lik *= power(p, quiet)
	}
	return lik
}

func mentioned(looks []look, slot int) bool {
	for _, l := range looks {
		if l.slot == slot || l.slot < 0 {
			return true
		}
	}
	return false
}

// tempered weakens the likelihood of a code by how much it counts: with the rest of
// its weight it says nothing.
func tempered(miss, weight float64) float64 { return 1 - weight*miss }

// classify groups the states by what they do to the outside.
func (sc *sensorCalc) classify(c *calc) {
	w, sw := sc.w, &sc.w.sens[sc.s]
	outside := make([]class, len(sw.units))
	strength := make([]float64, len(sw.units))
	for u := range sw.units {
		cl := class{q: make([]float64, len(c.codes))}
		if sw.Position == 1 {
			cl.open = sw.units[u].fx.open
			for _, t := range sw.units[u].fx.trims {
				if t.metering == "" || t.metering == w.v.AirMetering {
					for _, st := range [...]int{t.state, t.state + frames} {
						cl.lie[st] += t.mean
						cl.lieVar[st] += t.sd * t.sd
					}
					strength[u] = max(strength[u], math.Abs(t.mean))
				}
			}
			if cl.open {
				strength[u] = 1000
			}
		}
		if sw.Position <= 2 {
			for k := range c.codes {
				f, p := &c.ev.findings[c.codes[k].finding], &sw.places[sw.units[u].place]
				cl.q[k] = w.asSeen(f, w.setsCode(f, sw.units[u].fx, p, sc.s), p)
				strength[u] += cl.q[k]
			}
		}
		outside[u] = cl
	}
	none := class{q: make([]float64, len(c.codes))}
	sc.classes = []class{none}
	sc.classOf = make([]int, len(sw.states))
	for st := range sw.states {
		// Of two causes at one sensor the stronger decides what trims and lambda feel.
		best := -1
		for _, u := range sw.states[st].units {
			if best < 0 || strength[u] > strength[best] {
				best = u
			}
		}
		if best < 0 {
			continue
		}
		cl := outside[best]
		if us := sw.states[st].units; len(us) == 2 {
			cl.q = slices.Clone(cl.q)
			for k := range cl.q { // codes are set by either
				cl.q[k] = 1 - (1-outside[us[0]].q[k])*(1-outside[us[1]].q[k])
			}
		}
		i := slices.IndexFunc(sc.classes, func(o class) bool { return o.same(cl) })
		if i < 0 {
			i = len(sc.classes)
			cl.twin = slices.IndexFunc(sc.classes, cl.acts)
			if cl.twin < 0 {
				cl.twin = i
			}
			sc.classes = append(sc.classes, cl)
		}
		sc.classOf[st] = i
	}
}

func (a class) same(b class) bool { return a.acts(b) && slices.Equal(a.q, b.q) }

// acts tells whether two classes act alike on trims and lambda.
func (a class) acts(b class) bool {
	return a.lie == b.lie && a.lieVar == b.lieVar && a.open == b.open
}

// sum weighs all states of the sensor under a context.
func (sc *sensorCalc) sum(cu []int16) *sensorSum { return sc.sumWith(cu, 0) }

// sumWith is sum; with places that may be there besides it bounds the weights with any of
// them added.
func (sc *sensorCalc) sumWith(cu []int16, may uint64) *sensorSum {
	key := sumKey{may: may}
	var buf [maxContext]int16
	mine := buf[:0]
	for _, u := range cu {
		if sc.minds[sc.w.units[u].place] {
			key.have = key.have<<10 | uint64(u+1)
			mine = append(mine, u)
		}
	}
	if sc.last != nil && sc.lastKey == key {
		return sc.last
	}
	m, ok := sc.memo[key]
	if !ok {
		m = sc.weigh(mine, may)
		sc.memo[key] = m
	}
	sc.lastKey, sc.last = key, m
	return m
}

// part parts the classes into voices.
func (sc *sensorCalc) part() {
	miss := make([]float64, len(sc.heard))
	for st, cl := range sc.classOf {
		for i := range sc.heard {
			miss[i] = sc.heard[i].miss[st]
		}
		i := slices.IndexFunc(sc.voices, func(v voice) bool { return v.class == cl && slices.Equal(v.miss, miss) })
		if i < 0 {
			i = len(sc.voices)
			sc.voices = append(sc.voices, voice{cl, slices.Clone(miss)})
		}
		sc.voiceOf = append(sc.voiceOf, i)
	}
}

// toldUnder is the likelihood under a context of what was told, by voice. It is good until
// it is called again.
func (sc *sensorCalc) toldUnder(cu []int16) []float64 {
	out := sc.told[:0]
	for range sc.voices {
		out = append(out, 1)
	}
	sc.told = out
	for i := range sc.heard {
		miss := sc.c.remarks[sc.heard[i].channel].missed(cu)
		for v := range out {
			out[v] *= heardOf(miss, sc.voices[v].miss[i])
		}
	}
	return out
}

// room takes memory for n numbers that stay.
func (sc *sensorCalc) room(n int) []float64 {
	if len(sc.sums) < n {
		sc.sums = make([]float64, 32*n)
	}
	out := sc.sums[:n:n]
	sc.sums = sc.sums[n:]
	return out
}

// weigh sums the weights of all states under a context by class, as sumWith says.
func (sc *sensorCalc) weigh(cu []int16, may uint64) *sensorSum {
	m := &sensorSum{classes: sc.room(len(sc.classes)), n: int8(len(cu))}
	copy(m.under[:], cu)
	x := sc.byVoice(cu, may)
	m.sound = x.sound           // nothing is told of it
	factors := sc.toldUnder(cu) // what comes later only takes from it
	for v := range sc.voices {
		m.classes[sc.voices[v].class] += x.voices[v] * factors[v]
	}
	for _, y := range m.classes {
		m.total += y
	}
	return m
}

// byVoice is weigh but for what was told.
func (sc *sensorCalc) byVoice(cu []int16, may uint64) untold {
	key := sumKey{may: may}
	for _, u := range cu {
		if sc.touches[sc.w.units[u].place] {
			key.have = key.have<<10 | uint64(u+1)
		}
	}
	x, ok := sc.untold[key]
	if !ok {
		var later []int16
		for m := may; m != 0; m &= m - 1 {
			pl := &sc.w.places[bits.TrailingZeros64(m)]
			for u := pl.first; u < pl.last; u++ {
				later = append(later, int16(u))
			}
		}
		x = untold{voices: sc.room(len(sc.voices))}
		states := sc.statesUntold(cu, later)
		x.sound = states[0]
		for st, v := range sc.voiceOf {
			x.voices[v] += states[st]
		}
		sc.untold[key] = x
	}
	return x
}

// statesUntold computes the weights of all states under a context, or bounds with later
// units, as if nothing had been told of them. They are good until it is called again.
func (sc *sensorCalc) statesUntold(cu []int16, later []int16) []float64 {
	sw := &sc.w.sens[sc.s]
	if sc.states == nil {
		sc.states, sc.odds = make([]float64, len(sw.states)), make([]float64, len(sw.places)+1)
	}
	states, odds := sc.states, sc.odds
	norm := 1.0
	for p := range sw.places {
		miss, lmiss := 1-sw.places[p].prior, 1.0
		for _, par := range sw.places[p].parents {
			if !sc.c.touched[par.place] {
				miss *= 1 - par.p*sc.c.idle[par.place] // not enumerated: on average
			} else if sc.w.has(cu, par.place) {
				miss *= 1 - par.p
			} else if sc.w.has(later, par.place) {
				lmiss *= 1 - par.p
			}
		}
		norm *= miss
		odds[p] = (1 - miss*lmiss) / miss
	}
	odds[len(sw.places)] = 1
	for _, f := range sc.falls {
		x := 1.0
		for _, u := range cu {
			x *= 1 - f.cq[u]
		}
		norm *= power(x, f.power)
	}
	for st := range sw.states {
		at := &sw.states[st].places
		states[st] = norm * sc.base[st] * odds[at[0]] * odds[at[1]]
	}
	for i := range sc.rises {
		r := &sc.rises[i]
		miss := r.weight
		for _, u := range cu {
			miss *= 1 - r.cq[u]
		}
		for _, u := range later {
			miss *= 1 - r.cq[u]
		}
		for st, s := range r.miss {
			states[st] *= power(1-miss*s, r.power)
		}
	}
	for i := range sc.levels {
		l := &sc.levels[i]
		moved, hold := l.f.moved(cu)
		best := 0.0 // of the later units, for a bound
		for _, u := range later {
			best = max(best, l.f.clik[u])
		}
		for st, x := range l.lik {
			if hold > l.grip[st] {
				x = moved
			}
			states[st] *= max(x, best)
		}
	}
	return states
}

// has tells whether some unit of a place is in the set.
func (w *world) has(us []int16, place int) bool {
	for _, u := range us {
		if w.units[u].place == place {
			return true
		}
	}
	return false
}

// slightTail is the share of weight at which a bound on more causes than are enumerated is
// not looked into.
const slightTail = 1e-4

// tail bounds the weight of all states with more causes than are enumerated,
// against the weight of those that are, under a context.
func (sc *sensorCalc) tail(cu []int16) float64 {
	sw := &sc.w.sens[sc.s]
	norm, prod, e1, e2, e3 := 1.0, 1.0, 0.0, 0.0, 0.0
	odds := make([]float64, len(sw.places))
	for p := range sw.places {
		miss := 1 - sw.places[p].prior
		for _, par := range sw.places[p].parents {
			if !sc.c.touched[par.place] {
				miss *= 1 - par.p*sc.c.idle[par.place]
			} else if sc.w.has(cu, par.place) {
				miss *= 1 - par.p
			}
		}
		o := (1 - miss) / miss * sc.keep[p]
		odds[p] = o
		norm *= miss
		prod *= 1 + o
		e3 += e2 * o
		e2 += e1 * o
		e1 += o
	}
	lik := product{p: 1}
	for _, list := range [][]sensorFinding{sc.fixed, sc.touched} {
		for i := range list {
			best := list[i].likelihood(nil, cu)
			for u := range sw.units {
				best = max(best, list[i].likelihood([]int{u}, cu))
			}
			if k := list[i].f.kind; k == fSensorCode || k == fSensorOutcome {
				best = min(1, 3*best) // three together bring a sign about no oftener than each on its own
			}
			lik.mul(best)
		}
	}
	for i := range sc.heard {
		t := &sc.heard[i]
		miss := sc.c.remarks[t.channel].missed(cu)
		lik.mul(1 + 3*(t.of(miss, t.most())-1)) // three together are told of no oftener than each on its own
	}
	of := norm / max(sc.sum(cu).total, 1e-300)
	best := of * math.Exp(min(lik.log()-sc.offset, 600))
	if x := max(prod-1-e1-e2, 0) * best; x < slightTail {
		return x
	}
	return max(prod-1-e1-e2-e3, 0)*best + sc.three(cu, odds)*of*math.Exp(min(-sc.offset, 600))
}

// three bounds the sum over three causes at the sensor, each finding under the three: to
// the point for codes and outcomes of causes of one kind, else at the best of the three.
func (sc *sensorCalc) three(cu []int16, odds []float64) float64 {
	sw := &sc.w.sens[sc.s]
	n := len(sw.places)
	type sign struct { // not seen: keep of each cause; seen: what is not brought about by each
		weight, power float64
		of            []float64
	}
	var seen []sign
	var held []sign // quantities: the likelihood where each puts it; weight: where none does
	own := slices.Clone(odds)
	over := func(of func(u int) float64, pick func(a, b float64) float64) []float64 {
		out := make([]float64, n)
		for p := range out {
			out[p] = math.NaN()
		}
		for u := range sw.units {
			if p := sw.units[u].place; math.IsNaN(out[p]) {
				out[p] = of(u)
			} else {
				out[p] = pick(out[p], of(u))
			}
		}
		return out
	}
	least := func(a, b float64) float64 { return min(a, b) }
	most := func(a, b float64) float64 { return max(a, b) }
	common := 1.0
	missOf := func(none float64, cq []float64) float64 {
		for _, u := range cu {
			none *= 1 - cq[u]
		}
		return none
	}
	unseen := func(sf *sensorFinding, j int, pw float64) {
		common *= power(missOf(1-sf.f.slots[j].false, sf.cd[j]), pw)
		for p, k := range over(func(u int) float64 { return 1 - sf.d[j][u] }, most) {
			own[p] *= power(k, pw)
		}
	}
	for _, list := range [][]sensorFinding{sc.fixed, sc.touched} {
		for i := range list {
			sf := &list[i]
			switch sf.f.kind {
			case fSensorCode:
				seen = append(seen, sign{sf.f.power * missOf(sf.none, sf.cq), 1, over(func(u int) float64 { return 1 - sf.q[u] }, least)})
			case fSensorOutcome:
				some := false
				for _, l := range sf.f.looks {
					if l.slot >= 0 {
						some = true
						seen = append(seen, sign{missOf(1-sf.f.slots[l.slot].false, sf.cd[l.slot]), l.power,
							over(func(u int) float64 { return 1 - sf.d[l.slot][u] }, least)})
						continue
					}
					for j := range sf.f.slots {
						unseen(sf, j, l.power)
					}
				}
				for j := range sf.f.slots {
					if some && !mentioned(sf.f.looks, j) {
						unseen(sf, j, sf.quiet)
					}
				}
			case fSensorQuantity:
				none, grip := sf.moved(cu)
				if grip < 0 {
					none = sf.good
				}
				x := sign{weight: none, of: over(func(u int) float64 { return sf.lik[u] }, most)}
				if grip >= 0 { // the context may hold it against them
					for p := range x.of {
						x.of[p] = max(x.of[p], none)
					}
				}
				held = append(held, x)
			}
		}
	}
	for i := range sc.heard {
		t := &sc.heard[i]
		miss := sc.c.remarks[t.channel].missed(cu)
		common /= 1 - miss
		seen = append(seen, sign{miss, 1, over(func(u int) float64 { return t.keep[u] }, least)})
	}
	sum := 0.0
	for i := range n {
		for j := range i {
			for k := range j {
				x := own[i] * own[j] * own[k]
				for _, s := range seen {
					x *= power(1-s.weight*s.of[i]*s.of[j]*s.of[k], s.power)
				}
				for _, h := range held {
					l := max(h.of[i], h.of[j], h.of[k])
					if l < 0 {
						l = h.weight
					}
					x *= l
				}
				sum += x
			}
		}
	}
	return sum * common
}
