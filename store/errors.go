package store

import (
	"context"
	"errors"
	"io"
	"net"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// Kind is what sort of refusal an Error is.
type Kind string

// The kinds of refusal.
const (
	NotFound    Kind = "not_found"   // there is no such record
	Conflict    Kind = "conflict"    // it clashes with a record that exists
	Rule        Kind = "rule"        // a rule of the shop's records forbids it
	Unavailable Kind = "unavailable" // the database did not answer; trying again may help
)

// Error is a refusal that a person can be told about. Every other error is
// internal.
type Error struct {
	Kind       Kind
	Constraint string // of the schema; a key for translations; may be empty
	Field      string // the form field it is about; may be empty
	Sentence   string // what is wrong and how to mend it
	cause      error
}

// The kinds, for errors.Is.
var (
	ErrNotFound    = &Error{Kind: NotFound, Sentence: "There is no such record (any more)."}
	ErrConflict    = &Error{Kind: Conflict, Sentence: "It clashes with something already written down."}
	ErrRule        = &Error{Kind: Rule, Sentence: "A rule of the records forbids it."}
	ErrUnavailable = &Error{Kind: Unavailable, Sentence: "The database did not answer. Try again in a moment."}
)

// Error returns the sentence.
func (e *Error) Error() string { return e.Sentence }

// Unwrap returns the driver's error.
func (e *Error) Unwrap() error { return e.cause }

// Is matches any error of the same kind, and of the same constraint if the
// target names one.
func (e *Error) Is(target error) bool {
	t, ok := target.(*Error)
	return ok && t.Kind == e.Kind && (t.Constraint == "" || t.Constraint == e.Constraint)
}

// translate is the only place that knows the driver's errors.
func translate(err error) error {
	if err == nil {
		return nil
	}
	if _, ok := errors.AsType[*Error](err); ok {
		return err
	}
	if errors.Is(err, pgx.ErrNoRows) {
		return &Error{Kind: NotFound, Sentence: ErrNotFound.Sentence, cause: err}
	}
	pg, ok := errors.AsType[*pgconn.PgError](err)
	if !ok {
		if lostConnection(err) {
			return &Error{Kind: Unavailable, Sentence: ErrUnavailable.Sentence, cause: err}
		}
		return err
	}
	e := &Error{Constraint: pg.ConstraintName, Field: pg.ColumnName, cause: err}
	switch code := pg.Code; {
	case code == "23505", code == "23P01": // unique_violation, exclusion_violation
		e.Kind, e.Sentence = Conflict, ErrConflict.Sentence
	case code == "23503": // foreign_key_violation
		e.Kind, e.Sentence = Rule, "What this refers to does not exist (any more). Load the page again."
	case code == "23502": // not_null_violation
		e.Kind, e.Sentence = Rule, "Something is missing. Load the page again."
	case code == "23514": // check_violation
		e.Kind, e.Sentence = Rule, ErrRule.Sentence
	case code == "22P02", code == "22003", code == "22007", code == "22008", code == "22021", code == "22P05":
		// text that is no number, id or time; out of range; bytes that are no text
		e.Kind, e.Sentence = Rule, "A number, date or text is not in a form that can be kept. Check what was typed."
	case code == "40001", code == "40P01", code == "55P03", // serialization, deadlock, lock not available
		strings.HasPrefix(code, "08"), strings.HasPrefix(code, "53"), strings.HasPrefix(code, "57"),
		code == "25006": // connection, resources, operator intervention, read-only server
		e.Kind, e.Sentence = Unavailable, ErrUnavailable.Sentence
	default:
		return err
	}
	if s, ok := sentences[pg.ConstraintName]; ok {
		e.Field, e.Sentence = s.field, s.words
	}
	return e
}

// refusal is for what the store finds before the schema does.
func refusal(kind Kind, constraint string) error {
	return &Error{Kind: kind, Constraint: constraint, Field: sentences[constraint].field, Sentence: sentences[constraint].words}
}

// lostConnection tells a network fault from a fault of ours. A caller that gave
// up is neither.
func lostConnection(err error) bool {
	if errors.Is(err, context.Canceled) {
		return false
	}
	_, isNet := errors.AsType[net.Error](err)
	_, isConnect := errors.AsType[*pgconn.ConnectError](err)
	return isNet || isConnect || pgconn.SafeToRetry(err) || errors.Is(err, context.DeadlineExceeded) ||
		errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) || errors.Is(err, net.ErrClosed)
}
