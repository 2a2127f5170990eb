package outcome

import "math"

// Rate is a count of events among finished jobs: Hits of N.
type Rate struct {
	Hits, N int
}

// Check refuses counts that cannot be: N must be at least 1, Hits from 0 to N.
func (r Rate) Check() error {
	if r.N < 1 {
		return bad("n", "%d jobs give no rate; at least one finished job is needed", r.N)
	}
	if r.Hits < 0 || r.Hits > r.N {
		return bad("hits", "%d of %d is not possible; give a count from 0 to %d", r.Hits, r.N, r.N)
	}
	return nil
}

// Value is the observed proportion, 0 to 1.
func (r Rate) Value() float64 { return float64(r.Hits) / float64(r.N) }

// Wilson is the score interval of a proportion (Wilson, JASA 22, 1927; method 3 of
// Newcombe, Statistics in Medicine 17, 1998, 857-872). It stays sensible for no
// events and for few jobs, which is where a small shop lives.
func (r Rate) Wilson(level float64) (Interval, error) {
	if err := r.check(level); err != nil {
		return Interval{}, err
	}
	k, n, z := float64(r.Hits), float64(r.N), zOf(level)
	centre := (k + z*z/2) / (n + z*z)
	half := z * math.Sqrt(k*(n-k)/n+z*z/4) / (n + z*z)
	return r.close(centre-half, centre+half), nil
}

// WilsonCorrected is the score interval with continuity correction (method 4 of
// Newcombe 1998): wider, so that its coverage is hardly ever below the level.
func (r Rate) WilsonCorrected(level float64) (Interval, error) {
	if err := r.check(level); err != nil {
		return Interval{}, err
	}
	n, z, p := float64(r.N), zOf(level), r.Value()
	q := 1 - p
	den := 2 * (n + z*z)
	root := func(x float64) float64 { return z * math.Sqrt(max(0, x)) }
	low := (2*n*p + z*z - 1 - root(z*z-2-1/n+4*p*(n*q+1))) / den
	high := (2*n*p + z*z + 1 + root(z*z+2-1/n+4*p*(n*q-1))) / den
	return r.close(low, high), nil
}

// close pins the side that the data cannot move off 0 or 1, and keeps the estimate
// inside when rounding or a very low level would leave it out.
func (r Rate) close(low, high float64) Interval {
	if r.Hits == 0 {
		low = 0
	}
	if r.Hits == r.N {
		high = 1
	}
	p := r.Value()
	return Interval{min(p, clamp01(low)), max(p, clamp01(high))}
}

func (r Rate) check(level float64) error {
	if err := r.Check(); err != nil {
		return err
	}
	return checkLevel(level)
}

// Difference is the difference of two independent proportions, a minus b.
type Difference struct {
	Value    float64 // -1 to 1
	Interval Interval
}

// Compare gives a minus b with the hybrid score interval (method 10 of Newcombe,
// Statistics in Medicine 17, 1998, 873-890): the two Wilson intervals squared and
// added.
func Compare(a, b Rate, level float64) (Difference, error) {
	ia, err := a.Wilson(level)
	if err != nil {
		return Difference{}, within("a", err)
	}
	ib, err := b.Wilson(level)
	if err != nil {
		return Difference{}, within("b", err)
	}
	pa, pb := a.Value(), b.Value()
	d := pa - pb
	return Difference{d, Interval{
		max(-1, d-math.Hypot(pa-ia.Low, ib.High-pb)),
		min(1, d+math.Hypot(ia.High-pa, pb-ib.Low)),
	}}, nil
}

// within puts the owner in front of the field an InputError names.
func within(owner string, err error) error {
	if e, ok := err.(*InputError); ok && e.Field != "level" {
		return &InputError{Field: owner + "." + e.Field, Problem: e.Problem}
	}
	return err
}
