package plan

import (
	"math"
	"math/bits"
	"slices"
)

// lattice is backward induction for the classic problem: one fault, actions whose
// success shows at once and for nothing, questions, and a call for help at a fixed
// price. Until something works, the belief is the prior times the chance of the
// answers times the chance that all that was done fails, in whatever order it
// came. So a state is a set of answers and a set of actions done, and often there
// are few enough of them to value every one.
//
// Where there are too many, questions are left out, and actions, which are then
// done in a fixed order at the end. The value is that of a policy all the same,
// and the search starts from it.
type lattice struct {
	proof int     // shows at once whether an action worked
	fails int     // its outcome if not
	end   float64 // loss once one has
	help  float64 // what giving up costs beyond that
	live  []int32 // hypotheses that may be

	ready  bool // the states are valued
	full   bool // nothing is left out
	qs, as []int
	cost   []float64 // of as
	stride []int     // per question, in sets of answers; 0: left out
	bit    []int     // per action, its bit in a set of actions; 0: left out
	sets   int       // of actions
	mass   []float64 // weight of a state: by answers, then by actions done
	val    []float64 // its least expected total beyond end
	tail   []micro   // the actions left out, with the proof after each
	spent  []float64 // by hypothesis, what the tail and then help cost
	after  []float64 // by state, the same, weighted; empty without a tail

	surv   []float64 // by hypothesis, chance that all of a set of actions fail
	digits []int     // the answers at hand
	ask    []float64
}

// Prices in units of the budget, measured.
const (
	stateUnits = 0.4
	leafUnits  = 0.06    // of a state with all answers, for each hypothesis
	maxStates  = 1 << 23 // three tables of 64 MiB
)

// fits reports whether the problem is of the kind.
func (l *lattice) fits(m *model) bool {
	p := m.p
	if !m.bare || m.gated || len(p.Actions) == 0 || bits.OnesCount64(m.repeats) != 1 || m.repeats&m.free == 0 {
		return false
	}
	l.live = l.live[:0]
	for h, w := range m.prior {
		if w > 0 {
			l.live = append(l.live, int32(h))
		}
	}
	l.proof = bits.TrailingZeros64(m.repeats)
	rows := m.lik[l.proof]
	l.fails = slices.IndexFunc(rows, func(row []float64) bool { return row[l.live[0]] > 0 })
	l.end = slices.Min(m.stopMin)
	l.help = math.Inf(1)
	for _, s := range p.Stops {
		l.help = min(l.help, s.Loss[l.live[0]]-l.end)
	}
	for _, h := range l.live {
		if math.Abs(rows[l.fails][h]-1) > 1e-12 {
			return false
		}
		for _, s := range p.Stops {
			if s.Loss[h] != s.Loss[l.live[0]] {
				return false
			}
		}
		for _, e := range m.exits[h] {
			for _, t := range e.to {
				if rows[l.fails][t.to] > 0 {
					return false
				}
			}
		}
	}
	return slices.ContainsFunc(p.Stops, func(s Stop) bool { // is best whatever was mended
		for _, h := range l.live {
			for _, e := range m.exits[h] {
				for _, t := range e.to {
					if s.Loss[t.to] != l.end {
						return false
					}
				}
			}
		}
		return true
	})
}

// chart values the states at or below the root, if the problem is of the kind.
func (s *Solver) chart(root int32, budget int) {
	l, m := &s.lattice, &s.m
	l.ready = false
	if s.nodes[root].hi <= s.nodes[root].lo || !l.fits(m) || !s.choose(budget) {
		return
	}
	l.solve(m)
	l.ready = true
	s.work += l.price(m)
	nd := &s.nodes[root]
	s.sit(nd, 1)
	if l.full {
		nd.lo = nd.hi
	}
}

// price is what it takes to value the states, in units of the budget.
func (l *lattice) price(m *model) int {
	states := float64(int(1) << min(len(l.as), 62))
	leaves, chances := states, states*float64(len(l.live))
	for _, q := range l.qs {
		states *= float64(len(m.lik[q]) + 1)
		leaves *= float64(len(m.lik[q]))
	}
	if max(states, chances) > maxStates {
		return math.MaxInt
	}
	return int(stateUnits*states + leafUnits*leaves*float64(len(l.live)))
}

