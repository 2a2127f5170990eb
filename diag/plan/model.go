package plan

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// model is a Problem laid out for speed. Beliefs are unnormalised: the weight
// of a hypothesis is its probability together with everything seen on the way,
// so the value of a branch is added to its parent's as it stands.
type model struct {
	p         *Problem
	n         int
	prior     []float64
	lik       [][][]float64 // question, outcome, hypothesis
	moves     [][]move      // per action, only hypotheses it can change
	loss      [][]float64   // hypothesis, stop
	stopMin   []float64     // least loss per hypothesis
	exits     [][]exit      // per hypothesis, best chance per cost first
	order     []int32       // hypotheses, fewest faults first
	repeats   uint64        // questions that may be asked again
	free      uint64        // questions without cost that end no set-up and lose nothing by being asked now
	needy     uint64        // questions some action needs
	needs     []uint64      // per action
	ends      []uint64      // per stop, questions it needs
	gated     bool          // some stop needs a question
	fitted    bool          // some stop needs a set-up
	given     uint32        // set-ups that some question leaves without needing them
	giving    []float64     // per set-up, the least of its cost and that of a question that leaves it
	bundles   []bundle
	rate      []float64 // per bundle, one over its cost with a proof
	masks     []uint64  // per bundle, its actions
	byHyp     [][]share // per hypothesis, what each bundle would gain
	proofs    []int     // repeating questions, cheapest first
	proofCost float64   // of the cheapest proof
	sharp     []int     // per question with two outcomes, one that few hypotheses allow; or -1
	sharpAt   [][]int32 // and those hypotheses
	bare      bool      // no set-ups, no needs: a step's price is its cost
	kind      bool      // no loss is below zero
}

// maxAtOnce keeps what follows one step of the search within bounds. Questions
// beyond it are choices like any other.
const maxAtOnce = 1024

type arrow struct {
	to int32
	p  float64
}

// move is what an action does to one hypothesis.
type move struct {
	from int32
	stay float64
	to   []arrow
}

// exit is a way out of a hypothesis.
type exit struct {
	action int32
	stay   float64
	to     []arrow
}

// bundle is a set of actions done together before a proof.
type bundle struct {
	actions []int8 // in the order to do them
	mask    uint64
	cost    float64 // of the actions alone
}

type share struct {
	bundle int32
	gain   float64 // loss saved
	p      float64 // chance that nothing more can be saved
}

