package diag

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"crosscount/diag/model"
	"crosscount/diag/obd"
)

// tape turns bytes into choices; past its end it chooses the first.
type tape struct{ b []byte }

func (t *tape) upTo(n int) int {
	if len(t.b) == 0 || n == 0 {
		return 0
	}
	x := int(t.b[0])
	t.b = t.b[1:]
	return x % n
}

// between gives one of 256 steps from lo to hi.
func (t *tape) between(lo, hi float64) *float64 {
	return new(lo + (hi-lo)*float64(t.upTo(256))/255)
}

func pickOf[T any](t *tape, list []T) T { return list[t.upTo(len(list))] }

// anyCase makes a valid case of any bytes.
func anyCase(data []byte) Case {
	t := &tape{data}
	c := Case{Version: CaseVersion, Vehicle: pickOf(t, []Vehicle{fourInline, fourMAP, sixV, sixFlat, oneWire, wideCar, fiveSensors}), Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
	c.Vehicle.OdometerKm = 2000 * t.upTo(256)
	c.Ready = pickOf(t, [][]string{nil, {}, {"warm_engine"}, {"cold_exhaust", "lift"}, {"lift", "pressure_relieved"}})
	for len(t.b) > 0 && len(c.Evidence) < 40 {
		if e := t.entry(c.Vehicle); len(e.Check(c.Vehicle)) == 0 {
			c.Evidence = append(c.Evidence, e)
		}
	}
	return c
}

func (t *tape) entry(v Vehicle) Entry {
	kinds := []EntryKind{KindCode, KindTrim, KindSignal, KindForced, KindHeater, KindCircuit, KindConnector, KindTip, KindGas, KindLambda, KindFuelPressure, KindAirflow, KindResult, KindHistory, KindCodeList, KindRepair}
	e := Entry{Kind: pickOf(t, kinds)}
	s := pickOf(t, v.Sensors)
	sensor := func() { e.Bank, e.Position = s.Bank, s.Position }
	switch e.Kind {
	case KindCode:
		known := obd.Known()
		e.Code, e.Status = known[(t.upTo(256)*256+t.upTo(256))%len(known)].String(), pickOf(t, []string{"stored", "pending", "permanent"})
	case KindTrim:
		e.Bank, e.State = s.Bank, pickOf(t, States)
		e.ShortPct, e.LongPct, e.Frame = t.between(-30, 30), t.between(-30, 30), t.upTo(4) == 3
	case KindSignal:
		sensor()
		e.State = pickOf(t, States)
		e.MinV = t.between(-0.5, 1)
		e.MaxV = t.between(*e.MinV, 1.4)
		e.CrossingsHz, e.LeanRichMs, e.RichLeanMs = t.between(0, 6), t.between(20, 900), t.between(20, 900)
	case KindForced:
		sensor()
		e.Mixture, e.Volts, e.Ms = pickOf(t, []string{"rich", "lean"}), t.between(-0.4, 1.3), t.between(10, 900)
	case KindHeater:
		sensor()
		e.Ohm, e.OhmLow, e.OhmHigh, e.FeedV, e.GroundDropV = t.between(0, 40), new(5.0), new(8.0), t.between(0, 15), t.between(0, 5)
	case KindCircuit:
		sensor()
		e.Result = pickOf(t, []string{"good", "open", "short_ground", "short_supply", "ground_fault"})
	case KindConnector:
		sensor()
		e.Result = pickOf(t, []string{"good", "corroded", "greased", "wet", "oily", "chafed"})
	case KindTip:
		sensor()
		e.Look = pickOf(t, []string{"clean", "white", "green", "sooty", "oily", "damaged"})
	case KindGas:
		e.State, e.COPct, e.CO2Pct, e.O2Pct, e.HCPpm, e.NOxPpm = pickOf(t, States), t.between(0, 10), t.between(0, 16), t.between(0, 20), t.between(0, 3000), t.between(0, 2000)
	case KindLambda:
		e.State, e.Value = pickOf(t, States), t.between(0.7, 1.4)
	case KindFuelPressure:
		e.KPa, e.KPaLow, e.KPaHigh, e.Holds = t.between(50, 600), new(290.0), new(320.0), new(t.upTo(2) == 0)
	case KindAirflow:
		e.RPM, e.GPerS, e.IntakeC, e.BaroKPa, e.WideOpen = t.between(1000, 6000), t.between(1, 250), t.between(-20, 50), t.between(80, 105), new(t.upTo(2) == 0)
	case KindResult:
		test := pickOf(t, Tests())
		e.Test = test.ID
		if len(test.Outcomes) > 0 {
			e.Outcome = pickOf(t, test.Outcomes).ID
		}
		switch t.upTo(3) {
		case 1:
			e.Bank = s.Bank
		case 2:
			sensor()
		}
	case KindHistory:
		e.Remark = pickOf(t, Remarks)
	case KindCodeList:
		e.Status = pickOf(t, []string{"stored", "pending"})
	case KindRepair:
		e.Cause, e.AfterRepair = pickOf(t, repairWords()), 1+t.upTo(3)
		switch k, _ := CauseByID(e.Cause); {
		case e.Cause == NewSensor, k.Scope == ScopeSensor:
			sensor()
		case k.Scope == ScopeBank:
			e.Bank = s.Bank
		}
	}
	if t.upTo(8) == 7 {
		e.AfterRepair = 1 + t.upTo(3)
	}
	return e
}

// hold checks what holds of any case whatever.
func hold(t *testing.T, c Case) Decision {
	t.Helper()
	d, err := Decide(c)
	if err != nil {
		t.Fatalf("a valid case is refused: %v", err)
	}
	w := trade().weigh(c, nil)
	sum := 0.0
	for i := range w.b.nodes {
		sum += math.Exp(w.b.nodes[i].lw - w.b.logZ)
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("probabilities add up to %.12f", sum)
	}
	sum = 0
	for _, p := range w.pr.belief() {
		sum += p
	}
	if math.Abs(sum-1) > 1e-9 {
		t.Errorf("probabilities of the sets of faults add up to %.12f", sum)
	}
	for _, x := range d.Causes {
		if !(x.P >= 0 && x.P <= 1+1e-9) {
			t.Errorf("%s has probability %g", at(x.CauseRef), x.P)
		}
	}
	if !(d.LeftOut >= 0 && d.LeftOut <= 1) {
		t.Errorf("left out %g", d.LeftOut)
	}
	if d.Next != nil && (d.Verdict.Decision != DecideOpen || !(d.Next.ExpectedTotal >= 0) || math.IsInf(d.Next.ExpectedTotal, 0)) {
		t.Errorf("a next test, %+v, and the verdict %s", d.Next, d.Verdict.Decision)
	}
	if d.Next != nil {
		sum = 0
		for _, s := range d.Plan {
			sum += s.P
		}
		if sum > 1+1e-9 || sum < 0.95 {
			t.Errorf("the answers to %s come with probability %g", d.Next.Test, sum)
		}
	}
	if (d.Verdict.Decision == DecidePart) != (len(d.Verdict.Parts) > 0) {
		t.Errorf("verdict %s with parts %v", d.Verdict.Decision, d.Verdict.Parts)
	}
	for _, p := range d.Verdict.Parts {
		if !slices.ContainsFunc(c.Evidence, func(e Entry) bool {
			s, ok := c.Vehicle.at(e.Bank, e.Position)
			return ok && e.Kind != KindRepair && e.Position > 0 && s.Bank == p.Bank && s.Position == p.Position
		}) {
			t.Errorf("a part at bank %d position %d without evidence there", p.Bank, p.Position)
		}
	}
	return d
}

// said leaves out of a decision what numbers entries.
func said(d Decision) Decision {
	d.Notes = nil
	d.Causes = slices.Clone(d.Causes)
	for i := range d.Causes {
		d.Causes[i].Reasons = nil
	}
	return d
}

func FuzzDecide(f *testing.F) {
	r := rand.New(rand.NewPCG(3, 5))
	for n := range 12 {
		b := make([]byte, 8+8*n)
		for i := range b {
			b[i] = byte(r.Uint32())
		}
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		c := anyCase(data)
		d := hold(t, c)
		back := c
		back.Evidence = slices.Clone(c.Evidence)
		slices.Reverse(back.Evidence)
		other, err := Decide(back)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(said(d), said(other)) {
			t.Error("the order of entries matters")
		}
		if Fingerprint(c) != Fingerprint(back) {
			t.Error("the order of entries matters to the fingerprint")
		}
	})
}

