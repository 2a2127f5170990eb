package diag

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// Textbook cases: what a good technician would have found, and what follows from it.
// Common practice, no source, but where one stands beside a case.

var (
	fourInline = Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf", OdometerKm: 120000, Sensors: []Sensor{
		{1, 1, Zirconia, 4, false}, {1, 2, Zirconia, 4, false}}}
	fourMAP = Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 1.6, Fuel: "petrol", AirMetering: "map", OdometerKm: 120000, Sensors: []Sensor{
		{1, 1, Zirconia, 4, false}, {1, 2, Zirconia, 4, false}}}
	sixV = Vehicle{Cylinders: 6, Arrangement: "v", DisplacementL: 3, Fuel: "petrol", AirMetering: "maf", OdometerKm: 120000, Sensors: []Sensor{
		{1, 1, Zirconia, 4, false}, {1, 2, Zirconia, 4, false}, {2, 1, Zirconia, 4, false}, {2, 2, Zirconia, 4, false}}}
	sixFlat = Vehicle{Cylinders: 6, Arrangement: "flat", DisplacementL: 3, Fuel: "petrol", AirMetering: "maf", OdometerKm: 182000, Sensors: []Sensor{
		{1, 1, Zirconia, 4, false}, {2, 1, Zirconia, 4, false}, {1, 2, Zirconia, 4, true}}}
	oneWire = Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 1.8, Fuel: "petrol", AirMetering: "maf", OdometerKm: 150000, Sensors: []Sensor{
		{1, 1, Zirconia, 1, false}}}
	wideCar = Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf", OdometerKm: 150000, Sensors: []Sensor{
		{1, 1, WideRange, 5, false}, {1, 2, Zirconia, 4, false}}}
)

func aged(v Vehicle, km int) Vehicle {
	v.OdometerKm = km
	return v
}

func codes(list ...string) []Entry {
	var out []Entry
	for _, c := range list {
		out = append(out, Entry{Kind: KindCode, Code: c, Status: "stored"})
	}
	return out
}

// trims gives long-term trims at idle, 2500 rpm, cruise and load.
func trims(bank int, at ...float64) []Entry {
	var out []Entry
	for i, x := range at {
		out = append(out, Entry{Kind: KindTrim, Bank: bank, State: States[i], ShortPct: new(1.0), LongPct: new(x - 1)})
	}
	return out
}

func lambdas(at ...float64) []Entry {
	var out []Entry
	for i, x := range at {
		out = append(out, Entry{Kind: KindLambda, State: States[i], Value: &x})
	}
	return out
}

func shown(test, outcome string, place ...int) []Entry {
	e := Entry{Kind: KindResult, Test: test, Outcome: outcome}
	if len(place) > 0 {
		e.Bank = place[0]
	}
	if len(place) > 1 {
		e.Position = place[1]
	}
	return []Entry{e}
}

func lively(bank, position int) []Entry {
	return []Entry{{Kind: KindSignal, Bank: bank, Position: position, State: "fast_idle", MinV: new(0.1), MaxV: new(0.86), MeanV: new(0.45), CrossingsHz: new(1.5), LeanRichMs: new(70.0), RichLeanMs: new(80.0)}}
}

func sluggish(bank, position int) []Entry {
	return []Entry{{Kind: KindSignal, Bank: bank, Position: position, State: "fast_idle", MinV: new(0.22), MaxV: new(0.72), MeanV: new(0.43), CrossingsHz: new(0.25), LeanRichMs: new(260.0), RichLeanMs: new(210.0)}}
}

func still(bank, position int, volts float64) []Entry {
	return []Entry{{Kind: KindSignal, Bank: bank, Position: position, State: "fast_idle", MinV: new(volts - 0.02), MaxV: new(volts + 0.02), MeanV: &volts, CrossingsHz: new(0.0)}}
}

