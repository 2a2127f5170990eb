package diag

import (
	"math"
	"slices"

	"crosscount/diag/model"
	"crosscount/diag/say"
)

// question is a test that could be done now, at a place, with the answers it can
// give. Numbers are planned in classes: that is how a technician waits for them.
type question struct {
	test    int
	bank    int // 1-based, 0: the engine
	sensor  int // -1: none
	minutes float64
	answers []answer
	cats    func(h *hyp) []float64
	reads   []int       // quantities that the answer hangs on
	moves   []bool      // context unit: has it a say in the answer; nil: not known
	keys    []uint64    // what had a say in the chances that are known; mostly a dozen
	known   [][]float64 // those chances
}

// answer is one of them: an outcome's id or a class of readings, in words.
type answer struct {
	id   string
	say  say.Text
	bank int // 1-based, where the answer is about one
}

// questions lists what could be asked of the car that is not known already; likely
// are the likeliest explanations, in their order.
func (c *calc) questions(likely []hyp) []question {
	w := c.w
	var out []question
	for t := range w.m.Tests {
		mt := &w.m.Tests[t]
		if mt.Proof || mt.Metering != "" && mt.Metering != w.v.AirMetering {
			continue
		}
		switch mt.Scope {
		case model.Engine:
			c.ask(&out, t, 0, -1, likely)
		case model.Bank:
			for b := range w.nb {
				if mt.Rear && w.rear[b] < 0 {
					continue
				}
				c.ask(&out, t, b+1, -1, likely)
			}
		case model.Sensor:
			for s := range w.sens {
				sw := &w.sens[s]
				if mt.Heated && !sw.Heated() || mt.Pair && w.pairOf(s) < 0 ||
					len(mt.Kinds) > 0 && !slices.Contains(mt.Kinds, string(sw.Kind)) {
					continue
				}
				c.ask(&out, t, sw.Bank, s, likely)
			}
		}
	}
	return out
}

// minutes is what a test takes here, by the shop's own clock where it has one.
func (c *calc) minutes(t *model.Test) float64 {
	if m, ok := c.took[t.ID]; ok {
		return m
	}
	return t.Minutes
}

