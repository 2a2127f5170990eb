package signal

import (
	"bytes"
	"errors"
	"io"
	"unicode/utf16"
	"unicode/utf8"

	"crosscount/diag/say"
)

// encoding is how the bytes of a file spell text.
type encoding int

const (
	eightBit encoding = iota // UTF-8, or a single-byte set where that fails
	utf16LE
	utf16BE
)

// sniffLen is how much of a file decides on its encoding and line ends.
const sniffLen = 64 << 10

// text streams a file as UTF-8 with line feeds, whatever it was written in.
type text struct {
	r       io.Reader
	head    []byte // looked at, not yet handed out
	enc     encoding
	onlyCR  bool
	raw     []byte // UTF-16 bytes not yet decoded
	out     []byte // decoded, not yet handed out
	err     error
	n, max  int64 // bytes read and allowed; max 0 is no limit
	skipBOM int
}

// newText looks at the head of r. The error is a *Problem when this is not text.
func newText(r io.Reader, maxBytes int64) (*text, error) {
	t := &text{r: r, max: maxBytes}
	head := make([]byte, sniffLen)
	n, err := io.ReadFull(r, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, err
	}
	if err != nil {
		t.err = io.EOF
	}
	t.n = int64(n)
	t.head = head[:n]
	if p := notText(t.head); p != nil {
		return nil, p
	}
	t.enc, t.skipBOM = encodingOf(t.head)
	t.head = t.head[t.skipBOM:]
	if t.enc != eightBit {
		t.raw = append(t.raw, t.head...)
		t.head = nil
		t.decode()
		t.onlyCR = bytes.IndexByte(t.out, '\n') < 0 && bytes.IndexByte(t.out, '\r') >= 0
	} else {
		t.onlyCR = bytes.IndexByte(t.head, '\n') < 0 && bytes.IndexByte(t.head, '\r') >= 0
	}
	return t, nil
}

// Read implements io.Reader.
func (t *text) Read(p []byte) (int, error) {
	n, err := t.read(p)
	if t.onlyCR {
		for i, c := range p[:n] {
			if c == '\r' {
				p[i] = '\n'
			}
		}
	}
	return n, err
}

func (t *text) read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	if t.enc == eightBit {
		if len(t.head) > 0 {
			n := copy(p, t.head)
			t.head = t.head[n:]
			return n, nil
		}
		if t.err != nil {
			return 0, t.err
		}
		n, err := t.r.Read(p)
		return n, t.count(n, err)
	}
	for len(t.out) == 0 {
		if t.err != nil {
			return 0, t.err
		}
		var chunk [32 << 10]byte
		n, err := t.r.Read(chunk[:])
		t.err = t.count(n, err)
		t.raw = append(t.raw, chunk[:n]...)
		t.decode()
	}
	n := copy(p, t.out)
	t.out = t.out[n:]
	return n, nil
}

func (t *text) count(n int, err error) error {
	t.n += int64(n)
	if t.max > 0 && t.n > t.max {
		return &Problem{Kind: TooLarge, Count: 1,
			What: say.T("the file is larger than %s", bytesWords(t.max)),
			Mend: say.T("record a shorter stretch, or cut the file and measure the pieces")}
	}
	return err
}

// decode moves whole UTF-16 units from raw to out, keeping half a pair back.
func (t *text) decode() {
	t.out = t.out[:0]
	i := 0
	unit := func(i int) uint16 {
		if t.enc == utf16LE {
			return uint16(t.raw[i]) | uint16(t.raw[i+1])<<8
		}
		return uint16(t.raw[i])<<8 | uint16(t.raw[i+1])
	}
	for i+1 < len(t.raw) {
		r := rune(unit(i))
		size := 2
		if utf16.IsSurrogate(r) {
			if i+3 >= len(t.raw) && t.err == nil {
				break
			}
			if i+3 < len(t.raw) {
				if pair := utf16.DecodeRune(r, rune(unit(i+2))); pair != utf8.RuneError {
					r, size = pair, 4
				} else {
					r = utf8.RuneError
				}
			} else {
				r = utf8.RuneError
			}
		}
		t.out = utf8.AppendRune(t.out, r)
		i += size
	}
	t.raw = append(t.raw[:0], t.raw[i:]...)
}

func encodingOf(b []byte) (enc encoding, bom int) {
	switch {
	case bytes.HasPrefix(b, []byte{0xEF, 0xBB, 0xBF}):
		return eightBit, 3
	case bytes.HasPrefix(b, []byte{0xFF, 0xFE}):
		return utf16LE, 2
	case bytes.HasPrefix(b, []byte{0xFE, 0xFF}):
		return utf16BE, 2
	}
	// Western text in UTF-16 has a zero in every other byte.
	if len(b) >= 4 {
		even, odd := 0, 0
		for i, c := range b[:len(b)&^1] {
			if c == 0 {
				if i%2 == 0 {
					even++
				} else {
					odd++
				}
			}
		}
		half := len(b) / 2
		if odd > half*8/10 && even < half/10 {
			return utf16LE, 0
		}
		if even > half*8/10 && odd < half/10 {
			return utf16BE, 0
		}
	}
	return eightBit, 0
}

// magic lists how files that are no tables begin.
var magic = []struct{ begins, what, mend string }{
	{"\x89PNG", "an image (PNG)", saveAsText},
	{"\xFF\xD8\xFF", "an image (JPEG)", saveAsText},
	{"GIF8", "an image (GIF)", saveAsText},
	{"BM", "an image (BMP)", saveAsText},
	{"II*\x00", "an image (TIFF)", saveAsText},
	{"MM\x00*", "an image (TIFF)", saveAsText},
	{"RIFF", "a sound or image file", saveAsText},
	{"%PDF", "a PDF document", saveAsText},
	{"PK\x03\x04", "a spreadsheet or archive (zip)", "open it and save the sheet as CSV text, then upload that"},
	{"\xD0\xCF\x11\xE0", "an office document", "open it and save the sheet as CSV text, then upload that"},
	{"\x1F\x8B", "a compressed file (gzip)", "unpack it first"},
	{"7z\xBC\xAF", "a compressed archive (7z)", "unpack it first"},
	{"\x7FELF", "a program", saveAsText},
}

const saveAsText = "export the capture as text (CSV) and upload that file"

// notText recognises files that hold no table of text.
func notText(b []byte) *Problem {
	for _, m := range magic {
		if bytes.HasPrefix(b, []byte(m.begins)) && (len(m.begins) > 2 || m.begins[0] > 0x7E || control(b) > 0) {
			return &Problem{Kind: NotText, What: say.T("this is %s, not a table of numbers", say.T(m.what)), Mend: say.T(m.mend), Count: 1}
		}
	}
	if enc, _ := encodingOf(b); enc == eightBit {
		if c := control(b); c*100 > len(b) {
			return &Problem{Kind: NotText, Count: 1, What: say.T("this is not text: it is full of control bytes"), Mend: say.T(saveAsText)}
		}
	}
	return nil
}

// control counts bytes that no text table contains.
func control(b []byte) int {
	n := 0
	for _, c := range b {
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' && c != '\f' || c == 0x7F {
			n++
		}
	}
	return n
}

// words makes bytes of a header a valid string. Bytes that are not UTF-8 are read
// as ISO 8859-1, in which ° and µ are written by many programs.
func words(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	r := make([]rune, len(b))
	for i, c := range b {
		r[i] = rune(c)
	}
	return string(r)
}

func bytesWords(n int64) say.Text {
	if n >= 1<<20 {
		return say.T("%d MB", n>>20)
	}
	return say.T("%d bytes", n)
}
