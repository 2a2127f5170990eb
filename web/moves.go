package web

import (
	"crosscount/diag"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// Whose move: the roles of the shop, and the customer.
const customer = "customer"

// nextMove settles the one next act of an open job from its facts and from what the
// engine says. d is nil when the engine was not asked.
func nextMove(l *lang.Language, j store.OpenJob, d *desk) templates.MoveView {
	m := templates.MoveView{Whose: string(store.Technician)}
	act := func(a templates.Act) templates.MoveView {
		m.Act = a
		return m
	}
	failed := false
	if d != nil {
		failed = d.proofFailed()
	}
	switch {
	case j.Sensors == 0:
		return act(templates.ActLayout)
	case j.DiagnosedAt == nil && j.Own == 0:
		return act(templates.ActRead)
	case j.DiagnosedAt == nil && d == nil:
		return act(templates.ActWeigh)
	case j.DiagnosedAt == nil && d.noFit != "":
		return act(templates.ActLayout)
	case j.DiagnosedAt == nil:
		v := d.decision.Verdict
		switch {
		case v.Decision != diag.DecideOpen:
			m.Decision, m.What = v.Decision, templates.WorkWords(each(v.Parts, d.partWords))
			return act(templates.ActVerdict)
		case d.decision.Next == nil:
			m.Whose = string(store.Owner)
			return act(templates.ActStuck)
		}
		d.moveTest(&m)
		return act(templates.ActTest)
	case failed && d.noFit == "" && d.decision.Next != nil:
		d.moveTest(&m)
		return act(templates.ActFailed)
	case d != nil && d.stale():
		return act(templates.ActAnew)
	case failed:
		return act(templates.ActFailed)
	}

	decision := *j.Decision
	if j.Override != nil {
		decision = *j.Override
	}
	work := len(j.Parts) > 0 || len(j.Mend) > 0
	switch {
	case j.ApprovedAt == nil && !work && decision == diag.DecideNoPart:
		m.Whose, m.What = string(store.Writer), ""
		return act(templates.ActHandOver)
	case j.ApprovedAt == nil:
		m.Whose, m.What = customer, workOf(l, j, d)
		return act(templates.ActAsk)
	case j.RepairedAt == nil && j.Mended+j.Fitted > 0:
		return act(templates.ActFinish)
	case j.RepairedAt == nil:
		m.What = workOf(l, j, d)
		return act(templates.ActMend)
	case j.ProvedAt == nil:
		return act(templates.ActProve)
	}
	m.Whose = string(store.Writer)
	return act(templates.ActHandOver)
}

// moveTest makes the next test the move.
func (d *desk) moveTest(m *templates.MoveView) {
	n := d.decision.Next
	m.What, m.Spot, m.Minutes = n.Test, d.spotWords(n.Bank, n.Position), templates.MinutesWords(d.l, n.Minutes)
	if t, ok := diag.TestByID(n.Test); ok {
		m.What = d.l.T(t.Name)
	}
}

// workOf says what is to be mended and fitted.
func workOf(l *lang.Language, j store.OpenJob, d *desk) string {
	var work []string
	for _, c := range j.Mend {
		info, ok := diag.CauseByID(c.Cause)
		if !ok {
			continue
		}
		work = append(work, templates.OrderWords(l, l.T(info.Mend), templates.Spot{Bank: c.Bank, Position: c.Position}))
	}
	for _, p := range j.Parts {
		sp := templates.Spot{Bank: p.Bank, Position: p.Position}
		if d != nil {
			sp = d.spot(p.Bank, p.Position)
		}
		work = append(work, templates.FitOrder(l, sp))
	}
	return templates.WorkWords(work)
}

// proofFailed says that the last proof failed and nothing was decided since.
func (d *desk) proofFailed() bool {
	if len(d.Proofs) == 0 {
		return false
	}
	last := d.Proofs[len(d.Proofs)-1]
	v, _, _, ok := d.inForce()
	return !last.Passed && last.Stands && d.Job.RepairedAt == nil && ok && v.At.Before(last.At) && !d.workedSince(last)
}

func (d *desk) workedSince(p store.Proof) bool {
	for _, r := range d.Repairs {
		if r.UndoneAt == nil && r.At.After(p.At) {
			return true
		}
	}
	return false
}

// asOpen puts the facts of a loaded job into the form in which home has them.
func (d *desk) asOpen() store.OpenJob {
	j := store.OpenJob{ID: d.Job.ID, DiagnosedAt: d.Job.DiagnosedAt, ApprovedAt: d.Job.ApprovedAt,
		RepairedAt: d.Job.RepairedAt, ProvedAt: d.Job.ProvedAt, Sensors: len(d.Sensors)}
	for _, e := range d.Standing() {
		switch {
		case e.Body.Kind == diag.KindCar: // no evidence
		case e.Source == store.Told:
			j.Told++
		default:
			j.Own++
		}
	}
	if v, decision, parts, ok := d.inForce(); ok {
		j.Decision, j.Parts, j.Mend = &decision, parts, v.Verdict.Mend
	}
	for _, r := range d.Repairs {
		switch {
		case r.UndoneAt != nil:
		case r.Action == store.Fitted:
			j.Fitted++
		default:
			j.Mended++
		}
	}
	return j
}
