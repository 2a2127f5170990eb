package outcome

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Weeks to relapse of Freireich et al., Blood 21 (1963) 699-716, as in Gehan,
// Biometrika 52 (1965) 203-223; a minus sign marks a censored time.
var (
	treated = weeks(6, 6, 6, -6, 7, -9, 10, -10, -11, 13, 16, -17, -19, -20, 22, 23, -25, -32, -32, -34, -35)
	placebo = weeks(1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)
)

func weeks(ts ...float64) []Observation {
	obs := make([]Observation, len(ts))
	for i, t := range ts {
		obs[i] = Observation{math.Abs(t), t > 0}
	}
	return obs
}

func TestKaplanMeier(t *testing.T) {
	t.Run("gives the published curve of the treated", func(t *testing.T) {
		c := must(KaplanMeier(treated))
		// Exact fractions; Greenwood errors to six digits, the three-digit ones are in
		// Kalbfleisch and Prentice and in Kleinbaum and Klein (from memory).
		want := []Step{
			{0, 21, 0, 0, 1, 0},
			{6, 21, 3, 1, 6.0 / 7, 0.076360},
			{7, 17, 1, 1, 96.0 / 119, 0.086935},
			{10, 15, 1, 2, 64.0 / 85, 0.096350},
			{13, 12, 1, 0, 176.0 / 255, 0.106815},
			{16, 11, 1, 3, 32.0 / 51, 0.114054},
			{22, 7, 1, 0, 64.0 / 119, 0.128234},
			{23, 6, 1, 5, 160.0 / 357, 0.134591},
		}
		if len(c.Steps) != len(want) || c.N != 21 || c.Last != 35 {
			t.Fatalf("curve %+v", c)
		}
		for i, w := range want {
			g := c.Steps[i]
			if g.Time != w.Time || g.AtRisk != w.AtRisk || g.Events != w.Events || g.Censored != w.Censored {
				t.Errorf("step %d = %+v, want %+v", i, g, w)
			}
			near(t, "survival", g.Survival, w.Survival, 1e-12)
			near(t, "standard error", g.SE, w.SE, 5e-7)
		}
		near(t, "S(15.9)", c.At(15.9).Survival, 176.0/255, 1e-12)
		near(t, "S(16)", c.At(16).Survival, 32.0/51, 1e-12)
		near(t, "S(0)", c.At(0).Survival, 1, 0)
	})
	t.Run("gives the published curve of the untreated", func(t *testing.T) {
		c := must(KaplanMeier(placebo))
		for _, w := range [][2]float64{{1, .904762}, {2, .809524}, {3, .761905}, {4, .666667}, {5, .571429}, {8, .380952},
			{11, .285714}, {12, .190476}, {15, .142857}, {17, .095238}, {22, .047619}, {23, 0}} {
			near(t, "survival", c.At(w[0]).Survival, w[1], 5e-7)
		}
	})
	t.Run("without censoring it is the share left, with the binomial error", func(t *testing.T) {
		c := must(KaplanMeier(placebo))
		for _, s := range c.Steps {
			left := 0
			for _, o := range placebo {
				if o.Time > s.Time {
					left++
				}
			}
			p := float64(left) / 21
			near(t, "survival", s.Survival, p, 1e-12)
			near(t, "standard error", s.SE, math.Sqrt(p*(1-p)/21), 1e-12)
		}
	})
	t.Run("gives the medians of the textbooks", func(t *testing.T) {
		// 23 and 8 weeks: Kleinbaum and Klein, Survival Analysis, 3rd ed. 2012 (from
		// memory). Limits on the log and log-log scales as general statistics programs
		// print them for these data (from memory).
		a, b := must(KaplanMeier(treated)), must(KaplanMeier(placebo))
		for _, w := range []struct {
			c               Curve
			scale           Scale
			time, low, high float64
		}{
			{a, Log, 23, 16, math.Inf(1)}, {b, Log, 8, 4, 12},
			{a, LogLog, 23, 13, math.Inf(1)}, {b, LogLog, 8, 4, 11},
		} {
			q := must(w.c.Median(0.95, w.scale))
			if q.Time != w.time || q.Interval.Low != w.low || q.Interval.High != w.high {
				t.Errorf("median on scale %d = %+v, want %v [%v, %v]", w.scale, q, w.time, w.low, w.high)
			}
		}
	})
	t.Run("gives no median where fewer than half came back", func(t *testing.T) {
		q := must(must(KaplanMeier(weeks(5, -9, -9, -9, -9))).Median(0.95, LogLog))
		if !math.IsInf(q.Time, 1) || !math.IsInf(q.Interval.High, 1) || q.Interval.Low != 5 {
			t.Errorf("median %+v", q)
		}
	})
	t.Run("reaches the median at exactly one half", func(t *testing.T) {
		q := must(must(KaplanMeier(weeks(1, 2, 3, 4, 5, 6, -7, -7, -7, -7, -7, -7))).Median(0.95, Plain))
		if q.Time != 6 {
			t.Errorf("median %v, want 6", q.Time)
		}
	})
	t.Run("puts events at time 0 into its first step", func(t *testing.T) {
		c := must(KaplanMeier(weeks(-0, -3, 4)))
		if len(c.Steps) != 2 || c.Steps[0].Censored != 2 {
			t.Errorf("steps %+v", c.Steps)
		}
		c = must(KaplanMeier([]Observation{{0, true}, {2, false}}))
		if len(c.Steps) != 1 || c.At(0).Survival != 0.5 {
			t.Errorf("steps %+v", c.Steps)
		}
	})
}

