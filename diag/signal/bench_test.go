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

func readCSV(b *testing.B, data []byte) {
	r := csv.NewReader(bytes.NewReader(data))
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
		readCSV(b, data)
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
