package web

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
)

// handView shows what of the way to the hand-over is behind and what can be done now.
func (d *desk) handView(who *store.SignedIn) templates.HandView {
	var h templates.HandView
	may := accessOf(who.Role)
	for _, r := range d.Repairs {
		l := templates.RepairLine{ID: r.ID, Words: r.Words, Who: r.ByName, When: d.clock.moment(r.At), Despite: r.Despite, Undone: r.UndoneWhy}
		if r.Action == store.Fitted {
			l.What = templates.FitWords(d.l, d.spotWords(r.Bank, r.Position), string(r.Kind), r.PartNumber)
		} else {
			l.What = d.mendWords(diag.CauseRef{Cause: r.Cause, Bank: r.Bank, Position: r.Position})
		}
		if r.UndoneAt == nil && d.open() && may&bench != 0 {
			l.UndoReason = new(templates.UndoField(r.ID))
		}
		h.Repairs = append(h.Repairs, l)
	}
	for _, p := range d.Proofs {
		h.Proofs = append(h.Proofs, templates.ProofLine{Passed: p.Passed, Statement: p.Statement, Who: p.ByName, When: d.clock.moment(p.At), Gone: !p.Stands})
	}
	if !d.open() {
		h.Closed = d.closedView(may)
		return h
	}
	_, decision, parts, ok := d.inForce()
	if !ok {
		h.Wait = templates.WaitVerdict
		h.Cancel = new(templates.NewCancelForm())
		return h
	}
	v, _ := d.Verdict()
	work := len(parts) > 0 || len(v.Verdict.Mend) > 0 || decision == diag.DecidePart
	switch {
	case d.Job.ApprovedAt == nil:
		h.Approve = d.yesForm()
		if !work {
			h.Wait = templates.NothingToMend
		}
	case d.Job.RepairedAt == nil && may&bench != 0:
		h.Mend = d.mendForm()
		h.Fit = d.fitForm(parts)
		h.Finish = len(d.standingRepairs()) > 0
	case d.Job.RepairedAt == nil:
		h.Wait = templates.WaitBench
	case d.Job.ProvedAt == nil && may&bench != 0:
		h.Proof = d.proofForm()
	}
	if d.Job.ApprovedAt == nil || d.Job.RepairedAt != nil {
		h.Close, h.Folded = d.closeForm(), d.Job.ApprovedAt == nil && work
	}
	if d.Job.RepairedAt == nil {
		h.Cancel = new(templates.NewCancelForm())
	}
	return h
}

func (d *desk) standingRepairs() []store.Repair {
	var out []store.Repair
	for _, r := range d.Repairs {
		if r.UndoneAt == nil {
			out = append(out, r)
		}
	}
	return out
}

// causeOptions offers first what the verdict names, then every cause at every place
// of this car.
func (d *desk) causeOptions(first []diag.CauseRef) []templates.Option {
	var out []templates.Option
	add := func(c diag.CauseRef) {
		o := templates.Option{Value: causeKey(c), Label: d.causeWords(c)}
		if !slices.Contains(out, o) {
			out = append(out, o)
		}
	}
	for _, c := range first {
		add(c)
	}
	rest := slices.Clone(d.decision.Causes)
	slices.SortStableFunc(rest, func(a, b diag.Cause) int {
		return cmp.Or(cmp.Compare(d.causeWords(a.CauseRef), d.causeWords(b.CauseRef)))
	})
	for _, c := range rest {
		add(c.CauseRef)
	}
	return out
}

