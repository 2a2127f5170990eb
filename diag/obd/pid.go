package obd

// Quantity is what a channel measures.
type Quantity string

// The quantities of service 01 and 02 that are read. The unit stands beside each.
const (
	ShortTrim        Quantity = "short_trim"         // %, by bank; positive adds fuel
	LongTrim         Quantity = "long_trim"          // %, by bank
	SensorVoltage    Quantity = "sensor_voltage"     // V, narrow-band, by place
	SensorTrim       Quantity = "sensor_trim"        // %, short trim of that sensor
	WideLambda       Quantity = "wide_lambda"        // -, wide-range sensor, by place
	WideVoltage      Quantity = "wide_voltage"       // V, wide-range sensor, by place
	WideCurrent      Quantity = "wide_current"       // mA, wide-range sensor, by place
	RearShortTrim    Quantity = "rear_short_trim"    // %, secondary sensor's trim, by bank
	RearLongTrim     Quantity = "rear_long_trim"     // %, secondary sensor's trim, by bank
	CatalystTemp     Quantity = "catalyst_temp"      // °C, by place
	CommandedLambda  Quantity = "commanded_lambda"   // -
	FuelSystemBits1  Quantity = "fuel_system_1"      // PID 03, byte A: 2 is closed loop
	FuelSystemBits2  Quantity = "fuel_system_2"      // PID 03, byte B
	EngineSpeed      Quantity = "engine_speed"       // rpm
	EngineLoad       Quantity = "engine_load"        // %, calculated
	AbsoluteLoad     Quantity = "absolute_load"      // %
	VehicleSpeed     Quantity = "vehicle_speed"      // km/h
	CoolantC         Quantity = "coolant_temp"       // °C
	IntakeAirC       Quantity = "intake_air_temp"    // °C
	AmbientC         Quantity = "ambient_temp"       // °C
	OilC             Quantity = "oil_temp"           // °C
	ManifoldKPa      Quantity = "manifold_pressure"  // kPa absolute
	BarometricKPa    Quantity = "barometric_kpa"     // kPa absolute
	Airflow          Quantity = "airflow"            // g/s
	Throttle         Quantity = "throttle"           // %
	Timing           Quantity = "timing_advance"     // ° before top dead centre
	FuelKPa          Quantity = "fuel_pressure"      // kPa gauge
	FuelRailVacKPa   Quantity = "fuel_rail_relative" // kPa against the manifold
	FuelRailKPa      Quantity = "fuel_rail"          // kPa gauge, or absolute with PID 59
	PurgePct         Quantity = "purge"              // %, commanded
	EGRPct           Quantity = "egr"                // %, commanded
	EGRError         Quantity = "egr_error"          // %
	FuelLevel        Quantity = "fuel_level"         // %
	EthanolPct       Quantity = "ethanol"            // %
	ModuleVoltage    Quantity = "module_voltage"     // V
	FuelRate         Quantity = "fuel_rate"          // L/h
	RunTime          Quantity = "run_time"           // s since the engine started
	KmWithLamp       Quantity = "km_with_lamp"       // km
	KmSinceClear     Quantity = "km_since_clear"     // km
	WarmUpsSince     Quantity = "warm_ups_since"     // warm-ups since codes were cleared
	MinutesWithLamp  Quantity = "min_with_lamp"      // min
	MinutesSince     Quantity = "min_since_clear"    // min
	OtherThrottle    Quantity = "relative_throttle"  // %
	SecondaryAirBits Quantity = "secondary_air"      // PID 12
)

// field is one big-endian number inside a PID's data: raw*num/den + offset.
type field struct {
	quantity       Quantity
	unit           string
	at, size       int
	num, den       float64
	offset         float64
	bank, position int
	slot           int  // 1 to 8: the place depends on PID 13 or 1D
	unusedFF       bool // the byte FF means "not used"
	optional       bool // only when the data is long enough
}

func (f field) value(data []byte) float64 {
	raw := 0
	for _, b := range data[f.at : f.at+f.size] {
		raw = raw<<8 | int(b)
	}
	return float64(raw)*f.num/f.den + f.offset
}

// pidSpec is a PID's length and content. long is the longer of two lengths a PID
// may have, 0 when there is only one.
type pidSpec struct {
	size, long int
	fields     []field
}

// pids holds service 01 and 02. Scaling: SAE J1979, through the open signal set
// OBDb/SAEJ1979 (commit d528efd8) and COVESA VSS (commit ce67f927); 3D, 3E, 55-58
// and the lengths of PIDs without fields are from memory.
var pids = buildPIDs()

