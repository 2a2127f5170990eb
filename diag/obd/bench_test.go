package obd

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// benchLog is a log of n answers as a logger writes it: a sensor, its trims, speed
// and load in turn.
func benchLog(n int, framing int) []byte {
	rng := rand.New(rand.NewPCG(1, 2))
	var b bytes.Buffer
	for i := range n {
		payloads := [][]byte{
			{0x41, 0x14, byte(rng.IntN(180)), 0x80}, {0x41, 0x06, byte(120 + rng.IntN(16))}, {0x41, 0x07, 0x8A},
			{0x41, 0x0C, byte(10 + rng.IntN(30)), byte(rng.IntN(256))}, {0x41, 0x04, byte(rng.IntN(256))},
		}
		lines, _, _ := encode(payloads[i%len(payloads)], framing, 0)
		for _, line := range lines {
			fmt.Fprintf(&b, "(%d.%06d) %s\n", 1436509052+i/50, i%50*20000, line)
		}
	}
	return b.Bytes()
}

// BenchmarkDecode reads a timed log. times-scanner is the ratio against splitting
// the same bytes into lines with bufio.Scanner.
func BenchmarkDecode(b *testing.B) {
	for _, c := range []struct {
		name    string
		framing int
	}{{"candump log", 4}, {"candump", 5}, {"headers and blanks", 0}, {"bare", 11}} {
		b.Run(c.name, func(b *testing.B) {
			text := benchLog(100_000, c.framing)
			begin := time.Now()
			for range 5 {
				s := bufio.NewScanner(bytes.NewReader(text))
				n := 0
				for s.Scan() {
					n += len(s.Bytes())
				}
				if n == 0 {
					b.Fatal("nothing scanned")
				}
			}
			perScan := time.Since(begin) / 5
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				r, err := Decode(bytes.NewReader(text))
				if err != nil || r.Messages != 100_000 {
					b.Fatal(err, r.Messages)
				}
			}
			b.ReportMetric(float64(b.Elapsed())/float64(b.N)/float64(perScan), "times-scanner")
		})
	}
}

func BenchmarkParseCode(b *testing.B) {
	for b.Loop() {
		if _, err := ParseCode("p0171"); err != nil {
			b.Fatal(err)
		}
	}
}

func TestLongLogStaysSmall(t *testing.T) {
	// Two hundred thousand answers of one channel, beyond the samples kept.
	d := newDecoder()
	d.maxSamples = 1000
	r, err := d.run(strings.NewReader(strings.Repeat("12.5 41 0C 1A F8\n", 200_000)))
	if err != nil || r.Messages != 200_000 || len(r.Series) != 1 || len(r.Series[0].Samples) != 1000 || len(r.Notes) != 1 || r.Notes[0].Count != 199_000 {
		t.Errorf("%v: %d messages, %d samples, notes %v", err, r.Messages, len(r.Series[0].Samples), r.Notes)
	}
}
