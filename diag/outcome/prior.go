package outcome

import (
	"math"
	"slices"
	"strconv"
)

// Dirichlet is what is believed about the shares of several causes: a prior in
// pseudo-counts, and the shop's own counts kept apart from it, so that what was
// learned can be shown and taken back.
type Dirichlet struct {
	prior  []float64
	counts []float64
}

// NewDirichlet starts from prior pseudo-counts, one positive number per cause and
// at least two causes.
func NewDirichlet(prior []float64) (Dirichlet, error) {
	if len(prior) < 2 {
		return Dirichlet{}, bad("prior", "%d causes; at least two are needed", len(prior))
	}
	for i, a := range prior {
		if !(a > 0) || !finite(a) {
			return Dirichlet{}, bad("prior["+strconv.Itoa(i)+"]", "%v must be a positive number", a)
		}
	}
	return Dirichlet{slices.Clone(prior), make([]float64, len(prior))}, nil
}

// DirichletFromMean starts from shares and the number of jobs they are worth: the
// pseudo-counts are shares times strength. Shares are scaled to sum to 1.
func DirichletFromMean(shares []float64, strength float64) (Dirichlet, error) {
	if !(strength > 0) || !finite(strength) {
		return Dirichlet{}, bad("strength", "%v must be a positive number of jobs", strength)
	}
	sum := 0.0
	for i, s := range shares {
		if !(s > 0) || !finite(s) {
			return Dirichlet{}, bad("shares["+strconv.Itoa(i)+"]", "%v must be positive; no cause is impossible", s)
		}
		sum += s
	}
	prior := make([]float64, len(shares))
	for i, s := range shares {
		prior[i] = s / sum * strength
	}
	return NewDirichlet(prior)
}

// Add returns the belief with counts of confirmed causes added (Spiegelhalter and
// Lauritzen, Networks 20, 1990: counts add). A negative count takes back what was
// added before; no total may fall below 0.
func (d Dirichlet) Add(counts []float64) (Dirichlet, error) {
	if len(counts) != len(d.prior) {
		return Dirichlet{}, bad("counts", "%d given for %d causes; give one each", len(counts), len(d.prior))
	}
	next := slices.Clone(d.counts)
	for i, c := range counts {
		next[i] += c
		if !finite(c) || !(next[i] >= 0) {
			return Dirichlet{}, bad("counts["+strconv.Itoa(i)+"]", "%v on top of %v must leave a count of at least 0", c, d.counts[i])
		}
	}
	return Dirichlet{d.prior, next}, nil
}

// Counts are the shop's own counts, without the prior.
func (d Dirichlet) Counts() []float64 { return slices.Clone(d.counts) }

// Prior is the belief with the shop's own counts taken away.
func (d Dirichlet) Prior() Dirichlet {
	return Dirichlet{d.prior, make([]float64, len(d.prior))}
}

// Mean gives the share of each cause: (prior + count) / (all priors + all counts).
func (d Dirichlet) Mean() []float64 {
	total := d.total()
	m := make([]float64, len(d.prior))
	for i := range m {
		m[i] = (d.prior[i] + d.counts[i]) / total
	}
	return m
}

func (d Dirichlet) total() float64 {
	total := 0.0
	for i := range d.prior {
		total += d.prior[i] + d.counts[i]
	}
	return total
}

// Share is the distribution of one cause's share, which is a Beta.
func (d Dirichlet) Share(i int) (Beta, error) {
	if i < 0 || i >= len(d.prior) {
		return Beta{}, bad("i", "%d is not one of the %d causes", i, len(d.prior))
	}
	a := d.prior[i] + d.counts[i]
	return Beta{a, d.total() - a}, nil
}

// Shrunk is James-Stein's answer: every mean pulled towards the grand mean.
type Shrunk struct {
	Mean   float64   // grand mean
	Factor float64   // 1 keeps the means as they are, 0 gives all the grand mean
	Values []float64 // Mean + Factor·(mean - Mean), in the order given
}

