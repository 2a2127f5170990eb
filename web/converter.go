package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

const dateForm = "2006-01-02"

// converterViews shows a job's converter papers, and the form where a converter is
// replaced.
func (s *server) converterViews(r *http.Request, a *account, v *accountView) error {
	papers, err := s.store.ConverterPapers(r.Context(), a.Job.ID)
	if err != nil {
		return err
	}
	for _, c := range papers {
		v.Converters = append(v.Converters, templates.ConverterLine{ID: c.ID, Say: templates.ConverterSay(a.l, a.converterPlace(c.Bank), c.PartNumber),
			Due: converterDue(a.l, c, a.clock), Href: fmt.Sprintf("%s?converter=%d#converter", a.base(), c.ID)})
	}
	replaced := func(c diag.CauseRef) bool { return c.Cause == converterCause || c.Cause == exhaustCause }
	if len(papers) > 0 || slices.ContainsFunc(a.toMend(), replaced) || slices.ContainsFunc(a.Repairs, func(x store.Repair) bool {
		return replaced(diag.CauseRef{Cause: x.Cause})
	}) {
		f := a.converterForm()
		v.Converter = &f
	}
	return nil
}

func (a *account) converterPlace(bank int) string {
	if bank == 0 {
		return a.l.T(templates.OnlyConverter)
	}
	return a.spotWords(bank, 0)
}

func converterDue(l *lang.Language, c store.ConverterPaper, clock wallClock) string {
	return templates.ConverterDue(l, clock.calendar(c.KeepUnitUntil), clock.calendar(c.KeepPaperUntil), c.UnitGoneOn != nil, c.SignedOn != nil, c.CardFilledOn != nil)
}

func (a *account) converterForm() templates.ConverterForm {
	banks := a.banks()
	if len(banks) == 1 {
		banks = []templates.Option{{Value: "0", Label: templates.OnlyConverter}}
	}
	f := templates.NewConverterForm(banks)
	f.Name.Value, f.Tag.Value = a.Customer.Name, fmt.Sprintf("CC-%d", a.Job.ID)
	f.Removed.Value = a.clock.now.Format(dateForm)
	return f
}

func (s *server) presetConverter(r *http.Request, a *account, f *templates.ConverterForm, id int64) error {
	papers, err := s.store.ConverterPapers(r.Context(), a.Job.ID)
	if err != nil {
		return err
	}
	for _, c := range papers {
		if c.ID != id || f == nil {
			continue
		}
		date := func(t *time.Time) string {
			if t == nil {
				return ""
			}
			return t.Format(dateForm)
		}
		f.ID, f.Bank.Value, f.Need.Value, f.Number.Value, f.Tag.Value, f.Name.Value = c.ID, strconv.Itoa(c.Bank), c.Need, c.PartNumber, c.Tag, c.CustomerName
		f.Removed.Value, f.Invoiced.Value, f.Signed.Value, f.Card.Value, f.Gone.Value = c.RemovedOn.Format(dateForm), date(c.InvoicedOn), date(c.SignedOn), date(c.CardFilledOn), date(c.UnitGoneOn)
	}
	return nil
}

// saveConverter keeps a converter's papers.
func (s *server) saveConverter(w http.ResponseWriter, r *http.Request) error {
	a, err := s.accountOf(r)
	if err != nil {
		return err
	}
	f := form{r: r}
	cf := a.converterForm()
	date := func(fd *templates.Field) *time.Time {
		v := f.text(fd, 10)
		if v == "" {
			return nil
		}
		t, err := time.Parse(dateForm, v)
		if err != nil {
			f.wrong(fd, templates.SayNotDate)
			return nil
		}
		return &t
	}
	c := store.ConverterPaper{JobID: a.Job.ID, Need: f.text(&cf.Need, 4000), PartNumber: f.text(&cf.Number, 100), Tag: f.text(&cf.Tag, 100),
		CustomerName: f.text(&cf.Name, 200), InvoicedOn: date(&cf.Invoiced), SignedOn: date(&cf.Signed), CardFilledOn: date(&cf.Card), UnitGoneOn: date(&cf.Gone)}
	c.Bank, _ = strconv.Atoi(f.choice(&cf.Bank))
	if removed := date(&cf.Removed); removed != nil {
		c.RemovedOn = *removed
	}
	c.ID, _ = strconv.ParseInt(r.PostFormValue("paper"), 10, 64)
	cf.ID = c.ID
	if !f.bad() {
		_, err := s.store.SaveConverterPaper(r.Context(), viewer(r).PersonID, c)
		if err == nil {
			s.say(w, templates.DidPapers)
			return see(w, r, a.base()+"#converter")
		}
		if !f.take(err, &cf.Bank, &cf.Need, &cf.Number, &cf.Tag, &cf.Name, &cf.Removed, &cf.Invoiced, &cf.Signed, &cf.Card, &cf.Gone) {
			return err
		}
	}
	cf.Refusal = f.refusal()
	return s.refuseAccount(w, r, a, func(v *accountView) { v.Converter = &cf })
}
