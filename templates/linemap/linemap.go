// Package linemap draws a car's exhaust as a line map: cylinders, pipes, converters
// and every sensor at its bank and position, with what is known of it in words.
//
// The map is a plan seen from above with the flow from left to right. It shows only
// what the fitment says: bank 1 holds cylinder 1, position 1 is ahead of the
// converter, position 2 behind it. Other cylinders carry no number, since numbering
// differs from maker to maker.
package linemap

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// View is what the map shows. All texts come ready to print.
type View struct {
	ID          string // unique on the page; the title and description hang on it
	Arrangement string // inline, v, flat
	Cylinders   int    // 1 to 16
	Title       string // "Flat six, 4 sensors"
	Summary     string // one sentence for those who cannot see the drawing
	Converter   string // the word written in the converter
	Banks       []Bank
	Sensors     []Sensor
	Words       Words
}

// Words are the fixed texts of the drawing and of the table beside it.
type Words struct {
	AsTable, Sensor, Kind, Known, NothingYet string
}

// Bank is one side of the engine.
type Bank struct {
	Number int    // 1 or 2
	Name   string // "Bank 1"
	Known  []string
}

// Sensor is one location.
type Sensor struct {
	Bank, Position int
	Common         bool   // one sensor behind both banks
	Name           string // "Bank 1, position 2"
	Kind           string // "zirconia, 4 wires"
	Known          []string
	Mark           string // "look here next", "renew this one"; empty for none
}

// Drawing is the map in user units of the view box.
type Drawing struct {
	View          View
	Top           int // where the view box begins
	Width, Height int
	Block         Box
	Crank         *Line
	Cylinders     []Cylinder
	Runners       []string // path data
	Pipes         []string
	Tail          Line
	Converters    []Box
	Stops         []Stop
	Texts         []Text
}

// Box is a rectangle.
type Box struct{ X, Y, W, H int }

// Line joins two points.
type Line struct{ X1, Y1, X2, Y2 int }

// Cylinder is drawn as a circle, or lying as a rounded box in a flat engine.
type Cylinder struct {
	X, Y  int
	R     int
	Lying bool
	First bool // carries the number 1
}

// Stop is a sensor on its pipe with a line to its label.
type Stop struct {
	X, Y   int
	Leader Line
	Known  bool
	Look   bool
}

// Text is one line of a label.
type Text struct {
	X, Y   int
	Class  string
	Anchor string
	S      string
}

const (
	width   = 760
	right   = 742 // where the tail ends
	line    = 18  // distance of text lines
	left    = 34
	perChar = 7.3 // mean advance of 14 px sans text
)

// pitch is the distance of n cylinders in a row; many stand closer.
func pitch(n int) int { return min(36, 190/max(n-1, 1)) }

