package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"crosscount/diag"
	"crosscount/diag/obd"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

const (
	found        = 12 // cars and customers shown for one search
	earlierShown = 5
	likeNearest  = "nearest" // the layout of the nearest known car
)

// newJob searches for the car first; with a known car or customer chosen, or none,
// it shows the form to take the car in.
func (s *server) newJob(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	v, err := s.newJobView(w, r, q.Get("vehicle"), q.Get("customer"))
	if err != nil {
		return err
	}
	v.Search.Value = strings.TrimSpace(q.Get("q"))
	if v.Search.Value != "" {
		if err := s.searchCars(r.Context(), &v); err != nil {
			return err
		}
	}
	v.Fresh = q.Get("fresh") != ""
	if one := theOne(v); one != "" && !v.Fresh {
		return see(w, r, one)
	}
	if v.Form != nil && v.Known == nil && v.Fresh {
		guessFrom(v.Form, v.Search.Value)
	}
	return s.render(w, r, http.StatusOK, templates.NewJob(v))
}

// newJobView starts the page; vehicle or customer is the number of a known one.
func (s *server) newJobView(w http.ResponseWriter, r *http.Request, vehicle, customer string) (templates.NewJobView, error) {
	ctx := r.Context()
	v := templates.NewNewJob(s.page(w, r, templates.AtNewJob, templates.TitleNewJob))
	shop, _, err := s.shop(ctx)
	if err != nil {
		return v, err
	}
	f := templates.NewIntakeForm(shop.DistanceUnit)
	f.Intake = store.NewID()
	f.Remarks = remarkFields(tongue(r))
	f.Language.Options = languages(templates.ShopsLanguage)
	v.Form = &f
	switch {
	case vehicle != "":
		id, err := strconv.ParseInt(vehicle, 10, 64)
		if err != nil {
			return v, trouble(templates.TroubleNotFound, "")
		}
		h, err := s.store.VehicleHistory(ctx, id)
		if err != nil {
			return v, err
		}
		f.Vehicle = id
		v.Known = s.knownCar(tongue(r), h, shop)
	case customer != "":
		id, err := strconv.ParseInt(customer, 10, 64)
		if err != nil {
			return v, trouble(templates.TroubleNotFound, "")
		}
		c, err := s.store.Customer(ctx, id)
		if err != nil {
			return v, err
		}
		f.Customer, v.KnownCustomer = id, c.Name
		cars, err := s.store.VehiclesOf(ctx, id)
		if err != nil {
			return v, err
		}
		for _, c := range cars {
			v.Cars = append(v.Cars, foundCar(c))
		}
	}
	if v.Known == nil {
		layouts, err := s.store.Layouts(ctx)
		if err != nil {
			return v, err
		}
		for _, l := range layouts {
			f.Layout.Options = append(f.Layout.Options, templates.Option{Value: strconv.FormatInt(l.ID, 10), Label: l.Name})
		}
		f.Layout.Options = append(f.Layout.Options, templates.Option{Value: likeNearest, Label: templates.LayoutAsNearest})
	}
	return v, nil
}

func (s *server) knownCar(l *lang.Language, h store.VehicleHistory, shop store.Shop) *templates.KnownCar {
	clock := clockIn(l, shop, s.now())
	k := &templates.KnownCar{Car: carName(h.Vehicle), Plate: h.Vehicle.Plate, VIN: h.Vehicle.VIN, Customer: h.Customer.Name,
		Href: fmt.Sprintf("/vehicles/%d", h.Vehicle.ID)}
	if h.LastKm > 0 {
		k.OdometerThen = thousands(int64(inShop(h.LastKm, shop.DistanceUnit))) + " " + shop.DistanceUnit
	}
	d := &desk{l: l, car: h.Vehicle.Diag(h.Sensors, h.LastKm)}
	for _, x := range h.Sensors {
		k.Sensors = append(k.Sensors, d.spotWords(x.Bank, x.Position)+" ("+templates.SensorWords(d.l, string(x.Kind), x.Wires)+")")
	}
	for _, j := range h.Jobs {
		if j.ClosedAt == nil && j.CancelledAt == nil {
			k.OpenJob = j.ID
		}
		if j.ClosedAt != nil && k.LastJob == nil {
			days := clock.days(*j.ClosedAt, s.now())
			k.LastJob = &templates.ComebackAsk{Earlier: j.ID, When: clock.day(*j.ClosedAt), Days: days, What: d.endOf(j)}
			k.InWindow = days <= shop.ComebackDays
			k.Window = templates.WindowWords(l, shop.ComebackDays-days)
		}
		if len(k.Jobs) < earlierShown {
			e := templates.EarlierJob{Href: fmt.Sprintf("/jobs/%d", j.ID), When: clock.day(j.OpenedAt), Concern: j.Concern}
			switch {
			case j.ClosedAt != nil:
				e.End = d.endOf(j)
			case j.CancelledAt != nil:
				e.End = l.T(templates.EndedUnfinished)
			}
			if j.OdometerKm != nil {
				e.Odometer = thousands(int64(inShop(*j.OdometerKm, shop.DistanceUnit))) + " " + shop.DistanceUnit
			}
			k.Jobs = append(k.Jobs, e)
		}
	}
	return k
}

