package templates

import (
	"fmt"

	"crosscount/templates/lang"
)

// UploadForm takes a recording or what a car answered, as a file or pasted.
type UploadForm struct {
	Action  string
	ID      string // of the file, made beforehand: sent twice, taken once
	What    Field
	File    Field
	Text    Field
	Refusal *Refusal
}

// NewUploadForm is the empty form.
func NewUploadForm() UploadForm {
	return UploadForm{
		What: Field{Name: "as", Label: "What is it?", Options: []Option{{"", "Find out"}, {"table", "Numbers over time"}, {"responses", "What the car answered"}}},
		File: Field{Name: "file", Label: "A file", Hint: "A recording of a scope or scan tool as text, or raw answers of the car. Up to 200 MB. It is kept as it is."},
		Text: Field{Name: "text", Label: "Or paste it here", Whole: true},
	}
}

// RecordingLine is one file of a job and what was read of it.
type RecordingLine struct {
	Href, Name, Size, When, Who string
	Readings                    []CaptureLink
}

// CaptureLink leads to what was read of a file.
type CaptureLink struct {
	Href, Words string
	Replaced    bool
}

// CaptureLine is what an entry of the log rests on.
type CaptureLine struct {
	Href    string
	File    string
	Picture *PictureView // with the first entry of a capture
	Rows    []MeasureRow
}

// PictureView is a drawing fetched when it comes into view.
type PictureView struct {
	Src, Title string
}

// FileFacts tell a file kept.
type FileFacts struct {
	Name, Size, SHA256, When, Who, Original string
}

// ReadingView is a table as it is read, before anything of it is kept.
type ReadingView struct {
	Page
	Car, JobHref string
	File         FileFacts
	Sums         []Fact // rows, time, rate
	Svg          string // drawn by us
	Refusal      *Refusal
	Noticed      []NoticedLine
	TooSlow      string
	Form         MappingForm
	Groups       []MeasureGroup
	Keep         *KeepForm
	AsOther      string // to read it as responses instead
	Saved        *SavedForm
}

// Fact is a name and a value.
type Fact struct{ Name, Value string }

// NoticedLine is one thing noticed while reading.
type NoticedLine struct {
	Where string // "line 12, column 3"
	What  string
	Mend  string
	Times string
}

// MappingForm corrects how a table is read. It is sent by GET: it changes nothing.
type MappingForm struct {
	Action  string
	Purpose Field
	State   Field
	Mixture Field
	At      Field
	Cold    Field
	Time    Field
	Kind    Field
	Unit    Field
	Rate    Field
	Delim   Field
	Decimal Field
	Line    Field
	Rows    []ChannelRow
	More    []ChannelRow // columns that measure nothing we know
	LeftOut string
	Open    bool
}

// ChannelRow is one column.
type ChannelRow struct {
	Name, Range, Why      string
	Quantity, Unit, Place Field
}

// SavedForm reads the table as another one was read before.
type SavedForm struct {
	Action string
	Which  Field
}

// MeasureGroup is what was measured on one thing.
type MeasureGroup struct {
	Title string
	Rows  []MeasureRow
}

// MeasureRow is one measurement, or why there is none.
type MeasureRow struct {
	Name, Value, Spread, Count, Why string
}

// KeepForm writes down what was measured.
type KeepForm struct {
	Action   string
	ID       string
	Entries  string // id the entries' ids follow from
	Hidden   []Pair // how the table is read
	Offers   []OfferRow
	Replaces *Field
	Words    Field
	Save     Field
	Button   string
}

// OfferRow is one entry that can be written down.
type OfferRow struct {
	Tick Field
	Why  string // why it cannot
}

// CaptureView is what was read of a file, kept.
type CaptureView struct {
	Page
	Car, JobHref     string
	Title            string
	File             FileFacts
	When, Who        string
	Words, Program   string
	Svg              string
	Curve            *PictureView
	Groups           []MeasureGroup
	Entries          []EntryLink
	Again            string
	ReplacedBy       string
	Noticed          []NoticedLine
	Decoded          *DecodedView
	Sums             []Fact
	TooSlow, LookHow string
}

