package diag

import (
	"cmp"
	"encoding/binary"
	"math"
	"math/bits"
	"slices"

	"crosscount/diag/model"
	"crosscount/diag/say"
)

// Engine is the version of the reasoning and of its model, stored with a verdict.
var Engine = "crosscount-engine 1, trade model " + model.Trade().Version

// Decide weighs a case. The same case always gives the same decision, whatever
// the order of its entries. The error is Problems, for a case that Check refuses.
func Decide(c Case) (Decision, error) {
	if err := c.Check().err(); err != nil {
		return Decision{}, err
	}
	return trade().decide(c, nil), nil
}

// decision is the working state of one Decide.
type decision struct {
	c          *calc
	b          *belief
	hyps       []hyp
	lik        [][]float64 // explanation, finding
	without    [][]float64 // finding, explanation: its weight were the finding not known
	withoutAll []float64   // finding: those together
	said       []say.Text  // finding: in words
	pr         *prospect
	direct     []bool
	from       []int // canonical entry: its place in the case as given
	costs      Costs
}

// weigh reckons with a case and lays it out for planning.
func (e *engine) weigh(c Case, out []Exclusion) *decision {
	d := e.believe(c, out)
	d.trace()
	d.plan()
	return d
}

// believe reckons with a case.
func (e *engine) believe(c Case, out []Exclusion) *decision {
	c, from := canonicalOrder(c)
	w := newWorld(e, c.Vehicle)
	d := &decision{c: newCalc(w.collect(c.Evidence)), from: from, costs: c.Costs}
	d.c.out, d.c.took, d.c.at = out, c.Costs.TestMinutes, c.Ready
	d.b = d.c.infer()
	d.hyps = d.b.unfold()
	return d
}

// trace finds what each finding makes of each explanation.
func (d *decision) trace() {
	n := len(d.c.ev.findings)
	all := make([]float64, n*len(d.hyps))
	d.lik = make([][]float64, len(d.hyps))
	for i := range d.hyps {
		d.lik[i] = all[i*n : (i+1)*n : (i+1)*n]
		d.c.likelihoods(&d.hyps[i], d.lik[i])
	}
	d.setApart()
}

// plan lays the job out for planning.
func (d *decision) plan() {
	for s := range d.c.w.sens {
		d.direct = append(d.direct, d.directEvidence(s))
	}
	d.pr = d.c.newProspect(d.b, d.hyps, d.costs)
	d.pr.state(d.direct, d.missingFor)
}

func (e *engine) decide(c Case, without []Exclusion) Decision {
	d := e.believe(c, without)
	out := Decision{Engine: Engine, LeftOut: d.b.leftOut}
	var moves []move
	atOnce(func() {
		d.plan()
		moves = d.pr.choose()
	}, func() {
		d.trace()
		out.Causes, out.Together = d.causes(), d.combinations()
		for _, n := range d.c.ev.unused {
			out.Notes = append(out.Notes, Note{d.given(n.Entries), n.Say})
		}
		out.Notes = append(out.Notes, d.beyondCell()...)
		out.Notes = append(out.Notes, d.contradictions()...)
	})
	out.Verdict, out.Next, out.Plan = d.judge(moves)
	out.Costs = d.costView(moves[0].total * d.pr.fair)
	return out
}

