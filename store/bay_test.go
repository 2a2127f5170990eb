package store_test

import (
	"errors"
	"math"
	"testing"
	"time"

	"crosscount/store"
	"crosscount/store/storetest/factory"
)

func TestPhotos(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	id := factory.JobAt(t, st, owner, factory.Read)
	p := factory.Photo(id, func(p *store.NewPhoto) { p.Moment, p.EvidenceID = "before", job(t, st, id).Entries[0].ID })

	t.Run("are taken once and come back as they were", func(t *testing.T) {
		for _, want := range []bool{true, false} {
			if fresh, err := st.AddPhoto(ctx, owner, p); err != nil || fresh != want {
				t.Errorf("got fresh %v, %v", fresh, err)
			}
		}
		full := get[store.PhotoData](t)(st.PhotoData(ctx, p.ID))
		thumb := get[store.PhotoData](t)(st.PhotoThumb(ctx, p.ID))
		if string(full.Data) != string(p.Data) || string(thumb.Data) != string(p.Thumb) || full.MediaType != "image/png" {
			t.Errorf("got %q and %q", full.Data, thumb.Data)
		}
		f := job(t, st, id)
		if len(f.Photos) != 1 || *f.Photos[0].EvidenceID != p.EvidenceID || f.Photos[0].Size != int64(len(p.Data)) {
			t.Errorf("got %+v", f.Photos)
		}
		other := p
		other.Data = []byte("another picture")
		_, err := st.AddPhoto(ctx, owner, other)
		refused(t, err, store.Conflict, "photos_pkey")
	})
	t.Run("can be removed once, with a reason", func(t *testing.T) {
		refused(t, st.RemovePhoto(ctx, owner, id, p.ID, ""), store.Rule, "photos_removed_has_reason")
		ok(t, st.RemovePhoto(ctx, owner, id, p.ID, "A face is on it."))
		refused(t, st.RemovePhoto(ctx, owner, id, p.ID, "again"), store.Rule, "photos_append_only")
		refused(t, st.RemovePhoto(ctx, owner, 1, p.ID, "x"), store.NotFound, "")
		_, err := st.PhotoData(ctx, p.ID)
		refused(t, err, store.NotFound, "")
		if got := get[[]store.Photo](t)(st.Photos(ctx, id)); len(got) != 0 {
			t.Errorf("got %+v", got)
		}
	})
}

func TestBay(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	id := factory.Job(t, st, owner)

	t.Run("minutes spent add up and give the usual time of a test", func(t *testing.T) {
		for i, m := range []float64{10, 20, 30, 40, 100} {
			n := store.TestTime{ID: store.NewID(), JobID: id, Test: "intake_smoke", Minutes: m}
			if i == 0 {
				n.Test = "trims"
			}
			for _, want := range []bool{true, false} {
				if fresh, err := st.AddTestTime(ctx, owner, n); err != nil || fresh != want {
					t.Errorf("got fresh %v, %v", fresh, err)
				}
			}
		}
		if m := job(t, st, id).Minutes; m != 200 {
			t.Errorf("got %v minutes", m)
		}
		got := get[[]store.TestMinutes](t)(st.TestMinutes(ctx, store.Period{From: time.Now().Add(-time.Hour), To: time.Now().Add(time.Hour)}))
		// Of 20, 30, 40 and 100 the linear interpolation gives 35 and 82.
		if len(got) != 2 || got[0].Test != "intake_smoke" || got[0].Times != 4 || got[0].Median != 35 || math.Abs(got[0].P90-82) > 1e-9 || got[1].Times != 1 {
			t.Errorf("got %+v", got)
		}
	})
	t.Run("a test that cannot be done here is set aside until it can", func(t *testing.T) {
		n := store.NewSetAside{ID: store.NewID(), JobID: id, Test: "intake_smoke", Why: "The machine is away."}
		for _, want := range []bool{true, false} {
			if fresh, err := st.SetTestAside(ctx, owner, n); err != nil || fresh != want {
				t.Errorf("got fresh %v, %v", fresh, err)
			}
		}
		if got := job(t, st, id).SetAsides; len(got) != 1 || got[0].Why != n.Why {
			t.Errorf("got %+v", got)
		}
		twice := n
		twice.ID = store.NewID()
		_, err := st.SetTestAside(ctx, owner, twice)
		refused(t, err, store.Conflict, "set_asides_once")
		ok(t, st.LiftSetAside(ctx, owner, id, n.ID))
		ok(t, st.LiftSetAside(ctx, owner, id, n.ID))
		if got := job(t, st, id).SetAsides; len(got) != 0 {
			t.Errorf("got %+v", got)
		}
		if fresh, err := st.SetTestAside(ctx, owner, twice); err != nil || !fresh {
			t.Errorf("got fresh %v, %v", fresh, err)
		}
		if err := st.LiftSetAside(ctx, owner, 1, n.ID); !errors.Is(err, store.ErrNotFound) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("the maker's figures serve the whole family", func(t *testing.T) {
		m := store.MakerData{Family: "Taiga 3.0", Bank: 1, Position: 1, TorqueNm: new(45.0), OhmLow: new(5.0), OhmHigh: new(8.0), Source: "The maker's handbook."}
		ok(t, st.SaveMakerData(ctx, owner, m))
		m.TorqueNm = new(50.0)
		ok(t, st.SaveMakerData(ctx, owner, m))
		f := job(t, st, id)
		own := store.MakerData{VehicleID: &f.Vehicle.ID, KPaLow: new(290.0), KPaHigh: new(320.0), Source: "A label on the tank."}
		ok(t, st.SaveMakerData(ctx, owner, own))
		ok(t, st.SaveMakerData(ctx, owner, store.MakerData{Family: "Other", Bank: 1, Position: 1, Source: "x"}))
		got := get[[]store.MakerData](t)(st.MakerData(ctx, f.Vehicle.ID))
		if len(got) != 2 || *got[0].KPaHigh != 320 || *got[1].TorqueNm != 50 || *got[1].OhmHigh != 8 || len(job(t, st, id).MakerData) != 2 {
			t.Errorf("got %+v", got)
		}
	})
	t.Run("the torque a sensor was fitted with is kept", func(t *testing.T) {
		id := factory.JobAt(t, st, owner, factory.Approved)
		_, err := st.AddRepair(ctx, owner, store.NewRepair{JobID: id, Action: store.Mended, Cause: "pcv_fault", TorqueNm: new(44.5)})
		ok(t, err)
		if got := job(t, st, id).Repairs[0].TorqueNm; got == nil || *got != 44.5 {
			t.Errorf("got %v", got)
		}
	})
}
