package web

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"

	"crosscount/diag"
	"crosscount/diag/obd"
	"crosscount/diag/say"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
	"crosscount/templates/linemap"
)

// What shows without unfolding.
const (
	causesShown  = 5
	shownAbove   = 0.05
	severalShown = 5
	knownPerStop = 4
)

func (s *server) jobPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	v, err := s.jobView(w, r, d)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	if add := q.Get("add"); add == "recording" && v.CanAdd {
		v.Upload = d.uploadForm()
	} else if add != "" && v.CanAdd {
		if v.Form = d.entryForm(add, viewer(r)); v.Form != nil {
			preset(v.Form, q.Get("at"), q.Get("mixture"))
		}
	}
	d.markOpen(&v)
	return s.render(w, r, http.StatusOK, templates.Job(v))
}

// refuseJob shows the job again with a form that was refused.
func (s *server) refuseJob(w http.ResponseWriter, r *http.Request, d *desk, change func(*templates.JobView)) error {
	v, err := s.jobView(w, r, d)
	if err != nil {
		return err
	}
	change(&v)
	d.markOpen(&v)
	return s.render(w, r, http.StatusUnprocessableEntity, templates.Job(v))
}

// jobView lays the whole job out.
func (s *server) jobView(w http.ResponseWriter, r *http.Request, d *desk) (templates.JobView, error) {
	who := viewer(r)
	v := templates.JobView{
		Page: s.page(w, r, templates.AtNowhere, fmt.Sprintf("%d %s", d.Job.ID, carName(d.Vehicle))),
		ID:   d.Job.ID, Base: d.base(), State: "open", Car: carName(d.Vehicle), Plate: d.Vehicle.Plate, VIN: d.Vehicle.VIN,
		Opened: d.clock.day(d.Job.OpenedAt), Customer: d.Customer.Name, Phone: d.Customer.Phone, Concern: d.Job.Concern,
		VehicleHref: fmt.Sprintf("/vehicles/%d", d.Vehicle.ID),
	}
	v.Page.Job = d.Job.ID
	v.Odometer = d.odometer()
	if d.TechnicianName != nil {
		v.Technician = *d.TechnicianName
	}
	switch {
	case d.Job.CancelledAt != nil:
		v.State = "cancelled"
	case d.Job.ClosedAt != nil:
		v.State = "closed"
	}
	if c := d.Comeback; c != nil {
		v.CameFrom = &templates.ComebackLine{Href: fmt.Sprintf("/jobs/%d", c.EarlierID), ID: c.EarlierID, Kind: c.Kind}
	}
	for _, c := range d.CameBackAs {
		v.CameBackAs = append(v.CameBackAs, templates.ComebackLine{Href: fmt.Sprintf("/jobs/%d", c.JobID), ID: c.JobID, Kind: c.Kind})
	}
	if d.open() {
		v.CanAdd, v.Head = true, d.headForm()
		v.Move = nextMove(d.l, d.asOpen(), d)
		v.Move.Car = v.Car
		people, err := s.store.People(r.Context())
		if err != nil {
			return v, err
		}
		v.Assign = assignForm(d.l, people, d.Job.TechnicianID)
		if d.Comeback == nil {
			if v.Comeback, err = s.comebackAsk(r.Context(), d); err != nil {
				return v, err
			}
		}
	}
	v.Map = d.lineMap()
	v.Log = d.logView(themeOf(r))
	v.Pictures = d.jobPictures(themeOf(r))
	v.BeforeAfter = d.beforeAfter(themeOf(r))
	files, err := s.recordingLines(r.Context(), d)
	if err != nil {
		return v, err
	}
	v.Recordings = files
	if v.CanAdd {
		v.Kinds, v.Tests = d.kindLinks()
	}
	d.causeViews(&v)
	d.nextViews(&v)
	if v.Next != nil && !d.unread() {
		if v.Next.Limit, err = s.within(r, d, d.decision.Next, "job"); err != nil {
			return v, err
		}
	}
	if v.Similar, err = s.similar(r.Context(), d); err != nil {
		return v, err
	}
	v.Stages = d.stages()
	v.Verdict = d.verdictView(who)
	if f, _, _, ok := d.inForce(); ok && v.Verdict.Why == f.Verdict.Why.String() {
		v.Verdict.Why = d.l.Say(s.reasons(d, f))
	}
	v.Hand = d.handView(who)
	for _, l := range d.Log {
		v.Acts = append(v.Acts, templates.ActLine{When: d.clock.moment(l.At), Who: l.ByName, What: l.What, Words: templates.ActWords(d.l, l.What, l.Words)})
	}
	return v, nil
}

