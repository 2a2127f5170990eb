package store_test

import (
	"encoding/json"
	"math/big"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/store/storetest/factory"
)

func paper(d store.Document, lines []store.Line) (json.RawMessage, error) {
	return json.Marshal(map[string]any{"number": d.Number, "lines": len(lines), "total": d.TotalMinor})
}

// halfAway rounds n/d half away from zero, by exact arithmetic.
func halfAway(n, d int64) int64 {
	r := big.NewRat(n, d)
	twice := new(big.Int).Quo(new(big.Int).Add(new(big.Int).Mul(big.NewInt(2), new(big.Int).Abs(r.Num())), r.Denom()),
		new(big.Int).Mul(big.NewInt(2), r.Denom()))
	if r.Sign() < 0 {
		return -twice.Int64()
	}
	return twice.Int64()
}

func TestLines(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	id := factory.Job(t, st, owner)
	labour := store.Line{JobID: id, Scope: store.ScopeDiagnosis, Kind: "labour", Words: "Smoke test", QuantityMilli: 500, UnitMinor: 12000, TaxPPM: 72500, Test: "intake_smoke"}

	t.Run("round amount and tax half away from zero, each on its own", func(t *testing.T) {
		rng := rand.New(rand.NewPCG(5, 6))
		want := map[int64][2]int64{}
		for i := range 300 {
			l := labour
			l.QuantityMilli, l.UnitMinor, l.TaxPPM = 1+rng.Int64N(5000), rng.Int64N(100000), rng.IntN(300000)
			if i%3 == 0 { // just half
				l.QuantityMilli, l.UnitMinor, l.TaxPPM = 500, 2*rng.Int64N(1000)+1, 500000
			}
			if i%7 == 0 {
				l.Kind, l.UnitMinor = "discount", -l.UnitMinor
			}
			lineID := get[int64](t)(st.SaveLine(ctx, owner, l))
			amount := halfAway(l.QuantityMilli*l.UnitMinor, 1000)
			want[lineID] = [2]int64{amount, halfAway(amount*int64(l.TaxPPM), 1_000_000)}
		}
		m := get[store.Money](t)(st.Money(ctx, id))
		var net, tax int64
		for _, l := range m.Lines {
			if w := want[l.ID]; l.AmountMinor != w[0] || l.TaxMinor != w[1] {
				t.Errorf("%d/1000 × %d at %d ppm: got %d and %d, want %v", l.QuantityMilli, l.UnitMinor, l.TaxPPM, l.AmountMinor, l.TaxMinor, w)
			}
			net, tax = net+want[l.ID][0], tax+want[l.ID][1]
		}
		if n, x := m.Sum("", store.LineOffered); n != net || x != tax || m.Currency != "USD" || len(m.Lines) != 300 {
			t.Errorf("got %d and %d in %s, want %d and %d", n, x, m.Currency, net, tax)
		}
	})
	t.Run("can be changed, declined with its consequence, offered again and removed", func(t *testing.T) {
		l := labour
		l.ID = get[int64](t)(st.SaveLine(ctx, owner, labour))
		l.Words, l.QuantityMilli = "Long smoke test", 1000
		get[int64](t)(st.SaveLine(ctx, owner, l))
		refused(t, st.DeclineLine(ctx, owner, id, l.ID, " "), store.Rule, "lines_declined_has_consequence")
		ok(t, st.DeclineLine(ctx, owner, id, l.ID, "The leak stays unfound."))
		m := get[store.Money](t)(st.Money(ctx, id))
		if got := m.Lines[len(m.Lines)-1]; got.Words != "Long smoke test" || got.Status != store.LineDeclined || got.Consequence != "The leak stays unfound." || got.DeclinedByName == nil {
			t.Errorf("got %+v", got)
		}
		refused(t, st.SetLineStatus(ctx, owner, id, l.ID, store.LineDeclined), store.Rule, "lines_declined_has_consequence")
		ok(t, st.SetLineStatus(ctx, owner, id, l.ID, store.LineOffered))
		ok(t, st.RemoveLine(ctx, owner, id, l.ID))
		refused(t, st.RemoveLine(ctx, owner, id, l.ID), store.NotFound, "")
		_, err := st.SaveLine(ctx, owner, l)
		refused(t, err, store.NotFound, "")
	})
	t.Run("take a sensor only at a place where its kind sits", func(t *testing.T) {
		id := factory.Job(t, st, owner, func(in *store.Intake) {
			in.Sensors = []store.Sensor{{Bank: 1, Position: 1, Kind: diag.WideRange, Wires: 5}, {Bank: 2, Position: 1, Kind: diag.WideRange, Wires: 5},
				{Bank: 1, Position: 2, Kind: diag.Zirconia, Wires: 4, Common: true}}
		})
		part := func(bank, position int, kind diag.SensorKind, wires int) error {
			_, err := st.SaveLine(ctx, owner, store.Line{JobID: id, Scope: store.ScopeRepair, Kind: "part", Words: "Sensor", QuantityMilli: 1000,
				UnitMinor: 9000, Bank: bank, Position: position, SensorKind: kind, Wires: wires, PartNumber: "NV-1"})
			return err
		}
		ok(t, part(1, 1, diag.WideRange, 5))
		ok(t, part(1, 2, diag.Zirconia, 0))
		ok(t, part(2, 2, diag.Zirconia, 4)) // the common one, called by its other bank
		for _, err := range []error{part(1, 1, diag.Zirconia, 4), part(1, 2, diag.WideRange, 5), part(1, 3, diag.Zirconia, 4), part(1, 1, diag.WideRange, 4)} {
			refused(t, err, store.Rule, "lines_part_fits_place")
		}
	})
}

