package seed

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"math"
	"math/rand/v2"

	scale "golang.org/x/image/draw"
	"golang.org/x/image/vector"

	"crosscount/store"
)

// sheet is a picture being drawn, 960 by 720 points, in place of a photograph.
type sheet struct {
	img *image.RGBA
	rng *rand.Rand
}

// ink is a colour and how much it covers.
type ink struct{ R, G, B, A uint8 }

func (c ink) solid() image.Image {
	return image.NewUniform(color.NRGBA{R: c.R, G: c.G, B: c.B, A: c.A})
}

func grey(v uint8) ink { return ink{v, v, v, 255} }

var (
	benchtop = ink{92, 84, 74, 255}
	steel    = ink{168, 172, 176, 255}
	dark     = ink{74, 76, 80, 255}
	light    = ink{206, 209, 212, 255}
)

// drawn turns a drawing into a picture to keep.
func drawn(by func(*sheet)) (store.NewPhoto, error) {
	s := &sheet{image.NewRGBA(image.Rect(0, 0, 960, 720)), rand.New(rand.NewPCG(7, 11))}
	draw.Draw(s.img, s.img.Bounds(), benchtop.solid(), image.Point{}, draw.Src)
	for range 60 { // the bench's grain
		y := s.rng.Float64() * 720
		s.fill(ink{0, 0, 0, 14}, box(0, y, 960, y+2+4*s.rng.Float64())...)
	}
	by(s)
	small := image.NewRGBA(image.Rect(0, 0, 480, 360))
	scale.ApproxBiLinear.Scale(small, small.Bounds(), s.img, s.img.Bounds(), draw.Src, nil)
	n := store.NewPhoto{MediaType: "image/jpeg", Width: 960, Height: 720}
	var err error
	if n.Data, err = jpegOf(s.img); err == nil {
		n.Thumb, err = jpegOf(small)
	}
	return n, err
}

func jpegOf(img image.Image) ([]byte, error) {
	var b bytes.Buffer
	err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 82})
	return b.Bytes(), err
}

// fill paints a polygon.
func (s *sheet) fill(c ink, points ...[2]float64) {
	x0, y0, x1, y1 := points[0][0], points[0][1], points[0][0], points[0][1]
	for _, p := range points {
		x0, y0, x1, y1 = min(x0, p[0]), min(y0, p[1]), max(x1, p[0]), max(y1, p[1])
	}
	at := image.Rect(int(x0)-1, int(y0)-1, int(x1)+2, int(y1)+2).Intersect(s.img.Bounds())
	z := vector.NewRasterizer(at.Dx(), at.Dy())
	for i, p := range points {
		x, y := float32(p[0])-float32(at.Min.X), float32(p[1])-float32(at.Min.Y)
		if i == 0 {
			z.MoveTo(x, y)
		} else {
			z.LineTo(x, y)
		}
	}
	z.ClosePath()
	z.Draw(s.img, at, c.solid(), image.Point{})
}

