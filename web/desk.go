package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// desk is a job laid out: its file, and what the engine makes of it.
type desk struct {
	store.JobFile
	l     *lang.Language // of whoever reads the answer
	shop  store.Shop
	clock wallClock
	car   diag.Vehicle
	took  []store.TestMinutes // what tests took in this shop

	used        []store.Entry     // the entries the engine is asked about, in the order of the case
	unfit       map[string]string // by entry: why it does not fit the car as the car is now known
	kase        diag.Case
	fingerprint string
	decision    diag.Decision
	noFit       string // why the engine refuses the case; empty when it does not
}

func (s *server) desk(ctx context.Context, jobID int64) (*desk, error) {
	shop, _, err := s.shop(ctx)
	if err != nil {
		return nil, err
	}
	took, err := s.testMinutes(ctx)
	if err != nil {
		return nil, err
	}
	return s.deskWith(ctx, jobID, shop, took)
}

func (s *server) deskWith(ctx context.Context, jobID int64, shop store.Shop, took []store.TestMinutes) (*desk, error) {
	d, err := s.unweighed(ctx, jobID, shop)
	if err != nil {
		return nil, err
	}
	d.took, d.kase.Costs.TestMinutes = took, weighed(took)
	d.decision, d.fingerprint, err = s.minds.decide(d.kase, d.exclusions()...)
	if ps, ok := errors.AsType[diag.Problems](err); ok {
		d.noFit = d.l.Say(ps[0].Reason) + "; " + d.l.Say(ps[0].Mend) + "."
	} else if err != nil {
		return nil, fmt.Errorf("weighing job %d: %w", jobID, err)
	}
	return d, nil
}

// unweighed lays a job out without asking the engine, for what only writes down.
func (s *server) unweighed(ctx context.Context, jobID int64, shop store.Shop) (*desk, error) {
	file, err := s.store.JobFile(ctx, jobID)
	if err != nil {
		return nil, err
	}
	d := &desk{JobFile: file, l: lang.From(ctx), shop: shop, clock: clockIn(lang.From(ctx), shop, s.now())}
	d.car = file.Case(nil, costs(shop)).Vehicle
	d.sift()
	d.kase = file.Case(d.used, costs(shop))
	d.count()
	d.kase.Ready = diag.ReadyNow(d.happenings(s.now()))
	return d, nil
}

// madeAt is when an entry was made: by the tablet's clock, unless that is fast.
func madeAt(e store.Entry) time.Time {
	if e.ReceivedAt.Before(e.ClientAt) {
		return e.ReceivedAt
	}
	return e.ClientAt
}

// happenings are what was done with the car and said of how it stands, with the time since.
func (d *desk) happenings(now time.Time) []diag.Happening {
	var out []diag.Happening
	add := func(at time.Time, e diag.Entry) {
		out = append(out, diag.Happening{Ago: now.Sub(at).Minutes(), Entry: e})
	}
	for _, e := range d.Standing() {
		if e.Source == store.Told && e.Body.Kind != diag.KindCar { // done elsewhere
			continue
		}
		add(madeAt(e), e.Body)
	}
	for _, r := range d.standingRepairs() {
		add(r.At, diag.Entry{Kind: diag.KindRepair})
	}
	for _, p := range d.Proofs {
		add(p.At, diag.Entry{Kind: diag.KindResult, Test: "road_proof"})
	}
	return out
}

// count tells the engine what was mended, each time up to a proof that failed, and which
// entries were made after that. While a repair awaits its proof the engine is not told: it
// is asked again only where the proof fails.
func (d *desk) count() {
	var done []time.Time // the last repair before each proof that failed
	var last time.Time
	for _, p := range d.Proofs {
		if p.Passed || !p.Stands {
			continue
		}
		var at time.Time
		for _, r := range d.standingRepairs() {
			if !r.At.After(last) || r.At.After(p.At) {
				continue
			}
			at = r.At
			e := diag.Entry{Kind: diag.KindRepair, Cause: r.Cause, Bank: r.Bank, Position: r.Position, AfterRepair: len(done) + 1}
			if r.Action == store.Fitted {
				e.Cause = diag.NewSensor
			}
			if len(e.Check(d.car)) == 0 { // the car may be known otherwise by now
				d.kase.Evidence = append(d.kase.Evidence, e)
			}
		}
		if last = p.At; !at.IsZero() {
			done = append(done, at)
		}
	}
	for i, e := range d.used {
		d.kase.Evidence[i].AfterRepair = 0 // the shop counts, whatever an entry says
		for _, t := range done {
			if madeAt(e).After(t) {
				d.kase.Evidence[i].AfterRepair++
			}
		}
	}
}

