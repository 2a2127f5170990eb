package diag

import "crosscount/diag/say"

// Decision is what the engine makes of a case.
type Decision struct {
	Engine   string        `json:"engine"`
	Causes   []Cause       `json:"causes"`   // marginal, highest first
	Together []Combination `json:"together"` // whole explanations, highest first
	LeftOut  float64       `json:"left_out"` // bound on the probability not enumerated
	Next     *NextTest     `json:"next"`     // nil when nothing is worth doing before the verdict
	Plan     []PlanStep    `json:"plan"`     // what follows each outcome of Next
	Verdict  Verdict       `json:"verdict"`
	Costs    CostView      `json:"costs"`
	Notes    []Note        `json:"notes,omitempty"` // beside the fixed fields: entries that were not used, contradictions
}

// Note is something the engine has to say about entries.
type Note struct {
	Entries []int    `json:"entries"` // indices into the case's evidence
	Say     say.Text `json:"say"`
}

// CauseRef names a cause at its place. An engine cause has no bank, a bank cause
// has a bank, a sensor cause has both.
type CauseRef struct {
	Cause    string `json:"cause"`
	Bank     int    `json:"bank,omitempty"`
	Position int    `json:"position,omitempty"`
}

// Cause is a cause with its marginal probability and the reasons for it.
type Cause struct {
	CauseRef
	P       float64    `json:"p"`
	Why     []say.Text `json:"why"`
	Reasons []Reason   `json:"reasons"` // beside the fixed fields: the same, to reckon with
}

// Reason is a finding that speaks for or against a cause.
type Reason struct {
	Entries []int    `json:"entries"` // indices into the case's evidence
	Finding say.Text `json:"finding"`
	Weight  float64  `json:"weight"` // natural logarithm of the likelihood ratio, all else kept; within ±6
	Word    say.Text `json:"word"`   // the weight on a scale of words
	For     bool     `json:"for"`
}

// Combination is a set of causes that together explain the case.
type Combination struct {
	Causes []CauseRef `json:"causes"`
	P      float64    `json:"p"`
}

// NextTest is the test with the best expected total cost.
type NextTest struct {
	Test          string   `json:"test"`
	Bank          int      `json:"bank,omitempty"`
	Position      int      `json:"position,omitempty"`
	Minutes       float64  `json:"minutes"`
	ExpectedTotal float64  `json:"expected_total"` // in Costs.Currency
	Why           say.Text `json:"why"`
	Cautions      []string `json:"cautions"`
}

// PlanStep is what follows one outcome of a test.
type PlanStep struct {
	Outcome string     `json:"outcome"`
	Say     say.Text   `json:"say,omitzero"`   // the outcome in words
	Bank    int        `json:"bank,omitempty"` // the bank the outcome is about
	P       float64    `json:"p"`              // probability of the outcome
	Next    *NextTest  `json:"next,omitempty"`
	Verdict *Verdict   `json:"verdict,omitempty"`
	Then    []PlanStep `json:"then,omitempty"`
}

// Verdict is the decision on parts.
type Verdict struct {
	Decision string     `json:"decision"` // part, no_part, open
	Mend     []CauseRef `json:"mend"`
	Parts    []Part     `json:"parts"`
	First    []CauseRef `json:"first"` // what to mend before fitting
	Firm     float64    `json:"firm"`  // 0 to 1: share of trials in which it stands with every estimate of the model off by noise of one in log odds
	Why      say.Text   `json:"why"`   // for the technician

	// Beside the fixed fields.
	Customer say.Text   `json:"customer,omitzero"`   // the same for the customer
	FirmHalf float64    `json:"firm_half,omitempty"` // firm, with the estimates off by half as much
	FirmTwo  float64    `json:"firm_two,omitempty"`  // firm, with the estimates off by twice as much
	HangsOn  say.Text   `json:"hangs_on,omitzero"`   // the estimate whose error would move it most
	Change   []say.Text `json:"change,omitempty"`    // what would overturn it
	Upkeep   bool       `json:"upkeep,omitempty"`    // a part worth fitting though nothing is faulty
	Cleared  []Part     `json:"cleared,omitempty"`   // sensors under suspicion that the findings have cleared
}

// UnmarshalJSON reads a verdict, and where say.Keep has stored it how its sentences were
// made.
func (v *Verdict) UnmarshalJSON(b []byte) error {
	type plain Verdict
	return say.Back(b, (*plain)(v))
}

// The three decisions.
const (
	DecidePart   = "part"
	DecideNoPart = "no_part"
	DecideOpen   = "open"
)

// Part is a sensor to fit, named by its location.
type Part struct {
	Bank     int        `json:"bank"`
	Position int        `json:"position"`
	Kind     SensorKind `json:"kind"`
}

// CostView compares three ways of doing the job, in Costs.Currency, and bounds the
// expected total of the best plan: none costs less than AtLeast, and one is known that
// costs AtMost. Both hold for the tests, classes of answers and kinds of work that the
// plan knows of.
type CostView struct {
	Expected           float64 `json:"expected"`
	CodeTakenAtItsWord float64 `json:"code_taken_at_its_word"`
	CauseKnown         float64 `json:"cause_known"`
	AtLeast            float64 `json:"at_least"`
	AtMost             float64 `json:"at_most"`
}

// Exact tells whether the plan was computed to its end: the bounds meet, to within the
// rounding of both to hundredths.
func (c CostView) Exact() bool { return c.AtMost-c.AtLeast <= closeEnough*c.AtMost+0.01 }
