package seed

import (
	"fmt"

	"crosscount/diag"
	"crosscount/diag/vin"
)

// makes are the invented makes with the maker part of their VINs. The country code
// 30 is given to no country, so no maker has these.
var makes = map[string]string{
	"Tindrel":  "30T",
	"Halvane":  "30H",
	"Orsuno":   "30R",
	"Kestwick": "30K",
	"Marelda":  "30M",
}

// platform is a model with its engine and sensors.
type platform struct {
	make, model   string
	first, last   int // model years
	engine        string
	cylinders     int
	arrangement   string
	displacementL float64
	metering      string
	sensors       []diag.Sensor
	connectors    map[int]string // by position
	heaterOhm     [2]float64     // cold range of the heated sensors
	pumpKPa       [2]float64
}

func zirconia(bank, position, wires int) diag.Sensor {
	return diag.Sensor{Bank: bank, Position: position, Kind: diag.Zirconia, Wires: wires}
}

func wideRange(bank, wires int) diag.Sensor {
	return diag.Sensor{Bank: bank, Position: 1, Kind: diag.WideRange, Wires: wires}
}

// platforms cover the layouts: one sensor, up- and downstream, two upstream with a
// common one behind, four, five; zirconia with one to four wires, titania, wide
// range.
var platforms = map[string]platform{
	"thimble": {
		make: "Tindrel", model: "Thimble", first: 1997, last: 2000, engine: "1.2 four, one sensor",
		cylinders: 4, arrangement: "inline", displacementL: 1.2, metering: "map",
		sensors:    []diag.Sensor{zirconia(1, 1, 1)},
		connectors: map[int]string{1: "single bullet, black"}, pumpKPa: [2]float64{95, 115},
	},
	"tallow": {
		make: "Kestwick", model: "Tallow", first: 1998, last: 2002, engine: "2.2 four, one sensor",
		cylinders: 4, arrangement: "inline", displacementL: 2.2, metering: "maf",
		sensors:    []diag.Sensor{zirconia(1, 1, 2)},
		connectors: map[int]string{1: "2-way oval, grey"}, pumpKPa: [2]float64{240, 270},
	},
	"farthing": {
		make: "Tindrel", model: "Farthing", first: 2001, last: 2006, engine: "1.6 four",
		cylinders: 4, arrangement: "inline", displacementL: 1.6, metering: "map",
		sensors:    []diag.Sensor{zirconia(1, 1, 3), zirconia(1, 2, 3)},
		connectors: map[int]string{1: "3-way flat, black", 2: "3-way flat, brown"},
		heaterOhm:  [2]float64{3, 6}, pumpKPa: [2]float64{290, 320},
	},
	"bobbin": {
		make: "Orsuno", model: "Bobbin", first: 1999, last: 2003, engine: "1.8 four",
		cylinders: 4, arrangement: "inline", displacementL: 1.8, metering: "maf",
		sensors: []diag.Sensor{
			{Bank: 1, Position: 1, Kind: diag.Titania, Wires: 4}, {Bank: 1, Position: 2, Kind: diag.Titania, Wires: 3}},
		connectors: map[int]string{1: "4-way square, white", 2: "3-way square, white"},
		heaterOhm:  [2]float64{4, 7}, pumpKPa: [2]float64{290, 320},
	},
	"pennon": {
		make: "Tindrel", model: "Pennon", first: 2007, last: 2013, engine: "2.0 four",
		cylinders: 4, arrangement: "inline", displacementL: 2.0, metering: "maf",
		sensors:    []diag.Sensor{zirconia(1, 1, 4), zirconia(1, 2, 4)},
		connectors: map[int]string{1: "4-way square, grey", 2: "4-way square, green"},
		heaterOhm:  [2]float64{5, 8}, pumpKPa: [2]float64{290, 320},
	},
	"lantern": {
		make: "Halvane", model: "Lantern", first: 2014, last: 2019, engine: "2.5 four",
		cylinders: 4, arrangement: "inline", displacementL: 2.5, metering: "maf",
		sensors:    []diag.Sensor{wideRange(1, 5), zirconia(1, 2, 4)},
		connectors: map[int]string{1: "6-way flat, black", 2: "4-way square, black"},
		heaterOhm:  [2]float64{2, 4}, pumpKPa: [2]float64{370, 400},
	},
	"quoit": {
		make: "Kestwick", model: "Quoit", first: 2012, last: 2018, engine: "2.0 flat four",
		cylinders: 4, arrangement: "flat", displacementL: 2.0, metering: "maf",
		sensors:    []diag.Sensor{wideRange(1, 4), zirconia(1, 2, 4)},
		connectors: map[int]string{1: "4-way oval, black", 2: "4-way oval, grey"},
		heaterOhm:  [2]float64{2, 4}, pumpKPa: [2]float64{290, 320},
	},
	"gantry": {
		make: "Halvane", model: "Gantry", first: 2005, last: 2010, engine: "3.0 flat six, common downstream sensor",
		cylinders: 6, arrangement: "flat", displacementL: 3.0, metering: "maf",
		sensors: []diag.Sensor{zirconia(1, 1, 4), zirconia(2, 1, 4),
			{Bank: 1, Position: 2, Kind: diag.Zirconia, Wires: 4, Common: true}},
		connectors: map[int]string{1: "4-way square, black", 2: "4-way square, blue"},
		heaterOhm:  [2]float64{5, 8}, pumpKPa: [2]float64{300, 330},
	},
	"trellis": {
		make: "Orsuno", model: "Trellis", first: 2008, last: 2015, engine: "3.5 V6",
		cylinders: 6, arrangement: "v", displacementL: 3.5, metering: "maf",
		sensors:    []diag.Sensor{zirconia(1, 1, 4), zirconia(1, 2, 4), zirconia(2, 1, 4), zirconia(2, 2, 4)},
		connectors: map[int]string{1: "4-way flat, grey", 2: "4-way flat, brown"},
		heaterOhm:  [2]float64{4, 7}, pumpKPa: [2]float64{330, 360},
	},
	"ferrule": {
		make: "Marelda", model: "Ferrule", first: 2015, last: 2020, engine: "3.6 V6",
		cylinders: 6, arrangement: "v", displacementL: 3.6, metering: "maf",
		sensors:    []diag.Sensor{wideRange(1, 6), zirconia(1, 2, 4), wideRange(2, 6), zirconia(2, 2, 4)},
		connectors: map[int]string{1: "6-way square, black", 2: "4-way square, grey"},
		heaterOhm:  [2]float64{2, 4}, pumpKPa: [2]float64{380, 420},
	},
	"plinth": {
		make: "Marelda", model: "Plinth", first: 2009, last: 2014, engine: "5.0 V8, third sensor on bank 1",
		cylinders: 8, arrangement: "v", displacementL: 5.0, metering: "maf",
		sensors: []diag.Sensor{zirconia(1, 1, 4), zirconia(1, 2, 4), zirconia(1, 3, 4),
			zirconia(2, 1, 4), zirconia(2, 2, 4)},
		connectors: map[int]string{1: "4-way round, black", 2: "4-way round, grey", 3: "4-way round, white"},
		heaterOhm:  [2]float64{5, 8}, pumpKPa: [2]float64{380, 410},
	},
}

