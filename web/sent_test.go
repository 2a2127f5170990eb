package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"crosscount/diag"
	"crosscount/store"
)

type sentAnswer struct {
	Now     time.Time
	Results []result
}

// send posts a batch as a tablet of the technician does.
func (b *browser) send(t *testing.T, change func(*batch), items ...item) (answer, sentAnswer) {
	t.Helper()
	bt := batch{Person: b.rig.people[store.Technician].ID, Clock: time.Now(), Items: items}
	if change != nil {
		change(&bt)
	}
	body, err := json.Marshal(bt)
	if err != nil {
		t.Fatal(err)
	}
	a := b.do(http.MethodPost, "/api/entries", strings.NewReader(string(body)), func(r *http.Request) {
		r.Header.Set("Content-Type", "application/json")
	})
	var out sentAnswer
	if a.status == http.StatusOK {
		if err := json.Unmarshal([]byte(a.body), &out); err != nil {
			t.Fatal(err)
		}
	}
	return a, out
}

func trimItem(job int64, pct float64) item {
	return item{ID: store.NewID(), Job: job, At: time.Now(), Entry: json.RawMessage(fmt.Sprintf(`{"kind":"trim","bank":1,"state":"idle","long_pct":%g}`, pct))}
}

func (r *rig) entries(job int64) []store.Entry {
	r.t.Helper()
	f, err := r.store.JobFile(r.t.Context(), job)
	if err != nil {
		r.t.Fatal(err)
	}
	return f.Entries
}

