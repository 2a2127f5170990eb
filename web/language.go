package web

import (
	"net/http"

	"crosscount/static"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// spoken chooses the language of the answer: the person's own, else the shop's. What
// cannot be found out stays English; the page itself will tell what is the matter.
func (s *server) spoken(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if needsSession(r) {
			shop, _, err := s.shop(r.Context())
			if err == nil {
				own := ""
				if v := viewer(r); v != nil {
					own = v.Language
				}
				r = r.WithContext(lang.With(r.Context(), s.languageOf(shop, own)))
			}
		}
		next.ServeHTTP(w, r)
	})
}

// languageOf is somebody's own language, else the shop's. Numbers and units are
// written the shop's way in all of them.
func (s *server) languageOf(shop store.Shop, own string) *lang.Language {
	if own == "" {
		own = shop.Language
	}
	l := s.Speak(own, styleOf(shop.Locale).decimal)
	l.Units, l.Dates = measuresOf(shop), shop.DateOrder
	return l
}

// tongue is the language of the answer to a request.
func tongue(r *http.Request) *lang.Language { return lang.From(r.Context()) }

func languages(first ...templates.Option) []templates.Option {
	for _, o := range lang.Offered {
		first = append(first, templates.Option{Value: o.Tag, Label: o.Name})
	}
	return first
}

// tongues are all languages that the site speaks.
func (s *server) tongues(shop store.Shop) []*lang.Language {
	var out []*lang.Language
	for _, o := range lang.Offered {
		out = append(out, s.languageOf(shop, o.Tag))
	}
	return out
}

// myLanguage keeps the language that a person reads.
func (s *server) myLanguage(w http.ResponseWriter, r *http.Request) error {
	v := s.meView(w, r)
	f := form{r: r}
	tag := f.choice(&v.Language)
	if f.bad() {
		v.Refusal = f.refusal()
		return s.render(w, r, http.StatusUnprocessableEntity, templates.Me(v))
	}
	if err := s.store.SetLanguage(r.Context(), viewer(r).PersonID, tag); err != nil {
		return err
	}
	return see(w, r, "/me")
}

// wordsOfScripts gives the scripts their texts in a language.
func wordsOfScripts(l *lang.Language) map[string]string {
	words := map[string]string{}
	for _, english := range static.Words() {
		if w := l.T(english); w != english {
			words[english] = w
		}
	}
	return words
}
