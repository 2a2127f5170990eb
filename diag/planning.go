package diag

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"crosscount/diag/model"
	"crosscount/diag/plan"
	"crosscount/diag/say"
)

// prospect is the job as a problem of the planner: sets of faults, what could be
// asked, what could be mended, and what handing the car back would cost.
type prospect struct {
	c         *calc
	rate      float64 // price of a minute
	faults    []fault
	sets      []faultSet
	questions []question
	asked     [][]answer // answers after merging the rare ones
	mends     []mend
	problem   plan.Problem
	local     []placed // its set-ups
	works     []uint64 // stop of the problem: the work it ends with, bit i for mends[i]
	proof     int      // index of the proof among the questions
	need      [][]int
	barred    []bool
	compass   *compass
	atLeast   float64 // no plan costs less
	atMost    float64 // a plan is known that costs this
	fair      float64 // brings estimates of totals between the two
	exact     bool    // and no plan costs less
}

// fault is something to mend, at its place.
type fault struct {
	place  *place
	sensor int // -1: context
	index  int // place within the context or the sensor
	p      float64
	set    float64 // chance that it is there and has set one of the stored codes
	shows  float64 // chance, if it is there, that it has, or that it shows on the proof
	by     int     // the mend that puts it right
	makers uint64  // the faults that make it
}

// faultSet is the explanations with the same faults.
type faultSet struct {
	mask uint64
	p    float64
	hyps []hyp // p: share within the set
}

// mend is a piece of work: on one cause, or a new sensor for all that ails it.
type mend struct {
	sensor int // fit a sensor here; -1: other work
	ref    CauseRef
	cost   float64 // with all its set-ups
	setup  uint32  // of the problem's set-ups
	faults []int   // that call for it
	ends   []int   // those, and what is gone with an old sensor
}

const (
	maxSets      = 48
	mostSets     = 128 // with those that mending leads to, of the likeliest
	maxQuestions = 14
	maxAnswers   = 16
)

// money gives what minutes and parts cost in this shop: prices of parts are stated
// for a reference labour rate and scaled with the shop's own.
func (pr *prospect) money(minutes, price float64) float64 {
	return pr.rate * (minutes + price/pr.c.w.reference*60)
}

func (c *calc) newProspect(b *belief, hyps []hyp, costs Costs) *prospect {
	w := c.w
	pr := &prospect{c: c, rate: costs.LabourPerHour / 60}
	// The faults, the likeliest first; a mask has room for 64.
	for p := range w.places {
		if !w.places[p].k.Nothing {
			pr.faults = append(pr.faults, fault{place: &w.places[p], sensor: -1, index: p})
		}
	}
	for s := range w.sens {
		for p := range w.sens[s].places {
			pr.faults = append(pr.faults, fault{place: &w.sens[s].places[p], sensor: s, index: p})
		}
	}
	ctx, sen := make([]int, len(w.places)), make([][]int, len(w.sens)) // -1: nothing to mend
	at := 0
	for p := range w.places {
		ctx[p] = -1
		if !w.places[p].k.Nothing {
			ctx[p] = at
			at++
		}
	}
	for s := range w.sens {
		sen[s] = make([]int, len(w.sens[s].places))
		for p := range sen[s] {
			sen[s][p] = at
			at++
		}
	}
	each := func(h *hyp, do func(f int, fx *effects, pl *place, sensor int)) {
		for _, u := range h.us {
			p := w.units[u].place
			do(ctx[p], w.units[u].fx, &w.places[p], -1)
		}
		for s := range w.sens {
			sw := &w.sens[s]
			for _, u := range sw.states[h.st[s]].units {
				p := sw.units[u].place
				do(sen[s][p], sw.units[u].fx, &sw.places[p], s)
			}
		}
	}
	pr.count(hyps, each)
	order := make([]int, len(pr.faults))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(pr.faults[j].p, pr.faults[i].p) })
	bit := make([]int, len(pr.faults))
	for i := range bit {
		bit[i] = -1
	}
	var kept []fault
	for _, f := range order {
		if pr.faults[f].p > 1e-4 && len(kept) < 40 && pr.concerned(&pr.faults[f]) {
			bit[f] = len(kept)
			kept = append(kept, pr.faults[f])
		}
	}
	pr.faults = kept
	for f := range kept {
		for g := range kept {
			if kept[g].sensor < 0 && slices.ContainsFunc(kept[f].place.parents, func(p parent) bool { return p.place == kept[g].index }) {
				kept[f].makers |= 1 << g
			}
		}
	}
	pr.blame()
	// The sets of faults.
	index := map[uint64]int{}
	for i := range hyps {
		mask := uint64(0)
		each(&hyps[i], func(f int, _ *effects, _ *place, _ int) {
			if f >= 0 && bit[f] >= 0 {
				mask |= 1 << bit[f]
			}
		})
		j, ok := index[mask]
		if !ok {
			j = len(pr.sets)
			index[mask] = j
			pr.sets = append(pr.sets, faultSet{mask: mask})
		}
		pr.sets[j].p += hyps[i].p
		pr.sets[j].hyps = append(pr.sets[j].hyps, hyps[i])
	}
	pr.sets = heaviest(pr.sets, maxSets, func(s *faultSet) float64 { return s.p })
	for i := range pr.sets {
		for j := range pr.sets[i].hyps {
			pr.sets[i].hyps[j].p /= pr.sets[i].p
		}
	}
	pr.listMends()
	pr.closeSets()
	return pr
}

