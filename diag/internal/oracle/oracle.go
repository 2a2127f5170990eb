// Package oracle answers questions about small probability models by listing
// every case and adding up exact fractions. It is slow and obvious on purpose:
// tests hold the fast code against it. Nothing but tests may import it.
package oracle

import (
	"fmt"
	"math/big"
)

// Rat reads an exact number such as "0.05", "1/3" or "1e-6". It panics on
// anything else, as its callers are tests with literal numbers.
func Rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic("oracle: not a number: " + s)
	}
	return r
}

// Float is the exact fraction nearest to what f holds.
func Float(f float64) *big.Rat {
	r := new(big.Rat).SetFloat64(f)
	if r == nil {
		panic(fmt.Sprintf("oracle: not finite: %v", f))
	}
	return r
}

// Net is a discrete Bayesian network. Nodes are added parents first.
type Net struct {
	nodes []node
	index map[string]int
}

type node struct {
	name    string
	states  []string
	parents []int
	cpt     [][]*big.Rat // one row per combination of parent states
}

// Evidence fixes nodes to states.
type Evidence map[string]string

// Add puts a node into the network. Rows of the table run over the parents'
// states like an odometer, the last parent turning fastest; each row holds one
// probability per state of this node and must add up to exactly one.
func (n *Net) Add(name string, states, parents []string, rows ...[]string) error {
	if n.index == nil {
		n.index = map[string]int{}
	}
	if _, ok := n.index[name]; ok {
		return fmt.Errorf("node %q: added twice", name)
	}
	nd := node{name: name, states: states}
	want := 1
	for _, p := range parents {
		i, ok := n.index[p]
		if !ok {
			return fmt.Errorf("node %q: parent %q is not there yet", name, p)
		}
		nd.parents = append(nd.parents, i)
		want *= len(n.nodes[i].states)
	}
	if len(rows) != want {
		return fmt.Errorf("node %q: %d rows, want %d", name, len(rows), want)
	}
	for r, row := range rows {
		if len(row) != len(states) {
			return fmt.Errorf("node %q row %d: %d numbers, want %d", name, r, len(row), len(states))
		}
		sum := new(big.Rat)
		var exact []*big.Rat
		for _, s := range row {
			v, ok := new(big.Rat).SetString(s)
			if !ok || v.Sign() < 0 {
				return fmt.Errorf("node %q row %d: %q is not a probability", name, r, s)
			}
			exact = append(exact, v)
			sum.Add(sum, v)
		}
		if sum.Cmp(one) != 0 {
			return fmt.Errorf("node %q row %d: adds up to %s, want 1", name, r, sum.RatString())
		}
		nd.cpt = append(nd.cpt, exact)
	}
	n.index[name] = len(n.nodes)
	n.nodes = append(n.nodes, nd)
	return nil
}

var one = big.NewRat(1, 1)

// YesNo adds a node with the states "y" and "n", given the probability of "y"
// in each row.
func (n *Net) YesNo(name string, parents []string, yes ...string) error {
	rows := make([][]string, len(yes))
	for i, s := range yes {
		y, ok := new(big.Rat).SetString(s)
		if !ok {
			return fmt.Errorf("node %q row %d: %q is not a probability", name, i, s)
		}
		rows[i] = []string{y.RatString(), new(big.Rat).Sub(one, y).RatString()}
	}
	return n.Add(name, []string{"y", "n"}, parents, rows...)
}

// Answer is the probability of the evidence and, given it, of every state of
// every node.
type Answer struct {
	Evidence *big.Rat
	Marginal map[string]map[string]*big.Rat
}

