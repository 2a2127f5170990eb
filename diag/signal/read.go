package signal

import (
	"bytes"
	"errors"
	"io"
	"math"
	"slices"
	"strings"

	"crosscount/diag/say"
)

// MaxBytes is the largest file read.
const MaxBytes = 200 << 20

const (
	blockRows = 2048      // rows handed on at a time
	bufLen    = 256 << 10 // bytes read at a time
	maxLine   = 1 << 20   // longest line of a table, bytes
	gapFactor = 10        // steps longer than this many usual steps are gaps
	farthest  = 1e15      // seconds; no clock shows more
)

// Block is a run of rows in time order without a gap. It is only valid during the
// call that hands it on.
type Block struct {
	T       []float64   // seconds, never falling
	V       [][]float64 // by channel of the mapping; NaN where there is no reading
	Break   bool        // a gap, or a clock that went back, lies ahead of the first row
	MaxStep float64     // seconds; readings further apart have a gap between them

	holes []bool // channels in which a reading may be missing; nil is not known
}

// Gap is a pause in the recording.
type Gap struct {
	From float64 `json:"from_s"` // last time before the gap, seconds
	To   float64 `json:"to_s"`   // first time after it, seconds
}

// Report says what was read of a table and what was not.
type Report struct {
	Lines    int       `json:"lines"`   // of the file
	Rows     int       `json:"rows"`    // kept
	Skipped  int       `json:"skipped"` // rows that gave no reading
	Missing  []int     `json:"missing"` // cells without a reading, by channel
	Repeats  int       `json:"repeats"` // rows with the time of the row before
	Start    float64   `json:"start_s"` // seconds, first row
	End      float64   `json:"end_s"`   // seconds, last row
	Gaps     []Gap     `json:"gaps"`    // the first few
	GapCount int       `json:"gap_count"`
	GapTime  float64   `json:"gap_time_s"` // seconds in all gaps
	Problems []Problem `json:"problems"`
}

// keptGaps is how many gaps a Report lists.
const keptGaps = 50

// Read streams the rows of a table to sink. The error is a *Problem when nothing
// of the table could be read, sink's error when it gave one, or r's. Rows that
// cannot be read are told in the Report and left out.
func Read(r io.Reader, m Mapping, sink func(*Block) error) (*Report, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	src, err := newText(r, MaxBytes)
	if err != nil {
		return nil, err
	}
	p := newParser(m, sink)
	if err := p.run(src); err != nil {
		return nil, err
	}
	return p.finish()
}

const (
	slotSkip = -1
	slotTime = -2
)

type parser struct {
	m       Mapping
	sink    func(*Block) error
	delim   byte
	decimal byte
	spaces  bool // runs of blanks separate columns
	plan    []int
	chans   []chanPlan
	clock   bool
	toSec   unit

	block  Block
	n      int // rows in block
	vals   [][]float64
	times  []float64
	line   int // of the row being read, from 1
	dataNo int // rows of data seen, readable or not

	last      float64 // time of the last row kept, seconds
	off       float64 // added to times, seconds
	origin    float64 // taken from times as written
	firstDay  int     // of a clock with a date
	fromFirst bool    // the first row has yet to set off
	byRow     bool    // time is the number of the row
	careful   bool    // every row through slow
	lanes     []lane  // by column
	shapes    *shapes
	repeats   int     // of this block
	longest   float64 // longest step of this block, seconds
	maxStep   float64
	prevEnd   float64 // last time of the block before
	hasPrev   bool
	eof       bool // no more text follows
	ending    bool // the line being read is the file's last
	held      *heldRow

	fields  [][]byte
	report  Report
	notes   problems
	sinkErr error
	cut     bool // the last line had no line end
	row     []float64
}

type chanPlan struct {
	col Column
	kind
	conv  unit
	plain bool
}

// heldRow is a row earlier than the one before it, kept back until the next row
// tells whether it is astray or the clock started again.
type heldRow struct {
	raw  float64 // seconds, before off is added
	v    []float64
	line int
}

