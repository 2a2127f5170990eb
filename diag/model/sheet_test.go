package model

import (
	"bytes"
	"os"
	"regexp"
	"strings"
	"testing"
)

func TestSheets(t *testing.T) {
	m := Trade()
	sheets := m.Sheets()

	t.Run("lay out every cause, test, quantity, code, remark, set-up, curve and setting once", func(t *testing.T) {
		want := len(m.Causes) + len(m.Tests) + len(m.Quantities) + len(m.Codes) + len(m.Remarks) + len(m.Setups) + len(m.Curves) + len(m.Settings)
		if len(sheets) != want {
			t.Errorf("%d sheets, want %d", len(sheets), want)
		}
		seen := map[string]bool{}
		for _, s := range sheets {
			key := s.Group + " " + s.ID
			if seen[key] {
				t.Errorf("%s twice", key)
			}
			seen[key] = true
		}
	})

	t.Run("give every number a source and the line it stands in", func(t *testing.T) {
		rows := 0
		for _, s := range sheets {
			for _, r := range s.Rows {
				rows++
				switch r.Source.Kind {
				case Published:
					if r.Source.Ref == "" {
						t.Errorf("%s, %s: published where?", s.ID, r.What)
					}
				case CommonPractice, Estimate:
				default:
					t.Errorf("%s, %s: source %q", s.ID, r.What, r.Source.Kind)
				}
				if !strings.ContainsAny(r.Value.String(), "0123456789") {
					t.Errorf("%s, %s: no number in %q", s.ID, r.What, r.Value)
				}
				if r.At.Line == 0 {
					t.Errorf("%s, %s: no line", s.ID, r.What)
				}
			}
		}
		if rows < 500 {
			t.Errorf("%d rows: some of the model is missing", rows)
		}
	})

	t.Run("hold as many numbers as the model's text has statements with a source", func(t *testing.T) {
		ends := regexp.MustCompile(`; (estimate|common practice|published .+)$`)
		want := 0
		for _, name := range []string{"causes.model", "quantities.model", "tests.model"} {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			for line := range strings.Lines(string(text)) {
				words := strings.Fields(line)
				if !ends.MatchString(strings.TrimSpace(line)) || words[0] == "#" {
					continue
				}
				switch words[0] {
				case "repair": // minutes and price
					want += 2
				case "curve": // a factor at each of its points
					numbers, _, _ := strings.Cut(line, ";")
					want += (len(strings.Fields(numbers)) - 2) / 2
				default:
					want++
				}
			}
		}
		got := 0
		for _, s := range sheets {
			got += len(s.Rows)
		}
		if got != want {
			t.Errorf("%d numbers laid out, the text has %d", got, want)
		}
	})

	t.Run("print with the lines, the sources counted and the pairs no test tells apart", func(t *testing.T) {
		var out bytes.Buffer
		if err := m.Print(&out); err != nil {
			t.Fatal(err)
		}
		for _, s := range sheets {
			if !strings.Contains(out.String(), s.Name) {
				t.Errorf("%s is not printed", s.Name)
			}
		}
		for _, p := range m.BlindPairs() {
			if !regexp.MustCompile(p.A + ` +` + p.B).MatchString(out.String()) {
				t.Errorf("the pair %s, %s is not printed", p.A, p.B)
			}
		}
	})
}