// rearLean is a rear sensor that breathes air from a leak.
func rearLean(bank int) []Entry {
	return []Entry{{Kind: KindSignal, Bank: bank, Position: 2, State: "fast_idle", MinV: new(0.06), MaxV: new(0.6), MeanV: new(0.24), CrossingsHz: new(0.5)}}
}

func forced(bank, position int, mixture string, volts, ms float64) []Entry {
	return []Entry{{Kind: KindForced, Bank: bank, Position: position, Mixture: mixture, Volts: &volts, Ms: &ms}}
}

func heaterOhm(bank, position int, ohm float64) []Entry {
	return []Entry{{Kind: KindHeater, Bank: bank, Position: position, Ohm: &ohm, OhmLow: new(5.0), OhmHigh: new(8.0)}}
}

func heaterFeed(bank, position int, feed, drop float64) []Entry {
	return []Entry{{Kind: KindHeater, Bank: bank, Position: position, FeedV: &feed, GroundDropV: &drop}}
}

func circuit(bank, position int, result string) []Entry {
	return []Entry{{Kind: KindCircuit, Bank: bank, Position: position, Result: result}}
}

func plug(bank, position int, result string) []Entry {
	return []Entry{{Kind: KindConnector, Bank: bank, Position: position, Result: result}}
}

func tip(bank, position int, look string) []Entry {
	return []Entry{{Kind: KindTip, Bank: bank, Position: position, Look: look}}
}

func told(remarks ...string) []Entry {
	var out []Entry
	for _, r := range remarks {
		out = append(out, Entry{Kind: KindHistory, Remark: r})
	}
	return out
}

func pressure(kpa float64, holds bool) []Entry {
	return []Entry{{Kind: KindFuelPressure, KPa: &kpa, KPaLow: new(290.0), KPaHigh: new(320.0), Holds: &holds}}
}

// breathes is the airflow measured at wide open throttle, as a share of what the engine
// must breathe.
func breathes(v Vehicle, share float64) []Entry {
	e := Entry{Kind: KindAirflow, RPM: new(5000.0), IntakeC: new(25.0), BaroKPa: new(100.0), WideOpen: new(true)}
	e.GPerS = new(share * newWorld(trade(), v).expectedAirflow(e))
	return []Entry{e}
}

func tail(state string, co, co2, o2, hc float64) []Entry {
	return []Entry{{Kind: KindGas, State: state, COPct: &co, CO2Pct: &co2, O2Pct: &o2, HCPpm: &hc}}
}

type textbook struct {
	name    string
	car     Vehicle
	finds   [][]Entry
	top     string // likeliest cause, with its place
	verdict string // part b1s1 · mend CAUSE ... · nothing · open: TEST
}

