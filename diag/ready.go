package diag

import (
	"cmp"
	"fmt"
	"slices"

	"crosscount/diag/model"
	"crosscount/diag/say"
)

// Happening is what was done with the car or said of how it stands.
type Happening struct {
	Ago   float64 // minutes
	Entry Entry
}

// ReadyNow names the set-ups of the whole car that are in place now, by their ids: what was
// said of the car and what tests left, in the order of time, less what something undid
// since and what time did. A repair leaves nothing to rely on.
func ReadyNow(list []Happening) []string {
	m := model.Trade()
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b Happening) int { return cmp.Compare(b.Ago, a.Ago) })
	here := map[string]float64{} // set-up: how long ago it was last there for certain
	gone := map[string]float64{} // set-up: how long ago it was last undone
	for i := range list {
		h := &list[i]
		undo := func(names ...string) {
			for _, s := range names {
				delete(here, s)
				gone[s] = h.Ago
			}
		}
		put := func(names ...string) {
			for _, s := range names {
				if setup := m.SetupByID(s); setup != nil && setup.Scope == model.Engine {
					here[s] = h.Ago
					undo(setup.Undoes...)
				}
			}
		}
		switch e := &h.Entry; {
		case e.Kind == KindCar && e.Result == OffLift:
			undo("lift")
		case e.Kind == KindCar:
			put(e.Result)
		case e.Kind == KindRepair:
			clear(here)
		default:
			if t, ok := m.TestByID(e.TestDone()); ok {
				undo(t.Undoes...)
				put(slices.Concat(t.Setups, t.Leaves)...)
			}
		}
	}
	out := []string{}
	for _, s := range m.Setups {
		ago, is := here[s.ID]
		if is && s.Lasts.Minutes > 0 && ago > s.Lasts.Minutes {
			is = false
		}
		if !is && s.Comes.Minutes > 0 && len(list) > 0 {
			still, moved := gone[s.ID]
			if !moved { // it has stood at least since it is known
				still = list[0].Ago
			}
			is = still >= s.Comes.Minutes
		}
		if is {
			out = append(out, s.ID)
		}
	}
	slices.Sort(out)
	return out
}

// checkReady finds what is wrong with the set-ups of a case.
func (c Case) checkReady() Problems {
	var ps Problems
	m := model.Trade()
	for i, id := range c.Ready {
		at := fmt.Sprintf("ready[%d]", i)
		if ids := setUpIDs(); !slices.Contains(ids, id) {
			ps.add(at, say.T("%q is not known", clip(id)), oneOf(ids))
			continue
		}
		if slices.Contains(c.Ready[:i], id) {
			ps.add(at, say.T("%s is named twice", id), say.T("take one out"))
		}
		for _, o := range c.Ready[:i] {
			if slices.Contains(m.SetupByID(id).Undoes, o) {
				ps.add(at, say.T("%s and %s cannot both be", id, o), say.T("take one out"))
			}
		}
	}
	return ps
}
