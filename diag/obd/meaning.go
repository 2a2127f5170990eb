package obd

import (
	"maps"
	"slices"
	"strings"
	"sync"

	"crosscount/diag/say"
)

// Meaning is what a generic code says, and about what.
type Meaning struct {
	Code     Code
	Subject  Subject
	Sense    Sense  // which way, where the code says it
	Bank     int    // 1 or 2; 0 where the code is not tied to one bank
	Position int    // 1 to 3; 0 where the code is not tied to one position
	Cylinder int    // 1 to 12; 0 where the code names none
	When     string // idle, off_idle or load, for mixture codes that say so
	Title    say.Text

	// NamesSensor: the code is set against an oxygen sensor or its circuit.
	NamesSensor bool
	// SensorRelated: the code brings an oxygen-sensor job, since it names a sensor
	// or rests on what the sensors reported (mixture, trim, converter).
	SensorRelated bool
	// LookAlike: close to a sensor code in number or wording, but not one.
	LookAlike bool
	// Testifies says what such a code mostly testifies about (common practice, no
	// source).
	Testifies say.Text
	// Basis says where the code's location and kind come from.
	Basis Basis
}

// Basis is the ground a fact stands on.
type Basis string

// The grounds.
const (
	// FromList: seen in an open list of SAE J2012 codes (OBDIICodes, MIT licence,
	// or the code names of python-OBD); facts only, wording ours.
	FromList Basis = "open list"
	// FromMemory: from memory of SAE J2012.
	FromMemory Basis = "from memory"
)

// Sense is the direction a code states.
type Sense string

// The directions.
const (
	Lean       Sense = "lean"
	Rich       Sense = "rich"
	Low        Sense = "low"
	High       Sense = "high"
	Open       Sense = "open"
	RichToLean Sense = "rich_to_lean"
	LeanToRich Sense = "lean_to_rich"
	Advanced   Sense = "advanced"
	Retarded   Sense = "retarded"
	Erratic    Sense = "erratic"
	OutOfRange Sense = "out_of_range" // range or performance
)

// Subject is what a code is about.
type Subject string

// Subjects that name an oxygen sensor or its circuit.
const (
	SensorCircuit       Subject = "sensor_circuit"
	SensorVolts         Subject = "sensor_volts"          // Low, High
	SensorSlow          Subject = "sensor_slow"           // none, RichToLean, LeanToRich
	SensorDelayed       Subject = "sensor_delayed"        // RichToLean, LeanToRich
	SensorNoActivity    Subject = "sensor_no_activity"    //
	SensorStuck         Subject = "sensor_stuck"          // Lean, Rich
	SensorRange         Subject = "sensor_range"          // range or performance
	SensorDeceleration  Subject = "sensor_deceleration"   // out of range with the fuel cut
	SensorExhaustSample Subject = "sensor_exhaust_sample" // the sensor does not sample the exhaust
	SensorSwapped       Subject = "sensor_swapped"        // between the banks, or along one bank
	SensorHeater        Subject = "sensor_heater"         // none, Low, High
	SensorHeaterOhm     Subject = "sensor_heater_ohm"     // resistance
	SensorToHeater      Subject = "sensor_to_heater"      // signal shorted to the heater circuit
	SensorPumpPositive  Subject = "sensor_pump_positive"  // wide-range: Open, Low, High
	SensorPumpNegative  Subject = "sensor_pump_negative"  // wide-range: Open, Low, High
	SensorPumpTrim      Subject = "sensor_pump_trim"      // wide-range: Open, Low, High
	SensorReference     Subject = "sensor_reference"      // wide-range: Open, Low, High, OutOfRange
	SensorProcessor     Subject = "sensor_processor"      // the module's own sensor circuit
)

// Subjects that rest on what the sensors reported.
const (
	Mixture         Subject = "mixture"          // Lean, Rich, or the trim out of its limits
	PostCatalyst    Subject = "post_catalyst"    // trim behind the converter: Lean, Rich
	BankImbalance   Subject = "bank_imbalance"   // cylinders of one bank run apart
	Catalyst        Subject = "catalyst"         // efficiency
	CatalystControl Subject = "catalyst_control" // its heater or temperature sensor
)

// Other engine subjects that a lean, rich, misfire or converter job meets.
const (
	Misfire          Subject = "misfire" // Cylinder 0: several or not said
	Ignition         Subject = "ignition"
	AirflowMeter     Subject = "airflow_meter"
	ManifoldPressure Subject = "manifold_pressure"
	IntakeAirTemp    Subject = "intake_air_temp"
	CoolantTemp      Subject = "coolant_temp"
	Thermostat       Subject = "thermostat"
	ThrottlePosition Subject = "throttle_position"
	AirLeak          Subject = "air_leak"
	Crankcase        Subject = "crankcase"
	IdleControl      Subject = "idle_control"
	FuelPressure     Subject = "fuel_pressure"
	FuelPressureSens Subject = "fuel_pressure_sensor"
	FuelPump         Subject = "fuel_pump"
	FuelComposition  Subject = "fuel_composition"
	Injector         Subject = "injector"
	CrankSensor      Subject = "crank_sensor"
	CamSensor        Subject = "cam_sensor"
	CamTiming        Subject = "cam_timing"
	EGR              Subject = "egr"
	SecondaryAir     Subject = "secondary_air"
	EvapPurge        Subject = "evap_purge"
	EvapLeak         Subject = "evap_leak"
	EvapVent         Subject = "evap_vent"
	SystemVoltage    Subject = "system_voltage"
	ControlModule    Subject = "control_module"
)

