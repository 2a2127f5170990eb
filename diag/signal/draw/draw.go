// Package draw makes pictures of what package signal measures.
package draw

import (
	"io"
	"strings"

	"crosscount/diag/picture"
	"crosscount/diag/say"
	"crosscount/diag/signal"
)

// Board gathers the traces of a recording while it is measured: give its Watch to
// signal.Options.
type Board struct {
	// Shown turns a value into the unit in which it is drawn; nil draws the channel's
	// own. Set it before the first Watch. It is linear, as scales of units are.
	Shown func(value float64, unit string) (shown float64, in string)

	channels []signal.Column
	traces   []*picture.Trace
	turned   []float64 // one run of samples in the unit shown
}

// NewBoard makes a board for the channels of a mapping.
func NewBoard(m signal.Mapping) *Board {
	b := &Board{channels: m.Channels}
	for range m.Channels {
		b.traces = append(b.traces, picture.NewTrace(0))
	}
	return b
}

// Watch takes a run of samples of one channel.
func (b *Board) Watch(channel int, t, v []float64, fresh bool) {
	b.traces[channel].Add(t, b.show(v, b.channels[channel].Quantity.Unit()), fresh)
}

// show gives samples in the unit in which they are drawn.
func (b *Board) show(v []float64, unit string) []float64 {
	if b.Shown == nil {
		return v
	}
	zero, in := b.Shown(0, unit)
	if in == unit {
		return v
	}
	one, _ := b.Shown(1, unit)
	b.turned = b.turned[:0]
	for _, x := range v {
		b.turned = append(b.turned, zero+(one-zero)*x)
	}
	return b.turned
}

// Series is the trace of one channel with its name.
func (b *Board) Series(f picture.Frame, channel int) picture.Series {
	c := b.channels[channel]
	if b.Shown != nil {
		if _, in := b.Shown(0, c.Quantity.Unit()); in != c.Quantity.Unit() {
			c = Unitless(c)
		}
	}
	return picture.Series{Label: words(f, Name(c)), Trace: b.traces[channel]}
}

// Unitless is a column without the unit that stands in brackets at the end of its name,
// for where its values are shown in another.
func Unitless(c signal.Column) signal.Column {
	if name := strings.TrimSpace(c.Name); strings.HasSuffix(name, ")") {
		if i := strings.LastIndex(name, "("); i > 0 {
			c.Name = name[:i]
		}
	}
	return c
}

// Name is what a channel is called in a picture: its place where it is known.
func Name(c signal.Column) say.Text {
	place := say.Text{}
	switch {
	case c.Bank > 0 && c.Position > 0:
		place = say.T("B%dS%d", c.Bank, c.Position)
	case c.Position == 1:
		place = say.T("front")
	case c.Position == 2:
		place = say.T("rear")
	case c.Bank > 0:
		place = say.T("bank %d", c.Bank)
	}
	switch {
	case place.IsZero():
		return say.T("%s", strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(c.Name), "()")))
	case c.Quantity == signal.SensorVoltage:
		return place
	}
	return say.T("%s %s", place, say.T(c.Quantity.Words()))
}

// words says a text in the language of a picture.
func words(f picture.Frame, t say.Text) string {
	if t.IsZero() {
		return ""
	}
	return t.Fit(f.T(t.Format, t.Args...))
}

// Levels are the limits drawn over a narrow-band voltage: what a forced mixture
// has to reach, the middle, and the ends of the timed transitions.
func Levels(lim signal.Limits, f picture.Frame) []picture.Level {
	return []picture.Level{
		{Value: lim.ForcedRich, Label: f.T("%.2f V rich", lim.ForcedRich)},
		{Value: lim.RichV, Label: f.T("%.2f V", lim.RichV)},
		{Value: lim.MidV, Label: f.T("%.2f V middle", lim.MidV)},
		{Value: lim.LeanV, Label: f.T("%.2f V", lim.LeanV)},
		{Value: lim.ForcedLean, Label: f.T("%.2f V lean", lim.ForcedLean)},
	}
}

// fewLevels are those of a small panel.
func fewLevels(lim signal.Limits, f picture.Frame) []picture.Level {
	l := Levels(lim, f)
	return []picture.Level{l[0], l[2], l[4]}
}

