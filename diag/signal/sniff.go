package signal

import (
	"bytes"
	"errors"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"crosscount/diag/say"
)

// Preview is what Sniff saw of the beginning of a table.
type Preview struct {
	Rows     [][]string   `json:"rows"`    // the first rows as written
	Columns  []ColumnView `json:"columns"` // what each holds
	Problems []Problem    `json:"problems"`
	Step     float64      `json:"step_s"` // usual step of the guessed time, seconds; 0 is unknown
	Whole    bool         `json:"whole"`  // the table ends within the part looked at
}

// ColumnView is what one column holds in the part looked at.
type ColumnView struct {
	Column  int     `json:"column"` // from 1
	Name    string  `json:"name"`
	Numbers int     `json:"numbers"`
	Words   int     `json:"words"`
	Clocks  int     `json:"clocks"`
	Empty   int     `json:"empty"`
	Min     float64 `json:"min"`
	Max     float64 `json:"max"`
}

const (
	previewRows = 12
	sniffRows   = 2000
	sniffBytes  = 512 << 10
)

// Sniff looks at the beginning of a table and guesses how to read it. The error
// is a *Problem where it holds no table; its text says what to do instead.
func Sniff(r io.Reader) (Mapping, Preview, error) {
	src, err := newText(r, 0)
	if err != nil {
		return Mapping{}, Preview{}, err
	}
	head, err := io.ReadAll(io.LimitReader(src, sniffBytes))
	if err != nil {
		if _, ok := errors.AsType[*Problem](err); ok || len(head) == 0 {
			return Mapping{}, Preview{}, err
		}
	}
	whole := len(head) < sniffBytes
	s := sniffer{}
	s.lines(head, whole)
	s.preview.Whole = whole && len(s.text) <= sniffRows
	if len(s.text) == 0 {
		return Mapping{}, Preview{}, &Problem{Kind: Empty, What: say.T("the file is empty"), Mend: say.T("check that the recording was saved, then upload it again"), Count: 1}
	}
	if len(s.text) == 1 {
		return Mapping{}, Preview{}, &Problem{Kind: Empty, Line: s.at[0], What: say.T("the file has one line only"), Mend: say.T("a recording has a line for each sample: check that it was saved whole"), Count: 1}
	}
	if err := s.layout(); err != nil {
		return Mapping{}, Preview{}, err
	}
	s.columns()
	s.time()
	if err := s.channels(); err != nil {
		return Mapping{}, Preview{}, err
	}
	s.preview.Problems = s.notes.list
	if s.preview.Problems == nil {
		s.preview.Problems = []Problem{}
	}
	return s.m, s.preview, nil
}

type sniffer struct {
	text    [][]byte // lines that are not blank
	at      []int    // their numbers, from 1
	m       Mapping
	preview Preview
	notes   problems
	delim   byte
	decimal byte
	cells   [][][]byte // rows of data, split
	cols    []*colSniff
}

// colSniff is what is found out about one column.
type colSniff struct {
	ColumnView
	unitWord string // unit in the header or the line below it
	values   []float64
	rows     []int // index of the row of each value
	ownUnit  unit
}

func (s *sniffer) lines(head []byte, whole bool) {
	number := 0
	for line := range bytes.Lines(head) {
		number++
		full := bytes.HasSuffix(line, []byte{'\n'})
		line = bytes.TrimRight(line, "\r\n")
		if len(bytes.TrimSpace(line)) == 0 || !full && !whole {
			continue
		}
		s.text = append(s.text, line)
		s.at = append(s.at, number)
		if len(s.text) > sniffRows {
			break
		}
	}
}