func randomObservations(r *rand.Rand, n int) []Observation {
	obs := make([]Observation, n)
	for i := range obs {
		obs[i] = Observation{float64(r.IntN(12)), r.IntN(3) > 0}
	}
	return obs
}

func TestKaplanMeierProperties(t *testing.T) {
	r := source()
	for range 300 {
		obs := randomObservations(r, 1+r.IntN(40))
		c := must(KaplanMeier(obs))
		events, lost := 0, 0
		for i, s := range c.Steps {
			events, lost = events+s.Events, lost+s.Censored
			if i > 0 {
				before := c.Steps[i-1]
				if s.Survival >= before.Survival || s.Time <= before.Time || s.AtRisk != before.AtRisk-before.Events-before.Censored {
					t.Fatalf("step %+v does not follow %+v", s, before)
				}
			}
			for _, scale := range []Scale{LogLog, Plain, Log} {
				iv := must(c.Interval(s.Time, 0.9, scale))
				if !iv.Contains(s.Survival) || iv.Low < 0 || iv.High > 1 {
					t.Fatalf("interval %v of %v on scale %d", iv, s.Survival, scale)
				}
			}
		}
		if events+lost != len(obs) {
			t.Fatalf("%d events and %d censored of %d", events, lost, len(obs))
		}
		shuffled := slices.Clone(obs)
		r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		if d := must(KaplanMeier(shuffled)); !slices.Equal(c.Steps, d.Steps) {
			t.Fatal("the order of the observations changes the curve")
		}
		if q := must(c.Quantile(0.3, 0.9, LogLog)); !math.IsInf(q.Time, 1) && !q.Interval.Contains(q.Time) {
			t.Fatalf("quantile %+v", q)
		}
	}
}

func TestCurveIntervals(t *testing.T) {
	c := must(KaplanMeier(treated))
	// Formulas by hand at 10 weeks: S = 64/85, se = .096350 (Greenwood).
	s, se, z := 64.0/85, 0.0963497, 1.959964
	nearInterval(t, "plain", must(c.Interval(10, 0.95, Plain)), s-z*se, s+z*se, 1e-6)
	nearInterval(t, "log", must(c.Interval(10, 0.95, Log)), s*math.Exp(-z*se/s), s*math.Exp(z*se/s), 1e-6)
	f := math.Exp(z * se / (s * math.Log(s)))
	nearInterval(t, "log-log", must(c.Interval(10, 0.95, LogLog)), math.Pow(s, 1/f), math.Pow(s, f), 1e-6)
	nearInterval(t, "before anything happened", must(c.Interval(3, 0.95, LogLog)), 1, 1, 0)
	all := must(KaplanMeier(weeks(4)))
	nearInterval(t, "when all are lost at once", must(all.Interval(4, 0.95, LogLog)), 0, 1, 0)
}

