package chem

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %v, want %v ± %v", what, got, want, within)
	}
}

func must[T any](v T, err error) func(t *testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// Values computed from E = RT/(4F) ln(0.2095/p) with the CODATA 2018 constants.
func TestCellVoltage(t *testing.T) {
	for celsius, slope := range map[float64]float64{ // mV for each decade
		300: 28.4313, 350: 30.9116, 400: 33.3918, 500: 38.3524, 600: 43.3129, 700: 48.2735, 800: 53.2340, 900: 58.1945,
	} {
		got := must(CellVoltage(Kelvin(celsius), 1, 0.1))(t)
		near(t, fmt.Sprintf("slope at %v °C", celsius), 1000*got, slope, 5e-5)
	}
	for celsius, want := range map[float64][5]float64{
		600: {57.224, 100.537, 403.728, 620.292, 836.857},
		700: {63.778, 112.052, 449.966, 691.333, 932.700},
		800: {70.332, 123.566, 496.204, 762.374, 1028.544},
	} {
		for i, p := range [5]float64{1e-2, 1e-3, 1e-10, 1e-15, 1e-20} {
			got := must(CellVoltage(Kelvin(celsius), AirOxygen, p))(t)
			near(t, fmt.Sprintf("E at %v °C and %v atm", celsius, p), 1000*got, want[i], 6e-4)
		}
	}
	for celsius, want := range map[float64]float64{300: 3.116e-17, 600: 8.544e-12, 700: 9.984e-11, 800: 7.378e-10} {
		got := must(CellOxygen(Kelvin(celsius), AirOxygen, 0.45))(t)
		near(t, fmt.Sprintf("oxygen at 450 mV and %v °C", celsius), got/want, 1, 2e-4)
	}
	for _, kelvin := range []float64{200, 600, 2500} {
		if got := must(CellVoltage(kelvin, AirOxygen, AirOxygen))(t); got != 0 {
			t.Errorf("equal pressures give %v V at %v K", got, kelvin)
		}
	}
	t.Run("is the inverse of its inverse and falls with oxygen", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(3, 4))
		for range 2000 {
			kelvin, p := 500+1000*rng.Float64(), math.Pow(10, -35*rng.Float64())
			v := must(CellVoltage(kelvin, AirOxygen, p))(t)
			near(t, "oxygen back", must(CellOxygen(kelvin, AirOxygen, v))(t)/p, 1, 1e-9)
			if more := must(CellVoltage(kelvin, AirOxygen, 1.01*p))(t); more >= v {
				t.Fatalf("more oxygen gives %v V after %v V", more, v)
			}
		}
	})
}

// massBalance holds lambda, CO2, CO, O2 in dry % for CH1.7261O0.0176 with K 3.5 and
// 3.773 N2 for each O2: computed from the mass balance.
var massBalance = [][4]float64{
	{0.85, 11.9442, 5.7038, 0}, {0.90, 13.2280, 3.7339, 0}, {0.95, 14.4838, 1.8304, 0}, {1.00, 15.7037, 0, 0},
	{1.03, 15.2169, 0, 0.6495}, {1.05, 14.9087, 0, 1.0606}, {1.10, 14.1904, 0, 2.0189}, {1.20, 12.9432, 0, 3.6829},
}

