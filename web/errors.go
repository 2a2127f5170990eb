package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"sort"
	"strings"

	"crosscount/store"
	"crosscount/templates"
)

// problem is a refusal to be shown. Every other error is internal: logged, never
// shown.
type problem struct {
	kind   templates.Trouble
	detail string
}

func (p *problem) Error() string { return string(p.kind) + ": " + p.detail }

func trouble(kind templates.Trouble, detail string) error { return &problem{kind, detail} }

var errPanic = errors.New("panic")

var statuses = map[templates.Trouble]int{
	templates.TroubleNotFound: http.StatusNotFound,
	templates.TroubleForbid:   http.StatusForbidden,
	templates.TroubleConflict: http.StatusConflict,
	templates.TroubleInvalid:  http.StatusBadRequest,
	templates.TroubleRule:     http.StatusUnprocessableEntity,
	templates.TroubleTooLarge: http.StatusRequestEntityTooLarge,
	templates.TroubleTooMany:  http.StatusTooManyRequests,
	templates.TroubleCross:    http.StatusForbidden,
	templates.TroubleAway:     http.StatusServiceUnavailable,
	templates.TroubleInternal: http.StatusInternalServerError,
	templates.TroubleMethod:   http.StatusMethodNotAllowed,
}

// sort an error into what may be shown.
func sorted(err error) problem {
	if p, ok := errors.AsType[*problem](err); ok {
		return *p
	}
	if e, ok := errors.AsType[*store.Error](err); ok {
		switch e.Kind {
		case store.NotFound:
			return problem{templates.TroubleNotFound, ""}
		case store.Conflict:
			return problem{templates.TroubleConflict, e.Sentence}
		case store.Rule:
			return problem{templates.TroubleRule, e.Sentence}
		case store.Unavailable:
			return problem{templates.TroubleAway, ""}
		}
	}
	if _, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return problem{templates.TroubleTooLarge, ""}
	}
	return problem{templates.TroubleInternal, ""}
}

// fail is the one place that answers for an error.
func (s *server) fail(w http.ResponseWriter, r *http.Request, err error) {
	p := sorted(err)
	info := infoOf(r)
	info.cause = err
	if errors.Is(err, context.Canceled) && r.Context().Err() != nil {
		return // the reader has gone
	}
	status := statuses[p.kind]
	if p.kind == templates.TroubleAway {
		w.Header().Set("Retry-After", "5")
	}
	if wantsJSON(r) {
		detail := p.detail
		if detail == "" {
			detail = templates.TroubleSay(p.kind)
		}
		writeJSON(w, status, map[string]any{"error": map[string]string{"kind": string(p.kind), "say": tongue(r).T(detail), "request": info.id}})
		return
	}
	v := templates.TroubleView{Page: s.page(w, r, templates.AtNowhere, templates.TroubleTitle(p.kind)),
		Status: status, Kind: p.kind, Detail: p.detail, Request: info.id}
	if p.kind == templates.TroubleAway && r.Method == http.MethodPost {
		v.Again = again(r)
	}
	if err := s.render(w, r, status, templates.TroublePage(v)); err != nil {
		s.log.ErrorContext(r.Context(), "the error page could not be drawn", "request", info.id, "error", err)
		http.Error(w, tongue(r).T(templates.TroubleSay(templates.TroubleInternal)), http.StatusInternalServerError)
	}
}

// again keeps what was typed so that it can be sent once more. Passwords are not
// sent back.
func again(r *http.Request) *templates.Again {
	a := &templates.Again{Action: local(r.URL.RequestURI())}
	for name, values := range r.PostForm {
		if strings.Contains(name, "password") || strings.HasPrefix(name, "again_") {
			continue
		}
		for _, v := range values {
			a.Fields = append(a.Fields, templates.Pair{Name: name, Value: v})
		}
	}
	sort.SliceStable(a.Fields, func(i, j int) bool { return a.Fields[i].Name < a.Fields[j].Name })
	return a
}

func wantsJSON(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept"), "application/json") || strings.HasPrefix(r.Header.Get("Content-Type"), "application/json")
}

func writeJSON(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(v) // the reader may have gone
}
