package web

import (
	"net/http"
	"strings"

	"crosscount/static"
	"crosscount/store"
)

// access is the set of those who may use a route.
type access uint8

const (
	anonymous access = 1 << iota
	writer
	technician
	owner

	staff  = writer | technician | owner
	bench  = technician | owner
	anyone = anonymous | staff
)

func accessOf(r store.Role) access {
	switch r {
	case store.Writer:
		return writer
	case store.Technician:
		return technician
	case store.Owner:
		return owner
	}
	return 0
}

type handler func(http.ResponseWriter, *http.Request) error

type route struct {
	method, pattern string
	may             access
	do              handler
	maxBody         int64 // bytes; 0 is the usual limit for a form
}

// routes is the site map.
func (s *server) routes() []route {
	get := func(pattern string, may access, do handler) route {
		return route{method: http.MethodGet, pattern: pattern, may: may, do: do}
	}
	post := func(pattern string, may access, do handler) route {
		return route{method: http.MethodPost, pattern: pattern, may: may, do: do}
	}
	return []route{
		// The machine
		get("/healthz", anyone, s.healthz),
		get("/readyz", anyone, s.readyz),
		get(static.Prefix+"*", anyone, s.static),
		get("/favicon.ico", anyone, s.favicon),
		get("/sw.js", anyone, s.worker),
		get("/manifest.webmanifest", anyone, s.manifest),

		// The door
		get("/login", anyone, s.loginPage),
		post("/login", anyone, s.login),
		get("/start/{token}", anyone, s.startPage),
		post("/start/{token}", anyone, s.start),
		get("/password/{token}", anyone, s.newPasswordPage),
		post("/password/{token}", anyone, s.newPassword),
		post("/theme", anyone, s.theme),
		post("/logout", staff, s.logout),
		get("/me", staff, s.me),
		post("/me/password", staff, s.changePassword),
		post("/me/language", staff, s.myLanguage),

		// Whose move it is
		get("/", staff, s.home),
		get("/search", staff, s.search),
		get("/search/found", staff, s.searchFound),

		// A job, from the counter to the hand-over
		get("/jobs/new", staff, s.newJob),
		get("/jobs/new/cars", staff, s.carsFound),
		get("/jobs/new/nearest", staff, s.nearest),
		post("/jobs", staff, s.openJob),
		get("/jobs/{job}", staff, s.jobPage),
		get("/jobs/{job}/case.json", staff, s.caseFile),
		post("/jobs/{job}/head", staff, s.saveHead),
		post("/jobs/{job}/assign", staff, s.assign),
		post("/jobs/{job}/comeback", staff, s.linkComeback),
		post("/jobs/{job}/evidence", staff, s.addEvidence),
		post("/jobs/{job}/evidence/{entry}/withdraw", staff, s.withdrawEvidence),
		{method: http.MethodPost, pattern: "/jobs/{job}/files", may: staff, do: s.takeFile, maxBody: uploadMaxBytes},
		get("/jobs/{job}/files/{file}", staff, s.filePage),
		get("/jobs/{job}/files/{file}/original", staff, s.original),
		post("/jobs/{job}/files/{file}/keep", staff, s.keepCapture),
		post("/jobs/{job}/files/{file}/take", staff, s.takeAnswers),
		get("/jobs/{job}/captures/{capture}", staff, s.capturePage),
		get("/jobs/{job}/captures/{capture}/picture.svg", staff, s.capturePicture),
		get("/jobs/{job}/overlay.svg", staff, s.overlay),
		get("/jobs/{job}/trims.svg", staff, s.trimsPicture),
		get("/curve.svg", staff, s.curve),
		post("/jobs/{job}/verdict", bench, s.acceptVerdict),
		post("/jobs/{job}/override", bench, s.overrideVerdict),
		post("/jobs/{job}/approve", staff, s.approve),
		post("/jobs/{job}/mended", bench, s.mended),
		post("/jobs/{job}/fitted", bench, s.fitted),
		post("/jobs/{job}/repairs/{repair}/undo", bench, s.undoRepair),
		post("/jobs/{job}/finish", bench, s.finishRepair),
		post("/jobs/{job}/proof", bench, s.prove),
		post("/jobs/{job}/close", staff, s.closeJob),
		post("/jobs/{job}/cancel", staff, s.cancelJob),
		post("/jobs/{job}/reopen", owner, s.reopenJob),

		// Its money and papers
		get("/jobs/{job}/account", staff, s.accountPage),
		post("/jobs/{job}/yes", staff, s.yes),
		post("/jobs/{job}/ask", staff, s.ask),
		post("/jobs/{job}/lines", staff, s.addLine),
		post("/jobs/{job}/lines/{line}", staff, s.moveLine),
		post("/jobs/{job}/documents", staff, s.issue),
		post("/jobs/{job}/converters", staff, s.saveConverter),
		get("/jobs/{job}/paper/{paper}", staff, s.jobPaper),
		get("/jobs/{job}/paper/{paper}/pdf", staff, s.jobPaperPDF),
		get("/jobs/{job}/paper/photos/{photo}", staff, s.paperPhoto),
		get("/documents/{document}", staff, s.documentPage),
		get("/documents/{document}/pdf", staff, s.documentPDF),
		post("/documents/{document}/payments", staff, s.pay),
		post("/documents/{document}/void", staff, s.voidDocument),

		// What the customer may read
		post("/jobs/{job}/links", staff, s.makeLink),
		post("/jobs/{job}/links/{link}/revoke", staff, s.revokeLink),
		get("/c/{token}", anyone, s.customerPage),
		get("/c/{token}/photos/{photo}", anyone, s.customerPhoto),

		// The bay
		{method: http.MethodPost, pattern: "/api/entries", may: staff, do: s.takeSent, maxBody: sentMaxBytes},
		get("/api/jobs/{job}", staff, s.jobState),
		get("/jobs/{job}/bay", staff, s.bayPage),
		post("/jobs/{job}/set-aside", staff, s.setAside),
		post("/jobs/{job}/set-aside/{aside}/lift", staff, s.liftSetAside),
		get("/jobs/{job}/sensor/{place}", staff, s.sensorPage),
		post("/jobs/{job}/sensor/{place}", bench, s.saveMaker),
		get("/jobs/{job}/photos", staff, s.photosPage),
		{method: http.MethodPost, pattern: "/jobs/{job}/photos", may: staff, do: s.addPhoto, maxBody: photoBodyBytes},
		post("/jobs/{job}/photos/{photo}/remove", staff, s.removePhoto),
		get("/photos/{photo}/full", staff, s.photoFull),
		get("/photos/{photo}/thumb", staff, s.photoThumb),
		get("/jobs/{job}/news", staff, s.jobNews),
		get("/news", staff, s.allNews),
		get("/tablet", staff, s.tablet),

		// A car
		get("/vehicles/{vehicle}", staff, s.vehicle),
		post("/vehicles/{vehicle}", staff, s.saveVehicle),
		post("/vehicles/{vehicle}/sensors", staff, s.saveSensors),
		post("/vehicles/{vehicle}/customer", staff, s.saveCustomer),

		// Look back and set up
		get("/lookback", owner, s.lookBack),
		get("/model", staff, s.modelPage),
		get("/readings", staff, s.mappingsPage),
		post("/readings", staff, s.changeMapping),
		get("/people", owner, s.people),
		post("/people", owner, s.addPerson),
		post("/people/{person}", owner, s.updatePerson),
		post("/people/{person}/link", owner, s.linkPerson),
		get("/shop", owner, s.shopPage),
		post("/shop", owner, s.saveShop),
		post("/shop/taxes", owner, s.saveTax),
	}
}

func (s *server) static(w http.ResponseWriter, r *http.Request) error {
	static.Handler().ServeHTTP(w, r)
	return nil
}

// favicon answers browsers that ask at the root whatever the page says.
func (s *server) favicon(w http.ResponseWriter, r *http.Request) error {
	http.Redirect(w, r, static.URL("icon.svg"), http.StatusFound)
	return nil
}

// local returns a path on this site, or "/" for anything else.
func local(p string) string {
	if !strings.HasPrefix(p, "/") || strings.HasPrefix(p, "//") || strings.ContainsAny(p, "\\\r\n\t") {
		return "/"
	}
	return p
}
