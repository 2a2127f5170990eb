package signal

import (
	"math"
	"slices"
)

// Histogram counts values in bins whose width is a power of two. It widens its
// bins as the range grows, so it holds any recording in fixed memory; where it
// ends up depends on the values alone, not on their order.
type histogram struct {
	count    []int64
	width    float64
	inv      float64 // 1 / width
	first    int64   // number of bin 0: it begins at first*width
	base     float64 // first * width
	n        int64
	min, max float64
}

const (
	histBins  = 4096
	histStart = 1.0 / (1 << 40) // narrowest bin
)

func newHistogram() *histogram {
	return &histogram{count: make([]int64, histBins), width: histStart, inv: 1 / histStart,
		min: math.Inf(1), max: math.Inf(-1)}
}

func (h *histogram) add(v float64) {
	i := int((v - h.base) * h.inv)
	if uint(i) >= histBins || v < h.base || v < h.min || v > h.max {
		i = h.grow(v)
	}
	h.count[i]++
	h.n++
}

// grow makes room for v and answers its bin.
func (h *histogram) grow(v float64) int {
	lo, hi := min(h.min, v), max(h.max, v)
	w, doubled := h.width, 0
	// bins must number few enough, and their numbers be exact
	for math.Floor(hi/w)-math.Floor(lo/w) >= histBins || max(math.Abs(lo), math.Abs(hi))/w > 1<<50 {
		w *= 2
		doubled++
	}
	first := int64(math.Floor(lo / w))
	if h.n > 0 && (w != h.width || first < h.first || int64(math.Floor(hi/w))-h.first >= histBins) {
		// put lo in the middle of the free room, so that a slow drift moves the bins seldom
		spare := histBins - 1 - (int64(math.Floor(hi/w)) - first)
		first -= spare / 2
		old := h.count
		h.count = make([]int64, histBins)
		for i, c := range old {
			if c != 0 {
				h.count[(h.first+int64(i))>>min(doubled, 63)-first] += c
			}
		}
		h.first, h.width, h.inv = first, w, 1/w
		h.base = float64(first) * w
	} else if h.n == 0 {
		h.first, h.width, h.inv = first, w, 1/w
		h.base = float64(first) * w
	}
	h.min, h.max = lo, hi
	return min(max(int(math.Floor(v/w))-int(h.first), 0), histBins-1)
}

// filled answers the range of bins that hold anything.
func (h *histogram) filled() (from, to int) {
	from, to = -1, -1
	for i, c := range h.count {
		if c != 0 {
			if from < 0 {
				from = i
			}
			to = i
		}
	}
	return from, to
}

// quantile answers the value below which the share p of all values lies,
// interpolated within its bin and kept within the extremes.
func (h *histogram) quantile(p float64) float64 {
	if h.n == 0 {
		return math.NaN()
	}
	want := p * float64(h.n)
	below := 0.0
	for i, c := range h.count {
		if c == 0 {
			continue
		}
		if below+float64(c) >= want {
			f := (want - below) / float64(c)
			v := h.base + (float64(i)+f)*h.width
			return min(max(v, h.min), h.max)
		}
		below += float64(c)
	}
	return h.max
}

// state is a level at which a signal rests, with the uncertainty of finding it.
type state struct {
	level, uncertainty float64
	n                  int64 // samples near it
}

// states finds the two state levels of a signal: the modes of the lower and the
// upper half of its histogram between its first and last filled bins, as IEEE
// Std 181 defines them, on about a hundred bins. One sample in a thousand at
// either end is left out of the range when it stands apart there, so that a spike
// is not taken for a state. The mode is then refined: a signal that rests at its
// very extreme has that extreme as its level; otherwise the level is the centre
// of gravity of one bin's width around the mode.
func (h *histogram) states() (low, high state) {
	from, to := h.filled()
	if from < 0 {
		return
	}
	cutFrom, cutTo := h.trim(from, to)
	wide := max((cutTo-cutFrom+1)/100, 1)
	bins := (cutTo - cutFrom + wide) / wide
	coarse := make([]int64, bins)
	for i := cutFrom; i <= cutTo; i++ {
		coarse[(i-cutFrom)/wide] += h.count[i]
	}
	half := bins / 2
	lo, hi := 0, bins-1
	for i := range half {
		if coarse[i] > coarse[lo] {
			lo = i
		}
	}
	for i := bins - 1; i >= bins-half && i > 0; i-- {
		if coarse[i] > coarse[hi] {
			hi = i
		}
	}
	low = h.refine(cutFrom+lo*wide, wide, cutFrom, cutTo, cutFrom == from, false)
	high = h.refine(cutFrom+hi*wide, wide, cutFrom, cutTo, false, cutTo == to)
	return low, high
}

