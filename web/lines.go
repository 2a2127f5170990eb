package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
)

// lineForm is the empty form of a line of one kind on this car.
func (a *account) lineForm(kind string) *templates.LineForm {
	var taxes []templates.Option
	for _, t := range a.taxes {
		taxes = append(taxes, templates.Option{Value: strconv.Itoa(t.PPM), Label: t.Name + ", " + a.percent(t.PPM)})
	}
	taxes = append(taxes, templates.Option{Value: "0", Label: templates.NoTax})
	f := templates.NewLineForm(kind, a.currency, taxes)
	if a.Job.DiagnosedAt == nil {
		f.Scope.Value = string(store.ScopeDiagnosis)
	}
	if kind == "labour" {
		f.Price.Value = a.plain(a.shop.LabourPerHourMinor)
	}
	if f.Place != nil {
		f.Place.Options = append([]templates.Option{{Value: "", Label: templates.NoSensorPart}}, a.places()...)
		f.SensorKind.Options = []templates.Option{{Value: "", Label: templates.PickKind}}
		for _, k := range diag.SensorKinds {
			f.SensorKind.Options = append(f.SensorKind.Options, templates.Option{Value: k, Label: templates.SensorKindWord(a.l, k)})
		}
	}
	return &f
}

// preset fills the form of a part with what the place wants and the shop knows.
func (a *account) preset(f *templates.LineForm, at string, known map[[2]int][]store.FittedPart, number string) {
	bank, position, ok := placeIn(at)
	i := slices.IndexFunc(a.Sensors, func(s store.Sensor) bool { return s.Bank == bank && s.Position == position })
	if !ok || i < 0 {
		return
	}
	sensor := a.Sensors[i]
	f.Place.Value, f.Words.Value = at, templates.PartLine(a.l, a.spotWords(bank, position))
	f.SensorKind.Value, f.Wires.Value, f.Connector.Value = string(sensor.Kind), strconv.Itoa(sensor.Wires), sensor.Connector
	for _, k := range known[[2]int{bank, position}] {
		if k.PartNumber == number {
			f.Number.Value = number
			if k.Supplier != nil {
				f.Supplier.Value = *k.Supplier
			}
			if k.UnitMinor != nil && k.Currency != nil && *k.Currency == a.currency {
				f.Price.Value = a.plain(*k.UnitMinor)
			}
		}
	}
}

// addLine adds a line: one the job calls for, or one typed.
func (s *server) addLine(w http.ResponseWriter, r *http.Request) error {
	a, err := s.accountOf(r)
	if err != nil {
		return err
	}
	who := viewer(r).PersonID
	if key := r.PostFormValue("suggested"); key != "" {
		for _, g := range a.suggested() {
			if g.key == key {
				id, err := s.store.SaveLine(r.Context(), who, g.line)
				if err != nil {
					return err
				}
				return see(w, r, fmt.Sprintf("%s#line-%d", a.base(), id))
			}
		}
		return see(w, r, a.base()+"#lines") // it was added meanwhile
	}
	kind := r.PostFormValue("kind")
	if !slices.ContainsFunc(templates.LineKinds, func(o templates.Option) bool { return o.Value == kind }) {
		return trouble(templates.TroubleInvalid, "")
	}
	lf := a.lineForm(kind)
	f := form{r: r}
	l := store.Line{JobID: a.Job.ID, Kind: kind, Scope: store.Scope(f.choice(&lf.Scope)), Words: f.text(&lf.Words, 500), QuantityMilli: 1000}
	l.TaxPPM, _ = strconv.Atoi(f.choice(&lf.Tax))
	if kind == "discount" {
		a.readDiscount(&f, lf, &l)
	} else {
		l.QuantityMilli = f.decimal(&lf.Quantity, a.style, 3, 1, 9_999_999_000)
		l.UnitMinor = f.amount(&lf.Price, a.till, 0)
	}
	if lf.Place != nil {
		if err := s.readPart(a, &f, lf, &l); err != nil {
			return err
		}
	}
	if !f.bad() {
		id, err := s.store.SaveLine(r.Context(), who, l)
		if err == nil {
			return see(w, r, fmt.Sprintf("%s#line-%d", a.base(), id))
		}
		fields := []*templates.Field{&lf.Scope, &lf.Words, &lf.Quantity, &lf.Price, &lf.Tax}
		if lf.Place != nil {
			fields = append(fields, lf.SensorKind, lf.Wires, lf.Connector, lf.Number, lf.Supplier, lf.Core)
		}
		if !f.take(err, fields...) {
			return err
		}
	}
	lf.Refusal = f.refusal()
	return s.refuseAccount(w, r, a, func(v *accountView) { v.Form = lf })
}