// EntryLink leads to an entry of the log.
type EntryLink struct{ Href, Words string }

// Words of the recordings.
const (
	TitleRecording  = "Recording"
	TitleResponses  = "What the car answered"
	RecordingKind   = "Recording"
	FromRecording   = "From the recording"
	LeaveOut        = "leave out"
	PlaceUnknown    = "not said"
	CountRows       = "no column: count the rows"
	ButtonWriteDown = "Write it down"
	ButtonKeepOnly  = "Keep it with the job"
	NothingToWrite  = "Nothing of this can be written down as evidence yet."
	PurposeLook     = "look"
)

// SayNoFile refuses an upload of nothing.
var (
	SayNoFile       = Mend{"No file is chosen and nothing is pasted.", "Choose a file, or paste the text."}
	SayFileTooLarge = Mend{"The file is larger than 200 MB.", "Cut the recording shorter, or record fewer columns."}
	SayNothingTaken = Mend{"Nothing is ticked.", "Tick what is to be written down."}
	SayWhenForced   = Mend{"Only one of the two is filled in.", "Say when the mixture was forced and which way, or leave both empty to have it found in the signal."}
	SayNoSaved      = Mend{"No way of reading is kept under this name.", "Choose another."}
)

// SayUnitMisfit refuses a unit that a column cannot have.
func SayUnitMisfit(l *lang.Language, unit, mend string) Mend {
	return Mend{l.T("“%s” does not fit what the column measures.", unit), Upper(mend) + "."}
}

// CaptureKindWord names what a file holds.
func CaptureKindWord(l *lang.Language, kind string) string {
	switch kind {
	case "signal":
		return l.T("signal")
	case "log":
		return l.T("fuel trims")
	case "responses":
		return l.T("answers of the car")
	case "gas":
		return l.T("exhaust gas")
	}
	return kind
}

// PurposeField asks what a recording is for.
func PurposeField() Field {
	return Field{Name: "for", Label: "What is it for?", Required: true, Options: []Option{
		{"signal", "A sensor's own signal"}, {"pair", "Ahead of and behind the converter"}, {"forced", "Mixture made rich or lean"},
		{"warmup", "Warm-up from cold"}, {"trims", "Fuel trims"}, {PurposeLook, "Only to look at"}}}
}

// RunningField asks how the engine ran.
func RunningField(l *lang.Language, states []string) Field {
	f := Field{Name: "state", Label: "The engine ran at", Value: "idle", Hint: "For a sensor's signal."}
	for _, s := range states {
		f.Options = append(f.Options, Option{s, StateWord(l, s)})
	}
	return f
}

// ForcedMixtureField asks which way the mixture was forced.
func ForcedMixtureField() Field {
	return Field{Name: "mixture", Label: "Mixture made", Options: []Option{{"", "find it in the signal"}, {"rich", "rich"}, {"lean", "lean"}}}
}

// ForcedAtField asks when.
func ForcedAtField() Field {
	return Field{Name: "at", Label: "Made at", Unit: "s", Mode: "decimal", Hint: "On the recording's own clock."}
}

// ColdField asks when the cold engine was started.
func ColdField() Field {
	return Field{Name: "cold", Label: "Cold engine started at", Unit: "s", Mode: "decimal", Hint: "For a warm-up, on the recording's own clock."}
}

// TimeFields ask where the time of a row is found.
func TimeFields() (column, kind, unit, rate Field) {
	return Field{Name: "time", Label: "Time is in", Own: true},
		Field{Name: "clock", Label: "It is", Options: []Option{{"number", "a number"}, {"clock", "a clock time"}}},
		Field{Name: "tunit", Label: "in", Options: []Option{{"s", "s"}, {"ms", "ms"}, {"µs", "µs"}, {"ns", "ns"}, {"min", "min"}, {"h", "h"}}},
		Field{Name: "rate", Label: "Samples per second", Mode: "decimal", Unit: "1/s", Hint: "Only where no column is the time."}
}

