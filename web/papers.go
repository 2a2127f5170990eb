package web

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/go-chi/chi/v5"

	"crosscount/diag"
	"crosscount/diag/obd"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/paper"
)

// showPaper shows a sheet as it will be printed, with the ways to print and send it.
func (s *server) showPaper(w http.ResponseWriter, r *http.Request, p paper.Sheet, back, pdf string) error {
	v := templates.PaperView{Page: s.page(w, r, templates.AtNowhere, strings.TrimSpace(p.Title+" "+p.Number)), Back: back, PDF: pdf, Sheet: paper.Show(p)}
	return s.render(w, r, http.StatusOK, templates.Paper(v))
}

// sendPDF sends a sheet as a file for mail.
func sendPDF(w http.ResponseWriter, p paper.Sheet) error {
	var b bytes.Buffer
	if err := paper.PDF(&b, p); err != nil {
		return err
	}
	name := strings.ToLower(strings.Join(strings.Fields(p.Title+" "+p.Number), "-"))
	w.Header().Set("Content-Type", "application/pdf")
	w.Header().Set("Content-Disposition", fmt.Sprintf("inline; filename=%q", name+".pdf"))
	_, _ = b.WriteTo(w) // the reader may have gone
	return nil
}

// jobPaper shows a sheet that follows from the job as it stands.
func (s *server) jobPaper(w http.ResponseWriter, r *http.Request) error {
	p, d, err := s.sheetOf(r)
	if err != nil {
		return err
	}
	return s.showPaper(w, r, p, d.base()+"/account", r.URL.Path+"/pdf")
}

func (s *server) jobPaperPDF(w http.ResponseWriter, r *http.Request) error {
	p, _, err := s.sheetOf(r)
	if err != nil {
		return err
	}
	return sendPDF(w, p)
}

// sheetOf draws a paper: for the bay in the reader's language, all others in the
// customer's.
func (s *server) sheetOf(r *http.Request) (paper.Sheet, *desk, error) {
	a, err := s.accountOf(r)
	if err != nil {
		return paper.Sheet{}, nil, err
	}
	d := a.desk
	switch name := chi.URLParam(r, "paper"); name {
	case "order":
		p, err := a.workOrder()
		return p, d, err
	case "handover":
		p, err := s.handOver(r.Context(), a.in(a.theirs))
		return p, d, err
	case "explanation":
		p, err := s.explanation(r.Context(), d.in(a.theirs), d.base()+"/paper", false)
		return p, d, err
	default:
		id, err := strconv.ParseInt(strings.TrimPrefix(name, "converter-"), 10, 64)
		if err != nil {
			return paper.Sheet{}, d, trouble(templates.TroubleNotFound, "")
		}
		p, err := s.converterSheet(r, a.in(a.theirs), id)
		return p, d, err
	}
}

// sheet starts a paper of this job.
func (d *desk) sheet(title, number string) paper.Sheet {
	p := paper.Sheet{Lang: d.l.Code(), Title: d.l.T(title), Number: number, Date: d.clock.date(d.clock.now), Size: d.shop.Paper,
		Customer: lines(d.Customer.Name, d.Customer.Address, d.Customer.Phone)}
	p.Shop = lines(d.shop.Name, d.shop.Address, d.shop.Phone)
	fact := func(name, value string) {
		if value != "" {
			p.Facts = append(p.Facts, paper.Pair{Name: d.l.T(name), Value: value})
		}
	}
	fact(templates.FactCar, carName(d.Vehicle))
	fact(templates.FactPlate, d.Vehicle.Plate)
	fact("VIN", d.Vehicle.VIN)
	fact(templates.FactDistance, d.odometer())
	fact(templates.FactJob, strconv.FormatInt(d.Job.ID, 10))
	return p
}

// lines splits texts into the lines of an address.
func lines(texts ...string) []string {
	var out []string
	for _, t := range texts {
		for l := range strings.Lines(t) {
			if l = strings.TrimSpace(l); l != "" {
				out = append(out, l)
			}
		}
	}
	return out
}