func newParser(m Mapping, sink func(*Block) error) *parser {
	p := &parser{m: m, sink: sink, decimal: '.'}
	p.delim, _ = delimiterByte(m.Delimiter)
	p.spaces = p.delim == ' '
	if m.Decimal == "comma" {
		p.decimal = ','
	}
	p.clock = m.Time.Kind == TimeClock
	p.toSec = unit{scale: 1, per: 1}
	switch m.Time.Kind {
	case TimeNumber:
		p.toSec, _ = unitOf(m.Time.Unit)
	case TimeIndex:
		p.toSec.per = m.Time.RateHz
	}
	width := m.Time.Column
	for _, c := range m.Channels {
		width = max(width, c.Column)
	}
	p.plan = make([]int, width)
	for i := range p.plan {
		p.plan[i] = slotSkip
	}
	if m.Time.Column > 0 {
		p.plan[m.Time.Column-1] = slotTime
	}
	p.vals = make([][]float64, len(m.Channels))
	p.block.V = make([][]float64, len(m.Channels))
	for i, c := range m.Channels {
		p.plan[c.Column-1] = i
		k, _ := kindOf(c.Quantity)
		conv := c.convert()
		p.chans = append(p.chans, chanPlan{c, k, conv, conv.plain()})
		p.vals[i] = make([]float64, blockRows)
	}
	p.times = make([]float64, blockRows)
	p.shapes = newShapes(p.decimal)
	for _, slot := range p.plan {
		l := lane{slot: slot, shape: p.shapes.of(-1, 0)}
		if slot >= 0 {
			c := &p.chans[slot]
			l.dst, l.lo, l.hi = p.vals[slot], c.min, c.max
			if !c.plain {
				l.conv = &c.conv
			}
		}
		p.lanes = append(p.lanes, l)
	}
	if m.Columns == 0 { // what stands behind the columns read is not known
		p.careful = true
	}
	for len(p.lanes) < m.Columns {
		p.lanes = append(p.lanes, lane{slot: slotSkip})
	}
	p.block.holes = make([]bool, len(m.Channels))
	p.report.Missing = make([]int, len(m.Channels))
	p.row = make([]float64, len(m.Channels))
	p.report.Gaps = []Gap{}
	p.fromFirst = m.Time.FromFirst
	p.byRow = m.Time.Column == 0
	p.last = math.Inf(-1)
	return p
}

// run feeds whole lines to the row readers.
func (p *parser) run(src io.Reader) error {
	buf := make([]byte, bufLen+pad)
	have := 0
	for {
		n, err := src.Read(buf[have : len(buf)-pad])
		have += n
		eof := errors.Is(err, io.EOF)
		if err != nil && !eof {
			return err
		}
		if n == 0 && !eof {
			continue
		}
		end := bytes.LastIndexByte(buf[:have], '\n') + 1
		if eof {
			p.eof = true
			if end < have {
				p.cut = true
				buf[have] = '\n' // the pad has room
				have++
			}
			end = have
		}
		if end == 0 && have >= len(buf)-pad {
			if len(buf) >= maxLine {
				return &Problem{Kind: LongLine, Line: p.line + 1, Count: 1,
					What: say.T("this line is longer than %s", bytesWords(maxLine)), Mend: say.T("a table has short lines: %s", say.T(saveAsText))}
			}
			buf = append(buf, make([]byte, len(buf))...)
		}
		p.rows(buf[:end+pad], end)
		if p.sinkErr != nil {
			return p.sinkErr
		}
		if eof {
			return nil
		}
		have = copy(buf, buf[end:have])
	}
}

// rows reads the lines of b[:end]; b reaches pad bytes further.
func (p *parser) rows(b []byte, end int) {
	for i := 0; i < end; {
		if p.line+1 >= p.m.DataLine && !p.careful {
			if i = p.quick(b, i, end); i >= end {
				return
			}
		}
		j := i + bytes.IndexByte(b[i:end], '\n')
		p.line++
		if p.line >= p.m.DataLine {
			p.ending = p.eof && j+1 == end
			p.slow(bytes.TrimSuffix(b[i:j], []byte{'\r'}))
		}
		if p.sinkErr != nil {
			return
		}
		i = j + 1
	}
}

// lane is what becomes of one column's numbers.
type lane struct {
	slot   int
	dst    []float64 // of a channel
	lo, hi float64   // range of plausible values
	conv   *unit     // nil where the number is in the right unit already
	shape  *shape    // of the number in the row before
}