// markOpen tells the links which form is open.
func (d *desk) markOpen(v *templates.JobView) {
	var open string
	switch {
	case v.Upload != nil:
		open = "recording"
	case v.Form == nil:
		return
	case v.Form.Test != "":
		open = "result." + v.Form.Test
	default:
		open = v.Form.Kind
	}
	for _, links := range [][]templates.KindLink{v.Kinds, v.Tests} {
		for i := range links {
			links[i].Open = strings.Contains(links[i].Href, "?add="+open+"#")
		}
	}
}

func assignForm(l *lang.Language, people []store.Person, who *int64) *templates.AssignForm {
	f := &templates.AssignForm{Who: templates.AssignField(l)}
	for _, p := range people {
		if p.Active && p.Role != store.Writer || who != nil && *who == p.ID {
			f.Who.Options = append(f.Who.Options, templates.Option{Value: fmt.Sprint(p.ID), Label: p.Name})
		}
	}
	if who != nil {
		f.Who.Value = fmt.Sprint(*who)
	}
	return f
}

// evidence puts an entry in neutral terms.
func (d *desk) evidence(e diag.Entry) templates.Evidence {
	out := templates.Evidence{Kind: string(e.Kind), Spot: d.spot(e.Bank, e.Position), State: e.State, Frame: e.Frame, Code: e.Code, Status: e.Status,
		Mixture: e.Mixture, Result: e.Result, Look: e.Look}
	var fields map[string]any
	b, _ := json.Marshal(e) // an Entry holds nothing that cannot be marshalled
	_ = json.Unmarshal(b, &fields)
	for _, name := range e.Kind.Fields() {
		n, ok := fields[name].(float64)
		if !ok || name == "bank" || name == "position" {
			continue
		}
		value, unit := d.l.Figure(n, templates.QuantityUnit(name))
		if strings.HasSuffix(name, "_pct") && e.Kind == diag.KindTrim {
			value = signed(d.l, n)
		}
		out.Numbers = append(out.Numbers, templates.Number{Field: name, Value: value, Unit: unit})
	}
	if e.Holds != nil {
		out.Holds = "no"
		if *e.Holds {
			out.Holds = "yes"
		}
	}
	out.Open = e.WideOpen != nil && *e.WideOpen
	if e.Test != "" {
		out.Test, out.Outcome = e.Test, e.Outcome
		if t, ok := diag.TestByID(e.Test); ok {
			out.Test = d.l.T(t.Name)
			for _, o := range t.Outcomes {
				if o.ID == e.Outcome {
					out.Outcome = d.l.T(o.Name)
				}
			}
		}
	}
	if e.Kind == diag.KindCar {
		out.Outcome = carWord(d.l, e.Result)
	}
	if e.Remark != "" {
		out.Remark = e.Remark
		for _, w := range diag.RemarkWords() {
			if w.ID == e.Remark {
				out.Remark = d.l.T(w.Name)
			}
		}
	}
	return out
}

// signed writes a trim with its sign.
func signed(l *lang.Language, n float64) string {
	s, _ := l.Figure(n, "%")
	if n > 0 {
		s = "+" + s
	}
	return strings.Replace(s, "-", "\u2212", 1)
}

