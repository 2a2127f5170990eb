package signal

import (
	"io"
	"math"
	"slices"

	"crosscount/diag/say"
)

// Options say how to measure.
type Options struct {
	Limits    Limits   // the zero value means DefaultLimits
	Event     *Event   // when the mixture was forced; nil looks for it in the signal
	ColdStart *float64 // when a cold engine was started, seconds; nil measures no warm-up
	// Watch, where set, sees every run of samples of every channel once, for
	// drawing. fresh says that a gap lies ahead of the run.
	Watch func(channel int, t, v []float64, fresh bool)
	Trims TrimLimits // the zero value means DefaultTrimLimits
}

// Result is everything measured from one table.
type Result struct {
	Mapping  Mapping   `json:"mapping"`
	Report   *Report   `json:"report"`
	Sampling Sampling  `json:"sampling"`
	Channels []Channel `json:"channels"`
	Pairs    []Pair    `json:"pairs,omitempty"`
	Trims    *Trims    `json:"trims,omitempty"`
	Warnings []Problem `json:"warnings"`
}

// Sampling is how often the recorder looked.
type Sampling struct {
	Step    Reading `json:"step"`      // usual time between two samples, s
	Rate    Reading `json:"rate"`      // samples per second
	Slowest float64 `json:"slowest_s"` // longest step that is not a gap, s
}

// Channel is what was measured on one column.
type Channel struct {
	Column
	Samples    int     `json:"samples"`
	Observed   Reading `json:"observed"` // seconds without gaps
	Min        Reading `json:"min"`
	Max        Reading `json:"max"`
	Mean       Reading `json:"mean"`                 // over time
	Median     Reading `json:"median"`               // of the samples
	Low        Reading `json:"low"`                  // lower state level
	High       Reading `json:"high"`                 // upper state level
	Noise      Reading `json:"noise"`                // standard deviation from sample to sample
	Resolution float64 `json:"resolution,omitempty"` // smallest step seen, in the unit
	Narrow     *Narrow `json:"narrow_band,omitempty"`
	Wide       *Wide   `json:"wide_range,omitempty"`
}

// Narrow is what only a switching narrow-band voltage has.
type Narrow struct {
	Crossings   int        `json:"crossings"`      // of MidV, both ways
	CyclesHz    Reading    `json:"cycles_hz"`      // full cycles per second: two crossings each
	Transitions Reading    `json:"transitions_hz"` // crossings per second, both ways
	Period      Reading    `json:"period"`         // between crossings toward rich, s
	LeanRich    Transition `json:"lean_rich"`      // LeanV to RichV
	RichLean    Transition `json:"rich_lean"`      // RichV to LeanV
	Rise        Transition `json:"rise"`           // 10 to 90 % of the way between the states
	Fall        Transition `json:"fall"`           // 90 to 10 %
	Duty        Reading    `json:"duty"`           // share of time on the rich side, %
	LongestRich Reading    `json:"longest_rich"`   // s
	LongestLean Reading    `json:"longest_lean"`   // s
	Over        Excursion  `json:"over"`           // above OverV
	Negative    Excursion  `json:"negative"`       // below NegativeV
	Forced      []Forced   `json:"forced,omitempty"`
	WarmUp      *Reading   `json:"warm_up,omitempty"` // from ColdStart to activity, s
}

// Transition is how long transitions in one direction took.
type Transition struct {
	Median  Reading `json:"median"`    // ms
	Spread  float64 `json:"spread_ms"` // standard deviation, from the median distance to the median
	Fastest float64 `json:"fastest_ms"`
	Slowest float64 `json:"slowest_ms"`
}

// Excursion is time spent beyond a limit.
type Excursion struct {
	Limit    float64 `json:"limit_v"`
	Episodes int     `json:"episodes"`
	Time     Reading `json:"time"` // s
	FirstAt  float64 `json:"first_at_s,omitempty"`
}

// Wide is what matters on a wide-range sensor, which holds steady instead of
// switching.
type Wide struct {
	Steadiness Reading `json:"steadiness"` // half the range of the middle 68 % of time
	Spread     Reading `json:"spread"`     // range of the middle 95 %
	Lag        Reading `json:"lag"`        // from the mixture change to 63.2 % of the step, ms
	Crossings  Reading `json:"crossings"`  // always refused: counting them is wrong here
}

