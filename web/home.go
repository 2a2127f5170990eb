package web

import (
	"fmt"
	"net/http"
	"slices"
	"time"

	"crosscount/store"
	"crosscount/templates"
)

// weighFor bounds how long one look at the first page weighs jobs anew; the rest are
// weighed by the next look, or when they are opened.
const weighFor = 200 * time.Millisecond

const papersShown = 8 // reminders, the first due first

func (s *server) home(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	shop, _, err := s.shop(ctx)
	if err != nil {
		return err
	}
	took, err := s.testMinutes(ctx)
	if err != nil {
		return err
	}
	jobs, err := s.store.OpenJobs(ctx)
	if err != nil {
		return err
	}
	clock := clockIn(tongue(r), shop, s.now())
	who := viewer(r)
	v := templates.HomeView{Page: s.page(w, r, templates.AtHome, templates.TitleHome), Date: clock.day(s.now()), Open: len(jobs)}

	order := []string{string(store.Technician), string(store.Writer), customer, string(store.Owner)}
	if i := slices.Index(order, string(who.Role)); i > 0 {
		order = append([]string{string(who.Role)}, slices.Delete(order, i, i+1)...)
	}
	groups := map[string]*templates.MoveGroup{}
	for _, whose := range order {
		groups[whose] = &templates.MoveGroup{ID: whose, Whose: whose, Yours: whose == string(who.Role)}
	}
	until := time.Now().Add(weighFor)
	for _, j := range jobs {
		m, err := s.moveOf(r, j, shop, took, until)
		if err != nil {
			return err
		}
		g := groups[m.Whose]
		switch mine := j.TechnicianID != nil && *j.TechnicianID == who.PersonID; {
		case !g.Yours || m.Whose != string(store.Technician) || mine || j.TechnicianID == nil:
			g.Moves = append(g.Moves, m)
		default:
			g.Other = append(g.Other, m)
		}
		if g.Yours && m.Whose == string(store.Technician) { // one's own before nobody's
			slices.SortStableFunc(g.Moves, func(a, b templates.MoveView) int {
				return rank(a.Worker == who.Name) - rank(b.Worker == who.Name)
			})
		}
	}
	papers, err := s.store.OpenConverterPapers(ctx)
	if err != nil {
		return err
	}
	for _, c := range papers {
		if len(v.Papers) == papersShown {
			break
		}
		v.Papers = append(v.Papers, templates.ConverterLine{Say: templates.ConverterTagged(tongue(r), c.PartNumber, c.Tag), Due: converterDue(tongue(r), c, clock),
			Href: fmt.Sprintf("/jobs/%d/account?converter=%d#converter", c.JobID, c.ID)})
	}
	for _, whose := range order {
		if g := groups[whose]; g.Yours || len(g.Moves) > 0 {
			v.Groups = append(v.Groups, *g)
		}
	}
	return s.render(w, r, http.StatusOK, templates.Home(v))
}

func rank(first bool) int {
	if first {
		return 0
	}
	return 1
}

// moveOf asks the engine only where the facts alone do not say what is next.
func (s *server) moveOf(r *http.Request, j store.OpenJob, shop store.Shop, took []store.TestMinutes, until time.Time) (templates.MoveView, error) {
	var d *desk
	unsettled := j.DiagnosedAt == nil && j.Own > 0 && j.Sensors > 0
	again := j.DiagnosedAt != nil && j.RepairedAt == nil && (j.OwnSince > 0 || (j.ProofPassed != nil && !*j.ProofPassed))
	if (unsettled || again) && time.Now().Before(until) {
		var err error
		if d, err = s.deskWith(r.Context(), j.ID, shop, took); err != nil {
			return templates.MoveView{}, err
		}
	}
	m := nextMove(tongue(r), j, d)
	clock := clockIn(tongue(r), shop, s.now())
	m.Href, m.Job = fmt.Sprintf("/jobs/%d", j.ID)+inTheBay(m.Act, j, viewer(r)), j.ID
	m.Car, m.Plate = templates.CarWords(j.ModelYear, j.Make, j.Model), j.Plate
	m.Customer, m.Phone = j.CustomerName, j.CustomerPhone
	m.Since = templates.SinceWords(tongue(r), clock.days(since(j), s.now()))
	m.Comeback = j.ComebackOf != nil
	if j.TechnicianName != nil {
		m.Worker = *j.TechnicianName
	}
	return m, nil
}

// inTheBay leads whoever looks for the cause to the bay page, and everyone else, and
// every other act, to the whole job.
func inTheBay(act templates.Act, j store.OpenJob, who *store.SignedIn) string {
	if who.Role != store.Technician && (j.TechnicianID == nil || *j.TechnicianID != who.PersonID) {
		return ""
	}
	switch act {
	case templates.ActRead:
		return "/bay#f-code"
	case templates.ActTest, templates.ActWeigh:
		return "/bay"
	}
	return ""
}

// since is when the job last moved.
func since(j store.OpenJob) time.Time {
	t := j.OpenedAt
	for _, x := range []*time.Time{j.LastEntryAt, j.DiagnosedAt, j.ApprovedAt, j.RepairedAt, j.ProvedAt} {
		if x != nil && x.After(t) {
			t = *x
		}
	}
	return t
}