func (m *model) compile(p *Problem) {
	n := len(p.Hypotheses)
	*m = model{p: p, n: n}
	m.prior = make([]float64, n)
	var sum float64
	for _, h := range p.Hypotheses {
		sum += h.P
	}
	at := make(map[uint64]int32, n)
	for i, h := range p.Hypotheses {
		m.prior[i] = h.P / sum
		at[h.Faults] = int32(i)
	}

	atOnce := 1 // ways in which the free questions may be answered
	m.lik = make([][][]float64, len(p.Questions))
	for i, q := range p.Questions {
		m.lik[i] = make([][]float64, len(q.Outcomes))
		for o, out := range q.Outcomes {
			m.lik[i][o] = out.P
		}
		if q.Repeats {
			m.repeats |= 1 << i
			m.proofs = append(m.proofs, i)
		}
		if k := atOnce * len(q.Outcomes); q.Cost == 0 && q.Ends == 0 && (q.Repeats || len(p.Actions) == 0) && k <= maxAtOnce {
			m.free |= 1 << i
			atOnce = k
		}
	}
	for i, s := range p.Setups {
		c := s.Cost
		for _, q := range p.Questions {
			if q.Leaves>>i&1 == 1 {
				c = min(c, q.Cost)
			}
		}
		m.giving = append(m.giving, c)
	}
	for _, q := range p.Questions {
		m.given |= q.Leaves
	}
	m.sharp = slices.Repeat([]int{-1}, len(p.Questions))
	m.sharpAt = make([][]int32, len(p.Questions))
	for _, q := range m.proofs {
		for o, row := range m.lik[q] {
			var at []int32
			for h, x := range row {
				if x > 0 {
					at = append(at, int32(h))
				}
			}
			if len(m.lik[q]) == 2 && len(at) <= 4 {
				m.sharp[q], m.sharpAt[q] = o, at
			}
		}
	}
	slices.SortStableFunc(m.proofs, func(a, b int) int { return cmp.Compare(p.Questions[a].Cost, p.Questions[b].Cost) })

	m.kind, m.bare = true, len(p.Setups) == 0
	if len(m.proofs) > 0 {
		m.proofCost = p.Questions[m.proofs[0]].Cost
	}
	m.stopMin = make([]float64, n)
	m.loss = make([][]float64, n)
	all := make([]float64, n*len(p.Stops))
	for h := range m.stopMin {
		m.loss[h] = all[h*len(p.Stops):][:len(p.Stops)]
		m.stopMin[h] = math.Inf(1)
		for i, s := range p.Stops {
			m.loss[h][i] = s.Loss[h]
			m.stopMin[h] = min(m.stopMin[h], s.Loss[h])
			m.kind = m.kind && s.Loss[h] >= 0
		}
	}

	for _, s := range p.Stops {
		var need uint64
		for _, q := range s.Needs {
			need |= 1 << q
		}
		m.ends = append(m.ends, need)
		m.needy |= need
		m.gated = m.gated || need != 0
		m.fitted = m.fitted || s.Setup != 0
	}

	m.moves = make([][]move, len(p.Actions))
	m.needs = make([]uint64, len(p.Actions))
	m.exits = make([][]exit, n)
	for j := range p.Actions {
		a := &p.Actions[j]
		for _, q := range a.Needs {
			m.needs[j] |= 1 << q
			m.needy |= 1 << q
			m.bare = false
		}
		mask := a.mask()
		for h := range n {
			if p.Hypotheses[h].Faults&mask == 0 {
				continue
			}
			mv := move{from: int32(h)}
			a.each(p.Hypotheses[h].Faults, func(left uint64, pr float64) {
				if left == p.Hypotheses[h].Faults {
					mv.stay = pr
				} else {
					mv.to = append(mv.to, arrow{at[left], pr})
				}
			})
			if len(mv.to) > 0 {
				m.moves[j] = append(m.moves[j], mv)
				m.exits[h] = append(m.exits[h], exit{int32(j), mv.stay, mv.to})
			}
		}
	}
	for h := range m.exits {
		slices.SortStableFunc(m.exits[h], func(a, b exit) int {
			return cmp.Compare((1-b.stay)*p.Actions[a.action].Cost, (1-a.stay)*p.Actions[b.action].Cost)
		})
	}
	for h := range int32(n) {
		if m.prior[h] > 0 || len(p.Actions) > 0 { // else nothing leads to it
			m.order = append(m.order, h)
		}
	}
	slices.SortStableFunc(m.order, func(a, b int32) int {
		return cmp.Compare(bits.OnesCount64(p.Hypotheses[a].Faults), bits.OnesCount64(p.Hypotheses[b].Faults))
	})
	m.compileBundles()
}