// TableFields ask how the columns are parted.
func TableFields() (delim, decimal, line Field) {
	return Field{Name: "delim", Label: "Columns are parted by", Options: []Option{{"comma", "comma"}, {"semicolon", "semicolon"}, {"tab", "tab"}, {"pipe", "bar |"}, {"space", "blanks"}, {"none", "nothing"}}},
		Field{Name: "decimal", Label: "Decimal sign", Options: []Option{{"point", "point"}, {"comma", "comma"}}},
		Field{Name: "line", Label: "First line of numbers", Mode: "numeric"}
}

// ChannelFields ask what a column measures.
func ChannelFields(l *lang.Language, column int, name string) (quantity, unit, place Field) {
	return Field{Name: fmt.Sprintf("q%d", column), Label: l.T("%s: measures", name)},
		Field{Name: fmt.Sprintf("u%d", column), Label: l.T("%s: unit", name)},
		Field{Name: fmt.Sprintf("p%d", column), Label: l.T("%s: where", name)}
}

// OfferTick is the tick of one entry.
func OfferTick(i int, words string) Field {
	return Field{Name: fmt.Sprintf("entry_%d", i), Label: words, Value: "yes"}
}

// ReplacesField asks whether a file is read anew.
func ReplacesField(l *lang.Language, earlier string) Field {
	return Field{Name: "replaces", Label: "This file was read before", Value: "yes", Required: true,
		Options: []Option{{"yes", l.T("This replaces the reading of %s", earlier)}, {"no", "Both count"}}}
}

// CaptureWordsField takes a remark.
func CaptureWordsField() Field {
	return Field{Name: "words", Label: "Remark", Whole: true, Hint: "How it was recorded, if that matters."}
}

// SaveMappingField takes the name of a mapping.
func SaveMappingField() Field {
	return Field{Name: "save", Label: "Read files like this the same way next time", Hint: "Give it a name, such as the recorder's. Empty: do not keep it."}
}

// SavedField offers what was kept.
func SavedField() Field { return Field{Name: "saved", Label: "Read it as an earlier one", Own: true} }

var measureNames = map[string]string{
	"min": "Lowest", "max": "Highest", "mean": "Mean over time", "median": "Median", "low": "Lower level", "high": "Upper level", "noise": "Noise from sample to sample",
	"observed": "Time observed", "cycles": "Crossings, full cycles", "period": "Between crossings", "lean_rich": "Lean to rich, 300 to 600 mV", "rich_lean": "Rich to lean, 600 to 300 mV",
	"rise": "Rise, 10 to 90 %", "fall": "Fall, 90 to 10 %", "duty": "Share of time rich", "longest_rich": "Longest time rich", "longest_lean": "Longest time lean",
	"over": "Time above 1.1 V", "negative": "Time negative", "warm_up": "Warm-up until active", "delay": "Delay of the answer", "to_level": "Time to the level", "reached": "Level reached",
	"steadiness": "Steadiness", "spread": "Spread", "lag": "Lag", "activity": "Rear crossings per front crossing", "swing": "Rear swing per front swing", "pair_delay": "Delay behind the front sensor",
	"short": "Short-term trim", "long": "Long-term trim", "total": "Both together", "rpm": "Speed", "slope": "Change per unit of airflow", "change": "Change from low to high airflow",
}

// MeasureName names a measurement.
func MeasureName(l *lang.Language, key string) string {
	if n, ok := measureNames[key]; ok {
		return l.T(n)
	}
	return key
}

// ForcedName heads the answer to a forced change of mixture.
func ForcedName(l *lang.Language, key, mixture string, at string, found bool) string {
	words := "%s, made lean at %s s"
	switch {
	case mixture == "rich" && found:
		words = "%s, made rich at %s s (found in the signal)"
	case mixture == "rich":
		words = "%s, made rich at %s s"
	case found:
		words = "%s, made lean at %s s (found in the signal)"
	}
	return l.T(words, MeasureName(l, key), at)
}

