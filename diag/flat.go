package diag

import (
	"cmp"
	"math"
	"slices"
)

// hyp is one whole explanation: context units and a state of each sensor.
type hyp struct {
	us []int16
	st []int16
	lw float64 // log weight
	p  float64 // share among the hypotheses kept
}

// The explanations kept for plan, reasons and verdict.
const (
	maxHyps     = 320
	keepNode    = 3e-5 // share of all weight below which a context is not unfolded
	keepHyp     = 1.5e-5
	sensorFloor = 2e-3 // marginal below which an untested sensor is taken as sound
)

// unfold lists the weightiest explanations with their weight.
func (b *belief) unfold() []hyp {
	c, w := b.c, b.c.w
	relevant := make([]bool, len(w.sens))
	for s := range w.sens {
		relevant[s] = len(c.sensors[s].fixed)+len(c.sensors[s].touched) > 0 || c.tells(s) && slices.Max(b.smarg[s]) > sensorFloor
	}
	order := make([]int, 0, len(b.nodes))
	for i := range b.nodes {
		if b.nodes[i].lw-b.logZ > math.Log(keepNode) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(b.nodes[j].lw, b.nodes[i].lw) })
	var out []hyp
	var sh share
	st := make([]int16, len(w.sens))
	var states []int16 // of all explanations
	type candidate struct {
		st    int16
		share float64
	}
	cands := make([][]candidate, len(w.sens))
	var per []float64 // class: share of all weight per weight of a state
	for _, i := range order[:min(len(order), maxHyps)] {
		n := &b.nodes[i]
		p := math.Exp(n.lw - b.logZ)
		common := product{p: 1}
		common.mul(c.prior(n.units()))
		c.weighContext(n.units(), &common)
		total := c.weighSensors(n.units(), &sh)
		for s := range w.sens {
			cands[s] = cands[s][:0]
			if !relevant[s] {
				cands[s] = append(cands[s], candidate{0, 1})
				continue
			}
			sum := sh.sums[s]
			per = per[:0]
			for cl, x := range sh.classes[s] {
				if sum.classes[cl] > 0 {
					x /= total * sum.classes[cl]
				}
				per = append(per, x)
			}
			states := sum.of(&c.sensors[s])
			for k, cl := range c.sensors[s].classOf {
				x := per[cl] * states[k]
				if k == 0 && sum.classes[cl] > 0 || p*x > keepHyp {
					cands[s] = append(cands[s], candidate{int16(k), x})
				}
			}
		}
		var pick func(s int, x float64)
		pick = func(s int, x float64) {
			if s == len(w.sens) {
				states = append(states, st...)
				h := hyp{us: n.units(), st: states[len(states)-len(st) : len(states) : len(states)]}
				h.lw = c.weighOne(&h, common)
				out = append(out, h)
				return
			}
			for _, cd := range cands[s] {
				if x*cd.share > keepHyp || cd.st == 0 {
					st[s] = cd.st
					pick(s+1, x*cd.share)
				}
			}
		}
		pick(0, p)
		if len(out) > 4*maxHyps {
			break
		}
	}
	out = heaviest(out, maxHyps, func(h *hyp) float64 { return h.lw })
	sum := 0.0
	for i := range out {
		out[i].p = math.Exp(out[i].lw - b.logZ)
		sum += out[i].p
	}
	for i := range out {
		out[i].p /= max(sum, 1e-300)
	}
	return out
}

// heaviest is the heaviest of a list in their order; of equals what stood first comes
// first. What is sorted is where they stand, for they are large.
func heaviest[T any](list []T, most int, weight func(*T) float64) []T {
	type place struct {
		at     int
		weight float64
	}
	order := make([]place, len(list))
	for i := range list {
		order[i] = place{i, weight(&list[i])}
	}
	slices.SortFunc(order, func(a, b place) int { return cmp.Or(cmp.Compare(b.weight, a.weight), a.at-b.at) })
	out := make([]T, min(len(list), most))
	for i := range out {
		out[i] = list[order[i].at]
	}
	return out
}

