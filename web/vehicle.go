package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

const spareRows = 2 // empty rows of the sensor form, for sensors to add

func (s *server) vehicleView(w http.ResponseWriter, r *http.Request) (templates.VehicleView, store.VehicleHistory, error) {
	var v templates.VehicleView
	id, err := idIn(r, "vehicle")
	if err != nil {
		return v, store.VehicleHistory{}, err
	}
	h, err := s.store.VehicleHistory(r.Context(), id)
	if err != nil {
		return v, h, err
	}
	shop, _, err := s.shop(r.Context())
	if err != nil {
		return v, h, err
	}
	clock := clockIn(tongue(r), shop, s.now())
	d := &desk{JobFile: store.JobFile{Vehicle: h.Vehicle, Sensors: h.Sensors, Job: store.Job{ClosedAt: new(s.now())}}, car: h.Vehicle.Diag(h.Sensors, h.LastKm),
		l: tongue(r), shop: shop, clock: clock, noFit: "not asked"}
	v = templates.VehicleView{Page: s.page(w, r, templates.AtNowhere, carName(h.Vehicle)), Car: carName(h.Vehicle), Customer: h.Customer.Name,
		Phone: h.Customer.Phone, NewJobHref: fmt.Sprintf("/jobs/new?vehicle=%d", id), Base: fmt.Sprintf("/vehicles/%d", id), Map: d.lineMap()}
	if h.LastKm > 0 {
		v.Odometer = thousands(int64(inShop(h.LastKm, shop.DistanceUnit))) + " " + shop.DistanceUnit
	}
	v.Engine = templates.EngineLine(tongue(r), h.Vehicle.Arrangement, h.Vehicle.Cylinders, trim(h.Vehicle.DisplacementL), h.Vehicle.AirMetering)
	for _, j := range h.Jobs {
		l := templates.HistoryLine{Href: fmt.Sprintf("/jobs/%d", j.ID), ID: j.ID, When: clock.day(j.OpenedAt), Concern: j.Concern, Codes: j.Codes}
		if j.OdometerKm != nil {
			l.Odometer = thousands(int64(inShop(*j.OdometerKm, shop.DistanceUnit))) + " " + shop.DistanceUnit
		}
		switch {
		case j.CancelledAt != nil:
			l.End = d.l.T(templates.EndedUnfinished)
		case j.ClosedAt == nil:
			l.End = d.l.T(templates.StillOpen)
		default:
			l.End = templates.Upper(d.endOf(j))
		}
		for _, p := range j.FittedParts {
			l.Fitted = append(l.Fitted, d.spotWords(p.Bank, p.Position))
		}
		if j.ComebackOf != nil && j.ComebackKind != nil {
			l.CameFrom = &templates.ComebackLine{Href: fmt.Sprintf("/jobs/%d", *j.ComebackOf), ID: *j.ComebackOf, Kind: *j.ComebackKind}
		}
		v.Jobs = append(v.Jobs, l)
	}
	for _, f := range h.Fittings {
		v.Lives = append(v.Lives, sensorLife(d, f))
	}
	v.Form, v.Whose = vehicleForm(h), customerForm(h.Customer)
	v.Sensors = sensorForm(tongue(r), h.Sensors)
	return v, h, nil
}

// sensorLife tells one sensor's time at its place.
func sensorLife(d *desk, f store.Fitting) templates.SensorLife {
	unit := d.shop.DistanceUnit
	l := templates.SensorLife{Spot: templates.Upper(d.spotWords(f.Bank, f.Position)), Kind: templates.SensorKindWord(d.l, string(f.Kind)), Number: f.PartNumber}
	l.Fitted = lifeMoment(d.clock, f.FittedAt, f.FittedKm, unit)
	l.Removed = lifeMoment(d.clock, f.RemovedAt, f.RemovedKm, unit)
	if f.JobID != nil {
		l.FittedHref = fmt.Sprintf("/jobs/%d", *f.JobID)
	}
	if f.RemovedJob != nil {
		l.RemovedHref = fmt.Sprintf("/jobs/%d", *f.RemovedJob)
	}
	if info, ok := diag.CauseByID(f.RemovedWhy); ok {
		l.Why = d.l.T(info.Name)
	} else {
		l.Why = d.l.T(templates.RemovedWord(f.RemovedWhy))
	}
	return l
}

