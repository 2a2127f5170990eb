package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"

	"crosscount/diag"
	"crosscount/diag/obd"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// kindLinks offers a form for every kind of entry, and for every test that ends in a
// word.
func (d *desk) kindLinks() (kinds, tests []templates.KindLink) {
	link := func(add, label string) templates.KindLink {
		return templates.KindLink{Href: d.base() + "?add=" + add + "#form", Label: label}
	}
	for _, k := range diag.EntryKinds {
		if k != diag.KindResult {
			kinds = append(kinds, link(string(k), templates.KindWord(d.l, string(k))))
		}
	}
	kinds = append(kinds, link("note", templates.KindWord(d.l, "note")), link("recording", d.l.T(templates.RecordingKind)))
	for _, t := range diag.Tests() {
		if t.Entry == diag.KindResult && t.ID != "road_proof" {
			tests = append(tests, link("result."+t.ID, d.l.T(t.Name)))
		}
	}
	return kinds, tests
}

// entryForm builds the empty form for "trim", "result.intake_smoke" or "note". It
// returns nil for anything else.
func (d *desk) entryForm(add string, who *store.SignedIn) *templates.EntryForm {
	kind, test, _ := strings.Cut(add, ".")
	f := &templates.EntryForm{Action: d.base() + "/evidence", Entry: store.NewID(), Kind: kind, Title: templates.KindWord(d.l, kind)}
	k := diag.EntryKind(kind)
	if kind == "note" {
		f.Note = new(templates.NoteField())
		return f
	}
	if !slices.Contains(diag.EntryKinds, k) {
		return nil
	}
	told := who.Role == store.Writer
	switch k {
	case diag.KindCode:
		f.Codes, f.All, f.Source = new(templates.CodesField()), new(templates.AllCodesField()), new(templates.SourceField(told))
		f.Choices = append(f.Choices, templates.StatusField())
		return f
	case diag.KindHistory:
		f.Remarks = remarkFields(d.l)
		f.Where = new(templates.WhereField(append([]templates.Option{{Value: "", Label: templates.Upper(d.l.T(templates.WholeEngine))}}, d.places()...), false))
		f.Source = new(templates.SourceField(true))
		return f
	case diag.KindTrim:
		f.Frame = new(templates.FrameField())
		for b := range d.car.Banks() {
			bank := templates.TrimBank{Name: templates.BankWords(d.l, b+1)}
			for _, state := range diag.States {
				bank.Rows = append(bank.Rows, templates.TrimRow{State: templates.Upper(templates.StateWord(d.l, state)),
					Short: templates.TrimField(fmt.Sprintf("short_%d_%s", b+1, state), templates.TrimShort),
					Long:  templates.TrimField(fmt.Sprintf("long_%d_%s", b+1, state), templates.TrimLong)})
			}
			f.Trims = append(f.Trims, bank)
		}
		return f
	case diag.KindResult:
		t, ok := diag.TestByID(test)
		if !ok || t.Entry != diag.KindResult {
			return nil
		}
		f.Test, f.Title, f.Expect = test, d.l.T(t.Name), d.l.T(t.Expect)
		f.Choices = append(f.Choices, templates.OutcomeField(d.outcomeOptions(t)))
		switch needsBank := slices.ContainsFunc(t.Outcomes, func(o diag.OutcomeInfo) bool { return o.NeedsBank }); {
		case t.Scope == diag.ScopeSensor:
			f.Where = new(templates.WhereField(d.places(), true))
		case t.Scope == diag.ScopeBank:
			f.Where = new(templates.WhereField(d.banks(), true))
		case needsBank:
			f.Where = new(templates.WhereField(append([]templates.Option{{Value: "", Label: templates.NoBank}}, d.banks()...), false))
		}
		d.presetOnly(f.Where)
		return f
	}
	for _, name := range k.Fields() {
		switch name {
		case "position":
			f.Where = new(templates.WhereField(d.places(), true))
		case "bank":
			if f.Where == nil && !slices.Contains(k.Fields(), "position") {
				f.Where = new(templates.WhereField(d.banks(), true))
			}
		case "state":
			usual := "idle"
			if k == diag.KindSignal {
				usual = "fast_idle"
			}
			f.Choices = append(f.Choices, templates.StateField(d.l, usual))
		case "mixture":
			f.Choices = append(f.Choices, templates.MixtureField())
		case "result":
			field := templates.ResultField(d.resultOptions(k))
			if k == diag.KindCar {
				field = templates.CarField(d.carOptions())
			}
			f.Choices = append(f.Choices, field)
		case "look":
			f.Tips = new(templates.TipField())
		case "holds":
			f.Choices = append(f.Choices, templates.HoldsField())
		case "wide_open":
			f.Choices = append(f.Choices, templates.OpenField())
		default:
			f.Numbers = append(f.Numbers, templates.QuantityField(d.l, name))
		}
	}
	for _, t := range diag.Tests() {
		if t.Entry == k && k != diag.KindForced && k != diag.KindHeater {
			f.Expect = d.l.T(t.Expect)
		}
	}
	d.presetOnly(f.Where)
	return f
}

