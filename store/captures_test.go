package store_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"io"
	"math/rand/v2"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

func newFile(jobID int64) store.NewFile {
	return store.NewFile{ID: store.NewID(), JobID: jobID, Name: "kaltstart ä.csv", MediaType: "text/csv; charset=utf-8"}
}

func TestFiles(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	id := factory.Job(t, st, owner)
	rng := rand.New(rand.NewPCG(3, 4))
	content := make([]byte, 512<<10*2+1234)
	for i := range content {
		content[i] = byte(rng.Uint32())
	}

	t.Run("come back byte for byte, whatever their size", func(t *testing.T) {
		for _, size := range []int{1, 1000, 512<<10 - 1, 512 << 10, 512<<10 + 1, 512 << 10 * 2, len(content)} {
			want := content[:size]
			f, err := st.AddFile(ctx, owner, newFile(id), iotest.HalfReader(bytes.NewReader(want)))
			ok(t, err)
			if sum := sha256.Sum256(want); f.Size != int64(size) || !bytes.Equal(f.SHA256, sum[:]) {
				t.Errorf("got %+v", f)
			}
			got, r, err := st.OpenFile(ctx, f.ID)
			ok(t, err)
			if !reflect.DeepEqual(got, f) {
				t.Errorf("got %+v, want %+v", got, f)
			}
			// The standard library's own test of a reader: seeks, short reads, reads at.
			if err := iotest.TestReader(io.NewSectionReader(r, 0, min(int64(size), 4000)), want[:min(size, 4000)]); err != nil {
				t.Error(err)
			}
			all, err := io.ReadAll(r)
			if err != nil || !bytes.Equal(all, want) {
				t.Errorf("size %d: got %d bytes, %v", size, len(all), err)
			}
			_, err = r.Seek(int64(size)/2, io.SeekStart)
			ok(t, err)
			if rest, err := io.ReadAll(r); err != nil || !bytes.Equal(rest, want[size/2:]) {
				t.Errorf("size %d: got another second half, %v", size, err)
			}
		}
	})
	t.Run("are taken once however often they are sent", func(t *testing.T) {
		n := newFile(id)
		first, err := st.AddFile(ctx, owner, n, strings.NewReader("once"))
		ok(t, err)
		again, err := st.AddFile(ctx, owner, n, strings.NewReader("once"))
		ok(t, err)
		if !reflect.DeepEqual(first, again) {
			t.Errorf("got %+v, want %+v", again, first)
		}
		_, err = st.AddFile(ctx, owner, n, strings.NewReader("other"))
		refused(t, err, store.Conflict, "files_pkey")
		_, err = st.AddFile(ctx, owner, newFile(id), strings.NewReader("once"))
		refused(t, err, store.Conflict, "files_content_once")
	})
	t.Run("that are empty, broken or too large leave nothing behind", func(t *testing.T) {
		before := len(get[[]store.File](t)(st.Files(ctx, id)))
		_, err := st.AddFile(ctx, owner, newFile(id), strings.NewReader(""))
		refused(t, err, store.Rule, "files_size_range")
		broken := errors.New("the line is dead")
		_, err = st.AddFile(ctx, owner, newFile(id), io.MultiReader(strings.NewReader("some"), iotest.ErrReader(broken)))
		if !errors.Is(err, broken) {
			t.Errorf("got %v", err)
		}
		_, err = st.AddFile(ctx, owner, newFile(id), io.LimitReader(zeros{}, store.MaxFile+1))
		refused(t, err, store.Rule, "files_size_range")
		if n := len(get[[]store.File](t)(st.Files(ctx, id))); n != before {
			t.Errorf("%d files are left, before %d", n, before)
		}
		_, _, err = st.OpenFile(ctx, store.NewID())
		refused(t, err, store.NotFound, "")
	})
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

func TestCaptures(t *testing.T) {
	db := storetest.DB(t)
	st := store.New(db)
	owner := factory.Person(t, st, store.Owner).ID
	ctx := t.Context()
	id := factory.Job(t, st, owner)
	n := factory.Capture(t, st, owner, id)

	t.Run("are taken once with the entries measured from them", func(t *testing.T) {
		for _, want := range []bool{true, false} {
			if fresh, err := st.AddCapture(ctx, owner, n); err != nil || fresh != want {
				t.Errorf("got fresh %v, %v", fresh, err)
			}
		}
		f := job(t, st, id)
		if len(f.Captures) != 1 || len(f.Captures[0].Entries) != 1 || f.Captures[0].Entries[0] != n.Entries[0].ID || f.Captures[0].FileName != "bank1.csv" {
			t.Errorf("got %+v", f.Captures)
		}
		if e := f.Entries[len(f.Entries)-1]; e.Source != store.Measured || *e.Body.CrossingsHz != 1.4 {
			t.Errorf("got %+v", e)
		}
		if got := get[string](t)(st.CapturePicture(ctx, n.ID)); got != n.Picture {
			t.Errorf("got %q", got)
		}
		other := n
		other.Mapping = []byte(`{"time": "ms"}`)
		_, err := st.AddCapture(ctx, owner, other)
		refused(t, err, store.Conflict, "captures_pkey")
	})
	t.Run("are read again by one that replaces them, and their entries go", func(t *testing.T) {
		again := n
		again.ID, again.Replaces, again.Mapping = store.NewID(), n.ID, []byte(`{"time": "ms", "volts": "V"}`)
		again.Entries = []store.NewEntry{factory.Entry(id, func(e *store.NewEntry) { e.Body.Kind, e.Body.Code = "signal", "" })}
		if fresh, err := st.AddCapture(ctx, owner, again); err != nil || !fresh {
			t.Fatalf("got fresh %v, %v", fresh, err)
		}
		f := job(t, st, id)
		if *f.Captures[0].ReplacedBy != again.ID || *f.Captures[1].Replaces != n.ID {
			t.Errorf("got %+v", f.Captures)
		}
		if len(f.Standing()) != 2 || f.Standing()[1].ID != again.Entries[0].ID {
			t.Errorf("got %+v", f.Standing())
		}
	})
	t.Run("that are refused leave no entry behind", func(t *testing.T) {
		before := len(job(t, st, id).Entries)
		bad := n
		bad.ID, bad.Entries = store.NewID(), []store.NewEntry{factory.Entry(id), factory.Entry(id, func(e *store.NewEntry) { e.Body.Bank = 9 })}
		_, err := st.AddCapture(ctx, owner, bad)
		refused(t, err, store.Rule, "evidence_bank_range")
		if got := len(job(t, st, id).Entries); got != before {
			t.Errorf("got %d entries, before %d", got, before)
		}
	})
	t.Run("can be read by a mapping saved under a name", func(t *testing.T) {
		ok(t, st.SaveMapping(ctx, owner, "The old scope", []byte(`{"time": "ms"}`)))
		ok(t, st.SaveMapping(ctx, owner, "The old scope", []byte(`{"time": "us"}`)))
		all := get[[]store.Mapping](t)(st.Mappings(ctx))
		if len(all) != 1 || string(all[0].Mapping) != `{"time": "us"}` {
			t.Errorf("got %s", dump(all))
		}
		ok(t, st.SaveMapping(ctx, owner, "The new scope", []byte(`{"time": "s"}`)))
		refused(t, st.RenameMapping(ctx, owner, "The old scope", "The new scope"), store.Conflict, "mappings_pkey")
		refused(t, st.RenameMapping(ctx, owner, "The old scope", " "), store.Rule, "mappings_name_present")
		refused(t, st.RenameMapping(ctx, owner, "Nobody's", "Mine"), store.NotFound, "")
		ok(t, st.RenameMapping(ctx, owner, "The new scope", "The new scope"))
		ok(t, st.RenameMapping(ctx, owner, "The new scope", "The logger"))
		all = get[[]store.Mapping](t)(st.Mappings(ctx))
		if len(all) != 2 || all[0].Name != "The logger" || string(all[0].Mapping) != `{"time": "s"}` {
			t.Errorf("got %+v", all)
		}
		ok(t, st.DeleteMapping(ctx, owner, "The logger"))
		ok(t, st.DeleteMapping(ctx, owner, "The old scope"))
		refused(t, st.DeleteMapping(ctx, owner, "The old scope"), store.NotFound, "")
	})
}

func BenchmarkAddFile(b *testing.B) {
	st, owner := open(b)
	id := factory.Job(b, st, owner)
	const size = 50 << 20
	b.SetBytes(size)
	var before, after runtime.MemStats
	n := byte(0)
	for b.Loop() {
		n++
		runtime.GC()
		runtime.ReadMemStats(&before)
		// Its first byte makes each file another one.
		f, err := st.AddFile(b.Context(), owner, newFile(id), io.MultiReader(bytes.NewReader([]byte{n}), io.LimitReader(zeros{}, size-1)))
		ok(b, err)
		runtime.ReadMemStats(&after)
		_, r, err := st.OpenFile(b.Context(), f.ID)
		ok(b, err)
		if _, err := io.Copy(io.Discard, r); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/size, "allocated-B/B")
}
