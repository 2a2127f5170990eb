package model

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"

	"crosscount/diag/say"
)

// Sheet is one thing of the model with all its numbers, for people to review.
type Sheet struct {
	Group string // Causes, Tests, Quantities …
	ID    string
	Name  string
	Scope Scope // empty where it has none
	About []say.Text
	Rows  []Row
	At    At
}

// ID is the name of something in the model's files, as a part of a text.
type ID string

// Row is one number of the model, where it stands and what it rests on.
type Row struct {
	What   say.Text
	Value  say.Text
	Source Source
	At     At
}

// The groups of sheets, in the order of Sheets.
const (
	GroupCauses     = "Causes"
	GroupTests      = "Tests"
	GroupQuantities = "Quantities"
	GroupCodes      = "Codes"
	GroupRemarks    = "Remarks"
	GroupSetups     = "Set-ups"
	GroupCurves     = "Curves"
	GroupSettings   = "Settings"
)

// Sheets lays the whole model out, every number once with its source.
func (m *Model) Sheets() []Sheet {
	var out []Sheet
	for i := range m.Causes {
		out = append(out, causeSheet(&m.Causes[i]))
	}
	for i := range m.Tests {
		out = append(out, testSheet(&m.Tests[i]))
	}
	for _, q := range m.Quantities {
		s := Sheet{Group: GroupQuantities, ID: q.ID, Name: q.Name, Scope: q.Scope, At: q.At}
		s.Rows = []Row{{say.T("on a sound car, %s", ID(q.Unit)), bellText(q.Mean, q.SD, q.Log), q.Source, q.At}}
		if q.Cell != nil {
			s.Rows = append(s.Rows, Row{say.T("what a cell can give, %s", ID(q.Unit)), say.T("%v to %v", q.Cell.Lo, q.Cell.Hi), q.Cell.Source, q.At})
		}
		s.About = only(q.Kinds, q.Front, q.Rear)
		out = append(out, s)
	}
	for _, c := range m.Codes {
		out = append(out, Sheet{Group: GroupCodes, ID: c.ID, Name: c.ID, At: c.At,
			Rows: []Row{{say.T("set without a cause"), chance(c.False), c.Source, c.At}}})
	}
	for _, r := range m.Remarks {
		s := Sheet{Group: GroupRemarks, ID: r.ID, Name: r.Name, At: r.At,
			Rows: []Row{{say.T("said without bearing"), chance(r.Usual), r.Source, r.At}}}
		if r.Noticed {
			s.About = []say.Text{say.T("noticed on the car as it is")}
		}
		out = append(out, s)
	}
	for _, s := range m.Setups {
		sh := Sheet{Group: GroupSetups, ID: s.ID, Name: s.Name, Scope: s.Scope, At: s.At,
			Rows: []Row{{say.T("minutes"), number(s.Minutes), s.Source, s.At}}}
		if s.Lasts.Minutes > 0 {
			sh.Rows = append(sh.Rows, Row{say.T("lasts, minutes"), number(s.Lasts.Minutes), s.Lasts.Source, s.At})
		}
		if s.Comes.Minutes > 0 {
			sh.Rows = append(sh.Rows, Row{say.T("comes by itself after minutes of standing"), number(s.Comes.Minutes), s.Comes.Source, s.At})
		}
		if len(s.Undoes) > 0 {
			sh.About = append(sh.About, say.T("Undoes: %s.", ids(s.Undoes)))
		}
		out = append(out, sh)
	}
	for _, c := range m.Curves {
		s := Sheet{Group: GroupCurves, ID: c.Name, Name: c.Name, At: c.At}
		for _, p := range c.Points {
			s.Rows = append(s.Rows, Row{say.T("factor at %s", say.Quantity{Value: p.Km, Unit: "km"}), number(p.Factor), p.Source, c.At})
		}
		out = append(out, s)
	}
	for _, name := range slices.Sorted(maps.Keys(m.Settings)) {
		t := m.Settings[name]
		out = append(out, Sheet{Group: GroupSettings, ID: name, Name: name, At: t.At,
			Rows: []Row{{say.T(t.Text), number(t.Value), t.Source, t.At}}})
	}
	return out
}

func causeSheet(k *Cause) Sheet {
	s := Sheet{Group: GroupCauses, ID: k.ID, Name: k.Name, Scope: k.Scope, At: k.At}
	for _, line := range []string{k.Plain, k.Mend, k.Watch} {
		if line != "" {
			s.About = append(s.About, say.T(line))
		}
	}
	add := func(what, value say.Text, src Source, at At) { s.Rows = append(s.Rows, Row{what, value, src, at}) }
	add(say.T("prior"), chance(k.Prior), k.Source, k.At)
	if k.Curve != "" {
		s.About = append(s.About, say.T("The prior follows the curve %s.", ID(k.Curve)))
	}
	if k.WithPart {
		s.About = append(s.About, say.T("It calls for no new sensor, but is gone with the old one where one is fitted."))
	}
	add(say.T("mending, minutes"), number(k.Minutes), k.Repair, k.At)
	add(say.T("mending, parts"), number(k.Price), k.Repair, k.At)
	if len(k.Setups) > 0 {
		s.About = append(s.About, say.T("Mending needs: %s.", ids(k.Setups)))
	}
	if k.SizeSD != 0 {
		add(say.T("size, spread as a share of the mean"), number(k.SizeSD), k.Size, k.At)
	}
	for _, v := range k.Variants {
		if v.At == k.At { // not written: the cause has one kind
			continue
		}
		add(say.T("kind %s", ID(v.Name)), chance(v.Chance), v.Source, v.At)
	}
	for _, t := range k.Trims {
		what := say.T("trim needed, %%, %s", ID(t.State))
		if t.Lie {
			what = say.T("trim by a false reading, %%, %s", ID(t.State))
		}
		if t.Bank != 0 {
			what = say.T("%s, bank %d", what, t.Bank)
		}
		if t.Metering != "" {
			what = say.T("%s, air by %s", what, ID(t.Metering))
		}
		add(when(what, t.Variants), bellText(t.Mean, t.SD, false), t.Source, t.At)
	}
	for _, c := range k.Codes {
		add(with("sets code %s", c.Code, "", c.Front, c.Rear, c.Variants), chance(c.P), c.Source, c.At)
	}
	for _, f := range k.Finds {
		add(with("%s shows %s", f.Test, f.Outcome, f.Front, f.Rear, f.Variants), chance(f.P), f.Source, f.At)
	}
	for _, q := range k.Shows {
		add(when(say.T("puts %s at", ID(q.Quantity)), q.Variants), bellText(q.Mean, q.SD, false), q.Source, q.At)
	}
	for _, q := range k.Adds {
		add(when(say.T("shifts %s by", ID(q.Quantity)), q.Variants), bellText(q.Mean, q.SD, false), q.Source, q.At)
	}
	for _, y := range k.Says {
		add(say.T("is told as %s", ID(y.Remark)), chance(y.P), y.Source, y.At)
	}
	for _, l := range k.Makes {
		add(say.T("has made %s", ID(l.Child)), chance(l.P), l.Source, l.At)
	}
	return s
}

