package web

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
)

func (r *rig) money(job int64) store.Money {
	r.t.Helper()
	m, err := r.store.Money(r.t.Context(), job)
	if err != nil {
		r.t.Fatal(err)
	}
	return m
}

func yes(scope, limit string) url.Values {
	return url.Values{"id": {store.NewID()}, "scope": {scope}, "limit": {limit}, "who": {"Ines Vale"}, "how": {"telephone"}, "words": {"Go ahead."}}
}

func line(kind, words, price string) url.Values {
	return url.Values{"kind": {kind}, "words": {words}, "price": {price}, "quantity": {"1"}, "tax": {"0"}, "scope": {"repair"}}
}

func TestMoney(t *testing.T) {
	r := newRig(t)
	if _, err := r.store.SaveTaxRate(t.Context(), r.people[store.Owner].ID, store.TaxRate{Name: "Sales tax", PPM: 72500, Active: true}); err != nil {
		t.Fatal(err)
	}
	b := r.as(store.Writer)
	job := r.job("P0171")
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	page := at(job, "/account")

	t.Run("promises time and money before they are spent", func(t *testing.T) {
		a := b.get(page).want(t, 200, "From here the search takes about", "Nine such cars in ten", "Tax included", "There is no yes yet")
		if n := len(regexp.MustCompile(`USD.?[0-9.,]+`).FindAllString(plainText(a.body), -1)); n < 4 {
			t.Errorf("%d amounts on the page", n)
		}
	})
	t.Run("reads a price in either style and asks about one that means two things", func(t *testing.T) {
		b.post(at(job, "/lines"), line("fee", "Shop supplies", "1.234")).want(t, 422, "can be read in two ways", "1,234.00 or 1.23", "Shop supplies")
		b.post(at(job, "/lines"), line("fee", "Shop supplies", "a lot")).want(t, 422, "is not an amount", "1,234.50")
		b.post(at(job, "/lines"), line("fee", "Shop supplies", "1.234,50")).want(t, 303)
		b.get(page).want(t, 200, "USD\u00a01,234.50")
		b.post(at(job, "/lines/"+itoa(r.money(job).Lines[0].ID)), url.Values{"act": {"remove"}}).want(t, 303)
	})
	t.Run("refuses work beyond the limit until there is a new yes", func(t *testing.T) {
		b.post(at(job, "/lines"), with(line("labour", "Search", "120"), "scope", "diagnosis", "quantity", "1,5", "tax", "72500")).want(t, 303)
		l := r.money(job).Lines[0]
		if l.AmountMinor != 18000 || l.TaxMinor != 1305 { // 1.5 h × 120 = 180.00; 7.25 % of it = 13.05
			t.Fatalf("%d and %d", l.AmountMinor, l.TaxMinor)
		}
		done := at(job, "/lines/"+itoa(l.ID))
		b.post(done, url.Values{"act": {"done"}}).want(t, 422, "has not said yes to any work", "USD\u00a0193.05")
		b.post(at(job, "/yes"), yes("diagnosis", "193.04")).want(t, 303)
		b.post(done, url.Values{"act": {"done"}}).want(t, 422, "past the limit of USD\u00a0193.04", "Ask for a new yes")
		b.get(page).want(t, 200, "tel:5550147", "So far you agreed to USD\u00a0193.04", "May we?")
		b.post(at(job, "/ask"), url.Values{"scope": {"diagnosis"}}).want(t, 303)
		b.get(at(job, "")).want(t, 200, "Asked the customer for a yes up to")
		b.post(at(job, "/yes"), yes("diagnosis", "193.05")).want(t, 303)
		b.post(done, url.Values{"act": {"done"}}).want(t, 303)
	})
	t.Run("refuses a yes below the work already done and keeps what was typed", func(t *testing.T) {
		b.post(at(job, "/yes"), with(yes("diagnosis", "150"), "words", "Only up to 150, she says.")).want(t, 422, "Work for USD\u00a0193.05 is done already", "Only up to 150, she says.")
		if n := len(r.money(job).Authorisations); n != 2 {
			t.Errorf("%d yeses are kept", n)
		}
	})
	t.Run("takes a yes that was sent twice once", func(t *testing.T) {
		y := yes("diagnosis", "250")
		b.post(at(job, "/yes"), y).want(t, 303)
		b.post(at(job, "/yes"), y).want(t, 303)
		if n := len(r.money(job).Authorisations); n != 3 {
			t.Errorf("%d yeses are kept", n)
		}
	})
	t.Run("never lets a sensor on the wrong place", func(t *testing.T) {
		part := with(line("part", "Oxygen sensor", "89.90"), "place", "1-1", "sensor_kind", "zirconia", "wires", "4", "part_number", "hx-41 a")
		b.post(at(job, "/lines"), with(part, "sensor_kind", "wide_range")).want(t, 422, "is zirconia, 4 wires", "does not belong there", "hx-41 a")
		b.post(at(job, "/lines"), with(part, "wires", "2")).want(t, 422, "is zirconia, 4 wires")
		b.post(at(job, "/lines"), with(part, "sensor_kind", "")).want(t, 422, "Nothing is chosen")
		b.post(at(job, "/lines"), with(part, "place", "2-3")).want(t, 422, "not one of the choices")
		b.post(at(job, "/lines"), part).want(t, 303)
		b.get(page).want(t, 200, "bank 1, position 1", "no. HX-41 A")
	})
	t.Run("takes a discount as a share, rounded half away from zero", func(t *testing.T) {
		b.post(at(job, "/lines"), url.Values{"kind": {"discount"}, "words": {"Regular customer"}, "percent": {"2,5"}, "tax": {"0"}, "scope": {"repair"}}).want(t, 303)
		ls := r.money(job).Lines
		if l := ls[len(ls)-1]; l.AmountMinor != -225 { // 2.5 % of 89.90 = 2.2475
			t.Errorf("a discount of %d", l.AmountMinor)
		}
		b.post(at(job, "/lines"), url.Values{"kind": {"discount"}, "words": {"Nothing"}, "tax": {"0"}, "scope": {"repair"}}).want(t, 422, "Neither a share nor an amount")
	})
	t.Run("says what declining means, on the page and on the paper", func(t *testing.T) {
		b.post(at(job, "/lines"), line("labour", "Renew the breather hose", "60")).want(t, 303)
		ls := r.money(job).Lines
		id := itoa(ls[len(ls)-1].ID)
		b.post(at(job, "/lines/"+id), url.Values{"act": {"declined"}, "consequence": {" "}}).want(t, 422, "Nothing is filled in")
		b.post(at(job, "/lines/"+id), url.Values{"act": {"declined"}, "consequence": {"The light will be back."}}).want(t, 303)
		b.get(page).want(t, 200, "The light will be back.")
	})
	var invoice store.Document
	t.Run("puts on the invoice what is done, once, and keeps it as it stood", func(t *testing.T) {
		b.post(at(job, "/documents"), url.Values{"kind": {"estimate"}}).want(t, 303)
		a := b.post(at(job, "/documents"), url.Values{"kind": {"invoice"}}).want(t, 303)
		b.get(a.location).want(t, 200, "Invoice", "Search", "1.5 h", "Tax 7.25 %", "13.05", "USD\u00a0193.05", "The light will be back.").lacks(t, "HX-41 A")
		b.post(at(job, "/documents"), url.Values{"kind": {"invoice"}}).want(t, 422, "There is no line to put on it")
		for _, d := range r.money(job).Documents {
			if d.Kind == "invoice" {
				invoice = d
			}
		}
		shop, _ := r.store.Shop(t.Context())
		shop.Name = "Another name"
		if err := r.store.SaveShop(t.Context(), 0, shop); err != nil {
			t.Fatal(err)
		}
		b.get(a.location).want(t, 200, "Quayside Test Garage").lacks(t, "Another name")
	})
	t.Run("takes payments up to the total", func(t *testing.T) {
		pay := func(amount string) url.Values {
			return url.Values{"id": {store.NewID()}, "amount": {amount}, "method": {"card"}}
		}
		path := "/documents/" + itoa(invoice.ID) + "/payments"
		b.post(path, pay("200")).want(t, 422, "more than is open")
		b.post(path, pay("1.000")).want(t, 422, "two ways")
		b.post(path, pay("100")).want(t, 303)
		b.get(page).want(t, 200, "USD\u00a093.05 open")
		b.post(path, pay("USD 93.05")).want(t, 303)
		b.get(page).want(t, 200, "Paid in full")
		b.post("/documents/"+itoa(invoice.ID)+"/void", url.Values{"why": {"wrong"}}).want(t, 422, "This invoice is paid")
	})
	t.Run("refuses a date that is none and a yes from the future", func(t *testing.T) {
		b.post(at(job, "/yes"), with(yes("repair", "10"), "said_at", "yesterday")).want(t, 422, "That is not a date")
		b.post(at(job, "/yes"), with(yes("repair", "10"), "said_at", "2199-01-01T10:00")).want(t, 422, "cannot lie in the future")
		b.post(at(job, "/yes"), with(yes("nothing", "10"))).want(t, 400)
	})
	t.Run("answers for what is not there", func(t *testing.T) {
		for _, p := range []string{"/jobs/999999/account", "/documents/999999", "/documents/999999/pdf", at(job, "/paper/nothing"), at(job, "/paper/converter-77")} {
			b.get(p).want(t, 404)
		}
		b.post(at(job, "/lines/999999"), url.Values{"act": {"done"}}).want(t, 404)
		b.post(at(job, "/lines"), url.Values{"kind": {"gift"}}).want(t, 400)
	})
}

