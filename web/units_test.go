package web

import (
	"fmt"
	"net/url"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/store"
)

// rigOf is a rig whose shop measures and writes as told.
func rigOf(t *testing.T, change func(*store.Shop)) *rig {
	r := newRig(t)
	shop := usualShop
	shop.Name = "Quayside Test Garage"
	change(&shop)
	if err := r.store.SaveShop(t.Context(), r.people[store.Owner].ID, shop); err != nil {
		t.Fatal(err)
	}
	return r
}

// Two shops look at the same job, each its own way. The values are those of NIST SP 811:
// 300 kPa are 43.5 psi, 30 °C are 86 °F, 101.325 kPa are 14.7 psi, 113000 mi are 181856 km.
func TestTwoShopsSeeTheSameJobEachItsOwnWay(t *testing.T) {
	for _, shop := range []struct {
		name                      string
		change                    func(*store.Shop)
		log, forms, vehicle, sums []string
		never                     []string
		typed, echo               string
	}{
		{"°F, psi and miles", func(s *store.Shop) {},
			[]string{"pressure 43.5 psi", "maker's range, from 42.1 psi", "air temperature 86 °F", "barometer 14.7 psi"},
			[]string{`name="unit_kpa" value="psi"`, `name="unit_intake_c" value="°F"`, "kPa and bar may be typed too."}, []string{"113 000 mi"}, []string{"113 000 mi"},
			[]string{"kPa", "°C", "km"}, "40", "pressure 40 psi"},
		{"°C, kPa and kilometres", func(s *store.Shop) { s.TemperatureUnit, s.PressureUnit, s.DistanceUnit = "c", "kpa", "km" },
			[]string{"pressure 300 kPa", "maker's range, from 290 kPa", "air temperature 30 °C", "barometer 101.325 kPa"},
			[]string{`name="unit_kpa" value="kPa"`, `name="unit_intake_c" value="°C"`, "psi and bar may be typed too."}, []string{"181 856 km"}, []string{"181 856 km (113 000 mi)"},
			[]string{"psi", "°F"}, "275.79", "pressure 275.79 kPa"},
	} {
		t.Run(shop.name, func(t *testing.T) {
			r := rigOf(t, shop.change)
			job := r.job("P0171")
			r.entry(job, diag.Entry{Kind: diag.KindFuelPressure, KPa: new(300.0), KPaLow: new(290.0), KPaHigh: new(320.0), Holds: new(true)})
			r.entry(job, diag.Entry{Kind: diag.KindAirflow, RPM: new(5000.0), GPerS: new(95.0), IntakeC: new(30.0), BaroKPa: new(101.325), WideOpen: new(true)})
			tech := r.as(store.Technician)
			page := tech.get(at(job, ""))
			page.want(t, 200, spaced(shop.log)...)
			page.want(t, 200, spaced(shop.sums)...)
			tech.get(at(job, "/bay")).want(t, 200, spaced(shop.log)...).want(t, 200, shop.forms...)
			tech.get(at(job, "?add=fuel_pressure")).want(t, 200, shop.forms[0])
			log, _, _ := strings.Cut(page.body, `id="form`)
			for _, n := range shop.never {
				if strings.Contains(plainText(log), "\u00a0"+n) {
					t.Errorf("the job's page shows %s", n)
				}
			}
			f, err := r.store.JobFile(t.Context(), job)
			if err != nil {
				t.Fatal(err)
			}
			tech.get(fmt.Sprintf("/vehicles/%d", f.Vehicle.ID)).want(t, 200, spaced(shop.vehicle)...)
			for _, paper := range []string{"order", "handover", "explanation"} {
				p := tech.get(at(job, "/paper/"+paper))
				p.want(t, 200, spaced(shop.sums)...)
				for _, n := range shop.never {
					if n != "km" && strings.Contains(plainText(p.body), n) {
						t.Errorf("the %s shows %s", paper, n)
					}
				}
			}

			// The printed paper says it as the page does.
			sheet := readPDF(t, "units-order-"+shop.name[:3], []byte(tech.get(at(job, "/paper/order/pdf")).want(t, 200).body)).text()
			if want := strings.NewReplacer(" ", "", "\u202f", "", "\u00a0", "").Replace(shop.sums[0]); !strings.Contains(strings.NewReplacer("\u202f", "", "\u00a0", "").Replace(sheet), want) {
				t.Errorf("the printed work order lacks %q: %s", want, sheet)
			}

			form := url.Values{"kind": {"fuel_pressure"}, "kpa": {shop.typed}, "holds": {"yes"}, "id": {store.NewID()}}
			tech.post(at(job, "/evidence"), form).want(t, 303)
			e := r.entries(job)[3].Body
			if e.KPa == nil || *e.KPa < 275.78 || *e.KPa > 275.80 { // 40 psi
				t.Errorf("%s was kept as %v kPa", shop.typed, e.KPa)
			}
			tech.get(at(job, "")).want(t, 200, spaced([]string{shop.echo})...)
		})
	}
}

// spaced has the spaces that keep a number and its unit together.
func spaced(texts []string) []string {
	out := make([]string, len(texts))
	for i, s := range texts {
		words := strings.Fields(s)
		for j, w := range words[:len(words)-1] {
			next := words[j+1]
			switch digit := strings.ContainsAny(w[len(w)-1:], "0123456789"); {
			case digit && strings.ContainsAny(next[:1], "0123456789"):
				words[j] = w + "\u202f"
			case digit && !strings.HasPrefix(next, "mi") && !strings.HasPrefix(next, "km"):
				words[j] = w + "\u00a0"
			default:
				words[j] = w + " "
			}
		}
		out[i] = strings.Join(words, "")
	}
	return out
}

func TestARefusalSpeaksInTheShopsUnits(t *testing.T) {
	r := rigOf(t, func(*store.Shop) {})
	job := r.job("P0171")
	tech := r.as(store.Technician)
	refuse := func(kpa string) answer {
		return tech.post(at(job, "/evidence"), url.Values{"kind": {"fuel_pressure"}, "kpa": {kpa}, "holds": {"yes"}, "id": {store.NewID()}})
	}
	refuse("9000").want(t, 422, "9000 psi cannot be right.", "Give a number from 0 to 7252 psi", `value="9000"`) // 50 000 kPa
	refuse("70000 kPa").want(t, 422, "10153 psi cannot be right.", `value="70000 kPa"`)
	refuse("200 °F").want(t, 422, "is not a unit of this quantity", "Give it in psi")
}

func TestATabletsUnitStandsWhenTheShopChangesIts(t *testing.T) {
	r := rigOf(t, func(s *store.Shop) { s.PressureUnit = "kpa" })
	job := r.job("P0171")
	tech := r.as(store.Technician)
	form := url.Values{"kind": {"fuel_pressure"}, "kpa": {"40"}, "unit_kpa": {"psi"}, "holds": {"yes"}, "id": {store.NewID()}}
	tech.post(at(job, "/evidence"), form).want(t, 303)
	if e := r.entries(job)[1].Body; e.KPa == nil || *e.KPa < 275.78 || *e.KPa > 275.80 {
		t.Errorf("40 typed behind psi was kept as %v kPa", *e.KPa)
	}
	form["unit_kpa"], form["id"] = []string{"°F"}, []string{store.NewID()}
	tech.post(at(job, "/evidence"), form).want(t, 303)
	if e := r.entries(job)[2].Body; e.KPa == nil || *e.KPa != 40 {
		t.Errorf("a unit of something else was believed: %v kPa", *e.KPa)
	}
}
