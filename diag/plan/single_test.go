package plan

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// single is a troubleshooting model with one fault out of several, in the style
// of Jensen et al., "The SACSO methodology for troubleshooting complex systems"
// (AI EDAM 15, 2001): actions that mend a cause with some probability and whose
// success is seen at once, questions with several answers, and a call for help
// that always ends it.
type single struct {
	prior []float64
	cost  []float64   // per action
	mends [][]float64 // action, cause
	qcost []float64
	ans   [][][]float64 // question, answer, cause
	help  float64
}

// publishedSizes are the actions and questions of the nine models of table 2 in
// Jensen et al. (2001).
var publishedSizes = [][2]int{{6, 2}, {9, 3}, {11, 3}, {12, 3}, {13, 4}, {14, 4}, {9, 9}, {16, 5}, {10, 10}}

func logUniform(rng *rand.Rand, low, high float64) float64 {
	return low * math.Pow(high/low, rng.Float64())
}

// randomSingle draws a model. There are more causes than actions; an action
// mends one to a few causes; a question tells some causes apart and is blind to
// the others. How dear questions are, how sharp, how even the causes and how dear
// the call for help is itself drawn, so that the models differ in kind. In every
// third model some questions come in twins that say something only together, as
// a reading and its reference do: no rule that looks one question ahead sees
// their worth.
func randomSingle(rng *rand.Rand, actions, questions int) *single {
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	var (
		causes  = actions + 1 + rng.IntN(actions)
		uneven  = between(0.3, 2)
		dear    = logUniform(rng, 2, 20)     // dearest action over cheapest
		asking  = logUniform(rng, 0.02, 0.3) // price of a question over an action
		blindP  = between(0, 0.6)
		sureP   = between(0.6, 1)
		firstP  = between(0.4, 1)
		seconds = rng.IntN(4)
		help    = logUniform(rng, 0.3, 2)
		twins   = rng.IntN(3) == 0 && questions >= 2
	)
	m := &single{}
	for range causes {
		m.prior = append(m.prior, math.Pow(rng.ExpFloat64(), uneven))
	}
	for range actions {
		c := 10 * logUniform(rng, 1, dear)
		m.cost = append(m.cost, c)
		m.help += c * help
		m.mends = append(m.mends, make([]float64, causes))
	}
	for c := range causes {
		// The first causes have an action each, so that no action is idle.
		first := c
		if c >= actions {
			first = rng.IntN(actions)
		}
		m.mends[first][c] = between(firstP, 1)
		for range rng.IntN(seconds + 1) {
			if a := rng.IntN(actions); m.mends[a][c] == 0 {
				m.mends[a][c] = between(0.1, 0.9)
			}
		}
	}
	twin := make([]int, causes) // what the reference read
	if twins {
		for c := range causes {
			m.prior = append(m.prior, m.prior[c])
			twin = append(twin, 1)
			for a := range actions {
				m.mends[a] = append(m.mends[a], m.mends[a][c])
			}
		}
	}
	total := mass(m.prior)
	for c := range m.prior {
		m.prior[c] /= total
	}
	for q := range questions {
		m.qcost = append(m.qcost, m.help/help/float64(actions)*asking*logUniform(rng, 0.4, 2.5))
		k := 2
		switch x := rng.Float64(); {
		case x > 0.95:
			k = 4
		case x > 0.7:
			k = 3
		}
		reference, reading := twins && q == 0, twins && q == 1
		if reference || reading {
			k = 2
		}
		blind := make([]float64, k)
		var s float64
		for o := range blind {
			blind[o] = between(0.2, 1.2)
			s += blind[o]
		}
		answers := make([][]float64, k)
		for o := range answers {
			answers[o] = make([]float64, len(m.prior))
		}
		for c := range causes {
			points, sure := rng.IntN(k), between(sureP, 1)
			unseen := rng.Float64() < blindP && !reading
			for h := c; h < len(m.prior); h += causes {
				for o := range answers {
					var x float64
					switch {
					case reference && o == twin[h], reading && o == points^twin[h]:
						x = 1
					case reference || reading:
					case unseen:
						x = blind[o] / s
					case o == points:
						x = sure
					default:
						x = (1 - sure) / float64(k-1)
					}
					answers[o][h] = x
				}
			}
		}
		m.ans = append(m.ans, answers)
	}
	return m
}

