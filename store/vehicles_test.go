package store_test

import (
	"reflect"
	"testing"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest/factory"
)

func TestVehicles(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	id := factory.Job(t, st, owner, func(in *store.Intake) {
		in.Customer.Name, in.Customer.Phone = "Łucja Żak", "+48 (22) 555-01-02"
		in.Vehicle.Plate, in.Vehicle.VIN = "wx-4711 k", " nvk1a2b3c4d5e6f7g "
	})
	f := job(t, st, id)

	t.Run("a VIN is kept without the spaces of its copy and in capitals", func(t *testing.T) {
		if f.Vehicle.VIN != "NVK1A2B3C4D5E6F7G" {
			t.Errorf("got %q", f.Vehicle.VIN)
		}
	})
	t.Run("is found by plate, VIN, their parts and the owner, as people type them", func(t *testing.T) {
		for _, text := range []string{"WX 4711K", "4711", "d5e6f7g", "łucja"} {
			got := get[[]store.FoundVehicle](t)(st.FindVehicles(ctx, text, 5))
			if len(got) != 1 || got[0].ID != f.Vehicle.ID || got[0].CustomerName != "Łucja Żak" || *got[0].OpenJobID != id || got[0].LastKm != 182000 {
				t.Errorf("%q: got %+v", text, got)
			}
		}
		if got := get[[]store.FoundVehicle](t)(st.FindVehicles(ctx, "ZZZ", 5)); len(got) != 0 {
			t.Errorf("got %+v", got)
		}
		if got := get[store.FoundVehicle](t)(st.VehicleByVIN(ctx, "NVK 1A2B3C4D5E6F7G")); got.ID != f.Vehicle.ID {
			t.Errorf("got %+v", got)
		}
		if got := get[[]store.FoundVehicle](t)(st.VehiclesOf(ctx, f.Customer.ID)); len(got) != 1 {
			t.Errorf("got %+v", got)
		}
	})
	t.Run("its owner is found by the digits of the number", func(t *testing.T) {
		got := get[[]store.Customer](t)(st.FindCustomers(ctx, "55 50 102", 5))
		if len(got) != 1 || got[0].ID != f.Customer.ID {
			t.Errorf("got %+v", got)
		}
	})
	t.Run("its owner is found by the name, accents and case aside, or its beginning", func(t *testing.T) {
		for _, text := range []string{"Łucja Żak", "lucja zak", " CJA Z", "lu", "Ł"} {
			got := get[[]store.Customer](t)(st.FindCustomers(ctx, text, 5))
			if len(got) != 1 || got[0].ID != f.Customer.ID {
				t.Errorf("%q: got %+v", text, got)
			}
		}
		for _, text := range []string{"%", "_ucja", "uc", "\\", "ja"} {
			if got := get[[]store.Customer](t)(st.FindCustomers(ctx, text, 5)); len(got) != 0 {
				t.Errorf("%q: got %+v", text, got)
			}
		}
	})
	t.Run("its layout can be replaced, and a wrong one leaves the old in place", func(t *testing.T) {
		want := []store.Sensor{{Bank: 1, Position: 1, Kind: diag.WideRange, Wires: 5, Connector: "grey, 5 pins"},
			{Bank: 1, Position: 2, Kind: diag.Zirconia, Wires: 4, Common: true}, {Bank: 2, Position: 1, Kind: diag.WideRange, Wires: 5}}
		ok(t, st.SetSensors(ctx, owner, f.Vehicle.ID, want))
		err := st.SetSensors(ctx, owner, f.Vehicle.ID, append(want, store.Sensor{Bank: 2, Position: 2, Kind: diag.Zirconia, Wires: 4}))
		refused(t, err, store.Conflict, "vehicle_sensors_one_per_place")
		got := get[[]store.Sensor](t)(st.Sensors(ctx, f.Vehicle.ID))
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got %+v", got)
		}
		refused(t, st.SetSensors(ctx, owner, 1<<40, want), store.NotFound, "")
	})
	t.Run("the engine is told of it as it is, with the job's odometer", func(t *testing.T) {
		f := job(t, st, id)
		c := f.Case(f.Standing(), diag.Costs{LabourPerHour: 120, Currency: "USD"})
		if c.Vehicle.OdometerKm != 182000 || len(c.Vehicle.Sensors) != 3 || !c.Vehicle.Sensors[1].Common || len(c.Evidence) != 1 ||
			c.Vehicle.Cylinders != 6 || c.Vehicle.DisplacementL != 3 || c.Vehicle.AirMetering != "maf" || c.Version != diag.CaseVersion {
			t.Errorf("got %+v", c)
		}
	})
	t.Run("its data can be mended", func(t *testing.T) {
		v := f.Vehicle
		v.ModelYear, v.Plate = 2016, "NEW 1"
		ok(t, st.UpdateVehicle(ctx, owner, v))
		if got := get[store.Vehicle](t)(st.Vehicle(ctx, v.ID)); got != v {
			t.Errorf("got %+v", got)
		}
		v.ModelYear = 1 << 20
		refused(t, st.UpdateVehicle(ctx, owner, v), store.Rule, "")
		c := f.Customer
		c.Phone, c.Note = "", "Rings back in the evening."
		ok(t, st.UpdateCustomer(ctx, owner, c))
		if got := get[store.Customer](t)(st.Customer(ctx, c.ID)); got != c {
			t.Errorf("got %+v", got)
		}
	})
}

func TestLayouts(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	t.Run("the trade's usual ones are there and fit a car", func(t *testing.T) {
		all := get[[]store.Layout](t)(st.Layouts(ctx))
		if len(all) < 5 || len(all[0].Sensors) != 1 {
			t.Fatalf("got %+v", all)
		}
		for _, l := range all {
			factory.Job(t, st, owner, func(in *store.Intake) { in.Sensors = l.Sensors })
		}
	})
	t.Run("one can be added, changed and removed", func(t *testing.T) {
		l := store.Layout{Name: "Two-wire", Sensors: []store.Sensor{{Bank: 1, Position: 1, Kind: diag.Zirconia, Wires: 2}}}
		l.ID = get[int64](t)(st.SaveLayout(ctx, owner, l))
		l.Name, l.Sensors[0].Wires = "One-wire", 1
		get[int64](t)(st.SaveLayout(ctx, owner, l))
		if got := get[store.Layout](t)(st.Layout(ctx, l.ID)); !reflect.DeepEqual(got, l) {
			t.Errorf("got %+v", got)
		}
		ok(t, st.DeleteLayout(ctx, owner, l.ID))
		_, err := st.Layout(ctx, l.ID)
		refused(t, err, store.NotFound, "")
		_, err = st.SaveLayout(ctx, owner, l)
		refused(t, err, store.NotFound, "")
	})
}
