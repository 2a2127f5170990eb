package model

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// LineError is one thing wrong in a model file.
type LineError struct {
	At
	Problem string
	Mend    string
}

func (e LineError) Error() string {
	return fmt.Sprintf("%s: %s (%s)", e.At, e.Problem, e.Mend)
}

// Errors is everything wrong with a model; it is never empty.
type Errors []LineError

func (es Errors) Error() string {
	s := make([]string, len(es))
	for i, e := range es {
		s[i] = e.Error()
	}
	return strings.Join(s, "\n")
}

// File is one model file.
type File struct {
	Name, Text string
}

// Load reads and checks a model made of several files. The error is Errors.
func Load(files ...File) (*Model, error) {
	p := &parser{m: &Model{Settings: map[string]Setting{}}}
	for _, f := range files {
		p.file(f)
	}
	if len(p.errs) == 0 {
		p.errs = check(p.m)
	}
	if len(p.errs) > 0 {
		return nil, p.errs
	}
	return p.m, nil
}

type parser struct {
	m    *Model
	errs Errors
	at   At

	// the block being filled
	setup    *Setup
	test     *Test
	outcome  *Outcome
	quantity *Quantity
	remark   *Remark
	cause    *Cause
}

func (p *parser) fail(problem, mend string) {
	p.errs = append(p.errs, LineError{p.at, problem, mend})
}

func (p *parser) file(f File) {
	p.endBlock()
	n := 0
	for line := range strings.Lines(f.Text) {
		n++
		p.at = At{f.Name, n}
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		p.statement(line)
	}
	p.endBlock()
}

func (p *parser) endBlock() {
	p.setup, p.test, p.outcome, p.quantity, p.remark, p.cause = nil, nil, nil, nil, nil, nil
}

// textKeywords take the rest of the line as prose and carry no number.
var textKeywords = []string{"name", "plain", "mend", "watch", "tool", "step", "caution", "expect", "default", "means"}

func (p *parser) statement(line string) {
	key, rest, _ := strings.Cut(line, " ")
	rest = strings.TrimSpace(rest)
	if slices.Contains(textKeywords, key) {
		if rest == "" {
			p.fail(key+" without its text", "write the text on the same line")
			return
		}
		p.text(key, rest)
		return
	}
	body, src, hasSrc := strings.Cut(rest, ";") // the reference itself may hold another
	w := &words{p: p, list: strings.Fields(body)}
	if hasSrc {
		w.source(strings.TrimSpace(src))
	}
	w.hasSource = hasSrc
	p.numbers(key, w)
	if len(w.list) > 0 && !w.failed {
		p.fail(fmt.Sprintf("%q is not understood after %s", strings.Join(w.list, " "), key), "take it out or correct the spelling")
	}
}

func (p *parser) text(key, s string) {
	bad := func() { p.fail(key+" does not belong here", "move it under the block it describes") }
	switch {
	case key == "name" && p.setup != nil:
		p.setup.Name = s
	case key == "name" && p.outcome != nil:
		p.outcome.Name = s
	case key == "name" && p.test != nil:
		p.test.Name = s
	case key == "name" && p.quantity != nil:
		p.quantity.Name = s
	case key == "name" && p.remark != nil:
		p.remark.Name = s
	case key == "name" && p.cause != nil:
		p.cause.Name = s
	case p.test != nil:
		switch key {
		case "tool":
			p.test.Tools = append(p.test.Tools, splitList(s)...)
		case "step":
			p.test.Steps = append(p.test.Steps, s)
		case "caution":
			p.test.Cautions = append(p.test.Cautions, s)
		case "expect":
			p.test.Expect = s
		case "default":
			id, name, _ := strings.Cut(s, " ")
			if len(p.test.Outcomes) > 0 {
				p.fail("default comes after another outcome", "put it first, once")
				return
			}
			p.test.Outcomes = append(p.test.Outcomes, Outcome{ID: id, Name: name, At: p.at})
		default:
			bad()
		}
	case p.cause != nil:
		switch key {
		case "plain":
			p.cause.Plain = s
		case "mend":
			p.cause.Mend = s
		case "watch":
			p.cause.Watch = s
		default:
			bad()
		}
	default:
		bad()
	}
}