// remarkFields are the ticks of the history.
func remarkFields(l *lang.Language) []templates.RemarkGroup {
	happened, noticed := templates.RemarkGroup{Legend: templates.RemarksHappened}, templates.RemarkGroup{Legend: templates.RemarksNoticed}
	var last []templates.Field
	for _, w := range diag.RemarkWords() {
		switch words := l.T(w.Name); {
		case w.ID == diag.NothingKnown:
			last = append(last, templates.NothingElseField(w.ID, words))
		case w.Noticed:
			noticed.Ticks = append(noticed.Ticks, templates.RemarkField(w.ID, words))
		default:
			happened.Ticks = append(happened.Ticks, templates.RemarkField(w.ID, words))
		}
	}
	noticed.Ticks = append(noticed.Ticks, last...)
	return []templates.RemarkGroup{happened, noticed}
}

// presetOnly chooses the place when there is only one.
func (d *desk) presetOnly(where *templates.Field) {
	if where != nil && len(where.Options) == 1 {
		where.Value = where.Options[0].Value
	}
}

// preset chooses what the link to the form has settled already.
func preset(f *templates.EntryForm, at, mixture string) {
	if f.Where != nil && slices.ContainsFunc(f.Where.Options, func(o templates.Option) bool { return o.Value == at && at != "" }) {
		f.Where.Value = at
	}
	for i := range f.Choices {
		if f.Choices[i].Name == "mixture" {
			f.Choices[i].Value = mixture
		}
	}
}

func (d *desk) outcomeOptions(t diag.TestInfo) []templates.Option {
	var out []templates.Option
	for _, o := range t.Outcomes {
		out = append(out, templates.Option{Value: o.ID, Label: templates.Upper(d.l.T(o.Name))})
	}
	return out
}

// carOptions are the ways in which the car can stand.
func (d *desk) carOptions() []templates.Option {
	var out []templates.Option
	for _, w := range diag.CarStates() {
		out = append(out, templates.Option{Value: w.ID, Label: templates.Upper(d.l.T(w.Name))})
	}
	return out
}

// resultOptions are the outcomes of the test that looks at a circuit or connector.
func (d *desk) resultOptions(k diag.EntryKind) []templates.Option {
	for _, t := range diag.Tests() {
		if t.Entry == k {
			return d.outcomeOptions(t)
		}
	}
	return nil
}

// addEvidence appends what a form says to the log: one entry, or several codes,
// remarks or trims at once.
func (s *server) addEvidence(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	who := viewer(r)
	add := r.PostFormValue("kind")
	if t := r.PostFormValue("test"); t != "" {
		add += "." + t
	}
	ef := d.entryForm(add, who)
	if ef == nil {
		return trouble(templates.TroubleInvalid, "")
	}
	if id := r.PostFormValue("id"); id != "" {
		ef.Entry = id
	}
	f := form{r: r}
	refused := func() error {
		ef.Refusal = f.refusal()
		return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Form = ef })
	}
	if ef.Note != nil {
		words := f.text(ef.Note, 8000)
		if !f.bad() {
			err := s.store.AddNote(r.Context(), who.PersonID, d.Job.ID, words)
			if err == nil {
				return see(w, r, d.base()+"#acts")
			}
			if !f.take(err, ef.Note) {
				return err
			}
		}
		return refused()
	}
	if !d.open() {
		return trouble(templates.TroubleConflict, templates.SayJobClosed)
	}
	entries := d.readEntries(&f, ef)
	if f.bad() {
		return refused()
	}
	source := store.Observed
	if ef.Source != nil && ef.Source.Value == "told" {
		source = store.Told
	}
	anchor := ""
	err = s.store.Together(r.Context(), func(st *store.Store) error {
		for i, e := range entries {
			// Each entry of one form has an id of its own that follows from the form's, so
			// that the form may arrive twice and is taken once.
			n := store.NewEntry{ID: numbered(ef.Entry, i), JobID: d.Job.ID, Body: e, Source: source}
			if _, _, err := st.AddEntry(r.Context(), who.PersonID, n); err != nil {
				return err
			}
			anchor = n.ID
		}
		return nil
	})
	if err != nil {
		if !f.take(err) {
			return err
		}
		return refused()
	}
	return see(w, r, d.base()+"#e-"+anchor)
}

