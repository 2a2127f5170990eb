package seed

import (
	"fmt"
	"math"
	"time"

	"crosscount/diag"
	"crosscount/diag/model"
	"crosscount/store"
)

const (
	labourMinor = labourPerHour * 100
	taxPPM      = 65000 // 6.5 %, invented
	suppliers   = "Fenland Motor Factors"
)

// hours are billed in tenths, at least half an hour.
func hours(minutes float64) int64 { return max(500, int64(math.Ceil(minutes/6))*100) }

// withTax is what a line comes to, as the store rounds it.
func withTax(l store.Line) int64 {
	amount := int64(math.Round(float64(l.QuantityMilli*l.UnitMinor) / 1000))
	return amount + int64(math.Round(float64(amount)*taxPPM/1e6))
}

// limit is a round sum of money that covers lines.
func limit(lines []store.Line) int64 {
	total := int64(0)
	for _, l := range lines {
		total += withTax(l)
	}
	const step = 2500
	return (total + step - 1) / step * step
}

// searched is the line for finding the cause.
func (j *job) searched() store.Line {
	minutes := 10.0
	for _, s := range j.steps {
		minutes += s.minutes
	}
	return store.Line{Scope: store.ScopeDiagnosis, Kind: "labour", Words: "Diagnosis: readings, tests, finding the cause",
		QuantityMilli: hours(minutes), UnitMinor: labourMinor, TaxPPM: taxPPM}
}

// prices are the parts of each cause, in minor units.
func prices() map[string]int64 {
	out := map[string]int64{}
	for _, c := range model.Trade().Causes {
		out[c.ID] = int64(math.Round(c.Price * 100))
	}
	return out
}

// priced are the lines for the repairs of a job.
func (j *job) priced(work []store.NewRepair) []store.Line {
	var out []store.Line
	price := prices()
	for _, r := range work {
		info, _ := diag.CauseByID(r.Cause)
		l := store.Line{Scope: store.ScopeRepair, Kind: "labour", Words: info.Mend, QuantityMilli: hours(info.Minutes), UnitMinor: labourMinor,
			TaxPPM: taxPPM, Cause: r.Cause, Bank: r.Bank, Position: r.Position}
		out = append(out, l)
		if price[r.Cause] == 0 {
			continue
		}
		l.Kind, l.QuantityMilli, l.UnitMinor, l.Supplier = "part", 1000, price[r.Cause], suppliers
		l.Words = "Parts for: " + info.Name
		if r.Action == store.Fitted {
			s, _ := j.asCase.Vehicle.At(r.Bank, r.Position)
			l.Words = fmt.Sprintf("Oxygen sensor, bank %d position %d", r.Bank, r.Position)
			l.SensorKind, l.Wires, l.PartNumber, l.Connector = r.Kind, s.Wires, r.PartNumber, j.platform.connectors[r.Position]
			if r.Kind == diag.WideRange {
				l.UnitMinor = l.UnitMinor * 17 / 10
			}
		} else {
			l.Position = 0
		}
		out = append(out, l)
	}
	return out
}

// mayLook writes down the customer's yes to looking for the cause.
func (w *writer) mayLook(j *job, st *store.Store, id int64, who string) error {
	_, err := st.Authorise(w.ctx, w.people["nessa"], store.NewAuthorisation{ID: j.uuid(), JobID: id, Scope: store.ScopeDiagnosis,
		LimitMinor: max(15000, limit([]store.Line{j.searched()})), Who: who, How: "in_person", Words: "Look for the cause, ring before mending."})
	return err
}

// charge writes lines down and moves them to a state.
func (w *writer) charge(st *store.Store, id, by int64, lines []store.Line, status store.LineStatus) ([]int64, error) {
	var ids []int64
	for _, l := range lines {
		l.JobID = id
		line, err := st.SaveLine(w.ctx, by, l)
		if err != nil {
			return nil, err
		}
		ids = append(ids, line)
	}
	return ids, w.move(st, id, by, ids, status)
}

func (w *writer) move(st *store.Store, id, by int64, lines []int64, status store.LineStatus) error {
	for _, line := range lines {
		if status == store.LineOffered {
			continue // as they are made
		}
		if err := st.SetLineStatus(w.ctx, by, id, line, status); err != nil {
			return err
		}
	}
	return nil
}

// approve writes down the customer's yes to the repair.
func (w *writer) approve(j *job, st *store.Store, id int64, who string, lines []store.Line) error {
	type way struct{ how, words string }
	ways := []way{{"telephone", "Rang back, go ahead."}, {"in_person", "Said yes at the counter."},
		{"email", "Yes by mail."}, {"telephone", "Go ahead, wants it back the same day."}}
	y := ways[j.rng.IntN(len(ways))]
	_, err := st.Authorise(w.ctx, w.people["nessa"], store.NewAuthorisation{ID: j.uuid(), JobID: id, Scope: store.ScopeRepair,
		LimitMinor: limit(lines), Who: who, How: y.how, Words: y.words})
	return err
}

// converter keeps the papers that go with a new converter.
func (w *writer) converter(j *job, st *store.Store, id int64, at time.Time, who string) error {
	for _, r := range j.believed {
		if r.Cause != "catalyst_worn" && r.Cause != "exhaust_restricted" {
			continue
		}
		day := at.Truncate(24 * time.Hour)
		p := store.ConverterPaper{JobID: id, Bank: r.Bank, Need: j.done, PartNumber: fmt.Sprintf("QF-CV-%s-%d", j.platform.model[:3], r.Bank),
			Tag: fmt.Sprintf("Q-%d-%d", id, r.Bank), CustomerName: who, RemovedOn: day, InvoicedOn: &day, SignedOn: &day, CardFilledOn: &day}
		if gone := day.AddDate(0, 0, 20); gone.Before(w.now) {
			p.UnitGoneOn = &gone
		}
		if _, err := st.SaveConverterPaper(w.ctx, w.people["nessa"], p); err != nil {
			return err
		}
	}
	return nil
}
