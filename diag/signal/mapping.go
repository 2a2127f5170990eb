package signal

import (
	"strconv"
	"strings"

	"crosscount/diag/say"
)

// Mapping says how to read a table: what separates its columns, where the numbers
// begin, which column is the time and what the others measure. It is plain data:
// it can be shown, corrected, stored as JSON and used again.
type Mapping struct {
	Delimiter string   `json:"delimiter"`        // comma, semicolon, tab, pipe, space, none
	Decimal   string   `json:"decimal"`          // point or comma
	DataLine  int      `json:"data_line"`        // first line of numbers, from 1
	Columns   int      `json:"columns"`          // columns of a full row; 0 is unknown
	Header    []string `json:"header,omitempty"` // names as written, by column
	Time      Time     `json:"time"`
	Channels  []Column `json:"channels"`
}

// TimeKind says how a table tells time.
type TimeKind string

// The ways a table tells time.
const (
	TimeNumber TimeKind = "number" // a count of Unit
	TimeClock  TimeKind = "clock"  // time of day, with or without a date
	TimeIndex  TimeKind = "index"  // number of the sample, at RateHz per second
)

// Time says where the time of a row is found.
type Time struct {
	Column     int      `json:"column"` // from 1; 0 counts the rows, with Kind index
	Kind       TimeKind `json:"kind"`
	Unit       string   `json:"unit,omitempty"`       // of a number: s, ms, µs, ns, min, h
	RateHz     float64  `json:"rate_hz,omitempty"`    // of an index: samples per second
	FromFirst  bool     `json:"from_first,omitempty"` // count from the first row
	DateOrder  string   `json:"date_order,omitempty"` // ymd, dmy, mdy; of a clock with a date
	Confidence float64  `json:"confidence,omitempty"` // of the guess, 0 to 1
	Reason     say.Text `json:"reason,omitzero"`
}

// Column says what one column measures.
type Column struct {
	Column     int      `json:"column"` // from 1
	Name       string   `json:"name"`
	Quantity   Quantity `json:"quantity"`
	Unit       string   `json:"unit"`               // as written in the table
	Bank       int      `json:"bank,omitempty"`     // 0 is unknown or not of a bank
	Position   int      `json:"position,omitempty"` // 1 ahead of the converter, 2 behind it
	Confidence float64  `json:"confidence,omitempty"`
	Reason     say.Text `json:"reason,omitzero"`
}

var delimiters = []struct {
	name string
	b    byte
}{{"tab", '\t'}, {"semicolon", ';'}, {"comma", ','}, {"pipe", '|'}, {"space", ' '}, {"none", 0}}

func delimiterByte(name string) (byte, bool) {
	for _, d := range delimiters {
		if d.name == name {
			return d.b, true
		}
	}
	return 0, false
}

