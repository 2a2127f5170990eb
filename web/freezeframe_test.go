package web

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"crosscount/store"
	"crosscount/web/browsertest"
)

// TestAFreezeFrameIsNoTestDone looks wherever a test is counted or today's trims are drawn.
func TestAFreezeFrameIsNoTestDone(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	b := r.as(store.Technician)
	write := func(pairs ...string) {
		t.Helper()
		b.post(at(job, "/evidence"), with(url.Values{"kind": {"trim"}, "id": {store.NewID()}}, pairs...)).want(t, 303)
	}
	write("frame", "yes", "long_1_idle", "21", "long_1_cruise", "9")
	var frames []string
	for _, e := range r.standing(job) {
		if e.Body.Frame {
			frames = append(frames, e.Body.State)
		}
	}
	if !slices.Equal(frames, []string{"idle", "cruise"}) {
		t.Fatalf("of the freeze frame: %q", frames)
	}
	desk := func() *desk {
		t.Helper()
		d, err := r.server.desk(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		d.l = tongue(httpGet(t))
		return d
	}
	spent := func() float64 {
		t.Helper()
		a, err := r.server.accountWith(httpGet(t), desk())
		if err != nil {
			t.Fatal(err)
		}
		return a.spent()
	}
	onMap := func(want ...string) {
		t.Helper()
		d := desk()
		if got := d.trimLines(d.Standing(), 1); !slices.Equal(got, want) {
			t.Errorf("the map says %q, want %q", got, want)
		}
	}
	const looked = "How much the computer corrects the fuel"
	if m := spent(); m != 0 {
		t.Errorf("%g minutes of tests", m)
	}
	b.get(at(job, "/paper/explanation")).want(t, 200).lacks(t, looked)
	b.get(at(job, "/trims.svg")).want(t, 404)
	b.get(at(job, "")).want(t, 200).lacks(t, "/trims.svg")
	onMap("idle in the freeze frame +21 %", "cruise in the freeze frame +9 %")

	write("long_1_idle", "3", "long_1_cruise", "2")
	if m := spent(); m == 0 {
		t.Error("today's trims took no time")
	}
	b.get(at(job, "/paper/explanation")).want(t, 200, looked)
	b.get(at(job, "/trims.svg")).want(t, 200, "+3.0", "+2.0").lacks(t, "+21", "+9")
	b.get(at(job, "")).want(t, 200, "Trims at idle: long-term trim +3\u00a0%",
		"Trims at idle in the freeze frame: long-term trim +21\u00a0%", "/trims.svg")
	onMap("idle +3 %", "cruise +2 %", "idle in the freeze frame +21 %")
}

// TestFreezeFrameOnATablet writes without a network, and with a mistake.
func TestFreezeFrameOnATablet(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	tech := r.people[store.Technician].ID
	p, l := r.tablet(t, browsertest.Tablet, store.Technician)
	const frame = "These are from the freeze frame"
	open := func() {
		t.Helper()
		p.Go(at(job, "/bay"))
		p.Until("there is a plan", func() bool { return p.Count("[data-part='bay-plan'] .plan") > 0 })
		browsertest.Eval[bool](p, `(location.hash = "#t-trims", true)`)
		p.Until("the form is there", func() bool { return p.Count("#t-trims form .trims") > 0 })
		if browsertest.Eval[bool](p, `!document.querySelector("#t-trims .seen").checked`) {
			p.Press("I have seen this")
		}
	}
	write := func(screen, pct string) {
		t.Helper()
		browsertest.Eval[bool](p, fmt.Sprintf(`(document.querySelector("#%s [name=long_1_cruise]").value = %q, true)`, screen, pct))
		p.PressIn(screen, "Write it down")
	}
	minutes := func() float64 {
		t.Helper()
		f, err := r.store.JobFile(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		return f.Minutes
	}
	open()
	clock := fmt.Sprintf("clock:%d:%d:trims", tech, job)
	browsertest.Eval[bool](p, fmt.Sprintf(`(localStorage.setItem(%q, '{"sum":600000,"since":0}'), true)`, clock))
	had := len(r.entries(job))
	p.PressIn("t-trims", frame)
	p.Shot("frame-bay")
	l.Cut()
	write("t-trims", "300")
	p.Until("it waits", func() bool { return p.Count("#log .own.waiting") == 1 })
	if s := browsertest.Eval[string](p, `document.querySelector("#log .own .what").textContent`); !strings.Contains(s, frame) {
		t.Errorf("it waits as %q", s)
	}
	l.Mend()
	p.Until("it came back", func() bool { return p.Count("#log .own.refused") == 1 })
	browsertest.Eval[bool](p, `(location.hash = "#log", true)`)
	p.Send("Mend it")
	p.Until("the tick is back", func() bool {
		return browsertest.Eval[bool](p, `document.querySelector("#f-trim [name=frame]")?.checked ?? false`)
	})
	p.Shot("frame-mend")
	write("f-trim", "9")
	p.Until("it arrived", func() bool { return len(r.entries(job)) == had+1 })
	if e := r.entries(job)[had].Body; !e.Frame || e.State != "cruise" || *e.LongPct != 9 {
		t.Errorf("written down: %+v", e)
	}
	p.Until("the log says so", func() bool {
		return strings.Contains(p.Section("log"), "Trims at cruise in the freeze frame")
	})

	t.Run("and the clock of the test goes on until it is done", func(t *testing.T) {
		open()
		p.PressIn("t-trims", frame)
		write("t-trims", "8")
		p.Until("it arrived", func() bool { return len(r.entries(job)) == had+2 })
		open()
		if m := minutes(); m != 0 {
			t.Errorf("%g minutes for what the module kept", m)
		}
		write("t-trims", "2")
		p.Until("it arrived", func() bool { return len(r.entries(job)) == had+3 })
		if r.entries(job)[had+2].Body.Frame {
			t.Error("the tick was kept for the next entry")
		}
		p.Until("its time arrived", func() bool { return minutes() == 10 })
	})
}
