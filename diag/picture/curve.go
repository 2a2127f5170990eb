package picture

import (
	"fmt"
	"io"
	"math"
)

// Curve draws the voltage a cell delivers against lambda, with readings on it.
type Curve struct {
	Frame
	Lines    []CurveLine // the last is drawn on top
	Readings []CurvePoint
	Levels   []Level // voltages, V
	XLabel   string  // "lambda" where empty
	Unit     string  // of the voltages; "V" where empty
}

// CurveLine is a computed curve: lambda rising.
type CurveLine struct {
	Label      string // such as "at 700 °C"
	Lambda, At []float64
}

// CurvePoint is a reading. Without a lambda (NaN) it is drawn as a band of voltage
// across the picture, without a voltage as a band of lambda.
type CurvePoint struct {
	Label             string
	Lambda, LambdaUnc float64
	Volts, VoltsUnc   float64
}

// WriteTo writes the picture.
func (k Curve) WriteTo(w io.Writer) (int64, error) {
	n, err := w.Write(k.SVG())
	return int64(n), err
}

// SVG answers the picture.
func (k Curve) SVG() []byte {
	const left, right, top, bottom = marginLeft, plotWidth - marginRight, 58.0, 358.0
	if k.XLabel == "" {
		k.XLabel = "lambda"
	}
	if k.Unit == "" {
		k.Unit = "V"
	}
	x0, x1, lo, hi := math.Inf(1), math.Inf(-1), 0.0, 0.0
	take := func(x, y float64) {
		if x-x == 0 {
			x0, x1 = min(x0, x), max(x1, x)
		}
		if y-y == 0 {
			lo, hi = min(lo, y), max(hi, y)
		}
	}
	for _, l := range k.Lines {
		for i := range min(len(l.Lambda), len(l.At)) {
			take(l.Lambda[i], l.At[i])
		}
	}
	for _, r := range k.Readings {
		take(r.Lambda, r.Volts)
	}
	for _, l := range k.Levels {
		take(math.NaN(), l.Value)
	}
	if !(x1 > x0) {
		x0, x1 = 0.9, 1.1
	}
	lo, hi = around(lo, hi, 6)
	x := func(v float64) float64 { return left + (min(max(v, x0), x1)-x0)/(x1-x0)*(right-left) }
	y := func(v float64) float64 { return top + (hi-min(max(v, lo), hi))/(hi-lo)*(bottom-top) }
	if k.Desc == "" {
		k.Desc = k.describe(x0, x1)
	}
	return k.finish("curve", plotWidth, bottom+46, func(c *canvas) {
		c.text(left, 20, k.Title, "start", ink, "font-weight", "600")
		c.text(left-8, top-14, k.Unit, "end", faded)
		at, digits := ticks(lo, hi, 7)
		for _, v := range at {
			c.line(left, y(v), right, y(v), ruled, "stroke-width", "0.7")
			c.text(left-8, y(v)+5, number(v, digits), "end", faded)
		}
		at, digits = ticks(x0, x1, 8)
		for _, v := range at {
			c.line(x(v), bottom, x(v), bottom+5, faded)
			c.text(x(v), bottom+20, number(v, digits), "middle", faded)
		}
		c.line(left, top, left, bottom, faded)
		c.line(left, bottom, right, bottom, faded)
		c.text((left+right)/2, bottom+39, k.XLabel, "middle", faded)
		if x0 < 1 && x1 > 1 {
			c.line(x(1), top, x(1), bottom, faded, "stroke-dasharray", "2 4")
			c.text(left, bottom+39, k.T("rich"), "start", faded)
			c.text(right, bottom+39, k.T("lean"), "end", faded)
		}
		for _, l := range k.Levels {
			c.line(left, y(l.Value), right, y(l.Value), faded, "stroke-dasharray", "5 4")
		}
		for i, l := range k.Lines {
			st := styleOf(i, len(k.Lines))
			c.raw(`<path d="`)
			n := min(len(l.Lambda), len(l.At))
			for j := range n {
				c.raw([]string{"L", "M"}[btoi(j == 0)])
				c.b = appendNum(c.b, x(l.Lambda[j]))
				c.raw(" ")
				c.b = appendNum(c.b, y(l.At[j]))
			}
			c.raw(`"`)
			c.attr("class", "pic-curve")
			c.attr("stroke", st.stroke)
			c.attr("stroke-width", st.width)
			c.attr("data-label", l.Label)
			if st.dash != "" {
				c.attr("stroke-dasharray", st.dash)
			}
			c.raw("/>")
		}
		lx, ly := right, top-12.0
		for i := len(k.Lines) - 1; i >= 0; i-- {
			l, st := k.Lines[i], styleOf(i, len(k.Lines))
			c.text(lx, ly, l.Label, "end", ink, "font-size", "13")
			lx -= wide(l.Label) + 8
			c.line(lx-26, ly-4.5, lx, ly-4.5, st.stroke, "stroke-width", st.width, "stroke-dasharray", orSolid(st.dash))
			lx -= 44
		}
		c.labels(k.Levels, y, right, top)
		for _, r := range k.Readings {
			c.reading(r, x, y, left, right, top, bottom)
		}
	})
}

