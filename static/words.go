package static

import (
	"regexp"
	"slices"
	"sync"
)

// said finds the texts that a script says: say("…") with the English in double quotes.
var said = regexp.MustCompile(`\bsay\("((?:[^"\\]|\\.)*)"`)

// Words lists the English of all texts that scripts say, each once, in order.
var Words = sync.OnceValue(func() []string {
	var out []string
	scripts := [][]byte{workerBody} // the worker says its words from a page's
	for _, a := range assets {
		if a.mediaType == "text/javascript; charset=utf-8" {
			scripts = append(scripts, a.body)
		}
	}
	for _, body := range scripts {
		for _, m := range said.FindAllStringSubmatch(string(body), -1) {
			out = append(out, m[1])
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
})
