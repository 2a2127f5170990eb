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
	idx, w := s.belief(nd)
	total, t := s.follow(root, max(o.Depth, 1))
	r := Result{Best: t.Step, Total: total, Lower: min(nd.lo, total), Work: s.work, States: len(s.nodes)}
	r.Exact = r.Total-r.Lower <= o.Gap*max(math.Abs(r.Total), 1e-12)
	if o.Depth > 0 {
		r.Plan = t
	}
	for c := nd.from; c < nd.from+max(nd.num, 0); c++ {
		ch := &s.choices[c]
		r.Steps = append(r.Steps, Choice{Step{ch.kind, int(ch.index)}, ch.hi, ch.lo})
	}
	if s.lattice.ready {
		r.States += len(s.lattice.val)
		s.lattice.each(&s.m, nd.at, nd.asked, func(x Step, v float64) {
			at := slices.IndexFunc(r.Steps, func(c Choice) bool { return c.Step == x })
			if at < 0 {
				at = len(r.Steps)
				r.Steps = append(r.Steps, Choice{x, v, r.Lower})
			}
			c := &r.Steps[at]
			c.Total = min(c.Total, v)
			if s.lattice.full {
				c.Lower = c.Total
			}
		})
	}
	for i := range s.m.p.Stops {
		if !s.m.openStop(nd.state, i) {
			continue
		}
		l := dot(idx, w, s.m.p.Stops[i].Loss) + nd.mass*s.m.endCost(nd.state, i)
		r.Steps = append(r.Steps, Choice{Step{Finish, i}, l, l})
	}
	at := slices.IndexFunc(r.Steps, func(c Choice) bool { return c.Step == r.Best })
	if at < 0 {
		at = len(r.Steps)
		r.Steps = append(r.Steps, Choice{Step: r.Best, Lower: r.Lower})
	}
	r.Steps[at].Total, r.Steps[at].Lower = r.Total, min(r.Steps[at].Lower, r.Total)
	r.Steps[0], r.Steps[at] = r.Steps[at], r.Steps[0]
	slices.SortStableFunc(r.Steps[1:], func(a, b Choice) int {
		return cmp.Or(cmp.Compare(a.Total, b.Total), cmp.Compare(a.Lower, b.Lower))
	})
	return r
}

