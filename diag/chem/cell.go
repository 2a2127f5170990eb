package chem

import (
	"errors"
	"math"
)

// Ranges of the cell formulas.
const (
	minKelvin   = 200   // K
	maxKelvin   = 2500  // K
	minOxygen   = 1e-40 // atm
	maxOxygen   = 100   // atm
	maxCellVolt = 3.0   // V, either sign
)

func checkCell(kelvin, reference float64) error {
	return errors.Join(
		within("cell temperature", kelvin, minKelvin, maxKelvin, "K"),
		within("reference oxygen", reference, minOxygen, maxOxygen, "atm"),
	)
}

// CellVoltage is the voltage of an ideal zirconia cell with the given oxygen
// partial pressures on its two sides, by the Nernst equation
//
//	E = RT/(4F) ln(reference/exhaust)
//
// in volts, positive when the exhaust holds less oxygen than the reference.
// kelvin 200 to 2500, oxygen 1e-70 to 100 atm. A real sensor follows it from about
// 300 °C, well from about 600 °C.
func CellVoltage(kelvin, reference, exhaust float64) (float64, error) {
	if err := errors.Join(checkCell(kelvin, reference), within("exhaust oxygen", exhaust, minOxygen, maxOxygen, "atm")); err != nil {
		return 0, err
	}
	return GasConstant * kelvin / (4 * Faraday) * math.Log(reference/exhaust), nil
}

// CellOxygen is the inverse of CellVoltage: the oxygen partial pressure in the
// exhaust, atm, that gives this voltage (−3 to 3 V).
func CellOxygen(kelvin, reference, volts float64) (float64, error) {
	if err := errors.Join(checkCell(kelvin, reference), within("cell voltage", volts, -maxCellVolt, maxCellVolt, "V")); err != nil {
		return 0, err
	}
	return reference * math.Exp(-volts*4*Faraday/(GasConstant*kelvin)), nil
}
