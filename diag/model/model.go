// Package model holds the trade model: what can be wrong with a car that comes
// in with an oxygen-sensor matter, how likely each cause is, what it does to
// everything that can be observed, and what tests and repairs cost. The numbers
// are data (the *.model files, plain text with a source beside each number); this
// package reads, checks and prints them and knows nothing of the reasoning.
package model

import (
	"fmt"
	"slices"
)

// SourceKind is the kind of ground a number stands on.
type SourceKind string

// The kinds of source.
const (
	Published      SourceKind = "published"       // a document, named beside it
	CommonPractice SourceKind = "common practice" // a fact of the trade, no document
	Estimate       SourceKind = "estimate"        // our own, to be corrected by counts
)

// Source is where a number comes from.
type Source struct {
	Kind SourceKind
	Ref  string // the document, for Published
}

func (s Source) String() string {
	if s.Ref == "" {
		return string(s.Kind)
	}
	return string(s.Kind) + " " + s.Ref
}

// At is the line of a statement.
type At struct {
	File string
	Line int
}

func (a At) String() string { return fmt.Sprintf("%s:%d", a.File, a.Line) }

// Scope says how many places a cause or a test has.
type Scope string

// The scopes.
const (
	Engine Scope = "engine"
	Bank   Scope = "bank"
	Sensor Scope = "sensor"
)

// Model is a checked trade model. Treat it as read-only.
type Model struct {
	Version    string
	Settings   map[string]Setting
	Curves     []Curve
	Setups     []Setup
	Tests      []Test
	Quantities []Quantity
	Codes      []Code
	Remarks    []Remark
	Causes     []Cause
}

// Setting is one number of the reckoning that belongs to no cause or test.
type Setting struct {
	Name   string
	Value  float64
	Text   string
	Source Source
	At     At
}

// Curve is a factor on the prior that depends on the odometer: straight lines
// between points, level outside them.
type Curve struct {
	Name   string
	Points []Point
	At     At
}

// Point is a factor at an odometer reading in kilometres.
type Point struct {
	Km, Factor float64
	Source     Source
}

// Factor gives the factor at an odometer reading; 0 km is unknown and gives the
// mean of the points.
func (c Curve) Factor(km float64) float64 {
	p := c.Points
	if km <= 0 {
		sum := 0.0
		for _, q := range p {
			sum += q.Factor
		}
		return sum / float64(len(p))
	}
	if km <= p[0].Km {
		return p[0].Factor
	}
	for i := 1; i < len(p); i++ {
		if km <= p[i].Km {
			t := (km - p[i-1].Km) / (p[i].Km - p[i-1].Km)
			return p[i-1].Factor + t*(p[i].Factor-p[i-1].Factor)
		}
	}
	return p[len(p)-1].Factor
}

// Setup is a state of the car that tests need; tests in a row share it.
type Setup struct {
	ID, Name string
	Minutes  float64
	Source   Source
	Undoes   []string // other set-ups that are gone with it
	Scope    Scope    // engine, or sensor: at each for itself
	Lasts    Span     // until it is not relied on any more; zero: until something undoes it
	Comes    Span     // of standing after which it is there by itself; zero: never
	At       At
}

// Span is a time with its source.
type Span struct {
	Minutes float64
	Source  Source
}

// Test is something to do at the car that yields an entry.
type Test struct {
	ID, Name string
	Scope    Scope
	Entry    string // kind of case entry that records it
	Minutes  float64
	Source   Source
	Setups   []string
	Undoes   []string // set-ups that are gone with it
	Leaves   []string // set-ups that it does not need but leaves
	Heated   bool     // needs a sensor with a heater
	Rear     bool     // needs a sensor behind the converter
	Pair     bool     // needs the same part on another bank
	Proof    bool     // proves a repair; not a diagnostic step
	Kinds    []string // kinds of sensor it can judge; empty: all
	Metering string   // needs this way of metering air; empty: any
	Tools    []string
	Steps    []string
	Cautions []string
	Expect   string
	Outcomes []Outcome // first: the default. Empty for a test that yields numbers.
	At       At
}

// Outcome is one word a test can end in.
type Outcome struct {
	ID, Name string
	NeedBank bool
	False    float64 // chance of it with no findable cause present
	Source   Source
	At       At
}

// Quantity is a number that is measured. On a sound car it is normal about Mean
// with spread SD; where Log is set that holds for its natural logarithm.
type Quantity struct {
	ID, Name string
	Scope    Scope // Engine or Sensor
	Unit     string
	Log      bool
	Mean, SD float64
	Lo, Hi   float64 // what an instrument can show, for the wild-reading part
	Cell     *Cell   // nil: no voltage of a cell
	Kinds    []string
	Front    bool // only ahead of the converter
	Rear     bool // only behind it
	Source   Source
	At       At
}