func splitList(s string) []string {
	var out []string
	for f := range strings.SplitSeq(s, ",") {
		out = append(out, strings.TrimSpace(f))
	}
	return out
}

func (p *parser) numbers(key string, w *words) {
	m := p.m
	switch key {
	case "version":
		m.Version = w.word("the version")
		return
	case "setting":
		s := Setting{Name: w.word("a name"), Value: w.num("a value"), At: p.at}
		s.Source = w.src()
		s.Text = strings.Join(w.list, " ")
		w.list = nil
		if _, ok := m.Settings[s.Name]; ok {
			p.fail("setting "+s.Name+" is given twice", "keep one")
		}
		m.Settings[s.Name] = s
		return
	case "curve":
		p.endBlock()
		c := Curve{Name: w.word("a name"), At: p.at}
		src := w.src()
		for len(w.list) > 0 && !w.failed {
			km := w.num("kilometres")
			c.Points = append(c.Points, Point{km, w.num("a factor"), src})
		}
		m.Curves = append(m.Curves, c)
		return
	case "setup":
		if p.test != nil {
			p.test.Setups = append(p.test.Setups, w.rest()...)
			return
		}
		if p.cause != nil {
			p.cause.Setups = append(p.cause.Setups, w.rest()...)
			return
		}
		p.endBlock()
		m.Setups = append(m.Setups, Setup{ID: w.word("an id"), Scope: Engine, At: p.at})
		p.setup = &m.Setups[len(m.Setups)-1]
		return
	case "test":
		p.endBlock()
		m.Tests = append(m.Tests, Test{ID: w.word("an id"), At: p.at})
		p.test = &m.Tests[len(m.Tests)-1]
		return
	case "quantity":
		p.endBlock()
		m.Quantities = append(m.Quantities, Quantity{ID: w.word("an id"), At: p.at})
		p.quantity = &m.Quantities[len(m.Quantities)-1]
		return
	case "remark":
		p.endBlock()
		r := Remark{ID: w.word("an id"), At: p.at}
		w.key("usual")
		r.Usual = w.prob()
		r.Source = w.src()
		m.Remarks = append(m.Remarks, r)
		p.remark = &m.Remarks[len(m.Remarks)-1]
		return
	case "codekind":
		p.endBlock()
		c := Code{ID: w.word("an id"), At: p.at}
		w.key("false")
		c.False = w.prob()
		c.Source = w.src()
		m.Codes = append(m.Codes, c)
		return
	case "cause":
		p.endBlock()
		m.Causes = append(m.Causes, Cause{ID: w.word("an id"), At: p.at})
		p.cause = &m.Causes[len(m.Causes)-1]
		return
	}
	switch {
	case p.setup != nil:
		p.setupStatement(key, w)
	case p.remark != nil && key == "noticed":
		p.remark.Noticed = true
	case p.test != nil:
		p.testStatement(key, w)
	case p.quantity != nil:
		p.quantityStatement(key, w)
	case p.cause != nil:
		p.causeStatement(key, w)
	default:
		w.failed = true
		p.fail(fmt.Sprintf("%q is not a statement here", key), "correct the spelling, or move it under its block")
	}
}

func (p *parser) unknown(key, block string, w *words) {
	w.failed = true
	p.fail(fmt.Sprintf("%q is not a statement of a %s", key, block), "correct the spelling, or move it under its block")
}

func (p *parser) setupStatement(key string, w *words) {
	s := p.setup
	switch key {
	case "minutes":
		s.Minutes, s.Source = w.num("minutes"), w.src()
	case "scope":
		s.Scope = Scope(w.word("engine or sensor"))
	case "undoes":
		s.Undoes = w.rest()
	case "lasts":
		s.Lasts = Span{w.num("minutes"), w.src()}
	case "comes_after":
		s.Comes = Span{w.num("minutes"), w.src()}
	default:
		p.unknown(key, "setup", w)
	}
}

