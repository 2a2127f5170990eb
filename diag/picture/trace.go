// Package picture draws measurements as SVG: recordings over time, a front and
// rear pair, trims by engine state, the voltage of a cell against lambda, and a
// before and after overlay. The drawings carry a title, a description, units and
// labelled limits, take their colours from the page around them and are complete
// without a script; static's picture.js adds zoom and a cursor where it runs.
package picture

import (
	"math"
)

// Trace condenses a recording of any length to a fixed number of columns, each
// with the lowest and the highest value in it, so that no spike is lost. While
// there are fewer samples than columns it keeps the samples themselves.
type Trace struct {
	limit  int
	points []point  // the samples, until they are too many
	cols   []column // then columns of width seconds from t0
	t0     float64
	width  float64
	inv    float64 // 1 / width
	fresh  bool    // a gap lies ahead of the next sample
	n      int
	first  float64
	last   float64
	lo, hi float64
}

type point struct {
	t, v  float64
	fresh bool
}

type column struct {
	lo, hi  float64
	used    bool
	loFirst bool
	fresh   bool // a gap lies ahead of it
}

// DefaultColumns is how many columns a trace has where none are asked for.
const DefaultColumns = 1600

// NewTrace makes a trace of at most columns columns, 2 at least; 0 means
// DefaultColumns.
func NewTrace(columns int) *Trace {
	if columns <= 0 {
		columns = DefaultColumns
	}
	return &Trace{limit: max(columns, 2), lo: math.Inf(1), hi: math.Inf(-1)}
}

// Add takes samples in order of time, in seconds. Times that fall, and values that
// are no finite number, are left out. fresh says that a gap lies ahead of the
// first, across which no line is drawn.
func (tr *Trace) Add(t, v []float64, fresh bool) {
	tr.fresh = tr.fresh || fresh
	for i, x := range v {
		now := t[i]
		if x-x != 0 || now-now != 0 || tr.n > 0 && now < tr.last {
			continue
		}
		if tr.n == 0 {
			tr.first = now
		}
		tr.n++
		tr.last = now
		tr.lo, tr.hi = min(tr.lo, x), max(tr.hi, x)
		if tr.cols == nil {
			if len(tr.points) < tr.limit {
				tr.points = append(tr.points, point{now, x, tr.fresh})
				tr.fresh = false
				continue
			}
			tr.condense(now)
		}
		tr.put(now, x)
	}
}

// condense turns the samples kept so far into columns.
func (tr *Trace) condense(now float64) {
	tr.t0 = tr.points[0].t
	tr.width = (now - tr.t0) / float64(tr.limit/2)
	if !(tr.width > 0) { // all at one time
		tr.width = max(math.Abs(now), 1) * 1e-12
	}
	tr.inv = 1 / tr.width
	tr.cols = make([]column, tr.limit)
	fresh := tr.fresh
	for _, p := range tr.points {
		tr.fresh = p.fresh
		tr.put(p.t, p.v)
	}
	tr.fresh = fresh
	tr.points = nil
}

func (tr *Trace) put(t, v float64) {
	i := int((t - tr.t0) * tr.inv)
	for i >= tr.limit || i < 0 { // a time too far for an int comes out negative
		tr.halve()
		i = int((t - tr.t0) * tr.inv)
	}
	c := &tr.cols[i]
	if !c.used {
		*c = column{lo: v, hi: v, used: true, loFirst: true, fresh: tr.fresh}
	} else if v < c.lo {
		c.lo, c.loFirst = v, false
	} else if v > c.hi {
		c.hi, c.loFirst = v, true
	}
	tr.fresh = false
}

// halve joins columns two by two.
func (tr *Trace) halve() {
	tr.width *= 2
	tr.inv = 1 / tr.width
	n := len(tr.cols)
	for i := range (n + 1) / 2 {
		a := tr.cols[2*i]
		if 2*i+1 < n {
			a = join(a, tr.cols[2*i+1])
		}
		tr.cols[i] = a
	}
	clear(tr.cols[(n+1)/2:])
}

func join(a, b column) column {
	if !a.used {
		return b
	}
	if !b.used {
		return a
	}
	out := column{lo: min(a.lo, b.lo), hi: max(a.hi, b.hi), used: true, fresh: a.fresh}
	switch loInA, hiInA := a.lo <= b.lo, a.hi >= b.hi; {
	case loInA && hiInA:
		out.loFirst = a.loFirst
	case !loInA && !hiInA:
		out.loFirst = b.loFirst
	default:
		out.loFirst = loInA
	}
	return out
}

// Span answers the first and last time and the lowest and highest value; ok is
// false for an empty trace.
func (tr *Trace) Span() (t0, t1, lo, hi float64, ok bool) {
	if tr == nil || tr.n == 0 {
		return 0, 0, 0, 0, false
	}
	return tr.first, tr.last, tr.lo, tr.hi, true
}

// within answers the trace, or a coarser copy of it with at most limit columns.
func (tr *Trace) within(limit int) *Trace {
	if tr == nil || tr.size() <= limit {
		return tr
	}
	out := NewTrace(limit)
	if tr.cols == nil {
		for _, p := range tr.points {
			out.Add([]float64{p.t}, []float64{p.v}, p.fresh)
		}
		return out
	}
	*out = *tr
	out.cols = append([]column(nil), tr.cols...)
	for out.size() > limit {
		out.halve()
	}
	return out
}

// size is how many columns or samples there are to draw.
func (tr *Trace) size() int {
	if tr == nil {
		return 0
	}
	if tr.cols == nil {
		return len(tr.points)
	}
	n := 0
	for i, c := range tr.cols {
		if c.used {
			n = i + 1
		}
	}
	return n
}

// grid is the resolution of a path: its coordinates are whole numbers.
const (
	gridY = 1000
	gridX = 4000 // of a trace that still has its samples
)

// path gives the trace in whole numbers: y from 0 at top to gridY at bottom, x from
// 0 in steps of dx seconds from time x0. Commands are M, then l and v for lines
// and m across gaps, all relative.
func (tr *Trace) path(b []byte, top, bottom float64) (out []byte, x0, dx float64) {
	y := func(v float64) int { return int(math.Round((top - v) / (top - bottom) * gridY)) }
	px, py, begun := 0, 0, false
	line := func(x, y int, fresh bool) {
		switch {
		case !begun:
			b = append(b, 'M')
			b = appendInt(b, x)
			b = append(b, ' ')
			b = appendInt(b, y)
			begun = true
		case !fresh && x == px:
			if y == py {
				return
			}
			b = append(b, 'v')
			b = appendInt(b, y-py)
		default:
			b = append(b, "lm"[btoi(fresh)])
			b = appendInt(b, x-px)
			if y >= py {
				b = append(b, ' ')
			}
			b = appendInt(b, y-py)
		}
		px, py = x, y
	}
	if tr.cols == nil {
		x0, dx = tr.first, (tr.last-tr.first)/gridX
		for _, p := range tr.points {
			x := 0
			if dx > 0 {
				x = int(math.Round((p.t - x0) / dx))
			}
			line(x, y(p.v), p.fresh)
		}
		return b, x0, dx
	}
	for i, c := range tr.cols {
		if !c.used {
			continue
		}
		a, z := c.hi, c.lo
		if c.loFirst {
			a, z = c.lo, c.hi
		}
		line(i, y(a), c.fresh)
		line(i, y(z), false)
	}
	return b, tr.t0 + tr.width/2, tr.width
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
