package web

import (
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/web/browsertest"
)

// TestARecordingInTheBrowser sends a made-up recording by hand on both screens, looks
// at how it is read, writes it down and finds it in the log.
func TestARecordingInTheBrowser(t *testing.T) {
	dir := t.TempDir()
	scope := filepath.Join(dir, "warm idle.csv")
	slow := filepath.Join(dir, "slow.csv")
	for name, content := range map[string]string{scope: swing(30), slow: "Time (s),O2 B1S1 (V)\n0,0.1\n1,0.8\n2,0.2\n3,0.7\n4,0.1\n5,0.9\n6,0.2\n7,0.8\n8,0.1\n9,0.7\n10,0.2\n11,0.8\n12,0.3\n"} {
		if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, size := range []browsertest.Size{browsertest.Tablet, browsertest.Desk} {
		t.Run(fmt.Sprintf("at %d px", size.Width), func(t *testing.T) {
			r := newRig(t)
			job := r.job("P0420")
			p := browsertest.Open(t, r.site.URL, size)
			fits := func(name string) {
				t.Helper()
				p.Shot(name)
				p.Dark(true)
				p.Shot(name + "-dark")
				p.Dark(false)
				if small := p.SmallTargets(48); len(small) > 0 {
					t.Errorf("%s: smaller than 48 px: %s", name, strings.Join(small, "; "))
				}
				if o := p.Overflow(); o > 0 {
					t.Errorf("%s: %g px wider than the screen", name, o)
				}
			}
			p.Go("/login")
			p.Fill("Log-in name", "tomas")
			p.Fill("Password", password)
			p.Send("Log in")
			p.Go(at(job, ""))
			p.Send("Recording")
			fits("upload")
			p.Choose("A file", scope)
			p.Send("Send and look at it")
			p.Wants("warm idle.csv", "Ahead of and behind the converter", "How it is read", "Lean to rich, 300 to 600 mV")
			fits("reading")
			if n := browsertest.Eval[float64](p, `document.querySelectorAll(".pic-tools").length`); n != 1 {
				t.Errorf("%g sets of tools beside the picture", n)
			}
			p.Fill("The engine ran at", "2500 rpm")
			p.Send("Read it so")
			p.Wants("Bank 1, position 1. Signal at 2500 rpm")
			p.Send("Write it down")
			p.Wants("Signal from warm idle.csv")
			fits("capture")
			p.Go(at(job, ""))
			p.Wants("Measured from warm idle.csv")
			browsertest.Eval[bool](p, `(document.querySelector(".capture img").scrollIntoView(), true)`)
			p.UntilJS(`[...document.querySelectorAll(".capture img")].every((i) => i.complete && i.naturalWidth > 300)`)
			fits("job")

			p.Send("Recording")
			p.Choose("A file", slow)
			p.Send("Send and look at it")
			p.Wants("Too slow to judge transitions")
			fits("slow")
		})
	}
	t.Run("answers and pictures of the proof", func(t *testing.T) {
		r := newRig(t)
		job := r.job("P0171")
		b := r.as(store.Technician)
		p := browsertest.Open(t, r.site.URL, browsertest.Tablet)
		p.Go("/login")
		p.Fill("Log-in name", "tomas")
		p.Fill("Password", password)
		p.Send("Log in")
		p.Go(at(job, "?add=recording"))
		p.Fill("Or paste it here", "0101\n41 01 82 07 65 04\n03\n43 02 01 71 01 31\n0106\n41 06 8C\n0107\n41 07 A0\n0113\n41 13 33\n06\n46 01 01 0A 00 96 00 64 00 C8\n")
		p.Send("Send and look at it")
		p.Wants("P0171", "P0131", "Take over")
		p.Shot("responses")
		p.Send("Write it down")
		p.Wants("Answers of the car")
		p.Shot("answers-kept")

		r.entry(job, diag.Entry{Kind: diag.KindGas, State: "idle", COPct: new(0.4), CO2Pct: new(14.8), O2Pct: new(0.5), HCPpm: new(90.0)})
		r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: 1, State: "cruise", ShortPct: new(3.0), LongPct: new(8.0)})
		for i, content := range []string{swing(10), strings.ReplaceAll(swing(10), "0.1000", "0.0500")} {
			if i == 1 {
				r.repaired(job)
			}
			sent := b.sendFile(job, "", fmt.Sprintf("%d.csv", i), strings.NewReader(content)).want(t, 303)
			file := strings.Split(sent.location, "?")[0]
			b.post(file+"/keep", b.get(sent.location).fields(t, file+"/keep")).want(t, 303)
		}
		p.Go(at(job, ""))
		p.UntilJS(`(document.querySelectorAll("img").forEach((i) => { i.loading = "eager"; }), [...document.querySelectorAll("img")].every((i) => i.complete && i.naturalWidth > 300))`)
		if src := browsertest.Eval[string](p, `document.querySelector("#hand img")?.getAttribute("src") ?? ""`); !strings.Contains(src, "/overlay.svg") {
			t.Errorf("the proof shows %q", src)
		}
		if n := browsertest.Eval[float64](p, `document.querySelectorAll("#known figure img").length`); n != 2 {
			t.Errorf("%g pictures of what is known, want trims and the curve", n)
		}
		p.Shot("job-pictures")
	})
}

// repaired accepts, approves, mends and finishes.
func (r *rig) repaired(job int64) {
	r.t.Helper()
	r.override(job, "no_part")
	ctx, by := r.t.Context(), r.people[store.Technician].ID
	if err := r.store.Approve(ctx, by, job, "at the counter"); err != nil {
		r.t.Fatal(err)
	}
	b := r.as(store.Technician)
	b.post(at(job, "/mended"), url.Values{"cause": {"intake_leak_common/0/0"}, "mend_words": {"new boot"}}).want(r.t, 303)
	b.post(at(job, "/finish"), nil).want(r.t, 303)
}
