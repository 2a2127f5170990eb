package plan

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
	"sync"
)

// Kind says what a Step does.
type Kind uint8

// The kinds of step.
const (
	Finish Kind = iota // end with Stops[Index]
	Ask                // put Questions[Index]
	Do                 // take Actions[Index]
)

// Step is one thing to do.
type Step struct {
	Kind  Kind
	Index int
}

// Options bound the search. The zero value is usable.
type Options struct {
	// Budget is how much work the search may do, counted in hypotheses touched;
	// about 80 million a second on the machine it was measured on. Zero is
	// DefaultBudget. The same budget always gives the same answer.
	Budget int
	// Gap is the difference between the bounds, relative to the total, at which
	// the search stops early. Zero is 1e-9.
	Gap float64
	// Depth is how many steps of the plan to return. Zero returns none.
	Depth int
}

// DefaultBudget is about 15 milliseconds, and up to 40 MiB where states are valued
// one by one.
const DefaultBudget = 1_000_000

// Result is what Solve found.
type Result struct {
	Best   Step
	Total  float64  // expected total of the plan found: a policy that exists
	Lower  float64  // no policy has a lower expected total
	Exact  bool     // Total and Lower agree within the gap asked for
	Steps  []Choice // the first steps looked at, best first; Steps[0] is Best
	Plan   *Tree    // nil if no depth was asked for
	Work   int      // budget used
	States int      // belief states looked at or valued
}

// Choice is a possible first step with the bounds on the expected total of
// taking it and going on as well as known.
type Choice struct {
	Step
	Total float64 // +Inf if the step was ruled out before a plan was made for it
	Lower float64
}

// Tree is a plan: what to do and what then.
type Tree struct {
	Step
	P      float64   // probability of getting here, given the plan's start
	Total  float64   // expected cost from here on, once here
	Belief []float64 // probability of each hypothesis, once here
	// Then has, after Ask, one tree per outcome (nil if the outcome cannot
	// happen); after Do, one tree; after Finish, none. It is empty where the
	// depth asked for ends.
	Then []*Tree
}

// Solve finds the best first step. It fails only on a Problem that does not
// validate.
func Solve(p *Problem, o Options) (Result, error) {
	s := solvers.Get().(*Solver)
	defer solvers.Put(s)
	return s.Solve(p, o)
}

// solvers have memory that is used again.
var solvers = sync.Pool{New: func() any { return new(Solver) }}

// Solver is Solve with memory that is used again. Not for concurrent use.
type Solver struct {
	m       model
	nodes   []node
	choices []choice
	kids    []int32
	idx     []int32
	w       []float64
	table   []int32
	clair   map[state]int // offset into clairV
	clairV  []float64
	clairU  []float64
	lastKey state
	lastOff int
	work    int

	dense   []float64 // scratch, always left zero
	list    []int32
	cand    []candidate
	path    []int32
	walker  walker
	lattice lattice
	glow    []float64 // mass each bundle would clear
	warm    []int32
	tune    tuning
}

// node is a state together with a belief: w[off:off+size] over the hypotheses
// idx[off:off+size], unnormalised.
type node struct {
	state
	off, size int32
	from, num int32 // choices; num < 0: not opened
	made      int32 // of them, made
	visits    int32
	best      int32 // choice behind hi, or one of those below
	at        seat
	fresh     bool // bounds carried up since the search ended
	lo, hi    float64
	stop      float64 // of stopping here
	mass      float64
}

const (
	bestWalk    = -1
	bestStop    = -2
	bestLattice = -3 // by the lattice
)

type choice struct {
	kind   Kind
	made   bool
	index  int16
	from   int32 // kids
	num    int32
	visits int32
	cost   float64 // already weighted
	lo, hi float64
}

type candidate struct {
	kind  Kind
	index int
	lo    float64
	rank  float64 // less is better
}

// tuning is how the search spends its budget. It bears on speed, never on
// whether the bounds hold.
type tuning struct {
	decay     float64 // visits after which a choice is judged half by its plan
	rootDecay float64 // the same at the root
	spread    float64 // how soon the search leaves one outcome for another
	widen     int     // choices made when a state is opened
	perStep   int     // further visits per further choice
	exact     int     // every so manyth round follows the lower bound alone
}

var defaultTuning = tuning{decay: 0.3, rootDecay: 0.3, spread: 0.7, widen: 6, perStep: 2, exact: 4}