// Measure reads the table in r from its beginning and measures it; where one
// reading does not suffice it reads it twice. The error is a *Problem when nothing
// could be read, or r's.
func Measure(r io.ReadSeeker, m Mapping, opt Options) (*Result, error) {
	opt = opt.filled()
	if _, err := r.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	run := newMeasurement(m, opt)
	report, err := Read(r, m, run.sink)
	if err != nil {
		return nil, err
	}
	if again := run.end(); len(again) > 0 {
		if _, err := r.Seek(0, io.SeekStart); err != nil {
			return nil, err
		}
		if _, err := Read(r, m, run.again(again)); err != nil {
			return nil, err
		}
	}
	return run.result(m, report), nil
}

// Samples is one channel in memory: times in seconds, never falling, and readings
// in the quantity's unit, NaN where there is none. Fresh marks the indexes ahead
// of which lies a gap.
type Samples struct {
	Column
	T, V  []float64
	Fresh []int
}

// MeasureSamples measures channels that are in memory already, each on its own
// times. Pairs are not sought.
func MeasureSamples(s Samples, opt Options) (Channel, Sampling, error) {
	m := Mapping{Delimiter: "comma", Decimal: "point", DataLine: 1, Columns: 2,
		Time: Time{Column: 1, Kind: TimeNumber, Unit: "s"}, Channels: []Column{s.Column}}
	m.Channels[0].Column = 2
	if err := m.Check(); err != nil {
		return Channel{}, Sampling{}, err
	}
	if len(s.T) != len(s.V) || len(s.T) == 0 {
		return Channel{}, Sampling{}, &Problem{Kind: Empty, What: say.T("times and readings do not match"), Mend: say.T("give one time for each reading"), Count: 1}
	}
	opt = opt.filled()
	feed := func(sink func(*Block) error) {
		cuts := append(slices.Clone(s.Fresh), len(s.T))
		from := 0
		limit := 0.0
		for _, to := range cuts {
			first := true
			for from < to {
				end := min(from+blockRows, to)
				limit = gapLimit(s.T[from:end], repeats(s.T[from:end]), limit)
				_ = sink(&Block{T: s.T[from:end], V: [][]float64{s.V[from:end]}, Break: first, MaxStep: limit})
				first, from = false, end
			}
		}
	}
	run := newMeasurement(m, opt)
	feed(run.sink)
	if again := run.end(); len(again) > 0 {
		feed(run.again(again))
	}
	res := run.result(m, &Report{Rows: len(s.T), Start: s.T[0], End: s.T[len(s.T)-1]})
	c := res.Channels[0]
	c.Column = s.Column
	return c, res.Sampling, nil
}

func repeats(t []float64) int {
	n := 0
	for i := 1; i < len(t); i++ {
		if t[i] == t[i-1] {
			n++
		}
	}
	return n
}

func (o Options) filled() Options {
	if o.Limits == (Limits{}) {
		o.Limits = DefaultLimits()
	}
	if o.Trims == (TrimLimits{}) {
		o.Trims = DefaultTrimLimits()
	}
	return o
}

// runs hands each channel's samples of a block on without the missing ones,
// splitting where readings are missing for longer than a gap.
type runs struct {
	last  []float64 // time of the last reading, by channel
	fresh []bool    // a gap lies ahead of the next reading
	t, v  []float64
}

func (r *runs) each(b *Block, c int, f func(t, v []float64, fresh bool)) {
	if r.last == nil {
		r.last = slices.Repeat([]float64{math.NaN()}, len(b.V))
		r.fresh = make([]bool, len(b.V))
	}
	v := b.V[c]
	r.fresh[c] = r.fresh[c] || b.Break
	whole := b.holes != nil && !b.holes[c] || !slices.ContainsFunc(v, math.IsNaN)
	hand := func(t, v []float64) {
		if len(t) > 0 {
			f(t, v, r.fresh[c])
			r.fresh[c] = false
		}
	}
	if whole {
		if b.T[0]-r.last[c] > b.MaxStep && b.MaxStep > 0 {
			r.fresh[c] = true // readings were missing up to here
		}
		r.last[c] = b.T[len(b.T)-1]
		hand(b.T, v)
		return
	}
	r.t, r.v = r.t[:0], r.v[:0]
	for i, x := range v {
		if x != x {
			continue
		}
		if now := b.T[i]; now-r.last[c] > b.MaxStep && b.MaxStep > 0 {
			hand(r.t, r.v)
			r.t, r.v, r.fresh[c] = r.t[:0], r.v[:0], true
		}
		r.last[c] = b.T[i]
		r.t, r.v = append(r.t, b.T[i]), append(r.v, x)
	}
	hand(r.t, r.v)
}