// document is an estimate or invoice of lines.
func (a *account) document(doc store.Document, ls []store.Line) paper.Sheet {
	p := a.sheet(templates.DocumentKind(doc.Kind), strconv.FormatInt(doc.Number, 10))
	t := &paper.Table{Head: templates.DocumentHead(a.l, a.currency), Right: 4}
	core := int64(0)
	byRate := map[int]int64{}
	for _, l := range ls {
		quantity := a.style.short(l.QuantityMilli, 3)
		if l.Kind == "labour" {
			quantity += " h"
		}
		t.Rows = append(t.Rows, []string{a.lineWords(l), quantity, a.plain(l.UnitMinor), a.percent(l.TaxPPM), a.plain(l.AmountMinor)})
		t.Notes = append(t.Notes, a.partDetail(l))
		core += share(l.CoreMinor, l.QuantityMilli*1000)
		byRate[l.TaxPPM] += l.TaxMinor
	}
	t.Sums = append(t.Sums, [2]string{a.l.T(templates.SumNet), a.plain(doc.NetMinor)})
	rates := make([]int, 0, len(byRate))
	for ppm := range byRate {
		rates = append(rates, ppm)
	}
	slices.Sort(rates)
	for _, ppm := range rates {
		if ppm > 0 {
			t.Sums = append(t.Sums, [2]string{templates.SumTax(a.l, a.percent(ppm)), a.plain(byRate[ppm])})
		}
	}
	t.Total = [2]string{a.l.T(templates.SumTotal(doc.Kind)), a.say(doc.TotalMinor)}
	p.Blocks = append(p.Blocks, paper.Block{Table: t})
	if core > 0 {
		p.Blocks = append(p.Blocks, paper.Block{Text: []string{templates.CoreNote(a.l, a.say(core))}})
	}
	var declined []string
	for _, l := range a.Lines {
		if l.Status == store.LineDeclined {
			declined = append(declined, templates.DeclinedWords(a.lineWords(l), a.consequenceIn(l)))
		}
	}
	if len(declined) > 0 {
		p.Blocks = append(p.Blocks, paper.Block{Heading: a.l.T(templates.DeclinedHead), List: declined})
	}
	if doc.Kind == "estimate" {
		p.Blocks = append(p.Blocks, paper.Block{Heading: a.l.T(templates.YesHead), Text: []string{templates.YesPaper(a.l, a.say(doc.TotalMinor))},
			Sign: a.l.Each(templates.SignYes)})
	} else {
		var agreed []string
		for _, scope := range []store.Scope{store.ScopeDiagnosis, store.ScopeRepair} {
			on := slices.ContainsFunc(ls, func(l store.Line) bool { return l.Scope == scope })
			if y, ok := a.InForce(scope); ok && on {
				agreed = append(agreed, templates.AgreedPaper(a.l, string(scope), a.say(y.LimitMinor), y.Who, y.How, a.clock.date(y.SaidAt)))
			}
		}
		if len(agreed) > 0 {
			p.Blocks = append(p.Blocks, paper.Block{Text: agreed})
		}
	}
	p.Foot = a.l.Each(templates.DocumentFoot(doc.Kind))
	return p
}

