package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/diag/diagtest"
	"crosscount/diag/signal"
	"crosscount/store"
	"crosscount/templates/lang"
)

// swing is a made-up recording of two sensors at 100 samples a second: the front one
// swings once a second, the rear one rests. Exact by construction: 0.1 to 0.8 V, one
// cycle a second, ramps of 3.5 V/s, so 300 to 600 mV take 600/7 ms.
func swing(seconds int) string {
	var b strings.Builder
	b.WriteString("Time (s),O2 B1S1 (V),O2 B1S2 (V)\n")
	for i := range seconds * 100 {
		x := math.Mod(float64(i)/100, 1)
		v := 0.1
		switch {
		case x < 0.2:
			v = 0.1 + 3.5*x
		case x < 0.5:
			v = 0.8
		case x < 0.7:
			v = 0.8 - 3.5*(x-0.5)
		}
		fmt.Fprintf(&b, "%.2f,%.4f,%.4f\n", float64(i)/100, v, 0.68+0.01*math.Sin(float64(i)/300))
	}
	return b.String()
}

// sendFile uploads as a browser does.
func (b *browser) sendFile(job int64, as, name string, content io.Reader) answer {
	b.rig.t.Helper()
	r, w := io.Pipe()
	m := multipart.NewWriter(w)
	go func() {
		err := m.WriteField("as", as)
		if err == nil {
			err = m.WriteField("text", "")
		}
		if err == nil {
			var part io.Writer
			if part, err = m.CreateFormFile("file", name); err == nil {
				_, err = io.Copy(part, content)
			}
		}
		if err == nil {
			err = m.Close()
		}
		w.CloseWithError(err)
	}()
	return b.do(http.MethodPost, at(job, "/files"), r, func(r *http.Request) { r.Header.Set("Content-Type", m.FormDataContentType()) })
}

func (b *browser) paste(job int64, as, text string) answer {
	b.rig.t.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	for _, f := range [][2]string{{"id", store.NewID()}, {"as", as}, {"text", text}} {
		if err := m.WriteField(f[0], f[1]); err != nil {
			b.rig.t.Fatal(err)
		}
	}
	part, err := m.CreateFormFile("file", "")
	if err == nil {
		_, err = part.Write(nil)
	}
	if err = cmpOr(err, m.Close()); err != nil {
		b.rig.t.Fatal(err)
	}
	return b.do(http.MethodPost, at(job, "/files"), &body, func(r *http.Request) { r.Header.Set("Content-Type", m.FormDataContentType()) })
}

func cmpOr(errs ...error) error {
	for _, e := range errs {
		if e != nil {
			return e
		}
	}
	return nil
}

// fields reads the form of a page that posts to an address, as a browser would send
// it untouched.
func (a answer) fields(t testing.TB, action string) url.Values {
	t.Helper()
	i := strings.Index(a.body, `action="`+action+`"`)
	if i < 0 {
		t.Fatalf("no form to %s:\n%s", action, plainText(a.body))
	}
	form, _, _ := strings.Cut(a.body[i:], "</form>")
	out := url.Values{}
	for _, m := range regexp.MustCompile(`<input([^>]*)>`).FindAllStringSubmatch(form, -1) {
		attr := func(name string) string {
			x := regexp.MustCompile(`\b` + name + `="([^"]*)"`).FindStringSubmatch(m[1])
			if x == nil {
				return ""
			}
			return strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&amp;", "&", "&lt;", "<", "&gt;", ">").Replace(x[1])
		}
		if kind := attr("type"); (kind == "radio" || kind == "checkbox") && !strings.Contains(m[1], " checked") {
			continue
		}
		out.Add(attr("name"), attr("value"))
	}
	for _, m := range regexp.MustCompile(`(?s)<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>`).FindAllStringSubmatch(form, -1) {
		if x := regexp.MustCompile(`<option value="([^"]*)" selected`).FindStringSubmatch(m[2]); x != nil {
			out.Set(m[1], x[1])
		} else if x := regexp.MustCompile(`<option value="([^"]*)"`).FindStringSubmatch(m[2]); x != nil {
			out.Set(m[1], x[1])
		}
	}
	return out
}