// quick reads ordinary rows: numbers where numbers belong, the right number of
// columns, no quotes, time running forward. It answers where it stopped; the row
// there goes to slow.
func (p *parser) quick(b []byte, i, end int) int {
	if p.held != nil || p.fromFirst {
		return i
	}
	delim, decimal, spaces := p.delim, p.decimal, p.spaces
	toSec, plainTime, origin, off := p.toSec, p.toSec.plain(), p.origin, p.off
	last, step := p.last, p.longest
	n, began, repeats := p.n, p.n, 0
	lanes := p.lanes
	final := len(lanes) - 1
rows:
	for i < end {
		at := i
		for b[at] == ' ' || b[at] == '\t' && delim != '\t' {
			at++
		}
		switch b[at] {
		case '#', '%', ';', '/', '\n', '\r':
			break rows // perhaps no row at all
		}
		t := float64(p.dataNo + n - began)
		for col := range lanes {
			l := &lanes[col]
			for b[at] == ' ' || spaces && b[at] == '\t' {
				at++
			}
			switch {
			case l.slot == slotSkip:
				c := b[at]
				if c == '"' || spaces && (c == '\n' || c == '\r') {
					break rows
				}
				for c != delim && c != '\n' && c != '\t' {
					at++
					c = b[at]
				}
				if c == '\n' && b[at-1] == '\r' {
					at--
				}
			case l.slot == slotTime && p.clock:
				day, sec, next, ok := scanClock(b, at, delim, p.m.Time.DateOrder)
				if !ok {
					break rows
				}
				t, at = float64(day-p.firstDay)*86400+sec, next
			default:
				neg := b[at] == '-'
				if neg {
					at++
				}
				v, ok := l.shape.read(b[at : at+pad])
				next := at + l.shape.size
				if c := b[next]; !ok || c != delim && c != '\n' && c != '\r' && c != ' ' {
					var whole, frac int
					if v, next, whole, frac, ok = scanQuick(b, at, decimal); ok {
						l.shape = p.shapes.of(whole, frac)
					} else if neg && (b[at] == '-' || b[at] == '+') {
						break rows
					} else if v, next, ok = scanNumber(b, at, decimal); !ok {
						break rows
					}
				}
				at = next
				if neg {
					v = -v
				}
				if l.slot == slotTime {
					t = v
				} else {
					if l.conv != nil {
						v = l.conv.to(v)
					}
					if !(v >= l.lo && v <= l.hi) {
						break rows
					}
					l.dst[n] = v
				}
			}
			for b[at] == ' ' && (!spaces || col == final) {
				at++
			}
			if c := b[at]; col != final {
				if c != delim && !(spaces && c == '\t') {
					break rows
				}
				at++
				continue
			} else if c == delim && c != 0 { // a trailing delimiter
				at++
			}
			if b[at] == '\r' {
				at++
			}
			if b[at] != '\n' {
				break rows
			}
			at++
		}
		t -= origin
		if !plainTime {
			t = toSec.to(t)
		}
		if math.Abs(t) > farthest {
			break
		}
		t += off
		if d := t - last; !(d > 0) {
			if d != 0 {
				break
			}
			repeats++
		} else if n > 0 && d > step {
			step = d
		}
		last = t
		p.times[n] = t
		n++
		i = at
		if n == blockRows {
			p.account(n-began, repeats, last, step, n)
			p.flush(false)
			n, began, repeats, step = p.n, p.n, 0, p.longest
			if p.sinkErr != nil {
				return end
			}
		}
	}
	p.account(n-began, repeats, last, step, n)
	return i
}

// account books rows that quick has read.
func (p *parser) account(rows, repeats int, last, step float64, n int) {
	p.line += rows
	p.dataNo += rows
	p.report.Repeats += repeats
	p.repeats += repeats
	p.last = last
	p.longest = step
	p.n = n
}

// commit keeps the row whose values stand at p.n.
func (p *parser) commit(t float64) {
	if t == p.last {
		p.report.Repeats++
		p.repeats++
	} else if p.n > 0 {
		p.longest = max(p.longest, t-p.last)
	}
	p.times[p.n] = t
	p.last = t
	p.n++
	if p.n == blockRows {
		p.flush(false)
	}
}