func TestSentEntries(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Technician)
	job := r.job()

	t.Run("are taken in order, each once however often they are sent", func(t *testing.T) {
		var items []item
		for i := range 20 {
			items = append(items, trimItem(job, float64(i)))
		}
		_, first := b.send(t, nil, items[:12]...)
		for _, res := range first.Results {
			if res.State != itemArrived {
				t.Fatalf("%+v", res)
			}
		}
		_, again := b.send(t, nil, items...)
		for i, res := range again.Results {
			want := itemArrived
			if i < 12 {
				want = itemAlready
			}
			if res.State != want || res.ID != items[i].ID {
				t.Errorf("item %d: %+v, want %s", i, res, want)
			}
		}
		log := r.entries(job)
		if len(log) != 20 {
			t.Fatalf("%d entries in the log, want 20", len(log))
		}
		for i, e := range log {
			if e.ID != items[i].ID {
				t.Errorf("entry %d is %s, want %s", i, e.ID, items[i].ID)
			}
		}
	})
	t.Run("say what is wrong with one and take the others", func(t *testing.T) {
		bad := item{ID: store.NewID(), Job: job, Entry: json.RawMessage(`{"kind":"trim","bank":7,"state":"idle","long_pct":3}`)}
		typed := item{ID: store.NewID(), Job: job, Form: map[string][]string{"kind": {"fuel_pressure"}, "kpa": {"forty"}}}
		good := trimItem(job, 3)
		_, got := b.send(t, nil, bad, typed, good)
		if p := got.Results[0]; p.State != itemRefused || len(p.Problems) == 0 || p.Problems[0].Field != "bank" || p.Problems[0].Mend == "" {
			t.Errorf("a bank that is not there: %+v", p)
		}
		if p := got.Results[1]; p.State != itemRefused || p.Problems[0].Field != "kpa" || p.Problems[0].Label != "Pressure" || p.Problems[0].Mend == "" {
			t.Errorf("a pressure in words: %+v", p)
		}
		if got.Results[2].State != itemArrived {
			t.Errorf("the good one behind them: %+v", got.Results[2])
		}
	})
	t.Run("may be forms as they were typed, with any unit", func(t *testing.T) {
		it := item{ID: store.NewID(), Job: job, Form: map[string][]string{"kind": {"fuel_pressure"}, "kpa": {"43,5 psi"}, "holds": {"yes"}}}
		codes := item{ID: store.NewID(), Job: job, Form: map[string][]string{"kind": {"code"}, "codes": {"p0171, p0174"}, "status": {"stored"}, "source": {"observed"}}}
		_, got := b.send(t, nil, it, codes, it)
		if got.Results[0].State != itemArrived || got.Results[1].State != itemArrived || got.Results[2].State != itemAlready {
			t.Fatalf("%+v", got.Results)
		}
		log := r.entries(job)
		last := log[len(log)-3:]
		if v := last[0].Body.KPa; v == nil || *v < 299 || *v > 301 { // 43.5 psi × 6.894757 kPa/psi (NIST SP 811)
			t.Errorf("43.5 psi became %v kPa", v)
		}
		if last[1].Body.Code != "P0171" || last[2].Body.Code != "P0174" {
			t.Errorf("codes: %v %v", last[1].Body.Code, last[2].Body.Code)
		}
	})
	t.Run("may say that the codes are all of their status, unless others told so", func(t *testing.T) {
		form := func(source string) map[string][]string {
			return map[string][]string{"kind": {"code"}, "codes": {"p0420"}, "status": {"pending"}, "all_codes": {"yes"}, "source": {source}}
		}
		had := len(r.entries(job))
		read, told := item{ID: store.NewID(), Job: job, Form: form("observed")}, item{ID: store.NewID(), Job: job, Form: form("told")}
		raw := item{ID: store.NewID(), Job: job, Source: "told", Entry: json.RawMessage(`{"kind":"code_list","status":"stored"}`)}
		_, got := b.send(t, nil, read, told, raw, read)
		if got.Results[0].State != itemArrived || got.Results[3].State != itemAlready {
			t.Errorf("%+v", got.Results)
		}
		for i, field := range map[int]string{1: "all_codes", 2: "source"} {
			if p := got.Results[i]; p.State != itemRefused || p.Problems[0].Field != field || !strings.Contains(p.Problems[0].Mend, "read the codes on the car") {
				t.Errorf("%+v", p)
			}
		}
		log := r.entries(job)[had:]
		if len(log) != 2 || log[0].Body.Code != "P0420" || log[1].Body.Kind != diag.KindCodeList || log[1].Body.Status != "pending" {
			t.Errorf("%+v", log)
		}
	})
	t.Run("neither tell of repairs nor count them, and the shop says where they are written down", func(t *testing.T) {
		had := len(r.entries(job))
		repair := item{ID: store.NewID(), Job: job, Entry: json.RawMessage(`{"kind":"repair","cause":"intake_leak_common","after_repair":1}`)}
		counted := item{ID: store.NewID(), Job: job, Entry: json.RawMessage(`{"kind":"code","code":"P0171","status":"stored","after_repair":1}`)}
		_, got := b.send(t, nil, repair, counted)
		for i, want := range []struct{ field, mend string }{{"kind", "under “Done to the car”"}, {"after_repair", "Leave after_repair out."}} {
			if p := got.Results[i]; p.State != itemRefused || p.Problems[0].Field != want.field || !strings.Contains(p.Problems[0].Mend, want.mend) {
				t.Errorf("%+v", p)
			}
		}
		if n := len(r.entries(job)); n != had {
			t.Errorf("%d entries were written down", n-had)
		}
	})
	t.Run("may be withdrawals, notes, minutes and what cannot be done", func(t *testing.T) {
		e := trimItem(job, 9)
		items := []item{e,
			{ID: store.NewID(), Job: job, Withdraws: e.ID, Why: "wrong bank"},
			{ID: store.NewID(), Job: job, Note: "Bolt seized."},
			{ID: store.NewID(), Job: job, Test: "trims", Minutes: 7.5},
			{ID: store.NewID(), Job: job, SetAside: true, Test: "gas_analysis", Why: "no analyser here"}}
		for range 2 {
			b.send(t, nil, items...)
		}
		f, err := r.store.JobFile(t.Context(), job)
		if err != nil {
			t.Fatal(err)
		}
		notes := 0
		for _, l := range f.Log {
			if l.What == "note" {
				notes++
			}
		}
		last := f.Entries[len(f.Entries)-1]
		if notes != 1 || f.Minutes != 7.5 || len(f.SetAsides) != 1 || last.WithdrawnWhy == nil || *last.WithdrawnWhy != "wrong bank" {
			t.Errorf("notes %d, minutes %g, set aside %d, withdrawn %v", notes, f.Minutes, len(f.SetAsides), last.WithdrawnWhy)
		}
	})
	t.Run("keep the right time though the tablet's clock is two days wrong", func(t *testing.T) {
		wrong := time.Now().Add(48 * time.Hour)
		it := trimItem(job, 1)
		it.At = wrong.Add(-30 * time.Minute)
		_, got := b.send(t, func(bt *batch) { bt.Clock = wrong }, it)
		if got.Results[0].State != itemArrived {
			t.Fatalf("%+v", got.Results[0])
		}
		log := r.entries(job)
		if ago := time.Since(log[len(log)-1].ClientAt); ago < 29*time.Minute || ago > 31*time.Minute {
			t.Errorf("written %v ago, want 30 minutes", ago)
		}
		if d := time.Until(got.Now).Abs(); d > time.Minute {
			t.Errorf("the answer's clock is off by %v", d)
		}
	})
	t.Run("for a job closed meanwhile are refused with what to do", func(t *testing.T) {
		closed := r.job()
		early := trimItem(closed, 2)
		b.send(t, nil, early)
		if err := r.store.CancelJob(t.Context(), r.people[store.Owner].ID, closed, "sold"); err != nil {
			t.Fatal(err)
		}
		_, got := b.send(t, nil, early, trimItem(closed, 4))
		if got.Results[0].State != itemAlready {
			t.Errorf("what arrived before: %+v", got.Results[0])
		}
		if p := got.Results[1]; p.State != itemRefused || p.Kind != "closed" || !strings.Contains(p.Problems[0].Mend, "kept on this tablet") {
			t.Errorf("%+v", p)
		}
	})
	t.Run("for a job that never was are refused", func(t *testing.T) {
		_, got := b.send(t, nil, trimItem(999999, 4))
		if p := got.Results[0]; p.State != itemRefused || p.Kind != "not_found" {
			t.Errorf("%+v", p)
		}
	})
	t.Run("with an id already used for something else are refused", func(t *testing.T) {
		one, two := trimItem(job, 11), trimItem(job, 12)
		two.ID = one.ID
		_, got := b.send(t, nil, one, two)
		if p := got.Results[1]; p.State != itemRefused || p.Kind != "conflict" {
			t.Errorf("%+v", p)
		}
	})
	t.Run("are not taken under another person's name", func(t *testing.T) {
		a, _ := b.send(t, func(bt *batch) { bt.Person = r.people[store.Writer].ID }, trimItem(job, 1))
		a.want(t, http.StatusConflict, `"kind":"conflict"`, "until that person logs in")
	})
	t.Run("of an ended session ask to log in", func(t *testing.T) {
		a, _ := r.nobody().send(t, nil, trimItem(job, 1))
		a.want(t, http.StatusUnauthorized, `"kind":"login"`)
	})
	t.Run("from another site are refused", func(t *testing.T) {
		body := fmt.Sprintf(`{"person":%d,"items":[]}`, r.people[store.Technician].ID)
		a := b.do(http.MethodPost, "/api/entries", strings.NewReader(body), func(r *http.Request) {
			r.Header.Set("Content-Type", "application/json")
			r.Header.Set("Sec-Fetch-Site", "cross-site")
		})
		a.want(t, http.StatusForbidden)
	})
	t.Run("that are no batch are refused in words", func(t *testing.T) {
		for _, body := range []string{"", "[", `{"items":7}`, `{"person":1,"unknown":2}`} {
			a := b.do(http.MethodPost, "/api/entries", strings.NewReader(body), func(r *http.Request) { r.Header.Set("Content-Type", "application/json") })
			a.want(t, http.StatusBadRequest, "what was written down is kept")
		}
	})
	t.Run("without a proper id are refused", func(t *testing.T) {
		it := trimItem(job, 1)
		it.ID = "one"
		_, got := b.send(t, nil, it)
		if got.Results[0].State != itemRefused || got.Results[0].Problems[0].Field != "id" {
			t.Errorf("%+v", got.Results[0])
		}
	})
}

