package diag

import (
	"cmp"
	"math/bits"
	"slices"
)

// Looking is how long the search for the cause is going to take: the minutes of its
// tests and what they need first, up to the verdict. What is mended afterwards is not
// in it.
type Looking struct {
	Minutes   float64 // expected
	Minutes90 float64 // nine such cars in ten take no longer
	Beyond    float64 // probability that it goes on past what was counted
}

const rareBranch = 2e-3 // branches rarer than this are not followed further

// LookingFor reckons how long the search takes from here, over all that the car may
// turn out to have. A case that is settled takes no time. The error is Problems, for a
// case that Check refuses.
func LookingFor(c Case) (Looking, error) {
	if err := c.Check().err(); err != nil {
		return Looking{}, err
	}
	d := trade().believe(c, nil)
	d.plan()
	s := &search{d: d}
	s.scout, _ = d.pr.compass.scouts()
	if m, ok := d.first(d.pr.choose()); ok && m.ask >= 0 {
		s.follow(d.pr.belief(), 1, 0, d.pr.start())
	}
	l := Looking{Beyond: s.beyond}
	l.Minutes, l.Minutes90 = spread(s.ends)
	return l, nil
}

type branch struct{ p, minutes float64 }

// search follows the plan answer by answer.
type search struct {
	d      *decision
	scout  *scout
	ends   []branch
	beyond float64
}

func (s *search) follow(belief []float64, p, minutes float64, at moment) {
	pr := s.d.pr
	m := s.scout.best(belief, at)
	if m.ask < 0 {
		s.ends = append(s.ends, branch{p, minutes})
		return
	}
	qu := &pr.problem.Questions[m.ask]
	minutes += pr.questions[m.ask].minutes
	for b := qu.Setup &^ at.place; b != 0; b &= b - 1 {
		minutes += s.d.c.w.m.Setups[pr.local[bits.TrailingZeros32(b)].setup].Minutes
	}
	if p < rareBranch {
		s.ends = append(s.ends, branch{p, minutes})
		s.beyond += p
		return
	}
	_, then := s.scout.cost(m.ask, at)
	for _, o := range qu.Outcomes {
		next, mass := make([]float64, len(belief)), 0.0
		for i, b := range belief {
			next[i] = b * o.P[i]
			mass += next[i]
		}
		if mass <= 0 {
			continue
		}
		for i := range next {
			next[i] /= mass
		}
		s.follow(next, p*mass, minutes, then)
	}
}

// spread gives the mean of branches and their 90 % quantile: the least number of
// minutes that at least nine tenths of them stay within.
func spread(ends []branch) (mean, p90 float64) {
	slices.SortFunc(ends, func(a, b branch) int { return cmp.Compare(a.minutes, b.minutes) })
	total := 0.0
	for _, e := range ends {
		total += e.p
		mean += e.p * e.minutes
	}
	if total == 0 {
		return 0, 0
	}
	sum := 0.0
	for _, e := range ends {
		sum += e.p
		p90 = e.minutes
		if sum >= 0.9*total*(1-1e-12) {
			break
		}
	}
	return mean / total, p90
}