func testSheet(t *Test) Sheet {
	s := Sheet{Group: GroupTests, ID: t.ID, Name: t.Name, Scope: t.Scope, At: t.At}
	s.Rows = []Row{{say.T("minutes"), number(t.Minutes), t.Source, t.At}}
	if len(t.Setups) > 0 {
		s.About = append(s.About, say.T("Needs: %s.", ids(t.Setups)))
	}
	if len(t.Undoes) > 0 {
		s.About = append(s.About, say.T("Undoes: %s.", ids(t.Undoes)))
	}
	if len(t.Leaves) > 0 {
		s.About = append(s.About, say.T("Leaves: %s.", ids(t.Leaves)))
	}
	s.About = append(s.About, say.Texts(t.Cautions)...)
	for i, o := range t.Outcomes {
		if i == 0 {
			s.About = append(s.About, say.T("A sound car: %s.", say.T(o.Name)))
			continue
		}
		s.Rows = append(s.Rows, Row{say.T("shows %s wrongly", ID(o.ID)), chance(o.False), o.Source, o.At})
	}
	return s
}

// Print writes the model as a table of every number with its source, and then the
// pairs of causes that no test of it tells apart.
func (m *Model) Print(w io.Writer) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(tw, "trade model %s\n", m.Version)
	counts := map[SourceKind]int{}
	group := ""
	for _, s := range m.Sheets() {
		if s.Group != group {
			group = s.Group
			fmt.Fprintf(tw, "\n%s\n", strings.ToUpper(group))
		}
		fmt.Fprintf(tw, "\n%s (%s)\n", s.Name, join(s.ID, string(s.Scope)))
		for _, line := range s.About {
			fmt.Fprintf(tw, "  %s\n", line)
		}
		for _, r := range s.Rows {
			counts[r.Source.Kind]++
			fmt.Fprintf(tw, "  %s\t%s\t%s\t%s\n", r.What, r.Value, r.Source, r.At)
		}
	}
	fmt.Fprintf(tw, "\nSOURCES\n\n  published\t%d\n  common practice\t%d\n  estimate\t%d\n", counts[Published], counts[CommonPractice], counts[Estimate])
	fmt.Fprintf(tw, "\nCAUSES THAT NO TEST TELLS APART\n\n")
	for _, p := range m.BlindPairs() {
		fmt.Fprintf(tw, "  %s\t%s\n", p.A, p.B)
	}
	return tw.Flush()
}

func number(x float64) say.Text { return say.T("%v", x) }

// chance writes a probability as a share in per cent.
func chance(p float64) say.Text { return say.T("%.4g %%", p*100) }

func bellText(mean, sd float64, log bool) say.Text {
	if log {
		return say.T("log, about %v ± %v", mean, sd)
	}
	return say.T("%v ± %v", mean, sd)
}

func only(kinds []string, front, rear bool) []say.Text {
	var out []say.Text
	if len(kinds) > 0 {
		out = append(out, say.T("Only of %s.", ids(kinds)))
	}
	switch {
	case front && !rear:
		out = append(out, say.T("Only ahead of the converter."))
	case rear && !front:
		out = append(out, say.T("Only behind the converter."))
	}
	return out
}

// with names what a cause does, by one or two names of the model, where and when.
func with(format, one, two string, front, rear bool, variants []string) say.Text {
	what := say.T(format, ID(one))
	if two != "" {
		what = say.T(format, ID(one), ID(two))
	}
	switch {
	case front && !rear:
		what = say.T("%s, ahead of the converter", what)
	case rear && !front:
		what = say.T("%s, behind the converter", what)
	}
	return when(what, variants)
}

// when adds under which kinds of the cause.
func when(what say.Text, variants []string) say.Text {
	if len(variants) == 0 {
		return what
	}
	or := say.T("%s", ID(variants[0]))
	for _, v := range variants[1:] {
		or = say.T("%s or %s", or, ID(v))
	}
	return say.T("%s, if %s", what, or)
}

func ids(names []string) say.Text {
	out := make([]say.Text, len(names))
	for i, n := range names {
		out[i] = say.T("%s", ID(n))
	}
	return say.List(out)
}

func join(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, ", ")
}
