package web

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/diag/obd"
	"crosscount/store"
	"crosscount/web/browsertest"
)

// TestFrameState: the limits are common practice, as frameState says.
func TestFrameState(t *testing.T) {
	const unknown = -1
	for _, x := range []struct {
		name            string
		rpm, road, load float64
		want            string
	}{
		{"standing, at idle", 750, 0, 25, "idle"},
		{"at idle, road speed not told", 750, unknown, 25, "idle"},
		{"standing, just below the limit", 1099, 0, 25, "idle"},
		{"standing, at the limit", 1100, 0, 25, "fast_idle"},
		{"standing, however much it pulls", 2500, 0, 80, "fast_idle"},
		{"driving", 2000, 80, 35, "cruise"},
		{"rolling at idle", 800, 15, 20, "cruise"},
		{"driving, load not told", 2000, 80, unknown, "cruise"},
		{"driving, just below the limit", 2600, 90, 69.9, "cruise"},
		{"driving, at the limit", 2600, 90, 70, "load"},
		{"faster than idle, road speed not told", 2000, unknown, 35, ""},
		{"engine speed not told", unknown, 80, 35, ""},
		{"engine at rest", 0, 0, 0, ""},
	} {
		t.Run(x.name, func(t *testing.T) {
			var f obd.FreezeFrame
			for q, v := range map[obd.Quantity]float64{obd.EngineSpeed: x.rpm, obd.VehicleSpeed: x.road, obd.EngineLoad: x.load} {
				if v != unknown {
					f.Readings = append(f.Readings, obd.Reading{Channel: obd.Channel{Quantity: q}, Value: v})
				}
			}
			if got := frameState(f); got != x.want {
				t.Errorf("%q, want %q", got, x.want)
			}
		})
	}
}

func TestOpenLoop(t *testing.T) {
	for _, x := range []struct {
		name string
		told []obd.FuelStatus
		want bool
	}{
		{"not told", nil, false},
		{"told as more than one at once", []obd.FuelStatus{obd.FuelStatusNotStated, obd.FuelStatusNotStated}, false},
		{"closed, and no second system", []obd.FuelStatus{obd.ClosedLoop, obd.FuelOff}, false},
		{"closed without one sensor", []obd.FuelStatus{obd.ClosedLoopFault, obd.ClosedLoop}, false},
		{"open, still cold", []obd.FuelStatus{obd.OpenLoopCold, obd.FuelOff}, true},
		{"open under load", []obd.FuelStatus{obd.OpenLoopLoad, obd.FuelOff}, true},
		{"one system open", []obd.FuelStatus{obd.ClosedLoop, obd.OpenLoopFault}, true},
		{"the second bank open", []obd.FuelStatus{obd.OpenLoopColdBank2, obd.FuelOff}, true},
		{"off", []obd.FuelStatus{obd.FuelOff, obd.FuelOff}, true},
	} {
		t.Run(x.name, func(t *testing.T) {
			if got := openLoop(obd.FreezeFrame{FuelSystem: x.told}); got != x.want {
				t.Errorf("%v, want %v", got, x.want)
			}
		})
	}
}

// frozenAnswers are three freeze frames in the coding of SAE J1979, service 02: speed is
// A km/h, engine speed (256A+B)/4, load A/2.55, trims A/1.28-100, fuel system 02 closed
// loop and 04 open loop under load (as in package obd's tests).
const frozenAnswers = ">0202\n7E8 05 42 02 00 01 71\n7E8 05 42 02 01 01 74\n7E8 05 42 02 02 04 20\n" +
	// P0171: closed loop, load 50 %, 1726 rpm, 80 km/h, bank 1 +9.4 % and +25 %, bank 2 +10.9 %
	"7E8 05 42 03 00 02 00\n7E8 04 42 04 00 80\n7E8 05 42 0C 00 1A F8\n7E8 04 42 0D 00 50\n7E8 04 42 06 00 8C\n7E8 04 42 07 00 A0\n7E8 04 42 09 00 8E\n" +
	// P0174: open loop, at 60 km/h
	"7E8 05 42 03 01 04 00\n7E8 05 42 0C 01 1A F8\n7E8 04 42 0D 01 3C\n7E8 04 42 09 01 A0\n" +
	// P0420: no engine speed
	"7E8 05 42 03 02 02 00\n7E8 04 42 0D 02 3C\n7E8 04 42 07 02 84\n"