func thousands(n int64) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "\u202f" + s[i:]
	}
	return s
}

func (d *desk) logView(theme string) []templates.LogEntry {
	captures := d.captureLines(theme)
	unused := maps.Clone(d.unfit)
	for _, n := range d.decision.Notes {
		for _, i := range n.Entries {
			if i < len(d.used) {
				unused[d.used[i].ID] = d.l.Say(n.Say)
			}
		}
	}
	out := make([]templates.LogEntry, 0, len(d.Entries))
	for _, e := range d.Entries {
		ev := d.evidence(e.Body)
		l := templates.LogEntry{ID: e.ID, What: templates.Statement(d.l, ev), When: d.written(e), Who: e.EnteredByName,
			Source: templates.SourceWord(d.l, string(e.Source)), Unused: unused[e.ID], Capture: captures[e.ID]}
		if e.Body.Bank > 0 {
			l.Spot = templates.SpotWords(d.l, ev.Spot)
		}
		if e.Body.Kind == diag.KindCode {
			l.Means, l.Alike = meaning(d.l, e.Body.Code)
		}
		if e.Body.Kind == diag.KindTip {
			l.Means = append(l.Means, d.tipSays(e.Body.Look))
		}
		if e.WithdrawnID != nil {
			l.Withdrawn = &templates.Withdrawn{Who: *e.WithdrawnBy, When: d.clock.moment(*e.WithdrawnAt), Why: *e.WithdrawnWhy}
		} else if d.open() {
			l.Form = &templates.WithdrawForm{ID: store.NewID(), Entry: e.ID, Reason: templates.WithdrawReason(e.ID)}
		}
		out = append(out, l)
	}
	return out
}

// meaning says what a code says, and when it only looks like a sensor code, why not.
func meaning(l *lang.Language, text string) (means []string, alike string) {
	c, err := obd.ParseCode(text)
	if err != nil {
		return nil, ""
	}
	m, ok := c.Meaning()
	if !ok {
		return []string{l.Say(c.Describe().Upper()), l.T(templates.CodeUnknown)}, ""
	}
	if m.LookAlike {
		return nil, sentence(l, m.Title) + " " + l.Say(m.Testifies)
	}
	means = []string{l.Say(m.Title.Upper())}
	if !m.Testifies.IsZero() {
		means = append(means, l.Say(m.Testifies.Upper()))
	}
	return means, ""
}

func (d *desk) tipSays(look string) string {
	for _, t := range templates.TipLooks {
		if t.ID == look {
			return d.l.T(t.Says)
		}
	}
	return ""
}

// lineMap draws the car with what is known of each sensor.
func (d *desk) lineMap() linemap.View {
	v := linemap.View{ID: "map", Arrangement: d.Vehicle.Arrangement, Cylinders: d.Vehicle.Cylinders,
		Title: templates.MapTitle(d.l, d.Vehicle.Arrangement, d.Vehicle.Cylinders, len(d.Sensors)), Converter: d.l.T(templates.ConverterWord),
		Words: linemap.Words{AsTable: d.l.T(templates.MapAsTable), Sensor: d.l.T(templates.MapSensor), Kind: d.l.T(templates.MapKind),
			Known: d.l.T(templates.MapKnown), NothingYet: d.l.T(templates.MapNothing)}}
	standing := d.Standing()
	for b := range d.car.Banks() {
		v.Banks = append(v.Banks, linemap.Bank{Number: b + 1, Name: templates.BankWords(d.l, b+1), Known: d.trimLines(standing, b+1)})
	}
	marks := d.marks()
	var lines []string
	for _, s := range d.Sensors {
		sp := d.spot(s.Bank, s.Position)
		ls := linemap.Sensor{Bank: s.Bank, Position: s.Position, Common: s.Common, Name: templates.Upper(templates.SpotWords(d.l, sp)),
			Kind: templates.SensorWords(d.l, string(s.Kind), s.Wires), Known: d.knownOf(standing, s), Mark: marks[[2]int{s.Bank, s.Position}]}
		line := ls.Name + ": " + strings.Join(ls.Known, ", ")
		if len(ls.Known) == 0 {
			line = ls.Name + ": " + d.l.T(templates.MapNothing)
		}
		if ls.Mark != "" {
			line += ", " + ls.Mark
		}
		lines = append(lines, line)
		v.Sensors = append(v.Sensors, ls)
	}
	v.Summary = templates.MapSummary(lines)
	return v
}