// Picture draws the result in the way that suits it: a front and rear pair above
// each other, the oxygen sensors on one set of axes, else the trims by state, else
// whatever was recorded, one panel for each unit. The frame's title and
// description are filled in where they are empty.
func (b *Board) Picture(res *signal.Result, lim signal.Limits, f picture.Frame) []byte {
	var volts, wide []int
	for i, c := range b.channels {
		switch c.Quantity {
		case signal.SensorVoltage:
			volts = append(volts, i)
		case signal.SensorLambda, signal.PumpCurrent:
			wide = append(wide, i)
		}
	}
	title := func(s string) {
		if f.Title == "" {
			f.Title = f.T(s)
		}
	}
	var plot picture.Plot
	switch {
	case len(volts) == 2 && len(res.Pairs) == 1:
		title("Ahead of and behind the converter")
		front, rear := volts[0], volts[1]
		if b.channels[front].Name != res.Pairs[0].Front {
			front, rear = rear, front
		}
		plot = picture.Pair(f, "V", fewLevels(lim, f), b.Series(f, front), b.Series(f, rear))
	case len(volts) > 0:
		title("Oxygen sensor voltage")
		plot = picture.Capture(f, "V", Levels(lim, f), b.series(f, volts)...)
	case len(wide) > 0:
		title("Wide-range oxygen sensor")
		plot = b.byUnit(f, wide)
	case res.Trims != nil && len(res.Trims.States) > 0:
		title("Fuel trims of the warm engine by state")
		t := Trims(*res.Trims, f)
		return t.SVG()
	default:
		title("Recording")
		var all []int
		for i := range b.channels {
			all = append(all, i)
		}
		plot = b.byUnit(f, all[:min(len(all), 6)])
	}
	for _, c := range res.Channels {
		if c.Narrow == nil {
			continue
		}
		for _, x := range c.Narrow.Forced {
			if !x.Found {
				plot.Marks = append(plot.Marks, picture.Mark{At: x.At, Label: f.T(map[bool]string{true: "made rich", false: "made lean"}[x.Mixture == "rich"])})
				return plot.SVG() // one mark for all channels
			}
		}
	}
	return plot.SVG()
}

func (b *Board) series(f picture.Frame, channels []int) []picture.Series {
	var out []picture.Series
	for _, i := range channels {
		out = append(out, b.Series(f, i))
	}
	return out
}

// byUnit gives the channels of each unit a panel of their own.
func (b *Board) byUnit(f picture.Frame, channels []int) picture.Plot {
	p := picture.Plot{Frame: f}
	at := map[string]int{}
	for _, i := range channels {
		c := b.channels[i]
		unit := c.Quantity.Unit()
		if unit == "" {
			unit = c.Unit
		} else if b.Shown != nil {
			_, unit = b.Shown(0, unit)
		}
		k, ok := at[unit]
		if !ok {
			k = len(p.Panels)
			at[unit] = k
			p.Panels = append(p.Panels, picture.Panel{Unit: unit})
			if unit == "lambda" {
				p.Panels[k].Levels = []picture.Level{{Value: 1, Label: f.T("lambda 1")}}
			}
		}
		p.Panels[k].Series = append(p.Panels[k].Series, b.Series(f, i))
	}
	for k := range p.Panels {
		if s := p.Panels[k].Series; len(s) == 1 {
			p.Panels[k].Label = s[0].Label
		}
	}
	return p
}

// stateWords names the engine states as people say them.
var stateWords = map[signal.EngineState]string{
	signal.Idle: "idle", signal.FastIdle: "2500 rpm, no load", signal.Cruise: "cruise", signal.Load: "load",
}

// Trims draws trims by state with the usual limits of suspicion, ±10 % (common
// practice, no source).
func Trims(t signal.Trims, f picture.Frame) picture.Trims {
	out := picture.Trims{Frame: f, Levels: []picture.Level{{Value: -10, Label: "−10 %"}, {Value: 10, Label: "+10 %"}}}
	for _, s := range t.States {
		row := picture.TrimRow{State: f.T(stateWords[s.State]), Bank: f.T("bank %d", s.Bank)}
		for _, d := range []struct {
			name string
			r    signal.Reading
		}{{"short-term", s.Short}, {"long-term", s.Long}, {"total", s.Total}} {
			if v, ok := d.r.Get(); ok {
				row.Dots = append(row.Dots, picture.Dot{Name: f.T(d.name), Value: v, Uncertainty: d.r.Uncertainty})
			}
		}
		if len(row.Dots) > 0 {
			row.Dots[0].Note = f.T("n %d", s.RPM.N)
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}

// Look draws a table as a mapping reads it, before anything is measured, so that a
// person can see whether the guess is right: every channel, those of one unit
// together, six panels at most. The error is Read's.
func Look(r io.Reader, m signal.Mapping, f picture.Frame) ([]byte, *signal.Report, error) {
	b := NewBoard(m)
	report, err := signal.Read(r, m, func(block *signal.Block) error {
		for c, t := range b.traces {
			t.Add(block.T, b.show(block.V[c], m.Channels[c].Quantity.Unit()), block.Break)
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	if f.Title == "" {
		f.Title = f.T("The recording as it is read")
	}
	var all []int
	for i := range b.channels {
		all = append(all, i)
	}
	p := b.byUnit(f, all)
	p.Panels = p.Panels[:min(len(p.Panels), 6)]
	return p.SVG(), report, nil
}
