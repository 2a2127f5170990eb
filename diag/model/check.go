package model

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// The words of the case format that the model refers to.
var (
	states  = []string{"idle", "fast_idle", "cruise", "load"}
	kinds   = []string{"zirconia", "titania", "wide_range"}
	entries = []string{"code", "trim", "signal", "forced", "heater", "circuit", "connector", "tip", "gas", "lambda",
		"fuel_pressure", "airflow", "result", "history"}
	worded   = []string{"circuit", "connector", "tip", "result"}
	settings = []string{"trim_sd", "short_only_sd", "long_only_sd", "unlearned_factor", "unlearned_share", "wild", "wild_beyond", "cell_error", "pending_weight", "code_returns",
		"authority_pct", "comeback_minutes", "redo_minutes", "proof_minutes", "proof_misses", "family_share", "on_minutes", "idle_visit", "unmentioned", "reference_rate",
		"pending_again", "pending_lapsed", "left_after_mending", "frame_lapsed_pct", "frame_lapsed_sd", "failed_proof_minutes"}
)

type checker struct {
	m    *Model
	errs Errors
}

func (c *checker) fail(at At, problem, mend string) {
	c.errs = append(c.errs, LineError{at, problem, mend})
}

func (c *checker) word(at At, what, w string, allowed []string) {
	if !slices.Contains(allowed, w) {
		c.fail(at, fmt.Sprintf("%q is not a known %s", w, what), "use one of: "+strings.Join(allowed, ", "))
	}
}

func (c *checker) unique(at At, seen map[string]At, what, id string) {
	if first, ok := seen[id]; ok {
		c.fail(at, fmt.Sprintf("%s %q is there already, at %s", what, id, first), "keep one of the two")
	}
	seen[id] = at
}

// check looks for everything that a reader of the file could get wrong.
func check(m *Model) Errors {
	c := &checker{m: m}
	top := At{File: "model"}
	if m.Version == "" {
		c.fail(top, "no version", "add a line such as: version 1")
	}
	for _, s := range settings {
		if _, ok := m.Settings[s]; !ok {
			c.fail(top, "the setting "+s+" is missing", "add: setting "+s+" NUMBER ; estimate")
		}
	}
	for name, s := range m.Settings {
		if !slices.Contains(settings, name) {
			c.fail(s.At, "setting "+name+" is not used", "take it out or correct its spelling")
		}
		if !(s.Value > 0) {
			c.fail(s.At, "setting "+name+" must be above zero", "write a number above zero")
		}
	}
	curves, setups := c.curves(), c.setups()
	tests := c.tests(setups)
	quantities := c.quantities()
	codes, remarks := map[string]At{}, map[string]At{}
	for _, k := range m.Codes {
		c.unique(k.At, codes, "code kind", k.ID)
	}
	for _, r := range m.Remarks {
		c.unique(r.At, remarks, "remark", r.ID)
		if r.Name == "" {
			c.fail(r.At, "remark "+r.ID+" has no name", "add a name line under it")
		}
	}
	seen := map[string]At{}
	for i := range m.Causes {
		k := &m.Causes[i]
		c.unique(k.At, seen, "cause", k.ID)
		c.cause(k, curves, setups, tests, quantities, codes, remarks)
	}
	c.links()
	slices.SortStableFunc(c.errs, func(a, b LineError) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Problem, b.Problem))
	})
	return c.errs
}

func (c *checker) curves() map[string]At {
	seen := map[string]At{}
	for _, v := range c.m.Curves {
		c.unique(v.At, seen, "curve", v.Name)
		if len(v.Points) < 2 {
			c.fail(v.At, "a curve needs two points", "write kilometres and factor by turns")
		}
		for i, p := range v.Points {
			if !(p.Factor > 0 && p.Factor <= 20) {
				c.fail(v.At, fmt.Sprintf("a factor of %g", p.Factor), "use a factor above 0 and up to 20")
			}
			if i > 0 && p.Km <= v.Points[i-1].Km {
				c.fail(v.At, "the kilometres do not rise", "put the points in rising order")
			}
		}
	}
	return seen
}

