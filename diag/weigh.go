package diag

// scratch is memory used again from one context to the next.
type scratch struct {
	sums []*sensorSum
	miss []float64
	sc   scene
	j    joint
}

// joint is what the sum over the coupled sensors works on: a weight for each class
// of each sensor, and what their classes make of trims, lambda and codes.
type joint struct {
	laid    [][]float64 // sensor, class: weights under the context weighed last
	exact   tables      // under the same
	classes [][]float64 // the weights that are summed
	tab     *tables     // the tables that they are summed with
	dev     [][]devReach
	vals    [][]float64 // front, class
	code    [][]float64 // bank: likelihood of its codes, front class times rear class
	behind  [][]float64 // bank, front class: the same with the rear sensor summed out
	of      []*float64  // bank: the classes of the rear sensor that behind is for
	one     []float64   // memory for proved and weighOne
	only    [][]float64
	sound   float64   // of the last sum: the part with honest front sensors
	front   []float64 // front: of the last sum, its classes with trims and codes, without lambda
	honest  []float64 // front: the part of that with an honest sensor
}

// tables is what trims and lambda make of each class of each front sensor: to the
// point for a context, or a bound.
type tables struct {
	trim   [][]float64 // front, class
	lambda [][]float64 // front, class times lambda channels: the other front sensors honest
}

// devReach is where lambda can be, in per cent summed over a sensor's banks.
type devReach struct{ lo, hi, variance float64 }

// share is where a context's weight goes among the classes of each sensor.
type share struct {
	sums    []*sensorSum
	classes [][]float64
}

// weigh gives the log weight of a context with the sensors summed out.
func (c *calc) weigh(us []int16) float64 {
	a := product{p: 1}
	a.mul(c.prior(us))
	c.weighContext(us, &a)
	a.mul(c.weighSensors(us, nil))
	return a.log()
}

// weighContext multiplies in what depends on the context alone.
func (c *calc) weighContext(us []int16, a *product) {
	for i := range c.outcomes {
		a.mul(c.outcomes[i].likelihood(us))
	}
	for i := range c.amounts {
		a.mul(c.amounts[i].likelihood(us))
	}
	for i := range c.remarks {
		a.mul(1 - c.remarks[i].missed(us))
	}
	a.mul(kept(c.keep, us))
	for i := range c.codes {
		if c.codes[i].bank < 0 {
			a.mul(tempered(c.codes[i].missed(us), c.codes[i].power))
		}
	}
}

// prior is the prior odds of a context against the empty one: each cause by what
// can have made it, and each absent cause by what has not made it.
func (c *calc) prior(us []int16) float64 {
	pr := c.priorPresent(us)
	if len(us) > 0 {
		for _, p := range c.child {
			for _, par := range c.w.places[p].parents {
				if c.w.has(us, par.place) && !c.w.has(us, p) {
					pr *= 1 - par.p
				}
			}
		}
	}
	return pr
}

func (c *calc) priorPresent(us []int16) float64 {
	w := c.w
	pr := 1.0
	for _, u := range us {
		p := &w.places[w.units[u].place]
		miss := 1 - p.prior
		for _, par := range p.parents {
			if w.has(us, par.place) {
				miss *= 1 - par.p
			}
		}
		pr *= w.units[u].chance * (1 - miss) / (1 - p.prior)
	}
	return pr
}

// missed is the chance that neither the causes nor anything else brought the
// observation about.
func (o *orChannel) missed(us []int16) float64 {
	m := o.none
	for _, u := range us {
		m *= 1 - o.q[u]
	}
	return m
}

func (o *outcomeChannel) likelihood(us []int16) float64 {
	var buf [24]float64
	fires := buf[:0]
	for j := range o.slots {
		miss := 1 - o.slots[j].false
		for _, u := range us {
			miss *= 1 - o.d[j][u]
		}
		fires = append(fires, 1-miss)
	}
	return seen(o.slots, o.looks, fires, o.quiet)
}

func (ch *amountChannel) likelihood(us []int16) float64 {
	lik, best := ch.good, -1.0
	var shift, variance float64
	for _, u := range us {
		if ch.show[u] >= 0 && ch.grip[u] > best {
			lik, best = ch.show[u], ch.grip[u]
		}
		if ch.add[u].has {
			shift += ch.add[u].mean
			variance += ch.add[u].sd * ch.add[u].sd
		}
	}
	if variance != 0 && best < 0 {
		return ch.shifted.at(shift, variance)
	}
	return lik
}

