package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// vertex is a corner of a drawn path in the coordinates of its trace.
type vertex struct {
	t, v float64
	move bool // no line leads here
}

var command = regexp.MustCompile(`([Mlmv])\s*(-?\d+)(?:[ ]?(-?\d+))?`)

// corners reads a drawn path back as its script does.
func corners(t testing.TB, tr *Trace, top, bottom float64) []vertex {
	t.Helper()
	d, x0, dx := tr.path(nil, top, bottom)
	var out []vertex
	x, y := 0, 0
	rest := string(d)
	for rest != "" {
		m := command.FindStringSubmatchIndex(rest)
		if m == nil || m[0] != 0 {
			t.Fatalf("cannot read the path at %.30q", rest)
		}
		num := func(k int) int {
			n, err := strconv.Atoi(rest[m[k]:m[k+1]])
			if err != nil {
				t.Fatal(err)
			}
			return n
		}
		move := false
		switch c := rest[m[2]]; c {
		case 'M':
			x, y, move = num(4), num(6), true
		case 'v':
			y += num(4)
		default:
			x, y, move = x+num(4), y+num(6), c == 'm'
		}
		out = append(out, vertex{x0 + float64(x)*dx, top - float64(y)/gridY*(top-bottom), move})
		rest = rest[m[1]:]
	}
	return out
}

// TestNoSpikeIsLost holds the decimation to its promise on random recordings: every
// sample lies within the drawn range of its place, and the drawing reaches no value
// that was not there.
func TestNoSpikeIsLost(t *testing.T) {
	for seed := range 150 {
		rng := rand.New(rand.NewPCG(uint64(seed), 1))
		columns := 10 + rng.IntN(400)
		n := 1 + rng.IntN(20*columns)
		tr := NewTrace(columns)
		ts, vs := make([]float64, n), make([]float64, n)
		now := 100 * rng.NormFloat64()
		for i := range n {
			if rng.IntN(5) > 0 {
				now += math.Pow(10, -3+4*rng.Float64()*rng.Float64())
			}
			ts[i], vs[i] = now, 0.4+0.3*rng.NormFloat64()
			if rng.IntN(500) == 0 {
				vs[i] = 12 * rng.NormFloat64()
			}
		}
		for i := 0; i < n; {
			k := min(1+rng.IntN(50), n-i)
			tr.Add(ts[i:i+k], vs[i:i+k], rng.IntN(20) == 0)
			i += k
		}
		t0, t1, lo, hi, ok := tr.Span()
		if !ok || t0 != ts[0] || t1 != ts[n-1] {
			t.Fatalf("seed %d: spans %v to %v, want %v to %v", seed, t0, t1, ts[0], ts[n-1])
		}
		top, bottom := hi+0.1, lo-0.1
		cs := corners(t, tr, top, bottom)
		if tr.size() > columns {
			t.Fatalf("seed %d: %d columns, %d allowed", seed, tr.size(), columns)
		}
		unit := 0.5001 * (top - bottom) / gridY
		half := tr.width/2 + (t1-t0)*1e-9
		if tr.cols == nil {
			half = (t1 - t0) / gridX * 0.5001
		}
		for i := range n {
			above, below := false, false
			for _, c := range cs {
				if math.Abs(c.t-ts[i]) <= half*(1+1e-9) {
					above = above || c.v >= vs[i]-unit
					below = below || c.v <= vs[i]+unit
				}
			}
			if !above || !below {
				t.Fatalf("seed %d: sample %d of %d (%v at %v) lies outside what is drawn", seed, i, n, vs[i], ts[i])
			}
		}
		for _, c := range cs {
			there := false
			for i := range n {
				if math.Abs(c.t-ts[i]) <= half*(1+1e-9) && math.Abs(c.v-vs[i]) <= unit {
					there = true
					break
				}
			}
			if !there {
				t.Fatalf("seed %d: %v at %v is drawn but was never recorded", seed, c.v, c.t)
			}
		}
	}
}

func TestGapsStayOpen(t *testing.T) {
	for _, n := range []int{20, 5000} {
		tr := NewTrace(200)
		for i := range n {
			at := float64(i)
			if i >= n/2 {
				at += float64(n) / 4 // the pause
			}
			tr.Add([]float64{at}, []float64{float64(i % 2)}, i == n/2)
		}
		moves := 0
		for _, c := range corners(t, tr, 2, -1) {
			if c.move {
				moves++
			}
		}
		if moves != 2 {
			t.Errorf("%d samples: %d pieces, want 2", n, moves)
		}
	}
}

