package outcome

import (
	"math"
	"slices"
	"strconv"
)

// Observation is one job followed for a time: until its comeback (Event), or until
// it was last known good (not Event, "censored").
type Observation struct {
	Time  float64 // at least 0, in any unit (days, kilometres)
	Event bool
}

// Step is the Kaplan-Meier curve from Time on, until the next step.
type Step struct {
	Time     float64
	AtRisk   int     // followed up to this time
	Events   int     // at this time
	Censored int     // from this time up to the next step
	Survival float64 // share still without the event, 0 to 1
	SE       float64 // Greenwood's standard error; 0 once Survival is 0, where it is undefined
}

// Curve is a Kaplan-Meier curve. Its first step is at time 0 with nobody lost
// unless events happen at time 0; every further step is a time with events.
type Curve struct {
	Steps []Step
	N     int     // observations
	Last  float64 // longest follow-up; the curve says nothing beyond it
}

// KaplanMeier estimates the share of jobs still without an event as time passes
// (Kaplan and Meier, JASA 53, 1958) with Greenwood's variance
// S²·Σ d/(n(n-d)) (Greenwood 1926). A job censored at the time of an event counts
// as at risk for it.
func KaplanMeier(obs []Observation) (Curve, error) {
	sorted, err := ordered("observations", obs)
	if err != nil {
		return Curve{}, err
	}
	c := Curve{N: len(sorted), Last: sorted[len(sorted)-1].Time}
	s := Step{AtRisk: len(sorted), Survival: 1}
	greenwood := 0.0
	for i := 0; i < len(sorted); {
		t, atRisk, events, lost := sorted[i].Time, len(sorted)-i, 0, 0
		for ; i < len(sorted) && sorted[i].Time == t; i++ {
			if sorted[i].Event {
				events++
			} else {
				lost++
			}
		}
		if events == 0 {
			s.Censored += lost
			continue
		}
		if t > 0 || len(c.Steps) > 0 {
			c.Steps = append(c.Steps, s)
		}
		n, d := float64(atRisk), float64(events)
		s = Step{Time: t, AtRisk: atRisk, Events: events, Censored: lost, Survival: s.Survival * (1 - d/n)}
		if events < atRisk {
			greenwood += d / (n * (n - d))
			s.SE = s.Survival * math.Sqrt(greenwood)
		}
	}
	c.Steps = append(c.Steps, s)
	return c, nil
}

// ordered checks observations and sorts a copy by time.
func ordered(field string, obs []Observation) ([]Observation, error) {
	if len(obs) == 0 {
		return nil, bad(field, "none given; at least one is needed")
	}
	for i, o := range obs {
		if !(o.Time >= 0) || !finite(o.Time) {
			return nil, bad(field+"["+strconv.Itoa(i)+"].time", "%v must be a number of at least 0", o.Time)
		}
	}
	sorted := slices.Clone(obs)
	slices.SortFunc(sorted, func(a, b Observation) int {
		switch {
		case a.Time < b.Time:
			return -1
		case a.Time > b.Time:
			return 1
		}
		return 0
	})
	return sorted, nil
}

// At is the step in force at time t: the last one not after t.
func (c Curve) At(t float64) Step {
	i, found := slices.BinarySearchFunc(c.Steps, t, func(s Step, t float64) int {
		switch {
		case s.Time < t:
			return -1
		case s.Time > t:
			return 1
		}
		return 0
	})
	if !found {
		i--
	}
	if i < 0 {
		return Step{AtRisk: c.N, Survival: 1}
	}
	return c.Steps[i]
}

// Scale is the scale on which a confidence interval of a curve is symmetric.
type Scale int

// The scales. LogLog keeps the interval within 0 and 1 and is best for few jobs
// (Kalbfleisch and Prentice 1980; Borgan and Liestøl 1990).
const (
	LogLog Scale = iota
	Plain
	Log
)

// Interval is the pointwise interval of the survival at time t. Where nobody is
// lost yet it is [1, 1]. Where the curve has reached 0, Greenwood's variance does
// not exist: the interval runs from 0 to the upper limit just before.
func (c Curve) Interval(t, level float64, scale Scale) (Interval, error) {
	if err := checkBand(level, scale); err != nil {
		return Interval{}, err
	}
	if math.IsNaN(t) {
		return Interval{}, bad("t", "is not a number")
	}
	s := c.At(t)
	upper := 1.0
	if s.Survival == 0 {
		for _, before := range c.Steps {
			if before.Survival > 0 {
				upper = band(before, zOf(level), scale).High
			}
		}
		return Interval{0, upper}, nil
	}
	return band(s, zOf(level), scale), nil
}

func checkBand(level float64, scale Scale) error {
	if err := checkLevel(level); err != nil {
		return err
	}
	if scale < LogLog || scale > Log {
		return bad("scale", "%d is not a scale; use LogLog, Plain or Log", scale)
	}
	return nil
}

