package web

import (
	"testing"

	"crosscount/store"
	"crosscount/web/browsertest"
)

func TestTheLiveHomeKeepsItsLists(t *testing.T) {
	r := newRig(t)
	by := r.people[store.Writer].ID
	mate, err := r.store.AddPerson(t.Context(), r.people[store.Owner].ID, store.NewPerson{Login: "tilda", Name: "Tilda Tech", Role: store.Technician})
	if err != nil {
		t.Fatal(err)
	}
	for _, who := range []int64{r.people[store.Technician].ID, mate.ID} {
		if err := r.store.Assign(t.Context(), by, r.job("P0171"), who); err != nil {
			t.Fatal(err)
		}
	}
	p := browsertest.Open(t, r.site.URL, browsertest.Tablet)
	p.Before(`document.addEventListener("fresh", () => document.documentElement.dataset.drawnAnew = "yes")`)
	p.Go("/login")
	p.Fill("Log-in name", "tomas")
	p.Fill("Password", password)
	p.Send("Log in")
	p.UntilJS(`document.documentElement.dataset.drawnAnew === "yes"`)
	if n := p.Count("section .moves > li"); n != 2 || p.Count("h3 + .moves > li") != 1 {
		t.Errorf("after it was drawn anew the home shows %d jobs in its lists:\n%s", n, p.Text())
	}
}
