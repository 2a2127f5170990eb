package obd

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"

	"crosscount/diag/say"
)

const (
	maxLine    = 64 << 10 // bytes of one line
	maxMessage = 4095     // bytes of one answer, ISO 15765-2
)

// Decode reads a text of SAE J1979 responses: services 01, 02, 03, 05, 06, 07, 09
// and 0A, one line each frame or answer. It takes
//   - answers on CAN (ISO 15765-4) with a header of 11 or 29 bits, without one,
//     with or without the protocol bytes, or as numbered lines after a length line;
//   - answers of older buses with their three header bytes and checksum, or bare;
//   - SocketCAN candump text, plain or as a log;
//   - a time stamp before each line: epoch seconds, seconds with a point, whole
//     milliseconds, a clock, a date and clock; a line without one takes the last;
//   - echo, prompts, blank or run-together digits, and words such as NO DATA, which
//     are stepped over.
//
// The text is streamed; memory is bounded whatever its length (at most 1,048,576
// samples are kept, all values count in Min, Max and Last). What cannot be read is
// named in Notes, and everything else is kept. The error is a *Error when nothing
// at all could be read, or wraps r's error; the result is never nil.
func Decode(r io.Reader) (*Result, error) {
	return newDecoder().run(r)
}

func newDecoder() *decoder {
	return &decoder{
		links:      make(map[Module]*link),
		series:     make(map[seriesKey]*series),
		supported:  make(map[Module]*[8]uint32),
		identities: make(map[Module]*identity),
		maxSamples: maxSamples,
	}
}

// decoder turns lines into messages and messages into a result.
type decoder struct {
	parser  lineParser
	links   map[Module]*link // one open answer for each module
	numbers link             // the open numbered answer
	line    int
	notes   notes
	result  Result

	// onMessage, when set, sees every whole or cut-off answer; tests use it.
	onMessage func(m message)

	clock     ClockKind
	start     int64 // first time stamp
	now       int64 // last time stamp
	dayShift  int64 // nanoseconds added after midnight
	other     int   // frames of other identifiers
	otherLine int

	lastBare     uint16 // service and PID of the last bare answer, when nothing came between
	lastBareLine int

	series     map[seriesKey]*series
	samples    int
	maxSamples int
	supported  map[Module]*[8]uint32
	identities map[Module]*identity
	modules    []Module
}

// link is the state of one answer in several frames.
type link struct {
	open   bool
	module Module
	can    bool
	buf    []byte
	want   int // bytes the answer has, 0 when unknown
	next   int // next sequence number, 0 to 15
	line   int
	nanos  int64
	timed  bool
	broken bool // a part is missing: what follows is not used
}

// message is one answer: service plus 40, and what follows.
type message struct {
	module  Module
	payload []byte
	can     bool // known to come from CAN
	old     bool // known to come from an older bus
	partial bool // cut off: the end is missing
	line    int
	nanos   int64
	timed   bool
}

func (d *decoder) run(r io.Reader) (*Result, error) {
	scanner := bufio.NewScanner(r)
	scanner.Buffer(make([]byte, maxLine), maxLine)
	long := false // the token is a piece of a line that is too long
	scanner.Split(func(data []byte, atEOF bool) (int, []byte, error) {
		long = false
		for i, b := range data {
			switch {
			case b == '\n', b == '\r' && i+1 < len(data) && data[i+1] != '\n', b == '\r' && i+1 == len(data) && atEOF:
				return i + 1, data[:i], nil
			case b == '\r' && i+1 < len(data):
				return i + 2, data[:i], nil
			}
		}
		if len(data) >= maxLine-1 {
			long = true
			return len(data), data, nil
		}
		if atEOF && len(data) > 0 {
			return len(data), data, nil
		}
		return 0, nil, nil
	})
	inLong := false
	for scanner.Scan() {
		line := scanner.Bytes()
		if inLong {
			inLong = long // the rest of a line that is too long
			continue
		}
		d.line++
		if d.line == 1 {
			switch {
			case bytes.HasPrefix(line, []byte{0xFF, 0xFE}), bytes.HasPrefix(line, []byte{0xFE, 0xFF}):
				return d.fail(&Error{1, say.T("the text is in UTF-16"), say.T("save it as plain text or UTF-8")})
			}
			line = bytes.TrimPrefix(line, []byte("\ufeff"))
		}
		if long {
			inLong = true
			d.notes.add(d.line, Damaged, say.T("line longer than 64 KiB"), "give one frame or answer on each line")
			continue
		}
		d.take(line)
	}
	d.finish()
	if err := scanner.Err(); err != nil {
		return &d.result, fmt.Errorf("read responses after line %d: %w", d.line, err)
	}
	if d.result.Messages == 0 {
		problem := "no response of services 01 to 0A in the text"
		if d.line == 0 {
			problem = "the text is empty"
		}
		return &d.result, &Error{0, say.T(problem), say.T("paste what the car answered, such as 41 0C 1A F8 or 7E8 06 41 00 BE 3F A8 13")}
	}
	return &d.result, nil
}

