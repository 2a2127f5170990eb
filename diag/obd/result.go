package obd

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"crosscount/diag/say"
)

// Module names who answered, as the answer's header does: 7E8 to 7EF or 18DAF1xx
// on CAN, two hexadecimal digits on older buses. It is empty where the text has no
// headers.
type Module string

// PID is a parameter of service 01 or 02.
type PID byte

// String is the PID in two hexadecimal digits.
func (p PID) String() string { return fmt.Sprintf("%02X", byte(p)) }

// MarshalText writes the two hexadecimal digits.
func (p PID) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads the two hexadecimal digits.
func (p *PID) UnmarshalText(b []byte) error {
	n, err := strconv.ParseUint(string(b), 16, 8)
	if err != nil || len(b) != 2 {
		return fmt.Errorf("%q is no PID; give two hexadecimal digits", b)
	}
	*p = PID(n)
	return nil
}

// CodeStatus is the list a code stands in.
type CodeStatus string

// The three lists.
const (
	Stored    CodeStatus = "stored"    // service 03
	Pending   CodeStatus = "pending"   // service 07
	Permanent CodeStatus = "permanent" // service 0A
)

// CodeList is what one module answered when asked for codes. An empty list is an
// answer too: no code of this status.
type CodeList struct {
	Module Module     `json:"module,omitempty"`
	Status CodeStatus `json:"status"`
	Codes  []Code     `json:"codes"`
	Line   int        `json:"line"` // first line of the answer, from 1
}

// Readiness is the answer to PID 01, or to PID 41 for this drive.
type Readiness struct {
	Module      Module    `json:"module,omitempty"`
	ThisDrive   bool      `json:"this_drive,omitempty"` // PID 41
	Lamp        bool      `json:"lamp"`                 // malfunction indicator commanded on
	Codes       int       `json:"codes"`                // stored codes, 0 to 127
	Compression bool      `json:"compression"`          // compression ignition, else spark
	Monitors    []Monitor `json:"monitors"`             // the supported ones
	Line        int       `json:"line"`
}

// Complete tells whether every supported monitor has finished.
func (r Readiness) Complete() bool {
	return !slices.ContainsFunc(r.Monitors, func(m Monitor) bool { return !m.Complete })
}

// Monitor is one supported monitor of the readiness answer.
type Monitor struct {
	Name     string `json:"name"`
	Complete bool   `json:"complete"`
}

// Location is a sensor's place; Bank 1 holds cylinder 1, Position 1 is ahead of
// the converter.
type Location struct {
	Bank     int `json:"bank"`
	Position int `json:"position"`
}

// Layout is the sensor layout a module reports through PID 13 (two banks of up to
// four) or PID 1D (four banks of up to two).
type Layout struct {
	Module  Module     `json:"module,omitempty"`
	PID     PID        `json:"pid"` // 13 or 1D
	Sensors []Location `json:"sensors"`
	Line    int        `json:"line"`
}

// FuelStatus is how the module controls one fuel system (PID 03).
type FuelStatus string

// The states of PID 03. The three with Bank2 belong to the second bank of the
// same fuel system (newer editions).
const (
	FuelOff             FuelStatus = "off"
	OpenLoopCold        FuelStatus = "open_loop_cold"
	ClosedLoop          FuelStatus = "closed_loop"
	OpenLoopLoad        FuelStatus = "open_loop_load" // or coasting with the fuel cut
	OpenLoopFault       FuelStatus = "open_loop_fault"
	ClosedLoopFault     FuelStatus = "closed_loop_fault" // at least one sensor not used
	OpenLoopColdBank2   FuelStatus = "open_loop_cold_bank_2"
	OpenLoopLoadBank2   FuelStatus = "open_loop_load_bank_2"
	OpenLoopFaultBank2  FuelStatus = "open_loop_fault_bank_2"
	FuelStatusNotStated FuelStatus = "invalid" // more than one bit set
)

// FuelSystem is the last answer to PID 03.
type FuelSystem struct {
	Module  Module     `json:"module,omitempty"`
	System1 FuelStatus `json:"system_1"`
	System2 FuelStatus `json:"system_2"`
	Line    int        `json:"line"`
}

// Channel is one quantity at one place as one module reports it.
type Channel struct {
	Module   Module   `json:"module,omitempty"`
	PID      PID      `json:"pid"`
	Quantity Quantity `json:"quantity"`
	Unit     string   `json:"unit,omitempty"`
	Bank     int      `json:"bank,omitempty"`     // 0 where it does not apply
	Position int      `json:"position,omitempty"` // 0 where it does not apply
}

