package seed

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"

	"crosscount/diag"
	"crosscount/store"
	"crosscount/web"
)

// shown is what a job has to look at: recordings in place of readings typed in, and
// pictures.
type shown struct {
	recorded bool // its captures come as recordings
	again    bool // recorded once more after the repair
	pictures []shot
}

// shot is a picture of the job.
type shot struct {
	subject, moment string
	place           place
	words           string
	draw            func(*sheet)
}

// toSee are the jobs that have something to look at, by car and days before now.
var toSee = map[string]shown{
	"wyndmoor/0": {recorded: true, pictures: []shot{
		{"tip", "before", place{1, 1}, "Greenish crust all round the slots.", tipPicture(crusted)},
		{"connector", "", place{1, 1}, "Dry and clean, so it did not come from here.", connectorPicture(bare)},
	}},
	"nurse2/0": {recorded: true, again: true, pictures: []shot{
		{"tip", "before", place{1, 1}, "Grey and worn, nothing on it: old age.", tipPicture(worn)},
		{"tip", "after", place{1, 1}, "The new one, just before it went in.", tipPicture(fresh)},
	}},
	"achterberg/0": {pictures: []shot{
		{"gasket", "before", place{2, 0}, "Black streak across the ring where it blew.", gasketPicture(blown)},
		{"gasket", "after", place{2, 0}, "New gasket on the cleaned flange.", gasketPicture(tight)},
	}},
	"stonequist/548": {recorded: true, again: true, pictures: []shot{
		{"tip", "before", place{1, 1}, "230,000 km.", tipPicture(worn)},
		{"tip", "after", place{1, 1}, "New.", tipPicture(fresh)},
	}},
	"ashgrove/633": {recorded: true, again: true, pictures: []shot{
		{"connector", "before", place{1, 1}, "Full of water-repelling grease.", connectorPicture(greased)},
		{"connector", "after", place{1, 1}, "Washed out and dried.", connectorPicture(bare)},
	}},
	"roemer/556": {recorded: true, pictures: []shot{
		{"tip", "before", place{2, 1}, "Crust from coolant.", tipPicture(crusted)},
	}},
}

// recording is a file of samples as it is kept.
type recording struct {
	name    string
	content []byte
	kept    store.NewCapture
}

// record writes down what a recorder at a sensor's wire sees, at 500 samples a second
// for 16 seconds, and measures it.
func (c cell) record(p place, name string, seed uint64) (*recording, []diag.Entry, error) {
	rng := rand.New(rand.NewPCG(seed, uint64(p.bank)<<8|uint64(p.position)))
	var b bytes.Buffer
	fmt.Fprintf(&b, "Time (s),O2 B%dS%d (V)\n", p.bank, p.position)
	const rate, seconds = 500, 16
	phase := rng.Float64()
	for i := range rate * seconds {
		phase += c.hz / rate * (1 + 0.25*math.Sin(float64(i)/700))
		v := c.at(phase) + 0.004*rng.NormFloat64()
		fmt.Fprintf(&b, "%.3f,%.4f\n", float64(i)/rate, v)
	}
	r := &recording{name: name, content: b.Bytes()}
	var es []diag.Entry
	var err error
	if r.kept, es, err = web.ReadRecording(name, "fast_idle", bytes.NewReader(r.content)); err != nil {
		return nil, nil, err
	}
	for i := range es { // no minus zero, which a database does not keep
		for _, x := range []*float64{es[i].MinV, es[i].MaxV, es[i].MeanV, es[i].CrossingsHz, es[i].LeanRichMs, es[i].RichLeanMs} {
			if x != nil {
				*x = round(*x, 3)
			}
		}
	}
	return r, es, nil
}

// at is the voltage at a phase of the feedback's swing, in cycles: straight flanks as
// steep as the cell is quick, level in between; a cell that has no flanks sways.
func (c cell) at(phase float64) float64 {
	_, x := math.Modf(phase)
	swing := c.high - c.low
	if c.leanRich == 0 || c.hz == 0 {
		return c.low + swing*(0.5-0.5*math.Cos(2*math.Pi*x))
	}
	up, down := swing/0.3*c.leanRich/1000*c.hz, swing/0.3*c.richLean/1000*c.hz // share of a cycle
	rest := max(1-up-down, 0) / 2
	switch {
	case x < up:
		return c.low + swing*x/up
	case x < up+rest:
		return c.high
	case x < up+rest+down:
		return c.high - swing*(x-up-rest)/down
	}
	return c.low
}

// soundCell is what the bench's sound front sensor shows.
var soundCell = cell{0.10, 0.86, 1.7, 68, 74}

// keep puts a recording into the job with the entries it gave.
func (w *writer) keep(st *store.Store, j *job, r *recording, id, tech int64, entries []store.NewEntry) error {
	f, err := st.AddFile(w.ctx, tech, store.NewFile{ID: j.uuid(), JobID: id, Name: r.name, MediaType: "text/csv"}, bytes.NewReader(r.content))
	if err != nil {
		return err
	}
	n := r.kept
	n.ID, n.JobID, n.FileID, n.Entries = j.uuid(), id, f.ID, entries
	_, err = st.AddCapture(w.ctx, tech, n)
	return err
}

// hang puts the pictures of a moment into the job; moment "before" takes along those
// of no moment.
func (w *writer) hang(st *store.Store, j *job, moment string, id, tech int64) error {
	for _, s := range toSee[key(j.car, j.days)].pictures {
		if (s.moment == "after") != (moment == "after") {
			continue
		}
		p, err := drawn(s.draw)
		if err != nil {
			return err
		}
		p.ID, p.JobID, p.Subject, p.Moment, p.Bank, p.Position, p.Words = j.uuid(), id, s.subject, s.moment, s.place.bank, s.place.position, s.words
		if _, err := st.AddPhoto(w.ctx, tech, p); err != nil {
			return err
		}
	}
	return nil
}
