package web

import (
	"fmt"
	"net/http"
	"strconv"
	"time"

	"crosscount/diag"
	"crosscount/diag/outcome"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// level is the confidence of every interval shown.
const level = 0.95

// lookBack shows what the shop can learn from finished jobs.
func (s *server) lookBack(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	shop, _, err := s.shop(ctx)
	if err != nil {
		return err
	}
	clock := clockIn(tongue(r), shop, s.now())
	v := templates.LookBackView{Page: s.page(w, r, templates.AtLookBack, templates.TitleLookBack), Window: shop.ComebackDays}
	days, _ := strconv.Atoi(r.URL.Query().Get("days")) // anything else is the usual year
	known := false
	for _, d := range templates.LookBackDays {
		known = known || d == days
	}
	if !known {
		days = 365
	}
	v.Days = days
	p := store.Period{From: s.now().AddDate(0, 0, -days), To: s.now().Add(time.Minute)}
	v.Since = clock.day(p.From)
	d := &desk{l: tongue(r), shop: shop, clock: clock}

	totals, err := s.store.Totals(ctx, p)
	if err != nil {
		return err
	}
	v.Closed, v.CameBack, v.Unproved = totals.Closed, totals.CameBack, totals.Unproved
	v.Part, v.NoPart, v.Overridden = totals.Part, totals.NoPart, totals.Overridden
	if v.All, err = rate(d.l, "", totals.CameBack, totals.Closed); err != nil {
		return err
	}

	causes, err := s.store.CauseRates(ctx, p)
	if err != nil {
		return err
	}
	for _, c := range causes {
		row, err := rate(d.l, d.causeWords(diag.CauseRef{Cause: c.Cause}), c.CameBack, c.Closed)
		if err != nil {
			return err
		}
		v.Causes = append(v.Causes, row)
	}
	fitted, err := s.store.FittedRates(ctx, p)
	if err != nil {
		return err
	}
	for _, f := range fitted {
		label := templates.Upper(templates.SpotWords(d.l, templates.Spot{Bank: f.Bank, Position: f.Position})) + ", " + templates.SensorKindWord(d.l, string(f.Kind))
		row, err := rate(d.l, label, f.CameBack, f.Fitted)
		if err != nil {
			return err
		}
		v.Fitted = append(v.Fitted, row)
	}

	back, err := s.store.Comebacks(ctx, p)
	if err != nil {
		return err
	}
	for _, b := range back {
		l := templates.CameBackLine{Job: b.JobID, Earlier: b.EarlierID, Car: templates.CarWords(0, b.Make, b.Model), Plate: b.Plate, Kind: b.Kind,
			Then: templates.AndWords(d.l, each(b.EarlierCauses, d.causeWords)), Now: templates.AndWords(d.l, each(b.Causes, d.causeWords)), When: clock.day(b.OpenedAt)}
		if b.EarlierClosedAt != nil {
			l.Days = clock.days(*b.EarlierClosedAt, b.OpenedAt)
		}
		if b.EarlierKm != nil && b.Km != nil && *b.Km >= *b.EarlierKm {
			l.Driven = thousands(int64(inShop(*b.Km-*b.EarlierKm, shop.DistanceUnit))) + " " + shop.DistanceUnit
		}
		l.Overridden = b.EarlierOverride != nil
		v.Backs = append(v.Backs, l)
	}

	over, err := s.store.Overrides(ctx, p)
	if err != nil {
		return err
	}
	for _, o := range over {
		l := templates.OverrideLine{Job: o.JobID, Who: o.ByName, When: clock.day(o.At), Engine: o.Verdict.Decision, Person: o.Decision, Reason: o.Reason,
			Turned: templates.AndWords(d.l, each(o.Causes, d.causeWords))}
		if o.Outcome != nil && l.Turned == "" {
			l.Turned = templates.OutcomeWord(d.l, *o.Outcome)
		}
		if o.CameBackAs != nil {
			l.CameBackAs = *o.CameBackAs
		}
		v.Overrides = append(v.Overrides, l)
	}
	return s.render(w, r, http.StatusOK, templates.LookBack(v))
}

// rate turns a count into a share with its Wilson interval.
func rate(l *lang.Language, label string, hits, n int) (templates.RateView, error) {
	v := templates.RateView{Label: label, N: n, Hits: hits}
	if n == 0 {
		return v, nil
	}
	r := outcome.Rate{Hits: hits, N: n}
	i, err := r.Wilson(level)
	if err != nil {
		return v, fmt.Errorf("rate of %q: %w", label, err)
	}
	v.Percent = templates.PercentPlain(l, r.Value())
	v.Interval = l.T("%s to %s", templates.PercentPlain(l, i.Low), templates.PercentPlain(l, i.High))
	mille := func(x float64) int { return int(x*1000 + .5) }
	v.Low, v.At, v.High = mille(i.Low), mille(r.Value()), mille(i.High)
	return v, nil
}
