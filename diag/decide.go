package diag

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"crosscount/diag/model"
	"crosscount/diag/plan"
)

// Engine is the version of the reasoning and of its model, stored with a verdict.
var Engine = "crosscount-engine 1, trade model " + model.Trade().Version

// Decide weighs a case. The same case always gives the same decision, whatever
// the order of its entries. The error is Problems, for a case that Check refuses.
func Decide(c Case) (Decision, error) {
	if err := c.Check().err(); err != nil {
		return Decision{}, err
	}
	return trade().decide(c, nil)
}

// decision is the working state of one Decide.
type decision struct {
	c      *calc
	b      *belief
	hyps   []hyp
	lik    [][]float64 // explanation, finding
	pr     *prospect
	direct []bool
	from   []int // canonical entry: its place in the case as given
	costs  Costs
}

// weigh reckons with a case and plans, written down to a depth.
func (e *engine) weigh(c Case, depth int, out []Exclusion) (*decision, plan.Result, error) {
	c, from := canonicalOrder(c)
	w := newWorld(e, c.Vehicle)
	d := &decision{c: newCalc(w.collect(c.Evidence)), from: from, costs: c.Costs}
	d.c.out = out
	d.b = d.c.infer()
	d.hyps = d.b.unfold()
	d.lik = make([][]float64, len(d.hyps))
	for i := range d.hyps {
		d.lik[i] = make([]float64, len(d.c.ev.findings))
		d.c.likelihoods(&d.hyps[i], d.lik[i])
	}
	for s := range w.sens {
		d.direct = append(d.direct, d.c.directEvidence(s))
	}
	d.pr = d.c.newProspect(d.b, d.hyps, c.Costs)
	d.pr.state(d.direct, d.excluded)
	res, err := plan.Solve(&d.pr.problem, plan.Options{Budget: planBudget, Depth: depth})
	return d, res, err
}

func (e *engine) decide(c Case, without []Exclusion) (Decision, error) {
	d, res, err := e.weigh(c, 3, without)
	if err != nil {
		return Decision{}, err
	}
	out := Decision{Engine: Engine, LeftOut: d.b.leftOut, Causes: d.causes(), Together: d.combinations(), Plan: []PlanStep{}}
	out.Verdict, out.Next = d.judge(res)
	if out.Next != nil {
		out.Plan = d.steps(res.Plan)
	}
	out.Costs = d.costView(res.Total)
	for _, n := range d.c.ev.unused {
		out.Notes = append(out.Notes, Note{d.given(n.Entries), n.Say})
	}
	out.Notes = append(out.Notes, d.contradictions()...)
	return out, nil
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
	var out []Combination
	index := map[string]int{}
	for i := range d.hyps {
		h := &d.hyps[i]
		refs := []CauseRef{}
		for _, u := range h.us {
			refs = append(refs, w.places[w.units[u].place].ref)
		}
		for s := range w.sens {
			for _, u := range w.sens[s].states[h.st[s]].units {
				refs = append(refs, w.sens[s].places[w.sens[s].units[u].place].ref)
			}
		}
		slices.SortFunc(refs, func(a, b CauseRef) int {
			return cmp.Or(cmp.Compare(a.Cause, b.Cause), cmp.Compare(a.Bank, b.Bank), cmp.Compare(a.Position, b.Position))
		})
		key := ""
		for _, r := range refs {
			key += r.name() + "|"
		}
		j, ok := index[key]
		if !ok {
			j = len(out)
			index[key] = j
			out = append(out, Combination{Causes: refs})
		}
		out[j].P += math.Exp(h.lw - d.b.logZ)
	}
	slices.SortStableFunc(out, func(a, b Combination) int { return cmp.Compare(b.P, a.P) })
	return out[:min(len(out), 12)]
}

// directEvidence tells whether what was measured and seen on the sensor and its
// circuit, codes apart, speaks for a cause that a new sensor mends: three to one or
// more against the other states of the sensor.
func (c *calc) directEvidence(s int) bool {
	w := c.w
	sw := &w.sens[s]
	sc := &c.sensors[s]
	var list []*sensorFinding
	for _, l := range [][]sensorFinding{sc.fixed, sc.touched} {
		for i := range l {
			if l[i].f.kind != fSensorCode {
				list = append(list, &l[i])
			}
		}
	}
	if len(list) == 0 {
		return false
	}
	var with, without, pw, po float64
	for st := range sw.states {
		lg, prior, part := 0.0, 1.0, false
		for _, u := range sw.states[st].units {
			p := sw.units[u].place
			prior *= sw.units[u].chance * sc.prior[p] / (1 - sc.prior[p])
			part = part || sw.places[p].k.Part
		}
		for _, f := range list {
			lg += math.Log(f.likelihood(sw.states[st].units, nil))
		}
		x := prior * math.Exp(max(lg, -600))
		if part {
			with, pw = with+x, pw+prior
		} else {
			without, po = without+x, po+prior
		}
	}
	return pw > 0 && with/pw > 3*without/po
}

// excluded tells whether what imitates a worn converter has been ruled out at a
// bank: an exhaust leak, misfire, and a slow front sensor.
func (d *decision) excluded(bank int) bool {
	return d.missingFor(bank) == ""
}

// missingFor names the test that a verdict on a bank's converter still wants.
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

// sureEnough is the probability of a fault at which its mending is a verdict; below
// it, and as long as there is something left to ask, the verdict stays open.
const sureEnough = 0.6

