package store_test

import (
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest"
	"crosscount/store/storetest/factory"
)

func TestSearch(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	id := factory.JobAt(t, st, owner, factory.Read, func(in *store.Intake) {
		in.Customer = store.Customer{Name: "Łucja Żak-Müller", Phone: "+48 (22) 555-01-02", Email: "lucja@mail.example"}
		in.Vehicle.Plate, in.Vehicle.VIN, in.Vehicle.Make, in.Vehicle.Model, in.Vehicle.ModelYear = "WX-4711 K", "NVK1A2B3C4D5E6F7G", "Brontor", "Corvid", 2009
		in.Concern = "Whistles when accelerating, since the new exhaust"
	})
	factory.JobAt(t, st, owner, factory.Closed)
	hits := func(t *testing.T, text string) []store.FoundJob {
		t.Helper()
		return get[[]store.FoundJob](t)(st.Search(ctx, text, 10))
	}
	first := func(t *testing.T, text string, exact bool) {
		t.Helper()
		found := hits(t, text)
		if len(found) == 0 || found[0].JobID != id || found[0].Exact != exact {
			t.Errorf("%q: got %s", text, dump(found))
		}
	}

	for what, texts := range map[string][]string{
		"the name, with or without accents and case":  {"Łucja", "lucja", "ŻAK", "zak", "muller", "Müller Łucja"},
		"the telephone number, however it is grouped": {"48225550102", "+48 22 555 0102", "555-01-02", "5550102"},
		"the plate, however it is spaced":             {"WX-4711 K", "wx4711k", "4711k", "wx 4711", "4711"},
		"the VIN or its tail":                         {"NVK1A2B3C4D5E6F7G", "nvk1a2b3", "d5e6f7g", "E6F7G"},
		"words of the concern, begun or whole":        {"whistles", "whist", "exhaust accelerating", "new exh"},
		"make, model and year":                        {"brontor", "corvid 2009", "2009 bront"},
		"the e-mail address":                          {"lucja@mail.example"},
		"a code with anything else":                   {"p0171 corvid", "zak P0171"},
		"the job's number":                            {fmt.Sprint(id), fmt.Sprintf("#%d", id)},
	} {
		t.Run("finds a job by "+what, func(t *testing.T) {
			for _, text := range texts {
				first(t, text, true)
			}
		})
	}
	t.Run("finds it with typing errors, and says that it is not exact", func(t *testing.T) {
		for _, text := range []string{"lucia zak", "mueller", "wistles", "acelerating exhaust", "corvit", "brontro", "WX4712K", "nvk1a2b3c4d5e6f8g"} {
			first(t, text, false)
		}
	})
	t.Run("finds nothing by nothing, by signs and by what is not there", func(t *testing.T) {
		for _, text := range []string{"", "  ", "!?%_\\'", "zzzzzz", "P9999", "' OR 1=1 --", "\\"} {
			if found := hits(t, text); len(found) != 0 {
				t.Errorf("%q: got %s", text, dump(found))
			}
		}
	})
	t.Run("stands any text", func(t *testing.T) {
		for _, text := range []string{"a & b | !c:*", "((", "'''", strings.Repeat("word ", 500), strings.Repeat("x", 5000), "日本語", "\u0000", "😀", "%%%", "99999999999999999999", "\xff"} {
			if _, err := st.Search(ctx, text, 10); err != nil {
				refused(t, err, store.Rule, "") // bytes that are no text
			}
		}
	})
	t.Run("finds names in any script", func(t *testing.T) {
		other := factory.Job(t, st, owner, func(in *store.Intake) { in.Customer.Name = "Зоя Ковалёва 山田太郎" })
		for _, text := range []string{"зоя", "Ковал", "山田"} {
			if found := hits(t, text); len(found) != 1 || found[0].JobID != other {
				t.Errorf("%q: got %s", text, dump(found))
			}
		}
	})
	t.Run("follows every change", func(t *testing.T) {
		f := job(t, st, id)
		found := func(text string) bool {
			return slices.ContainsFunc(hits(t, text), func(j store.FoundJob) bool { return j.JobID == id && j.Exact })
		}
		step := func(text string, change func() error) {
			t.Helper()
			before := found(text)
			ok(t, change())
			if before || !found(text) {
				t.Errorf("%q: found before %v, after %v", text, before, found(text))
			}
		}
		step("qwertz", func() error {
			return st.UpdateJob(ctx, owner, store.JobEdit{ID: id, CustomerID: f.Customer.ID, Concern: "Qwertz noise", OdometerUnit: "km"})
		})
		step("renamed", func() error { c := f.Customer; c.Name = "Renamed"; return st.UpdateCustomer(ctx, owner, c) })
		step("newplate", func() error { v := f.Vehicle; v.Plate = "NEW-PLATE"; return st.UpdateVehicle(ctx, owner, v) })
		e := factory.Entry(id, func(e *store.NewEntry) { e.Body.Code = "P2297" })
		step("p2297", func() error { _, _, err := st.AddEntry(ctx, owner, e); return err })
		line := store.Line{JobID: id, Scope: store.ScopeRepair, Kind: "part", Words: "Gasket", QuantityMilli: 1000, PartNumber: "GK-77/5"}
		step("gk775", func() (err error) { line.ID, err = st.SaveLine(ctx, owner, line); return err })
		ok(t, st.RemoveLine(ctx, owner, id, line.ID))
		if found("gk775") {
			t.Error("a removed line is still found")
		}
		_, err := st.WithdrawEntry(ctx, owner, store.Withdrawal{ID: store.NewID(), JobID: id, Withdraws: e.ID, Reason: "x"})
		ok(t, err)
		if found("p2297") || found("whistles") || found("zak") {
			t.Error("what is gone is still found")
		}
	})
	t.Run("loses nothing when a job changes from many sides at once", func(t *testing.T) {
		many := factory.Job(t, st, owner)
		var wg sync.WaitGroup
		for i := range 20 {
			wg.Go(func() {
				_, _, err := st.AddEntry(ctx, owner, factory.Entry(many, func(e *store.NewEntry) { e.Body.Code = fmt.Sprintf("P15%02d", i) }))
				if err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		for i := range 20 {
			if found := hits(t, fmt.Sprintf("P15%02d", i)); len(found) == 0 || found[0].JobID != many || !found[0].Exact {
				t.Errorf("P15%02d: got %s", i, dump(found))
			}
		}
	})
	t.Run("gives at most what was asked for, the latest first, each once", func(t *testing.T) {
		for range 5 {
			factory.Job(t, st, owner, func(in *store.Intake) {
				in.Concern = "Common trouble"
				in.Told = []diag.Entry{{Kind: "code", Code: "P0420"}}
			})
		}
		found := get[[]store.FoundJob](t)(st.Search(ctx, "comon trouble p0420", 3))
		if len(found) != 3 || found[0].JobID <= found[1].JobID || found[1].JobID <= found[2].JobID {
			t.Errorf("got %s", dump(found))
		}
	})
}

func TestSearchInMany(t *testing.T) {
	db := storetest.Seeded(t, "bulk 6000x1 v2", func(ctx context.Context, db *pgxpool.Pool) error {
		return factory.Bulk(ctx, db, 6000, 1)
	})
	st := store.New(db)
	ctx := t.Context()
	rng := rand.New(rand.NewPCG(7, 8))
	// Beyond the latest 5000 the search goes another way.
	for _, window := range []struct {
		name     string
		from, to int64
	}{{"old", 1001, 1900}, {"late", 6000, 7000}} {
		t.Run("finds each of the "+window.name+" jobs by what only its car has", func(t *testing.T) {
			for range 25 {
				id := window.from + rng.Int64N(window.to-window.from)
				f := job(t, st, id)
				first, last, _ := strings.Cut(f.Customer.Name, " ")
				digits := strings.TrimPrefix(strings.ReplaceAll(f.Customer.Phone, " ", ""), "+")
				texts := []string{f.Vehicle.VIN, f.Vehicle.VIN[9:], f.Vehicle.Plate, strings.ReplaceAll(f.Vehicle.Plate, " ", ""), f.Customer.Phone, digits[1:],
					last + " " + f.Vehicle.Plate, f.Vehicle.Plate[4:] + " " + first + " " + last[:3], fmt.Sprint(id), f.Vehicle.Make + " " + f.Vehicle.VIN[:12]}
				for _, text := range texts {
					found := get[[]store.FoundJob](t)(st.Search(ctx, text, 50))
					if !slices.ContainsFunc(found, func(j store.FoundJob) bool { return j.JobID == id && j.Exact }) {
						t.Errorf("job %d is not found by %q: %d others are", id, text, len(found))
					}
				}
				// A letter left out.
				vin := f.Vehicle.VIN[:10] + f.Vehicle.VIN[11:]
				found := get[[]store.FoundJob](t)(st.Search(ctx, vin, 50))
				if !slices.ContainsFunc(found, func(j store.FoundJob) bool { return j.JobID == id }) {
					t.Errorf("job %d is not found by %q for %q", id, vin, f.Vehicle.VIN)
				}
			}
		})
	}
	t.Run("finds nothing that has not all the words", func(t *testing.T) {
		for _, text := range []string{"norvik taiga", "smell petrol alder", "p0171 calder 1999", "stalls bo", "kel 20"} {
			words := strings.Fields(text)
			for _, j := range get[[]store.FoundJob](t)(st.Search(ctx, text, 50)) {
				if !j.Exact {
					continue
				}
				var doc string
				ok(t, db.QueryRow(ctx, `SELECT doc::text FROM search_documents WHERE job_id = $1`, j.JobID).Scan(&doc))
				for _, w := range words {
					if !strings.Contains(doc, "'"+w) {
						t.Errorf("%q found job %d, which has no %s: %s", text, j.JobID, w, doc)
					}
				}
			}
		}
	})
}

// searchFor are what people type at a counter, as they type it.
var searchFor = []string{"a", "al", "ald", "alder", "alder p0", "alder p0171", "P0420", "p0420 taiga smell", "norvik corvid 2009", "555 0001", "5550001234",
	"0001234", "kal", "kalder", "mulr", "gohlanbar", "whistels when acelerating", "norvik aurelle", "1999", "NVK5", "zz", "zzqq", "stalls trafic light taiga", "ABA 0336",
	"aba0336", "aab0336", "ada", "robin", "12345", "light rain", "calder taiga since the head", "mill lane", "smell of petrol", "x", "1555"}

// searchJobs makes the shop larger: go test ./store -bench Search -jobs 1000000
// takes some minutes and 8 GB.
var searchJobs = flag.Int("jobs", 10_000, "number of jobs that BenchmarkSearch searches")

// BenchmarkSearch reports the median, the 99th percentile and the slowest of
// the searches.
func BenchmarkSearch(b *testing.B) {
	st := store.New(storetest.Seeded(b, fmt.Sprintf("bulk %dx3 v2", *searchJobs), func(ctx context.Context, db *pgxpool.Pool) error {
		return factory.Bulk(ctx, db, *searchJobs, 3)
	}))
	var took []time.Duration
	slowest := ""
	for b.Loop() {
		for _, text := range searchFor {
			start := time.Now()
			if _, err := st.Search(b.Context(), text, 20); err != nil {
				b.Fatal(err)
			}
			took = append(took, time.Since(start))
			if d := took[len(took)-1]; d == slices.Max(took) {
				slowest = text
			}
		}
	}
	slices.Sort(took)
	ms := func(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
	b.ReportMetric(ms(took[len(took)/2]), "p50-ms")
	b.ReportMetric(ms(took[len(took)*99/100]), "p99-ms")
	b.ReportMetric(ms(took[len(took)-1]), "max-ms")
	b.ReportMetric(0, "ns/op")
	b.Logf("%d searches, the slowest for %q", len(took), slowest)
}