func (c *canvas) reading(r CurvePoint, x, y func(float64) float64, left, right, top, bottom float64) {
	band := func(ax, ay, bx, by float64) {
		c.raw("<rect")
		c.num("x", min(ax, bx))
		c.num("y", min(ay, by))
		c.num("width", max(math.Abs(bx-ax), 2))
		c.num("height", max(math.Abs(by-ay), 2))
		c.attr("fill", accent)
		c.attr("fill-opacity", "0.18")
		c.raw("/>")
	}
	hasX, hasY := r.Lambda-r.Lambda == 0, r.Volts-r.Volts == 0
	switch {
	case hasX && hasY:
		if r.LambdaUnc > 0 {
			c.line(x(r.Lambda-r.LambdaUnc), y(r.Volts), x(r.Lambda+r.LambdaUnc), y(r.Volts), accent, "stroke-width", "2")
		}
		if r.VoltsUnc > 0 {
			c.line(x(r.Lambda), y(r.Volts-r.VoltsUnc), x(r.Lambda), y(r.Volts+r.VoltsUnc), accent, "stroke-width", "2")
		}
		c.dot(2, x(r.Lambda), y(r.Volts))
		anchor, dx := "start", 10.0
		if x(r.Lambda) > (left+right)/2 {
			anchor, dx = "end", -10
		}
		c.text(x(r.Lambda)+dx, y(r.Volts)-10, r.Label, anchor, ink, halo...)
	case hasY:
		band(left, y(r.Volts-r.VoltsUnc), right, y(r.Volts+r.VoltsUnc))
		c.line(left, y(r.Volts), right, y(r.Volts), accent, "stroke-width", "2")
		c.text(left+10, y(r.Volts)-8, r.Label, "start", ink, halo...)
	case hasX:
		band(x(r.Lambda-r.LambdaUnc), top, x(r.Lambda+r.LambdaUnc), bottom)
		c.line(x(r.Lambda), top, x(r.Lambda), bottom, accent, "stroke-width", "2")
		c.text(x(r.Lambda)+8, top+16, r.Label, "start", ink, halo...)
	}
}

func (k Curve) describe(x0, x1 float64) string {
	s := k.T("Voltage of a cell against %s from %s to %s.", k.XLabel, brief(x0), brief(x1))
	for _, r := range k.Readings {
		s += " " + r.Label + ":"
		if r.Lambda-r.Lambda == 0 {
			s += fmt.Sprintf(" lambda %.3f ± %.3f", r.Lambda, r.LambdaUnc)
		}
		if r.Volts-r.Volts == 0 {
			s += fmt.Sprintf(" %.3f ± %.3f %s", r.Volts, r.VoltsUnc, k.Unit)
		}
		s += "."
	}
	return s
}