// compileBundles lists what a policy without questions may do between proofs:
// each action alone and, for each hypothesis, the cheapest chain that clears it.
func (m *model) compileBundles() {
	seen := map[string]bool{}
	add := func(seq []int8) {
		key := make([]byte, len(seq))
		for i, a := range seq {
			key[i] = byte(a)
		}
		if len(seq) > 0 && !seen[string(key)] {
			seen[string(key)] = true
			b := bundle{actions: seq}
			for _, a := range seq {
				b.mask |= 1 << a
				b.cost += m.p.Actions[a].Cost
			}
			m.bundles = append(m.bundles, b)
		}
	}
	for j := range m.moves {
		add([]int8{int8(j)})
	}
	best := make([]float64, m.n)
	seq := make([][]int8, m.n)
	for _, h := range m.order {
		best[h] = m.stopMin[h]
		for _, e := range m.exits[h] {
			v := m.p.Actions[e.action].Cost
			for _, t := range e.to {
				v += t.p * best[t.to]
			}
			if v /= 1 - e.stay; v >= best[h] {
				continue
			}
			best[h] = v
			chain := []int8{int8(e.action)}
			for _, t := range e.to {
				for _, a := range seq[t.to] {
					if !slices.Contains(chain, a) {
						chain = append(chain, a)
					}
				}
			}
			seq[h] = chain
		}
		add(seq[h])
	}
	// A bundle's gain under a hypothesis is the loss it saves. Only hypotheses
	// that the bundle may clear altogether are looked at.
	var mendable uint64
	for j := range m.p.Actions {
		mendable |= m.p.Actions[j].mask()
	}
	for _, b := range m.bundles {
		m.masks = append(m.masks, b.mask)
		m.rate = append(m.rate, 1/max(b.cost+m.proofCost, tiny))
	}
	m.byHyp = make([][]share, m.n)
	now := make([]float64, m.n)
	var reach []int32
	for k := range m.bundles {
		var mends uint64
		for _, a := range m.bundles[k].actions {
			mends |= m.p.Actions[a].mask()
		}
		for h := range m.n {
			f := m.p.Hypotheses[h].Faults & mendable
			if f == 0 || f&^mends != 0 {
				continue
			}
			now[h] = 1
			reach = append(reach[:0], int32(h))
			for _, a := range m.bundles[k].actions {
				for i := range len(reach) {
					reach = m.trace(int32(a), reach[i], now, reach)
				}
			}
			var gain, most float64
			for _, r := range reach {
				saved := m.stopMin[h] - m.stopMin[r]
				gain += now[r] * saved
				most = max(most, saved)
				now[r] = 0
			}
			if gain > 0 {
				m.byHyp[h] = append(m.byHyp[h], share{int32(k), gain, gain / most})
			}
		}
	}
}

// trace takes action a from hypothesis r of a belief and notes what it reaches.
func (m *model) trace(a, r int32, now []float64, reach []int32) []int32 {
	for i := range m.exits[r] {
		e := &m.exits[r][i]
		if e.action != a {
			continue
		}
		w := now[r]
		now[r] = w * e.stay
		for _, t := range e.to {
			if !slices.Contains(reach, t.to) {
				reach = append(reach, t.to)
			}
			now[t.to] += w * t.p
		}
		break
	}
	return reach
}

// setupCost is what it costs to put the missing set-ups in place.
func (m *model) setupCost(need, open uint32) float64 {
	var c float64
	for left := need &^ open; left != 0; left &= left - 1 { // seldom any
		c += m.p.Setups[bits.TrailingZeros32(left)].Cost
	}
	return c
}

// state is everything but the belief.
type state struct {
	asked uint64 // questions that may not be asked (again) now
	ever  uint64 // questions some action needs that have been asked
	done  uint64
	open  uint32
}

func (m *model) askCost(s state, q int) float64 {
	qu := &m.p.Questions[q]
	return qu.Cost + m.setupCost(qu.Setup, s.open)
}

func (m *model) afterAsk(s state, q int) state {
	qu := &m.p.Questions[q]
	s.asked |= 1 << q
	s.ever |= 1 << q & m.needy
	s.open = (s.open | qu.Setup | qu.Leaves) &^ qu.Ends
	return s
}

func (m *model) doCost(s state, a int) float64 {
	ac := &m.p.Actions[a]
	return ac.Cost + m.setupCost(ac.Setup, s.open)
}

func (m *model) afterDo(s state, a int) state {
	ac := &m.p.Actions[a]
	s.done |= 1 << a
	s.asked &^= m.repeats
	s.open = (s.open | ac.Setup) &^ ac.Ends
	return s
}

func (m *model) allowed(s state, a int) bool {
	return s.done>>a&1 == 0 && (m.needs[a] == 0 || m.needs[a]&s.ever != 0)
}

// needCost is the least cost of a question that would allow action a.
func (m *model) needCost(s state, a int) (float64, int) {
	if m.needs[a] == 0 || m.needs[a]&s.ever != 0 {
		return 0, -1
	}
	c, at := math.Inf(1), -1
	for left := m.needs[a] &^ s.asked; left != 0; left &= left - 1 {
		q := bits.TrailingZeros64(left)
		if v := m.askCost(s, q); v < c {
			c, at = v, q
		}
	}
	return c, at
}