func (d *decoder) fail(err *Error) (*Result, error) {
	d.finish()
	return &d.result, err
}

// take reads one line.
func (d *decoder) take(line []byte) {
	bare, ok := d.links[""]
	f := d.parser.parse(line, ok && bare.open)
	if f.clock != NoClock {
		d.tick(f)
	}
	if f.kind != lineNumbered && f.kind != lineBlank {
		d.endNumbered()
	}
	if f.kind != linePayload {
		d.lastBareLine = 0
	}
	switch f.kind {
	case lineBlank, lineRequest, lineFlow:
	case lineStatus:
		d.status(f.note)
	case lineBad:
		kind := Ignored
		if f.damage {
			kind = Damaged
		}
		d.notes.add(d.line, kind, say.T(f.note), f.mend)
	case lineOther:
		if d.other == 0 {
			d.otherLine = d.line
		}
		d.other++
	case lineCount:
		d.numbers = link{open: true, can: true, want: f.count, line: d.line, nanos: d.now, timed: d.clock != NoClock, buf: d.numbers.buf[:0]}
	case lineNumbered:
		d.numbered(f)
	case lineFrame:
		d.frame(f)
	case linePayload:
		if l, ok := d.links[f.module]; ok && l.open {
			d.cutOff(l)
		}
		d.severalModules(f)
		d.message(message{module: f.module, payload: f.data, can: f.can, old: f.old, line: d.line, nanos: d.now, timed: d.clock != NoClock})
	}
}

// severalModules remarks on two bare answers in a row to the same request.
func (d *decoder) severalModules(f frame) {
	if f.module != "" || f.clock != NoClock || len(f.data) < 2 || f.data[0] == 0x49 {
		return
	}
	key := uint16(f.data[0])<<8 | uint16(f.data[1])
	static := f.data[0] == 0x41 && (f.data[1]&0x1F == 0 || f.data[1] == 1 || f.data[1] == 0x13 || f.data[1] == 0x1D)
	if static && key == d.lastBare && d.lastBareLine == d.line-1 {
		d.notes.add(d.line, Assumed, say.T("two answers in a row to the same request, so several modules may be answering"),
			"read again with headers shown to keep them apart")
	}
	d.lastBare, d.lastBareLine = key, d.line
}

func (d *decoder) status(words string) {
	upper := strings.ToUpper(words)
	switch {
	case strings.Contains(upper, "ERROR"), strings.Contains(upper, "FULL"), strings.Contains(upper, "UNABLE"):
		d.notes.add(d.line, Damaged, say.T("%q: an answer was lost here", words), "read again")
	case strings.Contains(upper, "NO DATA"):
		d.notes.add(d.line, Ignored, say.T("%q: the car gave no answer to this request", words), "")
	default:
		if _, err := ParseCode(words); err == nil {
			d.notes.add(d.line, Ignored, say.T("%q is a trouble code, not a response", words), "enter it as a code")
			return
		}
		d.notes.add(d.line, Ignored, say.T("%q is not a response", words), "")
	}
}

