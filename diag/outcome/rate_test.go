package outcome

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

func TestWilson(t *testing.T) {
	// Newcombe, Statistics in Medicine 17 (1998) 857-872: the inputs 81/263, 0/20 and
	// 1/29 are the paper's; the limits to six digits follow from its methods 3 and 4.
	for _, c := range []struct {
		rate                       Rate
		low, high, corLow, corHigh float64
	}{
		{Rate{81, 263}, 0.255289, 0.366210, 0.253509, 0.368176},
		{Rate{0, 20}, 0, 0.161125, 0, 0.200453},
		{Rate{1, 29}, 0.006113, 0.171755, 0.001803, 0.196282},
	} {
		nearInterval(t, "Wilson", must(c.rate.Wilson(0.95)), c.low, c.high, 5e-7)
		nearInterval(t, "corrected", must(c.rate.WilsonCorrected(0.95)), c.corLow, c.corHigh, 5e-7)
	}
	// Values printed in the documentation of public statistics libraries.
	nearInterval(t, "5 of 10", must(Rate{5, 10}.Wilson(0.95)), 0.2366, 0.7634, 5e-5)
	nearInterval(t, "8 of 8", must(Rate{8, 8}.Wilson(0.95)), 0.676, 1, 5e-4)
}

func TestWilsonIsTheScoreTestTurnedRound(t *testing.T) {
	// At each limit the score statistic equals the normal deviate (Wilson 1927);
	// deviate from gonum.
	z := distuv.UnitNormal.Quantile(0.975)
	for n := 1; n <= 40; n++ {
		for k := 0; k <= n; k++ {
			i := must(Rate{k, n}.Wilson(0.95))
			p := float64(k) / float64(n)
			for _, limit := range []float64{i.Low, i.High} {
				if limit == p {
					continue // pinned at 0 or 1
				}
				near(t, "score", math.Abs(p-limit)/math.Sqrt(limit*(1-limit)/float64(n)), z, 1e-9)
			}
		}
	}
}

func TestRateIntervals(t *testing.T) {
	t.Run("contain the rate, lie in 0 to 1, and widen with the level and the correction", func(t *testing.T) {
		for n := 1; n <= 60; n++ {
			for k := 0; k <= n; k++ {
				r := Rate{k, n}
				narrow, wide, corrected := must(r.Wilson(0.8)), must(r.Wilson(0.99)), must(r.WilsonCorrected(0.99))
				for _, i := range []Interval{narrow, wide, corrected} {
					if !i.Contains(r.Value()) || i.Low < 0 || i.High > 1 || !i.Finite() {
						t.Fatalf("%d of %d: %v", k, n, i)
					}
				}
				if wide.Width() < narrow.Width() || corrected.Low > wide.Low+1e-12 || corrected.High < wide.High-1e-12 {
					t.Fatalf("%d of %d: %v, %v, corrected %v", k, n, narrow, wide, corrected)
				}
			}
		}
	})
	t.Run("turn round when hits and misses change places", func(t *testing.T) {
		for k := range 31 {
			a, b := must(Rate{k, 30}.Wilson(0.9)), must(Rate{30 - k, 30}.Wilson(0.9))
			nearInterval(t, "mirror", a, 1-b.High, 1-b.Low, 1e-12)
			a, b = must(Rate{k, 30}.WilsonCorrected(0.9)), must(Rate{30 - k, 30}.WilsonCorrected(0.9))
			nearInterval(t, "corrected mirror", a, 1-b.High, 1-b.Low, 1e-12)
		}
	})
	t.Run("cover the truth about as often as they say", func(t *testing.T) {
		// Exact coverage over the binomial, from gonum's probabilities; Newcombe 1998
		// reports a mean near 0.95 for method 3 and never far below for method 4.
		const n = 40
		mean, lowest := 0.0, 1.0
		for i := 1; i < 100; i++ {
			p := float64(i) / 100
			covered, corrected := 0.0, 0.0
			for k := 0; k <= n; k++ {
				mass := distuv.Binomial{N: n, P: p}.Prob(float64(k))
				if must(Rate{k, n}.Wilson(0.95)).Contains(p) {
					covered += mass
				}
				if must(Rate{k, n}.WilsonCorrected(0.95)).Contains(p) {
					corrected += mass
				}
			}
			mean += covered / 99
			lowest = min(lowest, corrected)
		}
		if math.Abs(mean-0.95) > 0.01 || lowest < 0.945 {
			t.Errorf("mean coverage %.4f, lowest corrected coverage %.4f", mean, lowest)
		}
	})
	t.Run("refuse impossible counts and levels", func(t *testing.T) {
		_, err := Rate{0, 0}.Wilson(0.95)
		wantInputError(t, err, "n")
		_, err = Rate{4, 3}.WilsonCorrected(0.95)
		wantInputError(t, err, "hits")
		_, err = Rate{-1, 3}.Wilson(0.95)
		wantInputError(t, err, "hits")
		_, err = Rate{1, 3}.Wilson(math.NaN())
		wantInputError(t, err, "level")
		_, err = Compare(Rate{1, 2}, Rate{1, 0}, 0.95)
		wantInputError(t, err, "b.n")
		_, err = Compare(Rate{3, 2}, Rate{1, 1}, 0.95)
		wantInputError(t, err, "a.hits")
		_, err = Compare(Rate{1, 2}, Rate{1, 1}, 2)
		wantInputError(t, err, "level")
	})
}

func TestCompare(t *testing.T) {
	// Newcombe, Statistics in Medicine 17 (1998) 873-890, method 10: 56/70 - 48/80.
	d := must(Compare(Rate{56, 70}, Rate{48, 80}, 0.95))
	near(t, "difference", d.Value, 0.2, 1e-12)
	nearInterval(t, "method 10", d.Interval, 0.052431, 0.333873, 5e-7)

	t.Run("changes sign with the order and stays in -1 to 1", func(t *testing.T) {
		for k := range 11 {
			for m := range 8 {
				a, b := Rate{k, 10}, Rate{m, 7}
				x, y := must(Compare(a, b, 0.95)), must(Compare(b, a, 0.95))
				nearInterval(t, "mirror", x.Interval, -y.Interval.High, -y.Interval.Low, 1e-12)
				if !x.Interval.Contains(x.Value) || x.Interval.Low < -1 || x.Interval.High > 1 {
					t.Fatalf("%v - %v: %+v", a, b, x)
				}
			}
		}
	})
}

func BenchmarkWilson(b *testing.B) {
	for b.Loop() {
		must(Rate{7, 63}.Wilson(0.95))
	}
}
