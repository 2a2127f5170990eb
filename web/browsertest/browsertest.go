// Package browsertest walks pages in a real Chromium as a person does: by what is
// written on them. Nothing but tests imports it.
//
// Without a browser a test skips, loudly; with CI=true it fails. CROSSCOUNT_SHOTS
// names a folder for pictures of the pages.
package browsertest

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"crosscount/diag/diagtest"
)

// Size is a screen.
type Size struct {
	Width, Height int64
	Touch         bool
}

// The screens of the shop.
var (
	Tablet = Size{820, 1180, true}
	Bench  = Size{1180, 820, true} // the tablet lying on its side
	Desk   = Size{1280, 900, false}
)

// Page is one tab.
type Page struct {
	t    testing.TB
	ctx  context.Context
	base string
	size Size
	n    int // pictures taken

	dark, print bool
}

const patience = 30 * time.Second // a loaded machine is slow, not broken

func find(t testing.TB) string {
	t.Helper()
	names := []string{os.Getenv("CHROME"), "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome"}
	for _, n := range names {
		if n == "" {
			continue
		}
		if p, err := exec.LookPath(n); err == nil {
			return p
		}
	}
	diagtest.Missing(t, "none of chromium, google-chrome or $CHROME is installed, so this walk through the pages was not made")
	return ""
}

// Need skips a test loudly where there is no browser; with CI=true it fails.
func Need(t testing.TB) { t.Helper(); find(t) }

// Open starts a browser with an empty profile at a screen size.
func Open(t testing.TB, base string, size Size) *Page {
	t.Helper()
	opts := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(find(t)),
		chromedp.UserDataDir(t.TempDir()),
		chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true),
		chromedp.Flag("hide-scrollbars", true),
	)
	if os.Geteuid() == 0 {
		opts = append(opts, chromedp.NoSandbox)
	}
	alloc, stop := chromedp.NewExecAllocator(context.WithoutCancel(t.Context()), opts...)
	ctx, cancel := chromedp.NewContext(alloc)
	t.Cleanup(func() {
		_ = chromedp.Cancel(ctx)
		cancel()
		stop()
	})
	p := &Page{t: t, ctx: ctx, base: base, size: size}
	p.start()
	return p
}

// Tab opens another tab of the same browser.
func (p *Page) Tab() *Page {
	p.t.Helper()
	ctx, cancel := chromedp.NewContext(p.ctx)
	p.t.Cleanup(cancel)
	two := &Page{t: p.t, ctx: ctx, base: p.base, size: p.size}
	two.start()
	return two
}

func (p *Page) start() {
	p.t.Helper()
	var with []chromedp.EmulateViewportOption
	if p.size.Touch {
		with = append(with, chromedp.EmulateTouch, chromedp.EmulateMobile)
	}
	// The first call starts the browser or the tab; a time limit on it would stop that.
	if err := chromedp.Do(p.ctx, chromedp.EmulateViewport(p.size.Width, p.size.Height, with...)); err != nil {
		p.t.Fatalf("starting the browser: %v", err)
	}
	p.media()
}

func (p *Page) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		p.t.Fatalf("%s: %v\n%s", what, err, p.short())
	}
}

// Eval runs an expression on the page and returns its value.
func Eval[T any](p *Page, js string) T {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js))
	if err != nil {
		p.t.Fatalf("evaluating %s: %v", js, err)
	}
	return v
}

// Wait runs an expression that is a promise and returns what it ends in.
func Wait[T any](p *Page, js string) T {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](js, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("waiting for %s: %v", js, err)
	}
	return v
}

// Go opens an address of the site.
func (p *Page) Go(path string) {
	p.t.Helper()
	p.do("opening "+path, chromedp.Navigate(p.base+path))
}

// Reload loads the page again.
func (p *Page) Reload() {
	p.t.Helper()
	Eval[bool](p, `window.beforeSend = true`)
	Eval[bool](p, `(location.reload(), true)`)
	p.waitNew("reload")
}

// Leave runs an expression that leads to a new page and waits for that page.
func (p *Page) Leave(js string) {
	p.t.Helper()
	Eval[bool](p, "(() => { window.beforeSend = true; "+js+"; return true; })()")
	p.waitNew(js)
}