// inShop turns kilometres into the shop's unit of distance.
func inShop(km int, unit string) int {
	if unit == "mi" {
		return int(float64(km)/kmOfMile + .5)
	}
	return km
}

func foundCar(c store.FoundVehicle) templates.FoundCar {
	out := templates.FoundCar{Href: fmt.Sprintf("/jobs/new?vehicle=%d", c.ID), Car: carName(c.Vehicle), Plate: c.Plate, VIN: c.VIN, Customer: c.CustomerName, Phone: c.CustomerPhone}
	if c.OpenJobID != nil {
		out.OpenJob = *c.OpenJobID
	}
	return out
}

func (s *server) searchCars(ctx context.Context, v *templates.NewJobView) error {
	v.Searched = true
	cars, err := s.store.FindVehicles(ctx, v.Search.Value, found)
	if err != nil {
		return err
	}
	for _, c := range cars {
		v.Cars = append(v.Cars, foundCar(c))
	}
	people, err := s.store.FindCustomers(ctx, v.Search.Value, found)
	if err != nil {
		return err
	}
	for _, c := range people {
		v.Customers = append(v.Customers, templates.FoundCustomer{Href: fmt.Sprintf("/jobs/new?customer=%d", c.ID), Name: c.Name, Phone: c.Phone})
	}
	return nil
}

// guessFrom puts what was searched for where it most likely belongs.
func guessFrom(f *templates.IntakeForm, q string) {
	digits := strings.Count(strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return '0'
		}
		return r
	}, q), "0")
	switch letters := len([]rune(q)) - digits; {
	case q == "":
	case len(q) == 17 && !strings.Contains(q, " "):
		f.VIN.Value = strings.ToUpper(q)
	case digits >= 7 && letters <= 5:
		f.Phone.Value = q
	case digits > 0:
		f.Plate.Value = strings.ToUpper(q)
	default:
		f.Name.Value = q
	}
}

// openJob takes the car in.
func (s *server) openJob(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	v, err := s.newJobView(w, r, r.PostFormValue("vehicle"), r.PostFormValue("customer"))
	if err != nil {
		return err
	}
	in := v.Form
	if id := r.PostFormValue("intake"); id != "" {
		in.Intake = id
	}
	// The same form sent twice opened its job the first time.
	switch id, err := s.store.JobByIntake(ctx, in.Intake); {
	case err == nil:
		return see(w, r, fmt.Sprintf("/jobs/%d", id))
	case !errors.Is(err, store.ErrNotFound) && !errors.Is(err, store.ErrRule):
		return err
	}
	f := form{r: r}
	take := store.Intake{ID: in.Intake, Concern: f.text(&in.Concern, 4000), OdometerUnit: f.choice(&in.OdometerUnit)}
	if n := f.whole(&in.Odometer, 0, 3000000); in.Odometer.Value != "" {
		take.Odometer = new(int(n))
	}
	take.Told = readTold(&f, &in.Codes)
	if stands := f.choice(&in.Stands); stands != "" {
		take.Told = append(take.Told, diag.Entry{Kind: diag.KindCar, Result: stands})
	}
	for _, t := range f.remarks(in.Remarks) {
		take.Told = append(take.Told, remarked(t))
		in.Asked = true
	}
	var notes []string

	switch {
	case v.Known != nil:
		car, err := s.store.Vehicle(ctx, in.Vehicle)
		if err != nil {
			return err
		}
		take.Vehicle, take.Customer.ID = car, car.CustomerID
		if take.Odometer != nil && !f.bad() {
			h, err := s.store.VehicleHistory(ctx, car.ID)
			if err != nil {
				return err
			}
			if why := f.odometer(in, h, *take.Odometer, take.OdometerUnit, s.now()); why != "" {
				notes = append(notes, templates.OdometerNote(tongue(r), why))
			}
		}
		if v.Known.InWindow && v.Known.LastJob != nil && f.choice(&in.Comeback) == "yes" {
			take.ComebackOf = v.Known.LastJob.Earlier
		}
	default:
		note, err := s.readNewCar(ctx, &f, in, &take)
		if err != nil {
			return err
		}
		if note != "" {
			notes = append(notes, note)
		}
	}
	if !f.bad() {
		var id int64
		err := s.store.Together(ctx, func(st *store.Store) (err error) {
			if id, err = st.OpenJob(ctx, viewer(r).PersonID, take); err != nil {
				return err
			}
			for _, n := range notes {
				if err := st.AddNote(ctx, viewer(r).PersonID, id, n); err != nil {
					return err
				}
			}
			return nil
		})
		if err == nil {
			return see(w, r, fmt.Sprintf("/jobs/%d", id))
		}
		if !f.take(err, &in.Name, &in.Phone, &in.Plate, &in.VIN, &in.Make, &in.Model, &in.Year, &in.Cylinders, &in.Displacement,
			&in.Arrangement, &in.Metering, &in.Concern, &in.Odometer, &in.OdometerUnit) {
			return err
		}
	}
	in.Refusal = f.refusal()
	v.Fresh = true
	return s.render(w, r, http.StatusUnprocessableEntity, templates.NewJob(v))
}

