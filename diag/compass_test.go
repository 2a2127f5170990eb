package diag

import (
	"encoding/json"
	"math"
	"runtime"
	"sync/atomic"
	"testing"
)

func TestCompass(t *testing.T) {
	t.Run("takes binary logarithms as the standard library does", func(t *testing.T) {
		for x := 1e-6; x < 1e6; x *= 1.0007 {
			if got, want := log2(x), math.Log2(x); math.Abs(got-want) > 1e-12 {
				t.Fatalf("log2(%g) is %.15g, not %.15g", x, got, want)
			}
		}
	})
	t.Run("prices doubt by the questions that are left", func(t *testing.T) {
		looked := 0
		for i := range 30 {
			d := trade().weigh(midway(i), nil)
			c := d.pr.compass
			c.scouts()
			n := len(c.p)
			for asked := uint64(0); asked < 1<<n && looked < 200_000; asked = asked*5 + 3 {
				o := c.look(asked)
				for k := range o.pairs {
					shared, rate := 1.0, c.dearest
					for q := range n {
						if asked>>q&1 == 0 && c.told(q) {
							overlap := 1 / c.apart[q][k]
							shared *= overlap
							rate = min(rate, c.asking[q]/max(1-overlap, 1e-3))
						}
					}
					looked++
					if got := o.pairs[k]; math.Abs(got.shared-shared) > 1e-9*shared || math.Abs(got.rate-rate) > 1e-9*rate {
						t.Fatalf("case %d, asked %b, groups %d: %v, not %v", i, asked, k, got, doubt{rate, shared})
					}
				}
			}
		}
		if looked < 1000 {
			t.Fatalf("only %d prices to compare", looked)
		}
	})
	t.Run("gives up on nothing that is below the limit", func(t *testing.T) {
		for i := range 30 {
			d := trade().weigh(midway(i), nil)
			s, _ := d.pr.compass.scouts()
			b := d.pr.belief()
			for q := range s.p {
				if !s.told(q) {
					continue
				}
				v := s.ask(b, q, d.pr.start(), 2, math.Inf(1))
				if got := s.ask(b, q, d.pr.start(), 2, v*1.001); math.Abs(got-v) > 1e-9*v {
					t.Errorf("case %d, question %d: %g with a limit above it, %g without", i, q, got, v)
				}
				if got := s.ask(b, q, d.pr.start(), 2, v*0.999); !math.IsInf(got, 1) {
					t.Errorf("case %d, question %d: %g with a limit below %g", i, q, got, v)
				}
			}
		}
	})
}

func TestTwoCores(t *testing.T) {
	t.Run("a decision is the same on one core and on two", func(t *testing.T) {
		written := func(cores int, c Case) string {
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
			d, err := Decide(c)
			if err != nil {
				t.Fatal(err)
			}
			b, err := json.Marshal(d)
			if err != nil {
				t.Fatal(err)
			}
			return string(b)
		}
		for i := range 40 {
			c := midway(i)
			if one, two := written(1, c), written(2, c); one != two {
				t.Errorf("case %d: %s\non two cores: %s", i, one, two)
			}
		}
	})
	t.Run("each thing is done once", func(t *testing.T) {
		var done [100]atomic.Int32
		sideBySide(len(done), nil, nil, func(_ any, i int) { done[i].Add(1) })
		for i := range done {
			if n := done[i].Load(); n != 1 {
				t.Errorf("thing %d was done %d times", i, n)
			}
		}
	})
	t.Run("a panic on the other core is the caller's", func(t *testing.T) {
		defer func() {
			if recover() != "lost" {
				t.Error("it was not passed on")
			}
		}()
		atOnce(func() {}, func() { panic("lost") })
	})
}