// Check says what is wrong with a mapping in itself. The error is a *Problem of
// kind bad_mapping or no_time that names the field.
func (m Mapping) Check() error {
	bad := func(field, mend string, args ...any) error {
		return &Problem{Kind: BadMapping, What: say.T("the mapping's %s is wrong", field), Mend: say.T(mend, args...), Count: 1}
	}
	if _, ok := delimiterByte(m.Delimiter); !ok {
		return bad("delimiter", "use comma, semicolon, tab, pipe, space or none")
	}
	if m.Decimal != "point" && m.Decimal != "comma" {
		return bad("decimal", "use point or comma")
	}
	if m.DataLine < 1 {
		return bad("data_line", "lines count from 1")
	}
	if m.Columns < 0 || m.Columns > maxColumns {
		return bad("columns", "a table has 1 to %d columns", maxColumns)
	}
	limit := m.Columns
	if limit == 0 {
		limit = maxColumns
	}
	t := m.Time
	switch t.Kind {
	case TimeNumber:
		u, ok := unitOf(t.Unit)
		if !ok || u.base != "s" {
			return bad("time.unit", "use s, ms, µs, ns, min or h")
		}
	case TimeClock:
		switch t.DateOrder {
		case "", "ymd", "dmy", "mdy":
		default:
			return bad("time.date_order", "use ymd, dmy or mdy")
		}
	case TimeIndex:
		if !(t.RateHz > 0) || t.RateHz > 1e9 {
			return &Problem{Kind: NoTime, Count: 1, What: say.T("the table has no time column and no sampling rate is given"),
				Mend: say.T("say how many samples per second were taken, or which column is the time")}
		}
	default:
		return bad("time.kind", "use number, clock or index")
	}
	if t.Column < 0 || t.Column > limit || t.Column == 0 && t.Kind != TimeIndex {
		return bad("time.column", "columns count from 1 to %d", limit)
	}
	if len(m.Channels) == 0 {
		return bad("channels", "name at least one column to read")
	}
	if len(m.Channels) > maxColumns {
		return bad("channels", "at most %d columns can be read", maxColumns)
	}
	used := map[int]bool{}
	for i, c := range m.Channels {
		at := "channels[" + strconv.Itoa(i) + "]"
		if c.Column < 1 || c.Column > limit {
			return bad(at+".column", "columns count from 1 to %d", limit)
		}
		if c.Column == t.Column {
			return bad(at+".column", "this column is the time")
		}
		if used[c.Column] {
			return bad(at+".column", "each column can be read once")
		}
		used[c.Column] = true
		k, ok := kindOf(c.Quantity)
		if !ok {
			return bad(at+".quantity", "use one of %s", strings.Join(quantityNames(), ", "))
		}
		if k.unit != "" && c.Unit != "" {
			u, ok := unitOf(c.Unit)
			if !ok || u.base != k.unit {
				return bad(at+".unit", "%s is measured in %s or a unit that converts to it", say.T(k.words), k.unit)
			}
		}
		if c.Bank < 0 || c.Bank > 4 || c.Position < 0 || c.Position > 4 {
			return bad(at+" location", "bank and position run from 1 to 4; 0 is unknown")
		}
	}
	return nil
}

func quantityNames() []string {
	var out []string
	for _, q := range Quantities() {
		out = append(out, string(q))
	}
	return out
}

// maxColumns is the widest table read.
const maxColumns = 512

// convert gives the conversion of a column's written unit into its quantity's.
func (c Column) convert() unit {
	if u, ok := unitOf(c.Unit); ok && u.base == c.Quantity.Unit() {
		return u
	}
	return unit{scale: 1, per: 1}
}

// Reuse applies a mapping kept from an earlier file to a new one, whose own
// mapping was just guessed. Columns are found again by their written names, so
// that a changed order or an added column does no harm; what the new file lacks
// is told. Where neither file has names the saved column numbers are taken.
func Reuse(saved, found Mapping) (Mapping, []Problem) {
	out := found
	out.Time.RateHz = saved.Time.RateHz
	var notes problems
	place := func(column int) (int, bool) {
		name := ""
		if column >= 1 && column <= len(saved.Header) {
			name = plainName(saved.Header[column-1])
		}
		if name == "" || len(found.Header) == 0 {
			return column, column <= found.Columns || found.Columns == 0
		}
		// of several columns with one name take the one in the same place, else the first
		if column <= len(found.Header) && plainName(found.Header[column-1]) == name {
			return column, true
		}
		for i, h := range found.Header {
			if plainName(h) == name {
				return i + 1, true
			}
		}
		return 0, false
	}
	missing := func(name string) {
		notes.note(HeaderDiffers, 0, 0, func() (say.Text, say.Text) {
			return say.T("the saved mapping reads a column %s that this file lacks", quote(name)),
				say.T("pick the column by hand, or use the guess")
		})
	}
	t := saved.Time
	if t.Column > 0 {
		if at, ok := place(t.Column); ok {
			t.Column = at
			out.Time = t
		} else {
			missing(saved.Header[t.Column-1])
		}
	} else {
		out.Time = t
	}
	out.Channels = nil
	for _, c := range saved.Channels {
		at, ok := place(c.Column)
		if !ok || at == out.Time.Column && out.Time.Kind != TimeIndex {
			missing(c.Name)
			continue
		}
		c.Column = at
		out.Channels = append(out.Channels, c)
	}
	if len(out.Channels) == 0 {
		out.Channels = found.Channels
	}
	return out, notes.list
}

func plainName(s string) string { return strings.Join(strings.Fields(strings.ToLower(s)), " ") }

func quote(s string) string {
	const most = 40
	r := []rune(s)
	if len(r) > most {
		s = string(r[:most]) + "…"
	}
	return strconv.Quote(s)
}

func itoa[T int | int64](n T) string { return strconv.FormatInt(int64(n), 10) }
