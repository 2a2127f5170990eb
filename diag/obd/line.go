package obd

import (
	"bytes"
	"fmt"
	"strings"
	"time"
)

// lineKind says what one line of text turned out to be.
type lineKind int

const (
	lineBlank    lineKind = iota
	lineFrame             // bytes from a module, on CAN with its protocol bytes
	linePayload           // bytes of a whole answer, without protocol bytes
	lineNumbered          // "0: 49 02 01 …", a part of a long answer
	lineCount             // "014", the length of the numbered answer that follows
	lineRequest           // what was asked, by echo or on the bus
	lineFlow              // flow control on CAN
	lineOther             // bus traffic of other identifiers
	lineStatus            // words: NO DATA, SEARCHING...
	lineBad               // bytes that are no answer, or damaged ones
)

// frame is one line, taken apart. data points into the parser's buffer.
type frame struct {
	kind   lineKind
	module Module
	can    bool // known to come from CAN
	old    bool // known to come from an older bus
	data   []byte
	index  int // of a numbered line
	count  int // of a count line

	clock  ClockKind
	nanos  int64  // on clock
	note   string // why a line is bad, or the words of a status line
	mend   string
	damage bool // the note is about damage, not about something ignorable
}

// lineParser turns lines into frames. It keeps buffers and nothing else.
type lineParser struct {
	tokens  [][]byte
	buf     []byte
	modules map[uint64]Module
}

// hexDigits gives each hexadecimal digit its value plus one, all else zero.
var hexDigits = func() (t [256]byte) {
	for v := range byte(16) {
		t["0123456789ABCDEF"[v]], t["0123456789abcdef"[v]] = v+1, v+1
	}
	return t
}()

func isHex(b byte) bool  { return hexDigits[b] != 0 }
func nibble(b byte) byte { return hexDigits[b] - 1 }

func allHex(t []byte) bool {
	for _, b := range t {
		if !isHex(b) {
			return false
		}
	}
	return len(t) > 0
}

func allDigits(t []byte) bool {
	for _, b := range t {
		if b < '0' || b > '9' {
			return false
		}
	}
	return len(t) > 0
}

func hexValue(t []byte) uint32 {
	var v uint32
	for _, b := range t {
		v = v<<4 | uint32(nibble(b))
	}
	return v
}

// isAnswer tells whether a byte opens an answer: service 01 to 0A plus 40, or a
// refusal.
func isAnswer(b byte) bool { return b >= 0x41 && b <= 0x4A || b == 0x7F }

// split cuts a line at blanks, commas, semicolons and quotes.
func (p *lineParser) split(line []byte) {
	p.tokens = p.tokens[:0]
	start := -1
	for i, b := range line {
		switch b {
		case ' ', '\t', ',', ';', '"', 0:
			if start >= 0 {
				p.tokens = append(p.tokens, line[start:i])
				start = -1
			}
		default:
			if start < 0 {
				start = i
			}
		}
	}
	if start >= 0 {
		p.tokens = append(p.tokens, line[start:])
	}
}

// parse takes one line apart. open tells whether a long answer without a header
// has begun, so that a consecutive frame may follow.
func (p *lineParser) parse(line []byte, open bool) frame {
	line = bytes.Trim(line, " \t>\x00")
	if len(line) == 0 {
		return frame{}
	}
	for _, b := range line {
		if b < ' ' && b != '\t' && b != 0 || b == 0x7F {
			return frame{kind: lineBad, damage: true, note: "not text", mend: "give the responses as plain text"}
		}
	}
	p.split(line)
	tokens := p.tokens
	var f frame
	used := 0
	f.clock, f.nanos, used = takeTime(tokens)
	tokens = tokens[used:]
	if len(tokens) == 0 {
		f.kind = lineBlank
		return f
	}
	if p.socketCAN(&f, tokens) {
		return f
	}
	p.plain(&f, tokens, open)
	return f
}

