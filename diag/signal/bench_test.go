package signal

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"testing"
)

func hour(n int) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s),B1S1 (V)\n")
	for i := range n {
		fmt.Fprintf(&b, "%.3f,%.4f\n", float64(i)/1000, 0.45+0.35*math.Sin(float64(i)/80))
	}
	return b.Bytes()
}

var hourMapping = Mapping{Delimiter: "comma", Decimal: "point", DataLine: 2, Columns: 2,
	Time:     Time{Column: 1, Kind: TimeNumber, Unit: "s"},
	Channels: []Column{{Column: 2, Name: "B1S1", Quantity: SensorVoltage, Unit: "V", Bank: 1, Position: 1}}}

func BenchmarkParse(b *testing.B) {
	d := hour(3_600_000)
	b.Run("csv", func(b *testing.B) {
		for b.Loop() {
			r := csv.NewReader(bytes.NewReader(d))
			r.ReuseRecord = true
			for {
				if _, err := r.Read(); err == io.EOF {
					break
				}
			}
		}
	})
	b.Run("read", func(b *testing.B) {
		for b.Loop() {
			rep, err := Read(bytes.NewReader(d), hourMapping, func(*Block) error { return nil })
			if err != nil || rep.Rows != 3_600_000 || len(rep.Problems) > 0 {
				b.Fatal(err, rep)
			}
		}
	})
}

func BenchmarkMeasure(b *testing.B) {
	d := hour(3_600_000)
	for b.Loop() {
		res, err := Measure(bytes.NewReader(d), hourMapping, Options{})
		if err != nil || res.Report.Rows != 3_600_000 {
			b.Fatal(err)
		}
	}
}
