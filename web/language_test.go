package web

import (
	"testing"

	"crosscount/static"
	"crosscount/templates/lang"
)

func TestTextsOfScriptsAreInTheCatalogue(t *testing.T) {
	if n := len(static.Words()); n < 50 {
		t.Fatalf("%d texts were found in the scripts", n)
	}
	for _, w := range static.Words() {
		if !lang.Has(w) {
			t.Errorf("the catalogue has no %q", w)
		}
	}
	if words := wordsOfScripts(lang.Of("es", ",")); len(words) < len(static.Words())*9/10 {
		t.Errorf("a Spanish page hands its scripts %d of %d texts", len(words), len(static.Words()))
	}
	if words := wordsOfScripts(lang.Of("en", "")); len(words) > 0 {
		t.Errorf("an English page carries words: %v", words)
	}
}
