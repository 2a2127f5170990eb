package web

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// account is a job's money laid out.
type account struct {
	*desk
	store.Money
	till
	taxes   []store.TaxRate
	theirs  *lang.Language   // what the customer reads
	tongues []*lang.Language // all in which a line may have been suggested
}

// in is the same account for a reader of another language.
func (a *account) in(l *lang.Language) *account {
	b := *a
	b.desk = a.desk.in(l)
	return &b
}

func (s *server) accountOf(r *http.Request) (*account, error) {
	d, err := s.deskOf(r)
	if err != nil {
		return nil, err
	}
	return s.accountWith(r, d)
}

func (s *server) accountWith(r *http.Request, d *desk) (*account, error) {
	if _, saved, err := s.shop(r.Context()); err != nil {
		return nil, err
	} else if !saved && r.Method == http.MethodPost {
		return nil, trouble(templates.TroubleRule, templates.SayShopFirst)
	}
	m, err := s.store.Money(r.Context(), d.Job.ID)
	if err != nil {
		return nil, err
	}
	taxes, err := s.store.TaxRates(r.Context())
	if err != nil {
		return nil, err
	}
	taxes = slices.DeleteFunc(taxes, func(t store.TaxRate) bool { return !t.Active })
	return &account{d, m, tillOf(d.shop, m.Currency), taxes, s.languageOf(d.shop, d.Customer.Language), s.tongues(d.shop)}, nil
}

// money without the name of desk's coarser one.
func (a *account) base() string { return a.desk.base() + "/account" }

func (s *server) accountPage(w http.ResponseWriter, r *http.Request) error {
	a, err := s.accountOf(r)
	if err != nil {
		return err
	}
	v, err := s.accountView(w, r, a)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	if kind := q.Get("add"); slices.ContainsFunc(templates.LineKinds, func(o templates.Option) bool { return o.Value == kind }) {
		f := a.lineForm(kind)
		if kind == "part" {
			a.preset(f, q.Get("at"), v.known, q.Get("number"))
		}
		v.Form = f
	}
	if id, err := strconv.ParseInt(q.Get("converter"), 10, 64); err == nil {
		if err := s.presetConverter(r, a, v.Converter, id); err != nil {
			return err
		}
	}
	return s.showAccount(w, r, http.StatusOK, v)
}

func (s *server) showAccount(w http.ResponseWriter, r *http.Request, status int, v accountView) error {
	for i := range v.Forms {
		v.Forms[i].Open = v.Form != nil && strings.HasSuffix(v.Forms[i].Href, "add="+v.Form.Kind+"#form")
	}
	return s.render(w, r, status, templates.Account(v.AccountView))
}

// refuseAccount shows the page again with a form that was refused.
func (s *server) refuseAccount(w http.ResponseWriter, r *http.Request, a *account, change func(*accountView)) error {
	v, err := s.accountView(w, r, a)
	if err != nil {
		return err
	}
	change(&v)
	return s.showAccount(w, r, http.StatusUnprocessableEntity, v)
}

type accountView struct {
	templates.AccountView
	known map[[2]int][]store.FittedPart
}

