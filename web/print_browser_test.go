package web

import (
	"bytes"
	"encoding/xml"
	"image"
	"image/color"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/diag/diagtest"
	"crosscount/store"
	"crosscount/templates/paper"
	"crosscount/web/browsertest"
)

// printed is a PDF as poppler reads it: where every word stands, in points.
type printed struct {
	Pages []struct {
		Width  float64 `xml:"width,attr"`
		Height float64 `xml:"height,attr"`
		Words  []struct {
			Left   float64 `xml:"xMin,attr"`
			Top    float64 `xml:"yMin,attr"`
			Right  float64 `xml:"xMax,attr"`
			Bottom float64 `xml:"yMax,attr"`
			Text   string  `xml:",chardata"`
		} `xml:"word"`
	} `xml:"body>doc>page"`
}

// readPDF reads a PDF by a program that has nothing to do with what wrote it.
func readPDF(t *testing.T, name string, pdf []byte) (out printed) {
	t.Helper()
	program, err := exec.LookPath("pdftotext")
	if err != nil {
		diagtest.Missing(t, "pdftotext (poppler-utils) is not installed, so the papers were not read")
	}
	dir := t.TempDir()
	if shots := os.Getenv("CROSSCOUNT_SHOTS"); shots != "" {
		dir = shots
	}
	file := filepath.Join(dir, name+".pdf")
	if err := os.WriteFile(file, pdf, 0o644); err != nil {
		t.Fatal(err)
	}
	b, err := exec.Command(program, "-bbox", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	dec := xml.NewDecoder(strings.NewReader(strings.ToValidUTF8(string(b), "?")))
	dec.Strict = false
	dec.Entity = xml.HTMLEntity
	if err := dec.Decode(&out); err != nil {
		t.Fatal(err)
	}
	return out
}

// text is all that stands on the paper, without white space: lines break anywhere.
func (p printed) text() string {
	var b strings.Builder
	for _, page := range p.Pages {
		for _, w := range page.Words {
			b.WriteString(w.Text)
		}
	}
	return squeezed(b.String())
}

// squeezed leaves white space and joined letters away, which writers of PDFs choose.
func squeezed(s string) string {
	return strings.Join(strings.Fields(strings.NewReplacer("ﬁ", "fi", "ﬂ", "fl", "ﬀ", "ff", "ﬃ", "ffi", "\u00ad", "", "\u00a0", " ", "\u202f", " ", "\u2009", " ").Replace(s)), "")
}

// good fails unless the paper has the size and at most so many pages, every word lies
// within the margins, and each text stands on it.
func (p printed) good(t *testing.T, size [2]float64, most int, texts ...string) {
	t.Helper()
	if n := len(p.Pages); n == 0 || n > most {
		t.Errorf("%d pages, at most %d are wanted", n, most)
	}
	const margin = 25.0 // points; papers keep more
	for i, page := range p.Pages {
		if math.Abs(page.Width-size[0]) > 1.5 || math.Abs(page.Height-size[1]) > 1.5 {
			t.Errorf("page %d is %g × %g points, want %g × %g", i+1, page.Width, page.Height, size[0], size[1])
		}
		if len(page.Words) < 10 {
			t.Errorf("page %d holds %d words", i+1, len(page.Words))
		}
		for _, w := range page.Words {
			if w.Left < margin || w.Top < margin || w.Right > page.Width-margin || w.Bottom > page.Height-margin {
				t.Errorf("page %d: %q lies in the margin, %g to %g, %g to %g", i+1, w.Text, w.Left, w.Right, w.Top, w.Bottom)
			}
		}
	}
	all := p.text()
	for _, s := range texts {
		if !strings.Contains(all, squeezed(s)) {
			t.Errorf("the paper lacks %q:\n%s", s, all)
		}
	}
}

// fouled is an invented photo of a tip: a crust on steel.
func fouled(w, h int, green uint8) image.Image {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			in := math.Hypot(float64(x-w/2)/float64(w), float64(y-h/2)/float64(h)) < 0.3+0.03*math.Sin(float64(x)/7)
			c := color.RGBA{110, 112, 116, 255}
			if in {
				c = color.RGBA{150, green, 120, 255}
			}
			img.Set(x, y, c)
		}
	}
	return img
}

