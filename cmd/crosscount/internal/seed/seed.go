// Package seed fills an empty database with an invented shop: two years of
// finished jobs and one open job at each stage of the investigation. Names, makes,
// places and numbers are made up. The verdicts are not: the engine is asked on each
// case as it stood.
package seed

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"crosscount/diag"
	"crosscount/store"
)

// ErrNotEmpty says that the database already holds a shop or people.
var ErrNotEmpty = errors.New("this database already holds a shop; the demo goes into an empty one only")

// Login is one of the demo's ways in.
type Login struct {
	Name     string
	Role     store.Role
	Login    string
	Password string
}

// Result says what was written.
type Result struct {
	Logins    []Login
	Customers int
	Vehicles  int
	Finished  int
	Open      int
	Comebacks int
	Overrides int
	unplanned []string // where the engine and the story went apart
}

// Logins are the demo's log-ins. They are known to everyone who reads this, so they
// are for the demo only.
func Logins() []Login {
	return []Login{
		{"Nessa Dallowmere", store.Writer, "nessa", "counter-and-kettle"},
		{"Tova Brasklund", store.Technician, "tova", "torque-and-tea"},
		{"Alda Fenwrightson", store.Owner, "alda", "ledger-and-lamp"},
	}
}

// Demo writes the invented shop as it stands at now, all of it or nothing. hash makes
// the password hashes that the log-in page checks.
func Demo(ctx context.Context, st *store.Store, now time.Time, hash func(password string) (string, error)) (Result, error) {
	if err := empty(ctx, st); err != nil {
		return Result{}, err
	}
	now = now.UTC().Truncate(time.Second)
	hashes := map[string]string{}
	for _, l := range Logins() {
		phc, err := hash(l.Password)
		if err != nil {
			return Result{}, fmt.Errorf("hash the password of %s: %w", l.Login, err)
		}
		hashes[l.Login] = phc
	}
	jobs, err := plans(ctx, now)
	if err != nil {
		return Result{}, err
	}
	r := Result{Logins: Logins()}
	err = st.Together(ctx, func(st *store.Store) error {
		if err := empty(ctx, st); err != nil {
			return err
		}
		w := writer{ctx: ctx, st: st, now: now, people: map[string]int64{}, customers: map[string]int64{}, names: map[int64]string{},
			vehicles: map[string]store.Vehicle{}, families: map[string]bool{}, jobs: map[string]int64{}, result: &r}
		if err := w.shop(hashes); err != nil {
			return err
		}
		for _, j := range jobs {
			if err := w.job(j); err != nil {
				return fmt.Errorf("job of %s, %d days ago: %w", j.car, j.days, err)
			}
		}
		return nil
	})
	if err != nil {
		return Result{}, err
	}
	return r, nil
}

func empty(ctx context.Context, st *store.Store) error {
	if _, err := st.Shop(ctx); err == nil {
		return ErrNotEmpty
	} else if !errors.Is(err, store.ErrNotFound) {
		return err
	}
	people, err := st.People(ctx)
	if err == nil && len(people) > 0 {
		return ErrNotEmpty
	}
	return err
}

// writer puts plans into the store.
type writer struct {
	ctx       context.Context
	st        *store.Store
	now       time.Time
	people    map[string]int64 // by log-in
	customers map[string]int64 // by name
	names     map[int64]string
	vehicles  map[string]store.Vehicle
	families  map[string]bool  // with the maker's figures
	jobs      map[string]int64 // by car and days
	result    *Result
}