func (s *server) accountView(w http.ResponseWriter, r *http.Request, a *account) (accountView, error) {
	d := a.desk
	v := accountView{known: map[[2]int][]store.FittedPart{}}
	v.AccountView = templates.AccountView{Page: s.page(w, r, templates.AtNowhere, templates.TitleAccount), ID: d.Job.ID, Base: d.base(), Car: carName(d.Vehicle),
		Customer: d.Customer.Name, Phone: d.Customer.Phone, Email: d.Customer.Email, LinkDays: templates.LinkDaysField()}
	look, ok, err := a.looking()
	if err != nil {
		return v, err
	}
	if ok {
		v.Looking = &templates.LookingView{Usual: a.timeAndMoney(look.Minutes), Most: a.timeAndMoney(look.Minutes90), Beyond: templates.BeyondWords(d.l, look.Beyond)}
	}
	v.Warranty = warranty(d, s.now())
	for _, scope := range []store.Scope{store.ScopeDiagnosis, store.ScopeRepair} {
		v.Scopes = append(v.Scopes, a.scopeView(scope, look))
	}
	for _, l := range a.Lines {
		v.Lines = append(v.Lines, a.lineView(l))
	}
	net, tax := a.Sum("", store.LineOffered, store.LineAccepted, store.LineDone)
	v.Net, v.Tax, v.Total = a.say(net), a.say(tax), a.say(net+tax)
	if core := a.core(); core > 0 {
		v.Core = a.say(core)
	}
	for _, p := range a.partsWanted() {
		at := [2]int{p.Bank, p.Position}
		if v.known[at], err = s.store.FittedParts(r.Context(), d.Vehicle.ID, p.Bank, p.Position); err != nil {
			return v, err
		}
		for _, k := range v.known[at] {
			price, supplier := "", ""
			if k.UnitMinor != nil && k.Currency != nil && *k.Currency == a.currency {
				price = a.say(*k.UnitMinor)
			}
			if k.Supplier != nil {
				supplier = *k.Supplier
			}
			v.Known = append(v.Known, templates.KnownPart{Place: d.spotWords(p.Bank, p.Position), Number: k.PartNumber,
				Say:  templates.KnownPartSay(d.l, templates.SensorKindWord(d.l, string(k.Kind)), k.Fitted, k.CameBack, k.Failed, price, supplier),
				Href: fmt.Sprintf("%s?add=part&at=%d-%d&number=%s#form", a.base(), p.Bank, p.Position, url.QueryEscape(k.PartNumber))})
		}
	}
	for _, g := range a.suggested() {
		sg := templates.Suggestion{Key: g.key, Words: g.line.Words, Href: g.href}
		if g.href == "" {
			sg.Money = a.say(a.withTax(a.lineAmount(g.line)))
		}
		v.Suggested = append(v.Suggested, sg)
	}
	for _, k := range templates.LineKinds {
		v.Forms = append(v.Forms, templates.KindLink{Href: a.base() + "?add=" + k.Value + "#form", Label: a.l.T(k.Label)})
	}
	v.CanEstimate, v.CanInvoice = a.documentsPossible()
	for _, doc := range slices.Backward(a.Documents) {
		v.Documents = append(v.Documents, a.documentView(doc))
	}
	if err := s.linkViews(r, a, &v); err != nil {
		return v, err
	}
	return v, s.converterViews(r, a, &v)
}

// looking reckons the search still ahead; ok is false when there is none.
func (a *account) looking() (l diag.Looking, ok bool, err error) {
	d := a.desk
	if _, _, _, settled := d.inForce(); d.noFit != "" || !d.open() || (settled && !d.stale()) || d.decision.Next == nil {
		return l, false, nil
	}
	l, err = diag.LookingFor(d.kase)
	return l, err == nil && l.Minutes > 0, err
}

// forMinutes prices time at the shop's rate, before tax.
func (a *account) forMinutes(minutes float64) int64 {
	return int64(math.Round(minutes / 60 * float64(a.shop.LabourPerHourMinor)))
}

func (a *account) timeAndMoney(minutes float64) string {
	return templates.Commas(templates.MinutesWords(a.l, minutes), a.say(a.withTax(a.forMinutes(minutes))))
}

// tax is the rate that lines take unless another is chosen.
func (a *account) tax() int {
	if len(a.taxes) == 0 {
		return 0
	}
	return a.taxes[0].PPM
}

func (a *account) withTax(net int64) int64 { return net + share(net, int64(a.tax())) }

// lineAmount is what the store will make of a line.
func (a *account) lineAmount(l store.Line) int64 { return share(l.UnitMinor, l.QuantityMilli*1000) }

func (a *account) core() (sum int64) {
	for _, l := range a.Lines {
		if l.Status != store.LineDeclined {
			sum += share(l.CoreMinor, l.QuantityMilli*1000)
		}
	}
	return sum
}

func (a *account) scopeView(scope store.Scope, look diag.Looking) templates.ScopeView {
	return a.askFor(scope, look, 0)
}

