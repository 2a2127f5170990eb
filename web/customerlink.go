package web

import (
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"

	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/paper"
)

// A wrong customer link costs nothing to try, so guesses are counted by address: after
// guessLimit of them nothing is looked up for a while. The token has 128 bits or more,
// so that this only spares the database.
const (
	guessLimit  = 30
	guessWithin = 15 * time.Minute
	linkMost    = 365
)

// guesses counts wrong tokens by client address.
type guesses struct {
	mu   sync.Mutex
	seen map[string]*guessCount
}

type guessCount struct {
	n     int
	since time.Time
}

const guessAddresses = 10000

func (g *guesses) tooMany(address string, now time.Time) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	c := g.seen[address]
	return c != nil && now.Sub(c.since).Abs() < guessWithin && c.n >= guessLimit
}

func (g *guesses) wrong(address string, now time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.seen == nil || len(g.seen) > guessAddresses {
		g.seen = map[string]*guessCount{}
	}
	c := g.seen[address]
	if c == nil || now.Sub(c.since).Abs() >= guessWithin {
		c = &guessCount{since: now}
		g.seen[address] = c
	}
	c.n++
}

// makeLink makes a link for the customer and shows it once.
func (s *server) makeLink(w http.ResponseWriter, r *http.Request) error {
	a, err := s.accountOf(r)
	if err != nil {
		return err
	}
	f := form{r: r}
	days := templates.LinkDaysField()
	n := f.whole(&days, 1, linkMost)
	token := ""
	if !f.bad() {
		token = newSecret()
		_, err := s.store.AddCustomerLink(r.Context(), viewer(r).PersonID, a.Job.ID, hashSecret(token), s.now().Add(time.Duration(n)*24*time.Hour))
		if err != nil && !f.take(err, &days) {
			return err
		}
	}
	v, err := s.accountView(w, r, a)
	if err != nil {
		return err
	}
	status := http.StatusOK
	if v.LinkDays = days; f.bad() {
		v.Refusal, status = f.refusal(), http.StatusUnprocessableEntity
	} else {
		v.NewLink = s.origin(r) + "/c/" + token
	}
	return s.showAccount(w, r, status, v)
}

// origin is how people reach this site.
func (s *server) origin(r *http.Request) string {
	if s.HTTPS || r.TLS != nil {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

func (s *server) revokeLink(w http.ResponseWriter, r *http.Request) error {
	job, err := idIn(r, "job")
	if err != nil {
		return err
	}
	link, err := idIn(r, "link")
	if err != nil {
		return err
	}
	if err := s.store.RevokeCustomerLink(r.Context(), viewer(r).PersonID, job, link); err != nil {
		return err
	}
	s.say(w, templates.DidRevoked)
	return see(w, r, fmt.Sprintf("/jobs/%d/account#link", job))
}

func (s *server) linkViews(r *http.Request, a *account, v *accountView) error {
	links, err := s.store.CustomerLinks(r.Context(), a.Job.ID)
	if err != nil {
		return err
	}
	for _, l := range links {
		state, last := "", ""
		switch {
		case l.RevokedAt != nil:
			state = "ended"
		case !l.ExpiresAt.After(s.now()):
			state = "over"
		}
		if l.LastViewedAt != nil {
			last = a.clock.moment(*l.LastViewedAt)
		}
		v.Links = append(v.Links, templates.LinkLine{ID: l.ID, Works: state == "",
			Say: templates.LinkSay(a.l, a.clock.moment(l.CreatedAt), a.clock.day(l.ExpiresAt), l.Views, last, state)})
	}
	return nil
}

// customerHeaders keep the secret in the address from travelling on.
func customerHeaders(w http.ResponseWriter) {
	w.Header().Set("Referrer-Policy", "no-referrer")
	w.Header().Set("X-Robots-Tag", "noindex, nofollow")
	w.Header().Set("Cache-Control", "private, no-store")
}

// byToken finds the link of a request by look, and answers every link that does not
// work, run out, ended, made up or tried too often, in the same way.
func (s *server) byToken(r *http.Request, look func(hash []byte) (store.CustomerLink, error)) (store.CustomerLink, error) {
	address := clientAddress(r)
	dead := trouble(templates.TroubleNotFound, templates.SayDeadCustomerLink)
	if s.guesses.tooMany(address, s.now()) {
		return store.CustomerLink{}, dead
	}
	link, err := look(hashSecret(chi.URLParam(r, "token")))
	if errors.Is(err, store.ErrNotFound) {
		s.guesses.wrong(address, s.now())
		return link, dead
	}
	return link, err
}

// customerPage shows the explanation to whoever holds its link.
func (s *server) customerPage(w http.ResponseWriter, r *http.Request) error {
	customerHeaders(w)
	link, err := s.byToken(r, func(hash []byte) (store.CustomerLink, error) {
		agent := []rune(strings.ToValidUTF8(r.UserAgent(), ""))
		return s.store.ViewCustomerLink(r.Context(), hash, clientAddress(r), string(agent[:min(len(agent), 300)]))
	})
	if err != nil {
		return err
	}
	d, err := s.desk(r.Context(), link.JobID)
	if err != nil {
		return err
	}
	p, err := s.explanation(r.Context(), d.in(s.languageOf(d.shop, d.Customer.Language)), r.URL.Path, true)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, paper.Alone(p, themeOf(r)))
}

// customerPhoto sends a photo of the explanation.
func (s *server) customerPhoto(w http.ResponseWriter, r *http.Request) error {
	customerHeaders(w)
	link, err := s.byToken(r, func(hash []byte) (store.CustomerLink, error) { return s.store.CustomerLink(r.Context(), hash) })
	if err != nil {
		return err
	}
	return s.sendPhoto(w, r, link.JobID, chi.URLParam(r, "photo"))
}
