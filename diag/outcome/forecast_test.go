package outcome

import (
	"math"
	"slices"
	"testing"
)

// repeat gives n forecasts of p, the first hits of which came true.
func repeat(p float64, n, hits int) []Forecast {
	fs := make([]Forecast, n)
	for i := range fs {
		fs[i] = Forecast{p, i < hits}
	}
	return fs
}

// worked is a case of our own in exact arithmetic; no published worked numbers for
// Murphy's split were found.
func worked() []Forecast {
	return slices.Concat(repeat(.1, 50, 4), repeat(.3, 40, 14), repeat(.5, 30, 12), repeat(.7, 40, 30), repeat(.9, 40, 37))
}

func TestDecompose(t *testing.T) {
	d := must(Decompose(worked(), nil))
	near(t, "Brier", d.Brier, 0.154, 1e-12)
	near(t, "reliability", d.Reliability, 0.002725, 1e-12)
	near(t, "resolution", d.Resolution, 0.0985, 1e-12)
	near(t, "uncertainty", d.Uncertainty, 0.249775, 1e-12)
	near(t, "base", d.Base, 0.485, 1e-12)
	near(t, "skill", d.Skill(), 1-0.154/0.249775, 1e-12)
	near(t, "calibration error", must(CalibrationError(must(Reliability(worked(), nil, 0.95)))), 0.045, 1e-12)

	t.Run("adds up to the Brier score, by value and in bins", func(t *testing.T) {
		r := source()
		for range 200 {
			fs := make([]Forecast, 1+r.IntN(80))
			for i := range fs {
				fs[i].P = float64(r.IntN(51)) / 50
				fs[i].Hit = r.Float64() < fs[i].P
			}
			for _, edges := range [][]float64{nil, must(EqualWidth(5)), {0, 0.1, 0.11, 0.9, 1}} {
				d := must(Decompose(fs, edges))
				near(t, "sum", d.Reliability-d.Resolution+d.Uncertainty+d.WithinVariance-d.WithinCovariance, d.Brier, 1e-12)
				if edges == nil && (d.WithinVariance != 0 || d.WithinCovariance != 0) {
					t.Fatal("terms within one issued value")
				}
			}
		}
	})
	t.Run("does not care about order", func(t *testing.T) {
		fs := worked()
		slices.Reverse(fs)
		near(t, "reliability", must(Decompose(fs, nil)).Reliability, d.Reliability, 1e-12)
	})
	t.Run("has no skill where the event was certain", func(t *testing.T) {
		near(t, "skill", must(Decompose(repeat(0.8, 5, 5), nil)).Skill(), 0, 0)
	})
}

func TestScores(t *testing.T) {
	t.Run("always saying one half costs 1/4 and ln 2", func(t *testing.T) {
		near(t, "Brier", must(Brier(repeat(.5, 9, 4))), 0.25, 1e-15)
		near(t, "log score", must(LogScore(repeat(.5, 9, 4))), math.Ln2, 1e-15)
	})
	t.Run("the log score never forgives the impossible", func(t *testing.T) {
		if s := must(LogScore([]Forecast{{0, true}})); !math.IsInf(s, 1) {
			t.Errorf("score %v", s)
		}
		near(t, "sure and right", must(LogScore([]Forecast{{1, true}, {0, false}})), 0, 0)
	})
	t.Run("both are best when the true share is issued", func(t *testing.T) {
		for p := 0.05; p < 1; p += 0.05 {
			if math.Abs(p-0.3) < 0.01 {
				continue
			}
			if must(Brier(repeat(p, 100, 30))) <= must(Brier(repeat(.3, 100, 30))) ||
				must(LogScore(repeat(p, 100, 30))) <= must(LogScore(repeat(.3, 100, 30))) {
				t.Errorf("saying %v beats the truth", p)
			}
		}
	})
	t.Run("the calibration test passes honest numbers and catches boasting", func(t *testing.T) {
		r := source()
		var honest, boast []Forecast
		for range 2000 {
			p := r.Float64()
			hit := r.Float64() < p
			honest = append(honest, Forecast{p, hit})
			boast = append(boast, Forecast{p * p, hit})
		}
		if _, p, err := Calibrated(honest); err != nil || p < 0.01 {
			t.Errorf("honest forecasts: p = %v, %v", p, err)
		}
		if _, p, err := Calibrated(boast); err != nil || p > 1e-6 {
			t.Errorf("boasting forecasts: p = %v, %v", p, err)
		}
	})
	t.Run("refuse bad input", func(t *testing.T) {
		for _, f := range []func([]Forecast) error{
			func(fs []Forecast) error { _, err := Brier(fs); return err },
			func(fs []Forecast) error { _, err := LogScore(fs); return err },
			func(fs []Forecast) error { _, err := Decompose(fs, nil); return err },
			func(fs []Forecast) error { _, err := Reliability(fs, nil, 0.9); return err },
			func(fs []Forecast) error { _, _, err := Calibrated(fs); return err },
		} {
			wantInputError(t, f(nil), "forecasts")
			wantInputError(t, f([]Forecast{{0.2, true}, {1.2, true}}), "forecasts[1].p")
			wantInputError(t, f([]Forecast{{math.NaN(), true}}), "forecasts[0].p")
		}
		_, _, err := Calibrated(repeat(0.5, 4, 2))
		wantInputError(t, err, "forecasts")
	})
}

