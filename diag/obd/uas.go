package obd

// unitScale is one unit-and-scaling id of service 06: raw*num + offset.
type unitScale struct {
	unit   string
	num    float64
	offset float64
}

// unitScales are the unit-and-scaling ids of SAE J1979 appendix E; from 0x81 the
// raw value is signed. Facts through python-OBD UnitsAndScaling (commit a378bdd8);
// the factors are the published decimals, not the fractions behind them.
var unitScales = map[byte]unitScale{
	0x01: {"", 1, 0}, 0x02: {"", 0.1, 0}, 0x03: {"", 0.01, 0}, 0x04: {"", 0.001, 0},
	0x05: {"", 0.0000305, 0}, 0x06: {"", 0.000305, 0},
	0x07: {"rpm", 0.25, 0}, 0x08: {"km/h", 0.01, 0}, 0x09: {"km/h", 1, 0},
	0x0A: {"mV", 0.122, 0}, 0x0B: {"V", 0.001, 0}, 0x0C: {"V", 0.01, 0},
	0x0D: {"mA", 0.00390625, 0}, 0x0E: {"A", 0.001, 0}, 0x0F: {"A", 0.01, 0},
	0x10: {"ms", 1, 0}, 0x11: {"ms", 100, 0}, 0x12: {"s", 1, 0},
	0x13: {"mΩ", 1, 0}, 0x14: {"Ω", 1, 0}, 0x15: {"kΩ", 1, 0}, 0x16: {"°C", 0.1, -40},
	0x17: {"kPa", 0.01, 0}, 0x18: {"kPa", 0.0117, 0}, 0x19: {"kPa", 0.079, 0}, 0x1A: {"kPa", 1, 0}, 0x1B: {"kPa", 10, 0},
	0x1C: {"°", 0.01, 0}, 0x1D: {"°", 0.5, 0},
	0x1E: {"lambda", 0.0000305, 0}, 0x1F: {"air/fuel ratio", 0.05, 0}, 0x20: {"ratio", 0.00390625, 0},
	0x21: {"mHz", 1, 0}, 0x22: {"Hz", 1, 0}, 0x23: {"kHz", 1, 0}, 0x24: {"counts", 1, 0}, 0x25: {"km", 1, 0},
	0x26: {"mV/ms", 0.1, 0}, 0x27: {"g/s", 0.01, 0}, 0x28: {"g/s", 1, 0}, 0x29: {"Pa/s", 0.25, 0}, 0x2A: {"kg/h", 0.001, 0},
	0x2B: {"switches", 1, 0}, 0x2C: {"g/cylinder", 0.01, 0}, 0x2D: {"mg/stroke", 0.01, 0}, 0x2E: {"true/false", 1, 0},
	0x2F: {"%", 0.01, 0}, 0x30: {"%", 0.001526, 0}, 0x31: {"L", 0.001, 0}, 0x32: {"in", 0.0000305, 0}, 0x33: {"lambda", 0.00024414, 0},
	0x34: {"min", 1, 0}, 0x35: {"ms", 10, 0}, 0x36: {"g", 0.01, 0}, 0x37: {"g", 0.1, 0}, 0x38: {"g", 1, 0},
	0x39: {"%", 0.01, -327.68}, 0x3A: {"g", 0.001, 0}, 0x3B: {"g", 0.0001, 0}, 0x3C: {"µs", 0.1, 0}, 0x3D: {"mA", 0.01, 0},
	0x3E: {"mm²", 0.00006103516, 0}, 0x3F: {"L", 0.01, 0}, 0x40: {"ppm", 1, 0}, 0x41: {"µA", 0.01, 0},

	0x81: {"", 1, 0}, 0x82: {"", 0.1, 0}, 0x83: {"", 0.01, 0}, 0x84: {"", 0.001, 0}, 0x85: {"", 0.0000305, 0}, 0x86: {"", 0.000305, 0},
	0x87: {"ppm", 1, 0}, 0x8A: {"mV", 0.122, 0}, 0x8B: {"V", 0.001, 0}, 0x8C: {"V", 0.01, 0},
	0x8D: {"mA", 0.00390625, 0}, 0x8E: {"A", 0.001, 0}, 0x90: {"ms", 1, 0}, 0x96: {"°C", 0.1, 0}, 0x99: {"kPa", 0.1, 0},
	0x9C: {"°", 0.01, 0}, 0x9D: {"°", 0.5, 0}, 0xA8: {"g/s", 1, 0}, 0xA9: {"Pa/s", 0.25, 0},
	0xAD: {"mg/stroke", 0.01, 0}, 0xAE: {"mg/stroke", 0.1, 0}, 0xAF: {"%", 0.01, 0}, 0xB0: {"%", 0.003052, 0}, 0xB1: {"mV/s", 2, 0},
	0xFC: {"kPa", 0.01, 0}, 0xFD: {"kPa", 0.001, 0}, 0xFE: {"Pa", 0.25, 0},
}