// Sample is one value at a time in seconds from Result.Start.
type Sample struct {
	T float64 `json:"t"`
	V float64 `json:"v"`
}

// Series is everything one channel reported.
type Series struct {
	Channel
	Resolution float64  `json:"resolution"` // smallest step the coding can show
	Count      int      `json:"count"`      // values seen
	Last       float64  `json:"last"`
	Min        float64  `json:"min"`
	Max        float64  `json:"max"`
	Line       int      `json:"line"`              // of the last value
	Samples    []Sample `json:"samples,omitempty"` // where the text carries times; T never falls
}

// Reading is one value of a freeze frame.
type Reading struct {
	Channel
	Value float64 `json:"value"`
}

// FreezeFrame is what a module kept from the moment a code was set.
type FreezeFrame struct {
	Module     Module       `json:"module,omitempty"`
	Frame      int          `json:"frame"`
	Code       Code         `json:"code,omitzero"` // zero when not reported
	FuelSystem []FuelStatus `json:"fuel_system,omitempty"`
	Readings   []Reading    `json:"readings"`
	Line       int          `json:"line"`
}

// TestResult is one result of the on-board monitors, service 05 or 06.
type TestResult struct {
	Module   Module   `json:"module,omitempty"`
	Service  int      `json:"service"`           // 5 or 6
	Monitor  string   `json:"monitor,omitempty"` // what is monitored
	MID      int      `json:"mid"`               // monitor, service 06 on CAN; else 0
	TID      int      `json:"tid"`               // test
	Name     string   `json:"name"`              // of the test; empty when maker-defined
	Bank     int      `json:"bank,omitempty"`
	Position int      `json:"position,omitempty"`
	Cylinder int      `json:"cylinder,omitempty"`
	Value    float64  `json:"value"`
	Min      *float64 `json:"min,omitempty"` // limits, where given
	Max      *float64 `json:"max,omitempty"`
	Unit     string   `json:"unit,omitempty"`
	Raw      bool     `json:"raw,omitempty"` // the scaling is the maker's: counts, no unit
	Line     int      `json:"line"`
}

// Passed tells whether the value lies within the limits; ok is false without one.
func (r TestResult) Passed() (passed, ok bool) {
	if r.Min == nil && r.Max == nil {
		return false, false
	}
	return (r.Min == nil || r.Value >= *r.Min) && (r.Max == nil || r.Value <= *r.Max), true
}

// Identity is what a module says of itself (service 09).
type Identity struct {
	Module       Module   `json:"module,omitempty"`
	VIN          string   `json:"vin,omitempty"`
	Name         string   `json:"name,omitempty"`
	Calibrations []string `json:"calibrations,omitempty"`
	Checks       []string `json:"checks,omitempty"` // calibration verification numbers, hexadecimal
}

// Supported lists the PIDs of service 01 a module says it has.
type Supported struct {
	Module Module `json:"module,omitempty"`
	PIDs   []PID  `json:"pids"`
}

// NoteKind sorts the notes.
type NoteKind string

// The kinds of note.
const (
	Ignored NoteKind = "ignored" // not an answer: nothing is lost
	Damaged NoteKind = "damaged" // an answer that could not be read whole
	Assumed NoteKind = "assumed" // read, but on an assumption worth checking
)

// Note is a remark about lines of the text.
type Note struct {
	Line  int      `json:"line"`  // the first such line, from 1
	Count int      `json:"count"` // how many such lines
	Kind  NoteKind `json:"kind"`
	Text  say.Text `json:"text"`
	Mend  say.Text `json:"mend,omitzero"`
}

func (n Note) String() string {
	s := fmt.Sprintf("line %d: %s", n.Line, n.Text)
	if n.Count > 1 {
		s += fmt.Sprintf(" (%d times)", n.Count)
	}
	if !n.Mend.IsZero() {
		s += "; " + n.Mend.String()
	}
	return s
}

// ClockKind is the kind of time stamps the text carries.
type ClockKind string

// The kinds of clock.
const (
	NoClock       ClockKind = ""
	EpochClock    ClockKind = "epoch"       // seconds since 1970-01-01, UTC unless the stamp says otherwise
	DayClock      ClockKind = "time_of_day" // seconds since midnight
	RelativeClock ClockKind = "relative"    // seconds since some start
	MillisClock   ClockKind = "millis"      // whole numbers, taken as milliseconds since some start
)

