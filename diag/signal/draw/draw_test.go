package draw

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"crosscount/diag/picture"
	"crosscount/diag/signal"
)

func drawn(t *testing.T, table string, opt signal.Options) string {
	t.Helper()
	m, _, err := signal.Sniff(strings.NewReader(table))
	if err != nil {
		t.Fatal(err)
	}
	b := NewBoard(m)
	opt.Watch = b.Watch
	res, err := signal.Measure(bytes.NewReader([]byte(table)), m, opt)
	if err != nil {
		t.Fatal(err)
	}
	return string(b.Picture(res, signal.DefaultLimits(), picture.Frame{}))
}

func table(header string, n int, row func(t float64) string) string {
	var b strings.Builder
	b.WriteString(header + "\n")
	for i := range n {
		fmt.Fprintf(&b, "%.2f,%s\n", float64(i)/100, row(float64(i)/100))
	}
	return b.String()
}

func TestPictureSuitsTheRecording(t *testing.T) {
	sine := func(x float64) float64 { return 0.45 + 0.4*math.Sin(2*math.Pi*x) }
	tests := []struct {
		name, data string
		opt        signal.Options
		want       []string
		not        []string
	}{
		{"one sensor", table("Time (s),O2 B2S1 (V)", 500, func(x float64) string { return fmt.Sprintf("%.3f", sine(x)) }),
			signal.Options{}, []string{`data-picture="plot"`, "B2S1", "0.45 V middle"}, nil},
		{"a pair", table("Time (s),O2 B1S2 (V),O2 B1S1 (V)", 500, func(x float64) string { return fmt.Sprintf("0.7,%.3f", sine(x)) }),
			signal.Options{}, []string{"Ahead of and behind the converter", ">B1S1<", ">B1S2<"}, nil},
		{"a marked change", table("Time (s),O2 B1S1 (V)", 500, func(x float64) string { return fmt.Sprintf("%.3f", sine(x)) }),
			signal.Options{Event: &signal.Event{At: 2, Mixture: "rich"}}, []string{"made rich"}, nil},
		{"a wide-range sensor", table("Time (s),Lambda B1S1", 500, func(x float64) string { return fmt.Sprintf("%.3f", 1+0.01*math.Sin(x)) }),
			signal.Options{}, []string{"Wide-range", "lambda 1"}, []string{"0.45 V"}},
		{"trims", table("Time (s),Engine RPM,Coolant (°C),STFT B1 (%),LTFT B1 (%),Engine load (%)", 2000, func(x float64) string { return "700,88,3.125,-1.5625,25" }),
			signal.Options{}, []string{`data-picture="trims"`, "idle", "+3.1 ± 0.4 %", "−1.6 ± 0.4 %"}, nil},
		{"something else", table("Time (s),Fuel rail (kPa)", 100, func(x float64) string { return "300" }),
			signal.Options{}, []string{"Recording", "Fuel rail"}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			svg := drawn(t, tt.data, tt.opt)
			for _, w := range tt.want {
				if !strings.Contains(svg, w) {
					t.Errorf("lacks %q: %.900s", w, svg)
				}
			}
			for _, w := range tt.not {
				if strings.Contains(svg, w) {
					t.Errorf("has %q", w)
				}
			}
			if strings.Index(svg, ">B1S1<") > strings.Index(svg, ">B1S2<") && strings.Contains(svg, ">B1S2<") {
				t.Error("the rear sensor stands above the front one")
			}
		})
	}
}

func TestLookShowsEveryChannel(t *testing.T) {
	data := table("Time (s),O2 B1S1 (V),Engine RPM,Coolant (°C)", 300, func(x float64) string { return fmt.Sprintf("%.3f,%.0f,88", 0.45+0.4*math.Sin(x), 700+x) })
	m, _, err := signal.Sniff(strings.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	svg, report, err := Look(strings.NewReader(data), m, picture.Frame{})
	if err != nil || report.Rows != 300 {
		t.Fatal(err, report)
	}
	for _, want := range []string{">B1S1<", ">Engine RPM<", ">rpm<", ">°C<"} {
		if !strings.Contains(string(svg), want) {
			t.Errorf("lacks %q", want)
		}
	}
	m.Channels[1].Column = 99
	if _, _, err := Look(strings.NewReader(data), m, picture.Frame{}); err == nil {
		t.Error("a mapping that does not fit was drawn")
	}
}

func TestPicturesInAnotherUnit(t *testing.T) {
	data := table("Time (s),Coolant (°C)", 300, func(x float64) string { return fmt.Sprintf("%.2f", 20+10*x) })
	m, _, err := signal.Sniff(strings.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	b := NewBoard(m)
	b.Shown = func(v float64, unit string) (float64, string) {
		if unit == "°C" {
			return 1.8*v + 32, "°F" // NIST SP 811, B.9
		}
		return v, unit
	}
	res, err := signal.Measure(strings.NewReader(data), m, signal.Options{Watch: b.Watch})
	if err != nil {
		t.Fatal(err)
	}
	svg := string(b.Picture(res, signal.DefaultLimits(), picture.Frame{}))
	// From 20 to 50 °C, which is from 68 to 122 °F.
	for _, want := range []string{"Coolant runs from 68.0 to 122 °F", ">°F<", ">80<", ">120<"} {
		if !strings.Contains(svg, want) {
			t.Errorf("lacks %q: %.900s", want, svg)
		}
	}
	if strings.Contains(svg, "°C") {
		t.Error("an axis is still in °C")
	}
}