// askFor is a scope's view that asks for no less than an amount.
func (a *account) askFor(scope store.Scope, look diag.Looking, least int64) templates.ScopeView {
	d := a.desk
	v := templates.ScopeView{ID: string(scope), Name: templates.ScopeNames[string(scope)], Form: templates.NewYesForm(string(scope), a.currency)}
	v.Form.ID, v.Form.Who.Value = store.NewID(), d.Customer.Name
	yes, agreed := a.InForce(scope)
	done, doneTax := a.Sum(scope, store.LineDone)
	more, moreTax := a.Sum(scope, store.LineOffered, store.LineAccepted)
	planned := max(done+doneTax+more+moreTax, least)
	limit := int64(0)
	if agreed {
		limit = yes.LimitMinor
		v.Limit, v.Who, v.Words = a.say(limit), yes.Who, yes.Words
		v.Done, v.Left = a.say(done+doneTax), a.say(limit-done-doneTax)
	}
	work := templates.WorkMending
	if scope == store.ScopeDiagnosis {
		// What is ahead, or what is on the clock already, whichever is more.
		work = templates.WorkLooking
		ahead := a.forMinutes(a.spent() + look.Minutes90)
		planned = max(planned, a.withTax(ahead))
	}
	if planned > limit && d.open() {
		// A round sum is easier to say and leaves a little room.
		want := roundUp(planned, pow10(a.minor)*5)
		agreedTo := ""
		if agreed {
			agreedTo = a.say(limit)
		}
		v.Over, v.AskLimit = templates.OverWords(d.l, a.say(planned), agreedTo), a.say(want)
		v.Lang = a.theirs.Code()
		v.Asks = templates.AskWords(a.theirs, d.Customer.Name, carName(d.Vehicle), d.shop.Name, agreedTo, a.say(want), work)
		if d.Customer.Phone != "" {
			v.Tel = "tel:" + telephone(d.Customer.Phone)
			v.SMS = "sms:" + telephone(d.Customer.Phone) + "?body=" + url.PathEscape(v.Asks)
		}
		if d.Customer.Email != "" {
			v.Mail = "mailto:" + url.PathEscape(d.Customer.Email) + "?body=" + url.PathEscape(v.Asks)
		}
		v.Form.Limit.Value = a.plain(want)
	}
	v.Form.Shown = v.Asks != ""
	for _, y := range slices.Backward(a.Authorisations) {
		if y.Scope == scope {
			v.History = append(v.History, templates.YesLine(d.l, d.clock.moment(y.SaidAt), a.say(y.LimitMinor), y.Who, y.How, y.Words, y.ByName))
		}
	}
	return v
}

func roundUp(n, step int64) int64 { return (n + step - 1) / step * step }

// telephone keeps what a telephone can dial.
func telephone(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' || r == '+' || r == '*' || r == '#' {
			return r
		}
		return -1
	}, s)
}

func (a *account) lineView(l store.Line) templates.MoneyLine {
	d := a.desk
	v := templates.MoneyLine{ID: l.ID, Words: a.lineWords(l), Quantity: a.style.short(l.QuantityMilli, 3), Unit: a.say(l.UnitMinor), Amount: a.say(l.AmountMinor + l.TaxMinor),
		Status: string(l.Status), Said: templates.LineStatusWord(string(l.Status)), Movable: l.InvoiceID == nil,
		Consequence: templates.ConsequenceField(a.consequence(l))}
	if l.Kind == "labour" {
		v.Quantity += " h"
	}
	if l.TaxPPM > 0 {
		v.Tax = templates.TaxWords(d.l, a.percent(l.TaxPPM))
	}
	v.Detail = a.partDetail(l)
	if l.Status == store.LineDeclined {
		v.Consequence.Value = a.consequenceIn(l)
	}
	if l.InvoiceID != nil {
		for _, doc := range a.Documents {
			if doc.ID == *l.InvoiceID {
				v.Invoice = strings.ToLower(templates.DocumentTitle(d.l, doc.Kind, doc.Number))
			}
		}
	}
	return v
}

func (a *account) partDetail(l store.Line) string {
	if l.Kind != "part" {
		return ""
	}
	var parts []string
	if l.SensorKind != "" {
		parts = append(parts, a.spotWords(l.Bank, l.Position), templates.SensorWords(a.l, string(l.SensorKind), l.Wires), l.Connector)
	}
	if l.PartNumber != "" {
		parts = append(parts, templates.NumberWords(a.l, l.PartNumber))
	}
	parts = append(parts, l.Supplier)
	if l.CoreMinor > 0 {
		parts = append(parts, templates.CoreWords(a.l, a.say(l.CoreMinor)))
	}
	return templates.Commas(parts...)
}

