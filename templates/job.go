package templates

import (
	"fmt"

	"crosscount/templates/lang"
	"crosscount/templates/linemap"
)

// JobView is a job from top to bottom.
type JobView struct {
	Upload      *UploadForm
	Recordings  []RecordingLine
	Pictures    []PictureView
	BeforeAfter []PictureView // of the same sensor

	Page
	ID     int64
	Base   string // "/jobs/1001"
	State  string // open, closed, cancelled
	Car    string
	Plate  string
	VIN    string
	Opened string

	Customer, Phone string
	Concern         string
	Odometer        string
	VehicleHref     string
	Assign          *AssignForm
	Head            *IntakeForm // corrects concern and odometer
	Technician      string
	Move            MoveView
	Comeback        *ComebackAsk // asks whether this car came back
	CameFrom        *ComebackLine
	CameBackAs      []ComebackLine

	Map linemap.View

	Log     []LogEntry
	Kinds   []KindLink
	Tests   []KindLink
	Form    *EntryForm
	CanAdd  bool
	NoFit   string // why the engine cannot weigh the case
	Causes  []CauseView
	More    []CauseView // less likely ones, folded
	Several []TogetherView
	LeftOut string
	Similar []SimilarJob

	Next    *TestView
	Settled string // what is next once a verdict is in force
	Others  []TestView
	Stages  Stages
	Verdict VerdictView
	Hand    HandView
	Acts    []ActLine
}

// AssignForm says who works on the job.
type AssignForm struct {
	Who Field
}

// ComebackAsk offers to link the job to an earlier one.
type ComebackAsk struct {
	Earlier int64
	When    string
	What    string
	Days    int
}

// ComebackLine is a link between two jobs.
type ComebackLine struct {
	Href string
	ID   int64
	Kind string
}

// ComebackWord says why a car came back.
func ComebackWord(l *lang.Language, kind string) string {
	switch kind {
	case "not_known_yet":
		return l.T("why is not known yet")
	case "cause_missed":
		return l.T("the cause was missed")
	case "repair_failed":
		return l.T("the repair did not hold")
	case "part_failed":
		return l.T("the part died again")
	case "unrelated":
		return l.T("new trouble, not ours")
	}
	return kind
}

// ComebackOptions are the kinds to choose from.
func ComebackOptions(l *lang.Language) []Option {
	var out []Option
	for _, k := range []string{"not_known_yet", "cause_missed", "repair_failed", "part_failed", "unrelated"} {
		out = append(out, Option{k, Upper(ComebackWord(l, k))})
	}
	return out
}

// LogEntry is one line of the evidence log.
type LogEntry struct {
	ID        string
	Spot      string
	What      string
	Means     []string // what a code says, what a look means
	Alike     string   // why a code is no sensor code
	Unused    string   // why the engine does not reckon with it
	When      string
	Who       string
	Source    string
	Capture   *CaptureLine // what it was measured from
	Withdrawn *Withdrawn
	Form      *WithdrawForm
}

// Withdrawn says who took an entry back and why.
type Withdrawn struct{ Who, When, Why string }

// WithdrawForm takes an entry back.
type WithdrawForm struct {
	ID      string // of the withdrawal
	Entry   string
	Open    bool
	Reason  Field
	Refusal *Refusal
}

// WithdrawReason is the box for why.
func WithdrawReason(entry string) Field {
	return Field{Name: "reason_" + entry, Label: "Why is it wrong?", Required: true, Whole: true}
}

// CauseView is a cause with how likely it is and why.
type CauseView struct {
	Name    string
	Spot    string
	Words   string // "very likely"
	Percent string // "83 %"
	From    int    // thousandths of the bar
	To      int    // with what was left out
	Why     []string
}

// TogetherView is a set of causes that explain the case together.
type TogetherView struct {
	Names   []string
	Percent string
}

