package diag

import (
	"slices"
	"strings"
	"sync"

	"crosscount/diag/model"
)

// The words of the case format, in the order a form should offer them.
var (
	Arrangements = []string{"inline", "v", "flat"}
	Fuels        = []string{"petrol"}
	AirMeterings = []string{"maf", "map"}
	SensorKinds  = []string{string(Zirconia), string(Titania), string(WideRange)}
	States       = []string{"idle", "fast_idle", "cruise", "load"}
	Statuses     = []string{"stored", "pending", "permanent"}
	Mixtures     = []string{"rich", "lean"}
	TipLooks     = []string{"clean", "white", "green", "sooty", "oily", "damaged"}
	Remarks      = remarkIDs()
)

// wiresOf bounds the wires of each kind of sensor.
var wiresOf = map[SensorKind][2]int{Zirconia: {1, 4}, Titania: {3, 4}, WideRange: {4, 6}}

// WiresOf gives the least and most wires a kind of sensor has.
func WiresOf(k SensorKind) (least, most int) { return wiresOf[k][0], wiresOf[k][1] }

// OffLift says that the car is on its wheels.
const OffLift = "off_lift"

// CarStates lists what can be said of how the car stands, with its meaning.
func CarStates() []Word {
	var out []Word
	for _, s := range model.Trade().Setups {
		if s.Scope == model.Engine {
			out = append(out, Word{s.ID, s.Name})
		}
	}
	return append(out, Word{OffLift, "car on its wheels"})
}

// setUpIDs are the set-ups of the whole car.
func setUpIDs() []string {
	var out []string
	for _, w := range CarStates() {
		if w.ID != OffLift {
			out = append(out, w.ID)
		}
	}
	return out
}

// EntryKinds lists the kinds of entry that have a form of their own, in the order in
// which to offer them. A code list comes with the codes, a repair with the repair.
var EntryKinds = []EntryKind{KindCode, KindHistory, KindTrim, KindSignal, KindForced, KindHeater, KindCircuit,
	KindConnector, KindTip, KindGas, KindLambda, KindFuelPressure, KindAirflow, KindResult, KindCar}

func kindWords() []string {
	var out []string
	for _, k := range append(slices.Clone(EntryKinds), KindCodeList, KindRepair) {
		out = append(out, string(k))
	}
	return out
}

// repairWords lists what a repair entry can name.
func repairWords() []string {
	out := []string{NewSensor}
	for _, c := range causes() {
		out = append(out, c.ID)
	}
	return out
}

// Name is the kind in plain words.
func (k EntryKind) Name() string { return strings.ReplaceAll(string(k), "_", " ") }

// Scope says how many places a cause or a test has on a car.
type Scope string

// The scopes: the whole engine, each bank, each sensor.
const (
	ScopeEngine Scope = "engine"
	ScopeBank   Scope = "bank"
	ScopeSensor Scope = "sensor"
)

// Word is an id with its meaning in plain words.
type Word struct {
	ID, Name string
}

// OutcomeInfo is one word a test can end in.
type OutcomeInfo struct {
	Word
	NeedsBank bool // the entry must name its bank
	Default   bool // what a sound car shows
}

// TestInfo describes a test for pages and forms.
type TestInfo struct {
	ID, Name string
	Scope    Scope
	Entry    EntryKind // the kind of entry that records it
	Minutes  float64   // without its set-ups
	SetUps   []string  // in words; shared with other tests that need them
	Tools    []string
	Steps    []string
	Cautions []string
	Expect   string        // what a sound car shows
	Outcomes []OutcomeInfo // empty for a test that yields numbers
}

// CauseInfo describes a cause for pages and forms.
type CauseInfo struct {
	ID, Name string
	Plain    string // for the customer, after "we found that"
	Mend     string // what to do, as an order
	Scope    Scope
	Part     bool // mended by fitting a sensor
	Wiring   bool // a fault of the sensor's circuit
	Minutes  float64
}

var tests = sync.OnceValue(func() []TestInfo {
	m := model.Trade()
	names := map[string]string{}
	for _, s := range m.Setups {
		names[s.ID] = s.Name
	}
	out := make([]TestInfo, len(m.Tests))
	for i, t := range m.Tests {
		ti := TestInfo{ID: t.ID, Name: t.Name, Scope: Scope(t.Scope), Entry: EntryKind(t.Entry), Minutes: t.Minutes,
			Tools: t.Tools, Steps: t.Steps, Cautions: t.Cautions, Expect: t.Expect}
		for _, s := range t.Setups {
			ti.SetUps = append(ti.SetUps, names[s])
		}
		for j, o := range t.Outcomes {
			ti.Outcomes = append(ti.Outcomes, OutcomeInfo{Word{o.ID, o.Name}, o.NeedBank, j == 0})
		}
		out[i] = ti
	}
	return out
})

// Tests lists every test of the trade model.
func Tests() []TestInfo { return slices.Clone(tests()) }

// TestByID finds a test.
func TestByID(id string) (TestInfo, bool) {
	for _, t := range tests() {
		if t.ID == id {
			return t, true
		}
	}
	return TestInfo{}, false
}

// resultTests lists the tests that a result entry can record.
func resultTests() []string {
	var out []string
	for _, t := range tests() {
		if t.Entry == KindResult {
			out = append(out, t.ID)
		}
	}
	return out
}

var causes = sync.OnceValue(func() []CauseInfo {
	m := model.Trade()
	out := make([]CauseInfo, len(m.Causes))
	for i, c := range m.Causes {
		out[i] = CauseInfo{c.ID, c.Name, c.Plain, c.Mend, Scope(c.Scope), c.Part, c.Wiring, c.Minutes}
	}
	return out
})

// Causes lists every cause of the trade model.
func Causes() []CauseInfo { return slices.Clone(causes()) }

// CauseByID finds a cause.
func CauseByID(id string) (CauseInfo, bool) {
	for _, c := range causes() {
		if c.ID == id {
			return c, true
		}
	}
	return CauseInfo{}, false
}

// RemarkWord is a remark of history with its meaning.
type RemarkWord struct {
	Word
	Noticed bool // on the car as it is; else something that has happened
}

// RemarkWords lists the remarks of history.
func RemarkWords() []RemarkWord {
	var out []RemarkWord
	for _, r := range model.Trade().Remarks {
		out = append(out, RemarkWord{Word{r.ID, r.Name}, r.Noticed})
	}
	return out
}

func remarkIDs() []string {
	var out []string
	for _, w := range RemarkWords() {
		out = append(out, w.ID)
	}
	return out
}