// judge turns the planner's first step into verdict and next test.
func (d *decision) judge(res plan.Result) (Verdict, *NextTest) {
	pr := d.pr
	v := Verdict{Decision: DecideOpen, Mend: []CauseRef{}, Parts: []Part{}, First: []CauseRef{}}
	best := res.Best
	healthy := pr.maskP(func(mask uint64) bool { return mask == 0 })
	ask := func() (plan.Choice, bool) {
		for _, s := range res.Steps {
			if s.Kind == plan.Ask && s.Index != pr.proof && !math.IsInf(s.Total, 1) {
				return s, true
			}
		}
		return plan.Choice{}, false
	}
	total := res.Total
	switch {
	case best.Kind == plan.Do && pr.present(pr.actionOf[best.Index]) < sureEnough:
		if s, ok := ask(); ok {
			best, total = s.Step, s.Total
		}
	case best.Kind != plan.Do && !(best.Kind == plan.Ask && best.Index != pr.proof) && healthy < sureEnough:
		if s, ok := ask(); ok {
			best, total = s.Step, s.Total
		}
	}
	switch {
	case best.Kind == plan.Ask && best.Index != pr.proof:
		n := d.nextTest(best.Index, total)
		v.Why = d.whyOpen(n)
		d.clear(&v)
		return v, n
	case best.Kind == plan.Do:
		work := d.firstWork(res, best)
		d.concludeWork(&v, work)
		d.finish(&v, work)
	case healthy >= sureEnough:
		v.Decision = DecideNoPart
		v.Why = d.whyNothing(healthy)
		d.finish(&v, nil)
	default:
		v.Why = "No test that is left would tell more than it costs, and no cause is likely enough to mend. Look for what the model does not know, or ask the owner to decide."
	}
	d.clear(&v)
	return v, nil
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

// firstWork lists the work that the plan begins with, up to its first question.
func (d *decision) firstWork(res plan.Result, best plan.Step) []int {
	var out []int
	if res.Best == best {
		for t := res.Plan; t != nil && t.Kind == plan.Do; {
			out = append(out, d.pr.actionOf[t.Index])
			if len(t.Then) == 0 {
				break
			}
			t = t.Then[0]
		}
	}
	if len(out) == 0 {
		out = []int{d.pr.actionOf[best.Index]}
	}
	return out
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
	if v.Decision == DecidePart {
		d.mendFirst(v, work)
	}
	v.Why = d.whyWork(v, work)
}

// mendFirst moves what makes the damage ahead of the part.
func (d *decision) mendFirst(v *Verdict, work []int) {
	pr := d.pr
	for f := range pr.faults {
		ft := &pr.faults[f]
		maker := false
		for _, m := range work {
			for _, g := range pr.mends[m].faults {
				if pr.mends[m].sensor >= 0 && pr.faults[g].p > 0.1 && pr.makers(g)>>f&1 == 1 {
					maker = true
				}
			}
		}
		if maker && ft.p >= 0.3 && !slices.Contains(v.First, ft.place.ref) {
			v.First = append(v.First, ft.place.ref)
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
	qu := &pr.questions[q]
	mt := &w.m.Tests[qu.test]
	n := &NextTest{Test: mt.ID, Minutes: mt.Minutes, ExpectedTotal: round2(total), Cautions: slices.Clone(mt.Cautions), Bank: qu.bank}
	if n.Cautions == nil {
		n.Cautions = []string{}
	}
	if qu.sensor >= 0 {
		n.Bank, n.Position = w.sens[qu.sensor].Bank, w.sens[qu.sensor].Position
	}
	n.Why = d.whyAsk(q)
	return n
}

// steps turns the plan behind a question into what follows each answer.
func (d *decision) steps(t *plan.Tree) []PlanStep {
	pr := d.pr
	out := []PlanStep{}
	if t == nil || t.Kind != plan.Ask {
		return out
	}
	for i, sub := range t.Then {
		if sub == nil || sub.P < 1e-4 {
			continue
		}
		s := PlanStep{P: sub.P / t.P}
		if t.Index == pr.proof {
			s.Outcome = [2]string{"passed", "failed"}[i]
		} else {
			s.Outcome, s.Say = pr.asked[t.Index][i].id, pr.asked[t.Index][i].say
			s.Bank = pr.asked[t.Index][i].bank
		}
		switch {
		case sub.Kind == plan.Ask && sub.Index != pr.proof:
			s.Next = d.nextTest(sub.Index, sub.Total)
			s.Next.Why = ""
			s.Then = d.steps(sub)
		case sub.Kind == plan.Do:
			var work []int
			for x := sub; x != nil && x.Kind == plan.Do; {
				work = append(work, pr.actionOf[x.Index])
				if len(x.Then) == 0 {
					break
				}
				x = x.Then[0]
			}
			v := &Verdict{Mend: []CauseRef{}, Parts: []Part{}, First: []CauseRef{}}
			d.concludeWork(v, work)
			v.Firm, v.Why = d.beliefIn(sub.Belief, work), ""
			s.Verdict = v
		default:
			s.Verdict = &Verdict{Decision: DecideOpen, Mend: []CauseRef{}, Parts: []Part{}, First: []CauseRef{}}
			if s.Verdict.Firm = d.healthyIn(sub.Belief); s.Verdict.Firm >= sureEnough {
				s.Verdict.Decision = DecideNoPart
			}
		}
		out = append(out, s)
	}
	slices.SortStableFunc(out, func(a, b PlanStep) int { return cmp.Compare(b.P, a.P) })
	return out
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
			if !slices.Contains(taken, key) || pr.makers(bits.TrailingZeros64(m))&s.mask != 0 {
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
	return CostView{Expected: round2(expected), CodeTakenAtItsWord: round2(word / total), CauseKnown: round2(known / total)}
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
