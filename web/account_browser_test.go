package web

import (
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/web/browsertest"
)

func TestAccountPageOnATablet(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	p := browsertest.Open(t, r.site.URL, browsertest.Tablet)
	p.Go("/login")
	p.Fill("Log-in name", "wanda")
	p.Fill("Password", password)
	p.Send("Log in")
	p.Go(at(job, "/account?add=part&at=1-1#form"))
	p.Wants("Nine such cars in ten", "A part")
	p.Shot("account")
	if o := p.Overflow(); o > 0 {
		t.Errorf("%g px wider than the tablet", o)
	}
	if small := p.SmallTargets(48); len(small) > 0 {
		t.Errorf("smaller than 48 px: %s", strings.Join(small, "; "))
	}
	p.Go(at(job, "/paper/explanation"))
	p.Shot("explanation")
	if o := p.Overflow(); o > 0 {
		t.Errorf("the paper is %g px wider than the tablet", o)
	}
}