func (a answer) svg(t *testing.T) string {
	t.Helper()
	i := strings.Index(a.body, `class="picture" data-picture`)
	if i < 0 {
		t.Fatalf("no picture:\n%s", plainText(a.body))
	}
	svg, _, _ := strings.Cut(a.body[i-len("<svg "):], "</svg>")
	return svg + "</svg>"
}

func (r *rig) entriesOf(job int64) []store.Entry {
	r.t.Helper()
	f, err := r.store.JobFile(r.t.Context(), job)
	if err != nil {
		r.t.Fatal(err)
	}
	return f.Entries
}

func TestARecordingBecomesEvidence(t *testing.T) {
	r := newRig(t)
	job := r.job("P0420")
	b := r.as(store.Technician)
	content := swing(30)

	b.get(at(job, "?add=recording")).want(t, 200, "A recording, or what the car answered", "multipart/form-data")
	sent := b.sendFile(job, "", `C:\logs\warm idle.csv`, strings.NewReader(content)).want(t, 303)
	page := b.get(sent.location).want(t, 200, "warm idle.csv", "Ahead of and behind the converter", "How it is read", "3\u202f000")
	sound(t, "reading", page.body)
	if n := len(page.svg(t)); n > 60<<10 {
		t.Errorf("the picture takes %d bytes", n)
	}
	if got := r.entriesOf(job); len(got) != 1 {
		t.Fatalf("%d entries before anything was written down", len(got))
	}

	t.Run("keeps the original unchanged", func(t *testing.T) {
		sum := sha256.Sum256([]byte(content))
		page.want(t, 200, hex.EncodeToString(sum[:]))
		file := strings.Split(sent.location, "?")[0]
		got := b.get(file + "/original")
		if got.body != content || got.header.Get("Content-Disposition") != `attachment; filename="warm idle.csv"` {
			t.Errorf("%d of %d bytes, %q", len(got.body), len(content), got.header.Get("Content-Disposition"))
		}
	})
	t.Run("keeps the same content once", func(t *testing.T) {
		again := b.sendFile(job, "", "copy.csv", strings.NewReader(content)).want(t, 303)
		if again.location != sent.location {
			t.Errorf("went to %s", again.location)
		}
	})
	t.Run("measures again as the person says", func(t *testing.T) {
		file := strings.Split(sent.location, "?")[0]
		q := page.fields(t, file)
		q.Set("q3", "")
		q.Set("for", "signal")
		q.Set("p2", "2-1")
		q.Set("state", "fast_idle")
		other := b.get(file+"?"+q.Encode()).want(t, 200, "Bank 2, position 1. Signal at 2500 rpm")
		other.lacks(t, "Bank 1, position 2. Signal")
		q.Set("u2", "mV")
		b.get(file+"?"+q.Encode()).want(t, 200, "highest 0.001")
		q.Set("u2", "kPa")
		b.get(file+"?"+q.Encode()).want(t, 422, "“kPa” does not fit", "Sensor voltage is measured in V")
		q.Set("u2", "V")
		q.Set("p2", "")
		b.get(file+"?"+q.Encode()).want(t, 200, "Say above where")
		q.Set("time", "0")
		b.get(file+"?"+q.Encode()).want(t, 422, "Say how many samples per second")
		q.Set("rate", "100")
		b.get(file+"?"+q.Encode()).want(t, 200)
		q.Set("mixture", "rich")
		b.get(file+"?"+q.Encode()).want(t, 422, "when the mixture was forced")
		sound(t, "refused reading", b.get(file+"?"+q.Encode()).body)
	})

	form := page.fields(t, strings.Split(sent.location, "?")[0]+"/keep")
	form.Set("save", "the shop's scope")
	form.Set("words", "Warm, at idle.")
	kept := b.post(strings.Split(sent.location, "?")[0]+"/keep", form).want(t, 303)
	capture := b.get(kept.location).want(t, 200, "Signal from warm idle.csv", "Warm, at idle.", "Lean to rich, 300 to 600 mV", "Read the file again", "Bank 1, position 1. Signal at idle")
	sound(t, "capture", capture.body)

	t.Run("writes entries with the exact numbers", func(t *testing.T) {
		var front *diag.Entry
		for _, e := range r.entriesOf(job) {
			if e.Source == store.Measured && e.Body.Position == 1 {
				front = &e.Body
			}
		}
		if front == nil {
			t.Fatal("no measured entry of the front sensor")
		}
		near := func(name string, p *float64, want, tol float64) {
			if p == nil || math.Abs(*p-want) > tol {
				t.Errorf("%s: %v, want %g", name, p, want)
			}
		}
		near("lowest", front.MinV, 0.1, 1e-9)
		near("highest", front.MaxV, 0.8, 1e-9)
		near("crossings", front.CrossingsHz, 1, 0.03)
		near("lean to rich", front.LeanRichMs, 600.0/7, 0.3)
		near("rich to lean", front.RichLeanMs, 600.0/7, 0.3)
	})
	t.Run("shows picture and measurements in the log", func(t *testing.T) {
		log := b.get(at(job, "")).want(t, 200, "measured from a recording", "Measured from warm idle.csv", kept.location+"/picture.svg")
		sound(t, "job", log.body)
		pic := b.get(kept.location+"/picture.svg?theme=dark").want(t, 200, "color-scheme:dark")
		if err := xml.Unmarshal([]byte(pic.body), new(struct{})); err != nil || pic.header.Get("Content-Type") != "image/svg+xml" {
			t.Errorf("%v, %q", err, pic.header.Get("Content-Type"))
		}
	})
	t.Run("draws the picture anew in the words of who reads it", func(t *testing.T) {
		who := r.people[store.Owner]
		if err := r.store.SetLanguage(t.Context(), who.ID, "es"); err != nil {
			t.Fatal(err)
		}
		r.as(store.Owner).get(kept.location+"/picture.svg").want(t, 200, "tiempo en s", "V rico").lacks(t, "time in s")
		b.get(kept.location+"/picture.svg").want(t, 200, "time in s").lacks(t, "tiempo en s")
	})
	t.Run("is taken once however often it is sent", func(t *testing.T) {
		n := len(r.entriesOf(job))
		b.post(strings.Split(sent.location, "?")[0]+"/keep", form).want(t, 303)
		if got := len(r.entriesOf(job)); got != n {
			t.Errorf("%d entries, had %d", got, n)
		}
	})
	t.Run("a later reading replaces the earlier", func(t *testing.T) {
		again := b.get(sent.location).want(t, 200, "This file was read before", "the shop&#39;s scope")
		f := again.fields(t, strings.Split(sent.location, "?")[0]+"/keep")
		b.post(strings.Split(sent.location, "?")[0]+"/keep", f).want(t, 303)
		standing := 0
		for _, e := range r.entriesOf(job) {
			if e.Stands() && e.Source == store.Measured {
				standing++
			}
		}
		if standing != 2 {
			t.Errorf("%d measured entries stand", standing)
		}
		b.get(kept.location).want(t, 200, "This file was read again since.")
	})
	t.Run("reads the next file the same way", func(t *testing.T) {
		next := b.sendFile(r.second(), "", "b.csv", strings.NewReader("x,O2 B1S2 (V),O2 B1S1 (V)\n"+strings.Join(strings.Split(content, "\n")[1:], "\n"))).want(t, 303)
		b.get(next.location+"&saved="+url.QueryEscape("the shop's scope")).want(t, 200, "O2 B1S1")
		b.get(next.location+"&saved=other").want(t, 422, "No way of reading is kept under this name")
	})
	t.Run("renames and forgets a way of reading, and what was read by it stays", func(t *testing.T) {
		b.post("/readings", url.Values{"mapping": {"the shop's scope"}, "m0_name": {" "}}).want(t, 422, "the shop&#39;s scope")
		b.post("/readings", url.Values{"mapping": {"nobody's"}, "m0_name": {"mine"}}).want(t, 404)
		b.post("/readings", url.Values{"mapping": {"the shop's scope"}, "m0_name": {"the <b>scope</b>"}}).want(t, 303)
		b.get("/readings").want(t, 200, "the &lt;b&gt;scope&lt;/b&gt;", "Saved.")
		b.get(sent.location+"&saved="+url.QueryEscape("the <b>scope</b>")).want(t, 200, "O2 B1S1")
		if err := r.store.SaveMapping(t.Context(), r.people[store.Technician].ID, "another", []byte(`{}`)); err != nil {
			t.Fatal(err)
		}
		b.post("/readings", url.Values{"mapping": {"another"}, "m0_name": {"the <b>scope</b>"}}).want(t, 422, "Another way of reading has this name", "the &lt;b&gt;scope")
		for range 2 { // sent twice
			b.post("/readings", url.Values{"mapping": {"the <b>scope</b>"}, "act": {"forget"}}).want(t, 303)
		}
		b.get("/readings").want(t, 200, "It is forgotten.").lacks(t, "&lt;b&gt;")
		b.get(kept.location).want(t, 200)
	})
	t.Run("refuses what has no place here", func(t *testing.T) {
		other := r.second()
		file := strings.TrimPrefix(strings.Split(sent.location, "?")[0], at(job, ""))
		b.get(at(other, file)).want(t, 404)
		b.get(at(job, "/files/nonsense")).want(t, 404)
		b.get(at(job, "/captures/nonsense")).want(t, 404)
		b.get(at(other, strings.TrimPrefix(kept.location, at(job, "")))).want(t, 404)
		r.nobody().get(sent.location).want(t, 303)
	})
}