// refresh carries up the bounds of every state the plan can come to, which a
// state shared by several paths may lack.
func (s *Solver) refresh(at int32) {
	nd := &s.nodes[at]
	if nd.fresh {
		return
	}
	nd.fresh = true
	for nd.num >= 0 {
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

// scene is a state with its belief.
type scene struct {
	state
	idx []int32
	w   []float64
}

func (c scene) mass() float64 {
	var m float64
	for _, x := range c.w {
		m += x
	}
	return m
}

// answered is the scene once q was answered with the outcome of the given row.
func (c scene) answered(st state, row []float64) scene {
	out := scene{state: st}
	for i, h := range c.idx {
		if x := c.w[i] * row[h]; x > 0 {
			out.idx = append(out.idx, h)
			out.w = append(out.w, x)
		}
	}
	return out
}

func (s *Solver) done(c scene, a int) scene {
	off := len(s.idx)
	s.idx = append(s.idx, c.idx...)
	s.w = append(s.w, c.w...)
	nd := node{off: int32(off), size: int32(len(c.idx))}
	from := len(s.idx)
	s.move(&nd, a)
	out := scene{s.m.afterDo(c.state, a), slices.Clone(s.idx[from:]), slices.Clone(s.w[from:])}
	s.idx, s.w = s.idx[:off], s.w[:off]
	return out
}

// leaf starts the tree of a step, or is nil where the depth asked for ends.
func (s *Solver) leaf(c scene, step Step, depth int) *Tree {
	if depth <= 0 {
		return nil
	}
	t := &Tree{Step: step, P: c.mass(), Belief: make([]float64, s.m.n)}
	for i, h := range c.idx {
		t.Belief[h] = c.w[i] / t.P
	}
	return t
}

// note ends the tree of a step.
func note(t *Tree, total float64, then []*Tree) (float64, *Tree) {
	if t != nil {
		t.Total = total / t.P
		if slices.ContainsFunc(then, func(k *Tree) bool { return k != nil }) {
			t.Then = then
		}
	}
	return total, t
}

// follow is the value, weighted, of the plan found from a state on, and its tree
// down to a depth. It goes through the children in the order in which make made
// them, and from the same beliefs.
func (s *Solver) follow(at int32, depth int) (float64, *Tree) {
	nd := s.nodes[at]
	if depth <= 0 {
		return nd.hi, nil
	}
	idx, w := s.belief(&nd)
	c := scene{nd.state, idx, w}
	if nd.best == bestLattice {
		return s.read(c, nd.at, depth)
	}
	if nd.best < 0 {
		return s.onward(c, depth)
	}
	ch := s.choices[nd.best]
	kids := s.kids[ch.from : ch.from+ch.num]
	if ch.kind == Ask {
		return s.ask(int(ch.index), c, depth, func(_ int, next scene) (float64, *Tree) {
			return s.branch(next, &kids, depth-1)
		})
	}
	a := int(ch.index)
	t := s.leaf(c, Step{Do, a}, depth)
	v, k := s.branch(s.done(c, a), &kids, depth-1)
	return note(t, v+c.mass()*s.m.doCost(c.state, a), []*Tree{k})
}

// ask puts q and goes on after each answer.
func (s *Solver) ask(q int, c scene, depth int, on func(outcome int, next scene) (float64, *Tree)) (float64, *Tree) {
	t := s.leaf(c, Step{Ask, q}, depth)
	total := c.mass() * s.m.askCost(c.state, q)
	then := make([]*Tree, len(s.m.lik[q]))
	st := s.m.afterAsk(c.state, q)
	for o, row := range s.m.lik[q] {
		next := c.answered(st, row)
		if len(next.idx) == 0 {
			continue
		}
		var v float64
		v, then[o] = on(o, next)
		total += v
	}
	return note(t, total, then)
}

// branch goes to the next child, by way of the question to be asked at once if
// there is one, as settle did.
func (s *Solver) branch(c scene, kids *[]int32, depth int) (float64, *Tree) {
	if q := s.m.forced(c.state, c.idx); q >= 0 {
		return s.ask(q, c, depth, func(_ int, next scene) (float64, *Tree) {
			return s.branch(next, kids, depth-1)
		})
	}
	k := (*kids)[0]
	*kids = (*kids)[1:]
	return s.follow(k, depth)
}

// onward is the walk from a scene on.
func (s *Solver) onward(c scene, depth int) (float64, *Tree) {
	_, plan := s.walk(c.state, c.idx, c.w)
	return s.write(c, slices.Clone(plan), depth)
}

// write is the value of the steps of a walk, and its tree.
func (s *Solver) write(c scene, plan []micro, depth int) (float64, *Tree) {
	if len(plan) == 0 {
		best, at := math.Inf(1), 0
		for i := range s.m.p.Stops {
			if l := dot(c.idx, c.w, s.m.p.Stops[i].Loss) + c.mass()*s.m.endCost(c.state, i); l < best && s.m.openStop(c.state, i) {
				best, at = l, i
			}
		}
		return note(s.leaf(c, Step{Finish, at}, depth), best, nil)
	}
	mi := plan[0]
	if mi.Kind == Do {
		t := s.leaf(c, mi.Step, depth)
		v, k := s.write(s.done(c, mi.Index), plan[1:], depth-1)
		return note(t, v+c.mass()*s.m.doCost(c.state, mi.Index), []*Tree{k})
	}
	return s.ask(mi.Index, c, depth, func(o int, next scene) (float64, *Tree) {
		if mi.on >= 0 && mi.on != o {
			return s.write(next, nil, depth-1)
		}
		return s.write(next, plan[1:], depth-1)
	})
}
