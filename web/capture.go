package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"github.com/go-chi/chi/v5"

	"crosscount/diag"
	"crosscount/diag/obd"
	"crosscount/diag/picture"
	"crosscount/diag/say"
	"crosscount/diag/signal"
	"crosscount/diag/signal/draw"
	"crosscount/store"
	"crosscount/templates"
	"crosscount/templates/lang"
)

// readAs is kept with a capture: how the file was read, and what for.
type readAs struct {
	Mapping   signal.Mapping `json:"mapping"`
	Purpose   string         `json:"purpose"`
	State     string         `json:"state,omitempty"`
	Event     *signal.Event  `json:"event,omitempty"`
	ColdStart *float64       `json:"cold_start_s,omitempty"`
}

// bare leaves the reasons of the guess out.
func bare(m signal.Mapping) signal.Mapping {
	m.Time.Reason, m.Time.Confidence = say.Text{}, 0
	m.Channels = slices.Clone(m.Channels)
	for i := range m.Channels {
		m.Channels[i].Reason, m.Channels[i].Confidence = say.Text{}, 0
	}
	return m
}

// keepCapture reads a table as its page showed it and writes down what is ticked.
func (s *server) keepCapture(w http.ResponseWriter, r *http.Request) error {
	d, file, content, err := s.fileOf(r)
	if err != nil {
		return err
	}
	if !d.open() {
		return trouble(templates.TroubleConflict, templates.SayJobClosed)
	}
	rd, err := s.readTable(r, d, file, content)
	if err != nil {
		return err
	}
	if rd.form.bad() || rd.res == nil {
		return s.showReading(w, r, rd)
	}
	if err := s.keep(r, rd); err != nil {
		if !rd.form.take(err) {
			return err
		}
		return s.showReading(w, r, rd)
	}
	return see(w, r, d.base()+"/captures/"+r.PostFormValue("id"))
}

func (s *server) keep(r *http.Request, rd *reading) error {
	ctx, by, d := r.Context(), viewer(r).PersonID, rd.d
	n, err := rd.capture()
	if err != nil {
		return err
	}
	n.ID, n.JobID, n.FileID = r.PostFormValue("id"), d.Job.ID, rd.file.ID
	n.Words, n.Replaces = clipped(r.PostFormValue("words"), 2000), d.replaced(r, rd.file.ID)
	n.Entries = ticked(r, d.Job.ID, rd.offers)
	return s.store.Together(ctx, func(st *store.Store) error {
		if _, err := st.AddCapture(ctx, by, n); err != nil {
			return err
		}
		if name := clipped(r.PostFormValue("save"), 120); name != "" {
			m, err := json.Marshal(bare(rd.mapping))
			if err != nil {
				return err
			}
			return st.SaveMapping(ctx, by, name, m)
		}
		return nil
	})
}

// capture is what is kept of a recording, but for whose it is.
func (rd *reading) capture() (store.NewCapture, error) {
	mapping, err := json.Marshal(readAs{Mapping: bare(rd.mapping), Purpose: rd.purpose, State: rd.state, Event: rd.event, ColdStart: rd.cold})
	if err != nil {
		return store.NewCapture{}, err
	}
	res := *rd.res
	res.Mapping = signal.Mapping{} // kept beside it
	measured, err := say.Keep(res)
	if err != nil {
		return store.NewCapture{}, err
	}
	n := store.NewCapture{Kind: store.CaptureSignal, Mapping: mapping, Measurements: measured, Program: measuredBy, Picture: string(rd.svg)}
	if rd.purpose == "trims" {
		n.Kind = store.CaptureLog
	}
	return n, nil
}

// ReadRecording reads and measures a table of sensor voltages as its page would by
// itself: what is kept of it, without whose it is, and the entries it gives.
func ReadRecording(name, state string, content io.ReadSeeker) (store.NewCapture, []diag.Entry, error) {
	m, _, err := signal.Sniff(content)
	if err != nil {
		return store.NewCapture{}, nil, err
	}
	rd := &reading{d: new(desk), file: store.File{Name: name}, mapping: m, state: state} // read by nobody: in English
	if err := rd.measure(content); err != nil {
		return store.NewCapture{}, nil, err
	}
	var entries []diag.Entry
	for _, c := range rd.res.Channels {
		if e, ok := c.Signal(); ok {
			entries = append(entries, rounded(signalEntry(e, state)))
		}
	}
	n, err := rd.capture()
	return n, entries, err
}

