package plan

// optimum is the exact optimum of a single-fault model, within rounding to 24
// bits. It is plain dynamic programming, without bounds or search, written for
// the purpose; it shares nothing with the planner.
//
// A state is a partial set of answers and a set of actions done. The states with
// the same answers are one vector, indexed by the set of actions. A vector needs
// those with one answer more and nothing else, so two layers are kept at a time.
type optimum struct {
	spare [][]float32
	sets  int
}

func (o *optimum) vector() []float32 {
	if n := len(o.spare); n > 0 {
		v := o.spare[n-1]
		o.spare = o.spare[:n-1]
		return v
	}
	return make([]float32, o.sets)
}

func (o *optimum) solve(m *single) float64 {
	if o.sets != 1<<len(m.cost) {
		o.spare, o.sets = nil, 1<<len(m.cost)
	}
	stride := make([]int, len(m.qcost)) // of a question in the index of partial answers
	all := 1
	for q, ans := range m.ans {
		stride[q] = all
		all *= len(ans) + 1
	}
	digit := func(r, q int) int { return r / stride[q] % (len(m.ans[q]) + 1) } // 0: not asked

	var surv []float32 // chance that all of a set fail, by cause
	for c := range m.prior {
		for d := range o.sets {
			x := 1.0
			for a := range m.cost {
				if d>>a&1 == 1 {
					x *= 1 - m.mends[a][c]
				}
			}
			surv = append(surv, float32(x))
		}
	}

	layers := make([][]int, len(m.qcost)+1) // by the number of answers
	for r := range all {
		n := 0
		for q := range m.qcost {
			if digit(r, q) > 0 {
				n++
			}
		}
		layers[n] = append(layers[n], r)
	}
	mass := make([][]float32, all)
	val := make([][]float32, all)
	help := float32(m.help)
	for n := len(m.qcost); n >= 0; n-- {
		for _, r := range layers[n] {
			w, v := o.vector(), o.vector()
			clear(w)
			if n == len(m.qcost) {
				for c, p := range m.prior {
					for q := range m.qcost {
						p *= m.ans[q][digit(r, q)-1][c]
					}
					if f := float32(p); f > 0 {
						for d, s := range surv[c*o.sets : (c+1)*o.sets] {
							w[d] += f * s
						}
					}
				}
			} else {
				q := 0
				for digit(r, q) > 0 {
					q++
				}
				for k := range m.ans[q] {
					for d, x := range mass[r+(k+1)*stride[q]] {
						w[d] += x
					}
				}
			}
			for d, x := range w {
				v[d] = help * x
			}
			ask := o.vector()
			for q, c := range m.qcost {
				if digit(r, q) > 0 {
					continue
				}
				f := float32(c)
				for d, x := range w {
					ask[d] = f * x
				}
				for k := range m.ans[q] {
					for d, x := range val[r+(k+1)*stride[q]][:len(ask)] {
						ask[d] += x
					}
				}
				for d, x := range ask {
					v[d] = min(v[d], x)
				}
			}
			o.spare = append(o.spare, ask)
			m.act(w, v)
			mass[r], val[r] = w, v
		}
		if n < len(m.qcost) {
			for _, r := range layers[n+1] {
				o.spare = append(o.spare, mass[r], val[r])
				mass[r], val[r] = nil, nil
			}
		}
	}
	o.spare = append(o.spare, mass[0], val[0])
	return float64(val[0][0])
}

// act lowers v, which holds the value of doing anything but an action, by what
// actions can do. The upper half, where the last action is done, comes first.
func (m *single) act(w, v []float32) {
	half := len(v) / 2
	if half == 0 {
		return
	}
	m.act(w[half:], v[half:])
	a := 0
	for 1<<a < half {
		a++
	}
	c := float32(m.cost[a])
	up, low := v[half:], v[:half]
	for d, x := range w[:half] {
		low[d] = min(low[d], c*x+up[d])
	}
	m.act(w[:half], low)
}
