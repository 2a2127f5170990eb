package seed

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"crosscount/diag"
	"crosscount/diag/chem"
)

// bench is a car with known faults. It answers every test with numbers that follow
// from the faults, so that the engine is fed what a real car would show. The sizes
// of the effects are common practice, no source.
type bench struct {
	car    diag.Vehicle
	ohm    [2]float64
	pump   [2]float64
	faults []diag.CauseRef
	told   []string // history remarks
	rng    *rand.Rand
}

// ref reads a cause at its place: "pcv_fault", "misfire@2", "sensor_aged@1.2".
func ref(s string) (diag.CauseRef, error) {
	name, place, _ := strings.Cut(s, "@")
	r := diag.CauseRef{Cause: name}
	if place == "" {
		return r, nil
	}
	bank, position, _ := strings.Cut(place, ".")
	var err error
	if r.Bank, err = strconv.Atoi(bank); err == nil && position != "" {
		r.Position, err = strconv.Atoi(position)
	}
	if err != nil {
		return r, fmt.Errorf("place in %q: %w", s, err)
	}
	return r, nil
}

func (b *bench) has(cause string, bank, position int) bool {
	return slices.Contains(b.faults, diag.CauseRef{Cause: cause, Bank: bank, Position: position})
}

func (b *bench) hasAnywhere(causes ...string) (diag.CauseRef, bool) {
	for _, f := range b.faults {
		if slices.Contains(causes, f.Cause) {
			return f, true
		}
	}
	return diag.CauseRef{}, false
}

func (b *bench) banks() int { return b.car.Banks() }

// noise is a normal deviate with the given spread, within three of it.
func (b *bench) noise(spread float64) float64 {
	return spread * max(-3, min(3, b.rng.NormFloat64()))
}

func round(x float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	if r := math.Round(x*p) / p; r != 0 {
		return r
	}
	return 0 // never -0, which a database does not keep
}

func num(x float64, digits int) *float64 { return new(round(x, digits)) }

// states in the order of rising airflow.
var states = []string{"idle", "fast_idle", "cruise", "load"}

// effects are the total trim in per cent a cause asks for in each state.
var effects = map[string][4]float64{
	"intake_leak_common":      {21, 7, 3, 1},
	"intake_leak_bank":        {22, 8, 3, 1},
	"pcv_fault":               {19, 7, 3, 1},
	"maf_reads_low":           {2, 7, 13, 21},
	"maf_reads_high":          {-3, -8, -13, -19},
	"fuel_delivery_low":       {3, 7, 14, 23},
	"fuel_pressure_high":      {-19, -14, -11, -8},
	"purge_stuck_open":        {-17, -8, -4, -1},
	"coolant_temp_reads_cold": {-13, -11, -9, -8},
	"oil_diluted_with_fuel":   {-15, -9, -5, -3},
	"wrong_fuel":              {14, 14, 14, 13},
	"egr_stuck_open":          {2, 1, 0, 0},
	"exhaust_leak_upstream":   {17, 9, 4, 0},
	"injector_restricted":     {12, 12, 13, 14},
	"injector_leaking":        {-17, -13, -9, -6},
	"misfire":                 {13, 11, 9, 8},
	"cam_timing_off":          {6, 5, 4, 4},
	"exhaust_restricted":      {1, 0, -3, -8},
	"head_gasket_leak":        {2, 1, 0, 0},
	"sensor_silica":           {9, 10, 10, 9},
	"sensor_coolant":          {5, 6, 6, 5},
	"sensor_shifted":          {11, 11, 12, 12},
	"sensor_cracked":          {16, 16, 15, 14},
	"reference_air_blocked":   {12, 12, 12, 11},
	"signal_short_ground":     {24, 24, 23, 22},
	"signal_short_supply":     {-23, -23, -22, -21},
	"signal_ground_fault":     {-5, -7, -8, -11},
}