// OddsWord puts a probability in words. The bounds are ours.
func OddsWord(l *lang.Language, p float64) string {
	switch {
	case p >= 0.975:
		return l.T("almost certain")
	case p >= 0.85:
		return l.T("very likely")
	case p >= 0.6:
		return l.T("likely")
	case p >= 0.4:
		return l.T("as likely as not")
	case p >= 0.15:
		return l.T("possible")
	case p >= 0.025:
		return l.T("unlikely")
	}
	return l.T("very unlikely")
}

// TestView is a test to do.
type TestView struct {
	Title    string
	Spot     string
	Minutes  string
	Money    string
	Tools    []string
	SetUps   []string
	Expect   string
	Cautions []string
	House    string // the shop's own words on caution
	Steps    []string
	Why      string
	Href     string // opens the form that records it
	Outcomes []PlanLine
	Limit    Limit
}

// SimilarJob is a job of the shop that had a code in common.
type SimilarJob struct {
	Href, Car string
	ID        int64
	Was       string // what it turned out to be
	Says      string // how likely that makes what was found here
	Shared    string
	CameBack  bool
}

// SharedWords says what two jobs have in common.
func SharedWords(l *lang.Language, codes []string, family bool) string {
	if family {
		return l.T("%s in common, same family of cars", and(l, codes))
	}
	return l.T("%s in common", and(l, codes))
}

// AlikeWords says how much likelier a cause makes what was found.
func AlikeWords(l *lang.Language, ratio float64) string {
	times := func(x float64) string {
		switch {
		case x >= 1000:
			return l.T("over 1000")
		case x >= 10:
			return fmt.Sprintf("%.0f", x)
		}
		return l.T("%.1f", x)
	}
	switch {
	case ratio >= 1.5:
		return l.T("If it is that again, what was found here is %s times likelier.", times(ratio))
	case ratio > 1/1.5:
		return l.T("What was found here says nothing for or against it.")
	case ratio > 0:
		return l.T("What was found here speaks against it: it would be %s times less likely.", times(1/ratio))
	}
	return l.T("What was found here does not fit it.")
}

// Limit says how a test stands to the customer's yes.
type Limit struct {
	NoYes   string     // where to ask, when there is no yes at all
	Past    *ScopeView // asks for a new yes, when the test goes past the one there is
	Say     string
	From    string // the page that asks: job, bay
	Account string // where a yes is written down
}

// PlanLine is what follows an outcome.
type PlanLine struct{ Outcome, Percent, Then string }

// Stages says what is behind the job and what is ahead.
type Stages []Stage

// Stage is one moment of a job.
type Stage struct {
	Name string
	When string // empty: still ahead
	Now  bool
}

// VerdictView is the engine's verdict and what people made of it.
type VerdictView struct {
	Decision  string // part, no_part, open
	Headline  string
	Parts     []string
	First     []string
	Mend      []string
	Why       string
	Firm      string
	Customer  string // for the customer, in plain words
	Expected  string
	AtItsWord string
	Bounds    string // between what the cheapest order of tests lies
	Known     string

	InForce    *AcceptedView
	Stale      bool // the evidence has changed since
	CanAccept  bool
	Accept     *AcceptForm
	Override   *OverrideForm
	WhyNotYet  string
	EngineName string
}

// AcceptedView is the verdict in force.
type AcceptedView struct {
	Who, When   string
	Headline    string
	First, Mend []string
	Engine      string
	Fingerprint string
	OverrideBy  string
	OverrideAt  string
	OverrideWhy string
	OverrideIs  string
}

// AcceptForm accepts the engine's verdict.
type AcceptForm struct {
	Fingerprint string // of the case the reader saw
	Refusal     *Refusal
}

// OverrideForm decides otherwise.
type OverrideForm struct {
	Open        bool
	Fingerprint string
	Decision    Field
	Parts       []Field // a tick for each place
	Reason      Field
	Refusal     *Refusal
}