// trim leaves out outlying bins that hold at most one sample in a thousand and
// stand apart from the rest by more than a tenth of the remaining range.
func (h *histogram) trim(from, to int) (int, int) {
	allowed := h.n / 1000
	a, b := from, to
	for gone, i := int64(0), from; i < to; i++ {
		if gone += h.count[i]; gone > allowed {
			break
		}
		next := i + 1
		for next < to && h.count[next] == 0 {
			next++
		}
		if (next-i)*10 > to-next {
			a = next
		}
	}
	for gone, i := int64(0), to; i > a; i-- {
		if gone += h.count[i]; gone > allowed {
			break
		}
		next := i - 1
		for next > a && h.count[next] == 0 {
			next--
		}
		if (i-next)*10 > next-a {
			b = next
		}
	}
	return a, b
}

func (h *histogram) refine(at, wide, from, to int, lowest, highest bool) state {
	peak := at
	for i := at; i < at+wide && i <= to; i++ {
		if h.count[i] > h.count[peak] {
			peak = i
		}
	}
	// the first bin may be filled in part only, so its neighbour may hold more
	if h.count[peak] > 1 {
		if lowest && peak <= from+1 {
			return state{h.min, 2 * h.width, h.count[peak]}
		}
		if highest && peak >= to-1 {
			return state{h.max, 2 * h.width, h.count[peak]}
		}
	}
	centre := float64(at) + float64(wide)/2
	var n float64
	for range 4 {
		a := max(int(math.Floor(centre-float64(wide))), from)
		b := min(int(math.Ceil(centre+float64(wide))), to+1)
		n = 0
		sum := 0.0
		for i := a; i < b; i++ {
			c := float64(h.count[i])
			n += c
			sum += c * (float64(i) + 0.5)
		}
		if n == 0 {
			break
		}
		centre = sum / n
	}
	v := min(max(h.base+centre*h.width, h.min), h.max)
	return state{v, h.width * max(float64(wide)/2, 1), int64(n)}
}

// logHistogram counts positive values in bins a thirty-second of an octave wide
// and keeps their sums, so that a value that repeats is given back as it was.
type logHistogram struct {
	count [64 * 32]int32
	sum   [64 * 32]float64
	zero  int64 // values that were 0
	n     int64
}

func (h *logHistogram) add(v float64) {
	h.n++
	if v <= 0 {
		h.zero++
		return
	}
	// exponent and the top five bits of the fraction, from 2^-44 up
	i := int(math.Float64bits(v)>>47) - (1023-44)*32
	i = min(max(i, 0), len(h.count)-1)
	h.count[i]++
	h.sum[i] += v
}

// median answers the mean of the values in the bin that holds the middle one.
func (h *logHistogram) median() float64 {
	if h.n == 0 {
		return math.NaN()
	}
	want := h.n/2 + 1 - h.zero
	if want <= 0 {
		return 0
	}
	for i, c := range h.count {
		if c > 0 {
			if want -= int64(c); want <= 0 {
				return h.sum[i] / float64(c)
			}
		}
	}
	return math.NaN()
}

// sample keeps values for order statistics: all of them up to a limit, beyond it
// every second, fourth, and so on, so that memory stays fixed and the choice does
// not depend on the values.
type sample struct {
	v      []float64
	every  int // keep one in this many
	n      int // values seen
	sorted bool
}

const sampleLimit = 1 << 15

func (s *sample) add(v float64) {
	if s.every == 0 {
		s.every = 1
	}
	if s.n%s.every == 0 {
		if len(s.v) == sampleLimit {
			for i := range sampleLimit / 2 {
				s.v[i] = s.v[2*i]
			}
			s.v = s.v[:sampleLimit/2]
			s.every *= 2
		}
		if s.n%s.every == 0 {
			s.v = append(s.v, v)
			s.sorted = false
		}
	}
	s.n++
}

func (s *sample) sort() []float64 {
	if !s.sorted {
		slices.Sort(s.v)
		s.sorted = true
	}
	return s.v
}

// median and mad answer the middle value and the median distance from it.
func (s *sample) median() float64 { return median(s.sort()) }

func (s *sample) mad() float64 { return mad(s.v, s.median()) }

func median(sorted []float64) float64 {
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	if n%2 == 1 {
		return sorted[n/2]
	}
	return sorted[n/2-1] + (sorted[n/2]-sorted[n/2-1])/2
}

func mad(v []float64, m float64) float64 {
	d := make([]float64, len(v))
	for i, x := range v {
		d[i] = math.Abs(x - m)
	}
	slices.Sort(d)
	return median(d)
}

// madToSigma makes the median absolute deviation of a normal distribution its
// standard deviation: 1 / Φ⁻¹(3/4).
const madToSigma = 1.4826022185056018

// moments gathers mean and variance in one pass (Welford).
type moments struct {
	n    int
	mean float64
	m2   float64
}

func (m *moments) add(v float64) {
	m.n++
	d := v - m.mean
	m.mean += d / float64(m.n)
	m.m2 += d * (v - m.mean)
}

func (m *moments) sd() float64 {
	if m.n < 2 {
		return 0
	}
	return math.Sqrt(m.m2 / float64(m.n-1))
}