// numbered derives the id of the n-th entry of a form from the form's own: the last
// two hexadecimal digits count on. A malformed id is left to the database to refuse.
func numbered(id string, n int) string {
	if n == 0 || len(id) < 2 {
		return id
	}
	var last int
	if _, err := fmt.Sscanf(id[len(id)-2:], "%02x", &last); err != nil {
		return id
	}
	return id[:len(id)-2] + fmt.Sprintf("%02x", (last+n)%256)
}

// readEntries decodes a form into entries that the engine accepts for this car.
func (d *desk) readEntries(f *form, ef *templates.EntryForm) []diag.Entry {
	if ef.Source != nil {
		f.choice(ef.Source)
	}
	var bank, position int
	if ef.Where != nil {
		bank, position, _ = placeIn(f.choice(ef.Where))
	}
	for i := range ef.Choices {
		f.choice(&ef.Choices[i])
	}
	switch diag.EntryKind(ef.Kind) {
	case diag.KindCode:
		return d.readCodes(f, ef)
	case diag.KindHistory:
		return d.readRemarks(f, ef, bank, position)
	case diag.KindTrim:
		return d.readTrims(f, ef)
	}

	values := map[string]any{"kind": ef.Kind}
	fields := map[string]*templates.Field{}
	if ef.Test != "" {
		values["test"] = ef.Test
	}
	if bank > 0 {
		values["bank"] = bank
	}
	if position > 0 {
		values["position"] = position
	}
	for i := range ef.Choices {
		c := &ef.Choices[i]
		fields[c.Name] = c
		switch {
		case c.Value == "":
		case c.Name == "holds" || c.Name == "wide_open":
			values[c.Name] = c.Value == "yes"
		default:
			values[c.Name] = c.Value
		}
	}
	if ef.Tips != nil {
		fields[ef.Tips.Name] = ef.Tips
		values[ef.Tips.Name] = f.choice(ef.Tips)
	}
	for i := range ef.Numbers {
		n := &ef.Numbers[i]
		fields[n.Name] = n
		if v, given := f.quantity(n); given {
			values[n.Name] = v
		}
	}
	if f.bad() {
		return nil
	}
	b, err := json.Marshal(values)
	if err != nil {
		f.wrong(nil, templates.SayNotRead)
		return nil
	}
	var e diag.Entry
	if err := json.Unmarshal(b, &e); err != nil {
		f.wrong(nil, templates.SayNotRead)
		return nil
	}
	d.checkEntry(f, e, func(path string) *templates.Field {
		if path == "bank" || path == "position" {
			return ef.Where
		}
		return fields[path]
	})
	return []diag.Entry{e}
}

// checkEntry lets the engine say what is wrong, at the field it is about.
func (d *desk) checkEntry(f *form, e diag.Entry, field func(path string) *templates.Field) {
	for _, p := range e.Check(d.car) {
		f.wrong(field(p.Path), mendOf(d.l, p.Reason, p.Mend))
	}
}

// readCodes takes several codes as people write them, and behind them that they are all
// of their status, where somebody says so who has read them.
func (d *desk) readCodes(f *form, ef *templates.EntryForm) []diag.Entry {
	f.text(ef.Codes, 2000)
	all := f.value(ef.All) != ""
	status := ef.Choices[0].Value
	var out []diag.Entry
	for _, word := range splitCodes(ef.Codes.Value) {
		c, err := obd.ParseCode(word)
		if err != nil {
			f.wrong(ef.Codes, codeMend(d.l, err))
			return nil
		}
		e := diag.Entry{Kind: diag.KindCode, Code: c.String(), Status: status}
		d.checkEntry(f, e, func(string) *templates.Field { return ef.Codes })
		if !slices.ContainsFunc(out, func(o diag.Entry) bool { return o.Code == e.Code }) {
			out = append(out, e)
		}
	}
	switch {
	case all && status == "permanent":
		f.wrong(ef.All, templates.SayListPermanent)
	case all && ef.Source.Value == "told":
		f.wrong(ef.All, templates.SayListTold)
	case all:
		out = append(out, diag.Entry{Kind: diag.KindCodeList, Status: status})
	case len(out) == 0 && !f.bad():
		f.wrong(ef.Codes, templates.SayNoCodes)
	}
	return out
}