// sift parts the entries that fit the car from those that do not any more, such as a
// reading at a sensor that the car turned out not to have. These stay in the log and
// are not reckoned with.
func (d *desk) sift() {
	d.unfit = map[string]string{}
	carFits := len(d.car.Check()) == 0
	for _, e := range d.Standing() {
		if e.Body.Kind == diag.KindRepair { // sent before it was refused
			d.unfit[e.ID] = d.l.T(templates.SayRepairSent.Reason)
			continue
		}
		if e.Body.Kind == diag.KindCar { // no evidence; see happenings
			continue
		}
		if ps := e.Body.Check(d.car); carFits && len(ps) > 0 {
			d.unfit[e.ID] = problemWords(d.l, ps[0])
			continue
		}
		d.used = append(d.used, e)
	}
}

// deskOf loads the job a request is about.
func (s *server) deskOf(r *http.Request) (*desk, error) {
	id, err := idIn(r, "job")
	if err != nil {
		return nil, err
	}
	return s.desk(r.Context(), id)
}

// in is the same desk for a reader of another language.
func (d *desk) in(l *lang.Language) *desk {
	e := *d
	e.l, e.clock.l = l, l
	return &e
}

func (d *desk) open() bool { return d.Job.ClosedAt == nil && d.Job.CancelledAt == nil }

// unread says that nothing in the log is our own yet. Until then there is nothing to
// decide on: what others say is told, not read.
func (d *desk) unread() bool {
	return d.Job.DiagnosedAt == nil && !slices.ContainsFunc(d.Standing(), func(e store.Entry) bool { return e.Source != store.Told && e.Body.Kind != diag.KindCar })
}

// carWord says how the car stands, by the id of what is in place.
func carWord(l *lang.Language, id string) string {
	for _, w := range diag.CarStates() {
		if w.ID == id {
			return l.T(w.Name)
		}
	}
	return id
}

func (d *desk) base() string { return fmt.Sprintf("/jobs/%d", d.Job.ID) }

func carName(v store.Vehicle) string { return templates.CarWords(v.ModelYear, v.Make, v.Model) }

// spot names a place on this car.
func (d *desk) spot(bank, position int) templates.Spot {
	sp := templates.Spot{Bank: bank, Position: position}
	if position > 0 {
		if s, ok := d.car.At(bank, position); ok {
			sp.Common = s.Common
		}
	}
	return sp
}

func (d *desk) spotWords(bank, position int) string {
	if bank == 0 {
		return ""
	}
	return templates.SpotWords(d.l, d.spot(bank, position))
}

// causeWords names a cause at its place.
func (d *desk) causeWords(c diag.CauseRef) string {
	name := c.Cause
	if info, ok := diag.CauseByID(c.Cause); ok {
		name = d.l.T(info.Name)
	}
	if at := d.spotWords(c.Bank, c.Position); at != "" {
		return name + ", " + at
	}
	return name
}

// mendWords is what to do about a cause.
func (d *desk) mendWords(c diag.CauseRef) string {
	info, ok := diag.CauseByID(c.Cause)
	if !ok || info.Mend == "" {
		return d.causeWords(c)
	}
	if at := d.spotWords(c.Bank, c.Position); at != "" {
		return templates.Upper(at) + ": " + d.l.T(info.Mend)
	}
	return d.l.T(info.Mend)
}

func (d *desk) partWords(p diag.Part) string {
	words := d.spotWords(p.Bank, p.Position)
	if s, ok := d.car.At(p.Bank, p.Position); ok {
		return words + " (" + templates.SensorWords(d.l, string(p.Kind), s.Wires) + ")"
	}
	return words + " (" + templates.SensorKindWord(d.l, string(p.Kind)) + ")"
}

func each[T any](in []T, f func(T) string) []string {
	out := make([]string, len(in))
	for i, v := range in {
		out[i] = f(v)
	}
	return out
}

