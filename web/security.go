package web

import (
	"net/http"
	"net/netip"

	"github.com/go-chi/chi/v5/middleware"

	"crosscount/templates"
)

// headers go with every answer, one reason each.
var headers = []struct{ name, value string }{
	// Nothing loads or runs but what we ship; no inline script or style, so text
	// that slips through as markup stays dead. connect-src is for our own modules.
	{"Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"},
	// A file is what its type says; no guessing a script out of an upload.
	{"X-Content-Type-Options", "nosniff"},
	// Addresses of jobs and one-time links stay with us. Not "no-referrer": with it
	// browsers send "Origin: null" on our own forms, and over plain http, where
	// Sec-Fetch-Site is missing, the check of where a form comes from would fail.
	{"Referrer-Policy", "same-origin"},
	// A page opened from here, or opening us, gets no handle on our window.
	{"Cross-Origin-Opener-Policy", "same-origin"},
	// Other sites may not embed our pages, pictures or data.
	{"Cross-Origin-Resource-Policy", "same-origin"},
	// The camera reads bar codes and takes photos; nothing else is asked for.
	{"Permissions-Policy", "camera=(self), microphone=(), geolocation=(), payment=(), usb=(), interest-cohort=()"},
	// Pages are private and always asked for anew; what is typed survives "back".
	{"Cache-Control", "private, no-cache"},
}

// secured sets the headers before anything is written.
func secured(https bool) func(http.Handler) http.Handler {
	return func(next http.Handler) http.Handler {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			h := w.Header()
			for _, x := range headers {
				h.Set(x.name, x.value)
			}
			if https {
				// Once reached by https, a browser does not fall back to http.
				h.Set("Strict-Transport-Security", "max-age=31536000")
			}
			next.ServeHTTP(w, r)
		})
	}
}

// sameOrigin refuses changes asked for by another site's page. It needs no hidden
// form fields: browsers say where a request comes from, by Sec-Fetch-Site or, over
// plain http in the shop's own network, by Origin.
func (s *server) sameOrigin() func(http.Handler) http.Handler {
	c := http.NewCrossOriginProtection()
	c.SetDenyHandler(s.plain(func(http.ResponseWriter, *http.Request) error {
		return trouble(templates.TroubleCross, "")
	}))
	return c.Handler
}

// clientAddress settles whose address counts: the peer's, or what trusted proxies
// say. Any other X-Forwarded-For is a claim anyone can make.
func (s *server) clientAddress() func(http.Handler) http.Handler {
	if len(s.TrustedProxies) == 0 {
		return middleware.ClientIPFromRemoteAddr
	}
	prefixes := make([]string, len(s.TrustedProxies))
	for i, p := range s.TrustedProxies {
		prefixes[i] = p.String()
	}
	return middleware.ClientIPFromXFF(prefixes...)
}

// clientAddress returns what log-ins are counted by: an IPv4 address, or the /64
// of an IPv6 address, since one machine commands a whole /64.
func clientAddress(r *http.Request) string {
	a := middleware.GetClientIPAddr(r.Context())
	if !a.IsValid() {
		return "unknown"
	}
	if a.Is6() {
		return netip.PrefixFrom(a, 64).Masked().String()
	}
	return a.String()
}

func (s *server) setCookie(w http.ResponseWriter, name, value string, maxAge int) {
	http.SetCookie(w, &http.Cookie{
		Name: name, Value: value, Path: "/", MaxAge: maxAge, // negative: forget it
		HttpOnly: true,                 // no script needs them
		SameSite: http.SameSiteLaxMode, // other sites' forms do not carry them; links from a mail do
		Secure:   s.HTTPS,
	})
}
