package paper

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// inks are the colours of our pictures on white paper.
var inks = []struct {
	name    string
	r, g, b int
}{{"--ink", 28, 36, 48}, {"--faded", 84, 92, 104}, {"--line", 198, 203, 201}, {"--accent", 91, 45, 147}, {"--sheet", 255, 255, 255}}

func inkOf(s string) (r, g, b int, ok bool) {
	for _, c := range inks {
		if strings.Contains(s, c.name) {
			return c.r, c.g, c.b, true
		}
	}
	return 0, 0, 0, s != "" && s != "none"
}

// place turns the coordinates of an element into millimetres on the sheet.
type place struct{ x, y, sx, sy float64 }

func (p place) at(x, y float64) (float64, float64) { return p.x + x*p.sx, p.y + y*p.sy }

// within applies "translate(…)scale(…)", all that our pictures use.
func (p place) within(transform string) (place, error) {
	for transform = strings.TrimSpace(transform); transform != ""; transform = strings.TrimSpace(transform) {
		name, rest, ok := strings.Cut(transform, "(")
		args, after, closed := strings.Cut(rest, ")")
		if !ok || !closed {
			return p, fmt.Errorf("paper: transform %q", transform)
		}
		var n [2]float64
		fields := strings.Fields(strings.ReplaceAll(args, ",", " "))
		for i := range min(len(fields), 2) {
			v, err := strconv.ParseFloat(fields[i], 64)
			if err != nil {
				return p, fmt.Errorf("paper: transform %q: %w", transform, err)
			}
			n[i] = v
		}
		switch strings.TrimSpace(name) {
		case "translate":
			p.x, p.y = p.at(n[0], n[1])
		case "scale":
			if len(fields) == 1 {
				n[1] = n[0]
			}
			p.sx, p.sy = p.sx*n[0], p.sy*n[1]
		default:
			return p, fmt.Errorf("paper: transform %q is not known", name)
		}
		transform = after
	}
	return p, nil
}

// svgSize reads how wide and high a picture is, in its own units.
func svgSize(svg string) (width, height float64, err error) {
	dec := xml.NewDecoder(strings.NewReader(svg))
	for {
		t, err := dec.Token()
		if err != nil {
			return 0, 0, fmt.Errorf("paper: picture: %w", err)
		}
		if e, ok := t.(xml.StartElement); ok {
			var x, y float64
			if _, err := fmt.Sscanf(attrOf(e, "viewBox"), "%g %g %g %g", &x, &y, &width, &height); err != nil || width <= 0 || height <= 0 {
				return 0, 0, errors.New("paper: the picture has no size")
			}
			return width, height, nil
		}
	}
}

func attrOf(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

func numOf(e xml.StartElement, name string) float64 {
	v, _ := strconv.ParseFloat(attrOf(e, name), 64) // absent is 0, as in SVG
	return v
}

// svg draws one of our own pictures (paths, rectangles, texts, groups that are moved or
// cut) with lines, at x and y and so many millimetres wide.
func (d *drawing) svg(svg string, x, y, width float64) error {
	w, _, err := svgSize(svg)
	if err != nil {
		return err
	}
	unit := width / w
	dec := xml.NewDecoder(strings.NewReader(svg))
	stack := []place{{x, y, unit, unit}}
	clips := map[string]xml.StartElement{}
	cut, skipped := []bool{false}, 0
	clipping := ""
	var text *xml.StartElement
	var words strings.Builder
	defer func() {
		for _, c := range cut {
			if c {
				d.ClipEnd()
			}
		}
		d.SetDashPattern(nil, 0)
		d.SetDrawColor(0, 0, 0)
		d.SetTextColor(0, 0, 0)
		d.SetFillColor(0, 0, 0)
		d.SetLineCapStyle("butt")
	}()
	for {
		t, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("paper: picture: %w", err)
		}
		switch t := t.(type) {
		case xml.StartElement:
			t = t.Copy()
			p, err := stack[len(stack)-1].within(attrOf(t, "transform"))
			if err != nil {
				return err
			}
			stack, cut = append(stack, p), append(cut, false)
			switch t.Name.Local {
			case "title", "desc", "style":
				skipped++
			case "clipPath":
				clipping = attrOf(t, "id")
			case "g":
				if c, ok := clips[strings.TrimSuffix(strings.TrimPrefix(attrOf(t, "clip-path"), "url(#"), ")")]; ok {
					cx, cy := p.at(numOf(c, "x"), numOf(c, "y"))
					d.ClipRect(cx, cy, numOf(c, "width")*p.sx, numOf(c, "height")*p.sy, false)
					cut[len(cut)-1] = true
				}
			case "rect":
				if clipping != "" {
					clips[clipping] = t
				} else if r, g, b, ok := inkOf(attrOf(t, "fill")); ok && attrOf(t, "fill-opacity") == "" && attrOf(t, "width") != "100%" {
					rx, ry := p.at(numOf(t, "x"), numOf(t, "y"))
					d.SetFillColor(r, g, b)
					d.Rect(rx, ry, numOf(t, "width")*p.sx, numOf(t, "height")*p.sy, "F")
				}
			case "path":
				if err := d.path(t, p, unit); err != nil {
					return err
				}
			case "text":
				text = &t
				words.Reset()
			}
		case xml.CharData:
			if text != nil && skipped == 0 {
				words.Write(t)
			}
		case xml.EndElement:
			switch t.Name.Local {
			case "title", "desc", "style":
				skipped--
			case "clipPath":
				clipping = ""
			case "text":
				d.label(*text, words.String(), stack[len(stack)-1], unit)
				text = nil
			}
			if cut[len(cut)-1] {
				d.ClipEnd()
			}
			stack, cut = stack[:len(stack)-1], cut[:len(cut)-1]
		}
	}
}

