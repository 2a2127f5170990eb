package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"crosscount/diag"
	"crosscount/diag/picture"
	"crosscount/diag/signal"
	"crosscount/diag/signal/draw"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

const columnsShown = 60 // of one table on its page

// filePage shows a file as it is read, before anything of it is kept.
func (s *server) filePage(w http.ResponseWriter, r *http.Request) error {
	d, file, content, err := s.fileOf(r)
	if err != nil {
		return err
	}
	as := r.URL.Query().Get("as")
	if as != asTable && as != asResponses {
		if as, err = kindOfFile(content, ""); err != nil {
			as = asTable // the page then says what is wrong
		}
	}
	if as == asResponses {
		return s.responsesPage(w, r, d, file, content, nil)
	}
	rd, err := s.readTable(r, d, file, content)
	if err != nil {
		return err
	}
	return s.showReading(w, r, rd)
}

// asForm lets a form sent by GET be read like any other.
func asForm(r *http.Request) *http.Request {
	if r.Method == http.MethodPost {
		return r
	}
	c := *r
	c.PostForm = r.URL.Query()
	c.Form = c.PostForm
	return &c
}

// reading is a table being looked at: how it is read, what for, and what it gives.
type reading struct {
	d    *desk
	file store.File
	form form
	view templates.MappingForm

	guess    signal.Mapping
	preview  signal.Preview
	mapping  signal.Mapping
	purpose  string
	state    string
	event    *signal.Event
	cold     *float64
	problems []signal.Problem

	res    *signal.Result
	svg    []byte
	offers []offer
}

// offer is an entry that a recording gives, or why it gives none.
type offer struct {
	entry  diag.Entry
	what   string
	remark string
	cannot string
	never  bool // nothing on the page mends why it cannot be taken
}

// readTable guesses how a table is read, applies what the person says, and measures.
// What is wrong with the form or the table is noted in the reading's form.
func (s *server) readTable(r *http.Request, d *desk, file store.File, content io.ReadSeeker) (*reading, error) {
	rd := &reading{d: d, file: file, form: form{r: asForm(r)}}
	if _, err := content.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	found, preview, err := signal.Sniff(content)
	if m, ok := unreadable(tongue(r), err); ok {
		rd.form.wrong(nil, m)
		return rd, nil
	} else if err != nil {
		return nil, err
	}
	rd.guess, rd.mapping, rd.preview, rd.problems = found, found, preview, preview.Problems
	if name := rd.form.r.PostFormValue("saved"); name != "" {
		if err := s.reuse(r, rd, name); err != nil {
			return nil, err
		}
	}
	rd.fields()
	if rd.form.r.PostFormValue("set") != "" {
		rd.correct()
	}
	if rd.form.bad() {
		return rd, nil
	}
	if err := rd.mapping.Check(); err != nil {
		m, _ := unreadable(tongue(r), err)
		p, _ := errors.AsType[*signal.Problem](err)
		var at *templates.Field
		if p != nil && p.Kind == signal.NoTime {
			at = &rd.view.Rate
			rd.view.Open = true
		}
		rd.form.wrong(at, m)
		return rd, nil
	}
	err = s.measured(r.Context(), func() error { return rd.measure(content) })
	if m, ok := unreadable(tongue(r), err); ok {
		rd.form.wrong(nil, m)
		return rd, nil
	}
	if err == nil {
		rd.offers = rd.offer()
	}
	return rd, err
}

// measured runs what reads a whole recording; only a few run at once.
func (s *server) measured(ctx context.Context, do func() error) error {
	select {
	case s.measuring <- struct{}{}:
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-s.measuring }()
	return do()
}

// reuse reads the table as one of a saved name.
func (s *server) reuse(r *http.Request, rd *reading, name string) error {
	saved, err := s.savedMapping(r, name)
	if err != nil {
		return err
	}
	if saved == nil {
		rd.form.wrong(nil, templates.SayNoSaved)
		return nil
	}
	m, notes := signal.Reuse(*saved, rd.guess)
	rd.mapping = m
	rd.problems = append(rd.problems, notes...)
	return nil
}

// measure reads the whole table.
func (rd *reading) measure(content io.ReadSeeker) error {
	board := draw.NewBoard(rd.mapping)
	board.Shown = rd.d.l.Shown
	opt := signal.Options{Watch: board.Watch, Event: rd.event, ColdStart: rd.cold}
	res, err := signal.Measure(content, rd.mapping, opt)
	if err != nil {
		return err
	}
	rd.res = res
	if rd.purpose == "" {
		rd.purpose = purposeOf(res)
		rd.view.Purpose.Value = rd.purpose
	}
	rd.svg = rd.draw(board)
	return nil
}

