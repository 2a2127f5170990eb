package diag

import (
	"math"
	"slices"
	"strings"
	"sync"

	"crosscount/diag/model"
	"crosscount/diag/obd"
)

// engine is the trade model with its words resolved to numbers, so that a case
// is weighed without comparing strings.
type engine struct {
	m          *model.Model
	test       map[string]int
	quantity   map[string]int
	code       map[string]int
	codeAt     []map[[2]int]bool // code: the banks and positions for which there is one
	remark     map[string]int
	cause      map[string]int
	effects    [][]effects // cause, variant
	makes      [][]link    // cause
	curves     map[string]model.Curve
	trimSD     float64
	shortSD    float64
	longSD     float64
	unlearned  float64
	returns    float64
	wild       float64
	beyond     float64 // of wild, beyond what a cell can give
	cellError  float64 // V
	onPrice    float64 // minutes
	partial    float64
	pending    float64
	authority  float64
	family     float64
	visit      float64
	quiet      float64
	comeback   float64 // minutes
	redo       float64 // minutes
	proof      float64 // minutes
	proofMiss  float64
	lasts      float64
	lapses     float64
	remains    float64
	frameOff   float64 // per cent
	frameOffSD float64
	proofFails float64 // minutes
	reference  float64 // price of an hour
}

type side int8

const (
	anySide side = iota
	frontSide
	rearSide
)

func (s side) covers(position int) bool {
	return s == anySide || s == frontSide && position == 1 || s == rearSide && position > 1
}

type chance struct {
	p    float64 // 0: none
	side side
}

type level struct {
	has      bool
	mean, sd float64 // on the quantity's own scale
	lo, hi   float64 // what it is held within; nothing where both are 0
	mass     float64 // of the spread that lies within
}

type link struct {
	child int
	p     float64
}

// effects is everything one variant of a cause does, by index.
type effects struct {
	find  [][]chance // test, outcome
	show  []level    // quantity
	add   []level    // quantity
	code  []chance   // code kind
	sets  []int      // code kinds of which it sets any
	say   []float64  // remark
	trims []trimEffect
	open  bool
}

// at tells whether the effect is felt with a way of metering at a bank.
func (t *trimEffect) at(metering string, bank int) bool {
	return (t.metering == "" || t.metering == metering) && (t.bank == 0 || t.bank == bank+1)
}

type trimEffect struct {
	lie      bool
	state    int
	mean, sd float64
	metering string
	bank     int
}

var trade = sync.OnceValue(func() *engine { return newEngine(model.Trade()) })

func newEngine(m *model.Model) *engine {
	set := func(name string) float64 { return m.Settings[name].Value }
	e := &engine{m: m, test: map[string]int{}, quantity: map[string]int{}, code: map[string]int{}, remark: map[string]int{},
		cause: map[string]int{}, curves: map[string]model.Curve{},
		trimSD: set("trim_sd"), shortSD: set("short_only_sd"), longSD: set("long_only_sd"),
		unlearned: set("unlearned_factor"), wild: set("wild"), beyond: set("wild_beyond"), cellError: set("cell_error"), partial: set("unlearned_share"), onPrice: set("on_minutes"), pending: set("pending_weight"), returns: set("code_returns"), authority: set("authority_pct"),
		family: set("family_share"), visit: set("idle_visit"), quiet: set("unmentioned"), comeback: set("comeback_minutes"), redo: set("redo_minutes"), proof: set("proof_minutes"),
		proofMiss: set("proof_misses"), lasts: set("pending_again"), lapses: set("pending_lapsed"), frameOff: set("frame_lapsed_pct"), frameOffSD: set("frame_lapsed_sd"), remains: set("left_after_mending"), proofFails: set("failed_proof_minutes"), reference: set("reference_rate")}
	for i, t := range m.Tests {
		e.test[t.ID] = i
	}
	for i, q := range m.Quantities {
		e.quantity[q.ID] = i
	}
	for i, c := range m.Codes {
		e.code[c.ID] = i
	}
	e.codeAt = make([]map[[2]int]bool, len(m.Codes))
	for i := range e.codeAt {
		e.codeAt[i] = map[[2]int]bool{}
	}
	for _, known := range obd.Known() {
		if about, ok := known.Meaning(); ok {
			if k, ok := e.codeKind(about); ok {
				e.codeAt[k][[2]int{about.Bank, about.Position}] = true
			}
		}
	}
	for i, r := range m.Remarks {
		e.remark[r.ID] = i
	}
	for i, c := range m.Causes {
		e.cause[c.ID] = i
	}
	for _, c := range m.Curves {
		e.curves[c.Name] = c
	}
	e.effects = make([][]effects, len(m.Causes))
	e.makes = make([][]link, len(m.Causes))
	for i := range m.Causes {
		k := &m.Causes[i]
		for _, v := range k.Variants {
			e.effects[i] = append(e.effects[i], e.resolve(k, v))
		}
		for _, l := range k.Makes {
			e.makes[i] = append(e.makes[i], link{e.cause[l.Child], l.P})
		}
	}
	return e
}

func sideOf(front, rear bool) side {
	switch {
	case front:
		return frontSide
	case rear:
		return rearSide
	}
	return anySide
}

func (e *engine) resolve(k *model.Cause, v model.Variant) effects {
	m := e.m
	x := effects{find: make([][]chance, len(m.Tests)), show: make([]level, len(m.Quantities)), add: make([]level, len(m.Quantities)),
		code: make([]chance, len(m.Codes)), say: make([]float64, len(m.Remarks)), open: v.Open}
	on := func(variants []string) bool { return len(variants) == 0 || slices.Contains(variants, v.Name) }
	for i, t := range m.Tests {
		x.find[i] = make([]chance, len(t.Outcomes))
	}
	for _, f := range k.Finds {
		if on(f.Variants) {
			t := e.test[f.Test]
			for o := range m.Tests[t].Outcomes {
				if m.Tests[t].Outcomes[o].ID == f.Outcome {
					x.find[t][o] = chance{f.P, sideOf(f.Front, f.Rear)}
				}
			}
		}
	}
	for _, s := range k.Shows {
		if on(s.Variants) {
			q := e.quantity[s.Quantity]
			mean, sd := model.Scale(&m.Quantities[q], s.Mean, s.SD)
			x.show[q] = held(&m.Quantities[q], mean, sd, k.AddsVolts)
		}
	}
	for _, s := range k.Adds {
		if on(s.Variants) {
			x.add[e.quantity[s.Quantity]] = level{has: true, mean: s.Mean, sd: math.Hypot(s.SD, k.SizeSD*s.Mean)}
		}
	}
	for _, c := range k.Codes {
		if on(c.Variants) {
			for id, i := range e.code {
				base, _, _ := strings.Cut(id, ":")
				if id == c.Code || base == c.Code && !strings.Contains(c.Code, ":") {
					x.code[i] = chance{c.P, sideOf(c.Front, c.Rear)}
				}
			}
		}
	}
	for i, c := range x.code {
		if c.p > 0 {
			x.sets = append(x.sets, i)
		}
	}
	for _, s := range k.Says {
		x.say[e.remark[s.Remark]] = s.P
	}
	for _, t := range k.Trims {
		if on(t.Variants) {
			x.trims = append(x.trims, trimEffect{t.Lie, slices.Index(States, t.State), t.Mean, math.Hypot(t.SD, k.SizeSD*t.Mean), t.Metering, t.Bank})
		}
	}
	return x
}
