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