// finished carries a job with a part, photos, a recording and much text to its end, and
// returns it with its estimate and invoice.
func (r *rig) finished(t *testing.T) (job int64, papers map[string]string) {
	t.Helper()
	if _, err := r.store.SaveTaxRate(t.Context(), r.people[store.Owner].ID, store.TaxRate{Name: "Sales tax", PPM: 72500, Active: true}); err != nil {
		t.Fatal(err)
	}
	tech, b := r.as(store.Technician), r.as(store.Writer)
	job = r.job("P0133")
	f, err := r.store.JobFile(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	f.Customer.Address = "14 Harbour Steps\nSecond floor, left\nQuayside"
	if err := r.store.UpdateCustomer(t.Context(), r.people[store.Writer].ID, f.Customer); err != nil {
		t.Fatal(err)
	}
	concern := "The engine light came on after the motorway, went out for two days and is on again. I top up coolant every other week, it smells sweet when I park, and it drinks more fuel than it did last summer. The parts counter read the code and wants to sell me a sensor. My brother says it is the pump, but he said that about his own car too, and it was not the pump at all, it was something quite different that cost him a great deal of money."
	if err := r.store.UpdateJob(t.Context(), r.people[store.Writer].ID, store.JobEdit{ID: job, CustomerID: f.Customer.ID, Concern: concern, Odometer: new(113000), OdometerUnit: "mi"}); err != nil {
		t.Fatal(err)
	}
	for _, e := range []diag.Entry{
		{Kind: diag.KindCode, Code: "P0133", Status: "stored"}, {Kind: diag.KindCode, Code: "P0171", Status: "pending"},
		{Kind: diag.KindCode, Code: "P0301", Status: "stored"}, {Kind: diag.KindCode, Code: "P0300", Status: "stored"}, {Kind: diag.KindCode, Code: "P0420", Status: "pending"},
		{Kind: diag.KindHistory, Remark: "coolant_loss"},
		{Kind: diag.KindTrim, Bank: 1, State: "idle", ShortPct: new(3.0), LongPct: new(5.0)},
		{Kind: diag.KindSignal, Bank: 1, Position: 1, State: "fast_idle", MinV: new(0.22), MaxV: new(0.66), CrossingsHz: new(0.3), LeanRichMs: new(280.0), RichLeanMs: new(260.0)},
		{Kind: diag.KindForced, Bank: 1, Position: 1, Mixture: "lean", Volts: new(0.24), Ms: new(650.0)},
		{Kind: diag.KindForced, Bank: 1, Position: 2, Mixture: "lean", Volts: new(0.08), Ms: new(70.0)},
		{Kind: diag.KindConnector, Bank: 1, Position: 1, Result: "good"},
		{Kind: diag.KindTip, Bank: 1, Position: 1, Look: "green"},
		{Kind: diag.KindHeater, Bank: 1, Position: 1, Ohm: new(6.0), OhmLow: new(5.0), OhmHigh: new(8.0)},
		{Kind: diag.KindCircuit, Bank: 1, Position: 1, Result: "good"},
		{Kind: diag.KindResult, Test: "intake_smoke", Outcome: "none"}, {Kind: diag.KindResult, Test: "exhaust_leak_test", Outcome: "none"},
		{Kind: diag.KindResult, Test: "combustion_gas_test", Outcome: "found"},
	} {
		r.entry(job, e)
	}
	sent := tech.sendFile(job, "", "warm idle.csv", strings.NewReader(swing(20))).want(t, 303)
	file := strings.Split(sent.location, "?")[0]
	q := url.Values{"as": {"recording"}, "t": {"0"}}
	page := tech.get(sent.location + "&" + q.Encode())
	tech.post(file+"/keep", page.fields(t, file+"/keep")).want(t, 303)
	for i, words := range []string{"The tip as it came out: a greenish crust.", "The plug, dry and clean.", "The gasket, burnt through between two cylinders."} {
		tech.photo(job, store.NewID(), strings.NewReader(string(asJPEG(t, fouled(900, 600+200*i, uint8(170+20*i))))), false).want(t, 303)
		ps := must(t)(r.store.Photos(t.Context(), job))
		if len(ps) != i+1 {
			t.Fatal(len(ps), words)
		}
	}
	d, err := r.server.desk(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	if d.decision.Verdict.Decision != diag.DecidePart {
		t.Fatalf("the engine says %s: %s", d.decision.Verdict.Decision, d.decision.Verdict.Why)
	}
	tech.post(at(job, "/verdict"), url.Values{"fingerprint": {d.fingerprint}}).want(t, 303)

	papers = map[string]string{}
	b.post(at(job, "/yes"), yes("diagnosis", "400")).want(t, 303)
	b.post(at(job, "/yes"), yes("repair", "2500")).want(t, 303)
	a, err := r.server.accountWith(httpGet(t), d)
	if err != nil {
		t.Fatal(err)
	}
	for range 6 {
		i := slices.IndexFunc(a.suggested(), func(s suggestion) bool { return s.href == "" })
		if i < 0 {
			break
		}
		b.post(at(job, "/lines"), url.Values{"suggested": {a.suggested()[i].key}}).want(t, 303)
		if d, err = r.server.desk(t.Context(), job); err != nil {
			t.Fatal(err)
		}
		if a, err = r.server.accountWith(httpGet(t), d); err != nil {
			t.Fatal(err)
		}
	}
	part := url.Values{"kind": {"part"}, "place": {"1-1"}, "sensor_kind": {"zirconia"}, "wires": {"4"}, "connector": {"grey, four pins"}, "part_number": {"HX-41 A"},
		"words": {"Oxygen sensor, bank 1, position 1"}, "quantity": {"1"}, "price": {"89.90"}, "core": {"12"}, "tax": {"72500"}, "scope": {"repair"}}
	b.post(at(job, "/lines"), part).want(t, 303)
	b.post(at(job, "/lines"), line("labour", "Flush the cabin heater", "60")).want(t, 303)
	ls := r.money(job).Lines
	b.post(at(job, "/lines/"+itoa(ls[len(ls)-1].ID)), url.Values{"act": {"declined"}, "consequence": {"Old coolant stays in the heater."}}).want(t, 303)
	papers["estimate"] = b.post(at(job, "/documents"), url.Values{"kind": {"estimate"}}).want(t, 303).location

	for _, c := range d.toMend() {
		tech.post(at(job, "/mended"), url.Values{"cause": {causeKey(c)}, "mend_words": {"Head gasket renewed, head skimmed by 0.1 mm, coolant flushed twice."}}).want(t, 303)
	}
	tech.post(at(job, "/fitted"), url.Values{"part": {"1-1"}, "part_number": {"HX-41 A"}, "fit_words": {"Torqued, cable clipped clear."}}).want(t, 303)
	tech.post(at(job, "/finish"), nil).want(t, 303)
	tech.post(at(job, "/proof"), url.Values{"id": {store.NewID()}, "proof": {"passed"}, "statement": {"31 km, all monitors ready, 1.4 crossings a second, no code stored or pending."}}).want(t, 303)
	for _, l := range r.money(job).Lines {
		if l.Status == store.LineOffered {
			b.post(at(job, "/lines/"+itoa(l.ID)), url.Values{"act": {"done"}}).want(t, 303)
		}
	}
	papers["invoice"] = b.post(at(job, "/documents"), url.Values{"kind": {"invoice"}}).want(t, 303).location
	b.post(at(job, "/converters"), url.Values{"bank": {"1"}, "need": {"Coolant has glazed the converter; it stores no oxygen any more."}, "part_number": {"QC-77"},
		"tag": {"CC-1001-1"}, "customer_name": {"Ines Vale"}, "removed_on": {"2026-02-10"}}).want(t, 303)
	cs, err := r.store.ConverterPapers(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	papers["converter"] = at(job, "/paper/converter-"+itoa(cs[0].ID))
	for _, p := range []string{"order", "explanation", "handover"} {
		papers[p] = at(job, "/paper/"+p)
	}
	return job, papers
}

// TestPrint prints every paper of a finished job from the browser, and as the file that
// the server makes, on both sizes of paper, and reads them back.
func TestPrint(t *testing.T) {
	browsertest.Need(t)
	r := newRig(t)
	job, papers := r.finished(t)
	wants := map[string][]string{
		"order":       {"Work order", "KLR 482", "I top up coolant every other week", "P0133", "Carbon monoxide", "Renew the head gasket", "Fit the sensor", "Technician"},
		"estimate":    {"Estimate", "Total, if all is done", "HX-41 A", "Declined, and what that means", "Old coolant stays in the heater.", "For anything beyond, I am asked first.", "Signature", "half a coin away from zero"},
		"invoice":     {"Invoice", "Amount due", "HX-41 A", "Tax 7.25 %", "Looking for it was agreed to by Ines Vale", "A deposit of USD 12.00"},
		"handover":    {"Hand-over sheet", "A new sensor was needed", "head skimmed by 0.1 mm", "The proof drive passed", "Before and after", "within 90 days", "Received, date"},
		"explanation": {"What we found", "One exhaust sensor had to be renewed", "What the sensor reported", "as found", "ease off and stop"},
		"converter":   {"Converter record", "Statement of need", "QC-77", "25 Feb 2026", "10 Aug 2026", "51 FR 28114"},
	}
	p := browsertest.Open(t, r.site.URL, browsertest.Desk)
	logInAt(p, "wanda")
	b := r.as(store.Writer)
	for size, points := range map[string][2]float64{"a4": {595.3, 841.9}, "letter": {612, 792}} {
		shop, err := r.store.Shop(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		shop.Paper, shop.Address, shop.Phone = size, "3 Slipway Lane\nQuayside", "555-0100"
		if err := r.store.SaveShop(t.Context(), 0, shop); err != nil {
			t.Fatal(err)
		}
		for name, path := range papers {
			points := points
			if strings.HasPrefix(path, "/documents/") {
				points = [2]float64{612, 792} // kept as it was made
			}
			t.Run("prints the "+name+" on "+size, func(t *testing.T) {
				p.Go(path)
				p.UntilJS(`[...document.images].every((i) => i.complete && i.naturalWidth > 0)`)
				pdf := readPDF(t, "print-"+name+"-"+size, p.PDF())
				pdf.good(t, points, 1, wants[name]...)
				if s := pdf.text(); strings.Contains(s, "LogOut") || strings.Contains(s, "Whosemove") {
					t.Error("the site's own head is printed")
				}
			})
			t.Run("sends the "+name+" as a file on "+size, func(t *testing.T) {
				file := b.get(path+"/pdf").want(t, 200).body
				readPDF(t, "file-"+name+"-"+size, []byte(file)).good(t, points, 1, wants[name]...)
			})
		}
	}
	t.Run("draws the recording in the file with lines", func(t *testing.T) {
		d, err := r.server.desk(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		s, err := r.server.explanation(t.Context(), d, "", false)
		if err != nil {
			t.Fatal(err)
		}
		with := readPDF(t, "with", pdfOf(t, s)).text()
		for i := range s.Blocks {
			s.Blocks[i].Figures = nil
		}
		without := readPDF(t, "without", pdfOf(t, s)).text()
		for _, label := range []string{"0.45V", "timein"} {
			if !strings.Contains(with, label) || strings.Contains(without, label) {
				t.Errorf("the picture's %q: with it %v, without %v", label, strings.Contains(with, label), strings.Contains(without, label))
			}
		}
	})
}

func pdfOf(t *testing.T, s paper.Sheet) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := paper.PDF(&b, s); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func httpGet(t *testing.T) *http.Request {
	t.Helper()
	return httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/", nil)
}