// weighOne gives the log weight of one explanation, on the scale of weigh, where its
// context was laid last and a is what depends on that alone.
func (c *calc) weighOne(h *hyp, a product) float64 {
	loose := 1.0
	only := c.onlys()
	for s := range c.sensors {
		x := c.sums[s].of(&c.sensors[s])[h.st[s]]
		if c.coupled[s] {
			only[s][c.sensors[s].classOf[h.st[s]]] = x
		} else {
			loose *= x
		}
	}
	a.mul(c.sumJoint(&c.j.exact, only, nil))
	a.mul(loose)
	if c.judged {
		a.mul(c.cleanness(c.faulty(h)))
	}
	return a.log()
}

// faulty tells whether something is left to mend, and whether anything at all has
// happened.
func (c *calc) faulty(h *hyp) (fault, event bool) {
	for _, u := range h.us {
		event = true
		fault = fault || !c.w.places[c.w.units[u].place].k.Nothing
	}
	return fault || slices.ContainsFunc(h.st, func(s int16) bool { return s != 0 }), event
}

// likelihoods gives the log likelihood of every finding under an explanation. They
// add up, with the prior, to the explanation's weight but for a constant.
func (c *calc) likelihoods(h *hyp, out []float64) {
	w := c.w
	for i := range out {
		out[i] = 0
	}
	for i := range c.outcomes {
		out[c.outcomes[i].finding] = math.Log(c.outcomes[i].likelihood(h.us))
	}
	for i := range c.amounts {
		out[c.amounts[i].finding] = math.Log(c.amounts[i].likelihood(h.us))
	}
	for i := range c.remarks {
		miss := c.remarks[i].missed(h.us)
		lg := math.Log(1 - miss)
		for s := range c.sensors {
			for k := range c.sensors[s].heard {
				if t := &c.sensors[s].heard[k]; t.channel == i {
					lg += math.Log(t.of(miss, int(h.st[s])))
				}
			}
		}
		out[c.remarks[i].finding] = lg
	}
	for i := range c.silences {
		x := &c.silences[i]
		lg := math.Log(x.likelihood(h.us))
		for s := range w.sens {
			for _, u := range w.sens[s].states[h.st[s]].units {
				lg += math.Log(x.sensor[s][u])
			}
		}
		out[x.finding] += lg
	}
	cls := make([]*class, len(w.sens))
	for s := range w.sens {
		cls[s] = &c.sensors[s].classes[c.sensors[s].classOf[h.st[s]]]
	}
	for k := range c.codes {
		m := c.codes[k].missed(h.us)
		if b := c.codes[k].bank; b >= 0 {
			m *= 1 - cls[w.front[b]].q[k]
			if r := w.rear[b]; r >= 0 {
				m *= 1 - cls[r].q[k]
			}
		}
		out[c.codes[k].finding] += math.Log(tempered(m, c.codes[k].power))
	}
	for s := range w.sens {
		su := w.sens[s].states[h.st[s]].units
		for _, list := range [][]sensorFinding{c.sensors[s].fixed, c.sensors[s].touched} {
			for i := range list {
				out[list[i].id] += math.Log(list[i].likelihood(su, h.us))
			}
		}
	}
	sc := c.scene(h.us)
	lying := 0
	for _, f := range c.fronts {
		if c.sensors[f].classOf[h.st[f]] != 0 {
			lying++
		}
	}
	for l := range c.lambdas {
		var d devReach
		for _, f := range c.fronts {
			r := c.reach(&sc, f, cls[f], c.lambdas[l].state)
			d.lo += r.lo
			d.variance += r.variance
		}
		nb := float64(w.nb)
		t := c.lambdas[l].table
		x := t.at(d.lo/nb, d.variance/(nb*nb))
		if lying > 1 {
			x = t.row[len(t.row)-1][t.index(0)]
		}
		out[c.lambdas[l].finding] = math.Log(x)
	}
	for i := range c.ev.findings {
		f := &c.ev.findings[i]
		switch f.kind {
		case fTrims:
			out[i] = math.Log(c.trimLik(&sc, f.bank, cls[w.front[f.bank]]))
		case fProof:
			fault, _ := c.faulty(h)
			out[i] = math.Log(c.cleanness(fault, true)) // of the drive, not of the visit
		}
	}
}

// concerns tells whether a remark is about a sensor.
func (ev *evidence) concerns(f *finding, s int) bool {
	return f.sensor == s || f.sensor < 0 && (f.bank < 0 || slices.Contains(ev.w.sens[s].banks, f.bank))
}