// knownOf lists what is known of a sensor: the latest entry of each kind, and how
// suspect it is.
func (d *desk) knownOf(standing []store.Entry, s store.Sensor) []string {
	var out []string
	seen := map[string]bool{}
	for _, e := range slices.Backward(standing) {
		b := e.Body
		at := b.Bank == s.Bank && b.Position == s.Position
		if s.Common && b.Position == s.Position && b.Bank > 0 {
			at = true
		}
		key := string(b.Kind) + b.Mixture + b.Test
		if b.Kind == diag.KindCode {
			key = b.Code
			if c, err := obd.ParseCode(b.Code); err == nil {
				if m, ok := c.Meaning(); ok && m.NamesSensor && !m.LookAlike {
					at = m.Bank == s.Bank && m.Position == s.Position
				}
			}
		}
		if !at || seen[key] {
			continue
		}
		seen[key] = true
		if line := templates.KnownLine(d.l, d.evidence(b)); line != "" && len(out) < knownPerStop {
			out = append(out, line)
		}
	}
	slices.Reverse(out)
	if line := d.suspicion(s, len(standing) > 0); line != "" {
		out = append(out, line)
	}
	return out
}

// suspicion is the chance of a fault at a sensor: the chance of the likeliest fault
// when there is one, else the sum over all, which bounds the chance of any.
func (d *desk) suspicion(s store.Sensor, anything bool) string {
	if d.noFit != "" || !anything {
		return ""
	}
	sum := d.decision.LeftOut
	for _, c := range d.decision.Causes {
		if c.Position != s.Position || c.Bank != s.Bank || c.Position == 0 {
			continue
		}
		if c.P >= 0.4 {
			info, _ := diag.CauseByID(c.Cause)
			return templates.FaultHere(d.l, d.l.T(info.Name), templates.PercentWords(d.l, c.P))
		}
		sum += c.P
	}
	if sum >= 0.995 {
		return ""
	}
	return templates.FaultHere(d.l, "", templates.PercentWords(d.l, sum))
}

// trimLines tells the latest trims of a bank at up to three engine states, those of
// freeze frames last.
func (d *desk) trimLines(standing []store.Entry, bank int) []string {
	var out []string
	for _, frame := range []bool{false, true} {
		for _, state := range diag.States {
			for _, s := range slices.Backward(standing) {
				e := s.Body
				if e.Kind != diag.KindTrim || e.Bank != bank || e.State != state || e.Frame != frame {
					continue
				}
				var total float64
				for _, p := range []*float64{e.ShortPct, e.LongPct} {
					if p != nil {
						total += *p
					}
				}
				out = append(out, templates.TrimLine(d.l, state, frame, signed(d.l, total), e.ShortPct != nil && e.LongPct != nil))
				break
			}
		}
	}
	return out[:min(len(out), 3)]
}

// marks says which sensors need a look or a renewal.
func (d *desk) marks() map[[2]int]string {
	out := map[[2]int]string{}
	if !d.open() {
		return out
	}
	fitted := map[[2]int]bool{}
	for _, r := range d.Repairs {
		if r.Action == store.Fitted && r.UndoneAt == nil {
			fitted[[2]int{r.Bank, r.Position}] = true
		}
	}
	_, _, parts, ok := d.inForce()
	if !ok && d.noFit == "" && !d.unread() {
		parts = d.decision.Verdict.Parts
		if n := d.decision.Next; n != nil && n.Position > 0 && d.decision.Verdict.Decision == diag.DecideOpen {
			out[[2]int{n.Bank, n.Position}] = d.l.T(templates.MarkNext)
		}
	}
	for _, p := range parts {
		if at := [2]int{p.Bank, p.Position}; !fitted[at] {
			out[at] = d.l.T(templates.MarkRenew)
		}
	}
	return out
}

