package web

import (
	"encoding/json"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/web/browsertest"
)

func at(job int64, more string) string { return "/jobs/" + itoa(job) + more }

// intake is a form that is taken as it stands.
func intake() url.Values {
	return url.Values{"intake": {store.NewID()}, "name": {"Ines Vale"}, "phone": {"555-0147"}, "plate": {"klr 482"}, "vin": {""},
		"make": {"Halden"}, "model": {"Corrie"}, "model_year": {"2014"}, "cylinders": {"6"}, "arrangement": {"v"}, "displacement_l": {"3,0"},
		"air_metering": {"maf"}, "layout": {"1"}, "concern": {"The light is on."}, "odometer": {"112,400"}, "odometer_unit": {"mi"}, "codes": {"p0171 P0174"}}
}

func with(form url.Values, pairs ...string) url.Values {
	out := url.Values{}
	for k, v := range form {
		out[k] = v
	}
	for i := 0; i < len(pairs); i += 2 {
		out.Set(pairs[i], pairs[i+1])
	}
	return out
}

func (r *rig) layout(name string) string {
	r.t.Helper()
	ls, err := r.store.Layouts(r.t.Context())
	if err != nil {
		r.t.Fatal(err)
	}
	for _, l := range ls {
		if l.Name == name {
			return itoa(l.ID)
		}
	}
	r.t.Fatalf("no layout %q", name)
	return ""
}

func TestIntake(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Writer)
	good := with(intake(), "layout", r.layout("Two banks, up- and downstream"))
	t.Run("refuses what cannot be and keeps everything typed", func(t *testing.T) {
		for _, x := range []struct{ field, value, say string }{
			{"name", "", "Nothing is filled in"},
			{"concern", " ", "Nothing is filled in"},
			{"cylinders", "40", "between 1 and 16"},
			{"cylinders", "six", "not a whole number"},
			{"displacement_l", "3 psi", "not a unit of this quantity"},
			{"displacement_l", "300", "cannot be right"},
			{"odometer", "-5", "cannot be right"},
			{"odometer", "112.4x", "not a whole number"},
			{"codes", "P0171, Q9999", "Q9999"},
			{"codes", "P017", "P017"},
			{"arrangement", "star", "not one of the choices"},
			{"layout", "999", "not one of the choices"},
			{"vin", "1G4AH59H45G11834O", "The letter O is never used"},
			{"vin", "IG4AH59H45G118341", "The letter I is never used"},
			{"vin", "1G4AH59H45G118331", "by the check it would be 1"}, // 49 CFR 565.15: sum 408, 408 mod 11 = 1
			{"plate", "", "Neither plate nor VIN"},
		} {
			a := b.post("/jobs", with(good, x.field, x.value)).want(t, 422, x.say, "Not taken yet")
			for _, kept := range []string{`value="Halden"`, `value="555-0147"`} {
				if x.field != "name" && !strings.Contains(a.body, kept) {
					t.Errorf("%s %q: the page lost %s", x.field, x.value, kept)
				}
			}
			if v := strings.TrimSpace(x.value); v != "" && x.field != "arrangement" && x.field != "layout" && !strings.Contains(a.body, v) {
				t.Errorf("%s: what was typed (%q) is gone", x.field, v)
			}
		}
		jobs, err := r.store.OpenJobs(t.Context())
		if err != nil || len(jobs) != 0 {
			t.Errorf("%d jobs were opened, %v", len(jobs), err)
		}
	})
	var path string
	t.Run("opens the job with the codes as told by others", func(t *testing.T) {
		a := b.post("/jobs", good)
		path = a.want(t, 303).location
		b.get(path).want(t, 200, "2014 Halden Corrie", "KLR 482", "Mixture too lean, bank 1", "Mixture too lean, bank 2", "told by others", "112\u202f400 mi")
	})
	t.Run("takes what the driver knows of as told by others, and keeps the ticks of a form that comes back", func(t *testing.T) {
		told := with(good, "intake", store.NewID(), "plate", "ASK 1", "remark_rattle", "yes", "remark_coolant_loss", "yes")
		ticks := []string{`name="remark_rattle" value="yes" checked`, `name="remark_coolant_loss" value="yes" checked`, `<details open>`}
		b.get("/jobs/new?fresh=1").want(t, 200, `name="remark_nothing"`).lacks(t, "<details open>")
		b.post("/jobs", with(told, "concern", "")).want(t, 422, ticks...)
		path := b.post("/jobs", with(told, "remark_nothing", "yes")).want(t, 303).location
		var got []string
		for _, e := range r.entriesOf(jobNumber(t, path)) {
			got = append(got, string(e.Source)+" "+string(e.Body.Kind)+" "+e.Body.Code+e.Body.Remark)
		}
		if want := []string{"told code P0171", "told code P0174", "told history coolant_loss", "told history rattle", "told history nothing"}; !slices.Equal(got, want) {
			t.Errorf("the log has %q, want %q", got, want)
		}
		b.get(path).want(t, 200, "The exhaust rattles or knocks", "told by others")
		path = b.post("/jobs", with(good, "intake", store.NewID(), "plate", "ASK 2", "codes", "", "remark_nothing", "yes")).want(t, 303).location
		b.get(path).want(t, 200, "Nothing else that bears on it", "told by others")
	})
	t.Run("takes how the car comes in, and keeps it in a form that comes back", func(t *testing.T) {
		warm := with(good, "intake", store.NewID(), "plate", "ASK 3", "stands", "warm_engine")
		b.post("/jobs", with(warm, "concern", "")).want(t, 422, `value="warm_engine" checked`)
		b.get(b.post("/jobs", warm).want(t, 303).location).want(t, 200, "Engine at working temperature")
		b.get(b.post("/jobs", with(warm, "intake", store.NewID(), "plate", "ASK 5", "stands", "cold_exhaust")).want(t, 303).location).want(t, 200, "Exhaust cold enough to touch")
		b.post("/jobs", with(warm, "intake", store.NewID(), "plate", "ASK 4", "stands", "hovering")).want(t, 422)
	})
	t.Run("takes the same form once when it is sent twice", func(t *testing.T) {
		a := b.post("/jobs", good)
		if a.want(t, 303).location != path {
			t.Errorf("a second job at %s", a.location)
		}
	})
	t.Run("does not write a known car down twice", func(t *testing.T) {
		a := b.post("/jobs", with(good, "intake", store.NewID())).want(t, 422, "A car with this plate is known here")
		if !strings.Contains(a.body, "/jobs/new?vehicle=") {
			t.Error("no link to the car that is known")
		}
		b.post("/jobs", with(good, "intake", store.NewID(), "plate_anew", "yes")).want(t, 303)
	})
	t.Run("takes a VIN that fails the check when the person says it stands so", func(t *testing.T) {
		vin := with(good, "intake", store.NewID(), "plate", "OTHER 1", "vin", "1G4AH59H45G118331")
		b.post("/jobs", vin).want(t, 422, "vin_as_is")
		b.post("/jobs", with(vin, "vin_as_is", "yes")).want(t, 303)
	})
	t.Run("takes the sample VIN of the regulation at once", func(t *testing.T) { // 49 CFR 565.15
		b.post("/jobs", with(good, "intake", store.NewID(), "plate", "OTHER 2", "vin", "1g4ah59h45g118341")).want(t, 303)
	})
	t.Run("finds cars and customers by what one has of them", func(t *testing.T) {
		for _, q := range []string{"klr", "KLR482", "118341", "vale", "555-0147"} {
			b.get("/jobs/new?q="+url.QueryEscape(q)).want(t, 200, "Ines Vale")
		}
		b.get("/jobs/new?q=zzz").want(t, 200, "Not known here")
	})
	t.Run("asks whether a car that left lately came back, and links it", func(t *testing.T) {
		early := r.closedJob()
		f, err := r.store.JobFile(t.Context(), early)
		if err != nil {
			t.Fatal(err)
		}
		v := itoa(f.Vehicle.ID)
		b.get("/jobs/new?vehicle="+v).want(t, 200, "Did it come back for that?", "job "+itoa(early))
		known := url.Values{"intake": {store.NewID()}, "vehicle": {v}, "concern": {"On again."}, "odometer": {"113900"}, "odometer_unit": {"mi"}}
		b.post("/jobs", known).want(t, 422, "Nothing is chosen", "On again.")
		a := b.post("/jobs", with(known, "comeback", "yes")).want(t, 303)
		b.get(a.location).want(t, 200, "Came back from", "why is not known yet")
		b.get(at(early, "")).want(t, 200, "Came back as")
	})
}