// count finds how likely each fault is, and how likely it is there and has set one of the
// stored codes. each visits what an explanation has: the fault's number, -1 where there is
// nothing to mend, its effects, its place and its sensor.
func (pr *prospect) count(hyps []hyp, each func(h *hyp, do func(f int, fx *effects, pl *place, sensor int))) {
	c, w := pr.c, pr.c.w
	var codes []*finding
	for k := range c.ev.findings {
		if fd := &c.ev.findings[k]; fd.kind == fCode || fd.kind == fSensorCode {
			codes = append(codes, fd)
		}
	}
	var there []int // what the explanation has
	var sets, quiet []float64
	for i := range hyps {
		h := &hyps[i]
		there, quiet = there[:0], quiet[:0]
		each(h, func(f int, _ *effects, _ *place, _ int) {
			there, quiet = append(there, f), append(quiet, 1)
		})
		for _, fd := range codes {
			sets = sets[:0]
			miss := 1 - w.leak(fd)
			each(h, func(_ int, fx *effects, pl *place, sensor int) {
				x := w.asSeen(fd, w.setsCode(fd, fx, pl, sensor), pl)
				miss *= 1 - x
				sets = append(sets, x)
			})
			for k, x := range sets {
				quiet[k] *= 1 - x/(1-miss) // it is not what set this one
			}
		}
		for k, f := range there {
			if f >= 0 {
				pr.faults[f].p += h.p
				pr.faults[f].set += h.p * (1 - quiet[k])
			}
		}
	}
}

// concerned tells whether a fault may be what this job is about: it may well have set one
// of the codes, or what was found makes it much likelier than it is in any car of its age.
// Another may be there too, but nobody looks for it, and it does not fail the proof.
func (pr *prospect) concerned(f *fault) bool {
	much := raised
	if pr.c.judged { // the codes do not tell what is left
		much = raisedAlone
	}
	prior := f.place.prior
	return f.set > maySet || f.p/(1-f.p+1e-12) > much*prior/(1-prior)
}

// A fault is planned for from this chance to have set a code on, or when it is so many
// times likelier than in any car; fewer do where no code has brought the car in, or a proof
// drive has been made since. With chances of 0.001 and 0.004, or fivefold, 5,000 simulated
// jobs cost at most a tenth of a per cent more; by threefold alone, without the chance,
// 10,000 do.
const (
	maySet      = 0.002
	raised      = 10.0
	raisedAlone = 3.0
)

// blame finds, for each fault, the chance that it is what the job is about: that it set
// one of the stored codes, or that it would show on a proof drive by a code or by trims
// that are far off. Without a code whatever is there has brought the car in.
func (pr *prospect) blame() {
	c, w := pr.c, pr.c.w
	for f := range pr.faults {
		ft := &pr.faults[f]
		if ft.shows = 1; c.visit {
			continue
		}
		own := 0.0
		for v := range w.effects[ft.place.cause] {
			own = max(own, w.effects[ft.place.cause][v].shows(c.ev.listed["stored"]))
		}
		ft.shows = 1 - (1-own)*(1-ft.set/ft.p)
	}
}

