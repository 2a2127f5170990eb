package diag

import "math/bits"

// A bound on sets of candidates that move trims, lambda or summed shifts, or what is
// known of a coupled sensor. Given the set, the weight is at most a product over the
// front sensors (each with the trims and codes of its banks and the rear sensors there),
// the rear sensor that banks share, and the summed shifts. Of each factor it matters how
// many of the set act on it: none leaves it as it is, one puts it where that one alone
// does, several are taken to put it wherever they like. A leak at one bank so cannot
// explain the trims of another, and the sum over all sets of such products is a product
// of sums but for the candidates that act on more than one factor.

// mover is a candidate that acts on some of the factors.
type mover struct {
	acts, touches uint8 // fronts that it acts on; whose classes it changes
	kind          moverKind
	changes       bool             // it changes the classes of a sensor
	own           [maxBank]float64 // front: with it alone
	others        [maxBank]float64 // front whose classes it changes: with others that reach as well
	apart         float64          // shifts and the shared rear sensor, with it alone
}

type moverKind int8

const (
	local moverKind = iota // acts on one front and nothing else
	wide                   // acts on several, or on shifts or the shared rear sensor
	idle                   // acts on none of these: on lambda only
)

// moved is the sum over the sets of some movers. Before any is added the fields of the
// first block are set.
type moved struct {
	n         int              // fronts
	base      [maxBank]float64 // front: as it is
	many, may [maxBank]float64 // with several acting on it; with some that change its classes
	apart     float64          // shifts and the shared rear sensor as they are
	apartMany float64          // with several
	apartMay  float64          // with some that change the shared sensor's classes

	idle           float64          // product of one plus odds of those that act on none
	reach, touch   [maxBank]float64 // product of one plus odds of the local ones, by whether they change classes
	sReach, sTouch [maxBank]float64 // sum of their odds
	q, qm          [maxBank]float64 // sums of odds times own and others
	wide           []weighedMover
	mild, wild     float64 // products of one plus odds of the wide ones: that change no classes, that do
	sMild, sWild   float64 // sums of their odds
	singles        float64 // sets of one
}

// weighedMover is a mover with its odds.
type weighedMover struct {
	*mover
	og float64 // odds times gain
}

// like takes the factors of another.
func (m *moved) like(o *moved) {
	m.n, m.base, m.many, m.may, m.apart, m.apartMany, m.apartMay = o.n, o.base, o.many, o.may, o.apart, o.apartMany, o.apartMay
}

func (m *moved) begin() {
	m.idle, m.mild, m.wild, m.sMild, m.sWild, m.singles = 1, 1, 1, 0, 0, 0
	m.wide = m.wide[:0]
	for i := range m.n {
		m.reach[i], m.touch[i] = 1, 1
		m.sReach[i], m.sTouch[i], m.q[i], m.qm[i] = 0, 0, 0, 0
	}
}

func (m *moved) add(of *mover, og float64) {
	x := weighedMover{of, og}
	single := og * x.apart
	for i := range m.n {
		single *= x.own[i]
	}
	m.singles += single
	switch x.kind {
	case idle:
		m.idle *= 1 + x.og
	case local:
		i := bits.TrailingZeros8(x.acts)
		m.q[i] += x.og * x.own[i]
		if x.changes {
			m.touch[i] *= 1 + x.og
			m.sTouch[i] += x.og
			m.qm[i] += x.og * x.others[i]
		} else {
			m.reach[i] *= 1 + x.og
			m.sReach[i] += x.og
		}
	default:
		m.wide = append(m.wide, x)
		if x.changes {
			m.wild *= 1 + x.og
			m.sWild += x.og
		} else {
			m.mild *= 1 + x.og
			m.sMild += x.og
		}
	}
}

// several bounds the sets of two or more.
func (m *moved) several() float64 {
	var alone, joined, extra, mild, wild [maxBank]float64
	none, pMild, pWild, as := 1.0, 1.0, 1.0, 1.0
	for i := range m.n {
		r, t := m.reach[i], m.touch[i]
		rest := m.qm[i] // one that touches, with any that reach; or several that touch
		touched := max(t-1-m.sTouch[i], 0) * r * m.may[i]
		alone[i] = m.base[i] + m.q[i] + max(r-1-m.sReach[i], 0)*m.many[i] + rest*(r-1) + touched
		joined[i] = m.many[i]*(r-1) + rest*r + touched // beside a wide one that changes no classes
		extra[i] = (t - 1) * r * m.may[i]              // beside one that does
		mild[i] = joined[i] + m.many[i]
		wild[i] = t * r * m.may[i]
		none *= alone[i]
		as *= m.base[i]
		pMild *= mild[i]
		pWild *= wild[i]
	}
	sum := m.apart * none
	for _, x := range m.wide {
		p, beside := x.og*x.apart, x.og*m.apartMay*(m.mild-1)
		for i := range m.n {
			switch {
			case x.acts>>i&1 == 0:
				p *= alone[i]
				beside *= mild[i]
			case x.touches>>i&1 == 0:
				p *= x.own[i] + joined[i]
				beside *= mild[i]
			default:
				p *= x.own[i] + x.others[i]*(m.reach[i]-1) + extra[i]
				beside *= x.others[i]*m.reach[i] + extra[i]
			}
		}
		sum += p
		if x.changes {
			sum += beside
		}
	}
	sum += max(m.mild-1-m.sMild, 0)*m.apartMany*pMild + max(m.wild-1-m.sWild, 0)*m.mild*m.apartMay*pWild
	sum *= m.idle
	return max(sum-m.apart*as-m.singles, 0) + 1e-14*sum // what rounding may take
}
