package chem

import (
	"errors"
	"math"
)

// Fuel is a fuel's make-up: atoms of hydrogen and oxygen for each atom of carbon.
type Fuel struct {
	HC float64 // hydrogen to carbon, 0 to 4
	OC float64 // oxygen to carbon, 0 to 1
}

// Petrol has the ratios used with the Brettschneider formula (digits from memory).
var Petrol = Fuel{HC: 1.7261, OC: 0.0176}

// Ethanol is C2H6O.
var Ethanol = Fuel{HC: 3, OC: 0.5}

// oxygenNeed is the oxygen in moles that one mole of carbon's worth of fuel needs.
func (f Fuel) oxygenNeed() float64 { return 1 + f.HC/4 - f.OC/2 }

func (f Fuel) check() error {
	return errors.Join(
		within("fuel hydrogen to carbon", f.HC, 0, 4, "atoms"),
		within("fuel oxygen to carbon", f.OC, 0, 1, "atoms"),
	)
}

// Balance says how the exhaust is made up.
type Balance struct {
	Fuel       Fuel
	WaterGas   float64 // CO·H2O/(CO2·H2) where the gas froze; 3.5 is usual
	NitrogenO2 float64 // nitrogen (with argon) to oxygen in air, by volume; 3.773
}

// PetrolBalance is petrol with a water-gas ratio of 3.5 and 3.773 parts of nitrogen.
var PetrolBalance = Balance{Petrol, 3.5, 3.773}

func (b Balance) check() error {
	return errors.Join(
		b.Fuel.check(),
		within("water-gas ratio", b.WaterGas, 0.1, 100, ""),
		within("nitrogen to oxygen", b.NitrogenO2, 0, 100, "by volume"),
	)
}

// Products is exhaust gas after complete reaction, in moles for each mole of carbon.
type Products struct {
	CO2, CO, H2O, H2, O2, N2 float64
}

// DryPct gives the volume per cent with the water taken out, as an analyser sees it.
func (p Products) DryPct() (co2, co, h2, o2 float64) {
	dry := p.CO2 + p.CO + p.H2 + p.O2 + p.N2
	return 100 * p.CO2 / dry, 100 * p.CO / dry, 100 * p.H2 / dry, 100 * p.O2 / dry
}

// Lambda range of the exhaust functions.
const (
	minLambda = 0.5
	maxLambda = 10
)

// Products gives the major products at a lambda of 0.5 to 10: without a shortage of
// oxygen CO2, H2O and O2, with one CO2, CO, H2O and H2 in water-gas balance. No
// unburnt fuel, no soot, no NO.
func (b Balance) Products(lambda float64) (Products, error) {
	if err := errors.Join(b.check(), within("lambda", lambda, minLambda, maxLambda, "")); err != nil {
		return Products{}, err
	}
	need, water := b.Fuel.oxygenNeed(), b.Fuel.HC/2
	p := Products{CO2: 1, H2O: water, N2: b.NitrogenO2 * lambda * need}
	if lambda >= 1 {
		p.O2 = (lambda - 1) * need
		return p, nil
	}
	// Oxygen left for water once every carbon has one: H2O = spare + CO.
	// CO·H2O = K·CO2·H2 is then a quadratic in CO.
	spare := b.Fuel.OC + 2*lambda*need - 2
	k := b.WaterGas
	qa, qb, qc := 1-k, spare+k*(1+water-spare), -k*(water-spare)
	p.CO = quadraticRoot(qa, qb, qc, max(0, -spare), min(1, water-spare))
	p.CO2 = 1 - p.CO
	p.H2O = spare + p.CO
	p.H2 = water - p.H2O
	return p, nil
}

// quadraticRoot finds the root of ax²+bx+c between low and high, where the sign
// changes, in the form that does not cancel.
func quadraticRoot(a, b, c, low, high float64) float64 {
	q := -(b + math.Copysign(math.Sqrt(max(0, b*b-4*a*c)), b)) / 2
	for _, x := range [2]float64{q / a, c / q} {
		if x >= low-1e-12 && x <= high+1e-12 {
			return min(max(x, low), high)
		}
	}
	return low
}

// Formation constants log10 Kf every 100 K from 500 K to 1500 K: NIST-JANAF
// thermochemical tables, 4th edition, standard pressure 1 bar (from memory; held
// against the polynomials of GRI-Mech 3.0 in the tests).
var (
	logKfCO  = [...]float64{16.236, 14.320, 12.948, 11.916, 11.109, 10.461, 9.928, 9.481, 9.101, 8.774, 8.488}
	logKfCO2 = [...]float64{41.259, 34.404, 29.505, 25.829, 22.969, 20.679, 18.805, 17.242, 15.919, 14.784, 13.800}
	logKfH2O = [...]float64{22.884, 18.631, 15.582, 13.287, 11.496, 10.060, 8.881, 7.897, 7.063, 6.346, 5.724}
)

// Temperature range of the equilibrium functions, K.
const (
	minEquilibriumK = 500
	maxEquilibriumK = 1500
)

