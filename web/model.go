package web

import (
	"net/http"
	"slices"
	"strings"

	"crosscount/diag/model"
	"crosscount/diag/say"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// modelPage shows what the engine believes, every number with its source.
func (s *server) modelPage(w http.ResponseWriter, r *http.Request) error {
	m := model.Trade()
	l := tongue(r)
	v := templates.ModelView{Page: s.page(w, r, templates.AtModel, templates.TitleModel), Version: m.Version}
	names := map[string]string{}
	counts := map[model.SourceKind]int{}
	for _, sheet := range m.Sheets() {
		names[sheet.ID] = l.T(sheet.Name)
		at := slices.IndexFunc(v.Groups, func(g templates.ModelGroup) bool { return g.Name == sheet.Group })
		if at < 0 {
			at = len(v.Groups)
			v.Groups = append(v.Groups, templates.ModelGroup{ID: strings.ToLower(sheet.Group), Name: sheet.Group})
		}
		one := templates.ModelSheet{ID: sheet.ID, Scope: string(sheet.Scope)}
		if sheet.Name != sheet.ID {
			one.Name = templates.Upper(l.T(sheet.Name))
		}
		for _, t := range sheet.About {
			one.About = append(one.About, piecesOf(l, t))
		}
		for _, row := range sheet.Rows {
			counts[row.Source.Kind]++
			one.Rows = append(one.Rows, templates.ModelRow{What: piecesOf(l, row.What), Value: piecesOf(l, row.Value), Source: l.T(string(row.Source.Kind)), Ref: row.Source.Ref, At: row.At.String()})
		}
		v.Groups[at].Sheets = append(v.Groups[at].Sheets, one)
	}
	v.Published, v.Practice, v.Estimates = counts[model.Published], counts[model.CommonPractice], counts[model.Estimate]
	for _, p := range m.BlindPairs() {
		v.Blind = append(v.Blind, [2]string{names[p.A], names[p.B]})
	}
	return s.render(w, r, http.StatusOK, templates.Model(v))
}

// piecesOf says a text of the model in pieces: words, and names of its files, which are the
// same in all languages.
func piecesOf(l *lang.Language, t say.Text) []templates.Piece {
	const open, shut = "\ue000", "\ue001" // for private use: no text has them
	var out []templates.Piece
	for i, part := range strings.Split(l.Say(fenced(t, open, shut)), open) {
		name, words, ok := strings.Cut(part, shut)
		if i == 0 || !ok {
			name, words = "", part
		}
		out = append(out, templates.Piece{Name: name, Words: words})
	}
	return out
}

func fenced(t say.Text, open, shut string) say.Text {
	args := make([]any, len(t.Args))
	for i, a := range t.Args {
		switch v := a.(type) {
		case model.ID:
			args[i] = open + string(v) + shut
		case say.Text:
			args[i] = fenced(v, open, shut)
		default:
			args[i] = a
		}
	}
	t.Args = args
	return t
}
