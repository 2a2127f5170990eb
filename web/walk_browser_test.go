package web

import (
	"strings"
	"testing"

	"crosscount/web/browsertest"
)

// TestPublishedCaseL1 carries one job from log-in to its comeback on a tablet, with
// the evidence of a published case: long-term trim +25 %, a lean code, no code of the
// oxygen sensor, lambda 1.00; published conclusion: the oxygen sensor is eliminated
// from suspicion. Source: "Lambda as a Diagnostic Tool", Austin Community College,
// course page.
func TestPublishedCaseL1(t *testing.T) {
	r := newRig(t)
	p := browsertest.Open(t, r.site.URL, browsertest.Tablet)

	fits := func(name string) {
		t.Helper()
		p.Shot(name)
		if small := p.SmallTargets(48); len(small) > 0 {
			t.Errorf("%s: smaller than 48 px: %s", name, strings.Join(small, "; "))
		}
		if o := p.Overflow(); o > 0 {
			t.Errorf("%s: %g px wider than the tablet", name, o)
		}
	}
	logIn := func(name string) {
		p.Go("/login")
		p.Fill("Log-in name", name)
		p.Fill("Password", password)
		p.Send("Log in")
	}

	p.Go("/")
	fits("login")
	logIn("wanda")
	fits("home-empty")

	// The counter takes the car in.
	p.Send("New job")
	p.Fill("Plate, VIN, name or telephone", "KLR 482")
	p.Send("Look it up")
	p.Wants("Not known here")
	p.Send("Take it in as new")
	p.Fill("Name", "Ines Vale")
	p.Fill("Telephone", "555-0147")
	p.Fill("Make", "Halden")
	p.Fill("Model", "Corrie")
	p.Fill("Model year", "2014")
	p.Fill("Cylinders", "4")
	p.Fill("Displacement", "2,0")
	p.Press("in line")
	p.Press("an airflow meter")
	p.Fill("Oxygen sensors", "One bank, up- and downstream")
	p.Fill("What does the customer say?", "The yellow engine light came on and the shop down the road wants to sell me a sensor.")
	p.Fill("Odometer", "112400")
	p.Fill("Codes the customer was told", "p0171")
	fits("new-job")
	p.Send("Open the job")
	p.Wants("2014 Halden Corrie", "KLR 482", "told by others")
	fits("job-opened")
	job := strings.Split(p.Path(), "#")[0]
	p.Send("Log out")

	// The bay reads it itself.
	logIn("tomas")
	p.Wants("Your move", "Read the codes of the 2014 Halden Corrie")
	fits("home-technician")
	p.Send("Read the codes of the 2014 Halden Corrie")

	write := func(kind string, fill func()) {
		t.Helper()
		p.Send(kind)
		fill()
		p.Send("Write it down")
	}
	write("Codes", func() { p.Fill("Codes", "P0171, p0045") })
	p.Wants("Not a sensor code.")
	write("Fuel trims", func() {
		p.Fill("Long", "+25")
		fits("trims-form")
	})
	p.Wants("Trims at idle: long-term trim +25 %")
	write("Lambda", func() {
		p.Fill("Lambda", "1.00")
	})
	fits("job-evidence")

	// The published conclusion: the sensor is cleared. The engine never asks for it.
	if v := p.Section("verdict"); strings.Contains(v, "A part is justified") {
		t.Fatalf("a part is justified although lambda clears the sensor:\n%s", v)
	}
	if m := p.Section("next"); !strings.Contains(m, "Steps") {
		t.Errorf("no next test with its steps:\n%s", m)
	}

	_ = job
}
