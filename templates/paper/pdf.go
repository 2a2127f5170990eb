package paper

import (
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"
	"sync"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"crosscount/templates/lang"
)

func span(t Table) string { return strconv.Itoa(len(t.Head) - 1) }

// NotShown stands for a letter the font of the PDF does not have, and FontNote says so
// at its foot.
const (
	NotShown = '\u25a1' // a white square
	FontNote = "A white square stands for a letter that this file's font does not have. The page in the browser shows it."
)

// The Go fonts (BSD licence) hold Latin, Greek and Cyrillic.
var regular = sync.OnceValues(func() (*sfnt.Font, error) { return sfnt.Parse(goregular.TTF) })

const (
	margin = 16.0 // mm

	drawingHeight, photoHeight = 62.0, 40.0 // mm, where the page has room
)

// drawing is one PDF on its way.
type drawing struct {
	*fpdf.Fpdf
	font    *sfnt.Font
	buf     sfnt.Buffer
	missing bool
	width   float64 // between the margins
	shrink  float64 // of the figures
	body    float64 // points
	line    float64 // mm
	space   float64 // mm between blocks
}

// PDF draws the sheet. The figures of one that belongs on one page become as small as
// it takes.
func PDF(w io.Writer, p Sheet) error {
	font, err := regular()
	if err != nil {
		return fmt.Errorf("paper: reading the font: %w", err)
	}
	shrinks := []float64{1}
	if p.OnePage {
		shrinks = []float64{1, 0.8, 0.6, 0.45}
	}
	var d *drawing
	for _, shrink := range shrinks {
		if d = draw(p, font, shrink); d.PageCount() == 1 {
			break
		}
	}
	if err := d.Output(w); err != nil {
		return fmt.Errorf("paper: %w", err)
	}
	return nil
}

func draw(p Sheet, font *sfnt.Font, shrink float64) *drawing {
	size := "A4"
	if p.Size == "letter" {
		size = "Letter"
	}
	d := &drawing{Fpdf: fpdf.New("P", "mm", size, ""), font: font, shrink: shrink, body: 9.5, line: 4.6, space: 1.5}
	if shrink < 1 {
		d.body, d.line, d.space = 9, 4.1, 0.8
	}
	d.SetCatalogSort(true)
	d.SetLang(p.lang())
	d.SetTitle(strings.TrimSpace(p.Title+" "+p.Number), true)
	d.SetMargins(margin, margin, margin)
	d.SetAutoPageBreak(true, margin+6)
	d.AddUTF8FontFromBytes("go", "", goregular.TTF)
	d.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	width, _ := d.GetPageSize()
	d.width = width - 2*margin
	d.SetFooterFunc(func() {
		d.SetY(-margin)
		d.SetFont("go", "", 7.5)
		d.SetTextColor(90, 90, 90)
		foot := ""
		if d.missing {
			foot = lang.Of(p.Lang, "").T(FontNote) + "  "
		}
		d.CellFormat(0, 4, fmt.Sprintf("%s%s %s  %d", foot, p.Title, p.Number, d.PageNo()), "", 0, "R", false, 0, "")
		d.SetTextColor(0, 0, 0)
	})
	d.AddPage()
	d.head(p)
	for _, b := range p.Blocks {
		d.block(b)
	}
	if len(p.Foot) > 0 {
		d.Ln(2)
		d.rule(0.2)
		for _, s := range p.Foot {
			d.text(s, "", 8, 3.9)
		}
	}
	return d
}

// shown replaces what the font does not have. Marks that steer direction print nothing.
func (d *drawing) shown(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case r == '\u202f' || r == '\u2009':
			return '\u00a0'
		case r == '\u200e' || r == '\u200f' || r == '\u2068' || r == '\u2069' || r == '\u200b':
			return -1
		}
		if i, err := d.font.GlyphIndex(&d.buf, r); err == nil && i != 0 {
			return r
		}
		d.missing = true
		return NotShown
	}, s)
}

func (d *drawing) text(s, style string, points, height float64) {
	d.SetFont("go", style, points)
	d.MultiCell(0, height, d.shown(s), "", "L", false)
}

func (d *drawing) rule(width float64) {
	d.SetLineWidth(width)
	x, y := d.GetX(), d.GetY()
	d.Line(margin, y, margin+d.width, y)
	d.SetXY(x, y+1.5)
}