// Query lists every joint state. It fails on unknown names and on evidence of
// probability zero.
func (n *Net) Query(e Evidence) (Answer, error) {
	fixed := make([]int, len(n.nodes))
	for i := range fixed {
		fixed[i] = -1
	}
	for name, state := range e {
		i, ok := n.index[name]
		if !ok {
			return Answer{}, fmt.Errorf("evidence: no node %q", name)
		}
		for s, st := range n.nodes[i].states {
			if st == state {
				fixed[i] = s
			}
		}
		if fixed[i] < 0 {
			return Answer{}, fmt.Errorf("evidence: node %q has no state %q", name, state)
		}
	}
	sums := make([][]*big.Rat, len(n.nodes))
	for i, nd := range n.nodes {
		for range nd.states {
			sums[i] = append(sums[i], new(big.Rat))
		}
	}
	total := new(big.Rat)
	at := make([]int, len(n.nodes))
	var walk func(i int, p *big.Rat)
	walk = func(i int, p *big.Rat) {
		if p.Sign() == 0 {
			return
		}
		if i == len(n.nodes) {
			total.Add(total, p)
			for k, s := range at {
				sums[k][s].Add(sums[k][s], p)
			}
			return
		}
		nd := n.nodes[i]
		row := 0
		for _, q := range nd.parents {
			row = row*len(n.nodes[q].states) + at[q]
		}
		for s := range nd.states {
			if fixed[i] >= 0 && fixed[i] != s {
				continue
			}
			at[i] = s
			walk(i+1, new(big.Rat).Mul(p, nd.cpt[row][s]))
		}
	}
	walk(0, one)
	if total.Sign() == 0 {
		return Answer{}, fmt.Errorf("evidence: impossible in this network")
	}
	a := Answer{Evidence: total, Marginal: map[string]map[string]*big.Rat{}}
	for i, nd := range n.nodes {
		m := map[string]*big.Rat{}
		for s, name := range nd.states {
			m[name] = new(big.Rat).Quo(sums[i][s], total)
		}
		a.Marginal[nd.name] = m
	}
	return a, nil
}

// Sets is a model over all sets of up to about twenty causes. Prior gives the
// weight of a set (bit i set: cause i is there); weights need not add up to
// one. Each entry of Seen is the likelihood of one piece of evidence.
type Sets struct {
	Causes int
	Prior  func(set uint64) *big.Rat
	Seen   []func(set uint64) *big.Rat
}

// Posterior is what Sets.Query finds. Evidence is relative to the total prior
// weight.
type Posterior struct {
	Evidence *big.Rat
	Set      map[uint64]*big.Rat // sets of positive probability
	Cause    []*big.Rat          // marginals
}

// Query lists every set of causes.
func (m Sets) Query() (Posterior, error) {
	if m.Causes < 0 || m.Causes > 24 {
		return Posterior{}, fmt.Errorf("causes: %d, want 0 to 24", m.Causes)
	}
	prior, total := new(big.Rat), new(big.Rat)
	out := Posterior{Set: map[uint64]*big.Rat{}}
	for range m.Causes {
		out.Cause = append(out.Cause, new(big.Rat))
	}
	for set := range uint64(1) << m.Causes {
		w := new(big.Rat).Set(m.Prior(set))
		prior.Add(prior, w)
		for _, f := range m.Seen {
			if w.Sign() == 0 {
				break
			}
			w.Mul(w, f(set))
		}
		if w.Sign() == 0 {
			continue
		}
		total.Add(total, w)
		out.Set[set] = w
	}
	if total.Sign() == 0 {
		return Posterior{}, fmt.Errorf("evidence: impossible under every set of causes")
	}
	for set, w := range out.Set {
		w.Quo(w, total)
		for i := range m.Causes {
			if set>>i&1 == 1 {
				out.Cause[i].Add(out.Cause[i], w)
			}
		}
	}
	out.Evidence = total.Quo(total, prior)
	return out, nil
}

// Independent is the prior under which causes come and go on their own, cause i
// with probability p[i].
func Independent(p ...*big.Rat) func(uint64) *big.Rat {
	return func(set uint64) *big.Rat {
		w := new(big.Rat).Set(one)
		for i, q := range p {
			if set>>i&1 == 1 {
				w.Mul(w, q)
			} else {
				w.Mul(w, new(big.Rat).Sub(one, q))
			}
		}
		return w
	}
}

// NoisyOr is the chance of a sign that shows on its own with probability leak
// and that cause i brings about with probability q[i]; seen says whether the
// sign was there.
func NoisyOr(seen bool, leak *big.Rat, q ...*big.Rat) func(uint64) *big.Rat {
	return func(set uint64) *big.Rat {
		quiet := new(big.Rat).Sub(one, leak)
		for i, p := range q {
			if set>>i&1 == 1 {
				quiet.Mul(quiet, new(big.Rat).Sub(one, p))
			}
		}
		if seen {
			return quiet.Sub(one, quiet)
		}
		return quiet
	}
}
