package templates

import "crosscount/templates/lang"

// EntryForm asks for one kind of evidence.
type EntryForm struct {
	Action  string
	Entry   string // the entry's id, made beforehand: sent twice, taken once
	Kind    string // a kind of entry or "note"
	Test    string // of a result
	Title   string
	Source  *Field
	Where   *Field
	Choices []Field // in order
	Numbers []Field
	Trims   []TrimBank    // of the fuel trims
	Frame   *Field        // the trims are of the freeze frame
	Remarks []RemarkGroup // of the history
	Codes   *Field
	All     *Field // the codes are all of their status
	Note    *Field
	Tips    *Field // the tip's look, chosen by picture
	Expect  string
	Refusal *Refusal
}

// TrimBank is the grid of one bank's trims.
type TrimBank struct {
	Name string
	Rows []TrimRow
}

// TrimRow is one engine state.
type TrimRow struct {
	State       string
	Short, Long Field
}

// CodesField takes codes as people write them.
func CodesField() Field {
	return Field{Name: "codes", Label: "Codes", Whole: true, Mode: "text",
		Hint: "As they come: p0171, P0174. Commas, spaces or new lines between them."}
}

// AllCodesField says that no other code of the status is in the car.
func AllCodesField() Field {
	return Field{Name: "all_codes", Label: "These are all of them: the car holds no other code of this status",
		Hint: "For a list that you read to its end here, from every module; an empty one counts too. Without the tick the engine concludes nothing from what is missing."}
}

// StatusField is how firmly a code is set.
func StatusField() Field {
	return Field{Name: "status", Label: "Status", Required: true, Value: "stored",
		Options: []Option{{"stored", "stored"}, {"pending", "pending"}, {"permanent", "permanent"}}}
}

// SourceField keeps what we read apart from what we were told.
func SourceField(told bool) Field {
	f := Field{Name: "source", Label: "Who says so?", Required: true, Value: "observed",
		Options: []Option{{"observed", "We read or saw it here"}, {"told", "We were told"}}}
	if told {
		f.Value = "told"
	}
	return f
}

// WhereField chooses a place on the exhaust; spots come ready as "1-2".
func WhereField(options []Option, required bool) Field {
	return Field{Name: "where", Label: "Where?", Required: required, Options: options}
}

// StateField is the engine state of a reading.
func StateField(l *lang.Language, value string) Field {
	return Field{Name: "state", Label: "Engine at", Required: true, Value: value,
		Options: []Option{{"idle", StateWord(l, "idle")}, {"fast_idle", StateWord(l, "fast_idle")}, {"cruise", StateWord(l, "cruise")}, {"load", StateWord(l, "load")}}}
}

// MixtureField is which way the mixture was forced.
func MixtureField() Field {
	return Field{Name: "mixture", Label: "Forced", Required: true, Options: []Option{{"rich", "rich"}, {"lean", "lean"}}}
}

// ResultField is what was found at a circuit or connector.
func ResultField(options []Option) Field {
	return Field{Name: "result", Label: "Found", Required: true, Options: options}
}

// CarField is how the car stands.
func CarField(options []Option) Field {
	return Field{Name: "result", Label: "What holds now?", Required: true, Options: options}
}

// OutcomeField is how a test ended.
func OutcomeField(options []Option) Field {
	return Field{Name: "outcome", Label: "Outcome", Required: true, Options: options}
}

// TipField is the look of a tip.
func TipField() Field {
	f := Field{Name: "look", Label: "How does the tip look?", Required: true}
	for _, t := range TipLooks {
		f.Options = append(f.Options, Option{t.ID, t.Name})
	}
	return f
}

// HoldsField is whether the pressure stays.
func HoldsField() Field {
	return Field{Name: "holds", Label: "Holds after switching off", Options: []Option{{"yes", "holds"}, {"no", "falls"}, {"", "not looked at"}}}
}

// OpenField is whether the throttle was wide open.
func OpenField() Field {
	return Field{Name: "wide_open", Label: "Throttle", Options: []Option{{"yes", "wide open"}, {"", "part open"}}}
}

// RemarkGroup is what the history asks after, one tick each.
type RemarkGroup struct {
	Legend string
	Ticks  []Field
}

// The legends of the history's groups.
const (
	RemarksHappened = "What has happened?"
	RemarksNoticed  = "What is noticed on the car?"
)

// RemarkField is one tick of the history.
func RemarkField(id, words string) Field {
	return Field{Name: "remark_" + id, Label: Upper(words)}
}

// NothingElseField is the tick that all of the history was asked after.
func NothingElseField(id, words string) Field {
	f := RemarkField(id, words)
	f.Hint = "Tick it only where all of these were asked after: what was not told then counts as well."
	return f
}

// NoteField is a free note.
func NoteField() Field {
	return Field{Name: "note", Label: "Note", Required: true, Whole: true, Hint: "For people. The engine does not read notes."}
}

// TrimField is one cell of the trims grid.
func TrimField(name, label string) Field {
	return Field{Name: name, Label: label, Unit: "%", Mode: "text"}
}

// FrameField says that trims are those of the freeze frame.
func FrameField() Field {
	return Field{Name: "frame", Label: "These are from the freeze frame: as it was when the code was set"}
}

// KindLink opens the form for one kind of evidence.
type KindLink struct {
	Href, Label string
	Open        bool
}