// shows is the chance that a cause shows on a proof drive: by a code, or by trims that
// are far off. Where all codes were read it has had its chance to set one, and what it has
// not set until now it is not taken to set on that drive.
func (fx *effects) shows(read bool) float64 {
	quiet := 1.0
	if !read {
		for _, c := range fx.code {
			quiet *= 1 - c.p
		}
	}
	for _, t := range fx.trims {
		if math.Abs(t.mean) >= 8 {
			return 1 - quiet*0.3
		}
	}
	return 1 - quiet
}

// listMends lists the work that could be done. All that ails a sensor itself is
// mended by one new sensor.
func (pr *prospect) listMends() {
	for i := range pr.c.w.m.Setups {
		if pr.c.w.m.Setups[i].Scope == model.Engine {
			pr.local = append(pr.local, placed{i, -1})
		}
	}
	fit := map[int]int{}
	for f := range pr.faults {
		ft := &pr.faults[f]
		k := ft.place.k
		if ft.sensor >= 0 && k.Part {
			m, ok := fit[ft.sensor]
			if !ok {
				m = len(pr.mends)
				fit[ft.sensor] = m
				pr.mends = append(pr.mends, mend{sensor: ft.sensor, ref: ft.place.ref, cost: pr.money(k.Minutes, k.Price), setup: pr.fitting(k.Setups, ft.sensor)})
			}
			pr.mends[m].faults = append(pr.mends[m].faults, f)
			pr.mends[m].ends = append(pr.mends[m].ends, f)
			ft.by = m
			continue
		}
		ft.by = len(pr.mends)
		pr.mends = append(pr.mends, mend{-1, ft.place.ref, pr.money(k.Minutes, k.Price), pr.fitting(k.Setups, ft.sensor), []int{f}, []int{f}})
	}
	for f := range pr.faults {
		if ft := &pr.faults[f]; ft.place.k.WithPart {
			if m, ok := fit[ft.sensor]; ok {
				pr.mends[m].ends = append(pr.mends[m].ends, f)
			}
		}
	}
}

// closeSets adds, without weight, the sets that mending leads to.
func (pr *prospect) closeSets() {
	seen := map[uint64]bool{}
	for i := range pr.sets {
		seen[pr.sets[i].mask] = true
	}
	for i := 0; i < len(pr.sets) && len(pr.sets) < mostSets; i++ {
		s := pr.sets[i]
		done := map[int]bool{}
		for m := s.mask; m != 0; m &= m - 1 {
			by := pr.faults[bits.TrailingZeros64(m)].by
			if done[by] {
				continue
			}
			done[by] = true
			rest := s.mask
			for _, f := range pr.mends[by].ends {
				rest &^= 1 << f
			}
			// A new sensor that its maker kills leaves the fault it had.
			for _, sub := range pr.outcomesOf(s.mask, by, rest) {
				if !seen[sub] {
					seen[sub] = true
					h := pr.without(s.hyps[0], s.mask&^sub)
					h.p = 1
					pr.sets = append(pr.sets, faultSet{mask: sub, hyps: []hyp{h}})
				}
			}
		}
	}
}

// outcomesOf lists the sets one piece of work can lead to: any of its faults may
// come back where what makes it is left.
func (pr *prospect) outcomesOf(mask uint64, by int, rest uint64) []uint64 {
	out := []uint64{rest}
	for _, f := range pr.mends[by].ends {
		if mask>>f&1 == 1 && pr.faults[f].makers&rest != 0 {
			for _, o := range slices.Clone(out) {
				out = append(out, o|1<<f)
			}
		}
	}
	return out
}

// without takes faults out of an explanation.
func (pr *prospect) without(h hyp, gone uint64) hyp {
	w := pr.c.w
	us := slices.Clone(h.us)
	st := slices.Clone(h.st)
	for m := gone; m != 0; m &= m - 1 {
		f := &pr.faults[bits.TrailingZeros64(m)]
		if f.sensor < 0 {
			us = slices.DeleteFunc(us, func(u int16) bool { return w.units[u].place == f.index })
			continue
		}
		sw := &w.sens[f.sensor]
		var left []int
		for _, u := range sw.states[st[f.sensor]].units {
			if sw.units[u].place != f.index {
				left = append(left, u)
			}
		}
		st[f.sensor] = 0
		if len(left) == 1 {
			st[f.sensor] = int16(sw.single[left[0]])
		}
	}
	return hyp{us: us, st: st}
}