// closedJob carries a job through to its closing by the store alone.
func (r *rig) closedJob() int64 {
	r.t.Helper()
	ctx, st, tech := r.t.Context(), r.store, r.people[store.Technician].ID
	job := r.job()
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	r.override(job, "no_part")
	steps := []func() error{
		func() error { return st.Approve(ctx, tech, job, "by telephone") },
		func() error {
			_, err := st.AddRepair(ctx, tech, store.NewRepair{JobID: job, Action: store.Mended, Cause: "intake_leak_bank", Bank: 1})
			return err
		},
		func() error { return st.FinishRepair(ctx, tech, job) },
		func() error {
			return st.AddProof(ctx, tech, store.NewProof{Entry: store.NewEntry{ID: store.NewID(), JobID: job, Source: store.Observed,
				Body: diag.Entry{Kind: diag.KindResult, Test: "road_proof", Outcome: "passed"}}, Statement: "20 km, all ready"})
		},
		func() error {
			return st.CloseJob(ctx, tech, store.Closing{JobID: job, Outcome: store.OutcomeConfirmed, Causes: []diag.CauseRef{{Cause: "intake_leak_bank", Bank: 1}}})
		},
	}
	for i, step := range steps {
		if err := step(); err != nil {
			r.t.Fatalf("step %d: %v", i, err)
		}
	}
	return job
}

// override decides a job by a person's word.
func (r *rig) override(job int64, decision string, parts ...diag.Part) {
	r.t.Helper()
	d, err := r.server.desk(r.t.Context(), job)
	if err != nil {
		r.t.Fatal(err)
	}
	_, err = r.store.AcceptVerdict(r.t.Context(), r.people[store.Technician].ID, store.NewVerdict{JobID: job, Decision: d.decision, Case: d.kase,
		Fingerprint: d.fingerprint, Override: &store.NewOverride{Decision: decision, Parts: parts, Reason: "a test"}})
	if err != nil {
		r.t.Fatal(err)
	}
}

func (r *rig) standing(job int64) []store.Entry {
	r.t.Helper()
	f, err := r.store.JobFile(r.t.Context(), job)
	if err != nil {
		r.t.Fatal(err)
	}
	return f.Standing()
}

// second opens a job on another car.
func (r *rig) second() int64 {
	r.t.Helper()
	id, err := r.store.OpenJob(r.t.Context(), r.people[store.Writer].ID, store.Intake{ID: store.NewID(), Customer: store.Customer{Name: "Per Aune"},
		Vehicle: store.Vehicle{Plate: "ZZ 9", Make: "Halden", Model: "Two", Cylinders: 4, Arrangement: "inline", DisplacementL: 1.6, Fuel: "petrol", AirMetering: "map"},
		Sensors: four[:2], Concern: "Light.", OdometerUnit: "km"})
	if err != nil {
		r.t.Fatal(err)
	}
	return id
}

