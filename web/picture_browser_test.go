package web

import (
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"crosscount/diag/picture"
	"crosscount/static"
	"crosscount/web/browsertest"
)

// TestPicturesInTheBrowser shows recordings under the site's own headers and style
// sheet, on a tablet and on a desk, and works the script's tools by key and touch.
func TestPicturesInTheBrowser(t *testing.T) {
	trace := func(n int, f func(x float64) float64) *picture.Trace {
		tr := picture.NewTrace(0)
		for i := range n {
			x := float64(i) / 1000
			tr.Add([]float64{x}, []float64{f(x)}, i == 15000)
		}
		return tr
	}
	levels := []picture.Level{{Value: 0.45, Label: "0.45 V middle"}, {Value: 0.8, Label: "0.80 V rich"}}
	ramp := picture.Series{Label: "B1S1", Trace: trace(20001, func(x float64) float64 { return x / 20 })}
	quiet := picture.Series{Label: "B1S2", Trace: trace(20001, func(x float64) float64 { return 0.68 + 0.02*math.Sin(x) })}
	plot := picture.Capture(picture.Frame{Title: "Bank 1 sensor 1, a known ramp"}, "V", levels, ramp)
	plot.Marks = []picture.Mark{{At: 12, Label: "fuel added"}}
	hostile := picture.Capture(picture.Frame{Title: `<script>document.title="broken"</script>`}, "V", nil,
		picture.Series{Label: `"><img src=x onerror='document.title="broken"'>`, Trace: quiet.Trace})
	trims := picture.Trims{Frame: picture.Frame{Title: "Fuel trims by state"}, Levels: []picture.Level{{Value: -10, Label: "−10 %"}, {Value: 10, Label: "+10 %"}},
		Rows: []picture.TrimRow{{State: "2500 rpm, no load", Bank: "bank 1", Dots: []picture.Dot{{Name: "short", Value: 3.1, Uncertainty: 0.9, Note: "n 88"}, {Name: "long", Value: 17.2, Uncertainty: 0.4}}}}}
	curve := picture.Curve{Frame: picture.Frame{Title: "Voltage against lambda"}, Lines: []picture.CurveLine{{Label: "at 700 °C", Lambda: []float64{0.9, 0.99, 1, 1.01, 1.1}, At: []float64{0.88, 0.8, 0.5, 0.12, 0.06}}},
		Readings: []picture.CurvePoint{{Label: "measured", Lambda: 0.95, LambdaUnc: 0.01, Volts: 0.3, VoltsUnc: 0.02}}}

	var body strings.Builder
	for _, svg := range [][]byte{plot.SVG(),
		picture.Pair(picture.Frame{Title: "Ahead of and behind the converter"}, "V", levels, ramp, quiet).SVG(),
		picture.Overlay(picture.Frame{Title: "Before and after the repair"}, "V", levels, quiet, ramp).SVG(),
		trims.SVG(), curve.SVG(), hostile.SVG()} {
		fmt.Fprintf(&body, "<figure>%s</figure>\n", svg)
	}
	mux := http.NewServeMux()
	mux.Handle(static.Prefix, static.Handler())
	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		fmt.Fprintf(w, `<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Pictures</title><link rel="stylesheet" href="%s"><script type="module" src="%s"></script></head><body><main id="main"><div class="head"><div class="side"></div><div class="body">%s</div></div></main></body></html>`,
			static.URL("app.css"), static.URL("picture.js"), body.String())
	})
	site := httptest.NewServer(secured(false)(mux))
	t.Cleanup(site.Close)

	for _, size := range []browsertest.Size{browsertest.Tablet, browsertest.Desk} {
		t.Run(fmt.Sprintf("at %d px", size.Width), func(t *testing.T) {
			p := browsertest.Open(t, site.URL, size)
			p.Go("/")
			readout := func() string {
				return browsertest.Eval[string](p, `document.querySelector(".pic-tools output").textContent`)
			}
			for _, dark := range []bool{false, true} {
				p.Dark(dark)
				p.Shot(fmt.Sprintf("pictures-dark-%v", dark))
			}
			if small := p.SmallTargets(48); len(small) > 0 {
				t.Errorf("smaller than 48 px: %s", strings.Join(small, "; "))
			}
			if o := p.Overflow(); o > 0 {
				t.Errorf("%g px wider than the screen", o)
			}
			if title := browsertest.Eval[string](p, "document.title"); title != "Pictures" {
				t.Errorf("text became markup: the title is %q", title)
			}
			if n := browsertest.Eval[float64](p, `document.querySelectorAll("img").length`); n != 0 {
				t.Errorf("%g pictures of a hostile label", n)
			}
			// colours come from the page: the trace is drawn in the accent
			if same := browsertest.Eval[bool](p, `(() => { const probe = document.createElement("i"); probe.className = "probe"; document.body.append(probe);
				const want = getComputedStyle(document.documentElement).getPropertyValue("--accent").trim();
				const c = document.createElement("canvas").getContext("2d"); c.fillStyle = want; const hex = c.fillStyle;
				c.fillStyle = getComputedStyle(document.querySelector(".pic-trace")).stroke; return c.fillStyle === hex; })()`); !same {
				t.Error("the trace does not take the page's accent colour")
			}

			if got := readout(); !strings.HasPrefix(got, "10.00 s · B1S1: 0.500") {
				t.Errorf("at first: %q", got)
			}
			slide := func(v int) {
				browsertest.Eval[bool](p, fmt.Sprintf(`(() => { const s = document.querySelector(".pic-tools input"); s.value = %d; s.dispatchEvent(new Event("input")); return true; })()`, v))
			}
			key := func(k string) {
				browsertest.Eval[bool](p, fmt.Sprintf(`(() => { document.querySelector(".pic-tools input").dispatchEvent(new KeyboardEvent("keydown", {key: %q, bubbles: true, cancelable: true})); return true; })()`, k))
			}
			slide(250)
			if got := readout(); !strings.HasPrefix(got, "5.00") || !strings.Contains(got, "B1S1: 0.250") {
				t.Errorf("at a quarter: %q", got)
			}
			key("+")
			key("+")
			shown := browsertest.Eval[string](p, `[...document.querySelector(".pic-x").querySelectorAll("text")].map((e) => e.textContent).join(" ")`)
			// a quarter of 20 s around 5 s, which keeps its place a quarter along
			if shown != "4 5 6 7 8" {
				t.Errorf("the axis looked at closely reads %q", shown)
			}
			if got := readout(); !strings.Contains(got, "B1S1: 0.250") {
				t.Errorf("looking closer moved the cursor: %q", got)
			}
			// where the trace is drawn must agree with what the axis says
			off := browsertest.Eval[float64](p, `(() => {
				const svg = document.querySelector(".picture"), path = svg.querySelector(".pic-trace");
				const m = path.transform.baseVal.consolidate().matrix, x0 = Number(path.dataset.x0), dx = Number(path.dataset.dx);
				const texts = [...svg.querySelectorAll(".pic-x text")];
				return Math.max(...texts.map((e) => Math.abs(m.e + m.a * ((Number(e.textContent) - x0) / dx) - Number(e.getAttribute("x")))));
			})()`)
			if !(off < 0.05) {
				t.Errorf("trace and axis disagree by %g units", off)
			}
			p.Shot("pictures-close")
			key("Escape")
			if got := browsertest.Eval[string](p, `document.querySelector(".pic-x").textContent`); !strings.Contains(got, "20") {
				t.Errorf("the whole recording does not come back: %q", got)
			}
			// the gap at 15 s is one sample long and must not swallow its neighbours
			slide(900)
			if got := readout(); !strings.Contains(got, "B1S1: 0.900") {
				t.Errorf("behind the gap: %q", got)
			}
			// a touch on the picture moves the cursor
			browsertest.Eval[bool](p, `(() => { const svg = document.querySelector(".picture"), r = svg.getBoundingClientRect(), k = r.width / svg.viewBox.baseVal.width;
				const left = Number(svg.dataset.left), right = Number(svg.dataset.right);
				svg.dispatchEvent(new PointerEvent("pointerdown", {clientX: r.left + k * (left + (right - left) * 0.75), clientY: r.top + 100, bubbles: true, pointerType: "touch"})); return true; })()`)
			if got := readout(); !strings.Contains(got, "B1S1: 0.7") {
				t.Errorf("touching at three quarters reads %q", got)
			}
		})
	}
}