func (c *checker) setups() map[string]At {
	seen := map[string]At{}
	for _, s := range c.m.Setups {
		c.unique(s.At, seen, "set-up", s.ID)
		if s.Name == "" || !(s.Minutes > 0) {
			c.fail(s.At, "set-up "+s.ID+" lacks its name or its minutes", "add both")
		}
		c.word(s.At, "scope of a set-up", string(s.Scope), []string{"engine", "sensor"})
		if s.Lasts.Minutes < 0 || s.Comes.Minutes < 0 {
			c.fail(s.At, "set-up "+s.ID+" has a time below zero", "give minutes above zero, or leave it out")
		}
	}
	for _, s := range c.m.Setups {
		c.known(s.At, "set-up "+s.ID+" undoes", s.Undoes, seen)
	}
	return seen
}

// known refuses names of set-ups that are not there.
func (c *checker) known(at At, what string, names []string, setups map[string]At) {
	for _, s := range names {
		if _, ok := setups[s]; !ok {
			c.fail(at, fmt.Sprintf("%s the set-up %q, which is not there", what, s), "add a setup block or correct the name")
		}
	}
}

func (c *checker) tests(setups map[string]At) map[string]*Test {
	seen, out := map[string]At{}, map[string]*Test{}
	for i := range c.m.Tests {
		t := &c.m.Tests[i]
		c.unique(t.At, seen, "test", t.ID)
		out[t.ID] = t
		c.word(t.At, "scope", string(t.Scope), []string{"engine", "bank", "sensor"})
		c.word(t.At, "kind of entry", t.Entry, entries)
		if !(t.Minutes > 0 && t.Minutes <= 600) {
			c.fail(t.At, "test "+t.ID+" has no minutes", "add a line such as: minutes 15 ; estimate")
		}
		if t.Name == "" || len(t.Steps) == 0 || t.Expect == "" {
			c.fail(t.At, "test "+t.ID+" lacks its name, its steps or what to expect", "add them")
		}
		c.known(t.At, "test "+t.ID+" needs", t.Setups, setups)
		c.known(t.At, "test "+t.ID+" undoes", t.Undoes, setups)
		c.known(t.At, "test "+t.ID+" leaves", t.Leaves, setups)
		for _, k := range t.Kinds {
			c.word(t.At, "kind of sensor", k, kinds)
		}
		if slices.Contains(worded, t.Entry) && len(t.Outcomes) < 2 {
			c.fail(t.At, "test "+t.ID+" ends in a word but has fewer than two outcomes", "add a default and an outcome")
		}
		sum, outcomes := 0.0, map[string]At{}
		for _, o := range t.Outcomes {
			c.unique(o.At, outcomes, "outcome", o.ID)
			sum += o.False
			if o.Name == "" {
				c.fail(o.At, "outcome "+o.ID+" has no name", "add a name line under it")
			}
		}
		if sum >= 0.5 {
			c.fail(t.At, fmt.Sprintf("the false outcomes of %s add up to %.2f", t.ID, sum), "a test that is wrong half the time is none: lower them")
		}
	}
	return out
}

func (c *checker) quantities() map[string]*Quantity {
	seen, out := map[string]At{}, map[string]*Quantity{}
	for i := range c.m.Quantities {
		q := &c.m.Quantities[i]
		c.unique(q.At, seen, "quantity", q.ID)
		out[q.ID] = q
		if q.Scope == "" {
			q.Scope = Sensor
		}
		c.word(q.At, "scope of a quantity", string(q.Scope), []string{"engine", "sensor"})
		if q.Name == "" || q.Source.Kind == "" {
			c.fail(q.At, "quantity "+q.ID+" lacks its name or its good value", "add both")
		}
		if !(q.Lo < q.Hi) || q.Log && q.Lo <= 0 {
			c.fail(q.At, "quantity "+q.ID+" has no sound range", "add a line such as: between 0 16")
		}
		if q.Cell != nil && (q.Log || !(q.Lo <= q.Cell.Lo && q.Cell.Lo < q.Mean && q.Mean < q.Cell.Hi && q.Cell.Hi <= q.Hi)) {
			c.fail(q.At, "quantity "+q.ID+" has no sound bounds of a cell", "let them enclose the good value and lie within what an instrument shows, such as: cell 0 1.1")
		}
		c.spread(q.At, q.Mean, q.SD, q.Log)
		for _, k := range q.Kinds {
			c.word(q.At, "kind of sensor", k, kinds)
		}
	}
	return out
}