// logK interpolates in 1/T, in which log K is very nearly straight.
func logK(table []float64, kelvin float64) float64 {
	i := min(int((kelvin-minEquilibriumK)/100), len(table)-2)
	t0 := minEquilibriumK + 100*float64(i)
	t1 := t0 + 100
	w := (1/kelvin - 1/t0) / (1/t1 - 1/t0)
	return table[i] + w*(table[i+1]-table[i])
}

// oxidationK gives the constants of CO + ½O2 = CO2 and H2 + ½O2 = H2O, for
// pressures in atm.
func oxidationK(kelvin float64) (co, h2 float64) {
	perBar := math.Sqrt(barPerAtm) // K is per square root of pressure
	co = math.Pow(10, logK(logKfCO2[:], kelvin)-logK(logKfCO[:], kelvin)) * perBar
	h2 = math.Pow(10, logK(logKfH2O[:], kelvin)) * perBar
	return co, h2
}

func checkEquilibrium(kelvin float64) error {
	return within("gas temperature", kelvin, minEquilibriumK, maxEquilibriumK, "K")
}

// OxygenFromCO is the oxygen partial pressure, atm, in balance with carbon monoxide
// and carbon dioxide in the ratio co to co2 (each above 0, same unit), at 500 to
// 1500 K: pO2 = (co2/(co·K))².
func OxygenFromCO(kelvin, co, co2 float64) (float64, error) {
	if err := checkPair(kelvin, "carbon monoxide", co, "carbon dioxide", co2); err != nil {
		return 0, err
	}
	k, _ := oxidationK(kelvin)
	root := co2 / (co * k)
	return root * root, nil
}

// OxygenFromH2 is the same for hydrogen and water vapour.
func OxygenFromH2(kelvin, h2, h2o float64) (float64, error) {
	if err := checkPair(kelvin, "hydrogen", h2, "water vapour", h2o); err != nil {
		return 0, err
	}
	_, k := oxidationK(kelvin)
	root := h2o / (h2 * k)
	return root * root, nil
}

func checkPair(kelvin float64, reducedName string, reduced float64, oxidisedName string, oxidised float64) error {
	return errors.Join(
		checkEquilibrium(kelvin),
		within(reducedName, reduced, 1e-12, 1e12, "in the unit of the other"),
		within(oxidisedName, oxidised, 1e-12, 1e12, "in the unit of the other"),
	)
}

// EquilibriumOxygen is the oxygen partial pressure, atm, that a catalytic electrode
// at this temperature (500 to 1500 K) sees in exhaust of this lambda (0.5 to 10) at
// one atmosphere. The gas comes to full balance there, whatever water-gas ratio it
// froze at: CO2, CO, H2O, H2 and O2 share the oxygen so that both oxidations are in
// balance. It rises with lambda without a break.
func (b Balance) EquilibriumOxygen(lambda, kelvin float64) (float64, error) {
	if err := errors.Join(b.check(), within("lambda", lambda, minLambda, maxLambda, ""), checkEquilibrium(kelvin)); err != nil {
		return 0, err
	}
	kCO, kH2 := oxidationK(kelvin)
	need, water := b.Fuel.oxygenNeed(), b.Fuel.HC/2
	others := 1 + water + b.NitrogenO2*lambda*need // moles of everything but O2
	// What the gas lacks, or has beyond, complete oxidation: λ−1 times the need,
	// twice. Counting from complete oxidation keeps digits near lambda 1.
	surplus := 2 * (lambda - 1) * need
	// Oxygen atoms beyond those of the oxygen pressure e^logP; it rises with logP.
	excess := func(logP float64) float64 {
		root := math.Exp(logP / 2)
		p := root * root
		return 2*p*others/(1-p) - 1/(1+kCO*root) - water/(1+kH2*root) - surplus
	}
	low, high := math.Log(minOxygen), math.Log(0.9)
	for range 200 {
		mid := (low + high) / 2
		if mid <= low || mid >= high {
			break
		}
		if excess(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return math.Exp((low + high) / 2), nil
}

// VoltageAt is the voltage of an ideal cell against air in exhaust of this lambda
// (0.5 to 10), at 500 to 1500 K.
func (b Balance) VoltageAt(lambda, kelvin float64) (float64, error) {
	oxygen, err := b.EquilibriumOxygen(lambda, kelvin)
	if err != nil {
		return 0, err
	}
	return CellVoltage(kelvin, AirOxygen, oxygen)
}

// LambdaAt is the inverse of VoltageAt. A voltage that no lambda from 0.5 to 10
// gives is an error: no sound cell in petrol exhaust delivers it. Away from lambda
// 1 the curve is flat and a few millivolts decide, so the result is a bound, not a
// measurement.
func (b Balance) LambdaAt(volts, kelvin float64) (float64, error) {
	rich, err := b.VoltageAt(minLambda, kelvin)
	if err != nil {
		return 0, err
	}
	lean, err := b.VoltageAt(maxLambda, kelvin)
	if err != nil {
		return 0, err
	}
	if err := within("cell voltage", volts, lean, rich, "V, what exhaust gas can give at this temperature"); err != nil {
		return 0, err
	}
	low, high := float64(minLambda), float64(maxLambda)
	for range 200 {
		mid := (low + high) / 2
		if mid <= low || mid >= high {
			break
		}
		v, err := b.VoltageAt(mid, kelvin)
		if err != nil {
			return 0, err
		}
		if v > volts {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2, nil
}