// Solve is like the function of the same name.
func (s *Solver) Solve(p *Problem, o Options) (Result, error) {
	if err := p.Validate(); err != nil {
		return Result{}, err
	}
	if o.Budget <= 0 {
		o.Budget = DefaultBudget
	}
	if o.Gap <= 0 {
		o.Gap = 1e-9
	}
	s.reset(p)
	m := &s.m
	for h, w := range m.prior {
		if w > 0 {
			s.idx = append(s.idx, int32(h))
			s.w = append(s.w, w)
		}
	}
	root := s.node(state{open: p.Open}, 0, 0)
	s.chart(root, o.Budget)
	s.search(root, o)
	return s.result(root, o), nil
}

func (s *Solver) reset(p *Problem) {
	s.m.compile(p)
	s.nodes, s.choices, s.kids = s.nodes[:0], s.choices[:0], s.kids[:0]
	s.idx, s.w = s.idx[:0], s.w[:0]
	if len(s.table) == 0 {
		s.table = make([]int32, 1<<12)
	}
	clear(s.table)
	if s.clair == nil {
		s.clair = map[state]int{}
	}
	clear(s.clair)
	s.clairV = s.clairV[:0]
	s.lastOff = -1
	s.work = 0
	s.clairU = zeroed(s.clairU, s.m.n)
	s.dense = zeroed(s.dense, s.m.n)
	s.walker.reset(&s.m)
	s.glow, s.warm = zeroed(s.glow, len(s.m.bundles)), s.warm[:0]
	if s.tune == (tuning{}) {
		s.tune = defaultTuning
	}
}

// search looks ahead until the bounds meet or the budget is spent. Each round
// goes down from the root to a state that was not opened yet, opens it, and
// carries the bounds up. Most rounds go where a better plan is likely; some go
// where the lower bound is, so that in the end the bounds must meet.
func (s *Solver) search(root int32, o Options) {
	for round := 1; ; round++ {
		r := &s.nodes[root]
		if r.hi-r.lo <= o.Gap*max(math.Abs(r.hi), 1e-12) || s.work >= o.Budget {
			return
		}
		strict := round%s.tune.exact == 0
		s.path = s.path[:0]
		for at := root; at >= 0; {
			s.path = append(s.path, at)
			if s.nodes[at].num < 0 {
				s.expand(at)
				break
			}
			at = s.descend(at, strict)
		}
		s.work += len(s.path)
		for i := len(s.path) - 1; i >= 0; i-- {
			s.backup(s.path[i])
		}
	}
}

// descend picks the child to look into, or -1 if this state is settled or a
// choice was made here.
func (s *Solver) descend(at int32, strict bool) int32 {
	s.backup(at)
	nd := &s.nodes[at]
	if nd.hi <= nd.lo {
		return -1
	}
	nd.visits++
	if !strict && nd.made < nd.num && int(nd.visits) >= s.tune.perStep*(int(nd.made)-s.tune.widen+1) {
		for c := nd.from; c < nd.from+nd.num; c++ {
			if ch := &s.choices[c]; !ch.made && ch.lo < nd.hi {
				s.make(at, c)
				return -1
			}
		}
	}
	decay := s.tune.decay
	if len(s.path) == 1 {
		decay = s.tune.rootDecay
	}
	pick, top := int32(-1), 0.0
	for c := nd.from; c < nd.from+nd.num; c++ {
		ch := &s.choices[c]
		if ch.lo >= nd.hi || ch.made && ch.hi <= ch.lo {
			continue
		}
		e := ch.lo
		if !strict {
			if !ch.made {
				continue
			}
			v := float64(ch.visits)
			e += v / (v + decay) * (ch.hi - ch.lo)
		}
		if pick < 0 || e < top {
			pick, top = c, e
		}
	}
	if pick < 0 {
		return -1
	}
	ch := &s.choices[pick]
	if !ch.made {
		s.make(at, pick)
		return -1
	}
	ch.visits++
	next, gap := int32(-1), 0.0
	for _, k := range s.kids[ch.from : ch.from+ch.num] {
		kid := &s.nodes[k]
		g := kid.hi - kid.lo
		if !strict && g > 0 {
			g /= math.Pow(1+float64(kid.visits), s.tune.spread)
		}
		if g > gap {
			next, gap = k, g
		}
	}
	return next
}

// backup takes a state's bounds from its choices.
func (s *Solver) backup(at int32) {
	nd := &s.nodes[at]
	if nd.num < 0 || nd.hi <= nd.lo {
		return
	}
	lo := nd.stop
	for c := nd.from; c < nd.from+nd.num; c++ {
		ch := &s.choices[c]
		if ch.made && ch.lo < nd.hi {
			s.sum(ch)
		}
		lo = min(lo, ch.lo)
		if ch.hi < nd.hi {
			nd.hi, nd.best = ch.hi, c
		}
	}
	nd.lo = min(max(nd.lo, lo), nd.hi)
}