// bound is no less than the likelihood with shifts from lo to hi and any of the
// later levels added.
func (ch *amountChannel) bound(us []int16, lo, hi, later float64) float64 {
	lik := max(ch.likelihood(us), later)
	if ch.shifted != nil && (lo < 0 || hi > 0) {
		shift := 0.0
		for _, u := range us {
			shift += ch.add[u].mean
		}
		lik = max(lik, ch.shifted.best(shift+lo, shift+hi))
	}
	return lik
}

// scene is what the trims of one context come to, bank by bank and state by state.
type scene struct {
	need, needVar, lie, lieVar [maxBank][allStates]float64
}

func (c *calc) scene(us []int16) scene {
	var s scene
	states := frames
	if c.framed {
		states = allStates
	}
	for _, u := range us {
		p := &c.pulls[u]
		if !p.any {
			continue
		}
		for b := range c.w.nb {
			for st := range states {
				s.need[b][st] += p.need[b][st]
				s.needVar[b][st] += p.needVar[b][st]
				s.lie[b][st] += p.lie[b][st]
				s.lieVar[b][st] += p.lieVar[b][st]
			}
		}
	}
	return s
}

// trimLik is the likelihood of a bank's trims under a scene and a class of its
// front sensor.
func (c *calc) trimLik(s *scene, b int, cl *class) float64 {
	p := 1.0
	for _, i := range c.cellsOf[b] {
		cell := &c.cells[i]
		if cl.open {
			p *= cell.lost
			continue
		}
		st := cell.state
		p *= cell.table.at(s.need[b][st]+s.lie[b][st]+cl.lie[st], s.needVar[b][st]+s.lieVar[b][st]+cl.lieVar[st])
	}
	return p
}

// reach is where lambda is for one front sensor's banks under a scene and a class.
func (c *calc) reach(s *scene, f int, cl *class, st int) devReach {
	var out devReach
	for _, b := range c.w.sens[f].banks {
		d := c.w.deviation(c.shownNeed(s, b, st), s.lie[b][st]+cl.lie[st], cl.open, c.ev.unlearned)
		out.lo += d
		out.hi += d
		out.variance += wrongVar(s, b, st, cl)
	}
	return out
}

// shownNeed is what a bank needs as far as its trims were read: what the module
// cannot add any more shows in lambda, but is only looked for where the trims say
// that it may be so.
func (c *calc) shownNeed(s *scene, b, st int) float64 {
	if c.hasCell[b][st] {
		return s.need[b][st]
	}
	return 0
}

// wrongVar is the variance of lambda that the spread of the causes brings; a per
// cent of trim is about 0.9 per cent of lambda.
func wrongVar(s *scene, b, st int, cl *class) float64 {
	if cl.open {
		return s.needVar[b][st] + 9
	}
	return 0.8 * (s.lieVar[b][st] + cl.lieVar[st])
}

// codeLik is the likelihood of a bank's codes given what the context leaves
// unexplained and the classes of its front and rear sensor.
func (c *calc) codeLik(b int, front, rear *class) float64 {
	p := 1.0
	for _, k := range c.codesOf[b] {
		m := c.miss[k] * (1 - front.q[k])
		if rear != nil {
			m *= 1 - rear.q[k]
		}
		p *= tempered(m, c.codes[k].power)
	}
	return p
}

func (c *calc) hasCodes(b int) bool { return len(c.codesOf[b]) > 0 }

// lay prepares the sums over the sensors under a context.
func (c *calc) lay(us []int16) {
	c.sums = c.sums[:0]
	c.j.laid = c.j.laid[:0]
	for s := range c.sensors {
		m := c.sensors[s].sum(us)
		c.sums = append(c.sums, m)
		c.j.laid = append(c.j.laid, m.classes)
	}
	c.miss = c.miss[:0]
	for k := range c.codes {
		c.miss = append(c.miss, c.codes[k].missed(us))
	}
	c.sizeJoint()
	c.sc = c.scene(us)
	c.fillCodes()
	c.fillJoint()
}