func buildPIDs() [256]*pidSpec {
	var t [256]*pidSpec
	set := func(pid, size int, fields ...field) { t[pid] = &pidSpec{size: size, fields: fields} }
	// one fills in a single field that takes all of the data.
	one := func(pid, size int, q Quantity, unit string, num, den, offset float64) {
		set(pid, size, field{quantity: q, unit: unit, size: size, num: num, den: den, offset: offset})
	}
	const percent, volts, celsius = "%", "V", "°C"

	set(0x03, 2,
		field{quantity: FuelSystemBits1, size: 1, num: 1, den: 1},
		field{quantity: FuelSystemBits2, at: 1, size: 1, num: 1, den: 1})
	one(0x04, 1, EngineLoad, percent, 100, 255, 0)
	one(0x05, 1, CoolantC, celsius, 1, 1, -40)
	for i, q := range []Quantity{ShortTrim, LongTrim} {
		for bank := 1; bank <= 2; bank++ {
			trim := func(q Quantity, at, bank int) field {
				return field{quantity: q, unit: percent, at: at, size: 1, num: 100, den: 128, offset: -100, bank: bank, optional: at == 1}
			}
			t[0x06+i+2*(bank-1)] = &pidSpec{1, 2, []field{trim(q, 0, bank), trim(q, 1, bank+2)}}
			rear := []Quantity{RearShortTrim, RearLongTrim}[i]
			t[0x55+i+2*(bank-1)] = &pidSpec{1, 2, []field{trim(rear, 0, bank), trim(rear, 1, bank+2)}}
		}
	}
	one(0x0A, 1, FuelKPa, "kPa", 3, 1, 0)
	one(0x0B, 1, ManifoldKPa, "kPa", 1, 1, 0)
	one(0x0C, 2, EngineSpeed, "rpm", 1, 4, 0)
	one(0x0D, 1, VehicleSpeed, "km/h", 1, 1, 0)
	one(0x0E, 1, Timing, "°", 1, 2, -64)
	one(0x0F, 1, IntakeAirC, celsius, 1, 1, -40)
	one(0x10, 2, Airflow, "g/s", 1, 100, 0)
	one(0x11, 1, Throttle, percent, 100, 255, 0)
	one(0x12, 1, SecondaryAirBits, "", 1, 1, 0)
	for slot := 1; slot <= 8; slot++ {
		set(0x13+slot, 2,
			field{quantity: SensorVoltage, unit: volts, size: 1, num: 1, den: 200, slot: slot},
			field{quantity: SensorTrim, unit: percent, at: 1, size: 1, num: 100, den: 128, offset: -100, slot: slot, unusedFF: true})
		set(0x23+slot, 4,
			field{quantity: WideLambda, size: 2, num: 1, den: 32768, slot: slot},
			field{quantity: WideVoltage, unit: volts, at: 2, size: 2, num: 8, den: 65536, slot: slot})
		set(0x33+slot, 4,
			field{quantity: WideLambda, size: 2, num: 1, den: 32768, slot: slot},
			field{quantity: WideCurrent, unit: "mA", at: 2, size: 2, num: 1, den: 256, offset: -128, slot: slot})
	}
	one(0x1F, 2, RunTime, "s", 1, 1, 0)
	one(0x21, 2, KmWithLamp, "km", 1, 1, 0)
	one(0x22, 2, FuelRailVacKPa, "kPa", 0.079, 1, 0)
	one(0x23, 2, FuelRailKPa, "kPa", 10, 1, 0)
	one(0x2C, 1, EGRPct, percent, 100, 255, 0)
	one(0x2D, 1, EGRError, percent, 100, 128, -100)
	one(0x2E, 1, PurgePct, percent, 100, 255, 0)
	one(0x2F, 1, FuelLevel, percent, 100, 255, 0)
	one(0x30, 1, WarmUpsSince, "", 1, 1, 0)
	one(0x31, 2, KmSinceClear, "km", 1, 1, 0)
	one(0x33, 1, BarometricKPa, "kPa", 1, 1, 0)
	for pid, place := range map[int]Location{0x3C: {1, 1}, 0x3D: {2, 1}, 0x3E: {1, 2}, 0x3F: {2, 2}} {
		set(pid, 2, field{quantity: CatalystTemp, unit: celsius, size: 2, num: 1, den: 10, offset: -40,
			bank: place.Bank, position: place.Position})
	}
	one(0x42, 2, ModuleVoltage, volts, 1, 1000, 0)
	one(0x43, 2, AbsoluteLoad, percent, 100, 255, 0)
	one(0x44, 2, CommandedLambda, "", 1, 32768, 0)
	one(0x45, 1, OtherThrottle, percent, 100, 255, 0)
	one(0x46, 1, AmbientC, celsius, 1, 1, -40)
	one(0x4D, 2, MinutesWithLamp, "min", 1, 1, 0)
	one(0x4E, 2, MinutesSince, "min", 1, 1, 0)
	one(0x52, 1, EthanolPct, percent, 100, 255, 0)
	one(0x59, 2, FuelRailKPa, "kPa", 10, 1, 0)
	one(0x5C, 1, OilC, celsius, 1, 1, -40)
	one(0x5E, 2, FuelRate, "L/h", 1, 20, 0)

	// Known lengths without a field: handled apart, or only stepped over.
	for pid := 0; pid < 0x100; pid += 0x20 {
		set(pid, 4)
	}
	for pid, size := range map[int]int{
		0x01: 4, 0x02: 2, 0x13: 1, 0x1C: 1, 0x1D: 1, 0x1E: 1, 0x32: 2, 0x41: 4,
		0x47: 1, 0x48: 1, 0x49: 1, 0x4A: 1, 0x4B: 1, 0x4C: 1, 0x4F: 4, 0x50: 4, 0x51: 1,
		0x53: 2, 0x54: 2, 0x5A: 1, 0x5B: 1, 0x5D: 2, 0x5F: 1, 0x61: 1, 0x62: 1, 0x63: 2,
		0x64: 5, 0x65: 2, 0x66: 5, 0x67: 3, 0x68: 7,
	} {
		set(pid, size)
	}
	return t
}