// readNewCar reads a car that the shop sees for the first time, with its owner.
// note says where its layout came from.
func (s *server) readNewCar(ctx context.Context, f *form, in *templates.IntakeForm, take *store.Intake) (note string, err error) {
	if in.Customer > 0 {
		take.Customer.ID = in.Customer
	} else {
		take.Customer = store.Customer{Name: f.text(&in.Name, 200), Phone: f.text(&in.Phone, 60), Language: f.choice(&in.Language)}
	}
	c := store.Vehicle{
		Plate: strings.ToUpper(f.text(&in.Plate, 20)), Make: f.text(&in.Make, 80), Model: f.text(&in.Model, 80),
		ModelYear: int(f.whole(&in.Year, 1900, 2200)), Cylinders: int(f.whole(&in.Cylinders, 1, 16)),
		Arrangement: f.choice(&in.Arrangement), Fuel: "petrol", AirMetering: f.choice(&in.Metering),
		DisplacementL: f.number(&in.Displacement, 0.1, 15),
	}
	c.VIN = f.vin(&in.VIN, &in.VINAsIs)
	if c.ModelYear == 0 {
		c.ModelYear = yearOf(c.VIN)
	}
	in.AskVIN = in.VIN.Error != nil || in.VINAsIs.Value != ""
	if c.VIN == "" && c.Plate == "" {
		f.wrong(&in.Plate, templates.SayPlateOrVIN)
	}
	layout := f.choice(&in.Layout)
	if !f.bad() {
		if layout == likeNearest {
			like, err := s.store.LayoutLike(ctx, c)
			if errors.Is(err, store.ErrNotFound) {
				f.wrong(&in.Layout, templates.SayNoNearest)
				return "", nil
			} else if err != nil {
				return "", err
			}
			take.Sensors = like.Sensors
			note = templates.LayoutNote(tongue(f.r), templates.CarWords(like.ModelYear, c.Make, c.Model))
		} else {
			id, _ := strconv.ParseInt(layout, 10, 64)
			l, err := s.store.Layout(ctx, id)
			if err != nil {
				return "", err
			}
			take.Sensors = l.Sensors
		}
		// The engine is the judge of whether car and sensors fit together.
		for _, p := range c.Diag(take.Sensors, 0).Check() {
			f.wrong(layoutField(in, p.Path), mendOf(tongue(f.r), p.Reason, p.Mend))
		}
	}
	take.Vehicle = c
	if f.bad() {
		return "", nil
	}
	return note, s.refuseKnown(ctx, f, in, c)
}

func layoutField(in *templates.IntakeForm, path string) *templates.Field {
	switch path {
	case "cylinders":
		return &in.Cylinders
	case "arrangement":
		return &in.Arrangement
	case "displacement_l":
		return &in.Displacement
	case "air_metering":
		return &in.Metering
	}
	return &in.Layout
}

// refuseKnown keeps one car from being written down twice.
func (s *server) refuseKnown(ctx context.Context, f *form, in *templates.IntakeForm, c store.Vehicle) error {
	if c.VIN != "" {
		k, err := s.store.VehicleByVIN(ctx, c.VIN)
		if err == nil {
			in.Same = append(in.Same, foundCar(k))
			f.wrong(&in.VIN, templates.SayKnownVIN)
			return nil
		}
		if !errors.Is(err, store.ErrNotFound) {
			return err
		}
	}
	if c.Plate == "" || f.value(&in.PlateAnew) != "" {
		return nil
	}
	known, err := s.store.VehiclesByPlate(ctx, c.Plate)
	if err != nil || len(known) == 0 {
		return err
	}
	for _, k := range known {
		in.Same = append(in.Same, foundCar(k))
	}
	in.AskPlate = true
	f.wrong(&in.Plate, templates.SayKnownPlate)
	return nil
}

// readTold reads the codes that others read.
func readTold(f *form, fd *templates.Field) []diag.Entry {
	f.text(fd, 2000)
	var out []diag.Entry
	for _, word := range splitCodes(fd.Value) {
		c, err := obd.ParseCode(word)
		if err != nil {
			f.wrong(fd, codeMend(tongue(f.r), err))
			return nil
		}
		out = append(out, diag.Entry{Kind: diag.KindCode, Code: c.String(), Status: "stored"})
	}
	return out
}
