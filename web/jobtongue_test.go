package web

import (
	"net/http"
	"net/url"
	"testing"

	"crosscount/diag"
	"crosscount/store"
)

func TestJobInSpanish(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	if err := r.store.SetLanguage(t.Context(), r.people[store.Technician].ID, "es"); err != nil {
		t.Fatal(err)
	}
	tech := r.as(store.Technician)
	t.Run("shows the job, the bay and a sensor", func(t *testing.T) {
		tech.get(at(job, "")).want(t, 200, "Todavía no hay veredicto: no se ha leído nada en el auto.", "Lea los códigos del 2014 Halden Corrie", "Banco 1, posición 2")
		tech.get(at(job, "/bay")).want(t, 200, "Hasta dónde llegó la investigación", "Anotar: Códigos")
		tech.get(at(job, "/sensor/1-1")).want(t, 200, "El escape caliente quema.", "zirconio, 4 cables")
	})
	t.Run("keeps what was typed as it was typed", func(t *testing.T) {
		tech.get(at(job, "")).want(t, 200, "The light came on after the motorway.")
	})
	t.Run("says what is wrong with a form and how to mend it", func(t *testing.T) {
		tech.post(at(job, "/evidence"), url.Values{"kind": {"trim"}, "id": {store.NewID()}}).want(t, 422, "No se anotó ningún ajuste.")
		tech.post(at(job, "/evidence"), url.Values{"kind": {"heater"}, "id": {store.NewID()}, "where": {"1-1"}, "ohm": {"six"}}).want(t, 422, "“six” no es un número.")
	})
	t.Run("tells a tablet why something was refused", func(t *testing.T) {
		if _, a := tech.send(t, nil, item{ID: store.NewID(), Job: job}); len(a.Results) != 1 || a.Results[0].Problems[0].Reason != "Está vacía." {
			t.Errorf("%+v", a.Results)
		}
	})
	t.Run("writes entries down in words of the language", func(t *testing.T) {
		r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: 1, State: "idle", LongPct: new(17.5)})
		tech.get(at(job, "")).want(t, 200, "Ajustes en ralentí: ajuste a largo plazo +17.5\u00a0%")
		r.as(store.Owner).get(at(job, "")).want(t, 200, "Trims at idle: long-term trim +17.5\u00a0%")
	})
	t.Run("says the reasons of an accepted verdict anew after the log went on", func(t *testing.T) {
		r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
		r.entry(job, diag.Entry{Kind: diag.KindResult, Test: "intake_smoke", Outcome: "bank", Bank: 1})
		d, err := r.server.desk(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		if d.decision.Verdict.Decision == diag.DecideOpen {
			t.Fatalf("still open: %s", d.decision.Verdict.Why)
		}
		tech.post(at(job, "/verdict"), url.Values{"fingerprint": {d.fingerprint}}).want(t, http.StatusSeeOther)
		r.entry(job, diag.Entry{Kind: diag.KindTip, Bank: 1, Position: 1, Look: "clean"})
		english := d.decision.Verdict.Why.String()
		tech.get(at(job, "")).want(t, 200, "Aceptado por Tomas Tech").lacks(t, english)
		r.as(store.Owner).get(at(job, "")).want(t, 200, english)
	})
}
