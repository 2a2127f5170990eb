package picture

import (
	"math"
	"strconv"
	"strings"
)

// ticks answers round numbers from lo to hi, at most most of them: multiples of 1,
// 2 or 5 times a power of ten. digits is how many decimals their labels need.
func ticks(lo, hi float64, most int) (at []float64, digits int) {
	if !(hi > lo) || most < 2 || math.IsInf(hi-lo, 0) {
		return nil, 0
	}
	step := niceStep((hi - lo) / float64(most-1))
	first := math.Ceil(lo/step - 1e-9)
	for k := first; k*step <= hi+1e-9*step; k++ {
		v := k * step
		if v == 0 {
			v = 0 // no minus zero
		}
		at = append(at, v)
		if len(at) > 2*most {
			break
		}
	}
	return at, digitsOf(step)
}

// niceStep is the smallest of 1, 2 and 5 times a power of ten that is not below x.
func niceStep(x float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= x*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

func digitsOf(step float64) int {
	return min(max(int(-math.Floor(math.Log10(step)+1e-9)), 0), 9)
}

// around widens a range to whole steps, with room where a value lies on its edge.
func around(lo, hi float64, most int) (float64, float64) {
	if !(hi > lo) {
		pad := max(math.Abs(lo)*0.1, 1e-9)
		if lo == 0 {
			pad = 1
		}
		lo, hi = lo-pad, hi+pad
	}
	step := niceStep((hi - lo) / float64(most-1))
	return math.Floor(lo/step+1e-9) * step, math.Ceil(hi/step-1e-9) * step
}

// number prints v with a proper minus sign.
func number(v float64, digits int) string {
	return strings.Replace(strconv.FormatFloat(v, 'f', digits, 64), "-", "\u2212", 1)
}

// brief prints a value with about three significant digits.
func brief(v float64) string {
	if v == 0 {
		return "0"
	}
	a := math.Abs(v)
	switch {
	case a >= 1e6 || a < 1e-4:
		return strconv.FormatFloat(v, 'g', 3, 64)
	case a >= 100:
		return number(v, 0)
	case a >= 10:
		return number(v, 1)
	case a >= 1:
		return number(v, 2)
	}
	return number(v, 3)
}

func appendInt(b []byte, n int) []byte { return strconv.AppendInt(b, int64(n), 10) }

func appendNum(b []byte, v float64) []byte {
	if v == math.Trunc(v) && math.Abs(v) < 1e15 {
		return strconv.AppendInt(b, int64(v), 10)
	}
	return strconv.AppendFloat(b, math.Round(v*100)/100, 'f', -1, 64)
}