// layout finds what separates the columns, which sign is the decimal one and
// where the numbers begin: of all pairs of signs the one under which most lines
// have one number of columns and most of their cells are numbers.
func (s *sniffer) layout() error {
	best, bestScore := layout{}, 0.0
	for _, d := range delimiters {
		for _, decimal := range []byte{'.', ','} {
			if d.b == decimal && !quotedCells(s.text) {
				continue
			}
			l := s.try(d.b, decimal)
			l.name = d.name
			if l.score > bestScore+1e-9 {
				best, bestScore = l, l.score
			}
		}
	}
	if bestScore <= 0 {
		return &Problem{Kind: NoNumbers, What: say.T("no column of numbers was found"),
			Mend: say.T("a recording has a line for each sample with numbers in columns; check that this is the right file"), Count: 1}
	}
	s.delim, s.decimal = best.delim, best.decimal
	s.m.Delimiter, s.m.Decimal = best.name, "point"
	if best.decimal == ',' {
		s.m.Decimal = "comma"
	}
	s.m.DataLine = s.at[best.first]
	s.m.Columns = best.columns
	for _, line := range s.text[best.first:] {
		f := trimTail(splitLine(nil, line, s.delim), best.columns)
		s.cells = append(s.cells, f)
	}
	s.header(best.first)
	return nil
}

type layout struct {
	name    string
	delim   byte
	decimal byte
	first   int // index of the first line of data
	columns int
	score   float64
}

func quotedCells(lines [][]byte) bool {
	n := 0
	for _, l := range lines {
		if bytes.IndexByte(l, '"') >= 0 {
			n++
		}
	}
	return n*2 > len(lines)
}

// trimTail drops empty cells behind column n.
func trimTail(f [][]byte, n int) [][]byte {
	for len(f) > n && len(f[len(f)-1]) == 0 {
		f = f[:len(f)-1]
	}
	return f
}

func (s *sniffer) try(delim, decimal byte) layout {
	l := layout{delim: delim, decimal: decimal}
	widths := map[int]int{}
	rows := make([][][]byte, len(s.text))
	for i, line := range s.text {
		f := splitLine(nil, line, delim)
		for len(f) > 1 && len(f[len(f)-1]) == 0 {
			f = f[:len(f)-1]
		}
		rows[i] = f
	}
	// the widest spread of numeric rows of one width is the table
	numeric := func(f [][]byte) (numbers, cells int) {
		for _, c := range f {
			if len(c) == 0 {
				continue
			}
			cells++
			if _, _, how := readCell(c, decimal); how == cellNumber || how == cellNaN || isClock(c) {
				numbers++
			} else if how == cellEmpty {
				cells--
			}
		}
		return numbers, cells
	}
	usable := make([]bool, len(rows))
	share := make([]float64, len(rows))
	for i, f := range rows {
		n, of := numeric(f)
		if n > 0 && n*2 >= of {
			usable[i] = true
			share[i] = float64(n) / float64(of)
			widths[len(f)]++
		}
	}
	most := 0
	for w, n := range widths {
		// short rows lack empty cells at the end, so prefer the wider of two equals
		if n > most || n == most && w > l.columns {
			l.columns, most = w, n
		}
	}
	if most == 0 || l.columns > maxColumns {
		return l
	}
	// a wider width that also occurs often is the full row
	for w, n := range widths {
		if w > l.columns && n*4 >= most {
			l.columns = w
		}
	}
	l.first = begin(rows, usable, share, l.columns)
	if l.first < 0 {
		return l
	}
	fit, sum := 0, 0.0
	for i := l.first; i < len(rows); i++ {
		if !usable[i] {
			continue
		}
		if len(rows[i]) == l.columns {
			fit++
		}
		sum += share[i]
	}
	body := len(rows) - l.first
	l.score = float64(fit) / float64(body) * sum / float64(body)
	// ever so slightly prefer more columns, then the usual decimal point
	l.score *= 1 + 0.01*float64(min(l.columns, 10))
	if l.columns == 1 {
		l.score *= 0.9
	}
	if decimal == ',' {
		l.score *= 0.999
		if !bytes.ContainsRune(bytes.Join(s.text[l.first:min(l.first+50, len(s.text))], nil), ',') {
			l.score *= 0.9
		}
	}
	return l
}