// label sets a text at its anchor; one with a halo gets white paper under it.
func (d *drawing) label(e xml.StartElement, s string, p place, unit float64) {
	size := numOf(e, "font-size")
	if size == 0 {
		size = 14
	}
	style := ""
	if w := numOf(e, "font-weight"); w >= 600 {
		style = "B"
	}
	s = d.shown(s)
	d.SetFont("go", style, size*unit/25.4*72)
	x, y := p.at(numOf(e, "x"), numOf(e, "y"))
	width := d.GetStringWidth(s)
	switch attrOf(e, "text-anchor") {
	case "middle":
		x -= width / 2
	case "end":
		x -= width
	}
	if attrOf(e, "paint-order") != "" {
		d.SetFillColor(255, 255, 255)
		d.Rect(x-0.4, y-size*unit*0.8, width+0.8, size*unit, "F")
	}
	r, g, b, _ := inkOf(attrOf(e, "fill"))
	d.SetTextColor(r, g, b)
	d.Text(x, y, s)
}

func (d *drawing) path(e xml.StartElement, p place, unit float64) error {
	how := ""
	if r, g, b, ok := inkOf(attrOf(e, "fill")); ok {
		d.SetFillColor(r, g, b)
		how = "F"
	}
	if r, g, b, ok := inkOf(attrOf(e, "stroke")); ok {
		d.SetDrawColor(r, g, b)
		how = "D" + how
	}
	if how == "" {
		return nil
	}
	width := numOf(e, "stroke-width")
	if width == 0 {
		width = 1
	}
	d.SetLineWidth(width * unit)
	var dash []float64
	for s := range strings.FieldsSeq(attrOf(e, "stroke-dasharray")) {
		if v, err := strconv.ParseFloat(s, 64); err == nil {
			dash = append(dash, v*unit)
		}
	}
	d.SetDashPattern(dash, 0)
	d.SetLineJoinStyle("round")
	if err := trace(attrOf(e, "d"), d.Fpdf, p); err != nil {
		return err
	}
	d.DrawPath(how)
	return nil
}

// trace draws the commands of a path: lines, and arcs of circles.
func trace(data string, to *fpdf.Fpdf, p place) error {
	var x, y, x0, y0 float64
	for rest := data; ; {
		rest = strings.TrimLeft(rest, " ,\n\t")
		if rest == "" {
			return nil
		}
		c := rest[0]
		args, n := 0, []float64(nil)
		rest = rest[1:]
		switch c | 0x20 {
		case 'm', 'l':
			args = 2
		case 'h', 'v':
			args = 1
		case 'a':
			args = 7
		case 'z':
			to.ClosePath()
			x, y = x0, y0
			continue
		default:
			return fmt.Errorf("paper: path command %q is not known", c)
		}
		for first := true; ; first = false {
			var ok bool
			n = n[:0]
			left := rest
			for range args {
				var v float64
				if v, left, ok = leadingNumber(left); !ok {
					break
				}
				n = append(n, v)
			}
			if !ok {
				if first {
					return fmt.Errorf("paper: path command %q lacks numbers", c)
				}
				break
			}
			rest = left
			bx, by := 0.0, 0.0 // what relative commands count from
			if c >= 'a' {
				bx, by = x, y
			}
			ox, oy := x, y
			switch c | 0x20 {
			case 'h':
				x = bx + n[0]
			case 'v':
				y = by + n[0]
			default:
				x, y = bx+n[args-2], by+n[args-1]
			}
			px, py := p.at(x, y)
			switch {
			case c|0x20 == 'm' && first:
				to.MoveTo(px, py)
				x0, y0 = x, y
			case c|0x20 == 'a':
				arcPoints(ox, oy, x, y, n[0], n[3] != 0, n[4] != 0, func(x, y float64) { to.LineTo(p.at(x, y)) })
			default:
				to.LineTo(px, py)
			}
		}
	}
}

// arcPoints walks an arc of a circle in small straight pieces. SVG 2, appendix B.2.4.
func arcPoints(x1, y1, x2, y2, r float64, large, sweep bool, to func(x, y float64)) {
	dx, dy := (x2-x1)/2, (y2-y1)/2
	half := math.Hypot(dx, dy)
	if half == 0 {
		return
	}
	r = max(r, half)
	h := math.Sqrt(r*r-half*half) / half
	if large == sweep {
		h = -h
	}
	cx, cy := x1+dx-dy*h, y1+dy+dx*h
	from, turn := math.Atan2(y1-cy, x1-cx), math.Atan2(y2-cy, x2-cx)
	turn -= from
	if sweep && turn <= 0 {
		turn += 2 * math.Pi
	} else if !sweep && turn >= 0 {
		turn -= 2 * math.Pi
	}
	const pieces = 12
	for i := 1; i <= pieces; i++ {
		a := from + turn*float64(i)/pieces
		to(cx+r*math.Cos(a), cy+r*math.Sin(a))
	}
}

// leadingNumber takes the number that a text begins with.
func leadingNumber(s string) (v float64, rest string, ok bool) {
	s = strings.TrimLeft(s, " ,\n\t")
	i, point := 0, false
	for ; i < len(s); i++ {
		switch c := s[i]; {
		case c >= '0' && c <= '9', (c == '-' || c == '+') && i == 0:
			continue
		case c == '.' && !point:
			point = true
			continue
		}
		break
	}
	v, err := strconv.ParseFloat(s[:i], 64)
	return v, s[i:], err == nil
}
