package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"time"

	"github.com/go-chi/chi/v5"

	"crosscount/store"
	"crosscount/templates"
)

// How long one-time links work.
const (
	firstOwnerLinkFor = 7 * 24 * time.Hour
	passwordLinkFor   = 48 * time.Hour
)

// FirstOwnerPath makes the one-time link with which a shop without an owner gets
// one, and returns its path on the site. A link made before stops working. It
// returns "" when there is an owner already.
func FirstOwnerPath(ctx context.Context, st *store.Store) (string, error) {
	has, err := st.HasOwner(ctx)
	if err != nil || has {
		return "", err
	}
	token := newSecret()
	if err := st.AddLink(ctx, 0, store.LinkFirstOwner, 0, hashSecret(token), time.Now().Add(firstOwnerLinkFor)); err != nil {
		return "", err
	}
	return "/start/" + token, nil
}

// PasswordPath makes the one-time link with which a person chooses a new password,
// and returns its path. by is 0 when the program itself does it.
func PasswordPath(ctx context.Context, st *store.Store, by, person int64) (string, error) {
	token := newSecret()
	if err := st.AddLink(ctx, by, store.LinkPassword, person, hashSecret(token), time.Now().Add(passwordLinkFor)); err != nil {
		return "", err
	}
	return "/password/" + token, nil
}

// link finds the working link of a request.
func (s *server) link(r *http.Request, purpose string) (hash []byte, l store.OneTimeLink, err error) {
	hash = hashSecret(chi.URLParam(r, "token"))
	l, err = s.store.Link(r.Context(), hash)
	if errors.Is(err, store.ErrNotFound) || (err == nil && l.Purpose != purpose) {
		return nil, l, trouble(templates.TroubleNotFound, templates.SayDeadLink)
	}
	return hash, l, err
}

func (s *server) startView(w http.ResponseWriter, r *http.Request) templates.StartView {
	v := templates.NewStart(s.page(w, r, templates.AtNowhere, templates.TitleStart))
	v.Action = r.URL.Path
	return v
}

func (s *server) startPage(w http.ResponseWriter, r *http.Request) error {
	if _, _, err := s.link(r, store.LinkFirstOwner); err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, templates.Start(s.startView(w, r)))
}

func (s *server) start(w http.ResponseWriter, r *http.Request) error {
	hash, _, err := s.link(r, store.LinkFirstOwner)
	if err != nil {
		return err
	}
	v := s.startView(w, r)
	f := form{r: r}
	name := f.text(&v.Name, 200)
	login := f.login(&v.Login)
	phc, err := s.newHash(&f, &v.First, &v.Again, login)
	if err != nil {
		return err
	}
	var p store.Person
	if !f.bad() {
		p, err = s.store.AddFirstOwner(r.Context(), hash, store.NewPerson{Name: name, Login: login, PasswordHash: phc})
		if !f.take(err, &v.Name, &v.Login) && err != nil {
			return err
		}
	}
	if f.bad() {
		v.Refusal = f.refusal()
		return s.render(w, r, http.StatusUnprocessableEntity, templates.Start(v))
	}
	if err := s.startSession(w, r, p.ID); err != nil {
		return err
	}
	return see(w, r, "/shop")
}

func (s *server) newPasswordView(w http.ResponseWriter, r *http.Request, person int64) (templates.NewPasswordView, store.Person, error) {
	v := templates.NewNewPassword(s.page(w, r, templates.AtNowhere, templates.TitlePassword))
	p, err := s.store.Person(r.Context(), person)
	v.Action, v.For = r.URL.Path, p.Name
	return v, p, err
}

func (s *server) newPasswordPage(w http.ResponseWriter, r *http.Request) error {
	_, l, err := s.link(r, store.LinkPassword)
	if err != nil {
		return err
	}
	v, _, err := s.newPasswordView(w, r, *l.PersonID)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, templates.NewPassword(v))
}

func (s *server) newPassword(w http.ResponseWriter, r *http.Request) error {
	hash, l, err := s.link(r, store.LinkPassword)
	if err != nil {
		return err
	}
	v, person, err := s.newPasswordView(w, r, *l.PersonID)
	if err != nil {
		return err
	}
	f := form{r: r}
	phc, err := s.newHash(&f, &v.First, &v.Again, person.Login)
	if err != nil {
		return err
	}
	if f.bad() {
		v.Refusal = f.refusal()
		return s.render(w, r, http.StatusUnprocessableEntity, templates.NewPassword(v))
	}
	p, err := s.store.SetPasswordByLink(r.Context(), hash, phc)
	if err != nil {
		return err
	}
	if !p.Active {
		return trouble(templates.TroubleForbid, templates.SayNotActive)
	}
	if err := s.startSession(w, r, p.ID); err != nil {
		return err
	}
	return see(w, r, "/")
}