// falselyLean are causes that make the sensor see air that is not in the mixture:
// the fuel that answers it makes the exhaust truly rich.
var falselyLean = []string{"exhaust_leak_upstream", "misfire", "sensor_silica", "sensor_coolant", "sensor_shifted",
	"sensor_cracked", "reference_air_blocked", "signal_short_ground", "signal_short_supply", "signal_ground_fault"}

func stateIndex(state string) int { return slices.Index(states, state) }

// trim is the total trim of a bank in a state, before noise.
func (b *bench) trim(bank int, state string) float64 {
	return b.trimOf(bank, state, func(string) bool { return true })
}

func (b *bench) trimOf(bank int, state string, counts func(cause string) bool) float64 {
	i := stateIndex(state)
	if i < 0 {
		return 0
	}
	total := 0.0
	for _, f := range b.faults {
		size := effects[f.Cause][i]
		if !counts(f.Cause) || f.Position > 1 || f.Bank != 0 && f.Bank != bank {
			continue
		}
		switch f.Cause {
		case "intake_leak_common", "pcv_fault", "intake_leak_bank":
			if b.car.AirMetering == "map" { // pressure rises with the leak, fuel follows
				size *= 0.35
			}
		}
		total += size
	}
	if _, crossed := b.hasAnywhere("connectors_crossed"); crossed && counts("connectors_crossed") {
		// Each bank's fuel follows the other bank's sensor and runs away.
		if bank == 1 {
			total += 22
		} else {
			total -= 22
		}
	}
	return max(-35, min(35, total))
}

// lambda is the true air ratio of a bank: what the sensor wrongly sees as lean (or
// rich) is answered with fuel (or without).
func (b *bench) lambda(bank int, state string) float64 {
	wrong := b.trimOf(bank, state, func(c string) bool { return slices.Contains(falselyLean, c) })
	l := 1 / (1 + wrong/100)
	if f, ok := b.hasAnywhere("connectors_crossed"); ok {
		_ = f
		if bank == 1 {
			l *= 0.85
		} else {
			l *= 1.15
		}
	}
	return l
}

// grid puts a trim on the steps of the bus, 100/128 of a per cent.
func grid(pct float64) float64 { return round(math.Round(pct*1.28)/1.28, 1) }

// place is where a test is done; zero where it is about the whole engine.
type place struct{ bank, position int }

// tests maps a test to the entries it leaves behind.
var tests = map[string]func(b *bench, p place) []diag.Entry{
	"history_ask":          (*bench).history,
	"trims":                (*bench).trims,
	"trims_load":           (*bench).trimsLoad,
	"signal_capture":       (*bench).signal,
	"forced_rich":          func(b *bench, p place) []diag.Entry { return b.forced(p, "rich") },
	"forced_lean":          func(b *bench, p place) []diag.Entry { return b.forced(p, "lean") },
	"heater_resistance":    (*bench).heaterOhm,
	"heater_supply":        (*bench).heaterSupply,
	"heater_current":       (*bench).heaterCurrent,
	"signal_circuit":       (*bench).circuit,
	"connector_look":       (*bench).connector,
	"tip_look":             (*bench).tip,
	"gas_analysis":         (*bench).gas,
	"fuel_pressure":        (*bench).fuelPressure,
	"airflow_check":        (*bench).airflow,
	"intake_smoke":         (*bench).smoke,
	"exhaust_leak_test":    (*bench).exhaustLeak,
	"rear_activity":        (*bench).rear,
	"purge_pinch":          yesNo("purge_pinch", "changed", "unchanged", "purge_stuck_open"),
	"pcv_pinch":            yesNo("pcv_pinch", "changed", "unchanged", "pcv_fault"),
	"coolant_temp_compare": yesNo("coolant_temp_compare", "reads_cold", "agrees", "coolant_temp_reads_cold"),
	"combustion_gas_test":  yesNo("combustion_gas_test", "found", "none", "head_gasket_leak"),
	"oil_use_check":        yesNo("oil_use_check", "high", "normal", "oil_burning"),
	"egr_check":            yesNo("egr_check", "stuck_open", "good", "egr_stuck_open"),
	"fuel_sample":          yesNo("fuel_sample", "off", "good", "wrong_fuel"),
	"vacuum_hold":          yesNo("vacuum_hold", "sinks", "steady", "exhaust_restricted"),
	"calibration_check":    yesNo("calibration_check", "superseded", "latest", "control_software"),
	"misfire_counts":       perBank("misfire_counts", "none", map[string]string{"misfire": "counted"}),
	"injector_balance": perBank("injector_balance", "even",
		map[string]string{"injector_restricted": "restricted", "injector_leaking": "leaking"}),
	"compression":  perBank("compression", "even", map[string]string{"cam_timing_off": "low"}),
	"swap_sensors": (*bench).swap,
}

