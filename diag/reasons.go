package diag

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"crosscount/diag/say"
)

// reasons weighs each finding for or against a condition on the explanations: by how
// much, as the natural logarithm of a likelihood ratio, the finding changes its
// odds, all others kept. Heaviest first.
func (d *decision) reasons(is func(*hyp) bool) []Reason {
	var in, not []int
	var with, without float64
	for i := range d.hyps {
		if h := &d.hyps[i]; is(h) {
			in = append(in, i)
			with += h.p
		} else {
			not = append(not, i)
			without += h.p
		}
	}
	out := []Reason{}
	if with == 0 {
		return out
	}
	all := math.Log(with / without)
	for f := range d.c.ev.findings {
		w1, w0 := total(d.without[f], in), 0.0
		if w1 < d.withoutAll[f]/2 {
			w0 = d.withoutAll[f] - w1 // mostly it is far less, and so are its explanations
		} else {
			w0 = total(d.without[f], not)
		}
		lr := 6.0
		if without > 0 && w0 > 0 && w1 > 0 {
			lr = all - math.Log(w1/w0)
		}
		lr = min(max(lr, -6), 6)
		if math.Abs(lr) < 0.3 {
			continue
		}
		fd := &d.c.ev.findings[f]
		out = append(out, Reason{Entries: d.given(fd.entries), Finding: d.said[f], Weight: math.Round(lr*100) / 100, Word: weightWord(lr), For: lr > 0})
	}
	slices.SortStableFunc(out, func(a, b Reason) int { return cmp.Compare(math.Abs(b.Weight), math.Abs(a.Weight)) })
	return out
}

func total(list []float64, of []int) float64 {
	sum := 0.0
	for _, i := range of {
		sum += list[i]
	}
	return sum
}

// setApart takes each finding in turn out of the explanations, for reasons, and puts it
// into words.
func (d *decision) setApart() {
	n := len(d.hyps)
	all := make([]float64, n*len(d.c.ev.findings))
	d.without, d.withoutAll = make([][]float64, len(d.c.ev.findings)), make([]float64, len(d.c.ev.findings))
	for f := range d.without {
		top := math.Inf(-1)
		for i := range d.hyps {
			top = max(top, -d.lik[i][f])
		}
		d.without[f] = all[f*n : (f+1)*n : (f+1)*n]
		for i := range d.hyps {
			x := d.hyps[i].p * math.Exp(-d.lik[i][f]-top)
			d.without[f][i] = x
			d.withoutAll[f] += x
		}
		d.said = append(d.said, d.c.ev.say(&d.c.ev.findings[f]))
	}
}

// why puts the reasons into words.
func (d *decision) why(p *place, chance float64, rs []Reason) []say.Text {
	out := []say.Text{}
	for _, r := range rs[:min(len(rs), 6)] {
		side := "For it, %s: %s."
		if !r.For {
			side = "Against it, %s: %s."
		}
		out = append(out, say.T(side, r.Word, r.Finding))
	}
	if len(out) == 0 {
		s := "Nothing that was found bears on it; this is how common it is."
		if len(d.c.ev.findings) == 0 {
			s = "Nothing has been found yet; this is how common it is."
		}
		out = append(out, say.T(s))
	}
	return out
}

// whyAsk says what a test would decide between.
func (d *decision) whyAsk(q int) say.Text {
	pr := d.pr
	ps := pr.problem.Questions[q].Outcomes
	// The causes whose probability the answers move most.
	type moved struct {
		ref CauseRef
		by  float64
	}
	var list []moved
	for f := range pr.faults {
		by := 0.0
		for a := range ps {
			m, joint := 0.0, 0.0
			for i := range pr.sets {
				x := pr.sets[i].p * ps[a].P[i]
				m += x
				if pr.sets[i].mask>>f&1 == 1 {
					joint += x
				}
			}
			by += math.Abs(joint - m*pr.faults[f].p)
		}
		list = append(list, moved{pr.faults[f].place.ref, by})
	}
	slices.SortStableFunc(list, func(a, b moved) int { return cmp.Compare(b.by, a.by) })
	var names []say.Text
	for _, m := range list[:min(len(list), 3)] {
		if m.by > 0.02 && (len(names) == 0 || m.by > list[0].by/4) {
			names = append(names, m.ref.name().Lower())
		}
	}
	if len(names) == 0 {
		return say.T("It is the cheapest way to learn more.")
	}
	return say.T("It tells most, for its price, about: %s.", say.Series(names))
}