// takeTime reads a time stamp at the start of a line and tells how many tokens it
// took; without one the clock is NoClock. A direction word after it is stepped over.
func takeTime(tokens [][]byte) (ClockKind, int64, int) {
	trim := func(t []byte) []byte { return bytes.Trim(t, "()[]") }
	if len(tokens) == 0 {
		return NoClock, 0, 0
	}
	first := trim(tokens[0])
	if len(first) == 0 {
		return NoClock, 0, 0
	}
	if c := first[0]; (c < '0' || c > '9') && c != '+' {
		return NoClock, 0, 0
	}
	after := func(n int) int {
		for n < len(tokens) && isDirection(tokens[n]) {
			n++
		}
		return n
	}
	// A date, alone, with a clock glued on, or with the clock in the next token.
	if len(first) >= 10 && first[4] == '-' && first[7] == '-' {
		text := string(bytes.TrimRight(first, ":"))
		n := 1
		if len(first) == 10 {
			if len(tokens) < 2 {
				return NoClock, 0, 0
			}
			text += "T" + string(bytes.TrimRight(trim(tokens[1]), ":"))
			n = 2
		}
		for _, layout := range []string{time.RFC3339Nano, "2006-01-02T15:04:05.999999999"} {
			if at, err := time.Parse(layout, text); err == nil && at.Year() >= 1678 && at.Year() <= 2261 {
				return EpochClock, at.UnixNano(), after(n)
			}
		}
		return NoClock, 0, 0
	}
	if first[len(first)-1] == ':' {
		first = first[:len(first)-1]
	}
	if at, ok := clockTime(first); ok {
		return DayClock, at, after(1)
	}
	first = bytes.TrimPrefix(first, []byte("+"))
	first = bytes.TrimSuffix(first, []byte("s"))
	whole, fraction, dotted := bytes.Cut(first, []byte("."))
	switch {
	case dotted && allDigits(whole) && allDigits(fraction) && len(whole) <= 10:
		at := decimal(whole)*1e9 + nanos(fraction)
		if len(whole) == 10 {
			return EpochClock, at, after(1)
		}
		return RelativeClock, at, after(1)
	case !dotted && allDigits(whole) && len(tokens) > 1 && len(whole) == 10:
		return EpochClock, decimal(whole) * 1e9, after(1)
	case !dotted && allDigits(whole) && len(tokens) > 1 && len(whole) == 13:
		return EpochClock, decimal(whole) * 1e6, after(1)
	case !dotted && allDigits(whole) && len(whole) <= 9 && wholeMillis(tokens):
		return MillisClock, decimal(whole) * 1e6, after(1)
	}
	return NoClock, 0, 0
}

// wholeMillis tells whether a first token of digits is a time: it stands before an
// answer or a header, does not have the length of a byte beside bytes, and is not the
// request of that answer.
func wholeMillis(tokens [][]byte) bool {
	if len(tokens) < 2 || len(tokens[1]) < 2 {
		return false
	}
	first, next := tokens[0], tokens[1]
	if len(next) < 2 || !allHex(next[:2]) {
		return false
	}
	header := len(next) >= 3 && (next[0] == '7' && (next[1] == 'E' || next[1] == 'e')) || len(next) >= 6 && hexPrefix(next, "18DAF1")
	answer := isAnswer(nibble(next[0])<<4 | nibble(next[1]))
	switch {
	case !header && !answer, first[len(first)-1] == ':' && len(first) == 2: // a numbered line
		return false
	case len(first) == 2 && !header && len(next) == 2:
		return false
	case len(first) == 4 && answer && nibble(first[0])<<4|nibble(first[1])|0x40 == nibble(next[0])<<4|nibble(next[1]):
		return false // 0105 41 05 7B: request and answer
	}
	return true
}

func hexPrefix(t []byte, prefix string) bool {
	return len(t) >= len(prefix) && strings.EqualFold(string(t[:len(prefix)]), prefix)
}

func isDirection(t []byte) bool {
	switch string(t) {
	case "RX", "Rx", "rx", "R", "<", "<-", "<<", "->", "-", ":":
		return true
	}
	return false
}

// clockTime reads h:mm:ss with an optional fraction, or mm:ss with one.
func clockTime(t []byte) (int64, bool) {
	if bytes.IndexByte(t, ':') < 0 {
		return 0, false
	}
	whole, fraction, dotted := bytes.Cut(t, []byte("."))
	if dotted && !allDigits(fraction) {
		return 0, false
	}
	parts := bytes.Split(whole, []byte(":"))
	if len(parts) != 3 && (len(parts) != 2 || !dotted) {
		return 0, false
	}
	var seconds int64
	for i, part := range parts {
		if !allDigits(part) || len(part) > 2 || i > 0 && len(part) != 2 {
			return 0, false
		}
		seconds = seconds*60 + decimal(part)
	}
	return seconds*1e9 + nanos(fraction), true
}

func decimal(t []byte) int64 {
	var v int64
	for _, b := range t {
		v = v*10 + int64(b-'0')
	}
	return v
}

