package web

import (
	"math/big"
	"testing"
)

func TestAmounts(t *testing.T) {
	dot, comma := styleOf("en-US"), styleOf("en-150")
	t.Run("takes its signs from the locale", func(t *testing.T) { // CLDR
		for locale, want := range map[string]numberStyle{"en-US": {".", ","}, "en-150": {",", "."}, "es-ES": {",", "."}, "de": {",", "."},
			"es-MX": {".", ","}, "no locale!": {".", ","}} {
			if got := styleOf(locale); got != want {
				t.Errorf("%s: %q, want %q", locale, got, want)
			}
		}
	})
	t.Run("reads both styles and asks where they differ", func(t *testing.T) {
		for _, x := range []struct {
			style numberStyle
			text  string
			want  int64
			ok    bool
			doubt int
		}{
			{dot, "1,234.50", 123450, true, 0}, {dot, "1234.5", 123450, true, 0}, {dot, "1234", 123400, true, 0}, {dot, "1,234", 123400, true, 0},
			{dot, "1.234,50", 123450, true, 0}, {dot, "12,50", 1250, true, 0}, {dot, "1.234", 0, false, 2}, {dot, ".5", 50, true, 0},
			{dot, "1 234.50", 123450, true, 0}, {dot, "1'234.50", 123450, true, 0}, {dot, "-5", -500, true, 0}, {dot, "\u22125", -500, true, 0},
			{comma, "1.234,50", 123450, true, 0}, {comma, "1,234.50", 123450, true, 0}, {comma, "1.234", 123400, true, 0}, {comma, "1,234", 0, false, 2},
			{comma, "12.50", 1250, true, 0}, {comma, "0,99", 99, true, 0},
			{dot, "1.2.3", 0, false, 0}, {dot, "12.345.6", 0, false, 0}, {dot, "1,23,456", 0, false, 0}, {dot, "abc", 0, false, 0}, {dot, "1e9", 0, false, 0},
			{dot, ".", 0, false, 0}, {dot, "", 0, false, 0}, {dot, "99999999999999999999", 0, false, 0}, {dot, "0.005", 0, false, 2},
		} {
			n, doubt, ok := x.style.parse(x.text, 2)
			if n != x.want || ok != x.ok || len(doubt) != x.doubt {
				t.Errorf("%q with decimal %q: %d %v %v, want %d %v and %d readings", x.text, x.style.decimal, n, ok, doubt, x.want, x.ok, x.doubt)
			}
		}
	})
	t.Run("offers styles that differ", func(t *testing.T) {
		seen := map[string]bool{}
		for _, o := range numberStyles() {
			if seen[o.Label] {
				t.Errorf("%s is offered twice", o.Label)
			}
			seen[o.Label] = true
		}
	})
	t.Run("reads back what it writes", func(t *testing.T) {
		for _, s := range []numberStyle{dot, comma, styleOf("de-CH"), styleOf("en-ZA"), styleOf("fr")} {
			for _, scale := range []int{0, 2, 3} {
				for _, n := range []int64{0, 1, -1, 9, 10, 99, 100, 999, 1000, 123456, -123456, 1e11} {
					if got, doubt, ok := s.parse(s.format(n, scale), scale); got != n || !ok || doubt != nil {
						t.Errorf("%d at scale %d is written %q and read as %d %v %v", n, scale, s.format(n, scale), got, ok, doubt)
					}
				}
			}
		}
	})
	t.Run("rounds shares half away from zero", func(t *testing.T) {
		for _, n := range []int64{0, 1, 5, 7, 50, 99, 12345, 1e9} {
			for _, ppm := range []int64{0, 1, 72500, 100000, 500000, 333333, 1000000} {
				for _, sign := range []int64{1, -1} {
					r := new(big.Rat).SetFrac64(n*ppm, 1_000_000)
					half := new(big.Rat).Add(r, big.NewRat(1, 2))
					want := new(big.Int).Quo(half.Num(), half.Denom()).Int64() * sign
					if got := share(sign*n, ppm); got != want {
						t.Errorf("%d millionths of %d: %d, want %d", ppm, sign*n, got, want)
					}
				}
			}
		}
	})
}

func FuzzAmount(f *testing.F) {
	for _, s := range []string{"1,234.50", "1.234,50", "-0", "1'234", "\u2212.5", "1,,2", "00,1"} {
		f.Add(s, 2, true)
	}
	f.Fuzz(func(t *testing.T, text string, scale int, dot bool) {
		scale = min(max(scale, 0), 6)
		s := numberStyle{",", "."}
		if dot {
			s = numberStyle{".", ","}
		}
		n, doubt, ok := s.parse(text, scale)
		if ok && len(doubt) > 0 {
			t.Fatalf("%q is both read and doubted", text)
		}
		if again, _, good := s.parse(s.format(n, scale), scale); ok && (!good || again != n) {
			t.Fatalf("%q reads as %d, which does not read back", text, n)
		}
	})
}
