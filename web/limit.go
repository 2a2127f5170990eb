package web

import (
	"fmt"
	"net/http"
	"slices"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
)

// comesTo is what looking comes to with another test: as it would be billed, or what is
// billed already, whichever is more. Tax is included.
func (a *account) comesTo(minutes float64) int64 {
	price := func(m float64) int64 {
		return a.withTax(a.lineAmount(store.Line{UnitMinor: a.shop.LabourPerHourMinor, QuantityMilli: tenths(m)}))
	}
	var labour, other int64
	for _, l := range a.Lines {
		switch {
		case l.Scope != store.ScopeDiagnosis || l.Status == store.LineDeclined:
		case l.Kind == "labour" && l.Status == store.LineDone:
			labour += l.AmountMinor + l.TaxMinor
		case l.Kind != "labour":
			other += l.AmountMinor + l.TaxMinor
		}
	}
	return max(price(a.spent()+minutes), labour+price(minutes)) + other
}

// within says whether the next test stays within the customer's yes to looking. One that
// goes past it is not to be begun, so its card asks for a new yes instead of offering it.
// What was found all the same can always be written down: evidence is never refused.
func (s *server) within(r *http.Request, d *desk, n *diag.NextTest, from string) (templates.Limit, error) {
	var l templates.Limit
	if n == nil || !d.open() || n.Test == "road_proof" || d.shop.LabourPerHourMinor == 0 {
		return l, nil
	}
	if !slices.ContainsFunc(d.Log, func(l store.LogLine) bool { return l.What == "authorised" }) {
		l.NoYes = d.base() + "/account#diagnosis"
		return l, nil
	}
	a, err := s.accountWith(r, d)
	if err != nil {
		return l, err
	}
	yes, agreed := a.InForce(store.ScopeDiagnosis)
	if !agreed {
		l.NoYes = d.base() + "/account#diagnosis"
		return l, nil
	}
	total := a.comesTo(n.Minutes)
	if total <= yes.LimitMinor {
		return l, nil
	}
	look, _, err := a.looking()
	if err != nil {
		return l, err
	}
	v := a.askFor(store.ScopeDiagnosis, look, total)
	l.Past, l.Say, l.From = &v, templates.PastLimit(a.l, a.say(total), a.say(yes.LimitMinor)), from
	l.Account = fmt.Sprintf("%s#%s", a.base(), store.ScopeDiagnosis)
	return l, nil
}