// Lay computes the drawing. It accepts any view; what does not fit the plan (a
// bank the engine has not got, a position beyond 3) is left to the table.
func Lay(v View) Drawing {
	d := Drawing{View: v, Width: width}
	n := min(max(v.Cylinders, 1), 16)
	two := v.Arrangement != "inline" || slices.ContainsFunc(v.Sensors, func(s Sensor) bool { return s.Bank == 2 && !s.Common })
	if n == 1 {
		two = false
	}

	// Labels above bank 1 decide where its pipe lies.
	above := labelHeight(v, func(s Sensor) bool { return s.Bank == 1 || s.Common })
	if b := bankOf(v, 1); b != nil && two {
		above = max(above, (1+len(wrap(b.Known, 22)))*line)
	}
	y1 := above + 38
	// A third sensor on a bank is labelled between the pipes.
	inner := 0
	for _, s := range v.Sensors {
		if s.Position == 3 && !s.Common {
			inner += len(label(s, 16))*line + 30
		}
	}
	var y2, mid, engineRight int
	switch {
	case two && v.Arrangement == "inline":
		// One row, the front half breathing out on one side, the rear half on the other.
		apart := max(56, inner/2)
		row := y1 + apart
		mid, y2 = row, row+apart
		engineRight = d.row(n, n, row, false)
		d.runners(0, (n+1)/2, n, row, y1)
		d.runners((n+1)/2, n, n, row, y2)
	case two:
		half := (n + 1) / 2
		gap := 26
		lying := v.Arrangement == "flat"
		if lying {
			gap = 36
		}
		apart := max(44, inner/2-gap)
		row1 := y1 + apart
		mid = row1 + gap
		row2 := mid + gap
		y2 = row2 + apart
		engineRight = d.row(half, half, row1, lying)
		d.Cylinders[0].First = true
		d.row(n-half, half, row2, lying)
		d.runners(0, half, half, row1, y1)
		d.runners(0, n-half, half, row2, y2)
		d.Crank = &Line{left - 18, mid, engineRight + 12, mid}
	default:
		row := y1 - 46
		mid, y2 = y1, y1
		engineRight = d.row(n, n, row, false)
		d.runners(0, n, n, row, y1)
	}
	d.Cylinders[0].First = true
	d.box()

	// Columns along the flow.
	span := right - engineRight
	at := func(f float64) int { return engineRight + int(f*float64(span)) }
	joinBefore := 4 // the first common position; 4: the banks join at the very end
	for _, s := range v.Sensors {
		if s.Common && s.Position < joinBefore {
			joinBefore = s.Position
		}
	}
	if two && joinBefore == 4 && !slices.ContainsFunc(v.Sensors, func(s Sensor) bool { return s.Bank == 2 }) {
		joinBefore = 1 // one bank for the module: the sides join before its first sensor
	}
	third := slices.ContainsFunc(v.Sensors, func(s Sensor) bool { return s.Position == 3 })
	x := map[int]int{1: at(.08), 2: at(.56), 3: at(.80)}
	conv, joinAt := at(.33), 0
	switch {
	case !two:
		joinBefore = 0
	case joinBefore <= 1:
		joinAt, x[1], conv, x[2], x[3] = at(.17), at(.24), at(.40), at(.60), at(.78)
	case joinBefore == 2:
		joinAt, conv, x[2], x[3] = at(.40), at(.46), at(.66), at(.84)
	case joinBefore == 3:
		joinAt, conv, x[2], x[3] = at(.63), at(.24), at(.46), at(.70)
	default:
		joinAt, x[2], x[3] = at(.93), at(.54), at(.74)
	}

	// Pipes and converters.
	const convW, convH = 84, 34
	start := left
	if two {
		rise := mid - y1
		d.Pipes = append(d.Pipes,
			fmt.Sprintf("M%d %dH%dL%d %d", start, y1, joinAt-rise, joinAt, mid),
			fmt.Sprintf("M%d %dH%dL%d %d", d.rearStart(v, n), y2, joinAt-rise, joinAt, mid),
			fmt.Sprintf("M%d %dH%d", joinAt, mid, max(right-30, joinAt)))
		if joinBefore <= 2 {
			d.Converters = append(d.Converters, Box{conv, mid - convH/2, convW, convH})
		} else {
			d.Converters = append(d.Converters, Box{conv, y1 - convH/2, convW, convH}, Box{conv, y2 - convH/2, convW, convH})
		}
	} else {
		d.Pipes = append(d.Pipes, fmt.Sprintf("M%d %dH%d", start, y1, right-30))
		d.Converters = append(d.Converters, Box{conv, y1 - convH/2, convW, convH})
	}
	d.Tail = Line{right - 14, mid, right + 8, mid}

	// Sensors and their labels.
	bottom := max(y2, mid) + 30
	for _, s := range v.Sensors {
		if s.Position < 1 || s.Position > 3 || s.Bank < 1 || s.Bank > 2 || (s.Bank == 2 && !two && !s.Common) {
			continue
		}
		onMid := two && joinBefore != 0 && (s.Common || s.Position >= joinBefore)
		y, up := y1, true
		switch {
		case onMid:
			y, up = mid, s.Position != 3 || joinBefore == 3
		case s.Bank == 2 && two:
			y, up = y2, false
		}
		beside := s.Position == 3 && !onMid // close to a neighbour: its label goes to the free side
		if beside {
			up = !up
		}
		room := right - x[s.Position]
		if s.Position == 1 && !(two && joinBefore <= 1) {
			room = x[2] - x[1] - 14
			if two && joinBefore == 2 {
				room = right - x[1]
			}
		} else if s.Position == 2 && third && onMid == (joinBefore == 2) && !beside {
			room = right - x[2]
		}
		anchor, tx := "start", x[s.Position]-8
		if beside {
			anchor, tx, room = "end", x[s.Position]+12, x[3]-conv-convW
		}
		lines := label(s, int(float64(room)/perChar))
		st := Stop{X: x[s.Position], Y: y, Known: len(s.Known) > 0, Look: s.Mark != ""}
		top := y - 26 - (len(lines)-1)*line
		if up {
			st.Leader = Line{st.X, y - 9, st.X, y - 22}
		} else {
			top = y + 34
			st.Leader = Line{st.X, y + 9, st.X, y + 19}
			bottom = max(bottom, top+len(lines)*line)
		}
		d.Stops = append(d.Stops, st)
		for i, l := range lines {
			l.X, l.Y, l.Anchor = tx, top+i*line, anchor
			d.Texts = append(d.Texts, l)
		}
	}

	// What is known of a bank stands at its manifold.
	for _, b := range v.Banks {
		if b.Number > 2 || b.Number < 1 || (b.Number == 2 && !two) {
			continue
		}
		known := wrap(b.Known, max((engineRight-left+60)/7, 16))
		lines := []Text{{Class: "name", S: b.Name}}
		for _, k := range known {
			lines = append(lines, Text{S: k})
		}
		top := y1 + 26 // one bank: below its pipe
		if two && b.Number == 1 {
			top = y1 - 16 - (len(lines)-1)*line
		} else if two {
			top = y2 + 26
		}
		if !(two && b.Number == 1) {
			bottom = max(bottom, top+len(lines)*line)
		}
		for i, l := range lines {
			l.X, l.Y, l.Anchor = left-16, top+i*line, "start"
			d.Texts = append(d.Texts, l)
		}
	}
	for _, c := range d.Converters {
		y := c.Y + c.H + 16
		if two && c.Y > mid { // bank 2 keeps its labels below
			y = c.Y - 7
		}
		d.Texts = append(d.Texts, Text{X: c.X + c.W/2, Y: y, Class: "soft", Anchor: "middle", S: v.Converter})
		bottom = max(bottom, y+8)
	}
	d.Top = d.Block.Y - 6
	for _, t := range d.Texts {
		d.Top = min(d.Top, t.Y-16)
	}
	d.Height = bottom + 6 - d.Top
	return d
}

