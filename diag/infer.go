package diag

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// The search over contexts. Every set of causes of the engine and its banks is weighed
// with the sensors summed out, the most promising first, until what has not been looked
// at can hold no more than a small share of all weight, or the budget is spent. Either
// way the share left is bounded and reported.
//
// Bounds are kind to sets of many causes, so that to go by them alone is to look at much
// that weighs nothing. The search begins with what weighs most as far as it is known, and
// goes by the bounds once it has spent some of its budget that way.

const (
	maxContext  = 5    // causes of the engine and its banks at once
	leftTarget  = 1e-2 // share left out at which the search is content
	negligible  = 1e-6 // share of a set and all above it that is not looked at
	slight      = 1e-7 // share at which a bound is not made tight
	budgetABank = 200  // sets weighed and trees worked out, for each bank of the engine
	eager       = 0.45 // share of the budget spent on what weighs most: with 0.25 a longer search finds 1.2 to 2.2 times as much besides, with more the bound is looser (BenchmarkLeftOut)
)

// node is a set of context units with its weight.
type node struct {
	us [maxContext]int16
	n  int8
	lw float64 // log weight
}

func (n *node) units() []int16 { return n.us[:n.n:n.n] }

// frontier is a part that has not been looked at. With a tree: the sets above its node
// that add a candidate at or after next, and none before. Without: all sets above some
// nodes, known only by the bound of the tree that they were found in; most of them are so
// slight that their own tree is never worked out.
type frontier struct {
	tree  int32 // -1: none
	next  int32
	node  int32 // without a tree: the first of the nodes
	count int32
	may   uint64  // without a tree: candidates
	ub    float64 // bound on its weight, as a logarithm
	pri   float64 // what it promises
}

// frontierHeap has the most promising first. It is written out because the one of the
// standard library takes memory for every push.
type frontierHeap []frontier

func (h *frontierHeap) push(x frontier) {
	*h = append(*h, x)
	list := *h
	for i := len(list) - 1; i > 0 && list[i].pri > list[(i-1)/2].pri; i = (i - 1) / 2 {
		list[i], list[(i-1)/2] = list[(i-1)/2], list[i]
	}
}

func (h *frontierHeap) pop() frontier {
	list := *h
	top, n := list[0], len(list)-1
	list[0] = list[n]
	list = list[:n]
	for i := 0; ; {
		next := i
		for k := 2*i + 1; k < min(2*i+3, n); k++ {
			if list[k].pri > list[next].pri {
				next = k
			}
		}
		if next == i {
			break
		}
		list[i], list[next] = list[next], list[i]
		i = next
	}
	*h = list
	return top
}

// belief is the result of the search.
type belief struct {
	c       *calc
	nodes   []node
	logZ    float64
	leftOut float64
	marg    []float64
	smarg   [][]float64 // sensor, place
	work    int
}

// infer searches as far as a decision may wait for.
func (c *calc) infer() *belief { return c.search(budgetABank * c.w.nb) }

func (c *calc) search(budget int) *belief {
	w := c.w
	b := &belief{c: c}
	bd := newBounds(c)
	var trees []*subtree
	var h frontierHeap
	byBound, looked := false, 0
	b.nodes = append(b.nodes, node{lw: c.weigh(nil)})
	best := b.nodes[0].lw
	z, waiting, dropped := 1.0, 0.0, 0.0 // against best
	scale := func(lg float64) float64 { return math.Exp(min(lg-best, 600)) }
	wait := func(x frontier) {
		if byBound {
			x.pri = x.ub
		}
		waiting += scale(x.ub)
		h.push(x)
	}
	push := func(t *subtree, next int) {
		if next == len(t.cands) {
			return
		}
		wait(frontier{tree: t.index, next: int32(next), ub: t.lg(t.ub[next]), pri: t.lg(t.most[next])})
	}
	grow := func(n int32, candidates uint64) {
		bd.floor = best + math.Log(slight*z)
		b.work++
		t := bd.above(b.nodes[n].units(), candidates)
		switch {
		case t == nil:
		case b.nodes[n].n == maxContext:
			dropped += scale(t.lg(t.ub[0])) // counted, not weighed
		default:
			t.node, t.index = n, int32(len(trees))
			trees = append(trees, t)
			push(t, 0)
		}
	}
	var all uint64
	for p, t := range c.touched {
		if t {
			all |= 1 << p
		}
	}
	grow(0, all)
	for len(h) > 0 {
		if looked++; waiting+dropped < leftTarget*z || b.work > budget || looked%64 == 0 {
			waiting = 0 // sums of differences drift; take it afresh
			for i := range h {
				waiting += scale(h[i].ub)
			}
			if waiting+dropped < leftTarget*z || b.work > budget {
				break
			}
		}
		if !byBound && float64(b.work) > eager*float64(budget) {
			byBound = true
			for i := range h {
				h[i].pri = h[i].ub
			}
			slices.SortFunc(h, func(x, y frontier) int { return cmp.Compare(y.pri, x.pri) })
		}
		f := h.pop()
		waiting -= scale(f.ub)
		if f.tree < 0 {
			for n := f.node; n < f.node+f.count; n++ {
				c.lay(b.nodes[n].units()) // above bounds what was laid last
				b.work++
				grow(n, f.may)
			}
			continue
		}
		t := trees[f.tree]
		p := &w.places[t.cands[f.next]]
		push(t, int(f.next)+1)
		own, above := t.lg(t.own[f.next]), t.lg(t.above[f.next])
		if scale(own)+scale(above) < negligible*z {
			dropped += scale(own) + scale(above)
			continue
		}
		first := len(b.nodes)
		top := math.Inf(-1)
		for u := p.first; u < p.last; u++ {
			n := b.nodes[t.node]
			n.us[n.n] = int16(u)
			n.n++
			n.lw = c.weigh(n.units())
			b.work++
			top = max(top, n.lw)
			if n.lw > best {
				x := math.Exp(best - n.lw)
				z, waiting, dropped, best = z*x, waiting*x, dropped*x, n.lw
			}
			z += scale(n.lw)
			b.nodes = append(b.nodes, n)
		}
		switch {
		case int(f.next)+1 == len(t.cands):
		case scale(above) < negligible*z:
			dropped += scale(above)
		default:
			wait(frontier{tree: -1, node: int32(first), count: int32(len(b.nodes) - first), may: t.mayAll[f.next+1], ub: above,
				pri: top - 3}) // one more cause is seldom likelier than one in twenty
		}
	}
	left := dropped
	for i := range h {
		left += scale(h[i].ub)
	}
	b.logZ = best + math.Log(z)
	left += z * b.sensorTail()
	b.leftOut = left / (left + z)
	b.spread()
	return b
}