func TestCompareCurves(t *testing.T) {
	// Log-rank 16.79: textbook value for these data. Weighted values: Kleinbaum and
	// Klein, 3rd ed. 2012, as quoted in the tests of a public survival library; observed
	// and expected counts recomputed in exact arithmetic.
	for _, w := range []struct {
		weight Weight
		want   float64
	}{{LogRank, 16.792941}, {Wilcoxon, 13.457852}, {TaroneWare, 15.123575}, {Peto, 14.084139}} {
		c := must(CompareCurves(treated, placebo, w.weight))
		near(t, "chi-square", c.ChiSquare, w.want, 5e-7)
		if c.ObservedA != 9 || c.ObservedB != 21 {
			t.Errorf("observed %v and %v", c.ObservedA, c.ObservedB)
		}
		near(t, "expected a", c.ExpectedA, 19.250501, 5e-7)
		near(t, "expected b", c.ExpectedB, 10.749499, 5e-7)
		if w.weight == LogRank {
			near(t, "variance", c.Variance, 6.256961, 5e-7)
			near(t, "p", c.P, 4.17e-5, 5e-3)
		}
	}
	t.Run("does not care which group comes first, nor about order within", func(t *testing.T) {
		r := source()
		for range 100 {
			a, b := randomObservations(r, 5+r.IntN(20)), randomObservations(r, 5+r.IntN(20))
			for w := LogRank; w <= Peto; w++ {
				x, err := CompareCurves(a, b, w)
				if err != nil {
					continue
				}
				slices.Reverse(a)
				y := must(CompareCurves(b, a, w))
				near(t, "chi-square", x.ChiSquare, y.ChiSquare, 1e-9)
				near(t, "events", x.ExpectedA+x.ExpectedB, x.ObservedA+x.ObservedB, 1e-9)
			}
		}
	})
	t.Run("finds no difference between a group and itself", func(t *testing.T) {
		c := must(CompareCurves(treated, treated, LogRank))
		near(t, "chi-square", c.ChiSquare, 0, 1e-12)
		near(t, "p", c.P, 1, 1e-9)
	})
	t.Run("refuses what cannot be compared", func(t *testing.T) {
		_, err := CompareCurves(nil, placebo, LogRank)
		wantInputError(t, err, "a")
		_, err = CompareCurves(treated, []Observation{{math.NaN(), true}}, LogRank)
		wantInputError(t, err, "b[0].time")
		_, err = CompareCurves(treated, placebo, Weight(9))
		wantInputError(t, err, "weight")
		_, err = CompareCurves(weeks(-1, -2), weeks(-3), LogRank)
		wantInputError(t, err, "a, b")
	})
}

func TestCurveRefusesBadInput(t *testing.T) {
	_, err := KaplanMeier(nil)
	wantInputError(t, err, "observations")
	_, err = KaplanMeier([]Observation{{1, true}, {-1, true}})
	wantInputError(t, err, "observations[1].time")
	_, err = KaplanMeier([]Observation{{math.Inf(1), false}})
	wantInputError(t, err, "observations[0].time")
	c := must(KaplanMeier(treated))
	_, err = c.Interval(3, 1, Plain)
	wantInputError(t, err, "level")
	_, err = c.Interval(math.NaN(), 0.9, Plain)
	wantInputError(t, err, "t")
	_, err = c.Median(0.9, Scale(7))
	wantInputError(t, err, "scale")
	_, err = c.Quantile(0, 0.9, Plain)
	wantInputError(t, err, "p")
	if s := (Curve{}).At(3); s.Survival != 1 {
		t.Errorf("an empty curve says %+v", s)
	}
}

func BenchmarkKaplanMeier10000(b *testing.B) {
	obs := randomObservations(source(), 10000)
	for b.Loop() {
		must(KaplanMeier(obs))
	}
}

func BenchmarkCompareCurves10000(b *testing.B) {
	x, y := randomObservations(source(), 5000), randomObservations(source(), 5000)
	for b.Loop() {
		must(CompareCurves(x, y, LogRank))
	}
}