// choose picks the questions and actions: all if the budget allows. Otherwise it
// leaves out those worth least for the states they make, until half the budget is
// left for the search. It reports whether there is any use in that.
func (s *Solver) choose(budget int) bool {
	l, m := &s.lattice, &s.m
	l.qs, l.as, l.tail = l.qs[:0], l.as[:0], l.tail[:0]
	outcomes := 0
	for q, rows := range m.lik {
		if q != l.proof {
			l.qs = append(l.qs, q)
			outcomes += len(rows)
		}
	}
	for a := range m.moves {
		if len(m.moves[a]) > 0 {
			l.as = append(l.as, a)
		}
	}
	if l.full = l.price(m) <= budget; l.full {
		return true
	}
	n := len(l.live)
	choosing := n*n*outcomes/4 + 2*m.n*len(l.as)*len(l.as)
	if choosing > min(budget, maxStates)/4 {
		return false
	}
	s.work += choosing
	pairs := l.pairs(m)
	worth := make([]float64, len(m.lik))
	var gone uint64
	for l.price(m) > budget/2 && len(l.qs)+len(l.as) > 0 {
		l.tell(pairs, worth)
		least, at := math.Inf(1), 0
		for i, q := range l.qs {
			if x := (worth[q] - m.p.Questions[q].Cost) / math.Log2(float64(len(m.lik[q])+1)); x < least {
				least, at = x, i
			}
		}
		with := s.clear(gone)
		for i, a := range l.as {
			if x := s.clear(gone|1<<a) - with; x < least {
				least, at = x, len(l.qs)+i
			}
		}
		if at < len(l.qs) {
			l.qs = slices.Delete(l.qs, at, at+1)
			continue
		}
		at -= len(l.qs)
		gone |= 1 << l.as[at]
		l.as = slices.Delete(l.as, at, at+1)
	}
	l.leave(m, gone)
	return true
}

// clear is what someone who knows the fault pays without the actions gone.
func (s *Solver) clear(gone uint64) float64 {
	v := s.value(state{open: s.m.p.Open, done: gone})
	var sum float64
	for _, h := range s.lattice.live {
		sum += s.m.prior[h] * v[h]
	}
	return sum
}

// pair is two faults that are mended by different work.
type pair struct {
	mistake float64   // cost of the wrong work, done first the cheaper way round (P/C rule)
	overlap []float64 // by question, of the chances of the answers under the two
}

// pairs lists them. The overlap is the Bhattacharyya coefficient. It bounds how
// many mistakes an answer leaves, and multiplies over questions (Kailath, IEEE
// Transactions on Communication Technology 15, 1967).
func (l *lattice) pairs(m *model) []pair {
	var out []pair
	for i, g := range l.live {
		for _, h := range l.live[:i] {
			if len(m.exits[g]) == 0 || len(m.exits[h]) == 0 || m.exits[g][0].action == m.exits[h][0].action {
				continue
			}
			first, second := m.exits[g][0].action, m.exits[h][0].action
			p := pair{min(m.prior[h]*m.p.Actions[first].Cost, m.prior[g]*m.p.Actions[second].Cost), make([]float64, len(m.lik))}
			for _, q := range l.qs {
				for _, row := range m.lik[q] {
					p.overlap[q] += math.Sqrt(row[g] * row[h])
				}
				p.overlap[q] = max(p.overlap[q], tiny) // it is divided by
			}
			out = append(out, p)
		}
	}
	return out
}

// tell writes, for each question taken, about what its answer saves when the
// others are asked too.
func (l *lattice) tell(pairs []pair, saves []float64) {
	clear(saves)
	for i := range pairs {
		p := &pairs[i]
		x := p.mistake
		for _, q := range l.qs {
			x *= p.overlap[q]
		}
		for _, q := range l.qs {
			saves[q] += x/p.overlap[q] - x
		}
	}
}

// stay is the chance that action a fails under hypothesis h.
func (m *model) stay(h int32, a int) float64 {
	for _, e := range m.exits[h] {
		if int(e.action) == a {
			return e.stay
		}
	}
	return 1
}

// leave puts the actions left out in the order of the P/C rule.
func (l *lattice) leave(m *model, gone uint64) {
	n := len(l.live)
	left := slices.Repeat([]float64{1}, n) // chance that all so far have failed
	l.spent = zeroed(l.spent, n)
	for gone != 0 {
		pick, top := -1, 0.0
		for x := gone; x != 0; x &= x - 1 {
			a := bits.TrailingZeros64(x)
			var p float64
			for i, h := range l.live {
				p += m.prior[h] * left[i] * (1 - m.stay(h, a))
			}
			if r := p / max(m.p.Actions[a].Cost, tiny); r > top {
				pick, top = a, r
			}
		}
		if pick < 0 {
			break
		}
		gone &^= 1 << pick
		l.tail = append(l.tail, micro{Step{Do, pick}, 0}, micro{Step{Ask, l.proof}, l.fails})
		for i, h := range l.live {
			l.spent[i] += left[i] * m.p.Actions[pick].Cost
			left[i] *= m.stay(h, pick)
		}
	}
	for i := range l.live {
		l.spent[i] += left[i] * l.help
	}
}

