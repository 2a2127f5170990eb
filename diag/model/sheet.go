package model

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
)

// Sheet is one thing of the model with all its numbers, for people to review.
type Sheet struct {
	Group string // Causes, Tests, Quantities …
	ID    string
	Name  string
	Scope Scope // empty where it has none
	About []string
	Rows  []Row
	At    At
}

// Row is one number of the model, where it stands and what it rests on.
type Row struct {
	What   string
	Value  string
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
		s.Rows = []Row{{"on a sound car, " + q.Unit, bellText(q.Mean, q.SD, q.Log), q.Source, q.At}}
		if q.Cell != nil {
			s.Rows = append(s.Rows, Row{"what a cell can give, " + q.Unit, number(q.Cell.Lo) + " to " + number(q.Cell.Hi), q.Cell.Source, q.At})
		}
		s.About = only(q.Kinds, q.Front, q.Rear)
		out = append(out, s)
	}
	for _, c := range m.Codes {
		out = append(out, Sheet{Group: GroupCodes, ID: c.ID, Name: c.ID, At: c.At,
			Rows: []Row{{"set without a cause", chance(c.False), c.Source, c.At}}})
	}
	for _, r := range m.Remarks {
		out = append(out, Sheet{Group: GroupRemarks, ID: r.ID, Name: r.Name, At: r.At,
			Rows: []Row{{"said without bearing", chance(r.Usual), r.Source, r.At}}})
	}
	for _, s := range m.Setups {
		out = append(out, Sheet{Group: GroupSetups, ID: s.ID, Name: s.Name, At: s.At,
			Rows: []Row{{"minutes", number(s.Minutes), s.Source, s.At}}})
	}
	for _, c := range m.Curves {
		s := Sheet{Group: GroupCurves, ID: c.Name, Name: c.Name, At: c.At}
		for _, p := range c.Points {
			s.Rows = append(s.Rows, Row{"factor at " + number(p.Km) + " km", number(p.Factor), p.Source, c.At})
		}
		out = append(out, s)
	}
	for _, name := range slices.Sorted(maps.Keys(m.Settings)) {
		t := m.Settings[name]
		out = append(out, Sheet{Group: GroupSettings, ID: name, Name: name, At: t.At,
			Rows: []Row{{t.Text, number(t.Value), t.Source, t.At}}})
	}
	return out
}

func causeSheet(k *Cause) Sheet {
	s := Sheet{Group: GroupCauses, ID: k.ID, Name: k.Name, Scope: k.Scope, At: k.At}
	for _, line := range []string{k.Plain, k.Mend, k.Watch} {
		if line != "" {
			s.About = append(s.About, line)
		}
	}
	add := func(what, value string, src Source, at At) { s.Rows = append(s.Rows, Row{what, value, src, at}) }
	add("prior", chance(k.Prior), k.Source, k.At)
	if k.Curve != "" {
		s.About = append(s.About, "The prior follows the curve "+k.Curve+".")
	}
	add("mending, minutes", number(k.Minutes), k.Repair, k.At)
	add("mending, parts", number(k.Price), k.Repair, k.At)
	if k.SizeSD != 0 {
		add("size, spread as a share of the mean", number(k.SizeSD), k.Size, k.At)
	}
	for _, v := range k.Variants {
		if v.At == k.At { // not written: the cause has one kind
			continue
		}
		add("kind "+v.Name, chance(v.Chance), v.Source, v.At)
	}
	for _, t := range k.Trims {
		what := "trim needed, %, " + t.State
		if t.Lie {
			what = "trim by a false reading, %, " + t.State
		}
		if t.Bank != 0 {
			what += ", bank " + strconv.Itoa(t.Bank)
		}
		add(with(what, t.Metering, t.Variants), bellText(t.Mean, t.SD, false), t.Source, t.At)
	}
	for _, c := range k.Codes {
		add(with("sets code "+c.Code, place(c.Front, c.Rear), c.Variants), chance(c.P), c.Source, c.At)
	}
	for _, f := range k.Finds {
		add(with(f.Test+" shows "+f.Outcome, place(f.Front, f.Rear), f.Variants), chance(f.P), f.Source, f.At)
	}
	for _, q := range k.Shows {
		add(with("puts "+q.Quantity+" at", "", q.Variants), bellText(q.Mean, q.SD, false), q.Source, q.At)
	}
	for _, q := range k.Adds {
		add(with("shifts "+q.Quantity+" by", "", q.Variants), bellText(q.Mean, q.SD, false), q.Source, q.At)
	}
	for _, y := range k.Says {
		add("is told as "+y.Remark, chance(y.P), y.Source, y.At)
	}
	for _, l := range k.Makes {
		add("has made "+l.Child, chance(l.P), l.Source, l.At)
	}
	return s
}

func testSheet(t *Test) Sheet {
	s := Sheet{Group: GroupTests, ID: t.ID, Name: t.Name, Scope: t.Scope, At: t.At}
	s.Rows = []Row{{"minutes", number(t.Minutes), t.Source, t.At}}
	if len(t.Setups) > 0 {
		s.About = append(s.About, "Needs: "+strings.Join(t.Setups, ", ")+".")
	}
	s.About = append(s.About, t.Cautions...)
	for i, o := range t.Outcomes {
		if i == 0 {
			s.About = append(s.About, "A sound car: "+o.Name+".")
			continue
		}
		s.Rows = append(s.Rows, Row{"shows " + o.ID + " wrongly", chance(o.False), o.Source, o.At})
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

func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// chance writes a probability as a share in per cent.
func chance(p float64) string { return strconv.FormatFloat(p*100, 'g', 4, 64) + " %" }

func bellText(mean, sd float64, log bool) string {
	if log {
		return "log, about " + number(mean) + " ± " + number(sd)
	}
	return number(mean) + " ± " + number(sd)
}

func only(kinds []string, front, rear bool) []string {
	var out []string
	if len(kinds) > 0 {
		out = append(out, "Only of "+strings.Join(kinds, ", ")+".")
	}
	if p := place(front, rear); p != "" {
		out = append(out, "Only "+p+" the converter.")
	}
	return out
}

func place(front, rear bool) string {
	switch {
	case front && !rear:
		return "ahead of"
	case rear && !front:
		return "behind"
	}
	return ""
}

func with(what, where string, variants []string) string {
	switch where {
	case "":
	case "ahead of", "behind":
		what += ", " + where + " the converter"
	default:
		what += ", air by " + where
	}
	if len(variants) > 0 {
		what += ", if " + strings.Join(variants, " or ")
	}
	return what
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
