package signal

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"unicode/utf16"
)

// gathered is everything Read handed on.
type gathered struct {
	t      []float64
	v      [][]float64
	breaks []int // rows that begin a new piece
}

func gather(t testing.TB, data []byte, m Mapping) (gathered, *Report) {
	t.Helper()
	g := gathered{v: make([][]float64, len(m.Channels))}
	rep, err := Read(bytes.NewReader(data), m, func(b *Block) error {
		if b.Break {
			g.breaks = append(g.breaks, len(g.t))
		}
		g.t = append(g.t, b.T...)
		for i := range b.V {
			g.v[i] = append(g.v[i], b.V[i]...)
		}
		return nil
	})
	if err != nil {
		t.Fatalf("Read: %v", err)
	}
	return g, rep
}

func sniff(t testing.TB, data []byte) (Mapping, Preview) {
	t.Helper()
	m, p, err := Sniff(bytes.NewReader(data))
	if err != nil {
		t.Fatalf("Sniff: %v", err)
	}
	return m, p
}

func near(a, b, tol float64) bool { return math.Abs(a-b) <= tol*max(1, math.Abs(a), math.Abs(b)) }

// wave is the recording that every dialect below spells: 200 samples at 100 Hz.
func wave() (t, v, w []float64) {
	for i := range 200 {
		x := float64(i) / 100
		t = append(t, x)
		v = append(v, math.Round((0.45+0.4*math.Sin(2*math.Pi*2*x))*1e4)/1e4)
		w = append(w, math.Round((0.65+0.05*math.Sin(2*math.Pi*0.5*x))*1e4)/1e4)
	}
	return
}

func utf16Bytes(s string, order binary.ByteOrder, bom bool) []byte {
	var b []byte
	if bom {
		s = "\ufeff" + s
	}
	for _, u := range utf16.Encode([]rune(s)) {
		var two [2]byte
		order.PutUint16(two[:], u)
		b = append(b, two[:]...)
	}
	return b
}

