package web

import (
	"cmp"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"crosscount/diag"
	"crosscount/diag/obd"
	"crosscount/diag/picture"
	"crosscount/diag/say"
	"crosscount/diag/signal"
	"crosscount/diag/signal/draw"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

const (
	measuredBy    = "crosscount-signal 1"
	decodedBy     = "crosscount-obd 1"
	resultsShown  = 200 // monitor results on a page
	fewestSamples = 8   // of a sensor's voltage with times, to be measured
)

// answers is what a car answered, being looked at.
type answers struct {
	d      *desk
	file   store.File
	form   form
	dec    *obd.Result
	res    *signal.Result // the voltages over time, where they carry times
	svg    []byte
	state  templates.Field
	offers []offer
	layout []store.Sensor // the car's sensors as the car reports them; nil where they agree
	change string
}

// readAnswers decodes a file and works out what can be taken over.
func (s *server) readAnswers(r *http.Request, d *desk, file store.File, content io.ReadSeeker) (*answers, error) {
	a := &answers{d: d, file: file, form: form{r: asForm(r)}}
	if _, err := content.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	err := s.measured(r.Context(), func() (err error) { a.dec, err = obd.Decode(content); return })
	if m, ok := unreadable(tongue(r), err); ok {
		a.form.wrong(nil, m)
	} else if err != nil {
		return nil, err
	}
	a.state = templates.AnsweredState(d.l, diag.States)
	if a.form.r.PostFormValue(a.state.Name) != "" {
		a.form.choice(&a.state)
	}
	a.measure()
	a.compareLayout()
	a.offer()
	return a, nil
}

// measure turns sensor voltages that carry times into a capture.
func (a *answers) measure() {
	var cols []signal.Column
	var channels []signal.Channel
	var sampling signal.Sampling
	traces := []*picture.Trace{}
	for _, sr := range a.dec.Series {
		if sr.Quantity != obd.SensorVoltage || len(sr.Samples) < fewestSamples || a.dec.Clock == obd.NoClock {
			continue
		}
		x := signal.Samples{Column: signal.Column{Column: len(cols) + 1, Name: "PID " + sr.PID.String(), Quantity: signal.SensorVoltage, Unit: "V", Bank: sr.Bank, Position: sr.Position}}
		for _, p := range sr.Samples {
			x.T, x.V = append(x.T, p.T), append(x.V, p.V)
		}
		c, sm, err := signal.MeasureSamples(x, signal.Options{})
		if err != nil {
			continue // its readings stand in the table all the same
		}
		tr := picture.NewTrace(0)
		tr.Add(x.T, x.V, false)
		cols, channels, traces, sampling = append(cols, x.Column), append(channels, c), append(traces, tr), sm
	}
	if len(cols) == 0 {
		return
	}
	a.res = &signal.Result{Channels: channels, Sampling: sampling, Report: &signal.Report{}}
	series := make([]picture.Series, len(cols))
	for i, c := range cols {
		series[i] = picture.Series{Label: a.d.l.Say(draw.Name(c)), Trace: traces[i]}
	}
	f := picture.Frame{Title: a.d.l.T("Oxygen sensor voltage, as the car answered"), Desc: a.file.Name, Words: a.d.l.T}
	a.svg = picture.Capture(f, "V", draw.Levels(signal.DefaultLimits(), f), series...).SVG()
}

// compareLayout sets the sensors the car reports against those written down.
func (a *answers) compareLayout() {
	reported := reportedSensors(a.dec)
	if len(reported) == 0 {
		return
	}
	var add, drop []string
	var next []store.Sensor
	for _, l := range reported {
		if i := slices.IndexFunc(a.d.Sensors, func(x store.Sensor) bool {
			return x.Position == l.Position && (x.Bank == l.Bank || x.Common)
		}); i >= 0 {
			if x := a.d.Sensors[i]; !slices.ContainsFunc(next, func(o store.Sensor) bool { return o.Bank == x.Bank && o.Position == x.Position }) {
				next = append(next, x)
			}
			continue
		}
		n := store.Sensor{Bank: l.Bank, Position: l.Position, Kind: diag.Zirconia, Wires: 4}
		if wideAt(a.dec, l) {
			n.Kind, n.Wires = diag.WideRange, 5
		}
		next = append(next, n)
		add = append(add, templates.SpotWords(a.d.l, templates.Spot{Bank: l.Bank, Position: l.Position}))
	}
	for _, x := range a.d.Sensors {
		if !slices.ContainsFunc(next, func(o store.Sensor) bool { return o.Bank == x.Bank && o.Position == x.Position }) {
			drop = append(drop, a.d.spotWords(x.Bank, x.Position))
		}
	}
	if len(add)+len(drop) > 0 && len(a.d.Vehicle.Diag(next, a.d.LastKm).Check()) == 0 {
		a.layout, a.change = next, templates.LayoutChange(a.d.l, add, drop)
	}
}

// reportedSensors joins the layouts that the modules report, in order.
func reportedSensors(dec *obd.Result) []obd.Location {
	var out []obd.Location
	for _, l := range dec.Layouts {
		for _, x := range l.Sensors {
			if !slices.Contains(out, x) {
				out = append(out, x)
			}
		}
	}
	slices.SortFunc(out, func(a, b obd.Location) int { return a.Bank*10 + a.Position - b.Bank*10 - b.Position })
	return out
}

func wideAt(dec *obd.Result, l obd.Location) bool {
	_, is := dec.Find(obd.WideLambda, l.Bank, l.Position)
	return is
}

// offer lists the entries that the answers give.
func (a *answers) offer() {
	car := a.d.car
	if a.layout != nil && a.form.r.PostFormValue("take_layout") != "" {
		car = a.d.Vehicle.Diag(a.layout, a.d.LastKm)
	}
	put := func(e diag.Entry, ev templates.Evidence) *offer {
		o := offer{entry: e, what: templates.Statement(a.d.l, ev)}
		if e.Bank > 0 {
			o.what = templates.Upper(templates.SpotWords(a.d.l, ev.Spot)) + ". " + o.what
		}
		if c, err := obd.ParseCode(e.Code); err == nil && e.Kind == diag.KindCode {
			o.what += ": " + a.d.l.Say(c.Describe().Upper())
		}
		if ps := e.Check(car); len(ps) > 0 {
			o.cannot = problemWords(a.d.l, ps[0])
		}
		a.offers = append(a.offers, o)
		return &a.offers[len(a.offers)-1]
	}
	add := func(e diag.Entry) *offer {
		e = rounded(e)
		ev := a.d.evidence(e)
		if e.State != "" {
			ev.State = templates.StateChosenBelow
		}
		return put(e, ev)
	}
	for _, c := range a.dec.Codes() {
		add(diag.Entry{Kind: diag.KindCode, Code: c.Code.String(), Status: string(c.Status)})
	}
	for _, st := range []obd.CodeStatus{obd.Stored, obd.Pending} {
		if silent, asked := a.unlisted(st); asked {
			o := add(diag.Entry{Kind: diag.KindCodeList, Status: string(st)})
			if len(silent) > 0 {
				o.never, o.cannot = true, templates.NotListed(a.d.l, silent)
			} else if slices.ContainsFunc(a.dec.Notes, func(n obd.Note) bool { return n.Kind == obd.Damaged }) {
				o.never, o.cannot = true, a.d.l.T(templates.ListDamaged)
			}
		}
	}
	for bank := 1; bank <= 4; bank++ {
		e := diag.Entry{Kind: diag.KindTrim, Bank: bank, State: a.state.Value}
		for q, to := range map[obd.Quantity]**float64{obd.ShortTrim: &e.ShortPct, obd.LongTrim: &e.LongPct} {
			if sr, ok := a.dec.Find(q, bank, 0); ok {
				*to = new(sr.Last)
			}
		}
		if e.ShortPct != nil || e.LongPct != nil {
			add(e)
		}
	}
	for _, f := range a.dec.FreezeFrames {
		trims, cannot := frameTrims(f)
		for _, e := range trims {
			e = rounded(e)
			ev := a.d.evidence(e)
			ev.State = cmp.Or(e.State, templates.StateNotTold)
			if f.Code != 0 {
				ev.Code = f.Code.String()
			}
			if o := put(e, ev); cannot != "" {
				o.never, o.cannot = true, a.d.l.T(cannot)
			}
		}
	}
	if a.res != nil {
		for _, c := range a.res.Channels {
			if e, ok := c.Signal(); ok {
				add(signalEntry(e, a.state.Value))
			}
		}
	}
	rpm, haveRPM := a.dec.Find(obd.EngineSpeed, 0, 0)
	air, haveAir := a.dec.Find(obd.Airflow, 0, 0)
	if haveRPM && haveAir && rpm.Last >= 100 && rpm.Last < 1100 { // a warm idle, the only speed judged without full throttle
		e := diag.Entry{Kind: diag.KindAirflow, RPM: new(rpm.Last), GPerS: new(air.Last)}
		if t, ok := a.dec.Find(obd.IntakeAirC, 0, 0); ok {
			e.IntakeC = new(t.Last)
		}
		if p, ok := a.dec.Find(obd.BarometricKPa, 0, 0); ok {
			e.BaroKPa = new(p.Last)
		}
		add(e)
	}
	if a.dec.Cleared {
		add(diag.Entry{Kind: diag.KindHistory, Remark: "codes_cleared"})
	}
}

// unlisted names the modules that answered, but not with their codes of a status. asked
// is false when none told its codes: nobody asked.
func (a *answers) unlisted(st obd.CodeStatus) (silent []string, asked bool) {
	for _, m := range a.dec.Modules {
		if slices.ContainsFunc(a.dec.CodeLists, func(l obd.CodeList) bool { return l.Module == m && l.Status == st }) {
			asked = true
		} else {
			silent = append(silent, cmp.Or(string(m), a.d.l.T(templates.NoHeader)))
		}
	}
	return silent, asked
}

// responsesPage shows what a car answered. a is nil when it was not read yet.
func (s *server) responsesPage(w http.ResponseWriter, r *http.Request, d *desk, file store.File, content io.ReadSeeker, a *answers) error {
	if a == nil {
		var err error
		if a, err = s.readAnswers(r, d, file, content); err != nil {
			return err
		}
	}
	by, err := s.nameOf(r, file.By)
	if err != nil {
		return err
	}
	v := templates.ResponsesView{Page: s.page(w, r, templates.AtNowhere, templates.TitleResponses), Car: carName(d.Vehicle), JobHref: d.base(),
		File: d.fileFacts(file, by), Svg: string(a.svg), Refusal: a.form.refusal(), Decoded: d.decodedView(a.dec, a.res), Noticed: d.obdNoticed(a.dec),
		Sums: answeredSums(d.l, a.dec), AsOther: d.base() + "/files/" + file.ID + "?as=" + asTable}
	if d.open() && a.dec.Messages > 0 {
		v.Take = a.takeForm()
	}
	status := http.StatusOK
	if a.form.bad() {
		status = http.StatusUnprocessableEntity
	}
	return s.render(w, r, status, templates.Responses(v))
}

func (a *answers) takeForm() *templates.TakeForm {
	t := &templates.TakeForm{Action: a.d.base() + "/files/" + a.file.ID + "/take", ID: store.NewID(), Entries: store.NewID(), As: asResponses, Words: templates.CaptureWordsField()}
	sent := a.form.r.Method == http.MethodPost
	if id := a.form.r.PostFormValue("id"); sent && id != "" {
		t.ID, t.Entries = id, a.form.r.PostFormValue("entries")
		a.form.value(&t.Words)
	}
	stated := false
	for i, o := range a.offers {
		row := templates.OfferRow{Tick: templates.OfferTick(i, o.what), Why: o.cannot}
		if sent {
			row.Tick.Value = a.form.r.PostFormValue(row.Tick.Name)
		}
		if o.cannot != "" && (a.layout == nil || o.never) {
			row.Tick.Name = ""
		} else if o.cannot != "" { // it may fit once the layout is taken over
			row.Tick.Value = ""
		}
		stated = stated || o.entry.State != "" && !o.entry.Frame
		t.Offers = append(t.Offers, row)
	}
	if stated {
		t.State = &a.state
	}
	if v := a.dec.VIN; v != "" && v != a.d.Vehicle.VIN {
		t.TakeVIN = new(templates.TakeVINField(a.d.l, v))
	}
	if a.layout != nil {
		t.TakeLayout = new(templates.TakeLayoutField(a.d.l, a.change))
	}
	if c := a.d.standingCapture(a.file.ID); c != nil {
		t.Replaces = new(templates.ReplacesField(a.d.l, a.d.clock.moment(c.At)))
	}
	return t
}

// takeAnswers takes over what is ticked: entries, the VIN, the sensor layout.
func (s *server) takeAnswers(w http.ResponseWriter, r *http.Request) error {
	d, file, content, err := s.fileOf(r)
	if err != nil {
		return err
	}
	if !d.open() {
		return trouble(templates.TroubleConflict, templates.SayJobClosed)
	}
	a, err := s.readAnswers(r, d, file, content)
	if err != nil {
		return err
	}
	vin, layout := r.PostFormValue("take_vin") != "" && a.dec.VIN != "", r.PostFormValue("take_layout") != "" && a.layout != nil
	entries := ticked(r, d.Job.ID, a.offers)
	for i, o := range a.offers { // ticked in the hope of a layout that was not taken
		if o.cannot != "" && r.PostFormValue("entry_"+strconv.Itoa(i)) != "" {
			a.form.wrong(nil, templates.Mend{Reason: o.what + ":", Mend: o.cannot})
		}
	}
	if len(entries) == 0 && !vin && !layout {
		a.form.wrong(nil, templates.SayNothingTaken)
	}
	if a.form.bad() {
		return s.responsesPage(w, r, d, file, content, a)
	}
	measured, err := a.measurements()
	if err != nil {
		return err
	}
	mapping, err := json.Marshal(map[string]string{"state": a.state.Value})
	if err != nil {
		return err
	}
	n := store.NewCapture{ID: r.PostFormValue("id"), JobID: d.Job.ID, FileID: file.ID, Kind: store.CaptureResponses, Mapping: mapping, Measurements: measured,
		Program: decodedBy, Picture: string(a.svg), Words: clipped(r.PostFormValue("words"), 2000), Replaces: d.replaced(r, file.ID), Entries: entries}
	by := viewer(r).PersonID
	err = s.store.Together(r.Context(), func(st *store.Store) error {
		if layout {
			if err := st.SetSensors(r.Context(), by, d.Vehicle.ID, a.layout); err != nil {
				return err
			}
		}
		if vin {
			car := d.Vehicle
			car.VIN = a.dec.VIN
			if err := st.UpdateVehicle(r.Context(), by, car); err != nil {
				return err
			}
		}
		_, err := st.AddCapture(r.Context(), by, n)
		return err
	})
	if err != nil {
		if !a.form.take(err) {
			return err
		}
		return s.responsesPage(w, r, d, file, content, a)
	}
	return see(w, r, d.base()+"/captures/"+n.ID)
}

// kept is what a capture of answers keeps: what was decoded without the single
// samples, which are in the file, and what was measured on the voltages.
type kept struct {
	*obd.Result
	Measured *signal.Result `json:"measured,omitempty"`
}

func (a *answers) measurements() (json.RawMessage, error) {
	dec := *a.dec
	dec.Series = slices.Clone(dec.Series)
	for i := range dec.Series {
		dec.Series[i].Samples = nil
	}
	dec.Tests = dec.Tests[:min(len(dec.Tests), resultsShown*4)]
	return say.Keep(kept{&dec, a.res})
}

func answeredSums(l *lang.Language, dec *obd.Result) []templates.Fact {
	out := []templates.Fact{{Name: templates.FactLines, Value: thousands(int64(dec.Lines))}, {Name: templates.FactAnswers, Value: thousands(int64(dec.Messages))}}
	var modules []string
	for _, m := range dec.Modules {
		if m != "" {
			modules = append(modules, string(m))
		}
	}
	if len(modules) > 0 {
		out = append(out, templates.Fact{Name: templates.FactModules, Value: strings.Join(modules, ", ")})
	}
	if dec.Standard != "" {
		out = append(out, templates.Fact{Name: templates.FactStandard, Value: l.T(dec.Standard)})
	}
	return out
}

// obdNoticed lists the notes, what was damaged first.
func (d *desk) obdNoticed(dec *obd.Result) []templates.NoticedLine {
	var out []templates.NoticedLine
	for _, kind := range []obd.NoteKind{obd.Damaged, obd.Assumed, obd.Ignored} {
		for _, n := range dec.Notes {
			if n.Kind == kind && len(out) < noticedShown {
				out = append(out, templates.NoticedLine{Where: templates.LineWords(d.l, n.Line, 0), What: d.l.Say(n.Text.Upper()), Mend: d.l.Say(n.Mend), Times: templates.TimesWords(d.l, n.Count)})
			}
		}
	}
	return out
}

// decodedView lays out what was decoded. res is what was measured on the voltages.
func (d *desk) decodedView(dec *obd.Result, res *signal.Result) templates.DecodedView {
	dec = inUnits(d.l, dec)
	v := templates.DecodedView{VIN: dec.VIN, Standard: dec.Standard}
	if dec.VIN != "" {
		v.VINWords = templates.VINCompared(d.l, dec.VIN, d.Vehicle.VIN)
	}
	if reported := reportedSensors(dec); len(reported) > 0 {
		v.Layout = d.layoutView(reported)
	}
	seen := map[obd.CodeStatus]bool{}
	for _, c := range dec.Codes() {
		row := templates.CodeRow{Code: c.Code.String(), Status: templates.StatusWord(d.l, string(c.Status)), Module: string(c.Module)}
		row.Means, row.Alike = meaning(d.l, c.Code.String())
		v.Codes = append(v.Codes, row)
		seen[c.Status] = true
	}
	for _, st := range []obd.CodeStatus{obd.Stored, obd.Pending, obd.Permanent} {
		if !seen[st] && slices.ContainsFunc(dec.CodeLists, func(l obd.CodeList) bool { return l.Status == st }) {
			v.NoCodes = append(v.NoCodes, templates.NoCodesWords(d.l, string(st)))
		}
	}
	for _, x := range dec.Readiness {
		rv := templates.ReadinessView{Title: templates.ReadinessTitle(d.l, x.ThisDrive, string(x.Module)), Words: templates.ReadyWords(d.l, x.Lamp, x.Codes, x.Complete())}
		for _, m := range x.Monitors {
			rv.Monitors = append(rv.Monitors, templates.Fact{Name: templates.Upper(d.l.T(m.Name)), Value: templates.MonitorWord(d.l, m.Complete)})
		}
		v.Readiness = append(v.Readiness, rv)
	}
	for _, f := range dec.FreezeFrames {
		code := ""
		if f.Code != 0 {
			code = f.Code.String()
		}
		fv := templates.FrameView{Title: templates.FrameTitle(d.l, f.Frame, code)}
		var fuel []string
		for _, x := range f.FuelSystem {
			fuel = append(fuel, templates.FuelStatusWord(d.l, string(x)))
		}
		if len(fuel) > 0 {
			fv.Readings = append(fv.Readings, templates.Fact{Name: templates.FactFuel, Value: strings.Join(fuel, "; ")})
		}
		for _, x := range f.Readings {
			name := templates.LiveName(d.l, string(x.Quantity))
			if at := channelSpot(d.l, x.Channel); at != "" {
				name += ", " + at
			}
			fv.Readings = append(fv.Readings, templates.Fact{Name: name, Value: withUnit(d.l, x.Value, x.Unit)})
		}
		v.Frames = append(v.Frames, fv)
	}
	for _, x := range dec.Series {
		l := templates.LiveRow{Name: templates.LiveName(d.l, string(x.Quantity)), Where: channelSpot(d.l, x.Channel), Last: withUnit(d.l, x.Last, x.Unit), Count: thousands(int64(x.Count))}
		if x.Count > 1 {
			l.Range = d.l.T("%s to %s", d.l.Point(brief(x.Min)), d.l.Point(brief(x.Max)))
		}
		switch x.Quantity {
		case obd.ShortTrim, obd.LongTrim, obd.SensorVoltage, obd.WideLambda, obd.WideCurrent, obd.CatalystTemp, obd.EngineSpeed, obd.CoolantC, obd.Airflow:
			v.Live = append(v.Live, l)
		default:
			v.LiveMore = append(v.LiveMore, l)
		}
	}
	if res != nil {
		v.Groups = groups(d.l, res)
	}
	for _, x := range dec.Tests[:min(len(dec.Tests), resultsShown)] {
		v.Tests = append(v.Tests, d.resultRow(x))
	}
	if len(dec.Tests) > resultsShown {
		v.TestsLeft = templates.OnlyFirst(d.l, resultsShown, len(dec.Tests))
	}
	return v
}

func (d *desk) resultRow(x obd.TestResult) templates.ResultRow {
	name := d.l.T(x.Name)
	if name == "" {
		name = d.l.T("Test %02X", int(x.TID))
	}
	if x.Monitor != "" {
		name = d.l.T(x.Monitor) + ": " + name
	}
	row := templates.ResultRow{Name: templates.Upper(name), Value: withUnit(d.l, x.Value, x.Unit), Where: channelSpot(d.l, obd.Channel{Bank: x.Bank, Position: x.Position})}
	lim := func(p *float64) string {
		if p == nil {
			return ""
		}
		return d.l.Point(brief(*p))
	}
	row.Limits = templates.LimitWords(d.l, lim(x.Min), lim(x.Max))
	passed, known := x.Passed()
	row.Outcome = templates.PassedWord(d.l, passed, known)
	return row
}

func (d *desk) layoutView(reported []obd.Location) *templates.LayoutView {
	v := &templates.LayoutView{}
	for _, l := range reported {
		words := templates.SpotWords(d.l, templates.Spot{Bank: l.Bank, Position: l.Position})
		v.Reported = append(v.Reported, words)
		if _, ok := d.car.At(l.Bank, l.Position); !ok {
			v.Surplus = append(v.Surplus, words)
		}
	}
	for _, x := range d.Sensors {
		if !slices.ContainsFunc(reported, func(l obd.Location) bool { return l.Position == x.Position && (l.Bank == x.Bank || x.Common) }) {
			v.Missing = append(v.Missing, d.spotWords(x.Bank, x.Position))
		}
	}
	v.Agrees = len(v.Surplus)+len(v.Missing) == 0
	return v
}

func channelSpot(l *lang.Language, c obd.Channel) string {
	if c.Bank == 0 {
		return ""
	}
	return templates.SpotWords(l, templates.Spot{Bank: c.Bank, Position: c.Position})
}

// inUnits is what a car answered, in the reader's units.
func inUnits(l *lang.Language, dec *obd.Result) *obd.Result {
	out := *dec
	turn := func(unit string, values ...*float64) string {
		shown := unit
		for _, v := range values {
			if v != nil && l.Unit(unit) != unit {
				*v, shown = l.Shown(*v, unit)
				*v = tidy(*v)
			}
		}
		return shown
	}
	out.FreezeFrames = slices.Clone(dec.FreezeFrames)
	for i := range out.FreezeFrames {
		f := &out.FreezeFrames[i]
		f.Readings = slices.Clone(f.Readings)
		for j := range f.Readings {
			f.Readings[j].Unit = turn(f.Readings[j].Unit, &f.Readings[j].Value)
		}
	}
	out.Series = slices.Clone(dec.Series)
	for i := range out.Series {
		x := &out.Series[i]
		x.Unit = turn(x.Unit, &x.Last, &x.Min, &x.Max)
	}
	out.Tests = slices.Clone(dec.Tests)
	for i := range out.Tests {
		x := &out.Tests[i]
		if x.Min != nil {
			x.Min = new(*x.Min)
		}
		if x.Max != nil {
			x.Max = new(*x.Max)
		}
		x.Unit = turn(x.Unit, &x.Value, x.Min, x.Max)
	}
	return &out
}

func withUnit(l *lang.Language, v float64, unit string) string {
	s := strings.Replace(l.Point(trim(v)), "-", "\u2212", 1)
	if unit != "" {
		s += "\u00a0" + unit
	}
	return s
}

// takenBack reads what a capture of answers keeps.
func takenBack(c store.Capture) (*obd.Result, *signal.Result, error) {
	k := kept{Result: &obd.Result{}}
	if err := say.Back(c.Measurements, &k); err != nil {
		return nil, nil, errors.Join(errors.New("what was decoded cannot be read back"), err)
	}
	return k.Result, k.Measured, nil
}
