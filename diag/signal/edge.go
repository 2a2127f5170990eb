package signal

// edge watches a signal cross one level, with hysteresis: after a crossing is
// confirmed at level+band, the next one counts only once the signal has been
// confirmed at level-band, and so on. The instant of a crossing is where the line
// between two samples meets the level; where noise makes the signal meet it
// several times on the way, the instant is the middle between the first and the
// last meeting since the signal left the old side's band.
type edge struct {
	level, up, down float64
	side            int8 // +1 above, -1 below, 0 not known yet
	met             bool
	first, last     meeting
}

// meeting is one instant with the interval between samples it lies in.
type meeting struct {
	t    float64 // seconds
	span float64 // seconds between the samples around it
}

func newEdge(level, band float64) edge {
	return edge{level: level, up: level + band, down: level - band}
}

// instant is the time of a confirmed crossing. Span is the longest distance
// between the samples around it, the bound of what the sampling can have hidden.
func (e *edge) instant() meeting {
	return meeting{e.first.t + (e.last.t-e.first.t)/2, max(e.first.span, e.last.span)}
}

// begin forgets everything and starts with the sample v.
func (e *edge) begin(v float64) {
	e.side, e.met = 0, false
	if v >= e.up {
		e.side = 1
	} else if v <= e.down {
		e.side = -1
	}
}

// step takes the sample v1 at t1 that follows v0 at t0 and answers +1 or -1 when
// it confirms a crossing upward or downward, whose instant is then e.instant().
func (e *edge) step(t0, v0, t1, v1 float64) int {
	switch {
	case e.side < 0:
		if v1 <= e.down {
			e.met = false
			return 0
		}
		if v0 < e.level && v1 >= e.level {
			e.meet(t0, v0, t1, v1)
		}
		if v1 >= e.up {
			if !e.met {
				e.meet(t0, v0, t1, v1) // the sample before stood on the level
			}
			e.side, e.met = 1, false
			return 1
		}
	case e.side > 0:
		if v1 >= e.up {
			e.met = false
			return 0
		}
		if v0 > e.level && v1 <= e.level {
			e.meet(t0, v0, t1, v1)
		}
		if v1 <= e.down {
			if !e.met {
				e.meet(t0, v0, t1, v1)
			}
			e.side, e.met = -1, false
			return -1
		}
	default:
		e.begin(v1)
	}
	return 0
}

func (e *edge) meet(t0, v0, t1, v1 float64) {
	m := meeting{t0 + (t1-t0)*((e.level-v0)/(v1-v0)), t1 - t0}
	if !e.met {
		e.met, e.first = true, m
	}
	e.last = m
}

// passage times the way between two levels in both directions: from leaving one
// to reaching the other without going back.
type passage struct {
	lo, hi    edge
	lastRise  meeting // instant of leaving lo upward
	lastFall  meeting // instant of leaving hi downward
	rising    bool
	falling   bool
	ups, down transitions
}

func newPassage(lo, hi, band float64) passage {
	return passage{lo: newEdge(lo, band), hi: newEdge(hi, band)}
}

func (p *passage) begin(v float64) {
	p.lo.begin(v)
	p.hi.begin(v)
	p.rising, p.falling = false, false
}

func (p *passage) step(t0, v0, t1, v1 float64) {
	// A jump may cross both levels at once: upward lo is met first, downward hi.
	if v1 >= v0 {
		p.stepLo(t0, v0, t1, v1)
		p.stepHi(t0, v0, t1, v1)
	} else {
		p.stepHi(t0, v0, t1, v1)
		p.stepLo(t0, v0, t1, v1)
	}
}

func (p *passage) stepLo(t0, v0, t1, v1 float64) {
	switch p.lo.step(t0, v0, t1, v1) {
	case 1:
		p.lastRise, p.rising = p.lo.instant(), true
	case -1:
		p.rising = false
		if p.falling {
			p.falling = false
			p.down.add(p.lastFall, p.lo.instant())
		}
	}
}

func (p *passage) stepHi(t0, v0, t1, v1 float64) {
	switch p.hi.step(t0, v0, t1, v1) {
	case -1:
		p.lastFall, p.falling = p.hi.instant(), true
	case 1:
		p.falling = false
		if p.rising {
			p.rising = false
			p.ups.add(p.lastRise, p.hi.instant())
		}
	}
}

// transitions gathers the durations of transitions in one direction.
type transitions struct {
	took  sample // seconds
	spans sample // longer distance between the samples around its ends, seconds
}

func (t *transitions) add(from, to meeting) {
	t.took.add(to.t - from.t)
	t.spans.add(max(from.span, to.span))
}