// Result is everything read from a text of responses.
type Result struct {
	Lines        int           `json:"lines"`    // lines read
	Messages     int           `json:"messages"` // answers understood, whole or in part
	Modules      []Module      `json:"modules"`
	VIN          string        `json:"vin,omitempty"` // the first whole one
	CodeLists    []CodeList    `json:"code_lists,omitempty"`
	Cleared      bool          `json:"cleared,omitempty"` // an answer to service 04 was seen
	Readiness    []Readiness   `json:"readiness,omitempty"`
	Layouts      []Layout      `json:"layouts,omitempty"`
	FuelSystems  []FuelSystem  `json:"fuel_systems,omitempty"`
	FreezeFrames []FreezeFrame `json:"freeze_frames,omitempty"`
	Series       []Series      `json:"series,omitempty"`
	Tests        []TestResult  `json:"tests,omitempty"`
	Identities   []Identity    `json:"identities,omitempty"`
	Supported    []Supported   `json:"supported,omitempty"`
	Standard     string        `json:"standard,omitempty"` // what PID 1C says the car is built to
	Clock        ClockKind     `json:"clock,omitempty"`
	Start        float64       `json:"start,omitempty"` // first time stamp in seconds, whatever the clock
	Notes        []Note        `json:"notes,omitempty"`
}

// StoredCode is one code with the list it stands in.
type StoredCode struct {
	Code   Code       `json:"code"`
	Status CodeStatus `json:"status"`
	Module Module     `json:"module,omitempty"`
}

// Codes lists every code once for each list it stands in, stored first.
func (r *Result) Codes() []StoredCode {
	var out []StoredCode
	for _, status := range []CodeStatus{Stored, Pending, Permanent} {
		for _, l := range r.CodeLists {
			if l.Status != status {
				continue
			}
			for _, c := range l.Codes {
				if !slices.ContainsFunc(out, func(s StoredCode) bool { return s.Code == c && s.Status == status }) {
					out = append(out, StoredCode{c, status, l.Module})
				}
			}
		}
	}
	return out
}

// Find gives the series of a quantity at a place, of the module that reported most.
func (r *Result) Find(q Quantity, bank, position int) (*Series, bool) {
	best := -1
	for i, s := range r.Series {
		if s.Quantity == q && s.Bank == bank && s.Position == position && (best < 0 || s.Count > r.Series[best].Count) {
			best = i
		}
	}
	if best < 0 {
		return nil, false
	}
	return &r.Series[best], true
}

// Error says why nothing could be read.
type Error struct {
	Line    int // 0 when the whole text is meant
	Problem say.Text
	Mend    say.Text
}

func (e *Error) Error() string {
	s := e.Problem.String() + "; " + e.Mend.String()
	if e.Line > 0 {
		s = fmt.Sprintf("line %d: %s", e.Line, s)
	}
	return s
}

const (
	maxNotes   = 200     // kinds of note kept
	maxModules = 32      // modules told apart
	maxSamples = 1 << 20 // samples kept over all series
	maxTests   = 4096
	maxFrames  = 64 // freeze frames
)

// notes gathers remarks; equal ones are counted.
type notes struct {
	list  []Note
	index map[string]int
	full  bool
}

func (n *notes) add(line int, kind NoteKind, text say.Text, mend string) {
	key := text.String()
	if i, ok := n.index[key]; ok {
		n.list[i].Count++
		return
	}
	if len(n.list) >= maxNotes {
		if !n.full {
			n.full = true
			n.list = append(n.list, Note{line, 1, Ignored, say.T("more remarks from here on are left out"), say.Text{}})
		}
		return
	}
	if n.index == nil {
		n.index = make(map[string]int)
	}
	n.index[key] = len(n.list)
	n.list = append(n.list, Note{line, 1, kind, text, say.T(mend)})
}

func sortSeries(s []Series) {
	slices.SortFunc(s, func(a, b Series) int {
		return cmp.Or(
			strings.Compare(string(a.Module), string(b.Module)),
			cmp.Compare(a.PID, b.PID),
			cmp.Compare(a.Bank, b.Bank),
			cmp.Compare(a.Position, b.Position),
			strings.Compare(string(a.Quantity), string(b.Quantity)),
		)
	})
}