// answersOf gives, for each set of faults, the chance of each answer of a question.
func (pr *prospect) answersOf(q *question) [][]float64 {
	out := make([][]float64, len(q.answers))
	all := make([]float64, len(out)*len(pr.sets))
	for a := range out {
		out[a] = all[a*len(pr.sets):][:len(pr.sets)]
	}
	for i := range pr.sets {
		if pr.sets[i].p == 0 { // comes only after work, when nothing is asked any more
			out[0][i] = 1
			continue
		}
		for j := range pr.sets[i].hyps {
			h := &pr.sets[i].hyps[j]
			for a, p := range q.of(pr.c, h) {
				out[a][i] += h.p * p
			}
		}
	}
	return out
}

// state the problem for the planner.
func (pr *prospect) state(direct []bool, missing func(bank int) string) {
	c, w := pr.c, pr.c.w
	p := &pr.problem
	total := 0.0
	for i := range pr.sets {
		total += pr.sets[i].p
	}
	for i := range pr.sets {
		p.Hypotheses = append(p.Hypotheses, plan.Hypothesis{Faults: pr.sets[i].mask, P: pr.sets[i].p / total})
	}
	for _, l := range pr.local {
		s := w.m.Setups[l.setup]
		p.Setups = append(p.Setups, plan.Setup{ID: s.ID, Cost: pr.money(s.Minutes, 0)})
	}
	p.Open = pr.inPlace()
	// The questions that tell most for their price, and what no verdict can do without.
	wanted, belief := pr.wanted(direct, missing), pr.belief()
	type ranked struct {
		q     question
		p     [][]float64
		worth float64
	}
	var list []ranked
	questions := c.questions(pr.likely())
	told, tell := make([][][]float64, len(questions)), make([]float64, len(questions))
	sideBySide(len(questions), nil, nil, func(_ any, i int) {
		told[i] = pr.answersOf(&questions[i])
		tell[i] = information(belief, told[i])
	})
	for i, q := range questions {
		if tell[i] < 1e-3 && !wanted(&q) {
			continue
		}
		cost := pr.asking(pr.money(q.minutes, 0), pr.setups(w.m.Tests[q.test].Setups, q.sensor))
		list = append(list, ranked{q, told[i], tell[i] / cost})
	}
	slices.SortStableFunc(list, func(x, y ranked) int { return cmp.Compare(y.worth, x.worth) })
	cut := min(len(list), maxQuestions)
	kept := slices.Clone(list[:cut])
	for i := cut; i < len(list); i++ {
		if wanted(&list[i].q) {
			kept = append(kept, list[i])
		}
	}
	list = kept[:min(len(kept), plan.MaxQuestions-2)]
	for _, r := range list {
		mt := &w.m.Tests[r.q.test]
		q := plan.Question{ID: mt.ID, Cost: pr.money(r.q.minutes, 0)}
		q.Setup, q.Leaves, q.Ends = pr.setups(mt.Setups, r.q.sensor), pr.setups(mt.Leaves, r.q.sensor), pr.undoes(mt)
		answers, ps := pr.merge(r.q.answers, r.p)
		for i, a := range answers {
			q.Outcomes = append(q.Outcomes, plan.Outcome{ID: a.id, P: ps[i]})
		}
		p.Questions = append(p.Questions, q)
		pr.questions = append(pr.questions, r.q)
		pr.asked = append(pr.asked, answers)
	}
	pr.proof = len(p.Questions)
	p.Questions = append(p.Questions, pr.proofQuestion())
	for m := range pr.mends {
		md := &pr.mends[m]
		var need []int
		barred := false
		switch {
		case md.sensor >= 0 && !direct[md.sensor]:
			for i := range pr.questions {
				if q := &pr.questions[i]; q.sensor == md.sensor && q.direct(w) && pr.finds(q, md) {
					need = append(need, i)
				}
			}
			barred = len(need) == 0 // nothing to ask would open it
		case md.ref.Cause == "catalyst_worn" && missing(md.ref.Bank) != "":
			for i := range pr.questions {
				if pr.excludes(&pr.questions[i], md.ref.Bank, missing(md.ref.Bank)) {
					need = append(need, i)
				}
			}
			barred = len(need) == 0
		case pr.present(m) < certain && !pr.examined(md):
			// What no test has looked at is not mended on suspicion while one could.
			for i := range pr.questions {
				if pr.finds(&pr.questions[i], md) {
					need = append(need, i)
				}
			}
		}
		pr.need, pr.barred = append(pr.need, need), append(pr.barred, barred)
	}
	pr.compass = newCompass(pr, pr.need, pr.barred)
	pr.end()
}