// workOrder is for the bay: what to do, with boxes to tick, cautions first.
func (a *account) workOrder() (paper.Sheet, error) {
	d := a.desk
	p := d.sheet(templates.TitleOrder, "")
	p.OnePage = true
	p.Customer = p.Customer[:min(len(p.Customer), 1)]
	p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.OrderConcern), Text: []string{d.Job.Concern}})
	var told, read []string
	for _, e := range d.Standing() {
		to := &read
		if e.Source == store.Told {
			to = &told
		}
		word := e.Body.Code
		if e.Body.Kind == diag.KindCodeList {
			word = templates.ListWords(d.l, e.Body.Status)
		}
		if word != "" && !slices.Contains(*to, word) { // a code may be stored and pending
			*to = append(*to, word)
		}
	}
	facts := []paper.Pair{{Name: d.l.T(templates.OrderTold), Value: templates.OrNone(d.l, told)}, {Name: d.l.T(templates.OrderRead), Value: templates.OrNone(d.l, read)}}
	for _, scope := range []store.Scope{store.ScopeDiagnosis, store.ScopeRepair} {
		limit := d.l.T(templates.NoYes)
		if y, ok := a.InForce(scope); ok {
			limit = templates.UpTo(d.l, a.say(y.LimitMinor))
		}
		facts = append(facts, paper.Pair{Name: d.l.T(templates.ScopeNames[string(scope)]), Value: limit})
	}
	p.Blocks = append(p.Blocks, paper.Block{Facts: facts})
	var sensors []paper.Tick
	for _, x := range d.Sensors {
		sensors = append(sensors, paper.Tick{Text: templates.Upper(d.spotWords(x.Bank, x.Position)), Note: templates.SensorWords(d.l, string(x.Kind), x.Wires)})
	}
	p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.OrderSensors), Ticks: sensors})

	_, _, parts, settled := d.inForce()
	if settled {
		var work []paper.Tick
		v, _ := d.Verdict()
		for _, c := range slices.Concat(v.Verdict.First, v.Verdict.Mend) {
			if t := (paper.Tick{Text: d.mendWords(c)}); !slices.Contains(work, t) {
				work = append(work, t)
			}
		}
		for _, x := range parts {
			work = append(work, paper.Tick{Text: templates.FitLine(d.l, d.partWords(x))})
		}
		work = append(work, paper.Tick{Text: d.l.T(templates.OrderProof)})
		p.Blocks = append(p.Blocks, paper.Block{Caution: d.l.Each(templates.FittingCautions)}, paper.Block{Heading: d.l.T(templates.OrderWork), Ticks: work})
	} else {
		var cautions []string
		tests := []paper.Tick{{Text: templates.ReadCodes(d.l).Title, Note: templates.ReadCodes(d.l).Minutes}}
		cautions = append(cautions, templates.ReadCodes(d.l).Cautions...)
		add := func(n *diag.NextTest, note string) {
			t, ok := diag.TestByID(n.Test)
			if !ok {
				return
			}
			tick := paper.Tick{Text: d.l.T(t.Name), Note: templates.Commas(d.spotWords(n.Bank, n.Position), templates.MinutesWords(d.l, t.Minutes), note)}
			if !slices.ContainsFunc(tests, func(x paper.Tick) bool {
				return x.Text == tick.Text && strings.HasPrefix(x.Note, d.spotWords(n.Bank, n.Position))
			}) {
				tests = append(tests, tick)
				for _, c := range d.l.Each(t.Cautions) {
					if !slices.Contains(cautions, c) {
						cautions = append(cautions, c)
					}
				}
			}
		}
		if d.noFit == "" && d.decision.Next != nil {
			add(d.decision.Next, "")
			for _, step := range d.decision.Plan {
				if step.Next != nil && len(tests) < testsShown {
					say := d.l.Say(step.Say)
					if say == "" {
						say = d.l.T(outcomeName(d.decision.Next.Test, step.Outcome))
					}
					add(step.Next, templates.IfWords(d.l, say))
				}
			}
		}
		if d.shop.Cautions != "" {
			cautions = append(cautions, d.shop.Cautions)
		}
		p.Blocks = append(p.Blocks, paper.Block{Caution: append(cautions, d.l.T(templates.LocalRules))}, paper.Block{Heading: d.l.T(templates.OrderTests), Ticks: tests})
	}
	p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.OrderNotes), Blank: 3}, paper.Block{Sign: d.l.Each(templates.SignBay)})
	return p, nil
}

// handOver is the sheet the customer takes along with the keys.
func (s *server) handOver(ctx context.Context, a *account) (paper.Sheet, error) {
	d := a.desk
	p := d.sheet(templates.TitleHandOver, "")
	p.OnePage = true
	_, decision, parts, ok := d.inForce()
	if ok {
		v, _ := d.Verdict()
		headline := templates.VerdictHeadline
		if d.Job.RepairedAt != nil {
			headline = templates.HandHeadline
		}
		p.Blocks = append(p.Blocks, paper.Block{Big: headline(d.l, decision, each(parts, d.partWords), each(v.Verdict.Mend, d.mendWords))})
	}
	var done []string
	for _, r := range d.standingRepairs() {
		if r.Action == store.Mended {
			done = append(done, templates.MendedPaper(d.l, d.causeWords(diag.CauseRef{Cause: r.Cause, Bank: r.Bank, Position: r.Position}), r.Words))
			continue
		}
		done = append(done, templates.FittedPaper(templates.FitWords(d.l, d.spotWords(r.Bank, r.Position), string(r.Kind), r.PartNumber), r.Words))
	}
	if len(done) > 0 {
		p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.HandDone), List: done})
	}
	pairs, err := s.photoFigures(ctx, d, d.base()+"/paper", func(f store.Photo) bool { return f.Moment != "" }, pairsShown)
	if err != nil {
		return p, err
	}
	if len(pairs) > 0 {
		p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.HandPictures), Figures: pairs})
	}
	proof := []string{}
	for _, x := range d.Proofs {
		if x.Stands {
			proof = append(proof, templates.ProofPaper(d.l, x.Passed, x.Statement, d.clock.date(x.At), x.ByName))
		}
	}
	if len(proof) == 0 {
		proof = append(proof, templates.NoProof(d.l, d.Job.UnprovedWhy))
	}
	p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.HandProof), Text: proof})
	var declined []string
	for _, l := range a.Lines {
		if l.Status == store.LineDeclined {
			declined = append(declined, templates.DeclinedWords(a.lineWords(l), a.consequenceIn(l)))
		}
	}
	if len(declined) > 0 {
		p.Blocks = append(p.Blocks, paper.Block{Heading: a.l.T(templates.DeclinedHead), List: declined})
	}
	p.Blocks = append(p.Blocks,
		paper.Block{Heading: d.l.T(templates.HandWarranty), Text: templates.WarrantyPaper(d.l, d.shop.ComebackDays, len(done) > 0)},
		paper.Block{Heading: d.l.T(templates.WatchHead), List: d.watch()},
		paper.Block{Sign: d.l.Each(templates.SignHandOver)})
	return p, nil
}

