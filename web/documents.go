package web

import (
	"cmp"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"

	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/paper"
)

// issue makes an estimate or invoice and keeps it as it stands.
func (s *server) issue(w http.ResponseWriter, r *http.Request) error {
	a, err := s.accountOf(r)
	if err != nil {
		return err
	}
	body := func(doc store.Document, lines []store.Line) (json.RawMessage, error) {
		return json.Marshal(a.in(a.theirs).document(doc, lines))
	}
	who := viewer(r).PersonID
	var doc store.Document
	switch r.PostFormValue("kind") {
	case "estimate":
		doc, err = s.store.IssueEstimate(r.Context(), who, a.Job.ID, body)
	case "invoice":
		doc, err = s.store.IssueInvoice(r.Context(), who, a.Job.ID, body)
	default:
		return trouble(templates.TroubleInvalid, "")
	}
	if err != nil {
		f := form{r: r}
		if !f.take(err) {
			return err
		}
		return s.refuseAccount(w, r, a, func(v *accountView) { v.Refusal = f.refusal() })
	}
	return see(w, r, fmt.Sprintf("/documents/%d", doc.ID))
}

func (s *server) documentOf(r *http.Request) (store.Document, error) {
	id, err := idIn(r, "document")
	if err != nil {
		return store.Document{}, err
	}
	return s.store.Document(r.Context(), id)
}

// documentSheet reads a kept paper back.
func (s *server) documentSheet(r *http.Request) (store.Document, paper.Sheet, error) {
	doc, err := s.documentOf(r)
	if err != nil {
		return doc, paper.Sheet{}, err
	}
	var p paper.Sheet
	if err := json.Unmarshal(doc.Body, &p); err != nil {
		return doc, p, fmt.Errorf("document %d: %w", doc.ID, err)
	}
	if doc.VoidedAt != nil {
		shop, _, err := s.shop(r.Context())
		if err != nil {
			return doc, p, err
		}
		p.Void = templates.VoidWords(s.languageOf(shop, p.Lang), doc.VoidedWhy)
	}
	return doc, p, nil
}

func (s *server) documentPage(w http.ResponseWriter, r *http.Request) error {
	doc, p, err := s.documentSheet(r)
	if err != nil {
		return err
	}
	return s.showPaper(w, r, p, fmt.Sprintf("/jobs/%d/account", doc.JobID), fmt.Sprintf("/documents/%d/pdf", doc.ID))
}

func (s *server) documentPDF(w http.ResponseWriter, r *http.Request) error {
	_, p, err := s.documentSheet(r)
	if err != nil {
		return err
	}
	return sendPDF(w, p)
}

// accountOfDocument loads the job's money a document belongs to.
func (s *server) accountOfDocument(r *http.Request) (*account, store.Document, error) {
	doc, err := s.documentOf(r)
	if err != nil {
		return nil, doc, err
	}
	d, err := s.desk(r.Context(), doc.JobID)
	if err != nil {
		return nil, doc, err
	}
	a, err := s.accountWith(r, d)
	return a, doc, err
}

// pay notes money on an invoice.
func (s *server) pay(w http.ResponseWriter, r *http.Request) error {
	a, doc, err := s.accountOfDocument(r)
	if err != nil {
		return err
	}
	f := form{r: r}
	p := a.payForm(doc)
	p.ID = cmp.Or(r.PostFormValue("id"), p.ID)
	n := store.NewPayment{ID: p.ID, JobID: doc.JobID, DocumentID: doc.ID, AmountMinor: f.amount(&p.Amount, a.till, -1e11),
		Method: f.choice(&p.Method), Words: f.text(&p.Words, 500)}
	if !f.bad() {
		_, err := s.store.AddPayment(r.Context(), viewer(r).PersonID, n)
		if err == nil {
			s.say(w, templates.DidPaid)
			return see(w, r, fmt.Sprintf("%s#document-%d", a.base(), doc.ID))
		}
		if !f.take(err, &p.Amount, &p.Method, &p.Words) {
			return err
		}
	}
	p.Refusal = f.refusal()
	return s.refuseAccount(w, r, a, func(v *accountView) {
		if i := slices.IndexFunc(v.Documents, func(l templates.DocumentLine) bool { return l.ID == doc.ID }); i >= 0 {
			v.Documents[i].Pay = p
		}
	})
}

// voidDocument takes a paper back.
func (s *server) voidDocument(w http.ResponseWriter, r *http.Request) error {
	a, doc, err := s.accountOfDocument(r)
	if err != nil {
		return err
	}
	f := form{r: r}
	why := templates.VoidField()
	words := f.text(&why, 2000)
	if !f.bad() {
		err := s.store.VoidDocument(r.Context(), viewer(r).PersonID, doc.JobID, doc.ID, words)
		if err == nil {
			return see(w, r, fmt.Sprintf("%s#document-%d", a.base(), doc.ID))
		}
		if !f.take(err, &why) {
			return err
		}
	}
	return s.refuseAccount(w, r, a, func(v *accountView) {
		v.Refusal = f.refusal()
		if i := slices.IndexFunc(v.Documents, func(l templates.DocumentLine) bool { return l.ID == doc.ID }); i >= 0 && v.Documents[i].Why != nil {
			v.Documents[i].Why = &why
		}
	})
}
