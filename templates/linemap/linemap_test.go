package linemap

import (
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
)

// every returns the fitments of the trade on every arrangement.
func every() []View {
	type place struct {
		bank, pos int
		common    bool
	}
	fitments := [][]place{
		{{1, 1, false}},
		{{1, 1, false}, {1, 2, false}},
		{{1, 1, false}, {1, 2, false}, {1, 3, false}},
		{{1, 1, false}, {2, 1, false}, {1, 2, true}},
		{{1, 1, false}, {1, 2, false}, {2, 1, false}, {2, 2, false}},
		{{1, 1, false}, {1, 2, false}, {2, 1, false}, {2, 2, false}, {1, 3, false}},
		{{1, 1, false}, {1, 2, false}, {1, 3, false}, {2, 1, false}, {2, 2, false}, {2, 3, false}},
		{{1, 1, false}, {1, 2, false}, {2, 1, false}, {2, 2, false}, {1, 3, true}},
		{{1, 1, true}, {1, 2, true}},
	}
	var out []View
	for _, arrangement := range []string{"inline", "v", "flat"} {
		for _, cylinders := range []int{1, 2, 3, 4, 5, 6, 8, 10, 12} {
			for _, f := range fitments {
				v := View{ID: "m", Arrangement: arrangement, Cylinders: cylinders, Converter: "converter", Title: "t", Summary: "s",
					Banks: []Bank{{1, "Bank 1", []string{"idle +25 % in all"}}, {2, "Bank 2", nil}}}
				for i, p := range f {
					s := Sensor{Bank: p.bank, Position: p.pos, Common: p.common, Kind: "zirconia, 4 wires",
						Name: fmt.Sprintf("Bank %d, position %d", p.bank, p.pos)}
					if i == 0 {
						s.Known, s.Mark = []string{"signal 0.10 to 0.85 V", "1.4 crossings a second"}, "look here next"
					}
					v.Sensors = append(v.Sensors, s)
				}
				out = append(out, v)
			}
		}
	}
	return out
}

func TestLay(t *testing.T) {
	for _, v := range every() {
		d := Lay(v)
		where := fmt.Sprintf("%s %d cylinders, %d sensors", v.Arrangement, v.Cylinders, len(v.Sensors))
		if len(d.Cylinders) != v.Cylinders {
			t.Errorf("%s: draws %d cylinders", where, len(d.Cylinders))
		}
		if !d.Cylinders[0].First {
			t.Errorf("%s: cylinder 1 carries no number", where)
		}
		banked := 0
		for _, s := range v.Sensors {
			if s.Bank == 1 || s.Common || v.Cylinders > 1 {
				banked++
			}
		}
		if len(d.Stops) != banked {
			t.Errorf("%s: draws %d sensors, want %d", where, len(d.Stops), banked)
		}
		for _, s := range d.Stops {
			if s.X < 0 || s.X > d.Width || s.Y < d.Top || s.Y > d.Top+d.Height {
				t.Errorf("%s: a sensor lies outside at %d, %d", where, s.X, s.Y)
			}
		}
		for i, a := range d.Stops {
			for _, b := range d.Stops[i+1:] {
				if dx, dy := a.X-b.X, a.Y-b.Y; dx*dx+dy*dy < 40*40 {
					t.Errorf("%s: sensors %v and %v are closer than a fingertip", where, a, b)
				}
			}
			for _, c := range d.Converters {
				if a.X+9 > c.X && a.X-9 < c.X+c.W && a.Y > c.Y && a.Y < c.Y+c.H {
					t.Errorf("%s: a sensor lies in a converter", where)
				}
			}
		}
		type frame struct{ l, r, t, b float64 }
		var frames []frame
		for _, x := range d.Texts {
			w := float64(len([]rune(x.S))) * perChar
			f := frame{l: float64(x.X), t: float64(x.Y - 11), b: float64(x.Y + 3)}
			switch x.Anchor {
			case "end":
				f.l -= w
			case "middle":
				f.l -= w / 2
			}
			f.r = f.l + w
			if f.l < 0 || f.r > float64(d.Width)+12 || f.t < float64(d.Top) || f.b > float64(d.Top+d.Height) {
				t.Errorf("%s: %q leaves the drawing (%.0f to %.0f, %.0f to %.0f of %dx%d)", where, x.S, f.l, f.r, f.t, f.b, d.Width, d.Height)
			}
			for j, o := range frames {
				if f.l < o.r && o.l < f.r && f.t < o.b && o.t < f.b {
					t.Errorf("%s: %q runs over %q", where, x.S, d.Texts[j].S)
				}
			}
			frames = append(frames, f)
		}
	}
}

func TestMap(t *testing.T) {
	v := every()[len(every())/2] // a V engine with two banks
	v.Words = Words{AsTable: "As a table", Sensor: "Sensor", Kind: "Kind", Known: "Known", NothingYet: "nothing yet"}
	var b strings.Builder
	if err := Map(v).Render(context.Background(), &b); err != nil {
		t.Fatal(err)
	}
	out := b.String()
	t.Run("says in words what it draws", func(t *testing.T) {
		for _, want := range []string{"<title id=\"m-t\">t</title>", "<desc id=\"m-d\">s</desc>", `role="img"`, "<table>", "nothing yet", "look here next"} {
			if !strings.Contains(out, want) {
				t.Errorf("lacks %q", want)
			}
		}
	})
	t.Run("names each sensor in the drawing and in the table", func(t *testing.T) {
		for _, s := range v.Sensors {
			if n := strings.Count(out, ">"+s.Name+"<"); n != 2 {
				t.Errorf("%s is named %d times, want 2", s.Name, n)
			}
		}
	})
	t.Run("is well formed", func(t *testing.T) {
		d := xml.NewDecoder(strings.NewReader("<x>" + out + "</x>"))
		for {
			_, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	})
	t.Run("escapes what people typed", func(t *testing.T) {
		v := v
		v.Sensors = append([]Sensor(nil), v.Sensors...)
		v.Sensors[0].Known = []string{`<script>alert(1)</script>`}
		var b strings.Builder
		if err := Map(v).Render(context.Background(), &b); err != nil {
			t.Fatal(err)
		}
		if strings.Contains(b.String(), "<script") {
			t.Error("a script came through")
		}
	})
}

func FuzzLay(f *testing.F) {
	f.Add("v", 6, 1, 2, true, "a b c")
	f.Add("", -5, 9, -1, false, "")
	f.Fuzz(func(t *testing.T, arrangement string, cylinders, bank, position int, common bool, known string) {
		d := Lay(View{Arrangement: arrangement, Cylinders: cylinders, Sensors: []Sensor{{Bank: bank, Position: position, Common: common, Known: []string{known}}}})
		if d.Height <= 0 {
			t.Fatal("no drawing")
		}
	})
}
