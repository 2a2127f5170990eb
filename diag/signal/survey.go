package signal

import (
	"math"
)

// survey is the first pass over one channel: extremes, mean, histogram, noise and
// whatever rests on fixed thresholds.
type survey struct {
	lim     Limits
	voltage bool // a narrow-band voltage

	n        int
	observed float64 // seconds in pieces without a gap
	pieces   int
	integral float64
	hist     *histogram
	noise    logHistogram // absolute second differences
	quantum  float64      // smallest step between samples that differ
	low      peak
	high     peak

	open   bool
	began  float64 // start of the piece
	t0, v0 float64 // last sample
	v00    float64 // the one before
	run    int     // samples in the piece

	mid      edge
	pass     passage
	hiUp     float64
	loDown   float64
	side     int8
	since    float64  // start of the stay on this side
	whole    bool     // the stay began with a crossing
	longest  [2]stay  // lean, rich
	entered  [2]entry // longest that began with a crossing, lean and rich
	current  entry
	bones    *skeleton
	spent    [2]float64
	cross    int
	cycles   int     // whole cycles, between crossings the same way
	cycling  float64 // seconds they took
	covered  float64 // seconds between the first and last crossing of each piece
	first    float64 // first and last crossing of the piece
	last     float64
	inPiece  int
	same     [2]float64 // last crossing toward lean and toward rich in the piece
	sameSeen [2]bool
	periods  sample // between crossings toward rich
	period   moments
	gapMax   float64 // longest time between crossings
	span     sample  // sampling around the crossings
	clock    float64 // coarseness of a clock that repeats times; 0 is none
	over     excursion
	negative excursion
	events   []crossing // of this block, for pairs
	want     bool       // keep events
}

// peak is an extreme with what is needed to bound how much of it fell between
// samples.
type peak struct {
	v, t, bend float64
}

// stay is a time spent on one side of the middle.
type stay struct {
	from, to float64
	cut      bool // by the beginning or end of a piece
}

func (s stay) length() float64 { return s.to - s.from }

// entry is a stay that a crossing began, with how the signal went into it.
type entry struct {
	stay
	left    meeting // when it left its old state
	reach   meeting // when it reached what a forced mixture has to reach
	reached bool
	extreme float64
}

// excursion is time spent beyond a limit.
type excursion struct {
	episodes int
	time     float64
	first    float64 // when it first happened
	in       bool
}

// crossing is a confirmed crossing of the middle level.
type crossing struct {
	at        float64 // instant
	confirmed float64
	up        bool
	span      float64
}

func newSurvey(lim Limits, voltage bool) *survey {
	s := &survey{lim: lim, voltage: voltage, hist: newHistogram(), quantum: math.Inf(1)}
	s.low.v, s.high.v = math.Inf(1), math.Inf(-1)
	s.mid = newEdge(lim.MidV, lim.MidBandV)
	s.pass = newPassage(lim.LeanV, lim.RichV, lim.EdgeBandV)
	if voltage {
		s.bones = &skeleton{most: skeletonMost}
	}
	s.hiUp = max(s.pass.hi.up, s.mid.up)
	s.loDown = min(s.pass.lo.down, s.mid.down)
	return s
}

// add takes a run of samples without a missing one. fresh says that it does not
// continue the run before.
func (s *survey) add(t, v []float64, fresh bool) {
	if len(v) == 0 {
		return
	}
	s.n += len(v)
	if s.bones != nil {
		defer s.bones.add(t, v, fresh || !s.open, s.suggest)
	}
	if fresh || !s.open {
		s.close()
		s.start(t[0], v[0])
		t, v = t[1:], v[1:]
	}
	if len(v) == 0 {
		return
	}
	s.extremes(t, v)
	h := s.hist
	for _, x := range v {
		i := int((x - h.base) * h.inv)
		if uint(i) >= histBins || x < h.min || x > h.max {
			i = h.grow(x)
		}
		h.count[i]++
		h.n++
	}
	if s.voltage {
		s.edges(t, v)
	}
	last := len(v) - 1
	s.v00 = s.v0
	if last > 0 {
		s.v00 = v[last-1]
	}
	s.t0, s.v0 = t[last], v[last]
	s.run += len(v)
}

// suggest answers the state levels seen so far, and whether the signal rests at two
// of them apart from its noise.
func (s *survey) suggest() (low, high state, ok bool) {
	low, high = s.hist.states()
	return low, high, newTiming(low, high, s.noiseSD(), s.lim) != nil
}

func (s *survey) start(t, v float64) {
	s.open, s.began, s.t0, s.v0, s.v00, s.run = true, t, t, v, v, 1
	s.pieces++
	s.hist.add(v)
	if v < s.low.v {
		s.low = peak{v: v, t: t}
	}
	if v > s.high.v {
		s.high = peak{v: v, t: t}
	}
	if !s.voltage {
		return
	}
	s.mid.begin(v)
	s.pass.begin(v)
	s.side, s.since, s.whole = s.mid.side, t, false
	s.current = entry{}
	s.inPiece, s.sameSeen = 0, [2]bool{}
	s.excursions(t, t, v)
}

// close ends a piece.
func (s *survey) close() {
	if !s.open {
		return
	}
	s.open = false
	s.observed += s.t0 - s.began
	if s.side != 0 {
		s.stayed(stay{s.since, s.t0, true})
	}
	if s.inPiece > 1 {
		s.covered += s.last - s.first
	}
	s.over.in, s.negative.in = false, false
}