func (w *writer) shop(hashes map[string]string) error {
	began := w.now.AddDate(0, 0, -740)
	st := w.st.At(began)
	for _, l := range Logins() {
		p, err := st.AddPerson(w.ctx, 0, store.NewPerson{Name: l.Name, Login: l.Login, Role: l.Role, PasswordHash: hashes[l.Login]})
		if err != nil {
			return err
		}
		w.people[l.Login] = p.ID
	}
	for _, n := range []store.NewPerson{{Name: "Jonas Edderling", Login: "jonas"}, {Name: "Mirel Quistgard", Login: "mirel"}} {
		n.Role = store.Technician
		p, err := st.AddPerson(w.ctx, w.people["alda"], n)
		if err != nil {
			return err
		}
		w.people[n.Login] = p.ID
	}
	if _, err := st.SaveTaxRate(w.ctx, w.people["alda"], store.TaxRate{Name: "Marrowshire sales tax", PPM: taxPPM, Active: true}); err != nil {
		return err
	}
	return st.SaveShop(w.ctx, w.people["alda"], store.Shop{
		Name: "Quillfen Garage", Address: "14 Tollgate Row\nQuillfen, Marrowshire", Phone: "555-0190",
		LabourPerHourMinor: labourMinor, Currency: currency, Locale: "en", TimeZone: "UTC",
		DistanceUnit: "km", TemperatureUnit: "c", PressureUnit: "kpa", Paper: "a4", ComebackDays: 120,
		Cautions: "Extraction hose on before any engine runs indoors. Lift arms checked by the person who goes underneath.",
	})
}

// sensorTorqueNm is a usual tightening torque for an M18 sensor (common practice, no
// source).
const sensorTorqueNm = 42.0

// clock is the time of the next act on a job. Finished jobs are worked on in
// opening hours; open ones come close to now and run straight through.
type clock struct {
	t     time.Time
	hours bool
}

func (c *clock) pass(minutes float64) time.Time {
	c.t = c.t.Add(time.Duration(minutes * float64(time.Minute)))
	if c.hours && c.t.Hour() >= 17 {
		y, m, d := c.t.Date()
		c.t = time.Date(y, m, d+1, 8, 5+c.t.Minute()%40, 0, 0, time.UTC)
		for c.t.Weekday() == time.Saturday || c.t.Weekday() == time.Sunday {
			c.t = c.t.AddDate(0, 0, 1)
		}
	}
	return c.t
}

func key(car string, days int) string { return fmt.Sprintf("%s/%d", car, days) }

