package signal

import "strings"

// Quantity is what a column of a recording measures.
type Quantity string

// The quantities told apart. Each has one unit in which samples are handed on.
const (
	SensorVoltage Quantity = "sensor_voltage"       // narrow-band oxygen sensor, V
	SensorLambda  Quantity = "sensor_lambda"        // wide-range sensor, lambda
	PumpCurrent   Quantity = "pump_current"         // wide-range sensor, mA
	LambdaCommand Quantity = "lambda_command"       // commanded equivalence ratio, lambda
	ShortTrim     Quantity = "short_trim"           // short-term fuel trim, %
	LongTrim      Quantity = "long_trim"            // long-term fuel trim, %
	EngineSpeed   Quantity = "engine_speed"         // rpm
	EngineLoad    Quantity = "engine_load"          // calculated load, %
	VehicleSpeed  Quantity = "vehicle_speed"        // km/h
	Coolant       Quantity = "coolant_temperature"  // °C
	IntakeAir     Quantity = "intake_temperature"   // °C
	ManifoldPress Quantity = "manifold_pressure"    // kPa absolute
	Barometric    Quantity = "barometric_pressure"  // kPa absolute
	Airflow       Quantity = "airflow"              // g/s
	Throttle      Quantity = "throttle"             // %
	FuelSystem    Quantity = "fuel_system"          // status of service 01 PID 03: 2 is closed loop
	ModuleVoltage Quantity = "module_voltage"       // V
	CatalystTemp  Quantity = "catalyst_temperature" // °C
	Other         Quantity = "other"                // any number, kept as it is
)

// kind gives a quantity's unit and the range outside which a sample cannot come
// from the thing measured. The ranges of service 01 quantities are those their
// bytes can express (SAE J1979); the others are generous physical bounds.
type kind struct {
	quantity Quantity
	unit     string
	min, max float64
	words    string
}

var kinds = []kind{
	{SensorVoltage, "V", -50, 50, "sensor voltage"},
	{SensorLambda, "lambda", 0, 32, "lambda"},
	{PumpCurrent, "mA", -128, 128, "pump current"},
	{LambdaCommand, "lambda", 0, 2.1, "commanded lambda"},
	{ShortTrim, "%", -100, 100, "short-term trim"},
	{LongTrim, "%", -100, 100, "long-term trim"},
	{EngineSpeed, "rpm", 0, 16384, "engine speed"},
	{EngineLoad, "%", 0, 25700, "engine load"},
	{VehicleSpeed, "km/h", 0, 500, "vehicle speed"},
	{Coolant, "°C", -60, 215, "coolant temperature"},
	{IntakeAir, "°C", -60, 215, "intake air temperature"},
	{ManifoldPress, "kPa", 0, 655, "manifold pressure"},
	{Barometric, "kPa", 0, 255, "barometric pressure"},
	{Airflow, "g/s", 0, 2000, "airflow"},
	{Throttle, "%", -10, 110, "throttle"},
	{FuelSystem, "", 0, 255, "fuel system status"},
	{ModuleVoltage, "V", -1, 66, "module voltage"},
	{CatalystTemp, "°C", -60, 6514, "catalyst temperature"},
	{Other, "", -1e30, 1e30, "unnamed"},
}

func kindOf(q Quantity) (kind, bool) {
	for _, k := range kinds {
		if k.quantity == q {
			return k, true
		}
	}
	return kind{}, false
}

// Unit is the unit in which samples of q are handed on; "" when it has none.
func (q Quantity) Unit() string { k, _ := kindOf(q); return k.unit }

// Words names q in plain words.
func (q Quantity) Words() string {
	if k, ok := kindOf(q); ok {
		return k.words
	}
	return string(q)
}

// Quantities lists what a column can be, in the order in which to offer them.
func Quantities() []Quantity {
	out := make([]Quantity, len(kinds))
	for i, k := range kinds {
		out[i] = k.quantity
	}
	return out
}

