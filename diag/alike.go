package diag

import (
	"math"
	"slices"
)

// Alike says for each set of causes how much likelier it makes what was found on a car:
// the likelihood of the evidence where all of the set are there, over its likelihood by
// and large. By Bayes' rule that is P(set | evidence) / P(set). Above 1 the evidence
// speaks for the set, below 1 against it; an empty set is a car with nothing wrong. A
// cause that this car has no place for makes its set 0. What the enumeration left out
// may be missing from a set, so a ratio is low by up to LeftOut / P(set). The error is
// Problems, for a case that Check refuses.
//
// So jobs that ended with a known cause are ranked by how well their cause explains what
// is found now, whatever words either was written down in.
func Alike(c Case, sets [][]CauseRef) ([]float64, error) {
	if err := c.Check().err(); err != nil {
		return nil, err
	}
	return trade().alike(c, sets), nil
}

func (e *engine) alike(c Case, sets [][]CauseRef) []float64 {
	c, _ = canonicalOrder(c)
	w := newWorld(e, c.Vehicle)
	calc := newCalc(w.collect(c.Evidence))
	b := calc.infer()
	out := make([]float64, len(sets))
	want := make([]wanted, len(sets))
	for i, s := range sets {
		want[i] = w.wanted(s)
	}
	var sh share
	for i := range b.nodes {
		n := &b.nodes[i]
		p := math.Exp(n.lw - b.logZ)
		if p < 1e-12 {
			continue
		}
		total := calc.weighSensors(n.units(), &sh)
		for j := range want {
			if want[j].fits {
				out[j] += p * calc.chanceOf(&want[j], n.units(), &sh, total)
			}
		}
	}
	for j := range want {
		if want[j].fits {
			out[j] /= w.priorOf(&want[j])
		}
	}
	return out
}

// wanted is a set of causes by their places in a world; none of them is a sound car.
type wanted struct {
	context []int
	sensors [][]int // sensor, places
	fits    bool
}

func (w *world) wanted(set []CauseRef) wanted {
	x := wanted{sensors: make([][]int, len(w.sens)), fits: true}
	for _, r := range set {
		found := false
		for p := range w.places {
			if w.places[p].ref == r {
				found = true
				if !slices.Contains(x.context, p) {
					x.context = append(x.context, p)
				}
			}
		}
		for s := range w.sens {
			for p := range w.sens[s].places {
				if w.sens[s].places[p].ref == r {
					found = true
					if !slices.Contains(x.sensors[s], p) {
						x.sensors[s] = append(x.sensors[s], p)
					}
				}
			}
		}
		x.fits = x.fits && found
	}
	return x
}

func (x *wanted) sound() bool {
	return len(x.context) == 0 && !slices.ContainsFunc(x.sensors, func(ps []int) bool { return len(ps) > 0 })
}

// arises is the chance of a place when those of a set are there, and others as they
// come.
func (w *world) arises(pl *place, x *wanted) float64 {
	miss := 1 - pl.prior
	for _, par := range pl.parents {
		if slices.Contains(x.context, par.place) {
			miss *= 1 - par.p
		} else {
			miss *= 1 - par.p*w.places[par.place].prior
		}
	}
	return 1 - miss
}

// priorOf is the chance of a set before anything is found.
func (w *world) priorOf(x *wanted) float64 {
	p := 1.0
	if x.sound() {
		for i := range w.places {
			if !w.places[i].k.Nothing {
				p *= 1 - w.places[i].prior
			}
		}
		for s := range w.sens {
			for i := range w.sens[s].places {
				p *= 1 - w.sens[s].places[i].prior
			}
		}
		return p
	}
	for _, i := range x.context {
		p *= w.arises(&w.places[i], x)
	}
	for s, ps := range x.sensors {
		for _, i := range ps {
			p *= w.arises(&w.sens[s].places[i], x)
		}
	}
	return p
}

// chanceOf is the chance of a set under a context, given the evidence.
func (c *calc) chanceOf(x *wanted, us []int16, sh *share, total float64) float64 {
	w := c.w
	p := 1.0
	sound := x.sound()
	if sound {
		for i := range w.places {
			switch {
			case w.places[i].k.Nothing:
			case w.has(us, i):
				return 0
			case !c.touched[i]:
				p *= 1 - c.idle[i]
			}
		}
	}
	for _, i := range x.context {
		if w.has(us, i) {
			continue
		}
		if c.touched[i] {
			return 0
		}
		if len(w.places[i].parents) == 0 {
			p *= c.idle[i]
			continue
		}
		p *= w.arises(&w.places[i], x)
	}
	of := total // what the shares of a sensor's states are parts of
	if sound && c.judged {
		of = c.sharesOf(sh)
	}
	for s := range w.sens {
		if len(x.sensors[s]) == 0 && !sound {
			continue
		}
		sum, in := sh.sums[s], 0.0
		for st := range w.sens[s].states {
			k := c.sensors[s].classOf[st]
			if sum.classes[k] > 0 && w.sens[s].holds(st, x.sensors[s], sound) {
				in += sh.classes[s][k] * sum.of(&c.sensors[s])[st] / sum.classes[k]
			}
		}
		p *= in / max(of, 1e-300)
	}
	if sound && c.judged { // the shares are those of a faulty car, see proved
		p *= of / c.cleanness(true, false) * c.cleanness(false, len(us) > 0) / max(total, 1e-300)
	}
	return p
}

// sharesOf is what the shares of one sensor's states come to together.
func (c *calc) sharesOf(sh *share) (sum float64) {
	if len(sh.classes) == 0 {
		return 1
	}
	for _, x := range sh.classes[0] {
		sum += x
	}
	return sum
}

// holds says whether a state has all of some places, or, for a sound sensor, none.
func (sw *sensorWorld) holds(st int, places []int, sound bool) bool {
	if sound {
		return len(sw.states[st].units) == 0
	}
	for _, p := range places {
		if !slices.ContainsFunc(sw.states[st].units, func(u int) bool { return sw.units[u].place == p }) {
			return false
		}
	}
	return true
}
