package plan

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
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
	// about 200 million a second on the machine it was measured on. Zero is
	// DefaultBudget. The same budget always gives the same answer.
	Budget int
	// Gap is the difference between the bounds, relative to the total, at which
	// the search stops early. Zero is 1e-9.
	Gap float64
	// Depth is how many steps of the plan to return. Zero returns none.
	Depth int
}

// DefaultBudget keeps the largest problem of the trade under five milliseconds.
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
	States int      // belief states looked at
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
	var s Solver
	return s.Solve(p, o)
}

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
	work    int

	dense []float64 // scratch, always left zero
	list  []int32
	score []float64
	cand  []candidate
	flow  []float64
	path  []int32
	walk  walker
}

type node struct {
	state
	off, size int32 // belief
	from, num int32 // choices; num < 0: not expanded
	best      int32 // choice behind hi; bestBase or bestStop
	lo, hi    float64
	mass      float64
	fresh     bool    // bounds carried up since the search ended
	stop      float64 // of stopping here
}

const (
	bestBase = -1
	bestStop = -2
)

type choice struct {
	kind   Kind
	made   bool
	index  int16
	from   int32 // kids
	num    int32
	cost   float64 // already weighted
	lo, hi float64
}

type candidate struct {
	kind  Kind
	index int
	lo    float64
}

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
	root := s.node(state{open: p.Open}, 0)
	s.search(root, o)
	return s.result(root, o), nil
}

func (s *Solver) reset(p *Problem) {
	s.m.compile(p)
	s.nodes, s.choices, s.kids = s.nodes[:0], s.choices[:0], s.kids[:0]
	s.idx, s.w = s.idx[:0], s.w[:0]
	if s.table == nil {
		s.table = make([]int32, 1<<10)
	}
	clear(s.table)
	s.clair = map[state]int{}
	s.clairV = s.clairV[:0]
	s.work = 0
	n := s.m.n
	s.clairU = slices.Grow(s.clairU[:0], n)[:n]
	s.dense = slices.Grow(s.dense[:0], n)[:n]
	clear(s.dense)
	s.score = slices.Grow(s.score[:0], len(s.m.bundles))[:len(s.m.bundles)]
	s.walk.reset(n)
}

// search looks ahead until the bounds meet or the budget is spent. Each round
// goes down from the root, along the choice that may be best and the outcome
// that is least certain, opens the state it comes to, and carries the bounds up.
func (s *Solver) search(root int32, o Options) {
	for round := 0; ; round++ {
		r := &s.nodes[root]
		if r.hi-r.lo <= o.Gap*math.Max(math.Abs(r.hi), 1e-12) || s.work >= o.Budget {
			return
		}
		s.path = s.path[:0]
		at := root
		for {
			s.path = append(s.path, at)
			if s.nodes[at].num < 0 {
				s.expand(at)
				break
			}
			next := s.descend(at)
			if next < 0 {
				break
			}
			at = next
		}
		for i := len(s.path) - 1; i >= 0; i-- {
			s.backup(s.path[i])
		}
	}
}