// NewOverrideForm is the empty form.
func NewOverrideForm(places []Option) OverrideForm {
	f := OverrideForm{
		Decision: Field{Name: "decision", Label: "I decide", Required: true, Options: []Option{{"part", "A part is needed"}, {"no_part", "No part"}}},
		Reason:   Field{Name: "reason", Label: "Why?", Required: true, Whole: true, Hint: "Kept for good, and shown to the owner beside how it turned out."},
	}
	for _, p := range places {
		f.Parts = append(f.Parts, Field{Name: "part_" + p.Value, Label: p.Label})
	}
	return f
}

// HandView is everything from the customer's yes to the hand-over.
type HandView struct {
	Approve *YesForm
	Repairs []RepairLine
	Mend    *MendForm
	Fit     *FitForm
	Finish  bool
	Proofs  []ProofLine
	Proof   *ProofForm
	Close   *CloseForm
	Folded  bool // closing is not what comes next
	Closed  *ClosedView
	Cancel  *CancelForm
	Wait    string // what has to come first
}

// RepairLine is one thing done.
type RepairLine struct {
	ID         int64
	What       string
	Words      string
	Who, When  string
	Despite    string
	Undone     string
	UndoReason *Field
}

// UndoField asks why a repair was written down wrongly.
func UndoField(id int64) Field {
	return Field{Name: fmt.Sprintf("undo_%d", id), Label: "Why take it back?", Required: true, Whole: true}
}

// MendForm writes down what was mended.
type MendForm struct {
	Cause   Field
	Words   Field
	Refusal *Refusal
}

// NewMendForm is the empty form.
func NewMendForm(causes []Option) MendForm {
	return MendForm{
		Cause: Field{Name: "cause", Label: "What was mended?", Required: true, Whole: true, Options: causes},
		Words: Field{Name: "mend_words", Label: "How", Whole: true, Hint: "What was found and done, in your words."},
	}
}

// FitForm writes down a sensor fitted.
type FitForm struct {
	Part    Field
	Number  Field
	Words   Field
	Despite *Field // asked for when something has to be mended first
	First   []string
	Refusal *Refusal
}

// NewFitForm is the empty form.
func NewFitForm(parts []Option) FitForm {
	return FitForm{
		Part:   Field{Name: "part", Label: "Sensor fitted", Required: true, Whole: true, Options: parts},
		Number: Field{Name: "part_number", Label: "Part number", Hint: "From the box."},
		Words:  Field{Name: "fit_words", Label: "How", Whole: true, Hint: "Torque, thread, cable clipped clear of the exhaust."},
	}
}

// DespiteField asks why the order was not kept.
func DespiteField() *Field {
	return &Field{Name: "despite", Label: "Fitted before that was mended? Why?", Whole: true, Hint: "Left empty, the new sensor waits until what killed the old one is mended."}
}

// ProofLine is a road proof.
type ProofLine struct {
	Passed    bool
	Statement string
	Who, When string
	Gone      bool // its entry was withdrawn
}

// ProofForm writes down a road proof.
type ProofForm struct {
	Entry     string
	Outcome   Field
	Statement Field
	Test      TestView
	Refusal   *Refusal
}

// NewProofForm is the empty form.
func NewProofForm(l *lang.Language) ProofForm {
	such := "Such as: 22 km, all monitors ready, trims +2 %, no code stored or pending."
	if l.Unit("km") == "mi" {
		such = "Such as: 14 mi, all monitors ready, trims +2 %, no code stored or pending."
	}
	return ProofForm{
		Outcome:   Field{Name: "proof", Label: "How did it go?", Required: true, Options: []Option{{"passed", "Passed: monitors ready, no code, trims near zero"}, {"failed", "Failed"}}},
		Statement: Field{Name: "statement", Label: "What was seen", Required: true, Whole: true, Hint: such},
	}
}

// CloseForm ends the job.
type CloseForm struct {
	Outcome  Field
	Causes   []Field // ticks
	Other    Field
	Unproved *Field
	Words    Field
	Comeback *Field // why it came back, on a comeback
	Refusal  *Refusal
}