// flush hands the block on; broken says that an interruption follows.
func (p *parser) flush(broken bool) {
	if p.n > 0 && p.sinkErr == nil {
		if p.report.Rows == 0 {
			p.report.Start = p.times[0]
		}
		p.report.Rows += p.n
		p.report.End = p.times[p.n-1]
		t := p.times[:p.n]
		p.maxStep = gapLimit(t, p.repeats, p.maxStep)
		from := 0
		prev := t[0]
		if p.hasPrev {
			prev = p.prevEnd
		}
		if p.maxStep > 0 && (p.longest > p.maxStep || t[0]-prev > p.maxStep) {
			for i, now := range t {
				if now-prev > p.maxStep {
					p.hand(from, i)
					p.block.Break = true
					from = i
					p.report.GapCount++
					p.report.GapTime += now - prev
					if len(p.report.Gaps) < keptGaps {
						p.report.Gaps = append(p.report.Gaps, Gap{prev, now})
					}
				}
				prev = now
			}
		}
		p.hand(from, p.n)
		p.prevEnd, p.hasPrev = t[p.n-1], true
		clear(p.block.holes)
	}
	p.n, p.repeats, p.longest = 0, 0, 0
	if broken {
		p.block.Break = true
		p.hasPrev = false
	}
}

// gapLimit is the step beyond which rows have a gap between them: ten usual
// steps. The usual step of many rows is their mean, which one gap among them
// shifts little; of few rows it is the median, or what held before.
func gapLimit(t []float64, repeats int, before float64) float64 {
	steps := len(t) - 1 - repeats
	if steps >= 64 {
		return gapFactor * (t[len(t)-1] - t[0]) / float64(steps)
	}
	if before > 0 {
		return before
	}
	d := make([]float64, 0, len(t))
	for i := 1; i < len(t); i++ {
		if t[i] > t[i-1] {
			d = append(d, t[i]-t[i-1])
		}
	}
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	return gapFactor * d[len(d)/2]
}

// hand gives rows from to to of the block to the sink.
func (p *parser) hand(from, to int) {
	if from == to || p.sinkErr != nil {
		return
	}
	b := &p.block
	b.T = p.times[from:to]
	for i := range p.vals {
		b.V[i] = p.vals[i][from:to]
	}
	b.MaxStep = p.maxStep
	p.sinkErr = p.sink(b)
	b.Break = false
}

// slow reads any row, tells what is wrong with it and keeps what it can.
func (p *parser) slow(line []byte) {
	if len(bytes.TrimSpace(line)) == 0 || p.comment(line) {
		return
	}
	number := p.dataNo
	p.dataNo++
	p.split(line)
	got := len(p.fields)
	cutAt := got // fields from here on may be cut short
	if want := p.m.Columns; want > 0 && got != want {
		for got > want && len(p.fields[got-1]) == 0 {
			got--
		}
		switch {
		case got > want:
			p.notes.note(LongRow, p.line, 0, func() (say.Text, say.Text) {
				return say.T("the row has %d columns where the others have %d", got, want),
					say.T("check the decimal sign and what separates the columns; the first columns were read")
			})
		case got < want && p.cut && p.ending:
			cutAt = got - 1
			p.notes.note(CutFile, p.line, 0, func() (say.Text, say.Text) {
				return say.T("the file ends in the middle of a row: %d of %d columns", got, want),
					say.T("copy the file again if the end matters; what is whole was read")
			})
		case got < want:
			cutAt = got - 1
			p.notes.note(ShortRow, p.line, 0, func() (say.Text, say.Text) {
				return say.T("the row has %d columns where the others have %d", got, want),
					say.T("mend or delete the row; its whole cells were read")
			})
		}
	}
	raw, ok := p.rowTime(number, cutAt)
	if !ok {
		p.report.Skipped++
		return
	}
	any := false
	for i := range p.chans {
		p.row[i] = math.NaN()
		c := &p.chans[i]
		if c.col.Column > cutAt {
			continue
		}
		if v, ok := p.cell(i, p.fields[c.col.Column-1]); ok {
			p.row[i] = v
			any = true
		} else {
			p.report.Missing[i]++
		}
	}
	if !any {
		// the row says that time went on without a reading: keep it, as a hole
		p.report.Skipped++
	}
	p.place(raw, p.row, p.line)
}