func TestAuthorisations(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	id := factory.JobAt(t, st, owner, factory.Diagnosed)
	yes := func(scope store.Scope, limit int64) store.NewAuthorisation {
		return store.NewAuthorisation{ID: store.NewID(), JobID: id, Scope: scope, LimitMinor: limit, Who: "Kim Alder", How: "telephone", Words: "Up to that."}
	}
	line := func(scope store.Scope, price int64) int64 {
		return get[int64](t)(st.SaveLine(ctx, owner, store.Line{JobID: id, Scope: scope, Kind: "labour", Words: "Work", QuantityMilli: 1000, UnitMinor: price, TaxPPM: 100000}))
	}

	t.Run("no work is done without a yes, nor beyond its limit with tax, until there is a new yes", func(t *testing.T) {
		l := line(store.ScopeDiagnosis, 10000)
		refused(t, st.SetLineStatus(ctx, owner, id, l, store.LineDone), store.Rule, "lines_within_authorisation")
		_, err := st.Authorise(ctx, owner, yes(store.ScopeRepair, 50000))
		ok(t, err)
		refused(t, st.SetLineStatus(ctx, owner, id, l, store.LineDone), store.Rule, "lines_within_authorisation")
		for _, c := range []struct {
			limit int64
			done  bool
		}{{10000, false}, {10999, false}, {11000, true}} {
			_, err = st.Authorise(ctx, owner, yes(store.ScopeDiagnosis, c.limit))
			ok(t, err)
			if err := st.SetLineStatus(ctx, owner, id, l, store.LineDone); (err == nil) != c.done {
				t.Errorf("limit %d: got %v", c.limit, err)
			}
		}
	})
	t.Run("a yes below the work already done is refused", func(t *testing.T) {
		_, err := st.Authorise(ctx, owner, yes(store.ScopeDiagnosis, 10999))
		refused(t, err, store.Rule, "authorisations_cover_what_is_done")
		_, err = st.Authorise(ctx, owner, yes(store.ScopeDiagnosis, 11000))
		ok(t, err)
	})
	t.Run("a yes to the repair approves the verdict, and is taken once", func(t *testing.T) {
		id2 := factory.JobAt(t, st, owner, factory.Diagnosed)
		n := yes(store.ScopeRepair, 7)
		n.JobID, n.Promise = id2, json.RawMessage(`{"minutes": 45}`)
		for _, want := range []bool{true, false} {
			if fresh, err := st.Authorise(ctx, owner, n); err != nil || fresh != want {
				t.Errorf("got fresh %v, %v", fresh, err)
			}
		}
		if job(t, st, id2).Job.ApprovedAt == nil {
			t.Error("the job is not approved")
		}
		a, there := get[store.Money](t)(st.Money(ctx, id2)).InForce(store.ScopeRepair)
		if !there || a.LimitMinor != 7 || string(a.Promise) != `{"minutes": 45}` {
			t.Errorf("got %+v", a)
		}
	})
	t.Run("a yes to a repair without a verdict is refused as a whole", func(t *testing.T) {
		id3 := factory.Job(t, st, owner)
		n := yes(store.ScopeRepair, 7)
		n.JobID = id3
		_, err := st.Authorise(ctx, owner, n)
		refused(t, err, store.Rule, "jobs_approved_after_verdict")
		if m := get[store.Money](t)(st.Money(ctx, id3)); len(m.Authorisations) != 0 {
			t.Errorf("got %+v", m)
		}
	})
	t.Run("two lines done at once cannot pass the limit together", func(t *testing.T) {
		for range 10 {
			id = factory.Job(t, st, owner)
			_, err := st.Authorise(ctx, owner, yes(store.ScopeDiagnosis, 11000))
			ok(t, err)
			lines := []int64{line(store.ScopeDiagnosis, 6000), line(store.ScopeDiagnosis, 6000)}
			errs := make([]error, len(lines))
			var wg sync.WaitGroup
			for i, l := range lines {
				wg.Go(func() { errs[i] = st.SetLineStatus(ctx, owner, id, l, store.LineDone) })
			}
			wg.Wait()
			if (errs[0] == nil) == (errs[1] == nil) {
				t.Fatalf("got %v and %v", errs[0], errs[1])
			}
		}
	})
}