func band(s Step, z float64, scale Scale) Interval {
	if s.Survival == 0 || s.Survival == 1 {
		return Interval{s.Survival, s.Survival}
	}
	switch scale {
	case Plain:
		return Interval{clamp01(s.Survival - z*s.SE), clamp01(s.Survival + z*s.SE)}
	case Log:
		f := math.Exp(z * s.SE / s.Survival)
		return Interval{s.Survival / f, clamp01(s.Survival * f)}
	}
	f := math.Exp(-z * s.SE / (s.Survival * math.Log(s.Survival)))
	return Interval{math.Pow(s.Survival, f), math.Pow(s.Survival, 1/f)}
}

// Quantile is the time by which a share of jobs has had the event.
type Quantile struct {
	Time     float64  // +Inf where the curve does not fall so far
	Interval Interval // High is +Inf where the upper limit does not fall so far
}

// Quantile is the first time at which the share without the event is at most 1-p
// (0 < p < 1), with the times at which the two limits get there (Brookmeyer and
// Crowley, Biometrics 38, 1982).
func (c Curve) Quantile(p, level float64, scale Scale) (Quantile, error) {
	if err := checkBand(level, scale); err != nil {
		return Quantile{}, err
	}
	if !(p > 0 && p < 1) {
		return Quantile{}, bad("p", "%v is not a share strictly between 0 and 1", p)
	}
	z, inf := zOf(level), math.Inf(1)
	q := Quantile{inf, Interval{inf, inf}}
	const slack = 1e-12 // survival is a product; 1/2 may come out one digit high
	for _, s := range c.Steps {
		i := band(s, z, scale)
		if s.Survival == 0 {
			i.High = 1 // unknown at 0: the limit before, which did not get there, still holds
		}
		if s.Survival <= 1-p+slack {
			q.Time = min(q.Time, s.Time)
		}
		if i.Low <= 1-p+slack {
			q.Interval.Low = min(q.Interval.Low, s.Time)
		}
		if i.High <= 1-p+slack {
			q.Interval.High = min(q.Interval.High, s.Time)
		}
	}
	return q, nil
}

// Median is the Quantile at one half.
func (c Curve) Median(level float64, scale Scale) (Quantile, error) {
	return c.Quantile(0.5, level, scale)
}

// Weight says which part of the follow-up a comparison of two curves looks at.
type Weight int

// The weights. With n at risk: LogRank 1 (Mantel 1966), Wilcoxon n (Gehan 1965,
// Breslow 1970), TaroneWare √n (Tarone and Ware 1977), Peto the pooled estimate
// Π(1-d/(n+1)) (Peto and Peto 1972). The last three look more at early times.
const (
	LogRank Weight = iota
	Wilcoxon
	TaroneWare
	Peto
)

// Comparison is the outcome of a test that two groups share one curve.
type Comparison struct {
	ObservedA, ExpectedA float64 // events in group a, and what one shared curve would give
	ObservedB, ExpectedB float64
	Variance             float64 // of weighted observed minus expected
	ChiSquare            float64 // one degree of freedom
	P                    float64 // probability of so large a difference by chance
}

// CompareCurves tests whether two groups come back alike: at every time with an
// event the count in group a is set against its hypergeometric expectation.
// Observed and expected counts are unweighted.
func CompareCurves(a, b []Observation, weight Weight) (Comparison, error) {
	sa, err := ordered("a", a)
	if err != nil {
		return Comparison{}, err
	}
	sb, err := ordered("b", b)
	if err != nil {
		return Comparison{}, err
	}
	if weight < LogRank || weight > Peto {
		return Comparison{}, bad("weight", "%d is not a weight; use LogRank, Wilcoxon, TaroneWare or Peto", weight)
	}
	var r Comparison
	var sum float64
	pooled := 1.0
	for i, j := 0, 0; i < len(sa) || j < len(sb); {
		t := math.Inf(1)
		if i < len(sa) {
			t = sa[i].Time
		}
		if j < len(sb) {
			t = min(t, sb[j].Time)
		}
		na, nb := float64(len(sa)-i), float64(len(sb)-j)
		da, db := 0.0, 0.0
		for ; i < len(sa) && sa[i].Time == t; i++ {
			if sa[i].Event {
				da++
			}
		}
		for ; j < len(sb) && sb[j].Time == t; j++ {
			if sb[j].Event {
				db++
			}
		}
		n, d := na+nb, da+db
		if d == 0 {
			continue
		}
		pooled *= 1 - d/(n+1)
		w := 1.0
		switch weight {
		case Wilcoxon:
			w = n
		case TaroneWare:
			w = math.Sqrt(n)
		case Peto:
			w = pooled
		}
		r.ObservedA, r.ObservedB = r.ObservedA+da, r.ObservedB+db
		r.ExpectedA, r.ExpectedB = r.ExpectedA+d*na/n, r.ExpectedB+d*nb/n
		sum += w * (da - d*na/n)
		if n > 1 {
			r.Variance += w * w * d * (na / n) * (nb / n) * (n - d) / (n - 1)
		}
	}
	if r.Variance == 0 {
		return Comparison{}, bad("a, b", "the groups never had jobs under follow-up together when an event happened, so they cannot be compared; wait for more events")
	}
	r.ChiSquare = sum * sum / r.Variance
	r.P = chiSquare1Tail(r.ChiSquare)
	return r, nil
}
