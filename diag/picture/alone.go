package picture

import (
	"bytes"
	"fmt"
)

const (
	lightColours = `--sheet:#fafaf6;--ink:#1c2430;--faded:#545c68;--line:#c6cbc9;--accent:#5b2d93`
	darkColours  = `--sheet:#171b21;--ink:#e6e6df;--faded:#a4a9ae;--line:#3b424b;--accent:#c9abf0`
)

// Alone makes a file that stands on its own out of a picture drawn for a page.
// theme is light or dark; anything else leaves the choice to the reader's device.
func Alone(svg []byte, theme string) []byte {
	rest, ok := bytes.CutPrefix(svg, []byte("<svg "))
	head, body, found := bytes.Cut(rest, []byte("</desc>"))
	if !ok || !found || bytes.Contains(head, []byte("xmlns=")) {
		return svg
	}
	var x, y, width, height float64
	if i := bytes.Index(head, []byte(`viewBox="`)); i >= 0 {
		_, _ = fmt.Sscanf(string(head[i+len(`viewBox="`):]), "%g %g %g %g", &x, &y, &width, &height) // as finish writes it
	}
	style := standaloneStyle
	switch theme {
	case "light":
		style = standaloneFor("light", lightColours)
	case "dark":
		style = standaloneFor("dark", darkColours)
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%g" height="%g" %s</desc>%s<rect width="100%%" height="100%%" fill="%s"/>%s`,
		width, height, head, style, sheet, body)
	return b.Bytes()
}

func standaloneFor(scheme, colours string) string {
	return `<style>:root{color-scheme:` + scheme + `;` + colours + `}svg{` + standaloneFont + `}</style>`
}