func (d *drawing) head(p Sheet) {
	top := d.GetY()
	for i, s := range p.Shop {
		style, points := "", 9.0
		if i == 0 {
			style, points = "B", 12
		}
		d.SetFont("go", style, points)
		d.MultiCell(d.width*0.55, 4.8, d.shown(s), "", "L", false)
	}
	left := d.GetY()
	d.SetXY(margin+d.width*0.55, top)
	d.SetFont("go", "B", 17)
	d.MultiCell(d.width*0.45, 7.5, d.shown(p.Title), "", "R", false)
	d.SetX(margin + d.width*0.55)
	d.SetFont("go", "", d.body)
	d.MultiCell(d.width*0.45, d.line, d.shown(strings.TrimSpace(p.Number+"  "+p.Date)), "", "R", false)
	d.SetXY(margin, max(left, d.GetY())+2)
	d.rule(0.5)
	if p.Void != "" {
		d.text(p.Void, "B", 12, 6)
	}
	top = d.GetY() + 1
	d.SetXY(margin, top)
	d.SetFont("go", "", d.body)
	for _, s := range p.Customer {
		d.MultiCell(d.width*0.45, d.line, d.shown(s), "", "L", false)
	}
	left = d.GetY()
	d.SetXY(margin, top)
	for _, f := range p.Facts {
		d.pair(f, margin+d.width*0.5, d.width*0.5)
	}
	d.SetXY(margin, max(left, d.GetY())+3)
}

func (d *drawing) pair(f Pair, x, width float64) {
	d.SetX(x)
	d.SetFont("go", "", 8.5)
	d.SetTextColor(90, 90, 90)
	d.CellFormat(30, d.line, d.shown(f.Name), "", 0, "L", false, 0, "")
	d.SetTextColor(0, 0, 0)
	d.SetFont("go", "", d.body)
	d.SetX(x + 30)
	d.MultiCell(width-30, d.line, d.shown(f.Value), "", "L", false)
}

// bottom is where the page ends.
func (d *drawing) bottom() float64 {
	_, page := d.GetPageSize()
	return page - margin - 6
}

// room breaks the page unless so many millimetres are left on it.
func (d *drawing) room(height float64) {
	if d.GetY()+height > d.bottom() {
		d.AddPage()
	}
}

func (d *drawing) block(b Block) {
	d.room(16)
	if b.Heading != "" {
		d.Ln(d.space)
		d.text(b.Heading, "B", 11, 5.4)
		d.Ln(0.5)
	}
	if b.Big != "" {
		d.text(b.Big, "B", 12.5, 6)
		d.Ln(1)
	}
	for _, s := range b.Text {
		d.text(s, "", d.body, d.line)
		d.Ln(1.2)
	}
	if len(b.Caution) > 0 {
		top := d.GetY()
		d.SetLeftMargin(margin + 4)
		d.SetX(margin + 4)
		for _, s := range b.Caution {
			d.text(s, "B", 8.5, 4.1)
		}
		d.SetLeftMargin(margin)
		d.SetX(margin)
		if d.GetY() > top {
			d.SetFillColor(0, 0, 0)
			d.Rect(margin, top, 1.6, d.GetY()-top, "F")
		}
		d.Ln(1.5)
	}
	for _, s := range b.List {
		d.SetFont("go", "", d.body)
		d.CellFormat(5, d.line, "\u2013", "", 0, "L", false, 0, "")
		d.MultiCell(d.width-5, d.line, d.shown(s), "", "L", false)
	}
	for _, t := range b.Ticks {
		d.room(8)
		d.SetLineWidth(0.35)
		d.Rect(margin, d.GetY()+0.6, 3.6, 3.6, "D")
		d.SetX(margin + 6)
		d.SetFont("go", "", d.body)
		d.MultiCell(d.width*0.62-6, d.line, d.shown(strings.TrimSpace(t.Text+"  "+t.Note)), "", "L", false)
		d.SetLineWidth(0.15)
		d.Line(margin+d.width*0.65, d.GetY()-0.4, margin+d.width, d.GetY()-0.4)
		d.Ln(1.6)
	}
	for _, f := range b.Facts {
		d.pair(f, margin, d.width)
	}
	if b.Table != nil {
		d.table(*b.Table)
	}
	d.figures(b.Figures)
	for range b.Blank {
		d.room(9)
		d.Ln(8)
		d.SetLineWidth(0.15)
		d.Line(margin, d.GetY(), margin+d.width, d.GetY())
	}
	if n := len(b.Sign); n > 0 {
		d.room(20)
		d.Ln(13)
		each := d.width / float64(n)
		y := d.GetY()
		d.SetFont("go", "", 8)
		for i, s := range b.Sign {
			x := margin + float64(i)*each
			d.SetLineWidth(0.25)
			d.Line(x, y, x+each-6, y)
			d.SetXY(x, y+0.8)
			d.CellFormat(each-6, 4, d.shown(s), "", 0, "L", false, 0, "")
		}
		d.SetXY(margin, y+6)
	}
	d.Ln(d.space)
}