// tick moves the clock on.
func (d *decoder) tick(f frame) {
	if d.clock == NoClock {
		d.clock, d.start, d.now = f.clock, f.nanos, f.nanos
		if f.clock == MillisClock {
			d.notes.add(d.line, Assumed, say.T("time stamps are whole numbers and are taken as milliseconds"), "give seconds with a point if they are not")
		}
		return
	}
	if f.clock != d.clock {
		d.notes.add(d.line, Assumed, say.T("another kind of time stamp than before, so the last time is kept"), "use one kind of time stamp in a text")
		return
	}
	at := f.nanos + d.dayShift
	if d.clock == DayClock && at < d.now-12*3600e9 {
		d.dayShift += 24 * 3600e9
		at += 24 * 3600e9
	}
	if at < d.now {
		d.notes.add(d.line, Damaged, say.T("the clock runs backwards here; the values count, but stay out of the time series until it has caught up"),
			"put the lines in the order they were recorded")
	}
	d.now = at
}

// frame takes one CAN frame with its protocol byte (ISO 15765-2).
func (d *decoder) frame(f frame) {
	l, ok := d.links[f.module]
	if !ok {
		if len(d.links) >= 512 {
			d.notes.add(d.line, Damaged, say.T("too many modules answer"), "give one car's responses at a time")
			return
		}
		l = &link{module: f.module, can: true}
		d.links[f.module] = l
	}
	b := f.data
	switch b[0] >> 4 {
	case 0:
		if l.open {
			d.cutOff(l)
		}
		n := int(b[0] & 0x0F)
		partial := n > len(b)-1
		if n == 0 || n > 7 {
			d.notes.add(d.line, Damaged, say.T("single frame with an impossible length"), "read again")
			return
		}
		if partial {
			d.notes.add(d.line, Damaged, say.T("answer cut off: %d of %d bytes are here", len(b)-1, n), "read again and paste the whole line")
		}
		d.message(message{module: f.module, payload: b[1:min(len(b), 1+n)], can: true, partial: partial,
			line: d.line, nanos: d.now, timed: d.clock != NoClock})
	case 1:
		if l.open {
			d.cutOff(l)
		}
		if len(b) < 3 {
			d.notes.add(d.line, Damaged, say.T("first frame of a long answer cut off"), "read again and paste the whole line")
			return
		}
		want := int(b[0]&0x0F)<<8 | int(b[1])
		if want < 2 {
			d.notes.add(d.line, Damaged, say.T("first frame with an impossible length"), "read again")
			return
		}
		*l = link{open: true, module: f.module, can: true, want: want, next: 1, line: d.line,
			nanos: d.now, timed: d.clock != NoClock, buf: append(l.buf[:0], b[2:]...)}
		if len(b) < 8 && len(l.buf) < want {
			l.broken = true
		}
		d.complete(l)
	case 2:
		switch seq := int(b[0] & 0x0F); {
		case !l.open:
			d.notes.add(d.line, Damaged, say.T("part of a long answer whose beginning is missing"), "read again and paste all lines of the answer")
		case l.broken:
		case seq != l.next:
			l.broken = true // what follows would stand in the wrong place
		default:
			l.buf = append(l.buf, b[1:]...)
			l.next = (l.next + 1) & 0x0F
			if len(b) < 8 && len(l.buf) < l.want {
				l.broken = true
			}
			d.complete(l)
		}
	default:
		d.notes.add(d.line, Ignored, say.T("CAN frame that is no response of services 01 to 0A"), "")
	}
}

// complete passes an answer on when all of it is there.
func (d *decoder) complete(l *link) {
	if l.want == 0 || len(l.buf) < l.want {
		return
	}
	l.open = false
	d.message(message{module: l.module, payload: l.buf[:l.want], can: l.can, line: l.line, nanos: l.nanos, timed: l.timed})
}

// cutOff passes on what there is of an answer whose end never came.
func (d *decoder) cutOff(l *link) {
	l.open = false
	what := say.T("long answer cut off: %d of an unknown number of bytes are here in order", len(l.buf))
	if l.want > 0 {
		what = say.T("long answer cut off: %d of %d bytes are here in order", len(l.buf), l.want)
	}
	if l.module != "" {
		what.Format = strings.Replace(what.Format, "answer", "answer of %s", 1)
		what.Args = append([]any{string(l.module)}, what.Args...)
	}
	d.notes.add(l.line, Damaged, what, "read again and paste every line of the answer; what is here is kept")
	if len(l.buf) > 0 {
		d.message(message{module: l.module, payload: l.buf, can: l.can, partial: true, line: l.line, nanos: l.nanos, timed: l.timed})
	}
}

