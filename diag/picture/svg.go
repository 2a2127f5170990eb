package picture

import (
	"encoding/hex"
	"hash/fnv"
	"strconv"
	"strings"
	"unicode/utf8"

	"crosscount/diag/say"
)

// Frame is what every picture has.
type Frame struct {
	ID    string // prefix of the ids inside; made from the content where empty
	Title string // short, shown and read out
	Desc  string // what there is to see, in words, read out in place of the picture
	// Words says the picture's own words in a language, English where nil. Labels come
	// as they are to be shown.
	Words func(english string, args ...any) string
	// Standalone makes a file that stands on its own, with its own colours for
	// light and dark; otherwise the picture takes those of the page around it.
	Standalone bool
}

// T says a text of the picture; without arguments the English is the text itself.
func (f Frame) T(english string, args ...any) string {
	if f.Words != nil {
		return f.Words(english, args...)
	}
	return say.T(english, args...).String()
}

// said is a text that tells pictures in one language from those in another.
func (f Frame) said() string { return f.T("time in %s", "s") }

// Speaks tells whether a picture was drawn in the words given.
func Speaks(svg string, words func(english string, args ...any) string) bool {
	head, _, _ := strings.Cut(svg, ">")
	want := Frame{Words: words}.said()
	if !strings.Contains(head, " data-said=") {
		return want == Frame{}.said()
	}
	return strings.Contains(head, ` data-said="`+esc(want)+`"`)
}

// Colours: the page's variables where there are any, its text colour else.
const (
	ink    = "var(--ink,currentColor)"
	faded  = "var(--faded,currentColor)"
	ruled  = "var(--line,currentColor)"
	accent = "var(--accent,currentColor)"
	sheet  = "var(--sheet,Canvas)"
)

const standaloneFont = `font-family:system-ui,"Noto Sans","DejaVu Sans",sans-serif`

const standaloneStyle = `<style>:root{color-scheme:light dark;` + lightColours + `}` +
	`@media(prefers-color-scheme:dark){:root{` + darkColours + `}}svg{` + standaloneFont + `}</style>`

// canvas gathers the elements of one picture.
type canvas struct {
	b             []byte
	id            string
	width, height float64
}

// esc makes text safe inside an element or a quoted attribute, and fit for XML.
func esc(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '&':
			b.WriteString("&amp;")
		case r == '<':
			b.WriteString("&lt;")
		case r == '>':
			b.WriteString("&gt;")
		case r == '"':
			b.WriteString("&#34;")
		case r == '\'':
			b.WriteString("&#39;")
		case r == '\t' || r == '\n' || r == '\r':
			b.WriteByte(' ')
		case r < ' ' || r == 0x7F || r >= 0x80 && r < 0xA0 || r == 0xFFFE || r == 0xFFFF:
			b.WriteRune(utf8.RuneError)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

func (c *canvas) raw(parts ...string) {
	for _, p := range parts {
		c.b = append(c.b, p...)
	}
}

// attr writes one attribute. Its value is escaped.
func (c *canvas) attr(name, value string) { c.raw(" ", name, `="`, esc(value), `"`) }

func (c *canvas) num(name string, v float64) {
	c.raw(" ", name, `="`)
	c.b = appendNum(c.b, v)
	c.raw(`"`)
}

// exact writes a number with all its digits, for the script.
func (c *canvas) exact(name string, v float64) {
	c.raw(" ", name, `="`, exact(v), `"`)
}

func exact(v float64) string { return strconv.FormatFloat(v, 'g', 12, 64) }

func (c *canvas) line(x1, y1, x2, y2 float64, colour string, more ...string) {
	c.raw("<path d=\"M")
	c.b = appendNum(c.b, x1)
	c.raw(" ")
	c.b = appendNum(c.b, y1)
	switch {
	case y1 == y2:
		c.raw("H")
		c.b = appendNum(c.b, x2)
	case x1 == x2:
		c.raw("V")
		c.b = appendNum(c.b, y2)
	default:
		c.raw("L")
		c.b = appendNum(c.b, x2)
		c.raw(" ")
		c.b = appendNum(c.b, y2)
	}
	c.raw(`" stroke="`, colour, `"`)
	for i := 0; i+1 < len(more); i += 2 {
		c.attr(more[i], more[i+1])
	}
	c.raw("/>")
}

func (c *canvas) text(x, y float64, s, anchor, colour string, more ...string) {
	c.raw("<text")
	c.num("x", x)
	c.num("y", y)
	if anchor != "start" {
		c.attr("text-anchor", anchor)
	}
	if colour != "" {
		c.attr("fill", colour)
	}
	for i := 0; i+1 < len(more); i += 2 {
		c.attr(more[i], more[i+1])
	}
	c.raw(">", esc(s), "</text>")
}

// halo keeps text readable over lines.
var halo = []string{"stroke", sheet, "stroke-width", "4", "stroke-linejoin", "round", "paint-order", "stroke"}

// finish puts head and foot around the body.
func (f Frame) finish(kind string, width, height float64, body func(c *canvas), extra ...string) []byte {
	id := f.ID
	if id == "" {
		h := fnv.New64a()
		h.Write([]byte(kind + "\x00" + f.Title + "\x00" + f.Desc))
		id = "pic" + hex.EncodeToString(h.Sum(nil))[:10]
	}
	c := &canvas{id: id, width: width, height: height}
	c.raw("<svg")
	if f.Standalone {
		c.raw(` xmlns="http://www.w3.org/2000/svg"`)
	}
	c.attr("class", "picture")
	c.attr("data-picture", kind)
	if said := f.said(); said != (Frame{}).said() {
		c.attr("data-said", said)
	}
	c.raw(` viewBox="0 0 `)
	c.b = appendNum(c.b, width)
	c.raw(" ")
	c.b = appendNum(c.b, height)
	c.raw(`" role="img"`)
	c.attr("aria-labelledby", id+"-t "+id+"-d")
	if f.Standalone {
		c.num("width", width)
		c.num("height", height)
	}
	c.raw(` font-size="14" fill="none"`)
	for i := 0; i+1 < len(extra); i += 2 {
		c.attr(extra[i], extra[i+1])
	}
	c.raw(">")
	c.raw("<title")
	c.attr("id", id+"-t")
	c.raw(">", esc(f.Title), "</title><desc")
	c.attr("id", id+"-d")
	c.raw(">", esc(f.Desc), "</desc>")
	if f.Standalone {
		c.raw(standaloneStyle, `<rect width="100%" height="100%" fill="`, sheet, `"/>`)
	}
	body(c)
	c.raw("</svg>\n")
	return c.b
}