// Cell bounds what the quantity can be where it is the voltage of a sound cell on
// a sound circuit.
type Cell struct {
	Lo, Hi float64
	Source Source
}

// Code is a kind of trouble code and how often it is set without any cause for it.
type Code struct {
	ID     string
	False  float64
	Source Source
	At     At
}

// Remark is a word of history and how often it is heard without bearing.
type Remark struct {
	ID, Name string
	Usual    float64
	Noticed  bool // on the car as it is; else something that has happened
	Source   Source
	At       At
}

// Cause is something that can be wrong.
type Cause struct {
	ID, Name  string
	Plain     string // for the customer, after "we found that"
	Mend      string // what to do, as an order
	Watch     string // what to watch when nothing is to be mended
	Scope     Scope
	Prior     float64
	Source    Source
	Curve     string
	Age       At
	Only      Conditions
	Part      bool // mended by fitting a sensor at its place
	WithPart  bool // calls for no new sensor, but is gone with the old one where one is fitted
	Wiring    bool // a fault of the sensor's circuit, not of the sensor
	AddsVolts bool // brings a voltage of its own to the signal
	Nothing   bool // nothing to mend
	Grip      int  // where two causes move one quantity, the higher grip decides
	Minutes   float64
	Price     float64 // of parts, at the reference labour rate
	Repair    Source
	Setups    []string // of the repair; its minutes include them
	SizeSD    float64  // spread of its size from car to car, as a share of the mean
	Size      Source
	Variants  []Variant
	Trims     []Trim
	Codes     []CodeEffect
	Finds     []Find
	Shows     []Show
	Adds      []Show // like Shows, but the shifts of several causes add up
	Says      []Say
	Makes     []Link
	At        At
}

// Conditions restrict where a cause can be.
type Conditions struct {
	Metering string
	Kinds    []string
	Heated   bool
	Front    bool
	Rear     bool
	Banks    int  // at least so many banks
	Pair     bool // another bank has the same part
}

// Variant is a kind or a direction of a cause.
type Variant struct {
	Name   string
	Chance float64
	Open   bool // the module no longer steers by this sensor
	Source Source
	At     At
}

// Trim is what a cause of mean size does to the total trim of a bank, in per cent. A
// need is honest: the engine truly wants that much more fuel. A lie comes from
// what the sensor is made to see: the mixture becomes wrong by as much.
type Trim struct {
	Lie      bool
	State    string
	Mean, SD float64
	Metering string // only with this way of metering air; empty: any
	Bank     int    // only this bank (causes of engine scope); 0: all
	Variants []string
	Source   Source
	At       At
}

// CodeEffect is the chance that the cause sets such a code.
type CodeEffect struct {
	Code     string
	P        float64
	Front    bool
	Rear     bool
	Variants []string
	Source   Source
	At       At
}

// Find is the chance that a test finds the cause by showing an outcome.
type Find struct {
	Test, Outcome string
	P             float64
	Front, Rear   bool
	Variants      []string
	Source        Source
	At            At
}

// Show is where the cause puts a quantity.
type Show struct {
	Quantity string
	Mean, SD float64
	Variants []string
	Source   Source
	At       At
}

// Say is the chance to hear a remark when the cause is there.
type Say struct {
	Remark string
	P      float64
	Source Source
	At     At
}

// Link is the chance that the cause has made another by the time the car comes in.
type Link struct {
	Child  string
	P      float64
	Source Source
	At     At
}

// Pair is two causes that no test of the model tells apart.
type Pair struct{ A, B string }

// CauseByID finds a cause.
func (m *Model) CauseByID(id string) (*Cause, bool) {
	for i := range m.Causes {
		if m.Causes[i].ID == id {
			return &m.Causes[i], true
		}
	}
	return nil, false
}

// TestByID finds a test.
func (m *Model) TestByID(id string) (*Test, bool) {
	for i := range m.Tests {
		if m.Tests[i].ID == id {
			return &m.Tests[i], true
		}
	}
	return nil, false
}

// SetupByID finds a set-up; nil: there is none of that id.
func (m *Model) SetupByID(id string) *Setup {
	i := slices.IndexFunc(m.Setups, func(s Setup) bool { return s.ID == id })
	if i < 0 {
		return nil
	}
	return &m.Setups[i]
}