func (d *desk) causeViews(v *templates.JobView) {
	if d.noFit != "" {
		v.NoFit = d.noFit
		return
	}
	left := d.decision.LeftOut
	for i, c := range d.decision.Causes {
		low, high := c.P*(1-left), min(c.P*(1-left)+left, 1)
		cv := templates.CauseView{Name: c.Cause, Spot: d.spotWords(c.Bank, c.Position), Words: templates.OddsWord(d.l, c.P),
			Percent: templates.PercentRange(d.l, c.P, low, high), From: int(low*1000 + .5), To: int(high*1000 + .5), Why: lang.All(d.l, c.Why)}
		if info, ok := diag.CauseByID(c.Cause); ok {
			cv.Name = d.l.T(info.Name)
		}
		switch {
		case i < 3 || i < causesShown && c.P >= shownAbove:
			v.Causes = append(v.Causes, cv)
		case c.P >= 0.001 && len(v.More) < 20:
			v.More = append(v.More, cv)
		}
	}
	for _, t := range d.decision.Together {
		if len(t.Causes) > 1 && t.P >= 0.005 && len(v.Several) < severalShown {
			v.Several = append(v.Several, templates.TogetherView{Names: each(t.Causes, d.causeWords), Percent: templates.PercentWords(d.l, t.P)})
		}
	}
	if left > 0 {
		v.LeftOut = templates.LeftOutWords(d.l, templates.BoundWords(d.l, left))
	}
}

// nextViews fills the next-test card and what could be done instead.
func (d *desk) nextViews(v *templates.JobView) {
	if d.noFit != "" || !d.open() {
		return
	}
	n := d.decision.Next
	if d.unread() { // the codes come before any reckoning
		t := templates.ReadCodes(d.l)
		t.Href, t.House = d.base()+"?add=code#form", d.shop.Cautions
		v.Next, n = &t, nil
	}
	if _, _, _, settled := d.inForce(); settled && !d.stale() {
		n, v.Settled = nil, templates.SettledSentence(d.l, v.Move)
	}
	if n != nil {
		t := d.testView(n.Test, n.Bank, n.Position)
		t.Minutes, t.Why = templates.MinutesWords(d.l, n.Minutes), d.l.Say(n.Why)
		if len(n.Cautions) > 0 {
			t.Cautions = d.l.Each(n.Cautions)
		}
		t.Money = templates.ExpectedWords(d.l, d.money(n.ExpectedTotal))
		for _, p := range d.decision.Plan {
			t.Outcomes = append(t.Outcomes, d.planLine(n.Test, p))
		}
		v.Next = &t
	}
	tests := slices.Clone(diag.Tests())
	slices.SortStableFunc(tests, func(a, b diag.TestInfo) int { return cmp.Compare(a.Minutes, b.Minutes) })
	for _, t := range tests {
		if v.Next != nil && n == nil {
			break
		}
		if t.ID != "road_proof" && (n == nil || t.ID != n.Test) {
			v.Others = append(v.Others, d.testView(t.ID, 0, 0))
		}
	}
}

