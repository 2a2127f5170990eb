package diag

import (
	"math"
	"strconv"

	"crosscount/diag/say"
)

// The trims are read in up to four states on each bank, and it is the shape of all of
// them together that tells causes apart: how large at idle, how fast it shrinks or grows.
// So they are planned by the likely explanations' own shapes: an answer is that the
// readings look like one of them.

const (
	mostProfiles = 12
	trimDraws    = 32  // readings drawn to find how often a shape is taken for another
	shapeApart   = 1.0 // spreads that two shapes differ by at least, root of the mean square
	ownSize      = 0.8 // share of a cause's spread that all its trims have in common: its size
	offTrim      = 8   // total trim in per cent from which an end is called off
)

// profile is what an explanation makes of the trims that are still to be read.
type profile struct {
	mean, spread []float64 // by cell; spread without the reading's own
}

func (c *calc) profileOf(h *hyp, cells [][2]int) profile {
	sc := c.scene(h.us)
	var p profile
	for _, at := range cells {
		b, st := at[0], at[1]
		f := c.w.front[b]
		cl := &c.sensors[f].classes[c.sensors[f].classOf[h.st[f]]]
		mean, variance := 0.0, 16.0 // a module that has lost its sensor stops trimming
		if !cl.open {
			mean = c.w.saturate(sc.need[b][st] + sc.lie[b][st] + cl.lie[st])
			variance = sc.needVar[b][st] + sc.lieVar[b][st] + cl.lieVar[st]
		}
		p.mean, p.spread = append(p.mean, mean), append(p.spread, math.Sqrt(variance))
	}
	return p
}

// apart is how far two profiles are from each other, in their spreads.
func (p *profile) apart(o *profile, own float64) float64 {
	sum := 0.0
	for i := range p.mean {
		d := p.mean[i] - o.mean[i]
		sum += d * d / (own*own + (p.spread[i]*p.spread[i]+o.spread[i]*o.spread[i])/2)
	}
	return math.Sqrt(sum / float64(len(p.mean)))
}

// askTrims plans the trims.
func (c *calc) askTrims(q *question, likely []hyp) {
	w := c.w
	var banks []int
	var cells [][2]int
	for b := range w.nb {
		if has := c.hasCell[b]; (!has[0] || !has[1] && !has[2] && !has[3]) && len(banks) < 2 {
			banks = append(banks, b)
			for st := range States {
				if !has[st] {
					cells = append(cells, [2]int{b, st})
				}
			}
		}
	}
	if len(banks) == 0 {
		return
	}
	shapes := []profile{{make([]float64, len(cells)), make([]float64, len(cells))}} // a sound car
	for i := range likely {
		p := c.profileOf(&likely[i], cells)
		fresh := true
		for k := range shapes {
			fresh = fresh && p.apart(&shapes[k], w.trimSD) >= shapeApart
		}
		if fresh && len(shapes) < mostProfiles {
			shapes = append(shapes, p)
		}
	}
	for k := range shapes {
		id, words := shapes[k].words(banks, cells, w.nb)
		q.answers = append(q.answers, answer{id: id, say: words})
	}
	// weight[k][i] and norm[k] serve the score of readings under a shape.
	weight, norm := make([][]float64, len(shapes)), make([]float64, len(shapes))
	for k := range shapes {
		for _, x := range shapes[k].spread {
			v := x*x + w.trimSD*w.trimSD
			weight[k] = append(weight[k], 1/v)
			norm[k] += math.Log(v)
		}
	}
	known := map[string][]float64{}
	var key []byte
	q.cats = func(h *hyp) []float64 {
		p := c.profileOf(h, cells)
		key = key[:0]
		for i := range p.mean {
			key = strconv.AppendInt(key, int64(math.Round(4*p.mean[i])), 36)
			key = strconv.AppendInt(append(key, ' '), int64(math.Round(4*p.spread[i])), 36)
		}
		out, ok := known[string(key)]
		if !ok {
			out = make([]float64, len(shapes))
			for d := range trimDraws {
				out[nearest(shapes, weight, norm, p.draw(d, w.trimSD))] += (1 - w.wild) / trimDraws
			}
			for k := range out {
				out[k] += w.wild / float64(len(out))
			}
			known[string(key)] = out
		}
		return append([]float64(nil), out...)
	}
}

// draw is one of a fixed set of readings of a profile.
func (p *profile) draw(n int, own float64) []float64 {
	x := make([]float64, len(p.mean))
	size := fixedNormal(n, 0)
	for i := range x {
		x[i] = p.mean[i] + p.spread[i]*(ownSize*size+math.Sqrt(1-ownSize*ownSize)*fixedNormal(n, 1+2*i)) + own*fixedNormal(n, 2+2*i)
	}
	return x
}

var fixedNormals = func() (z [trimDraws][32]float64) {
	for n := range z {
		for i := range z[n] {
			z[n][i] = gauss(hash(uint64(n)<<8 | uint64(i)))
		}
	}
	return z
}()

func fixedNormal(n, i int) float64 { return fixedNormals[n][i] }

// nearest is the shape that explains readings best.
func nearest(shapes []profile, weight [][]float64, norm []float64, x []float64) int {
	best, at := math.Inf(1), 0
	for k := range shapes {
		s := norm[k]
		for i, m := range shapes[k].mean {
			d := x[i] - m
			s += d * d * weight[k][i]
		}
		if s < best {
			best, at = s, k
		}
	}
	return at
}

// words names a profile: what each bank's trims do from idle to load.
func (p *profile) words(banks []int, cells [][2]int, nb int) (string, say.Text) {
	var id string
	var parts []say.Text
	for n, b := range banks {
		first, last := 0.0, 0.0
		seen := false
		for i, at := range cells {
			if at[0] == b {
				if !seen {
					first, seen = p.mean[i], true
				}
				last = p.mean[i]
			}
		}
		what, words := shapeOf(first, last)
		if n > 0 {
			id += " "
		}
		if nb > 1 {
			what, words = "bank"+strconv.Itoa(b+1)+":"+what, say.T("bank %d %s", b+1, words)
		}
		id += what
		parts = append(parts, words)
	}
	return id, say.Series(parts)
}

// shapeOf puts the ends of a bank's trims into words.
func shapeOf(idle, load float64) (string, say.Text) {
	a, b := int(math.Round(idle)), int(math.Round(load))
	id := strconv.Itoa(a) + ".." + strconv.Itoa(b)
	switch {
	case idle >= offTrim && load >= offTrim:
		return id, say.T("adds fuel throughout: about %d %% at idle, %d %% under load", a, b)
	case idle >= offTrim:
		return id, say.T("adds fuel at idle, about %d %%; less under load, %d %%", a, b)
	case load >= offTrim:
		return id, say.T("adds fuel under load, about %d %%; less at idle, %d %%", b, a)
	case idle <= -offTrim && load <= -offTrim:
		return id, say.T("takes fuel away throughout: about %d %% at idle, %d %% under load", a, b)
	case idle <= -offTrim:
		return id, say.T("takes fuel away at idle, about %d %%; less under load, %d %%", a, b)
	case load <= -offTrim:
		return id, say.T("takes fuel away under load, about %d %%; less at idle, %d %%", b, a)
	case max(math.Abs(idle), math.Abs(load)) < offTrim/2:
		return id, say.T("near zero")
	}
	return id, say.T("a little off: %d %% at idle, %d %% under load", a, b)
}