// weighSensors sums over everything that is known of the sensors under a context.
// With a share it also says where the weight goes.
func (c *calc) weighSensors(us []int16, sh *share) float64 {
	c.lay(us)
	if sh != nil {
		sh.sums = append(sh.sums[:0], c.sums...)
		for s := range c.sums {
			if len(sh.classes) == s {
				sh.classes = append(sh.classes, make([]float64, len(c.sums[s].classes)))
			}
			clear(sh.classes[s])
		}
	}
	p := c.sumJoint(&c.j.exact, c.j.laid, sh)
	for s := range c.sums {
		if !c.coupled[s] {
			p *= c.sums[s].total
		}
	}
	if sh != nil {
		for s := range c.sums {
			sum := 0.0
			for _, x := range sh.classes[s] {
				sum += x
			}
			for k := range sh.classes[s] {
				if c.coupled[s] {
					sh.classes[s][k] *= p / max(sum, 1e-300)
				} else {
					sh.classes[s][k] = p * c.sums[s].classes[k] / max(c.sums[s].total, 1e-300)
				}
			}
		}
	}
	if c.judged {
		p = c.proved(us, p, sh)
	}
	return p
}

// fillCodes tabulates the codes of the banks for the classes of their sensors.
func (c *calc) fillCodes() {
	j := &c.j
	for b := range c.w.nb {
		j.of[b] = nil
		if !c.hasCodes(b) {
			continue
		}
		front, t := c.sensors[c.w.front[b]].classes, j.code[b]
		r := c.w.rear[b]
		if r < 0 {
			for k := range front {
				t[k] = c.codeLik(b, &front[k], nil)
			}
			continue
		}
		rear := c.sensors[r].classes
		for k := range front {
			for i := range rear {
				t[k*len(rear)+i] = c.codeLik(b, &front[k], &rear[i])
			}
		}
	}
}

// fillJoint tabulates trims and lambda for the classes of the front sensors.
func (c *calc) fillJoint() {
	j := &c.j
	n := len(c.lambdas)
	for i, f := range c.fronts {
		for k := range c.sensors[f].classes {
			cl := &c.sensors[f].classes[k]
			if cl.twin < k {
				j.exact.trim[i][k] = j.exact.trim[i][cl.twin]
				continue
			}
			x := 1.0
			for _, b := range c.w.sens[f].banks {
				x *= c.trimLik(&c.sc, b, cl)
			}
			j.exact.trim[i][k] = x
			for l := range c.lambdas {
				j.dev[i][k*n+l] = c.reach(&c.sc, f, cl, c.lambdas[l].state)
			}
		}
	}
	c.fillLambda(&j.exact, func(t *table, d devReach) float64 { return t.at(d.lo, d.variance) })
}

// fillLambda tabulates lambda, which is mixed from all banks, where one front sensor
// is of a class and the others are honest.
func (c *calc) fillLambda(tab *tables, lik func(*table, devReach) float64) {
	j := &c.j
	n := len(c.lambdas)
	nb := float64(c.w.nb)
	for l := range c.lambdas {
		var honest devReach
		for i := range c.fronts {
			honest.lo += j.dev[i][l].lo
			honest.hi += j.dev[i][l].hi
			honest.variance += j.dev[i][l].variance
		}
		for i, f := range c.fronts {
			own := j.dev[i][l]
			for k := range c.sensors[f].classes {
				if twin := c.sensors[f].classes[k].twin; twin < k {
					tab.lambda[i][k*n+l] = tab.lambda[i][twin*n+l]
					continue
				}
				d, lying := honest, &j.dev[i][k*n+l]
				d.lo += lying.lo - own.lo
				d.hi += lying.hi - own.hi
				d.variance += lying.variance - own.variance
				tab.lambda[i][k*n+l] = lik(c.lambdas[l].table, devReach{d.lo / nb, d.hi / nb, d.variance / (nb * nb)})
			}
		}
	}
}

// sizeJoint takes the memory that the sums work on.
func (c *calc) sizeJoint() {
	j := &c.j
	if j.of != nil {
		return
	}
	j.of = make([]*float64, c.w.nb)
	j.code, j.behind = make([][]float64, c.w.nb), make([][]float64, c.w.nb)
	for b := range c.w.nb {
		n, rear := len(c.sensors[c.w.front[b]].classes), 1
		if r := c.w.rear[b]; r >= 0 {
			rear = len(c.sensors[r].classes)
		}
		j.code[b], j.behind[b] = make([]float64, n*rear), make([]float64, n)
	}
	for _, f := range c.fronts {
		n := len(c.sensors[f].classes)
		j.vals = append(j.vals, make([]float64, n))
		j.dev = append(j.dev, make([]devReach, n*len(c.lambdas)))
	}
	j.front, j.honest = make([]float64, len(c.fronts)), make([]float64, len(c.fronts))
	j.exact = c.newTables()
}