// draw makes the picture that suits the purpose.
func (rd *reading) draw(board *draw.Board) []byte {
	res := *rd.res
	f := picture.Frame{Words: rd.d.l.T, Desc: strings.Join(rd.names(), ", ") + ". " + rd.file.Name}
	if rd.purpose == "trims" && res.Trims != nil && len(res.Trims.States) > 0 {
		f.Title = f.T("Fuel trims of the warm engine by state")
		t := draw.Trims(*res.Trims, f)
		return t.SVG()
	}
	if rd.purpose != "pair" {
		res.Pairs = nil
	}
	return board.Picture(&res, signal.DefaultLimits(), f)
}

func (rd *reading) names() []string {
	var out []string
	for _, c := range rd.mapping.Channels {
		if c.Quantity != signal.Other {
			out = append(out, rd.d.l.Say(draw.Name(c)))
		}
	}
	return out
}

// purposeOf guesses what a recording is for.
func purposeOf(res *signal.Result) string {
	volts, trims := 0, false
	for _, c := range res.Channels {
		switch c.Quantity {
		case signal.SensorVoltage:
			volts++
		case signal.SensorLambda, signal.PumpCurrent:
			volts += 2 // no pair of a narrow-band kind
		case signal.ShortTrim, signal.LongTrim:
			trims = true
		}
	}
	switch {
	case len(res.Pairs) == 1 && volts == 2:
		return "pair"
	case trims && (volts == 0 || res.Trims != nil && len(res.Trims.States) > 1):
		return "trims"
	case volts > 0:
		return "signal"
	case trims:
		return "trims"
	}
	return templates.PurposeLook
}

// offer lists the entries that the recording gives for its purpose.
func (rd *reading) offer() []offer {
	var out []offer
	add := func(e diag.Entry, name, remark string) {
		o := offer{entry: rounded(e), remark: remark}
		if e.Kind != diag.KindTrim && (e.Bank == 0 || e.Position == 0) || e.Kind == diag.KindTrim && e.Bank == 0 {
			o.what, o.cannot = name, templates.SayWhere(rd.d.l, name)
			out = append(out, o)
			return
		}
		ev := rd.d.evidence(o.entry)
		o.what = templates.Upper(templates.SpotWords(rd.d.l, ev.Spot)) + ". " + templates.Statement(rd.d.l, ev)
		if ps := o.entry.Check(rd.d.car); len(ps) > 0 {
			o.what = templates.Upper(templates.SpotWords(rd.d.l, ev.Spot))
			o.cannot = problemWords(rd.d.l, ps[0])
		}
		out = append(out, o)
	}
	switch rd.purpose {
	case "signal", "pair", "warmup":
		for _, c := range rd.res.Channels {
			if e, ok := c.Signal(); ok {
				add(signalEntry(e, rd.state), c.Name, "")
			}
			if s, ok := rd.d.car.At(c.Bank, c.Position); ok && s.Heated() && c.Narrow != nil && c.Narrow.WarmUp != nil && c.Narrow.WarmUp.Value != nil {
				add(diag.Entry{Kind: diag.KindHeater, Bank: c.Bank, Position: c.Position, WarmUpS: c.Narrow.WarmUp.Value}, c.Name, "")
			}
		}
	case "forced":
		for _, c := range rd.res.Channels {
			for _, e := range c.ForcedEntries() {
				if e.Volts == nil && e.Ms == nil {
					continue
				}
				remark := ""
				if e.Found {
					remark = templates.FoundShortWords
				}
				add(diag.Entry{Kind: diag.KindForced, Bank: e.Bank, Position: e.Position, Mixture: e.Mixture, Volts: e.Volts, Ms: e.Ms}, c.Name, remark)
			}
		}
	case "trims":
		if rd.res.Trims != nil {
			for _, e := range rd.res.Trims.Entries() {
				add(diag.Entry{Kind: diag.KindTrim, Bank: e.Bank, State: string(e.State), ShortPct: e.ShortPct, LongPct: e.LongPct}, templates.BankWords(rd.d.l, e.Bank), "")
			}
		}
	}
	return out
}

func signalEntry(e signal.SignalEntry, state string) diag.Entry {
	return diag.Entry{Kind: diag.KindSignal, Bank: e.Bank, Position: e.Position, State: state, MinV: e.MinV, MaxV: e.MaxV, MeanV: e.MeanV,
		CrossingsHz: e.CrossingsHz, LeanRichMs: e.LeanRichMs, RichLeanMs: e.RichLeanMs}
}

