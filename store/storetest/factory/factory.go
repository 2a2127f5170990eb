// Package factory makes coherent records for tests: a shop with people, cars
// and jobs at any stage. Everything in it is invented.
package factory

import (
	"encoding/json"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"

	"crosscount/diag"
	"crosscount/diag/say"
	"crosscount/store"
)

var serial atomic.Int64

// Shop saves the shop's data and returns it.
func Shop(t testing.TB, st *store.Store, mods ...func(*store.Shop)) store.Shop {
	t.Helper()
	shop := store.Shop{
		Name: "Harbour Lane Garage", Address: "4 Harbour Lane", Phone: "+1 555 0100",
		LabourPerHourMinor: 12000, Currency: "USD", Locale: "en", Language: "en", DateOrder: "day", TimeZone: "UTC",
		DistanceUnit: "km", TemperatureUnit: "c", PressureUnit: "kpa", Paper: "a4", ComebackDays: 365,
	}
	for _, mod := range mods {
		mod(&shop)
	}
	check(t, st.SaveShop(t.Context(), 0, shop))
	return shop
}

// Person adds an active person of that role.
func Person(t testing.TB, st *store.Store, role store.Role, mods ...func(*store.NewPerson)) store.Person {
	t.Helper()
	n := serial.Add(1)
	p := store.NewPerson{Name: fmt.Sprintf("Robin %d", n), Login: fmt.Sprintf("robin%d", n), Role: role}
	for _, mod := range mods {
		mod(&p)
	}
	added, err := st.AddPerson(t.Context(), 0, p)
	check(t, err)
	return added
}

// FourSensors is a two-bank car's layout: both banks, up- and downstream.
func FourSensors() []store.Sensor {
	return []store.Sensor{
		{Bank: 1, Position: 1, Kind: diag.Zirconia, Wires: 4}, {Bank: 1, Position: 2, Kind: diag.Zirconia, Wires: 4},
		{Bank: 2, Position: 1, Kind: diag.Zirconia, Wires: 4}, {Bank: 2, Position: 2, Kind: diag.Zirconia, Wires: 4},
	}
}

// Intake is a new customer with a new car and a lean code told by others.
func Intake(mods ...func(*store.Intake)) store.Intake {
	n := serial.Add(1)
	in := store.Intake{
		ID:       store.NewID(),
		Customer: store.Customer{Name: fmt.Sprintf("Kim Alder %d", n), Phone: fmt.Sprintf("+1 555 %04d", n%10000)},
		Vehicle: store.Vehicle{Plate: fmt.Sprintf("HL %04d", n%10000), VIN: fmt.Sprintf("NVK%014d", n), Make: "Norvik", Model: "Taiga",
			ModelYear: 2014, Family: "Taiga 3.0", Cylinders: 6, Arrangement: "v", DisplacementL: 3, Fuel: "petrol", AirMetering: "maf"},
		Sensors: FourSensors(), Concern: "Light is on, uses more fuel", Odometer: new(182000), OdometerUnit: "km",
		Told: []diag.Entry{{Kind: diag.KindCode, Code: "P0171", Status: "stored"}},
	}
	for _, mod := range mods {
		mod(&in)
	}
	return in
}

// Job opens a job and returns its number.
func Job(t testing.TB, st *store.Store, by int64, mods ...func(*store.Intake)) int64 {
	t.Helper()
	id, err := st.OpenJob(t.Context(), by, Intake(mods...))
	check(t, err)
	return id
}

