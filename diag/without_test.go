package diag

import "testing"

func TestDecideWithout(t *testing.T) {
	c := Case{Version: CaseVersion, Costs: Costs{LabourPerHour: 100, Currency: "EUR"},
		Vehicle: Vehicle{Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf",
			Sensors: []Sensor{{Bank: 1, Position: 1, Kind: Zirconia, Wires: 4}, {Bank: 1, Position: 2, Kind: Zirconia, Wires: 4}}},
		Evidence: []Entry{{Kind: KindCode, Code: "P0171", Status: "stored"}}}
	all, err := Decide(c)
	if err != nil {
		t.Fatal(err)
	}
	if all.Next == nil {
		t.Fatal("no next test to exclude")
	}
	t.Run("never offers a test that cannot be done, until none is left", func(t *testing.T) {
		var out []Exclusion
		for range 200 {
			d, err := DecideWithout(c, out)
			if err != nil {
				t.Fatal(err)
			}
			if d.Next == nil {
				if len(out) < 5 {
					t.Fatalf("nothing left after %v", out)
				}
				return
			}
			x := Exclusion{d.Next.Test, d.Next.Bank, d.Next.Position}
			for _, o := range out {
				if o.Excludes(x.Test, x.Bank, x.Position) {
					t.Fatalf("%v was offered although %v is excluded", x, o)
				}
			}
			out = append(out, x)
		}
		t.Fatal("it never ends")
	})
	t.Run("without exclusions decides as ever", func(t *testing.T) {
		d, err := DecideWithout(c, nil)
		if err != nil || d.Next.Test != all.Next.Test || d.Next.Bank != all.Next.Bank {
			t.Errorf("%+v, %v; want %+v", d.Next, err, all.Next)
		}
	})
}
