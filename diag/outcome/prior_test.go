package outcome

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

func TestDirichlet(t *testing.T) {
	t.Run("counts add: the mean is (a+n)/(A+N)", func(t *testing.T) {
		// Spiegelhalter and Lauritzen, Networks 20 (1990) 579-605.
		d := must(must(NewDirichlet([]float64{2, 3, 5})).Add([]float64{10, 0, 20}))
		for i, want := range []float64{12.0 / 40, 3.0 / 40, 25.0 / 40} {
			near(t, "mean", d.Mean()[i], want, 1e-15)
		}
		share := must(d.Share(0))
		if share != (Beta{12, 28}) {
			t.Errorf("share %v", share)
		}
		ref := distuv.Beta{Alpha: 12, Beta: 28}
		nearInterval(t, "credible", must(share.Credible(0.9)), ref.Quantile(0.05), ref.Quantile(0.95), 1e-7)
	})
	t.Run("what was learned can be taken back", func(t *testing.T) {
		first := must(DirichletFromMean([]float64{0.2, 0.3, 0.5}, 30))
		learned := must(first.Add([]float64{4, 1, 0}))
		back := must(learned.Add([]float64{-4, -1, 0}))
		for i := range 3 {
			near(t, "mean", back.Mean()[i], first.Mean()[i], 1e-15)
			near(t, "prior", learned.Prior().Mean()[i], first.Mean()[i], 1e-15)
		}
		if learned.Counts()[0] != 4 || first.Counts()[0] != 0 {
			t.Error("adding changed the belief it started from")
		}
	})
	t.Run("means sum to 1 and the order of learning does not matter", func(t *testing.T) {
		r := source()
		for range 100 {
			a := must(DirichletFromMean([]float64{r.Float64() + .01, r.Float64() + .01, 1}, 1+10*r.Float64()))
			x, y := []float64{float64(r.IntN(9)), 2, 0}, []float64{1, float64(r.IntN(5)), 3}
			ab, ba := must(must(a.Add(x)).Add(y)), must(must(a.Add(y)).Add(x))
			sum := 0.0
			for i, m := range ab.Mean() {
				sum += m
				near(t, "mean", m, ba.Mean()[i], 1e-12)
				if iv := must(must(ab.Share(i)).Credible(0.95)); !iv.Contains(m) {
					t.Errorf("interval %v of %v", iv, m)
				}
			}
			near(t, "sum", sum, 1, 1e-12)
		}
	})
	t.Run("refuses bad input", func(t *testing.T) {
		_, err := NewDirichlet([]float64{1})
		wantInputError(t, err, "prior")
		_, err = NewDirichlet([]float64{1, 0})
		wantInputError(t, err, "prior[1]")
		_, err = DirichletFromMean([]float64{1, -1}, 3)
		wantInputError(t, err, "shares[1]")
		_, err = DirichletFromMean([]float64{1, 1}, 0)
		wantInputError(t, err, "strength")
		_, err = DirichletFromMean(nil, 1)
		wantInputError(t, err, "prior")
		d := must(NewDirichlet([]float64{1, 1}))
		_, err = d.Add([]float64{1})
		wantInputError(t, err, "counts")
		_, err = d.Add([]float64{0, -1})
		wantInputError(t, err, "counts[1]")
		_, err = d.Add([]float64{math.NaN(), 0})
		wantInputError(t, err, "counts[0]")
		_, err = d.Share(2)
		wantInputError(t, err, "i")
	})
}

func TestJamesStein(t *testing.T) {
	// Efron and Morris, "Stein's Paradox in Statistics", Scientific American 236(5)
	// (1977) 119-127: hits in the first 45 times at bat of 18 players. Printed: grand
	// mean .265, c = .212; the digits beyond follow from the printed formula.
	hits := []float64{18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7}
	means := make([]float64, len(hits))
	grand := 0.0
	for i, h := range hits {
		means[i] = h / 45
		grand += means[i] / 18
	}
	s := must(JamesStein(means, grand*(1-grand)/45))
	near(t, "grand mean", s.Mean, 0.265432, 5e-7)
	near(t, "factor", s.Factor, 0.211653, 5e-7)
	near(t, "highest", s.Values[0], 0.293914, 5e-7)
	near(t, "lowest", s.Values[17], 0.242176, 5e-7)

	t.Run("keeps the average and the order, and pulls everyone inwards", func(t *testing.T) {
		sum := 0.0
		for i, v := range s.Values {
			sum += v / 18
			if math.Abs(v-s.Mean) > math.Abs(means[i]-s.Mean) {
				t.Errorf("player %d moved away from the mean", i)
			}
			if i > 0 && v > s.Values[i-1] {
				t.Errorf("player %d overtook", i)
			}
		}
		near(t, "average", sum, s.Mean, 1e-12)
	})
	t.Run("gives the average to all when they differ by no more than chance", func(t *testing.T) {
		same := must(JamesStein([]float64{1, 1, 1, 1}, 2))
		noisy := must(JamesStein([]float64{1, 1.1, 0.9, 1}, 5))
		if same.Factor != 0 || noisy.Factor != 0 || noisy.Values[1] != noisy.Mean {
			t.Errorf("%+v, %+v", same, noisy)
		}
	})
	t.Run("refuses bad input", func(t *testing.T) {
		_, err := JamesStein([]float64{1, 2, 3}, 1)
		wantInputError(t, err, "means")
		_, err = JamesStein([]float64{1, 2, 3, math.NaN()}, 1)
		wantInputError(t, err, "means[3]")
		_, err = JamesStein(means, 0)
		wantInputError(t, err, "variance")
	})
}

