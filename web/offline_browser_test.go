package web

import (
	"bytes"
	"fmt"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/static"
	"crosscount/store"
	"crosscount/web/browsertest"
)

// openForm opens a form of the bay page.
func openForm(p *browsertest.Page, bay, key string) {
	p.Go(bay + "#f-" + key)
	p.Until("the form is there", func() bool { return p.Count("#f-"+key+" form") == 1 })
}

func writeLambda(p *browsertest.Page, bay, v string) {
	openForm(p, bay, "lambda")
	p.Fill("Lambda", v)
	p.Press("Write it down")
	p.Until(v+" is on the page", func() bool { return strings.Contains(p.Section("log"), v) })
}

func (r *rig) files(job int64) []store.File {
	r.t.Helper()
	f, err := r.store.Files(r.t.Context(), job)
	if err != nil {
		r.t.Fatal(err)
	}
	return f
}

func (r *rig) photos(job int64) []store.Photo {
	r.t.Helper()
	f, err := r.store.JobFile(r.t.Context(), job)
	if err != nil {
		r.t.Fatal(err)
	}
	return f.Photos
}

func TestOffline(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	for b := range 2 {
		r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: b + 1, State: "idle", ShortPct: new(8.0), LongPct: new(14.0)})
	}
	bay := at(job, "/bay")
	dir := t.TempDir()
	keep := func(name string, b []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	picture := keep("tip.jpg", asJPEG(t, halves(1200, 900)))
	recording := keep("warm idle.csv", []byte(swing(30)))

	t.Run("a photo and a recording wait through a reload and arrive once, in order", func(t *testing.T) {
		p, l := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay)
		keptPages(p, bay, at(job, "/photos"), "/tablet")
		l.Cut()
		openForm(p, bay, "recording")
		p.Choose("A file", recording)
		p.Press("Send and look at it")
		p.Until("the recording waits", func() bool { return p.Count("#log .own.waiting") == 1 })
		p.Shot("offline-recording")
		p.Go(at(job, "/photos"))
		p.Choose("The photo", picture)
		p.Press("Keep the photo")
		p.Until("both wait", func() bool { return strings.Contains(p.Text(), "2 wait") })
		writeLambda(p, bay, "0.97")
		p.Go("/tablet")
		p.Until("the tablet lists all three", func() bool { return p.Count("#items-waiting .what") == 3 })
		p.Shot("offline-tablet")
		if len(r.files(job))+len(r.photos(job)) != 0 {
			t.Fatal("something arrived over a link that is cut")
		}
		l.Mend()
		p.Until("all arrived", func() bool { return p.Count("#items-arrived .what") == 3 && p.Count("#items-waiting .what") == 0 })
		files, photos, log := r.files(job), r.photos(job), r.entries(job)
		if len(files) != 1 || files[0].Name != "warm idle.csv" || files[0].Size != int64(len(swing(30))) {
			t.Errorf("files: %+v", files)
		}
		if len(photos) != 1 || photos[0].Subject != "tip" {
			t.Errorf("photos: %+v", photos)
		}
		if last := log[len(log)-1]; !files[0].At.Before(photos[0].At) || !photos[0].At.Before(last.ReceivedAt) {
			t.Errorf("out of order: recording %v, photo %v, entry %v", files[0].At, photos[0].At, last.ReceivedAt)
		}
		p.Send("See how it is read")
		p.Wants("warm idle.csv", "How it is read")
		p.Go(bay + "#log")
		p.Wants("Recordings that nobody has read yet", "warm idle.csv")
	})

	t.Run("a recording sent with a network is looked at at once, and one that no one can read comes back", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		openForm(p, bay, "recording")
		p.Fill("Or paste it here", "no numbers at all")
		p.Press("Send and look at it")
		p.Until("it came back", func() bool { return p.Count("#log .own.refused") == 1 })
		p.Send("Mend it")
		p.Until("the text is back", func() bool {
			return browsertest.Eval[string](p, `document.querySelector("#f-recording textarea")?.value ?? ""`) == "no numbers at all"
		})
		p.Wants("It came back. What you typed is here again.")
		p.Fill("Or paste it here", "Time (s),O2 B1S1 (V)\n0,0.1\n0.1,0.8\n0.2,0.2\n0.3,0.7\n0.4,0.1\n0.5,0.8\n0.6,0.2\n")
		p.Send("Send and look at it")
		p.Wants("pasted.txt", "How it is read")
	})

	t.Run("a tap is on the page in the same turn, before the tablet's disk or the shop answers", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		p.SlowProcessor(4)
		p.Go(bay)
		var took []float64
		for i := range 9 {
			had := len(r.entries(job))
			openForm(p, bay, "lambda")
			p.Fill("Lambda", fmt.Sprintf("1.2%d", i))
			on := browsertest.Eval[string](p, `(() => {
				document.querySelector("#f-lambda form button.button").click();
				return [document.querySelector("#log .own.waiting:last-child")?.innerText ?? "", document.getElementById("said")?.innerText ?? "", location.hash].join(" / ");
			})()`)
			if n := strings.Count(on, fmt.Sprintf("Lambda 1.2%d", i)); n != 2 || !strings.HasSuffix(on, " / #log") {
				t.Fatalf("tap %d: when it is over the page shows %q, want the entry, the note and the log", i+1, on)
			}
			took = append(took, browsertest.Eval[float64](p, `performance.getEntriesByName("tap to page").at(-1).duration`))
			p.Until("it arrived", func() bool { return len(r.entries(job)) == had+1 && p.Count("[data-item].waiting") == 0 })
		}
		slices.Sort(took)
		t.Logf("tap to page with a network, processor 4 times slower: median %.1f ms, most %.1f ms", took[len(took)/2], took[len(took)-1])
	})

	t.Run("a slow disk loses neither of two entries from one form, nor what is typed meanwhile", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		openForm(p, bay, "lambda")
		had := len(r.entries(job))
		browsertest.Eval[bool](p, `(() => {
			const open = IDBDatabase.prototype.transaction;
			IDBDatabase.prototype.transaction = function (...a) {
				const tx = open.apply(this, a);
				if (a[1] === "readwrite") { // kept busy for a while
					const end = performance.now() + 700, s = tx.objectStore("items");
					const spin = () => { if (performance.now() < end) s.count().onsuccess = spin; };
					spin();
				}
				return tx;
			};
			const form = document.querySelector("#f-lambda form");
			for (const v of ["1.301", "1.302"]) {
				form.elements.value.value = v;
				form.requestSubmit();
			}
			form.elements.value.value = "1.3";
			return true;
		})()`)
		p.Until("both arrived", func() bool { return len(r.entries(job)) == had+2 && p.Count("[data-item].waiting") == 0 })
		if v := browsertest.Eval[string](p, `document.querySelector("#f-lambda [name=value]").value`); v != "1.3" {
			t.Errorf("the form holds %q, want what was typed after the second", v)
		}
		if log := r.entries(job); *log[had].Body.Value != 1.301 || *log[had+1].Body.Value != 1.302 {
			t.Errorf("the log has %g, then %g", *log[had].Body.Value, *log[had+1].Body.Value)
		}
	})

	t.Run("a full disk takes nothing away: the form is as it was and can go directly", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		openForm(p, bay, "lambda")
		had := len(r.entries(job))
		fill := `IDBObjectStore.prototype.add = function () { throw new DOMException("no room", "QuotaExceededError"); }; true`
		browsertest.Eval[bool](p, fill)
		p.Fill("Lambda", "0.93")
		p.Press("Write it down")
		p.Until("it says so", func() bool { return strings.Contains(p.Section("f-lambda"), "This tablet's storage is full") })
		if v := browsertest.Eval[string](p, `document.querySelector("#f-lambda [name=value]").value`); v != "0.93" {
			t.Errorf("the form holds %q", v)
		}
		if p.Count("#log .own") != 0 || p.Count("#said") != 0 || len(r.entries(job)) != had {
			t.Error("the page says that it was written down")
		}
		p.Shot("bay-full-disk")
		p.Send("Send it directly")
		if log := r.entries(job); len(log) != had+1 || *log[had].Body.Value != 0.93 {
			t.Errorf("%d entries, want %d", len(log), had+1)
		}

		// The card of the next test comes back too.
		p.Go(bay + "#next")
		browsertest.Eval[bool](p, fill)
		first := browsertest.Eval[string](p, `document.querySelector("#next .next h3").innerText`)
		p.Press("Cannot do this here")
		p.Press("Show the next best")
		p.Until("it says so", func() bool { return strings.Contains(p.Section("next"), "storage is full") })
		if now := browsertest.Eval[string](p, `document.querySelector("#next .next h3").innerText`); now != first {
			t.Errorf("the card shows %q, want %q", now, first)
		}
		openForm(p, bay, "recording")
		browsertest.Eval[bool](p, fill)
		p.Choose("A file", recording)
		p.Press("Send and look at it")
		p.Until("the recording's form says so", func() bool { return strings.Contains(p.Section("f-recording"), "storage is full") })
		if n := browsertest.Eval[string](p, `document.querySelector("#f-recording [type=file]").files[0]?.name ?? ""`); n != "warm idle.csv" {
			t.Errorf("the form holds the file %q", n)
		}
		p.Go(at(job, "/photos"))
		browsertest.Eval[bool](p, fill)
		p.Choose("The photo", picture)
		p.Press("Keep the photo")
		p.Until("the photo's form says so", func() bool { return strings.Contains(p.Text(), "storage is full") })
		had = len(r.photos(job))
		p.Send("Keep the photo")
		if n := len(r.photos(job)); n != had+1 {
			t.Errorf("%d photos after sending it directly, want %d", n, had+1)
		}
	})

	t.Run("an update of the site in the middle loses nothing and says that it is there", func(t *testing.T) {
		p, l := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay)
		keptPages(p, bay)
		had := len(r.entries(job))
		l.Cut()
		writeLambda(p, bay, "0.961")
		openForm(p, bay, "fuel_pressure")
		p.Fill("Pressure", "3") // half typed
		l.Becomes(static.Version(), strings.Repeat("f", len(static.Version())))
		l.Mend()
		p.Until("it arrived", func() bool { return len(r.entries(job)) == had+1 })
		p.Until("the page says that there is a newer one", func() bool { return strings.Contains(p.Text(), "A newer version of Crosscount is ready") })
		if v := browsertest.Eval[string](p, `document.querySelector("#f-fuel_pressure [name=kpa]").value`); v != "3" {
			t.Errorf("the form holds %q, want what was typed", v)
		}
		p.Shot("bay-newer")
		p.Reload()
		p.Until("the new worker took over", func() bool {
			return browsertest.Wait[bool](p, `caches.keys().then((k) => k.some((n) => n.startsWith("files-fff")))`)
		})
		l.Cut()
		p.Go(bay)
		p.Until("the page of the new version works without a network", func() bool {
			return strings.Contains(p.Section("log"), "0.961") && strings.Contains(p.Text(), "No network")
		})
		writeLambda(p, bay, "0.962")
		l.Mend()
		p.Until("what was written on it arrives", func() bool { return len(r.entries(job)) == had+2 })
	})

	for _, by := range []time.Duration{48 * time.Hour, -48 * time.Hour} {
		t.Run(fmt.Sprintf("a clock wrong by %v is told and does not reach the log", by), func(t *testing.T) {
			p, l := r.tablet(t, browsertest.Tablet, store.Technician)
			p.ClockWrong(by)
			p.Go(bay)
			keptPages(p, bay)
			had := len(r.entries(job))
			began := time.Now()
			l.Cut()
			writeLambda(p, bay, "1.041")
			writeLambda(p, bay, "1.042")
			l.Mend()
			p.Until("both arrived", func() bool { return len(r.entries(job)) == had+2 })
			p.Until("it is told", func() bool {
				return strings.Contains(p.Text(), "This tablet's clock is 2 days "+map[bool]string{true: "ahead", false: "behind"}[by > 0])
			})
			log := r.entries(job)[had:]
			for i, e := range log {
				if want := []float64{1.041, 1.042}[i]; *e.Body.Value != want {
					t.Errorf("entry %d is %g, want %g", i, *e.Body.Value, want)
				}
				if e.ClientAt.Before(began.Add(-2*time.Second)) || e.ClientAt.After(time.Now()) {
					t.Errorf("written at %v, want after %v", e.ClientAt, began)
				}
			}
			if log[1].ClientAt.Before(log[0].ClientAt) {
				t.Error("the second was written before the first")
			}
		})
	}

	t.Run("logging out keeps what waits for the one who wrote it", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Before(`(() => {
			const way = window.fetch;
			window.fetch = (to, how) => localStorage.getItem("cut") && String(to).includes("/api/entries") ? Promise.reject(new TypeError("no way")) : way.call(window, to, how);
		})()`)
		had := len(r.entries(job))
		p.Go(bay)
		browsertest.Eval[bool](p, `(localStorage.setItem("cut", "yes"), true)`)
		writeLambda(p, bay, "0.881")
		p.Send("Log out")
		logInAt(p, "olga")
		browsertest.Eval[bool](p, `(localStorage.removeItem("cut"), true)`)
		p.Go("/tablet")
		p.Until("the lists are drawn", func() bool { return strings.Contains(p.Text(), "Nothing waits.") })
		if s := p.Text(); strings.Contains(s, "0.881") {
			t.Errorf("another person sees it: %s", s)
		}
		p.Go(bay)
		writeLambda(p, bay, "0.882")
		p.Until("the other's own entry arrives", func() bool { return len(r.entries(job)) == had+1 })
		p.Send("Log out")
		logInAt(p, "tomas")
		p.Until("what waited goes out", func() bool { return len(r.entries(job)) == had+2 })
		if e := r.entries(job)[had+1]; e.EnteredByName != "Tomas Tech" || *e.Body.Value != 0.881 {
			t.Errorf("%g by %s", *e.Body.Value, e.EnteredByName)
		}
	})

	t.Run("what was written for a job closed meanwhile comes back, and goes when the job is opened again", func(t *testing.T) {
		sold, owner := r.second(), r.people[store.Owner].ID
		p, l := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(at(sold, "/bay"))
		keptPages(p, at(sold, "/bay"), at(sold, "/photos"), "/tablet")
		had := len(r.entries(sold))
		l.Cut()
		writeLambda(p, at(sold, "/bay"), "0.951")
		p.Go(at(sold, "/photos"))
		p.Choose("The photo", picture)
		p.Press("Keep the photo")
		p.Until("both wait", func() bool { return strings.Contains(p.Text(), "2 wait") })
		if err := r.store.CancelJob(t.Context(), owner, sold, "sold"); err != nil {
			t.Fatal(err)
		}
		l.Mend()
		p.Go("/tablet")
		p.Until("both came back", func() bool { return p.Count("#items-refused .what") == 2 })
		p.Wants("The job was closed meanwhile", "Lambda 0.951")
		p.Shot("offline-closed")
		p.Reload()
		p.Until("both are still there", func() bool { return p.Count("#items-refused .what") == 2 })
		if n := len(r.entries(sold)); n != had {
			t.Fatalf("%d entries in a closed job, want %d", n, had)
		}
		if err := r.store.ReopenJob(t.Context(), owner, sold, "not sold after all"); err != nil {
			t.Fatal(err)
		}
		for left := 1; left >= 0; left-- {
			p.Press("Send it again")
			p.Until("it arrived", func() bool { return p.Count("#items-refused .what") == left && p.Count("#items-waiting .what") == 0 })
		}
		if len(r.entries(sold)) != had+1 || len(r.photos(sold)) != 1 {
			t.Errorf("%d entries, want %d; %d photos", len(r.entries(sold)), had+1, len(r.photos(sold)))
		}
	})

	t.Run("a photo comes from the camera or from a file", func(t *testing.T) {
		p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(at(job, "/photos"))
		browsertest.Eval[bool](p, `(() => {
			const box = document.querySelector("#photo [type=file]");
			window.asked = [];
			box.addEventListener("click", (event) => { window.asked.push(box.getAttribute("capture") ?? ""); event.preventDefault(); });
			box.click();
			return true;
		})()`)
		p.Press("Open the camera")
		browsertest.Eval[bool](p, `(document.querySelector("#photo [type=file]").click(), true)`)
		if got := strings.Join(browsertest.Eval[[]string](p, `window.asked`), "|"); got != "|environment|" {
			t.Errorf("asked for %q", got)
		}
	})

	for _, x := range []struct {
		name, file string
		content    []byte
		say        string
		back       bool // the shop refused it; else the tablet did, and the form still has it
	}{
		{"an SVG renamed .jpg", "drawn.jpg", []byte(`<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10"><script>alert(1)</script></svg>`), "neither JPEG, PNG nor WebP", true},
		{"HTML renamed .jpg", "page.jpg", []byte("<!DOCTYPE html><script>alert(1)</script>"), "neither JPEG, PNG nor WebP", true},
		{"a picture of 30,000 by 30,000", "wide.png", hugePNG(30000, 30000), "30000 × 30000 pixels", true},
		{"60 MB that no tablet can shrink", "large.jpg", bytes.Repeat([]byte{0xff, 0xd8, 0x01}, 20<<20), "larger than 40 MB and cannot be shrunk here", false},
	} {
		t.Run("the photo "+x.name+" is refused in words and not lost", func(t *testing.T) {
			p, _ := r.tablet(t, browsertest.Tablet, store.Technician)
			had := len(r.photos(job))
			p.Go(at(job, "/photos"))
			p.Choose("The photo", keep(x.file, x.content))
			p.Press("Keep the photo")
			if x.back {
				p.Until("it came back", func() bool { return strings.Contains(p.Text(), "1 came back") })
				p.Go("/tablet")
				p.Until("the tablet has it", func() bool { return p.Count("#items-refused .what") == 1 })
			} else {
				p.Until("it is told", func() bool { return strings.Contains(p.Text(), x.say) })
				if n := browsertest.Eval[string](p, `document.querySelector("#photo [type=file]").files[0]?.name ?? ""`); n != x.file {
					t.Errorf("the form holds the file %q", n)
				}
			}
			p.Wants(x.say)
			if n := len(r.photos(job)); n != had {
				t.Errorf("%d photos, want %d", n, had)
			}
		})
	}

	t.Run("the plan is walked on without a network", func(t *testing.T) {
		p, l := r.tablet(t, browsertest.Tablet, store.Technician)
		p.Go(bay)
		keptPages(p, bay)
		l.Cut()
		p.Go(bay + "#plan")
		deep := browsertest.Eval[int](p, `(() => {
			const depth = (e) => 1 + Math.max(0, ...[...e.querySelectorAll(":scope > li > details > .in > .plan")].map(depth));
			const top = document.querySelector("#plan .plan");
			return top ? depth(top) : 0;
		})()`)
		if deep < 2 {
			t.Errorf("the kept plan is %d levels deep, want several", deep)
		}
		p.Shot("offline-plan")
		p.Go(bay)
		p.Press("Do this test")
		test := strings.TrimPrefix(browsertest.Eval[string](p, `location.hash`), "#t-")
		p.Until("its screen shows", func() bool { return p.Count("#t-"+test+" form.slip") == 1 })
		info, ok := diag.TestByID(test)
		if !ok {
			t.Fatalf("no test %q", test)
		}
		if len(info.Cautions) > 0 {
			p.Press("I have seen this")
		}
		t.Logf("next without a network: %s, recorded as %s", test, info.Entry)
		// What a sound car shows, or the first choice there is.
		browsertest.Eval[bool](p, fmt.Sprintf(`(() => {
			const form = document.querySelector("#t-%s form.slip");
			for (const name of new Set([...form.querySelectorAll("input[type=radio]")].map((b) => b.name))) {
				if (!form.querySelector('input[name="' + name + '"]:checked')) form.querySelector('input[name="' + name + '"]').checked = true;
			}
			for (const b of form.querySelectorAll("input[inputmode], input[data-pad]")) if (!b.value) b.value = "1";
			return true;
		})()`, test))
		p.Press("Write it down")
		p.Until("the card goes on by the plan made before", func() bool { return strings.Contains(p.Section("next"), "By the plan made before") })
		if p.Count("#next .plan") == 0 {
			t.Errorf("nothing to go on with:\n%s", p.Section("next"))
		}
		p.Shot("offline-walk")
		l.Mend()
		p.Until("with the network it is weighed anew", func() bool { return !strings.Contains(p.Section("next"), "By the plan made before") })
	})

	t.Run("pages on two processes of one shop see each other's entries", func(t *testing.T) {
		s, err := newServer(Options{Store: r.store, Logger: slog.New(slog.DiscardHandler), PasswordCost: cheap})
		if err != nil {
			t.Fatal(err)
		}
		other := httptest.NewServer(s.router())
		t.Cleanup(other.Close)
		one, _ := r.tablet(t, browsertest.Tablet, store.Technician)
		l := browsertest.NewLink(t, other.URL, 2)
		two := browsertest.Open(t, l.URL, browsertest.Bench)
		logInAt(two, r.people[store.Owner].Login)
		one.Go(bay)
		two.Go(bay)
		for i, p := range []*browsertest.Page{one, two} {
			v := fmt.Sprintf("1.07%d", i+1)
			writeLambda(p, bay, v)
			reader := []*browsertest.Page{two, one}[i]
			reader.Until(v+" shows on the other process's page", func() bool {
				return strings.Contains(reader.Section("log"), v) && reader.Count("#log .own") == 0
			})
		}
		// A process that stops is followed again when it is back.
		l.To("http://127.0.0.1:1")
		other.CloseClientConnections()
		r.entry(job, diag.Entry{Kind: diag.KindLambda, State: "idle", Value: new(1.081)})
		one.Until("the living process tells", func() bool { return strings.Contains(one.Section("log"), "1.081") })
		l.To(r.site.URL)
		two.Until("the page goes on at another process by itself", func() bool { return strings.Contains(two.Section("log"), "1.081") })
	})
}