func TestDocuments(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	id := factory.Job(t, st, owner)

	t.Run("an invoice takes what is done, once, and holds it", func(t *testing.T) {
		_, err := st.IssueInvoice(ctx, owner, id, paper)
		refused(t, err, store.Rule, "documents_have_lines")
		d := factory.Invoice(t, st, owner, id, 12000)
		if d.Number != 1 || d.TotalMinor != 12000 || d.Kind != "invoice" {
			t.Errorf("got %+v", d)
		}
		_, err = st.IssueInvoice(ctx, owner, id, paper)
		refused(t, err, store.Rule, "documents_have_lines")
		l := get[store.Money](t)(st.Money(ctx, id)).Lines[0]
		refused(t, st.RemoveLine(ctx, owner, id, l.ID), store.Rule, "lines_invoiced_is_final")
		refused(t, st.SetLineStatus(ctx, owner, id, l.ID, store.LineOffered), store.Rule, "lines_invoiced_is_final")
	})
	t.Run("payments go up to the total and refunds down to nothing, each taken once", func(t *testing.T) {
		d := get[store.Money](t)(st.Money(ctx, id)).Documents[0]
		pay := func(amount int64) store.NewPayment {
			return store.NewPayment{ID: store.NewID(), JobID: id, DocumentID: d.ID, AmountMinor: amount, Method: "card"}
		}
		first := pay(7000)
		for _, want := range []bool{true, false} {
			if fresh, err := st.AddPayment(ctx, owner, first); err != nil || fresh != want {
				t.Errorf("got fresh %v, %v", fresh, err)
			}
		}
		_, err := st.AddPayment(ctx, owner, pay(5001))
		refused(t, err, store.Rule, "payments_within_total")
		_, err = st.AddPayment(ctx, owner, pay(-7001))
		refused(t, err, store.Rule, "payments_within_total")
		refused(t, st.VoidDocument(ctx, owner, id, d.ID, "typing error"), store.Rule, "documents_voided_is_unpaid")
		_, err = st.AddPayment(ctx, owner, pay(-7000))
		ok(t, err)
		if m := get[store.Money](t)(st.Money(ctx, id)); m.Paid(d.ID) != 0 || len(m.Payments) != 2 {
			t.Errorf("got %+v", m.Payments)
		}
	})
	t.Run("a voided invoice frees its lines and keeps its number", func(t *testing.T) {
		d := get[store.Money](t)(st.Money(ctx, id)).Documents[0]
		ok(t, st.VoidDocument(ctx, owner, id, d.ID, "typing error"))
		_, err := st.AddPayment(ctx, owner, store.NewPayment{ID: store.NewID(), JobID: id, DocumentID: d.ID, AmountMinor: 1, Method: "cash"})
		refused(t, err, store.Rule, "payments_invoice_stands")
		again := get[store.Document](t)(st.IssueInvoice(ctx, owner, id, paper))
		if again.Number != 2 || string(again.Body) != `{"lines": 1, "total": 12000, "number": 2}` {
			t.Errorf("got %+v %s", again, again.Body)
		}
	})
	t.Run("numbers have no gap, even when papers are refused or made at once", func(t *testing.T) {
		ids := make([]int64, 8)
		for i := range ids {
			ids[i] = factory.Job(t, st, owner)
			if i < 7 {
				_, err := st.SaveLine(ctx, owner, store.Line{JobID: ids[i], Scope: store.ScopeRepair, Kind: "fee", Words: "Disposal", QuantityMilli: 1000, UnitMinor: int64(i)})
				ok(t, err)
			}
		}
		_, err := st.SaveLine(ctx, owner, store.Line{JobID: ids[7], Scope: store.ScopeRepair, Kind: "discount", Words: "Goodwill", QuantityMilli: 1000, UnitMinor: -5})
		ok(t, err)
		var mu sync.Mutex
		var numbers []int64
		var wg sync.WaitGroup
		for _, id := range ids {
			wg.Go(func() {
				d, err := st.IssueEstimate(ctx, owner, id, paper)
				mu.Lock()
				defer mu.Unlock()
				if id == ids[7] {
					refused(t, err, store.Rule, "documents_total_range")
				} else if err != nil {
					t.Error(err)
				} else {
					numbers = append(numbers, d.Number)
				}
			})
		}
		wg.Wait()
		slices.Sort(numbers)
		if !slices.Equal(numbers, []int64{1, 2, 3, 4, 5, 6, 7}) {
			t.Errorf("got %v", numbers)
		}
	})
	t.Run("taxes can be named", func(t *testing.T) {
		r := store.TaxRate{Name: "Sales tax", PPM: 72500, Active: true}
		r.ID = get[int64](t)(st.SaveTaxRate(ctx, owner, r))
		r.PPM = 80000
		get[int64](t)(st.SaveTaxRate(ctx, owner, r))
		if got := get[[]store.TaxRate](t)(st.TaxRates(ctx)); len(got) != 1 || got[0] != r {
			t.Errorf("got %+v", got)
		}
	})
}

