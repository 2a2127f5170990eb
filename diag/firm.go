package diag

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"crosscount/diag/say"
)

// How firm a verdict is. Every number of the model may be off. Following the way
// probabilistic diagnosis is tested against imprecise numbers (Pradhan, Henrion and
// others, AI 85, 1996, from memory), noise is added to the log odds of every prior
// and every likelihood that the verdict rests on, and the verdict is taken anew. The
// draws are fixed, so that the same case gives the same answer.

const (
	firmDraws = 64
	firmHyps  = 160
)

// knob is one estimate that noise is put on: how common a cause is, or how a finding
// shows with the causes that act on it.
type knob struct {
	key     uint64
	finding int    // -1: how common the cause is
	place   *place // the cause
	with    *hyp   // the causes that act on the finding
}

func (d *decision) label(k *knob) say.Text {
	if k.finding < 0 {
		return say.T("how common this is: %s", k.place.ref.name().Lower())
	}
	finding, with := d.said[k.finding], d.nameHyp(k.with)
	if with.IsZero() {
		return say.T("how likely this is: %s, with nothing wrong", finding)
	}
	return say.T("how likely this is: %s, with %s", finding, with)
}

// lever is how far a knob moves an explanation's log weight.
type lever struct {
	knob int
	by   float64
}

// firmness is the share of draws under which a verdict stands, and the estimate it
// hangs on most.
type firmness struct {
	half, one, two float64
	hangsOn        say.Text
}

// levers lists, for each explanation, what noise would move it. A likelihood p has
// its log odds shaken, which moves its logarithm by about 1-p; p is taken against
// the best that any explanation makes of the finding.
func (d *decision) levers() ([]knob, [][]lever) {
	c, w := d.c, d.c.w
	n := min(len(d.hyps), firmHyps)
	best := make([]float64, len(c.ev.findings))
	for f := range best {
		best[f] = math.Inf(-1)
		for h := range n {
			best[f] = max(best[f], d.lik[h][f])
		}
	}
	var knobs []knob
	index := map[uint64]int{}
	var all []lever
	turn := func(k knob, by float64) {
		i, ok := index[k.key]
		if !ok {
			i = len(knobs)
			index[k.key] = i
			knobs = append(knobs, k)
		}
		all = append(all, lever{i, by})
	}
	out := make([][]lever, n)
	for h := range n {
		from := len(all)
		hy := &d.hyps[h]
		for _, u := range hy.us {
			p := w.units[u].place
			turn(knob{hash(uint64(p) + 1), -1, &w.places[p], nil}, 1)
		}
		for s := range w.sens {
			for _, u := range w.sens[s].states[hy.st[s]].units {
				p := w.sens[s].units[u].place
				turn(knob{hash(uint64(1+s)<<16 | uint64(p)), -1, &w.sens[s].places[p], nil}, 1)
			}
		}
		for f := range c.ev.findings {
			by := 1 - math.Exp(d.lik[h][f]-best[f])
			if by < 0.02 {
				continue
			}
			// The same estimate serves every explanation whose causes act alike on the
			// finding; that they give it the same likelihood tells that they do.
			key := hash(uint64(f)<<32 ^ math.Float64bits(math.Round(d.lik[h][f]*1e4)))
			turn(knob{key, f, nil, hy}, by)
		}
		out[h] = all[from:len(all):len(all)]
	}
	return knobs, out
}

// nameHyp names the causes of an explanation.
func (d *decision) nameHyp(h *hyp) say.Text {
	w := d.c.w
	var names []say.Text
	for _, u := range h.us {
		names = append(names, w.places[w.units[u].place].ref.name().Lower())
	}
	for s := range w.sens {
		for _, u := range w.sens[s].states[h.st[s]].units {
			names = append(names, w.sens[s].places[w.sens[s].units[u].place].ref.name().Lower())
		}
	}
	return say.And(names)
}

