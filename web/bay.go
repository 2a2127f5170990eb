package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// exclusions are the tests that people say cannot be done on this job.
func (d *desk) exclusions() []diag.Exclusion {
	var out []diag.Exclusion
	for _, a := range d.SetAsides {
		if a.LiftedAt == nil {
			out = append(out, diag.Exclusion{Test: a.Test, Bank: a.Bank, Position: a.Position})
		}
	}
	slices.SortFunc(out, func(a, b diag.Exclusion) int { return strings.Compare(fmt.Sprint(a), fmt.Sprint(b)) })
	return out
}

// bayPage shows a job as a tool for the bay.
func (s *server) bayPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	second, err := s.secondChoice(d)
	if err != nil {
		return err
	}
	v := s.bayView(w, r, d, second)
	if v.Next != nil {
		if v.Next.Limit, err = s.within(r, d, d.decision.Next, "bay"); err != nil {
			return err
		}
	}
	if v.Second != nil {
		if v.Second.Limit, err = s.within(r, d, second, "bay"); err != nil {
			return err
		}
	}
	files, err := s.recordingLines(r.Context(), d)
	if err != nil {
		return err
	}
	for _, f := range files {
		if len(f.Readings) == 0 {
			v.Unread = append(v.Unread, f)
		}
	}
	return s.render(w, r, http.StatusOK, templates.Bay(v))
}

// secondChoice is what the engine would do if its next test could not be done here.
func (s *server) secondChoice(d *desk) (*diag.NextTest, error) {
	n := d.decision.Next
	if n == nil || d.noFit != "" || !d.open() {
		return nil, nil
	}
	without := append(d.exclusions(), diag.Exclusion{Test: n.Test, Bank: n.Bank, Position: n.Position})
	other, _, err := s.minds.decide(d.kase, without...)
	return other.Next, err
}

func (s *server) bayView(w http.ResponseWriter, r *http.Request, d *desk, second *diag.NextTest) templates.BayView {
	v := templates.BayView{Page: s.page(w, r, templates.AtNowhere, fmt.Sprintf("%d %s", d.Job.ID, carName(d.Vehicle))), ID: d.Job.ID, Base: d.base(),
		Car: carName(d.Vehicle), Plate: d.Vehicle.Plate, Concern: d.Job.Concern, State: d.state(), CanAdd: d.open(),
		Findings: len(d.used) + len(d.unfit), Stages: d.stages(), NoFit: d.noFit, Log: d.logView(themeOf(r)), Photos: len(d.Photos)}
	v.Page.Job, v.Page.Modules = d.Job.ID, []string{"words.js", "outbox.js", "forms.js", "bay.js"}
	if d.Minutes > 0 {
		v.Minutes = templates.SpentWords(d.l, templates.MinutesWords(d.l, d.Minutes))
	}
	if d.noFit == "" {
		dec := d.decision.Verdict
		v.Headline = templates.VerdictHeadline(d.l, dec.Decision, each(dec.Parts, d.partWords), each(dec.Mend, d.mendWords))
		for i, c := range d.decision.Causes {
			if i == 3 {
				break
			}
			cv := templates.CauseView{Name: c.Cause, Spot: d.spotWords(c.Bank, c.Position), Percent: templates.PercentWords(d.l, c.P), From: int(c.P*1000 + .5)}
			if info, ok := diag.CauseByID(c.Cause); ok {
				cv.Name = d.l.T(info.Name)
			}
			v.Leading = append(v.Leading, cv)
		}
	}
	minutes := map[string]store.TestMinutes{}
	for _, u := range d.took {
		minutes[u.Test] = u
	}
	next := d.decision.Next
	if d.noFit != "" || !d.open() {
		next = nil
	}
	if _, _, _, settled := d.inForce(); settled && d.open() && !d.stale() {
		next, v.Settled = nil, templates.SettledSentence(d.l, nextMove(d.l, d.asOpen(), d))
	}
	for _, t := range diag.Tests() {
		at := ""
		if next != nil && next.Test == t.ID {
			at = placeKey(next.Bank, next.Position)
		}
		v.Tests = append(v.Tests, d.bayTest(t, at, minutes[t.ID]))
	}
	card := func(n *diag.NextTest) *templates.BayTest {
		t, ok := diag.TestByID(n.Test)
		if !ok {
			return nil
		}
		b := d.bayTest(t, placeKey(n.Bank, n.Position), minutes[t.ID])
		b.Spot, b.Minutes, b.Why = d.spotWords(n.Bank, n.Position), templates.MinutesWords(d.l, n.Minutes), d.l.Say(n.Why)
		return &b
	}
	if next != nil {
		v.Next = card(next)
		v.Plan = d.planNodes(next.Test, d.decision.Plan)
		if second != nil {
			v.Second = card(second)
		}
	}
	for _, a := range d.SetAsides {
		if a.LiftedAt == nil {
			l := templates.AsideLine{ID: a.ID, Test: a.Test, Spot: d.spotWords(a.Bank, a.Position), Why: a.Why, Who: a.ByName, When: d.clock.moment(a.At)}
			if t, ok := diag.TestByID(a.Test); ok {
				l.Test = d.l.T(t.Name)
			}
			v.Asides = append(v.Asides, l)
		}
	}
	v.Stands = templates.Commas(each(d.kase.Ready, func(id string) string { return carWord(d.l, id) })...)
	if v.CanAdd {
		v.Forms = d.keyedForms(viewer(r))
		for _, f := range v.Forms {
			if f.Test == "" {
				v.Kinds = append(v.Kinds, templates.KindLink{Href: "#f-" + f.Key, Label: templates.KindWord(d.l, f.Kind)})
			}
		}
		v.Upload = d.uploadForm()
		v.Kinds = append(v.Kinds, templates.KindLink{Href: "#f-recording", Label: d.l.T(templates.RecordingKind)})
	}
	marks := d.marks()
	for _, sn := range d.Sensors {
		sp := d.spot(sn.Bank, sn.Position)
		v.Spots = append(v.Spots, templates.SpotLink{Href: fmt.Sprintf("%s/sensor/%s", d.base(), placeKey(sn.Bank, sn.Position)),
			Name: templates.Upper(templates.SpotWords(d.l, sp)), Kind: templates.SensorWords(d.l, string(sn.Kind), sn.Wires), Mark: marks[[2]int{sn.Bank, sn.Position}]})
	}
	return v
}

