// Package paper is what the shop hands out on paper: one model, shown by the browser
// (and printed from there) and drawn as a PDF for mail. An estimate or invoice is kept
// as this model, so that it can be shown again as it was.
package paper

// Sheet is one paper.
type Sheet struct {
	Lang     string   `json:"lang,omitempty"` // of its texts, as a BCP 47 tag; empty is English
	Title    string   `json:"title"`
	Number   string   `json:"number,omitempty"`
	Date     string   `json:"date"`
	Size     string   `json:"size"` // a4, letter
	Shop     []string `json:"shop"` // name first
	Customer []string `json:"customer,omitempty"`
	Facts    []Pair   `json:"facts,omitempty"` // the car
	Blocks   []Block  `json:"blocks"`
	Foot     []string `json:"foot,omitempty"`
	Void     string   `json:"-"` // why it was taken back
	OnePage  bool     `json:"-"` // its figures give way
}

func (p Sheet) lang() string {
	if p.Lang == "" {
		return "en"
	}
	return p.Lang
}

// Pair is a fact with its name.
type Pair struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// Block is one piece of a sheet. Exactly one of its contents is set; a heading may
// stand before any.
type Block struct {
	Heading string   `json:"heading,omitempty"`
	Big     string   `json:"big,omitempty"`   // the one sentence that counts
	Text    []string `json:"text,omitempty"`  // paragraphs
	List    []string `json:"list,omitempty"`  // points
	Ticks   []Tick   `json:"ticks,omitempty"` // boxes to tick by hand
	Facts   []Pair   `json:"facts,omitempty"`
	Table   *Table   `json:"table,omitempty"`
	Caution []string `json:"caution,omitempty"`
	Sign    []string `json:"sign,omitempty"`  // lines to sign on
	Blank   int      `json:"blank,omitempty"` // empty ruled lines to write on
	Figures []Figure `json:"figures,omitempty"`
}

// Tick is a box to tick, with room for what is found.
type Tick struct {
	Text string `json:"text"`
	Note string `json:"note,omitempty"`
}

// Table is lines with sums. The last columns are numbers.
type Table struct {
	Head  []string    `json:"head"`
	Right int         `json:"right"` // so many last columns are numbers
	Rows  [][]string  `json:"rows"`
	Notes []string    `json:"notes,omitempty"` // small print below a row, by its place
	Sums  [][2]string `json:"sums,omitempty"`
	Total [2]string   `json:"total,omitempty"`
}

// Figure is a drawing or a photo.
type Figure struct {
	SVG     string `json:"-"` // as diag/picture draws it
	Src     string `json:"-"` // where the browser gets a photo
	Photo   []byte `json:"-"` // JPEG or PNG
	Type    string `json:"-"` // jpg, png
	Alt     string `json:"-"`
	Caption string `json:"-"`
}
