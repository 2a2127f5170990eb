package web

import (
	"errors"
	"net/http"
	"strings"
	"time"

	"crosscount/store"
	"crosscount/templates"
)

// A car driven further than this in a day was read wrongly, or in the other unit.
const mostKmADay = 1500

// theOne is where to go on when a search names a single car beyond doubt: by its
// plate or its VIN.
func theOne(v templates.NewJobView) string {
	q := foldPlate(v.Search.Value)
	if len(v.Cars) != 1 || q == "" || (foldPlate(v.Cars[0].Plate) != q && v.Cars[0].VIN != q) {
		return ""
	}
	return v.Cars[0].Href
}

func foldPlate(s string) string {
	return strings.ToUpper(strings.NewReplacer(" ", "", "-", "", ".", "", "·", "").Replace(strings.TrimSpace(s)))
}

// carsFound answers a search while it is typed.
func (s *server) carsFound(w http.ResponseWriter, r *http.Request) error {
	v := templates.NewNewJob(templates.Page{})
	v.Search.Value = strings.TrimSpace(r.URL.Query().Get("q"))
	if v.Search.Value == "" {
		return s.render(w, r, http.StatusOK, templates.Nothing())
	}
	if err := s.searchCars(r.Context(), &v); err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, templates.CarsFound(v))
}

// nearest tells the engine and sensors of the nearest car the shop knows.
func (s *server) nearest(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	v := store.Vehicle{Make: strings.TrimSpace(q.Get("make")), Model: strings.TrimSpace(q.Get("model"))}
	f := form{r: r}
	f.r.PostForm = q
	v.ModelYear = int(f.whole(&templates.Field{Name: "model_year"}, 0, 2200))
	like, err := s.store.LayoutLike(r.Context(), v)
	if errors.Is(err, store.ErrNotFound) {
		writeJSON(w, http.StatusOK, map[string]any{})
		return nil
	}
	if err != nil {
		return err
	}
	known, err := s.store.Vehicle(r.Context(), like.VehicleID)
	if err != nil {
		return err
	}
	d := &desk{l: tongue(r), car: known.Diag(like.Sensors, 0)}
	var sensors []string
	for _, x := range like.Sensors {
		sensors = append(sensors, d.spotWords(x.Bank, x.Position)+" ("+templates.SensorWords(d.l, string(x.Kind), x.Wires)+")")
	}
	writeJSON(w, http.StatusOK, map[string]any{
		"say": templates.NearestWords(tongue(r), carName(known), sensors),
		"fill": map[string]any{"cylinders": known.Cylinders, "displacement_l": trim(known.DisplacementL),
			"arrangement": known.Arrangement, "air_metering": known.AirMetering, "layout": likeNearest},
	})
	return nil
}

// odometer asks about a reading that does not fit the last visit. It returns the
// reason given for one that stands all the same.
func (f *form) odometer(in *templates.IntakeForm, h store.VehicleHistory, read int, unit string, now time.Time) (why string) {
	if h.LastKm == 0 {
		return ""
	}
	km := read
	if unit == "mi" {
		km = int(float64(read)*kmOfMile + .5)
	}
	last := thousands(int64(inShop(h.LastKm, unit))) + " " + unit
	var m templates.Mend
	switch days := daysSince(h.Jobs, now); {
	case km < h.LastKm:
		m = templates.SayOdometerBack(tongue(f.r), last, unit == "mi" && read >= h.LastKm)
	case days >= 0 && km-h.LastKm > mostKmADay*(days+1):
		m = templates.SayOdometerFar(tongue(f.r), last, days)
	default:
		return ""
	}
	in.AskOdometer = true
	if why = f.text(&in.OdometerWhy, 1000); why == "" {
		f.wrong(&in.Odometer, m)
	}
	return why
}

// daysSince is how long ago the odometer was last read; −1 if never.
func daysSince(jobs []store.JobSummary, now time.Time) int {
	for _, j := range jobs { // the latest first
		if j.OdometerKm != nil {
			return int(now.Sub(j.OpenedAt).Hours() / 24)
		}
	}
	return -1
}