// JamesStein shrinks at least four means of one known sampling variance towards
// their average: Factor = 1 - (k-3)·variance/Σ(y-ȳ)², never below 0 (James and
// Stein 1961; towards the average: Efron and Morris, Scientific American 236(5),
// 1977). All means carry the unit of the variance's root.
func JamesStein(means []float64, variance float64) (Shrunk, error) {
	k := len(means)
	if k < 4 {
		return Shrunk{}, bad("means", "%d given; shrinking towards their average needs at least four", k)
	}
	if !(variance > 0) || !finite(variance) {
		return Shrunk{}, bad("variance", "%v must be a positive number", variance)
	}
	sum := 0.0
	for i, y := range means {
		if !finite(y) {
			return Shrunk{}, bad("means["+strconv.Itoa(i)+"]", "%v is not a number", y)
		}
		sum += y
	}
	s := Shrunk{Mean: sum / float64(k)}
	ss := 0.0
	for _, y := range means {
		ss += (y - s.Mean) * (y - s.Mean)
	}
	if ss > 0 {
		s.Factor = max(0, 1-float64(k-3)*variance/ss)
	}
	s.Values = make([]float64, k)
	for i, y := range means {
		s.Values[i] = s.Mean + s.Factor*(y-s.Mean)
	}
	return s, nil
}

// GroupRate is one group's rate after borrowing strength from all groups.
type GroupRate struct {
	Rate     float64  // posterior mean, 0 to 1
	Interval Interval // equal-tailed credible interval
	Weight   float64  // 0 to 1: how much of the answer is the group's own record
}

// ShrinkRates estimates the rate of each group (such as a technician's comebacks)
// when groups have unequal and small numbers. Each true rate is Beta around the
// pooled rate; given that prior's strength M (in jobs), a group's posterior is
// Beta(M·pooled + hits, M·(1-pooled) + misses). M is not fixed at one value, which
// would claim too much from few groups: it is averaged over the uniform-shrinkage
// prior (Daniels, Canadian Journal of Statistics 27, 1999; Christiansen and Morris,
// JASA 92, 1997), under which the weight M/(M+n₀) is uniform, n₀ being the mean
// group size, times the beta-binomial likelihood. A group without jobs gets the
// pooled answer.
func ShrinkRates(groups []Rate, level float64) ([]GroupRate, error) {
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	if len(groups) < 2 {
		return nil, bad("groups", "%d given; at least two are needed to borrow from each other", len(groups))
	}
	hits, n := 0, 0
	for i, g := range groups {
		if g.N < 0 || g.Hits < 0 || g.Hits > g.N {
			return nil, bad("groups["+strconv.Itoa(i)+"]", "%d of %d is not possible", g.Hits, g.N)
		}
		hits, n = hits+g.Hits, n+g.N
	}
	if n == 0 {
		return nil, bad("groups", "none has a finished job")
	}
	// Half a job of each outcome (Jeffreys) keeps the pooled rate off 0 and 1.
	pooled := (float64(hits) + 0.5) / (float64(n) + 1)
	typical := float64(n) / float64(len(groups))

	const grid = 48
	var strength, weight [grid]float64
	best := math.Inf(-1)
	for j := range grid {
		u := (float64(j) + 0.5) / grid
		m := typical * u / (1 - u)
		strength[j] = m
		for _, g := range groups {
			weight[j] += lbeta(m*pooled+float64(g.Hits), m*(1-pooled)+float64(g.N-g.Hits)) - lbeta(m*pooled, m*(1-pooled))
		}
		best = max(best, weight[j])
	}
	total := 0.0
	for j := range grid {
		weight[j] = math.Exp(weight[j] - best)
		total += weight[j]
	}
	out := make([]GroupRate, len(groups))
	for i, g := range groups {
		var parts [grid]Beta
		for j := range grid {
			weight := weight[j] / total
			parts[j] = Beta{strength[j]*pooled + float64(g.Hits), strength[j]*(1-pooled) + float64(g.N-g.Hits)}
			out[i].Rate += weight * parts[j].Mean()
			out[i].Weight += weight * float64(g.N) / (strength[j] + float64(g.N))
		}
		cdf := func(x float64) float64 {
			p := 0.0
			for j := range grid {
				if weight[j] > 1e-12*total {
					p += weight[j] / total * parts[j].CDF(x)
				}
			}
			return p
		}
		out[i].Interval = Interval{invert(cdf, (1-level)/2), invert(cdf, (1+level)/2)}
	}
	return out, nil
}

// invert finds where a rising function on 0 to 1 reaches p, to 1e-9.
func invert(cdf func(float64) float64, p float64) float64 {
	lo, hi := 0.0, 1.0
	for hi-lo > 1e-9 {
		mid := (lo + hi) / 2
		if cdf(mid) < p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
