package diag

import (
	"cmp"
	"container/heap"
	"math"
	"slices"
)

// The search over contexts. Every set of causes of the engine and its banks is
// weighed with the sensors summed out, best first, until what has not been looked
// at can hold no more than a small share of all weight, or the budget is spent.
// Either way the share left is bounded and reported.

const (
	maxContext  = 5    // causes of the engine and its banks at once
	leftTarget  = 1e-2 // share left out at which the search is content
	budgetNodes = 4000 // bound evaluations, as a stop for hostile cases
)

// node is a set of context units with its weight.
type node struct {
	us [maxContext]int16
	n  int8
	lw float64 // log weight
}

func (n *node) units() []int16 { return n.us[:n.n] }

// frontier is all supersets of a node whose further places come at or after next in
// the order of places; ub bounds their log weight together.
type frontier struct {
	node int32
	next int16
	ub   float64
}

type openHeap []frontier

func (h openHeap) Len() int           { return len(h) }
func (h openHeap) Less(i, j int) bool { return h[i].ub > h[j].ub }
func (h openHeap) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *openHeap) Push(x any)        { *h = append(*h, x.(frontier)) }
func (h *openHeap) Pop() any {
	old := *h
	x := old[len(old)-1]
	*h = old[:len(old)-1]
	return x
}

// belief is the result of the search.
type belief struct {
	c       *calc
	nodes   []node
	logZ    float64
	leftOut float64
	order   []int // places, the most telling first
	marg    []float64
	smarg   [][]float64 // sensor, place
	work    int
}

func (c *calc) infer() *belief {
	w := c.w
	b := &belief{c: c}
	b.nodes = append(b.nodes, node{lw: c.weigh(nil)})
	single := make([]float64, len(w.places))
	for p := range w.places {
		if !c.touched[p] {
			continue
		}
		b.order = append(b.order, p)
		single[p] = math.Inf(-1)
		for u := w.places[p].first; u < w.places[p].last; u++ {
			n := node{n: 1}
			n.us[0] = int16(u)
			n.lw = c.weigh(n.units())
			single[p] = max(single[p], n.lw)
			b.nodes = append(b.nodes, n)
		}
	}
	slices.SortStableFunc(b.order, func(i, j int) int { return cmp.Compare(single[j], single[i]) })
	rank := make([]int, len(w.places))
	for i, p := range b.order {
		rank[p] = i
	}

	bd := newBounds(c, b.order)
	// The empty set and the single causes are weighed already; what is open are
	// the larger sets above each single cause.
	best := b.nodes[0].lw
	for i := range b.nodes {
		best = max(best, b.nodes[i].lw)
	}
	z := 0.0
	for i := range b.nodes {
		z += math.Exp(b.nodes[i].lw - best)
	}
	var h openHeap
	openSum := 0.0
	push := func(ni int32, next int) {
		if next >= len(b.order) {
			return
		}
		b.work++
		ub := bd.bound(b.nodes[ni].units(), next)
		if math.IsInf(ub, -1) {
			return
		}
		x := math.Exp(min(ub-best, 600))
		openSum += x
		if int(b.nodes[ni].n) == maxContext {
			b.leftOut += x // too many at once to go on; counted, not weighed
			openSum -= x
			return
		}
		heap.Push(&h, frontier{ni, int16(next), ub})
	}
	for i := 1; i < len(b.nodes); i++ {
		push(int32(i), rank[w.units[b.nodes[i].us[0]].place]+1)
	}
	for len(h) > 0 {
		if b.work%256 == 0 || openSum < leftTarget*z {
			openSum = 0 // sums of differences drift; take it afresh
			for i := range h {
				openSum += math.Exp(min(h[i].ub-best, 600))
			}
			if openSum < leftTarget*z || b.work > budgetNodes {
				break
			}
		}
		o := heap.Pop(&h).(frontier)
		openSum -= math.Exp(min(o.ub-best, 600))
		p := &w.places[b.order[o.next]]
		for u := p.first; u < p.last; u++ {
			n := b.nodes[o.node]
			n.us[n.n] = int16(u)
			n.n++
			n.lw = c.weigh(n.units())
			if n.lw > best {
				f := math.Exp(best - n.lw)
				z, openSum, b.leftOut, best = z*f, openSum*f, b.leftOut*f, n.lw
			}
			z += math.Exp(n.lw - best)
			b.nodes = append(b.nodes, n)
			push(int32(len(b.nodes)-1), int(o.next)+1)
		}
		push(o.node, int(o.next)+1)
	}
	for i := range h {
		b.leftOut += math.Exp(min(h[i].ub-best, 600))
	}
	b.logZ = best + math.Log(z)
	b.leftOut += z * b.sensorTail()
	b.leftOut = b.leftOut / (b.leftOut + z)
	b.spread()
	return b
}

// sensorTail bounds, as a share of all weight, what more than maxAtSensor causes
// at one sensor could hold.
func (b *belief) sensorTail() float64 {
	// The best contexts stand for the others.
	tail := 0.0
	for s := range b.c.sensors {
		tail += b.c.sensors[s].tail()
	}
	return tail
}

// untouched is the probability of a place that the evidence says nothing about,
// under a context.
func (c *calc) untouched(p int, us []int16) float64 {
	pl := &c.w.places[p]
	miss := 1 - pl.prior
	for _, par := range pl.parents {
		if c.w.has(us, par.place) {
			miss *= 1 - par.p
		} else if !c.touched[par.place] {
			miss *= 1 - par.p*c.w.places[par.place].prior
		}
	}
	return 1 - miss
}

// spread turns the weights into marginal probabilities.
func (b *belief) spread() {
	c, w := b.c, b.c.w
	b.marg = make([]float64, len(w.places))
	b.smarg = make([][]float64, len(w.sens))
	for s := range w.sens {
		b.smarg[s] = make([]float64, len(w.sens[s].places))
	}
	type entry struct {
		s       int
		sum     *sensorSum
		classes []float64
	}
	var credit []entry // in the order met, so that sums come out the same each time
	index := map[*sensorSum]int{}
	var sh share
	for i := range b.nodes {
		n := &b.nodes[i]
		p := math.Exp(n.lw - b.logZ)
		for _, u := range n.units() {
			b.marg[w.units[u].place] += p
		}
		for i := range w.places {
			if !c.touched[i] {
				b.marg[i] += p * c.untouched(i, n.units())
			}
		}
		if p < 1e-9 {
			continue
		}
		total := c.weighSensors(n.units(), &sh)
		for s := range sh.sums {
			at, ok := index[sh.sums[s]]
			if !ok {
				at = len(credit)
				index[sh.sums[s]] = at
				credit = append(credit, entry{s, sh.sums[s], make([]float64, len(sh.classes[s]))})
			}
			for k, x := range sh.classes[s] {
				credit[at].classes[k] += p * x / max(total, 1e-300)
			}
		}
	}
	for _, at := range credit {
		sw := &w.sens[at.s]
		for st := range sw.states {
			k := c.sensors[at.s].classOf[st]
			if len(sw.states[st].units) == 0 || at.sum.classes[k] == 0 {
				continue
			}
			x := at.classes[k] * at.sum.states[st] / at.sum.classes[k]
			for _, u := range sw.states[st].units {
				b.smarg[at.s][sw.units[u].place] += x
			}
		}
	}
}