func TestEvidence(t *testing.T) {
	r := newRig(t)
	job := r.job()
	b := r.as(store.Technician)
	send := func(kind string, pairs ...string) answer {
		t.Helper()
		return b.post(at(job, "/evidence"), with(url.Values{"kind": {kind}, "id": {store.NewID()}}, pairs...))
	}
	t.Run("has a form for every kind of entry and every test with an outcome", func(t *testing.T) {
		for _, k := range diag.EntryKinds {
			if k != diag.KindResult {
				b.get(at(job, "?add="+string(k))).want(t, 200, `name="kind" value="`+string(k)+`"`)
			}
		}
		for _, x := range diag.Tests() {
			if x.Entry == diag.KindResult {
				b.get(at(job, "?add=result."+x.ID)).want(t, 200, x.Name)
			}
		}
		b.get(at(job, "?add=nonsense")).want(t, 200).lacks(t, `id="form"`)
	})
	t.Run("takes several codes at once and tells which are no sensor codes", func(t *testing.T) {
		send("code", "codes", "p0171, P 0131\nP0045/p0171", "status", "stored", "source", "observed").want(t, 303)
		b.get(at(job, "")).want(t, 200, "P0171, stored", "P0131, stored", "Not a sensor code.", "P0045, stored")
		if n := len(r.standing(job)); n != 3 {
			t.Errorf("%d entries, want 3 (a code named twice counts once)", n)
		}
	})
	t.Run("takes all codes of a status with the word that they are all, and an empty list", func(t *testing.T) {
		job := r.second()
		path := func(job int64) string { return at(job, "/evidence") }
		list := func(id string, pairs ...string) answer {
			return b.post(path(job), with(url.Values{"kind": {"code"}, "id": {id}, "source": {"observed"}, "all_codes": {"yes"}}, pairs...))
		}
		id := store.NewID()
		for range 2 { // sent twice, taken once
			list(id, "codes", "p0171, p0133", "status", "stored").want(t, 303)
		}
		list(store.NewID(), "codes", "", "status", "pending").want(t, 303)
		var got []string
		for _, e := range r.entriesOf(job) {
			if e.Source != store.Observed {
				t.Errorf("%+v is %s", e.Body, e.Source)
			}
			got = append(got, string(e.Body.Kind)+" "+e.Body.Code+" "+e.Body.Status)
		}
		if want := []string{"code P0171 stored", "code P0133 stored", "code_list  stored", "code_list  pending"}; !slices.Equal(got, want) {
			t.Errorf("the log has %q, want %q", got, want)
		}
		b.get(at(job, "")).want(t, 200, "All stored codes were read: no other", "All pending codes were read: no other", "no other code is stored", "not pending")
		b.get(at(job, "/bay")).want(t, 200, "All stored codes were read: no other")
		b.get(at(job, "/paper/order")).want(t, 200, "P0171, P0133, all stored codes were read: no other, all pending codes were read: no other")
		entries := r.entriesOf(job)
		mistaken := entries[2].ID
		b.post(path(job)+"/"+mistaken+"/withdraw", url.Values{"id": {store.NewID()}, "reason_" + mistaken: {"only one module was read"}}).want(t, 303)
		b.get(at(job, "")).want(t, 200, "only one module was read").lacks(t, "no other code is stored")
		list(store.NewID(), "codes", "p0171", "status", "pending").want(t, 303)
		b.get(at(job, "")).want(t, 200, "P0171, stored", "P0171, pending")
		b.get(at(job, "/paper/order")).want(t, 200).lacks(t, "P0171, P0133, P0171")
	})
	for _, x := range []struct {
		name  string
		kind  string
		pairs []string
		says  string
	}{
		{"trims of several states in one form", "trim", []string{"short_1_idle", "+8", "long_1_idle", "17,5", "long_2_cruise", "\u22123"}, "Trims at idle: short-term trim +8 %, long-term trim +17.5 %"},
		{"trims of the freeze frame", "trim", []string{"frame", "yes", "short_1_cruise", "8", "long_1_cruise", "14"}, "Trims at cruise in the freeze frame: short-term trim +8 %, long-term trim +14 %"},
		{"a signal in millivolts", "signal", []string{"where", "1-1", "state", "fast_idle", "min_v", "100 mV", "max_v", "0.85", "crossings_hz", "1.4"}, "lowest 0.1 V, highest 0.85 V, crossings 1.4 Hz"},
		{"a time to activity", "heater", []string{"where", "1-1", "warm_up_s", "85 s"}, "Heater: time to activity 85 s"},
		{"a forced mixture in seconds", "forced", []string{"where", "1-1", "mixture", "rich", "volts", "0.87", "ms", "0.08 s"}, "Forced rich: voltage reached 0.87 V, time taken 80 ms"},
		{"a heater", "heater", []string{"where", "2-2", "ohm", "6.1", "ohm_low", "5", "ohm_high", "8"}, "Heater: resistance 6.1 Ω"},
		{"a circuit", "circuit", []string{"where", "1-1", "result", "good"}, "Signal circuit good"},
		{"a connector", "connector", []string{"where", "1-1", "result", "greased"}, "Connector greased"},
		{"a tip's look", "tip", []string{"where", "1-1", "look", "white"}, "Tip white powder"},
		{"exhaust gas", "gas", []string{"state", "idle", "co_pct", "0.3", "co2_pct", "14.9", "o2_pct", "0.7", "hc_ppm", "90"}, "CO 0.3 %, CO₂ 14.9 %, O₂ 0.7 %, HC 90 ppm"},
		{"lambda", "lambda", []string{"state", "cruise", "value", "1.00"}, "Lambda 1 at cruise"},
		{"fuel pressure in psi", "fuel_pressure", []string{"kpa", "43.5 psi", "holds", "yes"}, "holds"},
		{"airflow in kilograms an hour", "airflow", []string{"rpm", "5000", "g_per_s", "342 kg/h", "intake_c", "86 °F", "wide_open", "yes"}, "Speed 5000 rpm, airflow 95 g/s, air temperature 30 °C, wide open"},
		{"a test's outcome on a bank", "result", []string{"test", "intake_smoke", "outcome", "bank", "where", "1"}, "vapour"},
		{"remarks from the customer", "history", []string{"remark_sealant", "yes", "remark_coolant_loss", "yes", "source", "told"}, "told by others"},
		{"a note", "note", []string{"note", "Ask for the invoice of the other shop."}, "Ask for the invoice"},
	} {
		t.Run("takes "+x.name, func(t *testing.T) {
			send(x.kind, x.pairs...).want(t, 303)
			page := b.get(at(job, "")).want(t, 200)
			if text := strings.ReplaceAll(plainText(page.body), "\u00a0", " "); !strings.Contains(text, x.says) {
				t.Errorf("the page lacks %q:\n%s", x.says, text)
			}
		})
	}
	for _, x := range []struct {
		name  string
		kind  string
		pairs []string
		say   string
		keep  string
	}{
		{"a voltage of 40 V", "signal", []string{"where", "1-1", "state", "idle", "max_v", "40"}, "40", `value="40"`},
		{"a wrong unit", "signal", []string{"where", "1-1", "state", "idle", "max_v", "0.8 kPa"}, "not a unit of this quantity", `value="0.8 kPa"`},
		{"a word for a number", "lambda", []string{"state", "idle", "value", "rich"}, "is not a number", `value="rich"`},
		{"a bank the car has not got", "tip", []string{"where", "3-1", "look", "white"}, "not one of the choices", `value="white" checked`},
		{"no place", "tip", []string{"look", "white"}, "Nothing is chosen", `value="white" checked`},
		{"a code that does not exist", "code", []string{"codes", "P0171 X1234", "status", "stored", "source", "observed"}, "X1234", "P0171 X1234"},
		{"no code at all", "code", []string{"codes", " ", "status", "stored", "source", "observed"}, "tick that the car holds none", ""},
		{"a whole list that others told", "code", []string{"codes", "P0171", "status", "stored", "source", "told", "all_codes", "yes"}, "Whether others read the whole list is not known here", `name="all_codes" value="yes" checked`},
		{"a whole list of permanent codes", "code", []string{"codes", "P0171", "status", "permanent", "source", "observed", "all_codes", "yes"}, "the codes are written down without it", `name="all_codes" value="yes" checked`},
		{"a whole list with a code that does not exist", "code", []string{"codes", "X1234", "status", "stored", "source", "observed", "all_codes", "yes"}, "X1234", `name="all_codes" value="yes" checked`},
		{"an empty reading", "gas", []string{"state", "idle"}, "", ""},
		{"an outcome of another test", "result", []string{"test", "intake_smoke", "outcome", "leaking"}, "not one of the choices", ""},
		{"a leak on a bank without the bank", "result", []string{"test", "intake_smoke", "outcome", "bank"}, "bank", `value="bank" checked`},
		{"a trim of 300 %", "trim", []string{"long_1_idle", "300", "long_1_cruise", "4"}, "300", `value="4"`},
		{"a trim of 300 % in the freeze frame", "trim", []string{"frame", "yes", "long_1_idle", "300"}, "300", `name="frame" value="yes" checked`},
		{"no trim at all", "trim", nil, "No trim is filled in", ""},
		{"no remark at all", "history", []string{"source", "told"}, "Nothing is ticked", ""},
		{"a wrong id", "lambda", []string{"state", "idle", "value", "1", "id", "not-a-uuid"}, "", `value="1"`},
	} {
		t.Run("refuses "+x.name+", says why and keeps what was typed", func(t *testing.T) {
			before := len(r.standing(job))
			a := send(x.kind, x.pairs...).want(t, 422, "Not taken yet", x.say, x.keep)
			if !strings.Contains(a.body, `id="form"`) {
				t.Error("the form is gone")
			}
			if n := len(r.standing(job)); n != before {
				t.Errorf("%d entries were added", n-before)
			}
		})
	}
	t.Run("takes a form once when it arrives twice", func(t *testing.T) {
		form := url.Values{"kind": {"code"}, "id": {store.NewID()}, "codes": {"P0420 P0430"}, "status": {"pending"}, "source": {"observed"}}
		before := len(r.standing(job))
		b.post(at(job, "/evidence"), form).want(t, 303)
		b.post(at(job, "/evidence"), form).want(t, 303)
		if n := len(r.standing(job)) - before; n != 2 {
			t.Errorf("%d entries were added, want 2", n)
		}
	})
	t.Run("withdraws with a reason and keeps the entry to be read", func(t *testing.T) {
		id := r.entry(job, diag.Entry{Kind: diag.KindLambda, State: "idle", Value: new(0.7)})
		b.post(at(job, "/evidence/"+id+"/withdraw"), url.Values{"id": {store.NewID()}}).want(t, 422, "Nothing is filled in")
		b.post(at(job, "/evidence/"+id+"/withdraw"), url.Values{"id": {store.NewID()}, "reason_" + id: {"probe was cold"}}).want(t, 303)
		b.get(at(job, "")).want(t, 200, "probe was cold", "at idle", "Withdrawn")
		b.post(at(job, "/evidence/"+id+"/withdraw"), url.Values{"id": {store.NewID()}, "reason_" + id: {"again"}}).want(t, 422)
	})
	t.Run("does not touch another job's entry", func(t *testing.T) {
		other := r.entry(r.second(), diag.Entry{Kind: diag.KindLambda, State: "idle", Value: new(0.9)})
		b.post(at(job, "/evidence/"+other+"/withdraw"), url.Values{"reason_" + other: {"x"}}).want(t, 404)
	})
	t.Run("escapes what people typed", func(t *testing.T) {
		send("note", "note", `<script>alert("x")</script>`).want(t, 303)
		if strings.Contains(b.get(at(job, "")).body, `<script>alert`) {
			t.Error("a script came through")
		}
	})
	t.Run("sends the case as the engine reads it", func(t *testing.T) {
		a := b.get(at(job, "/case.json")).want(t, 200)
		c, err := diag.DecodeCase(strings.NewReader(a.body))
		if err != nil {
			t.Fatal(err)
		}
		d, err := r.server.desk(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		if diag.Fingerprint(c) != d.fingerprint {
			t.Error("the file is another case than the page's")
		}
		var file map[string]any
		if err := json.Unmarshal([]byte(a.body), &file); err != nil || file["case"] != 1.0 {
			t.Errorf("%v, version %v", err, file["case"])
		}
	})
}

func TestVerdict(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	t.Run("does not come from what others told alone", func(t *testing.T) {
		tech := r.as(store.Technician)
		tech.get(at(job, "")).want(t, 200, "nothing has been read on the car", "Read the codes").lacks(t, "Accept this verdict")
		d, err := r.server.desk(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		tech.post(at(job, "/verdict"), url.Values{"fingerprint": {d.fingerprint}}).want(t, 422, "what others told is no reading")
		tech.post(at(job, "/override"), url.Values{"fingerprint": {d.fingerprint}, "decision": {"no_part"}, "reason": {"looks fine"}}).want(t, 422, "what others told is no reading")
	})
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	tech := r.as(store.Technician)
	fingerprint := func() string {
		t.Helper()
		d, err := r.server.desk(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		return d.fingerprint
	}
	t.Run("is not accepted while it is open", func(t *testing.T) {
		tech.post(at(job, "/verdict"), url.Values{"fingerprint": {fingerprint()}}).want(t, 422, "The verdict is still open")
	})
	t.Run("is not accepted on evidence that has changed since", func(t *testing.T) {
		tech.post(at(job, "/verdict"), url.Values{"fingerprint": {"of yesterday"}}).want(t, 422, "has changed since you opened this page")
	})
	t.Run("is decided otherwise only with a reason, and a part only with a place", func(t *testing.T) {
		f := fingerprint()
		tech.post(at(job, "/override"), url.Values{"fingerprint": {f}, "decision": {"part"}, "reason": {"I know this car."}}).want(t, 422, "No place is ticked", "I know this car.")
		tech.post(at(job, "/override"), url.Values{"fingerprint": {f}, "decision": {"part"}, "part_1-1": {"yes"}}).want(t, 422, "Nothing is filled in", `name="part_1-1" value="yes" checked`)
		tech.post(at(job, "/override"), url.Values{"fingerprint": {f}, "decision": {"no_part"}, "part_1-1": {"yes"}, "reason": {"Same."}}).want(t, 422, "Untick it")
	})
	t.Run("remembers who decided otherwise and why", func(t *testing.T) {
		tech.post(at(job, "/override"), url.Values{"fingerprint": {fingerprint()}, "decision": {"part"}, "part_1-1": {"yes"}, "reason": {"Heater burnt out, seen with the meter."}}).want(t, 303)
		tech.get(at(job, "")).want(t, 200, "Decided by Tomas Tech", "Heater burnt out, seen with the meter.", "A part is justified")
		r.as(store.Owner).get("/lookback").want(t, 200, "Heater burnt out, seen with the meter.", "Tomas Tech decided a part")
	})
}

func TestHandOver(t *testing.T) {
	r := newRig(t)
	job := r.job()
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0135", Status: "stored"})
	r.override(job, "part", diag.Part{Bank: 1, Position: 1, Kind: diag.Zirconia})
	tech, writer := r.as(store.Technician), r.as(store.Writer)
	home := func(b *browser, want string) {
		t.Helper()
		b.get("/").want(t, 200, want)
	}
	t.Run("waits for the customer's yes", func(t *testing.T) {
		home(writer, "Say yes to this: fit a new sensor, bank 1, position 1")
		tech.post(at(job, "/fitted"), url.Values{"part": {"1-1"}}).want(t, 422)
		writer.post(at(job, "/approve"), url.Values{}).want(t, 422, "Nothing is filled in")
		writer.post(at(job, "/approve"), url.Values{"limit": {"300"}, "who": {"Ines Vale"}, "how": {"telephone"}}).want(t, 303)
		home(tech, "Fit a new sensor, bank 1, position 1")
	})
	t.Run("takes only a part that the verdict asks for", func(t *testing.T) {
		tech.post(at(job, "/fitted"), url.Values{"part": {"1-2"}, "part_number": {"ZK-1"}}).want(t, 422, "not one of the choices", `value="ZK-1"`)
	})
	t.Run("is not finished before anything is written down", func(t *testing.T) {
		if a := tech.post(at(job, "/finish"), nil); a.status != 422 {
			t.Errorf("status %d", a.status)
		}
	})
	t.Run("writes down what was fitted and keeps the sensor's life", func(t *testing.T) {
		tech.post(at(job, "/fitted"), url.Values{"part": {"1-1"}, "part_number": {"ZK-1101"}, "fit_words": {"45 Nm"}}).want(t, 303)
		tech.get(at(job, "")).want(t, 200, "New sensor at bank 1, position 1: zirconia, ZK-1101", "45 Nm")
		home(tech, "Finish the repair")
		f, err := r.store.JobFile(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		tech.get("/vehicles/"+itoa(f.Vehicle.ID)).want(t, 200, "ZK-1101", "still there")
		tech.post(at(job, "/fitted"), url.Values{"part": {"1-1"}}).want(t, 422, "asks for no part that is not fitted already")
	})
	t.Run("takes a repair back with a reason", func(t *testing.T) {
		f, err := r.store.JobFile(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		undo := at(job, "/repairs/"+itoa(f.Repairs[0].ID)+"/undo")
		tech.post(undo, url.Values{}).want(t, 422, "Nothing is filled in")
		tech.post(undo, url.Values{"undo_" + itoa(f.Repairs[0].ID): {"wrong box"}}).want(t, 303)
		tech.post(at(job, "/fitted"), url.Values{"part": {"1-1"}, "part_number": {"ZK-1102"}}).want(t, 303)
	})
	t.Run("is proved on the road, and a failed proof goes back to the bay", func(t *testing.T) {
		tech.post(at(job, "/finish"), nil).want(t, 303)
		home(tech, "Drive the proof")
		proof := func(outcome, statement string) answer {
			return tech.post(at(job, "/proof"), url.Values{"id": {store.NewID()}, "proof": {outcome}, "statement": {statement}})
		}
		proof("passed", "").want(t, 422, "Nothing is filled in")
		proof("perhaps", "x").want(t, 422, "not one of the choices")
		proof("failed", "code back after 5 km").want(t, 303)
		home(tech, "Look again: the proof failed")
		tech.post(at(job, "/finish"), nil).want(t, 303)
		proof("passed", "22 km, all ready").want(t, 303)
		home(writer, "Close the job and hand the car over")
	})
	t.Run("closes with a confirmed cause and no other way", func(t *testing.T) {
		writer.post(at(job, "/close"), url.Values{"ending": {"confirmed"}}).want(t, 422, "No cause is named")
		writer.post(at(job, "/close"), url.Values{"ending": {"confirmed"}, "other": {"heater_element_open/1/1"}, "close_words": {"Done."}}).want(t, 303)
		writer.get(at(job, "")).want(t, 200, "Closed", "the cause is confirmed")
	})
	t.Run("takes no more evidence once closed, and says how to go on", func(t *testing.T) {
		tech.post(at(job, "/evidence"), url.Values{"kind": {"lambda"}, "state": {"idle"}, "value": {"1"}, "id": {store.NewID()}}).want(t, 409, "is a new job")
	})
	t.Run("opens again for a slip, by the owner, with a reason", func(t *testing.T) {
		o := r.as(store.Owner)
		o.post(at(job, "/reopen"), url.Values{}).want(t, 422, "Nothing is filled in")
		o.post(at(job, "/reopen"), url.Values{"why": {"closed the wrong one"}}).want(t, 303)
		home(writer, "Close the job and hand the car over")
	})
}

func TestFailedProof(t *testing.T) {
	r := newRig(t)
	job := r.job()
	for _, e := range []diag.Entry{
		{Kind: diag.KindCode, Code: "P0171", Status: "stored"},
		{Kind: diag.KindTrim, Bank: 1, State: "idle", ShortPct: new(4.0), LongPct: new(18.0)},
		{Kind: diag.KindTrim, Bank: 1, State: "cruise", ShortPct: new(1.0), LongPct: new(5.0)},
		{Kind: diag.KindResult, Test: "pcv_pinch", Outcome: "unchanged"},
		{Kind: diag.KindResult, Test: "intake_smoke", Outcome: "common"},
		{Kind: diag.KindResult, Test: "coolant_temp_compare", Outcome: "agrees"},
	} {
		r.entry(job, e)
	}
	desk := func() *desk {
		t.Helper()
		d, err := r.server.desk(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	leak := diag.CauseRef{Cause: "intake_leak_common"}
	tech, writer := r.as(store.Technician), r.as(store.Writer)
	first := desk()
	if !slices.Contains(first.decision.Verdict.Mend, leak) {
		t.Fatalf("the verdict is %+v", first.decision.Verdict)
	}
	tech.post(at(job, "/verdict"), url.Values{"fingerprint": {first.fingerprint}}).want(t, 303)
	writer.post(at(job, "/approve"), url.Values{"limit": {"300"}, "who": {"Ines Vale"}, "how": {"telephone"}}).want(t, 303)
	tech.post(at(job, "/mended"), url.Values{"cause": {causeKey(leak)}, "mend_words": {"New hose."}}).want(t, 303)
	tech.post(at(job, "/finish"), nil).want(t, 303)

	t.Run("lets the engine alone while the proof is due", func(t *testing.T) {
		if d := desk(); d.fingerprint != first.fingerprint {
			t.Error("the case has changed before the proof")
		}
	})
	tech.post(at(job, "/proof"), url.Values{"id": {store.NewID()}, "proof": {"failed"}, "statement": {"lamp on after 10 km"}}).want(t, 303)
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "pending"})
	t.Run("tells the engine what was mended and what was found since", func(t *testing.T) {
		d := desk()
		count := map[int]int{}
		for _, e := range d.kase.Evidence {
			count[e.AfterRepair]++
		}
		// Before: six entries. After: the mending, the proof, the code that came back.
		if count[0] != 6 || count[1] != 3 || len(count) != 2 {
			t.Errorf("entries by repairs before them: %v", count)
		}
		if slices.Contains(d.decision.Verdict.Mend, leak) {
			t.Errorf("to be mended again: %+v", d.decision.Verdict)
		}
	})
	t.Run("says what to do next, and of what was found before that it does not count any more", func(t *testing.T) {
		tech.get(at(job, "")).want(t, 200, "Found before the repair, and what was mended can show like this")
		n := desk().decision.Next
		if n == nil {
			t.Fatal("no next test")
		}
		info, _ := diag.TestByID(n.Test)
		tech.get("/").want(t, 200, "Look again: the proof failed. Next: "+strings.ToLower(info.Name[:1])+info.Name[1:])
	})
	t.Run("shows it on both screens", func(t *testing.T) {
		for _, size := range []browsertest.Size{browsertest.Tablet, browsertest.Desk} {
			p := browsertest.Open(t, r.site.URL, size)
			p.Go("/login")
			p.Fill("Log-in name", "tomas")
			p.Fill("Password", password)
			p.Send("Log in")
			p.Wants("Look again: the proof failed. Next:")
			p.Shot("home")
			p.Go(at(job, ""))
			p.Wants("The proof drive failed.", "not weighed any more")
			p.Shot("job")
			if small := p.SmallTargets(48); len(small) > 0 {
				t.Errorf("smaller than 48 px: %s", strings.Join(small, "; "))
			}
			if o := p.Overflow(); o > 0 {
				t.Errorf("%g px wider than the screen", o)
			}
		}
	})
	t.Run("starts over from a second repair", func(t *testing.T) {
		tech.post(at(job, "/mended"), url.Values{"cause": {causeKey(diag.CauseRef{Cause: "fuel_delivery_low"})}, "mend_words": {"New filter."}}).want(t, 303)
		tech.post(at(job, "/finish"), nil).want(t, 303)
		tech.post(at(job, "/proof"), url.Values{"id": {store.NewID()}, "proof": {"failed"}, "statement": {"again"}}).want(t, 303)
		var rounds []int
		for _, e := range desk().kase.Evidence {
			if e.Kind == diag.KindRepair {
				rounds = append(rounds, e.AfterRepair)
			}
		}
		if !slices.Equal(rounds, []int{1, 2}) {
			t.Errorf("repairs %v", rounds)
		}
	})
}

func TestEndings(t *testing.T) {
	r := newRig(t)
	writer := r.as(store.Writer)
	t.Run("ends a job unfinished with a reason, and takes nothing more", func(t *testing.T) {
		job := r.job()
		writer.post(at(job, "/cancel"), url.Values{}).want(t, 422, "Nothing is filled in")
		writer.post(at(job, "/cancel"), url.Values{"why": {"the customer fetched the car"}}).want(t, 303)
		writer.get(at(job, "")).want(t, 200, "Ended unfinished", "the customer fetched the car")
		writer.post(at(job, "/close"), url.Values{"ending": {"nothing_wrong"}}).want(t, 409)
		writer.get("/").lacks(t, "job "+itoa(job))
	})
	t.Run("asks at the closing of a comeback why it came back", func(t *testing.T) {
		early := r.closedJob()
		f, err := r.store.JobFile(t.Context(), early)
		if err != nil {
			t.Fatal(err)
		}
		a := writer.post("/jobs", url.Values{"intake": {store.NewID()}, "vehicle": {itoa(f.Vehicle.ID)}, "concern": {"Again."}, "odometer": {"113004"},
			"odometer_unit": {"mi"}, "comeback": {"yes"}}).want(t, 303)
		id, _ := strconv.ParseInt(strings.TrimPrefix(a.location, "/jobs/"), 10, 64)
		r.entry(id, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
		r.override(id, "no_part")
		writer.post(at(id, "/close"), url.Values{"ending": {"nothing_wrong"}}).want(t, 422, "Nothing is chosen")
		writer.post(at(id, "/close"), url.Values{"ending": {"nothing_wrong"}, "comeback": {"unrelated"}}).want(t, 303)
		writer.get(at(early, "")).want(t, 200, "new trouble, not ours")
	})
	t.Run("lets a car leave without a proof only with a reason", func(t *testing.T) {
		job := r.second()
		r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
		r.override(job, "no_part")
		tech := r.as(store.Technician)
		writer.post(at(job, "/approve"), url.Values{"limit": {"300"}, "who": {"Ines Vale"}, "how": {"in_person"}}).want(t, 303)
		tech.post(at(job, "/mended"), url.Values{}).want(t, 422, "Nothing is chosen")
		tech.post(at(job, "/mended"), url.Values{"cause": {"intake_leak_common/0/0"}, "mend_words": {"new boot"}}).want(t, 303)
		tech.post(at(job, "/finish"), nil).want(t, 303)
		end := url.Values{"ending": {"confirmed"}, "cause_intake_leak_common/0/0": {"yes"}}
		writer.post(at(job, "/close"), end).want(t, 422, "The repair is not proved")
		writer.post(at(job, "/close"), with(end, "unproved", "left in a hurry")).want(t, 303)
		writer.get(at(job, "")).want(t, 200, "left in a hurry")
	})
}

func TestHome(t *testing.T) {
	r := newRig(t)
	a, b := r.job(), r.second()
	t.Run("asks first for the codes", func(t *testing.T) {
		r.as(store.Technician).get("/").want(t, 200, "Read the codes of the 2014 Halden Corrie", "Your move")
	})
	t.Run("shows one's own before others' and the rest by who must act", func(t *testing.T) {
		if err := r.store.Assign(t.Context(), r.people[store.Owner].ID, b, r.people[store.Technician].ID); err != nil {
			t.Fatal(err)
		}
		body := plainText(r.as(store.Technician).get("/").body)
		if i, j := strings.Index(body, "Halden Two"), strings.Index(body, "Halden Corrie"); i < 0 || j < 0 || i > j {
			t.Errorf("one's own job does not stand first:\n%s", body)
		}
	})
	t.Run("asks the engine once something was read", func(t *testing.T) {
		r.entry(a, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
		d, err := r.server.desk(t.Context(), a)
		if err != nil {
			t.Fatal(err)
		}
		next, ok := diag.TestByID(d.decision.Next.Test)
		if !ok {
			t.Fatalf("no test %q", d.decision.Next.Test)
		}
		r.as(store.Technician).get("/").want(t, 200, next.Name)
	})
	t.Run("says how long a job has waited", func(t *testing.T) {
		r.later(5 * time.Hour * 24)
		r.as(store.Owner).get("/").want(t, 200, "waiting for 5 days")
	})
}

func TestVehicle(t *testing.T) {
	r := newRig(t)
	job := r.job()
	f, err := r.store.JobFile(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	car := "/vehicles/" + itoa(f.Vehicle.ID)
	b := r.as(store.Technician)
	t.Run("corrects the sensors, which the engine then reckons with", func(t *testing.T) {
		form := url.Values{"s0_place": {"1-1"}, "s0_kind": {"wide_range"}, "s0_wires": {"5"}, "s1_place": {"2-1"}, "s1_kind": {"wide_range"}, "s1_wires": {"5"},
			"s2_place": {"c-2"}, "s2_kind": {"zirconia"}, "s2_wires": {"4"}}
		b.post(car+"/sensors", form).want(t, 303)
		b.get(at(job, "")).want(t, 200, "wide-range, 5 wires", "Common, position 2")
	})
	t.Run("keeps a reading at a sensor that is gone, and does not reckon with it", func(t *testing.T) {
		job := r.second()
		r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
		r.entry(job, diag.Entry{Kind: diag.KindTip, Bank: 1, Position: 2, Look: "white"})
		f, err := r.store.JobFile(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		b.post("/vehicles/"+itoa(f.Vehicle.ID)+"/sensors", url.Values{"s0_place": {"1-1"}, "s0_kind": {"zirconia"}, "s0_wires": {"4"}}).want(t, 303)
		b.get(at(job, "")).want(t, 200, "Not reckoned with.", "Tip white powder").lacks(t, "cannot weigh")
	})
	for _, x := range []struct {
		name string
		form url.Values
		say  string
	}{
		{"two sensors at one place", url.Values{"s0_place": {"1-1"}, "s0_kind": {"zirconia"}, "s0_wires": {"4"}, "s1_place": {"1-1"}, "s1_kind": {"zirconia"}, "s1_wires": {"4"}}, "already"},
		{"a wide-range sensor with two wires", url.Values{"s0_place": {"1-1"}, "s0_kind": {"wide_range"}, "s0_wires": {"2"}}, "2 wires"},
		{"a bank without a front sensor", url.Values{"s0_place": {"1-1"}, "s0_kind": {"zirconia"}, "s0_wires": {"4"}, "s1_place": {"2-2"}, "s1_kind": {"zirconia"}, "s1_wires": {"4"}}, "no sensor ahead of the converter"},
		{"a place without a kind", url.Values{"s0_place": {"1-1"}, "s0_wires": {"4"}}, "Nothing is chosen"},
		{"no sensor at all", url.Values{}, "no sensor"},
	} {
		t.Run("refuses "+x.name, func(t *testing.T) {
			b.post(car+"/sensors", x.form).want(t, 422, x.say)
		})
	}
	t.Run("corrects the car's data", func(t *testing.T) {
		form := url.Values{"plate": {"NEW 1"}, "make": {"Halden"}, "model": {"Corrie"}, "model_year": {"2015"}, "cylinders": {"6"}, "arrangement": {"v"},
			"displacement_l": {"2996 cc"}, "air_metering": {"maf"}, "family": {"Corrie six"}}
		b.post(car, form).want(t, 303)
		b.get(car).want(t, 200, "NEW 1", "2015 Halden Corrie", "2.996 l")
		b.post(car, with(form, "cylinders", "0")).want(t, 422, `value="NEW 1"`)
	})
}

func TestNumbers(t *testing.T) {
	for _, x := range []struct {
		typed string
		want  float64
		unit  string
	}{
		{"0.45", 0.45, ""}, {"0,45", 0.45, ""}, {"+25", 25, ""}, {"\u22123,5", -3.5, ""}, {"1,234.5", 1234.5, ""},
		{"1.234,5", 1234.5, ""}, {"12 400", 12400, ""}, {"870 mV", 870, "mV"}, {"80ms", 80, "ms"}, {"342 kg/h", 342, "kg/h"},
		{"6.1 Ω", 6.1, "Ω"}, {"86 °F", 86, "°F"}, {".5", 0.5, ""}, {"2996 cm³", 2996, "cm³"},
	} {
		n, unit, ok := number(x.typed)
		if !ok || n != x.want || unit != x.unit {
			t.Errorf("%q: %v %q %v, want %v %q", x.typed, n, unit, ok, x.want, x.unit)
		}
	}
	for _, typed := range []string{"", "rich", "1.2.3", "1,2,3.4.5", "--3", "NaN", "Inf", "½", "'"} {
		if n, _, ok := number(typed); ok {
			t.Errorf("%q is taken as %v", typed, n)
		}
	}
}

func FuzzNumber(f *testing.F) {
	for _, s := range []string{"0.45", "1.234,5 mV", "−3", "1e5", "'", ",,", "½"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		n, _, ok := number(s)
		if ok && (n != n || n > 1e300 || n < -1e300) {
			t.Fatalf("%q gives %v", s, n)
		}
	})
}

func TestSplitCodes(t *testing.T) {
	for typed, want := range map[string]string{
		"p0171, P0174":          "p0171 P0174",
		"P 0171 / p0174\nB1000": "P0171 p0174 B1000",
		" ;, ":                  "",
		"P0171":                 "P0171",
		"P":                     "P",
	} {
		if got := strings.Join(splitCodes(typed), " "); got != want {
			t.Errorf("%q: %q, want %q", typed, got, want)
		}
	}
}