// inForce is the verdict people go by: its decision and parts, the override's if
// there is one.
func (d *desk) inForce() (v store.Verdict, decision string, parts []diag.Part, ok bool) {
	v, ok = d.Verdict()
	if !ok {
		return v, "", nil, false
	}
	if v.Override != nil {
		return v, v.Override.Decision, v.Override.Parts, true
	}
	return v, v.Verdict.Decision, v.Verdict.Parts, true
}

// stale says that the evidence has changed since the verdict, and with it what the
// engine concludes. Once the repair is done the question is the proof instead.
func (d *desk) stale() bool {
	v, _, _, ok := d.inForce()
	if !ok || !d.open() || d.Job.RepairedAt != nil || d.noFit != "" || v.Fingerprint == d.fingerprint {
		return false
	}
	now := d.decision.Verdict
	return now.Decision != v.Verdict.Decision || !samePlaces(now.Parts, v.Verdict.Parts) || !sameCauses(now.Mend, v.Verdict.Mend)
}

func samePlaces(a, b []diag.Part) bool {
	return slices.EqualFunc(a, b, func(x, y diag.Part) bool { return x.Bank == y.Bank && x.Position == y.Position })
}

func sameCauses(a, b []diag.CauseRef) bool {
	if len(a) != len(b) {
		return false
	}
	for _, x := range a {
		if !slices.Contains(b, x) {
			return false
		}
	}
	return true
}

// money writes an amount that the engine reckoned, rounded to whole units.
// bounds says between what the cheapest order of tests and work lies; empty where that was
// not reckoned.
func (d *desk) bounds(c diag.CostView) string {
	switch {
	case c.AtLeast <= 0 || c.AtMost <= 0:
		return ""
	case c.Exact():
		return d.l.T("This is the cheapest order of tests and work, computed to its end with the estimates of the model.")
	}
	return d.l.T("No order of tests and work costs less than %s on average; one is known that costs %s. Both are computed, with the estimates of the model.", d.money(c.AtLeast), d.money(c.AtMost))
}

func (d *desk) money(amount float64) string { return fmt.Sprintf("%s %.0f", d.shop.Currency, amount) }

// odometer is the reading in the shop's unit, and beside it what the car itself shows
// if that is in the other.
func (d *desk) odometer() string {
	if d.Job.Odometer == nil {
		return ""
	}
	read := thousands(int64(*d.Job.Odometer)) + " " + d.Job.OdometerUnit
	if unit := d.shop.DistanceUnit; unit != d.Job.OdometerUnit && d.Job.OdometerKm != nil {
		return thousands(int64(inShop(*d.Job.OdometerKm, unit))) + " " + unit + " (" + read + ")"
	}
	return read
}

// places are the sensor locations of the car as choices.
func (d *desk) places() []templates.Option {
	var out []templates.Option
	for _, s := range d.Sensors {
		sp := d.spot(s.Bank, s.Position)
		label := templates.Upper(templates.SpotWords(d.l, sp))
		if h := templates.SpotHint(d.l, sp); h != "" {
			label += ", " + h
		}
		out = append(out, templates.Option{Value: fmt.Sprintf("%d-%d", s.Bank, s.Position), Label: label})
	}
	return out
}

func (d *desk) banks() []templates.Option {
	var out []templates.Option
	for b := range d.car.Banks() {
		out = append(out, templates.Option{Value: fmt.Sprint(b + 1), Label: templates.BankWords(d.l, b+1)})
	}
	return out
}

// placeIn reads "1", "1-2" or nothing.
func placeIn(v string) (bank, position int, ok bool) {
	if v == "" {
		return 0, 0, true
	}
	b, p, two := strings.Cut(v, "-")
	if _, err := fmt.Sscanf(b, "%d", &bank); err != nil {
		return 0, 0, false
	}
	if two {
		if _, err := fmt.Sscanf(p, "%d", &position); err != nil {
			return 0, 0, false
		}
	}
	return bank, position, true
}

// causeKey writes a cause at its place as a form's value; causeIn reads it back.
func causeKey(c diag.CauseRef) string { return fmt.Sprintf("%s/%d/%d", c.Cause, c.Bank, c.Position) }

func causeIn(v string) (c diag.CauseRef, ok bool) {
	parts := strings.Split(v, "/")
	if len(parts) != 3 {
		return c, false
	}
	if _, err := fmt.Sscanf(parts[1]+" "+parts[2], "%d %d", &c.Bank, &c.Position); err != nil {
		return c, false
	}
	c.Cause = parts[0]
	return c, true
}