// Subjects of the look-alikes.
const (
	ChargerBypass Subject = "charger_bypass"
	Boost         Subject = "boost"
	FuelDelivery  Subject = "fuel_delivery"
	FuelTiming    Subject = "fuel_timing"
	NOxSensor     Subject = "nox_sensor"
	ExhaustTemp   Subject = "exhaust_temp"
)

// Meaning looks the code up. It answers false for a code outside the table, which
// may still be a sound code: System, Origin and Group tell what its structure says.
func (c Code) Meaning() (Meaning, bool) {
	m, ok := table()[c]
	return m, ok
}

// Known lists every code of the table in ascending order.
func Known() []Code { return slices.Sorted(maps.Keys(table())) }

// table is built once; a code entered twice would be a slip of ours and is caught
// by a test through duplicates.
var table = sync.OnceValue(func() map[Code]Meaning {
	t, _ := buildTable()
	return t
})

type builder struct {
	codes      map[Code]Meaning
	duplicates []Code
}

// add enters one meaning for each code of the list; fill may change a copy by the
// place in the list.
func (b *builder) add(codes string, m Meaning, fill ...func(i int, m *Meaning)) {
	for i, text := range strings.Fields(codes) {
		code, err := ParseCode(text)
		if err != nil {
			panic(err) // our own literal, covered by a test
		}
		one := m
		one.Code = code
		for _, f := range fill {
			f(i, &one)
		}
		if one.Testifies.IsZero() {
			one.Testifies = testifies(one)
		}
		if one.Basis == "" {
			one.Basis = FromList
		}
		if _, taken := b.codes[code]; taken {
			b.duplicates = append(b.duplicates, code)
		}
		b.codes[code] = one
	}
}

// titled writes a title with a location in it.
func titled(before string, bank, position int, behind string) say.Text {
	switch {
	case bank == 0 && position == 0:
		return say.T(before + behind)
	case position == 0:
		return say.T(before+", bank %d"+behind, bank)
	case bank == 0:
		return say.T(before+", position %d of both banks"+behind, position)
	}
	return say.T(before+", bank %d position %d"+behind, bank, position)
}

// sensor enters codes against one sensor, one sense for each code in turn.
func (b *builder) sensor(codes string, bank, position int, subject Subject, what string, senses ...Sense) {
	m := Meaning{Subject: subject, Bank: bank, Position: position, NamesSensor: true, SensorRelated: true}
	b.add(codes, m, func(i int, m *Meaning) {
		if len(senses) > 0 {
			m.Sense = senses[i%len(senses)]
		}
		m.Title = titled("Oxygen sensor", bank, position, ": "+withSense(what, m.Sense))
	})
}

var senseWords = map[Sense]string{
	Lean: "lean", Rich: "rich", Low: "low", High: "high", Open: "open",
	RichToLean: "from rich to lean", LeanToRich: "from lean to rich",
	Advanced: "too early", Retarded: "too late", Erratic: "intermittent",
	OutOfRange: "out of range or not plausible",
}

func withSense(what string, s Sense) string {
	if s == "" {
		return what
	}
	return what + " " + senseWords[s]
}

// engine enters codes that name no sensor location; the senses are given to the
// codes in turn.
func (b *builder) engine(codes string, subject Subject, bank int, what string, basis Basis, senses ...Sense) {
	b.add(codes, Meaning{Subject: subject, Bank: bank, Basis: basis}, func(i int, m *Meaning) {
		if len(senses) > 0 {
			m.Sense = senses[i%len(senses)]
		}
		m.Title = titled(withSense(what, m.Sense), bank, 0, "")
	})
}

func buildTable() (map[Code]Meaning, []Code) {
	b := &builder{codes: make(map[Code]Meaning, 512)}
	b.sensors()
	b.sensorBased()
	b.engineCodes()
	b.lookAlikes()
	return b.codes, b.duplicates
}