// nanos reads the digits after the point.
func nanos(t []byte) int64 {
	var v int64
	for i := range 9 {
		v *= 10
		if i < len(t) {
			v += int64(t[i] - '0')
		}
	}
	return v
}

// socketCAN reads the two texts of candump: "can0 7E8#06410C1AF8" and
// "can0  7E8   [8]  06 41 0C 1A F8 00 00 00".
func (p *lineParser) socketCAN(f *frame, tokens [][]byte) bool {
	for i, t := range tokens[:min(len(tokens), 2)] {
		id, data, found := bytes.Cut(t, []byte("#"))
		if !found {
			continue
		}
		if i == 0 && len(tokens) > 1 && !allHex(id) || !allHex(id) || len(id) > 8 {
			return false
		}
		switch {
		case len(data) > 0 && data[0] == '#':
			f.kind, f.note, f.mend = lineBad, "CAN FD frame", "the services read here use classic CAN"
			return true
		case len(data) > 0 && (data[0] == 'R' || data[0] == 'r'):
			f.kind = lineOther
			return true
		}
		p.buf = p.buf[:0]
		for j := 0; j < len(data); {
			if data[j] == '.' {
				j++
				continue
			}
			if j+1 >= len(data) || !isHex(data[j]) || !isHex(data[j+1]) {
				f.bad("CAN frame cut off or not hexadecimal", "give the line as it was recorded")
				return true
			}
			p.buf = append(p.buf, nibble(data[j])<<4|nibble(data[j+1]))
			j += 2
		}
		p.canFrame(f, hexValue(id), len(id) > 3)
		return true
	}
	for i := 1; i < min(len(tokens), 7); i++ {
		t := tokens[i]
		if len(t) < 3 || t[0] != '[' || t[len(t)-1] != ']' || !allDigits(t[1:len(t)-1]) {
			continue
		}
		id := tokens[i-1]
		if !allHex(id) || len(id) > 8 || len(id) < 3 {
			return false
		}
		n := int(decimal(t[1:min(len(t)-1, 4)]))
		if n > 8 {
			f.kind, f.note, f.mend = lineBad, "CAN FD frame", "the services read here use classic CAN"
			return true
		}
		p.buf = p.buf[:0]
		for _, b := range tokens[i+1 : min(len(tokens), i+1+n)] {
			if len(b) != 2 || !allHex(b) {
				break
			}
			p.buf = append(p.buf, byte(hexValue(b)))
		}
		if len(p.buf) < n {
			f.bad("CAN frame cut off", "give the line as it was recorded")
			return true
		}
		p.canFrame(f, hexValue(id), len(id) > 3)
		return true
	}
	return false
}

func (f *frame) bad(note, mend string) {
	f.kind, f.damage, f.note, f.mend = lineBad, true, note, mend
}

// canFrame sorts p.buf by its identifier: ISO 15765-4 answers on 7E8 to 7EF, or
// 18DAF1xx; requests on 7DF, 7E0 to 7E7, 18DB33F1, 18DAxxF1.
func (p *lineParser) canFrame(f *frame, id uint32, extended bool) {
	f.can, f.data, f.kind = true, p.buf, lineOther
	if extended && id <= 0x7FF {
		extended = false // written with leading zeros
	}
	switch {
	case !extended && id >= 0x7E8 && id <= 0x7EF,
		extended && id&0xFFFFFF00 == 0x18DAF100:
		f.kind = lineFrame
	case !extended && (id == 0x7DF || id >= 0x7E0 && id <= 0x7E7),
		extended && (id == 0x18DB33F1 || id&0xFFFF00FF == 0x18DA00F1):
		f.kind = lineRequest
		return
	default:
		return
	}
	f.module = p.moduleName(id, extended)
	switch {
	case len(f.data) == 0:
		f.bad("CAN frame without data", "give the line as it was recorded")
	case f.data[0]>>4 == 3:
		f.kind = lineFlow
	case isAnswer(f.data[0]):
		f.kind = linePayload // shown without its protocol byte
	}
}

func (p *lineParser) moduleName(id uint32, extended bool) Module {
	key := uint64(id)
	if extended {
		key |= 1 << 32
	}
	if m, ok := p.modules[key]; ok {
		return m
	}
	m := Module(fmt.Sprintf("%03X", id))
	if extended {
		m = Module(fmt.Sprintf("%08X", id))
	}
	if p.modules == nil {
		p.modules = make(map[uint64]Module)
	}
	if len(p.modules) < 1024 {
		p.modules[key] = m
	}
	return m
}