func TestCustomerLinks(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	id := factory.Job(t, st, owner)
	expires := time.Now().Add(time.Hour)
	linkID := get[int64](t)(st.AddCustomerLink(ctx, owner, id, hash("token"), expires))

	t.Run("open the job and note who looked", func(t *testing.T) {
		for range 2 {
			l := get[store.CustomerLink](t)(st.ViewCustomerLink(ctx, hash("token"), "192.0.2.7", "phone"))
			if l.JobID != id {
				t.Errorf("got %+v", l)
			}
		}
		if all := get[[]store.CustomerLink](t)(st.CustomerLinks(ctx, id)); len(all) != 1 || all[0].Views != 2 || all[0].LastViewedAt == nil {
			t.Errorf("got %+v", all)
		}
	})
	t.Run("open nothing when guessed, run out or revoked", func(t *testing.T) {
		_, err := st.ViewCustomerLink(ctx, hash("guess"), "", "")
		refused(t, err, store.NotFound, "")
		_, err = st.At(expires).ViewCustomerLink(ctx, hash("token"), "", "")
		refused(t, err, store.NotFound, "")
		ok(t, st.RevokeCustomerLink(ctx, owner, id, linkID))
		ok(t, st.RevokeCustomerLink(ctx, owner, id, linkID))
		_, err = st.ViewCustomerLink(ctx, hash("token"), "", "")
		refused(t, err, store.NotFound, "")
	})
}

