package diag

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"crosscount/diag/plan"
)

// Looking is how long the search for the cause is going to take: the minutes of its
// tests and what they need first, up to the verdict. What is mended afterwards is not
// in it.
type Looking struct {
	Minutes   float64 // expected
	Minutes90 float64 // nine such cars in ten take no longer
	Beyond    float64 // probability that it goes on past what was counted
}

const (
	stepsLooked = 12   // how deep the plan is followed
	rareBranch  = 1e-3 // branches rarer than this are not followed past the plan
)

// LookingFor reckons how long the search takes from here, over all that the car may
// turn out to have. A case that is settled takes no time. The error is Problems, for a
// case that Check refuses.
func LookingFor(c Case) (Looking, error) {
	if err := c.Check().err(); err != nil {
		return Looking{}, err
	}
	d, res, err := trade().weigh(c, stepsLooked, nil)
	if err != nil {
		return Looking{}, err
	}
	s := &search{d: d}
	if res.Plan != nil && res.Plan.P > 0 {
		s.follow(res.Plan, path{}, 1/res.Plan.P)
	}
	l := Looking{Beyond: s.beyond}
	l.Minutes, l.Minutes90 = spread(s.ends)
	return l, nil
}

type branch struct{ p, minutes float64 }

// search follows the plan, and past its end the rule of judge: as long as no cause is
// likely enough to mend and something is left to ask, it goes on.
type search struct {
	d      *decision
	ends   []branch
	beyond float64
}

// path is how far one branch has come.
type path struct {
	asked   uint64 // questions, by bit
	open    uint32 // set-ups in place
	minutes float64
}

// ask adds what a question takes, with the set-ups it needs that are not in place.
func (s *search) ask(q int, at path) path {
	pr := s.d.pr
	qu := &pr.problem.Questions[q]
	at.minutes += pr.questions[q].minutes
	for b := qu.Setup &^ at.open; b != 0; b &= b - 1 {
		at.minutes += s.d.c.w.m.Setups[bits.TrailingZeros32(b)].Minutes
	}
	at.open = (at.open | qu.Setup) &^ qu.Ends
	at.asked |= 1 << q
	return at
}

func (s *search) follow(t *plan.Tree, at path, scale float64) {
	if t.Kind != plan.Ask || t.Index == s.d.pr.proof || len(t.Then) == 0 {
		s.goOn(t.Belief, t.P*scale, at)
		return
	}
	at = s.ask(t.Index, at)
	for _, sub := range t.Then {
		if sub != nil {
			s.follow(sub, at, scale)
		}
	}
}

// goOn asks what tells most for its price until something is sure enough.
func (s *search) goOn(belief []float64, p float64, at path) {
	pr := s.d.pr
	best, most := -1, 0.0
	if !s.settled(belief, at.asked) {
		for q := range pr.questions {
			if at.asked>>q&1 == 0 {
				if worth := told(belief, pr.problem.Questions[q].Outcomes) / (s.ask(q, at).minutes - at.minutes + 1); worth > most {
					best, most = q, worth
				}
			}
		}
	}
	if best < 0 || most < 1e-5 {
		s.ends = append(s.ends, branch{p, at.minutes})
		return
	}
	at = s.ask(best, at)
	if p < rareBranch {
		s.ends = append(s.ends, branch{p, at.minutes})
		s.beyond += p
		return
	}
	for _, o := range pr.problem.Questions[best].Outcomes {
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
		s.goOn(next, p*mass, at)
	}
}

// settled says that judge would come to a verdict: the car is likely sound, or a cause
// is likely enough and what its mending needs was asked.
func (s *search) settled(belief []float64, asked uint64) bool {
	pr := s.d.pr
	if s.d.healthyIn(belief) >= sureEnough {
		return true
	}
	for a, m := range pr.actionOf {
		needs := pr.problem.Actions[a].Needs
		met := len(needs) == 0 || slices.ContainsFunc(needs, func(q int) bool { return asked>>q&1 == 1 })
		if met && s.d.beliefIn(belief, []int{m}) >= sureEnough {
			return true
		}
	}
	return false
}

// told is how many bits an answer tells, on average.
func told(belief []float64, outcomes []plan.Outcome) float64 {
	sum := 0.0
	for _, o := range outcomes {
		m := 0.0
		for i, b := range belief {
			m += b * o.P[i]
		}
		for i, b := range belief {
			if x := o.P[i]; x > 0 && b > 0 {
				sum += b * x * math.Log2(x/m)
			}
		}
	}
	return sum
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
