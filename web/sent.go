package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/url"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

const (
	sentAtMost   = 200     // items of one batch
	sentMaxBytes = 1 << 20 // of a batch
	skewAtMost   = 20 * 365 * 24 * time.Hour
)

// batch is what a tablet wrote down, perhaps long ago and without a network, in the
// order in which it did.
type batch struct {
	Person int64     `json:"person"` // whose items these are
	Clock  time.Time `json:"clock"`  // what the tablet's clock says now
	Items  []item    `json:"items"`
}

// item is one thing written down. One of Form, Entry, Withdraws, Note, Minutes and
// SetAside says which.
type item struct {
	ID  string    `json:"id"` // UUID made by the tablet
	Job int64     `json:"job"`
	At  time.Time `json:"at"` // by the tablet's clock

	Form      url.Values      `json:"form,omitempty"`  // the fields of an entry form, as typed
	Entry     json.RawMessage `json:"entry,omitempty"` // an entry of the case format
	Source    string          `json:"source,omitempty"`
	Withdraws string          `json:"withdraws,omitempty"` // the id of an entry
	Why       string          `json:"why,omitempty"`       // of a withdrawal or of what is set aside
	Note      string          `json:"note,omitempty"`
	Minutes   float64         `json:"minutes,omitempty"`   // spent on Test
	SetAside  bool            `json:"set_aside,omitempty"` // Test cannot be done here
	Test      string          `json:"test,omitempty"`
	Bank      int             `json:"bank,omitempty"`
	Position  int             `json:"position,omitempty"`
}

// The states of an item after sending.
const (
	itemArrived = "arrived"
	itemAlready = "already" // it had arrived before
	itemRefused = "refused" // it will never be taken as it is
	itemLater   = "later"   // the database did not answer: send it again
)

// result is what became of an item.
type result struct {
	ID       string        `json:"id"`
	State    string        `json:"state"`
	Kind     string        `json:"kind,omitempty"` // of a refusal: closed, not_found, conflict, invalid
	Problems []itemProblem `json:"problems,omitempty"`
	Href     string        `json:"href,omitempty"` // where what arrived is looked at
}

// itemProblem says what is wrong and how to mend it. Field is a form's field or a
// path within an entry, and empty for the whole item.
type itemProblem struct {
	Field  string `json:"field,omitempty"`
	Label  string `json:"label,omitempty"`
	Reason string `json:"reason"`
	Mend   string `json:"mend,omitempty"`
}

// takeSent takes a batch in order: each item once, however often it is sent. A
// refused item does not hold up those behind it.
func (s *server) takeSent(w http.ResponseWriter, r *http.Request) error {
	var b batch
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	if err := d.Decode(&b); err != nil {
		if _, tooLarge := errors.AsType[*http.MaxBytesError](err); tooLarge {
			return err
		}
		return trouble(templates.TroubleInvalid, templates.SayBadBatch(tongue(r), err.Error()))
	}
	who := viewer(r)
	switch {
	case b.Person != who.PersonID:
		return trouble(templates.TroubleConflict, templates.SayOtherPerson)
	case len(b.Items) > sentAtMost:
		return trouble(templates.TroubleInvalid, templates.SayBatchTooLong(tongue(r), sentAtMost))
	}
	t := taking{server: s, ctx: r.Context(), l: tongue(r), who: who, desks: map[int64]*desk{}, now: s.now()}
	if !b.Clock.IsZero() {
		t.skew = t.now.Sub(b.Clock)
	}
	out := struct {
		Now     time.Time `json:"now"` // by the shop's clock
		Results []result  `json:"results"`
	}{t.now, make([]result, 0, len(b.Items))}
	for _, it := range b.Items {
		res, err := t.take(it)
		if err != nil {
			if sorted(err).kind != templates.TroubleAway {
				return err
			}
			res = result{State: itemLater} // order counts: those behind wait too
		}
		res.ID = it.ID
		out.Results = append(out.Results, res)
		if res.State == itemLater {
			for _, rest := range b.Items[len(out.Results):] {
				out.Results = append(out.Results, result{ID: rest.ID, State: itemLater})
			}
			break
		}
	}
	writeJSON(w, http.StatusOK, out)
	return nil
}