// begin finds the first row of the table: one as full of numbers as the usual row,
// with mostly such rows behind it. Lines of settings above a table may look like
// rows, but not many in a row do.
func begin(rows [][][]byte, usable []bool, share []float64, columns int) int {
	var shares []float64
	for i, f := range rows {
		if usable[i] && len(f) == columns {
			shares = append(shares, share[i])
		}
	}
	if len(shares) == 0 {
		return -1
	}
	slices.Sort(shares)
	usual := median(shares) - 0.01
	good := func(i int) bool { return usable[i] && len(rows[i]) == columns && share[i] >= usual }
	const look = 10
	for i := range rows {
		if !good(i) {
			continue
		}
		n, of := 0, 0
		for k := i; k < min(i+look, len(rows)); k++ {
			of++
			if good(k) {
				n++
			}
		}
		if n*10 >= of*7 {
			return i
		}
	}
	for i := range rows {
		if good(i) {
			return i
		}
	}
	return -1
}

func isClock(c []byte) bool {
	for _, order := range []string{"dmy", "mdy", "ymd"} {
		if _, _, next, ok := scanClock(c, 0, 0, order); ok && next == len(c) {
			return true
		}
	}
	return false
}

// header finds the names, and the units where they stand with the names or on a
// line of their own.
func (s *sniffer) header(first int) {
	s.cols = make([]*colSniff, s.m.Columns)
	for i := range s.cols {
		s.cols[i] = &colSniff{ColumnView: ColumnView{Column: i + 1, Min: math.Inf(1), Max: math.Inf(-1)}}
	}
	var names, unitLine [][]byte
	for i := first - 1; i >= 0 && i >= first-3; i-- {
		f := splitLine(nil, bytes.TrimLeft(s.text[i], "#%"), s.delim)
		for len(f) > s.m.Columns && len(f[len(f)-1]) == 0 {
			f = f[:len(f)-1]
		}
		if len(f) != s.m.Columns {
			if s.m.Columns > 1 {
				continue
			}
		}
		known := 0
		for _, c := range f {
			if _, ok := unitOf(words(c)); ok || len(bytes.Trim(c, " ()[]-")) == 0 {
				known++
			}
		}
		if unitLine == nil && names == nil && known == len(f) && i > 0 {
			unitLine = f
			continue
		}
		names = f
		break
	}
	if names == nil && unitLine != nil { // a header of nothing but "s" and "V"
		names, unitLine = unitLine, nil
	}
	if names == nil {
		return
	}
	for i, c := range s.cols {
		if i < len(names) {
			c.Name = strings.TrimSpace(words(names[i]))
			c.unitWord = unitIn(c.Name)
		}
		if i < len(unitLine) {
			if w := strings.Trim(words(unitLine[i]), " ()[]"); w != "" {
				c.unitWord = w
			}
		}
		s.m.Header = append(s.m.Header, c.Name)
	}
}

// unitIn finds a unit in a column's name: in brackets, behind a slash or comma,
// or as its last word.
func unitIn(name string) string {
	for _, pair := range []string{"()", "[]", "{}"} {
		if a := strings.LastIndexByte(name, pair[0]); a >= 0 {
			if b := strings.IndexByte(name[a:], pair[1]); b > 0 {
				if w := strings.TrimSpace(name[a+1 : a+b]); w != "" {
					if _, ok := unitOf(w); ok {
						return w
					}
				}
			}
		}
	}
	if _, ok := unitOf(name); ok {
		return name
	}
	cut := strings.FieldsFunc(name, func(r rune) bool { return strings.ContainsRune(" _/,:-", r) })
	if len(cut) > 1 {
		if w := cut[len(cut)-1]; len(w) > 0 {
			if u, ok := unitOf(w); ok && (u.base != "mA" || w == "mA" || len(w) > 1) && w != "C" && w != "F" && w != "K" && w != "A" && w != "a" && w != "h" {
				return w
			}
		}
		if w := cut[len(cut)-2] + "/" + cut[len(cut)-1]; strings.HasSuffix(name, w) {
			if _, ok := unitOf(w); ok {
				return w
			}
		}
	}
	return ""
}

