package templates

import (
	"fmt"
	"net/url"

	"crosscount/templates/lang"
)

// Titles and words of the car's pages.
const (
	TitleNewJob     = "Take a car in"
	EndedUnfinished = "Ended unfinished"
	StillOpen       = "Still open"
)

// Things done on the car's page.
const (
	DidCar     Did = "car"
	DidWhose   Did = "customer"
	DidHead    Did = "head"
	DidSensors Did = "sensors"
)

var (
	SayPlateOrVIN = Mend{"Neither plate nor VIN is filled in.", "One of them is needed to know the car again."}
	SayKnownVIN   = Mend{"A car with this VIN is known here.", "Choose it below, or correct the VIN."}
	SayKnownPlate = Mend{"A car with this plate is known here.", "Choose it below; if the plate moved to another car, tick that."}
)

// IfItStandsSo lets a doubtful VIN pass.
const IfItStandsSo = "If it stands so on the car, tick that below."

// SayVINLength refuses a number of the wrong length.
func SayVINLength(l *lang.Language, n int) Mend {
	return Mend{l.T("That has %d characters; a VIN has 17 since 1981.", n), l.T("Look again at the plate behind the windscreen or in the door frame.") + " " + l.T(IfItStandsSo)}
}

// SayVINDigit warns of a check digit that does not fit.
func SayVINDigit(l *lang.Language, is, want string) Mend {
	return Mend{l.T("The ninth character is %s; by the check it would be %s. One character is wrong.", is, want),
		l.T("Look again, character by character.") + " " + l.T(IfItStandsSo)}
}

// EngineLine describes an engine in a line.
func EngineLine(l *lang.Language, arrangement string, cylinders int, litres, metering string) string {
	say := "%s, %s l, petrol, air by airflow meter"
	if metering == "map" {
		say = "%s, %s l, petrol, air by manifold pressure"
	}
	return l.T(say, EngineWords(l, arrangement, cylinders), litres)
}

// RemovedWord says why a sensor came out.
func RemovedWord(why string) string {
	if why == "renewed" {
		return "renewed"
	}
	return why
}

// NewVehicleForm is the form of a car's data.
func NewVehicleForm() VehicleForm {
	in := NewIntakeForm("km")
	return VehicleForm{Plate: in.Plate, VIN: in.VIN, VINAsIs: in.VINAsIs, Make: in.Make, Model: in.Model, Year: in.Year,
		Family:    Field{Name: "family", Label: "Family", Hint: "Cars that share engine and exhaust, in your own word."},
		Cylinders: in.Cylinders, Arrangement: in.Arrangement, Displacement: in.Displacement, Metering: in.Metering}
}

// NewCustomerForm is the form of a customer's data.
func NewCustomerForm() CustomerForm {
	in := NewIntakeForm("km")
	f := CustomerForm{Name: in.Name, Phone: in.Phone, Language: in.Language,
		Email:   Field{Name: "email", Label: "E-mail", Type: "email"},
		Address: Field{Name: "address", Label: "Address", Whole: true, Hint: "As printed on papers; several lines."}}
	f.Name.Name = "customer_name"
	return f
}

// NewSensorRow is one row of the sensor form.
func NewSensorRow(l *lang.Language, i int) SensorRow {
	name := func(s string) string { return fmt.Sprintf("s%d_%s", i, s) }
	r := SensorRow{
		Place:     Field{Name: name("place"), Label: "Place", Options: []Option{{"", "none"}}},
		Kind:      Field{Name: name("kind"), Label: "Kind", Options: []Option{{"", ""}, {"zirconia", "zirconia"}, {"wide_range", "wide-range"}, {"titania", "titania"}}},
		Wires:     Field{Name: name("wires"), Label: "Wires", Mode: "numeric"},
		Connector: Field{Name: name("connector"), Label: "Connector"},
	}
	for bank := 1; bank <= 2; bank++ {
		for pos := 1; pos <= 3; pos++ {
			r.Place.Options = append(r.Place.Options, Option{fmt.Sprintf("%d-%d", bank, pos), Upper(SpotWords(l, Spot{Bank: bank, Position: pos}))})
		}
	}
	for pos := 1; pos <= 3; pos++ {
		r.Place.Options = append(r.Place.Options, Option{fmt.Sprintf("c-%d", pos), Upper(SpotWords(l, Spot{Bank: 1, Position: pos, Common: true}))})
	}
	return r
}

// leftAgo says when a car left.
func leftAgo(l *lang.Language, when string, days int) string {
	switch days {
	case 0:
		return l.T("It left %s, the same day ago", when)
	case 1:
		return l.T("It left %s, a day ago", when)
	}
	return l.T("It left %s, %d days ago", when, days)
}

func urlEscape(s string) string { return url.QueryEscape(s) }
