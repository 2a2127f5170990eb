package signal

// skeleton keeps what is needed of a channel to time its 10-90 % transitions once
// the state levels are known, so that a recording need be read only once. From the
// levels that the first samples suggest it sets live bands around the 10 % and 90 %
// levels; of samples that stay in one dead zone, below, between or above the bands,
// only the first and the last are kept, as nothing between them can cross a level.
// Where the final levels fall outside the live bands, or too many samples lie
// within them, it is of no use and the recording is read again.
type skeleton struct {
	chunks  []*chunk
	n       int // samples kept
	gated   bool
	gate    [4]float64 // dead below 0, between 1 and 2, above 3
	zone    int8       // of the last sample: 0, 1, 2 dead; -1 live
	held    bool       // the last sample is the latest of a dead run, not yet kept
	ht, hv  float64
	useless bool
	most    int // chunks at most
}

// chunk is a run of samples. Chunks are never grown, so that nothing is copied.
type chunk struct {
	n     int
	fresh bool // a gap lies ahead
	t, v  [chunkLen]float64
}

const (
	chunkLen      = 4096
	skeletonBegin = 1 << 14 // samples that suggest the levels
	skeletonMost  = 512     // chunks at most, of all channels together: 32 MiB
)

// add takes samples; suggest answers the state levels seen so far, and whether they
// are worth timing transitions between.
func (s *skeleton) add(t, v []float64, fresh bool, suggest func() (low, high state, ok bool)) {
	switch {
	case s.useless:
		return
	case s.gated:
		s.thin(t, v, fresh)
		return
	}
	if fresh {
		s.open(true)
	}
	for i, x := range v {
		s.put(t[i], x)
	}
	if s.useless || s.n < skeletonBegin {
		return
	}
	low, high, ok := suggest()
	if !ok {
		s.drop()
		return
	}
	all := s.chunks
	*s = skeleton{most: s.most, gated: true, zone: -1}
	// the final levels may differ by some 4 % of the swing
	for i, share := range []float64{0.04, 0.16, 0.84, 0.96} {
		s.gate[i] = low.level + share*(high.level-low.level)
	}
	for _, c := range all {
		s.thin(c.t[:c.n], c.v[:c.n], c.fresh)
	}
}

func (s *skeleton) open(fresh bool) {
	if len(s.chunks) >= s.most {
		s.drop()
		return
	}
	s.chunks = append(s.chunks, &chunk{fresh: fresh})
}

func (s *skeleton) put(t, v float64) {
	if len(s.chunks) == 0 || s.chunks[len(s.chunks)-1].n == chunkLen {
		s.open(false)
	}
	if s.useless {
		return
	}
	c := s.chunks[len(s.chunks)-1]
	c.t[c.n], c.v[c.n] = t, v
	c.n++
	s.n++
}

func (s *skeleton) thin(t, v []float64, fresh bool) {
	if fresh {
		s.keepHeld()
		s.open(true)
		s.zone = -1
	}
	if s.useless {
		return
	}
	g0, g1, g2, g3 := s.gate[0], s.gate[1], s.gate[2], s.gate[3]
	last := s.zone
	for i, x := range v {
		zone := int8(-1)
		switch {
		case x <= g0:
			zone = 0
		case x >= g3:
			zone = 2
		case x >= g1 && x <= g2:
			zone = 1
		}
		if zone >= 0 && zone == last {
			s.held, s.ht, s.hv = true, t[i], x
			continue
		}
		s.keepHeld()
		s.put(t[i], x)
		last = zone
	}
	s.zone = last
}

func (s *skeleton) keepHeld() {
	if s.held {
		s.held = false
		s.put(s.ht, s.hv)
	}
}

func (s *skeleton) drop() { *s = skeleton{useless: true} }

// runs hands the kept samples to f, run by run, if everything that p could meet
// lies within the live bands. It answers whether it did.
func (s *skeleton) runs(p *passage, f func(t, v []float64, fresh bool)) bool {
	s.keepHeld()
	if s.useless {
		return false
	}
	if s.gated && !(p.lo.down > s.gate[0] && p.lo.up < s.gate[1] && p.hi.down > s.gate[2] && p.hi.up < s.gate[3]) {
		return false
	}
	for i, c := range s.chunks {
		if c.n > 0 {
			f(c.t[:c.n], c.v[:c.n], c.fresh || i == 0)
		}
	}
	return true
}
