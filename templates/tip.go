package templates

import (
	"fmt"
	"strings"
)

// The shield of the sensor in the drawing's units: from x 84 to 184, y 22 to 58.
const (
	tipLeft, tipRight = 88.0, 178.0
	tipTop, tipBottom = 25.0, 55.0
)

// jitter is a fixed, even scatter: the same drawing every time.
func jitter(i int) (x, y float64) {
	const g1, g2 = 0.754877666, 0.569840291 // the R2 sequence, an even spread
	f := func(g float64) float64 { v := 0.5 + g*float64(i); return v - float64(int(v)) }
	return tipLeft + f(g1)*(tipRight-tipLeft), tipTop + f(g2)*(tipBottom-tipTop)
}

// cleanLines are the turning marks of bare metal.
func cleanLines() string {
	var b strings.Builder
	for x := tipLeft; x <= tipRight; x += 9 {
		fmt.Fprintf(&b, "M%.0f %.0fV%.0f", x, tipTop, tipBottom)
	}
	return b.String()
}

// powder is a dust of open grains.
func powder() [][3]string {
	var out [][3]string
	for i := range 95 {
		x, y := jitter(i)
		out = append(out, [3]string{fmt.Sprintf("%.1f", x), fmt.Sprintf("%.1f", y), fmt.Sprintf("%.1f", 1.1+float64(i%3)*0.6)})
	}
	return out
}

// crust is made of scales that overlap.
func crust() string {
	var b strings.Builder
	for row := range 5 {
		y := tipTop + 4 + float64(row)*6.4
		for x := tipLeft + float64(row%2)*4.5; x < tipRight-4; x += 9 {
			fmt.Fprintf(&b, "M%.1f %.1fq4.500 -8 9 0", x, y+3)
			if (int(x)+row)%3 == 0 {
				fmt.Fprintf(&b, "m-6.500 -1l2 2.500")
			}
		}
	}
	return b.String()
}

// soot is a hatch both ways, nearly black.
func soot() string {
	var b strings.Builder
	h := tipBottom - tipTop
	for x := tipLeft - h; x <= tipRight; x += 4.6 {
		a, z := max(x, tipLeft), min(x+h, tipRight)
		fmt.Fprintf(&b, "M%.1f %.1fL%.1f %.1f", a, tipTop+(a-x), z, tipTop+(z-x))
		fmt.Fprintf(&b, "M%.1f %.1fL%.1f %.1f", a, tipBottom-(a-x), z, tipBottom-(z-x))
	}
	return b.String()
}

// film is a run of wet waves.
func film() string {
	var b strings.Builder
	for i, y := 0, tipTop+3; y < tipBottom; i, y = i+1, y+6 {
		fmt.Fprintf(&b, "M%.0f %.0f", tipLeft, y)
		for x := tipLeft; x < tipRight-10; x += 18 {
			d := 3.0
			if i%2 == 1 {
				d = -3
			}
			fmt.Fprintf(&b, "q4.500 %.0f 9 0t9 0", d)
		}
	}
	return b.String()
}