func (c *checker) spread(at At, mean, sd float64, log bool) {
	if log && !(mean > 0 && sd > 1 && sd < 20) {
		c.fail(at, "a mean above 0 and a factor above 1 are needed", "write for example: 60 times 1.4")
	}
	if !log && !(sd > 0) {
		c.fail(at, "the spread must be above 0", "write for example: 0.87 sd 0.05")
	}
}

func (c *checker) cause(k *Cause, curves, setups map[string]At, tests map[string]*Test, quantities map[string]*Quantity, codes, remarks map[string]At) {
	c.word(k.At, "scope", string(k.Scope), []string{"engine", "bank", "sensor"})
	if k.Name == "" || k.Plain == "" || k.Mend == "" {
		c.fail(k.At, "cause "+k.ID+" lacks its name, its plain words or how to mend it", "add them")
	}
	if k.Source.Kind == "" {
		c.fail(k.At, "cause "+k.ID+" has no prior", "add a line such as: prior 0.01 ; estimate")
	}
	if k.Prior > 0.2 {
		c.fail(k.At, fmt.Sprintf("a prior of %g", k.Prior), "a cause that common is the normal state; use at most 0.2")
	}
	c.known(k.At, "the repair of "+k.ID+" needs", k.Setups, setups)
	least := 0.0
	for _, s := range k.Setups {
		if x := c.m.SetupByID(s); x != nil {
			least += x.Minutes
		}
	}
	if k.Minutes < least {
		c.fail(k.At, fmt.Sprintf("the repair of %s takes less than its set-ups, %g minutes", k.ID, least), "its minutes include them: raise them or take a set-up out")
	}
	if k.Repair.Kind == "" || k.Minutes < 0 || k.Price < 0 {
		c.fail(k.At, "cause "+k.ID+" has no sound repair", "add a line such as: repair minutes 40 price 20 ; estimate")
	}
	if k.Nothing && k.Watch == "" {
		c.fail(k.At, "cause "+k.ID+" mends nothing and names nothing to watch", "add a watch line")
	}
	if k.Curve != "" {
		if _, ok := curves[k.Curve]; !ok {
			c.fail(k.Age, fmt.Sprintf("there is no curve %q", k.Curve), "add the curve or correct the name")
		}
	}
	if (k.Part || k.WithPart) && k.Scope != Sensor {
		c.fail(k.At, "only a sensor's cause is mended by fitting a sensor", "take out part, or set scope sensor")
	}
	for _, s := range k.Only.Kinds {
		c.word(k.At, "kind of sensor", s, kinds)
	}
	if k.SizeSD < 0 || k.SizeSD > 1 {
		c.fail(k.At, fmt.Sprintf("a size spread of %g", k.SizeSD), "use a share of the mean from 0 to 1")
	}
	variants := map[string]At{}
	if len(k.Variants) == 0 {
		k.Variants = []Variant{{Name: "it", Chance: 1, Source: k.Source, At: k.At}}
	}
	sum := 0.0
	for _, v := range k.Variants {
		c.unique(v.At, variants, "variant", v.Name)
		sum += v.Chance
		if !(v.Chance > 0) || v.Chance == 1 && len(k.Variants) > 1 {
			c.fail(v.At, fmt.Sprintf("variant %s has a chance of %g", v.Name, v.Chance), "use a chance between 0 and 1")
		}
	}
	if math.Abs(sum-1) > 1e-9 {
		c.fail(k.At, fmt.Sprintf("the variants of %s add up to %g", k.ID, sum), "make their chances add up to 1")
	}
	known := func(at At, names []string) {
		for _, n := range names {
			if _, ok := variants[n]; !ok {
				c.fail(at, fmt.Sprintf("%s has no variant %q", k.ID, n), "add the variant or correct the name after @")
			}
		}
	}
	for _, t := range k.Trims {
		c.word(t.At, "state", t.State, states)
		known(t.At, t.Variants)
		c.spread(t.At, t.Mean, t.SD, false)
		if math.Abs(t.Mean) > 60 {
			c.fail(t.At, fmt.Sprintf("a trim of %g %%", t.Mean), "no module goes beyond 60 % either way")
		}
		if t.Bank != 0 && (k.Scope != Engine || t.Bank < 0) {
			c.fail(t.At, "a bank is named for a cause that is not of the whole engine", "take the bank out")
		}
	}
	for _, e := range k.Codes {
		known(e.At, e.Variants)
		if _, ok := codes[e.Code]; !ok {
			if _, ok := codes[e.Code+":lean"]; !ok { // both directions at once
				c.fail(e.At, fmt.Sprintf("there is no code kind %q", e.Code), "add a codekind line or correct the id")
			}
		}
	}
	for _, f := range k.Finds {
		known(f.At, f.Variants)
		t, ok := tests[f.Test]
		if !ok {
			c.fail(f.At, fmt.Sprintf("there is no test %q", f.Test), "correct the id")
			continue
		}
		i := slices.IndexFunc(t.Outcomes, func(o Outcome) bool { return o.ID == f.Outcome })
		switch {
		case i < 0:
			c.fail(f.At, fmt.Sprintf("%s has no outcome %q", f.Test, f.Outcome), "correct the id")
		case i == 0:
			c.fail(f.At, "the default outcome finds nothing", "name another outcome")
		}
		if k.Scope == Sensor && t.Scope != Sensor {
			c.fail(f.At, "a cause at one sensor is found by tests of that sensor only", "move the finding to the cause that the test sees")
		}
		if t.Proof {
			c.fail(f.At, "the proof finds every fault alike", "take the line out; see the setting proof_misses")
		}
	}
	for i, s := range slices.Concat(k.Shows, k.Adds) {
		known(s.At, s.Variants)
		q, ok := quantities[s.Quantity]
		if !ok {
			c.fail(s.At, fmt.Sprintf("there is no quantity %q", s.Quantity), "add it or correct the id")
			continue
		}
		c.spread(s.At, s.Mean, s.SD, q.Log)
		if k.Scope == Sensor && q.Scope != Sensor {
			c.fail(s.At, "a cause at one sensor cannot move a quantity of the engine", "use a lie, or another quantity")
		}
		if i >= len(k.Shows) && (q.Scope != Engine || q.Log) {
			c.fail(s.At, "only plain quantities of the engine add up", "use shows")
		}
	}
	for _, s := range k.Says {
		if _, ok := remarks[s.Remark]; !ok {
			c.fail(s.At, fmt.Sprintf("there is no remark %q", s.Remark), "add it or correct the id")
		}
	}
	if len(k.Trims)+len(k.Codes)+len(k.Finds)+len(k.Shows)+len(k.Adds)+len(k.Says) == 0 {
		c.fail(k.At, "nothing can ever speak for "+k.ID, "give it at least one sign")
	}
}

