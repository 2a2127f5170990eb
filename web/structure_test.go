package web

import (
	"encoding/xml"
	"errors"
	"io"
	"net/url"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/store"
)

type element struct {
	name   string
	attrs  map[string]string
	text   string
	within []string // names of the elements around it
}

// parse reads a page as elements in order. It fails on what is not well formed.
func parse(t *testing.T, body string) []*element {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(body))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var all, open []*element
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not well formed: %v", err)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			e := &element{name: tok.Name.Local, attrs: map[string]string{}}
			for _, a := range tok.Attr {
				e.attrs[a.Name.Local] = a.Value
			}
			for _, o := range open {
				e.within = append(e.within, o.name)
			}
			all, open = append(all, e), append(open, e)
		case xml.EndElement:
			if len(open) > 0 {
				open = open[:len(open)-1]
			}
		case xml.CharData:
			for _, o := range open {
				o.text += string(tok)
			}
		}
	}
	return all
}

func (e *element) inside(name string) bool {
	for _, w := range e.within {
		if w == name {
			return true
		}
	}
	return false
}

// sound checks what every page owes its reader, whatever it shows.
func sound(t *testing.T, path, body string) {
	t.Helper()
	all := parse(t, body)
	ids := map[string]int{}
	labels := map[string]bool{}
	h1 := 0
	for _, e := range all {
		if id := e.attrs["id"]; id != "" {
			ids[id]++
		}
		if e.name == "label" {
			labels[e.attrs["for"]] = true
		}
		if e.name == "h1" {
			h1++
		}
	}
	if h1 != 1 {
		t.Errorf("%s: %d main headings", path, h1)
	}
	for id, n := range ids {
		if n > 1 {
			t.Errorf("%s: the id %q is there %d times", path, id, n)
		}
	}
	for _, e := range all {
		switch e.name {
		case "input", "select", "textarea":
			kind := e.attrs["type"]
			if kind != "hidden" && !labels[e.attrs["id"]] && !e.inside("label") {
				t.Errorf("%s: %s %q has no label", path, e.name, e.attrs["name"])
			}
			if e.attrs["name"] == "" {
				t.Errorf("%s: a field without a name", path)
			}
		case "form":
			if e.attrs["method"] != "post" && e.attrs["method"] != "get" || !strings.HasPrefix(e.attrs["action"], "/") {
				t.Errorf("%s: a form with method %q to %q", path, e.attrs["method"], e.attrs["action"])
			}
			if e.inside("form") {
				t.Errorf("%s: a form within a form", path)
			}
		case "a", "button", "summary", "th", "legend", "label":
			if strings.TrimSpace(e.text) == "" && e.attrs["aria-label"] == "" {
				t.Errorf("%s: an empty %s", path, e.name)
			}
			if e.name == "a" && e.attrs["href"] == "" {
				t.Errorf("%s: a link to nowhere: %q", path, e.text)
			}
		case "svg":
			if e.attrs["aria-hidden"] != "true" && e.attrs["role"] != "img" {
				t.Errorf("%s: a drawing that is neither hidden nor named", path)
			}
		}
		for _, ref := range []string{"aria-describedby", "aria-labelledby", "for"} {
			for id := range strings.FieldsSeq(e.attrs[ref]) {
				if ids[id] == 0 {
					t.Errorf("%s: %s of %s points to %q, which is not there", path, ref, e.name, id)
				}
			}
		}
		if href := e.attrs["href"]; strings.HasPrefix(href, "#") && ids[href[1:]] == 0 {
			t.Errorf("%s: a link to %q, which is not there", path, href)
		}
	}
}

func TestStructure(t *testing.T) {
	r := newRig(t)
	fresh := r.job("P0171", "P0045")
	busy := r.job()
	r.entry(busy, diag.Entry{Kind: diag.KindCode, Code: "P0135", Status: "stored"})
	gone := r.entry(busy, diag.Entry{Kind: diag.KindTip, Bank: 1, Position: 1, Look: "white"})
	if _, err := r.store.WithdrawEntry(t.Context(), r.people[store.Technician].ID, store.Withdrawal{ID: store.NewID(), JobID: busy, Withdraws: gone, Reason: "the other sensor"}); err != nil {
		t.Fatal(err)
	}
	r.override(busy, "part", diag.Part{Bank: 1, Position: 1, Kind: diag.Zirconia})
	approved := r.second()
	r.override(approved, "no_part")
	if err := r.store.Approve(t.Context(), r.people[store.Writer].ID, approved, "at the counter"); err != nil {
		t.Fatal(err)
	}
	closed := r.closedJob()

	b := r.as(store.Owner)
	paths := []string{"/", "/lookback", "/lookback?days=90", "/model", "/readings", "/people", "/shop", "/me", "/jobs/new", "/jobs/new?fresh=1", "/jobs/new?q=halden", "/jobs/new?q=vale",
		"/jobs/new?vehicle=1", "/jobs/new?customer=1", "/vehicles/1", "/vehicles/1?sensors", at(fresh, ""), at(busy, ""), at(approved, ""), at(closed, "")}
	for _, k := range diag.EntryKinds {
		paths = append(paths, at(fresh, "?add="+string(k)))
	}
	for _, x := range diag.Tests() {
		paths = append(paths, at(fresh, "?add=result."+x.ID))
	}
	for _, p := range paths {
		sound(t, p, b.get(p).want(t, 200).body)
	}
	nobody := r.nobody()
	sound(t, "/login", nobody.get("/login").body)
	sound(t, "not found", b.get("/nowhere").want(t, 404).body)
	t.Run("holds for forms that come back, too", func(t *testing.T) {
		for path, form := range map[string]url.Values{
			"/login": {}, "/shop": {}, "/people": {}, "/jobs": {"vehicle": {"1"}}, "/me/password": {}, "/vehicles/1/sensors": {}, "/vehicles/1": {},
			at(fresh, "/evidence"):                        {"kind": {"trim"}},
			at(fresh, "/override"):                        {},
			at(fresh, "/cancel"):                          {},
			at(busy, "/approve"):                          {},
			at(busy, "/evidence/"+gone+"/withdraw"):       {},
			at(approved, "/mended"):                       {},
			at(closed, "/reopen"):                         {},
			at(busy, "/close"):                            {},
			"/people/" + itoa(r.people[store.Writer].ID):  {},
			at(fresh, "/evidence") + "?again":             {"kind": {"tip"}},
			at(fresh, "/evidence") + "?and-another":       {"kind": {"result"}, "test": {"intake_smoke"}},
			at(fresh, "/evidence") + "?and-codes-of-none": {"kind": {"code"}, "codes": {"?"}},
		} {
			a := b.post(path, form)
			if a.status != 422 {
				t.Errorf("%s: status %d", path, a.status)
			}
			sound(t, path, a.body)
		}
	})
}
