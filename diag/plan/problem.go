// Package plan decides what to do next under uncertainty: which question to
// ask, which action to take, or when to stop, so that the expected total of
// questions, actions, set-ups, proofs and the loss left at the end is least.
//
// It is the troubleshooting problem of Heckerman, Breese & Rommelse (CACM 38(3),
// 1995) and Jensen et al. (AI EDAM 15, 2001), widened to several faults at once,
// shared set-ups, proofs that cost money, and stopping with a loss. Every answer
// carries two bounds: the value of a policy that exists, and a figure no policy
// can beat.
package plan

import (
	"fmt"
	"math"
	"math/bits"
)

// Limits of a Problem. A fault, question or action is a bit in a 64-bit word, a
// set-up a bit in a 32-bit word.
const (
	MaxFaults     = 64
	MaxQuestions  = 64
	MaxActions    = 64
	MaxSetups     = 32
	MaxHypotheses = 4096
	MaxOutcomes   = 64
)

// Problem is a decision under uncertainty. Costs and losses are in one unit of
// the caller's choice.
type Problem struct {
	Hypotheses []Hypothesis
	Setups     []Setup
	Open       uint32 // set-ups already in place, bit i for Setups[i]
	Questions  []Question
	Actions    []Action
	Stops      []Stop // at least one
}

// Hypothesis is one state the world may be in: a set of faults that are there
// now. Faults is a bit mask and may be zero.
//
// An action turns a hypothesis into the one with the mended faults taken away.
// Every set an action can lead to must be listed, with P zero if it cannot be
// the state now, and be listed once.
type Hypothesis struct {
	Faults uint64
	P      float64 // weight, not negative; the weights are scaled to add up to one
}

// Setup is work that several steps share and that is paid once: the car on the
// lift, the exhaust cold, the intake apart.
type Setup struct {
	ID   string
	Cost float64
}

// Question is an observation. It is asked at most once, unless it Repeats: then
// it may be asked again after each action. A repeating question is a proof.
//
// A repeating question that costs nothing, needs no set-up that is not in place
// and ends none is asked at once, as it cannot hurt: so a proof without cost
// follows every action.
//
// A question looks at the state of the moment: after a mend it sees what is left.
type Question struct {
	ID       string
	Cost     float64
	Setup    uint32 // set-ups it needs
	Leaves   uint32 // set-ups in place after it that it does not need (a sensor that was out)
	Ends     uint32 // set-ups it undoes (a road test takes the car off the lift)
	Outcomes []Outcome
	Repeats  bool
}

// Outcome is one answer; P[h] is its probability under Hypotheses[h]. For each
// hypothesis the outcomes' probabilities add up to one.
type Outcome struct {
	ID string
	P  []float64
}

// Action changes the world. It is done at most once.
type Action struct {
	ID    string
	Cost  float64
	Setup uint32
	Ends  uint32
	Mends []Mend
	// Needs names questions, one of which must have been asked before. Empty:
	// the action is always open. This is how a part is refused without evidence.
	Needs []int
}

// Mend is a fault an action can put right, independently of its other mends.
type Mend struct {
	Fault int     // bit number
	P     float64 // probability that it does, above 0 up to 1
	// Unless names faults that undo the mend while they are there (a new sensor
	// dies of the cause that killed the old one). Faults that the same action
	// mends do not count.
	Unless uint64
}

// Stop ends the work. Loss[h] is what ending there costs if Hypotheses[h] is
// the state then; it may be negative, as a gain. To it come the set-ups that the stop
// needs and that are not in place.
type Stop struct {
	ID    string
	Loss  []float64
	Setup uint32
	// Needs names questions, one of which must have been asked before. Empty: the
	// stop is always open. At least one stop has none.
	Needs []int
}

// Error names what is wrong with a Problem and how to mend it.
type Error struct {
	Field string // such as questions[3].outcomes[1].p[0]
	Wrong string
	Mend  string
}

func (e *Error) Error() string { return "plan: " + e.Field + ": " + e.Wrong + ": " + e.Mend }

const (
	sumTolerance = 1e-9
	maxCost      = 1e12
	maxTogether  = 8 // faults of one hypothesis that one action may mend
)