// taking is a batch being taken.
type taking struct {
	*server
	ctx   context.Context // of the request
	l     *lang.Language  // of who wrote it
	who   *store.SignedIn
	desks map[int64]*desk
	now   time.Time
	skew  time.Duration // what to add to the tablet's clock
}

// at is when an item was written down by the shop's clock, reckoned from the
// tablet's, however wrong that is.
func (t *taking) at(it item) time.Time {
	at := it.At.Add(t.skew)
	if it.At.IsZero() || at.After(t.now) || t.now.Sub(at) > skewAtMost {
		return t.now
	}
	return at
}

func (t *taking) desk(job int64) (*desk, error) {
	if d, ok := t.desks[job]; ok {
		return d, nil
	}
	shop, _, err := t.shop(t.ctx)
	if err != nil {
		return nil, err
	}
	d, err := t.unweighed(t.ctx, job, shop)
	if err == nil {
		t.desks[job] = d
	}
	return d, err
}

func (t *taking) take(it item) (result, error) {
	if !validUUID(it.ID) {
		return refusedFor(t.l, "invalid", "id", templates.SayBadID), nil
	}
	fresh, res, err := t.write(it)
	if err != nil {
		if e, ok := errors.AsType[*store.Error](err); ok && e.Kind != store.Unavailable {
			return t.refusal(e), nil
		}
		return result{}, err
	}
	switch {
	case res.State != "":
	case fresh:
		res.State = itemArrived
	default:
		res.State = itemAlready
	}
	return res, nil
}

// write appends one item. A result with a state is a refusal.
func (t *taking) write(it item) (fresh bool, res result, err error) {
	by, at := t.who.PersonID, t.at(it)
	switch {
	case it.Form != nil:
		return t.form(it, at)
	case it.Entry != nil:
		return t.entry(it, at)
	case it.Withdraws != "":
		fresh, err = t.store.WithdrawEntry(t.ctx, by, store.Withdrawal{ID: it.ID, JobID: it.Job, Withdraws: it.Withdraws, Reason: it.Why, ClientAt: at})
	case it.Note != "":
		fresh, err = t.store.AddNoteOnce(t.ctx, by, it.Job, it.ID, it.Note)
	case it.SetAside:
		if _, ok := diag.TestByID(it.Test); !ok {
			return false, t.noTest(it.Test), nil
		}
		fresh, err = t.store.SetTestAside(t.ctx, by, store.NewSetAside{ID: it.ID, JobID: it.Job, Test: it.Test, Bank: it.Bank, Position: it.Position,
			Why: it.Why, ClientAt: at})
		if errors.Is(err, &store.Error{Kind: store.Conflict, Constraint: "set_asides_once"}) {
			return false, result{State: itemAlready}, nil // a colleague said the same
		}
	case it.Minutes != 0:
		if _, ok := diag.TestByID(it.Test); !ok {
			return false, t.noTest(it.Test), nil
		}
		fresh, err = t.store.AddTestTime(t.ctx, by, store.TestTime{ID: it.ID, JobID: it.Job, Test: it.Test, Bank: it.Bank, Position: it.Position,
			Minutes: it.Minutes, ClientAt: at})
	default:
		return false, refusedFor(t.l, "invalid", "", templates.SayEmptyItem), nil
	}
	return fresh, res, err
}

func (t *taking) noTest(id string) result {
	return refusedFor(t.l, "invalid", "test", templates.SayNoSuchTest(t.l, id))
}

// toldOf says what is wrong with a form in the language of who wrote it.
func toldOf(l *lang.Language, p templates.Problem) itemProblem {
	return itemProblem{p.Field, l.T(p.Label), l.T(p.Reason), l.T(p.Mend.Mend)}
}

