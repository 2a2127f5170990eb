package signal

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"crosscount/diag/diagtest"
)

// moment is a row of a log as the independent calculation sees it.
type moment struct {
	t, rpm, speed, load, coolant, long, short, pressure, intake float64
	state                                                       EngineState
}

// logMoments reads a log with encoding/csv and keeps the last row of each time.
func logMoments(t testing.TB, data []byte) (out []moment) {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(data))
	r.FieldsPerRecord = -1
	r.TrimLeadingSpace = true
	head, err := r.Read()
	if err != nil {
		t.Fatal(err)
	}
	col := map[string]int{}
	for i, h := range head {
		col[strings.TrimSuffix(h, " ()")] = i
	}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		get := func(name string) float64 {
			i, ok := col[name]
			if !ok || i >= len(row) {
				return math.NaN()
			}
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				return math.NaN()
			}
			return v
		}
		m := moment{t: get("ENGINE_RUN_TINE"), rpm: get("ENGINE_RPM"), speed: get("VEHICLE_SPEED"), load: get("ENGINE_LOAD"),
			coolant: get("COOLANT_TEMPERATURE"), long: get("LONG_TERM_FUEL_TRIM_BANK_1"), short: get("SHORT_TERM_FUEL_TRIM_BANK_1"),
			pressure: get("INTAKE_MANIFOLD_PRESSURE"), intake: get("INTAKE_AIR_TEMP")}
		if math.IsNaN(m.intake) && len(out) > 0 { // the cut last row lacks it: the reading before holds on
			m.intake = out[len(out)-1].intake
		}
		if n := len(out); n > 0 && out[n-1].t == m.t {
			out[n-1] = m
		} else {
			out = append(out, m)
		}
	}
}

// sortByState applies the published limits one moment at a time.
func sortByState(ms []moment) {
	for i := range ms {
		m := &ms[i]
		if m.rpm < 400 || m.coolant < 70 {
			continue
		}
		if m.speed < 1 {
			if m.rpm <= 1100 {
				m.state = Idle
			} else if m.rpm >= 2200 && m.rpm <= 2800 {
				m.state = FastIdle
			}
		} else if m.load >= 60 {
			m.state = Load
		} else if m.speed >= 20 && m.load >= 20 {
			m.state = Cruise
		}
	}
	// a state counts once it has held for three seconds
	held := make([]bool, len(ms))
	for i := range ms {
		from := i
		for from > 0 && ms[from-1].state == ms[i].state {
			from--
		}
		held[i] = ms[i].t-ms[from].t >= 3
	}
	for i := range ms {
		if !held[i] {
			ms[i].state = ""
		}
	}
}

func middle(v []float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}