// Validate reports the first thing wrong, as an *Error.
func (p *Problem) Validate() error {
	bad := func(field, wrong, mend string) error { return &Error{field, wrong, mend} }
	count := func(field string, n, low, high int) error {
		if n < low || n > high {
			return bad(field, fmt.Sprintf("%d of them", n), fmt.Sprintf("give %d to %d", low, high))
		}
		return nil
	}
	for _, c := range []struct {
		field        string
		n, low, high int
	}{
		{"hypotheses", len(p.Hypotheses), 1, MaxHypotheses},
		{"setups", len(p.Setups), 0, MaxSetups},
		{"questions", len(p.Questions), 0, MaxQuestions},
		{"actions", len(p.Actions), 0, MaxActions},
		{"stops", len(p.Stops), 1, 1 << 16},
	} {
		if err := count(c.field, c.n, c.low, c.high); err != nil {
			return err
		}
	}
	cost := func(field string, c float64) error {
		if !(c >= 0 && c <= maxCost) {
			return bad(field, fmt.Sprintf("%v is not a cost", c), fmt.Sprintf("give a number from 0 to %g", float64(maxCost)))
		}
		return nil
	}
	setups := func(field string, m uint32) error {
		if bits.Len32(m) > len(p.Setups) {
			return bad(field, fmt.Sprintf("names set-up %d", bits.Len32(m)-1), "add it to setups or clear the bit")
		}
		return nil
	}
	var sum float64
	for i, h := range p.Hypotheses {
		if !(h.P >= 0 && h.P <= maxCost) {
			return bad(fmt.Sprintf("hypotheses[%d].p", i), fmt.Sprintf("%v is not a weight", h.P), "give a number not below 0")
		}
		sum += h.P
	}
	if !(sum >= 1e-300) {
		return bad("hypotheses", "no weight above 0", "give at least one hypothesis a probability")
	}
	if err := setups("open", p.Open); err != nil {
		return err
	}
	for i, s := range p.Setups {
		if err := cost(fmt.Sprintf("setups[%d].cost", i), s.Cost); err != nil {
			return err
		}
	}
	for i, q := range p.Questions {
		f := fmt.Sprintf("questions[%d]", i)
		if err := cost(f+".cost", q.Cost); err != nil {
			return err
		}
		if err := setups(f+".setup", q.Setup); err != nil {
			return err
		}
		if err := setups(f+".leaves", q.Leaves); err != nil {
			return err
		}
		if err := setups(f+".ends", q.Ends); err != nil {
			return err
		}
		if err := count(f+".outcomes", len(q.Outcomes), 1, MaxOutcomes); err != nil {
			return err
		}
		for o, out := range q.Outcomes {
			if len(out.P) != len(p.Hypotheses) {
				return bad(fmt.Sprintf("%s.outcomes[%d].p", f, o), fmt.Sprintf("%d numbers", len(out.P)), fmt.Sprintf("give one per hypothesis, %d", len(p.Hypotheses)))
			}
			for h, v := range out.P {
				if !(v >= 0 && v <= 1+sumTolerance) {
					return bad(fmt.Sprintf("%s.outcomes[%d].p[%d]", f, o, h), fmt.Sprintf("%v is not a probability", v), "give a number from 0 to 1")
				}
			}
		}
		for h := range p.Hypotheses {
			var s float64
			for _, out := range q.Outcomes {
				s += out.P[h]
			}
			if math.Abs(s-1) > sumTolerance {
				return bad(fmt.Sprintf("%s.outcomes[*].p[%d]", f, h), fmt.Sprintf("add up to %v", s), "make the outcomes' probabilities add up to 1 for each hypothesis")
			}
		}
	}
	for i, a := range p.Actions {
		f := fmt.Sprintf("actions[%d]", i)
		if err := cost(f+".cost", a.Cost); err != nil {
			return err
		}
		if err := setups(f+".setup", a.Setup); err != nil {
			return err
		}
		if err := setups(f+".ends", a.Ends); err != nil {
			return err
		}
		if err := count(f+".mends", len(a.Mends), 0, MaxFaults); err != nil {
			return err
		}
		var seen uint64
		for j, m := range a.Mends {
			mf := fmt.Sprintf("%s.mends[%d]", f, j)
			if m.Fault < 0 || m.Fault >= MaxFaults {
				return bad(mf+".fault", fmt.Sprintf("%d is not a fault", m.Fault), fmt.Sprintf("give a bit number from 0 to %d", MaxFaults-1))
			}
			if seen>>m.Fault&1 == 1 {
				return bad(mf+".fault", fmt.Sprintf("fault %d comes twice", m.Fault), "name each fault once")
			}
			seen |= 1 << m.Fault
			if !(m.P > 0 && m.P <= 1) {
				return bad(mf+".p", fmt.Sprintf("%v is not a chance of success", m.P), "give a number above 0 up to 1")
			}
		}
		for j, q := range a.Needs {
			if q < 0 || q >= len(p.Questions) {
				return bad(fmt.Sprintf("%s.needs[%d]", f, j), fmt.Sprintf("%d is not a question", q), "give an index into questions")
			}
		}
	}
	free := false
	for i, s := range p.Stops {
		free = free || len(s.Needs) == 0
		for j, q := range s.Needs {
			if q < 0 || q >= len(p.Questions) {
				return bad(fmt.Sprintf("stops[%d].needs[%d]", i, j), fmt.Sprintf("%d is not a question", q), "give an index into questions")
			}
		}
		if err := setups(fmt.Sprintf("stops[%d].setup", i), s.Setup); err != nil {
			return err
		}
		f := fmt.Sprintf("stops[%d].loss", i)
		if len(s.Loss) != len(p.Hypotheses) {
			return bad(f, fmt.Sprintf("%d numbers", len(s.Loss)), fmt.Sprintf("give one per hypothesis, %d", len(p.Hypotheses)))
		}
		for h, v := range s.Loss {
			if !(math.Abs(v) <= maxCost) {
				return bad(fmt.Sprintf("%s[%d]", f, h), fmt.Sprintf("%v is not a loss", v), fmt.Sprintf("give a number from %g to %g", -float64(maxCost), float64(maxCost)))
			}
		}
	}
	if !free {
		return bad("stops", "each needs a question", "give one that is always open")
	}
	return p.validateMoves()
}