func (p *parser) testStatement(key string, w *words) {
	t := p.test
	switch key {
	case "scope":
		t.Scope = Scope(w.word("engine, bank or sensor"))
	case "entry":
		t.Entry = w.word("a kind of entry")
	case "minutes":
		t.Minutes, t.Source = w.num("minutes"), w.src()
	case "undoes":
		t.Undoes = w.rest()
	case "leaves":
		t.Leaves = w.rest()
	case "heated":
		t.Heated = true
	case "rear":
		t.Rear = true
	case "pair":
		t.Pair = true
	case "proof":
		t.Proof = true
	case "kinds":
		t.Kinds = w.rest()
	case "meter":
		t.Metering = w.word("maf or map")
	case "outcome":
		o := Outcome{ID: w.word("an id"), At: p.at}
		w.key("false")
		o.False = w.prob()
		o.Source = w.src()
		if w.have("of") {
			w.key("the")
			w.key("bank")
			o.NeedBank = true
		}
		if len(t.Outcomes) == 0 {
			p.fail("an outcome before the default one", "put the default first")
		}
		t.Outcomes = append(t.Outcomes, o)
		p.outcome = &t.Outcomes[len(t.Outcomes)-1]
		return
	default:
		p.unknown(key, "test", w)
	}
	p.outcome = nil
}

func (p *parser) quantityStatement(key string, w *words) {
	q := p.quantity
	switch key {
	case "good":
		q.Mean, q.SD, q.Log = w.spread()
		q.Source = w.src()
	case "between":
		q.Lo, q.Hi = w.num("the least"), w.num("the most")
	case "cell":
		q.Cell = &Cell{Lo: w.num("the least"), Hi: w.num("the most"), Source: w.src()}
	case "scope":
		q.Scope = Scope(w.word("engine or sensor"))
	case "unit":
		q.Unit = w.word("a unit")
	case "kinds":
		q.Kinds = w.rest()
	case "front":
		q.Front = true
	case "rear":
		q.Rear = true
	default:
		p.unknown(key, "quantity", w)
	}
}

func (p *parser) causeStatement(key string, w *words) {
	c := p.cause
	metering := ""
	if key == "maf" || key == "map" {
		metering, key = key, w.word("need or lie")
	}
	switch key {
	case "scope":
		c.Scope = Scope(w.word("engine, bank or sensor"))
	case "prior":
		c.Prior, c.Source = w.prob(), w.src()
	case "age":
		c.Curve, c.Age = w.word("a curve"), p.at
	case "only":
		for _, x := range w.rest() {
			switch x {
			case "maf", "map":
				c.Only.Metering = x
			case "heated":
				c.Only.Heated = true
			case "front":
				c.Only.Front = true
			case "rear":
				c.Only.Rear = true
			case "two_banks":
				c.Only.Banks = 2
			case "pair":
				c.Only.Pair = true
			default:
				c.Only.Kinds = append(c.Only.Kinds, x)
			}
		}
	case "part":
		c.Part = true
	case "goes_with_part":
		c.WithPart = true
	case "wiring":
		c.Wiring = true
	case "adds_volts":
		c.AddsVolts = true
	case "nothing":
		c.Nothing = true
	case "grip":
		c.Grip = int(w.num("a rank"))
	case "repair":
		w.key("minutes")
		c.Minutes = w.num("minutes")
		w.key("price")
		c.Price = w.num("a price")
		c.Repair = w.src()
	case "size":
		w.key("sd")
		c.SizeSD = w.num("a share of the mean")
		c.Size = w.src()
	case "variant":
		v := Variant{Name: w.word("a name"), At: p.at}
		w.key("chance")
		v.Chance = w.num("a chance")
		v.Open = w.have("open_loop")
		v.Source = w.src()
		c.Variants = append(c.Variants, v)
	case "need", "lie":
		t := Trim{Lie: key == "lie", State: w.word("a state"), Metering: metering, At: p.at}
		t.Mean = w.num("a trim in per cent")
		w.key("sd")
		t.SD = w.num("a spread")
		if w.have("bank") {
			t.Bank = int(w.num("a bank"))
		}
		t.Variants = w.variants()
		t.Source = w.src()
		c.Trims = append(c.Trims, t)
	case "code":
		e := CodeEffect{Code: w.word("a kind of code"), P: w.prob(), At: p.at}
		e.Front, e.Rear = w.have("front"), w.have("rear")
		e.Variants = w.variants()
		e.Source = w.src()
		c.Codes = append(c.Codes, e)
	case "finds":
		f := Find{Test: w.word("a test"), Outcome: w.word("an outcome"), P: w.prob(), At: p.at}
		f.Front, f.Rear = w.have("front"), w.have("rear")
		f.Variants = w.variants()
		f.Source = w.src()
		c.Finds = append(c.Finds, f)
	case "shows", "adds":
		s := Show{Quantity: w.word("a quantity"), At: p.at}
		var log bool
		s.Mean, s.SD, log = w.spread()
		s.Variants = w.variants()
		s.Source = w.src()
		if q, ok := p.findQuantity(s.Quantity); ok && q.Log != log {
			p.fail("the spread does not suit "+s.Quantity, "use \"times\" where the quantity does, else \"sd\"")
		}
		if key == "adds" {
			c.Adds = append(c.Adds, s)
		} else {
			c.Shows = append(c.Shows, s)
		}
	case "says":
		c.Says = append(c.Says, Say{Remark: w.word("a remark"), P: w.prob(), Source: w.src(), At: p.at})
	case "makes":
		c.Makes = append(c.Makes, Link{Child: w.word("a cause"), P: w.prob(), Source: w.src(), At: p.at})
	default:
		p.unknown(key, "cause", w)
	}
}