// OutcomeWord says how a job ended.
func OutcomeWord(l *lang.Language, o string) string {
	switch o {
	case "confirmed":
		return l.T("the cause is confirmed")
	case "not_found":
		return l.T("the cause was not found")
	case "nothing_wrong":
		return l.T("nothing was wrong")
	case "declined":
		return l.T("the customer declined the repair")
	}
	return o
}

// NewCloseForm is the form to end a job.
func NewCloseForm(l *lang.Language) CloseForm {
	f := CloseForm{
		Outcome: Field{Name: "ending", Label: "How does it end?", Required: true},
		Other:   Field{Name: "other", Label: "Another cause", Whole: true},
		Words:   Field{Name: "close_words", Label: "For the record", Whole: true, Hint: "Anything the next one should know."},
	}
	for _, o := range []string{"confirmed", "nothing_wrong", "not_found", "declined"} {
		f.Outcome.Options = append(f.Outcome.Options, Option{o, Upper(OutcomeWord(l, o))})
	}
	return f
}

// UnprovedField asks why a repair leaves without proof.
func UnprovedField() *Field {
	return &Field{Name: "unproved", Label: "Why does the repair leave without a proof?", Whole: true, Hint: "Better: drive the proof first."}
}

// ComebackKindField asks why the car came back.
func ComebackKindField(l *lang.Language, value string) *Field {
	return &Field{Name: "comeback", Label: "Why did it come back?", Required: true, Value: value, Options: ComebackOptions(l)}
}

// ClosedView is how a finished job ended.
type ClosedView struct {
	Outcome     string
	Causes      []string
	Unproved    string
	Words       string
	Who, When   string
	Cancelled   string
	ReopenWhy   Field
	MayReopen   bool
	OpenNewHref string
}

// ReopenField asks why a job is opened again.
func ReopenField() Field {
	return Field{Name: "why", Label: "Why open it again?", Required: true, Whole: true, Hint: "For a slip only. A car that came back is a new job."}
}

// CancelForm ends a job that is not carried on.
type CancelForm struct {
	Why     Field
	Open    bool
	Refusal *Refusal
}

// NewCancelForm is the empty form.
func NewCancelForm() CancelForm {
	return CancelForm{Why: Field{Name: "why", Label: "Why is it not carried on?", Required: true, Whole: true}}
}

// ActLine is one line of who did what.
type ActLine struct {
	When, Who, What, Words string
}

// ActWord says what was done to a job.
func ActWord(l *lang.Language, what string) string {
	switch what {
	case "note":
		return l.T("wrote a note")
	case "opened":
		return l.T("took the car in")
	case "edited":
		return l.T("changed the head of the job")
	case "assigned":
		return l.T("changed who works on it")
	case "accepted":
		return l.T("accepted the verdict")
	case "overridden":
		return l.T("decided otherwise")
	case "approved":
		return l.T("noted the customer's yes")
	case "authorised":
		return l.T("wrote the customer's yes down")
	case "line_declined":
		return l.T("noted that the customer declines a line")
	case "document_voided":
		return l.T("took a paper back")
	case "repaired":
		return l.T("finished the repair")
	case "undone":
		return l.T("took a repair back")
	case "proved":
		return l.T("proved the repair")
	case "proof_failed":
		return l.T("drove a proof that failed")
	case "closed":
		return l.T("closed the job")
	case "reopened":
		return l.T("opened it again")
	case "cancelled":
		return l.T("ended it unfinished")
	case "comeback":
		return l.T("linked it to an earlier job")
	case "comeback_unlinked":
		return l.T("took the link to an earlier job away")
	}
	return what
}

// ActWords turns an id kept in the log into words where it is one.
func ActWords(l *lang.Language, what, words string) string {
	switch what {
	case "accepted":
		return DecisionWord(l, words)
	case "comeback":
		return ComebackWord(l, words)
	}
	return words
}

// DecisionWord names a decision.
func DecisionWord(l *lang.Language, d string) string {
	switch d {
	case "part":
		return l.T("a part")
	case "no_part":
		return l.T("no part")
	case "open":
		return l.T("still open")
	}
	return d
}
