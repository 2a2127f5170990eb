package templates

import "crosscount/templates/lang"

// ResponsesView is what a car answered, decoded, before anything is taken over.
type ResponsesView struct {
	Page
	Car, JobHref string
	File         FileFacts
	Sums         []Fact
	Svg          string
	Refusal      *Refusal
	Decoded      DecodedView
	Noticed      []NoticedLine
	Take         *TakeForm
	AsOther      string
}

// DecodedView is what was decoded.
type DecodedView struct {
	VIN       string
	VINWords  string // how it compares with the car's
	Standard  string
	Layout    *LayoutView
	Codes     []CodeRow
	NoCodes   []string
	Readiness []ReadinessView
	Frames    []FrameView
	Live      []LiveRow
	LiveMore  []LiveRow
	Groups    []MeasureGroup
	Tests     []ResultRow
	TestsLeft string
	Modules   []string
}

// LayoutView compares what the car reports with what we know of it.
type LayoutView struct {
	Reported []string
	Missing  []string // of what we know
	Surplus  []string
	Agrees   bool
}

// CodeRow is one code.
type CodeRow struct {
	Code, Status, Module string
	Means                []string
	Alike                string
}

// ReadinessView is how far the monitors are.
type ReadinessView struct {
	Title    string
	Words    string
	Monitors []Fact
}

// FrameView is a freeze frame.
type FrameView struct {
	Title    string
	Readings []Fact
}

// LiveRow is one value the car reported.
type LiveRow struct {
	Name, Where, Last, Range, Count string
}

// ResultRow is one result of the on-board monitors.
type ResultRow struct {
	Name, Where, Value, Limits, Outcome string
}

// TakeForm takes over what is ticked.
type TakeForm struct {
	Action     string
	ID         string
	Entries    string
	As         string
	State      *Field
	Offers     []OfferRow
	TakeVIN    *Field
	TakeLayout *Field
	Replaces   *Field
	Words      Field
}

// AnsweredState asks how the engine ran while it answered.
func AnsweredState(l *lang.Language, states []string) Field {
	f := RunningField(l, states)
	f.Name, f.Hint = "state", "For trims and signals."
	return f
}

// TakeVINField offers the VIN.
func TakeVINField(l *lang.Language, vin string) Field {
	return Field{Name: "take_vin", Label: l.T("Write %s down as this car's VIN", vin)}
}

// TakeLayoutField offers the sensor layout.
func TakeLayoutField(l *lang.Language, words string) Field {
	return Field{Name: "take_layout", Label: l.T("Correct the car's sensors: %s", words), Hint: "New ones are taken as 4-wire zirconia unless the car reports a wide-range reading there. Check kind and wires on the car's page."}
}

// VINCompared says how the VIN answered compares with the car's.
func VINCompared(l *lang.Language, answered, known string) string {
	switch {
	case known == "":
		return l.T("The car's own VIN was not known here.")
	case answered == known:
		return l.T("It is this car's.")
	}
	return l.T("It is not this car's: %s is written down here. Is this another car's answer, or was the VIN typed wrong?", known)
}

// ReadyWords says how far the monitors are.
func ReadyWords(l *lang.Language, lamp bool, codes int, complete bool) string {
	light := l.T("lamp off")
	if lamp {
		light = l.T("lamp on")
	}
	c := l.T("%d codes stored", codes)
	if codes == 1 {
		c = l.T("one code stored")
	}
	r := l.T("all monitors complete")
	if !complete {
		r = l.T("not all monitors complete")
	}
	return commas(light, c, r)
}

// MonitorWord says whether a monitor has finished.
func MonitorWord(l *lang.Language, done bool) string {
	if done {
		return l.T("complete")
	}
	return l.T("not complete")
}

// NoCodesWords says that there are no codes of a status.
func NoCodesWords(l *lang.Language, status string) string {
	switch status {
	case "pending":
		return l.T("No pending codes.")
	case "permanent":
		return l.T("No permanent codes.")
	}
	return l.T("No stored codes.")
}

// NoHeader stands for a module that answered without a header.
const NoHeader = "one without a header"

// ListDamaged says why no list of codes is known to be whole.
const ListDamaged = "An answer was damaged, and a code may have been in it. Read the codes again."

// NotListed names the modules that answered, but did not tell their codes.
func NotListed(l *lang.Language, modules []string) string {
	return l.T("Not every module that answered told these codes: %s. Ask all of them.", and(l, modules))
}

// PassedWord says how a monitor result stands.
func PassedWord(l *lang.Language, passed, known bool) string {
	switch {
	case !known:
		return l.T("no limit given")
	case passed:
		return l.T("within")
	}
	return l.T("outside")
}