// rounded keeps the digits that mean something: millivolts, tenths of a millisecond
// and of a per cent or a second, hundredths of a hertz.
func rounded(e diag.Entry) diag.Entry {
	to := func(p **float64, step float64) {
		if *p != nil {
			*p = new(math.Round(**p/step) * step)
		}
	}
	for _, p := range []**float64{&e.MinV, &e.MaxV, &e.MeanV, &e.Volts} {
		to(p, 1e-3)
	}
	for _, p := range []**float64{&e.LeanRichMs, &e.RichLeanMs, &e.Ms, &e.ShortPct, &e.LongPct, &e.WarmUpS} {
		to(p, 0.1)
	}
	to(&e.CrossingsHz, 0.01)
	return e
}

// fields lays the form out with the mapping as it stands.
func (rd *reading) fields() {
	v, m := &rd.view, rd.mapping
	v.Action = rd.d.base() + "/files/" + rd.file.ID
	v.Purpose, v.State, v.Mixture, v.At, v.Cold = templates.PurposeField(), templates.RunningField(rd.d.l, diag.States), templates.ForcedMixtureField(), templates.ForcedAtField(), templates.ColdField()
	rd.state = v.State.Value
	v.Time, v.Kind, v.Unit, v.Rate = templates.TimeFields()
	v.Delim, v.Decimal, v.Line = templates.TableFields()
	v.Delim.Value, v.Decimal.Value, v.Line.Value = m.Delimiter, m.Decimal, strconv.Itoa(m.DataLine)
	v.Time.Options = []templates.Option{{Value: "0", Label: rd.d.l.T(templates.CountRows)}}
	ranges := map[int]string{}
	for _, c := range rd.preview.Columns {
		if len(v.Time.Options) <= columnsShown || c.Column == m.Time.Column {
			v.Time.Options = append(v.Time.Options, templates.Option{Value: strconv.Itoa(c.Column), Label: columnName(rd.d.l, rd.guess, c.Column)})
		}
		if c.Numbers > 0 {
			ranges[c.Column] = rd.d.l.T("%s to %s", rd.d.l.Point(brief(c.Min)), rd.d.l.Point(brief(c.Max)))
		}
	}
	v.Time.Value, v.Kind.Value, v.Unit.Value = strconv.Itoa(m.Time.Column), "number", "s"
	if m.Time.Kind == signal.TimeClock {
		v.Kind.Value = "clock"
	}
	if m.Time.Unit != "" {
		v.Unit.Value = m.Time.Unit
	}
	if m.Time.RateHz > 0 {
		v.Rate.Value = trim(m.Time.RateHz)
	}
	v.Open = m.Time.Kind == signal.TimeIndex && m.Time.RateHz == 0
	var quantities []templates.Option
	quantities = append(quantities, templates.Option{Value: "", Label: templates.LeaveOut})
	for _, q := range signal.Quantities() {
		quantities = append(quantities, templates.Option{Value: string(q), Label: q.Words()})
	}
	places := append([]templates.Option{{Value: "", Label: templates.PlaceUnknown}}, rd.d.banks()...)
	places = append(places, rd.d.places()...)
	for i, c := range rd.allColumns() {
		if i == columnsShown {
			v.LeftOut = templates.OnlyFirst(rd.d.l, columnsShown, len(rd.allColumns()))
			break
		}
		row := templates.ChannelRow{Name: columnName(rd.d.l, rd.guess, c.Column), Range: ranges[c.Column], Why: rd.d.l.Say(c.Reason)}
		row.Quantity, row.Unit, row.Place = templates.ChannelFields(rd.d.l, c.Column, row.Name)
		row.Quantity.Options, row.Quantity.Value = quantities, string(c.Quantity)
		row.Unit.Value = c.Unit
		row.Place.Options, row.Place.Value = places, placeKey(c.Bank, c.Position)
		if !slices.ContainsFunc(places, func(o templates.Option) bool { return o.Value == row.Place.Value }) {
			// The file names a place that the car does not have.
			row.Place.Options = append(slices.Clone(places), templates.Option{Value: row.Place.Value, Label: templates.Upper(templates.SpotWords(rd.d.l, templates.Spot{Bank: c.Bank, Position: c.Position}))})
		}
		if c.Quantity == signal.Other || c.Quantity == "" {
			v.More = append(v.More, row)
		} else {
			v.Rows = append(v.Rows, row)
		}
	}
}

