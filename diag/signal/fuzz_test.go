package signal

import (
	"bytes"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// FuzzNumber holds both number readers against strconv: what they accept they
// must read as strconv does, and what is a plain decimal they must accept.
func FuzzNumber(f *testing.F) {
	for _, s := range []string{"0", "0.45", "-0.01", "3599.999", "1e3", "-1.5E-7", ".5", "5.", "0,45", "12345678", "1234.5678", "123456789012345678901234567890", "1e400", "0.1e-400", "9007199254740993", "--1", "1.2.3", "", "+7", "1e", "1e+", "0x1p3", "1_000", "inf", "4503599627370497.5", "12345678.1234567", "00000001.00000001", "1.123456789012345"} {
		f.Add(s, byte('.'))
		f.Add(s, byte(','))
	}
	f.Fuzz(func(t *testing.T, s string, decimal byte) {
		if decimal != ',' {
			decimal = '.'
		}
		b := append([]byte(s), '\n')
		b = append(b, make([]byte, pad)...)
		text := func(n int) string { return strings.ReplaceAll(s[:n], string(decimal), ".") }
		plain := func(n int) bool {
			return n > 0 && !strings.ContainsFunc(text(n), func(r rune) bool { return !strings.ContainsRune("0123456789.eE+-", r) })
		}

		v, n, ok := scanNumber([]byte(s), 0, decimal)
		if ok {
			want, err := strconv.ParseFloat(text(n), 64)
			if err != nil || want != v || !plain(n) {
				t.Fatalf("scanNumber(%q) = %v over %d bytes, strconv says %v, %v", s, v, n, want, err)
			}
		} else if n == 0 && (decimal == '.' || !strings.Contains(s, ".")) && plain(len(s)) {
			if want, err := strconv.ParseFloat(text(len(s)), 64); err == nil {
				t.Fatalf("scanNumber refuses %q, strconv reads %v", s, want)
			}
		}

		w, m, whole, frac, ok2 := scanQuick(b, 0, decimal)
		if ok2 && m <= len(s) {
			want, err := strconv.ParseFloat(text(m), 64)
			if err != nil || want != w {
				t.Fatalf("scanQuick(%q) = %v over %d bytes, strconv says %v, %v", s, w, m, want, err)
			}
			if sh := newShapes(decimal).of(whole, frac); sh.size > 0 {
				if x, ok := sh.read(b); !ok || x != w || sh.size != m {
					t.Fatalf("the shape of %q reads it as %v, %v over %d bytes; want %v", s[:m], x, ok, sh.size, w)
				}
			}
		}
	})
}

// FuzzShape reads any text by any shape: it must answer what scanNumber does or
// refuse.
func FuzzShape(f *testing.F) {
	f.Add(uint8(1), uint8(5), "0.7712,")
	f.Add(uint8(8), uint8(0), "12345678\n")
	f.Add(uint8(1), uint8(2), "1,5\n")
	f.Add(uint8(5), uint8(1), "12345..")
	f.Add(uint8(4), uint8(9), "1330.00000000;")
	f.Add(uint8(1), uint8(14), "0.1234567890123\t")
	all := newShapes('.')
	f.Fuzz(func(t *testing.T, whole, frac uint8, text string) {
		sh := &all[whole%9][frac%16]
		b := append([]byte(text), make([]byte, pad)...)
		v, ok := sh.read(b)
		if !ok {
			return
		}
		if next := b[sh.size]; next-'0' <= 9 || next == '.' && sh.frac < 0 || next|0x20 == 'e' {
			return // the number goes on: its reader looks at what follows
		}
		want, n, known := scanNumber(b, 0, '.')
		if !known || n != sh.size || want != v {
			t.Fatalf("by the shape %d.%d, %q reads as %v; it is %v over %d bytes", sh.whole, sh.frac, text, v, want, n)
		}
	})
}

// FuzzClock holds the clock reader against the time package.
func FuzzClock(f *testing.F) {
	for _, s := range []string{"13:05:09.250", "1:02:03", "59:59.9", "2024-02-29 23:59:59.999", "29.02.2024 00:00:00", "12/31/2024 11:59:59 PM", "2024-01-01T00:00:00Z", "00:00:00:500", "24:00:00", "1:2", "", "31/12/24 1:1:1", "29.02.2024 0:00:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, order := range []string{"", "ymd", "dmy", "mdy"} {
			day, sec, n, ok := scanClock([]byte(s), 0, 0, order)
			if ok && (n > len(s) || sec < 0 || math.IsNaN(sec)) {
				t.Fatalf("scanClock(%q) = %v, %v over %d bytes", s, day, sec, n)
			}
		}
		for layout, order := range map[string]string{"2006-01-02 15:04:05": "ymd", "02.01.2006 15:04:05": "dmy", "01/02/2006 15:04:05": "mdy"} {
			want, err := time.Parse(layout, s)
			if err != nil || want.Year() < 100 {
				continue
			}
			day, sec, n, ok := scanClock([]byte(s), 0, 0, order)
			if !ok || n != len(s) {
				t.Fatalf("scanClock refuses %q, which is %v", s, want)
			}
			epoch, _, _, _ := scanClock([]byte("1970-01-01 00:00:00"), 0, 0, "ymd")
			got := float64(day-epoch)*86400 + sec
			if math.Abs(got-float64(want.Unix())-float64(want.Nanosecond())/1e9) > 1e-3 {
				t.Fatalf("scanClock(%q) = %v s, want %v", s, got, want.Unix())
			}
		}
	})
}