// comment recognises a line that is no row.
func (p *parser) comment(line []byte) bool {
	blanks := " \t"
	if p.delim == '\t' {
		blanks = " "
	}
	line = bytes.TrimLeft(line, blanks)
	return len(line) > 0 && (line[0] == '#' || line[0] == '%' || bytes.HasPrefix(line, []byte("//")) ||
		line[0] == ';' && p.delim != ';')
}

// rowTime finds the raw time of the row, in seconds.
func (p *parser) rowTime(number, cutAt int) (float64, bool) {
	if p.byRow {
		return p.toSec.to(float64(number)), true
	}
	col := p.m.Time.Column
	if col > cutAt {
		return 0, false // told as a short row
	}
	f := p.fields[col-1]
	if p.clock {
		if day, sec, next, ok := scanClock(f, 0, 0, p.m.Time.DateOrder); ok && next == len(f) {
			if p.dataNo == 1 || p.fromFirst {
				p.firstDay = day
			}
			return float64(day-p.firstDay)*86400 + sec, true
		}
		p.notes.note(BadTime, p.line, col, func() (say.Text, say.Text) {
			return say.T("%s is not a time of day", quote(words(f))), say.T("write times as 13:05:09.250; the row was left out")
		})
		return 0, false
	}
	v, own, how := p.number(f)
	if how == cellNumber {
		u := p.toSec
		if own.base == "s" && p.m.Time.Kind == TimeNumber {
			u = own
		}
		if p.fromFirst {
			p.origin = v
		}
		if v = u.to(v - p.origin); math.Abs(v) <= farthest {
			return v, true
		}
	}
	p.notes.note(BadTime, p.line, col, func() (say.Text, say.Text) {
		if how == cellEmpty {
			return say.T("the time is missing"), say.T("fill it in or delete the row; the row was left out")
		}
		return say.T("%s is not a time", quote(words(f))), say.T("mend or delete the row; it was left out")
	})
	return 0, false
}

// place puts a row into the order of time.
func (p *parser) place(raw float64, v []float64, line int) {
	if p.fromFirst {
		p.off, p.fromFirst = -raw, false
	}
	t := raw + p.off
	if p.held != nil {
		h := p.held
		p.held = nil
		if t >= p.last {
			p.astray(h.line)
		} else {
			p.restart(h)
			t = raw + p.off
		}
	}
	if p.clock && p.m.Time.DateOrder == "" && t < p.last-43200 {
		p.off += 86400 // past midnight
		t = raw + p.off
	}
	if t < p.last {
		if n := p.n; n >= 2 && t >= p.times[n-2] && p.last-p.times[n-2] > gapFactor*(t-p.times[n-2])+gapFactor*p.maxStep {
			// the row before leapt ahead of both its neighbours
			p.n--
			p.last = p.times[n-2]
			p.astray(line - 1)
		} else {
			p.held = &heldRow{raw, slices.Clone(v), line}
			return
		}
	}
	p.keep(t, v)
}

func (p *parser) keep(t float64, v []float64) {
	for i, x := range v {
		p.vals[i][p.n] = x
		if x != x {
			p.block.holes[i] = true
		}
	}
	p.commit(t)
}

func (p *parser) astray(line int) {
	p.report.Skipped++
	p.notes.note(OutOfOrder, line, p.m.Time.Column, func() (say.Text, say.Text) {
		return say.T("the time of this row does not lie between its neighbours'"), say.T("mend or delete the row; it was left out")
	})
}

// restart begins a new piece after the clock went back. The new piece follows the
// old one by one usual step, so that times never fall; nothing is measured across.
func (p *parser) restart(h *heldRow) {
	was, now := p.last-p.off, h.raw
	step := p.maxStep / gapFactor
	if p.n >= 2 && step == 0 {
		step = (p.times[p.n-1] - p.times[0]) / float64(p.n-1)
	}
	p.notes.note(ClockBack, h.line, p.m.Time.Column, func() (say.Text, say.Text) {
		return say.T("the clock goes back from %.6g s to %.6g s", was, now),
			say.T("check whether two recordings were joined; the rest was read as a new piece and nothing is measured across the join")
	})
	p.flush(true)
	p.off = p.last + step - h.raw
	p.keep(h.raw+p.off, h.v)
}