// sensors enters the codes set against an oxygen sensor.
func (b *builder) sensors() {
	type place struct{ bank, position int }
	b11, b12, b13 := place{1, 1}, place{1, 2}, place{1, 3}
	b21, b22, b23 := place{2, 1}, place{2, 2}, place{2, 3}

	for _, r := range []struct {
		codes string
		place
	}{
		{"P0130 P0131 P0132 P0133 P0134 P0135", b11},
		{"P0136 P0137 P0138 P0139 P0140 P0141", b12},
		{"P0142 P0143 P0144 P0145 P0146 P0147", b13},
		{"P0150 P0151 P0152 P0153 P0154 P0155", b21},
		{"P0156 P0157 P0158 P0159 P0160 P0161", b22},
		{"P0162 P0163 P0164 P0165 P0166 P0167", b23},
	} {
		c := strings.Fields(r.codes)
		b.sensor(c[0], r.bank, r.position, SensorCircuit, "signal circuit")
		b.sensor(c[1], r.bank, r.position, SensorVolts, "signal voltage", Low)
		b.sensor(c[2], r.bank, r.position, SensorVolts, "signal voltage", High)
		b.sensor(c[3], r.bank, r.position, SensorSlow, "slow response")
		b.sensor(c[4], r.bank, r.position, SensorNoActivity, "no activity")
		b.sensor(c[5], r.bank, r.position, SensorHeater, "heater circuit")
	}
	for _, r := range []struct {
		codes string
		place
	}{
		{"P0030 P0031 P0032", b11}, {"P0036 P0037 P0038", b12}, {"P0042 P0043 P0044", b13},
		{"P0050 P0051 P0052", b21}, {"P0056 P0057 P0058", b22}, {"P0062 P0063 P0064", b23},
	} {
		b.sensor(r.codes, r.bank, r.position, SensorHeater, "heater control circuit", "", Low, High)
	}
	for _, r := range []struct {
		code string
		place
	}{
		{"P0053", b11}, {"P0054", b12}, {"P0055", b13}, {"P0059", b21}, {"P0060", b22}, {"P0061", b23},
	} {
		b.sensor(r.code, r.bank, r.position, SensorHeaterOhm, "heater resistance not as expected")
	}

	b.sensor("P0040", 0, 1, SensorSwapped, "signals of the two banks swapped")
	b.sensor("P0041", 0, 2, SensorSwapped, "signals of the two banks swapped")
	b.sensor("P2278", 0, 3, SensorSwapped, "signals of the two banks swapped")

	for _, r := range []struct {
		codes string
		place
	}{{"P014C P014D", b11}, {"P013A P013B", b12}, {"P014E P014F", b21}, {"P013C P013D", b22}} {
		b.sensor(r.codes, r.bank, r.position, SensorSlow, "slow response", RichToLean, LeanToRich)
	}
	for _, r := range []struct {
		codes string
		place
	}{{"P015A P015B", b11}, {"P013E P013F", b12}, {"P015C P015D", b21}, {"P014A P014B", b22}} {
		b.sensor(r.codes, r.bank, r.position, SensorDelayed, "delayed response", RichToLean, LeanToRich)
	}
	for _, r := range []struct {
		codes string
		place
	}{
		{"P2195 P2196", b11}, {"P2197 P2198", b21}, {"P2270 P2271", b12},
		{"P2272 P2273", b22}, {"P2274 P2275", b13}, {"P2276 P2277", b23},
	} {
		b.sensor(r.codes, r.bank, r.position, SensorStuck, "signal stuck or biased", Lean, Rich)
	}
	for _, r := range []struct {
		code string
		place
	}{{"P2231", b11}, {"P2232", b12}, {"P2233", b13}, {"P2234", b21}, {"P2235", b22}, {"P2236", b23}} {
		b.sensor(r.code, r.bank, r.position, SensorToHeater, "signal shorted to the heater circuit")
	}
	for _, r := range []struct {
		positive, reference, negative, trim string
		place
	}{
		{"P2237 P2238 P2239", "P2243 P2244 P2245 P2246", "P2251 P2252 P2253", "P2626 P2627 P2628", b11},
		{"P2240 P2241 P2242", "P2247 P2248 P2249 P2250", "P2254 P2255 P2256", "P2629 P2630 P2631", b21},
	} {
		b.sensor(r.positive, r.bank, r.position, SensorPumpPositive, "positive pump current control", Open, Low, High)
		b.sensor(r.reference, r.bank, r.position, SensorReference, "reference voltage", Open, OutOfRange, Low, High)
		b.sensor(r.negative, r.bank, r.position, SensorPumpNegative, "negative pump current control", Open, Low, High)
		b.sensor(r.trim, r.bank, r.position, SensorPumpTrim, "pump current trim circuit", Open, Low, High)
	}
	for _, r := range []struct {
		deceleration, sample string
		place
	}{{"P2297", "P2414", b11}, {"P2298", "P2415", b21}} {
		b.sensor(r.deceleration, r.bank, r.position, SensorDeceleration, "out of range while coasting with the fuel cut")
		b.sensor(r.sample, r.bank, r.position, SensorExhaustSample, "exhaust sample error")
	}
	for _, r := range []struct {
		code string
		place
	}{{"P2A00", b11}, {"P2A01", b12}, {"P2A02", b13}, {"P2A03", b21}, {"P2A04", b22}, {"P2A05", b23}} {
		b.sensor(r.code, r.bank, r.position, SensorRange, "signal out of range or not plausible")
	}
	b.add("P064D P064E", Meaning{Subject: SensorProcessor, NamesSensor: true, SensorRelated: true}, func(i int, m *Meaning) {
		m.Bank = i + 1
		m.Title = titled("Control module: its own oxygen-sensor circuit", m.Bank, 0, "")
		m.Basis = FromMemory
	})

	// Seen as a kind only, or placed by the pattern of their neighbours.
	for _, text := range strings.Fields("P014F P2270 P2272 P2275 P2276 P2277 P2232 P2233 P2236 P2297 P2298 P2414 P2415 P2A00 P2A01 P2629") {
		code, _ := ParseCode(text)
		m := b.codes[code]
		m.Basis = FromMemory
		b.codes[code] = m
	}
}

