package web

import (
	"errors"
	"net/http"
	"strings"
	"time"

	"crosscount/store"
	"crosscount/templates"
)

// LoginLimits bound how many wrong passwords are taken within a time.
type LoginLimits struct {
	Within  time.Duration
	Login   int // for one name, since it last got in
	Address int // from one client address
}

// DefaultLoginLimits are tight for a name and wide for an address, behind which a
// whole shop may sit.
var DefaultLoginLimits = LoginLimits{Within: 15 * time.Minute, Login: 8, Address: 60}

func (s *server) loginView(w http.ResponseWriter, r *http.Request) (templates.LoginView, error) {
	v := templates.NewLogin(s.page(w, r, templates.AtNowhere, templates.TitleLogin))
	v.Demo = s.Demo
	shop, err := s.store.Shop(r.Context())
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return v, err
	}
	v.Shop = shop.Name
	return v, nil
}

func (s *server) loginPage(w http.ResponseWriter, r *http.Request) error {
	if viewer(r) != nil {
		return see(w, r, local(r.URL.Query().Get("next")))
	}
	v, err := s.loginView(w, r)
	if err != nil {
		return err
	}
	v.Next = local(r.URL.Query().Get("next"))
	return s.render(w, r, http.StatusOK, templates.Login(v))
}

// askLogin answers whoever has to log in first. What a form carried is kept for
// afterwards.
func (s *server) askLogin(w http.ResponseWriter, r *http.Request) error {
	if wantsJSON(r) {
		writeJSON(w, http.StatusUnauthorized, map[string]any{"error": map[string]string{
			"kind": "login", "say": tongue(r).T(templates.SayLogInFirst), "request": infoOf(r).id}})
		return nil
	}
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		return see(w, r, "/login?next="+queryEscape(r.URL.RequestURI()))
	}
	if err := r.ParseForm(); err != nil {
		return err
	}
	v, err := s.loginView(w, r)
	if err != nil {
		return err
	}
	v.Again = again(r)
	return s.render(w, r, http.StatusUnauthorized, templates.Login(v))
}

func (s *server) login(w http.ResponseWriter, r *http.Request) error {
	v, err := s.loginView(w, r)
	if err != nil {
		return err
	}
	f := form{r: r}
	login := f.text(&v.Name, 60)
	password := f.secret(&v.Password)
	v.Next = local(r.PostFormValue("next"))
	v.Again = againFrom(r)
	refused := func(status int) error {
		v.Refusal = f.refusal()
		return s.render(w, r, status, templates.Login(v))
	}
	if f.bad() {
		return refused(http.StatusUnprocessableEntity)
	}

	release, err := s.hashSlot(r.Context())
	if err != nil {
		return err
	}
	defer release()
	address := clientAddress(r)
	failures, err := s.store.FailedAttempts(r.Context(), login, address, s.now().Add(-s.Limits.Within))
	if err != nil {
		return err
	}
	minutes := int(s.Limits.Within.Minutes())
	if failures.Login >= s.Limits.Login {
		f.wrong(nil, templates.SayTooManyForName(tongue(r), failures.Login, minutes))
		return refused(http.StatusTooManyRequests)
	}
	if failures.Address >= s.Limits.Address {
		f.wrong(nil, templates.SayTooManyFromHere(tongue(r), failures.Address, minutes))
		return refused(http.StatusTooManyRequests)
	}

	person, err := s.store.PersonByLogin(r.Context(), login)
	known := err == nil && person.Active && person.PasswordHash != nil
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return err
	}
	phc := s.decoy
	if known {
		phc = *person.PasswordHash
	}
	ok, stale, err := checkPassword(phc, password, s.PasswordCost)
	if err != nil {
		return err
	}
	ok = ok && known
	if err := s.store.RecordAttempt(r.Context(), login, address, ok); err != nil {
		return err
	}
	if !ok {
		f.wrong(&v.Password, templates.SayWrongLogin(tongue(r), s.Limits.Login-failures.Login-1))
		return refused(http.StatusUnprocessableEntity)
	}
	if stale {
		phc, err := hashPassword(password, s.PasswordCost)
		if err != nil {
			return err
		}
		if err := s.store.RehashPassword(r.Context(), person.ID, *person.PasswordHash, phc); err != nil {
			return err
		}
	}
	if err := s.startSession(w, r, person.ID); err != nil {
		return err
	}
	if v.Again != nil {
		return s.render(w, r, http.StatusOK, templates.SendAgain(templates.SendAgainView{
			Page: s.page(w, r, templates.AtNowhere, templates.TitleLogin), Again: *v.Again}))
	}
	if v.Next == "/" && person.Role == store.Owner {
		return see(w, r, "/lookback") // whose first question is what came back
	}
	return see(w, r, v.Next)
}

// againFrom reads back what the log-in page carried for another form.
func againFrom(r *http.Request) *templates.Again {
	action := r.PostFormValue("again_action")
	if action == "" || local(action) != action {
		return nil
	}
	a := &templates.Again{Action: action}
	names, values := r.PostForm["again_name"], r.PostForm["again_value"]
	for i := range min(len(names), len(values)) {
		if !strings.Contains(names[i], "password") {
			a.Fields = append(a.Fields, templates.Pair{Name: names[i], Value: values[i]})
		}
	}
	return a
}

func (s *server) logout(w http.ResponseWriter, r *http.Request) error {
	if err := s.store.EndSession(r.Context(), viewer(r).SessionID); err != nil {
		return err
	}
	s.setCookie(w, sessionCookie, "", -1)
	w.Header().Set("Clear-Site-Data", `"cache"`) // "back" shows nothing to whoever takes the tablet next
	return see(w, r, "/login")
}