func (c *calc) newTables() tables {
	var t tables
	for _, f := range c.fronts {
		n := len(c.sensors[f].classes)
		t.trim = append(t.trim, make([]float64, n))
		t.lambda = append(t.lambda, make([]float64, n*len(c.lambdas)))
	}
	return t
}

// sumJoint sums over the classes of the coupled sensors. The shares it credits are
// in proportion, not to scale.
func (c *calc) sumJoint(tab *tables, classes [][]float64, sh *share) float64 {
	c.j.tab, c.j.classes, c.j.sound = tab, classes, 0
	clear(c.j.front)
	clear(c.j.honest)
	common := c.w.commonRear
	if common < 0 || !c.coupled[common] {
		return c.sumGiven(-1, 1, sh)
	}
	total := 0.0
	for r, weight := range classes[common] {
		if weight > 0 {
			x := c.sumGiven(r, weight, sh)
			if sh != nil {
				sh.classes[common][r] += x
			}
			total += x
		}
	}
	return total
}

// sumGiven is sumJoint with the common rear sensor's class fixed (-1: there is none
// that matters).
func (c *calc) sumGiven(common int, weight float64, sh *share) float64 {
	j := &c.j
	var t [maxBank]float64
	for i, f := range c.fronts {
		vals, classes := j.vals[i], j.classes[f]
		for k, x := range j.tab.trim[i] {
			vals[k] = classes[k] * x
		}
		for _, b := range c.w.sens[f].banks {
			if !c.hasCodes(b) {
				continue
			}
			if r := c.w.rear[b]; r >= 0 && r == c.w.commonRear {
				n := len(c.sensors[r].classes)
				for k := range vals {
					vals[k] *= j.code[b][k*n+common]
				}
				continue
			}
			for k, x := range c.rearSum(b) {
				vals[k] *= x
			}
		}
		for _, x := range vals {
			t[i] += x
		}
		j.front[i], j.honest[i] = max(j.front[i], t[i]), max(j.honest[i], vals[0])
	}
	if len(c.lambdas) > 0 {
		return c.sumLambda(common, weight, sh)
	}
	total, sound := weight, weight
	for i := range c.fronts {
		total *= t[i]
		sound *= j.vals[i][0]
	}
	j.sound += sound
	if sh != nil {
		for i, f := range c.fronts {
			for k, x := range j.vals[i] {
				if t[i] > 0 {
					c.give(sh, f, k, total*x/t[i], common)
				}
			}
		}
	}
	return total
}

// sumLambda sums over the front sensors where lambda was measured. The tailpipe
// mixes the banks, so it tells on a single front sensor that lies; once two lie at
// the same time it is taken to tell nothing of either.
func (c *calc) sumLambda(common int, weight float64, sh *share) float64 {
	j := &c.j
	// Prefix and suffix sums would save little for one to four sensors.
	honest, rest := weight, 0.0
	for i := range c.fronts {
		honest *= j.vals[i][0]
	}
	total := c.leaf(0, 0, honest, sh, common)
	j.sound += total
	if len(c.fronts) > 1 {
		all := weight
		for i := range c.fronts {
			t := 0.0
			for _, x := range j.vals[i] {
				t += x
			}
			all *= t
		}
		rest = all - honest
	}
	for i := range c.fronts {
		others := weight
		for o := range c.fronts {
			if o != i {
				others *= j.vals[o][0]
			}
		}
		for k := 1; k < len(j.vals[i]); k++ {
			x := others * j.vals[i][k]
			rest -= x
			if x > 0 {
				total += c.leaf(i, k, x, sh, common)
			}
		}
	}
	if len(c.fronts) == 1 || rest <= 0 {
		return total
	}
	rest *= c.vague()
	if sh != nil {
		for i, f := range c.fronts {
			lies := 0.0
			for _, x := range j.vals[i][1:] {
				lies += x
			}
			for k := 1; k < len(j.vals[i]) && lies > 0; k++ {
				// With more than two front sensors this gives each a part in
				// every pair, which is close enough for so rare a thing.
				c.give(sh, f, k, rest*j.vals[i][k]/lies, common)
			}
		}
	}
	return total + rest
}

