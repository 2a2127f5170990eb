package web

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest"
)

// cheap makes password hashing quick; what is tested does not depend on its cost.
var cheap = PasswordCost{MemoryKiB: 64, Passes: 1, Threads: 1}

const password = "a password of the tests"

// rig is a site on a database of its own, with one person of each role.
type rig struct {
	t      *testing.T
	store  *store.Store
	server *server
	site   *httptest.Server
	people map[store.Role]store.Person
	log    *strings.Builder
}

func newRig(t *testing.T, change ...func(*Options)) *rig {
	t.Helper()
	st := store.New(storetest.DB(t))
	r := &rig{t: t, store: st, people: map[store.Role]store.Person{}, log: &strings.Builder{}}
	o := Options{Store: st, Logger: slog.New(slog.NewTextHandler(r.log, nil)), PasswordCost: cheap}
	for _, c := range change {
		c(&o)
	}
	s, err := newServer(o)
	if err != nil {
		t.Fatal(err)
	}
	r.server = s
	r.site = httptest.NewServer(s.router())
	t.Cleanup(r.site.Close)
	shop := usualShop
	shop.Name = "Quayside Test Garage"
	shop.TemperatureUnit, shop.PressureUnit = "c", "kpa"
	if err := st.SaveShop(t.Context(), 0, shop); err != nil {
		t.Fatal(err)
	}
	phc, err := hashPassword(password, cheap)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []store.NewPerson{
		{Name: "Olga Owner", Login: "olga", Role: store.Owner, PasswordHash: phc},
		{Name: "Tomas Tech", Login: "tomas", Role: store.Technician, PasswordHash: phc},
		{Name: "Wanda Writer", Login: "wanda", Role: store.Writer, PasswordHash: phc},
	} {
		added, err := st.AddPerson(t.Context(), 0, p)
		if err != nil {
			t.Fatal(err)
		}
		r.people[p.Role] = added
	}
	return r
}

// browser is someone at the site: cookies are kept, redirects are not followed.
type browser struct {
	rig *rig
	c   *http.Client
}

type answer struct {
	status   int
	header   http.Header
	body     string
	location string
}

func (r *rig) nobody() *browser {
	jar, err := cookiejar.New(nil)
	if err != nil {
		r.t.Fatal(err)
	}
	return &browser{r, &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// as returns a browser logged in as the person of a role.
func (r *rig) as(role store.Role) *browser {
	r.t.Helper()
	b := r.nobody()
	a := b.post("/login", url.Values{"login": {r.people[role].Login}, "password": {password}})
	if a.status != http.StatusSeeOther {
		r.t.Fatalf("log-in as %s: status %d\n%s", role, a.status, a.body)
	}
	return b
}

func (b *browser) do(method, path string, body io.Reader, change func(*http.Request)) answer {
	b.rig.t.Helper()
	req, err := http.NewRequestWithContext(context.WithoutCancel(b.rig.t.Context()), method, b.rig.site.URL+path, body)
	if err != nil {
		b.rig.t.Fatal(err)
	}
	if change != nil {
		change(req)
	}
	res, err := b.c.Do(req)
	if err != nil {
		b.rig.t.Fatal(err)
	}
	defer res.Body.Close()
	text, err := io.ReadAll(res.Body)
	if err != nil {
		b.rig.t.Fatal(err)
	}
	return answer{res.StatusCode, res.Header, string(text), res.Header.Get("Location")}
}

func (b *browser) get(path string) answer {
	b.rig.t.Helper()
	return b.do(http.MethodGet, path, nil, nil)
}

func (b *browser) post(path string, form url.Values) answer {
	b.rig.t.Helper()
	return b.do(http.MethodPost, path, strings.NewReader(form.Encode()), func(r *http.Request) {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	})
}

func (b *browser) cookie(name string) string {
	u, _ := url.Parse(b.rig.site.URL)
	for _, c := range b.c.Jar.Cookies(u) {
		if c.Name == name {
			return c.Value
		}
	}
	return ""
}

// want fails unless the answer has the status and holds each text.
func (a answer) want(t *testing.T, status int, texts ...string) answer {
	t.Helper()
	if a.status != status {
		t.Fatalf("status %d, want %d (to %q)\n%s", a.status, status, a.location, plainText(a.body))
	}
	for _, s := range texts {
		if !strings.Contains(a.body, s) && !strings.Contains(plainText(a.body), s) {
			t.Errorf("the page lacks %q:\n%s", s, plainText(a.body))
		}
	}
	return a
}

func (a answer) lacks(t *testing.T, texts ...string) answer {
	t.Helper()
	for _, s := range texts {
		if strings.Contains(a.body, s) || strings.Contains(plainText(a.body), s) {
			t.Errorf("the page holds %q", s)
		}
	}
	return a
}

var tags = regexp.MustCompile(`(?s)<(script|style|svg)[^>]*>.*?</(script|style|svg)>|<[^>]*>`)
var space = regexp.MustCompile(`\s+`)

// plainText is what a person reads of a page.
func plainText(html string) string {
	s := tags.ReplaceAllString(html, " ")
	s = strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&amp;", "&", "&lt;", "<", "&gt;", ">").Replace(s)
	return strings.TrimSpace(space.ReplaceAllString(s, " "))
}

// hidden finds the value of a field of a page.
func (a answer) hidden(t *testing.T, name string) string {
	t.Helper()
	m := regexp.MustCompile(`name="` + regexp.QuoteMeta(name) + `"[^>]*value="([^"]*)"`).FindStringSubmatch(a.body)
	if m == nil {
		t.Fatalf("no field %q on the page:\n%s", name, plainText(a.body))
	}
	return m[1]
}

// four is a car with two banks and a sensor ahead of and behind each converter.
var four = []store.Sensor{
	{Bank: 1, Position: 1, Kind: diag.Zirconia, Wires: 4}, {Bank: 1, Position: 2, Kind: diag.Zirconia, Wires: 4},
	{Bank: 2, Position: 1, Kind: diag.Zirconia, Wires: 4}, {Bank: 2, Position: 2, Kind: diag.Zirconia, Wires: 4},
}

// job opens a job on a new car and returns its number.
func (r *rig) job(told ...string) int64 {
	r.t.Helper()
	in := store.Intake{ID: store.NewID(), Customer: store.Customer{Name: "Ines Vale", Phone: "555-0147"},
		Vehicle: store.Vehicle{Plate: "KLR 482", Make: "Halden", Model: "Corrie", ModelYear: 2014, Cylinders: 6, Arrangement: "v",
			DisplacementL: 3, Fuel: "petrol", AirMetering: "maf"},
		Sensors: four, Concern: "The light came on after the motorway.", Odometer: new(113000), OdometerUnit: "mi"}
	for _, c := range told {
		in.Told = append(in.Told, diag.Entry{Kind: diag.KindCode, Code: c, Status: "stored"})
	}
	id, err := r.store.OpenJob(r.t.Context(), r.people[store.Writer].ID, in)
	if err != nil {
		r.t.Fatal(err)
	}
	return id
}

// entry appends an entry to a job.
func (r *rig) entry(job int64, e diag.Entry) string {
	r.t.Helper()
	n := store.NewEntry{ID: store.NewID(), JobID: job, Body: e, Source: store.Observed}
	if _, _, err := r.store.AddEntry(r.t.Context(), r.people[store.Technician].ID, n); err != nil {
		r.t.Fatal(err)
	}
	return n.ID
}

// later lets the site and its store live at another time.
func (r *rig) later(d time.Duration) {
	at := time.Now().Add(d)
	r.server.now = func() time.Time { return at }
	r.server.store = r.store.At(at)
}