// LimitWords tells the limits of a result.
func LimitWords(l *lang.Language, low, high string) string {
	switch {
	case low != "" && high != "":
		return l.T("%s to %s", low, high)
	case low != "":
		return l.T("at least %s", low)
	case high != "":
		return l.T("at most %s", high)
	}
	return ""
}

// LayoutChange says what a correction of the layout does.
func LayoutChange(l *lang.Language, add, drop []string) string {
	switch {
	case len(drop) == 0:
		return l.T("add %s", and(l, add))
	case len(add) == 0:
		return l.T("take out %s", and(l, drop))
	}
	return l.T("add %s; take out %s", and(l, add), and(l, drop))
}

// OnlyFirst says that not all is shown.
func OnlyFirst(l *lang.Language, shown, all int) string {
	return l.T("The first %d of %d are shown; all are in the file.", shown, all)
}

// ReadinessTitle heads a readiness answer.
func ReadinessTitle(l *lang.Language, thisDrive bool, module string) string {
	t := l.T("Since the codes were cleared")
	if thisDrive {
		t = l.T("On this drive")
	}
	if module != "" {
		t = l.T("%s, module %s", t, module)
	}
	return t
}

// FrameTitle heads a freeze frame.
func FrameTitle(l *lang.Language, n int, code string) string {
	if code == "" {
		return l.T("Freeze frame %d", n)
	}
	return l.T("Freeze frame %d, kept when %s was set", n, code)
}

var liveNames = map[string]string{
	"short_trim": "Short-term trim", "long_trim": "Long-term trim", "sensor_voltage": "Sensor voltage", "sensor_trim": "Short-term trim of the sensor",
	"wide_lambda": "Wide-range lambda", "wide_voltage": "Wide-range voltage", "wide_current": "Wide-range current", "rear_short_trim": "Rear short-term trim",
	"rear_long_trim": "Rear long-term trim", "catalyst_temp": "Catalyst temperature", "commanded_lambda": "Commanded lambda", "fuel_system_1": "Fuel system 1, status",
	"fuel_system_2": "Fuel system 2, status", "engine_speed": "Engine speed", "engine_load": "Engine load", "absolute_load": "Absolute load", "vehicle_speed": "Vehicle speed",
	"coolant_temp": "Coolant temperature", "intake_air_temp": "Intake air temperature", "ambient_temp": "Ambient temperature", "oil_temp": "Oil temperature",
	"manifold_pressure": "Manifold pressure", "barometric_kpa": "Barometer", "airflow": "Airflow", "throttle": "Throttle", "timing_advance": "Timing advance",
	"fuel_pressure": "Fuel pressure", "fuel_rail_relative": "Fuel rail against manifold", "fuel_rail": "Fuel rail", "purge": "Purge", "egr": "Exhaust recirculation",
	"egr_error": "Exhaust recirculation error", "fuel_level": "Fuel level", "ethanol": "Ethanol", "module_voltage": "Module voltage", "fuel_rate": "Fuel rate", "run_time": "Run time",
	"km_with_lamp": "Distance with the lamp on", "km_since_clear": "Distance since codes were cleared", "warm_ups_since": "Warm-ups since codes were cleared",
	"min_with_lamp": "Time with the lamp on", "min_since_clear": "Time since codes were cleared", "relative_throttle": "Relative throttle", "secondary_air": "Secondary air, status",
}

// LiveName names what a car reports.
func LiveName(l *lang.Language, quantity string) string {
	if n, ok := liveNames[quantity]; ok {
		return l.T(n)
	}
	return quantity
}

// FuelStatusWord says how the fuel is controlled.
func FuelStatusWord(l *lang.Language, s string) string {
	switch s {
	case "off":
		return l.T("not running")
	case "open_loop_cold", "open_loop_cold_bank_2":
		return l.T("open loop, still cold")
	case "closed_loop":
		return l.T("closed loop")
	case "open_loop_load", "open_loop_load_bank_2":
		return l.T("open loop, load or coasting")
	case "open_loop_fault", "open_loop_fault_bank_2":
		return l.T("open loop because of a fault")
	case "closed_loop_fault":
		return l.T("closed loop, a sensor is not used")
	}
	return l.T("not stated")
}

// StateChosenBelow stands for the engine state that the form asks for.
const StateChosenBelow = "the speed chosen below"

// StateNotTold stands for the engine state where a freeze frame does not tell it.
const StateNotTold = "an unknown speed"

// Why the trims of a freeze frame cannot be taken over.
const (
	FrameOpenLoop = "The fuel system was not in closed loop, so the module did not trim by its sensors."
	FrameNoSpeed  = "The frame lacks engine speed or road speed, so how the engine ran is not known."
)

// Facts of an answer.
const (
	FactLines    = "Lines"
	FactAnswers  = "Answers understood"
	FactModules  = "Modules"
	FactStandard = "Built to"
	FactFuel     = "Fuel system"
)
