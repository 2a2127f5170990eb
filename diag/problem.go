package diag

import (
	"strings"

	"crosscount/diag/say"
)

// Problem is one thing wrong with what was handed in: where, why, and how to
// mend it. Path is a field path such as "evidence[3].volts"; from Entry.Check it
// is the field's own name. The empty path is the whole.
type Problem struct {
	Path   string   `json:"path"`
	Reason say.Text `json:"reason"`
	Mend   say.Text `json:"mend"`
}

func (p Problem) String() string {
	s := p.Reason.String()
	if p.Path != "" {
		s = p.Path + ": " + s
	}
	if !p.Mend.IsZero() {
		s += " (" + p.Mend.String() + ")"
	}
	return s
}

// Problems is everything wrong at once. As an error it is never empty.
type Problems []Problem

func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.String()
	}
	return strings.Join(lines, "; ")
}

// err gives nil for no problems, so that an empty list is not a non-nil error.
func (ps Problems) err() error {
	if len(ps) == 0 {
		return nil
	}
	return ps
}

func (ps *Problems) add(path string, reason, mend say.Text) {
	*ps = append(*ps, Problem{path, reason, mend})
}

// under puts every path below a parent path.
func (ps Problems) under(parent string) Problems {
	out := make(Problems, len(ps))
	for i, p := range ps {
		switch {
		case p.Path == "":
			p.Path = parent
		case strings.HasPrefix(p.Path, "["):
			p.Path = parent + p.Path
		default:
			p.Path = parent + "." + p.Path
		}
		out[i] = p
	}
	return out
}

// oneOf names the allowed words of a field.
func oneOf(words []string) say.Text {
	return say.T("use one of: %s", strings.Join(words, ", "))
}

// outOfRange refuses a value; the language says it in the shop's unit.
func outOfRange(v, lo, hi float64, unit string) (reason, mend say.Text) {
	return say.T("%s cannot be right", say.Quantity{Value: v, Unit: unit}),
		say.T("give a number from %s to %s, or leave it out if it was not measured", say.Quantity{Value: lo, Unit: unit, Bare: true}, say.Quantity{Value: hi, Unit: unit})
}
