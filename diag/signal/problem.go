package signal

import (
	"fmt"

	"crosscount/diag/say"
)

// ProblemKind says what is wrong with a table.
type ProblemKind string

// The kinds of problem.
const (
	NotText        ProblemKind = "not_text"         // an image, an archive, a program
	Empty          ProblemKind = "empty"            // nothing, or one line
	NoNumbers      ProblemKind = "no_numbers"       // no column of numbers
	NoTime         ProblemKind = "no_time"          // neither a time column nor a rate
	BadMapping     ProblemKind = "bad_mapping"      // the mapping does not fit the table
	TooLarge       ProblemKind = "too_large"        // over the limit of bytes
	LongLine       ProblemKind = "long_line"        // a line no table has
	Words          ProblemKind = "words"            // text where a number should be
	NotANumber     ProblemKind = "not_a_number"     // NaN or infinity written out
	OutOfRange     ProblemKind = "out_of_range"     // a value the thing measured cannot have
	ShortRow       ProblemKind = "short_row"        // fewer columns than the others
	LongRow        ProblemKind = "long_row"         // more columns than the others
	BadTime        ProblemKind = "bad_time"         // a time that cannot be read
	ClockBack      ProblemKind = "clock_back"       // the clock starts again
	OutOfOrder     ProblemKind = "out_of_order"     // one row earlier than its neighbours
	RepeatedTime   ProblemKind = "repeated_time"    // several rows share a time
	GapInTime      ProblemKind = "gap"              // the recording pauses
	TextColumn     ProblemKind = "text_column"      // a column of words is left out
	GuessUnsure    ProblemKind = "guess_unsure"     // the guess wants a look
	HeaderDiffers  ProblemKind = "header_differs"   // a saved mapping meets another header
	MaybeSwapped   ProblemKind = "maybe_swapped"    // front and rear look exchanged
	WrongDecimal   ProblemKind = "wrong_decimal"    // rows suggest another decimal sign
	MissingReading ProblemKind = "missing_reading"  // empty cells
	WrongUnit      ProblemKind = "wrong_unit"       // the values do not fit the unit
	CutFile        ProblemKind = "cut_file"         // the last row ends too early
	NotNarrowBand  ProblemKind = "not_a_narrowband" // the trace does not look like its kind
)

// Problem is one thing wrong with a table: where, what and how to mend it. Line
// counts from 1 in the file as it is; 0 means the file as a whole. Column counts
// from 1; 0 means the row. Count is how often the same happened, of which this is
// the first or one of the first.
type Problem struct {
	Kind   ProblemKind `json:"kind"`
	Line   int         `json:"line,omitempty"`
	Column int         `json:"column,omitempty"`
	What   say.Text    `json:"what"`
	Mend   say.Text    `json:"mend"`
	Count  int         `json:"count"`
}

// Error makes a problem an error where nothing can be read because of it.
func (p *Problem) Error() string {
	if p.Line > 0 {
		return fmt.Sprintf("line %d: %s; %s", p.Line, p.What, p.Mend)
	}
	return fmt.Sprintf("%s; %s", p.What, p.Mend)
}

// perKind is how many problems of one kind and column are told line by line.
const perKind = 3

// problems keeps the first few problems of a kind and counts the rest.
type problems struct {
	list []Problem
	seen map[problemKey][]int // indexes into list
}

type problemKey struct {
	kind   ProblemKind
	column int
}

// note records a problem; what is only called for when it is kept.
func (p *problems) note(kind ProblemKind, line, column int, tell func() (what, mend say.Text)) {
	if p.seen == nil {
		p.seen = map[problemKey][]int{}
	}
	key := problemKey{kind, column}
	at := p.seen[key]
	if len(at) > 0 {
		p.list[at[0]].Count++
	}
	if len(at) < perKind {
		what, mend := tell()
		p.list = append(p.list, Problem{kind, line, column, what, mend, 1})
		p.seen[key] = append(at, len(p.list)-1)
	}
}