func (d *decision) whyOpen(n *NextTest) say.Text {
	var s []say.Text
	if cleared := d.clearedWords(); !cleared.IsZero() {
		s = append(s, cleared)
	}
	lead := d.leaders(0.15, 3)
	switch len(lead) {
	case 0:
		s = append(s, say.T("Nothing stands out yet."))
	case 1:
		s = append(s, say.T("It looks like this: %s. That is not sure enough to act on.", lead[0]))
	default:
		s = append(s, say.T("Still possible: %s.", say.And(lead)))
	}
	if n != nil {
		t, _ := TestByID(n.Test)
		missing := say.T(t.Name).Lower()
		if n.Position > 0 || n.Bank > 0 {
			missing = say.T("%s (%s)", missing, placeWords(CauseRef{Bank: n.Bank, Position: n.Position}))
		}
		s = append(s, say.T("What is missing: %s.", missing))
	}
	return say.Sentences(s)
}

// leaders names the likeliest causes.
func (d *decision) leaders(above float64, most int) []say.Text {
	var out []say.Text
	for i := range d.pr.faults {
		f := &d.pr.faults[i]
		if f.p >= above && len(out) < most {
			out = append(out, say.T("%s (%s)", f.place.ref.name().Lower(), percent(f.p)))
		}
	}
	return out
}

// cleared lists the sensors that a code or trim throws suspicion on and the
// findings have cleared.
func (d *decision) cleared() []int {
	var out []int
	w := d.c.w
	for s := range w.sens {
		if !d.suspected(s) {
			continue
		}
		sum := 0.0
		for _, p := range d.b.smarg[s] {
			sum += p
		}
		if sum < 0.04 {
			out = append(out, s)
		}
	}
	return out
}

// suspected tells whether a code names the sensor or its bank's mixture.
func (d *decision) suspected(s int) bool {
	w := d.c.w
	sw := &w.sens[s]
	for i := range d.c.ev.findings {
		f := &d.c.ev.findings[i]
		if f.kind == fSensorCode && f.sensor == s {
			return true
		}
		if f.kind == fCode && f.bank >= 0 && slices.Contains(sw.banks, f.bank) {
			mixture := strings.HasPrefix(w.m.Codes[f.code].ID, "mixture")
			if mixture && sw.Position == 1 || !mixture && sw.Position == 2 {
				return true
			}
		}
	}
	return false
}

func (d *decision) clearedWords() say.Text {
	var names []say.Text
	for _, s := range d.cleared() {
		names = append(names, d.c.w.sensorName(s))
	}
	switch len(names) {
	case 0:
		return say.Text{}
	case 1:
		return say.T("The sensor at %s is only the messenger.", names[0])
	}
	return say.T("The sensors at %s are only messengers.", say.And(names))
}

func (d *decision) whyNothing(healthy float64) say.Text {
	s := []say.Text{say.T("Nothing is wrong now (%s): what was measured is as it should be, and what stored the code is over.", percent(healthy))}
	for p := range d.c.w.places {
		if k := d.c.w.places[p].k; k.Nothing && k.Watch != "" {
			s = append(s, say.T("Clear the code and prove it on the road. To watch: %s", say.T(k.Watch).Lower()))
		}
	}
	return say.Sentences(s)
}

