package picture

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// Plot draws recordings over time: one panel or several above each other with one
// time axis.
type Plot struct {
	Frame
	Panels []Panel
	Marks  []Mark // moments, across all panels
	// From and To limit the time shown, seconds; both zero shows everything.
	From, To float64
	// FromZero makes each trace begin at time zero, for laying recordings over
	// each other.
	FromZero bool
}

// Panel is one set of axes.
type Panel struct {
	Label  string // what is shown, above the panel
	Unit   string
	Series []Series
	Levels []Level
	// Low and High are values the axis must take in; it grows with the data.
	Low, High float64
}

// Series is one trace with its name.
type Series struct {
	Label string
	Trace *Trace
}

// Level is a labelled limit.
type Level struct {
	Value float64
	Label string
}

// Mark is a labelled moment, seconds.
type Mark struct {
	At    float64
	Label string
}

// styles tell series apart without colour: by weight, then by dashes. The series
// that matters comes last and is drawn on top; one colour is the accent's.
type style struct{ stroke, width, dash string }

func styleOf(i, n int) style {
	if i == n-1 {
		return style{accent, "1.7", ""}
	}
	dashes := []string{"", "7 3", "2 3", "10 3 2 3", "1 4", "14 4"}
	return style{ink, "1.1", dashes[i%len(dashes)]}
}

// Capture is a plot of sensors on one set of axes.
func Capture(f Frame, unit string, levels []Level, series ...Series) Plot {
	return Plot{Frame: f, Panels: []Panel{{Unit: unit, Series: series, Levels: levels}}}
}

// Pair is a plot of the sensors ahead of and behind a converter, above each other
// on one time axis and one scale.
func Pair(f Frame, unit string, levels []Level, front, rear Series) Plot {
	p := Plot{Frame: f, Panels: []Panel{
		{Label: front.Label, Unit: unit, Series: []Series{front}, Levels: levels},
		{Label: rear.Label, Unit: unit, Series: []Series{rear}, Levels: levels},
	}}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, s := range []Series{front, rear} {
		if _, _, a, b, ok := s.Trace.Span(); ok {
			lo, hi = min(lo, a), max(hi, b)
		}
	}
	if hi >= lo {
		for i := range p.Panels {
			p.Panels[i].Low, p.Panels[i].High = lo, hi
		}
	}
	return p
}

// Overlay lays the recording after a repair over the one before it, both from
// their own beginning.
func Overlay(f Frame, unit string, levels []Level, before, after Series) Plot {
	p := Capture(f, unit, levels, before, after)
	p.FromZero = true
	return p
}

const (
	plotWidth   = 700.0 // narrow, so that words stay readable in a tablet's column
	panelHeight = 250.0
	marginLeft  = 54.0
	marginRight = 104.0
)

// timeUnit chooses the unit of the time axis.
func timeUnit(span float64) (name string, scale float64) {
	switch {
	case span < 0.002:
		return "µs", 1e6
	case span < 1:
		return "ms", 1e3
	case span > 1200:
		return "min", 1.0 / 60
	}
	return "s", 1
}

// WriteTo writes the picture.
func (p Plot) WriteTo(w io.Writer) (int64, error) {
	n, err := w.Write(p.SVG())
	return int64(n), err
}