// vague is the likelihood of lambda where it tells nothing.
func (c *calc) vague() float64 {
	p := 1.0
	for l := range c.lambdas {
		t := c.lambdas[l].table
		p *= t.row[len(t.row)-1][t.index(0)]
	}
	return p
}

// leaf multiplies in lambda where one front sensor is of a class and the others
// are honest.
func (c *calc) leaf(front, class int, x float64, sh *share, common int) float64 {
	n := len(c.lambdas)
	for _, p := range c.j.tab.lambda[front][class*n : (class+1)*n] {
		x *= p
	}
	if sh != nil {
		for i, f := range c.fronts {
			k := 0
			if i == front {
				k = class
			}
			c.give(sh, f, k, x, common)
		}
	}
	return x
}

// give credits a front sensor's class with weight, and the rear sensors behind it.
func (c *calc) give(sh *share, f, k int, x float64, common int) {
	sh.classes[f][k] += x
	for _, b := range c.w.sens[f].banks {
		r := c.w.rear[b]
		if r < 0 || r == c.w.commonRear || !c.coupled[r] {
			continue
		}
		n, all := len(c.sensors[r].classes), c.rearSum(b)[k]
		for i, wr := range c.j.classes[r] {
			if all > 0 {
				sh.classes[r][i] += x * wr * c.j.code[b][k*n+i] / all
			}
		}
	}
}

// rearSum is, for each class of the front sensor, the likelihood of a bank's codes
// with the bank's own rear sensor summed out.
func (c *calc) rearSum(b int) []float64 {
	j := &c.j
	r := c.w.rear[b]
	if r < 0 {
		return j.code[b]
	}
	rear := j.classes[r]
	if j.of[b] != &rear[0] {
		j.of[b] = &rear[0]
		for k := range j.behind[b] {
			sum := 0.0
			for i, x := range j.code[b][k*len(rear) : (k+1)*len(rear)] {
				sum += rear[i] * x
			}
			j.behind[b][k] = sum
		}
	}
	return j.behind[b]
}

// cleanness is the likelihood of the proof drive, and of the visit itself, for a car
// with or without anything to explain it: a sound car seldom comes in, and passes
// the proof nineteen times in twenty; a faulty one passes but by a miss.
func (c *calc) cleanness(fault, event bool) float64 {
	p := 1.0
	if c.visit && !fault && !event {
		p = c.w.visit
	}
	if c.proof != nil {
		x := 0.95
		if fault {
			x = c.w.proofMiss
		}
		if c.proof.bad {
			x = 1 - x
		}
		p *= x
	}
	return p
}

// proved multiplies cleanness into the weight of a context.
func (c *calc) proved(us []int16, p float64, sh *share) float64 {
	fault := c.cleanness(true, false)
	if sh != nil {
		// Only the shares of states with a fault are ever asked for.
		for s := range sh.classes {
			for k := range sh.classes[s] {
				sh.classes[s][k] *= fault
			}
		}
	}
	for _, u := range us {
		if !c.w.places[c.w.units[u].place].k.Nothing {
			return p * fault
		}
	}
	// Only the part of the weight with every sensor sound is without fault.
	clean := 1.0
	only := c.onlys()
	for s := range c.sums {
		if c.coupled[s] {
			only[s][0] = c.sums[s].sound
		} else {
			clean *= c.sums[s].sound
		}
	}
	clean *= c.sumJoint(&c.j.exact, only, nil)
	return clean*c.cleanness(false, len(us) > 0) + max(p-clean, 0)*fault
}

// onlys gives, for each sensor, classes without weight, to put some in one of them.
func (c *calc) onlys() [][]float64 {
	j := &c.j
	if j.only == nil {
		n := 0
		for s := range c.sensors {
			n += len(c.sensors[s].classes)
		}
		j.one = make([]float64, n)
		at := 0
		for s := range c.sensors {
			n := at + len(c.sensors[s].classes)
			j.only = append(j.only, j.one[at:n])
			at = n
		}
	}
	clear(j.one)
	clear(j.of) // they change where they are
	return j.only
}