// links checks what makes what: known causes, no cycle, and only from the wider
// to the narrower, since a sensor does not wear an engine out.
func (c *checker) links() {
	rank := map[Scope]int{Engine: 0, Bank: 1, Sensor: 2}
	for _, k := range c.m.Causes {
		for _, l := range k.Makes {
			child, ok := c.m.CauseByID(l.Child)
			switch {
			case !ok:
				c.fail(l.At, fmt.Sprintf("there is no cause %q", l.Child), "correct the id")
			case l.Child == k.ID || c.reaches(child, k.ID, map[string]bool{}):
				c.fail(l.At, fmt.Sprintf("%s and %s make each other", k.ID, l.Child), "take out one of the links in the circle")
			case k.Scope == Sensor || rank[child.Scope] < rank[k.Scope]:
				c.fail(l.At, fmt.Sprintf("a cause of one %s cannot make one of the %s", k.Scope, child.Scope), "link from the wider to the narrower")
			}
		}
	}
}

func (c *checker) reaches(k *Cause, id string, seen map[string]bool) bool {
	if seen[k.ID] {
		return false
	}
	seen[k.ID] = true
	for _, l := range k.Makes {
		if l.Child == id {
			return true
		}
		if child, ok := c.m.CauseByID(l.Child); ok && c.reaches(child, id, seen) {
			return true
		}
	}
	return false
}