// splitCodes parts a line of codes at commas, semicolons, slashes and white space. A
// code written with a space after its letter ("P 0171") stays whole.
func splitCodes(s string) []string {
	words := strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(",;/ \n\t+&", r) })
	var out []string
	for i := 0; i < len(words); i++ {
		if len(words[i]) == 1 && i+1 < len(words) && strings.ContainsAny(words[i], "PBCUpbcu") {
			words[i+1] = words[i] + words[i+1]
			continue
		}
		out = append(out, words[i])
	}
	return out
}

func codeMend(l *lang.Language, err error) templates.Mend {
	if e, ok := asCodeError(err); ok {
		return templates.Mend{Reason: l.T("“%s”: %s.", e.Text, e.Problem), Mend: sentence(l, e.Mend)}
	}
	return templates.SayNotRead
}

func (d *desk) readRemarks(f *form, ef *templates.EntryForm, bank, position int) []diag.Entry {
	var out []diag.Entry
	for _, t := range f.remarks(ef.Remarks) {
		e := remarked(t)
		e.Bank, e.Position = bank, position
		d.checkEntry(f, e, func(path string) *templates.Field {
			if path == "bank" || path == "position" {
				return ef.Where
			}
			return t
		})
		out = append(out, e)
	}
	if len(out) == 0 {
		f.wrong(nil, templates.SayNoRemark)
	}
	return out
}

// remarks reads the ticks of the history.
func (f *form) remarks(groups []templates.RemarkGroup) []*templates.Field {
	var out []*templates.Field
	for _, g := range groups {
		for i := range g.Ticks {
			if f.value(&g.Ticks[i]) != "" {
				out = append(out, &g.Ticks[i])
			}
		}
	}
	return out
}

// remarked is the entry of a tick.
func remarked(t *templates.Field) diag.Entry {
	return diag.Entry{Kind: diag.KindHistory, Remark: strings.TrimPrefix(t.Name, "remark_")}
}

func (d *desk) readTrims(f *form, ef *templates.EntryForm) []diag.Entry {
	frame := f.value(ef.Frame) != ""
	var out []diag.Entry
	for b := range ef.Trims {
		for i := range ef.Trims[b].Rows {
			row := &ef.Trims[b].Rows[i]
			e := diag.Entry{Kind: diag.KindTrim, Bank: b + 1, State: diag.States[i], Frame: frame}
			if v, given := f.quantity(&row.Short); given {
				e.ShortPct = &v
			}
			if v, given := f.quantity(&row.Long); given {
				e.LongPct = &v
			}
			if e.ShortPct == nil && e.LongPct == nil {
				continue
			}
			d.checkEntry(f, e, func(path string) *templates.Field {
				if path == "long_pct" {
					return &row.Long
				}
				return &row.Short
			})
			out = append(out, e)
		}
	}
	if len(out) == 0 && !f.bad() {
		f.wrong(nil, templates.SayNoTrim)
	}
	return out
}

// withdrawEvidence takes an entry back by a later one.
func (s *server) withdrawEvidence(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	entry := chi.URLParam(r, "entry")
	if !slices.ContainsFunc(d.Entries, func(e store.Entry) bool { return e.ID == entry }) {
		return trouble(templates.TroubleNotFound, "")
	}
	f := form{r: r}
	reason := templates.WithdrawReason(entry)
	why := f.text(&reason, 2000)
	if !f.bad() {
		id := r.PostFormValue("id")
		if id == "" {
			id = store.NewID()
		}
		_, err := s.store.WithdrawEntry(r.Context(), viewer(r).PersonID, store.Withdrawal{ID: id, JobID: d.Job.ID, Withdraws: entry, Reason: why})
		if err == nil {
			return see(w, r, d.base()+"#e-"+entry)
		}
		if !f.take(err, &reason) {
			return err
		}
	}
	return s.refuseJob(w, r, d, func(v *templates.JobView) {
		for i := range v.Log {
			if v.Log[i].ID == entry && v.Log[i].Form != nil {
				v.Log[i].Form.Open, v.Log[i].Form.Reason, v.Log[i].Form.Refusal = true, reason, f.refusal()
			}
		}
	})
}