// refusedFor refuses an item for one reason.
func refusedFor(l *lang.Language, kind, field string, m templates.Mend) result {
	return refusedItem(kind, itemProblem{Field: field, Reason: l.T(m.Reason), Mend: l.T(m.Mend)})
}

func refusedItem(kind string, ps ...itemProblem) result {
	return result{State: itemRefused, Kind: kind, Problems: ps}
}

// refusal puts a refusal of the store into words.
func (t *taking) refusal(e *store.Error) result {
	p := itemProblem{Field: e.Field, Reason: t.l.T(e.Sentence)}
	switch {
	case e.Kind == store.NotFound:
		return refusedFor(t.l, "not_found", "", templates.SayGone)
	case closedRules[e.Constraint]:
		return refusedFor(t.l, "closed", "", templates.SayClosedMeanwhile)
	case e.Kind == store.Conflict:
		return refusedItem("conflict", p)
	}
	return refusedItem("invalid", p)
}

var closedRules = map[string]bool{"evidence_job_is_open": true, "photos_job_is_open": true, "test_times_job_is_open": true, "set_asides_job_is_open": true}

// form takes an entry form as it was filled in on the tablet.
func (t *taking) form(it item, at time.Time) (fresh bool, res result, err error) {
	d, err := t.desk(it.Job)
	if err != nil {
		return false, res, err
	}
	f := form{r: (&http.Request{PostForm: it.Form, Form: it.Form}).WithContext(t.ctx)}
	add := it.Form.Get("kind")
	if test := it.Form.Get("test"); test != "" {
		add += "." + test
	}
	ef := d.entryForm(add, t.who)
	if ef == nil {
		return false, t.noTest(add), nil
	}
	if ef.Note != nil {
		words := f.text(ef.Note, 8000)
		if !f.bad() {
			fresh, err = t.store.AddNoteOnce(t.ctx, t.who.PersonID, it.Job, it.ID, words)
			return fresh, res, err
		}
	}
	if ef.Note == nil {
		entries := d.readEntries(&f, ef)
		if !f.bad() {
			source := store.Observed
			if ef.Source != nil && ef.Source.Value == "told" {
				source = store.Told
			}
			fresh, err = t.append(it, entries, source, at)
			return fresh, res, err
		}
	}
	res = refusedItem("invalid")
	for _, p := range f.problems {
		res.Problems = append(res.Problems, toldOf(t.l, p))
	}
	return false, res, nil
}

// entry takes an entry of the case format.
func (t *taking) entry(it item, at time.Time) (fresh bool, res result, err error) {
	d, err := t.desk(it.Job)
	if err != nil {
		return false, res, err
	}
	var e diag.Entry
	dec := json.NewDecoder(bytes.NewReader(it.Entry))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&e); err != nil {
		return false, refusedItem("invalid", itemProblem{Field: "entry", Reason: t.l.T(templates.SayNotRead.Reason), Mend: err.Error()}), nil
	}
	source := store.Source(it.Source)
	if source == "" {
		source = store.Observed
	}
	if source != store.Observed && source != store.Told {
		return false, refusedFor(t.l, "invalid", "source", templates.SayNotOffered), nil
	}
	if e.Kind == diag.KindCodeList && source == store.Told {
		return false, refusedFor(t.l, "invalid", "source", templates.SayListTold), nil
	}
	switch {
	case e.Kind == diag.KindRepair:
		return false, refusedFor(t.l, "invalid", "kind", templates.SayRepairSent), nil
	case e.AfterRepair != 0:
		return false, refusedFor(t.l, "invalid", "after_repair", templates.SayRepairCounted), nil
	}
	if ps := e.Check(d.car); len(ps) > 0 {
		res = refusedItem("invalid")
		for _, p := range ps {
			res.Problems = append(res.Problems, itemProblem{Field: p.Path, Reason: sentence(d.l, p.Reason), Mend: sentence(d.l, p.Mend)})
		}
		return false, res, nil
	}
	fresh, err = t.append(it, []diag.Entry{e}, source, at)
	return fresh, res, err
}