// sum takes a choice's bounds from its children.
func (s *Solver) sum(ch *choice) {
	var l, h float64
	for _, k := range s.kids[ch.from : ch.from+ch.num] {
		l += s.nodes[k].lo
		h += s.nodes[k].hi
	}
	ch.hi = min(ch.hi, ch.cost+h)
	ch.lo = min(max(ch.lo, ch.cost+l), ch.hi)
}

// node finds or makes the state whose belief is the tail of s.idx and s.w from
// off on. If it was known already the tail is dropped.
func (s *Solver) node(st state, off int, place seat) int32 {
	nd := node{state: st, off: int32(off), num: -1}
	idx, w := s.idx[off:], s.w[off:]
	nd.size = int32(len(idx))
	key := hash(st, idx, w)
	if 2*len(s.nodes) >= len(s.table) {
		s.grow()
	}
	slot := key & uint64(len(s.table)-1)
	for ; s.table[slot] != 0; slot = (slot + 1) & uint64(len(s.table)-1) {
		k := s.table[slot] - 1
		if old := &s.nodes[k]; old.state == st && s.sameBelief(old, idx, w) {
			s.idx, s.w = s.idx[:off], s.w[:off]
			s.sit(old, place)
			return k
		}
	}
	at := int32(len(s.nodes))
	s.table[slot] = at + 1
	v := s.value(st)
	clear(s.walker.pass)
	for i, h := range idx {
		nd.mass += w[i]
		nd.lo += w[i] * v[h]
		addTimes(s.walker.pass, w[i], s.m.loss[h])
	}
	nd.stop = s.m.least(st, s.walker.pass, nd.mass)
	s.work += 2 * len(idx)
	nd.hi, nd.best = nd.stop, bestStop
	if nd.hi > nd.lo {
		if b, _ := s.walk(st, idx, w); b < nd.hi {
			nd.hi, nd.best = b, bestWalk
		}
	}
	s.sit(&nd, place)
	nd.lo = min(nd.lo, nd.hi)
	s.nodes = append(s.nodes, nd)
	return at
}

// value is the clairvoyant's cost per hypothesis.
func (s *Solver) value(st state) []float64 {
	key := state{done: st.done, open: st.open}
	if s.m.needy != 0 {
		key.ever = st.ever
		key.asked = st.asked & s.m.needy
	}
	n := s.m.n
	if s.lastOff >= 0 && key == s.lastKey {
		return s.clairV[s.lastOff : s.lastOff+n]
	}
	off, ok := s.clair[key]
	if !ok {
		off = len(s.clairV)
		s.clairV = slices.Grow(s.clairV, n)[:off+n]
		s.m.clairvoyant(st, s.clairV[off:off+n], s.clairU)
		s.clair[key] = off
		s.work += 2 * n
	}
	s.lastKey, s.lastOff = key, off
	return s.clairV[off : off+n]
}

// round drops the last bits, so that the same belief reached in another order
// has the same hash.
func round(x float64) uint64 { return (math.Float64bits(x) + 1<<19) >> 20 }

func hash(st state, idx []int32, w []float64) uint64 {
	const k = 0x9e3779b97f4a7c15
	h := st.asked*k ^ bits.RotateLeft64(st.done*k, 21) ^ bits.RotateLeft64(st.ever*k, 42) ^ uint64(st.open)
	for i, x := range w {
		h = (bits.RotateLeft64(h, 5) ^ round(x) ^ uint64(idx[i])<<50) * k
	}
	return h ^ h>>29
}

func (s *Solver) grow() {
	s.table = make([]int32, 4*len(s.table))
	for i := range s.nodes {
		nd := &s.nodes[i]
		idx, w := s.belief(nd)
		slot := hash(nd.state, idx, w) & uint64(len(s.table)-1)
		for s.table[slot] != 0 {
			slot = (slot + 1) & uint64(len(s.table)-1)
		}
		s.table[slot] = int32(i) + 1
	}
}

func (s *Solver) belief(nd *node) ([]int32, []float64) {
	return s.idx[nd.off : nd.off+nd.size], s.w[nd.off : nd.off+nd.size]
}

func (s *Solver) sameBelief(nd *node, idx []int32, w []float64) bool {
	if int(nd.size) != len(idx) {
		return false
	}
	jdx, x := s.belief(nd)
	for i, h := range jdx {
		if h != idx[i] || math.Abs(x[i]-w[i]) > 1e-9*w[i] {
			return false
		}
	}
	return true
}

