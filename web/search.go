package web

import (
	"fmt"
	"net/http"
	"strings"

	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

const (
	searchShown = 40
	searchAhead = 7 // while one types
)

// search finds jobs by anything that is known of them.
func (s *server) search(w http.ResponseWriter, r *http.Request) error {
	v, err := s.searched(w, r, searchShown)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, templates.Search(v))
}

// searchFound answers while one types.
func (s *server) searchFound(w http.ResponseWriter, r *http.Request) error {
	limit := searchAhead
	if r.URL.Query().Get("all") != "" {
		limit = searchShown
	}
	v, err := s.searched(w, r, limit)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, templates.SearchFound(v))
}

func (s *server) searched(w http.ResponseWriter, r *http.Request, limit int) (templates.SearchView, error) {
	v := templates.NewSearch(s.page(w, r, templates.AtNowhere, templates.TitleSearch))
	q := strings.TrimSpace(strings.ToValidUTF8(strings.ReplaceAll(r.URL.Query().Get("q"), "\x00", ""), ""))
	if runes := []rune(q); len(runes) > 200 {
		q = string(runes[:200])
	}
	v.Search.Value, v.Page.Find = q, q
	if q == "" {
		return v, nil
	}
	found, err := s.store.Search(r.Context(), q, limit+1)
	if err != nil {
		return v, err
	}
	shop, _, err := s.shop(r.Context())
	if err != nil {
		return v, err
	}
	clock := clockIn(tongue(r), shop, s.now())
	v.Searched, v.More = true, len(found) > limit
	for _, j := range found[:min(len(found), limit)] {
		v.Jobs = append(v.Jobs, foundJob(tongue(r), j, clock))
	}
	return v, nil
}

func foundJob(l *lang.Language, j store.FoundJob, clock wallClock) templates.FoundJob {
	f := templates.FoundJob{Href: fmt.Sprintf("/jobs/%d", j.JobID), Job: j.JobID, Car: templates.CarWords(j.ModelYear, j.Make, j.Model),
		Plate: j.Plate, Customer: j.CustomerName, Phone: j.CustomerPhone, Concern: j.Concern, When: clock.day(j.OpenedAt), Alike: !j.Exact}
	switch {
	case j.CancelledAt != nil:
		f.End = l.T(templates.EndedUnfinished)
	case j.Outcome != nil:
		f.End = templates.OutcomeWord(l, *j.Outcome)
	default:
		f.End = l.T(templates.StillOpen)
	}
	return f
}
