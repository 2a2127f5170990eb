package web

import (
	"net/http"

	"crosscount/templates"
)

func (s *server) home(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, r, http.StatusOK, templates.Home(templates.HomeView{Page: s.page(w, r, templates.AtHome, templates.TitleHome)}))
}
