package web

import (
	"fmt"
	"maps"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/diag/diagtest"
	"crosscount/store"
	"crosscount/web/browsertest"
)

// everyPage fills a job with what there is and lists a page of each sort, for an owner.
func (r *rig) everyPage(job int64) []string {
	r.t.Helper()
	b, j := r.as(store.Technician), at(job, "")
	r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: 1, State: "idle", ShortPct: new(8.0), LongPct: new(14.0)})
	sent := b.sendFile(job, "", "warm.csv", strings.NewReader(swing(10))).want(r.t, 303)
	reading, _, _ := strings.Cut(sent.location, "?")
	kept := b.post(reading+"/keep", b.get(sent.location).fields(r.t, reading+"/keep")).want(r.t, 303)
	answers := b.paste(job, "", "0101\n41 01 82 07 65 04\n03\n43 02 01 71 01 31\n0106\n41 06 8C\n0107\n41 07 A0\n0113\n41 13 33\n06\n46 01 01 0A 00 96 00 64 00 C8\n").want(r.t, 303)
	for _, moment := range []string{"before", "after"} {
		_, err := r.store.AddPhoto(r.t.Context(), r.people[store.Technician].ID, store.NewPhoto{ID: store.NewID(), JobID: job, Subject: "tip", Moment: moment,
			Bank: 1, Position: 1, MediaType: "image/jpeg", Data: asJPEG(r.t, halves(800, 600)), Thumb: asJPEG(r.t, halves(400, 300)), Width: 800, Height: 600})
		if err != nil {
			r.t.Fatal(err)
		}
	}
	made := r.as(store.Owner).post(j+"/links", url.Values{"days": {"7"}})
	link := regexp.MustCompile(`/c/[A-Z0-9]+`).FindString(made.body)
	if link == "" {
		r.t.Fatalf("no customer link:\n%s", plainText(made.body))
	}
	done, papers := r.finished(r.t)
	if err := r.store.SaveMapping(r.t.Context(), r.people[store.Technician].ID, "the shop's scope", []byte(`{}`)); err != nil {
		r.t.Fatal(err)
	}
	out := slices.Sorted(maps.Values(papers))
	d := at(done, "")
	return append(out, d, d+"/bay", d+"/account", d+"/photos", "/readings", "/jobs/new?fresh=1", "/jobs/new?q=halden", "/start/NO-SUCH-LINK", "/password/NO-SUCH-LINK",
		"/", "/search?q=halden", "/search?q=nothing-of-the-sort", "/jobs/new", j, j+"?add=trim", j+"?add=recording", j+"/bay", j+"/bay#all", j+"/bay#write",
		j+"/bay#log", j+"/bay#plan", j+"/bay#tips", j+"/bay#sensors", j+"/bay#t-signal_capture", j+"/bay#f-trim", j+"/bay#f-recording",
		j+"/sensor/1-1", j+"/photos", "/tablet", sent.location, kept.location, answers.location, j+"/account", j+"/paper/order", j+"/paper/explanation", link, "/model",
		"/vehicles/1", "/lookback", "/people", "/shop", "/me", j+"/nowhere")
}

// TestAccessible runs axe-core on every page, light and dark. AXE_JS names its file.
func TestAccessible(t *testing.T) {
	path := os.Getenv("AXE_JS")
	if path == "" {
		diagtest.Missing(t, "AXE_JS names no axe.min.js, so the pages were not checked for accessibility")
	}
	axe, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	r := newRig(t)
	job := r.job("P0171")
	pages := r.everyPage(job)
	p := browsertest.Open(t, r.site.URL, browsertest.Tablet)
	check := func(page, mode string) {
		t.Helper()
		browsertest.Eval[bool](p, string(axe)+"; true")
		for _, v := range browsertest.Wait[[]string](p, `axe.run(document, { resultTypes: ["violations"] }).then((r) => r.violations.map((v) =>
			v.id + " (" + v.impact + "): " + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160) + " " + n.any.map((a) => a.message).join(" ").slice(0, 160)).join(" | ")))`) {
			t.Errorf("%s, %s: %s", page, mode, v)
		}
	}
	p.Go("/login")
	check("/login", "light")
	logInAt(p, r.people[store.Owner].Login)
	for _, dark := range []bool{false, true} {
		p.Dark(dark)
		for _, page := range pages {
			p.Go("/healthz") // so that an address with another # is loaded anew
			p.Go(page)
			check(page, map[bool]string{false: "light", true: "dark"}[dark])
		}
		// Forms that come back, each sent empty.
		for page, action := range map[string]string{"/jobs/new?fresh=1": "/jobs", "/shop": "/shop", "/people": "/people", "/me": "/me/password", "/vehicles/1": "/vehicles/1",
			at(job, "/account"): at(job, "/yes"), at(job, "?add=trim"): at(job, "/evidence"), at(job, "/photos"): at(job, "/photos"), "/readings": "/readings"} {
			p.Go("/healthz")
			p.Go(page)
			p.Leave(fmt.Sprintf(`
				const form = document.querySelector('form[method=post][action="%s"]');
				for (const box of form.querySelectorAll("input:not([type=hidden]):not([type=radio]):not([type=checkbox]):not([type=file]), textarea")) box.value = "";
				form.submit()`, action))
			if p.Count("#refused, .refused") == 0 {
				t.Errorf("%s sent empty to %s did not come back:\n%s", page, action, p.Text()[:300])
			}
			check(page+" come back", map[bool]string{false: "light", true: "dark"}[dark])
		}
	}
}