// solve values every state, those with more answers first.
func (l *lattice) solve(m *model) {
	l.sets = 1 << len(l.as)
	l.stride, l.digits = zeroed(l.stride, len(m.lik)), l.digits[:0]
	all := 1
	for _, q := range l.qs {
		l.stride[q] = all
		l.digits = append(l.digits, len(m.lik[q]))
		all *= len(m.lik[q]) + 1
	}
	l.bit, l.cost = zeroed(l.bit, len(m.moves)), l.cost[:0]
	for i, a := range l.as {
		l.bit[a] = 1 << i
		l.cost = append(l.cost, m.p.Actions[a].Cost)
	}
	l.survive(m)
	l.mass, l.val, l.after = sized(l.mass, all*l.sets), sized(l.val, all*l.sets), l.after[:0]
	if len(l.tail) > 0 {
		l.after = sized(l.after, all*l.sets)
	}
	l.ask = sized(l.ask, l.sets)
	for r := all - 1; r >= 0; r-- {
		l.value(m, r)
		for i, q := range l.qs { // count down
			if l.digits[i]--; l.digits[i] >= 0 {
				break
			}
			l.digits[i] = len(m.lik[q])
		}
	}
}

func sized[T any](s []T, n int) []T { return slices.Grow(s[:0], n)[:n] }

func (l *lattice) survive(m *model) {
	l.surv = sized(l.surv, len(l.live)*l.sets)
	for i, h := range l.live {
		s := l.surv[i*l.sets : (i+1)*l.sets]
		s[0] = 1
		for _, a := range l.as {
			stay, b := m.stay(h, a), l.bit[a]
			for d, x := range s[:b] {
				s[b+d] = x * stay
			}
		}
	}
}

// row is the part of a table with the answers r.
func (l *lattice) row(table []float64, r int) []float64 { return table[r*l.sets : (r+1)*l.sets] }

// sum fills in, for the answers r, the weights of the hypotheses, each times its
// rate, added up.
func (l *lattice) sum(m *model, table []float64, r int, rate []float64) {
	w := l.row(table, r)
	if i := slices.Index(l.digits, 0); i >= 0 { // as a question not asked may be answered
		q := l.qs[i]
		copy(w, l.row(table, r+l.stride[q]))
		for o := range m.lik[q][1:] {
			for d, x := range l.row(table, r+(o+2)*l.stride[q]) {
				w[d] += x
			}
		}
		return
	}
	clear(w)
	for i, h := range l.live {
		x := m.prior[h]
		if rate != nil {
			x *= rate[i]
		}
		for k, q := range l.qs {
			x *= m.lik[q][l.digits[k]-1][h]
		}
		if x == 0 {
			continue
		}
		for d, s := range l.row(l.surv, i) {
			w[d] += x * s
		}
	}
}

// value values the states with the answers r.
func (l *lattice) value(m *model, r int) {
	w, v := l.row(l.mass, r), l.row(l.val, r)
	l.sum(m, l.mass, r, nil)
	for d, x := range w {
		v[d] = l.help * x
	}
	if len(l.tail) > 0 {
		l.sum(m, l.after, r, l.spent)
		for d, x := range l.row(l.after, r) {
			v[d] = min(v[d], x)
		}
	}
	for k, q := range l.qs {
		if l.digits[k] > 0 {
			continue
		}
		c, step := m.p.Questions[q].Cost, l.stride[q]
		if len(m.lik[q]) == 2 { // the usual, in one go
			x, y := l.row(l.val, r+step), l.row(l.val, r+2*step)
			for d := range v {
				v[d] = min(v[d], c*w[d]+x[d]+y[d])
			}
			continue
		}
		for d, x := range w {
			l.ask[d] = c * x
		}
		for o := range m.lik[q] {
			for d, x := range l.row(l.val, r+(o+1)*step) {
				l.ask[d] += x
			}
		}
		for d, x := range l.ask {
			v[d] = min(v[d], x)
		}
	}
	act(l.cost, w, v)
}

