package web

import (
	"net/http"

	"crosscount/static"
	"crosscount/templates"
)

// worker sends the service worker. Browsers ask for it anew, so that a new version is
// seen; it lies at the root, because its reach is where it lies.
func (s *server) worker(w http.ResponseWriter, r *http.Request) error {
	w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	_, _ = w.Write(static.Worker()) // the reader may have gone
	return nil
}

// manifest lets the app be installed to a home screen (W3C Web Application Manifest).
func (s *server) manifest(w http.ResponseWriter, r *http.Request) error {
	icon := func(name, sizes, kind, purpose string) map[string]string {
		return map[string]string{"src": static.URL(name), "sizes": sizes, "type": kind, "purpose": purpose}
	}
	writeJSON(w, http.StatusOK, map[string]any{
		"id": "/", "name": "Crosscount", "short_name": "Crosscount", "start_url": "/", "scope": "/", "display": "standalone",
		"background_color": "#eceeea", "theme_color": "#fafaf6", "lang": "en",
		"icons": []map[string]string{icon("icon.svg", "any", "image/svg+xml", "any"), icon("icon-192.png", "192x192", "image/png", "any"),
			icon("icon-512.png", "512x512", "image/png", "any"), icon("icon-mask.png", "512x512", "image/png", "maskable")},
	})
	return nil
}

// tablet shows what a tablet holds for the person; its script fills it.
func (s *server) tablet(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, r, http.StatusOK, templates.Tablet(s.page(w, r, templates.AtNowhere, templates.TitleTablet)))
}