func TestTicksAreRoundAndInside(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	for range 5000 {
		lo := math.Pow(10, -6+12*rng.Float64()) * float64(1-2*rng.IntN(2)) * float64(rng.IntN(2))
		hi := lo + math.Pow(10, -4+10*rng.Float64())
		if (hi-lo)/max(math.Abs(lo), math.Abs(hi)) < 1e-6 {
			continue
		}
		most := 2 + rng.IntN(12)
		at, digits := ticks(lo, hi, most)
		if len(at) > most+1 {
			t.Fatalf("%v to %v: %d ticks, at most %d", lo, hi, len(at), most)
		}
		if most >= 6 && len(at) < 2 {
			t.Fatalf("%v to %v: only %d ticks", lo, hi, len(at))
		}
		for i, v := range at {
			if v < lo-1e-8*(hi-lo) || v > hi+1e-8*(hi-lo) {
				t.Fatalf("%v lies outside %v to %v", v, lo, hi)
			}
			if i > 0 {
				step := at[i] - at[i-1]
				m := step / math.Pow(10, math.Floor(math.Log10(step)+1e-6))
				if math.Abs(m-1) > 1e-3 && math.Abs(m-2) > 1e-3 && math.Abs(m-5) > 1e-3 && math.Abs(m-10) > 1e-2 {
					t.Fatalf("%v to %v: step %v is not round", lo, hi, step)
				}
				if number(at[i], digits) == number(at[i-1], digits) {
					t.Fatalf("two ticks read %s", number(at[i], digits))
				}
			}
		}
	}
	for _, bad := range [][2]float64{{1, 1}, {2, 1}, {math.NaN(), 1}, {0, math.Inf(1)}} {
		if at, _ := ticks(bad[0], bad[1], 6); at != nil {
			t.Errorf("ticks from %v to %v: %v", bad[0], bad[1], at)
		}
	}
}

// wellFormed parses a picture as XML and answers its texts.
func wellFormed(t testing.TB, svg []byte) (texts []string, ids map[string]int) {
	t.Helper()
	ids = map[string]int{}
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("%v in %s", err, svg)
		}
		switch x := tok.(type) {
		case xml.StartElement:
			switch x.Name.Local {
			case "svg", "title", "desc", "g", "path", "text", "rect", "clipPath", "style":
			default:
				t.Fatalf("element <%s> in a picture", x.Name.Local)
			}
			for _, a := range x.Attr {
				if strings.HasPrefix(strings.ToLower(a.Name.Local), "on") || a.Name.Local == "href" || a.Name.Local == "style" {
					t.Fatalf("attribute %s in a picture", a.Name.Local)
				}
				if a.Name.Local == "id" {
					ids[a.Value]++
				}
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Fatalf("%s=%q", a.Name.Local, a.Value)
				}
			}
		case xml.CharData:
			texts = append(texts, string(x))
		}
	}
}

func line(n int, f func(i int) float64) *Trace {
	tr := NewTrace(0)
	for i := range n {
		tr.Add([]float64{float64(i) / 100}, []float64{f(i)}, false)
	}
	return tr
}

// every draws each kind of picture with the given words in all places for words.
func every(s string, standalone bool) map[string][]byte {
	f := Frame{Title: s, Standalone: standalone}
	levels := []Level{{0.45, s}, {0.8, s}}
	one := Series{s, line(500, func(i int) float64 { return 0.45 + 0.4*math.Sin(float64(i)/9) })}
	two := Series{s, line(500, func(i int) float64 { return 0.7 })}
	plot := Capture(f, s, levels, one, two)
	plot.Marks = []Mark{{1, s}}
	return map[string][]byte{
		"capture": plot.SVG(),
		"pair":    Pair(f, s, levels, one, two).SVG(),
		"overlay": Overlay(f, s, levels, one, two).SVG(),
		"trims":   Trims{Frame: f, Levels: levels, Rows: []TrimRow{{s, s, []Dot{{s, 4, 1, s}}}, {s, s, nil}}}.SVG(),
		"curve": Curve{Frame: f, XLabel: s, Unit: s, Levels: levels, Lines: []CurveLine{{s, []float64{0.9, 1, 1.1}, []float64{0.9, 0.5, 0.1}}},
			Readings: []CurvePoint{{s, 0.95, 0.01, 0.8, 0.01}, {s, math.NaN(), 0, 0.3, 0.02}, {s, 1.02, 0.01, math.NaN(), 0}}}.SVG(),
		"empty capture": Capture(f, s, nil, Series{s, NewTrace(0)}, Series{s, nil}).SVG(),
		"empty curve":   Curve{Frame: f}.SVG(),
		"empty trims":   Trims{Frame: f}.SVG(),
	}
}