// descend picks the child to look into, or -1 if this state is settled.
func (s *Solver) descend(at int32) int32 {
	s.backup(at)
	nd := &s.nodes[at]
	if nd.hi <= nd.lo {
		return -1
	}
	pick := int32(-1)
	for c := nd.from; c < nd.from+nd.num; c++ {
		ch := &s.choices[c]
		if ch.lo < nd.hi && ch.hi > ch.lo && (pick < 0 || ch.lo < s.choices[pick].lo) {
			pick = c
		}
	}
	if pick < 0 {
		return -1
	}
	ch := &s.choices[pick]
	next, gap := int32(-1), 0.0
	for _, k := range s.kids[ch.from : ch.from+ch.num] {
		if g := s.nodes[k].hi - s.nodes[k].lo; g > gap {
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
		if ch.made {
			l, h := ch.cost, ch.cost
			for _, k := range s.kids[ch.from : ch.from+ch.num] {
				l += s.nodes[k].lo
				h += s.nodes[k].hi
			}
			ch.lo, ch.hi = math.Max(ch.lo, l), math.Min(ch.hi, h)
			ch.lo = math.Min(ch.lo, ch.hi)
		}
		lo = math.Min(lo, ch.lo)
		if ch.hi < nd.hi {
			nd.hi, nd.best = ch.hi, c
		}
	}
	nd.lo = math.Min(math.Max(nd.lo, lo), nd.hi)
}

// node finds or makes the state whose belief is the tail of s.idx and s.w from
// off on. If it was known already the tail is dropped.
func (s *Solver) node(st state, off int) int32 {
	idx, w := s.idx[off:], s.w[off:]
	s.work += len(idx)
	key := hash(st, idx, w)
	if 2*len(s.nodes) >= len(s.table) {
		s.grow()
	}
	slot := key & uint64(len(s.table)-1)
	for ; s.table[slot] != 0; slot = (slot + 1) & uint64(len(s.table)-1) {
		k := s.table[slot] - 1
		if nd := &s.nodes[k]; nd.state == st && s.sameBelief(nd, idx, w) {
			s.idx, s.w = s.idx[:off], s.w[:off]
			return k
		}
	}
	at := int32(len(s.nodes))
	s.table[slot] = at + 1
	nd := node{state: st, off: int32(off), size: int32(len(idx)), num: -1}
	v := s.value(st)
	for i, h := range idx {
		nd.mass += w[i]
		nd.lo += w[i] * v[h]
	}
	nd.stop = math.Inf(1)
	for _, sp := range s.m.p.Stops {
		var l float64
		for i, h := range idx {
			l += w[i] * sp.Loss[h]
		}
		nd.stop = math.Min(nd.stop, l)
	}
	nd.hi, nd.best = nd.stop, bestStop
	if nd.hi > nd.lo {
		if b := s.base(st, idx, w); b < nd.hi {
			nd.hi, nd.best = b, bestBase
		}
	}
	nd.lo = math.Min(nd.lo, nd.hi)
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
	off, ok := s.clair[key]
	if !ok {
		off = len(s.clairV)
		s.clairV = slices.Grow(s.clairV, s.m.n)[:off+s.m.n]
		s.m.clairvoyant(st, s.clairV[off:off+s.m.n], s.clairU)
		s.clair[key] = off
		s.work += s.m.n
	}
	return s.clairV[off : off+s.m.n]
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

func (s *Solver) rehash(nd *node) uint64 {
	return hash(nd.state, s.idx[nd.off:nd.off+nd.size], s.w[nd.off:nd.off+nd.size])
}

func (s *Solver) grow() {
	s.table = make([]int32, 2*len(s.table))
	for i := range s.nodes {
		slot := s.rehash(&s.nodes[i]) & uint64(len(s.table)-1)
		for s.table[slot] != 0 {
			slot = (slot + 1) & uint64(len(s.table)-1)
		}
		s.table[slot] = int32(i) + 1
	}
}

func (s *Solver) sameBelief(nd *node, idx []int32, w []float64) bool {
	if int(nd.size) != len(idx) {
		return false
	}
	for i, h := range s.idx[nd.off : nd.off+nd.size] {
		x := s.w[int(nd.off)+i]
		if h != idx[i] || math.Abs(x-w[i]) > 1e-9*w[i] {
			return false
		}
	}
	return true
}

// informative reports whether the answer to q can tell the hypotheses of nd
// apart.
func (s *Solver) informative(nd *node, q int) bool {
	n, lik := s.m.n, s.m.lik[q]
	idx := s.idx[nd.off : nd.off+nd.size]
	for o := range s.m.p.Questions[q].Outcomes {
		row := lik[o*n : o*n+n]
		x := row[idx[0]]
		for _, h := range idx[1:] {
			if math.Abs(row[h]-x) > 1e-12 {
				return true
			}
		}
	}
	return false
}

// effective reports whether action a can change a hypothesis of nd.
func (s *Solver) effective(idx []int32, a int) bool {
	for i := range s.m.moves[a] {
		if _, ok := slices.BinarySearch(idx, s.m.moves[a][i].from); ok {
			return true
		}
	}
	return false
}

// expand lists what can be done in a state, makes the children of every choice
// that may beat the best known plan, and leaves the rest out.
func (s *Solver) expand(at int32) {
	nd := s.nodes[at]
	m := &s.m
	st := nd.state
	cand := s.cand[:0]
	for left := m.free &^ st.asked; left != 0; left &= left - 1 {
		q := bits.TrailingZeros64(left)
		if m.p.Questions[q].Setup&^st.open == 0 && (s.informative(&nd, q) || m.needy>>q&1 == 1) {
			cand = append(cand, candidate{Ask, q, nd.lo})
			break
		}
	}
	if len(cand) == 0 {
		for q := range m.p.Questions {
			if st.asked>>q&1 == 1 {
				continue
			}
			lo := nd.lo
			if then := m.afterAsk(st, q); then.open != st.open || then.ever != st.ever {
				lo = s.dot(&nd, s.value(then))
			}
			lo += nd.mass * m.askCost(st, q)
			if lo < nd.hi && (s.informative(&nd, q) || m.needy>>q&1 == 1) {
				cand = append(cand, candidate{Ask, q, lo})
			}
		}
		for a := range m.p.Actions {
			if !m.allowed(st, a) {
				continue
			}
			lo := nd.mass*m.doCost(st, a) + s.after(&nd, a)
			if lo < nd.hi && s.effective(s.idx[nd.off:nd.off+nd.size], a) {
				cand = append(cand, candidate{Do, a, lo})
			}
		}
	}
	slices.SortStableFunc(cand, func(a, b candidate) int { return cmp.Compare(a.lo, b.lo) })
	s.cand = cand
	nd.from = int32(len(s.choices))
	s.nodes[at].from, s.nodes[at].num = nd.from, 0
	hi := nd.hi
	first := len(s.choices)
	for _, c := range cand {
		s.choices = append(s.choices, choice{kind: c.kind, index: int16(c.index), lo: c.lo, hi: math.Inf(1)})
	}
	for i := first; i < len(s.choices); i++ {
		if s.choices[i].lo >= hi {
			break
		}
		s.make(at, i)
		hi = math.Min(hi, s.choices[i].hi)
	}
	s.nodes[at].num = int32(len(s.choices) - first)
}

// after is the clairvoyant's cost after action a, weighted.
func (s *Solver) after(nd *node, a int) float64 {
	v := s.value(s.m.afterDo(nd.state, a))
	var sum float64
	s.load(nd)
	idx := s.idx[nd.off : nd.off+nd.size]
	for _, h := range idx {
		sum += s.dense[h] * v[h]
	}
	for i := range s.m.moves[a] {
		mv := &s.m.moves[a][i]
		w := s.dense[mv.from]
		if w == 0 {
			continue
		}
		sum -= (1 - mv.stay) * w * v[mv.from]
		for _, t := range mv.to {
			sum += w * t.p * v[t.to]
		}
	}
	s.unload(nd)
	s.work += len(idx)
	return sum
}

func (s *Solver) dot(nd *node, v []float64) float64 {
	var sum float64
	for i, h := range s.idx[nd.off : nd.off+nd.size] {
		sum += s.w[int(nd.off)+i] * v[h]
	}
	return sum
}

func (s *Solver) load(nd *node) {
	for i, h := range s.idx[nd.off : nd.off+nd.size] {
		s.dense[h] = s.w[int(nd.off)+i]
	}
}

func (s *Solver) unload(nd *node) {
	for _, h := range s.idx[nd.off : nd.off+nd.size] {
		s.dense[h] = 0
	}
}

// make builds the children of a choice.
func (s *Solver) make(at int32, c int) {
	nd := s.nodes[at]
	m := &s.m
	ch := s.choices[c]
	ch.made = true
	ch.from = int32(len(s.kids))
	if ch.kind == Ask {
		q := int(ch.index)
		ch.cost = nd.mass * m.askCost(nd.state, q)
		st := m.afterAsk(nd.state, q)
		for o := range m.p.Questions[q].Outcomes {
			row := m.lik[q][o*m.n : (o+1)*m.n]
			off := len(s.idx)
			for i, h := range s.idx[nd.off : nd.off+nd.size] {
				if x := s.w[int(nd.off)+i] * row[h]; x > 0 {
					s.idx = append(s.idx, h)
					s.w = append(s.w, x)
				}
			}
			if len(s.idx) > off {
				s.kids = append(s.kids, s.node(st, off))
			}
		}
	} else {
		a := int(ch.index)
		ch.cost = nd.mass * m.doCost(nd.state, a)
		off := len(s.idx)
		s.move(&nd, a)
		s.kids = append(s.kids, s.node(m.afterDo(nd.state, a), off))
	}
	ch.num = int32(len(s.kids)) - ch.from
	ch.hi = ch.cost
	lo := ch.cost
	for _, k := range s.kids[ch.from : ch.from+ch.num] {
		ch.hi += s.nodes[k].hi
		lo += s.nodes[k].lo
	}
	ch.lo = math.Min(math.Max(ch.lo, lo), ch.hi)
	s.choices[c] = ch
}

// move appends the belief after action a.
func (s *Solver) move(nd *node, a int) {
	s.load(nd)
	list := append(s.list[:0], s.idx[nd.off:nd.off+nd.size]...)
	moves := s.m.moves[a]
	for i := range moves {
		if s.dense[moves[i].from] != 0 {
			for _, t := range moves[i].to {
				if k, ok := slices.BinarySearch(list, t.to); !ok {
					list = slices.Insert(list, k, t.to)
				}
			}
		}
	}
	off := len(s.idx)
	for _, h := range list {
		s.idx = append(s.idx, h)
		s.w = append(s.w, s.dense[h])
	}
	idx, w := s.idx[off:], s.w[off:]
	for i := range moves {
		if from := s.dense[moves[i].from]; from != 0 {
			k, _ := slices.BinarySearch(idx, moves[i].from)
			w[k] = from * moves[i].stay
		}
	}
	for i := range moves {
		if from := s.dense[moves[i].from]; from != 0 {
			for _, t := range moves[i].to {
				k, _ := slices.BinarySearch(idx, t.to)
				w[k] += from * t.p
			}
		}
	}
	s.unload(nd)
	s.list = list
	k := off
	for i := off; i < len(s.idx); i++ {
		if s.w[i] > 0 {
			s.idx[k], s.w[k] = s.idx[i], s.w[i]
			k++
		}
	}
	s.idx, s.w = s.idx[:k], s.w[:k]
}