// extremes also sums the area under the signal and samples its noise.
func (s *survey) extremes(t, v []float64) {
	t0, v0 := s.t0, s.v0
	lo, hi := v[0], v[0]
	area := 0.0
	for i, x := range v {
		area += (t[i] - t0) * (x + v0)
		t0, v0 = t[i], x
		if x < lo {
			lo = x
		} else if x > hi {
			hi = x
		}
	}
	s.integral += area / 2
	for i := 3; i < len(v); i += 4 {
		d := v[i] - v[i-1]
		s.noise.add(math.Abs(d - (v[i-1] - v[i-2])))
		if d = math.Abs(d); d > 0 && d < s.quantum {
			s.quantum = d
		}
	}
	if len(v) < 4 { // short runs must not go unheard
		a, b := s.v0, s.v00
		for k, x := range v {
			if s.run+k >= 2 {
				s.noise.add(math.Abs(x - 2*a + b))
			}
			if d := math.Abs(x - a); d > 0 && d < s.quantum {
				s.quantum = d
			}
			a, b = x, a
		}
	}
	if lo < s.low.v {
		s.low = s.peakAt(t, v, lo)
	}
	if hi > s.high.v {
		s.high = s.peakAt(t, v, hi)
	}
	if s.voltage && (hi > s.lim.OverV || lo < s.lim.NegativeV || s.over.in || s.negative.in) {
		t0 = s.t0
		for i, x := range v {
			s.excursions(t0, t[i], x)
			t0 = t[i]
		}
	}
}

// peakAt finds the extreme x and how sharply the samples bend there: a parabola
// through three samples peaks at most an eighth of their second difference above
// the middle one.
func (s *survey) peakAt(t, v []float64, x float64) peak {
	i := 0
	for v[i] != x {
		i++
	}
	p := peak{v: x, t: t[i]}
	before, after := s.v0, x
	if i > 0 {
		before = v[i-1]
	}
	if i+1 < len(v) {
		after = v[i+1]
	}
	p.bend = math.Abs(before-2*x+after) / 8
	return p
}

func (s *survey) excursions(t0, t, v float64) {
	for _, e := range []struct {
		*excursion
		out bool
	}{{&s.over, v > s.lim.OverV}, {&s.negative, v < s.lim.NegativeV}} {
		if e.out {
			if !e.in {
				if e.episodes == 0 {
					e.first = t
				}
				e.episodes++
			} else {
				e.time += t - t0
			}
		}
		e.in = e.out
	}
}

func (s *survey) edges(t, v []float64) {
	t0, v0 := s.t0, s.v0
	hiUp, loDown := s.hiUp, s.loDown
	for i, x := range v {
		switch {
		// beyond all bands with the sample before: every edge has come to rest
		case x >= hiUp && v0 >= hiUp:
			if x > s.current.extreme {
				s.further(t0, v0, t[i], x)
			}
		case x <= loDown && v0 <= loDown:
			if x < s.current.extreme {
				s.further(t0, v0, t[i], x)
			}
		default:
			s.pass.step(t0, v0, t[i], x)
			if d := s.mid.step(t0, v0, t[i], x); d != 0 {
				s.crossed(d > 0, s.mid.instant(), t[i])
			} else if s.side == 0 && s.mid.side != 0 {
				s.side, s.since, s.whole = s.mid.side, t[i], false
			}
			if s.side > 0 && x > s.current.extreme || s.side < 0 && x < s.current.extreme {
				s.further(t0, v0, t[i], x)
			}
		}
		t0, v0 = t[i], x
	}
}

// further notes a new extreme of the current stay.
func (s *survey) further(t0, v0, t1, v1 float64) {
	c := &s.current
	c.extreme = v1
	level := s.lim.ForcedLean
	if s.side > 0 {
		level = s.lim.ForcedRich
	}
	if !c.reached && (s.side > 0 && v1 >= level || s.side < 0 && v1 <= level) {
		c.reached = true
		c.reach = meeting{t1, t1 - t0}
		if v0 != v1 && (v0-level)*(v1-level) <= 0 {
			c.reach.t = t0 + (t1-t0)*((level-v0)/(v1-v0))
		}
	}
}

func (s *survey) crossed(up bool, m meeting, confirmed float64) {
	s.cross++
	s.span.add(m.span)
	if s.want {
		s.events = append(s.events, crossing{m.t, confirmed, up, m.span})
	}
	if s.side != 0 {
		s.stayed(stay{s.since, m.t, !s.whole})
	}
	s.side, s.since, s.whole = -1, m.t, true
	s.current = entry{left: s.pass.lastFall, extreme: math.Inf(1)}
	if up {
		s.side = 1
		s.current = entry{left: s.pass.lastRise, extreme: math.Inf(-1)}
	}
	if s.inPiece == 0 {
		s.first = m.t
	} else {
		s.gapMax = max(s.gapMax, m.t-s.last)
	}
	s.last = m.t
	s.inPiece++
	k := way(up)
	if s.sameSeen[k] {
		d := m.t - s.same[k]
		s.cycles++
		s.cycling += d
		if up {
			s.periods.add(d)
			s.period.add(d)
		}
	}
	s.same[k], s.sameSeen[k] = m.t, true
}

func (s *survey) stayed(d stay) {
	k := 0
	if s.side > 0 {
		k = 1
	}
	s.spent[k] += d.length()
	if d.length() > s.longest[k].length() {
		s.longest[k] = d
	}
	if s.whole && d.length() > s.entered[k].length() {
		s.current.stay = d
		s.entered[k] = s.current
	}
}