// asking is what a question is reckoned to cost before it is known what else is asked:
// another that shares a set-up pays half of it.
func (pr *prospect) asking(cost float64, setup uint32) float64 {
	return cost + pr.setupCost(setup&^pr.problem.Open)/2
}

// likely is one explanation of each set of faults, the likeliest first.
func (pr *prospect) likely() []hyp {
	var out []hyp
	for i := range pr.sets {
		out = append(out, pr.sets[i].hyps[0])
	}
	return out
}

// inPlace tells which set-ups are in place: of the whole car what the case says or else
// what the tests made have left, of sensors the latter. In which order these were made is
// not known: what one of them needs and another undoes is not relied on.
func (pr *prospect) inPlace() uint32 {
	c, w := pr.c, pr.c.w
	var left, undone uint32
	for i := range c.ev.entries {
		e := &c.ev.entries[i]
		t, ok := w.test[e.TestDone()]
		if !ok || w.m.Tests[t].Proof || e.AfterRepair < c.ev.round {
			continue
		}
		s := -1
		if e.Position > 0 {
			s = w.sensorAt(e.Bank, e.Position)
		}
		mt := &w.m.Tests[t]
		left |= pr.setups(mt.Setups, s) | pr.setups(mt.Leaves, s)
		undone |= pr.undoes(mt)
	}
	left &^= undone
	if c.at != nil {
		for n, l := range pr.local {
			if l.sensor < 0 {
				left &^= 1 << n
			}
		}
		left |= pr.setups(c.at, -1)
	}
	return left
}

// placed is a set-up of the model where it is one of the problem: of the whole car, or at a
// sensor.
type placed struct{ setup, sensor int }

// fitting lists what work needs of the car, and makes set-ups at its sensor part of the
// problem.
func (pr *prospect) fitting(ids []string, sensor int) uint32 {
	for i := range pr.c.w.m.Setups {
		s := &pr.c.w.m.Setups[i]
		if l := (placed{i, sensor}); s.Scope == model.Sensor && slices.Contains(ids, s.ID) && !slices.Contains(pr.local, l) && len(pr.local) < plan.MaxSetups {
			pr.local = append(pr.local, l)
		}
	}
	return pr.setups(ids, sensor)
}

// setups gives set-ups of the model, for the whole car or at a sensor, as those of the
// problem.
func (pr *prospect) setups(ids []string, sensor int) uint32 {
	var out uint32
	for n, l := range pr.local {
		if (l.sensor < 0 || l.sensor == sensor) && slices.Contains(ids, pr.c.w.m.Setups[l.setup].ID) {
			out |= 1 << n
		}
	}
	return out
}

// undoes tells which set-ups a test undoes.
func (pr *prospect) undoes(t *model.Test) uint32 {
	out := pr.setups(t.Undoes, -1)
	for _, s := range t.Setups {
		out |= pr.setups(pr.c.w.m.SetupByID(s).Undoes, -1)
	}
	return out
}

// setupOf gives the set-ups of work; bare is the price of one piece of it without them.
func (pr *prospect) setupOf(work uint64) uint32 {
	var out uint32
	for m := work; m != 0; m &= m - 1 {
		out |= pr.mends[bits.TrailingZeros64(m)].setup
	}
	return out
}

func (pr *prospect) bare(m int) float64 {
	return pr.mends[m].cost - pr.setupCost(pr.mends[m].setup)
}

// setupCost is what set-ups cost.
func (pr *prospect) setupCost(m uint32) float64 {
	sum := 0.0
	for ; m != 0; m &= m - 1 {
		sum += pr.problem.Setups[bits.TrailingZeros32(m)].Cost
	}
	return sum
}

