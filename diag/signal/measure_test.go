package signal

import (
	"bytes"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/floats"
)

var front = Column{Column: 2, Name: "B1S1", Quantity: SensorVoltage, Unit: "V", Bank: 1, Position: 1}

// sampled takes f every dt from 0 to end, both included.
func sampled(f func(t float64) float64, dt, end float64) (ts, vs []float64) {
	n := int(math.Round(end / dt))
	for i := range n + 1 {
		t := float64(i) * dt
		ts = append(ts, t)
		vs = append(vs, f(t))
	}
	return
}

func measured(t testing.TB, ts, vs []float64, opt Options) Channel {
	t.Helper()
	c, _, err := MeasureSamples(Samples{Column: front, T: ts, V: vs}, opt)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func value(t testing.TB, name string, r Reading) float64 {
	t.Helper()
	v, ok := r.Get()
	if !ok {
		t.Fatalf("%s: refused: %+v", name, r.Refused)
	}
	return v
}

func check(t testing.TB, name string, r Reading, want, tol float64) {
	t.Helper()
	if got := value(t, name, r); math.Abs(got-want) > tol*max(1, math.Abs(want)) {
		t.Errorf("%s = %.12g, want %.12g", name, got, want)
	}
}

// trapezoid rests at lo, rises in a straight line of length rise, rests at hi and
// falls alike, once in every period.
func trapezoid(lo, hi, rise, period float64) func(float64) float64 {
	return func(t float64) float64 {
		x := math.Mod(t, period)
		rest := period/2 - rise
		switch {
		case x < rest:
			return lo
		case x < rest+rise:
			return lo + (hi-lo)*(x-rest)/rise
		case x < 2*rest+rise:
			return hi
		default:
			return hi - (hi-lo)*(x-2*rest-rise)/rise
		}
	}
}

// The expected values follow from the definitions: a straight line of length T
// takes 0.8 T from 10 to 90 %; a first-order step with time constant tau takes
// tau ln 9; a sine of frequency f takes asin(0.8)/(pi f); a square wave of f Hz has
// 2 f transitions a second.
func TestExactSignals(t *testing.T) {
	t.Run("a straight ramp takes 0.8 T from 10 to 90 %", func(t *testing.T) {
		// samples on the corners, so that no line is drawn across one
		ts, vs := sampled(trapezoid(0.1, 0.9, 0.25, 2), 1.0/1024, 16)
		c := measured(t, ts, vs, Options{})
		check(t, "low", c.Low, 0.1, 1e-9)
		check(t, "high", c.High, 0.9, 1e-9)
		n := c.Narrow
		check(t, "rise", n.Rise.Median, 0.8*250, 1e-9)
		check(t, "fall", n.Fall.Median, 0.8*250, 1e-9)
		check(t, "300 to 600 mV", n.LeanRich.Median, 250*0.3/0.8, 1e-9)
		check(t, "600 to 300 mV", n.RichLean.Median, 250*0.3/0.8, 1e-9)
		check(t, "cycles", n.CyclesHz, 0.5, 1e-9)
		check(t, "transitions", n.Transitions, 1, 1e-9)
		check(t, "period", n.Period, 2, 1e-9)
		check(t, "mean", c.Mean, 0.5, 1e-9)
		// 0.45 V is met (0.45-0.1)/0.8 of the way up
		up := 0.25 * 0.35 / 0.8
		down := 0.25 - up
		check(t, "longest rich", n.LongestRich, 1-up+down, 1e-9)
		check(t, "longest lean", n.LongestLean, 1-down+up, 1e-9)
		if n.LeanRich.Median.N != 8 || n.RichLean.Median.N != 8 {
			t.Errorf("%d and %d transitions, want 8 and 8", n.LeanRich.Median.N, n.RichLean.Median.N)
		}
	})

	t.Run("a first-order step takes tau ln 9", func(t *testing.T) {
		const tau, period = 0.05, 4.0
		step := func(x float64) float64 {
			y := math.Mod(x, period)
			if y < period/2 {
				return 0.1 + 0.8*(1-math.Exp(-y/tau))
			}
			return 0.9 - 0.8*(1-math.Exp(-(y-period/2)/tau))
		}
		ts, vs := sampled(step, 1.0/(1<<18), 3*period)
		c := measured(t, ts, vs, Options{})
		check(t, "rise", c.Narrow.Rise.Median, 1000*tau*math.Log(9), 1e-9)
		check(t, "fall", c.Narrow.Fall.Median, 1000*tau*math.Log(9), 1e-9)
		// from 0.3 to 0.6 V: (0.9-0.3)/(0.9-0.6) = 2
		check(t, "300 to 600 mV", c.Narrow.LeanRich.Median, 1000*tau*math.Ln2, 1e-9)
		check(t, "600 to 300 mV", c.Narrow.RichLean.Median, 1000*tau*math.Log(0.5/0.2), 1e-9)
	})

	t.Run("a sine takes asin(0.8)/(pi f)", func(t *testing.T) {
		const f = 2.0
		ts, vs := sampled(func(x float64) float64 { return 0.45 - 0.4*math.Cos(2*math.Pi*f*x) }, 1.0/(1<<18), 5)
		c := measured(t, ts, vs, Options{})
		check(t, "low", c.Low, 0.05, 1e-9)
		check(t, "high", c.High, 0.85, 1e-9)
		want := 1000 * math.Asin(0.8) / (math.Pi * f)
		check(t, "rise", c.Narrow.Rise.Median, want, 1e-9)
		check(t, "fall", c.Narrow.Fall.Median, want, 1e-9)
		check(t, "300 to 600 mV", c.Narrow.LeanRich.Median, 1000*math.Asin(0.15/0.4)/(math.Pi*f), 1e-9)
		check(t, "cycles", c.Narrow.CyclesHz, f, 1e-9)
		check(t, "duty", c.Narrow.Duty, 50, 1e-6)
		check(t, "mean", c.Mean, 0.45, 1e-9)
	})

	t.Run("a square of f Hz has 2 f transitions a second", func(t *testing.T) {
		for _, f := range []float64{0.5, 1, 2, 4} {
			ts, vs := sampled(func(x float64) float64 {
				if math.Mod(x*f, 1) < 0.5 {
					return 0.1
				}
				return 0.9
			}, 1.0/512, 20)
			c := measured(t, ts, vs, Options{})
			check(t, "transitions", c.Narrow.Transitions, 2*f, 1e-9)
			check(t, "cycles", c.Narrow.CyclesHz, f, 1e-9)
			check(t, "period", c.Narrow.Period, 1/f, 1e-9)
			if want := int(40 * f); c.Narrow.Crossings != want {
				t.Errorf("%g Hz: %d crossings in 20 s, want %d", f, c.Narrow.Crossings, want)
			}
		}
	})

	t.Run("uneven sampling measures the same ramp", func(t *testing.T) {
		f := trapezoid(0.1, 0.9, 0.25, 2)
		rng := rand.New(rand.NewPCG(7, 11))
		ts, vs := []float64{0}, []float64{f(0)}
		corner := 0
		corners := []float64{0.75, 1.0, 1.75, 2.0}
		for ts[len(ts)-1] < 16 {
			next := ts[len(ts)-1] + 0.001 + 0.004*rng.Float64()
			if c := corners[corner%4] + 2*float64(corner/4); next >= c {
				next = c
				corner++
			}
			ts, vs = append(ts, next), append(vs, f(next))
		}
		c := measured(t, ts, vs, Options{})
		check(t, "rise", c.Narrow.Rise.Median, 200, 1e-9)
		check(t, "300 to 600 mV", c.Narrow.LeanRich.Median, 250*0.3/0.8, 1e-9)
		check(t, "cycles", c.Narrow.CyclesHz, 0.5, 1e-9)
	})
}

// noisy adds normal noise of the given standard deviation to a signal, and jitter
// to the times at which it is looked at.
func noisy(f func(float64) float64, dt, end, sd, jitter float64, rng *rand.Rand) (ts, vs []float64) {
	n := int(end / dt)
	for i := range n {
		t := float64(i) * dt
		ts = append(ts, t)
		vs = append(vs, f(t+jitter*rng.NormFloat64())+sd*rng.NormFloat64())
	}
	return
}

func TestNoiseStaysWithinTheStatedUncertainty(t *testing.T) {
	shapes := []struct {
		name             string
		f                func(float64) float64
		rise, mid, cycle float64 // ms, ms, Hz
		low, high        float64
	}{
		{"ramp", trapezoid(0.1, 0.9, 0.2, 1.25), 160, 75, 0.8, 0.1, 0.9},
		{"slow ramp", trapezoid(0.15, 0.8, 0.6, 2.5), 480, 600 * 0.3 / 0.65, 0.4, 0.15, 0.8},
		{"first order", func(x float64) float64 {
			const tau, period = 0.04, 1.6
			y := math.Mod(x, period)
			if y < period/2 {
				return 0.1 + 0.8*(1-math.Exp(-y/tau))
			}
			return 0.9 - 0.8*(1-math.Exp(-(y-period/2)/tau))
		}, 40 * math.Log(9), 40 * math.Ln2, 1 / 1.6, 0.1, 0.9},
	}
	for _, s := range shapes {
		for _, dt := range []float64{0.001, 0.005, 0.02} {
			for _, sd := range []float64{0.002, 0.01} {
				t.Run(fmt.Sprintf("%s every %g ms with %g mV", s.name, dt*1000, sd*1000), func(t *testing.T) {
					missed := map[string]int{}
					const runs = 60
					for seed := range runs {
						rng := rand.New(rand.NewPCG(uint64(seed), 42))
						ts, vs := noisy(s.f, dt, 20, sd, dt/10, rng)
						c := measured(t, ts, vs, Options{})
						in := func(name string, r Reading, want float64) {
							if v, ok := r.Get(); !ok || math.Abs(v-want) > r.Uncertainty {
								missed[name]++
								if missed[name] == 1 {
									t.Logf("%s: %v ± %v, want %v", name, v, r.Uncertainty, want)
								}
							}
						}
						in("rise", c.Narrow.Rise.Median, s.rise)
						in("300 to 600 mV", c.Narrow.LeanRich.Median, s.mid)
						in("cycles", c.Narrow.CyclesHz, s.cycle)
						in("low", c.Low, s.low)
						in("high", c.High, s.high)
						if got := c.Noise.Or(0); dt < 0.01 && (got < 0.8*sd || got > 1.6*sd) {
							missed["noise"]++
						}
					}
					for name, n := range missed {
						if n > runs/20 {
							t.Errorf("%s outside its uncertainty in %d of %d runs", name, n, runs)
						}
					}
				})
			}
		}
	}
}

func TestTooSlowSamplingIsRefused(t *testing.T) {
	one := func(dt float64) *Narrow {
		ts, vs := sampled(func(x float64) float64 { return 0.45 + 0.4*math.Sin(2*math.Pi*1.3*x) }, dt, 120)
		return measured(t, ts, vs, Options{}).Narrow
	}
	t.Run("a 1 Hz log judges no transition and counts no crossing", func(t *testing.T) {
		n := one(1)
		for name, r := range map[string]Reading{"lean to rich": n.LeanRich.Median, "rich to lean": n.RichLean.Median,
			"rise": n.Rise.Median, "fall": n.Fall.Median, "cycles": n.CyclesHz, "transitions": n.Transitions} {
			if r.Value != nil || r.Refused == nil || r.Refused.Kind != TooSlow || r.Refused.NeedHz < 10 {
				t.Errorf("%s: %+v", name, r)
			}
		}
	})
	t.Run("a slow drift in a 1 Hz log is refused too", func(t *testing.T) {
		ts, vs := sampled(func(x float64) float64 { return 0.45 + 0.4*math.Sin(2*math.Pi*0.02*x) }, 1, 300)
		n := measured(t, ts, vs, Options{}).Narrow
		if r := n.LeanRich.Median; r.Value != nil || r.Refused.Kind != TooSlow {
			t.Errorf("%+v", r)
		}
	})
	t.Run("10 Hz counts but does not time", func(t *testing.T) {
		n := one(0.1)
		if r := n.LeanRich.Median; r.Value != nil || r.Refused.Kind != TooSlow || r.Refused.NeedHz != 20 {
			t.Errorf("%+v", r)
		}
		if v := value(t, "cycles", n.CyclesHz); math.Abs(v-1.3) > n.CyclesHz.Uncertainty {
			t.Errorf("cycles %v ± %v", v, n.CyclesHz.Uncertainty)
		}
	})
	t.Run("25 Hz times within its uncertainty", func(t *testing.T) {
		n := one(0.04)
		want := 1000 * math.Asin(0.375) / (math.Pi * 1.3)
		if v := value(t, "lean to rich", n.LeanRich.Median); math.Abs(v-want) > n.LeanRich.Median.Uncertainty {
			t.Errorf("%v ± %v, want %v", v, n.LeanRich.Median.Uncertainty, want)
		}
	})
	t.Run("times that repeat are judged by the clock, not by the rows", func(t *testing.T) {
		ts, vs := sampled(func(x float64) float64 { return 0.45 + 0.4*math.Sin(2*math.Pi*1.3*x) }, 0.1, 120)
		for i := range ts {
			ts[i] = math.Floor(ts[i])
		}
		if r := measured(t, ts, vs, Options{}).Narrow.LeanRich.Median; r.Value != nil || r.Refused.Kind != TooSlow {
			t.Errorf("%+v", r)
		}
	})
}

// naive is the same definitions written the other way round: whole slices, no
// state carried along, every crossing searched for backward from where it is
// confirmed.
type naive struct {
	min, max, mean float64
	up, down       []float64 // instants of confirmed mid crossings
	rises, falls   []float64 // 300 to 600 mV and back, seconds
}

// sides gives for every sample on which side of the level it is confirmed.
func sides(vs []float64, level, band float64) []int {
	out := make([]int, len(vs))
	for i := range vs {
		for k := i; k >= 0; k-- {
			if vs[k] >= level+band {
				out[i] = 1
				break
			}
			if vs[k] <= level-band {
				out[i] = -1
				break
			}
		}
	}
	return out
}

type naiveCrossing struct {
	at float64
	i  int // sample that confirms it
	up bool
}

func naiveCrossings(ts, vs []float64, level, band float64) (out []naiveCrossing) {
	s := sides(vs, level, band)
	for i := 1; i < len(vs); i++ {
		if s[i-1] == 0 || s[i] == s[i-1] {
			continue
		}
		up := s[i] > 0
		from := i - 1 // last sample confirmed on the old side itself
		for up && vs[from] > level-band || !up && vs[from] < level+band {
			from--
		}
		first, last := math.NaN(), math.NaN()
		for k := from + 1; k <= i; k++ {
			if up && vs[k-1] < level && vs[k] >= level || !up && vs[k-1] > level && vs[k] <= level {
				x := ts[k-1] + (ts[k]-ts[k-1])*((level-vs[k-1])/(vs[k]-vs[k-1]))
				if math.IsNaN(first) {
					first = x
				}
				last = x
			}
		}
		out = append(out, naiveCrossing{(first + last) / 2, i, up})
	}
	return out
}

func naiveMeasure(ts, vs []float64, lim Limits) naive {
	n := naive{min: floats.Min(vs), max: floats.Max(vs)}
	for i := 1; i < len(ts); i++ {
		n.mean += (ts[i] - ts[i-1]) * (vs[i] + vs[i-1]) / 2
	}
	n.mean /= ts[len(ts)-1] - ts[0]
	for _, c := range naiveCrossings(ts, vs, lim.MidV, lim.MidBandV) {
		if c.up {
			n.up = append(n.up, c.at)
		} else {
			n.down = append(n.down, c.at)
		}
	}
	lo := naiveCrossings(ts, vs, lim.LeanV, lim.EdgeBandV)
	hi := naiveCrossings(ts, vs, lim.RichV, lim.EdgeBandV)
	// a rise is an upward crossing of lo followed by one of hi with no downward one of lo between
	for _, h := range hi {
		if h.up {
			var start *naiveCrossing
			for k := range lo {
				if lo[k].i <= h.i {
					start = &lo[k]
				}
			}
			used := false
			for _, other := range hi { // an earlier arrival used the departure up
				if start != nil && other.up && other.i < h.i && other.i >= start.i {
					used = true
				}
			}
			if start != nil && start.up && !used {
				n.rises = append(n.rises, h.at-start.at)
			}
		}
	}
	for _, l := range lo {
		if !l.up {
			var start *naiveCrossing
			for k := range hi {
				if hi[k].i <= l.i {
					start = &hi[k]
				}
			}
			used := false
			for _, other := range lo {
				if start != nil && !other.up && other.i < l.i && other.i >= start.i {
					used = true
				}
			}
			if start != nil && !start.up && !used {
				n.falls = append(n.falls, l.at-start.at)
			}
		}
	}
	return n
}

func TestAgreesWithAnIndependentImplementation(t *testing.T) {
	lim := DefaultLimits()
	for seed := range 300 {
		rng := rand.New(rand.NewPCG(uint64(seed), 5))
		// a random walk between random levels with noise: nothing a sensor would do
		n := 200 + rng.IntN(6000)
		ts, vs := make([]float64, n), make([]float64, n)
		now, v, goal := 0.0, rng.Float64(), rng.Float64()
		pull, sd := 0.01+0.3*rng.Float64(), 0.05*rng.Float64()
		for i := range n {
			ts[i] = now
			now += 0.002 + 0.01*rng.Float64()
			if rng.IntN(40) == 0 {
				goal = 1.2*rng.Float64() - 0.1
			}
			v += pull * (goal - v)
			vs[i] = v + sd*rng.NormFloat64()
			if seed%3 == 0 {
				vs[i] = math.Round(vs[i]*200) / 200 // the steps of a service 01 byte
			}
		}
		c := measured(t, ts, vs, Options{})
		want := naiveMeasure(ts, vs, lim)
		got := c.Narrow
		if got.Crossings != len(want.up)+len(want.down) {
			t.Fatalf("seed %d: %d crossings, want %d", seed, got.Crossings, len(want.up)+len(want.down))
		}
		check(t, "min", c.Min, want.min, 1e-12)
		check(t, "max", c.Max, want.max, 1e-12)
		check(t, "mean", c.Mean, want.mean, 1e-9)
		compare := func(name string, got Transition, want []float64) {
			if got.Median.N != len(want) && !(len(want) == 0 && got.Median.Value == nil) {
				t.Fatalf("seed %d: %s: %d, want %d", seed, name, got.Median.N, len(want))
			}
			if len(want) > 0 && got.Median.Value != nil {
				slices.Sort(want)
				check(t, name, got.Median, 1000*median(want), 1e-9)
				if !near(got.Fastest, 1000*want[0], 1e-9) || !near(got.Slowest, 1000*want[len(want)-1], 1e-9) {
					t.Errorf("seed %d: %s runs from %v to %v, want %v to %v", seed, name, got.Fastest, got.Slowest, 1000*want[0], 1000*want[len(want)-1])
				}
			}
		}
		compare("rise", got.LeanRich, want.rises)
		compare("fall", got.RichLean, want.falls)
		var periods []float64
		for i := 1; i < len(want.up); i++ {
			periods = append(periods, want.up[i]-want.up[i-1])
		}
		if len(periods) > 0 {
			slices.Sort(periods)
			check(t, "period", got.Period, median(periods), 1e-9)
		}
	}
}

// gonum's Fourier transform finds the frequency of a switching signal on its own
// terms; gonum's sign count the crossings of a clean one.
func TestCrossingRateAgreesWithGonum(t *testing.T) {
	for _, f := range []float64{0.5, 1.25, 2.5, 4} {
		const dt, end = 1.0 / 256, 64.0
		rng := rand.New(rand.NewPCG(3, uint64(f*100)))
		ts, vs := sampled(func(x float64) float64 { return 0.45 + 0.35*math.Tanh(3*math.Sin(2*math.Pi*f*x+0.3)) }, dt, end-dt)
		clean := slices.Clone(vs)
		for i := range vs {
			vs[i] += 0.01 * rng.NormFloat64()
		}
		c := measured(t, ts, vs, Options{})

		mean := floats.Sum(vs) / float64(len(vs))
		shifted := make([]float64, len(vs))
		for i, v := range vs {
			shifted[i] = v - mean
		}
		fft := fourier.NewFFT(len(vs))
		best, freq := 0.0, 0.0
		for i, x := range fft.Coefficients(nil, shifted) {
			if a := cmplx.Abs(x); a > best {
				best, freq = a, fft.Freq(i)/dt
			}
		}
		got := value(t, "cycles", c.Narrow.CyclesHz)
		if math.Abs(got-freq) > c.Narrow.CyclesHz.Uncertainty+1/end/2 {
			t.Errorf("%g Hz: %v cycles a second, the Fourier transform says %v", f, got, freq)
		}

		above := make([]float64, len(clean)-1)
		for i := range above {
			above[i] = (clean[i] - 0.45) * (clean[i+1] - 0.45)
		}
		want := floats.Count(func(x float64) bool { return x < 0 }, above)
		if c := measured(t, ts, clean, Options{}); c.Narrow.Crossings != want {
			t.Errorf("%g Hz: %d crossings, gonum counts %d changes of sign", f, c.Narrow.Crossings, want)
		}
	}
}

func TestExcursionsAndStates(t *testing.T) {
	ts, vs := sampled(trapezoid(0.1, 0.9, 0.1, 1), 0.005, 20)
	for i := range 10 {
		vs[400+i] = 1.25 // 50 ms above what a cell can deliver
		vs[900+i] = -0.2
		vs[1500+i] = -0.1
	}
	c := measured(t, ts, vs, Options{})
	n := c.Narrow
	if n.Over.Episodes != 1 || n.Negative.Episodes != 2 {
		t.Errorf("%d and %d episodes, want 1 and 2", n.Over.Episodes, n.Negative.Episodes)
	}
	check(t, "time above", n.Over.Time, 0.045, 1e-9)
	check(t, "time below", n.Negative.Time, 0.09, 1e-9)
	if !near(n.Over.FirstAt, 2, 1e-9) || !near(n.Negative.FirstAt, 4.5, 1e-9) {
		t.Errorf("first at %v and %v", n.Over.FirstAt, n.Negative.FirstAt)
	}
	check(t, "max", c.Max, 1.25, 1e-12)
	check(t, "min", c.Min, -0.2, 1e-12)

	t.Run("a spike is not a state", func(t *testing.T) {
		ts, vs := sampled(trapezoid(0.1, 0.9, 0.1, 1), 0.005, 20)
		vs[1234], vs[2345] = 12, 11.5
		c := measured(t, ts, vs, Options{})
		check(t, "high", c.High, 0.9, 1e-2)
		check(t, "max", c.Max, 12, 1e-12)
	})
	t.Run("a constant signal has one level and no transition", func(t *testing.T) {
		ts, vs := sampled(func(float64) float64 { return 0.45 }, 0.01, 10)
		c := measured(t, ts, vs, Options{})
		check(t, "low", c.Low, 0.45, 1e-12)
		if r := c.Narrow.Rise.Median; r.Refused == nil || r.Refused.Kind != NoState {
			t.Errorf("%+v", r)
		}
		if r := c.Narrow.LongestRich; r.Value != nil {
			t.Errorf("a signal on the middle level is on no side: %+v", r)
		}
		check(t, "cycles", c.Narrow.CyclesHz, 0, 1e-12)
	})
	t.Run("a stuck signal says at least how long", func(t *testing.T) {
		ts, vs := sampled(func(float64) float64 { return 0.08 }, 0.01, 10)
		r := measured(t, ts, vs, Options{}).Narrow.LongestLean
		check(t, "longest lean", r, 10, 1e-9)
		if !r.AtLeast {
			t.Error("not marked as a lower bound")
		}
	})
}

func TestForcedMixture(t *testing.T) {
	const at, dead, tau = 3.0, 0.03, 0.04
	rich := func(x float64) float64 {
		if x < at+dead {
			return 0.1
		}
		return 0.1 + 0.8*(1-math.Exp(-(x-at-dead)/tau))
	}
	lean := func(x float64) float64 { return 1 - rich(x) }
	reach := func(v float64) float64 { return -tau * math.Log(1-(v-0.1)/0.8) }
	for _, tt := range []struct {
		mixture string
		f       func(float64) float64
		leave   float64
		target  float64
	}{{"rich", rich, reach(0.3), reach(0.8)}, {"lean", lean, reach(0.4), reach(0.8)}} {
		t.Run(tt.mixture+", at a marked time", func(t *testing.T) {
			ts, vs := sampled(tt.f, 0.0005, 12)
			c := measured(t, ts, vs, Options{Event: &Event{At: at, Mixture: tt.mixture}})
			if len(c.Narrow.Forced) != 1 {
				t.Fatalf("%+v", c.Narrow.Forced)
			}
			f := c.Narrow.Forced[0]
			check(t, "delay", f.Delay, 1000*(dead+tt.leave), 1e-3)
			check(t, "to level", f.ToLevel, 1000*(dead+tt.target), 1e-3)
			if math.Abs(*f.Delay.Value-1000*(dead+tt.leave)) > f.Delay.Uncertainty {
				t.Errorf("delay outside its uncertainty: %+v", f.Delay)
			}
			want := 0.9
			if tt.mixture == "lean" {
				want = 0.1
			}
			check(t, "reached", f.Reached, want, 1e-6)
		})
		t.Run(tt.mixture+", found in the signal", func(t *testing.T) {
			// a second of switching, then the long stay
			f := func(x float64) float64 {
				if x < 2 {
					return 0.45 + 0.3*math.Sin(2*math.Pi*2.5*x)
				}
				return tt.f(x)
			}
			if tt.mixture == "lean" {
				f = func(x float64) float64 {
					if x < 2 {
						return 0.55 + 0.3*math.Sin(2*math.Pi*2.5*x)
					}
					return tt.f(x)
				}
			}
			ts, vs := sampled(f, 0.0005, 12)
			c := measured(t, ts, vs, Options{})
			var found *Forced
			for i := range c.Narrow.Forced {
				if c.Narrow.Forced[i].Mixture == tt.mixture {
					found = &c.Narrow.Forced[i]
				}
			}
			if found == nil || !found.Found {
				t.Fatalf("%+v", c.Narrow.Forced)
			}
			check(t, "set off", Reading{Value: &found.At}, at+dead+tt.leave, 1e-3)
			check(t, "to level", found.ToLevel, 1000*(tt.target-tt.leave), 1e-3)
			if found.Delay.Value != nil || found.Delay.Refused.Kind != NoEvent {
				t.Errorf("a delay was made up: %+v", found.Delay)
			}
		})
	}
	t.Run("a level never reached is said, not guessed", func(t *testing.T) {
		ts, vs := sampled(func(x float64) float64 { return 0.1 + 0.5*min(max(x-at, 0), 1) }, 0.001, 12)
		f := measured(t, ts, vs, Options{Event: &Event{At: at, Mixture: "rich"}}).Narrow.Forced[0]
		if f.ToLevel.Value != nil || f.ToLevel.Refused.Kind != NoneSeen {
			t.Errorf("%+v", f.ToLevel)
		}
		check(t, "reached", f.Reached, 0.6, 1e-9)
	})
	t.Run("warm-up ends when the cell first leaves its bias", func(t *testing.T) {
		f := func(x float64) float64 {
			if x < 30 {
				return 0.44 + 0.0005*x
			}
			return 0.45 + 0.4*math.Sin(2*math.Pi*(x-30))
		}
		ts, vs := sampled(f, 0.001, 60)
		c := measured(t, ts, vs, Options{ColdStart: new(2.0)})
		// 0.45 + 0.4 sin passes 0.6 after asin(0.375)/2pi
		check(t, "warm-up", *c.Narrow.WarmUp, 28+math.Asin(0.375)/(2*math.Pi), 1e-6)
	})
}

func TestPairs(t *testing.T) {
	table := func(rear func(x float64) float64, names string) []byte {
		var b strings.Builder
		b.WriteString("Time (s)," + names + "\n")
		for i := range 6000 {
			x := float64(i) / 100
			fmt.Fprintf(&b, "%.2f,%.5f,%.5f\n", x, 0.45+0.4*math.Sin(2*math.Pi*x), rear(x))
		}
		return []byte(b.String())
	}
	run := func(data []byte) *Result {
		m, _ := sniff(t, data)
		res, err := Measure(bytes.NewReader(data), m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return res
	}
	const names = "O2 B1S1 (V),O2 B1S2 (V)"
	t.Run("a worn converter passes the front's switching on with a delay", func(t *testing.T) {
		res := run(table(func(x float64) float64 { return 0.45 + 0.3*math.Sin(2*math.Pi*(x-0.23)) }, names))
		p := res.Pairs[0]
		check(t, "delay", p.Delay, 230, 1e-3)
		check(t, "swing", p.Swing, 0.75, 5e-3)
		if v := value(t, "activity", p.Activity); math.Abs(v-1) > p.Activity.Uncertainty {
			t.Errorf("activity %v ± %v", v, p.Activity.Uncertainty)
		}
		if len(res.Warnings) != 0 {
			t.Errorf("%+v", res.Warnings)
		}
	})
	t.Run("a good converter keeps the rear quiet", func(t *testing.T) {
		res := run(table(func(x float64) float64 { return 0.68 + 0.02*math.Sin(2*math.Pi*0.1*x) }, names))
		p := res.Pairs[0]
		check(t, "activity", p.Activity, 0, 1e-12)
		if p.Delay.Value != nil {
			t.Errorf("a delay was made up: %+v", p.Delay)
		}
	})
	t.Run("exchanged channels are warned of", func(t *testing.T) {
		res := run(table(func(x float64) float64 { return 0.68 + 0.02*math.Sin(2*math.Pi*0.1*x) }, "O2 B1S2 (V),O2 B1S1 (V)"))
		if len(res.Warnings) != 1 || res.Warnings[0].Kind != MaybeSwapped {
			t.Errorf("%+v", res.Warnings)
		}
	})
	t.Run("channels of no known place are taken in order, and it is said", func(t *testing.T) {
		res := run(table(func(x float64) float64 { return 0.45 + 0.3*math.Sin(2*math.Pi*(x-0.1)) }, "A (V),B (V)"))
		if len(res.Pairs) != 1 || !res.Pairs[0].Assumed || res.Pairs[0].Front != "A (V)" {
			t.Errorf("%+v", res.Pairs)
		}
	})
}

func TestWideRange(t *testing.T) {
	const at, dead, tau = 4.0, 0.05, 0.06
	f := func(x float64) float64 {
		y := 1.0 + 0.002*math.Sin(2*math.Pi*1.7*x)
		if x > at+dead {
			y -= 0.1 * (1 - math.Exp(-(x-at-dead)/tau))
		}
		return y
	}
	ts, vs := sampled(f, 0.001, 10)
	col := Column{Column: 2, Name: "wide", Quantity: SensorLambda, Unit: "lambda"}
	c, _, err := MeasureSamples(Samples{Column: col, T: ts, V: vs}, Options{Event: &Event{At: at, Mixture: "rich"}})
	if err != nil {
		t.Fatal(err)
	}
	if c.Narrow != nil {
		t.Error("a wide-range sensor was measured as one that switches")
	}
	if r := c.Wide.Crossings; r.Value != nil || r.Refused.Kind != NotItsKind {
		t.Errorf("%+v", r)
	}
	if v := value(t, "lag", c.Wide.Lag); math.Abs(v-1000*(dead+tau)) > max(c.Wide.Lag.Uncertainty, 3) {
		t.Errorf("lag %v ± %v ms, want %v", v, c.Wide.Lag.Uncertainty, 1000*(dead+tau))
	}
	steady, _, _ := MeasureSamples(Samples{Column: col, T: ts[:4000], V: vs[:4000]}, Options{})
	// half the middle 68 % of a sine of amplitude a is a sin(0.68 pi/2)
	if v := value(t, "steadiness", steady.Wide.Steadiness); math.Abs(v-0.002*math.Sin(0.34*math.Pi)) > 2e-5 {
		t.Errorf("steadiness %v", v)
	}
	if r := steady.Wide.Lag; r.Refused == nil || r.Refused.Kind != NoEvent {
		t.Errorf("%+v", r)
	}
}

// Where blocks of rows begin and end must not show in any result.
func TestBlocksDoNotShow(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	ts, vs := noisy(trapezoid(0.1, 0.9, 0.1, 0.7), 0.003, 60, 0.01, 0, rng)
	whole := measured(t, ts, vs, Options{})
	s := newSurvey(DefaultLimits(), true)
	for i := 0; i < len(ts); {
		n := min(1+rng.IntN(7), len(ts)-i)
		s.add(ts[i:i+n], vs[i:i+n], i == 0)
		i += n
	}
	s.close()
	if s.cross != whole.Narrow.Crossings || s.pass.ups.took.n != whole.Narrow.LeanRich.Median.N {
		t.Errorf("%d crossings and %d rises in small blocks, %d and %d in large ones", s.cross, s.pass.ups.took.n, whole.Narrow.Crossings, whole.Narrow.LeanRich.Median.N)
	}
	check(t, "median rise", whole.Narrow.LeanRich.Median, 1000*s.pass.ups.took.median(), 1e-12)
	check(t, "mean", whole.Mean, s.integral/s.observed, 1e-12)
	low, high := s.hist.states()
	check(t, "low", whole.Low, low.level, 1e-12)
	check(t, "high", whole.High, high.level, 1e-12)
}

func TestNothingIsMeasuredAcrossAGap(t *testing.T) {
	// rich ahead of the gap, lean behind it: no transition was seen
	ts, vs := sampled(func(float64) float64 { return 0.8 }, 0.01, 5)
	t2, _ := sampled(func(float64) float64 { return 0 }, 0.01, 5)
	for _, x := range t2 {
		ts, vs = append(ts, x+20), append(vs, 0.1)
	}
	c, _, err := MeasureSamples(Samples{Column: front, T: ts, V: vs, Fresh: []int{501}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if c.Narrow.Crossings != 0 || c.Narrow.RichLean.Median.Value != nil {
		t.Errorf("%+v", c.Narrow)
	}
	check(t, "observed", c.Observed, 10, 1e-9)
	check(t, "duty", c.Narrow.Duty, 50, 1e-9)
	check(t, "mean", c.Mean, 0.45, 1e-9)
}

// Timing transitions from the kept samples must give what reading again gives.
func TestOneReadingTimesAsTwoDo(t *testing.T) {
	once, twice := 0, 0
	for seed := range 40 {
		rng := rand.New(rand.NewPCG(uint64(seed), 8))
		n := skeletonBegin/2 + rng.IntN(5*skeletonBegin)
		f := trapezoid(0.1, 0.8, 0.02+0.2*rng.Float64(), 1+rng.Float64())
		if seed%4 == 3 { // cold at first: the first samples suggest other levels
			warm := f
			f = func(x float64) float64 {
				if x < 30 {
					return 0.45 + 0.1*math.Sin(x)
				}
				return warm(x)
			}
		}
		ts, vs := noisy(f, 0.002, float64(n)*0.002, 0.02*rng.Float64(), 0, rng)
		var fresh []int
		for k := range 3 {
			at := (k + 1) * len(ts) / 4
			for i := at; i < len(ts); i++ {
				ts[i] += 5
			}
			fresh = append(fresh, at)
		}
		got := measured2(t, Samples{Column: front, T: ts, V: vs, Fresh: fresh})

		run := newMeasurement(Mapping{Channels: []Column{front}}, Options{}.filled())
		s := run.surveys[0]
		cuts := append(fresh, len(ts))
		from := 0
		for _, to := range cuts {
			s.add(ts[from:to], vs[from:to], true)
			from = to
		}
		s.close()
		low, high := s.hist.states()
		x := newTiming(low, high, s.noiseSD(), s.lim)
		if x == nil {
			continue
		}
		from = 0
		for _, to := range cuts {
			x.add(ts[from:to], vs[from:to], true)
			from = to
		}
		y := newTiming(low, high, s.noiseSD(), s.lim)
		if s.bones.runs(&y.pass, y.add) {
			once++
			if s.bones.n > len(ts) || s.bones.gated && s.bones.n > len(ts)*9/10 {
				t.Errorf("seed %d: %d samples kept of %d", seed, s.bones.n, len(ts))
			}
			if !slices.Equal(y.pass.ups.took.v, x.pass.ups.took.v) || !slices.Equal(y.pass.down.took.v, x.pass.down.took.v) {
				t.Errorf("seed %d: %d and %d transitions from the kept samples, %d and %d from all", seed,
					y.pass.ups.took.n, y.pass.down.took.n, x.pass.ups.took.n, x.pass.down.took.n)
			}
		} else {
			twice++
		}
		if w := 1000 * x.pass.ups.took.median(); x.pass.ups.took.n > 0 && got.Narrow.Rise.Median.Value != nil && *got.Narrow.Rise.Median.Value != w {
			t.Errorf("seed %d: rise %v, want %v", seed, *got.Narrow.Rise.Median.Value, w)
		}
	}
	if once < 10 || twice < 3 {
		t.Errorf("both ways must be tried: %d once, %d twice", once, twice)
	}
}

func measured2(t testing.TB, s Samples) Channel {
	t.Helper()
	c, _, err := MeasureSamples(s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// A bounded histogram must not depend on the order of what it counts.
func TestHistogram(t *testing.T) {
	for seed := range 50 {
		rng := rand.New(rand.NewPCG(uint64(seed), 3))
		n := 1 + rng.IntN(3000)
		v := make([]float64, n)
		scale := math.Pow(10, -6+12*rng.Float64())
		for i := range v {
			v[i] = scale * rng.NormFloat64()
		}
		a, b := newHistogram(), newHistogram()
		for _, x := range v {
			a.add(x)
		}
		slices.Sort(v)
		for _, x := range v {
			b.add(x)
		}
		la, ha := a.states()
		lb, hb := b.states()
		if a.width != b.width || !near(la.level, lb.level, 1e-12) || !near(ha.level, hb.level, 1e-12) || la.n != lb.n || ha.n != hb.n {
			t.Fatalf("seed %d: order shows: %v %v, %v %v", seed, la, lb, ha, hb)
		}
		if a.n != int64(n) || a.min != v[0] || a.max != v[n-1] {
			t.Fatalf("seed %d: %d from %v to %v", seed, a.n, a.min, a.max)
		}
		for _, p := range []float64{0.01, 0.16, 0.5, 0.84, 0.99} {
			want := v[min(int(p*float64(n)), n-1)]
			below := v[max(int(p*float64(n))-1, 0)]
			if q := a.quantile(p); q < below-a.width || q > want+a.width {
				t.Fatalf("seed %d: quantile %v = %v, want %v to %v", seed, p, q, below, want)
			}
		}
		if (a.max-a.min)/a.width > histBins || (n > 1 && (a.max-a.min)/a.width < histBins/2-2) {
			t.Fatalf("seed %d: bins of %v over %v", seed, a.width, a.max-a.min)
		}
	}
}

func TestSampleKeepsOrderStatistics(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	var s sample
	var all []float64
	for range 3*sampleLimit + 17 {
		x := rng.NormFloat64()
		s.add(x)
		all = append(all, x)
	}
	slices.Sort(all)
	if s.n != len(all) || len(s.v) > sampleLimit {
		t.Fatalf("%d seen, %d kept", s.n, len(s.v))
	}
	if math.Abs(s.median()-median(all)) > 0.03 || math.Abs(s.mad()-mad(all, median(all))) > 0.03 {
		t.Errorf("median %v, want %v", s.median(), median(all))
	}
	var h logHistogram
	for range 1000 {
		h.add(0.001)
	}
	h.add(5)
	if m := h.median(); math.Abs(m-0.001) > 1e-15 {
		t.Errorf("the usual step is %v", m)
	}
}
