package seed

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/diag/vin"
)

func benchOf(platform string, faults ...string) *bench {
	p := platforms[platform]
	b := &bench{car: p.vehicle(150000), ohm: p.heaterOhm, pump: p.pumpKPa, rng: rand.New(rand.NewPCG(1, 2))}
	for _, f := range faults {
		r, err := ref(f)
		if err != nil {
			panic(err)
		}
		b.faults = append(b.faults, r)
	}
	return b
}

// brettschneider is the air ratio from dry exhaust gas (Brettschneider, Bosch
// technische Berichte 6, 1979), HC in % as hexane: written out here, apart from the
// package that makes the gas.
func brettschneider(co2, co, o2, hc float64) float64 {
	const k, hcv, ocv = 3.5, 1.7261, 0.0176
	up := co2 + co/2 + o2 + (hcv/4*k/(k+co/co2)-ocv/2)*(co2+co)
	return up / ((1 + hcv/4 - ocv/2) * (co2 + co + 6*hc))
}

func TestGasAgreesWithTheFault(t *testing.T) {
	for _, c := range []struct {
		fault string
		want  float64 // of the analyser at idle
		tol   float64
	}{
		{"intake_leak_common", 1.00, 0.01}, // the loop makes up for it
		{"exhaust_leak_upstream@1", 1 / 1.17, 0.01},
		{"signal_short_ground@1.1", 1 / 1.24, 0.01},
		{"catalyst_worn@1", 1.00, 0.015},
		{"misfire@1", 1 / 1.13, 0.04}, // unburnt fuel and air together
	} {
		for _, e := range benchOf("pennon", c.fault).gas(place{}) {
			if e.State != "idle" {
				continue
			}
			if l := brettschneider(*e.CO2Pct, *e.COPct, *e.O2Pct, *e.HCPpm/1e4); math.Abs(l-c.want) > c.tol {
				t.Errorf("%s: lambda %.3f, want %.3f", c.fault, l, c.want)
			}
		}
	}
}

func TestBench(t *testing.T) {
	t.Run("shows what the case format takes, for every cause on every car", func(t *testing.T) {
		for name, p := range platforms {
			var faults []string
			for _, c := range diag.Causes() {
				switch c.Scope {
				case diag.ScopeEngine:
					faults = append(faults, c.ID)
				case diag.ScopeBank:
					faults = append(faults, c.ID+"@1")
				case diag.ScopeSensor:
					for _, s := range p.sensors {
						faults = append(faults, at(c.ID, s.Bank, s.Position))
					}
				}
			}
			for _, f := range faults {
				b := benchOf(name, f)
				for test := range tests {
					for _, s := range p.sensors {
						es, err := b.do(at(test, s.Bank, s.Position))
						if err != nil {
							t.Fatal(err)
						}
						for _, e := range es {
							if problems := e.Check(b.car); len(problems) > 0 {
								t.Fatalf("%s with %s: %s gives %+v: %v", name, f, test, e, problems)
							}
						}
					}
				}
			}
		}
	})
	t.Run("no sound cell passes 1.1 V and only a foul or cracked one goes below 0", func(t *testing.T) {
		for _, c := range diag.Causes() {
			for _, bankOr := range []string{c.ID, c.ID + "@1", c.ID + "@1.1"} {
				for _, e := range benchOf("pennon", bankOr).signal(place{1, 1}) {
					if *e.MaxV > 1.1 && c.ID != "signal_short_supply" {
						t.Errorf("%s gives %.2f V", bankOr, *e.MaxV)
					}
					if *e.MinV < 0 && c.ID != "sensor_cracked" && c.ID != "reference_air_blocked" {
						t.Errorf("%s gives %.2f V", bankOr, *e.MinV)
					}
				}
			}
		}
	})
	t.Run("trims sit on the steps of the bus", func(t *testing.T) {
		// SAE J1979: 100/128 % a step; read to one decimal.
		for _, e := range benchOf("trellis", "intake_leak_bank@2").trims(place{}) {
			for _, v := range []float64{*e.ShortPct, *e.LongPct} {
				step := math.Round(v * 1.28)
				if math.Abs(step/1.28-v) > 0.051 {
					t.Errorf("%v is no step", v)
				}
			}
		}
	})
	t.Run("an air leak shows at idle on its own bank and fades with airflow", func(t *testing.T) {
		b := benchOf("trellis", "intake_leak_bank@2")
		if !(b.trim(2, "idle") > b.trim(2, "fast_idle") && b.trim(2, "fast_idle") > b.trim(2, "cruise") && b.trim(1, "idle") == 0) {
			t.Errorf("trims %v %v %v, other bank %v", b.trim(2, "idle"), b.trim(2, "fast_idle"), b.trim(2, "cruise"), b.trim(1, "idle"))
		}
	})
	t.Run("titania gives no voltages, an unheated sensor no heater readings", func(t *testing.T) {
		if es := benchOf("bobbin").signal(place{1, 1}); es != nil {
			t.Errorf("titania voltages %v", es)
		}
		if es := benchOf("thimble").heaterSupply(place{1, 1}); es != nil {
			t.Errorf("heater readings %v", es)
		}
	})
	t.Run("names a test it does not know", func(t *testing.T) {
		if _, err := benchOf("pennon").do("shake@1"); err == nil || !strings.Contains(err.Error(), "shake") {
			t.Errorf("error %v", err)
		}
		if _, err := benchOf("pennon").do("trims@x"); err == nil {
			t.Error("no error for a bad place")
		}
	})
}