// plain reads every other text: hexadecimal bytes with or without a header, line
// numbers, requests and words.
func (p *lineParser) plain(f *frame, tokens [][]byte, open bool) {
	// Numbered part of a long answer: "0: 49 02 01", "1:47503030".
	if t := tokens[0]; len(t) >= 2 && t[1] == ':' && isHex(t[0]) {
		f.index = int(nibble(t[0]))
		rest := tokens[1:]
		if len(t) > 2 {
			tokens[0] = t[2:]
			rest = tokens
		}
		if p.join(f, rest) {
			f.kind, f.can, f.data = lineNumbered, true, p.buf
		}
		return
	}
	rest := hexTail(tokens)
	if rest == nil {
		f.kind, f.note = lineStatus, statusWords(tokens)
		return
	}
	tokens = rest
	// The length of the numbered answer that follows.
	if len(tokens) == 1 && len(tokens[0]) == 3 {
		f.kind, f.can, f.count = lineCount, true, int(hexValue(tokens[0]))
		return
	}
	id, extended, hasID := uint32(0), false, false
	switch t := tokens[0]; {
	case len(t) == 3:
		id, hasID, tokens = hexValue(t), true, tokens[1:]
	case len(t) == 8 && len(tokens) > 1:
		id, extended, hasID, tokens = hexValue(t), true, true, tokens[1:]
	case len(tokens) == 1 && len(t)%2 == 1 && t[0] == '7' && len(t) >= 5:
		id, hasID = hexValue(t[:3]), true
		tokens[0] = t[3:]
	}
	if hasID {
		// A single digit after the header is the frame's length when it counts what follows.
		if len(tokens) > 1 && len(tokens[0]) == 1 && int(nibble(tokens[0][0])) == len(tokens)-1 {
			tokens = tokens[1:]
		}
		if p.join(f, tokens) {
			p.canFrame(f, id, extended)
		}
		return
	}
	if !p.join(f, tokens) {
		return
	}
	b := p.buf
	switch {
	case len(b) >= 5 && b[0] == 0x18 && (b[1] == 0xDA || b[1] == 0xDB),
		len(b) >= 5 && b[0] == 0 && b[1] == 0 && b[2] == 0x07 && b[3] >= 0xDF && b[3] <= 0xEF:
		id := uint32(b[0])<<24 | uint32(b[1])<<16 | uint32(b[2])<<8 | uint32(b[3])
		p.buf = append(p.buf[:0], b[4:]...)
		p.canFrame(f, id, true)
	case p.oldHeader(f, b):
	default:
		bare(f, b, open)
	}
}

// hexTail gives the tokens from the first hexadecimal one on, when all of them are
// hexadecimal and amount to more than a word; nil otherwise. A word before them,
// such as "SEARCHING...4100BE3EB813" or "Rx: 41 0C", is stepped over.
func hexTail(tokens [][]byte) [][]byte {
	for i, t := range tokens {
		t = withoutPrefix(t)
		if !allHex(t) {
			if cut := bytes.LastIndexAny(t, ".:"); cut >= 0 && cut+5 <= len(t) && allHex(t[cut+1:]) {
				t = t[cut+1:]
			} else {
				continue
			}
		}
		digits := 0
		tail := tokens[i:]
		for j, u := range tail {
			if j == 0 {
				u = t
			} else {
				u = withoutPrefix(u)
			}
			if !allHex(u) {
				// Nothing but a direction mark may follow the bytes.
				if j == len(tail)-1 && len(u) == 1 && (u[0] == 'R' || u[0] == 'T') {
					tail = tail[:j]
					break
				}
				return nil
			}
			tail[j] = u
			digits += len(u)
		}
		if i > 0 && digits < 4 {
			return nil
		}
		return tail
	}
	return nil
}

// withoutPrefix takes 0x off a token.
func withoutPrefix(t []byte) []byte {
	if len(t) > 2 && t[0] == '0' && (t[1] == 'x' || t[1] == 'X') {
		return t[2:]
	}
	return t
}

// join puts tokens of whole bytes into p.buf.
func (p *lineParser) join(f *frame, tokens [][]byte) bool {
	p.buf = p.buf[:0]
	for _, t := range tokens {
		if !allHex(t) {
			f.bad("not hexadecimal", "give the line as it was recorded")
			return false
		}
		if len(t)%2 == 1 {
			f.bad("odd number of digits, so a digit is missing", "read again and paste the whole line")
			return false
		}
		for i := 0; i < len(t); i += 2 {
			p.buf = append(p.buf, nibble(t[i])<<4|nibble(t[i+1]))
		}
	}
	if len(p.buf) == 0 {
		f.bad("no bytes", "paste the whole line")
		return false
	}
	return true
}

