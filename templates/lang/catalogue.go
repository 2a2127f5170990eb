package lang

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"golang.org/x/text/language"
	"golang.org/x/text/message/catalog"
)

// Entry is one text of a catalogue file.
type Entry struct {
	English, Other string
	Line           int
}

// Entries reads a catalogue file: pairs of lines, the English and below it the other
// language, each behind "= ". Lines that begin with # and empty lines are left out; a
// line break within a text is written \n.
func Entries(name string) ([]Entry, error) {
	b, err := files.ReadFile(name)
	if err != nil {
		return nil, err
	}
	return parse(name, string(b))
}

func parse(name, text string) ([]Entry, error) {
	var out []Entry
	var open *Entry
	for i, line := range strings.Split(text, "\n") {
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		fail := func(what string) ([]Entry, error) { return nil, fmt.Errorf("%s:%d: %s", name, i+1, what) }
		tag, words, ok := strings.Cut(line, "= ")
		words = strings.ReplaceAll(words, `\n`, "\n")
		switch {
		case !ok || words == "":
			return fail("begin the line with en= or es= and the text")
		case tag == "en" && open == nil:
			open = &Entry{English: words, Line: i + 1}
		case tag == "es" && open != nil:
			open.Other = words
			if a, b := verbs(open.English), verbs(words); !slices.Equal(a, b) {
				return fail(fmt.Sprintf("the English has the blanks %v, this has %v; name them by number, like %%[2]s, where the order differs", a, b))
			}
			out = append(out, *open)
			open = nil
		default:
			return fail("each en= wants one es= behind it")
		}
	}
	if open != nil {
		return nil, fmt.Errorf("%s:%d: each en= wants one es= behind it", name, open.Line)
	}
	return out, nil
}

var verb = regexp.MustCompile(`%(?:\[(\d+)\])?([-+# 0]*[0-9]*(?:\.[0-9]+)?)([a-zA-Z%])`)

// verbs lists the blanks of a format with their arguments' numbers, in the order of
// the arguments.
func verbs(s string) []string {
	var out []string
	n := 0
	for _, m := range verb.FindAllStringSubmatch(s, -1) {
		if m[3] == "%" || strings.Contains(m[2], " ") {
			continue // a per cent sign, or one that means itself: "5 % of"
		}
		n++
		at := fmt.Sprint(n)
		if m[1] != "" {
			at = m[1]
		}
		out = append(out, at+m[2]+m[3])
	}
	slices.Sort(out)
	return out
}

// literal marks the key of a text that is no format.
const literal = "\x00"

func escape(s string) string { return strings.ReplaceAll(s, "%", "%%") }

// into adds the text twice: as it stands, and as a format.
func (e Entry) into(b *catalog.Builder, tag language.Tag) error {
	if err := b.SetString(tag, literal+e.English, escape(e.Other)); err != nil {
		return err
	}
	return b.SetString(tag, e.English, e.Other)
}
