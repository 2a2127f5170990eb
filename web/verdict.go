package web

import (
	"net/http"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
)

// acceptVerdict puts the engine's verdict in force, if it is still the one that was
// on the page.
func (s *server) acceptVerdict(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	f := form{r: r}
	switch {
	case !d.open():
		return trouble(templates.TroubleConflict, templates.SayJobClosed)
	case d.noFit != "":
		return trouble(templates.TroubleRule, d.noFit)
	case d.unread():
		f.wrong(nil, templates.SayNothingRead)
	case r.PostFormValue("fingerprint") != d.fingerprint:
		f.wrong(nil, templates.SayEvidenceMoved)
	case d.decision.Verdict.Decision == diag.DecideOpen:
		f.wrong(nil, templates.SayStillOpen)
	default:
		_, err := s.store.AcceptVerdict(r.Context(), viewer(r).PersonID, store.NewVerdict{JobID: d.Job.ID, Decision: d.decision, Case: d.kase, Fingerprint: d.fingerprint})
		if err == nil {
			return see(w, r, d.base()+"#hand")
		}
		if !f.take(err) {
			return err
		}
	}
	return s.refuseJob(w, r, d, func(v *templates.JobView) {
		if v.Verdict.Accept == nil {
			v.Verdict.Accept = &templates.AcceptForm{Fingerprint: d.fingerprint}
		}
		v.Verdict.Accept.Refusal = f.refusal()
	})
}

// overrideVerdict decides otherwise than the engine, with a reason.
func (s *server) overrideVerdict(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	if !d.open() {
		return trouble(templates.TroubleConflict, templates.SayJobClosed)
	}
	if d.noFit != "" {
		return trouble(templates.TroubleRule, d.noFit)
	}
	o := templates.NewOverrideForm(d.places())
	o.Open, o.Fingerprint = true, d.fingerprint
	f := form{r: r}
	n := store.NewOverride{Decision: f.choice(&o.Decision)}
	for i := range o.Parts {
		if f.value(&o.Parts[i]) == "" {
			continue
		}
		sensor := d.Sensors[i]
		n.Parts = append(n.Parts, diag.Part{Bank: sensor.Bank, Position: sensor.Position, Kind: sensor.Kind})
	}
	n.Reason = f.text(&o.Reason, 4000)
	switch {
	case d.unread():
		f.wrong(nil, templates.SayNothingRead)
	case n.Decision == diag.DecidePart && len(n.Parts) == 0:
		f.wrong(&o.Decision, templates.SayWhichPart)
	case n.Decision == diag.DecideNoPart && len(n.Parts) > 0:
		f.wrong(&o.Decision, templates.SayPartOrNot)
	case r.PostFormValue("fingerprint") != d.fingerprint:
		f.wrong(nil, templates.SayEvidenceMoved)
	}
	if !f.bad() {
		who := viewer(r).PersonID
		var err error
		if v, ok := d.Verdict(); ok && v.Override == nil && !d.stale() {
			err = s.store.OverrideVerdict(r.Context(), who, d.Job.ID, v.ID, n)
		} else {
			_, err = s.store.AcceptVerdict(r.Context(), who, store.NewVerdict{JobID: d.Job.ID, Decision: d.decision, Case: d.kase,
				Fingerprint: d.fingerprint, Override: &n})
		}
		if err == nil {
			return see(w, r, d.base()+"#hand")
		}
		if !f.take(err, &o.Decision, &o.Reason) {
			return err
		}
	}
	o.Refusal = f.refusal()
	return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Verdict.Override = &o })
}