// Before they were refused, entries could say so of themselves.
func TestTheShopCountsTheRepairs(t *testing.T) {
	r := newRig(t)
	job := r.job()
	r.entry(job, diag.Entry{Kind: diag.KindCode, Code: "P0171", Status: "stored", AfterRepair: 2})
	told := r.entry(job, diag.Entry{Kind: diag.KindRepair, Cause: "intake_leak_common", AfterRepair: 1})
	d, err := r.server.desk(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	if es := d.kase.Evidence; d.noFit != "" || len(es) != 1 || es[0].Code != "P0171" || es[0].AfterRepair != 0 {
		t.Errorf("the engine is asked of %+v (%s)", es, d.noFit)
	}
	if d.unfit[told] == "" {
		t.Error("nothing says why the repair is not used")
	}
}

func TestJobState(t *testing.T) {
	r := newRig(t)
	b := r.as(store.Technician)
	job := r.job("P0171")
	id := r.entry(job, diag.Entry{Kind: diag.KindTrim, Bank: 1, State: "idle", LongPct: new(18.0)})
	var got struct {
		State    string
		Log      []struct{ ID string }
		Decision *diag.Decision
		Tests    []diag.TestInfo
	}
	a := b.get(fmt.Sprintf("/api/jobs/%d", job)).want(t, http.StatusOK)
	if err := json.Unmarshal([]byte(a.body), &got); err != nil {
		t.Fatal(err)
	}
	if got.State != "open" || len(got.Log) != 2 || got.Log[1].ID != id || got.Decision == nil || len(got.Tests) < 20 {
		t.Errorf("%+v", got)
	}
	b.get("/api/jobs/999999").want(t, http.StatusNotFound)
	r.nobody().do(http.MethodGet, fmt.Sprintf("/api/jobs/%d", job), nil, func(r *http.Request) { r.Header.Set("Accept", "application/json") }).
		want(t, http.StatusUnauthorized, `"kind":"login"`)
}
