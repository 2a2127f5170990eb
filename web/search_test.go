package web

import (
	"net/url"
	"strings"
	"testing"

	"crosscount/store"
	"crosscount/web/browsertest"
)

func TestSearchPage(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	b := r.as(store.Technician)
	t.Run("finds a job by anything, slips of the finger included", func(t *testing.T) {
		for _, q := range []string{"vale", "Haldan", "KLR 482", "klr482", "P0171", "motorway", "moterway", "Inse", "Vlae", "inse vale", "haldne", "mtoorway", "0147", itoa(job)} {
			b.get("/search?q="+url.QueryEscape(q)).want(t, 200, "2014 Halden Corrie", "Ines Vale", "job "+itoa(job))
			b.get("/search/found?q="+url.QueryEscape(q)).want(t, 200, "2014 Halden Corrie").lacks(t, "<html")
		}
	})
	t.Run("says so when there is nothing, whatever was typed", func(t *testing.T) {
		for _, q := range []string{"zebra", "zberaa", "%", "'; --", "\x00", `\`, "&|!()", "<script>alert(1)</script>", strings.Repeat("ж ", 500)} {
			a := b.get("/search?q="+url.QueryEscape(q)).want(t, 200).lacks(t, "<script>alert")
			if strings.TrimSpace(strings.ReplaceAll(q, "\x00", "")) != "" {
				a.want(t, 200, "Nothing here fits that")
			}
		}
	})
	t.Run("stands on every page and answers while one types", func(t *testing.T) {
		p := browsertest.Open(t, r.site.URL, browsertest.Tablet)
		p.Go("/login")
		p.Fill("Log-in name", "olga")
		p.Fill("Password", password)
		p.Send("Log in")
		p.Fill("Find a job by anything", "moterway")
		p.UntilJS(`document.getElementById("find-found").innerText.includes("Halden Corrie")`)
		p.Shot("find-typing")
		if o := p.Overflow(); o > 0 {
			t.Errorf("%g px wider than the tablet", o)
		}
		p.Go("/search?q=vale")
		p.Shot("search")
		if small := p.SmallTargets(48); len(small) > 0 {
			t.Errorf("smaller than 48 px: %s", strings.Join(small, "; "))
		}
	})
}