func TestTrimsOfRealLogsAgreeWithAnIndependentCalculation(t *testing.T) {
	logs := diagtest.DriveLogs(t)
	if len(logs) != 4 {
		t.Fatalf("%d logs, want the four of the dataset", len(logs))
	}
	cells := 0
	for name, data := range logs {
		t.Run(name, func(t *testing.T) {
			m, _ := sniff(t, data)
			res, err := Measure(bytes.NewReader(data), m, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if res.Trims == nil {
				t.Fatal("no trims found")
			}
			ms := logMoments(t, data)
			if res.Trims.Observations != len(ms) {
				t.Errorf("%d moments, want %d", res.Trims.Observations, len(ms))
			}
			for _, x := range ms { // every trim is 100/128 % (SAE J1979 PIDs 06 and 07)
				for _, v := range []float64{x.long, x.short} {
					if a := v*128/100 + 128; a != math.Round(a) || a < 0 || a > 255 {
						t.Fatalf("%v %% is no byte of a trim", v)
					}
				}
			}
			if res.Trims.OffGrid != 0 {
				t.Errorf("%d trims off the grid", res.Trims.OffGrid)
			}
			running, cold := 0, 0
			for _, x := range ms {
				if x.rpm >= 400 {
					running++
					if x.coolant < 70 {
						cold++
					}
				}
			}
			if res.Trims.Running != running || res.Trims.Cold != cold {
				t.Errorf("%d running and %d cold, want %d and %d", res.Trims.Running, res.Trims.Cold, running, cold)
			}
			sortByState(ms)
			got := map[EngineState]TrimState{}
			for _, s := range res.Trims.States {
				if s.Bank != 1 {
					t.Errorf("bank %d in a log of bank 1", s.Bank)
				}
				got[s.State] = s
			}
			settled := 0
			for _, state := range []EngineState{Idle, FastIdle, Cruise, Load} {
				var short, long, total, rpm []float64
				for _, x := range ms {
					if x.state == state {
						short, long, total, rpm = append(short, x.short), append(long, x.long), append(total, x.short+x.long), append(rpm, x.rpm)
					}
				}
				settled += len(rpm)
				s, ok := got[state]
				if ok != (len(rpm) > 0) {
					t.Errorf("%s: found %v, want %d moments", state, ok, len(rpm))
					continue
				}
				if !ok {
					continue
				}
				for what, pair := range map[string]struct {
					r Reading
					v []float64
				}{"short": {s.Short, short}, "long": {s.Long, long}, "total": {s.Total, total}} {
					cells++
					v, known := pair.r.Get()
					if known != (len(pair.v) >= 5) {
						t.Errorf("%s %s: given %v with %d moments", state, what, known, len(pair.v))
						continue
					}
					if known && (v != middle(pair.v) || pair.r.N != len(pair.v)) {
						t.Errorf("%s %s = %v of %d, want %v of %d", state, what, v, pair.r.N, middle(pair.v), len(pair.v))
					}
					if known && pair.r.Uncertainty < 100.0/256-1e-12 {
						t.Errorf("%s %s claims ±%v %%, less than half a step of the byte", state, what, pair.r.Uncertainty)
					}
				}
				if v := value(t, "rpm", s.RPM); v != middle(rpm) || s.RPM.N != len(rpm) {
					t.Errorf("%s rpm = %v of %d, want %v of %d", state, v, s.RPM.N, middle(rpm), len(rpm))
				}
			}
			if want := running - cold - settled; res.Trims.Unsettled != want {
				t.Errorf("%d unsettled, want %d", res.Trims.Unsettled, want)
			}

			// the slope against manifold pressure times speed over intake temperature
			var x, y []float64
			for _, m := range ms {
				if m.rpm >= 400 && m.coolant >= 70 && m.load >= 20 {
					x = append(x, m.pressure*m.rpm/1000*293.15/(m.intake+273.15))
					y = append(y, m.short+m.long)
				}
			}
			if len(x) > 512 { // longer logs are thinned evenly
				if len(x) > 1024 {
					t.Fatalf("%d moments", len(x))
				}
				for i := range (len(x) + 1) / 2 {
					x[i], y[i] = x[2*i], y[2*i]
				}
				x, y = x[:(len(x)+1)/2], y[:(len(y)+1)/2]
			}
			var slopes []float64
			for i := range x {
				for j := i + 1; j < len(x); j++ {
					if x[i] != x[j] {
						slopes = append(slopes, (y[j]-y[i])/(x[j]-x[i]))
					}
				}
			}
			cells++
			if s := res.Trims.Slopes[0]; s.Slope.Value != nil {
				if !near(*s.Slope.Value, middle(slopes), 1e-9) || s.Slope.N != len(x) {
					t.Errorf("slope %v of %d, want %v of %d", *s.Slope.Value, s.Slope.N, middle(slopes), len(x))
				}
			} else if len(x) >= 10 {
				t.Errorf("slope refused: %+v", s.Slope.Refused)
			}
		})
	}
	if cells < 20 {
		t.Errorf("only %d cells were verified", cells)
	}
}

// drive writes a log of both banks with known trims: idle, 2500 rpm, cruise, load.
func drive(t testing.TB, total func(bank int, air float64) float64, status bool) []byte {
	t.Helper()
	rng := rand.New(rand.NewPCG(4, 4))
	var b strings.Builder
	b.WriteString("Time (s),Engine RPM,Vehicle speed (km/h),Engine load (%),Coolant (°C),STFT B1 (%),LTFT B1 (%),STFT B2 (%),LTFT B2 (%),MAF (g/s)")
	if status {
		b.WriteString(",Fuel system status")
	}
	b.WriteByte('\n')
	grid := func(v float64) float64 { return math.Round(v*1.28) / 1.28 }
	for i := range 480 {
		rpm, speed, load, air := 700.0, 0.0, 25.0, 3.0
		switch i / 120 {
		case 1:
			rpm, air = 2500, 12
		case 2:
			rpm, speed, load, air = 1900, 60, 35, 18
		case 3:
			rpm, speed, load, air = 2600, 80, 75, 45
		}
		air *= 1 + 0.03*rng.NormFloat64()
		fmt.Fprintf(&b, "%d,%.0f,%.0f,%.1f,%d", i, rpm+10*rng.NormFloat64(), speed, load, 88)
		for bank := 1; bank <= 2; bank++ {
			long := grid(total(bank, air) / 2)
			short := grid(total(bank, air) - long + 1.5*rng.NormFloat64())
			if i%50 == 7 {
				short = 20 // a passing upset
			}
			fmt.Fprintf(&b, ",%.2f,%.2f", short, long)
		}
		fmt.Fprintf(&b, ",%.2f", air)
		if status {
			if i%40 < 10 {
				b.WriteString(",OL")
			} else {
				b.WriteString(",Closed loop")
			}
		}
		b.WriteByte('\n')
	}
	return []byte(b.String())
}

func TestTrimsOfAKnownDrive(t *testing.T) {
	t.Run("finds every state, bank by bank, despite upsets", func(t *testing.T) {
		data := drive(t, func(bank int, air float64) float64 {
			if bank == 1 {
				return 25 * 3 / air // a leak behind the meter: large at idle, shrinking
			}
			return 2
		}, false)
		m, _ := sniff(t, data)
		res, err := Measure(bytes.NewReader(data), m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		want := map[EngineState]float64{Idle: 25, FastIdle: 6.25, Cruise: 25.0 * 3 / 18, Load: 25.0 * 3 / 45}
		seen := 0
		for _, s := range res.Trims.States {
			w := want[s.State]
			if s.Bank == 2 {
				w = 2
			}
			if v := value(t, string(s.State), s.Total); math.Abs(v-w) > s.Total.Uncertainty {
				t.Errorf("bank %d %s: %v ± %v, want %v", s.Bank, s.State, v, s.Total.Uncertainty, w)
			}
			seen++
		}
		if seen != 8 {
			t.Errorf("%d cells, want 8", seen)
		}
		if s := res.Trims.Slopes[0]; value(t, "slope", s.Slope) > -0.3 || s.Airflow != "g/s" {
			t.Errorf("a leak behind the meter: %+v", s)
		}
		if s := res.Trims.Slopes[1]; math.Abs(value(t, "slope", s.Slope)) > s.Slope.Uncertainty {
			t.Errorf("a level bank slopes: %+v", s)
		}
	})
	t.Run("a straight line is found within its interval", func(t *testing.T) {
		data := drive(t, func(bank int, air float64) float64 { return -4 + 0.3*air }, false)
		m, _ := sniff(t, data)
		res, _ := Measure(bytes.NewReader(data), m, Options{})
		for _, s := range res.Trims.Slopes {
			if v := value(t, "slope", s.Slope); math.Abs(v-0.3) > s.Slope.Uncertainty || s.Slope.Uncertainty > 0.05 {
				t.Errorf("%v ± %v, want 0.3", v, s.Slope.Uncertainty)
			}
		}
	})
	t.Run("open loop is left out where the log tells", func(t *testing.T) {
		data := drive(t, func(int, float64) float64 { return 1 }, true)
		m, _ := sniff(t, data)
		res, err := Measure(bytes.NewReader(data), m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if res.Trims.ClosedLoop != "known" || res.Trims.OpenLoop != 120 {
			t.Errorf("closed loop %s, %d open", res.Trims.ClosedLoop, res.Trims.OpenLoop)
		}
	})
	t.Run("a row that repeats counts once", func(t *testing.T) {
		once := drive(t, func(int, float64) float64 { return 1 }, false)
		var often bytes.Buffer
		for i, line := range bytes.SplitAfter(once, []byte{'\n'}) {
			often.Write(line)
			if i > 0 {
				for range i % 4 {
					often.Write(line)
				}
			}
		}
		m, _ := sniff(t, once)
		a, _ := Measure(bytes.NewReader(once), m, Options{})
		b, err := Measure(bytes.NewReader(often.Bytes()), m, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if fmt.Sprintf("%+v", derefTrims(a.Trims)) != fmt.Sprintf("%+v", derefTrims(b.Trims)) {
			t.Errorf("%+v\n%+v", derefTrims(a.Trims), derefTrims(b.Trims))
		}
	})
}

// derefTrims makes the values of the cells comparable.
func derefTrims(t *Trims) (out []float64) {
	out = append(out, float64(t.Observations), float64(t.Running), float64(t.Unsettled))
	for _, s := range t.States {
		for _, r := range []Reading{s.Short, s.Long, s.Total, s.RPM} {
			out = append(out, r.Or(-999), r.Uncertainty, float64(r.N))
		}
	}
	for _, s := range t.Slopes {
		out = append(out, s.Slope.Or(-999), s.Slope.Uncertainty)
	}
	return
}
