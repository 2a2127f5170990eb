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
func SayVINLength(n int) Mend {
	return Mend{fmt.Sprintf("That has %d characters; a VIN has 17 since 1981.", n), "Look again at the plate behind the windscreen or in the door frame. " + IfItStandsSo}
}

// SayVINDigit warns of a check digit that does not fit.
func SayVINDigit(is, want string) Mend {
	return Mend{fmt.Sprintf("The ninth character is %s; by the check it would be %s. One character is wrong.", is, want),
		"Look again, character by character. " + IfItStandsSo}
}

// EngineLine describes an engine in a line.
func EngineLine(l *lang.Language, arrangement string, cylinders int, litres, metering string) string {
	m := "air by airflow meter"
	if metering == "map" {
		m = "air by manifold pressure"
	}
	return fmt.Sprintf("%s, %s l, petrol, %s", EngineWords(l, arrangement, cylinders), litres, m)
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

func urlEscape(s string) string { return url.QueryEscape(s) }