func TestProducts(t *testing.T) {
	for _, c := range massBalance {
		p := must(PetrolBalance.Products(c[0]))(t)
		co2, co, _, o2 := p.DryPct()
		near(t, fmt.Sprintf("CO2 at %v", c[0]), co2, c[1], 6e-5)
		near(t, fmt.Sprintf("CO at %v", c[0]), co, c[2], 6e-5)
		near(t, fmt.Sprintf("O2 at %v", c[0]), o2, c[3], 6e-5)
	}
	t.Run("keeps every atom and the water-gas ratio", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(5, 6))
		for range 2000 {
			b := Balance{Fuel{4 * rng.Float64(), rng.Float64()}, 1 + 4*rng.Float64(), 3.773}
			lambda := 0.6 + 0.8*rng.Float64()
			p := must(b.Products(lambda))(t)
			near(t, "carbon", p.CO2+p.CO, 1, 1e-12)
			near(t, "hydrogen", 2*(p.H2O+p.H2), b.Fuel.HC, 1e-12)
			near(t, "oxygen", 2*p.CO2+p.CO+p.H2O+2*p.O2, b.Fuel.OC+2*lambda*b.Fuel.oxygenNeed(), 1e-12)
			if lambda < 1 {
				near(t, "water-gas ratio", p.CO*p.H2O-b.WaterGas*p.CO2*p.H2, 0, 1e-9)
			}
			if min(p.CO2, p.CO, p.H2O, p.H2, p.O2) < 0 {
				t.Fatalf("negative amount at lambda %v of %+v: %+v", lambda, b, p)
			}
		}
	})
	t.Run("agrees with the balance taught at MIT, solved another way", func(t *testing.T) {
		// MIT OpenCourseWare 2.61, exhaust_compo.m: K 3.7, CH1.87, 3.773 N2 for each O2.
		// Solved here by bisection on CO instead of the quadratic.
		b := Balance{Fuel{1.87, 0}, 3.7, 3.773}
		for lambda := 0.7; lambda < 1; lambda += 0.02 {
			need := 1 + 1.87/4
			low, high := 0.0, 1.0
			for range 100 {
				co := (low + high) / 2
				h2o := 2*lambda*need - 2 + co
				h2 := 1.87/2 - h2o
				if co*h2o < 3.7*(1-co)*h2 {
					low = co
				} else {
					high = co
				}
			}
			p := must(b.Products(lambda))(t)
			near(t, fmt.Sprintf("CO at %.2f", lambda), p.CO, low, 1e-9)
			co2, co, _, o2 := p.DryPct()
			back := must(Formula{b.Fuel, 3.7, 6}.Lambda(Gas{CO: co, CO2: co2, O2: o2}))(t)
			near(t, "lambda back", back, lambda, 1e-9)
		}
	})
}

// nasa gives G/RT of a species from the seven-coefficient polynomials of GRI-Mech
// 3.0 (thermodynamics file, as carried by Cantera's gri30.yaml), lower range to
// 1000 K and upper range.
func nasa(species string, kelvin float64) float64 {
	table := map[string][2][7]float64{
		"O2": {{3.78245636, -2.99673416e-03, 9.84730201e-06, -9.68129509e-09, 3.24372837e-12, -1063.94356, 3.65767573},
			{3.28253784, 1.48308754e-03, -7.57966669e-07, 2.09470555e-10, -2.16717794e-14, -1088.45772, 5.45323129}},
		"H2": {{2.34433112, 7.98052075e-03, -1.9478151e-05, 2.01572094e-08, -7.37611761e-12, -917.935173, 0.683010238},
			{3.3372792, -4.94024731e-05, 4.99456778e-07, -1.79566394e-10, 2.00255376e-14, -950.158922, -3.20502331}},
		"H2O": {{4.19864056, -2.0364341e-03, 6.52040211e-06, -5.48797062e-09, 1.77197817e-12, -3.02937267e+04, -0.849032208},
			{3.03399249, 2.17691804e-03, -1.64072518e-07, -9.7041987e-11, 1.68200992e-14, -3.00042971e+04, 4.9667701}},
		"CO": {{3.57953347, -6.1035368e-04, 1.01681433e-06, 9.07005884e-10, -9.04424499e-13, -1.4344086e+04, 3.50840928},
			{2.71518561, 2.06252743e-03, -9.98825771e-07, 2.30053008e-10, -2.03647716e-14, -1.41518724e+04, 7.81868772}},
		"CO2": {{2.35677352, 8.98459677e-03, -7.12356269e-06, 2.45919022e-09, -1.43699548e-13, -4.83719697e+04, 9.90105222},
			{3.85746029, 4.41437026e-03, -2.21481404e-06, 5.23490188e-10, -4.72084164e-14, -4.8759166e+04, 2.27163806}},
	}
	a := table[species][0]
	if kelvin > 1000 {
		a = table[species][1]
	}
	T := kelvin
	h := a[0] + a[1]*T/2 + a[2]*T*T/3 + a[3]*T*T*T/4 + a[4]*T*T*T*T/5 + a[5]/T
	s := a[0]*math.Log(T) + a[1]*T + a[2]*T*T/2 + a[3]*T*T*T/3 + a[4]*T*T*T*T/4 + a[6]
	return h - s
}

