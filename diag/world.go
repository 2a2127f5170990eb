package diag

import (
	"slices"

	"crosscount/diag/model"
)

// world is the model laid over one car: every cause at every place it can be.
type world struct {
	*engine
	v      Vehicle
	nb     int
	places []place // causes of the engine and its banks: the context
	units  []unit  // their variants
	sens   []sensorWorld
	front  []int // sensor steering each bank
	rear   []int // sensor at position 2 of each bank, or -1
	// commonRear is the sensor at position 2 behind several banks, or -1.
	commonRear int
}

// place is a cause at a place.
type place struct {
	cause       int
	k           *model.Cause
	ref         CauseRef
	bank        int // 0 for the whole engine
	sensor      int // -1 for the context
	prior       float64
	first, last int // its units, last excluded
	parents     []parent
}

// parent is a context place that can have made this one.
type parent struct {
	place int
	p     float64
}

// unit is one variant of a place.
type unit struct {
	place  int
	chance float64
	fx     *effects
	v      *model.Variant
}

type sensorWorld struct {
	Sensor
	banks  []int // 0-based
	places []place
	units  []unit
	states []sensorState
	single []int // state of each unit alone
}

// sensorState is a set of causes at one sensor; the first is the empty set.
type sensorState struct {
	units  []int
	places [2]int // of the units; the number of places where there is none
}

func newWorld(e *engine, v Vehicle) *world {
	w := &world{engine: e, v: v, nb: v.Banks(), commonRear: -1}
	for _, s := range v.Sensors {
		sw := sensorWorld{Sensor: s}
		for b := range w.nb {
			if s.Common || s.Bank == b+1 {
				sw.banks = append(sw.banks, b)
			}
		}
		w.sens = append(w.sens, sw)
	}
	w.front, w.rear = make([]int, w.nb), make([]int, w.nb)
	for b := range w.nb {
		w.front[b], w.rear[b] = w.sensorAt(b+1, 1), w.sensorAt(b+1, 2)
		if r := w.rear[b]; r >= 0 && len(w.sens[r].banks) > 1 {
			w.commonRear = r
		}
	}
	km := float64(v.OdometerKm)
	for i := range e.m.Causes {
		k := &e.m.Causes[i]
		prior := k.Prior
		if k.Curve != "" {
			// An odds factor, so that no mileage makes a cause certain.
			o := prior / (1 - prior) * e.curves[k.Curve].Factor(km)
			prior = o / (1 + o)
		}
		if k.Only.Metering != "" && k.Only.Metering != v.AirMetering || k.Only.Banks > w.nb {
			continue
		}
		base := place{cause: i, k: k, sensor: -1, prior: prior}
		switch k.Scope {
		case model.Engine:
			if k.Only.Pair && !w.hasPair() {
				continue
			}
			base.ref = CauseRef{Cause: k.ID}
			w.addContext(base)
		case model.Bank:
			for b := range w.nb {
				p := base
				p.bank = b + 1
				p.ref = CauseRef{Cause: k.ID, Bank: b + 1}
				w.addContext(p)
			}
		case model.Sensor:
			for s := range w.sens {
				sw := &w.sens[s]
				if k.Only.Heated && !sw.Heated() || k.Only.Front && sw.Position != 1 || k.Only.Rear && sw.Position == 1 ||
					len(k.Only.Kinds) > 0 && !slices.Contains(k.Only.Kinds, string(sw.Kind)) {
					continue
				}
				p := base
				p.sensor = s
				p.ref = CauseRef{Cause: k.ID, Bank: sw.Bank, Position: sw.Position}
				p.first = len(sw.units)
				for j := range k.Variants {
					sw.units = append(sw.units, unit{len(sw.places), k.Variants[j].Chance, &e.effects[i][j], &k.Variants[j]})
				}
				p.last = len(sw.units)
				sw.places = append(sw.places, p)
			}
		}
	}
	w.link()
	for s := range w.sens {
		w.sens[s].enumerate()
	}
	return w
}

func (w *world) addContext(p place) {
	p.first = len(w.units)
	for j := range p.k.Variants {
		w.units = append(w.units, unit{len(w.places), p.k.Variants[j].Chance, &w.effects[p.cause][j], &p.k.Variants[j]})
	}
	p.last = len(w.units)
	w.places = append(w.places, p)
}

// link notes, at each place, which context places can have made it.
func (w *world) link() {
	touches := func(a *place, bank int, banks []int) bool {
		return a.bank == 0 || a.bank == bank || slices.Contains(banks, a.bank-1)
	}
	for i := range w.places {
		a := &w.places[i]
		for _, l := range w.makes[a.cause] {
			for j := range w.places {
				if c := &w.places[j]; c.cause == l.child && touches(a, c.bank, nil) {
					c.parents = append(c.parents, parent{i, l.p})
				}
			}
			for s := range w.sens {
				for j := range w.sens[s].places {
					if c := &w.sens[s].places[j]; c.cause == l.child && touches(a, 0, w.sens[s].banks) {
						c.parents = append(c.parents, parent{i, l.p})
					}
				}
			}
		}
	}
}

func (sw *sensorWorld) enumerate() {
	none := len(sw.places)
	sw.states = append(sw.states, sensorState{places: [2]int{none, none}})
	sw.single = make([]int, len(sw.units))
	n := len(sw.units)
	sw.states = slices.Grow(sw.states, n*(n+1)/2)
	all := make([]int, 0, n*n) // of each state its units
	for i := range sw.units {
		sw.single[i] = len(sw.states)
		all = append(all, i)
		sw.states = append(sw.states, sensorState{all[i : i+1 : i+1], [2]int{sw.units[i].place, none}})
	}
	for i := range sw.units {
		for j := i + 1; j < n; j++ {
			if sw.units[i].place != sw.units[j].place {
				all = append(all, i, j)
				sw.states = append(sw.states, sensorState{all[len(all)-2 : len(all) : len(all)], [2]int{sw.units[i].place, sw.units[j].place}})
			}
		}
	}
}

func (w *world) sensorAt(bank, position int) int {
	for i := range w.sens {
		s := &w.sens[i]
		if s.Position == position && slices.Contains(s.banks, bank-1) {
			return i
		}
	}
	return -1
}

// hasPair tells whether two banks carry the same part, so that it can be swapped
// or its plugs crossed.
func (w *world) hasPair() bool {
	for i := range w.sens {
		if w.pairOf(i) >= 0 {
			return true
		}
	}
	return false
}

// pairOf finds the same part at the same position of another bank, or -1.
func (w *world) pairOf(s int) int {
	a := &w.sens[s]
	for i := range w.sens {
		if b := &w.sens[i]; i != s && b.Position == a.Position && b.Kind == a.Kind && b.Wires == a.Wires {
			return i
		}
	}
	return -1
}