// SVG answers the picture.
func (p Plot) SVG() []byte {
	p = p.fitted()
	t0, t1 := p.span()
	unit, scale := timeUnit(t1 - t0)
	height := 52.0
	panelH := panelHeight
	if len(p.Panels) > 1 {
		panelH = 200
	}
	tops := make([]float64, len(p.Panels))
	for i := range p.Panels {
		if i > 0 {
			height += 38
		}
		tops[i] = height
		height += panelH
	}
	height += 46
	width := plotWidth - marginLeft - marginRight
	x := func(t float64) float64 { return marginLeft + (t-t0)/(t1-t0)*width }
	if p.Desc == "" {
		p.Desc = p.describe(t0, t1)
	}
	return p.finish("plot", plotWidth, height, func(c *canvas) {
		c.text(marginLeft, 20, p.Title, "start", ink, "font-weight", "600")
		for i, panel := range p.Panels {
			c.panel(i, panel, p, tops[i], panelH, t0, t1)
		}
		bottom := tops[len(tops)-1] + panelH
		c.raw("<g")
		c.attr("class", "pic-x")
		c.raw(">")
		at, digits := ticks(t0*scale, t1*scale, 9)
		for _, v := range at {
			px := x(v / scale)
			for _, top := range tops {
				c.line(px, top+panelH, px, top+panelH+5, faded)
			}
			c.text(px, bottom+20, number(v, digits), "middle", faded)
		}
		c.raw("</g>")
		c.text(marginLeft+width/2, bottom+39, p.T("time in %s", unit), "middle", faded, "class", "pic-xlabel")
		for _, m := range p.Marks {
			if m.At < t0 || m.At > t1 {
				continue
			}
			c.raw("<g")
			c.attr("class", "pic-mark")
			c.exact("data-at", m.At)
			c.attr("transform", fmt.Sprintf("translate(%.6g 0)", x(m.At)))
			c.raw(">")
			c.line(0, tops[0], 0, bottom, ink, "stroke-dasharray", "2 4")
			if x(m.At) > marginLeft+width*0.8 {
				c.text(-5, tops[0]+15, m.Label, "end", ink, halo...)
			} else {
				c.text(5, tops[0]+15, m.Label, "start", ink, halo...)
			}
			c.raw("</g>")
		}
	}, "data-t0", exact(t0), "data-t1", exact(t1), "data-left", exact(marginLeft), "data-right", exact(plotWidth-marginRight))
}

// columnsInAll bounds the columns of all traces together, and so the size of the
// picture: a column takes at most some twelve bytes.
const columnsInAll = 3600

// fitted answers the plot with its traces coarsened where there are many.
func (p Plot) fitted() Plot {
	traces := 0
	for _, panel := range p.Panels {
		traces += len(panel.Series)
	}
	panels := make([]Panel, len(p.Panels))
	for i, panel := range p.Panels {
		panel.Series = append([]Series(nil), panel.Series...)
		for k := range panel.Series {
			panel.Series[k].Trace = panel.Series[k].Trace.within(max(columnsInAll/max(traces, 1), 2))
		}
		panels[i] = panel
	}
	p.Panels = panels
	return p
}

// span is the time shown.
func (p Plot) span() (t0, t1 float64) {
	if p.To > p.From {
		return p.From, p.To
	}
	t0, t1 = math.Inf(1), math.Inf(-1)
	for _, panel := range p.Panels {
		for _, s := range panel.Series {
			if a, b, _, _, ok := s.Trace.Span(); ok {
				if p.FromZero {
					a, b = 0, b-a
				}
				t0, t1 = min(t0, a), max(t1, b)
			}
		}
	}
	if !(t1 > t0) {
		if math.IsInf(t0, 0) {
			t0 = 0
		}
		t1 = t0 + 1
	}
	return t0, t1
}

// describe says in words what a picture without a description shows.
func (p Plot) describe(t0, t1 float64) string {
	unit, scale := timeUnit(t1 - t0)
	var b strings.Builder
	b.WriteString(p.T("Over %s %s.", brief((t1-t0)*scale), unit))
	for _, panel := range p.Panels {
		for _, s := range panel.Series {
			if _, _, lo, hi, ok := s.Trace.Span(); ok {
				b.WriteString(" " + p.T("%s runs from %s to %s %s.", s.Label, brief(lo), brief(hi), panel.Unit))
			} else {
				b.WriteString(" " + p.T("%s has no reading.", s.Label))
			}
		}
		for _, l := range panel.Levels {
			b.WriteString(" " + p.T("Limit %s at %s %s.", l.Label, brief(l.Value), panel.Unit))
		}
	}
	return b.String()
}

