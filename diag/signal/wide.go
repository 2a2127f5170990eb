package signal

import (
	"math"
	"slices"

	"crosscount/diag/say"
)

// lag gathers a wide-range signal around a forced change of mixture.
type lag struct {
	at, from, end float64
	every, n      int
	t, v          []float64
}

const lagLimit = 1 << 15

// newLag answers nil when no change of mixture is known, or the channel is no
// wide-range sensor.
func newLag(opt Options, q Quantity) *lag {
	if opt.Event == nil || q != SensorLambda && q != PumpCurrent {
		return nil
	}
	w := opt.Limits.WindowS
	return &lag{at: opt.Event.At, from: opt.Event.At - min(w, 1), end: opt.Event.At + w, every: 1}
}

func (l *lag) add(t, v []float64) {
	if t[len(t)-1] < l.from || t[0] > l.end {
		return
	}
	for i, now := range t {
		if now < l.from || now > l.end {
			continue
		}
		if l.n%l.every == 0 {
			if len(l.t) == lagLimit {
				for k := range lagLimit / 2 {
					l.t[k], l.v[k] = l.t[2*k], l.v[2*k]
				}
				l.t, l.v = l.t[:lagLimit/2], l.v[:lagLimit/2]
				l.every *= 2
			}
			if l.n%l.every == 0 {
				l.t, l.v = append(l.t, now), append(l.v, v[i])
			}
		}
		l.n++
	}
}

// result answers the time to 63.2 % (1 - 1/e) of the step from the level ahead of
// the change to the level the signal ends at, the median of the window's last
// quarter. For a pure delay and a first-order answer that is delay plus time
// constant.
func (l *lag) result(sd, step float64, lim Limits) Reading {
	if l == nil {
		return refuse("ms", NoEvent, say.T("the moment of the mixture change is not known: mark it to measure the lag"))
	}
	if slower(step, lim.needTransition()) {
		return tooSlow("ms", say.T("a response of %s", secondsWords(lim.JudgeMs/1000)), step, lim.needTransition())
	}
	k, _ := slices.BinarySearch(l.t, l.at)
	if k == 0 || len(l.t)-k < 8 {
		return refuse("ms", TooShort, say.T("the recording does not reach from before the mixture change to well behind it"))
	}
	before := slices.Sorted(slices.Values(l.v[:k]))
	tail := l.t[len(l.t)-1] - (l.t[len(l.t)-1]-l.at)/4
	q, _ := slices.BinarySearch(l.t, tail)
	after := slices.Sorted(slices.Values(l.v[q:]))
	a, b := median(before), median(after)
	if math.Abs(b-a) < 6*sd || b == a {
		return refuse("ms", NoneSeen, say.T("the signal does not answer the mixture change"))
	}
	e := newEdge(a+(b-a)*(1-math.Exp(-1)), 0)
	e.begin(a)
	for i := max(k-1, 0) + 1; i < len(l.t); i++ {
		if e.step(l.t[i-1], l.v[i-1], l.t[i], l.v[i]) != 0 {
			m := e.instant()
			return read(1000*(m.t-l.at), "ms", 1000*(m.span+4*sd/math.Abs(b-a)*(m.t-l.at)), 1)
		}
	}
	return refuse("ms", NoneSeen, say.T("the signal does not answer the mixture change"))
}

func (p *measurement) wide(i int, unit string, sd, step float64) *Wide {
	s := p.surveys[i]
	h := s.hist
	n := s.n
	out := &Wide{
		Steadiness: read((h.quantile(0.84)-h.quantile(0.16))/2, unit, h.width+sd/math.Sqrt(float64(n)), n),
		Spread:     read(h.quantile(0.975)-h.quantile(0.025), unit, 2*h.width+2*sd/math.Sqrt(float64(n)), n),
		Crossings:  refuse("1/s", NotItsKind, say.T("a wide-range sensor holds steady near lambda 1 and does not switch: counting crossings would be wrong")),
	}
	out.Lag = p.lags[i].result(sd, step, p.opt.Limits)
	if out.Lag.Value != nil && p.opt.Event != nil {
		out.Lag.Uncertainty += 1000 * p.opt.Event.Uncertainty
	}
	return out
}