// LineWords says where in a file something is.
func LineWords(l *lang.Language, line, column int) string {
	switch {
	case line > 0 && column > 0:
		return l.T("line %d, column %d", line, column)
	case line > 0:
		return l.T("line %d", line)
	case column > 0:
		return l.T("column %d", column)
	}
	return l.T("whole file")
}

// TimesWords counts how often.
func TimesWords(l *lang.Language, n int) string {
	if n < 2 {
		return ""
	}
	return l.T("%d times", n)
}

// GapsWords tells the pauses of a recording.
func GapsWords(l *lang.Language, n int, seconds string) string {
	if n == 1 {
		return l.T("one gap of %s s; nothing is measured across it", seconds)
	}
	return l.T("%d gaps, %s s in all; nothing is measured across them", n, seconds)
}

// TooSlowWords says plainly that transitions cannot be judged.
func TooSlowWords(l *lang.Language, why string) string {
	return l.T("Too slow to judge transitions: %s.", why)
}

// SayWhere asks for a sensor's place.
func SayWhere(l *lang.Language, name string) string {
	return l.T("Say above where “%s” sits, then it can be written down.", name)
}

// SayCaptured heads what a file gave.
func SayCaptured(l *lang.Language, kind, file string) string {
	return l.T("%s from %s", Upper(CaptureKindWord(l, kind)), file)
}

// FoundShortWords warns that a time lacks the delay before the signal set off.
const FoundShortWords = "The change was found in the signal itself, so the time lacks the delay before it set off."

// ReadingWords tells a capture in the list of files.
func ReadingWords(l *lang.Language, kind, when string, entries int) string {
	switch entries {
	case 0:
		return l.T("%s, kept %s", Upper(CaptureKindWord(l, kind)), when)
	case 1:
		return l.T("%s, one entry, %s", Upper(CaptureKindWord(l, kind)), when)
	}
	return l.T("%s, %d entries, %s", Upper(CaptureKindWord(l, kind)), entries, when)
}

// DefaultReadAs names the way of reading.
const DefaultReadAs = "the guess"

// FactNames of a recording.
const (
	FactRows   = "Rows read"
	FactSkip   = "Rows left out"
	FactTime   = "Time"
	FactRate   = "Samples per second"
	FactGaps   = "Gaps"
	FactStates = "States judged"
)

// RefusedFileWords refuses what cannot be read, with the line.
func RefusedFileWords(l *lang.Language, line int, what string) string {
	if line > 0 {
		return l.T("Line %d: %s.", line, what)
	}
	return Upper(what) + "."
}

// PairTitle heads the comparison of front and rear.
func PairTitle(l *lang.Language, bank int) string {
	if bank == 0 {
		return l.T("Behind the converter against ahead of it")
	}
	return l.T("Bank %d, behind the converter against ahead of it", bank)
}

// TrimTitle heads the trims of one state.
func TrimTitle(l *lang.Language, bank int, state string) string {
	return l.T("Bank %d, trims at %s", bank, StateWord(l, state))
}

// SlopeTitle heads the trim against airflow.
func SlopeTitle(l *lang.Language, bank int, airflow string) string {
	return l.T("Bank %d, trim against airflow (%s)", bank, airflow)
}

// Words of the pictures.
const (
	BeforeWord   = "before"
	AfterWord    = "after"
	MeasuredWord = "measured here"
	CurveTitle   = "Voltage of an ideal cell against lambda"
	CurveDesc    = "Computed from the balance of the exhaust and the Nernst equation. A swinging sensor's mean lies on the steep part; a sound one never leaves the curve's range."
	TrimsTitle   = "Fuel trims by engine state"
)

// OverlayTitle heads the picture of the proof.
func OverlayTitle(l *lang.Language, spot string) string {
	return l.T("%s, before and after the repair", Upper(spot))
}