func (c *calc) ask(out *[]question, t, bank, s int, likely []hyp) {
	w := c.w
	mt := &w.m.Tests[t]
	position := 0
	if s >= 0 {
		position = w.sens[s].Position
	}
	if excluded(c.out, mt.ID, bank, position) {
		return
	}
	q := question{test: t, bank: bank, sensor: s, minutes: c.minutes(mt)}
	switch mt.ID {
	case "history_ask":
		for _, e := range c.ev.entries {
			if e.Kind == KindHistory {
				return
			}
		}
		c.askHistory(&q)
	case "trims":
		c.askTrims(&q, likely)
	case "signal_capture":
		c.askSignal(&q)
	case "forced_rich":
		if w.sens[s].Kind != Zirconia || c.known(s, "rich.volts") {
			return
		}
		q.answers = []answer{{id: "reaches", say: say.T("above 0.8 V, quick")}, {id: "slow", say: say.T("above 0.8 V, but slow")}, {id: "weak", say: say.T("between 0.55 and 0.8 V")}, {id: "dead", say: say.T("below 0.55 V")}}
		volts, ms := w.quantity["rich.volts"], w.quantity["rich.ms"]
		q.reads = []int{volts, ms}
		q.cats = func(h *hyp) []float64 {
			up, mid := 1-c.below(volts, s, h, 0.8), 1-c.below(volts, s, h, 0.55)
			quick := c.below(ms, s, h, 100)
			return []float64{up * quick, up * (1 - quick), mid - up, 1 - mid}
		}
	case "forced_lean":
		if w.sens[s].Kind != Zirconia || c.known(s, "lean.volts") {
			return
		}
		q.answers = []answer{{id: "reaches", say: say.T("below 0.2 V, quick")}, {id: "slow", say: say.T("below 0.2 V, but slow")}, {id: "high", say: say.T("stays above 0.2 V")}, {id: "negative", say: say.T("below zero")}}
		volts, ms := w.quantity["lean.volts"], w.quantity["lean.ms"]
		q.reads = []int{volts, ms}
		q.cats = func(h *hyp) []float64 {
			neg, low := c.below(volts, s, h, -0.06), c.below(volts, s, h, 0.2)
			quick := c.below(ms, s, h, 100)
			return []float64{(low - neg) * quick, (low - neg) * (1 - quick), 1 - low, neg}
		}
	case "heater_resistance":
		if c.known(s, "heater.ohm") {
			return
		}
		q.answers = []answer{{id: "in_range", say: say.T("within the maker's range")}, {id: "off", say: say.T("outside the range")}, {id: "open", say: say.T("open")}}
		ohm := w.quantity["heater.ohm"]
		q.reads = []int{ohm}
		q.cats = func(h *hyp) []float64 {
			in, off := c.below(ohm, s, h, 0.2), c.below(ohm, s, h, 3)
			return []float64{in, off - in, 1 - off}
		}
	case "heater_supply":
		if c.known(s, "heater.feed_v") && c.known(s, "heater.ground_drop_v") {
			return
		}
		q.answers = []answer{{id: "good", say: say.T("feed and ground good")}, {id: "no_feed", say: say.T("feed missing or low")}, {id: "drop", say: say.T("ground drops too much")}}
		feed, drop := w.quantity["heater.feed_v"], w.quantity["heater.ground_drop_v"]
		q.reads = []int{feed, drop}
		q.cats = func(h *hyp) []float64 {
			low, high := c.below(feed, s, h, 10.5), 1-c.below(drop, s, h, 0.5)
			return []float64{(1 - low) * (1 - high), low, (1 - low) * high}
		}
	case "fuel_pressure":
		if c.known(-1, "fuel.kpa") && c.looked(t, -1, 0) {
			return
		}
		q.answers = []answer{{id: "holds", say: say.T("in range and holds")}, {id: "falls", say: say.T("in range but falls away")}, {id: "low", say: say.T("too low")}, {id: "high", say: say.T("too high")}}
		kpa := w.quantity["fuel.kpa"]
		q.reads = []int{kpa}
		falls := w.slots(mt)[0]
		d := c.finds(t, falls)
		q.cats = func(h *hyp) []float64 {
			low, high := c.below(kpa, -1, h, -8), 1-c.below(kpa, -1, h, 8)
			keep := 1 - falls.false
			for _, u := range h.us {
				keep *= 1 - d[u]
			}
			in := max(1-low-high, 0)
			return []float64{in * keep, in * (1 - keep), low, high}
		}
	case "airflow_check":
		if c.known(-1, "airflow.ratio") {
			return
		}
		q.answers = []answer{{id: "right", say: say.T("as the engine breathes")}, {id: "low", say: say.T("reads too little")}, {id: "high", say: say.T("reads too much")}}
		ratio := w.quantity["airflow.ratio"]
		q.reads = []int{ratio}
		q.cats = func(h *hyp) []float64 {
			low, high := c.below(ratio, -1, h, -13), 1-c.below(ratio, -1, h, 13)
			return []float64{1 - low - high, low, high}
		}
	case "gas_analysis":
		if len(c.lambdas) > 0 && c.known(-1, "gas.hc_ppm") {
			return
		}
		c.askGas(&q)
	default:
		if len(mt.Outcomes) == 0 || c.looked(t, s, bank) {
			return
		}
		if s >= 0 {
			c.askSensorWord(&q)
		} else {
			c.askWord(&q)
		}
	}
	if q.cats == nil {
		return
	}
	if mt.ID != "history_ask" && mt.ID != "trims" && mt.ID != "gas_analysis" {
		for u := range w.units {
			q.moves = append(q.moves, c.bears(&q, u))
		}
	}
	*out = append(*out, q)
}

