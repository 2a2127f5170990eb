package diag

import (
	"fmt"
	"math"
	"sort"
	"testing"
)

func TestDbg(t *testing.T) {
	tr := func(b int, st string, x float64) Entry {
		return Entry{Kind: KindTrim, Bank: b, State: st, ShortPct: fl(0), LongPct: fl(x)}
	}
	lam := func(st string, x float64) Entry { return Entry{Kind: KindLambda, State: st, Value: fl(x)} }
	code := func(c string) Entry { return Entry{Kind: KindCode, Code: c} }
	for _, es := range [][]Entry{
		{code("P0171"), tr(1, "cruise", 25), lam("cruise", 1.0)},
		{code("P0171"), tr(1, "idle", 25), tr(1, "cruise", 25), lam("idle", .85), lam("cruise", .85)}} {
		cs := canonical(Case{Version: 1, Vehicle: car4(), Evidence: es, Costs: Costs{120, "USD"}})
		w := newWorld(trade(), cs.Vehicle)
		c := newCalc(w.collect(cs.Evidence))
		b := c.infer()
		bd := newBounds(c, b.order)
		name := func(n *node) string {
			s := ""
			for _, u := range n.units() {
				s += " " + fmt.Sprint(w.places[w.units[u].place].ref.Cause, ":", w.units[u].v.Name)
			}
			return s
		}
		for i, p := range b.order {
			fmt.Print(i, w.places[p].ref, " ")
		}
		fmt.Println()
		type row struct {
			i    int
			w, u float64
		}
		var rows []row
		bySize := map[int]float64{}
		for i := range b.nodes {
			n := &b.nodes[i]
			bySize[int(n.n)] += math.Exp(n.lw - b.logZ)
			if n.n != 1 && n.n != 2 {
				continue
			}
			last := bd.rank[w.units[n.us[n.n-1]].place]
			if last+1 >= len(b.order) {
				continue
			}
			ub := bd.bound(n.units(), last+1)
			rows = append(rows, row{i, math.Exp(n.lw - b.logZ), math.Exp(ub - b.logZ)})
		}
		fmt.Println(bySize, len(b.order), len(c.sensors[0].classes))
		sort.Slice(rows, func(i, j int) bool { return rows[i].u > rows[j].u })
		tot := 0.0
		for _, r := range rows {
			if b.nodes[r.i].n == 1 {
				tot += r.u
			}
		}
		fmt.Println("total single UB", tot)
		for _, r := range rows[:25] {
			fmt.Printf("%.4f ub %.4f %s\n", r.w, r.u, name(&b.nodes[r.i]))
		}
	}
}