// Entry is an entry of ours for a job: a code read, unless a mod says otherwise.
func Entry(jobID int64, mods ...func(*store.NewEntry)) store.NewEntry {
	e := store.NewEntry{ID: store.NewID(), JobID: jobID, Source: store.Observed,
		Body: diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"}}
	for _, mod := range mods {
		mod(&e)
	}
	return e
}

// NoPart is a verdict that mends an air leak on bank 1.
func NoPart(jobID int64, mods ...func(*store.NewVerdict)) store.NewVerdict {
	leak := diag.CauseRef{Cause: "intake_leak_bank", Bank: 1}
	v := store.NewVerdict{JobID: jobID, Fingerprint: "f0", Case: diag.Case{Version: diag.CaseVersion},
		Decision: diag.Decision{
			Engine: "test",
			Causes: []diag.Cause{{CauseRef: leak, P: 0.9}, {CauseRef: diag.CauseRef{Cause: "sensor_aged", Bank: 1, Position: 1}, P: 0.1}},
			Verdict: diag.Verdict{Decision: diag.DecideNoPart, Mend: []diag.CauseRef{leak}, Parts: []diag.Part{}, First: []diag.CauseRef{},
				Firm: 0.93, Why: say.T("The smoke came out at the gasket.")},
			Costs: diag.CostView{Expected: 212.4, CodeTakenAtItsWord: 468, CauseKnown: 140},
		}}
	for _, mod := range mods {
		mod(&v)
	}
	return v
}

// Part is a verdict for the upstream sensor of bank 1, after the head gasket.
func Part(jobID int64, mods ...func(*store.NewVerdict)) store.NewVerdict {
	return NoPart(jobID, append([]func(*store.NewVerdict){func(v *store.NewVerdict) {
		gasket := diag.CauseRef{Cause: "head_gasket_leak"}
		v.Decision.Causes = []diag.Cause{{CauseRef: gasket, P: 0.95},
			{CauseRef: diag.CauseRef{Cause: "sensor_coolant", Bank: 1, Position: 1}, P: 0.92}}
		v.Decision.Verdict = diag.Verdict{Decision: diag.DecidePart, Mend: []diag.CauseRef{gasket}, First: []diag.CauseRef{gasket},
			Parts: []diag.Part{{Bank: 1, Position: 1, Kind: diag.Zirconia}}, Firm: 0.9, Why: say.T("Green crust on the tip.")}
	}}, mods...)...)
}

// Proof is a road proof with that outcome: passed or failed.
func Proof(jobID int64, outcome string) store.NewProof {
	return store.NewProof{Statement: "Readiness complete, trims near 0.", Entry: Entry(jobID, func(e *store.NewEntry) {
		e.Body = diag.Entry{Kind: diag.KindResult, Test: "road_proof", Outcome: outcome}
	})}
}

// File keeps a small recording with a job and returns it.
func File(t testing.TB, st *store.Store, by, jobID int64) store.File {
	t.Helper()
	f, err := st.AddFile(t.Context(), by, store.NewFile{ID: store.NewID(), JobID: jobID, Name: "bank1.csv", MediaType: "text/csv"},
		strings.NewReader(fmt.Sprintf("time,volts\n0,0.1\n%d,0.9\n", serial.Add(1))))
	check(t, err)
	return f
}

// Capture is a signal capture with one entry, of a file that it keeps.
func Capture(t testing.TB, st *store.Store, by, jobID int64) store.NewCapture {
	t.Helper()
	return store.NewCapture{ID: store.NewID(), JobID: jobID, FileID: File(t, st, by, jobID).ID, Kind: store.CaptureSignal,
		Mapping: json.RawMessage(`{"time": "s", "volts": "V"}`), Measurements: json.RawMessage(`{"crossings_hz": 1.4}`), Program: "measure 1",
		Picture: "<svg/>", Entries: []store.NewEntry{Entry(jobID, func(e *store.NewEntry) {
			e.Body = diag.Entry{Kind: diag.KindSignal, Bank: 1, Position: 1, State: "fast_idle", CrossingsHz: new(1.4)}
		})}}
}

// Photo is a small picture of a tip.
func Photo(jobID int64, mods ...func(*store.NewPhoto)) store.NewPhoto {
	data := fmt.Appendf(nil, "picture %d", serial.Add(1))
	p := store.NewPhoto{ID: store.NewID(), JobID: jobID, Subject: "tip", Bank: 1, Position: 1, MediaType: "image/png",
		Width: 1600, Height: 1200, Data: data, Thumb: data[:7]}
	for _, mod := range mods {
		mod(&p)
	}
	return p
}

// Invoice authorises, does and invoices one line of diagnosis without tax.
func Invoice(t testing.TB, st *store.Store, by, jobID, amountMinor int64) store.Document {
	t.Helper()
	ctx := t.Context()
	_, err := st.Authorise(ctx, by, store.NewAuthorisation{ID: store.NewID(), JobID: jobID, Scope: store.ScopeDiagnosis,
		LimitMinor: amountMinor, Who: "Kim Alder", How: "telephone"})
	check(t, err)
	id, err := st.SaveLine(ctx, by, store.Line{JobID: jobID, Scope: store.ScopeDiagnosis, Kind: "labour", Words: "Search for the cause",
		QuantityMilli: 1000, UnitMinor: amountMinor})
	check(t, err)
	check(t, st.SetLineStatus(ctx, by, jobID, id, store.LineDone))
	d, err := st.IssueInvoice(ctx, by, jobID, func(store.Document, []store.Line) (json.RawMessage, error) { return json.RawMessage(`{}`), nil })
	check(t, err)
	return d
}

// Stage is how far a job is.
type Stage int

// The stages, in order.
const (
	Opened Stage = iota
	Read         // codes read by us
	Diagnosed
	Approved
	Worked // something was mended
	Repaired
	Proved
	Closed
)

// JobAt opens a job and takes it to a stage, as an air leak without a part.
func JobAt(t testing.TB, st *store.Store, by int64, stage Stage, mods ...func(*store.Intake)) int64 {
	t.Helper()
	id := Job(t, st, by, mods...)
	ctx := t.Context()
	leak := diag.CauseRef{Cause: "intake_leak_bank", Bank: 1}
	steps := []func() error{
		Read:      func() error { _, _, err := st.AddEntry(ctx, by, Entry(id)); return err },
		Diagnosed: func() error { _, err := st.AcceptVerdict(ctx, by, NoPart(id)); return err },
		Approved:  func() error { return st.Approve(ctx, by, id, "by telephone") },
		Worked: func() error {
			_, err := st.AddRepair(ctx, by, store.NewRepair{JobID: id, Action: store.Mended, Cause: leak.Cause, Bank: leak.Bank})
			return err
		},
		Repaired: func() error { return st.FinishRepair(ctx, by, id) },
		Proved:   func() error { return st.AddProof(ctx, by, Proof(id, "passed")) },
		Closed: func() error {
			return st.CloseJob(ctx, by, store.Closing{JobID: id, Outcome: store.OutcomeConfirmed, Causes: []diag.CauseRef{leak}})
		},
	}
	for s := Read; s <= stage; s++ {
		check(t, steps[s]())
	}
	return id
}

func check(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatalf("factory: %v", err)
	}
}
