// Package diag holds the vocabulary of oxygen-sensor diagnosis (locations,
// evidence, causes, tests, verdicts) and the reasoning over it. It is pure: the
// same case always gives the same decision.
package diag

// CaseVersion is the version of the case format that this package reads.
const CaseVersion = 1

// Case is everything the engine is told about one job.
type Case struct {
	Version  int     `json:"case"`
	Vehicle  Vehicle `json:"vehicle"`
	Evidence []Entry `json:"evidence"`
	Costs    Costs   `json:"costs"`

	// Ready names the set-ups that are in place on the car now, by their ids in the model.
	// Where it is left out, what the tests made have left counts as in place.
	Ready []string `json:"ready,omitzero"`
}

// Vehicle describes the engine and the sensors it was built with.
type Vehicle struct {
	Cylinders     int      `json:"cylinders"`
	Arrangement   string   `json:"arrangement"`           // inline, v, flat
	DisplacementL float64  `json:"displacement_l"`        // litres
	Fuel          string   `json:"fuel"`                  // petrol
	AirMetering   string   `json:"air_metering"`          // maf, map
	OdometerKm    int      `json:"odometer_km,omitempty"` // kilometres; 0 is unknown
	Sensors       []Sensor `json:"sensors"`               // one per location
}

// Sensor is one oxygen-sensor location. Bank 1 holds cylinder 1; position 1 is
// ahead of the converter, 2 behind it, 3 further on.
type Sensor struct {
	Bank     int        `json:"bank"`
	Position int        `json:"position"`
	Kind     SensorKind `json:"kind"`
	Wires    int        `json:"wires"`
	Common   bool       `json:"common,omitempty"` // one sensor behind both banks
}

// SensorKind is the measuring principle of a sensor.
type SensorKind string

// The kinds of sensor.
const (
	Zirconia  SensorKind = "zirconia"
	Titania   SensorKind = "titania"
	WideRange SensorKind = "wide_range"
)

// EntryKind says which fields of an Entry carry its content.
type EntryKind string

// The kinds of evidence entry.
const (
	KindCode         EntryKind = "code"
	KindTrim         EntryKind = "trim"
	KindSignal       EntryKind = "signal"
	KindForced       EntryKind = "forced"
	KindHeater       EntryKind = "heater"
	KindCircuit      EntryKind = "circuit"
	KindConnector    EntryKind = "connector"
	KindTip          EntryKind = "tip"
	KindGas          EntryKind = "gas"
	KindLambda       EntryKind = "lambda"
	KindFuelPressure EntryKind = "fuel_pressure"
	KindAirflow      EntryKind = "airflow"
	KindResult       EntryKind = "result"
	KindHistory      EntryKind = "history"
	KindCodeList     EntryKind = "code_list" // every code of that status is among the entries
	KindRepair       EntryKind = "repair"    // a cause was mended, or a new sensor fitted
	KindCar          EntryKind = "car"       // how the car stands: only in a log, whose order and times tell what of it holds
)

