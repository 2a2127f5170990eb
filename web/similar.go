package web

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
)

const (
	similarLooked = 60
	similarShown  = 5
)

// similar lists jobs of this shop that had a code in common, first those whose cause
// makes likeliest what was found on this car. Jobs that ended without a cause to compare
// come last.
func (s *server) similar(ctx context.Context, d *desk) ([]templates.SimilarJob, error) {
	if d.noFit != "" {
		return nil, nil
	}
	found, err := s.store.SimilarJobs(ctx, d.Job.ID, similarLooked)
	if err != nil || len(found) == 0 {
		return nil, err
	}
	sets := make([][]diag.CauseRef, len(found))
	for i, j := range found {
		sets[i] = j.Causes
	}
	ratios, err := diag.Alike(d.kase, sets)
	if err != nil {
		return nil, fmt.Errorf("comparing job %d: %w", d.Job.ID, err)
	}
	type ranked struct {
		store.SimilarJob
		ratio float64 // negative where there is nothing to compare
	}
	rs := make([]ranked, len(found))
	for i, j := range found {
		rs[i] = ranked{j, ratios[i]}
		if len(j.Causes) == 0 && j.Outcome != store.OutcomeNothingWrong {
			rs[i].ratio = -1
		}
	}
	slices.SortStableFunc(rs, func(a, b ranked) int { return cmp.Compare(b.ratio, a.ratio) })
	var out []templates.SimilarJob
	for _, j := range rs[:min(len(rs), similarShown)] {
		v := templates.SimilarJob{Href: fmt.Sprintf("/jobs/%d", j.JobID), ID: j.JobID, Car: templates.CarWords(j.ModelYear, j.Make, j.Model),
			Was: templates.OutcomeWord(d.l, j.Outcome), Shared: templates.SharedWords(d.l, j.Shared, j.SameFamily), CameBack: j.CameBack}
		if len(j.Causes) > 0 {
			v.Was = strings.Join(each(j.Causes, d.causeWords), "; ")
		}
		if j.ratio >= 0 {
			v.Says = templates.AlikeWords(d.l, j.ratio)
		}
		out = append(out, v)
	}
	return out, nil
}
