package plan

import (
	"cmp"
	"math"
	"slices"
)

// result reads the answer out of the search.
func (s *Solver) result(root int32, o Options) Result {
	s.refresh(root)
	nd := &s.nodes[root]
	r := Result{Total: nd.hi, Lower: nd.lo, Work: s.work, States: len(s.nodes)}
	r.Exact = nd.hi-nd.lo <= o.Gap*math.Max(math.Abs(nd.hi), 1e-12)
	r.Best = s.first(root)
	for c := nd.from; c < nd.from+max(nd.num, 0); c++ {
		ch := &s.choices[c]
		r.Steps = append(r.Steps, Choice{Step{ch.kind, int(ch.index)}, ch.hi, ch.lo})
	}
	idx, w := s.belief(nd)
	for i, sp := range s.m.p.Stops {
		var l float64
		for k, h := range idx {
			l += w[k] * sp.Loss[h]
		}
		r.Steps = append(r.Steps, Choice{Step{Finish, i}, l, l})
	}
	at := slices.IndexFunc(r.Steps, func(c Choice) bool { return c.Step == r.Best })
	if at < 0 {
		at = len(r.Steps)
		r.Steps = append(r.Steps, Choice{Step: r.Best, Lower: nd.lo})
	}
	r.Steps[at].Total = nd.hi
	slices.SortStableFunc(r.Steps, func(a, b Choice) int {
		if a.Step == r.Best || b.Step == r.Best {
			return cmp.Compare(rank(b.Step == r.Best), rank(a.Step == r.Best))
		}
		return cmp.Or(cmp.Compare(a.Total, b.Total), cmp.Compare(a.Lower, b.Lower))
	})
	if o.Depth > 0 {
		r.Plan = s.tree(root, 1, o.Depth)
	}
	return r
}

func rank(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (s *Solver) belief(nd *node) ([]int32, []float64) {
	return s.idx[nd.off : nd.off+nd.size], s.w[nd.off : nd.off+nd.size]
}

// refresh carries up the bounds of every state the plan can come to, which a
// state shared by several paths may lack.
func (s *Solver) refresh(at int32) {
	nd := &s.nodes[at]
	if nd.fresh {
		return
	}
	nd.fresh = true
	if nd.num < 0 {
		return
	}
	for {
		best := nd.best
		if best >= 0 {
			ch := &s.choices[best]
			for _, k := range s.kids[ch.from : ch.from+ch.num] {
				s.refresh(k)
			}
		}
		s.backup(at)
		if nd.best == best {
			return
		}
	}
}

// first is the first step of the best plan from a state.
func (s *Solver) first(at int32) Step {
	nd := &s.nodes[at]
	idx, w := s.belief(nd)
	switch {
	case nd.best >= 0:
		ch := &s.choices[nd.best]
		return Step{ch.kind, int(ch.index)}
	case nd.best == bestBase:
		if _, plan := s.basePlan(nd.state, idx, w); len(plan) > 0 {
			return plan[0].Step
		}
	}
	s.walk.load(idx, w)
	_, i := s.bestStop(nil)
	return Step{Finish, i}
}

// tree writes the plan from a state down. p is the probability of the parent.
func (s *Solver) tree(at int32, _ float64, depth int) *Tree {
	nd := s.nodes[at]
	idx, w := s.belief(&nd)
	if nd.best == bestBase {
		_, plan := s.basePlan(nd.state, idx, w)
		return s.baseTree(nd.state, slices.Clone(idx), slices.Clone(w), slices.Clone(plan), depth)
	}
	t := &Tree{Step: s.first(at), P: nd.mass, Total: nd.hi / nd.mass, Belief: s.normal(idx, w)}
	if nd.best < 0 || depth <= 1 {
		return t
	}
	ch := s.choices[nd.best]
	kids := s.kids[ch.from : ch.from+ch.num]
	if ch.kind == Do {
		t.Then = []*Tree{s.tree(kids[0], nd.mass, depth-1)}
		return t
	}
	// Children were made in the order of the outcomes that can happen.
	q := int(ch.index)
	for o := range s.m.p.Questions[q].Outcomes {
		row := s.m.lik[q][o*s.m.n : (o+1)*s.m.n]
		if !slices.ContainsFunc(s.live(idx, w, row), func(x float64) bool { return x > 0 }) {
			t.Then = append(t.Then, nil)
			continue
		}
		t.Then = append(t.Then, s.tree(kids[0], nd.mass, depth-1))
		kids = kids[1:]
	}
	return t
}

func (s *Solver) live(idx []int32, w, row []float64) []float64 {
	out := make([]float64, len(idx))
	for i, h := range idx {
		out[i] = w[i] * row[h]
	}
	return out
}

func (s *Solver) normal(idx []int32, w []float64) []float64 {
	b := make([]float64, s.m.n)
	var mass float64
	for _, x := range w {
		mass += x
	}
	for i, h := range idx {
		b[h] = w[i] / mass
	}
	return b
}

// baseTree writes down the rest of a walk.
func (s *Solver) baseTree(st state, idx []int32, w []float64, plan []micro, depth int) *Tree {
	var mass float64
	for _, x := range w {
		mass += x
	}
	t := &Tree{P: mass, Belief: s.normal(idx, w)}
	s.walk.load(idx, w)
	if len(plan) == 0 {
		v, i := s.bestStop(nil)
		t.Step, t.Total = Step{Finish, i}, v/mass
		return t
	}
	mi := plan[0]
	t.Step = mi.Step
	var then []*Tree
	var total float64
	if mi.Kind == Do {
		total = mass * s.m.doCost(st, mi.Index)
		s.apply(mi.Index)
		var idx2 []int32
		for _, h := range s.walk.list {
			if s.walk.w[h] > 0 {
				idx2 = append(idx2, h)
			}
		}
		slices.Sort(idx2)
		w2 := make([]float64, len(idx2))
		for i, h := range idx2 {
			w2[i] = s.walk.w[h]
		}
		then = append(then, s.baseTree(s.m.afterDo(st, mi.Index), idx2, w2, plan[1:], depth-1))
	} else {
		total = mass * s.m.askCost(st, mi.Index)
		for o := range s.m.p.Questions[mi.Index].Outcomes {
			x := s.live(idx, w, s.m.lik[mi.Index][o*s.m.n:(o+1)*s.m.n])
			var idx2 []int32
			var w2 []float64
			for i, v := range x {
				if v > 0 {
					idx2, w2 = append(idx2, idx[i]), append(w2, v)
				}
			}
			if len(idx2) == 0 {
				then = append(then, nil)
				continue
			}
			rest := plan[1:]
			if mi.on >= 0 && mi.on != o {
				rest = nil
			}
			then = append(then, s.baseTree(s.m.afterAsk(st, mi.Index), idx2, w2, rest, depth-1))
		}
	}
	for _, k := range then {
		if k != nil {
			total += k.Total * k.P
		}
	}
	t.Total = total / mass
	if depth > 1 {
		t.Then = then
	}
	return t
}