// FuzzRead reads any bytes under the mapping guessed for them, and again through
// the careful reader alone: both must agree, times must not fall, and nothing may
// panic.
func FuzzRead(f *testing.F) {
	ts, v, w := wave()
	var b strings.Builder
	for i := range 30 {
		b.WriteString(strconv.FormatFloat(ts[i], 'f', 2, 64) + "," + strconv.FormatFloat(v[i], 'f', 4, 64) + "," + strconv.FormatFloat(w[i], 'f', 4, 64) + "\n")
	}
	rows := b.String()
	for _, s := range []string{
		"Time (s),B1S1 (V),B1S2 (V)\n" + rows, strings.ReplaceAll(rows, ",", ";"), strings.ReplaceAll(strings.ReplaceAll(rows, ",", "\t"), ".", ","),
		"a,b\r\n1,2\r\n1,2\r\n0,3\r\n5,nan\r\n6,1e12\r\n", "12:00:00 0.1\n12:00:01 0.2\n11:59:00 0.3\n", "12:00:00 59:00 0.0.1\n12:00:01\n0.29:51:1\n00 0.3 ", "\xff\x80\xff0\xff1\n\t\t\t%\t1", "t\xaav\n1,2\n9e91,9", "\ufeffx;y\n1,5;\"2,5\"\n2,5;3\n", "1\n2\n3\n", "0.1|0.2|\n0.2|0.3|\n",
		"\xff\xfe1\x00,\x002\x00\n\x002\x00,\x003\x00\n\x00", "t,v\n1,2\n9e9,1\n2,1\n3,1\n1,1\n2,1\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, p, err := Sniff(bytes.NewReader(data))
		if err != nil {
			if pr, ok := err.(*Problem); !ok || pr.What.String() == "" || pr.Mend.String() == "" {
				t.Fatalf("Sniff: %v", err)
			}
			return
		}
		_ = p
		if m.Time.Kind == TimeIndex && m.Time.RateHz == 0 {
			m.Time.RateHz = 10
		}
		if err := m.Check(); err != nil {
			t.Fatalf("the guess does not pass its own check: %v: %+v", err, m)
		}
		read := func(careful bool) (gathered, *Report, error) {
			src, err := newText(bytes.NewReader(data), MaxBytes)
			if err != nil {
				t.Fatal(err)
			}
			g := gathered{v: make([][]float64, len(m.Channels))}
			ps := newParser(m, func(b *Block) error {
				if b.Break {
					g.breaks = append(g.breaks, len(g.t))
				}
				g.t = append(g.t, b.T...)
				for i := range b.V {
					g.v[i] = append(g.v[i], b.V[i]...)
				}
				return nil
			})
			ps.careful = careful
			if err := ps.run(src); err != nil {
				return g, nil, err
			}
			rep, err := ps.finish()
			return g, rep, err
		}
		a, ra, ea := read(false)
		b, rb, eb := read(true)
		if (ea == nil) != (eb == nil) {
			t.Fatalf("fast: %v, careful: %v", ea, eb)
		}
		same := func(x, y []float64) bool {
			return slices.EqualFunc(x, y, func(p, q float64) bool { return p == q || p != p && q != q })
		}
		if !same(a.t, b.t) || !slices.Equal(a.breaks, b.breaks) {
			t.Fatalf("times differ: %v %v", a.t, b.t)
		}
		for i := range a.v {
			if !same(a.v[i], b.v[i]) {
				t.Fatalf("channel %d differs: %v %v", i, a.v[i], b.v[i])
			}
		}
		for i := 1; i < len(a.t); i++ {
			if !(a.t[i] >= a.t[i-1]) {
				t.Fatalf("time falls: %v after %v", a.t[i], a.t[i-1])
			}
		}
		if ea == nil && (ra.Lines != rb.Lines || ra.Rows != rb.Rows || ra.Skipped != rb.Skipped || ra.Repeats != rb.Repeats || len(ra.Problems) != len(rb.Problems)) {
			t.Fatalf("reports differ:\n%+v\n%+v", ra, rb)
		}
		if ea != nil {
			return
		}
		res, err := Measure(bytes.NewReader(data), m, Options{ColdStart: new(0.0)})
		if err != nil {
			t.Fatalf("Measure: %v", err)
		}
		for _, c := range res.Channels {
			for name, r := range map[string]Reading{"min": c.Min, "max": c.Max, "mean": c.Mean, "low": c.Low, "high": c.High} {
				if v, ok := r.Get(); ok && (math.IsNaN(v) || math.IsInf(v, 0) || !(r.Uncertainty >= 0)) {
					t.Fatalf("%s: %+v", name, r)
				}
			}
			lo, ok := c.Min.Get()
			hi, _ := c.Max.Get()
			if mean, has := c.Mean.Get(); ok && has && (mean < lo-1e-9*math.Abs(lo)-1e-9 || mean > hi+1e-9*math.Abs(hi)+1e-9) {
				t.Fatalf("mean %v outside %v to %v", mean, lo, hi)
			}
		}
	})
}