// do performs "test" or "test@bank.position".
func (b *bench) do(test string) ([]diag.Entry, error) {
	r, err := ref(test)
	if err != nil {
		return nil, err
	}
	f, ok := tests[r.Cause]
	if !ok {
		return nil, fmt.Errorf("no bench test %q", r.Cause)
	}
	return f(b, place{r.Bank, r.Position}), nil
}

func result(test, outcome string, bank, position int) []diag.Entry {
	return []diag.Entry{{Kind: diag.KindResult, Test: test, Outcome: outcome, Bank: bank, Position: position}}
}

func yesNo(test, yes, no, cause string) func(*bench, place) []diag.Entry {
	return func(b *bench, _ place) []diag.Entry {
		if b.has(cause, 0, 0) {
			return result(test, yes, 0, 0)
		}
		return result(test, no, 0, 0)
	}
}

func perBank(test, none string, found map[string]string) func(*bench, place) []diag.Entry {
	return func(b *bench, p place) []diag.Entry {
		for _, f := range b.faults {
			if o, ok := found[f.Cause]; ok && (p.bank == 0 || p.bank == f.Bank) {
				return result(test, o, f.Bank, 0)
			}
		}
		return result(test, none, p.bank, 0)
	}
}

func (b *bench) history(place) []diag.Entry {
	var es []diag.Entry
	for _, remark := range b.told {
		r, err := ref(remark)
		if err != nil {
			continue
		}
		es = append(es, diag.Entry{Kind: diag.KindHistory, Remark: r.Cause, Bank: r.Bank, Position: r.Position})
	}
	return es
}

func (b *bench) trims(place) []diag.Entry     { return b.trimEntries("idle", "fast_idle", "cruise") }
func (b *bench) trimsLoad(place) []diag.Entry { return b.trimEntries("load") }

func (b *bench) trimEntries(in ...string) []diag.Entry {
	var es []diag.Entry
	for bank := 1; bank <= b.banks(); bank++ {
		for _, s := range in {
			total := b.trim(bank, s) + b.noise(1.2)
			long := grid(0.75*total + b.noise(0.8))
			es = append(es, diag.Entry{Kind: diag.KindTrim, Bank: bank, State: s,
				LongPct: &long, ShortPct: new(grid(total - long))})
		}
	}
	return es
}

// cell is what one zirconia sensor shows: ends, crossings and transition times.
type cell struct {
	low, high, hz, leanRich, richLean float64
}

