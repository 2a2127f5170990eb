package signal

import (
	"math"

	"crosscount/diag/say"
)

// Pair compares the sensors ahead of and behind a converter.
type Pair struct {
	Front    string  `json:"front"` // name of the channel
	Rear     string  `json:"rear"`
	Bank     int     `json:"bank,omitempty"`
	Assumed  bool    `json:"assumed,omitempty"` // which is which was assumed from their order
	Activity Reading `json:"activity"`          // rear crossings per front crossing
	Swing    Reading `json:"swing"`             // rear swing per front swing, middle 98 % of the samples
	Delay    Reading `json:"delay"`             // from a front crossing to the rear's answer, ms
	Answered int     `json:"answered"`          // front crossings the rear followed
}

// pairing matches the crossings of two channels on one clock.
type pairing struct {
	front, rear int
	assumed     bool
	waiting     [2]crossing // front crossings without an answer, lean-going and rich-going
	waits       [2]bool
	delay       sample
	span        sample
}

// findPairs finds the front and rear sensors of each bank among the channels.
// Two voltages of which no place is known are taken as front and rear in order.
func findPairs(cs []Column) []*pairing {
	var out []*pairing
	var voltages []int
	rears := 0
	for i, c := range cs {
		if c.Quantity == SensorVoltage {
			voltages = append(voltages, i)
			if c.Position == 2 {
				rears++
			}
		}
	}
	for _, r := range voltages {
		if cs[r].Position != 2 {
			continue
		}
		for _, f := range voltages {
			same := cs[f].Bank == cs[r].Bank || cs[f].Bank == 0 || cs[r].Bank == 0
			if cs[f].Position == 1 && (same || rears == 1) { // one rear sensor serves both banks
				out = append(out, &pairing{front: f, rear: r})
			}
		}
	}
	if len(out) == 0 && len(voltages) == 2 && cs[voltages[0]].Position == 0 && cs[voltages[1]].Position == 0 {
		out = append(out, &pairing{front: voltages[0], rear: voltages[1], assumed: true})
	}
	return out
}

// take merges the crossings of one block in the order in which they were
// confirmed. A rear crossing answers the latest front crossing the same way; a
// front crossing that comes round again unanswered is given up.
func (p *pairing) take(front, rear []crossing, broken bool) {
	if broken {
		p.waits = [2]bool{}
	}
	for len(front) > 0 || len(rear) > 0 {
		if len(rear) == 0 || len(front) > 0 && front[0].confirmed <= rear[0].confirmed {
			c := front[0]
			front = front[1:]
			p.waiting[way(c.up)], p.waits[way(c.up)] = c, true
			continue
		}
		c := rear[0]
		rear = rear[1:]
		if k := way(c.up); p.waits[k] {
			p.waits[k] = false
			if d := c.at - p.waiting[k].at; d >= 0 {
				p.delay.add(d)
				p.span.add(max(c.span, p.waiting[k].span))
			}
		}
	}
}

func way(up bool) int {
	if up {
		return 1
	}
	return 0
}

func (p *pairing) result(cs []Column, ss []*survey, lim Limits, step float64) (Pair, *Problem) {
	f, r := ss[p.front], ss[p.rear]
	out := Pair{Front: cs[p.front].Name, Rear: cs[p.rear].Name, Bank: cs[p.front].Bank, Assumed: p.assumed, Answered: p.delay.n}
	swing := func(s *survey) float64 { return s.hist.quantile(0.99) - s.hist.quantile(0.01) }
	sf, sr := swing(f), swing(r)
	if sf > 0 {
		ratio := sr / sf
		out.Swing = read(ratio, "1", (2*r.noiseSD()+2*ratio*f.noiseSD()+r.hist.width+f.hist.width)/sf, min(f.n, r.n))
	} else {
		out.Swing = refuse("1", NoneSeen, say.T("the front sensor does not move"))
	}
	if slower(step, lim.needCrossing()) {
		slow := tooSlow("1", say.T("switching up to %.6g cycles per second", lim.JudgeHz), step, lim.needCrossing())
		out.Activity = slow
		out.Delay = slow
		out.Delay.Unit = "ms"
		return out, p.swapped(cs, sf, sr, 0, 0)
	}
	if f.cross > 0 {
		ratio := float64(r.cross) / float64(f.cross)
		out.Activity = read(ratio, "1", (1+ratio)/float64(f.cross), f.cross) // one crossing more or less at the ends
	} else {
		out.Activity = refuse("1", NoneSeen, say.T("the front sensor does not switch"))
	}
	switch {
	case p.delay.n == 0:
		out.Delay = refuse("ms", NoneSeen, say.T("the rear sensor does not follow the front one"))
	default:
		n := float64(p.delay.n)
		span := max(p.span.median(), f.clock)
		d := p.delay.mad() * madToSigma
		u := math.Hypot(2*span*math.Sqrt(2.0/12), 2*1.2533*d/math.Sqrt(n))
		out.Delay = read(1000*p.delay.median(), "ms", 1000*u, p.delay.n)
	}
	return out, p.swapped(cs, sf, sr, f.cross, r.cross)
}

// swapped warns when the rear sensor is clearly the livelier one: behind a
// converter, working or worn, the signal can be as lively as ahead of it, not more.
func (p *pairing) swapped(cs []Column, sf, sr float64, nf, nr int) *Problem {
	livelier := nr >= 4 && float64(nr) > 1.5*float64(nf)+2
	wider := nf == 0 && nr == 0 && sr > 0.3 && sr > 3*sf
	if !livelier && !wider {
		return nil
	}
	return &Problem{Kind: MaybeSwapped, Column: cs[p.rear].Column, Count: 1,
		What: say.T("the rear sensor (%s) is livelier than the front one (%s)", quote(cs[p.rear].Name), quote(cs[p.front].Name)),
		Mend: say.T("check whether the two channels are exchanged in the mapping or on the car")}
}