// bayTest is a test as a screen.
func (d *desk) bayTest(t diag.TestInfo, at string, usual store.TestMinutes) templates.BayTest {
	b := templates.BayTest{TestView: d.testView(t.ID, 0, 0), ID: t.ID, At: at, Form: string(t.Entry), Fixed: t.ID == "road_proof"}
	if t.Entry == diag.KindResult {
		b.Form += "." + t.ID
	}
	switch t.ID {
	case "forced_rich":
		b.Mixture = "rich"
	case "forced_lean":
		b.Mixture = "lean"
	}
	if usual.Times > 0 {
		b.Usual = templates.UsualMinutes(d.l, usual.Times, templates.MinutesWords(d.l, usual.Median), templates.MinutesWords(d.l, usual.P90), modelWeighs)
	}
	b.Expects = d.expects(t)
	return b
}

// expects says what each sensor of this car shows in a test; one line for all when
// none of them is special.
func (d *desk) expects(t diag.TestInfo) []templates.ExpectLine {
	var out []templates.ExpectLine
	special := false
	if t.Scope == diag.ScopeSensor {
		for _, sn := range d.Sensors {
			l := templates.ExpectLine{Spot: templates.Upper(templates.SpotWords(d.l, d.spot(sn.Bank, sn.Position))), Kind: templates.SensorWords(d.l, string(sn.Kind), sn.Wires),
				Words: templates.Expect(d.l, t.ID, string(sn.Kind), sn.Wires, sn.Position)}
			if m, ok := d.maker(sn.Bank, sn.Position); ok && t.ID == "heater_resistance" && m.OhmLow != nil && sn.Wires >= 3 {
				l.Words = makerRange(d.l, *m.OhmLow, *m.OhmHigh, "Ω", m.Source)
			}
			special = special || l.Words != ""
			if l.Words == "" {
				l.Words = d.l.T(t.Expect)
			}
			out = append(out, l)
		}
	}
	if special {
		return out
	}
	words := d.l.T(t.Expect)
	if m, ok := d.maker(0, 0); ok && t.ID == "fuel_pressure" && m.KPaLow != nil {
		words = makerRange(d.l, *m.KPaLow, *m.KPaHigh, "kPa", m.Source)
	}
	if words == "" {
		return nil
	}
	return []templates.ExpectLine{{Words: words}}
}