func vehicleForm(h store.VehicleHistory) templates.VehicleForm {
	f := templates.NewVehicleForm()
	c := h.Vehicle
	f.Plate.Value, f.VIN.Value, f.Make.Value, f.Model.Value = c.Plate, c.VIN, c.Make, c.Model
	if c.ModelYear > 0 {
		f.Year.Value = strconv.Itoa(c.ModelYear)
	}
	f.Family.Value, f.Cylinders.Value, f.Arrangement.Value = c.Family, strconv.Itoa(c.Cylinders), c.Arrangement
	f.Displacement.Value, f.Metering.Value = trim(c.DisplacementL), c.AirMetering
	return f
}

func sensorForm(l *lang.Language, sensors []store.Sensor) templates.SensorForm {
	var f templates.SensorForm
	for i := range len(sensors) + spareRows {
		row := templates.NewSensorRow(l, i)
		if i < len(sensors) {
			s := sensors[i]
			row.Place.Value = fmt.Sprintf("%d-%d", s.Bank, s.Position)
			if s.Common {
				row.Place.Value = fmt.Sprintf("c-%d", s.Position)
			}
			row.Kind.Value, row.Wires.Value, row.Connector.Value = string(s.Kind), strconv.Itoa(s.Wires), s.Connector
		}
		f.Rows = append(f.Rows, row)
	}
	return f
}

func (s *server) vehicle(w http.ResponseWriter, r *http.Request) error {
	v, _, err := s.vehicleView(w, r)
	if err != nil {
		return err
	}
	v.Sensors.Open, v.Form.Open = r.URL.Query().Has("sensors"), r.URL.Query().Has("car")
	return s.render(w, r, http.StatusOK, templates.Vehicle(v))
}

// saveVehicle mends a car's data.
func (s *server) saveVehicle(w http.ResponseWriter, r *http.Request) error {
	v, h, err := s.vehicleView(w, r)
	if err != nil {
		return err
	}
	f := form{r: r}
	vf, c := &v.Form, h.Vehicle
	c.Plate, c.Make, c.Model = f.text(&vf.Plate, 20), f.text(&vf.Make, 80), f.text(&vf.Model, 80)
	c.ModelYear = int(f.whole(&vf.Year, 1900, 2200))
	c.Family = f.text(&vf.Family, 80)
	c.Cylinders, c.Arrangement = int(f.whole(&vf.Cylinders, 1, 16)), f.choice(&vf.Arrangement)
	c.DisplacementL, c.AirMetering = f.number(&vf.Displacement, 0.1, 15), f.choice(&vf.Metering)
	before := c.VIN
	if f.value(&vf.VIN); vf.VIN.Value != before {
		c.VIN = f.vin(&vf.VIN, &vf.VINAsIs)
	}
	if !f.bad() {
		err := s.store.UpdateVehicle(r.Context(), viewer(r).PersonID, c)
		if err == nil {
			s.say(w, templates.DidCar)
			return see(w, r, v.Base)
		}
		if !f.take(err, &vf.Plate, &vf.VIN, &vf.Make, &vf.Model, &vf.Year, &vf.Cylinders, &vf.Displacement) {
			return err
		}
	}
	vf.Open, vf.Refusal = true, f.refusal()
	return s.render(w, r, http.StatusUnprocessableEntity, templates.Vehicle(v))
}