func (a *account) consequence(l store.Line) string {
	first := slices.ContainsFunc(a.mendFirst(), func(c diag.CauseRef) bool { return c.Cause == l.Cause && c.Bank == l.Bank })
	return a.l.T(templates.UsualConsequence(l.Kind, l.SensorKind != "" || l.Position > 0, first && l.Cause != ""))
}

// lineWords says a line that the job called for in the reader's language. What a person
// typed stays as it is.
func (a *account) lineWords(l store.Line) string {
	usual := func(d *desk) []string {
		at := d.spotWords(l.Bank, l.Position)
		out := []string{d.l.T(templates.SearchLine), templates.FitLine(d.l, at), templates.PartLine(d.l, at)}
		if info, ok := diag.CauseByID(l.Cause); ok {
			out = append(out, templates.MendLine(d.l, info.Mend, at))
		}
		return out
	}
	for _, o := range a.tongues {
		if i := slices.Index(usual(a.desk.in(o)), l.Words); i >= 0 {
			return usual(a.desk)[i]
		}
	}
	return l.Words
}

func (a *account) consequenceIn(l store.Line) string {
	return templates.ConsequenceIn(a.l, a.tongues, l.Consequence)
}

func (a *account) mendFirst() []diag.CauseRef {
	if v, ok := a.Verdict(); ok {
		return v.Verdict.First
	}
	return nil
}

// partsWanted are the sensors that verdict or override want renewed.
func (a *account) partsWanted() []diag.Part {
	_, _, parts, _ := a.inForce()
	return parts
}

// suggestion is a line that follows from the job.
type suggestion struct {
	key  string
	line store.Line
	href string // a form, where something has to be typed
}

// suggested lists what the job calls for and no line covers yet.
func (a *account) suggested() []suggestion {
	d := a.desk
	var out []suggestion
	rate := func(scope store.Scope, words string, minutes float64) store.Line {
		return store.Line{JobID: d.Job.ID, Scope: scope, Kind: "labour", Words: words, QuantityMilli: tenths(minutes),
			UnitMinor: a.shop.LabourPerHourMinor, TaxPPM: a.tax()}
	}
	billed := 0.0
	for _, l := range a.Lines {
		if l.Scope == store.ScopeDiagnosis && l.Kind == "labour" && l.Status != store.LineDeclined {
			billed += float64(l.QuantityMilli) / 1000 * 60
		}
	}
	if left := a.spent() - billed; left > 3 {
		out = append(out, suggestion{key: "search", line: rate(store.ScopeDiagnosis, d.l.T(templates.SearchLine), left)})
	}
	v, _, parts, ok := d.inForce()
	if !ok {
		return out
	}
	covered := func(kind, cause string, bank, position int) bool {
		return slices.ContainsFunc(a.Lines, func(l store.Line) bool {
			return l.Kind == kind && (cause == "" || l.Cause == cause) && l.Bank == bank && (position == 0 || l.Position == position)
		})
	}
	for _, c := range slices.Concat(v.Verdict.First, v.Verdict.Mend) {
		info, known := diag.CauseByID(c.Cause)
		if !known || info.Part || covered("labour", c.Cause, c.Bank, 0) || slices.ContainsFunc(out, func(s suggestion) bool { return s.key == "mend/"+causeKey(c) }) {
			continue
		}
		l := rate(store.ScopeRepair, templates.MendLine(d.l, info.Mend, d.spotWords(c.Bank, c.Position)), info.Minutes)
		l.Cause, l.Bank, l.Position = c.Cause, c.Bank, c.Position
		out = append(out, suggestion{key: "mend/" + causeKey(c), line: l})
	}
	for _, p := range parts {
		at := d.spotWords(p.Bank, p.Position)
		if !covered("labour", "", p.Bank, p.Position) {
			l := rate(store.ScopeRepair, templates.FitLine(d.l, at), a.fitMinutes())
			l.Bank, l.Position = p.Bank, p.Position
			out = append(out, suggestion{key: fmt.Sprintf("fit/%d-%d", p.Bank, p.Position), line: l})
		}
		if !covered("part", "", p.Bank, p.Position) {
			out = append(out, suggestion{line: store.Line{Words: templates.PriceThePart(d.l, at)},
				href: fmt.Sprintf("%s?add=part&at=%d-%d#form", a.base(), p.Bank, p.Position)})
		}
	}
	return out
}

