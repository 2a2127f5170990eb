package outcome

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/floats/scalar"
	"gonum.org/v1/gonum/stat/distuv"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !scalar.EqualWithinAbsOrRel(got, want, tol, tol) {
		t.Errorf("%s = %.9g, want %.9g (tolerance %g)", what, got, want, tol)
	}
}

func nearInterval(t *testing.T, what string, got Interval, low, high, tol float64) {
	t.Helper()
	near(t, what+" low", got.Low, low, tol)
	near(t, what+" high", got.High, high, tol)
}

// must unwraps a result that cannot fail in the test.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func wantInputError(t *testing.T, err error, field string) {
	t.Helper()
	e, ok := errors.AsType[*InputError](err)
	if !ok {
		t.Fatalf("got %v, want an InputError for %q", err, field)
	}
	if e.Field != field {
		t.Errorf("error names %q, want %q (%v)", e.Field, field, e)
	}
	if !strings.Contains(e.Error(), field) || len(e.Problem) < 10 {
		t.Errorf("error %q does not say what is wrong", e.Error())
	}
}

func source() *rand.Rand { return rand.New(rand.NewPCG(7, 11)) }

func TestDistributionsAgreeWithGonum(t *testing.T) {
	t.Run("normal quantile", func(t *testing.T) {
		for _, p := range []float64{1e-6, 0.001, 0.025, 0.05, 0.3, 0.5, 0.9, 0.975, 0.9995} {
			near(t, "z", must(NormalQuantile(p)), distuv.UnitNormal.Quantile(p), 1e-9)
		}
	})
	t.Run("beta distribution and quantile", func(t *testing.T) {
		shapes := []float64{0.05, 0.5, 1, 2.4, 14.3, 120, 5000}
		for _, a := range shapes {
			for _, b := range shapes {
				d, ref := Beta{a, b}, distuv.Beta{Alpha: a, Beta: b}
				for _, x := range []float64{1e-6, 0.01, 0.2, 0.5, 0.77, 0.999} {
					near(t, "CDF", d.CDF(x), ref.CDF(x), 1e-10)
				}
				near(t, "mean", d.Mean(), ref.Mean(), 1e-12)
				near(t, "variance", d.Variance(), ref.Variance(), 1e-12)
				for _, p := range []float64{0.025, 0.5, 0.975} {
					// Next to 1 a float holds no digits; the mirrored distribution does.
					if x := must(d.Quantile(p)); x < 0.9 {
						near(t, "CDF of the quantile", ref.CDF(x), p, 1e-8)
					} else {
						mirror := must(Beta{b, a}.Quantile(1 - p))
						near(t, "CDF of the mirrored quantile", distuv.Beta{Alpha: b, Beta: a}.CDF(mirror), 1-p, 1e-8)
					}
				}
			}
		}
	})
	t.Run("Student deviate", func(t *testing.T) {
		for _, df := range []float64{1, 2, 5, 30, 400} {
			ref := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
			near(t, "t", must(studentT(df, 0.95)), ref.Quantile(0.975), 1e-7)
		}
	})
	t.Run("chi-square tail", func(t *testing.T) {
		for _, x := range []float64{0, 0.1, 3.841, 16.79, 40} {
			near(t, "tail", chiSquare1Tail(x), distuv.ChiSquared{K: 1}.Survival(x), 1e-9)
		}
	})
}

func TestBeta(t *testing.T) {
	t.Run("has the closed forms of its simple cases", func(t *testing.T) {
		// Beta(1,1) is uniform; Beta(a,1) has CDF x^a; Beta(1/2,1/2) is the arcsine law.
		near(t, "uniform", must(Beta{1, 1}.Quantile(0.3)), 0.3, 1e-12)
		near(t, "power", must(Beta{3, 1}.Quantile(0.2)), math.Cbrt(0.2), 1e-12)
		near(t, "arcsine", must(Beta{0.5, 0.5}.Quantile(0.25)), math.Pow(math.Sin(math.Pi/8), 2), 1e-12)
	})
	t.Run("keeps the digits of a quantile next to zero", func(t *testing.T) {
		// Beta(1/50,1): p = x^(1/50), so x = p^50.
		near(t, "log10", math.Log10(must(Beta{0.02, 1}.Quantile(0.025))), 50*math.Log10(0.025), 1e-10)
	})
	t.Run("adds counts to the prior", func(t *testing.T) {
		// Posterior mean (a+k)/(a+b+n), exact.
		d := must(Beta{2, 8}.Update(3, 7))
		near(t, "mean", d.Mean(), (2.0+3)/(2+8+10), 1e-15)
	})
	t.Run("quantile turns round with the parameters", func(t *testing.T) {
		r := source()
		for range 200 {
			a, b, p := 0.1+50*r.Float64(), 0.1+50*r.Float64(), r.Float64()
			near(t, "mirror", must(Beta{a, b}.Quantile(p)), 1-must(Beta{b, a}.Quantile(1-p)), 1e-9)
		}
	})
	t.Run("refuses bad input", func(t *testing.T) {
		_, err := Beta{0, 1}.Quantile(0.5)
		wantInputError(t, err, "a")
		_, err = Beta{1, math.Inf(1)}.Credible(0.9)
		wantInputError(t, err, "b")
		_, err = Beta{1, 1}.Quantile(1.5)
		wantInputError(t, err, "p")
		_, err = Beta{1, 1}.Update(-1, 0)
		wantInputError(t, err, "hits")
		_, err = Beta{1, 1}.Credible(95)
		wantInputError(t, err, "level")
		_, err = NormalQuantile(1)
		wantInputError(t, err, "p")
		if !math.IsNaN((Beta{-1, 1}).CDF(0.5)) {
			t.Error("CDF of impossible parameters is a number")
		}
	})
}