// FuzzMapping reads a fixed table under any mapping a person or a stored file may
// give: it is refused or read, never more.
func FuzzMapping(f *testing.F) {
	good, err := json.Marshal(hourMapping)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte(`{"delimiter":"space","decimal":"comma","data_line":1,"time":{"column":0,"kind":"index","rate_hz":1e9},"channels":[{"column":512,"quantity":"other"}]}`))
	f.Add([]byte(`{"delimiter":"none","decimal":"point","data_line":9999,"columns":1,"time":{"column":1,"kind":"clock","date_order":"mdy"},"channels":[{"column":2,"quantity":"fuel_system"}]}`))
	table := "Time (s),B1S1 (V),status\n0,0.1,OL\n1,0.9,CL\n12:00:01,0.5,\"x,y\"\n3,1e12,nan\n2,0.4,2\n\n#x\n4;5;6\n5 6 7\n1/2/03 4:05:06 pm,450 mV,16"
	f.Fuzz(func(t *testing.T, data []byte) {
		var m Mapping
		if json.Unmarshal(data, &m) != nil {
			return
		}
		res, err := Measure(strings.NewReader(table), m, Options{Event: &Event{At: 1, Mixture: "lean", Uncertainty: 0.1}})
		if err != nil {
			if _, ok := err.(*Problem); !ok {
				t.Fatalf("%v", err)
			}
			return
		}
		if err := m.Check(); err != nil {
			t.Fatalf("read under a mapping that does not pass its check: %v", err)
		}
		if res.Report.Rows < 1 || res.Report.End < res.Report.Start {
			t.Fatalf("%+v", res.Report)
		}
		found, _, err := Sniff(strings.NewReader(table))
		if err != nil {
			t.Fatal(err)
		}
		again, _ := Reuse(m, found)
		if err := again.Check(); err != nil && again.Time.Kind != TimeIndex {
			t.Fatalf("a mapping used again is wrong: %v: %+v", err, again)
		}
	})
}