// cellAt gives the cell at a place as its faults have left it.
func (b *bench) cellAt(p place) cell {
	c := soundCell
	for _, f := range b.faults {
		if f.Bank != p.bank || f.Position != p.position {
			continue
		}
		switch f.Cause {
		case "sensor_aged": // lean to rich grows first (SAE 790143)
			c = cell{0.18, 0.71, 0.35, 270, 130}
		case "sensor_silica":
			c = cell{0.06, 0.58, 0.3, 310, 210}
		case "sensor_coolant":
			c = cell{0.10, 0.62, 0.3, 280, 190}
		case "sensor_oil":
			c = cell{0.16, 0.66, 0.4, 240, 180}
		case "sensor_soot":
			c = cell{0.15, 0.68, 0.5, 190, 160}
		case "sensor_shifted":
			c = cell{0.02, 0.63, 1.2, 82, 85}
		case "sensor_cracked":
			c = cell{-0.22, 0.17, 0.05, 0, 0}
		case "reference_air_blocked":
			c = cell{-0.15, 0.41, 0.4, 0, 0}
		case "signal_open":
			c = cell{0.43, 0.46, 0, 0, 0}
		case "signal_short_ground":
			c = cell{0, 0.02, 0, 0, 0}
		case "signal_short_supply":
			c = cell{1.35, 1.52, 0, 0, 0}
		case "signal_ground_fault":
			c = cell{0.24, 1.02, 1.3, 80, 84}
		case "heater_element_open", "heater_supply_fault":
			c = cell{0.14, 0.80, 0.9, 96, 104}
		case "wrong_sensor_fitted":
			c = cell{0.30, 0.62, 0.3, 240, 230}
		}
	}
	return c
}

func (b *bench) signal(p place) []diag.Entry {
	s, ok := b.car.At(p.bank, p.position)
	if !ok || s.Kind != diag.Zirconia {
		return nil
	}
	c := b.cellAt(p)
	e := diag.Entry{Kind: diag.KindSignal, Bank: p.bank, Position: p.position, State: "fast_idle"}
	healthy := c.low == 0.10
	if p.position > 1 && healthy {
		if !b.has("catalyst_worn", p.bank, 0) {
			low := 0.55 + b.noise(0.02)
			if b.has("exhaust_leak_downstream", p.bank, 0) {
				low = 0.12 + b.noise(0.02)
			}
			high := 0.74 + b.noise(0.02)
			e.MinV, e.MaxV, e.MeanV = num(low, 2), num(high, 2), num(low+0.6*(high-low), 2)
			e.CrossingsHz = num(max(0, 0.06+b.noise(0.02)), 2)
			if b.has("exhaust_leak_downstream", p.bank, 0) {
				e.CrossingsHz = num(0.5+b.noise(0.05), 2)
			}
			return []diag.Entry{e}
		}
		c.hz *= 0.8 // a worn converter stores nothing: the rear mirrors the front
	}
	low, high := c.low+b.noise(0.01), c.high+b.noise(0.012)
	if high < low {
		high = low
	}
	e.MinV, e.MaxV = num(low, 2), num(high, 2)
	e.MeanV = num((*e.MinV+*e.MaxV)/2-0.02*(*e.MaxV-*e.MinV), 2)
	e.CrossingsHz = num(max(0, c.hz*(1+b.noise(0.08))), 2)
	if c.leanRich > 0 {
		e.LeanRichMs, e.RichLeanMs = num(c.leanRich*(1+b.noise(0.06)), 0), num(c.richLean*(1+b.noise(0.06)), 0)
	}
	return []diag.Entry{e}
}

func (b *bench) forced(p place, mixture string) []diag.Entry {
	s, ok := b.car.At(p.bank, p.position)
	if !ok || s.Kind != diag.Zirconia {
		return nil
	}
	c := b.cellAt(p)
	e := diag.Entry{Kind: diag.KindForced, Bank: p.bank, Position: p.position, Mixture: mixture}
	switch mixture {
	case "rich":
		e.Volts = num(c.high+0.02+b.noise(0.01), 2)
		if c.leanRich > 0 {
			e.Ms = num(1.25*c.leanRich*(1+b.noise(0.05)), 0)
		}
	default:
		e.Volts = num(c.low-0.02+b.noise(0.01), 2)
		if c.richLean > 0 {
			e.Ms = num(1.25*c.richLean*(1+b.noise(0.05)), 0)
		}
	}
	return []diag.Entry{e}
}

func (b *bench) heated(p place) bool {
	s, ok := b.car.At(p.bank, p.position)
	return ok && s.Heated()
}