// ticked are the entries of the offers that are ticked.
func ticked(r *http.Request, job int64, offers []offer) []store.NewEntry {
	var out []store.NewEntry
	for i, o := range offers {
		if o.cannot == "" && r.PostFormValue("entry_"+strconv.Itoa(i)) != "" {
			out = append(out, store.NewEntry{ID: numbered(r.PostFormValue("entries"), i), JobID: job, Body: o.entry})
		}
	}
	return out
}

// clipped reads a line of text without what no database can hold.
func clipped(v string, most int) string {
	f := form{r: &http.Request{PostForm: url.Values{"v": {v}}}}
	got := []rune(f.value(&templates.Field{Name: "v"}))
	return string(got[:min(len(got), most)])
}

// standingCapture is the last capture of a file that was not read again since.
func (d *desk) standingCapture(file string) *store.Capture {
	for _, c := range slices.Backward(d.Captures) {
		if c.FileID == file && c.ReplacedBy == nil {
			return &c
		}
	}
	return nil
}

// replaced is the capture that a new one takes the place of.
func (d *desk) replaced(r *http.Request, file string) string {
	id := r.PostFormValue("id")
	for _, c := range d.Captures { // the form was sent before
		if c.ID == id && c.Replaces != nil {
			return *c.Replaces
		}
	}
	if c := d.standingCapture(file); c != nil && c.ID != id && r.PostFormValue("replaces") == "yes" {
		return c.ID
	}
	return ""
}

// savedMapping returns a mapping kept under a name, nil without one.
func (s *server) savedMapping(r *http.Request, name string) (*signal.Mapping, error) {
	all, err := s.store.Mappings(r.Context())
	if err != nil {
		return nil, err
	}
	for _, m := range all {
		if m.Name != name {
			continue
		}
		var out signal.Mapping
		if err := json.Unmarshal(m.Mapping, &out); err != nil {
			return nil, fmt.Errorf("the mapping %q: %w", name, err)
		}
		return &out, nil
	}
	return nil, nil
}

func (s *server) nameOf(r *http.Request, person int64) (string, error) {
	people, err := s.store.People(r.Context())
	for _, p := range people {
		if p.ID == person {
			return p.Name, err
		}
	}
	return "", err
}

// captureOf loads the job and the capture a request is about.
func (s *server) captureOf(r *http.Request) (*desk, store.Capture, error) {
	d, err := s.plainDesk(r)
	if err != nil {
		return nil, store.Capture{}, err
	}
	c, ok := d.capture(chi.URLParam(r, "capture"))
	if !ok {
		return d, c, trouble(templates.TroubleNotFound, "")
	}
	return d, c, nil
}

func (d *desk) capture(id string) (store.Capture, bool) {
	i := slices.IndexFunc(d.Captures, func(c store.Capture) bool { return c.ID == id })
	if i < 0 {
		return store.Capture{}, false
	}
	return d.Captures[i], true
}

