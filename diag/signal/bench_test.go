package signal

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"sync/atomic"
	"testing"
	"time"
)

// hourMapping reads what hour writes.
var hourMapping = Mapping{Delimiter: "comma", Decimal: "point", DataLine: 2, Columns: 2,
	Time:     Time{Column: 1, Kind: TimeNumber, Unit: "s"},
	Channels: []Column{{Column: 2, Name: "B1S1", Quantity: SensorVoltage, Unit: "V", Bank: 1, Position: 1}}}

// hour writes n samples at 1 kHz of a switching sensor with noise.
func hour(n int) []byte {
	rng := rand.New(rand.NewPCG(1, 2))
	var b bytes.Buffer
	b.WriteString("Time (s),O2 B1S1 (V)\n")
	for i := range n {
		t := float64(i) / 1000
		fmt.Fprintf(&b, "%.3f,%.4f\n", t, 0.47+0.37*math.Tanh(4*math.Sin(2*math.Pi*1.3*t))+0.003*rng.NormFloat64())
	}
	return b.Bytes()
}

func readCSV(b *testing.B, data []byte, comma rune) {
	r := csv.NewReader(bytes.NewReader(data))
	r.Comma = comma
	r.ReuseRecord = true // the quickest way to use it
	for {
		if _, err := r.Read(); err == io.EOF {
			return
		} else if err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkMeasureHour measures one hour at 1 kHz, 3.6 million samples, against
// encoding/csv reading the same bytes and doing nothing with them. The two take
// turns, so that a busy machine slows both; "times-csv" is the ratio of the
// fastest rounds.
func BenchmarkMeasureHour(b *testing.B) {
	data := hour(3_600_000)
	best, bestCSV := time.Hour, time.Hour
	for b.Loop() {
		at := time.Now()
		readCSV(b, data, ',')
		bestCSV = min(bestCSV, time.Since(at))
		at = time.Now()
		res, err := Measure(bytes.NewReader(data), hourMapping, Options{})
		best = min(best, time.Since(at))
		if err != nil || res.Report.Rows != 3_600_000 || res.Channels[0].Narrow.Rise.Median.Value == nil {
			b.Fatal(err, res)
		}
	}
	b.ReportMetric(float64(best)/float64(bestCSV), "times-csv")
	b.ReportMetric(float64(best)/3.6e6, "ns/sample")
}

// BenchmarkMeasureHourHeap measures the same hour from a file. "heap-MiB" is the
// most heap in use beyond what was in use before, seen by a sampler running
// beside; "allocated-MiB" is all that was ever allocated for one measurement, of
// which the heap in use cannot be more.
func BenchmarkMeasureHourHeap(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "hour.csv"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	if _, err := f.Write(hour(3_600_000)); err != nil {
		b.Fatal(err)
	}
	runtime.GC()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	var most atomic.Uint64
	stop := make(chan struct{})
	go func() {
		var m runtime.MemStats
		for {
			select {
			case <-stop:
				return
			case <-time.After(5 * time.Millisecond):
				runtime.ReadMemStats(&m)
				if m.HeapInuse > before.HeapInuse {
					most.Store(max(most.Load(), m.HeapInuse-before.HeapInuse))
				}
			}
		}
	}()
	n := 0
	for b.Loop() {
		n++
		if _, err := Measure(f, hourMapping, Options{}); err != nil {
			b.Fatal(err)
		}
	}
	close(stop)
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(most.Load())/(1<<20), "heap-MiB")
	b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/float64(n)/(1<<20), "allocated-MiB")
}

// BenchmarkMeasureLayouts does the same for other ways in which recorders write,
// a million rows each.
func BenchmarkMeasureLayouts(b *testing.B) {
	sine := func(i int) float64 { return 0.45 + 0.4*math.Sin(float64(i)/100) }
	for _, layout := range []struct {
		name  string
		comma rune
		row   func(i int) string
	}{
		{"six decimals", ',', func(i int) string { return fmt.Sprintf("%.6f,%.6f\n", float64(i)/1000, sine(i)) }},
		{"twelve decimals", ',', func(i int) string { return fmt.Sprintf("%.9f,%.12f\n", float64(i)/1000, sine(i)) }},
		{"as short as can be", ',', func(i int) string { return fmt.Sprintf("%g,%g\n", float64(i)/1000, math.Round(sine(i)*1e4)/1e4) }},
		{"exponents", ',', func(i int) string { return fmt.Sprintf("%.6e,%.6e\n", float64(i)/1000, sine(i)) }},
		{"negative half the time", ',', func(i int) string { return fmt.Sprintf("%.4f,%.4f\n", float64(i)/1000, sine(i)-0.45) }},
		{"time of day", ',', func(i int) string {
			s := float64(i) / 1000
			return fmt.Sprintf("%02d:%02d:%06.3f,%.4f\n", int(s)/3600, int(s)/60%60, math.Mod(s, 60), sine(i))
		}},
		{"milliseconds and millivolts", ';', func(i int) string { return fmt.Sprintf("%d;%.0f;%d\r\n", i, 1000*sine(i), 700+i%7) }},
		{"blanks and trailing commas", ',', func(i int) string { return fmt.Sprintf("%.6f, %.6f, 0.700000,\n", float64(i)/1000, sine(i)) }},
		{"four sensors", ',', func(i int) string {
			return fmt.Sprintf("%.3f,%.4f,0.7,%.4f,0.3\n", float64(i)/1000, sine(i), sine(i+70))
		}},
	} {
		b.Run(layout.name, func(b *testing.B) {
			var buf bytes.Buffer
			for i := range 1_000_000 {
				buf.WriteString(layout.row(i))
			}
			data := buf.Bytes()
			m, _ := sniff(b, data)
			for i := range m.Channels {
				c := &m.Channels[i]
				c.Quantity = SensorVoltage
				if c.Unit == "" && layout.comma == ';' {
					c.Unit = "mV"
				} else if c.Unit == "" {
					c.Unit = "V"
				}
			}
			best, bestCSV := time.Hour, time.Hour
			for b.Loop() {
				at := time.Now()
				readCSV(b, data, layout.comma)
				bestCSV = min(bestCSV, time.Since(at))
				at = time.Now()
				res, err := Measure(bytes.NewReader(data), m, Options{})
				best = min(best, time.Since(at))
				if err != nil || res.Report.Rows != 1_000_000 {
					b.Fatal(err, res)
				}
			}
			b.ReportMetric(float64(best)/float64(bestCSV), "times-csv")
			b.ReportMetric(float64(best)/1e6, "ns/row")
		})
	}
}

// BenchmarkReadHour is the reading alone.
func BenchmarkReadHour(b *testing.B) {
	data := hour(3_600_000)
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := Read(bytes.NewReader(data), hourMapping, func(*Block) error { return nil }); err != nil {
			b.Fatal(err)
		}
	}
}