func (p platform) vehicle(odometerKm int) diag.Vehicle {
	return diag.Vehicle{
		Cylinders: p.cylinders, Arrangement: p.arrangement, DisplacementL: p.displacementL,
		Fuel: "petrol", AirMetering: p.metering, OdometerKm: odometerKm, Sensors: p.sensors,
	}
}

// number makes a vehicle identification number whose check digit is right (49 CFR
// 565.15). Position 7 is a letter from model year 2010 on and a digit before.
func (p platform) number(year, serial int) string {
	const years = "ABCDEFGHJKLMNPRSTVWXY123456789" // 1980 to 2009, then again
	seventh := "2"
	if year >= 2010 {
		seventh = "C"
	}
	letter := p.model[:1]
	if letter == "Q" {
		letter = "U" // no VIN has a Q
	}
	v := []byte(makes[p.make] + fmt.Sprintf("%s%02.0f", letter, 10*p.displacementL) + seventh + fmt.Sprint(p.cylinders) + "0" + string(years[(year-1980)%30]) + "Z" + fmt.Sprintf("%06d", serial))
	v[8] = vin.VIN(v).CheckDigit()
	return string(v)
}

// family is the shop's word for cars that share engine and exhaust.
func (p platform) family() string { return p.make + " " + p.model + " " + p.engine }
