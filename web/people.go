package web

import (
	"fmt"
	"net/http"
	"strconv"

	"github.com/go-chi/chi/v5"

	"crosscount/store"
	"crosscount/templates"
)

// peopleView lists everyone. The forms of the people carry their number, so that
// all can stand on one page.
func (s *server) peopleView(w http.ResponseWriter, r *http.Request) (templates.PeopleView, error) {
	v := templates.PeopleView{Page: s.page(w, r, templates.AtPeople, templates.TitlePeople), New: templates.NewPersonForm("")}
	v.New.Role.Value = string(store.Technician)
	people, err := s.store.People(r.Context())
	if err != nil {
		return v, err
	}
	for _, p := range people {
		pv := templates.PersonView{ID: p.ID, Name: p.Name, Login: p.Login, Role: string(p.Role), Active: p.Active,
			Waiting: p.PasswordHash == nil, Form: templates.NewPersonForm(fmt.Sprintf("p%d_", p.ID))}
		pv.Form.Name.Value, pv.Form.Login.Value, pv.Form.Role.Value = p.Name, p.Login, string(p.Role)
		if !p.Active {
			pv.Form.Active.Value = ""
		}
		v.People = append(v.People, pv)
	}
	return v, nil
}

func (s *server) people(w http.ResponseWriter, r *http.Request) error {
	v, err := s.peopleView(w, r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, templates.People(v))
}

func (s *server) addPerson(w http.ResponseWriter, r *http.Request) error {
	v, err := s.peopleView(w, r)
	if err != nil {
		return err
	}
	f := form{r: r}
	n := store.NewPerson{Name: f.text(&v.New.Name, 200), Login: f.login(&v.New.Login), Role: store.Role(f.choice(&v.New.Role))}
	var p store.Person
	if !f.bad() {
		p, err = s.store.AddPerson(r.Context(), viewer(r).PersonID, n)
		if err != nil && !f.take(err, &v.New.Name, &v.New.Login, &v.New.Role) {
			return err
		}
	}
	if f.bad() {
		v.Refusal = f.refusal()
		return s.render(w, r, http.StatusUnprocessableEntity, templates.People(v))
	}
	return s.showLink(w, r, p)
}

func (s *server) linkPerson(w http.ResponseWriter, r *http.Request) error {
	p, err := s.personOf(r)
	if err != nil {
		return err
	}
	return s.showLink(w, r, p)
}

// showLink makes a one-time link and shows it in this answer only; its secret is
// kept nowhere.
func (s *server) showLink(w http.ResponseWriter, r *http.Request, p store.Person) error {
	path, err := PasswordPath(r.Context(), s.store, viewer(r).PersonID, p.ID)
	if err != nil {
		return err
	}
	v, err := s.peopleView(w, r)
	if err != nil {
		return err
	}
	c, err := s.clock(r.Context())
	if err != nil {
		return err
	}
	v.Link = &templates.LinkView{For: p.Name, URL: s.base(r) + path, Until: c.day(s.now().Add(passwordLinkFor)) + " " + c.hour(s.now().Add(passwordLinkFor))}
	w.Header().Set("Cache-Control", "no-store")
	return s.render(w, r, http.StatusOK, templates.People(v))
}

// base is how the browser reached us.
func (s *server) base(r *http.Request) string {
	if s.HTTPS || r.TLS != nil {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

func (s *server) personOf(r *http.Request) (store.Person, error) {
	id, err := idIn(r, "person")
	if err != nil {
		return store.Person{}, err
	}
	return s.store.Person(r.Context(), id)
}

// idIn reads a number out of the path. What is no number names nothing.
func idIn(r *http.Request, name string) (int64, error) {
	id, err := strconv.ParseInt(chi.URLParam(r, name), 10, 64)
	if err != nil || id <= 0 {
		return 0, trouble(templates.TroubleNotFound, "")
	}
	return id, nil
}

func (s *server) updatePerson(w http.ResponseWriter, r *http.Request) error {
	p, err := s.personOf(r)
	if err != nil {
		return err
	}
	v, err := s.peopleView(w, r)
	if err != nil {
		return err
	}
	for i := range v.People {
		pv := &v.People[i]
		if pv.ID != p.ID {
			continue
		}
		f := form{r: r}
		p.Name, p.Login, p.Role = f.text(&pv.Form.Name, 200), f.login(&pv.Form.Login), store.Role(f.choice(&pv.Form.Role))
		p.Active = f.value(&pv.Form.Active) != ""
		if !f.bad() {
			err := s.store.UpdatePerson(r.Context(), viewer(r).PersonID, p)
			if err == nil {
				s.say(w, templates.DidPerson)
				return see(w, r, "/people")
			}
			if !f.take(err, &pv.Form.Name, &pv.Form.Login, &pv.Form.Role, &pv.Form.Active) {
				return err
			}
		}
		pv.Open, pv.Refusal = true, f.refusal()
	}
	return s.render(w, r, http.StatusUnprocessableEntity, templates.People(v))
}