func TestEquilibriumConstants(t *testing.T) {
	// Within 0.01 of log10 K, which is 1 mV at 1000 K; the two data sets do not agree
	// on the standard pressure (1 bar, 1 atm), 0.003 of log10 K.
	for kelvin := 500.0; kelvin <= 1500; kelvin += 25 {
		co, h2 := oxidationK(kelvin)
		near(t, fmt.Sprintf("log K of CO at %v K", kelvin), math.Log10(co),
			-(nasa("CO2", kelvin)-nasa("CO", kelvin)-nasa("O2", kelvin)/2)/math.Ln10, 0.01)
		near(t, fmt.Sprintf("log K of H2 at %v K", kelvin), math.Log10(h2),
			-(nasa("H2O", kelvin)-nasa("H2", kelvin)-nasa("O2", kelvin)/2)/math.Ln10, 0.01)
	}
}

func TestEquilibriumOxygen(t *testing.T) {
	t.Run("is in balance with CO, CO2, H2 and H2O on the rich side", func(t *testing.T) {
		for _, kelvin := range []float64{700, 873.15, 1100} {
			for _, lambda := range []float64{0.7, 0.85, 0.95, 0.99} {
				p := must(PetrolBalance.EquilibriumOxygen(lambda, kelvin))(t)
				// The electrode's own water-gas ratio: then the frozen balance at that
				// ratio must give the same oxygen from either pair.
				kCO, kH2 := oxidationK(kelvin)
				there := Balance{Petrol, kH2 / kCO, 3.773}
				gas := must(there.Products(lambda))(t)
				near(t, "oxygen from CO", must(OxygenFromCO(kelvin, gas.CO, gas.CO2))(t)/p, 1, 1e-4)
				near(t, "oxygen from H2", must(OxygenFromH2(kelvin, gas.H2, gas.H2O))(t)/p, 1, 1e-4)
			}
		}
	})
	t.Run("is the oxygen of the mass balance on the lean side", func(t *testing.T) {
		for _, lambda := range []float64{1.02, 1.1, 1.5, 3} {
			gas := must(PetrolBalance.Products(lambda))(t)
			wet := gas.O2 / (gas.CO2 + gas.H2O + gas.O2 + gas.N2)
			near(t, "oxygen", must(PetrolBalance.EquilibriumOxygen(lambda, 1000))(t)/wet, 1, 1e-4)
		}
	})
	t.Run("does not depend on the ratio the gas froze at", func(t *testing.T) {
		a := must(PetrolBalance.EquilibriumOxygen(0.9, 900))(t)
		b := must(Balance{Petrol, 3.8, 3.773}.EquilibriumOxygen(0.9, 900))(t)
		if a != b {
			t.Errorf("%v and %v", a, b)
		}
	})
}

func TestVoltageAt(t *testing.T) {
	t.Run("is low lean, high rich and steps at lambda 1", func(t *testing.T) {
		// Textbook trace of a good sensor: 0.8-1.0 V rich, near 0.1 V lean, mean about
		// 0.45 V (web copy of a vehicle-electronics chapter, author not shown).
		for _, celsius := range []float64{400, 600, 800} {
			k := Kelvin(celsius)
			rich, lean := must(PetrolBalance.VoltageAt(0.95, k))(t), must(PetrolBalance.VoltageAt(1.05, k))(t)
			if rich < 0.8 || rich > 1.1 || lean < 0 || lean > 0.1 {
				t.Errorf("%v °C: rich %v V, lean %v V", celsius, rich, lean)
			}
			up, down := must(PetrolBalance.VoltageAt(0.9995, k))(t), must(PetrolBalance.VoltageAt(1.0005, k))(t)
			if up < 0.45 || down > 0.45 {
				t.Errorf("%v °C: %v V just rich, %v V just lean", celsius, up, down)
			}
		}
	})
	t.Run("falls with lambda and is undone by LambdaAt", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(7, 8))
		for range 500 {
			k := 600 + 600*rng.Float64()
			lambda := 0.6 + 1.2*rng.Float64()
			v := must(PetrolBalance.VoltageAt(lambda, k))(t)
			if next := must(PetrolBalance.VoltageAt(lambda+0.001, k))(t); next >= v {
				t.Fatalf("%v V at %v, %v V at %v", v, lambda, next, lambda+0.001)
			}
			near(t, "lambda back", must(PetrolBalance.LambdaAt(v, k))(t), lambda, 1e-9)
		}
	})
	t.Run("refuses what no exhaust can give", func(t *testing.T) {
		for _, v := range []float64{1.3, -0.05, math.NaN()} {
			if _, err := PetrolBalance.LambdaAt(v, 900); err == nil {
				t.Errorf("%v V was accepted", v)
			}
		}
	})
}