// sensorBased enters the codes that rest on what the sensors reported.
func (b *builder) sensorBased() {
	related := func(_ int, m *Meaning) { m.SensorRelated = true }
	mixture := func(codes string, bank int, when, words string) {
		b.add(codes, Meaning{Subject: Mixture, Bank: bank, When: when}, related, func(i int, m *Meaning) {
			m.Sense = [2]Sense{Lean, Rich}[i]
			m.Title = titled("Mixture too "+senseWords[m.Sense]+words, bank, 0, "")
		})
	}
	mixture("P0171 P0172", 1, "", "")
	mixture("P0174 P0175", 2, "", "")
	mixture("P2177 P2178", 1, "off_idle", " off idle")
	mixture("P2179 P2180", 2, "off_idle", " off idle")
	mixture("P2187 P2188", 1, "idle", " at idle")
	mixture("P2189 P2190", 2, "idle", " at idle")
	mixture("P2191 P2192", 1, "load", " at higher load")
	mixture("P2193 P2194", 2, "load", " at higher load")
	b.add("P0170 P0173", Meaning{Subject: Mixture}, related, func(i int, m *Meaning) {
		m.Bank = i + 1
		m.Title = titled("Fuel trim out of its limits", m.Bank, 0, "")
	})
	b.add("P2096 P2097 P2098 P2099", Meaning{Subject: PostCatalyst}, related, func(i int, m *Meaning) {
		m.Bank, m.Sense = i/2+1, [2]Sense{Lean, Rich}[i%2]
		m.Title = titled("Trim behind the converter too "+senseWords[m.Sense], m.Bank, 0, "")
	})
	b.add("P219A P219B", Meaning{Subject: BankImbalance}, related, func(i int, m *Meaning) {
		m.Bank = i + 1
		m.Title = titled("Cylinders of one bank run apart in mixture", m.Bank, 0, "")
	})
	for bank, codes := range map[int]string{1: "P0420 P0421 P0422 P0423", 2: "P0430 P0431 P0432 P0433"} {
		b.add(codes, Meaning{Subject: Catalyst, Bank: bank}, related, func(i int, m *Meaning) {
			m.Title = titled([4]string{"Converter", "Warm-up converter", "Main converter", "Heated converter"}[i]+" efficiency below its limit", bank, 0, "")
		})
	}
}