var textbooks = []textbook{
	{"smoke out of the boot, both banks lean at idle", sixV, [][]Entry{codes("P0171", "P0174"), trims(1, 22, 9, 5, 3), trims(2, 21, 9, 5, 2), shown("intake_smoke", "common"), shown("pcv_pinch", "unchanged")},
		"intake_leak_common", "mend intake_leak_common"},
	{"a breather whose pinching changes the idle", fourInline, [][]Entry{codes("P0171"), trims(1, 21, 8, 4, 2), shown("pcv_pinch", "changed"), shown("intake_smoke", "none")},
		"pcv_fault", "mend pcv_fault"},
	{"smoke out of the breather", fourInline, [][]Entry{codes("P0171"), told("hiss"), trims(1, 20, 8, 4, 2), shown("intake_smoke", "breather")},
		"pcv_fault", "mend pcv_fault"},
	{"smoke out of one bank's gasket", sixV, [][]Entry{codes("P0171"), trims(1, 20, 9, 6, 3), trims(2, 1, 0, 1, 1), shown("intake_smoke", "bank", 1)},
		"intake_leak_bank b1", "mend intake_leak_bank b1"},
	{"an airflow meter that reads too little", fourInline, [][]Entry{codes("P0171"), trims(1, 4, 12, 16, 22), breathes(fourInline, 0.72), pressure(305, true)},
		"maf_reads_low", "mend maf_reads_low"},
	{"an airflow meter that reads too much", fourInline, [][]Entry{codes("P0172"), trims(1, -5, -12, -16, -20), breathes(fourInline, 1.3), pressure(305, true)},
		"maf_reads_high", "mend maf_reads_high"},
	{"a tired pump", sixV, [][]Entry{codes("P0171", "P0174"), trims(1, 5, 11, 16, 24), trims(2, 4, 10, 15, 23), pressure(215, true), breathes(sixV, 1)},
		"fuel_delivery_low", "mend fuel_delivery_low"},
	{"a regulator stuck shut", fourInline, [][]Entry{codes("P0172"), trims(1, -22, -16, -13, -9), pressure(395, true)},
		"fuel_pressure_high", "mend fuel_pressure_high"},
	{"a purge valve that never closes", fourInline, [][]Entry{codes("P0172"), trims(1, -20, -12, -5, -2), shown("purge_pinch", "changed"), pressure(305, true)},
		"purge_stuck_open", "mend purge_stuck_open"},
	{"a coolant sensor that reads cold", fourMAP, [][]Entry{codes("P0172"), trims(1, -17, -14, -13, -11), shown("coolant_temp_compare", "reads_cold"), pressure(305, true)},
		"coolant_temp_reads_cold", "mend coolant_temp_reads_cold"},
	{"oil that smells of petrol", fourInline, [][]Entry{codes("P0172"), told("fuel_smell"), trims(1, -18, -11, -5, -3), shown("purge_pinch", "unchanged"), pressure(305, true), shown("oil_use_check", "fuel")},
		"oil_diluted_with_fuel", "mend oil_diluted_with_fuel"},
	{"an exhaust that chokes the engine", fourInline, [][]Entry{codes("P0300"), told("weak"), trims(1, 1, 2, 1, 3), breathes(fourInline, 0.75), shown("vacuum_hold", "sinks"), shown("misfire_counts", "none")},
		"exhaust_restricted b1", "mend exhaust_restricted b1"},
	{"trims off alike everywhere, all sound, and a later calibration for it", fourInline, [][]Entry{codes("P0171"), trims(1, 12, 12, 13, 12), pressure(305, true), breathes(fourInline, 1), shown("intake_smoke", "none"), shown("injector_balance", "even"), shown("fuel_sample", "good"), shown("calibration_check", "superseded"), forced(1, 1, "rich", 0.88, 60), lambdas(1), shown("exhaust_leak_test", "none"), shown("misfire_counts", "none"), told(NothingKnown)},
		"control_software", "mend control_software"},
	{"fuel in the oil, all else sound, the oil not looked at: it stays open", fourInline, [][]Entry{codes("P0172"), trims(1, -18, -11, -5, -3), shown("purge_pinch", "unchanged"), pressure(305, true), shown("coolant_temp_compare", "agrees"), breathes(fourInline, 1), shown("injector_balance", "even")},
		"oil_diluted_with_fuel", "open"},
	{"a fill of the wrong fuel", fourInline, [][]Entry{codes("P0171"), trims(1, 14, 14, 14, 13), told("fuel_fill"), pressure(305, true), breathes(fourInline, 1), shown("intake_smoke", "none"), shown("exhaust_leak_test", "none"), shown("misfire_counts", "none"), forced(1, 1, "rich", 0.88, 60), shown("fuel_sample", "off")},
		"wrong_fuel", "mend wrong_fuel"},
	{"exhaust recirculation open at idle", fourInline, [][]Entry{codes("P0300"), told("rough_running"), shown("egr_check", "stuck_open"), trims(1, 2, 1, 0, 1)},
		"egr_stuck_open", "mend egr_stuck_open"},
	{"gas in the coolant and a green tip: the gasket before the sensor", fourInline, [][]Entry{codes("P0133"), told("coolant_loss"), shown("combustion_gas_test", "found"), sluggish(1, 1), tip(1, 1, "green"), forced(1, 2, "lean", 0.1, 70)},
		"head_gasket_leak", "part b1s1 first head_gasket_leak"},
	{"an oily tip and oil use: the engine before the sensor", fourInline, [][]Entry{codes("P0133"), told("oil_use"), shown("oil_use_check", "high"), sluggish(1, 1), tip(1, 1, "oily")},
		"sensor_oil b1s1", "part b1s1 first oil_burning"},
	{"an exhaust leak that the front sensor breathes", sixV, [][]Entry{codes("P0171"), trims(1, 16, 8, 4, 1), trims(2, 0, 1, 0, 0), shown("exhaust_leak_test", "upstream", 1), lambdas(0.95), shown("intake_smoke", "none")},
		"exhaust_leak_upstream b1", "mend exhaust_leak_upstream b1"},
	{"a leak behind the converter behind a converter code", fourInline, [][]Entry{codes("P0420"), trims(1, 1, 1, 0, 0), shown("exhaust_leak_test", "downstream", 1), shown("misfire_counts", "none"), lively(1, 1), rearLean(1), shown("oil_use_check", "normal")},
		"exhaust_leak_downstream b1", "mend exhaust_leak_downstream b1"},
	{"a clogged injector", sixV, [][]Entry{codes("P0174"), trims(2, 14, 14, 14, 15), trims(1, 0, 1, 0, 1), shown("injector_balance", "restricted", 2), shown("intake_smoke", "none")},
		"injector_restricted b2", "mend injector_restricted b2"},
	{"a dripping injector", sixV, [][]Entry{codes("P0172"), trims(1, -19, -13, -9, -7), trims(2, 0, 1, 0, 0), shown("injector_balance", "leaking", 1)},
		"injector_leaking b1", "mend injector_leaking b1"},
	{"a misfire that reads lean", sixV, [][]Entry{codes("P0171", "P0300"), trims(1, 14, 10, 8, 6), trims(2, 0, 0, 1, 1), shown("misfire_counts", "counted", 1), lively(1, 1), tail("idle", 0.4, 12.8, 3.2, 900)},
		"misfire b1", "mend misfire b1"},
	{"a worn converter, with what imitates it ruled out", fourInline, [][]Entry{codes("P0420"), trims(1, 1, 0, 1, 0), shown("exhaust_leak_test", "none"), shown("misfire_counts", "none"), lively(1, 1), shown("rear_activity", "mirrors", 1), told(NothingKnown)},
		"catalyst_worn b1", "mend catalyst_worn b1"},
	{"the same before anybody asked what may have worn it out", fourInline, [][]Entry{codes("P0420"), trims(1, 1, 0, 1, 0), shown("exhaust_leak_test", "none"), shown("misfire_counts", "none"), lively(1, 1), shown("rear_activity", "mirrors", 1)},
		"catalyst_worn b1", "open"},
	{"oil wore the converter out, and would wear out the next", fourInline, [][]Entry{codes("P0420"), trims(1, 1, 0, 1, 0), shown("exhaust_leak_test", "none"), shown("misfire_counts", "none"), lively(1, 1), shown("rear_activity", "mirrors", 1), told("oil_use", "blue_smoke"), shown("oil_use_check", "high")},
		"oil_burning", "mend catalyst_worn b1 oil_burning"},
	{"a converter code alone wants what imitates it ruled out", fourInline, [][]Entry{codes("P0420")},
		"catalyst_worn b1", "open"},
	{"a slow old sensor", aged(fourInline, 230000), [][]Entry{codes("P0133"), sluggish(1, 1), forced(1, 1, "rich", 0.74, 310), forced(1, 1, "lean", 0.17, 150), circuit(1, 1, "good"), shown("exhaust_leak_test", "none"), tip(1, 1, "clean")},
		"sensor_aged b1s1", "part b1s1"},
	{"white powder after the sealant", fourInline, [][]Entry{codes("P0133"), told("sealant"), sluggish(1, 1), tip(1, 1, "white")},
		"sensor_silica b1s1", "part b1s1"},
	{"dropped, and now below zero", fourInline, [][]Entry{codes("P0131"), told("dropped"), []Entry{{Kind: KindSignal, Bank: 1, Position: 1, State: "fast_idle", MinV: new(-0.4), MaxV: new(0.05), MeanV: new(-0.2), CrossingsHz: new(0.0)}}, tip(1, 1, "damaged"), plug(1, 1, "good")},
		"sensor_cracked b1s1", "part b1s1"},
	{"soot on the tip of a rich engine: the pressure first", fourInline, [][]Entry{codes("P0172", "P0133"), trims(1, -22, -16, -13, -9), pressure(395, true), tip(1, 1, "sooty")},
		"fuel_pressure_high", "mend fuel_pressure_high sensor_soot b1s1"},
	{"grease in the connector", fourInline, [][]Entry{codes("P0131"), told("greased"), plug(1, 1, "greased"), still(1, 1, -0.1), forced(1, 1, "lean", -0.2, 90), circuit(1, 1, "good")},
		"reference_air_blocked b1s1", "mend reference_air_blocked b1s1"},
	{"a heater burnt out", fourInline, [][]Entry{codes("P0135"), heaterOhm(1, 1, 9000), heaterFeed(1, 1, 13.8, 0.04)},
		"heater_element_open b1s1", "part b1s1"},
	{"a heater without feed: no part", fourInline, [][]Entry{codes("P0135"), heaterOhm(1, 1, 6.2), heaterFeed(1, 1, 0.3, 0.04)},
		"heater_supply_fault b1s1", "mend heater_supply_fault b1s1"},
	{"a heater that draws no current, its feed good and its element open", fourInline, [][]Entry{codes("P0135"), shown("heater_current", "none", 1, 1), heaterFeed(1, 1, 13.8, 0.04), heaterOhm(1, 1, 9000)},
		"heater_element_open b1s1", "part b1s1"},
	{"a heater that draws no current, for want of feed: no part", fourInline, [][]Entry{codes("P0135"), shown("heater_current", "none", 1, 1), heaterFeed(1, 1, 0.3, 0.04)},
		"heater_supply_fault b1s1", "mend heater_supply_fault b1s1"},
	{"a heater that draws its current, and its code not seen again: nothing is wrong now", fourInline, [][]Entry{codes("P0135"), {{Kind: KindCodeList, Status: "pending"}}, shown("heater_current", "draws", 1, 1)},
		"past_event", "nothing"},
	{"a heater with a bad ground: no part", fourInline, [][]Entry{codes("P0141"), heaterOhm(1, 2, 6.4), heaterFeed(1, 2, 13.8, 3.2)},
		"heater_supply_fault b1s2", "mend heater_supply_fault b1s2"},
	{"a signal wire that is open", fourInline, [][]Entry{codes("P0134"), still(1, 1, 0.45), circuit(1, 1, "open")},
		"signal_open b1s1", "mend signal_open b1s1"},
	{"a signal wire on ground", fourInline, [][]Entry{codes("P0131"), still(1, 1, 0.0), circuit(1, 1, "short_ground")},
		"signal_short_ground b1s1", "mend signal_short_ground b1s1"},
	{"a signal wire on the heater's feed", fourInline, [][]Entry{codes("P0132"), still(1, 1, 4.6), circuit(1, 1, "short_supply")},
		"signal_short_supply b1s1", "mend signal_short_supply b1s1"},
	{"a poor signal ground", oneWire, [][]Entry{codes("P0130"), circuit(1, 1, "ground_fault")},
		"signal_ground_fault b1s1", "mend signal_ground_fault b1s1"},
	{"plugs of the banks crossed after work", sixFlat, [][]Entry{codes("P0040"), told("sensor_renewed"), trims(1, 24, 24, 22, 20), trims(2, -24, -23, -22, -20)},
		"connectors_crossed", "mend connectors_crossed"},
	{"ran dry, and all measures well: no part", fourInline, [][]Entry{codes("P0171"), told("ran_dry"), trims(1, 1, 0, 1, 2), lively(1, 1), shown("road_proof", "passed")},
		"past_event", "nothing"},
	{"the code follows the sensor", sixV, [][]Entry{codes("P0133"), sluggish(1, 1), shown("swap_sensors", "follows", 1, 1), tip(1, 1, "clean")},
		"sensor_aged b1s1", "part b1s1"},
	{"a wide-range sensor that does not switch is not judged by switching", wideCar, [][]Entry{codes("P0420"), still(1, 1, 0.45), shown("exhaust_leak_test", "none"), shown("misfire_counts", "none"), shown("rear_activity", "mirrors", 1), told(NothingKnown)},
		"catalyst_worn b1", "mend catalyst_worn b1"},
	{"two at once: a burnt-out heater and a leaking boot", fourInline, [][]Entry{codes("P0135", "P0171"), heaterOhm(1, 1, 9000), heaterFeed(1, 1, 13.8, 0.03), trims(1, 22, 9, 5, 2), shown("intake_smoke", "common"), shown("pcv_pinch", "unchanged")},
		"heater_element_open b1s1", "part b1s1 first intake_leak_common"},
	{"two at once: an air leak on each bank's side of the engine", sixV, [][]Entry{codes("P0171", "P0174"), trims(1, 20, 9, 6, 3), trims(2, 19, 8, 5, 2), shown("intake_smoke", "bank", 1), shown("intake_smoke", "bank", 2)},
		"intake_leak_bank b1", "mend intake_leak_bank b1 intake_leak_bank b2"},
	{"two at once: misfire and a gasket that leaks air", sixV, [][]Entry{codes("P0174", "P0300"), shown("misfire_counts", "counted", 1), trims(1, 12, 9, 7, 6), trims(2, 20, 9, 5, 2), shown("intake_smoke", "bank", 2)},
		"intake_leak_bank b2", "mend intake_leak_bank b2 misfire b1"},
}