func TestPicturesAreWellFormedAndDescribed(t *testing.T) {
	for _, standalone := range []bool{false, true} {
		for name, svg := range every("bank 1", standalone) {
			texts, ids := wellFormed(t, svg)
			if len(texts) < 2 {
				t.Errorf("%s: no text", name)
			}
			s := string(svg)
			for _, want := range []string{`role="img"`, "<title", "<desc", "aria-labelledby"} {
				if !strings.Contains(s, want) {
					t.Errorf("%s lacks %s", name, want)
				}
			}
			for id, n := range ids {
				if n != 1 {
					t.Errorf("%s: id %s occurs %d times", name, id, n)
				}
			}
			if strings.Contains(s, "<style") != standalone {
				t.Errorf("%s: a style element belongs to a file that stands alone, and to no other", name)
			}
		}
	}
}

func TestDescriptionTellsTheNumbers(t *testing.T) {
	svg := string(Capture(Frame{Title: "t"}, "V", []Level{{0.45, "middle"}}, Series{"B1S1", line(300, func(i int) float64 { return 0.1 + 0.7*float64(i%2) })}).SVG())
	if !strings.Contains(svg, "B1S1 runs from 0.100 to 0.800 V") || !strings.Contains(svg, "Limit middle at 0.450 V") {
		t.Error(svg[:600])
	}
	svg = string(Trims{Rows: []TrimRow{{"idle", "bank 1", []Dot{{"short", -3.125, 0.5, ""}}}}}.SVG())
	if !strings.Contains(svg, "idle, bank 1: short −3.1 ± 0.5 %") {
		t.Error(svg[:600])
	}
}

func TestPathStaysSmall(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for _, series := range []int{1, 2, 3, 8} {
		var ss []Series
		for k := range series {
			tr := NewTrace(0)
			ts, vs := make([]float64, 2000), make([]float64, 2000)
			for b := range 100 { // noise over the whole scale is the worst case
				for i := range ts {
					ts[i], vs[i] = float64(b*2000+i)/1000, rng.Float64()
				}
				tr.Add(ts, vs, false)
			}
			ss = append(ss, Series{"sensor " + strconv.Itoa(k), tr})
		}
		if n := len(Capture(Frame{Title: "worst case"}, "V", nil, ss...).SVG()); n > 60<<10 {
			t.Errorf("%d series of noise take %d bytes, at most 60 KB", series, n)
		}
	}
}

func FuzzPictureText(f *testing.F) {
	for _, s := range []string{"bank 1", "<script>alert(1)</script>", `"><img src=x onerror=alert(1)>`, "a&b", "\x00\x1b[31m", "\xff\xfe", "]]>", "&#x0;", "\u2028", "<!--", "'"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for name, svg := range every(s, true) {
			texts, _ := wellFormed(t, svg) // fails on any element, attribute or byte that does not belong
			if s != "" && name == "capture" && !strings.Contains(strings.Join(texts, "\n"), strings.Map(clean, s)) {
				t.Fatalf("%q does not come back as it was: %q", s, texts)
			}
		}
	})
}

// clean is what text becomes where XML cannot carry it.
func clean(r rune) rune {
	switch {
	case r == '\t' || r == '\n' || r == '\r':
		return ' '
	case r < ' ' || r >= 0x7F && r < 0xA0 || r == 0xFFFE || r == 0xFFFF:
		return '\uFFFD'
	}
	return r
}

// FuzzTrace feeds a trace anything: it must keep its promises and not panic.
func FuzzTrace(f *testing.F) {
	f.Add([]byte{1, 2, 3, 200, 0, 9}, 4)
	f.Fuzz(func(t *testing.T, data []byte, columns int) {
		tr := NewTrace(columns % 50)
		now := 0.0
		lo, hi := math.Inf(1), math.Inf(-1)
		for i := 0; i+1 < len(data); i += 2 {
			switch data[i] {
			case 255:
				now = math.Inf(1)
			case 254:
				now -= 1
			case 253:
				now *= 1e6
			default:
				now += float64(data[i]) / 16
			}
			v := float64(data[i+1]) - 100
			if data[i+1] == 250 {
				v = math.NaN()
			}
			before := tr.n
			tr.Add([]float64{now}, []float64{v}, data[i+1] == 7)
			if tr.n > before {
				lo, hi = min(lo, v), max(hi, v)
			}
			if math.IsInf(now, 0) {
				now = 0
			}
		}
		_, _, a, b, ok := tr.Span()
		if ok && (a != lo || b != hi) {
			t.Fatalf("from %v to %v, want %v to %v", a, b, lo, hi)
		}
		wellFormed(t, Capture(Frame{Title: "x", Standalone: true}, "V", nil, Series{"s", tr}).SVG())
	})
}