// job writes one job as far as it has come.
func (w *writer) job(j *job) error {
	front := w.people["nessa"]
	tech := w.people[j.tech] // 0 before one is given to it
	c := &clock{j.openedAt, j.stage == ""}

	in := store.Intake{ID: j.uuid(), Concern: j.concern, Odometer: &j.km, OdometerUnit: "km", TechnicianID: tech, Told: j.told}
	if err := w.known(j, &in); err != nil {
		return err
	}
	if j.back.days != 0 {
		earlier, ok := w.jobs[key(j.car, j.back.days)]
		if !ok {
			return fmt.Errorf("no job of %d days ago to come back from", j.back.days)
		}
		in.ComebackOf = earlier
		w.result.Comebacks++
	}
	id, err := w.st.At(c.t).OpenJob(w.ctx, front, in)
	if err != nil {
		return err
	}
	w.jobs[key(j.car, j.days)] = id
	who := w.names[in.Customer.ID]
	if err := w.mayLook(j, w.st.At(c.t), id, who); err != nil {
		return err
	}
	if j.stage != "" {
		w.result.Open++
	} else {
		w.result.Finished++
	}
	for _, s := range j.steps {
		st := w.st.At(c.pass(s.minutes + 2))
		if s.test == "fuel_pressure" && j.slip {
			if err := w.slip(st, j, id, tech); err != nil {
				return err
			}
		}
		var entries []store.NewEntry
		for _, e := range s.entries {
			source := store.Observed
			if e.Kind == diag.KindHistory {
				source = store.Told
			}
			entries = append(entries, store.NewEntry{ID: j.uuid(), JobID: id, Body: e, Source: source})
		}
		if s.from != nil {
			err = w.keep(st, j, s.from, id, tech, entries)
		} else {
			err = st.AddEntries(w.ctx, tech, entries)
		}
		if err != nil {
			return err
		}
		if err := w.timeSpent(st, j, s, id, tech); err != nil {
			return err
		}
	}
	if err := w.hang(w.st.At(c.t), j, "before", id, tech); err != nil {
		return err
	}
	if j.note != "" {
		if err := w.st.At(c.pass(3)).AddNote(w.ctx, tech, id, j.note); err != nil {
			return err
		}
	}
	if !j.asked {
		return nil
	}
	if err := w.verdict(j, c, id, tech); err != nil {
		return err
	}
	if _, err := w.charge(w.st.At(c.t), id, front, []store.Line{j.searched()}, store.LineDone); err != nil {
		return err
	}
	work := j.repairsDue()
	lines := j.priced(work)
	offered, err := w.charge(w.st.At(c.pass(6)), id, front, lines, store.LineOffered)
	if err != nil || j.stage == waitingYes {
		return err
	}
	if j.outcome == store.OutcomeDeclined {
		for _, line := range offered {
			if err := w.st.At(c.pass(2)).DeclineLine(w.ctx, front, id, line, "The light stays on and the mixture stays wrong; the converter suffers in time."); err != nil {
				return err
			}
		}
	}
	if len(work) > 0 && j.outcome == "" {
		st := w.st.At(c.pass(40 + float64(j.rng.IntN(90))))
		if err := w.approve(j, st, id, who, lines); err != nil {
			return err
		}
		if err := w.move(st, id, front, offered, store.LineAccepted); err != nil || j.stage == awaitRepair || j.stage == mendFirst {
			return err
		}
		if err := w.repair(j, c, id, tech, work); err != nil {
			return err
		}
		if err := w.move(w.st.At(c.t), id, front, offered, store.LineDone); err != nil {
			return err
		}
		if err := w.converter(j, w.st.At(c.t), id, c.t, who); err != nil || j.stage == awaitProof {
			return err
		}
		if j.unproved == "" {
			if err := w.prove(j, c, id, tech, work); err != nil || j.stage == awaitClose {
				return err
			}
		}
	}
	return w.close(j, c, id, front)
}

// timeSpent notes the minutes of a test, as people do when they think of it.
func (w *writer) timeSpent(st *store.Store, j *job, s step, id, tech int64) error {
	at, err := ref(s.test)
	if err != nil {
		return err
	}
	if info, ok := diag.TestByID(at.Cause); !ok || len(s.entries) == 0 || j.rng.IntN(5) < 2 {
		return nil
	} else if info.Scope == diag.ScopeEngine {
		at.Bank, at.Position = 0, 0
	}
	_, err = st.AddTestTime(w.ctx, tech, store.TestTime{ID: j.uuid(), JobID: id, Test: at.Cause, Bank: at.Bank, Position: at.Position,
		Minutes: round(s.minutes*(0.8+0.8*j.rng.Float64()), 0)})
	return err
}

