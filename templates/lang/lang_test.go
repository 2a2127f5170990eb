package lang

import (
	"fmt"
	"strings"
	"testing"
)

type phrase string

func (p phrase) Phrase() (string, []any) { return string(p), nil }
func (p phrase) Fit(words string) string { return words }

type measured float64

func (m measured) Measure() (float64, string, bool) { return float64(m), "whole", m < 0 }

type halves struct{}

func (halves) Shown(v float64, kept string) (float64, string) { return v / 2, "half" }
func (halves) Figure(v float64, kept string) (string, string) { return fmt.Sprint(v / 2), "half" }

func TestT(t *testing.T) {
	es := Of("es-MX", "")
	t.Run("looks the English up", func(t *testing.T) {
		if got := es.T("Whose move"); got != "A quién le toca" {
			t.Errorf("got %q", got)
		}
		if got := es.T("%s and %s", "uno", phrase("Whose move")); got != "uno y A quién le toca" {
			t.Errorf("got %q", got)
		}
	})
	t.Run("keeps what it does not know in English, with its numbers", func(t *testing.T) {
		if got := es.T("100 % of %d"); got != "100 % of %d" {
			t.Errorf("got %q", got)
		}
		if got := es.T("no such text %d %.1f %s %%", 12345, 2.5, "x"); got != "no such text 12345 2.5 x %" {
			t.Errorf("got %q", got)
		}
	})
	t.Run("writes decimals with the shop's sign", func(t *testing.T) {
		for _, l := range []*Language{Of("es", ","), Of("en", ",")} {
			if got := l.T("%+.1f %% of %6.2f", 12.34, -0.5); got != "+12,3 % of  -0,50" {
				t.Errorf("got %q", got)
			}
		}
	})
	t.Run("is English without a language", func(t *testing.T) {
		var none *Language
		if got := none.T("%d of %s", 3, "x"); got != "3 of x" {
			t.Errorf("got %q", got)
		}
		if got := From(t.Context()).T("%s and %s", "a", "b"); got != "a and b" {
			t.Errorf("got %q", got)
		}
		if got := Of("nonsense!", "").Code(); got != "en" {
			t.Errorf("got %q", got)
		}
	})
	t.Run("says a quantity in the shop's unit", func(t *testing.T) {
		l := Of("es", ",")
		l.Units = halves{}
		if got := l.T("not more than %s", measured(3)); got != "not more than 1,5 half" {
			t.Errorf("got %q", got)
		}
		if got := l.T("%s to %s", measured(-3), measured(3)); got != "-1,5 a 1,5 half" {
			t.Errorf("got %q", got)
		}
		var none *Language
		if got := none.T("%s", measured(3)); got != "3 whole" {
			t.Errorf("got %q", got)
		}
		if got := Of("es", "").Names(Months); len(got) != 12 || got[0] != "ene" {
			t.Errorf("got %q", got)
		}
	})
	t.Run("marks what the catalogue has and leaves out what somebody typed", func(t *testing.T) {
		m := Marked()
		if got := m.T("%s and %s", m.T("Whose move"), phrase("two")); got != "⟦⟧⟦Whose move⟧⟦ and ⟧two⟦⟧" {
			t.Errorf("got %q", got)
		}
		if got := m.T("no such text"); got != "no such text" {
			t.Errorf("got %q", got)
		}
	})
}

func TestCatalogue(t *testing.T) {
	t.Run("has each text once, in every file readable", func(t *testing.T) {
		seen := map[string]string{}
		for _, name := range names() {
			es, err := Entries(name)
			if err != nil {
				t.Error(err)
			}
			if len(es) == 0 {
				t.Errorf("%s is empty", name)
			}
			for _, e := range es {
				if at, twice := seen[e.English]; twice {
					t.Errorf("%s:%d: %q is in %s already", name, e.Line, e.English, at)
				}
				seen[e.English] = name
			}
		}
	})
	t.Run("refuses a file with its line and the mend", func(t *testing.T) {
		for _, c := range []struct{ text, want string }{
			{"en= a\nen= b\n", "x:2: each en="},
			{"en= a", "x:1: each en="},
			{"de= a", "x:1: each en="},
			{"hello", "x:1: begin the line"},
			{"en= %d of %s\nes= %s de %d\n", "x:2: the English has the blanks [1d 2s], this has [1s 2d]"},
		} {
			if _, err := parse("x", c.text); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("%q: %v, want %q", c.text, err, c.want)
			}
		}
		if es, err := parse("x", "en= %d of %s, 5 % of\nes= %[2]s de %[1]d, 5 % de\n"); err != nil || len(es) != 1 {
			t.Errorf("%v, %v", es, err)
		}
	})
}
