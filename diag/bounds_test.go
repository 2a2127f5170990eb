package diag

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// TestBoundsHold weighs every set of one and of two further causes above chosen contexts
// and sets the sums against the bounds of the search. The reference is the weighing
// itself, which the oracle tests check against enumeration with rationals.
func TestBoundsHold(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	for i := range 120 {
		cs := midway(i)
		switch i % 3 {
		case 1:
			cs = workedOn(fiveSensors, 30, uint64(i))
		case 2:
			cs = workedOn(tenSensors, 8+i%20, uint64(i))
		}
		cs, _ = canonicalOrder(cs)
		w := newWorld(trade(), cs.Vehicle)
		c := newCalc(w.collect(cs.Evidence))
		bd := newBounds(c)
		bd.floor = math.Inf(-1)
		var all uint64
		for p, touched := range c.touched {
			if touched {
				all |= 1 << p
			}
		}
		for range 4 {
			var us []int16
			for range r.IntN(4) {
				u := int16(r.IntN(len(w.units)))
				if p := w.units[u].place; all>>p&1 == 1 && !w.has(us, p) {
					us = append(us, u)
				}
			}
			may := all
			for _, u := range us {
				may &^= 1 << w.units[u].place
			}
			c.weigh(us)
			tree := bd.above(us, may)
			if tree == nil {
				continue
			}
			lg := func(us []int16) float64 { return math.Exp(c.weigh(us) - tree.log) }
			rest := make([]float64, len(tree.cands)+1)
			for k := len(tree.cands) - 1; k >= 0; k-- {
				p := &w.places[tree.cands[k]]
				own, above := 0.0, 0.0
				for u := p.first; u < p.last; u++ {
					with := append(slices.Clone(us), int16(u))
					own += lg(with)
					for _, l := range tree.cands[k+1:] {
						o := &w.places[l]
						for v := o.first; v < o.last; v++ {
							above += lg(append(slices.Clone(with), int16(v)))
						}
					}
				}
				rest[k] = rest[k+1] + own + above
				const slack = 1 + 1e-9
				const rounding = 1e-15 // a bound is a difference of products near one
				if own > tree.own[k]*slack+rounding {
					t.Errorf("case %d, above %v: %v alone weighs %g, bound %g", i, us, p.ref, own, tree.own[k])
				}
				if above > tree.above[k]*slack+rounding {
					t.Errorf("case %d, above %v: %v and one more weigh %g, bound %g", i, us, p.ref, above, tree.above[k])
				}
				if rest[k] > tree.ub[k]*slack+rounding {
					t.Errorf("case %d, above %v: what begins with %v or later weighs %g, bound %g", i, us, p.ref, rest[k], tree.ub[k])
				}
			}
		}
	}
}