// known finds the customer and the car of a job, or leaves them to the intake.
func (w *writer) known(j *job, in *store.Intake) error {
	if v, ok := w.vehicles[j.car]; ok {
		in.Vehicle = v
		in.Customer.ID = v.CustomerID
		return nil
	}
	i := slices.IndexFunc(customers, func(c customer) bool {
		return slices.ContainsFunc(c.cars, func(k car) bool { return k.key == j.car })
	})
	c := customers[i]
	st := w.st.At(j.openedAt)
	if in.Customer.ID = w.customers[c.name]; in.Customer.ID == 0 {
		added, err := st.AddCustomer(w.ctx, w.people["nessa"], store.Customer{Name: c.name, Phone: c.phone, Email: c.email, Note: c.note})
		if err != nil {
			return err
		}
		w.customers[c.name], w.names[added.ID] = added.ID, c.name
		in.Customer = added
		w.result.Customers++
	}
	p := j.platform
	var sensors []store.Sensor
	for _, s := range p.sensors {
		sensors = append(sensors, store.Sensor{Bank: s.Bank, Position: s.Position, Kind: s.Kind, Wires: s.Wires,
			Common: s.Common, Connector: p.connectors[s.Position]})
	}
	v, err := st.AddVehicle(w.ctx, w.people["nessa"], store.Vehicle{
		CustomerID: in.Customer.ID, Plate: j.on.plate, VIN: p.number(j.on.year, 100000+7919*len(w.vehicles)),
		Make: p.make, Model: p.model, ModelYear: j.on.year, Family: p.family(),
		Cylinders: p.cylinders, Arrangement: p.arrangement, DisplacementL: p.displacementL, Fuel: "petrol", AirMetering: p.metering,
	}, sensors)
	if err != nil {
		return err
	}
	w.vehicles[j.car] = v
	w.result.Vehicles++
	in.Vehicle = v
	if !w.families[p.family()] {
		w.families[p.family()] = true
		if err := w.makersFigures(st, p); err != nil {
			return err
		}
	}
	// Of about every other car the papers tell what was fitted when it was new.
	if len(w.vehicles)%2 == 0 {
		return nil
	}
	built := time.Date(j.on.year, time.May, 12, 0, 0, 0, 0, time.UTC)
	for _, s := range sensors {
		if _, err := st.AddFitting(w.ctx, w.people["nessa"], store.Fitting{VehicleID: v.ID, Bank: s.Bank, Position: s.Position,
			Kind: s.Kind, FittedAt: &built, FittedKm: new(0)}); err != nil {
			return err
		}
	}
	return nil
}

// makersFigures writes down what the service sheet says of a family of cars.
func (w *writer) makersFigures(st *store.Store, p platform) error {
	sheet := p.family() + ", service sheet, page 12"
	all := []store.MakerData{{KPaLow: new(p.pumpKPa[0]), KPaHigh: new(p.pumpKPa[1])}}
	for _, s := range p.sensors {
		m := store.MakerData{Bank: s.Bank, Position: s.Position, TorqueNm: new(sensorTorqueNm), Thread: "M18 × 1.5", SocketMm: new(22.0),
			Words: "Engine cold. Paste on the thread only, never on the tip."}
		if s.Heated() {
			m.OhmLow, m.OhmHigh = new(p.heaterOhm[0]), new(p.heaterOhm[1])
		}
		all = append(all, m)
	}
	for _, m := range all {
		m.Family, m.Source = p.family(), sheet
		if err := st.SaveMakerData(w.ctx, w.people["alda"], m); err != nil {
			return err
		}
	}
	return nil
}

// slip is a reading typed in the wrong unit and taken back.
func (w *writer) slip(st *store.Store, j *job, id, tech int64) error {
	wrong := store.NewEntry{ID: j.uuid(), JobID: id, Source: store.Observed,
		Body: diag.Entry{Kind: diag.KindFuelPressure, KPa: num(3, 0)}}
	if _, _, err := st.AddEntry(w.ctx, tech, wrong); err != nil {
		return err
	}
	_, err := st.WithdrawEntry(w.ctx, tech, store.Withdrawal{ID: j.uuid(), JobID: id, Withdraws: wrong.ID,
		Reason: "Typed bar where kPa was asked."})
	return err
}

// verdict puts the engine's verdict in force, with the story's override.
func (w *writer) verdict(j *job, c *clock, id, tech int64) error {
	n := store.NewVerdict{JobID: id, Decision: j.decision, Case: j.asCase, Fingerprint: diag.Fingerprint(j.asCase)}
	o, differs, err := j.overriding()
	if err != nil {
		return err
	}
	if differs {
		n.Override = &o
		w.result.Overrides++
		if j.override.reason == "" {
			w.result.unplanned = append(w.result.unplanned, fmt.Sprintf("%s: verdict %s %v", key(j.car, j.days), j.decision.Verdict.Decision, j.decision.Verdict.Parts))
		}
	} else if j.override.reason != "" {
		w.result.unplanned = append(w.result.unplanned, key(j.car, j.days)+": the engine came to the same decision as the override")
	}
	_, err = w.st.At(c.pass(8)).AcceptVerdict(w.ctx, tech, n)
	return err
}