func (b *bench) heaterOhm(p place) []diag.Entry {
	if !b.heated(p) {
		return nil
	}
	ohm := b.ohm[0] + (b.ohm[1]-b.ohm[0])*(0.35+0.3*b.rng.Float64())
	if b.has("heater_element_open", p.bank, p.position) {
		ohm = 1e6 // the meter's end of scale
	}
	return []diag.Entry{{Kind: diag.KindHeater, Bank: p.bank, Position: p.position,
		Ohm: num(ohm, 1), OhmLow: new(b.ohm[0]), OhmHigh: new(b.ohm[1])}}
}

func (b *bench) heaterSupply(p place) []diag.Entry {
	if !b.heated(p) {
		return nil
	}
	feed, drop := 13.8+b.noise(0.15), 0.06+b.noise(0.015)
	if b.has("heater_supply_fault", p.bank, p.position) {
		feed = 0.1 + math.Abs(b.noise(0.05))
	}
	return []diag.Entry{{Kind: diag.KindHeater, Bank: p.bank, Position: p.position,
		FeedV: num(feed, 1), GroundDropV: num(max(0, drop), 2)}}
}

func (b *bench) heaterCurrent(p place) []diag.Entry {
	switch {
	case !b.heated(p):
		return nil
	case b.has("heater_element_open", p.bank, p.position), b.has("heater_supply_fault", p.bank, p.position):
		return result("heater_current", "none", p.bank, p.position)
	}
	return result("heater_current", "draws", p.bank, p.position)
}

func (b *bench) circuit(p place) []diag.Entry {
	r := "good"
	for cause, shown := range map[string]string{"signal_open": "open", "signal_short_ground": "short_ground",
		"signal_short_supply": "short_supply", "signal_ground_fault": "ground_fault"} {
		if b.has(cause, p.bank, p.position) {
			r = shown
		}
	}
	return []diag.Entry{{Kind: diag.KindCircuit, Bank: p.bank, Position: p.position, Result: r}}
}

func (b *bench) connector(p place) []diag.Entry {
	r := "good"
	switch {
	case b.has("reference_air_blocked", p.bank, p.position):
		r = "greased"
	case b.has("sensor_oil", p.bank, p.position) && !b.has("oil_burning", 0, 0):
		r = "oily"
	case b.has("signal_open", p.bank, p.position), b.has("signal_ground_fault", p.bank, p.position):
		r = "corroded"
	case b.has("signal_short_ground", p.bank, p.position), b.has("signal_short_supply", p.bank, p.position):
		r = "chafed"
	}
	return []diag.Entry{{Kind: diag.KindConnector, Bank: p.bank, Position: p.position, Result: r}}
}

func (b *bench) tip(p place) []diag.Entry {
	look := "clean"
	for cause, shown := range map[string]string{"sensor_silica": "white", "sensor_coolant": "green",
		"sensor_soot": "sooty", "sensor_oil": "oily", "sensor_cracked": "damaged"} {
		if b.has(cause, p.bank, p.position) {
			look = shown
		}
	}
	return []diag.Entry{{Kind: diag.KindTip, Bank: p.bank, Position: p.position, Look: look}}
}

// gas is what an analyser shows in the tailpipe at idle and at cruise, for the mean
// air ratio of the banks: the balance of burnt petrol, a little of it left unburnt.
func (b *bench) gas(place) []diag.Entry {
	var es []diag.Entry
	for _, s := range []string{"idle", "cruise"} {
		l := 0.0
		for bank := 1; bank <= b.banks(); bank++ {
			l += b.lambda(bank, s) / float64(b.banks())
		}
		products, err := chem.PetrolBalance.Products(l)
		if err != nil {
			continue // no bench car burns outside the balance's range
		}
		co2, co, _, o2 := products.DryPct()
		unburnt := 0.12 + math.Abs(b.noise(0.03)) // CO with half its oxygen left over
		hc := 45 + math.Abs(b.noise(12))
		if _, ok := b.hasAnywhere("misfire"); ok {
			unburnt, hc = 0.6, 780+b.noise(60)
		} else if _, ok := b.hasAnywhere("catalyst_worn"); ok {
			unburnt, hc = 0.65, 190+b.noise(15)
		}
		if _, ok := b.hasAnywhere("exhaust_leak_downstream"); ok {
			o2 += 0.5
		}
		es = append(es, diag.Entry{Kind: diag.KindGas, State: s, COPct: num(co+unburnt, 2), CO2Pct: num(co2-unburnt, 1),
			O2Pct: num(o2+unburnt/2+hc*9e-4, 2), HCPpm: num(hc, 0)})
	}
	return es
}