// Published worked examples: "Lambda as a Diagnostic Tool", Austin Community College
// course page (author not named); printed values look cut off, hence ± 0.01.
func TestLambdaPublished(t *testing.T) {
	for _, c := range []struct {
		gas                       Gas
		published, computed, by12 float64
	}{
		{Gas{HC: 834, CO: 0.01, CO2: 13.78, O2: 2.29}, 1.07, 1.0773, 1.0409},
		{Gas{HC: 330, CO: 8.49, CO2: 9.93, O2: 0.15}, 0.77, 0.7759, 0.7677},
		{Gas{HC: 2882, CO: 0.81, CO2: 13.69, O2: 2.18}, 0, 0.9658, 0.8728}, // "substantially rich"
	} {
		got := must(Brettschneider.Lambda(c.gas))(t)
		near(t, "computed lambda", got, c.computed, 6e-5)
		if c.published != 0 {
			near(t, "published lambda", got, c.published, 0.01)
		} else if got > 0.97 {
			t.Errorf("published as rich, got %v", got)
		}
		twelve := Brettschneider
		twelve.HCFactor = 12
		near(t, "lambda with twice the HC", must(twelve.Lambda(c.gas))(t), c.by12, 6e-5)
	}
	for _, c := range []struct {
		gas  Gas
		want float64
	}{ // computed from the formula
		{Gas{CO2: 15}, 1.0000},
		{Gas{CO2: 14.7, CO: 0.5, O2: 0.5, HC: 100}, 1.0047},
		{Gas{CO2: 12.0, CO: 4.0, O2: 0.3, HC: 300}, 0.8889},
		{Gas{CO2: 14.0, CO: 0.2, O2: 1.5, HC: 50, NOx: 1000}, 1.0683},
	} {
		near(t, fmt.Sprintf("%+v", c.gas), must(Brettschneider.Lambda(c.gas))(t), c.want, 6e-5)
	}
	for _, c := range massBalance { // printed to four decimals
		got := must(Brettschneider.Lambda(Gas{CO2: c[1], CO: c[2], O2: c[3]}))(t)
		near(t, "lambda of the mass balance", got, c[0], 1e-5)
	}
	near(t, "16:1", must(LambdaFromAFR(16, PetrolAFR))(t), 1.088, 5e-4)
	near(t, "0.97 by mass", 0.97*PetrolAFR, 14.259, 5e-4)
}

func TestLambdaProperties(t *testing.T) {
	t.Run("returns the lambda the gas was made with", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(9, 10))
		for range 2000 {
			b := Balance{Fuel{1.5 + 1.5*rng.Float64(), 0.5 * rng.Float64()}, 3 + rng.Float64(), 3.773}
			lambda := 0.75 + 0.6*rng.Float64()
			co2, co, _, o2 := must(b.Products(lambda))(t).DryPct()
			got := must(Formula{b.Fuel, b.WaterGas, 6}.Lambda(Gas{CO2: co2, CO: co, O2: o2}))(t)
			near(t, fmt.Sprintf("lambda of %+v", b), got, lambda, 1e-12)
		}
	})
	t.Run("rises with oxygen and falls with CO and HC", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(11, 12))
		for range 2000 {
			g := Gas{CO: 6 * rng.Float64(), CO2: 8 + 8*rng.Float64(), O2: 4 * rng.Float64(), HC: 1000 * rng.Float64(), NOx: 2000 * rng.Float64()}
			at := must(Brettschneider.Lambda(g))(t)
			more := g
			more.O2 += 0.1
			if must(Brettschneider.Lambda(more))(t) <= at {
				t.Fatalf("more O2 does not raise lambda at %+v", g)
			}
			more = g
			more.HC += 50
			if must(Brettschneider.Lambda(more))(t) >= at {
				t.Fatalf("more HC does not lower lambda at %+v", g)
			}
			more = g
			more.CO += 0.1
			if must(Brettschneider.Lambda(more))(t) >= at {
				t.Fatalf("more CO does not lower lambda at %+v", g)
			}
		}
	})
	t.Run("has the derivatives of its finite differences", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(13, 14))
		for range 500 {
			g := Gas{CO: 0.1 + 6*rng.Float64(), CO2: 8 + 8*rng.Float64(), O2: 0.1 + 4*rng.Float64(), HC: 10 + 1000*rng.Float64(), NOx: 10 + 2000*rng.Float64()}
			_, d := Brettschneider.compute(g)
			for _, c := range []struct {
				got  float64
				step float64
				move func(g *Gas, by float64)
			}{
				{d.CO, 1e-4, func(g *Gas, by float64) { g.CO += by }},
				{d.CO2, 1e-4, func(g *Gas, by float64) { g.CO2 += by }},
				{d.O2, 1e-4, func(g *Gas, by float64) { g.O2 += by }},
				{d.HC, 1e-1, func(g *Gas, by float64) { g.HC += by }},
				{d.NOx, 1e-1, func(g *Gas, by float64) { g.NOx += by }},
			} {
				up, down := g, g
				c.move(&up, c.step)
				c.move(&down, -c.step)
				a, _ := Brettschneider.compute(up)
				b, _ := Brettschneider.compute(down)
				near(t, fmt.Sprintf("derivative at %+v", g), c.got, (a-b)/(2*c.step), 1e-7)
			}
		}
	})
}