// measurement is one table being measured.
type measurement struct {
	opt       Options
	surveys   []*survey
	witnesses []*witness // nil for channels without
	lags      []*lag     // nil for channels without
	pairs     []*pairing
	trims     *trimLog
	runs      runs
	steps     logHistogram // a quarter of the steps
	prev      float64
	open      bool
	longest   float64
	repeats   int // steps of no time
	moves     int // steps of some

	clock     float64 // coarseness of a clock that repeats times; 0 is none
	low, high []state
	timings   []*timing // nil for channels without
}

func newMeasurement(m Mapping, opt Options) *measurement {
	f := &measurement{opt: opt, pairs: findPairs(m.Channels), trims: newTrimLog(m.Channels, opt.Trims)}
	for _, c := range m.Channels {
		voltage := c.Quantity == SensorVoltage
		f.surveys = append(f.surveys, newSurvey(opt.Limits, voltage))
		f.witnesses = append(f.witnesses, newWitness(opt, voltage))
		f.lags = append(f.lags, newLag(opt, c.Quantity))
	}
	voltages := 0
	for _, s := range f.surveys {
		if s.bones != nil {
			voltages++
		}
	}
	for _, s := range f.surveys {
		if s.bones != nil {
			s.bones.most /= voltages
		}
	}
	for _, p := range f.pairs {
		f.surveys[p.front].want, f.surveys[p.rear].want = true, true
	}
	return f
}

func (p *measurement) sink(b *Block) error {
	p.time(b)
	for c, s := range p.surveys {
		p.runs.each(b, c, func(t, v []float64, fresh bool) {
			s.add(t, v, fresh)
			if w := p.witnesses[c]; w != nil {
				w.add(t, v, fresh)
			}
			if l := p.lags[c]; l != nil {
				l.add(t, v)
			}
			if p.opt.Watch != nil {
				p.opt.Watch(c, t, v, fresh)
			}
		})
	}
	for _, x := range p.pairs {
		x.take(p.surveys[x.front].events, p.surveys[x.rear].events, b.Break)
	}
	if len(p.pairs) > 0 {
		for _, s := range p.surveys {
			s.events = s.events[:0]
		}
	}
	if p.trims != nil {
		p.trims.add(b)
	}
	return nil
}

// time looks at the steps of the clock.
func (p *measurement) time(b *Block) {
	prev, open, longest := p.prev, p.open && !b.Break, p.longest
	repeats, moves := 0, 0
	for i, t := range b.T {
		if d := t - prev; !open {
			open = true
		} else if d > 0 {
			moves++
			if i%4 == 0 || len(b.T) < 256 {
				p.steps.add(d)
			}
			if d > longest {
				longest = d
			}
		} else {
			repeats++
		}
		prev = t
	}
	p.prev, p.open, p.longest = prev, open, longest
	p.repeats += repeats
	p.moves += moves
}

// end closes the first reading and times the 10-90 % transitions. It answers the
// channels whose recording has to be read again for that.
func (p *measurement) end() (again []int) {
	if p.repeats*100 > p.moves {
		p.clock = p.steps.median()
	}
	for c, s := range p.surveys {
		s.close()
		s.clock = p.clock
		low, high := s.hist.states()
		p.low, p.high = append(p.low, low), append(p.high, high)
		var x *timing
		if s.voltage {
			x = newTiming(low, high, s.noiseSD(), s.lim)
		}
		p.timings = append(p.timings, x)
		if x != nil && !s.bones.runs(&x.pass, x.add) {
			again = append(again, c)
		}
		s.bones = nil
	}
	if p.trims != nil {
		p.trims.end()
	}
	return again
}

// again times the transitions of the channels given from the recording itself.
func (p *measurement) again(channels []int) func(*Block) error {
	p.runs = runs{}
	return func(b *Block) error {
		for _, c := range channels {
			p.runs.each(b, c, p.timings[c].add)
		}
		return nil
	}
}