func TestTrimsOfAFreezeFrameAreTakenOver(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	b := r.as(store.Technician)
	sent := b.paste(job, "responses", frozenAnswers).want(t, 303)
	page := b.get(sent.location).want(t, 200,
		"Bank 1. Trims at cruise in the freeze frame of P0171: short-term trim +9.4\u00a0%, long-term trim +25\u00a0%",
		"Bank 2. Trims at cruise in the freeze frame of P0171: long-term trim +10.9\u00a0%",
		"Bank 2. Trims at cruise in the freeze frame of P0174: long-term trim +25\u00a0%", "The fuel system was not in closed loop",
		"Bank 1. Trims at an unknown speed in the freeze frame of P0420: long-term trim +3.1\u00a0%", "The frame lacks engine speed or road speed")
	// The car answered nothing of now, so there is no speed to choose.
	page.lacks(t, `name="state"`, `name="entry_2"`, `name="entry_3"`)
	file := strings.Split(sent.location, "?")[0]
	form := page.fields(t, file+"/take")
	for i, why := range []string{"The fuel system was not in closed loop", "The frame lacks engine speed or road speed"} {
		forced := url.Values{"id": {store.NewID()}, "entries": {store.NewID()}, fmt.Sprint("entry_", 2+i): {"yes"}}
		b.post(file+"/take", forced).want(t, 422, "Not taken yet", why)
	}
	kept := b.post(file+"/take", form).want(t, 303)
	b.post(file+"/take", form).want(t, 303) // sent twice, taken once
	var got []string
	for _, e := range r.entriesOf(job) {
		if b := e.Body; b.Kind == diag.KindTrim {
			got = append(got, fmt.Sprintf("%v %d %s %g", b.Frame, b.Bank, b.State, *b.LongPct))
		}
	}
	if !slices.Equal(got, []string{"true 1 cruise 25", "true 2 cruise 10.9"}) {
		t.Errorf("taken over: %q", got)
	}
	for _, path := range []string{kept.location, at(job, ""), at(job, "/bay")} {
		b.get(path).want(t, 200, "Trims at cruise in the freeze frame: short-term trim +9.4\u00a0%, long-term trim +25\u00a0%")
	}
	t.Run("beside those of now", func(t *testing.T) {
		sent := b.paste(job, "responses", frozenAnswers+">0107\n7E8 03 41 07 88\n").want(t, 303)
		b.get(sent.location).want(t, 200, "Trims at the speed chosen below: long-term trim +6.3\u00a0%", "Trims at cruise in the freeze frame of P0171", `name="state"`)
	})
	t.Run("in Spanish", func(t *testing.T) {
		if err := r.store.SetLanguage(t.Context(), r.people[store.Technician].ID, "es"); err != nil {
			t.Fatal(err)
		}
		b.get(sent.location).want(t, 200, "Ajustes en crucero en el cuadro congelado de P0171", "no estaba en lazo cerrado")
	})
}

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
	p.Until("the log says so", func() bool { return strings.Contains(p.Section("log"), "Trims at cruise in the freeze frame") })

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

func TestFreezeFrameFits(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: 1, State: "cruise", ShortPct: new(8.0), LongPct: new(14.0), Frame: true})
	r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: 1, State: "idle", ShortPct: new(2.0), LongPct: new(3.0)})
	file := r.as(store.Technician).paste(job, "responses", frozenAnswers+">0107\n7E8 03 41 07 88\n").want(t, 303).location
	for _, size := range []browsertest.Size{browsertest.Tablet, browsertest.Desk} {
		p, _ := r.tablet(t, size, store.Technician)
		for name, path := range map[string]string{"form": at(job, "?add=trim#form"), "upload": file} {
			for _, dark := range []bool{false, true} {
				p.Dark(dark)
				p.Go(path)
				p.Shot(fmt.Sprintf("frame-%s-%v", name, dark))
				if small := p.SmallTargets(48); len(small) > 0 {
					t.Errorf("%s: smaller than 48 px: %s", name, strings.Join(small, "; "))
				}
				if o := p.Overflow(); o > 0 {
					t.Errorf("%s: %g px wider than the screen", name, o)
				}
			}
		}
	}
}