func (c *canvas) panel(i int, p Panel, plot Plot, top, height, t0, t1 float64) {
	left, right := marginLeft, plotWidth-marginRight
	lo, hi := math.Inf(1), math.Inf(-1)
	take := func(v float64) { lo, hi = min(lo, v), max(hi, v) }
	for _, s := range p.Series {
		if _, _, a, b, ok := s.Trace.Span(); ok {
			take(a)
			take(b)
		}
	}
	for _, l := range p.Levels {
		take(l.Value)
	}
	if p.Low != 0 || p.High != 0 {
		take(p.Low)
		take(p.High)
	}
	if math.IsInf(lo, 0) {
		lo, hi = 0, 1
	}
	lo, hi = around(lo, hi, 6)
	y := func(v float64) float64 { return top + (hi-v)/(hi-lo)*height }

	if p.Label != "" {
		c.text(left, top-10, p.Label, "start", ink)
	}
	at, digits := ticks(lo, hi, 7)
	for _, v := range at {
		c.line(left, y(v), right, y(v), ruled, "stroke-width", "0.7")
		c.text(left-8, y(v)+5, number(v, digits), "end", faded)
	}
	if p.Unit != "" {
		c.text(left-8, top-14, p.Unit, "end", faded)
	}
	c.line(left, top, left, top+height, faded)
	c.line(left, top+height, right, top+height, faded)

	for _, l := range p.Levels {
		c.line(left, y(l.Value), right, y(l.Value), faded, "stroke-dasharray", "5 4")
	}

	clip := fmt.Sprintf("%s-c%d", c.id, i)
	c.raw("<clipPath")
	c.attr("id", clip)
	c.raw("><rect")
	c.num("x", left)
	c.num("y", top-1)
	c.num("width", right-left)
	c.num("height", height+2)
	c.raw("/></clipPath><g")
	c.attr("class", "pic-panel")
	c.attr("clip-path", "url(#"+clip+")")
	c.num("data-top", top)
	c.num("data-height", height)
	c.attr("data-unit", p.Unit)
	c.exact("data-hi", hi)
	c.exact("data-lo", lo)
	c.raw(">")
	width := right - left
	for k, s := range p.Series {
		if _, _, _, _, ok := s.Trace.Span(); !ok {
			continue
		}
		st := styleOf(k, len(p.Series))
		d, x0, dx := s.Trace.path(nil, hi, lo)
		if plot.FromZero {
			x0 -= s.Trace.first
		}
		sx := dx / (t1 - t0) * width
		c.raw(`<path d="`)
		c.b = append(c.b, d...)
		c.raw(`"`)
		c.attr("class", "pic-trace")
		c.attr("stroke", st.stroke)
		c.attr("stroke-width", st.width)
		c.attr("stroke-linejoin", "round")
		c.attr("vector-effect", "non-scaling-stroke")
		if st.dash != "" {
			c.attr("stroke-dasharray", st.dash)
		}
		c.attr("transform", fmt.Sprintf("translate(%.6g %.6g)scale(%.9g %.6g)", left+(x0-t0)/(t1-t0)*width, top, sx, height/gridY))
		c.attr("data-label", s.Label)
		c.exact("data-x0", x0)
		c.exact("data-dx", dx)
		c.raw("/>")
	}
	c.raw("</g>")
	c.labels(p.Levels, y, right, top)
	if len(p.Series) > 1 {
		c.legend(p, top, right)
	}
}

// labels writes the names of levels behind their lines, moved where two would lie
// on each other. Long names go inside, above the line.
func (c *canvas) labels(levels []Level, y func(float64) float64, right, top float64) {
	var placed []float64
	for _, l := range levels {
		at := y(l.Value) + 4.5
		for moved := true; moved; {
			moved = false
			for _, q := range placed {
				if d := at - q; d > -14 && d < 14 {
					at, moved = q+14, true
				}
			}
		}
		placed = append(placed, at)
		if wide(l.Label) <= marginRight-2 {
			c.text(right+6, at, l.Label, "start", ink, "font-size", "13")
			continue
		}
		if at = y(l.Value) - 5; at < top+12 {
			at = y(l.Value) + 15
		}
		c.text(right-4, at, l.Label, "end", ink, append([]string{"font-size", "13"}, halo...)...)
	}
}

// legend names the series beside a piece of their own line.
func (c *canvas) legend(p Panel, top, right float64) {
	x := right
	for k := len(p.Series) - 1; k >= 0; k-- {
		s := p.Series[k]
		st := styleOf(k, len(p.Series))
		c.text(x, top-10, s.Label, "end", ink, "font-size", "13")
		x -= wide(s.Label) + 8
		c.line(x-26, top-14.5, x, top-14.5, st.stroke, "stroke-width", st.width, "stroke-dasharray", orSolid(st.dash))
		x -= 26 + 18
	}
}

// wide estimates the width of a label at 13 units, on the safe side.
func wide(s string) float64 { return 7.1 * float64(len([]rune(s))) }

func orSolid(dash string) string {
	if dash == "" {
		return "none"
	}
	return dash
}