// found makes of the longest stay on either side that a crossing began a forced
// change of mixture, where it lasts far longer than the switching does.
func (s *survey) found(sd float64, step float64) []Forced {
	var out []Forced
	usual := s.periods.median() / 2
	for k, mixture := range []string{"lean", "rich"} {
		d := s.entered[k]
		if d.length() < 1 || d.length() < 4*usual {
			continue
		}
		f := Forced{Mixture: mixture, At: d.left.t, Found: true}
		target := []float64{s.lim.ForcedLean, s.lim.ForcedRich}[k]
		f.Delay = refuse("ms", NoEvent, say.T("the moment of the mixture change is not known: mark it to measure the delay"))
		f.Reached = read(d.extreme, "V", 2*sd, 1)
		switch {
		case slower(step, s.lim.needTransition()):
			f.ToLevel = s.lim.slowResponse(step)
		case !d.reached:
			f.ToLevel = refuse("ms", NoneSeen, say.T("the signal does not reach %.6g V before it turns back", target))
		default:
			f.ToLevel = read(1000*(d.reach.t-d.left.t), "ms", 1000*max(d.reach.span+d.left.span, s.clock), 1)
		}
		out = append(out, f)
	}
	return out
}

// slowResponse refuses a response time.
func (l Limits) slowResponse(step float64) Reading {
	return tooSlow("ms", say.T("a response of %s", secondsWords(l.JudgeMs/1000)), step, l.needTransition())
}

// noiseSD is the standard deviation of the noise, from the median of the absolute
// second differences: for independent noise their variance is six times its own.
// It is never below what the resolution hides, q/√12.
func (s *survey) noiseSD() float64 {
	n := s.noise.median()
	if math.IsNaN(n) {
		n = 0
	}
	return max(n*madToSigma/math.Sqrt(6), s.hidden())
}

func (s *survey) hidden() float64 {
	if math.IsInf(s.quantum, 0) {
		return 0
	}
	return s.quantum / math.Sqrt(12)
}

func (p *measurement) result(m Mapping, report *Report) *Result {
	out := &Result{Mapping: m, Report: report, Channels: []Channel{}, Warnings: []Problem{}}
	step := p.steps.median()
	out.Sampling = Sampling{Step: read(step, "s", 0, p.moves), Rate: read(1/step, "1/s", 0, p.moves), Slowest: p.longest}
	for i, c := range m.Channels {
		out.Channels = append(out.Channels, p.channel(i, c, step))
	}
	for _, x := range p.pairs {
		pair, warn := x.result(m.Channels, p.surveys, p.opt.Limits, step)
		out.Pairs = append(out.Pairs, pair)
		if warn != nil {
			out.Warnings = append(out.Warnings, *warn)
		}
	}
	if p.trims != nil {
		t := p.trims.result()
		out.Trims = &t
	}
	for i, c := range out.Channels {
		if med, ok := c.Median.Get(); ok && c.Quantity == SensorVoltage && med > p.opt.Limits.OverV {
			out.Warnings = append(out.Warnings, Problem{Kind: NotNarrowBand, Column: m.Channels[i].Column, Count: 1,
				What: say.T("%s is above %.6g V most of the time, which no sound narrow-band cell delivers", quote(c.Name), p.opt.Limits.OverV),
				Mend: say.T("check the unit and whether this column is a wide-range sensor or another signal")})
		}
	}
	return out
}

func (p *measurement) channel(i int, c Column, step float64) Channel {
	s := p.surveys[i]
	out := Channel{Column: c, Samples: s.n}
	unit := c.Quantity.Unit()
	if unit == "" {
		unit = c.Unit
	}
	if s.n == 0 {
		none := refuse(unit, NoneSeen, say.T("the column holds no reading"))
		out.Observed = refuse("s", NoneSeen, say.T("the column holds no reading"))
		out.Min, out.Max, out.Mean, out.Median, out.Low, out.High, out.Noise = none, none, none, none, none, none, none
		return out
	}
	sd := s.noiseSD()
	if !math.IsInf(s.quantum, 0) {
		out.Resolution = s.quantum
	}
	out.Observed = read(s.observed, "s", 0, s.n)
	out.Min = read(s.low.v, unit, 2*sd+s.low.bend, s.n)
	out.Max = read(s.high.v, unit, 2*sd+s.high.bend, s.n)
	mean := s.low.v
	if s.observed > 0 {
		mean = s.integral / s.observed
	}
	// an unfinished cycle weighs more on one side
	u := 2*sd/math.Sqrt(float64(s.n)) + s.hidden()
	if period := s.periods.median(); period > 0 && s.observed > 0 {
		u += (s.high.v - s.low.v) * min(period/(4*s.observed), 0.5)
	}
	out.Mean = read(mean, unit, u, s.n)
	out.Median = read(s.hist.quantile(0.5), unit, s.hist.width+2*1.2533*sd/math.Sqrt(float64(s.n)), s.n)
	low, high := p.low[i], p.high[i]
	stateU := func(x state) float64 { return x.uncertainty + 2*sd/math.Sqrt(max(float64(x.n), 1)) }
	out.Low = read(low.level, unit, stateU(low), int(low.n))
	out.High = read(high.level, unit, stateU(high), int(high.n))
	out.Noise = read(sd, unit, sd/math.Sqrt(max(float64(s.noise.n)/2, 1)), int(s.noise.n))
	switch c.Quantity {
	case SensorVoltage:
		out.Narrow = p.narrow(i, step, sd, stateU(low)+stateU(high))
	case SensorLambda, PumpCurrent:
		out.Wide = p.wide(i, unit, sd, step)
	}
	return out
}