func TestSniffAndReadEveryDialect(t *testing.T) {
	ts, v, w := wave()
	table := func(header string, row func(t, v, w float64) string, end string) string {
		var b strings.Builder
		b.WriteString(header)
		for i := range ts {
			b.WriteString(row(ts[i], v[i], w[i]))
			b.WriteString(end)
		}
		return b.String()
	}
	dec := func(s string) string { return strings.ReplaceAll(s, ".", ",") }
	two := func(format string) func(t, v, w float64) string {
		return func(t, v, w float64) string { return fmt.Sprintf(format, t, v, w) }
	}
	tests := []struct {
		name   string
		data   string
		raw    []byte
		delim  string
		unit   string // of the first channel
		one    bool   // one channel only
		rate   float64
		places bool // bank and position are in the names
		more   int  // further channels
	}{
		{name: "comma, units in brackets", data: table("Time (s),O2 B1S1 (V),O2 B1S2 (V)\n", two("%.2f,%.4f,%.4f"), "\n"), delim: "comma", unit: "V", places: true},
		{name: "semicolon and decimal comma", data: table("Time [s];Bank 1 Sensor 1 [V];Bank 1 Sensor 2 [V]\r\n", func(t, v, w float64) string { return dec(fmt.Sprintf("%.2f;%.4f;%.4f", t, v, w)) }, "\r\n"), delim: "semicolon", unit: "V", places: true},
		{name: "tab, units on a second line", data: table("Time\tUpstream O2\tDownstream O2\nms\tmV\tmV\n", func(t, v, w float64) string { return fmt.Sprintf("%.0f\t%.1f\t%.1f", t*1000, v*1000, w*1000) }, "\n"), delim: "tab", unit: "mV"},
		{name: "no header", data: table("", two("%.2f,%.4f,%.4f"), "\n"), delim: "comma", unit: "V"},
		{name: "no header, decimal comma", data: table("", func(t, v, w float64) string { return dec(fmt.Sprintf("%.2f;%.4f;%.4f", t, v, w)) }, "\n"), delim: "semicolon", unit: "V"},
		{name: "trailing delimiters", data: table("Time (s), O2 B1S1 (V), O2 B1S2 (V),\n", two("%.2f, %.4f, %.4f,"), "\n"), delim: "comma", unit: "V", places: true},
		{name: "byte order mark", data: "\ufeff" + table("Time (s),O2 B1S1 (V),O2 B1S2 (V)\n", two("%.2f,%.4f,%.4f"), "\n"), delim: "comma", unit: "V", places: true},
		{name: "UTF-16 little endian with mark", raw: utf16Bytes(table("Time (s),O2 B1S1 (V),O2 B1S2 (V)\n", two("%.2f,%.4f,%.4f"), "\r\n"), binary.LittleEndian, true), delim: "comma", unit: "V", places: true},
		{name: "UTF-16 big endian without mark", raw: utf16Bytes(table("Time (s)\tO2 B1S1 (V)\tO2 B1S2 (V)\n", two("%.2f\t%.4f\t%.4f"), "\r\n"), binary.BigEndian, false), delim: "tab", unit: "V", places: true},
		{name: "lines end with carriage returns only", data: table("Time (s),O2 B1S1 (V),O2 B1S2 (V)\r", two("%.2f,%.4f,%.4f"), "\r"), delim: "comma", unit: "V", places: true},
		{name: "runs of blanks", data: table("  t        front     rear\n", two("%6.2f  %8.4f   %8.4f"), "\n"), delim: "space", unit: "V"},
		{name: "pipes", data: table("| Time (s) | O2 B1S1 (V) | O2 B1S2 (V) |\n"[2:], two("%.2f | %.4f | %.4f |"), "\n"), delim: "pipe", unit: "V", places: true},
		{name: "microseconds", data: table("time (us),O2 B1S1 (V),O2 B1S2 (V)\n", func(t, v, w float64) string { return fmt.Sprintf("%.0f,%.4f,%.4f", t*1e6, v, w) }, "\n"), delim: "comma", unit: "V", places: true},
		{name: "milliseconds by their steps", data: table("time,o2s11,o2s12\n", func(t, v, w float64) string { return fmt.Sprintf("%.0f,%.4f,%.4f", t*1000, v, w) }, "\n"), delim: "comma", unit: "V", places: true},
		{name: "time of day", data: table("clock,O2 B1S1 (V),O2 B1S2 (V)\n", func(t, v, w float64) string {
			return fmt.Sprintf("23:59:%06.3f,%.4f,%.4f", 57+t, v, w)
		}, "\n"), delim: "comma", unit: "V", places: true},
		{name: "time of day across midnight", data: table("clock;O2 B1S1 (V);O2 B1S2 (V)\n", func(t, v, w float64) string {
			s := 86399.2 + t
			if s >= 86400-1e-9 {
				s -= 86400
			}
			s = math.Round(s*1000) / 1000
			return dec(fmt.Sprintf("%02d:%02d:%06.3f;%.4f;%.4f", int(s)/3600, int(s)/60%60, math.Mod(s, 60), v, w))
		}, "\n"), delim: "semicolon", unit: "V", places: true},
		{name: "date and time", data: table("Date and time,O2 B1S1 (V),O2 B1S2 (V)\n", func(t, v, w float64) string {
			if s := 59.2 + t; s < 60-1e-9 {
				return fmt.Sprintf("31/12/2024 23:59:%06.3f,%.4f,%.4f", s, v, w)
			}
			return fmt.Sprintf("01/01/2025 00:00:%06.3f,%.4f,%.4f", math.Abs(t-0.8), v, w)
		}, "\n"), delim: "comma", unit: "V", places: true},
		{name: "counted from 1970 in milliseconds", data: table("timestamp,O2 B1S1 (V),O2 B1S2 (V)\n", func(t, v, w float64) string {
			return fmt.Sprintf("%.0f,%.4f,%.4f", 1.7e12+t*1000, v, w)
		}, "\n"), delim: "comma", unit: "V", places: true},
		{name: "sample numbers and a rate above the table", data: table("Recorder 5\nSample rate: 100 Hz\n\nSample,O2 B1S1 (V),O2 B1S2 (V)\n", func(t, v, w float64) string {
			return fmt.Sprintf("%.0f,%.4f,%.4f", t*100, v, w)
		}, "\n"), delim: "comma", unit: "V", rate: 100, places: true},
		{name: "no time column and an interval above the table", data: table("# sample interval = 10 ms\nO2 B1S1 (V),O2 B1S2 (V)\n", func(_, v, w float64) string {
			return fmt.Sprintf("%.4f,%.4f", v, w)
		}, "\n"), delim: "comma", unit: "V", rate: 100, places: true},
		{name: "quoted cells with decimal commas", data: table("\"Time (s)\",\"O2 B1S1 (V)\",\"O2 B1S2 (V)\"\n", func(t, v, w float64) string {
			return dec(fmt.Sprintf("\"%.2f\"x\"%.4f\"x\"%.4f\"", t, v, w))
		}, "\n"), delim: "comma", unit: "V", places: true},
		{name: "units in the cells", data: table("Time,O2 B1S1,O2 B1S2\n", func(t, v, w float64) string {
			return fmt.Sprintf("%.0f ms,%.1f mV,%.4f V", t*1000, v*1000, w)
		}, "\n"), delim: "comma", unit: "mV", places: true},
		{name: "a column of text beside", data: table("Time (s),Note,O2 B1S1 (V),O2 B1S2 (V)\n", func(t, v, w float64) string {
			return fmt.Sprintf("%.2f,warm engine,%.4f,%.4f", t, v, w)
		}, "\n"), delim: "comma", unit: "V", places: true},
		{name: "settings of a scope above the table", data: table("Recorder,5\nRecord length,200\nSample interval,0.01\nTrigger level,0.45\nVertical units,V\n\nTime,O2 B1S1\ns,V\n", func(t, v, _ float64) string { return fmt.Sprintf("%.2f,%.4f", t, v) }, "\n"), delim: "comma", unit: "V", one: true},
		{name: "date and time in columns of their own", data: table("Date,Clock,O2 B1S1 (V),O2 B1S2 (V)\n", func(t, v, w float64) string {
			return fmt.Sprintf("2024-05-06,12:00:%06.3f,%.4f,%.4f", t, v, w)
		}, "\n"), delim: "comma", unit: "V", places: true},
		{name: "exponents", data: table("time/s;O2 B1S1/V;O2 B1S2/V\n", two("%.6E;%.6E;%.6E"), "\r\n"), delim: "semicolon", unit: "V", places: true},
		{name: "a comment ahead of each part", data: table("# recorded warm\n# at 2500 rpm\nTime (s)\tO2 B1S1 (V)\tO2 B1S2 (V)\n", two("%.2f\t%.4f\t%.4f"), "\n"), delim: "tab", unit: "V", places: true},
		{name: "degrees in another encoding", data: table("Time (s),O2 B1S1 (V),O2 B1S2 (V),Coolant (\xb0C)\n", two("%.2f,%.4f,%.4f,88"), "\n"), delim: "comma", unit: "V", places: true, more: 1},
		{name: "one channel", data: table("Time (s),O2 B1S1 (V)\n", func(t, v, _ float64) string { return fmt.Sprintf("%.2f,%.4f", t, v) }, "\n"), delim: "comma", unit: "V", one: true},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			data := tt.raw
			if data == nil {
				data = []byte(strings.ReplaceAll(tt.data, "\"x\"", "\",\""))
			}
			m, p := sniff(t, data)
			if m.Delimiter != tt.delim {
				t.Errorf("delimiter %q, want %q", m.Delimiter, tt.delim)
			}
			channels := 2
			if tt.one {
				channels = 1
			}
			if tt.more > 0 {
				if c := m.Channels[2]; c.Quantity != Coolant || c.Unit != "°C" {
					t.Errorf("%+v", c)
				}
				m.Channels = m.Channels[:channels]
			}
			if len(m.Channels) != channels {
				t.Fatalf("%d channels, want %d: %+v", len(m.Channels), channels, m)
			}
			for i, c := range m.Channels {
				if c.Quantity != SensorVoltage && !(i == 1 && !tt.places) {
					t.Errorf("channel %d is %s (%s)", i, c.Quantity, c.Reason)
				}
				if tt.places && (c.Bank != 1 || c.Position != i+1) {
					t.Errorf("channel %d at bank %d position %d", i, c.Bank, c.Position)
				}
			}
			if m.Channels[0].Unit != tt.unit {
				t.Errorf("unit %q, want %q", m.Channels[0].Unit, tt.unit)
			}
			if m.Time.RateHz != tt.rate {
				t.Errorf("rate %v, want %v", m.Time.RateHz, tt.rate)
			}
			if !near(p.Step, 0.01, 1e-6) {
				t.Errorf("step %v, want 0.01: %+v", p.Step, m.Time)
			}

			// what the guess cannot know is corrected, as a person would
			for i := range m.Channels {
				m.Channels[i].Quantity = SensorVoltage
				if m.Channels[i].Unit == "" {
					m.Channels[i].Unit = tt.unit
				}
			}
			kept, err := json.Marshal(m)
			if err != nil {
				t.Fatal(err)
			}
			var again Mapping
			if err := json.Unmarshal(kept, &again); err != nil {
				t.Fatal(err)
			}
			g, rep := gather(t, data, again)
			if len(g.t) != len(ts) || rep.Rows != len(ts) || rep.Skipped != 0 {
				t.Fatalf("%d rows, %d skipped: %+v", rep.Rows, rep.Skipped, rep.Problems)
			}
			for i := range ts {
				if !near(g.t[i]-g.t[0], ts[i], 1e-9) && !(m.Time.FromFirst && near(g.t[i]-g.t[0], ts[i], 1e-6)) {
					t.Fatalf("row %d: time %v, want %v", i, g.t[i]-g.t[0], ts[i])
				}
				if !near(g.v[0][i], v[i], 1e-12) {
					t.Fatalf("row %d: %v V, want %v", i, g.v[0][i], v[i])
				}
				if !tt.one && !near(g.v[1][i], w[i], 1e-12) {
					t.Fatalf("row %d, second channel: %v V, want %v", i, g.v[1][i], w[i])
				}
			}
		})
	}
}