// unit converts a written unit into the base unit of its dimension:
// base = (value + shift) * scale / per. Scales are kept as exact factors and
// divisors so that 450 mV is 450/1000 V, correctly rounded.
type unit struct {
	name       string // as shown
	base       string // the base unit
	scale, per float64
	shift      float64
	spellings  string // lower case, separated by spaces
}

var units = []unit{
	{"V", "V", 1, 1, 0, "v volt volts vdc"},
	{"mV", "V", 1, 1e3, 0, "mv millivolt millivolts mvdc"},
	{"µV", "V", 1, 1e6, 0, "µv μv uv microvolt microvolts"},
	{"A", "mA", 1e3, 1, 0, "a amp amps ampere"},
	{"mA", "mA", 1, 1, 0, "ma milliamp milliamps milliampere"},
	{"µA", "mA", 1, 1e3, 0, "µa μa ua microamp microamps"},
	{"lambda", "lambda", 1, 1, 0, "lambda λ la lam"},
	{"AFR", "lambda", 1, 14.7, 0, "afr a/f :1"}, // 14.7:1 is stoichiometric for petrol
	{"rpm", "rpm", 1, 1, 0, "rpm 1/min min-1 u/min r/min rev/min"},
	{"%", "%", 1, 1, 0, "% pct percent per-cent"},
	{"°C", "°C", 1, 1, 0, "°c degc ºc c celsius deg_c"},
	{"°F", "°C", 5, 9, -32, "°f degf ºf f fahrenheit deg_f"},
	{"K", "°C", 1, 1, -273.15, "k kelvin"},
	{"kPa", "kPa", 1, 1, 0, "kpa kilopascal"},
	{"Pa", "kPa", 1, 1e3, 0, "pa pascal"},
	{"hPa", "kPa", 1, 10, 0, "hpa mbar millibar"},
	{"bar", "kPa", 100, 1, 0, "bar"},
	{"psi", "kPa", 6.894757293168361, 1, 0, "psi psia"},
	{"inHg", "kPa", 3.386389, 1, 0, "inhg"},
	{"g/s", "g/s", 1, 1, 0, "g/s gps g/sec gm/s grams/s"},
	{"kg/h", "g/s", 1, 3.6, 0, "kg/h kg/hr"},
	{"lb/min", "g/s", 453.59237, 60, 0, "lb/min lbs/min"},
	{"km/h", "km/h", 1, 1, 0, "km/h kph kmh kmph"},
	{"mph", "km/h", 1.609344, 1, 0, "mph mi/h miles/h"},
	{"s", "s", 1, 1, 0, "s sec secs second seconds"},
	{"ms", "s", 1, 1e3, 0, "ms msec millisecond milliseconds"},
	{"µs", "s", 1, 1e6, 0, "µs μs us usec microsecond microseconds"},
	{"ns", "s", 1, 1e9, 0, "ns nsec nanosecond nanoseconds"},
	{"min", "s", 60, 1, 0, "min mins minute minutes"},
	{"h", "s", 3600, 1, 0, "h hr hrs hour hours"},
}

var unitBySpelling = func() map[string]unit {
	m := map[string]unit{}
	for _, u := range units {
		for s := range strings.FieldsSeq(u.spellings) {
			m[s] = u
		}
	}
	return m
}()

// unitOf finds a unit by any of its spellings.
func unitOf(s string) (unit, bool) {
	s = strings.ToLower(strings.Trim(strings.TrimSpace(s), "()[]{}<>.,;:"))
	if s == "" {
		return unit{}, false
	}
	u, ok := unitBySpelling[s]
	return u, ok
}

// to converts v into the base unit.
func (u unit) to(v float64) float64 {
	v += u.shift
	if u.scale != 1 {
		v *= u.scale
	}
	if u.per != 1 {
		v /= u.per
	}
	return v
}

// plain tells that a value is already in the base unit.
func (u unit) plain() bool { return u.scale == 1 && u.per == 1 && u.shift == 0 }