// columns gathers what each column holds.
func (s *sniffer) columns() {
	for i, f := range s.cells {
		if i < previewRows {
			row := make([]string, len(f))
			for k, c := range f {
				row[k] = words(c)
			}
			s.preview.Rows = append(s.preview.Rows, row)
		}
		for k, c := range s.cols {
			if k >= len(f) || len(f[k]) == 0 {
				c.Empty++
				continue
			}
			v, own, how := readCell(f[k], s.decimal)
			switch {
			case how == cellNumber && !isClock(f[k]):
				c.Numbers++
				if own.name != "" {
					c.ownUnit = own
				}
				c.values = append(c.values, v)
				c.rows = append(c.rows, i)
				c.Min, c.Max = min(c.Min, v), max(c.Max, v)
			case isClock(f[k]):
				c.Clocks++
			case how == cellEmpty || how == cellNaN:
				c.Empty++
			default:
				c.Words++
			}
		}
	}
	for _, c := range s.cols {
		if c.Numbers == 0 {
			c.Min, c.Max = 0, 0
		}
		s.preview.Columns = append(s.preview.Columns, c.ColumnView)
	}
}

// time chooses the time column.
func (s *sniffer) time() {
	type choice struct {
		Time
		score float64
	}
	best := choice{}
	consider := func(c choice) {
		if c.score > best.score {
			best = c
		}
	}
	rows := len(s.cells)
	for i, c := range s.cols {
		name := strings.ToLower(c.Name)
		if c.Clocks*10 >= rows*8 {
			t := Time{Column: i + 1, Kind: TimeClock, FromFirst: true}
			t.DateOrder = s.dateOrder(i)
			consider(choice{t, 3})
			continue
		}
		if c.Numbers*10 < rows*8 || len(c.values) < 2 {
			continue
		}
		rises, falls := 0, 0
		var steps []float64
		for k := 1; k < len(c.values); k++ {
			switch d := c.values[k] - c.values[k-1]; {
			case d > 0:
				rises++
				steps = append(steps, d)
			case d < 0:
				falls++
			}
		}
		if rises == 0 || falls*20 > rises || rises*4 < falls+rises && rises < 2 {
			continue
		}
		slices.Sort(steps)
		step := steps[len(steps)/2]
		u, hasUnit := unitOf(c.unitWord)
		if c.ownUnit.base == "s" {
			u, hasUnit = c.ownUnit, true
		}
		timeUnit := hasUnit && u.base == "s"
		score := 0.0
		why := ""
		switch {
		case hasAny(name, "since", "cleared", "mil", "trouble", "dtc", "warm"):
			continue
		case hasAny(name, "run"):
			score, why = 2.4, "its name says run time"
		case hasAny(name, "elapsed", "time stamp", "timestamp") || isTime(name):
			score, why = 2.5, "its name says time"
		case timeUnit:
			score, why = 2.2, "its unit is one of time"
		case hasAny(name, "sample", "index", "point", "no.", "number", "count", "row") || name == "n" || name == "#":
			score, why = 1.2, "its name says it numbers the samples"
		case name == "" && i == 0 && falls == 0:
			score, why = 1, "it is the first column and never falls"
		case name == "" && falls == 0 && rises*10 >= (len(c.values)-1)*9:
			score, why = 0.6, "it rises all the time"
		case i == 0 && falls == 0 && rises*10 >= (len(c.values)-1)*9 && !timeless(name):
			score, why = 0.8, "it is the first column and rises all the time"
		default:
			continue
		}
		score += 0.2 * float64(rises) / float64(len(c.values)-1)
		t := Time{Column: i + 1, Kind: TimeNumber, Reason: say.T(why)}
		if timeUnit {
			t.Unit, t.Confidence = u.name, 0.95
			t.Reason = say.T("%s; the unit %s is written", say.T(why), u.name)
		} else if hasUnit {
			continue
		} else {
			s.guessTimeUnit(&t, c, step, why)
		}
		if hasAny(name, "sample", "index", "point", "number", "count", "row") && !isTime(name) && !timeUnit {
			t.Kind, t.Unit = TimeIndex, ""
			t.RateHz = s.rateInPreamble()
			t.Confidence = 0.6
			t.Reason = say.T("it numbers the samples: the sampling rate is needed")
			if t.RateHz > 0 {
				t.Confidence, t.Reason = 0.9, say.T("it numbers the samples; the rate is written above the table")
			}
		}
		if v := c.values[0]; math.Abs(v) > 1e8 {
			t.FromFirst = true // counted from a fixed day
		}
		consider(choice{t, score})
	}
	s.m.Time = best.Time
	if best.score == 0 {
		s.m.Time = Time{Kind: TimeIndex, RateHz: s.rateInPreamble(), Confidence: 0.3,
			Reason: say.T("no column looks like a time: the rows are counted and the sampling rate is needed")}
		if s.m.Time.RateHz > 0 {
			s.m.Time.Confidence, s.m.Time.Reason = 0.9, say.T("the rows are counted; the rate is written above the table")
		}
	}
	if s.m.Time.Kind == TimeIndex && s.m.Time.RateHz == 0 {
		s.notes.note(NoTime, 0, s.m.Time.Column, func() (say.Text, say.Text) {
			return say.T("the table tells no time"), say.T("say how many samples per second were taken")
		})
	}
	if s.m.Time.Kind == TimeClock {
		s.m.Time.Confidence, s.m.Time.Reason = 0.95, say.T("it holds times of day")
	}
	s.preview.Step = s.step()
	if t := s.m.Time; t.Kind == TimeNumber && t.Confidence < 0.7 {
		s.notes.note(GuessUnsure, 0, t.Column, func() (say.Text, say.Text) {
			return say.T("the unit of the time is a guess (%s)", t.Unit), say.T("correct it if the recording was not as long as the picture says")
		})
	}
}