// fitMinutes is what fitting a sensor takes by the model.
func (a *account) fitMinutes() float64 {
	info, _ := diag.CauseByID("sensor_aged")
	return info.Minutes
}

// tenths bills time in tenths of an hour.
func tenths(minutes float64) int64 { return max(100, int64(math.Ceil(minutes/6-1e-9))*100) }

// spent is the time the search took: as noted, or by the model for the tests that are
// written down.
func (a *account) spent() float64 {
	if a.Minutes > 0 {
		return a.Minutes
	}
	seen := map[string]bool{}
	sum := 0.0
	for _, e := range a.Standing() {
		t, ok := testOf(e)
		if key := fmt.Sprint(t.ID, e.Body.Bank, e.Body.Position); ok && !seen[key] {
			seen[key] = true
			sum += t.Minutes
		}
	}
	return sum
}

// testOf is the test that was done here for an entry; ok is false where none was: others
// told it, or the module had kept it.
func testOf(e store.Entry) (t diag.TestInfo, ok bool) {
	if e.Source == store.Told {
		return t, false
	}
	t, ok = diag.TestByID(e.Body.TestDone())
	return t, ok && t.ID != "road_proof"
}

// yes reads a customer's yes.
func (f *form) yes(y *templates.YesForm, a *account) store.NewAuthorisation {
	y.Shown, y.ID = true, cmp.Or(f.r.PostFormValue("id"), store.NewID())
	n := store.NewAuthorisation{ID: y.ID, JobID: a.Job.ID, Scope: store.Scope(y.Scope), LimitMinor: f.amount(&y.Limit, a.till, 0),
		Who: f.text(&y.Who, 200), How: f.choice(&y.How), Words: f.text(&y.Words, 4000)}
	if at := f.value(&y.When); at != "" {
		var err error
		if n.SaidAt, err = time.ParseInLocation("2006-01-02T15:04", at, a.clock.zone); err != nil {
			f.wrong(&y.When, templates.SayNotDate)
		}
	}
	done, tax := a.Sum(n.Scope, store.LineDone)
	if n.LimitMinor < done+tax && y.Limit.Error == nil && y.Limit.Value != "" {
		f.wrong(&y.Limit, templates.SayBelowDone(a.l, a.say(done+tax)))
	}
	return n
}

// yes writes a customer's yes down.
func (s *server) yes(w http.ResponseWriter, r *http.Request) error {
	a, err := s.accountOf(r)
	if err != nil {
		return err
	}
	scope := store.Scope(r.PostFormValue("scope"))
	if scope != store.ScopeDiagnosis && scope != store.ScopeRepair {
		return trouble(templates.TroubleInvalid, "")
	}
	look, ahead, err := a.looking()
	if err != nil {
		return err
	}
	f := form{r: r}
	y := templates.NewYesForm(string(scope), a.currency)
	n := f.yes(&y, a)
	if scope == store.ScopeDiagnosis && ahead {
		told := map[string]any{"minutes": math.Round(look.Minutes), "minutes_90": math.Round(look.Minutes90), "currency": a.currency,
			"minor": a.withTax(a.forMinutes(look.Minutes)), "minor_90": a.withTax(a.forMinutes(look.Minutes90))}
		if n.Promise, err = json.Marshal(told); err != nil {
			return err
		}
	}
	if !f.bad() {
		_, err := s.store.Authorise(r.Context(), viewer(r).PersonID, n)
		if err == nil {
			s.say(w, templates.DidYes)
			return see(w, r, a.base()+"#"+string(scope))
		}
		if !f.take(err, &y.Limit, &y.Who, &y.How, &y.When, &y.Words) {
			return err
		}
	}
	y.Refusal = f.refusal()
	return s.refuseAccount(w, r, a, func(v *accountView) {
		for i := range v.Scopes {
			if v.Scopes[i].ID == string(scope) {
				v.Scopes[i].Form = y
			}
		}
	})
}