// Forget empties the browser's caches and removes the service worker; cookies stay.
func (p *Page) Forget() {
	p.t.Helper()
	// The worker may still be on its way in; it is let in before it is sent away.
	Wait[bool](p, `(async () => {
		await navigator.serviceWorker.ready;
		for (const r of await navigator.serviceWorker.getRegistrations()) await r.unregister();
		for (const k of await caches.keys()) await caches.delete(k);
		return true;
	})()`)
	p.do("going away", chromedp.Navigate("about:blank"))
	p.do("emptying the cache", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := chromedp.Call(ctx, network.ClearBrowserCache, cdp.Empty{})
		return err
	}))
}

// Tabs presses the tab key at most most times, until an expression says that it is done.
func (p *Page) Tabs(most int, done string) {
	p.t.Helper()
	for range most {
		p.do("the tab key", chromedp.KeyEvent("\t"))
		if Eval[bool](p, done) {
			return
		}
	}
}

// Before runs a script on every page from now on, ahead of the page's own.
func (p *Page) Before(js string) {
	p.t.Helper()
	p.do("putting a script ahead", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		if _, err := chromedp.Call(ctx, page.Enable, page.EnableParams{}); err != nil {
			return err
		}
		_, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: js})
		return err
	}))
}

// ClockWrong sets the tablet's clock wrong by so much on every page from now on.
func (p *Page) ClockWrong(by time.Duration) {
	p.t.Helper()
	p.Before(fmt.Sprintf(`(() => {
		const Right = Date, by = %d;
		self.Date = class extends Right {
			constructor(...a) { if (a.length) super(...a); else super(Right.now() + by); }
			static now() { return Right.now() + by; }
		};
	})()`, by.Milliseconds()))
}

// Path is where the page is.
func (p *Page) Path() string {
	p.t.Helper()
	return Eval[string](p, `location.pathname + location.search + location.hash`)
}

func quote(s string) string {
	b, _ := json.Marshal(s)
	return string(b)
}

// js is what the helpers know of pages.
const js = `(() => {
	const norm = (s) => s.replace(/\s+/g, " ").trim();
	const shown = (e) => e.getClientRects().length > 0;
	const pick = (selector, text) => {
		const all = [...(document.querySelector("[data-within]") ?? document).querySelectorAll(selector)].filter(shown);
		return all.find((e) => norm(e.innerText) === text) ?? all.find((e) => norm(e.innerText).startsWith(text)) ?? all.find((e) => norm(e.innerText).includes(text));
	};
	const mark = (e) => {
		for (const old of document.querySelectorAll("[data-pick]")) old.removeAttribute("data-pick");
		if (!e) return false;
		e.setAttribute("data-pick", "");
		e.scrollIntoView({ block: "center", behavior: "instant" });
		return true;
	};
	return { norm, shown, pick, mark };
})()`

func (p *Page) mark(selector, text string) bool {
	return Eval[bool](p, fmt.Sprintf(`(({pick, mark}) => mark(pick(%s, %s)))(%s)`, quote(selector), quote(text), js))
}

// press presses what carries a text. A live page may be drawn anew between finding
// and pressing, which loses the mark; then it is found again.
func (p *Page) press(selector, text string) {
	p.t.Helper()
	hit := chromedp.Click(chromedp.CSS("[data-pick]"))
	if p.size.Touch {
		hit = chromedp.Tap(chromedp.CSS("[data-pick]"))
	}
	for end := time.Now().Add(patience); ; {
		if !p.mark(selector, text) {
			if time.Now().After(end) {
				p.t.Fatalf("there is nothing to press that says %q\n%s", text, p.short())
			}
			time.Sleep(50 * time.Millisecond)
			continue
		}
		ctx, cancel := context.WithTimeout(p.ctx, patience/3)
		err := chromedp.Do(ctx, hit)
		cancel()
		if err == nil {
			return
		}
		if time.Now().After(end) {
			p.t.Fatalf("pressing %s: %v\n%s", text, err, p.short())
		}
	}
}

// Press presses what carries a text: a link, a button, the head of a folded part, a
// choice. It does not wait for a new page.
func (p *Page) Press(text string) {
	p.t.Helper()
	p.press("a, button, summary, label", text)
}

// Send presses a link or button and waits for the page it leads to.
func (p *Page) Send(text string) {
	p.t.Helper()
	Eval[bool](p, `window.beforeSend = true`)
	p.press("a, button", text)
	p.waitNew(text)
}