// problem is the model as the planner takes it.
func (m *single) problem() *Problem {
	n := len(m.prior)
	p := &Problem{Hypotheses: make([]Hypothesis, n+1)}
	for c, x := range m.prior {
		p.Hypotheses[c+1] = Hypothesis{1 << c, x}
	}
	widen := func(x []float64, clean float64) []float64 { return append([]float64{clean}, x...) }
	for q, answers := range m.ans {
		qu := Question{ID: fmt.Sprint("q", q), Cost: m.qcost[q]}
		for _, a := range answers {
			qu.Outcomes = append(qu.Outcomes, Outcome{P: widen(a, 1/float64(len(answers)))})
		}
		p.Questions = append(p.Questions, qu)
	}
	p.Questions = append(p.Questions, solved(n+1))
	for a, c := range m.cost {
		ac := Action{ID: fmt.Sprint("a", a), Cost: c}
		p.Actions = append(p.Actions, ac)
		for h, x := range m.mends[a] {
			if x > 0 {
				p.Actions[a].Mends = append(p.Actions[a].Mends, Mend{Fault: h, P: x})
			}
		}
	}
	help := Stop{ID: "help", Loss: slices.Repeat([]float64{m.help}, n+1)}
	help.Loss[0] = 0
	p.Stops = []Stop{help}
	return p
}

// solved is the proof that costs nothing and never errs; hypothesis 0 is clean.
func solved(n int) Question {
	yes, no := make([]float64, n), slices.Repeat([]float64{1}, n)
	yes[0], no[0] = 1, 0
	return Question{ID: "solved", Repeats: true, Outcomes: []Outcome{{"yes", yes}, {"no", no}}}
}

// The rest of this file is the published one-step rules, written apart from the
// planner. A belief is the weight of each cause with all that was seen.

func mass(w []float64) float64 {
	var s float64
	for _, x := range w {
		s += x
	}
	return s
}

func (m *single) fail(w []float64, a int) []float64 {
	out := make([]float64, len(w))
	for c, x := range w {
		out[c] = x * (1 - m.mends[a][c])
	}
	return out
}

func (m *single) answer(w []float64, q, o int) []float64 {
	out := make([]float64, len(w))
	for c, x := range w {
		out[c] = x * m.ans[q][o][c]
	}
	return out
}

// bestAction is the P/C rule: the action with the most success per cost.
func (m *single) bestAction(w []float64, done uint64) int {
	pick, top := -1, 0.0
	for a, cost := range m.cost {
		if done>>a&1 == 1 {
			continue
		}
		var p float64
		for c, x := range w {
			p += x * m.mends[a][c]
		}
		if r := p / cost; r > top {
			pick, top = a, r
		}
	}
	return pick
}

// ecr is the expected cost of repair of the P/C order, chances taken anew after
// each failure (Heckerman, Breese & Rommelse 1995), with the call for help taken
// once it is cheaper than the rest.
func (m *single) ecr(w []float64, done uint64) float64 {
	best := mass(w) * m.help
	var acc float64
	for {
		a := m.bestAction(w, done)
		if a < 0 {
			return best
		}
		acc += mass(w) * m.cost[a]
		w, done = m.fail(w, a), done|1<<a
		best = min(best, acc+mass(w)*m.help)
	}
}

type rule int

const (
	ruleNoQuestions rule = iota // P/C alone
	ruleNowOrNever              // Langseth & Jensen (2003), eq. 4
	ruleThreeWay                // eq. 5: now, after the best action, or never
)

// follow is the expected total of acting by a rule to the end.
func (m *single) follow(r rule) float64 {
	memo := map[string]float64{}
	var walk func(w []float64, done, asked uint64, key string) float64
	walk = func(w []float64, done, asked uint64, key string) float64 {
		if mass(w) == 0 {
			return 0
		}
		at := fmt.Sprint(key, done)
		if v, ok := memo[at]; ok {
			return v
		}
		never := m.ecr(w, done)
		a := m.bestAction(w, done)
		ask, top := -1, never
		if r != ruleNoQuestions {
			for q := range m.qcost {
				if asked>>q&1 == 1 {
					continue
				}
				now := mass(w) * m.qcost[q]
				for o := range m.ans[q] {
					now += m.ecr(m.answer(w, q, o), done)
				}
				if now >= top {
					continue
				}
				if r == ruleThreeWay && a >= 0 {
					f := m.fail(w, a)
					later := mass(w)*m.cost[a] + mass(f)*m.qcost[q]
					for o := range m.ans[q] {
						later += m.ecr(m.answer(f, q, o), done|1<<a)
					}
					if now >= later {
						continue
					}
				}
				ask, top = q, now
			}
		}
		var v float64
		switch {
		case ask >= 0:
			v = mass(w) * m.qcost[ask]
			for o := range m.ans[ask] {
				v += walk(m.answer(w, ask, o), done, asked|1<<ask, fmt.Sprint(key, ask, "=", o, ";"))
			}
		case a < 0 || m.ecr(w, done) >= mass(w)*m.help:
			v = mass(w) * m.help
		default:
			v = mass(w)*m.cost[a] + walk(m.fail(w, a), done|1<<a, asked, key)
		}
		memo[at] = v
		return v
	}
	return walk(m.prior, 0, 0, "")
}