// readDiscount reads a discount: a share of the scope's lines, or an amount.
func (a *account) readDiscount(f *form, lf *templates.LineForm, l *store.Line) {
	ppm := f.decimal(lf.Percent, a.style, 4, 1, 1_000_000)
	off := f.amount(&lf.Price, a.till, 0)
	switch {
	case lf.Percent.Value == "" && lf.Price.Value == "":
		f.wrong(lf.Percent, templates.SayDiscountHow)
	case lf.Percent.Value != "":
		sum := int64(0)
		for _, x := range a.Lines {
			if x.Scope == l.Scope && x.Status != store.LineDeclined && x.Kind != "discount" {
				sum += x.AmountMinor
			}
		}
		if off = share(sum, ppm); sum == 0 && !f.bad() {
			f.wrong(lf.Percent, templates.SayNoLines)
		}
		if l.Words == "" && lf.Words.Error != nil {
			break
		}
	}
	l.UnitMinor = -off
}

// readPart reads a part and guards that a sensor goes where it belongs.
func (s *server) readPart(a *account, f *form, lf *templates.LineForm, l *store.Line) error {
	at := f.choice(lf.Place)
	kind, wires := f.choice(lf.SensorKind), f.whole(lf.Wires, 1, 6)
	l.PartNumber = strings.ToUpper(f.text(lf.Number, 100))
	l.Connector, l.Supplier, l.CoreMinor = f.text(lf.Connector, 200), f.text(lf.Supplier, 200), f.amount(lf.Core, a.till, 0)
	l.Bank, l.Position, _ = placeIn(at)
	if at == "" {
		return nil
	}
	i := slices.IndexFunc(a.Sensors, func(x store.Sensor) bool { return x.Bank == l.Bank && x.Position == l.Position })
	if i < 0 || f.bad() {
		return nil
	}
	sensor, place := a.Sensors[i], a.spotWords(l.Bank, l.Position)
	l.SensorKind, l.Wires = diag.SensorKind(kind), int(wires)
	if kind == "" {
		f.wrong(lf.SensorKind, templates.SayChoose)
	} else if l.SensorKind != sensor.Kind {
		f.wrong(lf.SensorKind, templates.SayWrongKind(a.l, place, templates.SensorWords(a.l, string(sensor.Kind), sensor.Wires)))
	} else if wires > 0 && int(wires) != sensor.Wires {
		f.wrong(lf.Wires, templates.SayWrongKind(a.l, place, templates.SensorWords(a.l, string(sensor.Kind), sensor.Wires)))
	}
	if l.PartNumber == "" || f.bad() {
		return nil
	}
	// A number that was only ever fitted elsewhere is on the wrong line.
	here, elsewhere := false, ""
	for _, x := range a.Sensors {
		parts, err := s.store.FittedParts(f.r.Context(), a.Vehicle.ID, x.Bank, x.Position)
		if err != nil {
			return err
		}
		if slices.ContainsFunc(parts, func(p store.FittedPart) bool { return strings.EqualFold(p.PartNumber, l.PartNumber) }) {
			if x.Position == l.Position {
				here = true
			} else {
				elsewhere = a.spotWords(x.Bank, x.Position)
			}
		}
	}
	if !here && elsewhere != "" {
		f.wrong(lf.Number, templates.SayOtherPlace(a.l, l.PartNumber, elsewhere, place))
	}
	return nil
}