// hash mixes a key well enough for fixed draws (the finisher of splitmix64).
func hash(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// gauss is a fixed draw from the standard normal distribution for a key.
func gauss(key uint64) float64 {
	u := (float64(hash(key)>>11) + 0.5) / (1 << 53)
	return math.Sqrt2 * math.Erfinv(2*u-1)
}

// weigh shakes the estimates and counts how often the verdict stands. mask gives
// the faults of each explanation, work the faults the verdict mends; without work
// the verdict is that nothing is wrong.
func (d *decision) firmness(work []int) firmness {
	knobs, levers := d.levers()
	masks := d.masks(len(levers))
	var each []uint64
	var all uint64
	for _, m := range work {
		var bit uint64
		for _, f := range d.pr.mends[m].faults {
			bit |= 1 << f
		}
		each = append(each, bit)
		for _, f := range d.pr.mends[m].ends {
			all |= 1 << f
		}
	}
	stands := func(p []float64) bool {
		// What it mends is there more likely than not, and nothing else is; that
		// nothing is wrong is more likely than not.
		sum, sound := 0.0, 0.0
		var part [64]float64
		var fault [64]float64
		for h, x := range p {
			sum += x
			if masks[h] == 0 {
				sound += x
			}
			for m := masks[h] &^ all; m != 0; m &= m - 1 {
				fault[bits.TrailingZeros64(m)] += x
			}
			for i, bit := range each {
				if masks[h]&bit != 0 {
					part[i] += x
				}
			}
		}
		if all == 0 {
			return sound >= sum/2
		}
		for i := range each {
			if part[i] < sum/2 {
				return false
			}
		}
		return slices.Max(fault[:len(d.pr.faults)+1]) <= sum/2
	}
	type memory struct {
		noise, shift, p []float64
		stood           [3]int // with noise of spread half, one and two
	}
	fresh := func() *memory {
		return &memory{noise: make([]float64, len(knobs)), shift: make([]float64, len(levers)), p: make([]float64, len(levers))}
	}
	one, other := fresh(), fresh()
	sideBySide(firmDraws, one, other, func(m *memory, draw int) {
		for k := range knobs {
			m.noise[k] = gauss(knobs[k].key ^ uint64(draw+1)*0x9e3779b97f4a7c15)
		}
		for h := range levers {
			shift := 0.0
			for _, l := range levers[h] {
				shift += l.by * m.noise[l.knob]
			}
			m.shift[h] = math.Exp(shift / 2)
		}
		for i := range m.stood {
			for h, x := range m.shift {
				m.p[h] = d.hyps[h].p * x
				m.shift[h] = x * x // twice the spread
			}
			if stands(m.p) {
				m.stood[i]++
			}
		}
	})
	share := func(i int) float64 { return float64(one.stood[i]+other.stood[i]) / firmDraws }
	out := firmness{half: share(0), one: share(1), two: share(2)}
	out.hangsOn = d.hangsOn(knobs, levers, masks, all)
	return out
}

// masks gives the faults of the first explanations; a fault the planner does not
// know is the highest bit.
func (d *decision) masks(n int) []uint64 {
	out := make([]uint64, n)
	for h := range out {
		out[h] = d.pr.maskOf(&d.hyps[h])
	}
	return out
}

// hangsOn names the estimate whose error moves the odds of the verdict most.
func (d *decision) hangsOn(knobs []knob, levers [][]lever, masks []uint64, work uint64) say.Text {
	var in, out float64
	good := func(h int) bool {
		if work == 0 {
			return masks[h] == 0
		}
		return masks[h]&work != 0
	}
	for h := range levers {
		if good(h) {
			in += d.hyps[h].p
		} else {
			out += d.hyps[h].p
		}
	}
	if in == 0 || out == 0 {
		return say.Text{}
	}
	by := make([]float64, len(knobs))
	for h := range levers {
		x := d.hyps[h].p / out
		sign := -1.0
		if good(h) {
			x, sign = d.hyps[h].p/in, 1
		}
		for _, l := range levers[h] {
			by[l.knob] += sign * x * l.by
		}
	}
	best := slices.Index(by, slices.MaxFunc(by, func(a, b float64) int { return cmp.Compare(math.Abs(a), math.Abs(b)) }))
	return d.label(&knobs[best])
}

// contradictions points at findings that no explanation takes together although
// each has one: one of the two is likely to be a slip.
func (d *decision) contradictions() []Note {
	var out []Note
	fs := d.c.ev.findings
	for i := range fs {
		if n, ok := d.clash(&fs[i]); ok {
			out = append(out, n)
		}
	}
	best := make([]float64, len(fs))
	for f := range fs {
		best[f] = math.Inf(-1)
		for h := range d.hyps {
			best[f] = max(best[f], d.lik[h][f])
		}
	}
	fit := make([]float64, len(d.hyps))
	taken := func(weight func(h int) float64) float64 {
		sum, all := 0.0, 0.0
		for h, x := range fit {
			p := weight(h)
			all += p
			sum += p * x
		}
		return sum / all
	}
	type pair struct{ a, b int }
	var seen []pair
	for f := range fs {
		if quiet(&fs[f]) {
			continue
		}
		for h := range fit {
			fit[h] = math.Exp(d.lik[h][f] - best[f])
		}
		if taken(func(h int) float64 { return d.hyps[h].p }) > 0.08 {
			continue
		}
		g, most := -1, 0.0
		for o := range fs {
			if o != f && !quiet(&fs[o]) {
				if x := taken(func(h int) float64 { return d.without[o][h] }); x > most {
					g, most = o, x
				}
			}
		}
		p := pair{min(f, g), max(f, g)}
		if most < 0.4 || slices.Contains(seen, p) {
			continue
		}
		seen = append(seen, p)
		out = append(out, Note{d.given(slices.Concat(fs[f].entries, fs[g].entries)),
			say.T("These two hardly go together: %s — and %s. Repeat the one that is easier to repeat.", d.said[f], d.said[g])})
	}
	return out
}

// quiet tells whether a finding is nothing that could be repeated.
func quiet(f *finding) bool {
	return f.kind == fRemark || f.kind == fUnlisted || f.kind == fMended
}

// clash tells whether the looks or readings of one finding contradict each other.
func (d *decision) clash(f *finding) (Note, bool) {
	w := d.c.w
	note := func() (Note, bool) {
		return Note{d.given(f.entries), say.T("These cannot both be right: %s. Repeat the test.", d.c.ev.say(f))}, true
	}
	switch f.kind {
	case fSensorOutcome, fOutcome:
		for i, a := range f.looks {
			for _, b := range f.looks[:i] {
				sameBank := a.bank < 0 || b.bank < 0 || a.bank == b.bank
				if sameBank && a.slot != b.slot && (a.slot < 0 || b.slot < 0) {
					return note()
				}
			}
		}
	case fSensorQuantity, fQuantity:
		if slices.Max(f.xs)-slices.Min(f.xs) > 6*w.goodLevel(f.quant).sd {
			return note()
		}
	case fTrims:
		for _, rs := range d.c.ev.trims[f.bank] {
			for i, a := range rs {
				for _, b := range rs[:i] {
					if a.gain == b.gain && math.Abs(a.x-b.x) > 15 {
						return note()
					}
				}
			}
		}
	case fLambda:
		if slices.Max(f.xs)-slices.Min(f.xs) > 6 {
			return note()
		}
	}
	return Note{}, false
}

// changes names what would overturn a verdict: the answers to tests not yet made
// that would leave its work, or that nothing is wrong, less likely than not.
func (d *decision) changes(work []int) []say.Text {
	pr := d.pr
	var all uint64
	for _, m := range work {
		for _, f := range pr.mends[m].faults {
			all |= 1 << f
		}
	}
	type change struct {
		say say.Text
		p   float64
	}
	var list []change
	for q := range pr.questions {
		for a, o := range pr.problem.Questions[q].Outcomes {
			var m, in float64
			for i := range pr.sets {
				x := pr.sets[i].p * o.P[i]
				m += x
				if all != 0 && pr.sets[i].mask&all != 0 || all == 0 && pr.sets[i].mask == 0 {
					in += x
				}
			}
			if m > 1e-4 && in < m/2 {
				qu := &pr.questions[q]
				list = append(list, change{d.c.w.found(say.T(d.c.w.m.Tests[qu.test].Name), qu.sensor, pr.asked[q][a].say), m - in})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b change) int { return cmp.Compare(b.p, a.p) })
	out := []say.Text{}
	for _, c := range list[:min(len(list), 3)] {
		out = append(out, c.say.Upper())
	}
	return out
}

// maskOf gives the faults of an explanation as the planner numbers them.
func (pr *prospect) maskOf(h *hyp) uint64 {
	w := pr.c.w
	var mask uint64
	put := func(sensor, index int, nothing bool) {
		if nothing {
			return
		}
		for f := range pr.faults {
			if pr.faults[f].sensor == sensor && pr.faults[f].index == index {
				mask |= 1 << f
				return
			}
		}
		mask |= 1 << 63
	}
	for _, u := range h.us {
		p := w.units[u].place
		put(-1, p, w.places[p].k.Nothing)
	}
	for s := range w.sens {
		for _, u := range w.sens[s].states[h.st[s]].units {
			put(s, w.sens[s].units[u].place, false)
		}
	}
	return mask
}