// engineCodes enters the neighbouring codes of the air, fuel, ignition and
// emission systems.
func (b *builder) engineCodes() {
	five := []Sense{"", OutOfRange, Low, High, Erratic}

	b.engine("P0100 P0101 P0102 P0103 P0104", AirflowMeter, 0, "Airflow meter signal", FromList, five...)
	b.engine("P010A P010B P010C P010D P010E", AirflowMeter, 0, "Second airflow meter signal", FromList, five...)
	b.engine("P010F", AirflowMeter, 0, "The two airflow meters disagree", FromList)
	b.engine("P00BC P00BD", AirflowMeter, 0, "Airflow meter: airflow too", FromList, Low, High)
	b.engine("P006A", AirflowMeter, 1, "Manifold pressure and airflow disagree", FromList)
	b.engine("P00B8", AirflowMeter, 2, "Manifold pressure and airflow disagree", FromList)
	b.engine("P0068", AirflowMeter, 0, "Airflow or manifold pressure disagrees with the throttle", FromList)
	b.engine("P0105 P0106 P0107 P0108 P0109", ManifoldPressure, 0, "Manifold pressure signal", FromList, five...)
	b.engine("P0069", ManifoldPressure, 0, "Manifold and barometric pressure disagree", FromList)
	b.engine("P0129", ManifoldPressure, 0, "Barometric pressure too", FromList, Low)
	b.engine("P0110 P0111 P0112 P0113 P0114", IntakeAirTemp, 1, "Intake air temperature signal", FromList, five...)
	b.engine("P0127", IntakeAirTemp, 0, "Intake air temperature too", FromList, High)
	b.engine("P0115 P0116 P0117 P0118 P0119", CoolantTemp, 0, "Coolant temperature signal", FromList, five...)
	b.engine("P011A", CoolantTemp, 0, "The two coolant temperature sensors disagree", FromList)
	b.engine("P0125", CoolantTemp, 0, "Coolant not warm enough for closed loop", FromList)
	b.engine("P0126", CoolantTemp, 0, "Coolant not warm enough for steady running", FromList)
	b.engine("P0128", Thermostat, 0, "Coolant stays below the thermostat's temperature", FromList)
	b.engine("P0120 P0121 P0122 P0123 P0124", ThrottlePosition, 0, "Throttle position signal", FromList, five...)
	b.engine("P2172 P2173", AirLeak, 0, "Throttle system: more air than expected", FromList)
	b.engine("P2174 P2175", ThrottlePosition, 0, "Throttle system: less air than expected", FromList)
	b.engine("P2279", AirLeak, 0, "Air leak in the intake", FromMemory)
	b.engine("P2280", AirLeak, 0, "Restriction or air leak between air filter and airflow meter", FromList)
	b.engine("P051A P051B P051C P051D P051E", Crankcase, 0, "Crankcase pressure signal", FromList, five...)
	b.engine("P051F", Crankcase, 0, "Crankcase breather filter restricted", FromList)
	b.engine("P052E", Crankcase, 0, "Crankcase breather valve does not regulate", FromList)
	b.engine("P0505", IdleControl, 0, "Idle control", FromList)
	b.engine("P0506 P0507", IdleControl, 0, "Idle speed too", FromList, Low, High)

	b.engine("P0087 P0088", FuelPressure, 0, "Fuel pressure too", FromList, Low, High)
	b.engine("P0089", FuelPressure, 0, "Fuel pressure regulator does not hold its pressure", FromList)
	b.engine("P008A P008B", FuelPressure, 0, "Fuel pressure on the low side too", FromList, Low, High)
	b.engine("P0090 P0091 P0092", FuelPressure, 0, "Fuel pressure regulator circuit", FromList, "", Low, High)
	b.engine("P0093 P0094", FuelPressure, 0, "Fuel system leaks", FromList)
	b.engine("P018A P018B P018C P018D P018E", FuelPressureSens, 0, "Second fuel pressure sensor signal", FromList, five...)
	b.engine("P0190 P0191 P0192 P0193 P0194", FuelPressureSens, 0, "Fuel pressure sensor signal", FromList, five...)
	b.engine("P0230 P0231 P0232 P0233", FuelPump, 0, "Fuel pump circuit", FromMemory, "", Low, High, Erratic)
	b.engine("P0169", FuelComposition, 0, "Wrong fuel composition", FromList)
	b.engine("P0176 P0177 P0178 P0179", FuelComposition, 0, "Fuel composition sensor signal", FromList, "", OutOfRange, Low, High)
	injector := func(codes, what string, sense Sense, basis Basis) {
		b.engine(codes, Injector, 0, what, basis, sense)
		for i, text := range strings.Fields(codes) {
			code, _ := ParseCode(text)
			m := b.codes[code]
			m.Cylinder = i + 1
			m.Title = say.T(m.Title.Format+", cylinder %d", m.Cylinder)
			b.codes[code] = m
		}
	}
	injector("P0201 P0202 P0203 P0204 P0205 P0206 P0207 P0208 P0209 P0210 P0211 P0212", "Injector circuit", "", FromMemory)
	injector("P0261 P0264 P0267 P0270 P0273 P0276 P0279 P0282 P0285 P0288 P0291 P0294", "Injector circuit", Low, FromMemory)
	injector("P0262 P0265 P0268 P0271 P0274 P0277 P0280 P0283 P0286 P0289 P0292 P0295", "Injector circuit", High, FromMemory)
	injector("P0263 P0266 P0269 P0272 P0275 P0278 P0281 P0284 P0287 P0290 P0293 P0296", "Cylinder's contribution not balanced", "", FromMemory)

	b.add("P0300 P0301 P0302 P0303 P0304 P0305 P0306 P0307 P0308 P0309 P0310 P0311 P0312",
		Meaning{Subject: Misfire}, func(i int, m *Meaning) {
			m.Cylinder = i
			m.Title = say.T("Misfire, cylinder %d", i)
			if i == 0 {
				m.Title = say.T("Misfire, several cylinders or changing")
			}
		})
	b.engine("P0313", Misfire, 0, "Misfire with little fuel in the tank", FromList)
	b.engine("P0314", Misfire, 0, "Misfire of one cylinder that is not named", FromList)
	b.engine("P0316", Misfire, 0, "Misfire in the first turns after starting", FromList)
	b.add("P0350 P0351 P0352 P0353 P0354 P0355 P0356 P0357 P0358 P0359 P0360 P0361 P0362",
		Meaning{Subject: Ignition, Basis: FromMemory}, func(i int, m *Meaning) {
			m.Title = say.T("Ignition coil circuit")
			if i > 0 {
				m.Title = say.T("Ignition coil circuit, coil %s", string('A'+rune(i-1)))
			}
		})
	b.engine("P0335 P0336 P0337 P0338 P0339", CrankSensor, 0, "Crankshaft position signal", FromList, five...)
	b.engine("P0340 P0341 P0342 P0343 P0344", CamSensor, 1, "Camshaft position signal", FromMemory, five...)
	b.engine("P0345 P0346 P0347 P0348 P0349", CamSensor, 2, "Camshaft position signal", FromMemory, five...)
	b.engine("P0365 P0366 P0367 P0368 P0369", CamSensor, 1, "Second camshaft position signal", FromMemory, five...)
	b.engine("P0390 P0391 P0392 P0393 P0394", CamSensor, 2, "Second camshaft position signal", FromMemory, five...)

	b.engine("P0010", CamTiming, 1, "Intake or only camshaft: adjuster circuit", FromList)
	b.engine("P0011 P0012", CamTiming, 1, "Intake or only camshaft", FromList, Advanced, Retarded)
	b.engine("P0013", CamTiming, 1, "Exhaust camshaft: adjuster circuit", FromList)
	b.engine("P0014 P0015", CamTiming, 1, "Exhaust camshaft", FromList, Advanced, Retarded)
	b.engine("P0016 P0017", CamTiming, 1, "Crankshaft and camshaft do not agree", FromList)
	b.engine("P0018 P0019", CamTiming, 2, "Crankshaft and camshaft do not agree", FromList)
	b.engine("P0020", CamTiming, 2, "Intake or only camshaft: adjuster circuit", FromList)
	b.engine("P0021 P0022", CamTiming, 2, "Intake or only camshaft", FromList, Advanced, Retarded)
	b.engine("P0023", CamTiming, 2, "Exhaust camshaft: adjuster circuit", FromList)
	b.engine("P0024 P0025", CamTiming, 2, "Exhaust camshaft", FromList, Advanced, Retarded)
	b.engine("P0008", CamTiming, 1, "Crankshaft and both camshafts do not agree", FromList)
	b.engine("P0009", CamTiming, 2, "Crankshaft and both camshafts do not agree", FromList)
	b.engine("P000A P000B", CamTiming, 1, "Camshaft adjusts slowly", FromList)
	b.engine("P000C P000D", CamTiming, 2, "Camshaft adjusts slowly", FromList)

	b.engine("P0400", EGR, 0, "Exhaust gas recirculation flow", FromList)
	b.engine("P0401 P0402", EGR, 0, "Exhaust gas recirculation flow too", FromList, Low, High)
	b.engine("P0403", EGR, 0, "Exhaust gas recirculation valve circuit", FromList)
	b.engine("P0404", EGR, 0, "Exhaust gas recirculation valve", FromList, OutOfRange)
	b.engine("P0405 P0406", EGR, 0, "Exhaust gas recirculation position signal", FromList, Low, High)
	b.engine("P0407 P0408", EGR, 0, "Second exhaust gas recirculation position signal", FromList, Low, High)
	b.engine("P0409", EGR, 0, "Exhaust gas recirculation position circuit", FromList)
	b.engine("P042E", EGR, 0, "Exhaust gas recirculation valve stuck", FromList, Open)
	b.engine("P0410 P0411", SecondaryAir, 0, "Secondary air flow not as expected", FromList)
	b.engine("P0412 P0413 P0414 P0415 P0416 P0417", SecondaryAir, 0, "Secondary air valve circuit", FromList)
	b.engine("P0418 P0419", SecondaryAir, 0, "Secondary air pump relay circuit", FromList)
	b.engine("P0491", SecondaryAir, 1, "Secondary air flow too", FromList, Low)
	b.engine("P0492", SecondaryAir, 2, "Secondary air flow too", FromList, Low)
	b.engine("P0424", CatalystControl, 1, "Heated converter too cold", FromList)
	b.engine("P0434", CatalystControl, 2, "Heated converter too cold", FromList)
	b.engine("P0425 P0426 P0427 P0428", CatalystControl, 1, "Converter temperature sensor signal", FromList, "", OutOfRange, Low, High)
	b.engine("P0435 P0436 P0437 P0438", CatalystControl, 2, "Converter temperature sensor signal", FromList, "", OutOfRange, Low, High)
	b.engine("P0429", CatalystControl, 1, "Converter heater circuit", FromList)
	b.engine("P0439", CatalystControl, 2, "Converter heater circuit", FromList)

	b.engine("P0440", EvapLeak, 0, "Fuel vapour system", FromList)
	b.engine("P0441", EvapPurge, 0, "Fuel vapour purge flow not as expected", FromList)
	b.engine("P0443 P0444 P0458 P0459", EvapPurge, 0, "Purge valve circuit", FromList, "", Open, Low, High)
	b.engine("P0445", EvapPurge, 0, "Purge valve circuit shorted", FromList)
	b.engine("P0496 P0497", EvapPurge, 0, "Purge flow too", FromList, High, Low)
	b.engine("P0442 P0455 P0456 P0457", EvapLeak, 0, "Fuel vapour system leaks", FromList)
	b.engine("P0446 P0447 P0448 P0449 P0498 P0499", EvapVent, 0, "Vapour canister vent circuit", FromList, "", Open, "", "", Low, High)
	b.engine("P0450 P0451 P0452 P0453 P0454", EvapLeak, 0, "Fuel vapour pressure sensor signal", FromList, five...)

	b.engine("P0560 P0561", SystemVoltage, 0, "System voltage unsteady", FromList)
	b.engine("P0562 P0563", SystemVoltage, 0, "System voltage too", FromList, Low, High)
	b.engine("P0601 P0602 P0603 P0604 P0605 P0606 P0607", ControlModule, 0, "Control module: memory, program or processor", FromMemory)
}

