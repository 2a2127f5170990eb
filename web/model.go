package web

import (
	"net/http"
	"slices"
	"strings"

	"crosscount/diag/model"
	"crosscount/templates"
)

// modelPage shows what the engine believes, every number with its source.
func (s *server) modelPage(w http.ResponseWriter, r *http.Request) error {
	m := model.Trade()
	v := templates.ModelView{Page: s.page(w, r, templates.AtModel, templates.TitleModel), Version: m.Version}
	names := map[string]string{}
	counts := map[model.SourceKind]int{}
	for _, sheet := range m.Sheets() {
		names[sheet.ID] = sheet.Name
		at := slices.IndexFunc(v.Groups, func(g templates.ModelGroup) bool { return g.Name == sheet.Group })
		if at < 0 {
			at = len(v.Groups)
			v.Groups = append(v.Groups, templates.ModelGroup{ID: strings.ToLower(sheet.Group), Name: sheet.Group})
		}
		one := templates.ModelSheet{ID: sheet.ID, Name: templates.Upper(sheet.Name), Scope: string(sheet.Scope), About: sheet.About}
		for _, row := range sheet.Rows {
			counts[row.Source.Kind]++
			one.Rows = append(one.Rows, templates.ModelRow{What: row.What, Value: row.Value, Source: row.Source.String(), At: row.At.String()})
		}
		v.Groups[at].Sheets = append(v.Groups[at].Sheets, one)
	}
	v.Published, v.Practice, v.Estimates = counts[model.Published], counts[model.CommonPractice], counts[model.Estimate]
	for _, p := range m.BlindPairs() {
		v.Blind = append(v.Blind, [2]string{names[p.A], names[p.B]})
	}
	return s.render(w, r, http.StatusOK, templates.Model(v))
}