func (p *parser) findQuantity(id string) (*Quantity, bool) {
	for i := range p.m.Quantities {
		if p.m.Quantities[i].ID == id {
			return &p.m.Quantities[i], true
		}
	}
	return nil, false
}

// words takes a statement apart.
type words struct {
	p         *parser
	list      []string
	s         Source
	hasSource bool
	failed    bool // one complaint a line is enough
}

func (w *words) fail(problem, mend string) {
	if !w.failed {
		w.p.fail(problem, mend)
	}
	w.failed = true
}

func (w *words) source(s string) {
	kind, ref, _ := strings.Cut(s, " ")
	switch {
	case s == string(CommonPractice) || s == string(Estimate):
		w.s = Source{Kind: SourceKind(s)}
	case kind == string(Published) && strings.TrimSpace(ref) != "":
		w.s = Source{Published, strings.TrimSpace(ref)}
	default:
		w.fail(fmt.Sprintf("%q is not a source", s), "end the line with \"; estimate\", \"; common practice\" or \"; published REFERENCE\"")
	}
}

// src demands a source: every number needs one.
func (w *words) src() Source {
	if !w.hasSource {
		w.fail("the number has no source", "end the line with \"; estimate\", \"; common practice\" or \"; published REFERENCE\"")
	}
	return w.s
}

func (w *words) word(what string) string {
	if len(w.list) == 0 {
		w.fail(what+" is missing", "write it on this line")
		return ""
	}
	x := w.list[0]
	w.list = w.list[1:]
	return x
}

func (w *words) rest() []string {
	x := w.list
	w.list = nil
	if len(x) == 0 {
		w.fail("nothing is named", "name at least one")
	}
	return x
}

func (w *words) key(k string) {
	if !w.have(k) {
		w.fail(fmt.Sprintf("the word %q is missing", k), "write it before its number")
	}
}

func (w *words) have(k string) bool {
	if len(w.list) == 0 || w.list[0] != k {
		return false
	}
	w.list = w.list[1:]
	return true
}

func (w *words) num(what string) float64 {
	s := w.word(what)
	if w.failed {
		return 0
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || x != x || x > 1e12 || x < -1e12 {
		w.fail(fmt.Sprintf("%q is not a number", s), "write "+what)
	}
	return x
}

// prob reads a probability strictly between 0 and 1: no word and no count earns
// certainty.
func (w *words) prob() float64 {
	x := w.num("a probability")
	if !w.failed && !(x > 0 && x < 1) {
		w.fail(fmt.Sprintf("%g is not a probability to use", x), "use a number between 0 and 1, neither of them itself: nothing is certain")
		return 0.5
	}
	return x
}

// spread reads "0.87 sd 0.05" or, for a quantity on a logarithmic scale, "60
// times 1.35".
func (w *words) spread() (mean, sd float64, log bool) {
	mean = w.num("a mean")
	if w.have("times") {
		return mean, w.num("a factor"), true
	}
	w.key("sd")
	return mean, w.num("a spread"), false
}

// variants reads "@small,medium" at the end of a statement.
func (w *words) variants() []string {
	if len(w.list) == 0 || !strings.HasPrefix(w.list[0], "@") {
		return nil
	}
	return strings.Split(w.word("variants")[1:], ",")
}