// bears tells whether a context unit has a say in the answer of a question that ends in
// a word or hangs on quantities.
func (c *calc) bears(q *question, u int) bool {
	w := c.w
	if q.sensor >= 0 && !w.places[w.units[u].place].reachesSensor(&w.sens[q.sensor]) {
		return false
	}
	fx := w.units[u].fx
	return slices.ContainsFunc(q.reads, func(k int) bool { return fx.show[k].has || fx.add[k].has }) ||
		slices.ContainsFunc(fx.find[q.test], func(x chance) bool { return x.p > 0 })
}

// known tells whether a quantity has been measured at a sensor (-1: the engine).
func (c *calc) known(s int, id string) bool {
	q := c.w.quantity[id]
	return slices.ContainsFunc(c.ev.findings, func(f finding) bool {
		return (f.kind == fQuantity || f.kind == fSensorQuantity) && f.quant == q && f.sensor == s
	})
}

// looked tells whether a test that ends in a word has been done at a place.
func (c *calc) looked(t, s, bank int) bool {
	for i := range c.ev.findings {
		f := &c.ev.findings[i]
		if (f.kind != fOutcome && f.kind != fSensorOutcome) || f.test != t || f.sensor != s {
			continue
		}
		if bank == 0 || s >= 0 {
			return true
		}
		for _, l := range f.looks {
			// Who searched the whole engine and found something has looked everywhere.
			whole := c.w.m.Tests[t].Scope == model.Engine
			if l.slot >= 0 && (whole || f.slots[l.slot].bank == bank-1) || l.slot < 0 && (l.bank < 0 || l.bank == bank-1) {
				return true
			}
		}
	}
	return false
}

