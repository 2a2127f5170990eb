package web

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/web/browsertest"
)

// tablet opens a browser in the bay with somebody logged in, on a link of its own.
func (r *rig) tablet(t *testing.T, size browsertest.Size, who store.Role) (*browsertest.Page, *browsertest.Link) {
	t.Helper()
	l := browsertest.NewLink(t, r.site.URL, 1)
	p := browsertest.Open(t, l.URL, size)
	logInAt(p, r.people[who].Login)
	return p, l
}

func logInAt(p *browsertest.Page, login string) {
	p.Go("/login")
	p.Fill("Log-in name", login)
	p.Fill("Password", password)
	p.Send("Log in")
}

// keptPages waits until the service worker has kept what the page needs.
func keptPages(p *browsertest.Page, paths ...string) {
	for _, path := range paths {
		p.Until(path+" is kept", func() bool {
			return browsertest.Wait[bool](p, `caches.open("pages").then((c) => c.match(location.origin + "`+path+`")).then((r) => Boolean(r))`)
		})
	}
}

func logged(p *browsertest.Page) int { return p.Count("#log li[id^='e-']") }

func TestBay(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	for b := range 2 {
		r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: b + 1, State: "idle", ShortPct: new(8.0), LongPct: new(14.0)})
	}
	bay := fmt.Sprintf("/jobs/%d/bay", job)

	for _, size := range []browsertest.Size{browsertest.Tablet, browsertest.Bench} {
		t.Run(fmt.Sprintf("fits a tablet of %d by %d, light and dark", size.Width, size.Height), func(t *testing.T) {
			p, _ := r.tablet(t, size, store.Technician)
			for _, dark := range []bool{false, true} {
				p.Dark(dark)
				mode := map[bool]string{false: "light", true: "dark"}[dark]
				p.Go(bay)
				for _, hash := range []string{"next", "all", "write", "log", "plan", "sensors", "tips", "t-tip_look", "t-signal_capture", "f-trim", "f-code", "t-intake_smoke"} {
					browsertest.Eval[bool](p, fmt.Sprintf(`(location.hash = %q, true)`, hash))
					p.Until("screen "+hash, func() bool {
						return browsertest.Eval[bool](p, fmt.Sprintf(`document.getElementById(%q).getClientRects().length > 0`, hash))
					})
					if strings.HasPrefix(hash, "t-") {
						if browsertest.Eval[bool](p, fmt.Sprintf(`document.querySelector("#%s .after").getClientRects().length > 0 && !document.querySelector("#%s .seen").checked`, hash, hash)) {
							t.Errorf("%s: the steps show before the cautions are ticked", hash)
						}
						if !dark {
							p.Press("I have seen this")
						}
					}
					if small := p.SmallTargets(48); len(small) > 0 {
						t.Errorf("%s: smaller than 48 px: %s", hash, strings.Join(small, "; "))
					}
					if o := p.Overflow(); o > 0 {
						t.Errorf("%s: %g px wider than the tablet", hash, o)
					}
					p.Shot("bay-" + mode + "-" + hash)
				}
				for _, path := range []string{fmt.Sprintf("/jobs/%d/sensor/1-1", job), fmt.Sprintf("/jobs/%d/photos", job), "/tablet"} {
					p.Go(path)
					if small := p.SmallTargets(48); len(small) > 0 {
						t.Errorf("%s: smaller than 48 px: %s", path, strings.Join(small, "; "))
					}
					if o := p.Overflow(); o > 0 {
						t.Errorf("%s: %g px wider than the tablet", path, o)
					}
					p.Shot("page-" + mode + strings.ReplaceAll(path, "/", "-"))
				}
			}
		})
	}

	t.Run("writes down with the number pad, says it arrived and weighs anew", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay + "#f-fuel_pressure")
		had := logged(p)
		p.Until("the form is there", func() bool { return p.Count("#f-fuel_pressure form") == 1 })
		p.Press("Pressure")
		p.Until("the pad shows", func() bool { return browsertest.Eval[bool](p, `!document.getElementById("pad").hidden`) })
		for _, k := range []string{"3", "8", "0"} {
			p.Press(k)
		}
		p.Shot("bay-pad")
		if small := p.SmallTargets(48); len(small) > 0 {
			t.Errorf("smaller than 48 px: %s", strings.Join(small, "; "))
		}
		p.Press("Write it down")
		p.Until("it arrived", func() bool { return logged(p) == had+1 && p.Count("[data-item].waiting") == 0 })
		log := r.entries(job)
		if v := log[len(log)-1].Body.KPa; v == nil || *v != 380 {
			t.Errorf("the log has %v kPa, want 380", v)
		}
		p.Wants("All sent")
	})

	t.Run("keeps a tap without a network within 100 ms, through a reload, and sends it once", func(t *testing.T) {
		p, l := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay)
		keptPages(p, bay)
		had := len(r.entries(job))
		l.Cut()
		p.Go(bay + "#f-lambda")
		p.Until("the form is there", func() bool { return p.Count("#f-lambda form") == 1 })
		p.Fill("Lambda", "0.98")
		p.Press("Write it down")
		p.Until("it waits on the page", func() bool { return p.Count("#log .own.waiting") == 1 })
		took := browsertest.Eval[float64](p, `performance.getEntriesByName("tap to page")[0].duration`)
		t.Logf("tap to page without a network: %.1f ms", took)
		p.Until("it says so", func() bool { s := p.Text(); return strings.Contains(s, "No network") && strings.Contains(s, "1 waits") })
		p.Reload()
		p.Until("it waits after a reload", func() bool { return p.Count("#log .own.waiting") == 1 })
		p.Shot("bay-offline-log")
		if n := len(r.entries(job)); n != had {
			t.Fatalf("%d entries at the shop while cut off, want %d", n, had)
		}
		l.Mend()
		p.Until("it arrived", func() bool { return len(r.entries(job)) == had+1 && p.Count("[data-item].waiting") == 0 })
		p.Until("the page has it from the shop", func() bool { return strings.Contains(p.Section("log"), "0.98") && p.Count("#log .own") == 0 })
	})

	t.Run("keeps codes with the word that they are all, without a network, and brings back the tick of a list that others told", func(t *testing.T) {
		p, l := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay)
		keptPages(p, bay)
		had := len(r.entries(job))
		l.Cut()
		openForm(p, bay, "code")
		p.Fill("Codes", "p0171, p0174")
		p.Press("These are all of them")
		p.Press("We were told")
		p.Shot("bay-all-codes")
		p.Press("Write it down")
		p.Until("it waits on the page", func() bool { return p.Count("#log .own.waiting") == 1 })
		if s := p.Section("log"); !strings.Contains(s, "These are all of them") {
			t.Errorf("the line that waits does not say so:\n%s", s)
		}
		l.Mend()
		p.Until("it came back", func() bool { return p.Count("#log .own.refused") == 1 })
		p.Shot("bay-all-codes-refused")
		p.Send("Mend it")
		p.Until("the form has the tick", func() bool {
			return browsertest.Eval[bool](p, `document.querySelector("#f-code [name=all_codes]")?.checked ?? false`)
		})
		p.Wants("read the codes on the car")
		p.Shot("bay-all-codes-mend")
		p.Press("We read or saw it here")
		p.Press("Write it down")
		p.Until("all of it arrived", func() bool { return len(r.entries(job)) == had+3 && p.Count(".own.refused, [data-item].waiting") == 0 })
		p.Until("the log says it", func() bool { return strings.Contains(p.Section("log"), "All stored codes were read: no other") })
		if s := p.Section("said"); !strings.HasPrefix(s, "Written down. Codes: p0171") {
			t.Errorf("a mended entry is called %q", s)
		}
		p.Shot("bay-all-codes-log")
		p.Go(at(job, "?add=code#form"))
		if small := p.SmallTargets(48); len(small) > 0 {
			t.Errorf("smaller than 48 px: %s", strings.Join(small, "; "))
		}
		p.Shot("job-all-codes")
	})

	t.Run("brings a refused entry back to its form with the reason", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay + "#f-fuel_pressure")
		p.Until("the form is there", func() bool { return p.Count("#f-fuel_pressure form") == 1 })
		p.Fill("Pressure", "forty")
		p.Press("Write it down")
		p.Until("it came back", func() bool { return p.Count("#log .own.refused") == 1 })
		p.Wants("1 came back", "Mend it")
		p.Shot("bay-came-back")
		p.Send("Mend it")
		p.Until("the form has what was typed", func() bool {
			return browsertest.Eval[string](p, `document.querySelector("#f-fuel_pressure [name=kpa]")?.value ?? ""`) == "forty"
		})
		p.Wants("It came back. What you typed is here again.")
		p.Shot("bay-mend")
		p.Fill("Pressure", "40 psi")
		p.Press("Write it down")
		p.Until("it arrived", func() bool {
			return p.Count(".own.refused") == 0 && p.Count("[data-item].waiting") == 0 && strings.Contains(p.Section("log"), "275")
		})
	})

	t.Run("shows the second choice at once when a test cannot be done here", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay)
		first := browsertest.Eval[string](p, `document.querySelector("#next .next h3").innerText`)
		p.Press("Cannot do this here")
		p.Press("The tool is not here")
		p.Shot("bay-cannot")
		p.Press("Show the next best")
		p.Until("another test is on the card", func() bool {
			return browsertest.Eval[string](p, `document.querySelector("#next .next h3")?.innerText ?? ""`) != first
		})
		p.Until("the shop knows", func() bool { return strings.Contains(p.Section("next"), "It can after all") })
		p.Shot("bay-second")
	})

	t.Run("shows two tablets what the other did, one of them offline for an hour", func(t *testing.T) {
		one, l := r.tablet(t, browsertest.Tablet, store.Technician)
		one.Before(`(() => {
			const Right = Date;
			self.Date = class extends Right {
				constructor(...a) { if (a.length) super(...a); else super(self.Date.now()); }
				static now() { return Right.now() - Number(localStorage.getItem("ago") ?? 0); }
			};
		})()`)
		two, _ := r.tablet(t, browsertest.Bench, store.Owner)
		one.Go(bay)
		two.Go(bay)
		keptPages(one, bay)
		l.Cut()
		write := func(p *browsertest.Page, v string) {
			p.Go(bay + "#f-lambda")
			p.Until("the form is there", func() bool { return p.Count("#f-lambda form") == 1 })
			p.Fill("Lambda", v)
			p.Press("Write it down")
			p.Until("it is on the page", func() bool { return strings.Contains(p.Section("log"), v) || p.Count("#log .own") > 0 })
		}
		browsertest.Eval[bool](one, `(localStorage.setItem("ago", 3600000), true)`) // it is an hour ago
		write(one, "1.11")
		write(two, "1.22")
		browsertest.Eval[bool](one, `(localStorage.removeItem("ago"), true)`)
		write(one, "1.13")
		l.Mend()
		for _, p := range []*browsertest.Page{one, two} {
			p.Go(bay + "#log")
		}
		for _, p := range []*browsertest.Page{one, two} {
			p.Until("both logs are one", func() bool {
				s := p.Section("log")
				return strings.Contains(s, "1.11") && strings.Contains(s, "1.22") && strings.Contains(s, "1.13") && p.Count("#log .own") == 0
			})
		}
		order := []float64{}
		for _, e := range r.entries(job) {
			v := 0.0
			if e.Body.Value != nil {
				v = *e.Body.Value
			}
			ago := e.ReceivedAt.Sub(e.ClientAt).Round(time.Minute)
			if v == 1.11 && ago != time.Hour || v == 1.13 && ago > 2*time.Minute {
				t.Errorf("lambda %g was written %v before it arrived", v, ago)
			}
			if v > 1.1 {
				order = append(order, v)
			}
		}
		if !slices.Equal(order, []float64{1.22, 1.11, 1.13}) {
			t.Errorf("the log has %v", order)
		}
		leading := func(p *browsertest.Page) string {
			return browsertest.Eval[string](p, `document.querySelector(".causes").textContent.replace(/\s+/g, " ")`)
		}
		one.Until("both weigh all of it", func() bool { return leading(one) == leading(two) })
		// And live, without a reload.
		r.entry(job, diag.Entry{Kind: diag.KindLambda, State: "idle", Value: new(1.31)})
		for _, p := range []*browsertest.Page{one, two} {
			p.Until("the other's entry shows by itself", func() bool { return strings.Contains(p.Section("log"), "1.31") })
		}
		two.Until("the owner is told who wrote", func() bool { return strings.Contains(two.Section("news"), "Tomas Tech") })
	})

	t.Run("loses nothing when the session ends, and goes on after log-in", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay + "#f-lambda")
		p.Until("the form is there", func() bool { return p.Count("#f-lambda form") == 1 })
		had := len(r.entries(job))
		if err := r.store.EndSessionsOf(t.Context(), r.people[store.Technician].ID); err != nil {
			t.Fatal(err)
		}
		p.Fill("Lambda", "0.91")
		p.Press("Write it down")
		p.Until("it asks to log in", func() bool { return strings.Contains(p.Text(), "log in to send") })
		p.Shot("bay-session-ended")
		logInAt(p, "olga")
		p.Go(bay)
		if n := len(r.entries(job)); n != had {
			t.Errorf("the technician's entry went out under the owner's name: %d entries, want %d", n, had)
		}
		p.Send("Log out")
		logInAt(p, "tomas")
		p.Until("it went out under its own name", func() bool { return len(r.entries(job)) == had+1 })
		if by := r.entries(job)[had].EnteredByName; by != "Tomas Tech" {
			t.Errorf("entered by %s", by)
		}
	})

	t.Run("shows nobody's pages after logging out", func(t *testing.T) {
		p, l := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay)
		keptPages(p, bay)
		two := p.Tab()
		two.Go(bay)
		photos := fmt.Sprintf("/jobs/%d/photos", job)
		answered, free := l.Hold(photos)
		browsertest.Eval[bool](two, `(location = "`+photos+`", true)`)
		answered()
		p.Send("Log out")
		gone := func() bool {
			return browsertest.Wait[bool](p, `caches.open("pages").then((c) => c.keys()).then((k) => k.length === 0)`)
		}
		p.Until("the pages are gone", gone)

		free()
		two.Until("the page asked for before is there", func() bool { return two.Path() == photos && two.Count("main") == 1 })
		if !gone() {
			t.Error("a page that was asked for before logging out is kept after it")
		}

		// What a page asked the worker to keep may be read after its person has gone.
		answered, free = l.Hold(bay)
		browsertest.Wait[bool](p, fmt.Sprintf(`navigator.serviceWorker.ready.then((reg) => (reg.active.postMessage({ keep: ["%d"], all: false, person: "%d" }), true))`, job, r.people[store.Technician].ID))
		answered()
		if !gone() {
			t.Error("the person who has logged out is the owner of kept pages again")
		}
		free()

		l.Cut()
		p.Go(bay)
		if s := p.Text(); !strings.Contains(s, "This page is not kept") || strings.Contains(s, "Halden") {
			t.Errorf("after logging out a kept page shows:\n%s", s)
		}
	})
}