// row adds n cylinders at height y, as far apart as of cylinders of the longest
// row, and returns where the engine ends.
func (d *Drawing) row(n, of, y int, lying bool) int {
	p := pitch(of)
	for i := range n {
		d.Cylinders = append(d.Cylinders, Cylinder{X: left + 10 + i*p, Y: y, R: min(13, p/2-2), Lying: lying})
	}
	return left + 10 + (of-1)*p + 26
}

// runners leads cylinders from..to of a row into the manifold at height pipe.
func (d *Drawing) runners(from, to, of, row, pipe int) {
	dir := 1
	if pipe < row {
		dir = -1
	}
	for i := from; i < to; i++ {
		x := left + 10 + i*pitch(of)
		d.Runners = append(d.Runners, fmt.Sprintf("M%d %dV%dL%d %d", x, row+dir*min(13, pitch(of)/2-2), pipe-dir*14, x+14, pipe))
	}
}

// rearStart is where the manifold of bank 2 begins.
func (d *Drawing) rearStart(v View, n int) int {
	if v.Arrangement == "inline" {
		return left + (n+1)/2*pitch(n)
	}
	return left
}

// box draws the block round the cylinders.
func (d *Drawing) box() {
	lo, hi := d.Cylinders[0], d.Cylinders[0]
	for _, c := range d.Cylinders {
		lo.X, lo.Y = min(lo.X, c.X), min(lo.Y, c.Y)
		hi.X, hi.Y = max(hi.X, c.X), max(hi.Y, c.Y)
	}
	d.Block = Box{lo.X - 20, lo.Y - 20, hi.X - lo.X + 40, hi.Y - lo.Y + 40}
}

func bankOf(v View, n int) *Bank {
	for i := range v.Banks {
		if v.Banks[i].Number == n {
			return &v.Banks[i]
		}
	}
	return nil
}

func labelHeight(v View, on func(Sensor) bool) int {
	h := 2 * line
	for _, s := range v.Sensors {
		if on(s) && s.Position != 3 {
			h = max(h, len(label(s, 26))*line)
		}
	}
	return h
}

// label returns the lines of a sensor's label, wrapped to a number of characters.
func label(s Sensor, chars int) []Text {
	out := []Text{{Class: "name", S: s.Name}}
	for _, k := range wrap([]string{s.Kind}, chars) {
		out = append(out, Text{Class: "soft", S: k})
	}
	for _, k := range wrap(s.Known, chars) {
		out = append(out, Text{S: k})
	}
	if s.Mark != "" {
		for _, k := range wrap([]string{s.Mark}, chars) {
			out = append(out, Text{Class: "look-word", S: k})
		}
	}
	return out
}

// wrap breaks each sentence into lines of at most n characters, at spaces; a
// longer word stands alone.
func wrap(in []string, n int) []string {
	n = max(n, 8)
	var out []string
	for _, s := range in {
		cur := ""
		for w := range strings.FieldsSeq(s) {
			switch {
			case cur == "":
				cur = w
			case len([]rune(cur))+1+len([]rune(w)) <= n:
				cur += " " + w
			default:
				out = append(out, cur)
				cur = w
			}
		}
		if cur != "" {
			out = append(out, cur)
		}
	}
	return out
}

// Ordered returns the sensors bank by bank, front to rear, as the table lists them.
func Ordered(v View) []Sensor {
	out := slices.Clone(v.Sensors)
	slices.SortStableFunc(out, func(a, b Sensor) int {
		return cmp.Or(cmp.Compare(b2i(a.Common), b2i(b.Common)), cmp.Compare(a.Bank, b.Bank), cmp.Compare(a.Position, b.Position))
	})
	return out
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}