func TestLambdaUncertainty(t *testing.T) {
	t.Run("covers what a simulated analyser shows", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(15, 16))
		g := Gas{CO: 0.5, CO2: 14.7, O2: 0.5, HC: 100, NOx: 200}
		e := must(Brettschneider.Measure(g, ClassI))(t)
		spread := func(v float64, l Limit) float64 { return v + l.of(v)*(2*rng.Float64()-1) }
		n, sum, squares := 50_000, 0.0, 0.0
		for range n {
			lambda, _ := Brettschneider.compute(Gas{
				spread(g.CO, ClassI.CO), spread(g.CO2, ClassI.CO2), spread(g.O2, ClassI.O2), spread(g.HC, ClassI.HC), spread(g.NOx, ClassI.NOx)})
			sum += lambda
			squares += lambda * lambda
		}
		mean := sum / float64(n)
		deviation := math.Sqrt(squares/float64(n) - mean*mean)
		near(t, "mean", mean, e.Lambda, 1e-4)
		near(t, "deviation over u", deviation/e.U, 1, 0.02)
		if e.U < 0.001 || e.U > 0.01 {
			t.Errorf("u of a class I analyser near lambda 1 is %v", e.U)
		}
	})
	t.Run("is nothing with a perfect analyser and grows with its limits", func(t *testing.T) {
		g := Gas{CO: 0.5, CO2: 14.7, O2: 0.5, HC: 100}
		if e := must(Brettschneider.Measure(g, Tolerance{}))(t); e.U != 0 {
			t.Errorf("u is %v", e.U)
		}
		a, b := must(Brettschneider.Measure(g, Class0))(t), must(Brettschneider.Measure(g, ClassI))(t)
		if a.U >= b.U {
			t.Errorf("class 0 has u %v, class I %v", a.U, b.U)
		}
	})
}

func TestIntake(t *testing.T) {
	// Density of dry air at sea level: 1.2250 kg/m³ at 15 °C and 101.325 kPa (US
	// Standard Atmosphere 1976, from memory).
	air := Intake{DisplacementL: 1, RPM: 120, Celsius: 15, KPa: 101.325}
	near(t, "density", must(air.Airflow(1))(t), 1.2250, 1e-4)
	// Computed by hand: 3.0 L at 5000 rpm, 30 °C, 100 kPa: 1.14911 g/L · 3 L · 41.6667/s.
	wide := Intake{DisplacementL: 3, RPM: 5000, Celsius: 30, KPa: 100}
	near(t, "airflow", must(wide.Airflow(1))(t), 143.64, 0.01)
	near(t, "efficiency of 95 g/s", must(wide.Efficiency(95))(t), 0.6614, 1e-4)
	t.Run("is the inverse of its inverse", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(17, 18))
		for range 1000 {
			i := Intake{0.6 + 6*rng.Float64(), 600 + 6000*rng.Float64(), -30 + 90*rng.Float64(), 30 + 200*rng.Float64()}
			ve := 0.2 + rng.Float64()
			flow := must(i.Airflow(ve))(t)
			near(t, "efficiency back", must(i.Efficiency(flow))(t), ve, 1e-12)
			double := i
			double.RPM *= 2
			near(t, "twice the speed", must(double.Airflow(ve))(t)/flow, 2, 1e-12)
		}
	})
}