func (p *measurement) narrow(i int, step, sd, levelU float64) *Narrow {
	s, x, lim := p.surveys[i], p.timings[i], p.opt.Limits
	out := &Narrow{Crossings: s.cross}
	out.Transitions, out.CyclesHz = s.rates(step)
	if s.period.n > 0 {
		u := 2 * 1.2533 * s.period.sd() / math.Sqrt(float64(s.period.n))
		out.Period = read(s.periods.median(), "s", u+2*math.Sqrt(2.0/12)*s.sampling(), s.period.n)
	} else {
		out.Period = refuse("s", NoneSeen, say.T("no full cycle in the recording"))
	}
	swing := lim.RichV - lim.LeanV
	why := say.T("no transition between %.6g and %.6g V in the recording", lim.LeanV, lim.RichV)
	out.LeanRich = s.pass.ups.result(lim, step, s.clock, sd/swing, 0, why)
	out.RichLean = s.pass.down.result(lim, step, s.clock, sd/swing, 0, why)
	switch {
	case x != nil:
		swing = 0.8 * (p.high[i].level - p.low[i].level)
		why = say.T("no whole transition from 10 to 90 % in the recording")
		out.Rise = x.pass.ups.result(lim, step, s.clock, sd/swing, levelU/swing, why)
		out.Fall = x.pass.down.result(lim, step, s.clock, sd/swing, levelU/swing, why)
	case slower(step, lim.needTransition()):
		r := Transition{Median: tooSlow("ms", say.T("transitions of %s", secondsWords(lim.JudgeMs/1000)), step, lim.needTransition())}
		out.Rise, out.Fall = r, r
	default:
		r := Transition{Median: refuse("ms", NoState, say.T("the signal does not rest at two levels apart from its noise"))}
		out.Rise, out.Fall = r, r
	}
	if known := s.spent[0] + s.spent[1]; known > 0 {
		u := 0.0
		if s.cross > 0 {
			u = 100 * s.sampling() * math.Sqrt(float64(s.cross)) / known
		}
		out.Duty = read(100*s.spent[1]/known, "%", u, s.cross)
	} else {
		out.Duty = refuse("%", NoneSeen, say.T("the signal stays near the middle level"))
	}
	out.LongestLean = s.stuck(0, step)
	out.LongestRich = s.stuck(1, step)
	out.Over = s.over.result(lim.OverV, step)
	out.Negative = s.negative.result(lim.NegativeV, step)
	if p.opt.Event == nil {
		out.Forced = s.found(sd, step)
	}
	w := p.witnesses[i]
	if w == nil {
		return out
	}
	for _, win := range w.windows {
		if win.seen > 0 {
			f := win.result(lim, step, s.clock, sd)
			f.addUncertainty(p.opt.Event.Uncertainty)
			out.Forced = append(out.Forced, f)
		}
	}
	if w.warm != nil {
		r := refuse("s", NoneSeen, say.T("the cell did not come to life in the recording"))
		if w.warm.done {
			r = read(w.warm.at.t-w.warm.from, "s", max(w.warm.at.span, s.clock), 1)
		}
		out.WarmUp = &r
	}
	return out
}