func TestShrinkRates(t *testing.T) {
	t.Run("agrees with James and Stein on the batting averages", func(t *testing.T) {
		var groups []Rate
		for _, h := range []int{18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7} {
			groups = append(groups, Rate{h, 45})
		}
		out := must(ShrinkRates(groups, 0.95))
		near(t, "highest", out[0].Rate, 0.2939, 0.02)
		near(t, "lowest", out[17].Rate, 0.2422, 0.02)
		near(t, "weight", out[0].Weight, 0.2117, 0.1)
	})
	t.Run("pulls every rate towards the pooled one and keeps it in its interval", func(t *testing.T) {
		r := source()
		for range 30 {
			groups := make([]Rate, 2+r.IntN(5))
			hits, n := 0, 0
			for i := range groups {
				groups[i].N = 1 + r.IntN(60)
				groups[i].Hits = r.IntN(groups[i].N + 1)
				hits, n = hits+groups[i].Hits, n+groups[i].N
			}
			pooled := (float64(hits) + 0.5) / (float64(n) + 1)
			for i, g := range must(ShrinkRates(groups, 0.9)) {
				own := groups[i].Value()
				if g.Rate < min(own, pooled)-1e-12 || g.Rate > max(own, pooled)+1e-12 || !g.Interval.Contains(g.Rate) {
					t.Fatalf("own %v, pooled %v, got %+v", own, pooled, g)
				}
			}
		}
	})
	t.Run("trusts a long record more than a short one", func(t *testing.T) {
		out := must(ShrinkRates([]Rate{{1, 2}, {50, 100}, {10, 100}}, 0.95))
		if !(out[0].Weight < out[1].Weight && out[0].Rate < out[1].Rate && out[0].Interval.Width() > out[1].Interval.Width()) {
			t.Errorf("%+v", out)
		}
	})
	t.Run("gives a newcomer the pooled rate, widely", func(t *testing.T) {
		out := must(ShrinkRates([]Rate{{0, 0}, {5, 50}, {6, 50}}, 0.95))
		near(t, "rate", out[0].Rate, 11.5/101, 1e-9)
		if out[0].Weight != 0 || out[0].Interval.Width() <= out[1].Interval.Width() {
			t.Errorf("%+v", out)
		}
	})
	t.Run("its interval is that of the mixture it averages", func(t *testing.T) {
		// The interval's ends, put back through gonum's Beta with the same weights.
		groups := []Rate{{2, 20}, {9, 30}}
		out := must(ShrinkRates(groups, 0.95))
		pooled, typical := 11.5/51, 25.0
		below, above, total := 0.0, 0.0, 0.0
		for j := range 48 {
			u := (float64(j) + 0.5) / 48
			m := typical * u / (1 - u)
			like := 1.0
			for _, g := range groups {
				a, b, k, n := m*pooled, m*(1-pooled), float64(g.Hits), float64(g.N)
				like *= math.Exp(lbeta(a+k, b+n-k) - lbeta(a, b))
			}
			post := distuv.Beta{Alpha: m*pooled + 2, Beta: m*(1-pooled) + 18}
			total += like
			below += like * post.CDF(out[0].Interval.Low)
			above += like * (1 - post.CDF(out[0].Interval.High))
		}
		near(t, "below", below/total, 0.025, 1e-6)
		near(t, "above", above/total, 0.025, 1e-6)
	})
	t.Run("refuses bad input", func(t *testing.T) {
		_, err := ShrinkRates([]Rate{{1, 2}}, 0.95)
		wantInputError(t, err, "groups")
		_, err = ShrinkRates([]Rate{{0, 0}, {0, 0}}, 0.95)
		wantInputError(t, err, "groups")
		_, err = ShrinkRates([]Rate{{0, 1}, {2, 1}}, 0.95)
		wantInputError(t, err, "groups[1]")
		_, err = ShrinkRates([]Rate{{0, 1}, {1, 1}}, 1)
		wantInputError(t, err, "level")
	})
}

func BenchmarkShrinkRates(b *testing.B) {
	groups := []Rate{{3, 40}, {9, 61}, {1, 22}, {0, 7}}
	for b.Loop() {
		must(ShrinkRates(groups, 0.95))
	}
}

func BenchmarkBetaCredible(b *testing.B) {
	for b.Loop() {
		must(Beta{12.4, 130.6}.Credible(0.95))
	}
}