// informative reports whether the answer to q can tell the hypotheses apart.
func (m *model) informative(idx []int32, q int) bool {
	for _, row := range m.lik[q] {
		x := row[idx[0]]
		for _, h := range idx[1:] {
			if math.Abs(row[h]-x) > 1e-12 {
				return true
			}
		}
	}
	return false
}

// forced is a question that is asked at once, or -1.
func (m *model) forced(st state, idx []int32) int {
	for left := m.free &^ st.asked; left != 0; left &= left - 1 {
		q := bits.TrailingZeros64(left)
		if m.p.Questions[q].Setup&^st.open == 0 && (m.needy>>q&1 == 1 || m.p.Questions[q].Leaves&^st.open != 0 || m.informative(idx, q)) {
			return q
		}
	}
	return -1
}

// expand lists what can be done in a state and makes the most promising of it.
func (s *Solver) expand(at int32) {
	nd := s.nodes[at]
	m := &s.m
	st := nd.state
	idx, w := s.belief(&nd)
	cand := s.cand[:0]
	if q := m.forced(st, idx); q >= 0 {
		cand = append(cand, candidate{Ask, q, nd.lo, 0})
	} else {
		for q := range m.p.Questions {
			if st.asked>>q&1 == 1 {
				continue
			}
			lo := nd.lo
			if then := m.afterAsk(st, q); then.open != st.open || then.ever != st.ever {
				lo = dot(idx, w, s.value(then))
				s.work += len(idx)
			}
			price := nd.mass * m.askCost(st, q)
			if lo += price; lo < nd.hi && (m.needy>>q&1 == 1 || m.p.Questions[q].Leaves&^st.open != 0 || m.informative(idx, q)) {
				cand = append(cand, candidate{Ask, q, lo, s.guess(&nd, q) + price})
			}
		}
		s.load(&nd)
		for a := range m.p.Actions {
			if !m.allowed(st, a) {
				continue
			}
			price := nd.mass * m.doCost(st, a)
			after, moved := s.after(&nd, a)
			if lo := price + after; lo < nd.hi && moved > 0 {
				// Without the action's effect on the rest: what is moved is saved.
				cand = append(cand, candidate{Do, a, lo, price + nd.hi*(1-moved/nd.mass)})
			}
		}
		s.unload(&nd)
	}
	slices.SortStableFunc(cand, func(a, b candidate) int { return cmp.Compare(a.rank, b.rank) })
	s.cand = cand
	nd.from = int32(len(s.choices))
	nd.num = int32(len(cand))
	for _, c := range cand {
		s.choices = append(s.choices, choice{kind: c.kind, index: int16(c.index), lo: c.lo, hi: math.Inf(1)})
	}
	s.nodes[at].from, s.nodes[at].num = nd.from, nd.num
	hi := nd.hi
	for i := range min(nd.num, int32(s.tune.widen)) {
		c := nd.from + i
		if s.choices[c].lo < hi {
			s.make(at, c)
			hi = min(hi, s.choices[c].hi)
		}
	}
}

// guess says roughly what is left to pay after question q, to rank questions
// before any is looked into: for each answer, stopping, or the one bundle that
// pays best and then the average.
func (s *Solver) guess(nd *node, q int) float64 {
	m, k := &s.m, &s.walker
	idx, w := s.belief(nd)
	average := nd.hi / nd.mass
	var sum float64
	for _, row := range m.lik[q] {
		clear(k.pass)
		for _, b := range s.warm {
			s.glow[b] = 0
		}
		s.warm = s.warm[:0]
		var mass float64
		for i, h := range idx {
			x := w[i] * row[h]
			if x == 0 {
				continue
			}
			mass += x
			addTimes(k.pass, x, m.loss[h])
			for _, sh := range m.byHyp[h] {
				if s.glow[sh.bundle] == 0 {
					s.warm = append(s.warm, sh.bundle)
				}
				s.glow[sh.bundle] += x * sh.p
			}
		}
		best := min(m.least(m.afterAsk(nd.state, q), k.pass, mass), mass*average)
		for _, b := range s.warm {
			bu := &m.bundles[b]
			if bu.mask&^nd.done == 0 {
				continue
			}
			best = min(best, mass*(bu.cost+m.proofCost)+(mass-s.glow[b])*average)
		}
		sum += best
		s.work += len(idx)
	}
	return sum
}

// addTimes adds x times a row to sums.
func addTimes(sums []float64, x float64, row []float64) {
	row = row[:len(sums)]
	for i, v := range row {
		sums[i] += x * v
	}
}

