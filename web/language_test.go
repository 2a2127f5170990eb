package web

import (
	"strings"
	"testing"

	"crosscount/static"
	"crosscount/store"
	"crosscount/templates/lang"
	"crosscount/web/browsertest"
)

func TestTextsOfScriptsAreInTheCatalogue(t *testing.T) {
	if n := len(static.Words()); n < 50 {
		t.Fatalf("%d texts were found in the scripts", n)
	}
	for _, w := range static.Words() {
		if !lang.Has(w) {
			t.Errorf("the catalogue has no %q", w)
		}
	}
	if words := wordsOfScripts(lang.Of("es", ",")); len(words) < len(static.Words())*9/10 {
		t.Errorf("a Spanish page hands its scripts %d of %d texts", len(words), len(static.Words()))
	}
	if words := wordsOfScripts(lang.Of("en", "")); len(words) > 0 {
		t.Errorf("an English page carries words: %v", words)
	}
}

// A tablet of somebody who reads Spanish, without a network: the scripts and the service
// worker's own page speak as the pages do.
func TestScriptsSpeakTheReadersLanguage(t *testing.T) {
	r := rigOf(t, func(s *store.Shop) { s.Locale, s.DateOrder = "en-150", "month" })
	job := r.job("P0171")
	p, l := r.tablet(t, browsertest.Tablet, store.Technician)
	if err := r.store.SetLanguage(t.Context(), r.people[store.Technician].ID, "es"); err != nil {
		t.Fatal(err)
	}
	es := lang.Of("es", ",")
	bay := at(job, "/bay")
	p.Go(bay)
	keptPages(p, bay, "/tablet")
	l.Cut()
	openForm(p, bay, "lambda")
	p.Shot("spanish-form")
	p.Fill(es.T("Lambda"), "0,97")
	p.Press(es.T("Write it down"))
	p.Until("the page says in Spanish what waits", func() bool {
		text := p.Text()
		return strings.Contains(text, "Sin red") && strings.Contains(text, "1 en espera") && strings.Contains(text, "espera la red")
	})
	p.Go("/tablet")
	p.Until("so does the tablet's page", func() bool {
		return strings.Contains(p.Text(), "Orden "+itoa(job)+", escrito: ") && strings.Contains(p.Text(), "No se devolvió nada.")
	})
	if got := browsertest.Wait[string](p, `navigator.storage.estimate().then(() => document.getElementById("room").textContent)`); !strings.Contains(got, ",") || !strings.Contains(got, " MB ") {
		t.Errorf("the tablet's room is told as %q", got)
	}
	moment := browsertest.Wait[string](p, `import(performance.getEntriesByType("resource").find((e) => e.name.includes("/words.")).name).then((m) => m.moment("2025-02-03T14:05:00"))`)
	if moment != "feb 3, 2025, 14:05" {
		t.Errorf("a script writes %q", moment)
	}
	p.Shot("spanish-tablet")
	p.Go("/me")
	p.Shot("spanish-no-network")
	p.Wants("Sin red", "Esta página no está guardada en esta tableta", "Intentar de nuevo", "Órdenes abiertas guardadas aquí")
	if got := browsertest.Eval[string](p, `document.documentElement.lang`); got != "es" {
		t.Errorf("the page without a network is marked %q", got)
	}
}