// allColumns are the channels of the mapping and those of the guess that it leaves
// out.
func (rd *reading) allColumns() []signal.Column {
	out := slices.Clone(rd.mapping.Channels)
	for _, c := range rd.guess.Channels {
		if !slices.ContainsFunc(out, func(o signal.Column) bool { return o.Column == c.Column }) && c.Column != rd.mapping.Time.Column {
			c.Quantity = ""
			out = append(out, c)
		}
	}
	slices.SortStableFunc(out, func(a, b signal.Column) int {
		rank := func(c signal.Column) int {
			if c.Quantity == signal.Other || c.Quantity == "" {
				return 1
			}
			return 0
		}
		return rank(a) - rank(b)
	})
	return out
}

func columnName(l *lang.Language, m signal.Mapping, column int) string {
	if column >= 1 && column <= len(m.Header) && strings.TrimSpace(m.Header[column-1]) != "" {
		name := strings.TrimSpace(m.Header[column-1])
		if r := []rune(name); len(r) > 60 {
			name = string(r[:60]) + "…"
		}
		return strings.TrimSpace(strings.TrimSuffix(name, "()"))
	}
	return l.T("Column %d", column)
}

func placeKey(bank, position int) string {
	switch {
	case bank > 0 && position > 0:
		return fmt.Sprintf("%d-%d", bank, position)
	case bank > 0:
		return strconv.Itoa(bank)
	}
	return ""
}

// correct reads what the person says.
func (rd *reading) correct() {
	f, v, m := &rd.form, &rd.view, &rd.mapping
	rd.purpose, rd.state = f.choice(&v.Purpose), f.choice(&v.State)
	mixture := f.choice(&v.Mixture)
	at, timed := f.seconds(&v.At)
	if (mixture != "") != timed {
		f.wrong(&v.At, templates.SayWhenForced)
	} else if timed {
		rd.event = &signal.Event{At: at, Mixture: mixture}
	}
	if c, given := f.seconds(&v.Cold); given {
		rd.cold = &c
	}
	m.Delimiter, m.Decimal = f.choice(&v.Delim), f.choice(&v.Decimal)
	if line := f.whole(&v.Line, 1, 1<<31-1); line > 0 {
		m.DataLine = int(line)
	}
	column, _ := strconv.Atoi(f.choice(&v.Time))
	kind, unit := f.choice(&v.Kind), f.choice(&v.Unit)
	rate, _ := f.quantity(&v.Rate)
	switch {
	case column == 0:
		m.Time = signal.Time{Kind: signal.TimeIndex, RateHz: rate}
	case kind == "clock":
		m.Time = signal.Time{Column: column, Kind: signal.TimeClock, DateOrder: m.Time.DateOrder, FromFirst: m.Time.FromFirst}
	case column != m.Time.Column || m.Time.Kind != signal.TimeNumber || unit != m.Time.Unit:
		m.Time = signal.Time{Column: column, Kind: signal.TimeNumber, Unit: unit, FromFirst: m.Time.FromFirst}
	}
	var channels []signal.Column
	known := rd.allColumns()
	for _, rows := range [][]templates.ChannelRow{v.Rows, v.More} {
		for i := range rows {
			row := &rows[i]
			n, _ := strconv.Atoi(row.Quantity.Name[1:])
			q := f.choice(&row.Quantity)
			unit := f.text(&row.Unit, 30)
			bank, position, _ := placeIn(f.choice(&row.Place))
			if q == "" || n == m.Time.Column {
				continue
			}
			c := signal.Column{Column: n, Name: columnName(nil, rd.guess, n), Quantity: signal.Quantity(q), Unit: unit, Bank: bank, Position: position}
			if j := slices.IndexFunc(known, func(o signal.Column) bool { return o.Column == n }); j >= 0 && known[j].Name != "" {
				c.Name = known[j].Name
			}
			one := *m
			one.Channels = []signal.Column{c}
			if p, ok := errors.AsType[*signal.Problem](one.Check()); ok && p.Kind == signal.BadMapping && strings.Contains(p.What.String(), ".unit") {
				f.wrong(&row.Unit, templates.SayUnitMisfit(rd.d.l, unit, rd.d.l.Say(p.Mend)))
			}
			channels = append(channels, c)
		}
	}
	m.Channels = channels
}