// TestKeyboard tabs through every page: everything that can be used is reached, and
// seen when it is.
func TestKeyboard(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	p := browsertest.Open(t, r.site.URL, browsertest.Desk)
	logInAt(p, r.people[store.Owner].Login)
	for _, page := range r.everyPage(job) {
		p.Go("/healthz")
		p.Go(page)
		browsertest.Eval[bool](p, `(() => {
			window.reached = new Set(); window.unseen = []; window.ends = 0;
			document.activeElement?.blur();
			return true;
		})()`)
		p.Tabs(400, `(() => {
			const e = document.activeElement;
			if (e === document.body || window.reached.has(e)) return e === document.body && ++window.ends > 2;
			window.reached.add(e);
			const s = getComputedStyle(e), l = getComputedStyle(e.closest("label") ?? e);
			if (s.outlineStyle === "none" && l.outlineStyle === "none") window.unseen.push(e.outerHTML.slice(0, 120));
			return false;
		})()`)
		missed := browsertest.Eval[[]string](p, `[...document.querySelectorAll("a[href], button, input, select, textarea, summary")]
			.filter((e) => e.checkVisibility({ visibilityProperty: true }) && !e.disabled && e.type !== "hidden" && e.tabIndex >= 0)
			.filter((e) => e.type !== "radio" || ![...document.getElementsByName(e.name)].some((o) => window.reached.has(o)))
			.filter((e) => !window.reached.has(e)).map((e) => e.outerHTML.slice(0, 120))`)
		if len(missed) > 0 {
			t.Errorf("%s: not reached by the tab key: %s", page, strings.Join(missed, "\n"))
		}
		if unseen := browsertest.Eval[[]string](p, `window.unseen`); len(unseen) > 0 {
			t.Errorf("%s: reached, but nothing shows it: %s", page, strings.Join(unseen, "\n"))
		}
	}
}

// TestFirstLoad measures a first visit to a job on a poor line and a slow tablet. The
// bytes are held to their bound; the times are told, since they are the machine's too.
func TestFirstLoad(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	for b := range 2 {
		r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: b + 1, State: "idle", ShortPct: new(8.0), LongPct: new(14.0)})
	}
	const loads = 5
	tech := r.people[store.Technician].ID
	for _, path := range []string{at(job, ""), at(job, "/bay")} {
		p, l := r.tablet(t, browsertest.Tablet, store.Technician)
		// The longer language: its page brings the scripts their words.
		if err := r.store.SetLanguage(t.Context(), tech, "es"); err != nil {
			t.Fatal(err)
		}
		l.Slow(1.6e6, 150*time.Millisecond)
		var times [4][]float64
		var got []float64
		for range loads {
			p.SlowProcessor(1)
			p.Go("/me")
			p.Forget()
			p.SlowProcessor(4)
			p.Go(path)
			p.UntilJS(`document.readyState === "complete" && performance.getEntriesByType("navigation")[0].loadEventEnd > 0`)
			if browsertest.Eval[bool](p, `performance.getEntriesByType("navigation")[0].workerStart > 0`) {
				t.Fatal("the service worker answered: this was no first load")
			}
			got = browsertest.Eval[[]float64](p, `(() => {
				const n = performance.getEntriesByType("navigation")[0];
				const parts = performance.getEntriesByType("resource").filter((r) => !/\/sw\.js|news|icon|manifest/.test(r.name));
				const paint = performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? 0;
				return [n.responseStart, paint, n.domInteractive, n.domContentLoadedEventEnd, n.transferSize + parts.reduce((s, r) => s + r.transferSize, 0), n.transferSize, parts.filter((r) => r.transferSize > 0).length];
			})()`)
			for i := range times {
				times[i] = append(times[i], got[i])
			}
			if got[6] < 5 {
				t.Errorf("%s: only %.0f files came over the line: this was no first load", path, got[6])
			}
			if got[4] > 60*1024 {
				t.Errorf("%s: %.0f bytes, want at most 60 KiB", path, got[4])
			}
		}
		if err := r.store.SetLanguage(t.Context(), tech, ""); err != nil {
			t.Fatal(err)
		}
		for i := range times {
			slices.Sort(times[i])
		}
		t.Logf("%s: %.1f kB (page %.1f kB); medians of %d, best in brackets: first byte %.0f (%.0f) ms, first paint %.0f (%.0f) ms, interactive %.0f (%.0f) ms, usable %.0f (%.0f) ms",
			path, got[4]/1000, got[5]/1000, loads, times[0][loads/2], times[0][0], times[1][loads/2], times[1][0], times[2][loads/2], times[2][0], times[3][loads/2], times[3][0])
	}
}