// rates answers crossings per second and full cycles per second. Where crossings
// go on from end to end of the recording the rate is that of whole cycles, from
// one crossing to the next the same way, which does not depend on where the
// recording cuts a cycle; otherwise it is the count in the time observed.
func (s *survey) rates(step float64) (transitions, cycles Reading) {
	if slower(step, s.lim.needCrossing()) {
		if s.n < 2 || !(step > 0) {
			r := refuse("1/s", TooShort, say.T("the recording is too short"))
			return r, r
		}
		r := tooSlow("1/s", say.T("switching up to %.6g cycles per second", s.lim.JudgeHz), step, s.lim.needCrossing())
		return r, r
	}
	if !(s.observed > 0) {
		r := refuse("1/s", TooShort, say.T("the recording is too short"))
		return r, r
	}
	rate, u := float64(s.cross)/2/s.observed, 0.5/s.observed
	rest := s.observed - s.covered // ahead of the first and behind the last crossing
	if s.cycles > 0 && rest <= 2.1*float64(s.pieces)*s.gapMax {
		rate = float64(s.cycles) / s.cycling
		n := float64(s.cycles)
		u = rate * rate * (2*s.period.sd()/math.Sqrt(n) + s.sampling()/n)
		if s.period.n < 2 {
			u += 0.5 / s.observed
		}
	}
	return read(2*rate, "1/s", 2*u, s.cross), read(rate, "1/s", u, s.cross)
}

// sampling is the usual distance between the samples around a crossing.
func (s *survey) sampling() float64 { return max(s.span.median(), s.clock) }

func (s *survey) stuck(k int, step float64) Reading {
	d := s.longest[k]
	if d.length() <= 0 {
		return refuse("s", NoneSeen, say.T("the signal does not stay on that side of the middle level"))
	}
	r := read(d.length(), "s", step, 1)
	r.AtLeast = d.cut
	return r
}

func (e *excursion) result(limit, step float64) Excursion {
	out := Excursion{Limit: limit, Episodes: e.episodes, FirstAt: e.first}
	out.Time = read(e.time, "s", step*float64(e.episodes), e.episodes)
	return out
}

// result gives the usual duration of the transitions. noise is the noise as a
// share of the way between the levels, level the uncertainty of the levels as a
// share of it, clock the coarseness of a clock that repeats times.
func (t *transitions) result(lim Limits, step, clock, noise, level float64, why say.Text) Transition {
	n := t.took.n
	need := lim.needTransition()
	if n == 0 {
		if slower(step, need) {
			return Transition{Median: tooSlow("ms", say.T("transitions of %s", secondsWords(lim.JudgeMs/1000)), step, lim.needTransition())}
		}
		return Transition{Median: refuse("ms", NoneSeen, why)}
	}
	span := max(t.spans.median(), clock)
	if slower(span, need) || slower(step, need) && span > step/2 {
		return Transition{Median: tooSlow("ms", say.T("transitions of %s", secondsWords(lim.JudgeMs/1000)), max(span, step), lim.needTransition())}
	}
	m, d := t.took.median(), t.took.mad()*madToSigma
	root := math.Sqrt(float64(n))
	sampled := 2 * span * math.Sqrt(2.0/12)
	scattered := 2 * 1.2533 * d / root
	noisy := 4 * noise * m / root
	u := math.Sqrt(sampled*sampled+scattered*scattered+noisy*noisy) + level*m*1.25
	v := t.took.sort()
	return Transition{Median: read(1000*m, "ms", 1000*u, n), Spread: 1000 * d, Fastest: 1000 * v[0], Slowest: 1000 * v[len(v)-1]}
}

func (w *window) result(lim Limits, step, clock, sd float64) Forced {
	f := Forced{Mixture: w.mixture, At: w.at}
	level, target := lim.LeanV, lim.ForcedRich
	if w.mixture == "lean" {
		level, target = lim.RichV, lim.ForcedLean
	}
	f.Reached = read(w.extreme, "V", 2*sd, w.seen)
	if slower(step, lim.needTransition()) {
		f.Delay = lim.slowResponse(step)
		f.ToLevel = f.Delay
		return f
	}
	within := secondsWords(w.end - w.at)
	switch {
	case w.already:
		f.Delay = refuse("ms", NotItsKind, say.T("the signal was already past %.6g V when the mixture changed", level))
	case !w.hasLeft:
		f.Delay = refuse("ms", NoneSeen, say.T("the signal does not pass %.6g V within %s of the change", level, within))
	default:
		f.Delay = read(1000*(w.leftAt.t-w.at), "ms", 1000*max(w.leftAt.span, clock), 1)
	}
	if w.hasReach {
		f.ToLevel = read(1000*(w.reached.t-w.at), "ms", 1000*max(w.reached.span, clock), 1)
	} else {
		f.ToLevel = refuse("ms", NoneSeen, say.T("the signal does not reach %.6g V within %s of the change", target, within))
	}
	return f
}

func (f *Forced) addUncertainty(s float64) {
	for _, r := range []*Reading{&f.Delay, &f.ToLevel} {
		if r.Value != nil {
			r.Uncertainty += 1000 * s
		}
	}
}