// oldHeader reads the three header bytes and the checksum of SAE J1850
// (48 6B xx, 41 6B xx), ISO 9141-2 (48 6B xx) and ISO 14230-4 (8n F1 xx).
// Framing from memory of these standards.
func (p *lineParser) oldHeader(f *frame, b []byte) bool {
	if len(b) < 5 {
		return false
	}
	start, kwp := 3, false
	switch {
	case (b[0] == 0x48 || b[0] == 0x41) && b[1] == 0x6B:
		if !isAnswer(b[3]) || b[0] == 0x41 && !checksum(b) {
			return false // 41 6B may be an answer to PID 6B
		}
	case b[0]&0xC0 == 0x80 && b[1] == 0xF1:
		kwp = true
		n := int(b[0] & 0x3F)
		if n == 0 {
			n, start = int(b[3]), 4
		}
		switch len(b) {
		case start + n: // checksum not shown
			f.setOld(b[2], b[start:])
			return true
		case start + n + 1:
		default:
			f.bad("length does not match the header", "read again and paste the whole line")
			return true
		}
	case b[0] == 0x68 && b[1] == 0x6A || b[0] == 0x61 && b[1] == 0x6A || b[0]&0xC0 == 0xC0 && b[1] == 0x33 && b[2] == 0xF1:
		f.kind = lineRequest
		return true
	default:
		return false
	}
	if !checksum(b) {
		// Some texts leave the checksum out: then the bytes fill the answer exactly.
		if d := b[start:]; !kwp && len(d) >= 3 && d[0] == 0x41 && pids[d[1]] != nil && len(d)-2 == pids[d[1]].size {
			f.setOld(b[2], d)
			return true
		}
		f.bad("checksum does not match, so the line is damaged and left out", "read again")
		return true
	}
	f.setOld(b[2], b[start:len(b)-1])
	return true
}

func (f *frame) setOld(address byte, payload []byte) {
	f.old, f.module, f.data = true, Module(fmt.Sprintf("%02X", address)), payload
	f.kind = linePayload
	if len(payload) == 0 || !isAnswer(payload[0]) {
		f.kind = lineRequest
	}
}

// checksum proves the last byte as a sum (ISO 9141-2, ISO 14230) or as the CRC-8
// of SAE J1850 (polynomial 1D, start FF, inverted).
func checksum(b []byte) bool {
	last := len(b) - 1
	sum, crc := byte(0), byte(0xFF)
	for _, v := range b[:last] {
		sum += v
		crc ^= v
		for range 8 {
			if crc&0x80 != 0 {
				crc = crc<<1 ^ 0x1D
			} else {
				crc <<= 1
			}
		}
	}
	return b[last] == sum || b[last] == ^crc
}

// bare sorts bytes without a header.
func bare(f *frame, b []byte, open bool) {
	f.data = b
	switch {
	case isAnswer(b[0]):
		f.kind = linePayload
	case b[0] >= 1 && b[0] <= 7 && len(b) > int(b[0]) && isAnswer(b[1]) && (b[0] >= 2 || b[1] == 0x44 && len(b) > 2):
		f.kind, f.can = lineFrame, true
	case b[0]>>4 == 1 && len(b) >= 3 && len(b) <= 8 && isAnswer(b[2]):
		f.kind, f.can = lineFrame, true
	case b[0]>>4 == 2 && open && len(b) <= 8:
		f.kind, f.can = lineFrame, true
	case b[0] == 0x30 && len(b) >= 3:
		f.kind = lineFlow
	case b[0] <= 0x0A && len(b) > 4 && b[2] == b[0]+0x40 && b[3] == b[1]:
		f.kind, f.data = linePayload, b[2:] // request and answer on one line
	case b[0] >= 0x01 && b[0] <= 0x0A && len(b) <= 8:
		f.kind = lineRequest
	default:
		f.kind, f.note, f.mend = lineBad, "bytes that are no answer of services 01 to 0A", "paste what the car answered, with the request before it if you have it"
	}
}

// statusWords shortens the words of a line for a note.
func statusWords(tokens [][]byte) string {
	s := string(bytes.ToValidUTF8(bytes.Join(tokens, []byte(" ")), []byte("?")))
	if len(s) > 40 {
		s = string(bytes.ToValidUTF8([]byte(s[:40]), nil)) + "…"
	}
	return s
}
