package web

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"crosscount/diag/signal"
	"crosscount/diag/signal/draw"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// noticedShown bounds what is told of a file; the counts tell the rest.
const noticedShown = 40

// row puts a reading into words: value, half-width and count, or why there is none.
func row(l *lang.Language, name string, r signal.Reading) templates.MeasureRow {
	m := templates.MeasureRow{Name: name}
	v, ok := r.Get()
	if !ok {
		if r.Refused != nil {
			m.Why = sentence(l, r.Refused.Why)
		}
		return m
	}
	unit, scale := r.Unit, 1.0
	if unit == "s" && math.Abs(v) < 1 && v != 0 {
		unit, scale = "ms", 1000
	}
	v, u := v*scale, r.Uncertainty*scale
	if zero, in := l.Shown(0, unit); in != unit { // a reading in the reader's unit; none is a difference
		one, _ := l.Shown(1, unit)
		v, u, unit = zero+(one-zero)*v, (one-zero)*u, in
	}
	m.Value, m.Spread = measuredWords(v, u)
	m.Value, m.Spread = l.Point(m.Value), l.Point(m.Spread)
	if r.AtLeast {
		m.Value = "≥ " + m.Value
	}
	if unit != "" && unit != "1" {
		m.Value += "\u00a0" + unit
	}
	m.Count = thousands(int64(r.N))
	return m
}

// measuredWords writes a value to the digits its uncertainty leaves: two of the
// uncertainty's own.
func measuredWords(v, u float64) (value, spread string) {
	digits := 3
	switch {
	case u > 0:
		digits = 1 - int(math.Floor(math.Log10(u)))
	case v != 0:
		digits = 3 - int(math.Floor(math.Log10(math.Abs(v))))
	}
	digits = min(max(digits, 0), 6)
	value = strings.Replace(strconv.FormatFloat(v, 'f', digits, 64), "-", "\u2212", 1)
	if u > 0 {
		spread = strconv.FormatFloat(u, 'f', digits, 64)
	}
	return value, spread
}

// brief writes a number to four figures.
func brief(v float64) string {
	return strings.Replace(strconv.FormatFloat(v, 'g', 4, 64), "-", "\u2212", 1)
}

// rows puts measurements in order; those not asked for in this kind of recording are
// left out.
func rows(list ...templates.MeasureRow) []templates.MeasureRow {
	return slices.DeleteFunc(list, func(m templates.MeasureRow) bool { return m.Value == "" && m.Why == "" })
}

func named(l *lang.Language, key string, r signal.Reading) templates.MeasureRow {
	return row(l, templates.MeasureName(l, key), r)
}

// channelRows lists what was measured on one channel.
func channelRows(l *lang.Language, c signal.Channel) []templates.MeasureRow {
	out := rows(named(l, "min", c.Min), named(l, "max", c.Max), named(l, "mean", c.Mean))
	if n := c.Narrow; n != nil {
		out = append(out, rows(named(l, "cycles", n.CyclesHz), named(l, "lean_rich", n.LeanRich.Median), named(l, "rich_lean", n.RichLean.Median),
			named(l, "low", c.Low), named(l, "high", c.High), named(l, "rise", n.Rise.Median), named(l, "fall", n.Fall.Median), named(l, "duty", n.Duty),
			named(l, "longest_rich", n.LongestRich), named(l, "longest_lean", n.LongestLean))...)
		if n.Over.Episodes > 0 {
			out = append(out, named(l, "over", n.Over.Time))
		}
		if n.Negative.Episodes > 0 {
			out = append(out, named(l, "negative", n.Negative.Time))
		}
		for _, f := range n.Forced {
			name := func(key string) string { return templates.ForcedName(l, key, f.Mixture, l.Point(brief(f.At)), f.Found) }
			out = append(out, rows(row(l, name("delay"), f.Delay), row(l, name("to_level"), f.ToLevel), row(l, name("reached"), f.Reached))...)
		}
		if n.WarmUp != nil {
			out = append(out, rows(named(l, "warm_up", *n.WarmUp))...)
		}
		out = append(out, rows(named(l, "noise", c.Noise))...)
	}
	if x := c.Wide; x != nil {
		out = append(out, rows(named(l, "steadiness", x.Steadiness), named(l, "spread", x.Spread), named(l, "lag", x.Lag), named(l, "cycles", x.Crossings))...)
	}
	return append(out, rows(named(l, "observed", c.Observed))...)
}

