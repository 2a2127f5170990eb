package web

import (
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/store"
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