func (p *parser) finish() (*Report, error) {
	if h := p.held; h != nil {
		p.held = nil
		p.astray(h.line)
	}
	p.flush(false)
	if p.sinkErr != nil {
		return nil, p.sinkErr
	}
	r := &p.report
	r.Lines = p.line
	if r.Rows == 0 {
		if len(p.notes.list) > 0 {
			first := p.notes.list[0]
			first.What = say.T("no row could be read; in the first, %s", first.What)
			return nil, &first
		}
		return nil, &Problem{Kind: Empty, Count: 1, What: say.T("the table has no rows of numbers"),
			Mend: say.T("check that the recording was saved whole")}
	}
	if n, worst := p.missing(); n > 0 {
		p.notes.note(MissingReading, 0, p.chans[worst].col.Column, func() (say.Text, say.Text) {
			return say.T("%d cells have no reading, most of them in %s", n, quote(p.chans[worst].col.Name)),
				say.T("nothing need be done: holes are left out of the measurement")
		})
	}
	if r.Repeats > 0 {
		p.notes.note(RepeatedTime, 0, p.m.Time.Column, func() (say.Text, say.Text) {
			return say.T("%d of %d rows have the same time as the row before", r.Repeats, r.Rows),
				say.T("if the recorder can write finer times let it; times shorter than one step of the clock are not judged")
		})
	}
	if r.GapCount > 0 {
		p.notes.note(GapInTime, 0, p.m.Time.Column, func() (say.Text, say.Text) {
			return say.T("the recording pauses %d times, %.6g s in all", r.GapCount, r.GapTime),
				say.T("nothing need be done: nothing is measured across a pause")
		})
	}
	r.Problems = p.notes.list
	if r.Problems == nil {
		r.Problems = []Problem{}
	}
	return r, nil
}

// missing counts the empty cells of columns that hold any reading.
func (p *parser) missing() (n, worst int) {
	for i, m := range p.report.Missing {
		if m < p.report.Rows {
			n += m
		}
		if m > p.report.Missing[worst] && m < p.report.Rows {
			worst = i
		}
	}
	return n, worst
}

// split cuts a line into trimmed cells, minding quotes.
func (p *parser) split(line []byte) {
	p.fields = splitLine(p.fields[:0], line, p.delim)
}

func splitLine(out [][]byte, line []byte, delim byte) [][]byte {
	spaces := delim == ' '
	i := 0
	if spaces {
		line = bytes.TrimRight(line, " \t")
	}
	for {
		for i < len(line) && (line[i] == ' ' || line[i] == '\t' && delim != '\t') {
			i++
		}
		start := i
		if i < len(line) && line[i] == '"' {
			if end := bytes.IndexByte(line[i+1:], '"'); end >= 0 {
				out = append(out, bytes.TrimSpace(line[i+1:i+1+end]))
				i += end + 2
				for i < len(line) && line[i] != delim && !(spaces && line[i] == '\t') {
					i++
				}
				if i >= len(line) {
					return out
				}
				i++
				continue
			}
		}
		for i < len(line) && (delim == 0 || line[i] != delim) && !(spaces && line[i] == '\t') {
			i++
		}
		out = append(out, bytes.TrimSpace(line[start:i]))
		if i >= len(line) {
			return out
		}
		i++
	}
}

type cellKind int

const (
	cellNumber cellKind = iota
	cellEmpty
	cellNaN
	cellWords
)

// number reads a cell: a number, perhaps with thousands grouped and with a unit
// behind it.
func (p *parser) number(f []byte) (float64, unit, cellKind) {
	return readCell(f, p.decimal)
}