func TestConverterPapers(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	day := func(m time.Month, d int) *time.Time { x := time.Date(2026, m, d, 0, 0, 0, 0, time.UTC); return &x }
	c := store.ConverterPaper{JobID: factory.Job(t, st, owner), Bank: 1, Need: "Melted by a misfire.", PartNumber: "KAT-9", Tag: "2026-1",
		CustomerName: "Kim Alder", RemovedOn: *day(1, 10), InvoicedOn: day(8, 31)}

	t.Run("know until when the unit and the papers are kept", func(t *testing.T) {
		// 15 days and 6 months: 51 FR 28114; 52 FR 42144, as summarised in ICR 2060-0135.
		c.ID = get[int64](t)(st.SaveConverterPaper(ctx, owner, c))
		got := get[[]store.ConverterPaper](t)(st.ConverterPapers(ctx, c.JobID))
		if len(got) != 1 || !got[0].KeepUnitUntil.Equal(*day(1, 25)) || !got[0].KeepPaperUntil.Equal(time.Date(2027, 2, 28, 0, 0, 0, 0, time.UTC)) {
			t.Errorf("got %+v", got)
		}
	})
	t.Run("ask for something until all is done", func(t *testing.T) {
		if n := len(get[[]store.ConverterPaper](t)(st.OpenConverterPapers(ctx))); n != 1 {
			t.Errorf("got %d", n)
		}
		c.SignedOn, c.CardFilledOn, c.UnitGoneOn = day(1, 10), day(1, 11), day(1, 25)
		_, err := st.SaveConverterPaper(ctx, owner, c)
		refused(t, err, store.Rule, "converter_papers_unit_is_kept")
		c.UnitGoneOn = day(1, 26)
		get[int64](t)(st.SaveConverterPaper(ctx, owner, c))
		if n := len(get[[]store.ConverterPaper](t)(st.OpenConverterPapers(ctx))); n != 0 {
			t.Errorf("got %d", n)
		}
	})
}