// end lists what the job can end with: a piece of work and its proof, and what follows
// where a fault is left: the proof shows it, and what is left is found and mended, or it
// comes back.
func (pr *prospect) end() {
	pr.endWith(0)
	for _, work := range pr.compass.works {
		if work != 0 {
			pr.endWith(work)
		}
	}
}

func (pr *prospect) endWith(work uint64) {
	c := pr.compass
	t := c.jobs[work]
	if t.barred {
		return
	}
	s := plan.Stop{Loss: t.least, Setup: t.setup}
	for _, m := range workList(work) {
		s.Needs = slices.Concat(s.Needs, c.need[m]) // one of them, which is less than is asked for
	}
	pr.works = append(pr.works, work)
	pr.problem.Stops = append(pr.problem.Stops, s)
}

// start is the moment at which the plan begins.
func (pr *prospect) start() moment { return moment{place: pr.problem.Open} }

// planBudget bounds the search for an exact plan, in what plan counts as work. More of it
// makes more jobs exact (100,000 a sixth of them, 1,000,000 a fifth), takes milliseconds
// and makes simulated jobs no cheaper.
const planBudget = 20_000

// closeEnough is how far the bounds of a plan may be apart, as a share of its cost, for
// it to count as exact.
const closeEnough = 0.002

// solve plans the job to its end as far as the budget goes.
func (pr *prospect) solve() plan.Result {
	p := pr.problem
	p.Questions = p.Questions[:pr.proof] // the proof comes with the work
	r, err := plan.Solve(&p, plan.Options{Budget: planBudget, Gap: closeEnough})
	if err != nil { // TestEveryPlanIsAProblem
		return plan.Result{Total: math.Inf(1)}
	}
	return r
}

// choose ranks what could be done, best first: by the exact plan where there is one, else
// by the compass.
func (pr *prospect) choose() []move {
	r := pr.solve()
	pr.atLeast, pr.atMost, pr.exact, pr.fair = r.Lower, r.Total, r.Exact, 1
	if !r.Exact {
		// Prices of doubt rank what could be done; all together they are too high, by a
		// seventh on simulated jobs, and a plan known to cost less says so.
		moves := pr.compass.choose(pr.belief(), pr.start())
		pr.fair = min(max(moves[0].total, pr.atLeast), pr.atMost) / moves[0].total
		return moves
	}
	var moves []move
	for _, s := range r.Steps {
		switch {
		case math.IsInf(s.Total, 1):
		case s.Kind == plan.Ask:
			moves = append(moves, move{s.Index, 0, s.Total})
		case pr.compass.jobs[pr.works[s.Index]].open(pr.start().asked):
			moves = append(moves, move{-1, pr.works[s.Index], s.Total})
		}
	}
	sortMoves(moves)
	return moves
}

// excludes tells whether a question is the test that a verdict on a bank's converter
// still wants.
func (pr *prospect) excludes(q *question, bank int, missing string) bool {
	return pr.c.w.m.Tests[q.test].ID == missing && (q.bank == 0 || q.bank == bank) &&
		(q.sensor < 0 || q.sensor == pr.c.w.front[bank-1])
}

// wanted tells which questions a verdict on a likely converter cannot do without, nor one
// on a likely sensor: however sure it is, a new one wants direct evidence.
func (pr *prospect) wanted(direct []bool, missing func(bank int) string) func(*question) bool {
	return func(q *question) bool {
		for f := range pr.faults {
			if ft := &pr.faults[f]; ft.place.k.Part && ft.p > 0.2 && q.sensor == ft.sensor && !direct[q.sensor] && q.direct(pr.c.w) &&
				pr.finds(q, &pr.mends[ft.by]) {
				return true
			}
			if r := pr.faults[f].place.ref; r.Cause == "catalyst_worn" && pr.faults[f].p > 0.2 {
				if m := missing(r.Bank); m != "" && pr.excludes(q, r.Bank, m) {
					return true
				}
			}
		}
		return false
	}
}

// certain is the probability at which a fault is mended although a test that would
// find it has not been made.
const certain = 0.93

