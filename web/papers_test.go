package web

import (
	"compress/zlib"
	"fmt"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
	"crosscount/templates/paper"
)

func TestPapersAsFiles(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	f, err := r.store.JobFile(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	c := f.Customer
	c.Name = "محمد 山田 Þórdís"
	if err := r.store.UpdateCustomer(t.Context(), r.people[store.Writer].ID, c); err != nil {
		t.Fatal(err)
	}
	b := r.as(store.Writer)
	b.post(at(job, "/lines"), line("labour", "Mend the intake boot", "90")).want(t, 303)
	paths := map[string]string{"estimate": b.post(at(job, "/documents"), url.Values{"kind": {"estimate"}}).want(t, 303).location}
	for _, p := range []string{"order", "explanation", "handover"} {
		paths[p] = at(job, "/paper/"+p)
	}
	for name, path := range paths {
		t.Run("makes one page that names what its font lacks: "+name, func(t *testing.T) {
			b.get(path).want(t, 200, c.Name, "2014 Halden Corrie")
			a := b.get(path+"/pdf").want(t, 200)
			if !strings.HasPrefix(a.body, "%PDF-") || a.header.Get("Content-Type") != "application/pdf" {
				t.Fatalf("%s is no PDF", a.header.Get("Content-Type"))
			}
			if n := strings.Count(a.body, "/Type /Page\n"); n != 1 {
				t.Errorf("%d pages", n)
			}
			if dir := os.Getenv("CROSSCOUNT_SHOTS"); dir != "" {
				if err := os.WriteFile(filepath.Join(dir, name+".pdf"), []byte(a.body), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
}

func TestPapersInTheCustomersLanguage(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Writer)
	in := with(intake(), "layout", r.layout("Two banks, up- and downstream"), "name", "Íñigo Muñoz", "language", "es", "codes", "P0171")
	var job int64
	if _, err := fmt.Sscanf(b.post("/jobs", in).want(t, 303).location, "/jobs/%d", &job); err != nil {
		t.Fatal(err)
	}
	b.post(at(job, "/lines"), line("labour", "Mend the intake boot", "90")).want(t, 303)
	b.post(at(job, "/lines"), line("labour", "Declined work", "40")).want(t, 303)
	file, err := r.store.Money(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	last := file.Lines[len(file.Lines)-1].ID
	b.post(at(job, "/lines/"+itoa(last)), url.Values{"act": {"declined"}, "consequence": {"The fault stays, and the light is likely to come back."}}).want(t, 303)

	estimate := b.post(at(job, "/documents"), url.Values{"kind": {"estimate"}}).want(t, 303).location
	papers := []struct {
		path string
		says []string
	}{
		{estimate, []string{"Presupuesto", "Su autorización", "La falla queda, y es probable que la luz vuelva.", "Firma"}},
		{at(job, "/paper/explanation"), []string{"Lo que encontramos", "Lo que usted nos dijo", "había demasiado aire", "llámenos"}},
		{at(job, "/paper/handover"), []string{"Hoja de entrega", "Cómo se comprobó", "suelte el acelerador y deténgase"}},
	}
	for _, p := range papers {
		t.Run("shows an English shop's paper in Spanish: "+p.says[0], func(t *testing.T) {
			// The frame of the page stays the reader's.
			b.get(p.path).want(t, 200, append(p.says, "Íñigo Muñoz", "PDF for mail")...).lacks(t, "Amount due", "What you told us", "How it was proved", "If the light")
			a := b.get(p.path+"/pdf").want(t, 200)
			if dir := os.Getenv("CROSSCOUNT_SHOTS"); dir != "" {
				if err := os.WriteFile(filepath.Join(dir, p.says[0]+".pdf"), []byte(a.body), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			text := pdfText(t, a.body)
			for _, s := range append(p.says[:1:1], "Íñigo Muñoz") {
				if !strings.Contains(text, s) {
					t.Errorf("the PDF does not say %q:\n%s", s, text)
				}
			}
			for _, s := range []string{string(paper.NotShown), "cuadro blanco"} {
				if strings.Contains(text, s) {
					t.Errorf("the PDF lacks a letter of its own language: %q", s)
				}
			}
			if !strings.Contains(a.body, "/Lang ") {
				t.Error("the PDF does not name its language")
			}
		})
	}
	t.Run("asks and answers the customer in Spanish", func(t *testing.T) {
		link := regexp.MustCompile(`/c/[A-Z0-9]+`).FindString(b.post(at(job, "/links"), url.Values{"days": {"7"}}).want(t, 200).body)
		r.nobody().get(link).want(t, 200, `<html lang="es"`, "Lo que encontramos").lacks(t, "What we found")
		b.get(at(job, "/account")).want(t, 200, "esto es sobre su 2014 Halden Corrie", "Money and papers")
	})
	t.Run("keeps the bay's order in the bay's language", func(t *testing.T) {
		b.get(at(job, "/paper/order")).want(t, 200, "Work order", "Where the sensors sit")
	})
	t.Run("keeps a paper as it was handed out, and changes what follows", func(t *testing.T) {
		f, err := r.store.JobFile(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		car := "/vehicles/" + itoa(f.Vehicle.ID)
		form := url.Values{"customer_name": {"Íñigo Muñoz"}, "phone": {"555-0147"}, "email": {"no address"}, "language": {""}}
		b.post(car+"/customer", form).want(t, 422, "one @")
		b.post(car+"/customer", with(form, "email", "inigo@example.org")).want(t, 303)
		b.get(car).want(t, 200, `value="inigo@example.org"`)
		b.get(estimate).want(t, 200, "Presupuesto")
		b.get(at(job, "/paper/explanation")).want(t, 200, "What we found")
	})
	t.Run("says what a job called for in the reader's language, and what was typed as it is", func(t *testing.T) {
		es, en := lang.Of("es", ""), lang.Of("en", "")
		a := &account{desk: (&desk{}).in(es), tongues: []*lang.Language{en, es}}
		for _, x := range []struct {
			line store.Line
			want string
		}{
			{store.Line{Words: templates.SearchLine}, "Búsqueda de la causa: lecturas y pruebas"},
			{store.Line{Words: "Fit the sensor, bank 1, position 2", Bank: 1, Position: 2}, templates.FitLine(es, a.spotWords(1, 2))},
			{store.Line{Words: "Fit the sensor, bank 1, position 2", Bank: 2, Position: 2}, "Fit the sensor, bank 1, position 2"},
			{store.Line{Words: "Polish it"}, "Polish it"},
		} {
			if got := a.lineWords(x.line); got != x.want {
				t.Errorf("%q is said as %q, want %q", x.line.Words, got, x.want)
			}
		}
		back := &account{desk: (&desk{}).in(en), tongues: a.tongues}
		if got := back.lineWords(store.Line{Words: "Búsqueda de la causa: lecturas y pruebas"}); got != templates.SearchLine {
			t.Errorf("back in English it is %q", got)
		}
	})
}

// pdfText gives the texts of a PDF of ours: two bytes a letter in packed streams.
func pdfText(t *testing.T, body string) string {
	t.Helper()
	var out strings.Builder
	for rest := body; ; {
		_, after, ok := strings.Cut(rest, "stream\n")
		if !ok {
			break
		}
		packed, more, _ := strings.Cut(after, "\nendstream")
		rest = more
		z, err := zlib.NewReader(strings.NewReader(packed))
		if err != nil {
			continue
		}
		b, err := io.ReadAll(z)
		if err != nil {
			continue
		}
		for _, m := range regexp.MustCompile(`(?s)\(((?:[^\\)]|\\.)*)\) ?Tj`).FindAllSubmatch(b, -1) {
			raw := regexp.MustCompile(`(?s)\\(.)`).ReplaceAllFunc(m[1], func(x []byte) []byte {
				if x[1] == 'r' {
					return []byte{'\r'}
				}
				return x[1:]
			})
			for i := 0; i+1 < len(raw); i += 2 {
				out.WriteRune(rune(raw[i])<<8 | rune(raw[i+1]))
			}
			out.WriteByte('\n')
		}
	}
	return out.String()
}

func TestSpanishPapersWriteAmountsAndDatesTheShopsWay(t *testing.T) {
	for _, c := range []struct {
		locale, order, currency string
		want                    []string
	}{
		{"en-150", "day", "MXN", []string{"1.234,50", "2.469,00", "MXN"}},
		{"en-US", "month", "USD", []string{"1,234.50", "2,469.00", "USD"}},
		{"de-CH", "year", "CHF", []string{"1’234.50", "2’469.00", "CHF"}},
	} {
		t.Run(c.locale+", "+c.order+" first", func(t *testing.T) {
			r := rigOf(t, func(s *store.Shop) {
				s.Locale, s.DateOrder, s.Currency, s.Language = c.locale, c.order, c.currency, "es"
			})
			now := time.Date(2026, 2, 3, 12, 0, 0, 0, time.UTC)
			r.server.now = func() time.Time { return now }
			r.server.store = r.store.At(now)
			b := r.as(store.Writer)
			job := r.job("P0171")
			if _, err := r.store.SaveLine(t.Context(), r.people[store.Writer].ID, store.Line{JobID: job, Kind: "labour", Scope: store.ScopeRepair,
				Words: "Reparar la toma de admisión", QuantityMilli: 2000, UnitMinor: 123450}); err != nil {
				t.Fatal(err)
			}
			path := b.post(at(job, "/documents"), url.Values{"kind": {"estimate"}}).want(t, 303).location
			date := map[string]string{"day": "3 de febrero de 2026", "month": "febrero 3 de 2026", "year": "2026-02-03"}[c.order]
			b.get(path).want(t, 200, append(c.want, date, `lang="es"`)...).lacks(t, "February")
			bare := strings.NewReplacer(" ", "", "\u00a0", "")
			text := readPDF(t, "amounts-"+c.locale, []byte(b.get(path+"/pdf").want(t, 200).body)).text()
			for _, want := range append(c.want, date) {
				if !strings.Contains(text, bare.Replace(want)) {
					t.Errorf("the printed estimate lacks %q: %s", want, text)
				}
			}
		})
	}
}