func readCell(f []byte, decimal byte) (float64, unit, cellKind) {
	if len(f) == 0 {
		return 0, unit{}, cellEmpty
	}
	v, next, ok := scanNumber(f, 0, decimal)
	if !ok && next == 0 || len(f) <= 12 && ok && next < len(f) {
		switch strings.ToLower(string(f)) {
		case "-", "--", "---", "n/a", "na", "null", "none", "no data", "nodata", "?", "x":
			return 0, unit{}, cellEmpty
		case "nan", "-nan", "+nan", "inf", "-inf", "+inf", "infinity", "-infinity", "1.#inf", "-1.#inf", "1.#qnan", "-1.#ind", "1.#ind", "#n/a", "#num!", "#div/0!", "#value!", "overflow", "ovld", "ol":
			return 0, unit{}, cellNaN
		}
	}
	if !ok {
		if next > 0 {
			return 0, unit{}, cellNaN // too large for any number
		}
		return 0, unit{}, cellWords
	}
	if next == len(f) {
		return v, unit{}, cellNumber
	}
	if g, ok := grouped(f, decimal); ok {
		return g, unit{}, cellNumber
	}
	if u, ok := unitOf(words(f[next:])); ok {
		return v, u, cellNumber
	}
	return 0, unit{}, cellWords
}

// grouped reads 1,234,567.8 or 1.234.567,8: whole groups of three behind one to
// three digits that do not begin with zero.
func grouped(f []byte, decimal byte) (float64, bool) {
	group := byte(',')
	if decimal == ',' {
		group = '.'
	}
	whole, rest := f, []byte(nil)
	if i := bytes.IndexByte(f, decimal); i >= 0 {
		whole, rest = f[:i], f[i:]
	}
	sign := 0
	if len(whole) > 0 && (whole[0] == '-' || whole[0] == '+') {
		sign = 1
	}
	parts := bytes.Split(whole[sign:], []byte{group})
	if len(parts) < 2 || len(parts[0]) < 1 || len(parts[0]) > 3 || parts[0][0] == '0' {
		return 0, false
	}
	flat := slices.Clone(whole[:sign])
	for i, part := range parts {
		if i > 0 && len(part) != 3 {
			return 0, false
		}
		flat = append(flat, part...)
	}
	flat = append(flat, rest...)
	v, next, ok := scanNumber(flat, 0, decimal)
	return v, ok && next == len(flat)
}

// cell reads the value of channel i from its cell.
func (p *parser) cell(i int, f []byte) (float64, bool) {
	c := &p.chans[i]
	v, own, how := p.number(f)
	if how != cellNumber && c.quantity == FuelSystem {
		if v, ok := fuelSystemWords(words(f)); ok {
			return v, true
		}
	}
	switch how {
	case cellEmpty:
		return 0, false
	case cellNaN:
		p.notes.note(NotANumber, p.line, c.col.Column, func() (say.Text, say.Text) {
			return say.T("%s stands where a reading belongs", quote(words(f))), say.T("nothing need be done if the recorder was not connected; the cell was left out")
		})
		return 0, false
	case cellWords:
		p.notes.note(Words, p.line, c.col.Column, func() (say.Text, say.Text) {
			return say.T("%s stands where a number belongs", quote(words(f))), say.T(p.wordsMend(f))
		})
		return 0, false
	}
	if own.name != "" && own.base == c.unit {
		v = own.to(v)
	} else {
		v = c.conv.to(v)
	}
	if !(v >= c.min && v <= c.max) {
		p.notes.note(OutOfRange, p.line, c.col.Column, func() (say.Text, say.Text) {
			return say.T("%.6g %s is not a %s", v, c.unit, say.T(c.words)),
				say.T("check the unit of the column (read as %s); the cell was left out", orNone(c.col.Unit))
		})
		return 0, false
	}
	return v, true
}

func (p *parser) wordsMend(f []byte) string {
	other := byte(',')
	if p.decimal == ',' {
		other = '.'
	}
	if _, _, how := readCell(f, other); how == cellNumber {
		return "this reads as a number with the other decimal sign: correct the decimal sign of the mapping"
	}
	return "mend or delete it; the cell was left out"
}

// fuelSystemWords reads the status of the fuel system where a log writes it out.
func fuelSystemWords(s string) (float64, bool) {
	s = strings.ToLower(s)
	switch {
	case strings.HasPrefix(s, "cl") || strings.Contains(s, "closed"):
		return 2, true
	case strings.HasPrefix(s, "ol") || strings.Contains(s, "open"):
		return 1, true
	}
	return 0, false
}

func orNone(unit string) say.Text {
	if unit == "" {
		return say.T("a plain number")
	}
	return say.T("%s", unit)
}