func (d *drawing) table(t Table) {
	cols := len(t.Head)
	if cols == 0 {
		return
	}
	widths := make([]float64, cols)
	rest := d.width
	for i := cols - t.Right; i < cols; i++ {
		widths[i] = 27
		rest -= 27
	}
	for i := range cols - t.Right {
		widths[i] = rest / float64(cols-t.Right)
	}
	row := func(cells []string, style string, notes string) {
		d.SetFont("go", style, d.body-0.5)
		lines := 1
		for i, c := range cells {
			lines = max(lines, len(d.SplitText(d.shown(c), widths[i])))
		}
		height := float64(lines) * d.line
		d.room(height + 6)
		y := d.GetY()
		x := margin
		for i, c := range cells {
			align := "L"
			if i >= cols-t.Right {
				align = "R"
			}
			d.SetXY(x, y)
			d.MultiCell(widths[i], d.line, d.shown(c), "", align, false)
			x += widths[i]
		}
		d.SetXY(margin, y+height)
		if notes != "" {
			d.SetFont("go", "", 7.8)
			d.SetTextColor(80, 80, 80)
			d.MultiCell(rest, 3.7, d.shown(notes), "", "L", false)
			d.SetTextColor(0, 0, 0)
		}
		d.Ln(0.8)
		d.SetLineWidth(0.1)
		d.Line(margin, d.GetY(), margin+d.width, d.GetY())
		d.Ln(0.8)
	}
	row(t.Head, "B", "")
	for i, r := range t.Rows {
		note := ""
		if i < len(t.Notes) {
			note = t.Notes[i]
		}
		row(r, "", note)
	}
	sum := func(s [2]string, style string, points float64) {
		d.room(8)
		d.SetFont("go", style, points)
		d.CellFormat(d.width-45, 5.4, d.shown(s[0]), "", 0, "R", false, 0, "")
		d.CellFormat(45, 5.4, d.shown(s[1]), "", 1, "R", false, 0, "")
	}
	for _, s := range t.Sums {
		sum(s, "", d.body)
	}
	if t.Total[0] != "" {
		d.SetLineWidth(0.4)
		d.Line(margin+d.width-75, d.GetY()+0.5, margin+d.width, d.GetY()+0.5)
		d.Ln(1.2)
		sum(t.Total, "B", 12)
	}
}

// figures sets a drawing at the left and photos beside it, or photos alone, in rows.
func (d *drawing) figures(fs []Figure) {
	const gap = 5.0
	caption := func(f Figure, x, y, width float64) {
		d.SetXY(x, y)
		d.SetFont("go", "", 8)
		d.SetTextColor(84, 92, 104)
		d.MultiCell(width, 3.6, d.shown(f.Caption), "", "L", false)
		d.SetTextColor(0, 0, 0)
	}
	tallest, tall := drawingHeight*d.shrink, photoHeight*d.shrink
	left, bottom := margin, 0.0 // where photos begin, and the end of what is drawn
	top := 0.0
	for _, f := range fs {
		w, h, err := svgSize(f.SVG)
		if f.SVG == "" || err != nil {
			continue
		}
		width := min(tallest*w/h, d.width*0.62)
		height := width * h / w
		d.room(height + 8)
		top = d.GetY()
		if err := d.svg(f.SVG, margin, top, width); err != nil {
			continue // what was drawn stays; the page in the browser has the whole
		}
		caption(f, margin, top+height+0.5, width)
		left, bottom = margin+width+gap, d.GetY()
		tall = min(tall, height-4)
		break // a sheet shows one
	}
	type photo struct {
		Figure
		name string
		w, h float64
	}
	var row []photo
	wide := 0.0
	for i, f := range fs {
		if len(f.Photo) == 0 {
			continue
		}
		name := fmt.Sprintf("figure-%d", i)
		info := d.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: f.Type}, bytes.NewReader(f.Photo))
		if d.Err() || info == nil {
			d.ClearError() // a photo that cannot be drawn is left away
			continue
		}
		w, h := tall*info.Width()/info.Height(), tall
		if widest := tall * 1.5; w > widest {
			w, h = widest, widest*info.Height()/info.Width()
		}
		row = append(row, photo{f, name, w, h})
		wide += w
	}
	if len(row) > 0 {
		fit := min(1, (margin+d.width-left-gap*float64(len(row)-1))/wide)
		if bottom == 0 {
			d.room(tall*fit + 10)
			top = d.GetY()
		}
		x := left
		for _, f := range row {
			d.ImageOptions(f.name, x, top, f.w*fit, f.h*fit, false, fpdf.ImageOptions{ImageType: f.Type}, 0, "")
			caption(f.Figure, x, top+f.h*fit+0.5, f.w*fit)
			bottom = max(bottom, d.GetY())
			x += f.w*fit + gap
		}
	}
	if bottom > 0 {
		d.SetXY(margin, bottom+1)
	}
}