// firstExtra is the least that must be paid besides its cost before action a
// can be done: set-ups, and a question that allows it.
func (m *model) firstExtra(s state, a int) float64 {
	return m.gateCost(s, m.needs[a], m.p.Actions[a].Setup)
}

// gateCost is the least that must be paid for set-ups, and for one of the questions
// needed, before a stop or an action is open. Of the set-ups that questions leave only
// the dearest counts, as one question may leave several.
func (m *model) gateCost(s state, need uint64, setup uint32) float64 {
	gift := 0.0
	for left := setup & m.given &^ s.open; left != 0; left &= left - 1 {
		gift = max(gift, m.giving[bits.TrailingZeros32(left)])
	}
	open := s.open | m.given
	if need == 0 || need&s.ever != 0 {
		return m.setupCost(setup, open) + gift
	}
	c := math.Inf(1)
	for left := need &^ s.asked; left != 0; left &= left - 1 {
		q := &m.p.Questions[bits.TrailingZeros64(left)]
		c = min(c, m.setupCost(setup|q.Setup, open)+max(q.Cost, gift))
	}
	return c
}

func (m *model) openStop(s state, i int) bool { return m.ends[i] == 0 || m.ends[i]&s.ever != 0 }

// endCost is what the set-ups cost that a stop still needs.
func (m *model) endCost(s state, i int) float64 {
	if !m.fitted {
		return 0
	}
	return m.setupCost(m.p.Stops[i].Setup, s.open)
}

// least is the least of the losses of the stops that are open, with their set-ups.
func (m *model) least(s state, loss []float64, mass float64) float64 {
	v := math.Inf(1)
	for i, x := range loss {
		if m.openStop(s, i) {
			v = min(v, x+mass*m.endCost(s, i))
		}
	}
	return v
}

// clairvoyant writes, for each hypothesis, a figure that no policy can beat if
// that hypothesis is the true state: what it costs someone who knows it, who
// sees at no cost whether an action took, and who pays only the first set-up.
//
// With one way out of a hypothesis, or several to the same place, the actions
// are tried in the order of chance per cost, each once (Heckerman et al. 1995).
// Otherwise an action may be repeated until it takes, which only flatters.
func (m *model) clairvoyant(s state, v, u []float64) {
	var gate []float64 // per stop, what must be paid before it is open
	if m.gated || m.fitted {
		for i, need := range m.ends {
			gate = append(gate, m.gateCost(s, need, m.p.Stops[i].Setup))
		}
	}
	for _, h := range m.order {
		stop := m.stopMin[h]
		// After an action nothing of the gate may be left to pay: the action may need the
		// same questions and set-ups.
		now := stop
		if gate != nil {
			now = math.Inf(1)
			for i, x := range m.loss[h] {
				now = min(now, x+gate[i])
			}
		}
		plain, first := stop, now
		target, same := int32(-1), true
		least := math.Inf(1)
		live := 0
		for i := range m.exits[h] {
			e := &m.exits[h][i]
			if s.done>>e.action&1 == 1 {
				continue
			}
			extra := m.firstExtra(s, int(e.action))
			if math.IsInf(extra, 1) {
				continue
			}
			live++
			least = min(least, extra)
			c := m.p.Actions[e.action].Cost
			for _, t := range e.to {
				c += t.p * u[t.to]
				if target < 0 {
					target = t.to
				}
				same = same && target == t.to
			}
			c /= 1 - e.stay
			plain = min(plain, c)
			first = min(first, c+extra)
		}
		if live > 1 && same {
			best, acc, rem := stop, 0.0, 1.0
			for i := range m.exits[h] {
				e := &m.exits[h][i]
				if s.done>>e.action&1 == 1 {
					continue
				}
				if math.IsInf(m.firstExtra(s, int(e.action)), 1) {
					continue
				}
				acc += rem * (m.p.Actions[e.action].Cost + (1-e.stay)*u[target])
				rem *= e.stay
				best = min(best, acc+rem*stop)
			}
			plain = best
			first = min(now, best+least)
		}
		u[h], v[h] = plain, first
	}
}