func customerForm(c store.Customer) templates.CustomerForm {
	f := templates.NewCustomerForm()
	f.Language.Options = languages(templates.ShopsLanguage)
	f.Name.Value, f.Phone.Value, f.Email.Value, f.Address.Value, f.Language.Value = c.Name, c.Phone, c.Email, c.Address, c.Language
	return f
}

// saveCustomer mends the data of a car's customer.
func (s *server) saveCustomer(w http.ResponseWriter, r *http.Request) error {
	v, h, err := s.vehicleView(w, r)
	if err != nil {
		return err
	}
	f := form{r: r}
	cf, c := &v.Whose, h.Customer
	c.Name, c.Phone, c.Email = f.text(&cf.Name, 200), f.text(&cf.Phone, 60), f.text(&cf.Email, 200)
	c.Address, c.Language = f.text(&cf.Address, 1000), f.choice(&cf.Language)
	if !f.bad() {
		err := s.store.UpdateCustomer(r.Context(), viewer(r).PersonID, c)
		if err == nil {
			s.say(w, templates.DidWhose)
			return see(w, r, v.Base)
		}
		if !f.take(err, &cf.Name, &cf.Phone, &cf.Email, &cf.Address, &cf.Language) {
			return err
		}
	}
	cf.Open, cf.Refusal = true, f.refusal()
	return s.render(w, r, http.StatusUnprocessableEntity, templates.Vehicle(v))
}

// saveSensors replaces a car's sensor locations. An empty row names none.
func (s *server) saveSensors(w http.ResponseWriter, r *http.Request) error {
	v, h, err := s.vehicleView(w, r)
	if err != nil {
		return err
	}
	f := form{r: r}
	var sensors []store.Sensor
	var rows []int
	for i := range v.Sensors.Rows {
		row := &v.Sensors.Rows[i]
		place := f.choice(&row.Place)
		kind, connector := f.choice(&row.Kind), f.text(&row.Connector, 200)
		wires := f.whole(&row.Wires, 0, 9)
		if place == "" {
			continue
		}
		sn := store.Sensor{Kind: diag.SensorKind(kind), Wires: int(wires), Connector: connector}
		if place[0] == 'c' {
			sn.Bank, sn.Common = 1, true
			_, _ = fmt.Sscanf(place, "c-%d", &sn.Position) // one of the choices
		} else {
			sn.Bank, sn.Position, _ = placeIn(place)
		}
		if kind == "" {
			f.wrong(&row.Kind, templates.SayChoose)
		}
		sensors, rows = append(sensors, sn), append(rows, i)
	}
	if !f.bad() {
		for _, p := range h.Vehicle.Diag(sensors, h.LastKm).Check() {
			var i int
			var name string
			var fd *templates.Field
			if n, _ := fmt.Sscanf(p.Path, "sensors[%d].%s", &i, &name); n == 2 && i < len(rows) {
				row := &v.Sensors.Rows[rows[i]]
				fd = &row.Place
				switch name {
				case "wires":
					fd = &row.Wires
				case "kind":
					fd = &row.Kind
				}
			}
			f.wrong(fd, mendOf(tongue(r), p.Reason, p.Mend))
		}
	}
	if !f.bad() {
		err := s.store.SetSensors(r.Context(), viewer(r).PersonID, h.Vehicle.ID, sensors)
		if err == nil {
			s.say(w, templates.DidSensors)
			return see(w, r, v.Base)
		}
		if !f.take(err) {
			return err
		}
	}
	v.Sensors.Open, v.Sensors.Refusal = true, f.refusal()
	return s.render(w, r, http.StatusUnprocessableEntity, templates.Vehicle(v))
}

// lifeMoment says when and at which odometer reading a sensor came or went.
func lifeMoment(clock wallClock, at *time.Time, km *int, unit string) string {
	var parts []string
	if at != nil {
		parts = append(parts, clock.day(*at))
	}
	if km != nil {
		parts = append(parts, thousands(int64(inShop(*km, unit)))+" "+unit)
	}
	return strings.Join(parts, ", ")
}