func (b *bench) fuelPressure(place) []diag.Entry {
	low, high := b.pump[0], b.pump[1]
	kpa, holds := (low+high)/2+b.noise(4), true
	switch {
	case b.has("fuel_delivery_low", 0, 0):
		kpa, holds = 0.72*low+b.noise(5), false
	case b.has("fuel_pressure_high", 0, 0):
		kpa = 1.3*high + b.noise(5)
	}
	if _, leaking := b.hasAnywhere("injector_leaking"); leaking {
		holds = false
	}
	return []diag.Entry{{Kind: diag.KindFuelPressure, KPa: num(kpa, 0), KPaLow: &low, KPaHigh: &high, Holds: &holds}}
}

// airflow is a full-throttle pull in second gear: what the engine must breathe at a
// volumetric efficiency of about 0.85, through a meter that may lie.
func (b *bench) airflow(place) []diag.Entry {
	if b.car.AirMetering != "maf" {
		return nil
	}
	in := chem.Intake{DisplacementL: b.car.DisplacementL, RPM: 5000, Celsius: 24, KPa: 100}
	g, err := in.Airflow(0.85 + b.noise(0.015))
	if err != nil {
		return nil // no bench car is of such a size
	}
	switch {
	case b.has("maf_reads_low", 0, 0):
		g *= 0.76
	case b.has("maf_reads_high", 0, 0):
		g *= 1.21
	}
	if _, blocked := b.hasAnywhere("exhaust_restricted"); blocked {
		g *= 0.66
	}
	return []diag.Entry{{Kind: diag.KindAirflow, RPM: &in.RPM, GPerS: num(g, 0), IntakeC: &in.Celsius,
		BaroKPa: &in.KPa, WideOpen: new(true)}}
}

func (b *bench) smoke(place) []diag.Entry {
	if f, ok := b.hasAnywhere("intake_leak_bank"); ok {
		return result("intake_smoke", "bank", f.Bank, 0)
	}
	if _, ok := b.hasAnywhere("intake_leak_common"); ok {
		return result("intake_smoke", "common", 0, 0)
	}
	if _, ok := b.hasAnywhere("pcv_fault"); ok {
		return result("intake_smoke", "breather", 0, 0)
	}
	return result("intake_smoke", "none", 0, 0)
}

func (b *bench) exhaustLeak(place) []diag.Entry {
	if f, ok := b.hasAnywhere("exhaust_leak_upstream"); ok {
		return result("exhaust_leak_test", "upstream", f.Bank, 0)
	}
	if f, ok := b.hasAnywhere("exhaust_leak_downstream"); ok {
		return result("exhaust_leak_test", "downstream", f.Bank, 0)
	}
	return result("exhaust_leak_test", "none", 0, 0)
}

func (b *bench) rear(p place) []diag.Entry {
	if b.has("catalyst_worn", p.bank, 0) {
		return result("rear_activity", "mirrors", p.bank, 0)
	}
	return result("rear_activity", "quiet", p.bank, 0)
}

func (b *bench) swap(p place) []diag.Entry {
	for _, f := range b.faults {
		if f.Bank == p.bank && f.Position == p.position && strings.HasPrefix(f.Cause, "sensor_") {
			return result("swap_sensors", "follows", p.bank, p.position)
		}
	}
	return result("swap_sensors", "stays", p.bank, p.position)
}