// logit gives the probability of a cause in log odds.
func logit(d Decision, r CauseRef) float64 {
	for _, c := range d.Causes {
		if c.CauseRef == r {
			p := min(max(c.P, 1e-9), 1-1e-9)
			return math.Log(p / (1 - p))
		}
	}
	return math.Log(1e-9)
}

func TestProperties(t *testing.T) {
	made := func(x textbook) Case {
		return Case{Version: CaseVersion, Vehicle: x.car, Evidence: slices.Concat(x.finds...), Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
	}
	decide := func(t *testing.T, c Case) Decision {
		t.Helper()
		d, err := Decide(c)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	t.Run("what holds of any case holds of the textbook's", func(t *testing.T) {
		for _, x := range textbooks {
			hold(t, made(x))
		}
	})
	t.Run("the order of entries does not matter", func(t *testing.T) {
		r := rand.New(rand.NewPCG(1, 2))
		for _, x := range textbooks {
			c := made(x)
			want := said(decide(t, c))
			r.Shuffle(len(c.Evidence), func(i, j int) { c.Evidence[i], c.Evidence[j] = c.Evidence[j], c.Evidence[i] })
			if !reflect.DeepEqual(said(decide(t, c)), want) {
				t.Errorf("%s: shuffled it is decided otherwise", x.name)
			}
		}
	})
	t.Run("repeating a look adds less certainty than the look itself", func(t *testing.T) {
		for _, x := range textbooks {
			c := made(x)
			d := decide(t, c)
			top := d.Causes[0].CauseRef
			for i, e := range c.Evidence {
				if e.Kind == KindCode || e.Kind == KindHistory {
					continue
				}
				none, five := c, c
				none.Evidence = slices.Delete(slices.Clone(c.Evidence), i, i+1)
				five.Evidence = slices.Concat(c.Evidence, slices.Repeat([]Entry{e}, 4))
				first, more := logit(d, top)-logit(decide(t, none), top), logit(decide(t, five), top)-logit(d, top)
				if more > 0.75*math.Abs(first)+0.5 {
					t.Errorf("%s: entry %d moves %s by %.2f, four repeats by %.2f more", x.name, i, at(top), first, more)
				}
			}
		}
	})
	t.Run("what a cause brings about more surely than any other does not speak against it", func(t *testing.T) {
		e := trade()
		for _, x := range textbooks {
			c := made(x)
			d := decide(t, c)
			top := d.Causes[0].CauseRef
			for _, f := range e.m.Causes[e.cause[top.Cause]].Finds {
				test := &e.m.Tests[e.test[f.Test]]
				surer := func(k model.Cause) bool {
					return slices.ContainsFunc(k.Finds, func(x model.Find) bool { return x.Test == f.Test && x.Outcome == f.Outcome && x.P > f.P })
				}
				if f.P < 0.5 || len(f.Variants) > 0 || slices.ContainsFunc(e.m.Causes, surer) || test.Entry != "result" || slices.ContainsFunc(c.Evidence, func(x Entry) bool { return x.Test == f.Test }) {
					continue
				}
				en := Entry{Kind: KindResult, Test: f.Test, Outcome: f.Outcome, Bank: top.Bank, Position: top.Position}
				if len(en.Check(c.Vehicle)) > 0 {
					en.Bank, en.Position = 0, 0
				}
				if len(en.Check(c.Vehicle)) > 0 {
					continue
				}
				more := c
				more.Evidence = append(slices.Clone(c.Evidence), en)
				if now := logit(decide(t, more), top); now < logit(d, top)-0.05 {
					t.Errorf("%s: %s %s lowers %s from %.2f to %.2f", x.name, f.Test, f.Outcome, at(top), logit(d, top), now)
				}
			}
		}
	})
}