// within narrows the next search for a label or something to press to one element.
func (p *Page) within(id string, do func()) {
	p.t.Helper()
	Eval[bool](p, "(document.getElementById("+quote(id)+")?.setAttribute(\"data-within\", \"\"), true)")
	do()
	Eval[bool](p, `(document.querySelector("[data-within]")?.removeAttribute("data-within"), true)`)
}

// PressIn is Press within one section.
func (p *Page) PressIn(id, text string) { p.t.Helper(); p.within(id, func() { p.Press(text) }) }

// SendIn is Send within one section.
func (p *Page) SendIn(id, text string) { p.t.Helper(); p.within(id, func() { p.Send(text) }) }

// FillIn is Fill within one section.
func (p *Page) FillIn(id, label, value string) {
	p.t.Helper()
	p.within(id, func() { p.Fill(label, value) })
}

func (p *Page) waitNew(text string) {
	p.t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(15 * time.Millisecond) {
		ctx, cancel := context.WithTimeout(p.ctx, patience)
		done, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`!window.beforeSend && document.readyState === "complete"`))
		cancel()
		if err == nil && done {
			return
		}
	}
	p.t.Fatalf("pressing %q led to no new page\n%s", text, p.short())
}

// Fill types a value into the field with a label.
func (p *Page) Fill(label, value string) {
	p.t.Helper()
	ok := Eval[bool](p, fmt.Sprintf(`(({pick, mark}) => {
		const label = pick("label", %s);
		const box = label && (label.control ?? document.getElementById(label.htmlFor));
		if (!box) return false;
		if (box.tagName === "SELECT") {
			const o = [...box.options].find((o) => o.text === %[2]s) ?? [...box.options].find((o) => o.text.startsWith(%[2]s));
			if (!o) return false;
			box.value = o.value;
			return true;
		}
		box.value = "";
		return mark(box);
	})(%[3]s)`, quote(label), quote(value), js))
	if !ok {
		p.t.Fatalf("there is no field %q that takes %q\n%s", label, value, p.short())
	}
	if Eval[bool](p, `document.querySelector("[data-pick]")?.matches("input, textarea") ?? false`) {
		p.do("typing into "+label, chromedp.SendKeys(chromedp.CSS("[data-pick]"), value))
	}
}

// FillField types a value into the field of a name, where labels alone do not tell.
func (p *Page) FillField(name, value string) {
	p.t.Helper()
	if p.Count("[name='"+name+"']") != 1 {
		p.t.Fatalf("there is no single field named %q\n%s", name, p.short())
	}
	p.do("typing into "+name, chromedp.SendKeys(chromedp.CSS("[name='"+name+"']"), value))
}

// Choose picks a file in the field with a label.
func (p *Page) Choose(label, file string) {
	p.t.Helper()
	ok := Eval[bool](p, fmt.Sprintf(`(({pick, mark}) => { const l = pick("label", %s); return mark(l && document.getElementById(l.htmlFor)); })(%s)`, quote(label), js))
	if !ok {
		p.t.Fatalf("there is no field %q\n%s", label, p.short())
	}
	p.do("choosing "+file, chromedp.SetUploadFiles(chromedp.CSS("[data-pick]"), []string{file}))
}

// Text is what a person reads on the page.
func (p *Page) Text() string {
	p.t.Helper()
	return Eval[string](p, `document.body.innerText.replace(/\s+/g, " ")`)
}

// Count is how many elements a selector finds.
func (p *Page) Count(selector string) int {
	p.t.Helper()
	return Eval[int](p, "document.querySelectorAll("+quote(selector)+").length")
}

// Until waits for something to become true and fails if it does not.
func (p *Page) Until(what string, is func() bool) {
	p.t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if is() {
			return
		}
	}
	p.t.Fatalf("never: %s\n%s", what, p.short())
}

// SlowProcessor makes the page's processor so many times slower.
func (p *Page) SlowProcessor(times float64) {
	p.t.Helper()
	p.do("slowing the processor", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: times})
		return err
	}))
}

// Section is what a person reads in one section.
func (p *Page) Section(id string) string {
	p.t.Helper()
	return Eval[string](p, fmt.Sprintf(`(document.getElementById(%s)?.innerText ?? "").replace(/\s+/g, " ")`, quote(id)))
}