// overriding is the story's override, and whether it differs from the verdict.
// Where the engine and the story go apart without one, a person decides on what was
// found at the car.
func (j *job) overriding() (store.NewOverride, bool, error) {
	places, err := refs(strings.Join(prefixed("part@", strings.Fields(j.override.parts)), " "))
	if err != nil {
		return store.NewOverride{}, false, err
	}
	reason := j.override.reason
	if reason == "" {
		for _, r := range j.believed {
			if i, _ := diag.CauseByID(r.Cause); i.Part {
				places = append(places, r)
			}
		}
		reason = "Decided on what was found at the car."
	}
	n := store.NewOverride{Decision: diag.DecideNoPart, Reason: reason}
	for _, p := range places {
		s, ok := j.asCase.Vehicle.At(p.Bank, p.Position)
		if !ok {
			return n, false, fmt.Errorf("no sensor at bank %d position %d", p.Bank, p.Position)
		}
		n.Decision = diag.DecidePart
		n.Parts = append(n.Parts, diag.Part{Bank: s.Bank, Position: s.Position, Kind: s.Kind})
	}
	v := j.decision.Verdict
	return n, v.Decision != n.Decision || !samePlaces(v.Parts, n.Parts), nil
}

func prefixed(prefix string, words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = prefix + w
	}
	return out
}

func samePlaces(a, b []diag.Part) bool {
	order := func(x, y diag.Part) int {
		return cmp.Or(cmp.Compare(x.Bank, y.Bank), cmp.Compare(x.Position, y.Position))
	}
	return slices.Equal(slices.SortedFunc(slices.Values(a), order), slices.SortedFunc(slices.Values(b), order))
}

// repairsDue lists the repairs of a job, what mends before what fits.
func (j *job) repairsDue() []store.NewRepair {
	var mend, fit []store.NewRepair
	for _, r := range j.believed {
		info, _ := diag.CauseByID(r.Cause)
		n := store.NewRepair{Cause: r.Cause, Bank: r.Bank, Position: r.Position}
		switch {
		case r.Cause == "past_event":
		case info.Part:
			s, _ := j.asCase.Vehicle.At(r.Bank, r.Position)
			n.Action, n.Kind, n.TorqueNm = store.Fitted, s.Kind, new(sensorTorqueNm)
			n.PartNumber = fmt.Sprintf("QF-%c%d-%s-%d%d", s.Kind[0]-'a'+'A', s.Wires, strings.ToUpper(j.platform.model[:3]), s.Bank, s.Position)
			n.Words = "New sensor fitted, thread and connector clean."
			fit = append(fit, n)
		default:
			n.Action = store.Mended
			mend = append(mend, n)
		}
	}
	all := append(mend, fit...)
	for i := range all {
		switch {
		case i == 0:
			all[i].Words = j.done
		case all[i].Cause == "sensor_soot":
			all[i].Words = "Driven hot for half an hour with the cause mended; the sensor burnt clean and is quick again."
		case all[i].Action == store.Mended:
			all[i].Words = "Done in the same go."
		}
	}
	return all
}

