package web

import (
	"net/url"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/web/browsertest"
)

// closed opens a job on a new car, ends it and returns job and car.
func (r *rig) closed() (job, car int64) {
	r.t.Helper()
	id := r.job("P0171")
	f, err := r.store.JobFile(r.t.Context(), id)
	if err != nil {
		r.t.Fatal(err)
	}
	r.entry(id, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	if err := r.store.CancelJob(r.t.Context(), r.people[store.Writer].ID, id, "The customer drove off."); err != nil {
		r.t.Fatal(err)
	}
	return id, f.Vehicle.ID
}

func TestKnownCarComesIn(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Writer)
	earlier, car := r.closed()
	known := url.Values{"vehicle": {itoa(car)}, "concern": {"The light is on again."}, "odometer_unit": {"mi"}}

	t.Run("goes straight to the one car whose plate was typed, however it was spaced", func(t *testing.T) {
		for _, q := range []string{"KLR 482", "klr482", "KLR-482"} {
			if a := b.get("/jobs/new?q=" + url.QueryEscape(q)); a.status != 303 || a.location != "/jobs/new?vehicle="+itoa(car) {
				t.Errorf("%q: status %d to %q", q, a.status, a.location)
			}
		}
		b.get("/jobs/new?q=KLR").want(t, 200, "2014 Halden Corrie") // could be another
	})
	t.Run("shows the earlier jobs and the sensors at once", func(t *testing.T) {
		b.get("/jobs/new?vehicle="+itoa(car)).want(t, 200, "Here before", "The light came on after the motorway.", "/jobs/"+itoa(earlier),
			"bank 1, position 1", "4 wires", "113\u202f000 mi")
	})
	t.Run("answers while one types", func(t *testing.T) {
		b.get("/jobs/new/cars?q=klr").want(t, 200, "2014 Halden Corrie").lacks(t, "<html")
		if a := b.get("/jobs/new/cars?q=%20").want(t, 200); strings.TrimSpace(a.body) != "" {
			t.Errorf("an empty search is answered by %q", a.body)
		}
	})
	t.Run("asks whether the unit is wrong", func(t *testing.T) {
		// 181 856 km are 113 000 mi: typed as miles they are too far, and miles typed as kilometres run backwards.
		b.post("/jobs", with(known, "intake", store.NewID(), "odometer", "181856")).want(t, 422, "nobody drives that far")
		b.post("/jobs", with(known, "intake", store.NewID(), "odometer", "113500", "odometer_unit", "km")).want(t, 422, "run backwards", "check the unit")
	})
	t.Run("asks about an odometer that runs backwards, keeps what was typed and takes a reason", func(t *testing.T) {
		form := with(known, "intake", store.NewID(), "odometer", "13,500")
		b.post("/jobs", form).want(t, 422, "113\u202f000 mi at the last visit", "run backwards", "13,500", "The light is on again.")
		form.Set("odometer_why", "The instruments were renewed.")
		a := b.post("/jobs", form).want(t, 303)
		b.get(a.location).want(t, 200, "13\u202f500 mi", "The instruments were renewed.")
	})
	t.Run("takes the layout of the nearest car of the shop and says where it is from", func(t *testing.T) {
		b.get("/jobs/new/nearest?make=halden&model=corrie&model_year=2015").want(t, 200, "2014 Halden Corrie", `"cylinders":6`)
		b.get("/jobs/new/nearest?make=halden&model=nothing").want(t, 200, "{}")
		form := with(intake(), "layout", "nearest", "plate", "QRS 11", "model_year", "2015")
		a := b.post("/jobs", form).want(t, 303)
		b.get(a.location).want(t, 200, "Bank 2, position 2", "taken from the 2014 Halden Corrie")
		b.post("/jobs", with(form, "intake", store.NewID(), "plate", "QRS 12", "make", "Unseen")).want(t, 422, "No car of this make and model", "Unseen")
	})
	t.Run("takes names of any script and numbers of any country as they are", func(t *testing.T) {
		for i, who := range [][2]string{{"محمد الأمين", "+20 2 1234 5678"}, {"מרים לוי", "03-555-0147"}, {"山田 花子", "(03) 1234-5678 内線 9"},
			{"Þórdís Ægisdóttir", "+354 555 0147 ext. 12"}, {"<b>Bob</b> & “Sons”", "0049/30/555-0147"}} {
			a := b.post("/jobs", with(intake(), "layout", r.layout("Two banks, up- and downstream"), "intake", store.NewID(),
				"name", who[0], "phone", who[1], "plate", "ÅB "+itoa(int64(700+i)))).want(t, 303)
			b.get(a.location).want(t, 200, who[0], who[1])
		}
	})
}