// scaleUAS gives a raw value its unit; known is false for an id outside the table.
func scaleUAS(id byte, raw uint16) (value float64, unit string, known bool) {
	u, known := unitScales[id]
	if !known {
		u = unitScale{num: 1}
	}
	v := float64(raw)
	if id >= 0x81 && known {
		v = float64(int16(raw))
	}
	return v*u.num + u.offset, u.unit, known
}

// testNames are the standard tests of the sensor monitors, services 05 and 06.
var testNames = map[byte]string{
	0x01: "threshold voltage, rich to lean",
	0x02: "threshold voltage, lean to rich",
	0x03: "low voltage for the switch time",
	0x04: "high voltage for the switch time",
	0x05: "switch time, rich to lean",
	0x06: "switch time, lean to rich",
	0x07: "lowest voltage",
	0x08: "highest voltage",
	0x09: "time between transitions",
	0x0A: "period",
	0x0B: "misfires, average of the last ten drives",
	0x0C: "misfires, last or present drive",
}

// monitorOf names a monitor of service 06 on CAN. MIDs 01-10, 21-24 and 31-50:
// python-OBD commands (commit a378bdd8); the others from memory of SAE J1979.
func monitorOf(mid byte) (name string, bank, position, cylinder int) {
	place := func(first byte) (int, int) { return int(mid-first)/4 + 1, int(mid-first)%4 + 1 }
	switch {
	case mid >= 0x01 && mid <= 0x10:
		bank, position = place(0x01)
		return "oxygen sensor", bank, position, 0
	case mid >= 0x21 && mid <= 0x24:
		return "catalyst", int(mid - 0x20), 0, 0
	case mid >= 0x31 && mid <= 0x34:
		return "EGR", int(mid - 0x30), 0, 0
	case mid >= 0x35 && mid <= 0x38:
		return "valve timing", int(mid - 0x34), 0, 0
	case mid >= 0x39 && mid <= 0x3C:
		return "evaporative system leak", 0, 0, 0
	case mid == 0x3D:
		return "purge flow", 0, 0, 0
	case mid >= 0x41 && mid <= 0x50:
		bank, position = place(0x41)
		return "oxygen sensor heater", bank, position, 0
	case mid >= 0x61 && mid <= 0x64:
		return "heated catalyst", int(mid - 0x60), 0, 0
	case mid >= 0x71 && mid <= 0x74:
		return "secondary air", int(mid - 0x70), 0, 0
	case mid >= 0x81 && mid <= 0x84:
		return "fuel system", int(mid - 0x80), 0, 0
	case mid == 0xA1:
		return "misfire", 0, 0, 0
	case mid >= 0xA2 && mid <= 0xAD:
		return "misfire", 0, 0, int(mid - 0xA1)
	}
	return "", 0, 0, 0
}

// scale05 gives service 05 its units: SAE J1979, from memory.
func scale05(tid byte) (num float64, unit string, known bool) {
	switch tid {
	case 0x01, 0x02, 0x03, 0x04, 0x07, 0x08:
		return 0.005, "V", true
	case 0x05, 0x06:
		return 0.004, "s", true
	case 0x09, 0x0A:
		return 0.04, "s", true
	}
	return 1, "", false
}