func timeless(name string) bool {
	return hasAny(name, "volt", "trim", "rpm", "speed", "load", "temp", "lambda", "o2", "sensor", "press", "flow")
}

func isTime(name string) bool {
	for _, w := range nameWords(name) {
		switch w {
		case "time", "t", "zeit", "clock", "seconds", "sec", "secs", "ms", "milliseconds", "timestamp":
			return true
		}
	}
	return false
}

// guessTimeUnit guesses the unit of a bare count from the rate it would mean:
// recorders take between one sample in some seconds and a million in one.
func (s *sniffer) guessTimeUnit(t *Time, c *colSniff, step float64, why string) {
	whole := true
	for _, v := range c.values {
		if v != math.Trunc(v) {
			whole = false
			break
		}
	}
	first := math.Abs(c.values[0])
	switch {
	case first > 1e17:
		t.Unit, t.Confidence = "ns", 0.8
		t.Reason = say.T("%s; it counts nanoseconds from 1970", say.T(why))
	case first > 1e14:
		t.Unit, t.Confidence = "µs", 0.8
		t.Reason = say.T("%s; it counts microseconds from 1970", say.T(why))
	case first > 1e11:
		t.Unit, t.Confidence = "ms", 0.8
		t.Reason = say.T("%s; it counts milliseconds from 1970", say.T(why))
	case first > 1e8:
		t.Unit, t.Confidence = "s", 0.8
		t.Reason = say.T("%s; it counts seconds from 1970", say.T(why))
	case !whole && step < 5:
		t.Unit, t.Confidence = "s", 0.85
		t.Reason = say.T("%s; steps of %.6g read best as seconds", say.T(why), step)
		if step > 0.9 { // fractions of a step that large are milliseconds
			t.Unit, t.Confidence = "ms", 0.55
			t.Reason = say.T("%s; steps of %.6g read best as milliseconds", say.T(why), step)
		}
	case !whole:
		t.Unit, t.Confidence = "ms", 0.6
		t.Reason = say.T("%s; steps of %.6g read best as milliseconds", say.T(why), step)
	case step <= 2:
		t.Unit, t.Confidence = "s", 0.6
		if strings.Contains(why, "run time") { // service 01 counts it in seconds
			t.Confidence = 0.85
		}
		t.Reason = say.T("%s; whole steps of %.6g read best as seconds", say.T(why), step)
		if c.Max-c.Min >= 1e4 || step == 1 && strings.Contains(strings.ToLower(c.Name), "ms") {
			t.Unit = "ms"
		}
	case step < 1500:
		t.Unit, t.Confidence = "ms", 0.75
		t.Reason = say.T("%s; whole steps of %.6g read best as milliseconds", say.T(why), step)
	default:
		t.Unit, t.Confidence = "µs", 0.6
		t.Reason = say.T("%s; whole steps of %.6g read best as microseconds", say.T(why), step)
	}
}

