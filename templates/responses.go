package templates

import (
	"fmt"

	"crosscount/templates/lang"
)

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
func TakeVINField(vin string) Field {
	return Field{Name: "take_vin", Label: "Write " + vin + " down as this car's VIN"}
}

// TakeLayoutField offers the sensor layout.
func TakeLayoutField(words string) Field {
	return Field{Name: "take_layout", Label: "Correct the car's sensors: " + words, Hint: "New ones are taken as 4-wire zirconia unless the car reports a wide-range reading there. Check kind and wires on the car's page."}
}

// VINCompared says how the VIN answered compares with the car's.
func VINCompared(answered, known string) string {
	switch {
	case known == "":
		return "The car's own VIN was not known here."
	case answered == known:
		return "It is this car's."
	}
	return "It is not this car's: " + known + " is written down here. Is this another car's answer, or was the VIN typed wrong?"
}

// ReadyWords says how far the monitors are.
func ReadyWords(lamp bool, codes int, complete bool) string {
	l := "lamp off"
	if lamp {
		l = "lamp on"
	}
	c := fmt.Sprintf("%d codes stored", codes)
	if codes == 1 {
		c = "one code stored"
	}
	r := "all monitors complete"
	if !complete {
		r = "not all monitors complete"
	}
	return l + ", " + c + ", " + r
}

// MonitorWord says whether a monitor has finished.
func MonitorWord(done bool) string {
	if done {
		return "complete"
	}
	return "not complete"
}

// NoCodesWords says that there are no codes of a status.
func NoCodesWords(status string) string { return "No " + status + " codes." }

// PassedWord says how a monitor result stands.
func PassedWord(passed, known bool) string {
	switch {
	case !known:
		return "no limit given"
	case passed:
		return "within"
	}
	return "outside"
}

// LimitWords tells the limits of a result.
func LimitWords(low, high string) string {
	switch {
	case low != "" && high != "":
		return low + " to " + high
	case low != "":
		return "at least " + low
	case high != "":
		return "at most " + high
	}
	return ""
}

// LayoutChange says what a correction of the layout does.
func LayoutChange(l *lang.Language, add, drop []string) string {
	out := ""
	if len(add) > 0 {
		out = "add " + and(l, add)
	}
	if len(drop) > 0 {
		if out != "" {
			out += "; "
		}
		out += "take out " + and(l, drop)
	}
	return out
}

// OnlyFirst says that not all is shown.
func OnlyFirst(shown, all int) string {
	return fmt.Sprintf("The first %d of %d are shown; all are in the file.", shown, all)
}

// ReadinessTitle heads a readiness answer.
func ReadinessTitle(thisDrive bool, module string) string {
	t := "Since the codes were cleared"
	if thisDrive {
		t = "On this drive"
	}
	if module != "" {
		t += ", module " + module
	}
	return t
}

// FrameTitle heads a freeze frame.
func FrameTitle(n int, code string) string {
	if code == "" {
		return fmt.Sprintf("Freeze frame %d", n)
	}
	return fmt.Sprintf("Freeze frame %d, kept when %s was set", n, code)
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
func LiveName(quantity string) string {
	if n, ok := liveNames[quantity]; ok {
		return n
	}
	return quantity
}

// FuelStatusWord says how the fuel is controlled.
func FuelStatusWord(s string) string {
	switch s {
	case "off":
		return "not running"
	case "open_loop_cold", "open_loop_cold_bank_2":
		return "open loop, still cold"
	case "closed_loop":
		return "closed loop"
	case "open_loop_load", "open_loop_load_bank_2":
		return "open loop, load or coasting"
	case "open_loop_fault", "open_loop_fault_bank_2":
		return "open loop because of a fault"
	case "closed_loop_fault":
		return "closed loop, a sensor is not used"
	}
	return "not stated"
}

// StateChosenBelow stands for the engine state that the form asks for.
const StateChosenBelow = "the speed chosen below"

// Facts of an answer.
const (
	FactLines    = "Lines"
	FactAnswers  = "Answers understood"
	FactModules  = "Modules"
	FactStandard = "Built to"
	FactFuel     = "Fuel system"
)