// TestKnownCarInteractions counts what a newcomer presses and fills to take in a car the
// shop knows; twelve is the most.
func TestKnownCarInteractions(t *testing.T) {
	r := newRig(t)
	r.closed()
	p := browsertest.Open(t, r.site.URL, browsertest.Desk)
	p.Go("/login")
	p.Fill("Log-in name", "wanda")
	p.Fill("Password", password)
	p.Send("Log in")
	n := 0
	press := func(s string) { n++; p.Send(s) }
	fill := func(l, v string) { n++; p.Fill(l, v) }
	press("New job")
	fill("Plate, VIN, name or telephone", "klr482")
	press("Look it up")
	p.Wants("2014 Halden Corrie", "Here before")
	p.Shot("intake-known")
	fill("What does the customer say?", "The light is on again after two days.")
	fill("Odometer", "113120")
	fill("Codes the customer was told", "p0171")
	press("Open the job")
	p.Wants("2014 Halden Corrie", "told by others")
	t.Logf("%d interactions", n)
	if n > 12 {
		t.Errorf("%d interactions to take in a known car, 12 at most", n)
	}

	p.Go("/jobs/new")
	p.Fill("Plate, VIN, name or telephone", "ines")
	p.UntilJS(`document.getElementById("cars-found").innerText.includes("Halden")`)
	p.Go("/jobs/new?fresh=1")
	p.Fill("Make", "halden")
	p.Fill("Model", "Corrie")
	p.Fill("Model year", "2016")
	p.Fill("Cylinders", "")
	p.UntilJS(`document.getElementById("nearest").innerText.includes("2014 Halden Corrie") && document.getElementById("f-cylinders").value === "6"`)
	p.Shot("intake-new")
	p.Press("History, as the driver tells it")
	p.Press("The exhaust rattles or knocks")
	p.Shot("intake-driver")
	if o, small := p.Overflow(), p.SmallTargets(48); o > 0 || len(small) > 0 {
		t.Errorf("%g px wider than the screen; smaller than 48 px: %s", o, strings.Join(small, "; "))
	}
}

func TestCorrectTheHead(t *testing.T) {
	r := newRig(t)
	_, car := r.closed() // with 113 000 mi
	b := r.as(store.Writer)
	known := url.Values{"vehicle": {itoa(car)}, "intake": {store.NewID()}, "concern": {"The light is on."}, "odometer": {"113,500"}, "odometer_unit": {"mi"}}
	path := b.post("/jobs", known).want(t, 303).location
	head := url.Values{"concern": {"The light is on, and it stalls at the lights."}, "odometer": {"113600"}, "odometer_unit": {"mi"}}
	t.Run("corrects concern and odometer and keeps what stood there", func(t *testing.T) {
		b.get(path).want(t, 200, "Correct concern or odometer", `value="113500"`)
		b.post(path+"/head", head).want(t, 303)
		b.get(path).want(t, 200, "It is corrected.", "it stalls at the lights", "113\u202f600 mi", "The concern read before: “The light is on.”", "The odometer read before: 113\u202f500 mi.")
	})
	t.Run("sets it against the visit before, not against the slip itself", func(t *testing.T) {
		b.post(path+"/head", with(head, "odometer", "113100")).want(t, 303)
		b.post(path+"/head", with(head, "odometer", "13100")).want(t, 422, "113\u202f000 mi at the last visit", "run backwards", `value="13100"`, "it stalls at the lights")
		b.post(path+"/head", with(head, "odometer", "13100", "odometer_why", "The instruments were renewed.")).want(t, 303)
		b.get(path).want(t, 200, "13\u202f100 mi", "The instruments were renewed.")
	})
	t.Run("takes a reading away, but not the concern, and keeps what was typed", func(t *testing.T) {
		b.post(path+"/head", with(head, "odometer", "")).want(t, 303)
		b.post(path+"/head", with(head, "concern", " ", "odometer", "113777")).want(t, 422, "Nothing is filled in", `value="113777"`)
	})
	t.Run("leaves technician and customer as they are", func(t *testing.T) {
		id := jobNumber(t, path)
		tech := r.people[store.Technician].ID
		if err := r.store.Assign(t.Context(), tech, id, tech); err != nil {
			t.Fatal(err)
		}
		b.post(path+"/head", head).want(t, 303)
		f, err := r.store.JobFile(t.Context(), id)
		if err != nil || f.Job.TechnicianID == nil || *f.Job.TechnicianID != tech || f.Customer.Name != "Ines Vale" {
			t.Errorf("%v, technician %v, customer %q", err, f.Job.TechnicianID, f.Customer.Name)
		}
	})
	t.Run("leaves a finished job alone", func(t *testing.T) {
		if err := r.store.CancelJob(t.Context(), r.people[store.Writer].ID, jobNumber(t, path), "The customer drove off."); err != nil {
			t.Fatal(err)
		}
		b.get(path).want(t, 200).lacks(t, "Correct concern or odometer")
		b.post(path+"/head", head).want(t, 409)
	})
}