// finds tells whether a test has an outcome, or a quantity that moves far, for one
// of the faults that a piece of work mends.
func (pr *prospect) finds(q *question, md *mend) bool {
	w := pr.c.w
	for _, f := range md.faults {
		ft := &pr.faults[f]
		if q.sensor >= 0 && q.sensor != ft.sensor || q.bank > 0 && ft.place.ref.Bank > 0 && q.bank != ft.place.ref.Bank {
			continue
		}
		for v := range w.effects[ft.place.cause] {
			fx := &w.effects[ft.place.cause][v]
			for _, c := range fx.find[q.test] {
				if c.p >= 0.5 {
					return true
				}
			}
			for _, id := range measures[w.m.Tests[q.test].ID] {
				k := w.quantity[id]
				if fx.show[k].has || fx.add[k].has && math.Abs(fx.add[k].mean) > w.m.Quantities[k].SD {
					return true
				}
			}
		}
	}
	return false
}

// examined tells whether a test that finds one of the faults has been made.
func (pr *prospect) examined(md *mend) bool {
	c, w := pr.c, pr.c.w
	for _, f := range md.faults {
		ft := &pr.faults[f]
		for v := range w.effects[ft.place.cause] {
			fx := &w.effects[ft.place.cause][v]
			for t := range w.m.Tests {
				mt := &w.m.Tests[t]
				s, bank := -1, ft.place.ref.Bank
				if mt.Scope == model.Sensor {
					s = ft.sensor
				}
				for _, o := range fx.find[t] {
					if o.p >= 0.5 && c.looked(t, s, bank) {
						return true
					}
				}
				for _, id := range measures[mt.ID] {
					q := w.quantity[id]
					if (fx.show[q].has || fx.add[q].has && math.Abs(fx.add[q].mean) > w.m.Quantities[q].SD) && c.known(s, id) {
						return true
					}
				}
			}
		}
	}
	return false
}

// measures names the quantities that a test yields.
var measures = map[string][]string{
	"signal_capture":    {"signal.max_v", "signal.crossings_hz", "signal.lean_rich_ms", "rear.mean_v"},
	"forced_rich":       {"rich.volts", "rich.ms"},
	"forced_lean":       {"lean.volts", "lean.ms"},
	"heater_resistance": {"heater.ohm"},
	"heater_supply":     {"heater.feed_v", "heater.ground_drop_v"},
	"fuel_pressure":     {"fuel.kpa"},
	"airflow_check":     {"airflow.ratio"},
}

// direct tells whether a test can be evidence for a part on the sensor itself.
func (q *question) direct(w *world) bool {
	switch w.m.Tests[q.test].ID {
	case "signal_capture", "forced_rich", "forced_lean", "heater_resistance", "tip_look", "swap_sensors":
		return true
	}
	return false
}

// information is how many bits an answer tells about the faults, on average.
func information(belief []float64, ps [][]float64) float64 {
	sum := 0.0
	for _, row := range ps {
		m := dot(belief, row)
		for i, p := range belief {
			if x := row[i]; x > 0 {
				sum += p * x * log2(x/m)
			}
		}
	}
	return sum
}

// merge puts the rarest answers together, so that a plan stays small.
func (pr *prospect) merge(answers []answer, ps [][]float64) ([]answer, [][]float64) {
	if len(answers) <= maxAnswers {
		return answers, ps
	}
	weight := make([]float64, len(answers))
	for a := range ps {
		for i := range pr.sets {
			weight[a] += pr.sets[i].p * ps[a][i]
		}
	}
	order := make([]int, len(answers))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(weight[j], weight[i]) })
	var out []answer
	var outP [][]float64
	rest := make([]float64, len(pr.sets))
	for n, a := range order {
		if n < maxAnswers-1 {
			out, outP = append(out, answers[a]), append(outP, ps[a])
			continue
		}
		for i, x := range ps[a] {
			rest[i] += x
		}
	}
	return append(out, answer{id: "other", say: say.T("something else")}), append(outP, rest)
}

func (pr *prospect) proofQuestion() plan.Question {
	w := pr.c.w
	passed, failed := make([]float64, len(pr.sets)), make([]float64, len(pr.sets))
	for i := range pr.sets {
		passed[i] = 0.95
		if pr.sets[i].mask != 0 {
			passed[i] = w.proofMiss
		}
		failed[i] = 1 - passed[i]
	}
	return plan.Question{ID: "road_proof", Cost: pr.money(w.proof, 0), Repeats: true,
		Outcomes: []plan.Outcome{{ID: "passed", P: passed}, {ID: "failed", P: failed}}}
}