// place13 and place1D give the place of the sensor in slot 1 to 8 (PIDs 14-1B,
// 24-2B, 34-3B; bit 0 to 7 of PID 13 or 1D). Slot 1 is bit A0: open sources
// disagree, and the two standards-based sets (OBDb, COVESA) are followed. The
// slots of PID 1D are from memory of SAE J1979.
func place13(slot int) Location { return Location{(slot-1)/4 + 1, (slot-1)%4 + 1} }
func place1D(slot int) Location { return Location{(slot-1)/2 + 1, (slot-1)%2 + 1} }

func fuelStatus(b byte) FuelStatus {
	switch b {
	case 0:
		return FuelOff
	case 1:
		return OpenLoopCold
	case 2:
		return ClosedLoop
	case 4:
		return OpenLoopLoad
	case 8:
		return OpenLoopFault
	case 16:
		return ClosedLoopFault
	case 32:
		return OpenLoopColdBank2
	case 64:
		return OpenLoopLoadBank2
	case 128:
		return OpenLoopFaultBank2
	}
	return FuelStatusNotStated
}

// standards are the values of PID 1C, from memory of SAE J1979 past 6.
var standards = map[byte]string{
	1: "OBD II (California)", 2: "OBD (US federal)", 3: "OBD and OBD II", 4: "OBD I",
	5: "not meant to comply", 6: "EOBD", 7: "EOBD and OBD II", 8: "EOBD and OBD",
	9: "EOBD, OBD and OBD II", 10: "JOBD", 11: "JOBD and OBD II", 12: "JOBD and EOBD", 13: "JOBD, EOBD and OBD II",
}

// monitorNames in the order of the bits of bytes C and D of PID 01.
var (
	sparkMonitors = [8]string{"catalyst", "heated catalyst", "evaporative system", "secondary air",
		"air conditioning or particulate filter", "oxygen sensor", "oxygen sensor heater", "EGR or valve timing"}
	compressionMonitors = [8]string{"NMHC catalyst", "NOx aftertreatment", "", "boost pressure",
		"", "exhaust gas sensor", "particulate filter", "EGR or valve timing"}
	commonMonitors = [3]string{"misfire", "fuel system", "components"}
)

// readiness reads the four bytes of PID 01 or 41.
func readiness(d []byte) Readiness {
	r := Readiness{Lamp: d[0]&0x80 != 0, Codes: int(d[0] & 0x7F), Compression: d[1]&0x08 != 0}
	add := func(name string, supported, incomplete bool) {
		if supported && name != "" {
			r.Monitors = append(r.Monitors, Monitor{name, !incomplete})
		}
	}
	for i, name := range commonMonitors {
		add(name, d[1]&(1<<i) != 0, d[1]&(0x10<<i) != 0)
	}
	names := sparkMonitors
	if r.Compression {
		names = compressionMonitors
	}
	for i, name := range names {
		add(name, d[2]&(1<<i) != 0, d[3]&(1<<i) != 0)
	}
	return r
}