// groups lists everything measured, sensors first.
func groups(l *lang.Language, res *signal.Result) []templates.MeasureGroup {
	var first, rest []templates.MeasureGroup
	for _, c := range res.Channels {
		if l.Unit(c.Quantity.Unit()) != c.Quantity.Unit() {
			c.Column = draw.Unitless(c.Column)
		}
		g := templates.MeasureGroup{Title: l.Say(draw.Name(c.Column)), Rows: channelRows(l, c)}
		if c.Bank > 0 && c.Position > 0 {
			g.Title = templates.Upper(templates.SpotWords(l, templates.Spot{Bank: c.Bank, Position: c.Position}))
			if c.Narrow == nil {
				g.Title += ", " + l.T(c.Quantity.Words())
			}
		}
		if c.Narrow != nil || c.Wide != nil {
			first = append(first, g)
		} else if c.Quantity != signal.Other {
			rest = append(rest, g)
		}
	}
	for _, p := range res.Pairs {
		first = append(first, templates.MeasureGroup{Title: templates.PairTitle(l, p.Bank),
			Rows: rows(named(l, "activity", p.Activity), named(l, "swing", p.Swing), named(l, "pair_delay", p.Delay))})
	}
	if t := res.Trims; t != nil {
		for _, st := range t.States {
			first = append(first, templates.MeasureGroup{Title: templates.TrimTitle(l, st.Bank, string(st.State)),
				Rows: rows(named(l, "short", st.Short), named(l, "long", st.Long), named(l, "total", st.Total), named(l, "rpm", st.RPM))})
		}
		for _, sl := range t.Slopes {
			first = append(first, templates.MeasureGroup{Title: templates.SlopeTitle(l, sl.Bank, sl.Airflow), Rows: rows(named(l, "slope", sl.Slope), named(l, "change", sl.Change))})
		}
	}
	return append(first, rest...)
}

// tooSlow says why transitions cannot be judged, if the sampling is the reason.
func tooSlow(l *lang.Language, res *signal.Result) string {
	for _, c := range res.Channels {
		if c.Narrow == nil {
			continue
		}
		for _, r := range []signal.Reading{c.Narrow.LeanRich.Median, c.Narrow.RichLean.Median} {
			if r.Refused != nil && r.Refused.Kind == signal.TooSlow {
				return templates.TooSlowWords(l, l.Say(r.Refused.Why))
			}
		}
	}
	return ""
}

// sums tells what was read.
func sums(l *lang.Language, res *signal.Result) []templates.Fact {
	rep := res.Report
	out := []templates.Fact{{Name: templates.FactRows, Value: thousands(int64(rep.Rows))}}
	if rep.Skipped > 0 {
		out = append(out, templates.Fact{Name: templates.FactSkip, Value: thousands(int64(rep.Skipped))})
	}
	out = append(out, templates.Fact{Name: templates.FactTime, Value: l.Point(spanWords(rep.End - rep.Start))})
	if r := row(l, "", res.Sampling.Rate); r.Value != "" {
		out = append(out, templates.Fact{Name: templates.FactRate, Value: strings.TrimSuffix(r.Value, "\u00a0"+res.Sampling.Rate.Unit)})
	}
	if rep.GapCount > 0 {
		out = append(out, templates.Fact{Name: templates.FactGaps, Value: templates.GapsWords(l, rep.GapCount, l.Point(brief(rep.GapTime)))})
	}
	return out
}

func spanWords(s float64) string {
	switch {
	case s >= 3600:
		return fmt.Sprintf("%d h %d min", int(s)/3600, int(s)%3600/60)
	case s >= 120:
		return fmt.Sprintf("%d min %d s", int(s)/60, int(s)%60)
	}
	return brief(s) + " s"
}

// noticed lists problems, each once, with line and mend.
func noticed(l *lang.Language, ps []signal.Problem) []templates.NoticedLine {
	var out []templates.NoticedLine
	for _, p := range ps {
		n := templates.NoticedLine{Where: templates.LineWords(l, p.Line, p.Column), What: l.Say(p.What.Upper()), Mend: l.Say(p.Mend), Times: templates.TimesWords(l, p.Count)}
		if i := slices.IndexFunc(out, func(o templates.NoticedLine) bool { return o.Where == n.Where && o.What == n.What }); i >= 0 {
			if p.Count > 1 {
				out[i].Times = n.Times
			}
			continue
		}
		if out = append(out, n); len(out) == noticedShown {
			break
		}
	}
	return out
}