// whyWork explains a verdict of work for the technician.
func (d *decision) whyWork(v *Verdict, work []int) say.Text {
	pr := d.pr
	var s []say.Text
	for _, m := range work {
		md := &pr.mends[m]
		// The likeliest of the faults it mends speaks for it.
		best := md.faults[0]
		for _, f := range md.faults {
			if pr.faults[f].p > pr.faults[best].p {
				best = f
			}
		}
		f := &pr.faults[best]
		name, chance := f.place.ref.name(), percent(pr.present(m))
		switch rs := d.reasonsOf(f); {
		case len(rs) == 0:
			s = append(s, say.T("%s (%s).", name, chance))
		case len(rs) > 1 && rs[1].For:
			s = append(s, say.T("%s (%s): %s; %s.", name, chance, rs[0].Finding, rs[1].Finding))
		default:
			s = append(s, say.T("%s (%s): %s.", name, chance, rs[0].Finding))
		}
		if md.sensor >= 0 && d.upkeep(md.sensor) {
			s = append(s, say.T("No code asks for it: this is upkeep, an old slow sensor that wastes fuel, not a fault."))
		}
	}
	if v.Decision == DecideNoPart {
		if c := d.clearedWords(); !c.IsZero() {
			s = append(s, c)
		}
	}
	if len(v.First) > 0 {
		var names []say.Text
		for _, r := range v.First {
			names = append(names, r.name().Lower())
		}
		s = append(s, say.T("Mend first, or the new sensor dies as the old one did: %s.", say.And(names)))
	}
	var open []say.Text
	for _, f := range d.makers(work) {
		if !slices.Contains(v.First, f.place.ref) && !slices.Contains(v.Mend, f.place.ref) {
			open = append(open, say.T("%s (%s)", f.place.ref.name().Lower(), percent(f.p)))
		}
	}
	if len(open) > 0 {
		s = append(s, say.T("Not settled: %s. If it is there, what is new now will not live long: look into it before, or let the customer decide.", say.And(open)))
	}
	return say.Sentences(s)
}

// customer explains a verdict to the one who pays.
func (d *decision) customer(v *Verdict) say.Text {
	plain := func(refs []CauseRef) say.Text {
		var out []string
		for _, r := range refs {
			if info, ok := CauseByID(r.Cause); ok && !slices.Contains(out, info.Plain) {
				out = append(out, info.Plain)
			}
		}
		return say.And(say.Texts(out))
	}
	switch {
	case v.Decision == DecidePart && v.Upkeep:
		return say.T("Nothing is broken, but an oxygen sensor has become slow with age and costs fuel. A new one is upkeep, and can wait if you like.")
	case v.Decision == DecidePart:
		several, after := len(v.Parts) > 1, len(v.First) > 0
		switch {
		case several && after:
			return say.T("Oxygen sensors have to be renewed. Before that, what ruined it must be mended: we found that %s.", plain(v.First))
		case several:
			return say.T("Oxygen sensors have to be renewed: we measured the fault on the sensor itself.")
		case after:
			return say.T("An oxygen sensor has to be renewed. Before that, what ruined it must be mended: we found that %s.", plain(v.First))
		}
		return say.T("An oxygen sensor has to be renewed: we measured the fault on the sensor itself.")
	case len(v.Mend) > 0:
		return say.T("No sensor is needed. We found that %s; the sensor only reported it.", plain(v.Mend))
	}
	return say.T("Nothing is wrong now, and nothing has to be replaced. If the lamp comes back, come in while it is lit.")
}

func (d *decision) reasonsOf(f *fault) []Reason {
	w := d.c.w
	if f.sensor < 0 {
		return d.reasons(func(h *hyp) bool { return w.has(h.us, f.index) })
	}
	return d.reasons(func(h *hyp) bool { return w.hasAt(h, f.sensor, f.index) })
}

// upkeep tells whether a sensor is only slow with age, without a code that asks for
// it.
func (d *decision) upkeep(s int) bool {
	w := d.c.w
	for i := range d.c.ev.findings {
		if f := &d.c.ev.findings[i]; f.kind == fCode || f.kind == fSensorCode {
			return false
		}
	}
	for p := range w.sens[s].places {
		if w.sens[s].places[p].k.ID == "sensor_aged" {
			return d.b.smarg[s][p] > 0.5
		}
	}
	return false
}
