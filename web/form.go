package web

import (
	"errors"
	"net/http"
	"slices"
	"strings"
	"unicode"

	"crosscount/store"
	"crosscount/templates"
)

// form reads what was typed into the fields of a view model, so that a form that
// is refused comes back with all of it.
type form struct {
	r        *http.Request
	problems []templates.Problem
}

func (f *form) bad() bool { return len(f.problems) > 0 }

func (f *form) refusal() *templates.Refusal {
	if !f.bad() {
		return nil
	}
	return &templates.Refusal{Problems: f.problems}
}

// wrong notes what is wrong with a field, or with the whole form if fd is nil.
func (f *form) wrong(fd *templates.Field, m templates.Mend) {
	p := templates.Problem{Mend: m}
	if fd != nil {
		if fd.Error != nil {
			return // one thing at a time
		}
		fd.Error = &m
		p.Field, p.Label = fd.Name, fd.Label
	}
	f.problems = append(f.problems, p)
}

// take notes a refusal of the store at the field it is about. It returns false for
// any other error and for none.
func (f *form) take(err error, fields ...*templates.Field) bool {
	e, ok := errors.AsType[*store.Error](err)
	if !ok || (e.Kind != store.Rule && e.Kind != store.Conflict) {
		return false
	}
	m := templates.Mend{Reason: e.Sentence}
	for _, fd := range fields {
		if e.Field != "" && fd.Name == e.Field {
			f.wrong(fd, m)
			return true
		}
	}
	f.wrong(nil, m)
	return true
}

// value reads a field as typed, without what no database or page can hold.
func (f *form) value(fd *templates.Field) string {
	v := strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(strings.ReplaceAll(f.r.PostFormValue(fd.Name), "\r\n", "\n"), "\uFFFD"))
	fd.Value = strings.TrimSpace(v)
	return fd.Value
}

// text reads a text of at most max characters.
func (f *form) text(fd *templates.Field, max int) string {
	v := f.value(fd)
	switch {
	case v == "" && fd.Required:
		f.wrong(fd, templates.SayMissing)
	case len([]rune(v)) > max:
		f.wrong(fd, templates.SayTooLong(tongue(f.r), max))
	}
	return v
}

// secret reads a password: as it is, and never shown again.
func (f *form) secret(fd *templates.Field) string {
	v := f.r.PostFormValue(fd.Name)
	if v == "" && fd.Required {
		f.wrong(fd, templates.SayMissing)
	}
	return v
}

// choice reads one of the field's options.
func (f *form) choice(fd *templates.Field) string {
	v := f.value(fd)
	switch {
	case v == "" && !fd.Required:
	case v == "":
		f.wrong(fd, templates.SayChoose)
	case !slices.ContainsFunc(fd.Options, func(o templates.Option) bool { return o.Value == v }):
		f.wrong(fd, templates.SayNotOffered)
	}
	return v
}

// login reads a log-in name.
func (f *form) login(fd *templates.Field) string {
	v := strings.ToLower(f.text(fd, 60))
	switch {
	case v == "":
	case len(v) < 2, strings.ContainsFunc(v, unicode.IsSpace):
		f.wrong(fd, templates.SayLoginForm)
	}
	return v
}