func (d *desk) planLine(test string, p diag.PlanStep) templates.PlanLine {
	l := templates.PlanLine{Outcome: d.l.Say(p.Say), Percent: templates.PercentWords(d.l, p.P)}
	if l.Outcome == "" {
		l.Outcome = d.l.T(outcomeName(test, p.Outcome))
	}
	if at := d.spotWords(p.Bank, 0); !strings.HasSuffix(l.Outcome, at) {
		l.Outcome += ", " + at
	}
	switch {
	case p.Next != nil:
		name := p.Next.Test
		if t, ok := diag.TestByID(name); ok {
			name = d.l.T(t.Name)
		}
		l.Then = templates.ThenTest(name, d.spotWords(p.Next.Bank, p.Next.Position))
	case p.Verdict != nil:
		what := templates.WorkWords(each(p.Verdict.Parts, d.partWords))
		if p.Verdict.Decision == diag.DecideNoPart {
			what = templates.WorkWords(each(p.Verdict.Mend, d.causeWords))
		}
		l.Then = templates.ThenVerdict(d.l, p.Verdict.Decision, what)
	}
	return l
}

// outcomeName finds an outcome's words; numeric tests name theirs themselves.
func outcomeName(test, outcome string) string {
	t, _ := diag.TestByID(test)
	for _, o := range t.Outcomes {
		if o.ID == outcome {
			return o.Name
		}
	}
	return strings.ReplaceAll(outcome, "_", " ")
}

func (d *desk) testView(id string, bank, position int) templates.TestView {
	t, ok := diag.TestByID(id)
	if !ok {
		return templates.TestView{Title: id, Spot: d.spotWords(bank, position)}
	}
	if m, ok := d.kase.Costs.TestMinutes[id]; ok {
		t.Minutes = m
	}
	v := templates.TestView{Title: d.l.T(t.Name), Spot: d.spotWords(bank, position), Minutes: templates.MinutesWords(d.l, t.Minutes),
		Tools: d.l.Each(t.Tools), SetUps: d.l.Each(t.SetUps), Expect: d.l.T(t.Expect), Cautions: d.l.Each(t.Cautions), Steps: d.l.Each(t.Steps), House: d.shop.Cautions}
	if d.open() {
		v.Href = d.entryHref(t, bank, position)
	}
	return v
}

// entryHref opens the form that records a test.
func (d *desk) entryHref(t diag.TestInfo, bank, position int) string {
	q := "?add=" + string(t.Entry)
	if t.Entry == diag.KindResult {
		q += "." + t.ID
	}
	switch {
	case position > 0:
		q += fmt.Sprintf("&at=%d-%d", bank, position)
	case bank > 0:
		q += fmt.Sprintf("&at=%d", bank)
	}
	switch t.ID {
	case "forced_rich":
		q += "&mixture=rich"
	case "forced_lean":
		q += "&mixture=lean"
	}
	return d.base() + q + "#form"
}

func (d *desk) stages() templates.Stages {
	at := [6]*time.Time{&d.Job.OpenedAt, d.Job.DiagnosedAt, d.Job.ApprovedAt, d.Job.RepairedAt, d.Job.ProvedAt, d.Job.ClosedAt}
	var out templates.Stages
	now := d.open()
	for i, t := range at {
		st := templates.Stage{Name: templates.StageNames[i]}
		if t != nil {
			st.When = d.clock.day(*t)
		} else if now {
			st.Now, now = true, false
		}
		out = append(out, st)
	}
	return out
}