// seconds reads a number of seconds on a recording's clock.
func (f *form) seconds(fd *templates.Field) (float64, bool) {
	v := f.value(fd)
	if v == "" {
		return 0, false
	}
	n, unit, ok := number(v)
	switch {
	case !ok || math.Abs(n) > 1e10:
		f.wrong(fd, templates.SayNotNumber(tongue(f.r), v, fd.Unit))
		return 0, false
	case unit == "ms":
		n /= 1000
	case unit != "" && unit != "s":
		f.wrong(fd, templates.SayWrongUnit(tongue(f.r), unit, fd.Unit))
		return 0, false
	}
	return n, true
}

// showReading draws the page of a reading, also when it was refused.
func (s *server) showReading(w http.ResponseWriter, r *http.Request, rd *reading) error {
	d := rd.d
	by, err := s.nameOf(r, rd.file.By)
	if err != nil {
		return err
	}
	v := templates.ReadingView{Page: s.page(w, r, templates.AtNowhere, rd.file.Name), Car: carName(d.Vehicle), JobHref: d.base(),
		File: d.fileFacts(rd.file, by), Svg: string(rd.svg), Refusal: rd.form.refusal(), Form: rd.view,
		AsOther: d.base() + "/files/" + rd.file.ID + "?as=" + asResponses}
	if rd.view.Action == "" { // nothing at all could be read
		rd.fields()
		v.Form = rd.view
	}
	saved, err := s.store.Mappings(r.Context())
	if err != nil {
		return err
	}
	if len(saved) > 0 {
		f := templates.SavedField()
		for _, m := range saved {
			f.Options = append(f.Options, templates.Option{Value: m.Name, Label: m.Name})
		}
		f.Value = r.URL.Query().Get("saved")
		v.Saved = &templates.SavedForm{Action: rd.view.Action, Which: f}
	}
	problems := rd.problems
	if rd.res != nil {
		problems = slices.Concat(problems, rd.res.Warnings, rd.res.Report.Problems)
		v.Sums, v.Groups, v.TooSlow = sums(rd.d.l, rd.res), groups(rd.d.l, rd.res), tooSlow(rd.d.l, rd.res)
		v.Keep = rd.keepForm()
	}
	v.Noticed = noticed(rd.d.l, problems)
	status := http.StatusOK
	if rd.form.bad() {
		status = http.StatusUnprocessableEntity
		if len(rd.view.Rows)+len(rd.view.More) == 0 {
			v.Keep = nil
		}
	}
	return s.render(w, r, status, templates.Reading(v))
}

// keepForm offers what can be written down, with the way of reading carried along.
func (rd *reading) keepForm() *templates.KeepForm {
	if !rd.d.open() {
		return nil
	}
	k := &templates.KeepForm{Action: rd.view.Action + "/keep", ID: store.NewID(), Entries: store.NewID(), Words: templates.CaptureWordsField(),
		Save: templates.SaveMappingField(), Button: templates.ButtonKeepOnly}
	for i, o := range rd.offers {
		row := templates.OfferRow{Tick: templates.OfferTick(i, o.what), Why: o.remark}
		if o.cannot != "" {
			row.Tick.Name, row.Tick.Value, row.Why = "", "", o.cannot
		} else {
			k.Button = templates.ButtonWriteDown
		}
		k.Offers = append(k.Offers, row)
	}
	k.Hidden = rd.hidden()
	if c := rd.d.standingCapture(rd.file.ID); c != nil {
		k.Replaces = new(templates.ReplacesField(rd.d.l, rd.d.clock.moment(c.At)))
	}
	return k
}

// hidden carries the way of reading as the form has it.
func (rd *reading) hidden() []templates.Pair {
	v := &rd.view
	out := []templates.Pair{{Name: "set", Value: "1"}}
	fields := []*templates.Field{&v.Purpose, &v.State, &v.Mixture, &v.At, &v.Cold, &v.Time, &v.Kind, &v.Unit, &v.Rate, &v.Delim, &v.Decimal, &v.Line}
	for _, rows := range [][]templates.ChannelRow{v.Rows, v.More} {
		for i := range rows {
			fields = append(fields, &rows[i].Quantity, &rows[i].Unit, &rows[i].Place)
		}
	}
	for _, f := range fields {
		out = append(out, templates.Pair{Name: f.Name, Value: f.Value})
	}
	return out
}

// query is the same as an address, to read a file the same way again.
func (rd *reading) query() string {
	q := url.Values{"as": {asTable}}
	for _, p := range rd.hidden() {
		q.Set(p.Name, p.Value)
	}
	return q.Encode()
}
