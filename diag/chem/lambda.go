package chem

import (
	"errors"
	"math"

	"crosscount/diag/say"
)

// Gas is what an analyser reads at the tailpipe, dry.
type Gas struct {
	CO  float64 // % by volume, 0 to 15
	CO2 float64 // % by volume, above 0 to 20
	O2  float64 // % by volume, 0 to 25
	HC  float64 // ppm by volume as n-hexane, 0 to 30000
	NOx float64 // ppm by volume as NO, 0 to 10000
}

// check refuses what is no reading of petrol exhaust.
func (g Gas) check() error {
	if g.CO2 == 0 {
		return &FieldError{"CO2", 0, say.T("means that no exhaust was measured"), say.T("hold the probe in the tailpipe and read again")}
	}
	if err := errors.Join(
		within("CO", g.CO, 0, 15, "% by volume"),
		within("CO2", g.CO2, 0.1, 20, "% by volume"),
		within("O2", g.O2, 0, 25, "% by volume"),
		within("HC", g.HC, 0, 30000, "ppm as n-hexane"),
		within("NOx", g.NOx, 0, 10000, "ppm"),
	); err != nil {
		return err
	}
	if sum := g.CO + g.CO2 + g.O2; sum > 25 {
		return &FieldError{"CO + CO2 + O2", sum, say.T("% is more than burning in air can give"), say.T("check the three readings and the analyser's zero")}
	}
	return nil
}

// Formula is the Brettschneider equation with its constants. Origin: J.
// Brettschneider, Bosch technische Berichte 6 (1979) No. 4, pp. 177-186 (the
// reference was seen, the paper not).
type Formula struct {
	Fuel     Fuel
	WaterGas float64 // 3.5
	HCFactor float64 // carbon atoms for each HC molecule read: 6 for n-hexane
}

// Brettschneider has the usual constants for petrol.
var Brettschneider = Formula{Petrol, 3.5, 6}

func (f Formula) check() error {
	return errors.Join(
		f.Fuel.check(),
		within("water-gas ratio", f.WaterGas, 0.1, 100, ""),
		within("HC factor", f.HCFactor, 0, 20, ""),
	)
}

// Lambda is the air-fuel equivalence ratio from the gas.
func (f Formula) Lambda(g Gas) (float64, error) {
	if err := errors.Join(f.check(), g.check()); err != nil {
		return 0, err
	}
	lambda, _ := f.compute(g)
	return lambda, nil
}

// gradient is the change of lambda with each reading, in the readings' units.
type gradient struct{ CO, CO2, O2, HC, NOx float64 }

// compute evaluates
//
//	λ = (CO2 + CO/2 + O2 + NO/2 + (H/4·K/(K + CO/CO2) − O/2)(CO2 + CO))
//	    / ((1 + H/4 − O/2)(CO2 + CO + k·HC))
//
// all in % by volume, and its derivatives.
func (f Formula) compute(g Gas) (float64, gradient) {
	const ppm = 1e-4 // % for each ppm
	h, k := f.Fuel.HC/4, f.WaterGas
	ratio := g.CO / g.CO2
	bound := h*k/(k+ratio) - f.Fuel.OC/2
	slope := -h * k / ((k + ratio) * (k + ratio))
	carbon := g.CO2 + g.CO
	oxygen := g.CO2 + g.CO/2 + g.O2 + g.NOx*ppm/2 + bound*carbon
	need := f.Fuel.oxygenNeed()
	total := need * (carbon + f.HCFactor*g.HC*ppm)
	lambda := oxygen / total
	return lambda, gradient{
		CO:  (0.5 + bound + carbon*slope/g.CO2 - lambda*need) / total,
		CO2: (1 + bound - carbon*slope*ratio/g.CO2 - lambda*need) / total,
		O2:  1 / total,
		HC:  -lambda * need * f.HCFactor * ppm / total,
		NOx: ppm / 2 / total,
	}
}

// Limit is an instrument's permissible error: the larger of a fixed amount and a
// share of the reading.
type Limit struct {
	Abs float64 // in the reading's unit
	Rel float64 // share, 0.05 for 5 %
}

func (l Limit) of(reading float64) float64 { return max(l.Abs, l.Rel*math.Abs(reading)) }

// Tolerance is the permissible error of each channel of an analyser.
type Tolerance struct {
	CO, CO2, O2 Limit // % by volume
	HC, NOx     Limit // ppm
}

// Accuracy classes of exhaust analysers: maximum permissible errors of classes 0
// and I in OIML R 99 and Directive 2014/32/EU, MI-010 (from memory). They leave NO
// out; its limit here is an estimate.
var (
	Class0 = Tolerance{CO: Limit{0.03, 0.05}, CO2: Limit{0.5, 0.05}, O2: Limit{0.1, 0.05}, HC: Limit{10, 0.05}, NOx: Limit{25, 0.05}}
	ClassI = Tolerance{CO: Limit{0.06, 0.05}, CO2: Limit{0.5, 0.05}, O2: Limit{0.1, 0.05}, HC: Limit{12, 0.05}, NOx: Limit{25, 0.05}}
)

func (t Tolerance) check() error {
	var errs []error
	for _, c := range []struct {
		name  string
		limit Limit
	}{{"CO", t.CO}, {"CO2", t.CO2}, {"O2", t.O2}, {"HC", t.HC}, {"NOx", t.NOx}} {
		errs = append(errs,
			within(c.name+" tolerance", c.limit.Abs, 0, 10000, "in the reading's unit"),
			within(c.name+" relative tolerance", c.limit.Rel, 0, 1, "as a share of the reading"))
	}
	return errors.Join(errs...)
}

// Estimate is lambda with its standard uncertainty.
type Estimate struct {
	Lambda float64
	U      float64 // standard uncertainty; about 95 % lie within 2U
}

// Measure gives lambda with the uncertainty that the instrument's tolerance leaves:
// each channel's error is taken as evenly spread within its limits (its standard
// deviation is the limit over √3) and independent of the others, and is carried
// through the derivatives of the formula. Air leaking into the tailpipe or the probe
// is not in it.
func (f Formula) Measure(g Gas, t Tolerance) (Estimate, error) {
	if err := errors.Join(f.check(), g.check(), t.check()); err != nil {
		return Estimate{}, err
	}
	lambda, d := f.compute(g)
	variance := 0.0
	for _, part := range [...]float64{
		d.CO * t.CO.of(g.CO), d.CO2 * t.CO2.of(g.CO2), d.O2 * t.O2.of(g.O2), d.HC * t.HC.of(g.HC), d.NOx * t.NOx.of(g.NOx),
	} {
		variance += part * part / 3
	}
	return Estimate{lambda, math.Sqrt(variance)}, nil
}

// PetrolAFR is the customary mass of air that a mass of petrol needs.
const PetrolAFR = 14.7

// LambdaFromAFR converts an air-fuel ratio by mass (1 to 200) of a fuel that needs
// stoichiometric (1 to 40).
func LambdaFromAFR(afr, stoichiometric float64) (float64, error) {
	if err := errors.Join(within("air-fuel ratio", afr, 1, 200, "by mass"), within("stoichiometric ratio", stoichiometric, 1, 40, "by mass")); err != nil {
		return 0, err
	}
	return afr / stoichiometric, nil
}
