package store

// Translate and SentenceOf let the tests check every constraint's sentence.
var Translate = translate

func SentenceOf(constraint string) (string, bool) {
	s, ok := sentences[constraint]
	return s.words, ok
}

func SentencedConstraints() []string {
	var all []string
	for name := range sentences {
		all = append(all, name)
	}
	return all
}