// newHash reads a new password typed twice.
func (s *server) newHash(f *form, first, again *templates.Field, login string) (string, error) {
	password := f.secret(first)
	repeated := f.secret(again)
	switch {
	case password == "" || repeated == "":
		return "", nil
	case len([]rune(password)) < 10:
		f.wrong(first, templates.SayPasswordShort)
	case len(password) > 400:
		f.wrong(first, templates.SayPasswordLong)
	case login != "" && password == login:
		f.wrong(first, templates.SayPasswordIsName)
	case password != repeated:
		f.wrong(again, templates.SayPasswordsDiffer)
	}
	if f.bad() {
		return "", nil
	}
	release, err := s.hashSlot(f.r.Context())
	if err != nil {
		return "", err
	}
	defer release()
	return hashPassword(password, s.PasswordCost)
}

func (s *server) meView(w http.ResponseWriter, r *http.Request) templates.MeView {
	v := templates.NewMe(s.page(w, r, templates.AtMe, viewer(r).Name))
	v.Login, v.Role = viewer(r).Login, string(viewer(r).Role)
	v.Language.Options, v.Language.Value = languages(templates.ShopsLanguage), viewer(r).Language
	return v
}

func (s *server) me(w http.ResponseWriter, r *http.Request) error {
	return s.render(w, r, http.StatusOK, templates.Me(s.meView(w, r)))
}

func (s *server) changePassword(w http.ResponseWriter, r *http.Request) error {
	v := s.meView(w, r)
	f := form{r: r}
	old := f.secret(&v.Old)
	who := viewer(r)
	if old != "" {
		p, err := s.store.Person(r.Context(), who.PersonID)
		if err != nil {
			return err
		}
		ok, err := s.checkOwn(r, p, old)
		if err != nil {
			return err
		}
		if !ok {
			f.wrong(&v.Old, templates.SayWrongOld)
		}
	}
	phc, err := s.newHash(&f, &v.First, &v.Again, who.Login)
	if err != nil {
		return err
	}
	if f.bad() {
		v.Refusal = f.refusal()
		return s.render(w, r, http.StatusUnprocessableEntity, templates.Me(v))
	}
	if err := s.store.SetPassword(r.Context(), who.PersonID, who.PersonID, phc); err != nil {
		return err
	}
	if err := s.startSession(w, r, who.PersonID); err != nil { // the change ended every session
		return err
	}
	s.say(w, templates.DidPassword)
	return see(w, r, "/me")
}

// checkOwn counts like a log-in, so that an unattended tablet is no place to guess.
func (s *server) checkOwn(r *http.Request, p store.Person, password string) (bool, error) {
	release, err := s.hashSlot(r.Context())
	if err != nil {
		return false, err
	}
	defer release()
	address := clientAddress(r)
	failures, err := s.store.FailedAttempts(r.Context(), p.Login, address, s.now().Add(-s.Limits.Within))
	if err != nil {
		return false, err
	}
	if failures.Login >= s.Limits.Login {
		m := templates.SayTooManyForName(tongue(r), failures.Login, int(s.Limits.Within.Minutes()))
		return false, trouble(templates.TroubleTooMany, m.Reason+" "+m.Mend)
	}
	if p.PasswordHash == nil {
		return false, nil
	}
	ok, _, err := checkPassword(*p.PasswordHash, password, s.PasswordCost)
	if err != nil {
		return false, err
	}
	return ok, s.store.RecordAttempt(r.Context(), p.Login, address, ok)
}

const themeCookie = "crosscount_theme"

func themeOf(r *http.Request) string {
	if c, err := r.Cookie(themeCookie); err == nil && (c.Value == "light" || c.Value == "dark") {
		return c.Value
	}
	return ""
}

func (s *server) theme(w http.ResponseWriter, r *http.Request) error {
	switch t := r.PostFormValue("theme"); t {
	case "light", "dark":
		s.setCookie(w, themeCookie, t, 365*24*3600)
	default:
		s.setCookie(w, themeCookie, "", -1)
	}
	return see(w, r, local(r.PostFormValue("back")))
}

const noticeCookie = "crosscount_did"

// say leaves a word for the next page about what was done.
func (s *server) say(w http.ResponseWriter, d templates.Did) {
	s.setCookie(w, noticeCookie, string(d), 60)
}

// notice takes the word back. The cookie holds a key, never text.
func (s *server) notice(w http.ResponseWriter, r *http.Request) string {
	c, err := r.Cookie(noticeCookie)
	if err != nil {
		return ""
	}
	s.setCookie(w, noticeCookie, "", -1)
	return templates.DidWords(templates.Did(c.Value))
}

func queryEscape(s string) string { return url.QueryEscape(s) }