func TestASlowLogGivesNoTransition(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	b := r.as(store.Technician)
	var log strings.Builder
	log.WriteString("Time (s),O2 B1S1 (V)\n")
	for i := range 300 {
		fmt.Fprintf(&log, "%d,%.3f\n", i, 0.45+0.35*math.Sin(float64(i)*1.3))
	}
	sent := b.sendFile(job, "", "slow.csv", strings.NewReader(log.String())).want(t, 303)
	page := b.get(sent.location).want(t, 200, "Too slow to judge transitions: one sample every 1 s")
	kept := b.post(strings.Split(sent.location, "?")[0]+"/keep", page.fields(t, strings.Split(sent.location, "?")[0]+"/keep")).want(t, 303)
	b.get(kept.location).want(t, 200, "Too slow to judge transitions")
	for _, e := range r.entriesOf(job) {
		if e.Body.Kind == diag.KindSignal && (e.Body.LeanRichMs != nil || e.Body.RichLeanMs != nil || e.Body.CrossingsHz != nil) {
			t.Errorf("a number was made up: %+v", e.Body)
		}
	}
}

// TestBadFiles sends what no measurement can be had of, and what can be had in part.
func TestBadFiles(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	b := r.as(store.Technician)
	good := swing(10)
	lines := strings.SplitAfter(good, "\n")
	with := func(n int, line string) string {
		l := append([]string(nil), lines...)
		l[n-1] = line + "\n"
		return strings.Join(l, "")
	}
	for _, tt := range []struct{ name, content string }{
		{"an image renamed .csv", "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x01\x00"},
		{"a file of one line", "Time (s),O2 B1S1 (V)"},
		{"a column of words", "name\n" + strings.Repeat("alpha\n", 50)},
		{"an empty file", ""},
	} {
		t.Run("refuses "+tt.name, func(t *testing.T) {
			a := b.sendFile(job, "", "x.csv", strings.NewReader(tt.content)).want(t, 422, "Not taken yet")
			sound(t, tt.name, a.body)
			if i := strings.Index(a.body, `id="m-file"`); i < 0 || !strings.Contains(a.body[i:], "</b>") {
				t.Errorf("no mend:\n%s", plainText(a.body))
			}
			t.Log(plainText(a.body[strings.Index(a.body, `id="refused"`):])[:160])
		})
	}
	if files, err := r.store.Files(t.Context(), job); err != nil || len(files) != 0 {
		t.Errorf("refused files were kept: %v, %v", files, err)
	}
	for _, tt := range []struct {
		name, content string
		want          []string
	}{
		{"a clock that runs backwards", with(500, "0.00,0.5,0.6"), []string{"Line 500"}},
		{"NaN", with(600, "5.98,NaN,0.68"), []string{"Line 600"}},
		{"10^12 V", with(700, "6.98,1e12,0.68"), []string{"Line 700"}},
		{"a row cut short", strings.TrimSuffix(good, lines[len(lines)-2][3:]), []string{"file ends in the middle of a row"}},
		{"swapped channels", strings.Replace(good, "O2 B1S1 (V),O2 B1S2 (V)", "O2 B1S2 (V),O2 B1S1 (V)", 1), []string{"B1S1"}},
	} {
		t.Run("tells "+tt.name+" and keeps the rest", func(t *testing.T) {
			sent := b.sendFile(job, "", "x.csv", strings.NewReader(tt.content)).want(t, 303)
			a := b.get(sent.location).want(t, 200, append(tt.want, "Noticed", "Write it down")...)
			a.svg(t)
			i := strings.Index(a.body, `class="noticed"`)
			t.Log(plainText(a.body[i:])[:min(300, len(plainText(a.body[i:])))])
		})
	}
	t.Run("gives pasted text back", func(t *testing.T) {
		b.paste(job, "table", "neither table\nnor answer <b>").want(t, 422, "neither table", "nor answer &lt;b&gt;")
		b.paste(job, "", "   \n").want(t, 422, "nothing is pasted")
	})
	t.Run("refuses 200 MB and one byte", func(t *testing.T) {
		a := b.sendFile(job, "table", "long.csv", io.MultiReader(strings.NewReader(good), io.LimitReader(zeros{}, store.MaxFile+1-int64(len(good)))))
		a.want(t, 422, "larger than 200 MB")
	})
	t.Run("refuses a form that is none", func(t *testing.T) {
		b.post(at(job, "/files"), url.Values{"text": {"1,2"}}).want(t, 400)
	})
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = '0'
	}
	return len(p), nil
}