// BenchmarkPictureOfAnHour draws 3.6 million samples after they were condensed;
// "bytes" is the size of the picture.
func BenchmarkPictureOfAnHour(b *testing.B) {
	tr := NewTrace(0)
	rng := rand.New(rand.NewPCG(3, 3))
	ts, vs := make([]float64, 2000), make([]float64, 2000)
	for k := range 1800 {
		for i := range ts {
			ts[i] = float64(k*2000+i) / 1000
			vs[i] = 0.47 + 0.37*math.Tanh(4*math.Sin(2*math.Pi*1.3*ts[i])) + 0.01*rng.NormFloat64()
		}
		tr.Add(ts, vs, false)
	}
	n := 0
	for b.Loop() {
		n = len(Capture(Frame{Title: "One hour"}, "V", []Level{{0.45, "0.45 V"}}, Series{"B1S1", tr}).SVG())
	}
	b.ReportMetric(float64(n), "bytes")
}

// BenchmarkCondense is the cost of each sample on its way into a picture.
func BenchmarkCondense(b *testing.B) {
	ts, vs := make([]float64, 2000), make([]float64, 2000)
	tr := NewTrace(0)
	k := 0
	for b.Loop() {
		for i := range ts {
			ts[i] = float64(k*2000+i) / 1000
			vs[i] = float64(i%100) / 100
		}
		tr.Add(ts, vs, false)
		k++
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(k*2000), "ns/sample")
}

func ExampleCapture() {
	tr := NewTrace(0)
	tr.Add([]float64{0, 1, 2}, []float64{0.1, 0.8, 0.2}, false)
	svg := Capture(Frame{ID: "x", Title: "Bank 1 sensor 1"}, "V", []Level{{0.45, "0.45 V"}}, Series{"B1S1", tr}).SVG()
	fmt.Println(strings.Contains(string(svg), "Bank 1 sensor 1"))
	// Output: true
}

func TestAPictureOfAPageCanStandAlone(t *testing.T) {
	tr := NewTrace(0)
	tr.Add([]float64{0, 1, 2}, []float64{0.1, 0.9, 0.1}, false)
	f := Frame{Title: "Bank 1 <sensor 1>", Desc: "A swing."}
	paged := Capture(f, "V", nil, Series{"B1S1", tr}).SVG()
	f.Standalone = true
	alone := Capture(f, "V", nil, Series{"B1S1", tr}).SVG()
	for theme, want := range map[string]string{"": "prefers-color-scheme", "light": "color-scheme:light;", "dark": "color-scheme:dark;"} {
		got := Alone(paged, theme)
		if err := xml.Unmarshal(got, new(struct{})); err != nil {
			t.Errorf("theme %q: %v", theme, err)
		}
		for _, w := range []string{want, `xmlns="http://www.w3.org/2000/svg"`, `<rect width="100%"`, "&lt;sensor 1&gt;"} {
			if !strings.Contains(string(got), w) {
				t.Errorf("theme %q lacks %q", theme, w)
			}
		}
		if strings.Count(string(got), "<path") != strings.Count(string(alone), "<path") {
			t.Errorf("theme %q draws other lines", theme)
		}
		if again := Alone(got, theme); string(again) != string(got) {
			t.Errorf("theme %q: what stands alone was changed", theme)
		}
	}
	if got := Alone([]byte("<p>no picture"), ""); string(got) != "<p>no picture" {
		t.Errorf("got %q", got)
	}
}

func TestSpeaks(t *testing.T) {
	french := func(english string, args ...any) string { return "fr " + fmt.Sprintf(english, args...) }
	plain, other := string(Curve{}.SVG()), string(Curve{Frame: Frame{Words: french}}.SVG())
	if !Speaks(plain, nil) || Speaks(plain, french) || !Speaks(other, french) || Speaks(other, nil) {
		t.Error("does not know in which words a picture was drawn")
	}
	if strings.Contains(plain, "data-said") {
		t.Error("an English picture is as it always was")
	}
}