// rateInPreamble looks for a sampling rate or interval above the table.
func (s *sniffer) rateInPreamble() float64 {
	for i, line := range s.text {
		if s.at[i] >= s.m.DataLine {
			break
		}
		text := strings.ToLower(words(line))
		if !hasAny(text, "sampl", "interval", "increment", "rate") {
			continue
		}
		for _, f := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(" ,;:=\t|()[]\"", r) }) {
			v, next, ok := scanNumber([]byte(f), 0, '.')
			if !ok || !(v > 0) {
				continue
			}
			rest := f[next:]
			if rest == "" {
				if _, after, found := strings.Cut(text, f); found {
					if w := strings.Fields(strings.Trim(after, " ,;:=\t|()[]\"")); len(w) > 0 {
						rest = strings.Trim(w[0], " ,;:=()[]\"")
					}
				}
			}
			switch rest {
			case "hz", "s/s", "sa/s", "samples/s", "1/s":
				return v
			case "khz", "ks/s", "ksa/s":
				return v * 1000
			}
			if u, ok := unitOf(rest); ok && u.base == "s" {
				return 1 / u.to(v)
			}
			if hasAny(text, "rate") && v >= 1 {
				return v
			}
			if hasAny(text, "interval", "increment") && v < 10 {
				return 1 / v
			}
		}
	}
	return 0
}

// dateOrder tells in which order the numbers of a date stand, "" where the clock
// has no date.
func (s *sniffer) dateOrder(col int) string {
	dated, yearFirst := false, false
	maxA, maxB, firstSep := 0, 0, byte(0)
	lastA, lastB, movesA, movesB := -1, -1, 0, 0
	for _, f := range s.cells {
		if col >= len(f) {
			continue
		}
		c := f[col]
		a, i, ok := scanDigits(c, 0, 4)
		if !ok || i >= len(c) || c[i] != '-' && c[i] != '/' && c[i] != '.' {
			continue
		}
		b, j, ok := scanDigits(c, i+1, 2)
		if !ok || j >= len(c) || c[j] != c[i] {
			continue
		}
		dated = true
		firstSep = c[i]
		if i == 4 {
			yearFirst = true
		}
		maxA, maxB = max(maxA, a), max(maxB, b)
		if lastA >= 0 && a != lastA {
			movesA++
		}
		if lastB >= 0 && b != lastB {
			movesB++
		}
		lastA, lastB = a, b
	}
	switch {
	case !dated:
		return ""
	case yearFirst || maxA > 31:
		return "ymd"
	case maxA > 12:
		return "dmy"
	case maxB > 12:
		return "mdy"
	case movesB > movesA:
		return "mdy"
	case movesA > movesB || firstSep == '.':
		return "dmy"
	}
	s.notes.note(GuessUnsure, 0, col+1, func() (say.Text, say.Text) {
		return say.T("the dates read as day first or month first alike"), say.T("correct the order of the date if the recording runs past midnight")
	})
	return "dmy"
}

// step is the usual step of the guessed time, in seconds.
func (s *sniffer) step() float64 {
	t := s.m.Time
	if t.Kind == TimeIndex {
		if t.RateHz > 0 {
			return 1 / t.RateHz
		}
		return 0
	}
	var at []float64
	first := 0
	switch t.Kind {
	case TimeClock:
		for _, f := range s.cells {
			if t.Column <= len(f) {
				if day, sec, _, ok := scanClock(f[t.Column-1], 0, 0, t.DateOrder); ok {
					if len(at) == 0 {
						first = day
					}
					at = append(at, float64(day-first)*86400+sec)
				}
			}
		}
	default:
		u, _ := unitOf(t.Unit)
		for _, v := range s.cols[t.Column-1].values {
			at = append(at, u.to(v))
		}
	}
	var d []float64
	for i := 1; i < len(at); i++ {
		if at[i] > at[i-1] {
			d = append(d, at[i]-at[i-1])
		}
	}
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	return d[len(d)/2]
}

