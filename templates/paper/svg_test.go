package paper

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"codeberg.org/go-pdf/fpdf"
)

// drawn returns what a picture writes on a page of 100 by 100 points, uncompressed.
func drawn(t *testing.T, svg string) (string, error) {
	t.Helper()
	font, err := regular()
	if err != nil {
		t.Fatal(err)
	}
	d := &drawing{Fpdf: fpdf.New("P", "mm", "A4", ""), font: font}
	d.SetCompression(false)
	d.AddPage()
	d.SetFont("Helvetica", "", 9)
	if err := d.svg(svg, 10, 20, 100); err != nil {
		return "", err
	}
	var b bytes.Buffer
	if err := d.Output(&b); err != nil {
		t.Fatal(err)
	}
	return b.String(), nil
}

func TestPictureOnPaper(t *testing.T) {
	const open, shut = `<svg viewBox="0 0 200 100"><title>t</title><desc>d</desc>`, `</svg>`
	t.Run("draws absolute and relative lines at the same place", func(t *testing.T) {
		a, err := drawn(t, open+`<path d="M10 20H60V40L30 50" stroke="var(--ink,currentColor)"/>`+shut)
		if err != nil {
			t.Fatal(err)
		}
		b, err := drawn(t, open+`<path d="m10 20h50v20l-30 10" stroke="var(--ink,currentColor)"/>`+shut)
		if err != nil {
			t.Fatal(err)
		}
		line := func(s string) string {
			_, s, _ = strings.Cut(s, "stream\n")
			s, _, _ = strings.Cut(s, "endstream")
			return s
		}
		if line(a) != line(b) || strings.Count(line(a), " l") != 3 {
			t.Errorf("absolute:\n%s\nrelative:\n%s", line(a), line(b))
		}
		// 200 units are 100 mm: the first point lies at 10 + 5 mm from the left and
		// 20 + 10 mm from the top of A4; 1 mm is 72/25.4 points.
		if want := "42.52 756.85 m"; !strings.Contains(a, want) {
			t.Errorf("the path does not begin at %s:\n%s", want, line(a))
		}
	})
	t.Run("moves and stretches as a group says", func(t *testing.T) {
		a, err := drawn(t, open+`<g transform="translate(10 20)"><path d="M0 0l5 5" stroke="var(--ink,x)" transform="translate(2 0)scale(2 4)"/></g>`+shut)
		if err != nil {
			t.Fatal(err)
		}
		b, err := drawn(t, open+`<path d="M12 20l10 20" stroke="var(--ink,x)"/>`+shut)
		if err != nil || a != b {
			t.Errorf("%v, and the two differ", err)
		}
	})
	t.Run("ends what it cut, whatever comes", func(t *testing.T) {
		for _, broken := range []string{
			open + `<clipPath id="c"><rect x="0" y="0" width="9" height="9"/></clipPath><g clip-path="url(#c)"><path d="M1" stroke="var(--ink,x)"/></g>` + shut,
			open + `<path d="M0 0q1 1 2 2" stroke="var(--ink,x)"/>` + shut, `<svg>` + shut, ``, open, `<svg viewBox="0 0 0 0"/>`,
			open + `<path d="M0 0" transform="rotate(3)" stroke="var(--ink,x)"/>` + shut,
		} {
			if _, err := drawn(t, broken); err == nil {
				t.Errorf("%q is drawn without a word", broken)
			}
		}
	})
}

// TestArc checks arcs by what a circle is: every point as far from the centre as the
// radius. Centres by the arithmetic of SVG 2, appendix B.2.4, for simple cases.
func TestArc(t *testing.T) {
	for _, x := range []struct {
		large, sweep bool
		cx, cy       float64
	}{{false, true, 0, 0}, {false, false, 10, 10}, {true, true, 10, 10}, {true, false, 0, 0}} {
		var seen [][2]float64
		arcPoints(10, 0, 0, 10, 10, x.large, x.sweep, func(px, py float64) { seen = append(seen, [2]float64{px, py}) })
		for _, p := range seen {
			if r := math.Hypot(p[0]-x.cx, p[1]-x.cy); math.Abs(r-10) > 1e-9 {
				t.Errorf("large %v, sweep %v: %v is %g from the centre", x.large, x.sweep, p, r)
			}
		}
		if last := seen[len(seen)-1]; math.Hypot(last[0], last[1]-10) > 1e-9 {
			t.Errorf("large %v, sweep %v: it ends at %v", x.large, x.sweep, last)
		}
	}
}
