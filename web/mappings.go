package web

import (
	"errors"
	"fmt"
	"net/http"

	"crosscount/store"
	"crosscount/templates"
)

// mappingsView lists the ways of reading a file that were kept under a name.
func (s *server) mappingsView(w http.ResponseWriter, r *http.Request) (templates.MappingsView, error) {
	v := templates.MappingsView{Page: s.page(w, r, templates.AtNowhere, templates.TitleMappings)}
	all, err := s.store.Mappings(r.Context())
	if err != nil {
		return v, err
	}
	c, err := s.clock(r.Context())
	if err != nil {
		return v, err
	}
	for i, m := range all {
		by, err := s.nameOf(r, m.By)
		if err != nil {
			return v, err
		}
		f := templates.MappingNameField(fmt.Sprintf("m%d_name", i))
		f.Value = m.Name
		v.Mappings = append(v.Mappings, templates.NamedMapping{Name: m.Name, When: c.moment(m.At), Who: by, NewName: f})
	}
	return v, nil
}

func (s *server) mappingsPage(w http.ResponseWriter, r *http.Request) error {
	v, err := s.mappingsView(w, r)
	if err != nil {
		return err
	}
	return s.render(w, r, http.StatusOK, templates.Mappings(v))
}

// changeMapping renames or forgets a way of reading. What was read by it keeps a
// copy of its own.
func (s *server) changeMapping(w http.ResponseWriter, r *http.Request) error {
	name := r.PostFormValue("mapping")
	if r.PostFormValue("act") == "forget" {
		err := s.store.DeleteMapping(r.Context(), viewer(r).PersonID, name)
		if e, ok := errors.AsType[*store.Error](err); err != nil && !(ok && e.Kind == store.NotFound) { // gone already
			return err
		}
		s.say(w, templates.DidForget)
		return see(w, r, "/readings")
	}
	v, err := s.mappingsView(w, r)
	if err != nil {
		return err
	}
	for i := range v.Mappings {
		m := &v.Mappings[i]
		if m.Name != name {
			continue
		}
		f := form{r: r}
		to := f.text(&m.NewName, 120)
		if !f.bad() {
			err := s.store.RenameMapping(r.Context(), viewer(r).PersonID, name, to)
			if err == nil {
				s.say(w, templates.DidPerson)
				return see(w, r, "/readings")
			}
			e, ok := errors.AsType[*store.Error](err)
			if !ok || e.Kind != store.Conflict && e.Kind != store.Rule {
				return err
			}
			f.wrong(&m.NewName, templates.Mend{Reason: e.Sentence})
		}
		v.Refusal = f.refusal()
		return s.render(w, r, http.StatusUnprocessableEntity, templates.Mappings(v))
	}
	return trouble(templates.TroubleNotFound, "")
}