func TestConverterPapers(t *testing.T) {
	r := newRig(t)
	job := r.job("P0420")
	b := r.as(store.Writer)
	form := url.Values{"bank": {"1"}, "need": {"Rear sensor mirrors the front; no leak found; misfire mended before."}, "part_number": {"QC-77"},
		"tag": {"CC-1001-1"}, "customer_name": {"Ines Vale"}, "removed_on": {"2026-02-10"}}
	b.post(at(job, "/converters"), with(form, "removed_on", "10.2.2026")).want(t, 422, "That is not a date", "Rear sensor mirrors")
	b.post(at(job, "/converters"), with(form, "unit_gone_on", "2026-02-20")).want(t, 422, "15 days")
	b.post(at(job, "/converters"), form).want(t, 303)
	// 51 FR 28114: the unit 15 days, the papers 6 months.
	b.get(at(job, "/account")).want(t, 200, "keep the removed unit until 25 Feb 2026", "keep the papers until 10 Aug 2026", "Wants the customer")
	cs, err := r.store.ConverterPapers(t.Context(), job)
	if err != nil || len(cs) != 1 {
		t.Fatal(len(cs), err)
	}
	b.get(at(job, "/paper/converter-"+itoa(cs[0].ID))).want(t, 200, "Statement of need", "25 Feb 2026", "51 FR 28114")
	b.get(at(job, "/account?converter="+itoa(cs[0].ID))).want(t, 200, `value="QC-77"`)
	b.get("/").want(t, 200, "CC-1001-1", "Converter QC-77")
	b.post(at(job, "/converters"), with(form, "paper", itoa(cs[0].ID), "signed_on", "2026-02-10", "card_filled_on", "2026-02-10", "unit_gone_on", "2026-02-26")).want(t, 303)
	b.get("/").want(t, 200).lacks(t, "CC-1001-1")
}

