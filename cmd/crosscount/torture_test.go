//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package main

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/web"
	"crosscount/web/browsertest"
)

// TestTorture lets three tablets write 500 entries over links that lose requests and
// answers, stall and send twice, while the server is killed three times. Every entry
// must be in the log once, and those of each tablet in the order of writing.
func TestTorture(t *testing.T) {
	browsertest.Need(t)
	dsn := storetest.DSN(t)
	pool, err := pgxpool.New(t.Context(), dsn)
	check(t, err)
	t.Cleanup(pool.Close)
	st := store.New(pool)
	serve := func() (*process, string) {
		p := launch(t, []string{"DATABASE_URL=" + dsn, "CROSSCOUNT_ADDRESS=127.0.0.1:0"}, "serve")
		return p, p.site(t)
	}
	server, base := serve()

	const entries, tablets, kills = 500, 3, 3
	const password = "three words in a row"
	var people [tablets]store.Person
	for i := range people {
		people[i], err = st.AddPerson(t.Context(), 0, store.NewPerson{Name: fmt.Sprintf("Tester %d", i+1), Login: fmt.Sprintf("tester%d", i+1), Role: store.Technician})
		check(t, err)
	}
	job, err := st.OpenJob(t.Context(), people[0].ID, store.Intake{ID: store.NewID(), Customer: store.Customer{Name: "Ines Vale"},
		Vehicle: store.Vehicle{Plate: "KLR 482", Make: "Halden", Model: "Corrie", Cylinders: 4, Arrangement: "inline", DisplacementL: 2, Fuel: "petrol", AirMetering: "maf"},
		Sensors: []store.Sensor{{Bank: 1, Position: 1, Kind: diag.Zirconia, Wires: 4}}, Concern: "Light on.", OdometerUnit: "km"})
	check(t, err)

	var pages [tablets]*browsertest.Page
	var links [tablets]*browsertest.Link
	for i, who := range people {
		links[i] = browsertest.NewLink(t, base, uint64(i+1))
		p := browsertest.Open(t, links[i].URL, browsertest.Tablet)
		path, err := web.PasswordPath(t.Context(), st, 0, who.ID)
		check(t, err)
		p.Go(path)
		p.Fill("New password", password)
		p.Fill("The same once more", password)
		p.Send("Keep")
		p.Go("/login")
		if p.Count("[name=login]") > 0 {
			p.Fill("Log-in name", who.Login)
			p.Fill("Password", password)
			p.Send("Log in")
		}
		p.Go(fmt.Sprintf("/jobs/%d/bay#f-lambda", job))
		p.Until("the form is there", func() bool { return p.Count("#f-lambda form") == 1 })
		pages[i] = p
	}
	for _, l := range links {
		l.Bad(true)
	}

	// Lambda counts upwards: each tablet's values tell who wrote what, and when.
	share := func(i int) int { return entries*(i+1)/tablets - entries*i/tablets }
	lambda := func(tablet, n int) float64 { return 0.9 + float64(tablet*1000+n)/10000 }
	began := time.Now()
	for i, p := range pages {
		browsertest.Eval[bool](p, fmt.Sprintf(`(async () => {
			const form = document.querySelector("#f-lambda form");
			window.slowest = 0;
			for (let n = 0; n < %d; n++) {
				form.elements.value.value = (0.9 + (%d * 1000 + n) / 10000).toFixed(4);
				const began = performance.now();
				const written = new Promise((done) => document.addEventListener("written", done, { once: true }));
				form.requestSubmit();
				await written;
				window.slowest = Math.max(window.slowest, performance.now() - began);
				await new Promise((done) => setTimeout(done, 25));
			}
			window.wrote = true;
		})() && true`, share(i), i))
	}
	for range kills {
		time.Sleep(2500 * time.Millisecond)
		check(t, server.Process.Kill())
		<-server.ended
		time.Sleep(700 * time.Millisecond)
		server, base = serve()
		for _, l := range links {
			l.To(base)
		}
	}
	left := func(p *browsertest.Page) int {
		return browsertest.Wait[int](p, `import(document.querySelector("script[src*='/shell.']").src).then(() => new Promise((ok) => {
			const r = indexedDB.open("crosscount", 1);
			r.onsuccess = () => { const g = r.result.transaction("items").objectStore("items").getAll(); g.onsuccess = () => { r.result.close(); ok(g.result.filter((i) => i.state !== "arrived").length); }; };
		}))`)
	}
	end := time.Now().Add(4 * time.Minute)
	for i, p := range pages {
		for time.Now().Before(end) && !(browsertest.Eval[bool](p, `window.wrote === true`) && left(p) == 0) {
			time.Sleep(250 * time.Millisecond)
		}
		if n := left(p); n > 0 {
			t.Errorf("tablet %d still holds %d entries", i+1, n)
		}
		t.Logf("tablet %d: slowest tap %.0f ms; %s", i+1, browsertest.Eval[float64](p, `window.slowest`), links[i].Moods())
	}
	t.Logf("%d entries from %d tablets arrived in %v, the server killed %d times", entries, tablets, time.Since(began).Round(time.Second), kills)

	file, err := st.JobFile(context.WithoutCancel(t.Context()), job)
	check(t, err)
	var got [tablets][]float64
	for _, e := range file.Entries {
		i := slices.IndexFunc(people[:], func(p store.Person) bool { return p.ID == e.EnteredBy })
		got[i] = append(got[i], *e.Body.Value)
	}
	total := 0
	for i := range got {
		total += len(got[i])
		if len(got[i]) != share(i) {
			t.Errorf("tablet %d: %d entries in the log, want %d", i+1, len(got[i]), share(i))
		}
		for n, v := range got[i] {
			if d := v - lambda(i, n); d > 1e-6 || d < -1e-6 {
				t.Fatalf("tablet %d: entry %d is %.4f, want %.4f", i+1, n, v, lambda(i, n))
			}
		}
	}
	if total != entries {
		t.Errorf("%d entries in the log, want %d", total, entries)
	}
}
