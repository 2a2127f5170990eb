package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"crosscount/diag/obd"
	"crosscount/store"
	"crosscount/templates"
)

func asCodeError(err error) (*obd.CodeError, bool) { return errors.AsType[*obd.CodeError](err) }

// caseFile sends the case as the engine sees it.
func (s *server) caseFile(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	b, err := json.MarshalIndent(d.kase, "", "  ")
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="case-%d.json"`, d.Job.ID))
	_, _ = w.Write(append(b, '\n')) // the reader may have gone
	return nil
}

// assign says who works on a job.
func (s *server) assign(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	people, err := s.store.People(r.Context())
	if err != nil {
		return err
	}
	a := assignForm(d.l, people, d.Job.TechnicianID)
	f := form{r: r}
	id, _ := strconv.ParseInt(f.choice(&a.Who), 10, 64)
	if !f.bad() {
		err := s.store.Assign(r.Context(), viewer(r).PersonID, d.Job.ID, id)
		if err == nil {
			return see(w, r, d.base())
		}
		if !f.take(err, &a.Who) {
			return err
		}
	}
	return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Assign = a })
}

// comebackAsk finds the earlier job a car may have come back from: the last one
// closed within the shop's window.
func (s *server) comebackAsk(ctx context.Context, d *desk) (*templates.ComebackAsk, error) {
	jobs, err := s.store.JobsOf(ctx, d.Vehicle.ID)
	if err != nil {
		return nil, err
	}
	for _, j := range jobs { // the latest first
		if j.ID == d.Job.ID || j.ClosedAt == nil || j.ClosedAt.After(d.Job.OpenedAt) {
			continue
		}
		days := d.clock.days(*j.ClosedAt, d.Job.OpenedAt)
		if days > d.shop.ComebackDays {
			return nil, nil
		}
		return &templates.ComebackAsk{Earlier: j.ID, When: d.clock.day(*j.ClosedAt), Days: days, What: d.endOf(j)}, nil
	}
	return nil, nil
}

// endOf says in a few words how a job ended.
func (d *desk) endOf(j store.JobSummary) string {
	if len(j.Causes) > 0 {
		return strings.Join(each(j.Causes, d.causeWords), "; ")
	}
	if j.Outcome != nil {
		return templates.OutcomeWord(d.l, *j.Outcome)
	}
	return j.Concern
}

// linkComeback links a job to the one it came back from.
func (s *server) linkComeback(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	earlier, err := strconv.ParseInt(r.PostFormValue("earlier"), 10, 64)
	if err != nil {
		return trouble(templates.TroubleInvalid, "")
	}
	err = s.store.LinkComeback(r.Context(), viewer(r).PersonID, store.NewComeback{JobID: d.Job.ID, EarlierID: earlier, Kind: r.PostFormValue("kind")})
	if err != nil {
		return err
	}
	return see(w, r, d.base())
}
