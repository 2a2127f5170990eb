package outcome

import (
	"math"
	"slices"
	"testing"
)

func TestSummarise(t *testing.T) {
	t.Run("gives Student's own example", func(t *testing.T) {
		// Student, "The probable error of a mean", Biometrika 6 (1908): additional hours
		// of sleep of ten patients, drug 2 against drug 1 (Cushny and Peebles). Mean
		// difference 1.58, t = 4.06; 95 % limits 0.70 and 2.46 in textbooks (from memory).
		s := must(Summarise([]float64{1.2, 2.4, 1.3, 1.3, 0, 1.0, 1.8, 0.8, 4.6, 1.4}, 0.95))
		near(t, "mean", s.Mean, 1.58, 1e-12)
		nearInterval(t, "mean", s.MeanInterval, 0.70, 2.46, 5e-3)
		near(t, "median", s.Median, 1.3, 1e-12)
		// Order statistics 2 and 9 of 10 hold the median with 97.9 % (binomial table:
		// 1 - 2·11/1024).
		nearInterval(t, "median", s.MedianInterval, 0.8, 2.4, 0)
		if s.N != 10 || s.Low != 0 || s.High != 4.6 {
			t.Errorf("%+v", s)
		}
		near(t, "total", s.Total, 15.8, 1e-12)
	})
	t.Run("ranks agree with the tables of the sign test", func(t *testing.T) {
		// Largest r with P(Bin(n, 1/2) < r) <= .025: standard sign-test table.
		for n, want := range map[int]int{2: 0, 5: 0, 6: 1, 8: 1, 9: 2, 12: 3, 15: 4, 20: 6, 25: 8, 100: 40} {
			if got := medianRank(n, 0.95); got != want {
				t.Errorf("rank for %d is %d, want %d", n, got, want)
			}
		}
		if r := medianRank(100000, 0.95); r < 49600 || r > 49700 {
			t.Errorf("rank for 100000 is %d", r) // 50000 - 1.96·√25000
		}
	})
	t.Run("claims no interval from one amount", func(t *testing.T) {
		s := must(Summarise([]float64{120}, 0.95))
		if s.MeanInterval.Finite() || s.MedianInterval.Finite() || s.Mean != 120 || s.Median != 120 {
			t.Errorf("%+v", s)
		}
	})
	t.Run("does not care about order, shifts with the amounts and scales with them", func(t *testing.T) {
		r := source()
		for range 100 {
			xs := make([]float64, 2+r.IntN(30))
			ys := make([]float64, len(xs))
			for i := range xs {
				xs[i] = 500 * r.Float64()
				ys[i] = 3*xs[i] - 40
			}
			a, b := must(Summarise(xs, 0.9)), must(Summarise(ys, 0.9))
			slices.Reverse(xs)
			c := must(Summarise(xs, 0.9))
			if a != c {
				t.Fatal("order matters")
			}
			near(t, "mean", b.Mean, 3*a.Mean-40, 1e-9)
			nearInterval(t, "mean", b.MeanInterval, 3*a.MeanInterval.Low-40, 3*a.MeanInterval.High-40, 1e-9)
			near(t, "median", b.Median, 3*a.Median-40, 1e-9)
			if !a.MeanInterval.Contains(a.Mean) || !a.MedianInterval.Contains(a.Median) {
				t.Fatalf("%+v", a)
			}
		}
	})
	t.Run("refuses bad input", func(t *testing.T) {
		_, err := Summarise(nil, 0.95)
		wantInputError(t, err, "amounts")
		_, err = Summarise([]float64{1, math.Inf(1)}, 0.95)
		wantInputError(t, err, "amounts[1]")
		_, err = Summarise([]float64{1}, 0)
		wantInputError(t, err, "level")
	})
}