func TestVIN(t *testing.T) {
	t.Run("is 17 long, without I, O and Q, and right for every car and year", func(t *testing.T) {
		for name, p := range platforms {
			for y := p.first; y <= p.last; y++ {
				v := p.number(y, 123456)
				if read, doubts, err := vin.Parse(v); err != nil || string(read) != v || len(doubts) > 0 {
					t.Errorf("%s %d: %s: %v %v", name, y, v, doubts, err)
				}
				if vin.VIN(v).CheckDigit() != v[8] {
					t.Errorf("%s %d: %s", name, y, v)
				}
				if letter := v[6] >= 'A'; letter != (y >= 2010) {
					t.Errorf("%s %d: position 7 of %s", name, y, v)
				}
			}
		}
	})
}

func TestScenario(t *testing.T) {
	keys := map[string]car{}
	plates := map[string]bool{}
	for _, c := range customers {
		if !strings.HasPrefix(c.phone, "555-01") || len(c.phone) != 8 {
			t.Errorf("%s: %q is not one of the numbers kept for invention", c.name, c.phone)
		}
		if _, domain, ok := strings.Cut(c.email, "@"); ok && !strings.HasSuffix("."+domain, ".example.com") && !strings.HasSuffix(domain, ".example") {
			t.Errorf("%s: %q is not in a domain kept for examples (RFC 2606)", c.name, c.email)
		}
		for _, k := range c.cars {
			p, ok := platforms[k.platform]
			if !ok || keys[k.key].key != "" || plates[k.plate] {
				t.Errorf("car %+v: unknown platform, or key or plate twice", k)
			}
			if k.year < p.first || k.year > p.last {
				t.Errorf("%s: the %s was not built in %d", k.key, p.model, k.year)
			}
			keys[k.key], plates[k.plate] = k, true
		}
	}
	for name, p := range platforms {
		if len(makes[p.make]) != 3 {
			t.Errorf("%s: %s is not one of the invented makes", name, p.make)
		}
		if ps := p.vehicle(1).Check(); len(ps) > 0 {
			t.Errorf("%s: %v", name, ps)
		}
	}

	t.Run("has every layout, kind and number of wires of the trade", func(t *testing.T) {
		driven := map[string]bool{}
		layouts, kinds := map[int]bool{}, map[string]bool{}
		for _, s := range finished {
			driven[keys[s.car].platform] = true
		}
		for name := range driven {
			for _, s := range platforms[name].sensors {
				kinds[string(s.Kind)+string(rune('0'+s.Wires))] = true
				if s.Common {
					kinds["common"] = true
				}
			}
			layouts[len(platforms[name].sensors)] = true
		}
		for _, n := range []int{1, 2, 3, 4, 5} {
			if !layouts[n] {
				t.Errorf("no car with %d sensors", n)
			}
		}
		for _, k := range []string{"zirconia1", "zirconia2", "zirconia3", "zirconia4", "titania3", "titania4",
			"wide_range4", "wide_range5", "wide_range6", "common"} {
			if !kinds[k] {
				t.Errorf("no %s", k)
			}
		}
	})
	t.Run("has every cause of the model as a confirmed or hidden fault", func(t *testing.T) {
		seen := map[string]bool{}
		for _, s := range finished {
			rs, err := refs(s.faults)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range rs {
				seen[r.Cause] = true
			}
		}
		for _, c := range diag.Causes() {
			if !seen[c.ID] {
				t.Errorf("no story with %s", c.ID)
			}
		}
	})
	t.Run("knows only causes of the model, on places the car has", func(t *testing.T) {
		all := slices.Clone(finished)
		for _, o := range opened {
			all = append(all, o.story)
		}
		for _, s := range all {
			k, ok := keys[s.car]
			if !ok {
				t.Errorf("no car %q", s.car)
				continue
			}
			v := platforms[k.platform].vehicle(1)
			for _, words := range []string{s.faults, s.believed} {
				rs, err := refs(words)
				if err != nil {
					t.Error(err)
				}
				for _, r := range rs {
					info, ok := diag.CauseByID(r.Cause)
					if !ok {
						t.Errorf("%s, %d days ago: no cause %q", s.car, s.days, r.Cause)
						continue
					}
					_, there := v.At(r.Bank, r.Position)
					good := map[diag.Scope]bool{
						diag.ScopeEngine: r.Bank == 0 && r.Position == 0,
						diag.ScopeBank:   r.Bank >= 1 && r.Bank <= v.Banks() && r.Position == 0,
						diag.ScopeSensor: there,
					}
					if !good[info.Scope] {
						t.Errorf("%s, %d days ago: %+v is at no place of its kind", s.car, s.days, r)
					}
				}
			}
		}
	})
}