// ask notes that the customer was asked for a new yes.
func (s *server) ask(w http.ResponseWriter, r *http.Request) error {
	a, err := s.accountOf(r)
	if err != nil {
		return err
	}
	look, _, err := a.looking()
	if err != nil {
		return err
	}
	scope := store.Scope(r.PostFormValue("scope"))
	least := int64(0)
	if n := a.decision.Next; n != nil && scope == store.ScopeDiagnosis {
		least = a.comesTo(n.Minutes)
	}
	if v := a.askFor(scope, look, least); v.AskLimit != "" {
		if err := s.store.AddNote(r.Context(), viewer(r).PersonID, a.Job.ID, templates.AskedNote(a.l, v.AskLimit, string(scope))); err != nil {
			return err
		}
		s.say(w, templates.DidAsked)
	}
	switch r.PostFormValue("from") {
	case "job":
		return see(w, r, a.desk.base()+"#next")
	case "bay":
		return see(w, r, a.desk.base()+"/bay#next")
	}
	return see(w, r, a.base()+"#"+url.PathEscape(string(scope)))
}

// moveLine moves a line on or back, declines it or takes it away.
func (s *server) moveLine(w http.ResponseWriter, r *http.Request) error {
	a, err := s.accountOf(r)
	if err != nil {
		return err
	}
	id, err := idIn(r, "line")
	if err != nil {
		return err
	}
	i := slices.IndexFunc(a.Lines, func(l store.Line) bool { return l.ID == id })
	if i < 0 {
		return trouble(templates.TroubleNotFound, "")
	}
	who := viewer(r).PersonID
	f := form{r: r}
	field := templates.ConsequenceField(a.consequence(a.Lines[i]))
	switch act := r.PostFormValue("act"); act {
	case "remove":
		err = s.store.RemoveLine(r.Context(), who, a.Job.ID, id)
	case "declined":
		if words := f.text(&field, 2000); !f.bad() {
			err = s.store.DeclineLine(r.Context(), who, a.Job.ID, id, words)
		}
	case "offered", "accepted", "done":
		err = s.store.SetLineStatus(r.Context(), who, a.Job.ID, id, store.LineStatus(act))
	default:
		return trouble(templates.TroubleInvalid, "")
	}
	if errors.Is(err, &store.Error{Kind: store.Rule, Constraint: "lines_within_authorisation"}) {
		l := a.Lines[i]
		done, tax := a.Sum(l.Scope, store.LineDone)
		limit := ""
		if y, ok := a.InForce(l.Scope); ok {
			limit = a.say(y.LimitMinor)
		}
		f.wrong(nil, templates.Mend{Reason: templates.SayBeyond(a.l, a.say(done+tax+l.AmountMinor+l.TaxMinor), limit)})
	} else if err != nil && !f.take(err, &field) {
		return err
	}
	if f.bad() {
		return s.refuseAccount(w, r, a, func(v *accountView) {
			v.Refusal = f.refusal()
			v.Lines[i].Consequence = field
		})
	}
	if r.PostFormValue("act") == "remove" {
		return see(w, r, a.base()+"#lines")
	}
	return see(w, r, fmt.Sprintf("%s#line-%d", a.base(), id))
}

// documentsPossible says whether there is anything to put on an estimate or invoice.
func (a *account) documentsPossible() (estimate, invoice bool) {
	for _, l := range a.Lines {
		estimate = estimate || l.Status != store.LineDeclined
		invoice = invoice || (l.Status == store.LineDone && l.InvoiceID == nil)
	}
	return estimate, invoice
}

func (a *account) documentView(doc store.Document) templates.DocumentLine {
	v := templates.DocumentLine{ID: doc.ID, Href: fmt.Sprintf("/documents/%d", doc.ID), Title: templates.DocumentTitle(a.l, doc.Kind, doc.Number),
		When: templates.Commas(a.clock.moment(doc.At), doc.ByName), Total: a.say(doc.TotalMinor), Void: doc.VoidedWhy}
	if doc.VoidedAt != nil {
		return v
	}
	paid := a.Paid(doc.ID)
	if doc.Kind == "invoice" {
		open, was := "", ""
		if doc.TotalMinor > paid {
			open = a.say(doc.TotalMinor - paid)
		}
		if paid > 0 {
			was = a.say(paid)
		}
		v.Paid = templates.PaidWords(a.l, was, open)
		if open != "" {
			v.Pay = a.payForm(doc)
		}
	}
	if paid == 0 {
		v.Why = new(templates.VoidField())
	}
	return v
}

func (a *account) payForm(doc store.Document) *templates.PayForm {
	p := templates.NewPayForm(a.currency)
	p.ID, p.Amount.Value = store.NewID(), a.plain(doc.TotalMinor-a.Paid(doc.ID))
	return &p
}
