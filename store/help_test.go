package store_test

import (
	"errors"
	"testing"

	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

// open is a store on a database of its own with a shop and its owner.
func open(t testing.TB) (*store.Store, int64) {
	t.Helper()
	st := store.New(storetest.DB(t))
	factory.Shop(t, st)
	return st, factory.Person(t, st, store.Owner).ID
}

// ok stops the test at an error.
func ok(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatalf("%v", err)
	}
}

// get stops the test at an error and returns the value.
func get[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatalf("%v", err)
		}
		return v
	}
}

// refused checks that err is the refusal of that kind and constraint.
func refused(t testing.TB, err error, kind store.Kind, constraint string) {
	t.Helper()
	e, isOurs := errors.AsType[*store.Error](err)
	switch {
	case !isOurs:
		t.Errorf("got %v, want a refusal by %s", err, constraint)
	case e.Kind != kind || e.Constraint != constraint:
		t.Errorf("got %s by %q (%s), want %s by %q", e.Kind, e.Constraint, e.Sentence, kind, constraint)
	}
}

func job(t testing.TB, st *store.Store, id int64) store.JobFile {
	t.Helper()
	return get[store.JobFile](t)(st.JobFile(t.Context(), id))
}