func makerRange(l *lang.Language, low, high float64, kept, source string) string {
	from, _ := l.Figure(low, kept)
	to, unit := l.Figure(high, kept)
	return templates.MakerRange(l, from, to, unit, source)
}

// maker finds what the shop entered from the maker's data for a place.
func (d *desk) maker(bank, position int) (store.MakerData, bool) {
	for _, m := range d.MakerData {
		if m.Bank == bank && m.Position == position {
			return m, true
		}
	}
	return store.MakerData{}, false
}

// keyedForms are all entry forms of the job, so that each is there without a network.
func (d *desk) keyedForms(who *store.SignedIn) []templates.KeyedForm {
	var out []templates.KeyedForm
	add := func(key string) {
		if f := d.entryForm(key, who); f != nil {
			out = append(out, templates.KeyedForm{Key: key, EntryForm: *f})
		}
	}
	for _, k := range diag.EntryKinds {
		if k != diag.KindResult {
			add(string(k))
		}
	}
	add("note")
	for _, t := range diag.Tests() {
		if t.Entry == diag.KindResult && t.ID != "road_proof" {
			add("result." + t.ID)
		}
	}
	return out
}

// planNodes puts the plan into words, as deep as the engine gives it.
func (d *desk) planNodes(test string, steps []diag.PlanStep) []templates.PlanNode {
	var out []templates.PlanNode
	for _, p := range steps {
		n := templates.PlanNode{PlanLine: d.planLine(test, p), Key: p.Outcome, Bank: p.Bank}
		n.Then = n.PlanLine.Then
		if p.Next != nil {
			n.Go = "#t-" + p.Next.Test
			n.Next = d.planNodes(p.Next.Test, p.Then)
		}
		out = append(out, n)
	}
	return out
}

// setAside notes that a test cannot be done here, for a page without script.
func (s *server) setAside(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	bank, position, ok := placeIn(r.PostFormValue("at"))
	t, known := diag.TestByID(r.PostFormValue("test"))
	if !ok || !known {
		return trouble(templates.TroubleInvalid, "")
	}
	why := strings.TrimSpace(r.PostFormValue("other"))
	if why == "" {
		why = r.PostFormValue("why")
	}
	_, err = s.store.SetTestAside(r.Context(), viewer(r).PersonID, store.NewSetAside{ID: store.NewID(), JobID: d.Job.ID, Test: t.ID, Bank: bank,
		Position: position, Why: cut(why, 2000)})
	if err != nil && !errors.Is(err, &store.Error{Kind: store.Conflict, Constraint: "set_asides_once"}) {
		return err
	}
	return see(w, r, d.base()+"/bay#next")
}

// liftSetAside says that a test can be done after all.
func (s *server) liftSetAside(w http.ResponseWriter, r *http.Request) error {
	id, err := idIn(r, "job")
	if err != nil {
		return err
	}
	if err := s.store.LiftSetAside(r.Context(), viewer(r).PersonID, id, chi.URLParam(r, "aside")); err != nil {
		return err
	}
	return see(w, r, fmt.Sprintf("/jobs/%d/bay#next", id))
}

// sensorAt finds the sensor that the address names.
func (s *server) sensorAt(r *http.Request) (*desk, store.Sensor, error) {
	d, err := s.deskOf(r)
	if err != nil {
		return nil, store.Sensor{}, err
	}
	bank, position, _ := placeIn(chi.URLParam(r, "place"))
	for _, sn := range d.Sensors {
		if sn.Bank == bank && sn.Position == position {
			return d, sn, nil
		}
	}
	return nil, store.Sensor{}, trouble(templates.TroubleNotFound, "")
}

// sensorPage tells how to take out and fit a sensor, and its life.
func (s *server) sensorPage(w http.ResponseWriter, r *http.Request) error {
	d, sn, err := s.sensorAt(r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, templates.Sensor(s.sensorView(w, r, d, sn)))
}