// capturePage shows what was read of a file and written down.
func (s *server) capturePage(w http.ResponseWriter, r *http.Request) error {
	d, c, err := s.captureOf(r)
	if err != nil {
		return err
	}
	svg, err := s.pictureOf(r.Context(), d, c)
	if err != nil {
		return err
	}
	file, _, err := s.store.OpenFile(r.Context(), c.FileID)
	if err != nil {
		return err
	}
	by, err := s.nameOf(r, file.By)
	if err != nil {
		return err
	}
	title := templates.SayCaptured(d.l, string(c.Kind), c.FileName)
	v := templates.CaptureView{Page: s.page(w, r, templates.AtNowhere, title), Car: carName(d.Vehicle), JobHref: d.base(), Title: title,
		File: d.fileFacts(file, by), When: d.clock.moment(c.At), Who: c.ByName, Words: c.Words, Program: c.Program, Svg: svg}
	if c.ReplacedBy != nil {
		v.ReplacedBy = d.base() + "/captures/" + *c.ReplacedBy
	}
	for _, e := range d.Entries {
		if slices.Contains(c.Entries, e.ID) {
			ev := d.evidence(e.Body)
			words := templates.Statement(d.l, ev)
			if e.Body.Bank > 0 {
				words = templates.Upper(templates.SpotWords(d.l, ev.Spot)) + ". " + words
			}
			v.Entries = append(v.Entries, templates.EntryLink{Href: d.base() + "#e-" + e.ID, Words: words})
		}
	}
	if c.Kind == store.CaptureResponses {
		dec, res, err := takenBack(c)
		if err != nil {
			return err
		}
		v.Decoded, v.Noticed, v.Sums = new(d.decodedView(dec, res)), d.obdNoticed(dec), answeredSums(d.l, dec)
	} else {
		as, res := c2result(c)
		v.Sums, v.Groups, v.TooSlow = sums(d.l, res), groups(d.l, res), tooSlow(d.l, res)
		v.Noticed = noticed(d.l, slices.Concat(res.Warnings, res.Report.Problems))
		if d.open() {
			rd := &reading{d: d, file: file, guess: as.Mapping, mapping: as.Mapping, purpose: as.Purpose}
			rd.fields()
			rd.view.Purpose.Value = as.Purpose
			if as.State != "" {
				rd.view.State.Value = as.State
			}
			if as.Event != nil {
				rd.view.Mixture.Value, rd.view.At.Value = as.Event.Mixture, trim(as.Event.At)
			}
			if as.ColdStart != nil {
				rd.view.Cold.Value = trim(*as.ColdStart)
			}
			v.Again = rd.view.Action + "?" + rd.query()
		}
		v.Curve = d.captureCurve(c, res, themeOf(r))
	}
	if c.Kind == store.CaptureResponses && d.open() {
		v.Again = d.base() + "/files/" + c.FileID + "?as=" + asResponses
	}
	return s.render(w, r, http.StatusOK, templates.Capture(v))
}

// c2result reads a capture's measurements back. What an older program wrote and this
// one cannot read is shown as empty.
func c2result(c store.Capture) (readAs, *signal.Result) {
	var as readAs
	res := &signal.Result{}
	_ = json.Unmarshal(c.Mapping, &as)
	_ = say.Back(c.Measurements, res)
	if res.Report == nil {
		res.Report = &signal.Report{}
	}
	return as, res
}

// pictureOf is a capture's picture. It is kept as it was drawn; where that was in other
// words than the reader's it is drawn anew from the file.
func (s *server) pictureOf(ctx context.Context, d *desk, c store.Capture) (string, error) {
	svg, err := s.store.CapturePicture(ctx, c.ID)
	if err != nil || svg == "" || picture.Speaks(svg, d.l.T) {
		return svg, err
	}
	file, content, err := s.store.OpenFile(ctx, c.FileID)
	if err != nil {
		return "", err
	}
	var anew []byte
	err = s.measured(ctx, func() (err error) {
		if c.Kind == store.CaptureResponses {
			a := &answers{d: d, file: file}
			if a.dec, err = obd.Decode(content); err == nil {
				a.measure()
				anew = a.svg
			}
			return err
		}
		as, _ := c2result(c)
		rd := &reading{d: d, file: file, mapping: as.Mapping, purpose: as.Purpose, event: as.Event, cold: as.ColdStart}
		err = rd.measure(content)
		anew = rd.svg
		return err
	})
	if ctx.Err() != nil {
		return "", ctx.Err()
	}
	if err != nil || len(anew) == 0 {
		return svg, nil // what an older program could read and this one cannot
	}
	return string(anew), nil
}

// capturePicture sends a capture's picture as a file of its own.
func (s *server) capturePicture(w http.ResponseWriter, r *http.Request) error {
	d, c, err := s.captureOf(r)
	if err != nil {
		return err
	}
	svg, err := s.pictureOf(r.Context(), d, c)
	if err != nil {
		return err
	}
	return sendPicture(w, r, []byte(svg))
}