// watch is what the customer should look out for.
func (d *desk) watch() []string {
	out := []string{templates.WatchLight(d.l, d.shop.ComebackDays), d.l.T(templates.WatchFlash)}
	for _, c := range d.toMend() {
		if strings.HasPrefix(c.Cause, "exhaust_leak") && d.Job.RepairedAt == nil {
			return append(out, d.l.T(templates.WatchCO))
		}
		if c.Cause == "head_gasket_leak" && d.Job.RepairedAt == nil {
			return append(out, d.l.T(templates.WatchCoolant))
		}
	}
	return out
}

// explanation tells the customer on one page what was found. Outside the shop it
// carries no more of the customer's data than the name.
func (s *server) explanation(ctx context.Context, d *desk, photos string, outside bool) (paper.Sheet, error) {
	p := d.sheet(templates.TitleExplanation, "")
	p.OnePage = true
	if outside {
		p.Customer = p.Customer[:min(len(p.Customer), 1)]
		p.Facts = slices.DeleteFunc(p.Facts, func(f paper.Pair) bool { return f.Name == "VIN" })
	}
	p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.ExplainConcern), Text: []string{"“" + templates.Shorten(d.Job.Concern, concernShown) + "”"}})
	var codes []templates.SaidByCodes // codes that say the same stand together
	for _, e := range d.Standing() {
		if e.Body.Kind == diag.KindCode {
			say := d.l.T(plainCode(e.Body.Code))
			i := slices.IndexFunc(codes, func(c templates.SaidByCodes) bool { return c.Say == say })
			if i < 0 {
				codes, i = append(codes, templates.SaidByCodes{Say: say}), len(codes)
			}
			if !slices.Contains(codes[i].Codes, e.Body.Code) {
				codes[i].Codes = append(codes[i].Codes, e.Body.Code)
			}
		}
	}
	if len(codes) > 0 {
		p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.ExplainCodes), List: each(codes[:min(len(codes), codesShown)], templates.SaidByCodes.String), Text: []string{d.l.T(templates.CodeIsWitness)}})
	}
	if did := d.looked(); len(did) > 0 {
		p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.ExplainDid), Text: []string{templates.DidSentence(did)}})
	}
	_, decision, _, ok := d.inForce()
	v := d.decision.Verdict
	if f, inForce := d.Verdict(); inForce {
		v = f.Verdict
		if f.Override != nil {
			v.Decision, v.Parts = f.Override.Decision, f.Override.Parts
		}
	}
	found := d.l.T(templates.NothingYetCustomer)
	if ok || (d.noFit == "" && !d.unread() && v.Decision != diag.DecideOpen) {
		found = d.customerSentence(v)
	}
	p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.ExplainFound), Big: found})
	if ok {
		p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.ExplainWhy), Text: d.l.Each(templates.WhyPart(decision, len(v.First) > 0, d.Job.RepairedAt != nil))})
	}
	figures, err := s.figures(ctx, d, photos)
	if err != nil {
		return p, err
	}
	if len(figures) > 0 {
		p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.ExplainPictures), Figures: figures})
	}
	p.Blocks = append(p.Blocks, paper.Block{Heading: d.l.T(templates.WatchHead), List: d.watch()})
	return p, nil
}

// What a sheet has room for.
const (
	figuresShown = 3
	pairsShown   = 4
	codesShown   = 4
	concernShown = 300 // characters
	testsShown   = 5   // on an order, which is one page
)

// figures are the latest recording and the photos of a job.
func (s *server) figures(ctx context.Context, d *desk, photos string) ([]paper.Figure, error) {
	var out []paper.Figure
	for _, c := range slices.Backward(d.Captures) {
		if c.ReplacedBy != nil {
			continue
		}
		svg, err := s.pictureOf(ctx, d, c)
		if err != nil {
			return nil, err
		}
		if svg != "" {
			out = append(out, paper.Figure{SVG: svg, Caption: d.l.T(templates.RecordingCaption)})
			break
		}
	}
	of, err := s.photoFigures(ctx, d, photos, func(store.Photo) bool { return true }, figuresShown-len(out))
	return append(out, of...), err
}

