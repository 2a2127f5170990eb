package web

import (
	"testing"

	"crosscount/diag"
	"crosscount/store"
)

func TestHomeLeadsTheTechnicianToTheBay(t *testing.T) {
	r := newRig(t)
	unread, begun := r.job("P0171"), r.job("P0171")
	r.entry(begun, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	r.as(store.Technician).get("/").want(t, 200, `href="`+at(unread, "/bay#f-code")+`"`, `href="`+at(begun, "/bay")+`"`)
	for _, role := range []store.Role{store.Writer, store.Owner} {
		r.as(role).get("/").want(t, 200, `href="`+at(unread, "")+`"`, `href="`+at(begun, "")+`"`).lacks(t, `/bay"`, "/bay#")
	}
}

func TestBayGoesOnAfterTheVerdict(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	b := r.as(store.Technician)
	b.get(at(job, "/bay")).want(t, 200, "Do this test").lacks(t, "To the hand-over")
	r.override(job, "part", diag.Part{Bank: 1, Position: 1, Kind: diag.Zirconia})
	b.get(at(job, "/bay")).want(t, 200, "The customer has to say yes to this: fit a new sensor, bank 1, position 1", at(job, "#hand")).lacks(t, "Do this test", "No further test")
	if err := r.store.Approve(t.Context(), r.people[store.Technician].ID, job, "by telephone"); err != nil {
		t.Fatal(err)
	}
	b.get(at(job, "/bay")).want(t, 200, "Fit a new sensor, bank 1, position 1.").lacks(t, "say yes")
}