func TestReliability(t *testing.T) {
	t.Run("makes one group per issued value with the Wilson interval", func(t *testing.T) {
		bins := must(Reliability(worked(), nil, 0.95))
		if len(bins) != 5 {
			t.Fatalf("%d bins", len(bins))
		}
		b := bins[3]
		if b.MeanP != .7 || b.N != 40 || b.Hits != 30 || b.Rate != .75 || b.Interval != must(Rate{30, 40}.Wilson(0.95)) {
			t.Errorf("bin %+v", b)
		}
	})
	t.Run("puts a forecast on an edge into the bin above, and 1 into the last", func(t *testing.T) {
		bins := must(Reliability([]Forecast{{0, false}, {0.5, true}, {1, true}, {0.49, true}}, must(EqualWidth(2)), 0.95))
		if len(bins) != 2 || bins[0].N != 2 || bins[1].N != 2 || bins[1].Low != 0.5 || bins[1].High != 1 {
			t.Errorf("bins %+v", bins)
		}
	})
	t.Run("loses no forecast", func(t *testing.T) {
		r := source()
		fs := make([]Forecast, 500)
		for i := range fs {
			fs[i] = Forecast{r.Float64(), r.IntN(2) == 0}
		}
		n, hits := 0, 0
		for _, b := range must(Reliability(fs, must(EqualWidth(10)), 0.95)) {
			n, hits = n+b.N, hits+b.Hits
			if b.MeanP < b.Low || b.MeanP >= b.High || !b.Interval.Contains(b.Rate) {
				t.Errorf("bin %+v", b)
			}
		}
		want := 0
		for _, f := range fs {
			if f.Hit {
				want++
			}
		}
		if n != 500 || hits != want {
			t.Errorf("%d forecasts and %d hits, want 500 and %d", n, hits, want)
		}
	})
	t.Run("refuses bad edges and bins", func(t *testing.T) {
		fs := repeat(.5, 2, 1)
		for field, edges := range map[string][]float64{"edges": {0, 0.5}, "edges[1]": {0, 0, 1}, "edges[2]": {0, .7, math.NaN(), 1}} {
			_, err := Reliability(fs, edges, 0.9)
			wantInputError(t, err, field)
			_, err = Decompose(fs, edges)
			wantInputError(t, err, field)
		}
		_, err := Reliability(fs, []float64{}, 0.9)
		wantInputError(t, err, "edges")
		_, err = Reliability(fs, nil, 0)
		wantInputError(t, err, "level")
		_, err = EqualWidth(0)
		wantInputError(t, err, "n")
		_, err = CalibrationError(nil)
		wantInputError(t, err, "bins")
		_, err = CalibrationError([]Bin{{}})
		wantInputError(t, err, "bins[0].n")
	})
}

func BenchmarkDecompose10000(b *testing.B) {
	r := source()
	fs := make([]Forecast, 10000)
	for i := range fs {
		fs[i] = Forecast{r.Float64(), r.IntN(2) == 0}
	}
	edges := must(EqualWidth(10))
	for b.Loop() {
		must(Decompose(fs, edges))
	}
}