// validateMoves checks that each set of faults an action can lead to is listed
// exactly once.
func (p *Problem) validateMoves() error {
	at := make(map[uint64]int, len(p.Hypotheses))
	for i, h := range p.Hypotheses {
		if _, ok := at[h.Faults]; ok {
			at[h.Faults] = -1
		} else {
			at[h.Faults] = i
		}
	}
	for i, h := range p.Hypotheses {
		for j := range p.Actions {
			var err error
			if k := bits.OnesCount64(h.Faults & p.Actions[j].mask()); k > maxTogether {
				return &Error{fmt.Sprintf("actions[%d].mends", j), fmt.Sprintf("mends %d faults of hypotheses[%d] at once", k, i), fmt.Sprintf("split the action: at most %d", maxTogether)}
			}
			p.Actions[j].each(h.Faults, func(left uint64, _ float64) {
				if left == h.Faults || err != nil {
					return
				}
				to, ok := at[left]
				field := fmt.Sprintf("hypotheses[%d]", i)
				if !ok {
					err = &Error{field, fmt.Sprintf("actions[%d] turns its faults %#x into %#x, which is not listed", j, h.Faults, left), "add that set with P 0"}
				} else if to < 0 {
					err = &Error{field, fmt.Sprintf("actions[%d] turns its faults %#x into %#x, which is listed more than once", j, h.Faults, left), "list that set once"}
				}
			})
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// each calls f for every set of faults that may be left after the action, with
// its probability.
func (a *Action) each(faults uint64, f func(left uint64, p float64)) {
	mends := a.mask()
	if faults&mends == 0 {
		f(faults, 1)
		return
	}
	var live [maxTogether]Mend
	n := 0
	for _, m := range a.Mends {
		if faults>>m.Fault&1 == 1 && faults&^mends&m.Unless == 0 {
			live[n] = m
			n++
		}
	}
	for sub := range 1 << n {
		left, pr := faults, 1.0
		for k := range n {
			if sub>>k&1 == 1 {
				left &^= 1 << live[k].Fault
				pr *= live[k].P
			} else {
				pr *= 1 - live[k].P
			}
		}
		if pr > 0 {
			f(left, pr)
		}
	}
}

func (a *Action) mask() uint64 {
	var m uint64
	for _, x := range a.Mends {
		m |= 1 << x.Fault
	}
	return m
}