// Wants fails unless the page holds each text.
func (p *Page) Wants(texts ...string) {
	p.t.Helper()
	all := p.Text()
	for _, s := range texts {
		if !strings.Contains(all, s) {
			p.t.Errorf("the page lacks %q\n%s", s, p.short())
		}
	}
}

func (p *Page) short() string {
	ctx, cancel := context.WithTimeout(p.ctx, 5*time.Second)
	defer cancel()
	s, err := chromedp.Run(ctx, chromedp.Evaluate[string](`location.href + "\n" + document.body.innerText.slice(0, 6000)`))
	if err != nil {
		return ""
	}
	return s
}

// Dark sets what the device prefers.
func (p *Page) Dark(dark bool) {
	p.t.Helper()
	p.dark = dark
	p.media()
}

// Print shows the page as it would be printed.
func (p *Page) Print() {
	p.t.Helper()
	p.print = true
	p.media()
}

// PDF prints the page as the browser's own print button does, on the paper that the page
// asks for.
func (p *Page) PDF() []byte {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(p.ctx, patience)
	defer cancel()
	var out []byte
	err := chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		r, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: new(true)})
		if err == nil {
			out = r.Data
		}
		return err
	}))
	if err != nil {
		p.t.Fatalf("printing: %v\n%s", err, p.short())
	}
	return out
}

// media tells the browser what the device prefers. Motion is off, since what still
// scrolls cannot be pressed.
func (p *Page) media() {
	p.t.Helper()
	params := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-reduced-motion", Value: "reduce"}, {Name: "prefers-color-scheme", Value: "light"}}}
	if p.dark {
		params.Features[1].Value = "dark"
	}
	if p.print {
		params.Media = "print"
	}
	p.do("setting the device's preferences", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, params)
		return err
	}))
}

// Shot takes a picture of the whole page, if CROSSCOUNT_SHOTS names a folder.
func (p *Page) Shot(name string) {
	p.t.Helper()
	dir := os.Getenv("CROSSCOUNT_SHOTS")
	if dir == "" {
		return
	}
	ctx, cancel := context.WithTimeout(p.ctx, 2*patience)
	defer cancel()
	b, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	if err != nil {
		p.t.Fatalf("picture of %s: %v", name, err)
	}
	p.n++
	if err := os.MkdirAll(dir, 0o755); err != nil {
		p.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%02d-%s-%d.png", p.n, name, p.size.Width)), b, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// SmallTargets lists what can be pressed but is smaller than a gloved finger needs.
// Links within running text are let through, as WCAG 2.5.8 does.
func (p *Page) SmallTargets(least float64) []string {
	p.t.Helper()
	return Eval[[]string](p, fmt.Sprintf(`(({norm, shown}) => [...document.querySelectorAll("a, button, summary, input, select, textarea")]
		.filter(shown)
		.filter((e) => !(e.tagName === "A" && getComputedStyle(e).display === "inline"))
		.filter((e) => e.type !== "hidden")
		.map((e) => (e.type === "radio" || e.type === "checkbox") ? e.closest("label") ?? e : e)
		.map((e) => [e, e.getBoundingClientRect()])
		.filter(([e, r]) => r.height < %g || r.width < %g)
		.filter(([e, r]) => r.right > 0 && !e.classList.contains("skip"))
		.map(([e, r]) => e.tagName + " " + norm(e.innerText || e.name || "") + " " + Math.round(r.width) + "x" + Math.round(r.height)))(%s)`, least, least, js))
}

// Overflow says by how many pixels the page is wider than the screen.
func (p *Page) Overflow() float64 {
	p.t.Helper()
	return Eval[float64](p, `document.documentElement.scrollWidth - document.documentElement.clientWidth`)
}

// UntilJS waits until an expression on the page is true.
func (p *Page) UntilJS(js string) {
	p.t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(15 * time.Millisecond) {
		if Eval[bool](p, js) {
			return
		}
	}
	p.t.Fatalf("it did not come true: %s\n%s", js, p.short())
}

// NotInstallable says why the browser would not put the site on a home screen.
func (p *Page) NotInstallable() []string {
	p.t.Helper()
	var out []string
	p.do("asking whether it installs", chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		r, err := chromedp.Call(ctx, page.GetInstallabilityErrors, cdp.Empty{})
		for _, e := range r.InstallabilityErrors {
			out = append(out, e.ErrorID)
		}
		return err
	}))
	return out
}