// of gives the chance of each answer under an explanation.
func (q *question) of(c *calc, h *hyp) []float64 {
	var key uint64
	if q.moves != nil {
		if q.sensor >= 0 {
			key = uint64(h.st[q.sensor] + 1)
		}
		for _, u := range h.us {
			if q.moves[u] {
				key = key<<10 | uint64(u+1)
			}
		}
		if i := slices.Index(q.keys, key); i >= 0 {
			return q.known[i]
		}
	}
	p := q.cats(h)
	sum := 0.0
	for i := range p {
		p[i] = max(p[i], 1e-4) // nothing is ruled out
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
	if q.moves != nil {
		q.keys, q.known = append(q.keys, key), append(q.known, p)
	}
	return p
}

// level is where an explanation puts a quantity at a sensor (-1: the engine).
func (c *calc) level(q, s int, h *hyp) level {
	w := c.w
	good := w.goodLevel(q)
	at, best := good, -1.0
	var shift, variance float64
	put := func(fx *effects, rank int) {
		if l := fx.show[q]; l.has {
			if g := grip(rank, l.mean, good); g > best {
				at, best = l, g
			}
		}
		if l := fx.add[q]; l.has {
			shift += l.mean
			variance += l.sd * l.sd
		}
	}
	if s >= 0 {
		sw := &w.sens[s]
		for _, u := range sw.states[h.st[s]].units {
			put(sw.units[u].fx, sw.places[sw.units[u].place].k.Grip)
		}
		for _, u := range h.us {
			if p := &w.places[w.units[u].place]; p.reachesSensor(sw) {
				put(w.units[u].fx, p.k.Grip)
			}
		}
	} else {
		for _, u := range h.us {
			put(w.units[u].fx, w.places[w.units[u].place].k.Grip)
		}
	}
	if best < 0 && variance > 0 {
		at = level{mean: at.mean + shift, sd: math.Sqrt(at.sd*at.sd + variance)}
	}
	return at
}

// below is the chance that a quantity reads below a limit.
func (c *calc) below(q, s int, h *hyp, limit float64) float64 {
	return c.w.below(q, c.level(q, s, h), limit)
}

func (c *calc) askWord(q *question) {
	w := c.w
	mt := &w.m.Tests[q.test]
	all := w.slots(mt)
	var slots []slot
	for _, s := range all {
		if q.bank == 0 || s.bank < 0 || s.bank == q.bank-1 {
			slots = append(slots, s)
		}
	}
	q.answers = append(q.answers, answer{id: mt.Outcomes[0].ID, say: say.T(mt.Outcomes[0].Name)})
	var d [][]float64
	for _, s := range slots {
		a := answer{mt.Outcomes[s.outcome].ID, say.T(mt.Outcomes[s.outcome].Name), s.bank + 1}
		if s.bank >= 0 && w.nb > 1 {
			a.say = say.T("%s, bank %d", a.say, s.bank+1)
		}
		q.answers = append(q.answers, a)
		d = append(d, c.finds(q.test, s))
	}
	q.cats = func(h *hyp) []float64 {
		fires := make([]float64, len(slots))
		for j, s := range slots {
			miss := 1 - s.false
			for _, u := range h.us {
				miss *= 1 - d[j][u]
			}
			fires[j] = 1 - miss
		}
		return exclusive(fires)
	}
}

func (c *calc) askSensorWord(q *question) {
	w := c.w
	mt := &w.m.Tests[q.test]
	sw := &w.sens[q.sensor]
	sf := w.sensorFinding(-1, &finding{kind: fSensorOutcome, test: q.test, sensor: q.sensor, slots: w.slots(mt)}, sw)
	for _, o := range mt.Outcomes {
		q.answers = append(q.answers, answer{id: o.ID, say: say.T(o.Name)})
	}
	q.cats = func(h *hyp) []float64 {
		fires := make([]float64, len(sf.f.slots))
		for j := range fires {
			miss := 1 - sf.f.slots[j].false
			for _, u := range sw.states[h.st[q.sensor]].units {
				miss *= 1 - sf.d[j][u]
			}
			for _, u := range h.us {
				miss *= 1 - sf.cd[j][u]
			}
			fires[j] = 1 - miss
		}
		return exclusive(fires)
	}
}

// exclusive makes one answer of outcomes that fire independently: none, or one of
// those that fire in proportion.
func exclusive(fires []float64) []float64 {
	none, sum := 1.0, 0.0
	for _, f := range fires {
		none *= 1 - f
		sum += f
	}
	out := make([]float64, 1+len(fires))
	out[0] = none
	for j, f := range fires {
		out[1+j] = (1 - none) * f / sum
	}
	return out
}

func (c *calc) askHistory(q *question) {
	w := c.w
	q.answers = append(q.answers, answer{id: NothingKnown, say: say.T(w.m.Remarks[w.remark[NothingKnown]].Name)})
	var told []int
	for r, m := range w.m.Remarks {
		if m.ID == NothingKnown {
			continue
		}
		told = append(told, r)
		q.answers = append(q.answers, answer{id: m.ID, say: say.T(m.Name)})
	}
	q.cats = func(h *hyp) []float64 {
		fires := make([]float64, len(told))
		for i, r := range told {
			miss := 1 - w.m.Remarks[r].Usual
			for _, u := range h.us {
				miss *= 1 - w.units[u].fx.say[r]
			}
			for s := range w.sens {
				for _, u := range w.sens[s].states[h.st[s]].units {
					miss *= 1 - w.sens[s].units[u].fx.say[r]
				}
			}
			fires[i] = 1 - miss
		}
		return exclusive(fires)
	}
}

func (c *calc) askSignal(q *question) {
	w, s := c.w, q.sensor
	sw := &w.sens[s]
	hz := w.quantity["signal.crossings_hz"]
	q.reads = []int{hz}
	if sw.Kind == Titania {
		if sw.Position != 1 || c.known(s, "signal.crossings_hz") {
			return
		}
		q.answers = []answer{{id: "lively", say: say.T("switches at least every two seconds")}, {id: "slow", say: say.T("switches seldom or not")}}
		q.cats = func(h *hyp) []float64 {
			slow := c.below(hz, s, h, 0.5)
			return []float64{1 - slow, slow}
		}
		return
	}
	if sw.Position != 1 {
		if c.known(s, "rear.mean_v") || c.known(s, "rear.min_v") && c.known(s, "rear.crossings_hz") {
			return
		}
		mean, rate := w.quantity["rear.mean_v"], w.quantity["rear.crossings_hz"]
		q.reads = []int{mean, rate}
		q.answers = []answer{{id: "steady", say: say.T("steady near 0.6 to 0.7 V")}, {id: "low", say: say.T("low")}, {id: "lively", say: say.T("switches like the front one")}, {id: "high", say: say.T("high")}}
		q.cats = func(h *hyp) []float64 {
			low, high := c.below(mean, s, h, 0.47), 1-c.below(mean, s, h, 0.85)
			lively := 1 - c.below(rate, s, h, 0.45)
			mid := max(1-low-high, 0)
			return []float64{mid * (1 - lively), low, mid * lively, high}
		}
		return
	}
	if c.known(s, "signal.max_v") && c.known(s, "signal.crossings_hz") {
		return
	}
	hi, lo, lr := w.quantity["signal.max_v"], w.quantity["signal.min_v"], w.quantity["signal.lean_rich_ms"]
	q.reads = []int{hi, lo, lr, hz}
	q.answers = []answer{{id: "good", say: say.T("full swing, quick")}, {id: "slow", say: say.T("full swing, but slow")}, {id: "low", say: say.T("never gets up")}, {id: "high", say: say.T("never comes down")},
		{id: "beyond", say: say.T("above 1.1 V")}, {id: "negative", say: say.T("below zero")}}
	q.cats = func(h *hyp) []float64 {
		beyond := 1 - c.below(hi, s, h, 1.1)
		negative := c.below(lo, s, h, -0.06)
		rest := (1 - beyond) * (1 - negative)
		low := c.below(hi, s, h, 0.66)
		high := 1 - c.below(lo, s, h, 0.24)
		mid := (1 - low) * (1 - high)
		slow := 1 - c.below(lr, s, h, 95)*(1-c.below(hz, s, h, 0.5))
		return []float64{rest * mid * (1 - slow), rest * mid * slow, rest * low, rest * (1 - low) * high, beyond, (1 - beyond) * negative}
	}
}

func (c *calc) askGas(q *question) {
	w := c.w
	hc := w.quantity["gas.hc_ppm"]
	q.answers = []answer{{id: "one", say: say.T("lambda 1, clean")}, {id: "one_hc", say: say.T("lambda 1, much HC")}, {id: "rich", say: say.T("lambda below 0.97")}, {id: "rich_hc", say: say.T("lambda below 0.97, much HC")}, {id: "lean", say: say.T("lambda above 1.03")}}
	good := w.m.Quantities[w.quantity["lambda.tailpipe"]].SD
	q.cats = func(h *hyp) []float64 {
		sc := c.scene(h.us)
		var dev, variance float64
		for _, f := range c.fronts {
			r := c.reach(&sc, f, &c.sensors[f].classes[c.sensors[f].classOf[h.st[f]]], 0)
			dev += r.lo
			variance += r.variance
		}
		nb := float64(w.nb)
		sd := math.Hypot(good, math.Sqrt(variance)/nb)
		rich, lean := heavyCDF((-3-dev/nb)/sd), 1-heavyCDF((3-dev/nb)/sd)
		much := 1 - c.below(hc, -1, h, 130)
		one := max(1-rich-lean, 0)
		return []float64{one * (1 - much), one * much, rich * (1 - much), rich * much, lean}
	}
}