// lookAlikes enters the codes that sit among the sensor codes, or read like one,
// and are not.
func (b *builder) lookAlikes() {
	alike := func(codes string, subject Subject, what, truth string, basis Basis) {
		b.add(codes, Meaning{
			Subject: subject, Title: say.T(what), LookAlike: true, Basis: basis,
			Testifies: say.T("Not an oxygen-sensor code, though its number or wording is close to one: %s", say.T(truth)),
		})
	}
	alike("P0033 P0034 P0035 P0039", ChargerBypass, "Charger bypass valve circuit",
		"it is about the bypass valve of the turbocharger or supercharger.", FromList)
	alike("P0045 P0046 P0047 P0048", Boost, "Boost control circuit",
		"it is about the boost control of the turbocharger or supercharger.", FromList)
	alike("P0049", Boost, "Charger turbine overspeed",
		"it is about the speed of the turbocharger.", FromList)
	alike("P003A P003B P004A P004B P004C P004D P004E P004F", Boost, "Boost control",
		"it is about the boost control of the turbocharger or supercharger.", FromList)
	alike("P003C P003D P003E P003F P005A P005B P005C P005D", CamTiming, "Camshaft profile control",
		"it is about the valve-lift control of a camshaft.", FromList)
	alike("P005E P005F", Boost, "Boost control supply voltage",
		"it is about the supply of the boost control.", FromList)
	alike("P0148", FuelDelivery, "Fuel delivery error",
		"it is about fuel delivery, mostly on diesel engines.", FromList)
	alike("P0149", FuelTiming, "Fuel timing error",
		"it is about injection timing, mostly on diesel engines.", FromList)
	alike("P0168", FuelDelivery, "Fuel temperature too high",
		"it is about the temperature of the fuel.", FromList)
	alike("P2200 P2201 P2202 P2203 P2204 P2205 P2206 P2207 P2208 P2209 P2210 P2211 P2212 P2213 P2214 P2215 P2216 P2217 P2218 P2219 P2220 P2221 P2222 P2223 P2224 P2225",
		NOxSensor,
		"NOx sensor or its heater",
		"it is about a NOx sensor, which sits in the exhaust too but measures nitrogen oxides.", FromMemory)
	alike("P0544 P0545 P0546 P0547 P0548 P0549 P2031 P2032 P2033 P2034 P2035 P2036 P2080 P2081 P2082 P2083 P2084 P2085 P2086 P2087",
		ExhaustTemp, "Exhaust gas temperature sensor signal",
		"it is about an exhaust temperature sensor, named by bank and sensor in the same way.", FromList)
}