func (w *writer) repair(j *job, c *clock, id, tech int64, work []store.NewRepair) error {
	mended := map[diag.CauseRef]bool{}
	for _, n := range work {
		n.JobID = id
		info, _ := diag.CauseByID(n.Cause)
		if n.Action == store.Mended {
			mended[diag.CauseRef{Cause: n.Cause, Bank: n.Bank}] = true
		} else if slices.ContainsFunc(j.decision.Verdict.First, func(f diag.CauseRef) bool { return !mended[diag.CauseRef{Cause: f.Cause, Bank: f.Bank}] }) {
			if n.Despite = j.despite; n.Despite == "" {
				n.Despite = "Looked for and not found."
				w.result.unplanned = append(w.result.unplanned, fmt.Sprintf("%s: to be mended first: %v", key(j.car, j.days), j.decision.Verdict.First))
			}
		}
		if _, err := w.st.At(c.pass(30+info.Minutes)).AddRepair(w.ctx, tech, n); err != nil {
			return err
		}
	}
	if err := w.hang(w.st.At(c.t), j, "after", id, tech); err != nil {
		return err
	}
	if err := w.st.At(c.pass(2)).FinishRepair(w.ctx, tech, id); err != nil {
		return err
	}
	if !toSee[key(j.car, j.days)].again {
		return nil
	}
	for _, s := range j.steps {
		if s.from == nil {
			continue
		}
		r, _ := ref(s.test)
		p := place{r.Bank, r.Position}
		again, _, err := soundCell.record(p, "bay 2 scope, after.csv", uint64(j.days)+1)
		if err != nil {
			return err
		}
		// Only to look at: what was found before the repair stays what was decided on.
		if err := w.keep(w.st.At(c.pass(9)), j, again, id, tech, nil); err != nil {
			return err
		}
	}
	return nil
}

// prove drives the car and writes down what was seen.
func (w *writer) prove(j *job, c *clock, id, tech int64, work []store.NewRepair) error {
	drive := func(passed bool, statement string) error {
		e := diag.Entry{Kind: diag.KindResult, Test: "road_proof", Outcome: "passed"}
		if !passed {
			e.Outcome = "failed"
		}
		return w.st.At(c.pass(42)).AddProof(w.ctx, tech, store.NewProof{Statement: statement,
			Entry: store.NewEntry{ID: j.uuid(), JobID: id, Body: e, Source: store.Observed}})
	}
	if j.failed != "" {
		if err := drive(false, j.failed); err != nil {
			return err
		}
		again := work[0]
		again.JobID, again.Action, again.Kind, again.PartNumber, again.TorqueNm = id, store.Mended, "", "", nil
		again.Words = "Gone over once more after the failed drive."
		if _, err := w.st.At(c.pass(35)).AddRepair(w.ctx, tech, again); err != nil {
			return err
		}
		if err := w.st.At(c.pass(2)).FinishRepair(w.ctx, tech, id); err != nil {
			return err
		}
	}
	return drive(true, fmt.Sprintf("%d km on the ring road and through town. Readiness complete, no code stored or pending, total trims within %.0f %% at idle and cruise.",
		24+j.rng.IntN(14), 2+2*j.rng.Float64()))
}

// close ends a job and says of a comeback why it came.
func (w *writer) close(j *job, c *clock, id, front int64) error {
	st := w.st.At(c.pass(25))
	if j.back.days != 0 {
		if err := st.LinkComeback(w.ctx, front, store.NewComeback{JobID: id, EarlierID: w.jobs[key(j.car, j.back.days)],
			Kind: j.back.kind, Words: j.back.words}); err != nil {
			return err
		}
	}
	closing := store.Closing{JobID: id, Outcome: cmp.Or(j.outcome, store.OutcomeConfirmed), UnprovedWhy: j.unproved}
	if closing.Outcome == store.OutcomeConfirmed {
		closing.Causes = j.believed
	}
	return st.CloseJob(w.ctx, front, closing)
}

// uuid is a version 4 UUID (RFC 9562) from the story's own numbers.
func (j *job) uuid() string {
	a, b := j.rng.Uint64(), j.rng.Uint64()
	a = a&^0xf000 | 0x4000
	b = b&^(3<<62) | 1<<63
	return fmt.Sprintf("%08x-%04x-%04x-%04x-%012x", a>>32, a>>16&0xffff, a&0xffff, b>>48, b&(1<<48-1))
}