// append writes the entries of one item, all or none.
func (t *taking) append(it item, entries []diag.Entry, source store.Source, at time.Time) (fresh bool, err error) {
	err = t.store.Together(t.ctx, func(st *store.Store) error {
		for i, e := range entries {
			n := store.NewEntry{ID: numbered(it.ID, i), JobID: it.Job, Body: e, Source: source, ClientAt: at}
			_, isFresh, err := st.AddEntry(t.ctx, t.who.PersonID, n)
			if err != nil {
				return err
			}
			fresh = fresh || isFresh
		}
		return nil
	})
	return fresh && err == nil, err
}

// validUUID accepts the form of RFC 9562: 8-4-4-4-12 hexadecimal digits.
func validUUID(s string) bool {
	if len(s) != 36 {
		return false
	}
	for i, c := range []byte(s) {
		switch {
		case i == 8 || i == 13 || i == 18 || i == 23:
			if c != '-' {
				return false
			}
		case c >= '0' && c <= '9', c >= 'a' && c <= 'f':
		default:
			return false
		}
	}
	return true
}

// jobState is a job for programs: the log, what the engine makes of it and the words.
func (s *server) jobState(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	type withdrawn struct {
		ID  string    `json:"id"`
		At  time.Time `json:"at"`
		By  string    `json:"by"`
		Why string    `json:"why"`
	}
	type line struct {
		ID        string       `json:"id"`
		Seq       int64        `json:"seq"`
		Entry     diag.Entry   `json:"entry"`
		Source    store.Source `json:"source"`
		By        string       `json:"by"`
		Written   time.Time    `json:"written"`
		Arrived   time.Time    `json:"arrived"`
		Withdrawn *withdrawn   `json:"withdrawn,omitempty"`
	}
	type aside struct {
		Test     string `json:"test"`
		Bank     int    `json:"bank,omitempty"`
		Position int    `json:"position,omitempty"`
		Why      string `json:"why"`
		By       string `json:"by"`
	}
	out := struct {
		ID          int64             `json:"id"`
		State       string            `json:"state"`
		Car         string            `json:"car"`
		Concern     string            `json:"concern"`
		Vehicle     diag.Vehicle      `json:"vehicle"`
		Log         []line            `json:"log"`
		SetAside    []aside           `json:"set_aside"`
		Decision    *diag.Decision    `json:"decision"` // null when the case cannot be weighed
		NoFit       string            `json:"no_fit,omitempty"`
		Fingerprint string            `json:"fingerprint"`
		Tests       []diag.TestInfo   `json:"tests"`
		Causes      []diag.CauseInfo  `json:"causes"`
		Remarks     []diag.RemarkWord `json:"remarks"`
	}{ID: d.Job.ID, State: d.state(), Car: carName(d.Vehicle), Concern: d.Job.Concern, Vehicle: d.car, Log: []line{}, SetAside: []aside{},
		NoFit: d.noFit, Fingerprint: d.fingerprint, Tests: diag.Tests(), Causes: diag.Causes(), Remarks: diag.RemarkWords()}
	for _, e := range d.Entries {
		l := line{ID: e.ID, Seq: e.Seq, Entry: e.Body, Source: e.Source, By: e.EnteredByName, Written: e.ClientAt, Arrived: e.ReceivedAt}
		if e.WithdrawnID != nil {
			l.Withdrawn = &withdrawn{*e.WithdrawnID, *e.WithdrawnAt, *e.WithdrawnBy, *e.WithdrawnWhy}
		}
		out.Log = append(out.Log, l)
	}
	for _, a := range d.SetAsides {
		if a.LiftedAt == nil {
			out.SetAside = append(out.SetAside, aside{a.Test, a.Bank, a.Position, a.Why, a.ByName})
		}
	}
	if d.noFit == "" {
		out.Decision = &d.decision
	}
	writeJSON(w, http.StatusOK, out)
	return nil
}

func (d *desk) state() string {
	switch {
	case d.Job.CancelledAt != nil:
		return "cancelled"
	case d.Job.ClosedAt != nil:
		return "closed"
	}
	return "open"
}