func at(r CauseRef) string {
	s := r.Cause
	if r.Bank > 0 {
		s += fmt.Sprintf(" b%d", r.Bank)
	}
	if r.Position > 0 {
		s += fmt.Sprintf("s%d", r.Position)
	}
	return s
}

// verdictWords writes a verdict as the textbook does.
func verdictWords(d Decision) string {
	if d.Verdict.Decision == DecideOpen {
		return "open"
	}
	var s []string
	for _, p := range d.Verdict.Parts {
		s = append(s, fmt.Sprintf("part b%ds%d", p.Bank, p.Position))
	}
	var mend []string
	for _, m := range d.Verdict.Mend {
		if !slices.Contains(d.Verdict.First, m) {
			mend = append(mend, at(m))
		}
	}
	if len(d.Verdict.First) > 0 {
		s = append(s, "first")
		for _, f := range d.Verdict.First {
			s = append(s, at(f))
		}
	}
	if len(mend) > 0 {
		slices.Sort(mend)
		s = append(append(s, "mend"), mend...)
	}
	if len(s) == 0 {
		return "nothing"
	}
	return strings.Join(s, " ")
}

func TestTextbookCases(t *testing.T) {
	for _, x := range textbooks {
		t.Run(x.name, func(t *testing.T) {
			c := Case{Version: CaseVersion, Vehicle: x.car, Evidence: slices.Concat(x.finds...), Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
			d, err := Decide(c)
			if err != nil {
				t.Fatal(err)
			}
			if got := at(d.Causes[0].CauseRef); got != x.top {
				t.Errorf("likeliest is %s (%.2f), then %s (%.2f); want %s", got, d.Causes[0].P, at(d.Causes[1].CauseRef), d.Causes[1].P, x.top)
			}
			if got := verdictWords(d); got != x.verdict {
				next := ""
				if d.Next != nil {
					next = d.Next.Test
				}
				t.Errorf("verdict: %s %s, want %s", got, next, x.verdict)
			}
		})
	}
}