// channels guesses what the other columns measure.
func (s *sniffer) channels() error {
	numbers := 0
	for i, c := range s.cols {
		if i+1 == s.m.Time.Column {
			continue
		}
		if c.Numbers == 0 || c.Words > c.Numbers {
			if c.Words > 0 && !(fuelSystemName(c.Name)) {
				s.notes.note(TextColumn, s.m.DataLine, i+1, func() (say.Text, say.Text) {
					return say.T("column %d %s holds words, not numbers", i+1, quote(c.Name)), say.T("it is left out; nothing need be done")
				})
			}
			if !(c.Words > 0 && fuelSystemName(c.Name)) {
				continue
			}
		}
		numbers++
		s.m.Channels = append(s.m.Channels, s.classify(i, c))
	}
	if numbers == 0 {
		return &Problem{Kind: NoNumbers, Line: s.m.DataLine, What: say.T("no column of readings was found beside the time"),
			Mend: say.T("check that the recording holds numbers in columns"), Count: 1}
	}
	for _, c := range s.m.Channels {
		if c.Quantity != Other && c.Confidence < 0.6 {
			s.notes.note(GuessUnsure, 0, c.Column, func() (say.Text, say.Text) {
				return say.T("column %d %s is taken for %s by its values alone", c.Column, quote(c.Name), say.T(c.Quantity.Words())), say.T("correct it if it is something else")
			})
		}
	}
	return nil
}

func fuelSystemName(name string) bool {
	n := strings.ToLower(name)
	return hasAny(n, "fuel sys", "fuel_sys", "fuelsys", "loop")
}

// classify guesses quantity, unit and place of one column from its name, and from
// its values where the name says nothing.
func (s *sniffer) classify(i int, c *colSniff) Column {
	out := Column{Column: i + 1, Name: c.Name}
	if out.Name == "" {
		out.Name = "column " + strconv.Itoa(i+1)
	}
	u, hasUnit := unitOf(c.unitWord)
	if c.ownUnit.name != "" {
		u, hasUnit = c.ownUnit, true
	}
	out.Bank, out.Position = placeIn(c.Name)
	q, conf, why := byName(c.Name, u, hasUnit)
	if q == "" {
		q, conf, why = byValues(c, u, hasUnit)
	}
	out.Quantity, out.Confidence, out.Reason = q, conf, why
	k, _ := kindOf(q)
	switch {
	case q == Other:
		out.Unit = c.unitWord
		if out.Confidence == 0 {
			out.Confidence = 0.3
		}
	case hasUnit && u.base == k.unit:
		out.Unit = u.name
		if s.implausible(c, u, k) {
			s.notes.note(WrongUnit, 0, i+1, func() (say.Text, say.Text) {
				return say.T("values up to %.6g %s are not a %s", c.Max, u.name, say.T(k.words)), say.T("check the unit of column %d", i+1)
			})
			out.Confidence = min(out.Confidence, 0.4)
		}
	default:
		out.Unit = k.unit
		if q == SensorVoltage && c.Max > 20 {
			out.Unit = "mV"
			out.Reason = say.T("%s; values up to %.6g read as mV", out.Reason, c.Max)
			out.Confidence *= 0.9
		}
		if q == SensorLambda && c.Min > 5 {
			out.Unit = "AFR"
			out.Reason = say.T("%s; values about %.6g read as air-fuel ratio", out.Reason, (c.Min+c.Max)/2)
			out.Confidence *= 0.9
		}
	}
	if !(q == SensorVoltage || q == SensorLambda || q == PumpCurrent || q == ShortTrim || q == LongTrim || q == CatalystTemp) {
		out.Bank, out.Position = 0, 0
	}
	if q == ShortTrim || q == LongTrim {
		out.Position = 0
		out.Bank = max(out.Bank, 1)
	}
	return out
}

func (s *sniffer) implausible(c *colSniff, u unit, k kind) bool {
	if len(c.values) == 0 {
		return false
	}
	v := slices.Sorted(slices.Values(c.values))
	m := u.to(median(v))
	return m < k.min || m > k.max || k.quantity == SensorVoltage && math.Abs(m) > 6
}