// toMend is what the verdict wants mended, what comes first first.
func (d *desk) toMend() []diag.CauseRef {
	v, ok := d.Verdict()
	if !ok {
		return nil
	}
	var out []diag.CauseRef
	for _, c := range slices.Concat(v.Verdict.First, v.Verdict.Mend) {
		if !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

func (d *desk) mendForm() *templates.MendForm {
	first := d.toMend()
	m := templates.NewMendForm(append([]templates.Option{{Value: "", Label: templates.PleaseChoose}}, d.causeOptions(first)...))
	if len(first) > 0 {
		m.Cause.Value = causeKey(first[0])
	}
	return &m
}

func (d *desk) fitForm(parts []diag.Part) *templates.FitForm {
	var options []templates.Option
	for _, p := range parts {
		done := slices.ContainsFunc(d.standingRepairs(), func(r store.Repair) bool {
			return r.Action == store.Fitted && r.Bank == p.Bank && r.Position == p.Position
		})
		if !done {
			options = append(options, templates.Option{Value: fmt.Sprintf("%d-%d", p.Bank, p.Position), Label: templates.Upper(d.partWords(p))})
		}
	}
	if len(options) == 0 {
		return nil
	}
	f := templates.NewFitForm(options)
	if len(options) == 1 {
		f.Part.Value = options[0].Value
	}
	for _, c := range d.notMended() {
		f.First = append(f.First, d.mendWords(c))
		f.Despite = templates.DespiteField()
	}
	return &f
}

// notMended lists what has to be mended before a part goes in and is not yet.
func (d *desk) notMended() []diag.CauseRef {
	v, ok := d.Verdict()
	if !ok {
		return nil
	}
	var out []diag.CauseRef
	for _, c := range v.Verdict.First {
		mended := slices.ContainsFunc(d.standingRepairs(), func(r store.Repair) bool {
			return r.Action == store.Mended && r.Cause == c.Cause && r.Bank == c.Bank
		})
		if !mended {
			out = append(out, c)
		}
	}
	return out
}

func (d *desk) proofForm() *templates.ProofForm {
	p := templates.NewProofForm(d.l)
	p.Entry = store.NewID()
	p.Test = d.testView("road_proof", 0, 0)
	return &p
}

// closeForm offers as confirmed what was mended, what the verdict names and what is
// still likely.
func (d *desk) closeForm() *templates.CloseForm {
	f := templates.NewCloseForm(d.l)
	var likely []diag.CauseRef
	mark := map[diag.CauseRef]bool{}
	add := func(c diag.CauseRef, ticked bool) {
		if c.Cause == "" {
			return
		}
		if !slices.Contains(likely, c) {
			likely = append(likely, c)
		}
		mark[c] = mark[c] || ticked
	}
	for _, r := range d.standingRepairs() {
		if r.Action == store.Mended {
			add(diag.CauseRef{Cause: r.Cause, Bank: r.Bank, Position: r.Position}, true)
		}
	}
	for _, c := range d.toMend() {
		add(c, false)
	}
	for i, c := range d.decision.Causes {
		if i < 8 && c.P >= 0.02 {
			add(c.CauseRef, false)
		}
		if c.P >= 0.5 && slices.ContainsFunc(d.standingRepairs(), func(r store.Repair) bool {
			return r.Action == store.Fitted && r.Bank == c.Bank && r.Position == c.Position
		}) {
			add(c.CauseRef, true)
		}
	}
	for _, c := range likely {
		t := templates.Field{Name: "cause_" + causeKey(c), Label: d.causeWords(c)}
		if mark[c] {
			t.Value = "yes"
		}
		f.Causes = append(f.Causes, t)
	}
	f.Other.Options = append([]templates.Option{{Value: "", Label: templates.NoOtherCause}}, d.causeOptions(nil)...)
	switch {
	case len(d.standingRepairs()) > 0 && d.Job.RepairedAt != nil:
		f.Outcome.Value = store.OutcomeConfirmed
	case len(d.toMend()) == 0:
		f.Outcome.Value = store.OutcomeNothingWrong
	}
	if d.Job.RepairedAt != nil && d.Job.ProvedAt == nil {
		f.Unproved = templates.UnprovedField()
	}
	if d.Comeback != nil {
		f.Comeback = templates.ComebackKindField(d.l, d.Comeback.Kind)
	}
	return &f
}

func (d *desk) closedView(may access) *templates.ClosedView {
	c := &templates.ClosedView{Causes: each(d.Causes, d.causeWords), Unproved: d.Job.UnprovedWhy, Cancelled: d.Job.CancelledWhy,
		OpenNewHref: fmt.Sprintf("/jobs/new?vehicle=%d", d.Vehicle.ID), ReopenWhy: templates.ReopenField(),
		MayReopen: may&owner != 0 && len(d.CameBackAs) == 0}
	if d.Job.Outcome != nil {
		c.Outcome = templates.OutcomeWord(d.l, *d.Job.Outcome)
	}
	for _, l := range slices.Backward(d.Log) {
		if l.What == "closed" || l.What == "cancelled" {
			c.Who, c.When, c.Words = l.ByName, d.clock.moment(l.At), l.Words
			break
		}
	}
	return c
}

// yesForm asks for the customer's yes to the repair.
func (d *desk) yesForm() *templates.YesForm {
	y := templates.NewYesForm(string(store.ScopeRepair), d.shop.Currency)
	y.ID, y.Who.Value = store.NewID(), d.Customer.Name
	return &y
}

// approve notes the customer's yes to the repair.
func (s *server) approve(w http.ResponseWriter, r *http.Request) error {
	a, err := s.accountOf(r)
	if err != nil {
		return err
	}
	y := a.yesForm()
	f := form{r: r}
	n := f.yes(y, a)
	if !f.bad() {
		_, err := s.store.Authorise(r.Context(), viewer(r).PersonID, n)
		if err == nil {
			return see(w, r, a.desk.base()+"#hand")
		}
		if !f.take(err, &y.Limit, &y.Who, &y.How, &y.Words) {
			return err
		}
	}
	y.Refusal = f.refusal()
	return s.refuseJob(w, r, a.desk, func(v *templates.JobView) { v.Hand.Approve = y })
}

// mended writes down what was mended.
func (s *server) mended(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	m := d.mendForm()
	f := form{r: r}
	c, ok := causeIn(f.choice(&m.Cause))
	n := store.NewRepair{JobID: d.Job.ID, Action: store.Mended, Cause: c.Cause, Bank: c.Bank, Position: c.Position, Words: f.text(&m.Words, 4000)}
	if !ok && !f.bad() {
		f.wrong(&m.Cause, templates.SayChoose)
	}
	if !f.bad() {
		_, err := s.store.AddRepair(r.Context(), viewer(r).PersonID, n)
		if err == nil {
			return see(w, r, d.base()+"#hand")
		}
		if !f.take(err, &m.Cause, &m.Words) {
			return err
		}
	}
	m.Refusal = f.refusal()
	return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Hand.Mend = m })
}