// numbered takes one line "n: bytes".
func (d *decoder) numbered(f frame) {
	l := &d.numbers
	if f.index == 0 && len(l.buf) == 0 {
		if !l.open {
			*l = link{open: true, can: true, line: d.line, nanos: d.now, timed: d.clock != NoClock, buf: l.buf[:0]}
		}
	} else if !l.open {
		if f.index != 0 {
			d.notes.add(d.line, Damaged, say.T("part of a long answer whose beginning is missing"), "read again and paste all lines of the answer")
			return
		}
	} else if f.index == 0 && l.next != 0 {
		// A second answer begins; without headers two modules cannot be told apart.
		d.notes.add(d.line, Assumed, say.T("a numbered answer begins before the last one ended, so several modules may be answering"),
			"read again with headers shown to keep them apart")
		d.cutOff(l)
		*l = link{open: true, can: true, line: d.line, nanos: d.now, timed: d.clock != NoClock, buf: l.buf[:0]}
	}
	if l.broken {
		return
	}
	if f.index != l.next || len(l.buf) > maxMessage {
		l.broken = true
		return
	}
	l.buf = append(l.buf, f.data...)
	l.next = (l.next + 1) & 0x0F
	d.complete(l)
	if !l.open {
		l.buf, l.next = l.buf[:0], 0
	}
}

// endNumbered closes a numbered answer when another line follows.
func (d *decoder) endNumbered() {
	l := &d.numbers
	if !l.open {
		return
	}
	switch {
	case l.want == 0 && !l.broken && len(l.buf) > 0:
		// No length line: the end is the end of the numbered lines.
		l.open = false
		d.message(message{payload: l.buf, can: true, line: l.line, nanos: l.nanos, timed: l.timed})
	case l.want > 0 && len(l.buf) == 0:
		l.open = false
		d.notes.add(l.line, Ignored, say.T("three digits that are no response"), "")
	default:
		d.cutOff(l)
	}
	l.buf, l.next, l.open, l.broken = l.buf[:0], 0, false, false
}

// message counts and decodes one answer.
func (d *decoder) message(m message) {
	if d.onMessage != nil {
		d.onMessage(m)
	}
	if len(m.payload) == 0 {
		return
	}
	if !slices.Contains(d.modules, m.module) {
		if len(d.modules) >= maxModules {
			d.notes.add(m.line, Damaged, say.T("too many modules answer"), "give one car's responses at a time")
			return
		}
		d.modules = append(d.modules, m.module)
	}
	d.service(m)
}

// damaged notes that an answer is too short.
func (d *decoder) damaged(m message, what say.Text) {
	if m.partial {
		return // said when it was found to be cut off
	}
	d.notes.add(m.line, Damaged, what, "read again and paste the whole answer")
}

// finish closes what is open and fills in the result.
func (d *decoder) finish() {
	d.endNumbered()
	for _, l := range d.openLinks() {
		d.cutOff(l)
	}
	if d.other > 0 {
		d.notes.add(d.otherLine, Ignored, say.T("%d frames of other bus traffic", d.other), "")
	}
	d.collect()
	r := &d.result
	r.Lines = d.line
	r.Clock = d.clock
	r.Start = float64(d.start) / 1e9
	r.Modules = slices.Sorted(slices.Values(d.modules))
	slices.SortStableFunc(d.notes.list, func(a, b Note) int { return a.Line - b.Line })
	r.Notes = d.notes.list
}

// openLinks lists answers that never ended, in the order they began.
func (d *decoder) openLinks() []*link {
	var open []*link
	for _, l := range d.links {
		if l.open {
			open = append(open, l)
		}
	}
	slices.SortFunc(open, func(a, b *link) int { return a.line - b.line })
	return open
}
