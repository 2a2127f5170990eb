package signal

import (
	"math"
)

// Event is a forced change of mixture: fuel added or air let in at a known time.
type Event struct {
	At          float64 `json:"at_s"`          // seconds, on the recording's own clock
	Mixture     string  `json:"mixture"`       // rich or lean
	Uncertainty float64 `json:"uncertainty_s"` // of At, seconds
}

// Forced is how a sensor answered a forced change of mixture.
type Forced struct {
	Mixture string  `json:"mixture"`  // rich or lean
	At      float64 `json:"at_s"`     // when the mixture changed; if Found, when the signal left its state
	Found   bool    `json:"found"`    // the change was found in the signal itself
	Delay   Reading `json:"delay"`    // until the signal left its state, ms
	ToLevel Reading `json:"to_level"` // until it reached the level asked for, ms
	Reached Reading `json:"reached"`  // furthest level, V
}

// witness watches the moments of a recording that were named beforehand: changes of
// mixture and a cold start.
type witness struct {
	lim     Limits
	open    bool
	t0, v0  float64
	windows []*window
	warm    *warmUp
}

// window watches the answer to one change of mixture.
type window struct {
	mixture  string
	at, end  float64
	left     edge // leaving the old state
	target   edge // reaching the level asked for
	seen     int  // samples in the window
	started  bool
	already  bool // the signal was past the state's level when it happened
	leftAt   meeting
	hasLeft  bool
	reached  meeting
	hasReach bool
	extreme  float64
}

func newWindow(lim Limits, mixture string, at, end float64) *window {
	w := &window{mixture: mixture, at: at, end: end}
	if mixture == "rich" {
		w.left, w.target, w.extreme = newEdge(lim.LeanV, lim.EdgeBandV), newEdge(lim.ForcedRich, 0), math.Inf(-1)
	} else {
		w.left, w.target, w.extreme = newEdge(lim.RichV, lim.EdgeBandV), newEdge(lim.ForcedLean, 0), math.Inf(1)
	}
	return w
}

func (w *window) step(t0, v0, t, v float64, fresh bool) {
	if t < w.at {
		return
	}
	if t > w.end {
		return
	}
	rich := w.mixture == "rich"
	if !w.started {
		w.started = true
		if fresh {
			w.left.begin(v)
			w.target.begin(v)
		} else {
			w.left.begin(v0)
			w.target.begin(v0)
			w.already = rich && v0 > w.left.level || !rich && v0 < w.left.level
		}
	} else if fresh {
		w.left.begin(v)
		w.target.begin(v)
	}
	w.seen++
	if !fresh {
		way := -1
		if rich {
			way = 1
		}
		if w.left.step(t0, v0, t, v) == way && !w.hasLeft {
			w.leftAt, w.hasLeft = w.left.instant(), true
		}
		if w.target.step(t0, v0, t, v) == way && !w.hasReach {
			w.reached, w.hasReach = w.target.instant(), true
		}
	}
	if rich {
		w.extreme = max(w.extreme, v)
	} else {
		w.extreme = min(w.extreme, v)
	}
}

// warmUp waits for a cold cell to come to life: the first time its voltage
// passes WarmAboveV from below or falls to LeanV from above.
type warmUp struct {
	from    float64
	high    edge
	low     edge
	started bool
	at      meeting
	done    bool
}

func (w *warmUp) step(t0, v0, t, v float64, fresh bool) {
	if w.done || t < w.from {
		return
	}
	if !w.started || fresh {
		// the cell rests where it starts: between the levels counts as either's far side
		w.started = true
		w.high.side, w.low.side = -1, 1
		w.high.met, w.low.met = false, false
		if v >= w.high.level {
			w.high.side = 1
		}
		if v <= w.low.level {
			w.low.side = -1
		}
		if fresh {
			return
		}
	}
	if w.high.step(t0, v0, t, v) > 0 {
		w.at, w.done = w.high.instant(), true
	} else if w.low.step(t0, v0, t, v) < 0 {
		w.at, w.done = w.low.instant(), true
	}
}

// newWitness answers nil where nothing was named to watch.
func newWitness(opt Options, voltage bool) *witness {
	if !voltage || opt.Event == nil && opt.ColdStart == nil {
		return nil
	}
	w := &witness{lim: opt.Limits}
	if e := opt.Event; e != nil {
		w.windows = append(w.windows, newWindow(opt.Limits, e.Mixture, e.At, e.At+opt.Limits.WindowS))
	}
	if opt.ColdStart != nil {
		w.warm = &warmUp{from: *opt.ColdStart, high: newEdge(opt.Limits.WarmAboveV, 0), low: newEdge(opt.Limits.LeanV, 0)}
	}
	return w
}

func (w *witness) add(t, v []float64, fresh bool) {
	fresh = fresh || !w.open
	t0, v0 := w.t0, w.v0
	for i, x := range v {
		for _, win := range w.windows {
			win.step(t0, v0, t[i], x, fresh)
		}
		if w.warm != nil {
			w.warm.step(t0, v0, t[i], x, fresh)
		}
		t0, v0, fresh = t[i], x, false
	}
	w.open, w.t0, w.v0 = true, t0, v0
}

// timing times the 10-90 % transitions of one channel.
type timing struct {
	pass         passage
	hiUp, loDown float64
	t0, v0       float64
}

// newTiming answers nil where the signal does not rest at two levels further apart
// than the middle level's band and well apart from its noise: a ripple has no
// transitions.
func newTiming(low, high state, noise float64, lim Limits) *timing {
	swing := high.level - low.level
	if !(swing > 4*noise) || !(swing > 2*lim.MidBandV) {
		return nil
	}
	x := &timing{pass: newPassage(low.level+0.1*swing, low.level+0.9*swing, 0.02*swing)}
	x.hiUp, x.loDown = x.pass.hi.up, x.pass.lo.down
	return x
}

func (s *timing) add(t, v []float64, fresh bool) {
	t0, v0 := s.t0, s.v0
	if fresh {
		s.pass.begin(v[0])
		t0, v0 = t[0], v[0]
		t, v = t[1:], v[1:]
	}
	hiUp, loDown := s.hiUp, s.loDown
	for i, x := range v {
		if !(x >= hiUp && v0 >= hiUp || x <= loDown && v0 <= loDown) {
			s.pass.step(t0, v0, t[i], x)
		}
		t0, v0 = t[i], x
	}
	s.t0, s.v0 = t0, v0
}