func dot(idx []int32, w, v []float64) float64 {
	var sum float64
	for i, h := range idx {
		sum += w[i] * v[h]
	}
	return sum
}

func (s *Solver) load(nd *node) {
	idx, w := s.belief(nd)
	for i, h := range idx {
		s.dense[h] = w[i]
	}
}

func (s *Solver) unload(nd *node) {
	idx, _ := s.belief(nd)
	for _, h := range idx {
		s.dense[h] = 0
	}
}

// after is a figure that cannot be beaten after action a, weighted, and the
// weight of what the action changes. The belief is loaded.
func (s *Solver) after(nd *node, a int) (sum, moved float64) {
	then := s.m.afterDo(nd.state, a)
	then.done = nd.done // what is done already only costs more
	v := s.value(then)
	idx, w := s.belief(nd)
	sum = dot(idx, w, v)
	moves := s.m.moves[a]
	for i := range moves {
		mv := &moves[i]
		x := s.dense[mv.from]
		if x == 0 {
			continue
		}
		moved += x * (1 - mv.stay)
		sum -= x * (1 - mv.stay) * v[mv.from]
		for _, t := range mv.to {
			sum += x * t.p * v[t.to]
		}
	}
	s.work += len(idx)/4 + len(moves)
	return sum, moved
}

// make builds the children of a choice.
func (s *Solver) make(at int32, c int32) {
	nd := s.nodes[at]
	m := &s.m
	ch := s.choices[c]
	ch.made = true
	ch.from = int32(len(s.kids))
	off := len(s.idx)
	if ch.kind == Ask {
		q := int(ch.index)
		ch.cost = nd.mass * m.askCost(nd.state, q)
		s.answers(m.afterAsk(nd.state, q), q, int(nd.off), int(nd.off+nd.size), nd.at)
	} else {
		a := int(ch.index)
		ch.cost = nd.mass * m.doCost(nd.state, a)
		s.move(&nd, a)
		s.settle(m.afterDo(nd.state, a), off, s.lattice.did(nd.at, a), true)
	}
	ch.num = int32(len(s.kids)) - ch.from
	s.sum(&ch)
	s.choices[c] = ch
	s.nodes[at].made++
}

// answers makes a child for each answer to q that can come from the belief at
// s.idx[from:to].
func (s *Solver) answers(st state, q, from, to int, at seat) {
	for o, row := range s.m.lik[q] {
		off := len(s.idx)
		for i := from; i < to; i++ {
			h := s.idx[i]
			if x := s.w[i] * row[h]; x > 0 {
				s.idx = append(s.idx, h)
				s.w = append(s.w, x)
			}
		}
		s.work += (to - from) / 2
		if len(s.idx) > off {
			s.settle(st, off, s.lattice.told(at, q, o), false)
		}
	}
}

// settle makes a child of the belief at the tail of s.idx, or if there is a
// question to be asked at once, one of each of its answers.
func (s *Solver) settle(st state, off int, at seat, acted bool) {
	if q := s.m.forced(st, s.idx[off:]); q >= 0 {
		s.answers(s.m.afterAsk(st, q), q, off, len(s.idx), at)
		return
	}
	if acted { // and it cannot fail
		at = 0
	}
	s.kids = append(s.kids, s.node(st, off, at))
}

// move appends the belief after action a.
func (s *Solver) move(nd *node, a int) {
	s.load(nd)
	idx, w := s.belief(nd)
	list := append(s.list[:0], idx...)
	moves := s.m.moves[a]
	for i := range moves {
		if s.dense[moves[i].from] == 0 {
			continue
		}
		for _, t := range moves[i].to {
			if k, ok := slices.BinarySearch(list, t.to); !ok {
				list = slices.Insert(list, k, t.to)
			}
		}
	}
	for i, h := range idx { // dense becomes the new belief, w keeps the old one
		s.dense[h] = w[i]
	}
	for i := range moves {
		s.dense[moves[i].from] *= moves[i].stay
	}
	k := 0
	for i := range moves {
		for k < len(idx) && idx[k] < moves[i].from {
			k++
		}
		if k == len(idx) {
			break
		}
		if idx[k] == moves[i].from {
			for _, t := range moves[i].to {
				s.dense[t.to] += w[k] * t.p
			}
		}
	}
	for _, h := range list {
		if x := s.dense[h]; x > 0 {
			s.idx = append(s.idx, h)
			s.w = append(s.w, x)
		}
		s.dense[h] = 0
	}
	s.work += len(list)
	s.list = list
}