// fitted writes down a sensor that went in.
func (s *server) fitted(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	_, _, parts, _ := d.inForce()
	ff := d.fitForm(parts)
	if ff == nil {
		return trouble(templates.TroubleRule, templates.SayNoPartWanted)
	}
	f := form{r: r}
	at := f.choice(&ff.Part)
	n := store.NewRepair{JobID: d.Job.ID, Action: store.Fitted, PartNumber: f.text(&ff.Number, 100), Words: f.text(&ff.Words, 4000)}
	n.Bank, n.Position, _ = placeIn(at)
	for _, p := range parts {
		if p.Bank == n.Bank && p.Position == n.Position {
			n.Kind = p.Kind
		}
	}
	for _, c := range d.decision.Causes { // the likeliest fault of that sensor
		if c.Bank == n.Bank && c.Position == n.Position && c.Position > 0 {
			n.Cause = c.Cause
			break
		}
	}
	if ff.Despite != nil {
		if n.Despite = f.text(ff.Despite, 4000); n.Despite == "" {
			f.wrong(ff.Despite, templates.SayMendFirst)
		}
	}
	if !f.bad() {
		_, err := s.store.AddRepair(r.Context(), viewer(r).PersonID, n)
		if err == nil {
			return see(w, r, d.base()+"#hand")
		}
		if !f.take(err, &ff.Part, &ff.Number, &ff.Words) {
			return err
		}
	}
	ff.Refusal = f.refusal()
	return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Hand.Fit = ff })
}

// undoRepair takes back a repair that was written down wrongly.
func (s *server) undoRepair(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	id, err := idIn(r, "repair")
	if err != nil {
		return err
	}
	why := templates.UndoField(id)
	f := form{r: r}
	words := f.text(&why, 2000)
	if !f.bad() {
		err := s.store.UndoRepair(r.Context(), viewer(r).PersonID, d.Job.ID, id, words)
		if err == nil {
			return see(w, r, d.base()+"#hand")
		}
		if !f.take(err, &why) {
			return err
		}
	}
	return s.refuseJob(w, r, d, func(v *templates.JobView) {
		for i := range v.Hand.Repairs {
			if v.Hand.Repairs[i].ID == id {
				v.Hand.Repairs[i].UndoReason = &why
			}
		}
	})
}