func TestBadTables(t *testing.T) {
	ts, v, _ := wave()
	rows := func(change func(i int, row string) string) []byte {
		var b strings.Builder
		b.WriteString("Time (s),O2 B1S1 (V)\n")
		for i := range ts {
			b.WriteString(change(i, fmt.Sprintf("%.2f,%.4f", ts[i], v[i])))
			b.WriteByte('\n')
		}
		return []byte(b.String())
	}
	at := func(n int, what string) func(int, string) string {
		return func(i int, row string) string {
			if i == n {
				return what
			}
			return row
		}
	}

	refused := []struct {
		name string
		data []byte
		kind ProblemKind
	}{
		{"an image renamed .csv", append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"), bytes.Repeat([]byte{0, 1, 2, 200, ',', '\n'}, 400)...), NotText},
		{"a photograph renamed .csv", append([]byte("\xFF\xD8\xFF\xE0"), bytes.Repeat([]byte{3, 7, 90, 255}, 400)...), NotText},
		{"a spreadsheet renamed .csv", append([]byte("PK\x03\x04"), bytes.Repeat([]byte{3, 7, 90, 0}, 400)...), NotText},
		{"bytes of no known kind", bytes.Repeat([]byte{1, 2, 3, 4, 250, 0, 9}, 400), NotText},
		{"an empty file", nil, Empty},
		{"blank lines", []byte("\n\n  \n"), Empty},
		{"a file of one line", []byte("Time (s),O2 B1S1 (V)"), Empty},
		{"words only", []byte("the quick\nbrown fox\njumps over\n"), NoNumbers},
		{"a header alone", []byte("Time (s),O2 B1S1 (V)\nunits,none\n"), NoNumbers},
	}
	for _, tt := range refused {
		t.Run("refuses "+tt.name, func(t *testing.T) {
			_, _, err := Sniff(bytes.NewReader(tt.data))
			p, ok := errors.AsType[*Problem](err)
			if !ok || p.Kind != tt.kind {
				t.Fatalf("got %v, want a problem of kind %s", err, tt.kind)
			}
			if p.What.String() == "" || p.Mend.String() == "" {
				t.Errorf("the problem does not say what or how to mend: %+v", p)
			}
		})
	}

	kept := []struct {
		name string
		data []byte
		kind ProblemKind
		line int
		rows int // kept, of 200
		gaps int
	}{
		{"NaN", rows(at(50, "0.50,NaN")), NotANumber, 52, 200, 0},
		{"a million million volts", rows(at(50, "0.50,1000000000000")), OutOfRange, 52, 200, 0},
		{"a million million volts with an exponent", rows(at(50, "0.50,1e12")), OutOfRange, 52, 200, 0},
		{"words in a row", rows(at(50, "0.50,engine off")), Words, 52, 200, 0},
		{"words for a time", rows(at(50, "soon,0.4500")), BadTime, 52, 199, 0},
		{"a row with a missing cell", rows(at(50, "0.50")), ShortRow, 52, 199, 0},
		{"a row with a cell too many", rows(at(50, "0.50,0.4500,7")), LongRow, 52, 200, 0},
		{"a decimal comma astray", rows(at(50, "0.50,0,4500")), LongRow, 52, 200, 0},
		{"one row out of order", rows(at(50, "0.20,0.4500")), OutOfOrder, 52, 199, 0},
		{"one row far ahead", rows(at(50, "1e9,0.4500")), OutOfOrder, 52, 199, 0},
		{"a pause", rows(func(i int, row string) string {
			if i >= 50 && i < 90 {
				return ""
			}
			return row
		}), GapInTime, 0, 160, 1},
		{"a clock that starts again", rows(func(i int, row string) string {
			if i >= 100 {
				return fmt.Sprintf("%.2f,%.4f", ts[i-100], v[i])
			}
			return row
		}), ClockBack, 102, 200, 0},
	}
	for _, tt := range kept {
		t.Run("keeps the rest despite "+tt.name, func(t *testing.T) {
			m, _ := sniff(t, tt.data)
			g, rep := gather(t, tt.data, m)
			if rep.Rows != tt.rows {
				t.Errorf("%d rows kept, want %d", rep.Rows, tt.rows)
			}
			found := false
			for _, p := range rep.Problems {
				if p.Kind == tt.kind && p.Line == tt.line && p.What.String() != "" && p.Mend.String() != "" {
					found = true
				}
			}
			if !found {
				t.Errorf("no problem of kind %s at line %d: %+v", tt.kind, tt.line, rep.Problems)
			}
			if rep.GapCount != tt.gaps || len(rep.Gaps) != tt.gaps {
				t.Errorf("%d gaps, want %d", rep.GapCount, tt.gaps)
			}
			for i := 1; i < len(g.t); i++ {
				if g.t[i] < g.t[i-1] {
					t.Fatalf("time falls at row %d: %v after %v", i, g.t[i], g.t[i-1])
				}
			}
			if tt.kind == ClockBack && (len(g.breaks) < 1 || g.breaks[len(g.breaks)-1] != 100) {
				t.Errorf("no break where the clock starts again: %v", g.breaks)
			}
		})
	}

	t.Run("asks for the rate where the table tells no time", func(t *testing.T) {
		data := []byte("B1S1 (V)\n0.1\n0.8\n0.2\n0.7\n")
		m, p := sniff(t, data)
		if m.Time.Kind != TimeIndex || len(p.Problems) == 0 || p.Problems[0].Kind != NoTime {
			t.Fatalf("%+v %+v", m.Time, p.Problems)
		}
		if _, err := Read(bytes.NewReader(data), m, nil); !problemKind(err, NoTime) {
			t.Fatalf("Read without a rate: %v", err)
		}
		m.Time.RateHz = 50
		g, _ := gather(t, data, m)
		if len(g.t) != 4 || g.t[3] != 0.06 {
			t.Fatalf("times %v", g.t)
		}
	})
	t.Run("stops at the limit of bytes", func(t *testing.T) {
		src, err := newText(strings.NewReader(strings.Repeat("0.1,0.2\n", 20000)), 100000)
		if err != nil {
			t.Fatal(err)
		}
		p := newParser(hourMapping, func(*Block) error { return nil })
		if err := p.run(src); !problemKind(err, TooLarge) {
			t.Fatalf("got %v", err)
		}
	})
	t.Run("refuses a line no table has", func(t *testing.T) {
		data := append([]byte("Time (s),B1S1 (V)\n"), bytes.Repeat([]byte{'7'}, 3<<20)...)
		if _, err := Read(bytes.NewReader(data), hourMapping, nil); !problemKind(err, LongLine) {
			t.Fatalf("got %v", err)
		}
	})
	t.Run("tells a file cut in the middle of a row", func(t *testing.T) {
		data := []byte("Time (s),O2 B1S1 (V),O2 B1S2 (V)\n0.0,0.1,0.2\n0.1,0.1,0.2\n0.2,0.1,0.2\n0.3,0.")
		m, _ := sniff(t, data)
		g, rep := gather(t, data, m)
		if len(g.t) != 4 || !math.IsNaN(g.v[0][3]) || !math.IsNaN(g.v[1][3]) {
			t.Errorf("the cell that is cut short was kept: %v", g)
		}
		if len(rep.Problems) == 0 || rep.Problems[0].Kind != CutFile {
			t.Errorf("%+v", rep.Problems)
		}
	})
}

func problemKind(err error, k ProblemKind) bool {
	p, ok := errors.AsType[*Problem](err)
	return ok && p.Kind == k
}

func TestMappingCheckNamesTheField(t *testing.T) {
	good := hourMapping
	if err := good.Check(); err != nil {
		t.Fatal(err)
	}
	change := map[string]func(*Mapping){
		"delimiter":         func(m *Mapping) { m.Delimiter = "colon" },
		"decimal":           func(m *Mapping) { m.Decimal = "" },
		"data_line":         func(m *Mapping) { m.DataLine = 0 },
		"time.unit":         func(m *Mapping) { m.Time.Unit = "V" },
		"time.kind":         func(m *Mapping) { m.Time.Kind = "sundial" },
		"time.column":       func(m *Mapping) { m.Time.Column = 3 },
		"channels":          func(m *Mapping) { m.Channels = nil },
		"column is the tim": func(m *Mapping) { m.Channels[0].Column = 1 },
		"quantity":          func(m *Mapping) { m.Channels[0].Quantity = "smell" },
		"channels[0].unit":  func(m *Mapping) { m.Channels[0].Unit = "kPa" },
		"sampl":             func(m *Mapping) { m.Time = Time{Kind: TimeIndex} },
	}
	for word, f := range change {
		t.Run(word, func(t *testing.T) {
			m := good
			m.Channels = []Column{good.Channels[0]}
			f(&m)
			err := m.Check()
			if err == nil || !strings.Contains(err.Error(), word) {
				t.Fatalf("got %v", err)
			}
		})
	}
}

func TestReuseFindsColumnsByName(t *testing.T) {
	one := []byte("Time (ms),Front,Rear\n0,0.1,0.7\n10,0.8,0.7\n20,0.1,0.6\n30,0.2,0.7\n")
	saved, _ := sniff(t, one)
	saved.Channels[0].Quantity, saved.Channels[0].Bank, saved.Channels[0].Unit = SensorVoltage, 2, "V"
	other := []byte("Rear,Remark,Front,Time (ms)\n0.7,a,0.1,0\n0.7,b,0.8,10\n0.6,c,0.1,20\n0.7,d,0.2,30\n")
	found, _ := sniff(t, other)
	m, problems := Reuse(saved, found)
	if len(problems) != 0 {
		t.Fatalf("%+v", problems)
	}
	if m.Time.Column != 4 || m.Channels[0].Column != 3 || m.Channels[0].Bank != 2 {
		t.Fatalf("%+v", m)
	}
	g, _ := gather(t, other, m)
	if g.v[0][1] != 0.8 || g.t[3] != 0.03 {
		t.Fatalf("%+v", g)
	}
	lacking, _ := sniff(t, []byte("Time (ms),Rear\n0,0.7\n10,0.7\n20,0.6\n"))
	if _, problems := Reuse(saved, lacking); len(problems) != 1 || problems[0].Kind != HeaderDiffers {
		t.Fatalf("%+v", problems)
	}
}

// The fast readers and the careful one must agree on every row.
func TestFastAndSlowReadAlike(t *testing.T) {
	lines := []string{"0.001,0.4523", "0.0015,0.44999999999999996", "  0.0016,+0.25", "0.0017,-1e-3", "0.002,-0.0100", "3,5", "4.,.5", "5e0,1.5e-1", " 6.0 , 0.25 ", "7,0.123456789", "8,0.45,", "9,\"0.5\"", "10.25,0.7\r"}
	data := []byte("t,v\n" + strings.Join(lines, "\n") + "\n")
	g, rep := gather(t, data, hourMapping)
	want := []float64{0.4523, 0.44999999999999996, 0.25, -0.001, -0.01, 5, 0.5, 0.15, 0.25, 0.123456789, 0.45, 0.5, 0.7}
	if rep.Rows != len(want) || len(rep.Problems) != 0 {
		t.Fatalf("%+v", rep)
	}
	for i, x := range want {
		if g.v[0][i] != x {
			t.Errorf("%q read as %v", lines[i], g.v[0][i])
		}
	}
}