// given turns indices of canonical entries into those of the case as given.
func (d *decision) given(entries []int) []int {
	out := make([]int, 0, len(entries))
	for _, i := range entries {
		out = append(out, d.from[i])
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// causes lists the marginal probabilities, highest first.
func (d *decision) causes() []Cause {
	w := d.c.w
	var out []Cause
	add := func(p *place, x float64, is func(*hyp) bool) {
		if x < 5e-4 {
			return
		}
		c := Cause{CauseRef: p.ref, P: min(x, 1)}
		c.Reasons = d.reasons(is)
		c.Why = d.why(p, c.P, c.Reasons)
		out = append(out, c)
	}
	for p := range w.places {
		add(&w.places[p], d.b.marg[p], func(h *hyp) bool { return w.has(h.us, p) })
	}
	for s := range w.sens {
		for p := range w.sens[s].places {
			add(&w.sens[s].places[p], d.b.smarg[s][p], func(h *hyp) bool { return w.hasAt(h, s, p) })
		}
	}
	slices.SortStableFunc(out, func(a, b Cause) int { return cmp.Compare(b.P, a.P) })
	return out
}

func (w *world) hasAt(h *hyp, s, place int) bool {
	for _, u := range w.sens[s].states[h.st[s]].units {
		if w.sens[s].units[u].place == place {
			return true
		}
	}
	return false
}

// combinations lists whole explanations, highest first. The empty one says that
// nothing is wrong.
func (d *decision) combinations() []Combination {
	w := d.c.w
	type whole struct {
		h *hyp // the first with these causes
		p float64
	}
	var all []whole
	index := map[string]int{}
	var key []byte
	for i := range d.hyps {
		h := &d.hyps[i]
		key = key[:0]
		for _, u := range h.us {
			key = binary.LittleEndian.AppendUint16(key, uint16(w.units[u].place))
		}
		for s := range w.sens {
			for _, u := range w.sens[s].states[h.st[s]].units {
				key = binary.LittleEndian.AppendUint16(key, uint16((s+1)<<10|w.sens[s].units[u].place))
			}
		}
		j, ok := index[string(key)]
		if !ok {
			j = len(all)
			index[string(key)] = j
			all = append(all, whole{h: h})
		}
		all[j].p += math.Exp(h.lw - d.b.logZ)
	}
	var out []Combination
	for _, a := range heaviest(all, 12, func(a *whole) float64 { return a.p }) {
		refs := []CauseRef{}
		for _, u := range a.h.us {
			refs = append(refs, w.places[w.units[u].place].ref)
		}
		for s := range w.sens {
			for _, u := range w.sens[s].states[a.h.st[s]].units {
				refs = append(refs, w.sens[s].places[w.sens[s].units[u].place].ref)
			}
		}
		slices.SortFunc(refs, func(a, b CauseRef) int {
			return cmp.Or(cmp.Compare(a.Cause, b.Cause), cmp.Compare(a.Bank, b.Bank), cmp.Compare(a.Position, b.Position))
		})
		out = append(out, Combination{Causes: refs, P: a.p})
	}
	return out
}

// directEvidence tells whether what was measured and seen on the sensor and its
// circuit, codes apart, speaks for a cause that a new sensor mends and that is likely:
// all of it together does, and it or one finding of it does so three to one or more.
func (d *decision) directEvidence(s int) bool {
	c := d.c
	var list, codes []*sensorFinding
	for _, l := range [][]sensorFinding{c.sensors[s].fixed, c.sensors[s].touched} {
		for i := range l {
			if l[i].f.kind == fSensorCode {
				codes = append(codes, &l[i])
			} else {
				list = append(list, &l[i])
			}
		}
	}
	sw := &c.w.sens[s]
	for p := range sw.places {
		if !sw.places[p].k.Part || d.b.smarg[s][p] < 0.1 || len(list) == 0 {
			continue
		}
		all := c.partRatio(s, p, codes, list)
		best := all
		for i := range list {
			best = max(best, c.partRatio(s, p, codes, list[i:i+1]))
		}
		if all > 1 && best > 3 {
			return true
		}
	}
	return false
}

// partRatio is the likelihood ratio of findings at a sensor for one cause against all
// states of it that want no new part, these as likely as the codes leave them: a heater
// that draws no current speaks for its element no more than for its feed. Soot, which goes
// with the old sensor, is left to the probabilities.
func (c *calc) partRatio(s, place int, codes, list []*sensorFinding) float64 {
	sw := &c.w.sens[s]
	var with, without, pw, po float64
	for st := range sw.states {
		lg, prior, part, it, soot := 0.0, 1.0, false, false, false
		for _, u := range sw.states[st].units {
			p := sw.units[u].place
			prior *= sw.units[u].chance * sw.places[p].prior / (1 - sw.places[p].prior)
			part = part || sw.places[p].k.Part
			soot = soot || sw.places[p].k.WithPart
			it = it || p == place
		}
		if (part || soot) && !it {
			continue
		}
		for _, f := range codes {
			prior *= f.likelihood(sw.states[st].units, nil)
		}
		for _, f := range list {
			lg += math.Log(f.likelihood(sw.states[st].units, nil))
		}
		x := prior * math.Exp(max(lg, -600))
		if it {
			with, pw = with+x, pw+prior
		} else {
			without, po = without+x, po+prior
		}
	}
	if pw == 0 || without == 0 {
		return 0
	}
	return with / pw / (without / po)
}

// missingFor names the test that a verdict on a bank's converter still wants, so that
// what imitates a worn one is ruled out: an exhaust leak, misfire, a slow front sensor.
func (d *decision) missingFor(bank int) string {
	c, w := d.c, d.c.w
	looked := func(id string, b int) bool { return c.looked(w.test[id], -1, b) }
	switch {
	case !looked("exhaust_leak_test", bank):
		return "exhaust_leak_test"
	case !looked("misfire_counts", bank) && d.chance("misfire", bank) > 0.02:
		return "misfire_counts"
	case d.chance("sensor_aged", bank) > 0.05 && !c.known(w.front[bank-1], "signal.crossings_hz"):
		return "signal_capture"
	case !looked("rear_activity", bank) && w.rear[bank-1] >= 0 && !c.known(w.rear[bank-1], "rear.crossings_hz") && !c.known(-1, "gas.hc_ppm"):
		return "rear_activity"
	}
	return ""
}

// chance is the marginal probability of a cause at a bank (its front sensor for a
// sensor's cause).
func (d *decision) chance(id string, bank int) float64 {
	w := d.c.w
	for p := range w.places {
		if w.places[p].k.ID == id && w.places[p].bank == bank {
			return d.b.marg[p]
		}
	}
	s := w.front[bank-1]
	for p := range w.sens[s].places {
		if w.sens[s].places[p].k.ID == id {
			return d.b.smarg[s][p]
		}
	}
	return 0
}

// maskP is the probability of the fault sets for which a condition holds.
func (pr *prospect) maskP(is func(mask uint64) bool) float64 {
	sum, total := 0.0, 0.0
	for i := range pr.sets {
		total += pr.sets[i].p
		if is(pr.sets[i].mask) {
			sum += pr.sets[i].p
		}
	}
	return sum / total
}

// present is the probability that some fault a piece of work mends is there.
func (pr *prospect) present(m int) float64 {
	var bit uint64
	for _, f := range pr.mends[m].faults {
		bit |= 1 << f
	}
	return pr.maskP(func(mask uint64) bool { return mask&bit != 0 })
}

// The probabilities of a fault at which its mending can be a verdict: of a sensor that
// is to be renewed, and of other work, which is cheaper to try than to go on asking
// when nothing that is left tells more than it costs.
const (
	sureEnough   = 0.6
	likelyEnough = 0.3
)

// hopeful is the probability that nothing is wrong below which no proof drive is asked
// for to see whether it passes: of 0, 0.1 and 0.3 the cheapest on 3,000 simulated jobs.
const hopeful = 0.1

// soundEnough is the probability that nothing is wrong at which that is the verdict;
// below it the proof drive comes first, as a test. The verdict too is proved by a drive,
// and one that passes makes 0.94 of 0.7. With 0.85 instead 5,000 simulated jobs cost two
// in a thousand more, with 0.6 no less.
const soundEnough = 0.7

// judge turns the first step into verdict and next test; follow is the plan behind
// the test.
func (d *decision) judge(moves []move) (v Verdict, next *NextTest, follow []PlanStep) {
	pr := d.pr
	v = Verdict{Decision: DecideOpen, Mend: []CauseRef{}, Parts: []Part{}, First: []CauseRef{}}
	defer d.clear(&v)
	follow = []PlanStep{}
	m, ok := d.first(moves)
	switch {
	case ok && m.ask >= 0:
		next = d.nextTest(m.ask, m.total)
		follow = d.follow(pr.belief(), m.ask)
		v.Why = d.whyOpen(next)
	case ok && m.work != 0:
		work := workList(m.work)
		d.concludeWork(&v, work)
		d.finish(&v, work)
	case ok:
		v.Decision = DecideNoPart
		v.Why = d.whyNothing(d.healthy())
		d.finish(&v, nil)
	case d.unproven():
		v.Why = say.T("Most likely: %s. But nothing that was found at that sensor itself calls for a new one, and no test of it is left that could. Repeat the one there that is easiest to repeat, or ask the owner to decide.", say.And(d.leaders(sureEnough, 1)))
	default:
		v.Why = say.T("No test that is left would tell more than it costs, and no cause is likely enough to mend. Look for what the model does not know, or ask the owner to decide.")
	}
	return v, next, follow
}

// unproven tells whether the likeliest cause is one that a new sensor would mend, surely
// enough, had anything been found at the sensor itself that calls for it.
func (d *decision) unproven() bool {
	if len(d.pr.faults) == 0 || d.pr.faults[0].p < sureEnough { // the likeliest comes first
		return false
	}
	by := d.pr.faults[0].by
	return d.pr.mends[by].sensor >= 0 && d.pr.barred[by]
}

// healthy is the probability that nothing is wrong.
func (d *decision) healthy() float64 {
	return d.pr.maskP(func(mask uint64) bool { return mask == 0 })
}

// first is the first of the moves that the rules of a verdict allow. A test that is
// expected to save less than going on at all costs is not asked for where a verdict is
// at hand. Where nothing may be wrong but it is not sure enough, the proof drive comes
// first, as a test.
func (d *decision) first(moves []move) (move, bool) {
	healthy := d.healthy()
	proved := d.c.proof != nil || excluded(d.c.out, "road_proof", 0, 0)
	verdict := func(m move) bool {
		if m.work != 0 {
			return d.ripe(m.work)
		}
		return healthy >= soundEnough || proved && healthy >= sureEnough
	}
	for _, m := range moves {
		if m.ask < 0 && m.total <= moves[0].total+d.pr.compass.base && verdict(m) {
			return m, true
		}
	}
	for _, m := range moves {
		switch {
		case m.ask >= 0, verdict(m):
			return m, true
		case m.work == 0 && !proved && healthy >= hopeful:
			return move{ask: d.pr.proof, total: m.total}, true
		}
	}
	return move{}, false
}

// ripe tells whether every fault the work mends is likely enough for a verdict.
func (d *decision) ripe(work uint64) bool {
	for _, m := range workList(work) {
		least := likelyEnough
		if d.pr.mends[m].sensor >= 0 {
			least = sureEnough
		}
		if d.pr.present(m) < least {
			return false
		}
	}
	return true
}

func workList(work uint64) []int {
	var out []int
	for m := work; m != 0; m &= m - 1 {
		out = append(out, bits.TrailingZeros64(m))
	}
	return out
}

// belief is the probability of each set of faults that has one; those that only work
// leads to come after them.
func (pr *prospect) belief() []float64 {
	out := make([]float64, 0, len(pr.sets))
	total := 0.0
	for i := range pr.sets {
		total += pr.sets[i].p
	}
	for i := range pr.sets {
		if pr.sets[i].p > 0 {
			out = append(out, pr.sets[i].p/total)
		}
	}
	return out
}

// follow is what comes after each answer of a question, two questions deep.
func (d *decision) follow(belief []float64, q int) []PlanStep {
	c := d.pr.compass
	steps := make([]*PlanStep, len(c.p[q]))
	one, other := c.scouts()
	sideBySide(len(steps), one, other, func(s *scout, a int) {
		steps[a] = d.step(s, belief, q, a, d.pr.start(), 2)
	})
	return listed(steps)
}

// listed are the steps that are likely enough to show, the likeliest first.
func listed(steps []*PlanStep) []PlanStep {
	out := []PlanStep{}
	for _, s := range steps {
		if s != nil {
			out = append(out, *s)
		}
	}
	slices.SortStableFunc(out, func(a, b PlanStep) int { return cmp.Compare(b.P, a.P) })
	return out
}

// step is what comes after one answer of a question; nil where it is too rare to show.
func (d *decision) step(s *scout, belief []float64, q, a int, at moment, depth int) *PlanStep {
	pr := d.pr
	_, then := s.cost(q, at)
	b, mass := make([]float64, len(belief)), 0.0
	for i, x := range belief {
		b[i] = x * s.p[q][a][i]
		mass += b[i]
	}
	if mass < 1e-3 {
		return nil
	}
	for i := range b {
		b[i] /= mass
	}
	step := &PlanStep{P: mass}
	if q == pr.proof {
		step.Outcome = [2]string{"passed", "failed"}[a]
	} else {
		step.Outcome, step.Say, step.Bank = pr.asked[q][a].id, pr.asked[q][a].say, pr.asked[q][a].bank
	}
	m := s.best(b, then)
	if m.ask >= 0 {
		step.Next = d.nextTest(m.ask, m.total)
		if depth > 1 {
			steps := make([]*PlanStep, len(s.p[m.ask]))
			for k := range steps {
				steps[k] = d.step(s, b, m.ask, k, then, depth-1)
			}
			step.Then = listed(steps)
		}
		return step
	}
	v := &Verdict{Mend: []CauseRef{}, Parts: []Part{}, First: []CauseRef{}, Decision: DecideNoPart}
	work := workList(m.work)
	if v.Firm = d.healthyIn(b); len(work) > 0 {
		d.concludeWork(v, work)
		v.Firm, v.Why = d.beliefIn(b, work), say.Text{}
	} else if v.Firm < sureEnough {
		v.Decision = DecideOpen
	}
	step.Verdict = v
	return step
}

// finish adds to a closed verdict how firm it is, what would overturn it and what
// to tell the customer.
func (d *decision) finish(v *Verdict, work []int) {
	f := d.firmness(work)
	v.Firm, v.FirmHalf, v.FirmTwo, v.HangsOn = f.one, f.half, f.two, f.hangsOn
	v.Change = d.changes(work)
	v.Customer = d.customer(v)
	for _, m := range work {
		if s := d.pr.mends[m].sensor; s >= 0 && d.upkeep(s) {
			v.Upkeep = true
		}
	}
}

// clear names the sensors that are only messengers.
func (d *decision) clear(v *Verdict) {
	for _, s := range d.cleared() {
		sw := &d.c.w.sens[s]
		v.Cleared = append(v.Cleared, Part{sw.Bank, sw.Position, sw.Kind})
	}
}

// concludeWork makes a verdict of work to be done.
func (d *decision) concludeWork(v *Verdict, work []int) {
	pr, w := d.pr, d.c.w
	v.Decision = DecideNoPart
	for _, m := range work {
		md := &pr.mends[m]
		if md.sensor >= 0 {
			sw := &w.sens[md.sensor]
			v.Decision = DecidePart
			v.Parts = append(v.Parts, Part{sw.Bank, sw.Position, sw.Kind})
			continue
		}
		v.Mend = append(v.Mend, md.ref)
	}
	// What makes the damage comes first.
	var made []CauseRef
	makers := d.makers(work)
	v.Mend = slices.DeleteFunc(v.Mend, func(r CauseRef) bool {
		maker := slices.ContainsFunc(makers, func(f *fault) bool { return f.place.ref == r })
		if !maker {
			made = append(made, r)
		}
		return !maker
	})
	v.Mend = append(v.Mend, made...)
	if v.Decision == DecidePart {
		d.mendFirst(v, work)
	}
	v.Why = d.whyWork(v, work)
}

// makerCertain and makerPossible are the probabilities of a maker of the damage from
// which it is mended in any case, and from which it is spoken of. To mend it from 0.3 or
// 0.5 on cost 0.3 % more on 3,000 simulated jobs: planning asks for it where it pays.
const (
	makerCertain  = 0.8
	makerPossible = 0.3
)

// makers are the likely faults that make what the work mends.
func (d *decision) makers(work []int) []*fault {
	pr := d.pr
	var out []*fault
	for f := range pr.faults {
		made := func(g int) bool { return pr.faults[g].p > 0.1 && pr.faults[g].makers>>f&1 == 1 }
		if pr.faults[f].p >= makerPossible && slices.ContainsFunc(work, func(m int) bool { return slices.ContainsFunc(pr.mends[m].faults, made) }) {
			out = append(out, &pr.faults[f])
		}
	}
	return out
}

// mendFirst moves what makes the damage ahead of the part.
func (d *decision) mendFirst(v *Verdict, work []int) {
	for _, f := range d.makers(work) {
		if f.p >= makerCertain {
			v.First = append(v.First, f.place.ref)
		}
	}
	for _, r := range v.Mend {
		if !slices.Contains(v.First, r) {
			v.First = append(v.First, r)
		}
	}
}

func (d *decision) nextTest(q int, total float64) *NextTest {
	pr, w := d.pr, d.c.w
	qu := &question{test: w.test["road_proof"], sensor: -1}
	if q != pr.proof {
		qu = &pr.questions[q]
	}
	mt := &w.m.Tests[qu.test]
	n := &NextTest{Test: mt.ID, Minutes: qu.minutes, ExpectedTotal: round2(total * d.pr.fair), Cautions: slices.Clone(mt.Cautions), Bank: qu.bank}
	if n.Cautions == nil {
		n.Cautions = []string{}
	}
	if q == pr.proof {
		n.Why = say.T("As it stands nothing may be wrong. Clear the code and see whether it comes back.")
		return n
	}
	if qu.sensor >= 0 {
		n.Bank, n.Position = w.sens[qu.sensor].Bank, w.sens[qu.sensor].Position
	}
	n.Why = d.whyAsk(q)
	return n
}

// beliefIn is the probability, in a plan, that some fault of the work is there.
func (d *decision) beliefIn(belief []float64, work []int) float64 {
	var bit uint64
	for _, m := range work {
		for _, f := range d.pr.mends[m].faults {
			bit |= 1 << f
		}
	}
	sum := 0.0
	for i, p := range belief {
		if d.pr.sets[i].mask&bit != 0 {
			sum += p
		}
	}
	return sum
}

func (d *decision) healthyIn(belief []float64) float64 {
	sum := 0.0
	for i, p := range belief {
		if d.pr.sets[i].mask == 0 {
			sum += p
		}
	}
	return sum
}

// costView compares the plan with knowing the cause and with taking the codes at
// their word.
func (d *decision) costView(expected float64) CostView {
	pr, w := d.pr, d.c.w
	proof := pr.money(w.proof, 0)
	known, word := 0.0, 0.0
	total := 0.0
	taken, price := d.takenAtTheirWord()
	for i := range pr.sets {
		s := &pr.sets[i]
		if s.p == 0 {
			continue
		}
		total += s.p
		cost, left := proof, false
		for m, done := s.mask, map[int]bool{}; m != 0; m &= m - 1 {
			f := &pr.faults[bits.TrailingZeros64(m)]
			if !done[f.by] {
				done[f.by] = true
				cost += pr.mends[f.by].cost
			}
			key := f.place.ref
			if f.sensor >= 0 && f.place.k.Part {
				key.Cause = "sensor"
			}
			if !slices.Contains(taken, key) || pr.faults[bits.TrailingZeros64(m)].makers&s.mask != 0 {
				left = true
			}
		}
		known += s.p * cost
		word += s.p * price
		if left {
			// It comes back, and then the work of finding out is due after all.
			word += s.p * (pr.money(w.comeback, 0) + expected)
		}
	}
	return CostView{Expected: round2(expected), CodeTakenAtItsWord: round2(word / total), CauseKnown: round2(known / total),
		AtLeast: round2(pr.atLeast), AtMost: round2(pr.atMost)}
}

// takenAtTheirWord lists what would be done on the codes alone, and its price: a
// code that names a sensor, and a lean or rich code, cost a sensor; a converter code
// a converter; others what they are about.
func (d *decision) takenAtTheirWord() ([]CauseRef, float64) {
	pr, w := d.pr, d.c.w
	var out []CauseRef
	price := 0.0
	fit := func(s int) {
		r := CauseRef{"sensor", w.sens[s].Bank, w.sens[s].Position}
		if !slices.Contains(out, r) {
			out = append(out, r)
			k := &w.m.Causes[w.cause["sensor_aged"]]
			price += pr.money(k.Minutes, k.Price)
		}
	}
	mend := func(id string, bank int) {
		r := CauseRef{Cause: id, Bank: bank}
		if !slices.Contains(out, r) {
			out = append(out, r)
			k := &w.m.Causes[w.cause[id]]
			price += pr.money(k.Minutes, k.Price)
		}
	}
	for i := range d.c.ev.findings {
		f := &d.c.ev.findings[i]
		if f.kind == fSensorCode {
			fit(f.sensor)
			continue
		}
		if f.kind != fCode {
			continue
		}
		switch id := w.m.Codes[f.code].ID; id {
		case "mixture:lean", "mixture:rich", "post_catalyst:lean", "post_catalyst:rich":
			fit(w.front[max(f.bank, 0)])
		case "catalyst":
			mend("catalyst_worn", max(f.bank, 0)+1)
		case "misfire":
			mend("misfire", 1)
		case "airflow_meter":
			mend("maf_reads_low", 0)
		case "coolant_temp", "thermostat":
			mend("coolant_temp_reads_cold", 0)
		case "evap_purge":
			mend("purge_stuck_open", 0)
		case "egr":
			mend("egr_stuck_open", 0)
		}
	}
	return out, price + pr.money(w.proof, 0)
}

func round2(x float64) float64 { return math.Round(x*100) / 100 }