// act lowers v, what follows if no action is next, by what follows if one is. In
// the upper half the last action is done; it comes first.
func act(cost, w, v []float64) {
	n := len(cost)
	switch n {
	case 0:
		return
	case 3: // as below, three times as fast
		w, v := (*[8]float64)(w), (*[8]float64)(v)
		a, b, c := cost[0], cost[1], cost[2]
		v[6] = min(v[6], a*w[6]+v[7])
		v[5] = min(v[5], b*w[5]+v[7])
		v[4] = min(v[4], a*w[4]+v[5], b*w[4]+v[6])
		v[3] = min(v[3], c*w[3]+v[7])
		v[2] = min(v[2], a*w[2]+v[3], c*w[2]+v[6])
		v[1] = min(v[1], b*w[1]+v[3], c*w[1]+v[5])
		v[0] = min(v[0], a*w[0]+v[1], b*w[0]+v[2], c*w[0]+v[4])
		return
	}
	half := len(v) / 2
	act(cost[:n-1], w[half:], v[half:])
	c := cost[n-1]
	low, up, w := v[:half], v[half:], w[:half]
	for d, x := range w {
		low[d] = min(low[d], c*x+up[d])
	}
	act(cost[:n-1], w, low)
}

// seat is a state's place in the tables, from 1 on; 0 is none.
type seat int32

// told is the seat after answer o to question q.
func (l *lattice) told(at seat, q, o int) seat {
	switch {
	case at == 0 || q == l.proof && o == l.fails:
		return at
	case q == l.proof || l.stride[q] == 0:
		return 0
	}
	return at + seat((o+1)*l.stride[q]*l.sets)
}

// did is the seat after action a has failed.
func (l *lattice) did(at seat, a int) seat {
	if at == 0 || l.bit[a] == 0 {
		return 0
	}
	return at + seat(l.bit[a])
}

// total is the value of the policy from a seat on, weighted.
func (l *lattice) total(at seat) float64 { return l.end*l.mass[at-1] + l.val[at-1] }

// each gives the value of each step that can be taken at a seat, and asked says
// which questions cannot.
func (l *lattice) each(m *model, at seat, asked uint64, f func(Step, float64)) {
	w := l.mass[at-1]
	for _, q := range l.qs {
		if asked>>q&1 == 0 {
			v := m.p.Questions[q].Cost * w
			for o := range m.lik[q] {
				v += l.total(l.told(at, q, o))
			}
			f(Step{Ask, q}, v)
		}
	}
	for _, a := range l.as {
		if int(at-1)&l.bit[a] == 0 {
			to := l.did(at, a)
			f(Step{Do, a}, m.p.Actions[a].Cost*w+l.end*(w-l.mass[to-1])+l.total(to))
		}
	}
}

// sit gives a state of the search its seat, and the value that is known there.
func (s *Solver) sit(nd *node, at seat) {
	if at == 0 || nd.at != 0 {
		return
	}
	nd.at = at
	if v := s.lattice.total(at); v < nd.hi {
		nd.hi, nd.best = v, bestLattice
		nd.lo = min(nd.lo, nd.hi)
	}
}

// read is the value and tree of the plan from a seat on, as follow is from a
// state of the search.
func (s *Solver) read(c scene, at seat, depth int) (float64, *Tree) {
	l, m := &s.lattice, &s.m
	if depth <= 0 {
		return l.total(at), nil
	}
	step, best := Step{}, (l.end+l.help)*l.mass[at-1]
	var tail []micro
	if len(l.tail) > 0 {
		if v := l.end*l.mass[at-1] + l.after[at-1]; v < best {
			tail, best = l.tail, v
		}
	}
	l.each(m, at, c.asked, func(x Step, v float64) {
		if v < best {
			step, best = x, v
		}
	})
	switch step.Kind {
	case Ask:
		return s.ask(step.Index, c, depth, func(o int, next scene) (float64, *Tree) {
			return s.read(next, l.told(at, step.Index, o), depth-1)
		})
	case Do:
		t := s.leaf(c, step, depth)
		then := s.done(c, step.Index)
		var v float64
		var k *Tree
		if m.forced(then.state, then.idx) < 0 { // it cannot fail
			v, k = s.write(then, nil, depth-1)
		} else {
			v, k = s.ask(l.proof, then, depth-1, func(o int, next scene) (float64, *Tree) {
				if o != l.fails {
					return s.write(next, nil, depth-2)
				}
				return s.read(next, l.did(at, step.Index), depth-2)
			})
		}
		return note(t, v+c.mass()*m.doCost(c.state, step.Index), []*Tree{k})
	}
	return s.write(c, tail, depth)
}