func (d *desk) verdictView(who *store.SignedIn) templates.VerdictView {
	v := templates.VerdictView{EngineName: d.decision.Engine}
	mayDecide := accessOf(who.Role)&bench != 0 && d.open()
	if d.unread() && d.noFit == "" {
		v.Headline = d.l.T(templates.NothingRead)
		return v
	}
	if d.noFit == "" {
		dec := d.decision.Verdict
		v.Decision = dec.Decision
		v.Parts, v.First, v.Mend = each(dec.Parts, d.partWords), each(dec.First, d.mendWords), each(dec.Mend, d.mendWords)
		v.Headline = templates.VerdictHeadline(d.l, dec.Decision, each(dec.Parts, d.partWords), v.Mend)
		v.Why = d.l.Say(dec.Why)
		if dec.Decision != diag.DecideOpen {
			v.Firm = templates.FirmWords(d.l, dec.Firm)
			v.Customer = d.customerSentence(dec)
		}
		if c := d.decision.Costs; c.Expected > 0 {
			v.Expected, v.AtItsWord, v.Known = d.money(c.Expected), d.money(c.CodeTakenAtItsWord), d.money(c.CauseKnown)
			v.Bounds = d.bounds(c)
		}
	}
	v.Stale = d.stale()
	if f, decision, parts, ok := d.inForce(); ok {
		a := &templates.AcceptedView{Who: f.AcceptedByName, When: d.clock.moment(f.At), Engine: f.Engine, Fingerprint: f.Fingerprint,
			Headline: templates.VerdictHeadline(d.l, f.Verdict.Decision, each(f.Verdict.Parts, d.partWords), each(f.Verdict.Mend, d.mendWords)),
			First:    each(f.Verdict.First, d.mendWords), Mend: each(f.Verdict.Mend, d.mendWords)}
		if o := f.Override; o != nil {
			a.OverrideBy, a.OverrideAt, a.OverrideWhy = o.ByName, d.clock.moment(o.At), o.Reason
			a.OverrideIs = templates.VerdictHeadline(d.l, decision, each(parts, d.partWords), nil)
		}
		v.InForce = a
		if f.Fingerprint == d.fingerprint || !v.Stale { // show what it was accepted on
			dec := f.Verdict
			v.Parts, v.First, v.Mend = each(dec.Parts, d.partWords), each(dec.First, d.mendWords), each(dec.Mend, d.mendWords)
			v.Headline, v.Why, v.Firm, v.Customer = a.Headline, d.l.Say(dec.Why), templates.FirmWords(d.l, dec.Firm), d.customerSentence(dec)
			v.Expected, v.AtItsWord, v.Known = d.money(f.Costs.Expected), d.money(f.Costs.CodeTakenAtItsWord), d.money(f.Costs.CauseKnown)
			v.Bounds = d.bounds(f.Costs)
		}
	}
	settled := v.InForce != nil && !v.Stale
	switch {
	case !d.open() || d.noFit != "" || settled:
	case !mayDecide:
		v.WhyNotYet = d.l.T(templates.WaitTechnic)
	case d.decision.Verdict.Decision == diag.DecideOpen:
		v.WhyNotYet = d.l.T(templates.WaitOpen)
	default:
		v.Accept = &templates.AcceptForm{Fingerprint: d.fingerprint}
	}
	if mayDecide && d.noFit == "" && d.Job.RepairedAt == nil && (v.InForce == nil || v.InForce.OverrideBy == "" || v.Stale) {
		o := templates.NewOverrideForm(d.places())
		o.Fingerprint = d.fingerprint
		v.Override = &o
	}
	return v
}

// reasons are those a verdict was accepted on. They are kept in English; for other
// languages the case that is kept with them says them anew, unless the model has
// changed since.
func (s *server) reasons(d *desk, v store.Verdict) say.Text {
	if d.l.Plain() {
		return v.Verdict.Why
	}
	anew, _, err := s.minds.decide(v.Case)
	if err != nil || anew.Verdict.Why.String() != v.Verdict.Why.String() {
		return v.Verdict.Why
	}
	return anew.Verdict.Why
}

func (d *desk) customerSentence(v diag.Verdict) string {
	plain := func(cs []diag.CauseRef) []string {
		var out []string
		for _, c := range cs {
			if info, ok := diag.CauseByID(c.Cause); ok && info.Plain != "" && !slices.Contains(out, d.l.T(info.Plain)) {
				out = append(out, d.l.T(info.Plain))
			}
		}
		return out
	}
	found := plain(v.Mend)
	if v.Decision == diag.DecidePart {
		found = nil
	}
	return templates.CustomerSentence(d.l, v.Decision, found, each(v.Parts, d.partWords), plain(v.First), d.Job.RepairedAt != nil)
}