// photoFigures are the first photos of a job that are wanted.
func (s *server) photoFigures(ctx context.Context, d *desk, photos string, wanted func(store.Photo) bool, most int) ([]paper.Figure, error) {
	var out []paper.Figure
	for _, f := range d.Photos {
		if len(out) == most {
			break
		}
		if !wanted(f) {
			continue
		}
		data, err := s.store.PhotoThumb(ctx, f.ID)
		if err != nil {
			return nil, err
		}
		kind := map[string]string{"image/jpeg": "jpg", "image/png": "png"}[data.MediaType]
		if kind == "" {
			continue
		}
		caption := templates.PhotoCaption(d.l, f.Subject, f.Moment, f.Words)
		out = append(out, paper.Figure{Src: photos + "/photos/" + f.ID, Photo: data.Data, Type: kind, Alt: caption, Caption: caption})
	}
	return out, nil
}

// looked names the tests that were done, in the order they were done.
func (d *desk) looked() []string {
	var out []string
	for _, e := range d.Standing() {
		t, ok := testOf(e)
		if say := templates.PlainTest(d.l, t.ID, t.Name); ok && e.Body.Kind != diag.KindCode && !slices.Contains(out, say) {
			out = append(out, say)
		}
	}
	return out
}

// plainCode says what a code said, for who never heard of codes.
func plainCode(text string) string {
	title := ""
	if c, err := obd.ParseCode(text); err == nil {
		if m, ok := c.Meaning(); ok {
			title = m.Title.String() // the list is kept by the English
		}
	}
	return templates.PlainCode(title)
}

// converterSheet is the paperwork of one converter.
func (s *server) converterSheet(r *http.Request, a *account, id int64) (paper.Sheet, error) {
	papers, err := s.store.ConverterPapers(r.Context(), a.Job.ID)
	if err != nil {
		return paper.Sheet{}, err
	}
	i := slices.IndexFunc(papers, func(c store.ConverterPaper) bool { return c.ID == id })
	if i < 0 {
		return paper.Sheet{}, trouble(templates.TroubleNotFound, "")
	}
	c := papers[i]
	p := a.sheet(templates.TitleConverter, c.Tag)
	p.Customer[0] = c.CustomerName
	facts := []paper.Pair{{Name: a.l.T(templates.ConverterWhich), Value: a.converterPlace(c.Bank)}, {Name: a.l.T(templates.ConverterNumber), Value: c.PartNumber},
		{Name: a.l.T(templates.ConverterTag), Value: c.Tag}, {Name: a.l.T(templates.ConverterRemoved), Value: a.clock.calendar(c.RemovedOn)},
		{Name: a.l.T(templates.ConverterKeepUnit), Value: a.clock.calendar(c.KeepUnitUntil)}, {Name: a.l.T(templates.ConverterKeepPaper), Value: a.clock.calendar(c.KeepPaperUntil)}}
	if c.InvoicedOn != nil {
		facts = append(facts, paper.Pair{Name: a.l.T(templates.ConverterInvoiced), Value: a.clock.calendar(*c.InvoicedOn)})
	}
	p.Blocks = []paper.Block{{Heading: a.l.T(templates.ConverterNeed), Text: []string{c.Need}}, {Facts: facts},
		{Heading: a.l.T(templates.ConverterDo), Ticks: templates.ConverterTicks(a.l, a.clock.calendar(c.KeepUnitUntil), a.clock.calendar(c.KeepPaperUntil))},
		{Text: []string{a.l.T(templates.ConverterStatement)}, Sign: a.l.Each(templates.SignConverter)}}
	p.Foot = []string{a.l.T(templates.ConverterSource)}
	return p, nil
}

// paperPhoto sends a photo of the job to its papers.
func (s *server) paperPhoto(w http.ResponseWriter, r *http.Request) error {
	job, err := idIn(r, "job")
	if err != nil {
		return err
	}
	return s.sendPhoto(w, r, job, chi.URLParam(r, "photo"))
}

func (s *server) sendPhoto(w http.ResponseWriter, r *http.Request, job int64, id string) error {
	photos, err := s.store.Photos(r.Context(), job)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(photos, func(p store.Photo) bool { return p.ID == id && p.RemovedAt == nil }) {
		return trouble(templates.TroubleNotFound, "")
	}
	data, err := s.store.PhotoThumb(r.Context(), id)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", data.MediaType)
	_, _ = w.Write(data.Data) // the reader may have gone
	return nil
}
