package web

import (
	"net/http"
	"slices"
	"strconv"

	"crosscount/store"
	"crosscount/templates"
)

// headForm corrects what was written down when the car came in.
func (d *desk) headForm() *templates.IntakeForm {
	f := templates.NewIntakeForm(d.shop.DistanceUnit)
	f.Concern.Value = d.Job.Concern
	if d.Job.Odometer != nil {
		f.Odometer.Value, f.OdometerUnit.Value = strconv.Itoa(*d.Job.Odometer), d.Job.OdometerUnit
	}
	return &f
}

// saveHead corrects concern and odometer of an open job. What stood there before is kept
// in the job's log.
func (s *server) saveHead(w http.ResponseWriter, r *http.Request) error {
	d, err := s.deskOf(r)
	if err != nil {
		return err
	}
	if !d.open() {
		return trouble(templates.TroubleConflict, templates.SayJobClosed)
	}
	ctx, who := r.Context(), viewer(r).PersonID
	in := d.headForm()
	f := form{r: r}
	e := store.JobEdit{ID: d.Job.ID, CustomerID: d.Customer.ID, Concern: f.text(&in.Concern, 4000), OdometerUnit: f.choice(&in.OdometerUnit)}
	if d.Job.TechnicianID != nil {
		e.TechnicianID = *d.Job.TechnicianID
	}
	why := ""
	if n := int(f.whole(&in.Odometer, 0, 3000000)); in.Odometer.Value != "" {
		e.Odometer = &n
		if !f.bad() {
			earlier, err := s.earlier(r, d)
			if err != nil {
				return err
			}
			why = f.odometer(in, earlier, n, e.OdometerUnit, d.Job.OpenedAt)
		}
	}
	if !f.bad() {
		err := s.store.Together(ctx, func(st *store.Store) error {
			if err := st.UpdateJob(ctx, who, e); err != nil {
				return err
			}
			for _, n := range d.headNotes(e, why) {
				if err := st.AddNote(ctx, who, d.Job.ID, n); err != nil {
					return err
				}
			}
			return nil
		})
		if err == nil {
			s.say(w, templates.DidHead)
			return see(w, r, d.base())
		}
		if !f.take(err, &in.Concern, &in.Odometer, &in.OdometerUnit) {
			return err
		}
	}
	in.Refusal = f.refusal()
	return s.refuseJob(w, r, d, func(v *templates.JobView) { v.Head = in })
}

// earlier is what the shop saw of the car before this job.
func (s *server) earlier(r *http.Request, d *desk) (store.VehicleHistory, error) {
	h, err := s.store.VehicleHistory(r.Context(), d.Vehicle.ID)
	if err != nil {
		return h, err
	}
	h.LastKm = 0
	h.Jobs = slices.DeleteFunc(h.Jobs, func(j store.JobSummary) bool { return j.ID == d.Job.ID || j.OpenedAt.After(d.Job.OpenedAt) })
	for _, j := range h.Jobs { // the latest first
		if j.OdometerKm != nil {
			h.LastKm = *j.OdometerKm
			break
		}
	}
	return h, nil
}

// headNotes keep what a correction takes away.
func (d *desk) headNotes(e store.JobEdit, why string) (out []string) {
	if e.Concern != d.Job.Concern {
		out = append(out, templates.ConcernWas(d.l, d.Job.Concern))
	}
	was, now := "", ""
	if d.Job.Odometer != nil {
		was = thousands(int64(*d.Job.Odometer)) + " " + d.Job.OdometerUnit
	}
	if e.Odometer != nil {
		now = thousands(int64(*e.Odometer)) + " " + e.OdometerUnit
	}
	if was != now && was != "" {
		out = append(out, templates.OdometerWas(d.l, was))
	}
	if why != "" {
		out = append(out, templates.OdometerNote(d.l, why))
	}
	return out
}
