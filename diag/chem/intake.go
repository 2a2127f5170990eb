package chem

import "errors"

// airMolar is the molar mass of dry air, g/mol (US Standard Atmosphere 1976, from
// memory).
const airMolar = 28.9644

// Intake is a four-stroke engine's breathing at one moment.
type Intake struct {
	DisplacementL float64 // litres, 0.05 to 20
	RPM           float64 // 50 to 20000
	Celsius       float64 // temperature of the air taken in, −60 to 200
	KPa           float64 // absolute pressure of the air taken in, 5 to 500
}

func (i Intake) check() error {
	return errors.Join(
		within("displacement", i.DisplacementL, 0.05, 20, "L"),
		within("engine speed", i.RPM, 50, 20000, "rpm"),
		within("intake temperature", i.Celsius, -60, 200, "°C"),
		within("intake pressure", i.KPa, 5, 500, "kPa absolute"),
	)
}

// perEfficiency is the airflow at a volumetric efficiency of 1, g/s: one
// displacement each two turns, filled by the ideal gas law.
func (i Intake) perEfficiency() float64 {
	density := i.KPa * 1000 * airMolar / (GasConstant * Kelvin(i.Celsius)) // g/m³
	return density * i.DisplacementL / 1000 * i.RPM / 120
}

// Airflow is the air, g/s, that the engine breathes at a volumetric efficiency of
// 0.01 to 2. With barometric pressure it is what wide-open throttle should show; with
// manifold pressure what any load should. Dry air; fuel vapour and recirculated
// exhaust are left out.
func (i Intake) Airflow(efficiency float64) (float64, error) {
	if err := errors.Join(i.check(), within("volumetric efficiency", efficiency, 0.01, 2, "as a share")); err != nil {
		return 0, err
	}
	return efficiency * i.perEfficiency(), nil
}

// Efficiency is the inverse of Airflow: the volumetric efficiency, as a share, that
// this airflow (0.01 to 2000 g/s) means.
func (i Intake) Efficiency(gPerS float64) (float64, error) {
	if err := errors.Join(i.check(), within("airflow", gPerS, 0.01, 2000, "g/s")); err != nil {
		return 0, err
	}
	return gPerS / i.perEfficiency(), nil
}
