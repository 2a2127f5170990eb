package outcome

import "math"

// NormalQuantile is the value below which a standard normal variable falls with
// probability p (0 < p < 1).
func NormalQuantile(p float64) (float64, error) {
	if !(p > 0 && p < 1) {
		return 0, bad("p", "%v is not a probability strictly between 0 and 1", p)
	}
	return math.Sqrt2 * math.Erfinv(2*p-1), nil
}

// zOf is the normal deviate of a two-sided interval at a checked level.
func zOf(level float64) float64 { return math.Sqrt2 * math.Erfinv(level) }

// chiSquare1Tail is the probability that a chi-square variable with one degree of
// freedom exceeds x: the two-sided normal tail at the root of x.
func chiSquare1Tail(x float64) float64 { return math.Erfc(math.Sqrt(x / 2)) }

// Beta is the Beta distribution of a rate: A-1 hits and B-1 misses on top of a
// flat prior. Both parameters are positive.
type Beta struct {
	A, B float64
}

// Check refuses parameters that are not positive numbers.
func (d Beta) Check() error {
	if !(d.A > 0) || !finite(d.A) {
		return bad("a", "%v must be a positive number", d.A)
	}
	if !(d.B > 0) || !finite(d.B) {
		return bad("b", "%v must be a positive number", d.B)
	}
	return nil
}

// Update adds counts to the prior: the posterior is Beta(A+hits, B+misses)
// (conjugate prior of the binomial; Raiffa and Schlaifer, Applied Statistical
// Decision Theory, 1961).
func (d Beta) Update(hits, misses float64) (Beta, error) {
	if err := d.Check(); err != nil {
		return Beta{}, err
	}
	if !(hits >= 0) || !finite(hits) {
		return Beta{}, bad("hits", "%v must be a count of at least 0", hits)
	}
	if !(misses >= 0) || !finite(misses) {
		return Beta{}, bad("misses", "%v must be a count of at least 0", misses)
	}
	return Beta{d.A + hits, d.B + misses}, nil
}

// Mean is A/(A+B).
func (d Beta) Mean() float64 { return 1 / (1 + d.B/d.A) }

// Variance is AB/((A+B)²(A+B+1)).
func (d Beta) Variance() float64 {
	m := d.Mean()
	return m * (1 - m) / (d.A + d.B + 1)
}

// CDF is the probability that the rate is at most x: the regularised incomplete
// beta function I_x(A, B), by its continued fraction (Abramowitz and Stegun,
// Handbook of Mathematical Functions, 26.5.8) evaluated by the modified Lentz
// method (Lentz 1976; Thompson and Barnett 1986). The error is below
// 1e-10 for parameters up to 5000. Parameters must pass Check.
func (d Beta) CDF(x float64) float64 {
	switch {
	case math.IsNaN(x) || d.Check() != nil:
		return math.NaN()
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	}
	return betaCDF(x, 1-x, d.A, d.B)
}

// betaCDF takes x and its complement y apart so that neither tail loses digits.
func betaCDF(x, y, a, b float64) float64 {
	if x > (a+1)/(a+b+2) {
		return 1 - betaTail(y, x, b, a)
	}
	return betaTail(x, y, a, b)
}

func betaTail(x, y, a, b float64) float64 {
	if x <= 0 {
		return 0
	}
	front := math.Exp(a*math.Log(x)+b*math.Log(y)-lbeta(a, b)) / a
	const tiny, eps = 1e-300, 1e-15
	keep := func(v float64) float64 {
		if math.Abs(v) < tiny {
			return tiny
		}
		return v
	}
	c := 1.0
	d := 1 / keep(1-(a+b)*x/(a+1))
	h := d
	for m := 1.0; m <= 20000; m++ {
		for _, num := range [2]float64{
			m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m)),
			-(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1)),
		} {
			d = 1 / keep(1+num*d)
			c = keep(1 + num/c)
			h *= d * c
		}
		if math.Abs(d*c-1) < eps {
			break
		}
	}
	return clamp01(front * h)
}

func lbeta(a, b float64) float64 {
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lab, _ := math.Lgamma(a + b)
	return la + lb - lab
}

// Quantile is the rate below which the distribution holds probability p
// (0 to 1): the inverse of CDF, by Newton steps kept inside a shrinking bracket.
// The search runs in the log-odds of the rate, so that quantiles next to 0 or 1
// keep their digits.
func (d Beta) Quantile(p float64) (float64, error) {
	if err := d.Check(); err != nil {
		return 0, err
	}
	switch {
	case !(p >= 0 && p <= 1):
		return 0, bad("p", "%v is not a probability from 0 to 1", p)
	case p == 0 || p == 1:
		return p, nil
	}
	lo, hi := -700.0, 700.0 // log-odds: the smallest normal floats and their complements
	t := math.Log(d.A / d.B)
	lb := lbeta(d.A, d.B)
	for range 200 {
		x, y := 1/(1+math.Exp(-t)), 1/(1+math.Exp(t))
		f := betaCDF(x, y, d.A, d.B) - p
		if f < 0 {
			lo = t
		} else {
			hi = t
		}
		slope := math.Exp(d.A*math.Log(x) + d.B*math.Log(y) - lb) // density times dx/dt
		next := t - f/slope
		if !(next > lo && next < hi) {
			next = lo + (hi-lo)/2
		}
		if math.Abs(next-t) <= 1e-14*max(1, math.Abs(t)) {
			t = next
			break
		}
		t = next
	}
	return 1 / (1 + math.Exp(-t)), nil
}

// Credible is the equal-tailed credible interval at the level.
func (d Beta) Credible(level float64) (Interval, error) {
	if err := checkLevel(level); err != nil {
		return Interval{}, err
	}
	low, err := d.Quantile((1 - level) / 2)
	if err != nil {
		return Interval{}, err
	}
	high, err := d.Quantile((1 + level) / 2)
	return Interval{low, high}, err
}

// studentT is the two-sided Student deviate with df degrees of freedom at a
// checked level: t² = df·(1-x)/x where x is the Beta(df/2, 1/2) quantile of the
// two tails together (Abramowitz and Stegun 26.7.1).
func studentT(df, level float64) (float64, error) {
	x, err := Beta{df / 2, 0.5}.Quantile(1 - level)
	if err != nil {
		return 0, err
	}
	return math.Sqrt(df * (1 - x) / x), nil
}