func TestSimilar(t *testing.T) {
	st, owner := open(t)
	ctx := t.Context()
	family := func(name string) func(*store.Intake) {
		return func(in *store.Intake) { in.Vehicle.Family, in.Vehicle.Model = name, name }
	}
	other := factory.JobAt(t, st, owner, factory.Closed, family("Fjell"))
	same := factory.JobAt(t, st, owner, factory.Closed, family("Taiga"))
	factory.JobAt(t, st, owner, factory.Proved, family("Taiga")) // not closed
	factory.JobAt(t, st, owner, factory.Closed, family("Taiga"), func(in *store.Intake) {
		in.Told = nil
	})
	id := factory.JobAt(t, st, owner, factory.Read, family("Taiga"))

	t.Run("finds closed jobs with a code in common, the family first, with what it turned out to be", func(t *testing.T) {
		got := get[[]store.SimilarJob](t)(st.SimilarJobs(ctx, id, 10))
		if len(got) != 3 || !got[0].SameFamily || !got[1].SameFamily || got[1].JobID != same || got[2].JobID != other || got[2].SameFamily {
			t.Fatalf("got %s", dump(got))
		}
		if got[1].Shared[0] != "P0171" || got[1].Causes[0].Cause != "intake_leak_bank" || len(got[1].Evidence) != 3 || got[1].Outcome != "confirmed" {
			t.Errorf("got %s", dump(got[1]))
		}
		if n := len(get[[]store.SimilarJob](t)(st.SimilarJobs(ctx, id, 1))); n != 1 {
			t.Errorf("got %d", n)
		}
	})
	t.Run("a withdrawn code makes nothing similar", func(t *testing.T) {
		lone := factory.Job(t, st, owner, func(in *store.Intake) { in.Told = []diag.Entry{{Kind: "code", Code: "P2297"}} })
		twin := factory.Job(t, st, owner, func(in *store.Intake) { in.Told = []diag.Entry{{Kind: "code", Code: "P2297"}} })
		e := job(t, st, twin).Entries[0]
		_, err := st.WithdrawEntry(ctx, owner, store.Withdrawal{ID: store.NewID(), JobID: twin, Withdraws: e.ID, Reason: "x"})
		ok(t, err)
		_, err = st.AcceptVerdict(ctx, owner, factory.NoPart(twin))
		ok(t, err)
		ok(t, st.CloseJob(ctx, owner, store.Closing{JobID: twin, Outcome: store.OutcomeNotFound}))
		if got := get[[]store.SimilarJob](t)(st.SimilarJobs(ctx, lone, 9)); len(got) != 0 {
			t.Errorf("got %s", dump(got))
		}
	})
	t.Run("gives a new car the layout of the nearest known one", func(t *testing.T) {
		near := factory.Intake(func(in *store.Intake) {
			in.Vehicle.Model, in.Vehicle.ModelYear, in.Vehicle.Cylinders, in.Vehicle.Arrangement = "Rill", 2010, 4, "inline"
			in.Sensors = factory.FourSensors()[:2]
		})
		_, err := st.OpenJob(ctx, owner, near)
		ok(t, err)
		far := factory.Intake(func(in *store.Intake) { in.Vehicle.Model, in.Vehicle.ModelYear = "Rill", 2014 })
		_, err = st.OpenJob(ctx, owner, far)
		ok(t, err)
		ask := near.Vehicle
		ask.Make, ask.ModelYear = "NORVIK", 2015 // the engine counts before the year
		got := get[store.LayoutLike](t)(st.LayoutLike(ctx, ask))
		if got.ModelYear != 2010 || len(got.Sensors) != 2 {
			t.Errorf("got %+v", got)
		}
		ask.Model = "Unknown"
		_, err = st.LayoutLike(ctx, ask)
		refused(t, err, store.NotFound, "")
	})
	t.Run("knows which part number was fitted to the family before, and how it fared", func(t *testing.T) {
		fit := func(number string) int64 {
			id := factory.JobAt(t, st, owner, factory.Read, family("Sable"))
			_, err := st.AcceptVerdict(ctx, owner, factory.Part(id, func(v *store.NewVerdict) { v.Decision.Verdict.First = nil }))
			ok(t, err)
			ok(t, st.Approve(ctx, owner, id, ""))
			_, err = st.AddRepair(ctx, owner, store.NewRepair{JobID: id, Action: store.Fitted, Bank: 1, Position: 1, Kind: diag.Zirconia, PartNumber: number})
			ok(t, err)
			ok(t, st.FinishRepair(ctx, owner, id))
			ok(t, st.CloseJob(ctx, owner, store.Closing{JobID: id, Outcome: store.OutcomeNotFound, UnprovedWhy: "x"}))
			return id
		}
		fit("NV-1")
		bad := fit("NV-1")
		fit("NV-2")
		_, err := st.SaveLine(ctx, owner, store.Line{JobID: bad, Scope: store.ScopeRepair, Kind: "part", Words: "Sensor", QuantityMilli: 1000, UnitMinor: 8900,
			Bank: 1, Position: 1, SensorKind: diag.Zirconia, PartNumber: "NV-1", Supplier: "Quay Parts"})
		ok(t, err)
		f := job(t, st, bad)
		back := factory.Job(t, st, owner, again(f))
		ok(t, st.LinkComeback(ctx, owner, store.NewComeback{JobID: back, EarlierID: bad, Kind: store.ComebackPartFailed}))
		got := get[[]store.FittedPart](t)(st.FittedParts(ctx, f.Vehicle.ID, 1, 1))
		if len(got) != 2 || got[0].PartNumber != "NV-1" || got[0].Fitted != 2 || got[0].Failed != 1 || got[0].CameBack != 1 || *got[0].UnitMinor != 8900 ||
			*got[0].Supplier != "Quay Parts" || got[1].Fitted != 1 || got[1].UnitMinor != nil {
			t.Errorf("got %s", dump(got))
		}
		if got := get[[]store.FittedPart](t)(st.FittedParts(ctx, f.Vehicle.ID, 1, 2)); len(got) != 0 {
			t.Errorf("got %s", dump(got))
		}
	})
}
