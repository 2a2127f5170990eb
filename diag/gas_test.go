package diag

import (
	"math"
	"testing"

	"crosscount/diag/chem"
	"crosscount/diag/model"
)

// leanCar is a car with one bank and its sensors, with what the log holds.
func leanCar(entries ...Entry) Case {
	return Case{Version: CaseVersion, Costs: Costs{LabourPerHour: 120, Currency: "USD"},
		Vehicle: Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf",
			Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}, {Bank: 1, Position: 2, Kind: Zirconia, Wires: 4}}},
		Evidence: append([]Entry{
			{Kind: KindCode, Code: "P0171", Status: "stored"},
			{Kind: KindTrim, Bank: 1, State: "idle", LongPct: new(25.0), ShortPct: new(0.0)},
			{Kind: KindTrim, Bank: 1, State: "fast_idle", LongPct: new(25.0), ShortPct: new(0.0)},
		}, entries...)}
}

// front is the chance of any fault of the sensor ahead of the converter.
func front(t *testing.T, c Case) float64 {
	t.Helper()
	d, err := Decide(c)
	if err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for _, x := range d.Causes {
		if x.Bank == 1 && x.Position == 1 {
			sum += x.P
		}
	}
	return sum
}

func gas(co, co2, o2, hc float64) Entry {
	return Entry{Kind: KindGas, State: "fast_idle", COPct: &co, CO2Pct: &co2, O2Pct: &o2, HCPpm: &hc}
}

// Published case: long-term trim +25 %, a lean code, lambda 1.00, so the oxygen sensor
// is eliminated from suspicion; lambda well below 1.00, so the sensor is suspect.
// Source: "Lambda as a Diagnostic Tool", Austin Community College, course page. The
// gas is our own: the balance of petrol in air at that lambda.
func TestTheGasJudgesTheSensor(t *testing.T) {
	balanced := func(lambda float64) Entry {
		p, err := chem.PetrolBalance.Products(lambda)
		if err != nil {
			t.Fatal(err)
		}
		co2, co, _, o2 := p.DryPct()
		return gas(co, co2, o2, 0)
	}
	none := front(t, leanCar())
	right := front(t, leanCar(balanced(1)))
	rich := front(t, leanCar(balanced(0.85)))
	t.Logf("front sensor: %.4f without gas, %.4f at lambda 1.00, %.4f at 0.85", none, right, rich)
	if right > 0.05 || right > none/2 {
		t.Errorf("gas of lambda 1.00 leaves the sensor at %.4f, without gas %.4f", right, none)
	}
	if rich < 0.5 {
		t.Errorf("gas of lambda 0.85 under a lean code leaves the sensor at %.4f", rich)
	}
	t.Run("as a typed lambda does, the nearer the better the analyser", func(t *testing.T) {
		typed := front(t, leanCar(Entry{Kind: KindLambda, State: "fast_idle", Value: new(1.0)}))
		if math.Abs(typed-right) > 0.03 {
			t.Errorf("typed %.4f, from gas %.4f", typed, right)
		}
	})
	t.Run("more smoothly than any threshold", func(t *testing.T) {
		last := rich
		for lambda := 0.86; lambda < 1.0; lambda += 0.01 {
			p := front(t, leanCar(balanced(lambda)))
			if p > last+0.02 || p < last-0.5 {
				t.Errorf("from %.4f to %.4f at lambda %.2f", last, p, lambda)
			}
			last = p
		}
	})
	t.Run("and says so when no lambda follows", func(t *testing.T) {
		d, err := Decide(leanCar(gas(18, 0, 0, 100)))
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, n := range d.Notes {
			found = found || len(n.Entries) == 1 && n.Entries[0] == 3
		}
		if !found {
			t.Errorf("notes: %+v", d.Notes)
		}
	})
}

// No sound cell in petrol exhaust delivers more than the Nernst equation gives at the
// richest running of an engine and the hottest or coldest a tip works at.
func TestAVoltageBeyondTheCellsBoundRaisesSuspicion(t *testing.T) {
	bound := 0.0
	for _, c := range []float64{350, 500, 700, 900} {
		v, err := chem.PetrolBalance.VoltageAt(0.7, chem.Kelvin(c))
		if err != nil {
			t.Fatal(err)
		}
		bound = max(bound, v)
	}
	t.Logf("the bound is %.3f V", bound)
	at := func(v float64) float64 {
		c := leanCar(Entry{Kind: KindSignal, Bank: 1, Position: 1, State: "idle", MinV: new(0.1), MaxV: &v})
		c.Evidence = c.Evidence[3:] // the reading alone
		p := front(t, c)
		return p / (1 - p)
	}
	sound, beyond := at(0.88), at(bound+0.2)
	t.Logf("odds of a fault at the front sensor: %.4f below the bound, %.3f above it", sound, beyond)
	if beyond < 2*sound {
		t.Errorf("odds of a fault at the front sensor: %.4f below the bound, %.3f above it", sound, beyond)
	}
}

// The air an engine breathes follows from the ideal gas law: 101325 Pa, 0 °C and
// 28.96 g/mol give 1.292 g/l (molar volume 22.414 l, CODATA).
func TestAirflowIsWhatTheEngineBreathes(t *testing.T) {
	w := newWorld(newEngine(model.Trade()), leanCar().Vehicle)
	got := w.expectedAirflow(Entry{Kind: KindAirflow, RPM: new(5000.0), IntakeC: new(0.0), BaroKPa: new(101.325), WideOpen: new(true)})
	want := 2.0 * 5000 / 120 * 28.96 / 22.414 * 0.85
	if math.Abs(got/want-1) > 2e-3 {
		t.Errorf("got %.3f g/s, want %.3f", got, want)
	}
}