// sensorTail bounds, as a share of all weight, what more causes at one sensor than are
// enumerated could hold. It is taken under the contexts that weigh; the worst of them
// stands for the others.
func (b *belief) sensorTail() float64 {
	c := b.c
	tail, worst, rest := 0.0, 0.0, 1.0
	type key struct {
		sensor  int
		context uint64
	}
	memo := map[key]float64{}
	for i := range b.nodes {
		n := &b.nodes[i]
		p := math.Exp(n.lw - b.logZ)
		if p < 1e-2 {
			continue
		}
		sum := 0.0
		for s := range c.sensors {
			sc := &c.sensors[s]
			k := key{sensor: s}
			for _, u := range n.units() {
				if sc.minds[c.w.units[u].place] {
					k.context = k.context<<10 | uint64(u+1)
				}
			}
			x, ok := memo[k]
			if !ok {
				x = sc.tail(n.units())
				memo[k] = x
			}
			sum += x
		}
		tail, worst, rest = tail+p*sum, max(worst, sum), rest-p
	}
	return tail + max(rest, 0)*worst
}

// untouched is the probability of a place that the evidence says nothing about,
// under a context.
func (c *calc) untouched(p int, us []int16) float64 {
	pl := &c.w.places[p]
	miss := 1 - c.idle[p]
	for _, par := range pl.parents {
		if c.w.has(us, par.place) {
			miss *= 1 - par.p
		} else if !c.touched[par.place] {
			miss *= 1 - par.p*c.idle[par.place]
		}
	}
	return 1 - miss
}

// spread turns the weights into marginal probabilities.
func (b *belief) spread() {
	c, w := b.c, b.c.w
	b.marg = make([]float64, len(w.places))
	// What is not touched hangs on no more of a context than what may have made it.
	alone, made := make([]float64, len(w.places)), make([]uint64, len(w.places))
	for p := range w.places {
		if c.touched[p] {
			continue
		}
		alone[p] = c.untouched(p, nil)
		b.marg[p] = alone[p]
		for _, par := range w.places[p].parents {
			made[par.place] |= 1 << p
		}
	}
	type entry struct {
		sum     *sensorSum
		classes []float64
	}
	credit := make([][]entry, len(w.sens)) // in the order met, so that sums come out the same each time
	index := map[*sensorSum]int{}
	var sh share
	for i := range b.nodes {
		n := &b.nodes[i]
		p := math.Exp(n.lw - b.logZ)
		var may uint64
		for _, u := range n.units() {
			b.marg[w.units[u].place] += p
			may |= made[w.units[u].place]
		}
		for ; may != 0; may &= may - 1 {
			k := bits.TrailingZeros64(may)
			b.marg[k] += p * (c.untouched(k, n.units()) - alone[k])
		}
		if p < 1e-9 {
			continue
		}
		total := c.weighSensors(n.units(), &sh)
		for s := range sh.sums {
			at, ok := index[sh.sums[s]]
			if !ok {
				at = len(credit[s])
				index[sh.sums[s]] = at
				credit[s] = append(credit[s], entry{sh.sums[s], make([]float64, len(sh.classes[s]))})
			}
			for k, x := range sh.classes[s] {
				credit[s][at].classes[k] += p * x / max(total, 1e-300)
			}
		}
	}
	b.smarg = make([][]float64, len(w.sens))
	sideBySide[any](len(w.sens), nil, nil, func(_ any, s int) {
		sc, sw := &c.sensors[s], &w.sens[s]
		places := make([]float64, len(sw.places))
		for _, at := range credit[s] {
			for k, x := range at.sum.classes {
				if x > 0 {
					at.classes[k] /= x
				}
			}
			for st, x := range at.sum.of(sc) {
				x *= at.classes[sc.classOf[st]]
				for _, u := range sw.states[st].units {
					places[sw.units[u].place] += x
				}
			}
		}
		b.smarg[s] = places
	})
}