// sendPicture sends a drawing of ours, which holds its colours in a style of its own.
// What it shows never changes under its address.
func sendPicture(w http.ResponseWriter, r *http.Request, svg []byte) error {
	if len(svg) == 0 {
		return trouble(templates.TroubleNotFound, "")
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; sandbox")
	w.Header().Set("Cache-Control", "private, max-age=86400")
	_, _ = w.Write(picture.Alone(svg, r.URL.Query().Get("theme"))) // the reader may have gone
	return nil
}

// captureLines tells for every entry that was measured what it rests on. The first
// entry of a capture carries its picture.
func (d *desk) captureLines(theme string) map[string]*templates.CaptureLine {
	out := map[string]*templates.CaptureLine{}
	for _, c := range d.Captures {
		if len(c.Entries) == 0 {
			continue
		}
		_, res := c2result(c)
		if c.Kind == store.CaptureResponses {
			if _, m, err := takenBack(c); err == nil && m != nil {
				res = m
			}
		}
		for i, id := range c.Entries {
			l := &templates.CaptureLine{Href: d.base() + "/captures/" + c.ID, File: c.FileName}
			if e := slices.IndexFunc(d.Entries, func(e store.Entry) bool { return e.ID == id }); e >= 0 {
				l.Rows = rowsOf(d.l, d.Entries[e].Body, res)
			}
			if i == 0 && (c.Kind != store.CaptureResponses || len(l.Rows) > 0) {
				l.Picture = &templates.PictureView{Src: l.Href + "/picture.svg?theme=" + theme + "&l=" + d.l.Code(), Title: templates.SayCaptured(d.l, string(c.Kind), c.FileName)}
			}
			out[id] = l
		}
	}
	return out
}

// rowsOf are the measurements that an entry was made of.
func rowsOf(l *lang.Language, e diag.Entry, res *signal.Result) []templates.MeasureRow {
	if e.Kind == diag.KindTrim && res.Trims != nil {
		for _, st := range res.Trims.States {
			if st.Bank == e.Bank && string(st.State) == e.State {
				return rows(named(l, "short", st.Short), named(l, "long", st.Long), named(l, "total", st.Total), named(l, "rpm", st.RPM))
			}
		}
	}
	for _, c := range res.Channels {
		if c.Narrow != nil && c.Bank == e.Bank && c.Position == e.Position {
			return channelRows(l, c)
		}
	}
	return nil
}

// recordingLines lists the files of a job and what was read of each.
func (s *server) recordingLines(ctx context.Context, d *desk) ([]templates.RecordingLine, error) {
	files, err := s.store.Files(ctx, d.Job.ID)
	if err != nil || len(files) == 0 {
		return nil, err
	}
	people, err := s.store.People(ctx)
	if err != nil {
		return nil, err
	}
	names := map[int64]string{}
	for _, p := range people {
		names[p.ID] = p.Name
	}
	var out []templates.RecordingLine
	for _, f := range files {
		l := templates.RecordingLine{Href: d.base() + "/files/" + f.ID, Name: f.Name, Size: sizeWords(f.Size), When: d.clock.moment(f.At), Who: names[f.By]}
		for _, c := range d.Captures {
			if c.FileID == f.ID {
				l.Readings = append(l.Readings, templates.CaptureLink{Href: d.base() + "/captures/" + c.ID, Replaced: c.ReplacedBy != nil,
					Words: templates.ReadingWords(d.l, string(c.Kind), d.clock.moment(c.At), len(c.Entries))})
			}
		}
		out = append(out, l)
	}
	return out, nil
}

// traceOf reads the trace of one sensor of a capture again from its file.
func (s *server) traceOf(ctx context.Context, c store.Capture, bank, position int) (*picture.Trace, error) {
	_, content, err := s.store.OpenFile(ctx, c.FileID)
	if err != nil {
		return nil, err
	}
	tr := picture.NewTrace(0)
	if c.Kind == store.CaptureResponses {
		a, err := obd.Decode(content)
		if err != nil {
			return nil, err
		}
		if sr, ok := a.Find(obd.SensorVoltage, bank, position); ok {
			for _, x := range sr.Samples {
				tr.Add([]float64{x.T}, []float64{x.V}, false)
			}
		}
		return tr, nil
	}
	as, _ := c2result(c)
	i := slices.IndexFunc(as.Mapping.Channels, func(x signal.Column) bool {
		return x.Quantity == signal.SensorVoltage && x.Bank == bank && x.Position == position
	})
	if i < 0 {
		return tr, nil
	}
	board := draw.NewBoard(as.Mapping)
	_, err = signal.Read(content, as.Mapping, func(b *signal.Block) error {
		board.Watch(i, b.T, b.V[i], b.Break)
		return nil
	})
	if _, bad := errors.AsType[*signal.Problem](err); err != nil && !bad && !errors.Is(err, io.EOF) {
		return nil, err
	}
	return board.Series(picture.Frame{}, i).Trace, nil
}