// testifies tells what a code of this subject mostly testifies about. Common
// practice, no source.
func testifies(m Meaning) say.Text {
	switch m.Subject {
	case SensorCircuit:
		return say.T("The signal circuit: connector, wiring, ground. The sensor itself comes after these.")
	case SensorVolts:
		if m.Sense == Low {
			return say.T("A signal that stays low: a short to ground, a foul reference, an exhaust leak ahead of the sensor or a truly lean mixture. Learn the true mixture first.")
		}
		return say.T("A signal that stays high: a truly rich mixture, or a short to the heater feed; above 1.1 V no sound cell can be the source.")
	case SensorSlow, SensorDelayed:
		if m.Position > 1 {
			return say.T("The speed of a rear sensor: age, deposits, or an exhaust leak near it. A fresh converter also slows what it sees.")
		}
		return say.T("The sensor's speed: age or a deposit on the tip; an exhaust leak ahead of it does the same. Look for what made the deposit.")
	case SensorNoActivity:
		return say.T("A signal that never left the module's bias: open circuit, a heater that does not heat, or a sensor that stays cold.")
	case SensorStuck:
		if m.Position > 1 {
			return say.T("Mostly a leak near the rear sensor or a mixture that truly stays %s; seldom the sensor.", say.T(senseWords[m.Sense]))
		}
		if m.Sense == Lean {
			return say.T("Mostly air, exhaust or fuel: an intake or exhaust leak, or too little fuel; seldom the sensor.")
		}
		return say.T("Mostly too much fuel: pressure, a leaking injector, purge, fuel in the oil; seldom the sensor.")
	case SensorRange:
		return say.T("A signal that does not fit the others: wiring and leaks first, then a shifted sensor.")
	case SensorDeceleration:
		return say.T("A sensor that should see pure air while coasting and does not: a leaking injector, purge, oil vapour, or a shifted sensor.")
	case SensorExhaustSample:
		return say.T("A sensor that does not see the exhaust it should: not seated, or a leak beside it.")
	case SensorSwapped:
		return say.T("Connectors or harness of the two banks crossed, often just after engine work; both sensors may be sound.")
	case SensorHeater:
		return say.T("The heater's circuit: fuse, feed, driver, ground, connector, then the element. It says nothing about the mixture.")
	case SensorHeaterOhm:
		return say.T("The heater element, or a poor contact in its circuit. Measure it cold against the maker's range.")
	case SensorToHeater:
		return say.T("Heater voltage on the signal wire: chafed harness, wet connector, or a short inside the sensor.")
	case SensorPumpPositive, SensorPumpNegative, SensorPumpTrim, SensorReference:
		return say.T("One wire of a wide-range sensor: connector and harness first, then the sensor.")
	case SensorProcessor:
		return say.T("The module's own circuit; prove supply, ground and wiring before blaming the module.")
	case Mixture:
		switch m.Sense {
		case Lean:
			if m.When == "idle" {
				return say.T("Air that was not measured, most of all: at idle a small leak weighs heavily. The sensor is the messenger.")
			}
			if m.When == "load" {
				return say.T("Fuel delivery or an airflow meter that reads low: both show with load. The sensor is the messenger.")
			}
			return say.T("Mostly air, exhaust leaks or fuel delivery, seldom the sensor: it reports that the module has to add fuel.")
		case Rich:
			return say.T("Mostly too much fuel: pressure, injectors, purge, fuel in the oil, a cold-reading coolant sensor; seldom the sensor.")
		}
		return say.T("Trim at its limit without saying which way: read the trims before anything else.")
	case PostCatalyst:
		return say.T("The rear sensor's view of the mixture: an exhaust leak near it, a front sensor that reads off, or the mixture itself.")
	case BankImbalance:
		return say.T("One cylinder of the bank runs apart: an injector, an intake runner leak or a misfire; the sensor saw it.")
	case Catalyst:
		return say.T("The converter, but also a rear exhaust leak, past misfires or a slow front sensor; exclude these first. Find what wore the converter out.")
	case CatalystControl:
		return say.T("The converter's heater or temperature sensor, not its condition.")
	case Misfire:
		return say.T("A cylinder that does not burn: its unburnt oxygen makes the sensor read lean though fuel is plenty. Mend this first; it destroys converters.")
	case Ignition:
		return say.T("A coil or its circuit; expect misfire with it, and a sensor that reads lean because of it.")
	case AirflowMeter:
		return say.T("The airflow meter, its duct or an air leak behind it; trims follow whatever it tells.")
	case ManifoldPressure:
		return say.T("The pressure sensor, its hose or its wiring; on engines without an airflow meter it sets the mixture.")
	case IntakeAirTemp:
		return say.T("The intake air temperature sensor or its wiring; it moves the mixture a little.")
	case CoolantTemp:
		return say.T("The coolant temperature reading; one that stays cold keeps the mixture rich and the loop open.")
	case Thermostat:
		return say.T("Most often a thermostat stuck open; a cold engine runs rich and late into closed loop.")
	case ThrottlePosition:
		return say.T("The throttle and its sensors, not the exhaust.")
	case AirLeak:
		return say.T("Air that comes in unmeasured; expect trims that grow at idle.")
	case Crankcase:
		return say.T("The crankcase breather; a split or stuck one is an air leak.")
	case IdleControl:
		return say.T("Idle air: high idle often means an air leak, low idle a dirty throttle or a load.")
	case FuelPressure:
		return say.T("Fuel pressure itself; a mixture code beside it is most likely its shadow.")
	case FuelPressureSens:
		return say.T("The pressure sensor or its wiring; prove the pressure with a gauge.")
	case FuelPump:
		return say.T("The pump's circuit; a weak pump shows as a lean mixture under load.")
	case FuelComposition:
		return say.T("The fuel in the tank or the sensor for it; much ethanol shifts the trims at every speed.")
	case Injector:
		return say.T("One injector or its circuit; that cylinder leans or floods the bank's sensor.")
	case CrankSensor, CamSensor:
		return say.T("The position sensor or its wiring; misfire counts and injection timing hang on it.")
	case CamTiming:
		return say.T("Valve timing: oil, adjuster or chain; it changes how the bank breathes and so its trims.")
	case EGR:
		return say.T("Exhaust recirculation; stuck open it makes a rough idle that can look like a mixture fault.")
	case SecondaryAir:
		return say.T("Air blown into the exhaust: while it flows, or leaks, the sensor truly sees lean gas.")
	case EvapPurge:
		return say.T("The purge valve; one that leaks feeds vapour or air to the engine and moves the trims at idle.")
	case EvapLeak:
		return say.T("The fuel vapour system; it moves the trims only where the purge valve takes part.")
	case EvapVent:
		return say.T("The canister's vent, not the mixture.")
	case SystemVoltage:
		return say.T("Charging and battery; low or unsteady voltage upsets heaters and signals.")
	case ControlModule:
		return say.T("The control module; prove supply and ground before anything else.")
	}
	return say.Text{}
}