func (s *server) sensorView(w http.ResponseWriter, r *http.Request, d *desk, sn store.Sensor) templates.SensorView {
	sp := d.spot(sn.Bank, sn.Position)
	v := templates.SensorView{ID: d.Job.ID, Base: d.base(), Car: carName(d.Vehicle), Spot: templates.Upper(templates.SpotWords(d.l, sp)),
		Kind: templates.SensorWords(d.l, string(sn.Kind), sn.Wires), Map: d.lineMap(), House: d.shop.Cautions,
		Out: templates.RemovalGuide(sn.Position, sn.Wires, false), In: templates.FittingGuide(sn.Position, sn.Wires), Proof: templates.ProofGuide(),
		Back: fmt.Sprintf("%s/sensor/%s", d.base(), placeKey(sn.Bank, sn.Position)), Lives: d.lives(sn.Bank, sn.Position)}
	v.Page = s.page(w, r, templates.AtNowhere, v.Spot)
	v.Photo = fmt.Sprintf("%s/photos?at=%s", d.base(), placeKey(sn.Bank, sn.Position))
	v.Page.Job = d.Job.ID
	for i := range v.Map.Sensors {
		m := &v.Map.Sensors[i]
		if m.Mark = ""; m.Bank == sn.Bank && m.Position == sn.Position {
			m.Mark = d.l.T(templates.MarkHere)
		}
	}
	f := templates.NewMakerForm()
	if m, ok := d.maker(sn.Bank, sn.Position); ok {
		if m.TorqueNm != nil {
			v.Torque = templates.TorqueWords(*m.TorqueNm)
			f.Torque.Value = trim(*m.TorqueNm)
		}
		if m.SocketMm != nil {
			v.Socket = trim(*m.SocketMm) + "\u00a0mm"
			f.Socket.Value = trim(*m.SocketMm)
		}
		if m.OhmLow != nil {
			v.Heater = makerRange(d.l, *m.OhmLow, *m.OhmHigh, "Ω", m.Source)
			f.OhmLow.Value, f.OhmHigh.Value = trim(*m.OhmLow), trim(*m.OhmHigh)
		}
		v.Thread, v.Words, v.Source = m.Thread, m.Words, m.Source
		f.Thread.Value, f.Words.Value, f.Source.Value = m.Thread, m.Words, m.Source
	}
	if accessOf(viewer(r).Role)&bench != 0 {
		v.Maker = &f
	}
	v.Pairs, _ = d.photoViews(func(p store.Photo) bool { return p.Bank == sn.Bank && p.Position == sn.Position })
	return v
}

// lives tells the sensors that sat at a place, the latest first.
func (d *desk) lives(bank, position int) []templates.SensorLife {
	var out []templates.SensorLife
	for _, f := range slices.Backward(d.Fittings) {
		if f.Bank == bank && f.Position == position {
			out = append(out, sensorLife(d, f))
		}
	}
	return out
}

// saveMaker keeps the maker's figures for a sensor's place.
func (s *server) saveMaker(w http.ResponseWriter, r *http.Request) error {
	d, sn, err := s.sensorAt(r)
	if err != nil {
		return err
	}
	mf := templates.NewMakerForm()
	f := form{r: r}
	m := store.MakerData{Family: d.Vehicle.Family, Bank: sn.Bank, Position: sn.Position}
	if m.Family == "" {
		m.VehicleID = &d.Vehicle.ID
	}
	take := func(fd *templates.Field) *float64 {
		if n, given := f.quantity(fd); given {
			return &n
		}
		return nil
	}
	m.TorqueNm, m.SocketMm, m.OhmLow, m.OhmHigh = take(&mf.Torque), take(&mf.Socket), take(&mf.OhmLow), take(&mf.OhmHigh)
	m.Thread, m.Words, m.Source = f.text(&mf.Thread, 40), f.text(&mf.Words, 4000), f.text(&mf.Source, 500)
	if !f.bad() {
		err := s.store.SaveMakerData(r.Context(), viewer(r).PersonID, m)
		if err == nil {
			return see(w, r, fmt.Sprintf("%s/sensor/%s#figures", d.base(), placeKey(sn.Bank, sn.Position)))
		}
		if !f.take(err, &mf.Torque, &mf.Thread, &mf.Socket, &mf.OhmLow, &mf.OhmHigh, &mf.Words, &mf.Source) {
			return err
		}
	}
	v := s.sensorView(w, r, d, sn)
	mf.Refusal, mf.Open = f.refusal(), true
	v.Maker = &mf
	return s.render(w, r, http.StatusUnprocessableEntity, templates.Sensor(v))
}

// written says when an entry was written down, if it came in much later.
func (d *desk) written(e store.Entry) string {
	if e.ReceivedAt.Sub(e.ClientAt) < 2*time.Minute {
		return d.clock.moment(e.ReceivedAt)
	}
	return templates.WrittenWords(d.l, d.clock.moment(e.ClientAt), d.clock.moment(e.ReceivedAt))
}