func TestBadInput(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	good := Gas{CO: 0.5, CO2: 14.7, O2: 0.5, HC: 100}
	intake := Intake{2, 3000, 20, 100}
	call := func(_ float64, err error) error { return err }
	with := func(change func(*Gas)) error {
		g := good
		change(&g)
		return call(Brettschneider.Lambda(g))
	}
	breathe := func(change func(*Intake)) error {
		i := intake
		change(&i)
		return call(i.Airflow(0.8))
	}
	for _, c := range []struct {
		name, field string
		err         error
	}{
		{"no CO2", "CO2", with(func(g *Gas) { g.CO2 = 0 })},
		{"negative CO2", "CO2", with(func(g *Gas) { g.CO2 = -1 })},
		{"negative CO", "CO", with(func(g *Gas) { g.CO = -0.1 })},
		{"CO that is no number", "CO", with(func(g *Gas) { g.CO = nan })},
		{"O2 of pure oxygen", "O2", with(func(g *Gas) { g.O2 = 90 })},
		{"endless HC", "HC", with(func(g *Gas) { g.HC = inf })},
		{"NOx in per cent", "NOx", with(func(g *Gas) { g.NOx = -5 })},
		{"a sum beyond air", "CO + CO2 + O2", with(func(g *Gas) { g.O2 = 12 })},
		{"a tolerance below zero", "O2 tolerance", func() error {
			_, err := Brettschneider.Measure(good, Tolerance{O2: Limit{Abs: -1}})
			return err
		}()},
		{"a fuel that is none", "fuel hydrogen to carbon", call(Formula{Fuel{9, 0}, 3.5, 6}.Lambda(good))},
		{"a cell at absolute zero", "cell temperature", call(CellVoltage(0, AirOxygen, 0.01))},
		{"a cell with no oxygen", "exhaust oxygen", call(CellVoltage(900, AirOxygen, 0))},
		{"a cell voltage of 40 V", "cell voltage", call(CellOxygen(900, AirOxygen, 40))},
		{"a temperature that is no number", "gas temperature", call(OxygenFromCO(nan, 1, 10))},
		{"no carbon monoxide", "carbon monoxide", call(OxygenFromCO(900, 0, 10))},
		{"no hydrogen", "hydrogen", call(OxygenFromH2(900, 0, 10))},
		{"lambda 0", "lambda", call(PetrolBalance.VoltageAt(0, 900))},
		{"lambda that is no number", "lambda", call(PetrolBalance.EquilibriumOxygen(nan, 900))},
		{"a cold cell", "gas temperature", call(PetrolBalance.VoltageAt(1, 300))},
		{"no displacement", "displacement", breathe(func(i *Intake) { i.DisplacementL = 0 })},
		{"displacement in cm³", "displacement", breathe(func(i *Intake) { i.DisplacementL = 1998 })},
		{"a standing engine", "engine speed", breathe(func(i *Intake) { i.RPM = 0 })},
		{"pressure in bar", "intake pressure", breathe(func(i *Intake) { i.KPa = 1 })},
		{"air in kelvin", "intake temperature", breathe(func(i *Intake) { i.Celsius = 293 })},
		{"efficiency in per cent", "volumetric efficiency", call(intake.Airflow(85))},
		{"no airflow", "airflow", call(intake.Efficiency(0))},
		{"no air-fuel ratio", "air-fuel ratio", call(LambdaFromAFR(nan, 14.7))},
	} {
		t.Run("refuses "+c.name+" and names the field", func(t *testing.T) {
			e, ok := errors.AsType[*FieldError](c.err)
			if !ok || e.Field != c.field || e.Mend.IsZero() {
				t.Errorf("%v, want a FieldError on %s", c.err, c.field)
			}
		})
	}
	if _, err := PetrolBalance.Products(math.NaN()); err == nil {
		t.Error("products of no lambda")
	}
}

func BenchmarkVoltageAt(b *testing.B) {
	for b.Loop() {
		if _, err := PetrolBalance.VoltageAt(0.98, 900); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMeasure(b *testing.B) {
	g := Gas{CO: 0.5, CO2: 14.7, O2: 0.5, HC: 100}
	for b.Loop() {
		if _, err := Brettschneider.Measure(g, ClassI); err != nil {
			b.Fatal(err)
		}
	}
}