// Entry is one piece of evidence. Kind decides which fields belong to it; a
// quantity that was not measured is nil.
type Entry struct {
	Kind     EntryKind `json:"kind"`
	Bank     int       `json:"bank,omitempty"`
	Position int       `json:"position,omitempty"`
	State    string    `json:"state,omitempty"` // idle, fast_idle, cruise, load

	Code   string `json:"code,omitempty"`
	Status string `json:"status,omitempty"` // stored, pending, permanent

	ShortPct *float64 `json:"short_pct,omitempty"` // per cent
	LongPct  *float64 `json:"long_pct,omitempty"`  // per cent
	Frame    bool     `json:"frame,omitempty"`     // of the freeze frame: as it was when a code was set

	MinV        *float64 `json:"min_v,omitempty"`        // volts
	MaxV        *float64 `json:"max_v,omitempty"`        // volts
	MeanV       *float64 `json:"mean_v,omitempty"`       // volts
	CrossingsHz *float64 `json:"crossings_hz,omitempty"` // full cycles per second
	LeanRichMs  *float64 `json:"lean_rich_ms,omitempty"` // 300 to 600 mV, milliseconds
	RichLeanMs  *float64 `json:"rich_lean_ms,omitempty"` // 600 to 300 mV, milliseconds

	Mixture string   `json:"mixture,omitempty"` // rich, lean
	Volts   *float64 `json:"volts,omitempty"`
	Ms      *float64 `json:"ms,omitempty"`

	Ohm         *float64 `json:"ohm,omitempty"`
	OhmLow      *float64 `json:"ohm_low,omitempty"`
	OhmHigh     *float64 `json:"ohm_high,omitempty"`
	FeedV       *float64 `json:"feed_v,omitempty"`
	GroundDropV *float64 `json:"ground_drop_v,omitempty"`
	WarmUpS     *float64 `json:"warm_up_s,omitempty"` // seconds from a cold start until the cell's voltage first moves

	Result string `json:"result,omitempty"`
	Look   string `json:"look,omitempty"`

	COPct  *float64 `json:"co_pct,omitempty"`  // % by volume, dry
	CO2Pct *float64 `json:"co2_pct,omitempty"` // % by volume, dry
	O2Pct  *float64 `json:"o2_pct,omitempty"`  // % by volume, dry
	HCPpm  *float64 `json:"hc_ppm,omitempty"`  // ppm by volume, as n-hexane
	NOxPpm *float64 `json:"nox_ppm,omitempty"` // ppm by volume

	Value *float64 `json:"value,omitempty"` // lambda

	KPa     *float64 `json:"kpa,omitempty"`
	KPaLow  *float64 `json:"kpa_low,omitempty"`
	KPaHigh *float64 `json:"kpa_high,omitempty"`
	Holds   *bool    `json:"holds,omitempty"`

	RPM      *float64 `json:"rpm,omitempty"`
	GPerS    *float64 `json:"g_per_s,omitempty"`
	IntakeC  *float64 `json:"intake_c,omitempty"`
	BaroKPa  *float64 `json:"baro_kpa,omitempty"`
	WideOpen *bool    `json:"wide_open,omitempty"`

	Test    string `json:"test,omitempty"`
	Outcome string `json:"outcome,omitempty"`

	Remark string `json:"remark,omitempty"`

	Cause string `json:"cause,omitempty"` // what was mended, or new_sensor

	// AfterRepair counts the repairs of the car by this job, each with its proof, before
	// the entry was made; a repair counts itself. What was found before a repair and may
	// have come from what it mended is not weighed any more.
	AfterRepair int `json:"after_repair,omitempty"`
}

// TestDone names the test that an entry comes from; empty: none.
func (e *Entry) TestDone() string {
	switch e.Kind {
	case KindTrim:
		if e.Frame { // the module kept it
			return ""
		}
		return "trims"
	case KindSignal:
		return "signal_capture"
	case KindForced:
		return "forced_" + e.Mixture
	case KindHeater:
		if e.Ohm != nil {
			return "heater_resistance"
		}
		return "heater_supply"
	case KindCircuit:
		return "signal_circuit"
	case KindConnector:
		return "connector_look"
	case KindTip:
		return "tip_look"
	case KindGas, KindLambda:
		return "gas_analysis"
	case KindFuelPressure:
		return "fuel_pressure"
	case KindAirflow:
		return "airflow_check"
	case KindHistory:
		return "history_ask"
	case KindResult:
		return e.Test
	}
	return ""
}

// Costs prices the work.
type Costs struct {
	LabourPerHour float64 `json:"labour_per_hour"`
	Currency      string  `json:"currency"` // ISO 4217

	// TestMinutes is what tests take in this shop, in minutes without their set-ups, by
	// the test's id. A test that is not named takes the minutes of the model.
	TestMinutes map[string]float64 `json:"test_minutes,omitempty"`
}