// TestForcedAndTrims covers the other purposes.
func TestForcedAndTrims(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Technician)
	t.Run("a forced change gives level and time", func(t *testing.T) {
		// At 5.00 s fuel is added: 100 ms later the cell rises by 2 V/s from 0.1 to 0.9 V,
		// so it passes 0.8 V 450 ms after the change.
		job := r.job("P0171")
		var rec strings.Builder
		rec.WriteString("Time (ms);O2 B1S1 (mV)\n")
		for i := range 1500 {
			x := float64(i) / 100
			fmt.Fprintf(&rec, "%d;%.1f\n", i*10, 1000*min(0.9, 0.1+2*max(0, x-5.1)))
		}
		sent := b.sendFile(job, "", "forced.csv", strings.NewReader(rec.String())).want(t, 303)
		file := strings.Split(sent.location, "?")[0]
		q := b.get(sent.location).fields(t, file)
		q.Set("for", "forced")
		q.Set("mixture", "rich")
		q.Set("at", "5,0")
		page := b.get(file+"?"+q.Encode()).want(t, 200, "made rich", "Forced rich")
		b.post(file+"/keep", page.fields(t, file+"/keep")).want(t, 303)
		for _, e := range r.entriesOf(job) {
			if e.Body.Kind == diag.KindForced && (e.Body.Ms == nil || math.Abs(*e.Body.Ms-450) > 10 || e.Body.Volts == nil || math.Abs(*e.Body.Volts-0.9) > 1e-9) {
				t.Errorf("%v ms, %v V", *e.Body.Ms, *e.Body.Volts)
			}
		}
	})
	t.Run("a warm-up is timed from the cold start", func(t *testing.T) {
		// Started at 10 s; the cell rests at 0.45 V and first passes 0.6 V at 35.5 s.
		job := r.job("P0135")
		var rec strings.Builder
		rec.WriteString("Time (s),O2 B1S1 (V)\n")
		for i := range 6000 {
			x, v := float64(i)/100, 0.45
			if x > 35.49 {
				v = 0.45 + 0.35*math.Sin(2*math.Pi*(x-35.4))
			}
			fmt.Fprintf(&rec, "%.2f,%.4f\n", x, v)
		}
		sent := b.sendFile(job, "", "cold.csv", strings.NewReader(rec.String())).want(t, 303)
		file := strings.Split(sent.location, "?")[0]
		q := b.get(sent.location).fields(t, file)
		q.Set("for", "warmup")
		q.Set("cold", "10")
		page := b.get(file+"?"+q.Encode()).want(t, 200, "Warm-up until active")
		m := regexp.MustCompile(`Warm-up until active ([0-9.]+)`).FindStringSubmatch(plainText(page.body))
		if m == nil {
			t.Fatal("no warm-up time")
		}
		if v, err := strconv.ParseFloat(m[1], 64); err != nil || math.Abs(v-25.5) > 0.05 {
			t.Errorf("warm-up %s s, want 25.5", m[1])
		}
		took := b.post(file+"/keep", page.fields(t, file+"/keep")).want(t, 303)
		found := false
		for _, e := range r.entriesOf(job) {
			if e.Body.Kind == diag.KindHeater {
				found = e.Body.WarmUpS != nil && math.Abs(*e.Body.WarmUpS-25.5) < 0.05 && e.Body.Bank == 1 && e.Body.Position == 1
			}
		}
		if !found {
			t.Error("the time to activity is no entry")
		}
		b.get(took.location).want(t, 200, "Heater: time to activity 25.5")
		q.Set("for", "look")
		page = b.get(file+"?"+q.Encode()).want(t, 200, "Keep it with the job")
		b.post(file+"/keep", page.fields(t, file+"/keep")).want(t, 303)
		b.get(at(job, "")).want(t, 200, "Signal, kept")
	})
	t.Run("the curve bears any number", func(t *testing.T) {
		for _, q := range []string{"", "l=1&v=0.45&lu=0.01&vu=0.02", "l=1e300&v=-1e300", "l=-5&lu=1e300"} {
			a := b.get("/curve.svg?"+q).want(t, 200)
			if err := xml.Unmarshal([]byte(a.body), new(struct{})); err != nil || len(a.body) > 60<<10 || strings.Contains(a.body, "NaN") {
				t.Errorf("%q: %v, %d bytes", q, err, len(a.body))
			}
		}
		b.get("/curve.svg?l=x").want(t, 404)
		american := &lang.Language{Units: measuresOf(americanShop)}
		for _, d := range []*desk{{l: lang.Of("es", ",")}, {l: american}} {
			b.get(d.curveSrc("dark", math.NaN(), 0, 0.45, 0).Src).want(t, 200)
			b.get(d.curveSrc("dark", 1.02, 0.01, math.NaN(), 0).Src).want(t, 200)
		}
		if d := (&desk{l: american}); d.drawnIn() == (&desk{l: &lang.Language{}}).drawnIn() {
			t.Error("a browser would show a drawing in other units than the shop's")
		}
	})
	t.Run("the drive logs give trims by state", func(t *testing.T) {
		// Real logs of cars (open dataset carOBD, IEEE document 8891367), set against
		// package signal, whose cells are verified against an independent reckoning there.
		logs := diagtest.DriveLogs(t)
		for name, content := range logs {
			job := r.second()
			sent := b.sendFile(job, "", name, bytes.NewReader(content)).want(t, 303)
			page := b.get(sent.location).want(t, 200, "Fuel trims of the warm engine by state", ", trims at ")
			sound(t, name, page.body)
			if n := len(page.svg(t)); n > 60<<10 {
				t.Errorf("%s: the picture takes %d bytes", name, n)
			}
			if n := len(page.body); n > 300<<10 {
				t.Errorf("%s: the page takes %d bytes", name, n)
			}
			file := strings.Split(sent.location, "?")[0]
			b.post(file+"/keep", page.fields(t, file+"/keep")).want(t, 303)
			m, _, err := signal.Sniff(bytes.NewReader(content))
			if err != nil {
				t.Fatal(err)
			}
			res, err := signal.Measure(bytes.NewReader(content), m, signal.Options{})
			if err != nil {
				t.Fatal(err)
			}
			want := map[string]float64{}
			for _, st := range res.Trims.States {
				if v, ok := st.Long.Get(); ok {
					want[string(st.State)] = v
				}
			}
			got := 0
			for _, e := range r.entriesOf(job) {
				if e.Body.Kind == diag.KindTrim && e.Body.LongPct != nil {
					got++
					if w, ok := want[e.Body.State]; !ok || math.Abs(*e.Body.LongPct-w) > 0.05+1e-9 {
						t.Errorf("%s: %s: %g, want %g", name, e.Body.State, *e.Body.LongPct, w)
					}
				}
			}
			if got == 0 || got != len(want) {
				t.Errorf("%s: %d states written down, %d measured", name, got, len(want))
			}
			b.get(at(job, "")).want(t, 200, "Trims at ")
			if got > 1 {
				b.get(at(job, "/trims.svg")).want(t, 200, "idle")
			}
		}
	})
}
