package lang

import (
	"html"
	"regexp"
	"strconv"
	"strings"
)

// Retell says anew, in this language, what was said in one of them before and kept as
// finished words. Formats are those that may have made it, beside all constant texts.
// What none of them made stays as it is.
func (l *Language) Retell(words string, formats ...string) string {
	again, _ := l.retell(words, formats, true)
	return again
}

// retell also says whether the words were known. Pairs are looked for once, so that long
// unknown words cost little.
func (l *Language) retell(words string, formats []string, pairs bool) (string, bool) {
	k := load()
	if english, ok := k.back[words]; ok && len(verbs(english)) == 0 {
		return l.T(english), true
	}
	for _, f := range formats {
		for _, said := range []string{f, k.other[f]} {
			if args, ok := unfill(said, words); ok {
				for i, a := range args {
					if s, is := a.(string); is {
						args[i], _ = l.retell(s, formats, true)
					}
				}
				return l.T(f, args...), true
			}
		}
	}
	for i, r := range words { // two that stand side by side
		if r == ' ' && pairs {
			a, known := l.retell(words[:i], formats, false)
			b, also := l.retell(words[i+1:], formats, false)
			if known && also {
				return l.T("%s %s", a, b), true
			}
		}
	}
	return words, false
}

var drawnWords = regexp.MustCompile(`>([^<>]*\pL[^<>]*)</(?:text|tspan|title|desc)>`)

// RetellDrawing does so with the words of a drawing (SVG). A description is taken
// sentence by sentence.
func (l *Language) RetellDrawing(svg string, formats ...string) string {
	return drawnWords.ReplaceAllStringFunc(svg, func(s string) string {
		i := strings.LastIndex(s, "</")
		sentences := strings.SplitAfter(html.UnescapeString(s[1:i]), ". ")
		for j, one := range sentences {
			words := strings.TrimSuffix(one, " ")
			sentences[j] = l.Retell(words, formats...) + one[len(words):]
		}
		return ">" + html.EscapeString(strings.Join(sentences, "")) + s[i:]
	})
}

// unfill takes the arguments out of words that a format may have made, in the order of
// the format's blanks.
func unfill(format, words string) ([]any, bool) {
	var pattern strings.Builder
	var kinds []byte
	var places []int
	at := 0
	for _, m := range verb.FindAllStringSubmatchIndex(format, -1) {
		kind, flags := format[m[6]], format[m[4]:m[5]]
		if kind == '%' || strings.Contains(flags, " ") {
			continue
		}
		pattern.WriteString(regexp.QuoteMeta(strings.ReplaceAll(format[at:m[0]], "%%", "%")))
		at = m[1]
		place := len(kinds)
		if m[2] >= 0 {
			n, _ := strconv.Atoi(format[m[2]:m[3]]) // the catalogue was checked
			place = n - 1
		}
		kinds, places = append(kinds, kind), append(places, place)
		switch kind {
		case 'd':
			pattern.WriteString(`(-?[0-9]+)`)
		case 'f', 'g':
			pattern.WriteString(`([-+]?[0-9]+(?:[.,][0-9]+)?)`)
		default:
			pattern.WriteString(`(.+?)`)
		}
	}
	if len(kinds) == 0 {
		return nil, false
	}
	pattern.WriteString(regexp.QuoteMeta(strings.ReplaceAll(format[at:], "%%", "%")))
	re, err := regexp.Compile(`^` + pattern.String() + `$`)
	if err != nil {
		return nil, false
	}
	found := re.FindStringSubmatch(words)
	if found == nil {
		return nil, false
	}
	args := make([]any, len(kinds))
	for i, s := range found[1:] {
		switch kinds[i] {
		case 'd':
			n, err := strconv.Atoi(s)
			if err != nil {
				return nil, false
			}
			args[places[i]] = n
		case 'f', 'g':
			x, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
			if err != nil {
				return nil, false
			}
			args[places[i]] = x
		default:
			args[places[i]] = s
		}
	}
	return args, true
}