func TestCustomerLink(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	b := r.as(store.Writer)
	guest := r.nobody()
	made := b.post(at(job, "/links"), url.Values{"days": {"7"}}).want(t, 200, "shown this once")
	link := regexp.MustCompile(`/c/[A-Z0-9]+`).FindString(made.body)
	if len(link) < 26 {
		t.Fatalf("the link %q is short", link)
	}
	t.Run("shows the explanation without a log-in and notes it", func(t *testing.T) {
		guest.get(link).want(t, 200, "What we found", "P0171", "too much air", "Ines Vale").lacks(t, "555-0147", "Log out", "113\u202f000 mi</a>")
		b.get(at(job, "/account")).want(t, 200, "Opened once").lacks(t, strings.TrimPrefix(link, "/c/"))
		if strings.Contains(r.log.String(), strings.TrimPrefix(link, "/c/")) {
			t.Error("the log holds the secret of a link")
		}
	})
	t.Run("ends when it is ended and runs out", func(t *testing.T) {
		b.post(at(job, "/links"), url.Values{"days": {"0"}}).want(t, 422, "between 1 and 365")
		ls, err := r.store.CustomerLinks(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		b.post(at(job, "/links/"+itoa(ls[0].ID)+"/revoke"), nil).want(t, 303)
		guest.get(link).want(t, 404, "This link does not work")
		b.get(at(job, "/account")).want(t, 200, "ended by the shop")
		again := regexp.MustCompile(`/c/[A-Z0-9]+`).FindString(b.post(at(job, "/links"), url.Values{"days": {"1"}}).body)
		guest.get(again).want(t, 200)
		was, at0 := r.server.now, r.server.store
		r.later(25 * time.Hour)
		guest.get(again).want(t, 404, "This link does not work")
		r.server.now, r.server.store = was, at0
	})
	t.Run("answers ten thousand guesses alike, leaks nothing and stops looking", func(t *testing.T) {
		live := regexp.MustCompile(`/c/[A-Z0-9]+`).FindString(b.post(at(job, "/links"), url.Values{"days": {"7"}}).body)
		request := regexp.MustCompile(`Request [A-Z0-9]+`)
		first := ""
		for i := range 10_000 {
			a := guest.get(fmt.Sprintf("/c/GUESS%020d", i))
			if body := request.ReplaceAllString(plainText(a.body), ""); a.status != http.StatusNotFound || (first != "" && body != first) {
				t.Fatalf("guess %d: %d %s", i, a.status, body)
			} else if first == "" {
				first = body
			}
		}
		for _, secret := range []string{"Ines", "Halden", "KLR"} {
			if strings.Contains(first, secret) {
				t.Errorf("a wrong link tells %q", secret)
			}
		}
		// From this address even the true link is not looked up any more, with the same answer.
		if a := guest.get(live); a.status != http.StatusNotFound || request.ReplaceAllString(plainText(a.body), "") != first {
			t.Errorf("after all the guesses the link is answered by %d", a.status)
		}
		was := r.server.now
		r.server.now = func() time.Time { return time.Now().Add(guessWithin + time.Minute) }
		guest.get(live).want(t, 200, "What we found")
		r.server.now = was
	})
}

func TestWarrantyHint(t *testing.T) {
	r := newRig(t)
	shop, err := r.store.Shop(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	d := func(year, miles int, mend ...diag.CauseRef) *desk {
		d := &desk{shop: shop}
		d.Vehicle.ModelYear, d.kase.Vehicle.OdometerKm = year, int(float64(miles)*1.609344)
		for _, m := range mend {
			d.decision.Causes = append(d.decision.Causes, diag.Cause{CauseRef: m, P: 0.5})
		}
		return d
	}
	converter := diag.CauseRef{Cause: "catalyst_worn", Bank: 1}
	for _, x := range []struct { // EPA420-F-96-020
		name       string
		d          *desk
		all, major bool
	}{
		{"a young car", d(2025, 20000), true, false},
		{"a young car that was driven far", d(2025, 30000), false, false},
		{"a converter within the longer term", d(2019, 79000, converter), false, true},
		{"a converter past its miles", d(2019, 81000, converter), false, false},
		{"a converter past its years", d(2017, 50000, converter), false, false},
		{"a sensor within the longer term only", d(2019, 50000), false, false},
		{"an unknown year", d(0, 10000), false, false},
	} {
		t.Run(x.name, func(t *testing.T) {
			all := strings.Join(warranty(x.d, now), " ")
			if strings.Contains(all, "24,000") != x.all || strings.Contains(all, "80,000") != x.major || (all != "") != strings.Contains(all, "EPA420-F-96-020") {
				t.Errorf("%q", all)
			}
		})
	}
	shop.Locale = "en-150"
	if w := warranty(&desk{shop: shop, kase: d(2025, 100).kase, JobFile: d(2025, 100).JobFile}, now); w != nil {
		t.Error("hints at a law of another country")
	}
}

// TestPastTheLimit: a test past the customer's yes is not offered, its card asks instead;
// evidence is taken all the same.
func TestPastTheLimit(t *testing.T) {
	r := newRig(t)
	job := r.job("P0171")
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
	b, tech := r.as(store.Writer), r.as(store.Technician)
	next := func() diag.NextTest {
		d, err := r.server.desk(t.Context(), job)
		if err != nil || d.decision.Next == nil {
			t.Fatal("nothing is left to test", err)
		}
		return *d.decision.Next
	}
	const offer, waits = "Write down what it shows", "It waits for a new yes"

	t.Run("says that there is no yes yet, and offers the test", func(t *testing.T) {
		tech.get(at(job, "")).want(t, 200, offer, "The customer has not said yes to looking.").lacks(t, waits)
		tech.get(at(job, "/bay")).want(t, 200, "Do this test", "The customer has not said yes to looking.").lacks(t, waits)
	})
	t.Run("keeps quiet within the yes", func(t *testing.T) {
		b.post(at(job, "/yes"), yes("diagnosis", "300")).want(t, 303)
		tech.get(at(job, "")).want(t, 200, offer).lacks(t, waits, "has not said yes")
	})
	// 120 an hour: three hours noted are 360.
	if _, err := r.store.AddTestTime(t.Context(), r.people[store.Technician].ID, store.TestTime{ID: store.NewID(), JobID: job, Test: "trims", Minutes: 180}); err != nil {
		t.Fatal(err)
	}
	n := next()
	total := "USD\u00a0" + styleOf("en-US").format(int64(tenths(180+n.Minutes))*120/10, 2)
	t.Run("asks in place of a test past the yes, on the job and in the bay", func(t *testing.T) {
		for _, page := range []string{at(job, ""), at(job, "/bay")} {
			tech.get(page).want(t, 200, waits, "With this test looking comes to "+total+", past the customer's limit of USD\u00a0300.00.", "So far you agreed to USD\u00a0300.00", "tel:5550147", "sms:5550147")
		}
		if card, _, _ := strings.Cut(tech.get(at(job, "")).body, `id="verdict"`); strings.Contains(card, `class="acts"><a class="button" href="`+at(job, "")+"?add="+string(diag.KindTrim)) {
			t.Error("the card still offers the test")
		}
	})
	t.Run("is asked with one tap, and goes back to where it was asked", func(t *testing.T) {
		a := tech.post(at(job, "/ask"), url.Values{"scope": {"diagnosis"}, "from": {"job"}}).want(t, 303)
		if a.location != at(job, "#next") {
			t.Errorf("to %q", a.location)
		}
		if a = tech.post(at(job, "/ask"), url.Values{"scope": {"diagnosis"}, "from": {"bay"}}).want(t, 303); a.location != at(job, "/bay#next") {
			t.Errorf("to %q", a.location)
		}
		tech.get(at(job, "")).want(t, 200, "Asked the customer for a yes up to")
	})
	t.Run("never refuses evidence", func(t *testing.T) {
		tech.post(at(job, "/evidence"), url.Values{"id": {store.NewID()}, "kind": {"trim"}, "short_1_idle": {"5"}, "long_1_idle": {"14"}}).want(t, 303)
		if got := r.standing(job); len(got) != 3 {
			t.Errorf("%d entries stand", len(got))
		}
	})
	t.Run("offers it again after a new yes", func(t *testing.T) {
		b.post(at(job, "/yes"), yes("diagnosis", "600")).want(t, 303)
		tech.get(at(job, "")).want(t, 200, offer).lacks(t, waits)
		tech.get(at(job, "/bay")).want(t, 200, "Do this test").lacks(t, waits)
	})
}

// TestPartsOfTheFamily: what was fitted to cars of one family is offered at its place and
// refused at another, upstream and downstream never mixed up.
func TestPartsOfTheFamily(t *testing.T) {
	r := newRig(t)
	ctx, tech := t.Context(), r.people[store.Technician].ID
	family := func(job int64) {
		f, err := r.store.JobFile(ctx, job)
		if err != nil {
			t.Fatal(err)
		}
		f.Vehicle.Family = "halden-v6"
		if err := r.store.UpdateVehicle(ctx, r.people[store.Writer].ID, f.Vehicle); err != nil {
			t.Fatal(err)
		}
	}
	fitted := func(bank, position int, number string) int64 {
		job := r.job("P0171")
		family(job)
		r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored"})
		r.override(job, "part", diag.Part{Bank: bank, Position: position, Kind: diag.Zirconia})
		if err := r.store.Approve(ctx, tech, job, "yes"); err != nil {
			t.Fatal(err)
		}
		if _, err := r.store.AddRepair(ctx, tech, store.NewRepair{JobID: job, Action: store.Fitted, Cause: "sensor_aged", Bank: bank, Position: position, Kind: diag.Zirconia, PartNumber: number}); err != nil {
			t.Fatal(err)
		}
		if _, err := r.store.SaveLine(ctx, tech, store.Line{JobID: job, Scope: store.ScopeRepair, Kind: "part", Words: "Sensor", QuantityMilli: 1000, UnitMinor: 8990,
			Bank: bank, Position: position, SensorKind: diag.Zirconia, Wires: 4, PartNumber: number, Supplier: "Quay Parts"}); err != nil {
			t.Fatal(err)
		}
		return job
	}
	front := fitted(1, 1, "HX-41")
	fitted(1, 2, "HX-77")
	job := r.job("P0133")
	family(job)
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0133", Status: "stored"})
	r.override(job, "part", diag.Part{Bank: 1, Position: 1, Kind: diag.Zirconia})
	b := r.as(store.Writer)
	page := at(job, "/account")
	part := url.Values{"kind": {"part"}, "place": {"1-1"}, "sensor_kind": {"zirconia"}, "wires": {"4"}, "part_number": {"HX-41"},
		"words": {"Oxygen sensor"}, "quantity": {"1"}, "price": {"89.90"}, "tax": {"0"}, "scope": {"repair"}}

	t.Run("offers what was fitted at that place, with how it fared and its price", func(t *testing.T) {
		b.get(page).want(t, 200, "Fitted here before, in cars of this family", "HX-41, bank 1, position 1", "fitted once, never came back", "USD\u00a089.90", "Quay Parts").lacks(t, "HX-77")
	})
	t.Run("fills the form from it", func(t *testing.T) {
		b.get(page+"?add=part&at=1-1&number=HX-41").want(t, 200, `value="HX-41"`, `value="89.90"`, `value="Quay Parts"`, `value="4"`)
	})
	t.Run("refuses a number that was only ever fitted at another position", func(t *testing.T) {
		b.post(at(job, "/lines"), with(part, "part_number", "hx-77")).want(t, 422, "HX-77 was fitted at bank 1, position 2 in cars of this family, never at bank 1, position 1.", "not interchangeable", `value="89.90"`)
		b.post(at(job, "/lines"), with(part, "place", "1-2")).want(t, 422, "HX-41 was fitted at bank 1, position 1", "never at bank 1, position 2")
		if n := len(r.money(job).Lines); n != 0 {
			t.Errorf("%d lines were taken", n)
		}
	})
	t.Run("takes the same number at the other bank, and one nobody knows", func(t *testing.T) {
		b.post(at(job, "/lines"), with(part, "place", "2-1")).want(t, 303)
		b.post(at(job, "/lines"), with(part, "part_number", "NEW-1")).want(t, 303)
		b.post(at(job, "/lines"), part).want(t, 303)
	})
	t.Run("learns that one came back because the part failed", func(t *testing.T) {
		for i, step := range []func() error{
			func() error { return r.store.FinishRepair(ctx, tech, front) },
			func() error {
				return r.store.AddProof(ctx, tech, store.NewProof{Entry: store.NewEntry{ID: store.NewID(), JobID: front, Source: store.Observed,
					Body: diag.Entry{Kind: diag.KindResult, Test: "road_proof", Outcome: "passed"}}, Statement: "20 km"})
			},
			func() error {
				return r.store.CloseJob(ctx, tech, store.Closing{JobID: front, Outcome: store.OutcomeConfirmed, Causes: []diag.CauseRef{{Cause: "sensor_aged", Bank: 1, Position: 1}}})
			},
			func() error {
				return r.store.LinkComeback(ctx, tech, store.NewComeback{JobID: r.sameCar(front), EarlierID: front, Kind: "part_failed"})
			},
		} {
			if err := step(); err != nil {
				t.Fatalf("step %d: %v", i, err)
			}
		}
		b.get(page).want(t, 200, "fitted once, came back once, failed once")
	})
	t.Run("keeps families apart", func(t *testing.T) {
		other := r.job("P0133")
		r.entry(other, diag.Entry{Kind: diag.KindCode, Code: "P0133", Status: "stored"})
		r.override(other, "part", diag.Part{Bank: 1, Position: 1, Kind: diag.Zirconia})
		b.get(at(other, "/account")).want(t, 200).lacks(t, "HX-41")
		b.post(at(other, "/lines"), with(part, "part_number", "HX-77")).want(t, 303)
	})
}
