package picture

import (
	"fmt"
	"io"
	"math"
	"strings"
)

// Trims draws fuel trims by engine state as dots with their uncertainty on one
// scale, so that banks and states compare at a glance.
type Trims struct {
	Frame
	Rows   []TrimRow
	Levels []Level // limits of suspicion, %, such as -10 and 10
}

// TrimRow is one engine state of one bank.
type TrimRow struct {
	State string // as shown
	Bank  string // as shown, "bank 1"
	Dots  []Dot
}

// Dot is one value with its uncertainty. Its name chooses its shape: the first
// name in the picture is an open ring, the second a cross, the third a full dot.
type Dot struct {
	Name        string
	Value       float64 // %
	Uncertainty float64 // %
	Note        string  // written behind the value, such as the count it rests on
}

// WriteTo writes the picture.
func (t Trims) WriteTo(w io.Writer) (int64, error) {
	n, err := w.Write(t.SVG())
	return int64(n), err
}

// SVG answers the picture.
func (t Trims) SVG() []byte {
	const right, rowH, top = plotWidth - 144, 21.0, 84.0
	states, banks := 0, 0
	var names []string
	index := map[string]int{}
	lo, hi := -12.0, 12.0
	lines := 0
	for _, r := range t.Rows {
		states, banks = max(states, len([]rune(r.State))), max(banks, len([]rune(r.Bank)))
		for _, d := range r.Dots {
			if _, ok := index[d.Name]; !ok {
				index[d.Name] = len(names)
				names = append(names, d.Name)
			}
			lo, hi = min(lo, d.Value-d.Uncertainty), max(hi, d.Value+d.Uncertainty)
		}
		lines += max(len(r.Dots), 1)
	}
	for _, l := range t.Levels {
		lo, hi = min(lo, l.Value), max(hi, l.Value)
	}
	left := min(38+7.8*float64(states+banks), 300)
	lo, hi = around(max(lo, -100), min(hi, 100), 9)
	x := func(v float64) float64 { return left + (min(max(v, lo), hi)-lo)/(hi-lo)*(right-left) }
	bottom := top + float64(lines)*rowH + float64(len(t.Rows))*12
	if t.Desc == "" {
		t.Desc = t.describe()
	}
	return t.finish("trims", plotWidth, bottom+50, func(c *canvas) {
		c.text(12, 20, t.Title, "start", ink, "font-weight", "600")
		legend := left
		for k, n := range names {
			c.dot(k, legend, 43)
			c.text(legend+12, 48, n, "start", ink, "font-size", "13")
			legend += 38 + wide(n)
		}
		at, digits := ticks(lo, hi, 9)
		for _, v := range at {
			c.line(x(v), top-6, x(v), bottom, ruled, "stroke-width", "0.7")
			c.text(x(v), bottom+18, number(v, digits), "middle", faded)
		}
		c.text((left+right)/2, bottom+38, t.T("fuel trim in % (above zero the engine control adds fuel)"), "middle", faded)
		if lo < 0 && hi > 0 {
			c.line(x(0), top-6, x(0), bottom, ink)
		}
		for _, l := range t.Levels {
			c.line(x(l.Value), top-6, x(l.Value), bottom, faded, "stroke-dasharray", "5 4")
			c.text(x(l.Value), top-10, l.Label, "middle", faded, "font-size", "13")
		}
		y := top + 12
		for i, r := range t.Rows {
			if i > 0 && r.State != t.Rows[i-1].State {
				c.line(12, y-13, plotWidth-6, y-13, ruled)
			}
			if i == 0 || r.State != t.Rows[i-1].State {
				c.text(12, y+5, r.State, "start", ink)
			}
			c.text(left-12, y+5, r.Bank, "end", faded)
			if len(r.Dots) == 0 {
				c.text(left+8, y+5, t.T("no reading"), "start", faded, append([]string{"font-style", "italic"}, halo...)...)
				y += rowH
			}
			for _, d := range r.Dots {
				c.raw("<g")
				c.attr("class", "pic-dot")
				c.exact("data-value", d.Value)
				c.exact("data-uncertainty", d.Uncertainty)
				c.raw(">")
				if d.Uncertainty > 0 {
					c.line(x(d.Value-d.Uncertainty), y, x(d.Value+d.Uncertainty), y, ink)
					c.line(x(d.Value-d.Uncertainty), y-4, x(d.Value-d.Uncertainty), y+4, ink)
					c.line(x(d.Value+d.Uncertainty), y-4, x(d.Value+d.Uncertainty), y+4, ink)
				}
				c.dot(index[d.Name], x(d.Value), y)
				c.text(right+10, y+5, d.words(), "start", ink, "font-size", "13")
				c.raw("</g>")
				y += rowH
			}
			y += 12
		}
	})
}

func (d Dot) words() string {
	sign := "+"
	if d.Value < 0.05 {
		sign = ""
	}
	value := number(d.Value, 1)
	if math.Abs(d.Value) < 0.05 {
		value = "0.0"
	}
	s := fmt.Sprintf("%s%s ± %.1f %%", sign, value, d.Uncertainty)
	if d.Note != "" {
		s += "  " + d.Note
	}
	return s
}

// dot draws the shape of the kth name.
func (c *canvas) dot(k int, x, y float64) {
	c.raw("<path")
	switch k % 3 {
	case 0:
		c.attr("d", fmt.Sprintf("M%.4g %.4gm-5 0a5 5 0 1 0 10 0a5 5 0 1 0-10 0", x, y))
		c.attr("stroke", ink)
		c.attr("stroke-width", "1.6")
		c.attr("fill", sheet)
	case 1:
		c.attr("d", fmt.Sprintf("M%.4g %.4gm-5-5l10 10m0-10l-10 10", x, y))
		c.attr("stroke", ink)
		c.attr("stroke-width", "2")
	default:
		c.attr("d", fmt.Sprintf("M%.4g %.4gm-5.5 0a5.5 5.5 0 1 0 11 0a5.5 5.5 0 1 0-11 0", x, y))
		c.attr("fill", accent)
	}
	c.raw("/>")
}

func (t Trims) describe() string {
	var b strings.Builder
	for _, r := range t.Rows {
		b.WriteString(r.State)
		if r.Bank != "" {
			b.WriteString(", " + r.Bank)
		}
		b.WriteString(":")
		if len(r.Dots) == 0 {
			b.WriteString(" " + t.T("no reading"))
		}
		for i, d := range r.Dots {
			if i > 0 {
				b.WriteString(",")
			}
			b.WriteString(" " + d.Name + " " + d.words())
		}
		b.WriteString(". ")
	}
	return strings.TrimSpace(b.String())
}