func box(x0, y0, x1, y1 float64) [][2]float64 {
	return [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
}

func oval(x, y, rx, ry float64) [][2]float64 {
	var out [][2]float64
	for i := range 48 {
		a := 2 * math.Pi * float64(i) / 48
		out = append(out, [2]float64{x + rx*math.Cos(a), y + ry*math.Sin(a)})
	}
	return out
}

// lying is a cylinder on its side, lit from above.
func (s *sheet) lying(c ink, x0, x1, y0, y1 float64) {
	const bands = 24
	for i := range bands {
		t := (float64(i) + 0.5) / bands
		l := 0.45 + 0.75*math.Sin(math.Pi*(0.12+0.75*(1-t)))
		sh := func(v uint8) uint8 { return uint8(min(255, float64(v)*l)) }
		y := y0 + (y1-y0)*float64(i)/bands
		s.fill(ink{sh(c.R), sh(c.G), sh(c.B), c.A}, box(x0, y, x1, y+(y1-y0)/bands+1)...)
	}
}

func (s *sheet) specks(c ink, n int, x0, y0, x1, y1, most float64) {
	for range n {
		r := 1 + (most-1)*s.rng.Float64()
		s.fill(c, oval(x0+(x1-x0)*s.rng.Float64(), y0+(y1-y0)*s.rng.Float64(), r, r*(0.6+0.4*s.rng.Float64()))...)
	}
}

// coat is what lies on a tip.
type coat struct {
	tube  ink
	speck ink
	n     int
	most  float64
}

var (
	fresh   = coat{light, grey(230), 0, 1}
	worn    = coat{ink{138, 134, 128, 255}, ink{90, 86, 80, 150}, 160, 6}
	crusted = coat{ink{120, 132, 118, 255}, ink{96, 160, 112, 220}, 260, 11}
)

// tipPicture is a sensor lying on the bench, its tip to the right.
func tipPicture(c coat) func(*sheet) {
	return func(s *sheet) {
		s.fill(ink{0, 0, 0, 70}, oval(500, 470, 400, 34)...)
		s.lying(dark, 40, 200, 330, 390)   // cable
		s.lying(steel, 190, 360, 285, 435) // shell
		s.lying(light, 350, 450, 235, 485) // hexagon
		s.lying(steel, 440, 475, 265, 455) // gasket seat
		for i := range 9 {                 // thread
			x := 475 + 16*float64(i)
			s.lying(grey(150), x, x+11, 290, 430)
			s.lying(grey(110), x+11, x+16, 298, 422)
		}
		s.lying(c.tube, 619, 850, 312, 408)
		s.fill(ink{c.tube.R / 2, c.tube.G / 2, c.tube.B / 2, 255}, oval(850, 360, 16, 48)...)
		for i := range 4 { // slots
			x := 660 + 46*float64(i)
			s.fill(ink{30, 30, 32, 255}, oval(x, 348, 8, 22)...)
			s.fill(ink{30, 30, 32, 255}, oval(x+22, 388, 7, 12)...)
		}
		s.specks(c.speck, c.n, 625, 316, 850, 404, c.most)
	}
}

var (
	bare    = coat{}
	greased = coat{speck: ink{222, 206, 150, 205}, n: 120, most: 34}
)

// connectorPicture is an open plug seen from the front.
func connectorPicture(c coat) func(*sheet) {
	return func(s *sheet) {
		s.fill(ink{0, 0, 0, 70}, oval(490, 600, 330, 40)...)
		s.fill(ink{44, 46, 52, 255}, box(200, 190, 760, 590)...)
		s.fill(ink{66, 68, 76, 255}, box(220, 205, 740, 575)...)
		s.fill(ink{28, 29, 33, 255}, box(260, 250, 700, 530)...)
		s.fill(ink{58, 60, 66, 255}, box(420, 150, 540, 200)...) // latch
		for i := range 4 {
			x, y := 370+220*float64(i%2), 325+130*float64(i/2)
			s.fill(ink{14, 14, 16, 255}, oval(x, y, 52, 52)...)
			s.fill(ink{196, 176, 120, 255}, oval(x, y, 22, 22)...)
			s.fill(ink{236, 222, 176, 255}, oval(x-6, y-7, 8, 7)...)
		}
		s.specks(c.speck, c.n, 285, 275, 675, 505, c.most)
	}
}

const (
	blown = true
	tight = false
)

// gasketPicture is a flange with its gasket seen from the front.
func gasketPicture(leaks bool) func(*sheet) {
	return func(s *sheet) {
		s.fill(ink{0, 0, 0, 80}, oval(490, 400, 330, 280)...)
		s.fill(ink{120, 104, 92, 255}, oval(480, 370, 320, 270)...)
		s.fill(ink{146, 132, 120, 255}, oval(480, 366, 308, 258)...)
		for _, a := range []float64{0.5, 2.6, 4.7} {
			x, y := 480+245*math.Cos(a), 366+205*math.Sin(a)
			s.fill(ink{60, 54, 50, 255}, oval(x, y, 30, 30)...)
			s.fill(ink{176, 172, 166, 255}, oval(x, y, 22, 22)...)
		}
		ring := ink{198, 200, 204, 255}
		if leaks {
			ring = ink{150, 142, 134, 255}
		}
		s.fill(ring, oval(480, 366, 180, 160)...)
		s.fill(ink{110, 112, 116, 255}, oval(480, 366, 150, 130)...)
		s.fill(ink{24, 22, 22, 255}, oval(480, 366, 138, 118)...)
		if leaks {
			s.fill(ink{20, 18, 18, 235}, [2]float64{590, 290}, [2]float64{760, 190}, [2]float64{790, 250}, [2]float64{612, 330})
			s.specks(ink{20, 18, 18, 120}, 140, 600, 170, 800, 340, 9)
		}
	}
}