// finishRepair says that the work is done and wants its proof.
func (s *server) finishRepair(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	if err := s.store.FinishRepair(r.Context(), viewer(r).PersonID, d.Job.ID); err != nil {
		return err
	}
	return see(w, r, d.base()+"#proof")
}

// prove writes a road proof down.
func (s *server) prove(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	p := d.proofForm()
	if id := r.PostFormValue("id"); id != "" {
		p.Entry = id
	}
	f := form{r: r}
	outcome, statement := f.choice(&p.Outcome), f.text(&p.Statement, 4000)
	if !f.bad() {
		err := s.store.AddProof(r.Context(), viewer(r).PersonID, store.NewProof{
			Entry: store.NewEntry{ID: p.Entry, JobID: d.Job.ID, Source: store.Observed,
				Body: diag.Entry{Kind: diag.KindResult, Test: "road_proof", Outcome: outcome}},
			Statement: statement})
		if err == nil {
			return see(w, r, d.base()+"#hand")
		}
		if !f.take(err, &p.Statement) {
			return err
		}
	}
	p.Refusal = f.refusal()
	return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Hand.Proof = p })
}

// closeJob ends a job with what it turned out to be.
func (s *server) closeJob(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	if !d.open() {
		return trouble(templates.TroubleConflict, templates.SayJobClosed)
	}
	cf := d.closeForm()
	f := form{r: r}
	c := store.Closing{JobID: d.Job.ID, Outcome: f.choice(&cf.Outcome), Words: f.text(&cf.Words, 4000)}
	for i := range cf.Causes {
		t := &cf.Causes[i]
		if f.value(t) != "" {
			ref, _ := causeIn(t.Name[len("cause_"):])
			c.Causes = append(c.Causes, ref)
		}
	}
	if v := f.choice(&cf.Other); v != "" {
		if ref, ok := causeIn(v); ok && !slices.Contains(c.Causes, ref) {
			c.Causes = append(c.Causes, ref)
		}
	}
	if cf.Unproved != nil {
		if c.UnprovedWhy = f.text(cf.Unproved, 4000); c.UnprovedWhy == "" {
			f.wrong(cf.Unproved, templates.SayWhyUnproved)
		}
	}
	kind := ""
	if cf.Comeback != nil {
		kind = f.choice(cf.Comeback)
	}
	switch {
	case c.Outcome == store.OutcomeConfirmed && len(c.Causes) == 0:
		f.wrong(&cf.Outcome, templates.SayWhichCause)
	case c.Outcome != store.OutcomeConfirmed && c.Outcome != "":
		c.Causes = nil
	}
	if !f.bad() {
		who := viewer(r).PersonID
		if kind != "" && kind != d.Comeback.Kind {
			if err := s.store.LinkComeback(r.Context(), who, store.NewComeback{JobID: d.Job.ID, EarlierID: d.Comeback.EarlierID, Kind: kind, Words: d.Comeback.Words}); err != nil {
				return err
			}
		}
		err := s.store.CloseJob(r.Context(), who, c)
		if err == nil {
			return see(w, r, d.base()+"#hand")
		}
		if !f.take(err, &cf.Outcome, &cf.Words) {
			return err
		}
	}
	cf.Refusal = f.refusal()
	return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Hand.Close = cf })
}

// cancelJob ends a job that is not carried on.
func (s *server) cancelJob(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	c := templates.NewCancelForm()
	c.Open = true
	f := form{r: r}
	why := f.text(&c.Why, 2000)
	if !f.bad() {
		err := s.store.CancelJob(r.Context(), viewer(r).PersonID, d.Job.ID, why)
		if err == nil {
			return see(w, r, d.base())
		}
		if !f.take(err, &c.Why) {
			return err
		}
	}
	c.Refusal = f.refusal()
	return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Hand.Cancel = &c })
}

// reopenJob opens a job again that was ended by a slip.
func (s *server) reopenJob(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	if d.open() {
		return see(w, r, d.base())
	}
	why := templates.ReopenField()
	f := form{r: r}
	words := f.text(&why, 2000)
	if !f.bad() {
		err := s.store.ReopenJob(r.Context(), viewer(r).PersonID, d.Job.ID, words)
		if err == nil {
			return see(w, r, d.base())
		}
		if !f.take(err, &why) {
			return err
		}
	}
	return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Hand.Closed.ReopenWhy = why })
}
