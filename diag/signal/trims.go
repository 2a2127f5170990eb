package signal

import (
	"math"
	"slices"

	"crosscount/diag/say"
)

// TrimLimits say when an engine is in which state. All are common practice, no
// source, and settings of the shop.
type TrimLimits struct {
	WarmC      float64 `json:"warm_c"`        // coolant at least, °C
	RunningRPM float64 `json:"running_rpm"`   // the engine runs from here, rpm
	IdleRPM    float64 `json:"idle_rpm"`      // idle up to here, rpm
	FastLow    float64 `json:"fast_low_rpm"`  // fast idle (2500 rpm, no load) from, rpm
	FastHigh   float64 `json:"fast_high_rpm"` // to, rpm
	NoLoadPct  float64 `json:"no_load_pct"`   // where the log has no vehicle speed: no load below this, %
	StillKmh   float64 `json:"still_kmh"`     // the car stands below this, km/h
	CruiseKmh  float64 `json:"cruise_kmh"`    // cruise from here, km/h
	CoastPct   float64 `json:"coast_pct"`     // below this load on the move the fuel may be cut, %
	LoadPct    float64 `json:"load_pct"`      // load from here, %
	SettleS    float64 `json:"settle_s"`      // a state counts after holding this long, s
	StaleS     float64 `json:"stale_s"`       // a reading is carried on this long where rows lack it, s
	LeastN     int     `json:"least_n"`       // fewest observations for a median
}

// DefaultTrimLimits are the limits used where a shop has set none.
func DefaultTrimLimits() TrimLimits {
	return TrimLimits{WarmC: 70, RunningRPM: 400, IdleRPM: 1100, FastLow: 2200, FastHigh: 2800, NoLoadPct: 35,
		StillKmh: 1, CruiseKmh: 20, CoastPct: 20, LoadPct: 60, SettleS: 3, StaleS: 5, LeastN: 5}
}

// EngineState is a way of running in which trims are compared.
type EngineState string

// The engine states, as the case format names them.
const (
	Idle     EngineState = "idle"
	FastIdle EngineState = "fast_idle"
	Cruise   EngineState = "cruise"
	Load     EngineState = "load"
)

var engineStates = []EngineState{Idle, FastIdle, Cruise, Load}

// Trims is what a log says about the fuel trims of a warm engine.
type Trims struct {
	States       []TrimState `json:"states"`       // only those the log holds
	Slopes       []TrimSlope `json:"slopes"`       // per bank
	ClosedLoop   string      `json:"closed_loop"`  // known: the log tells and open loop is left out; unknown
	Observations int         `json:"observations"` // moments in the log, rows of one time counted once
	Running      int         `json:"running"`      // of these with the engine running
	Warm         string      `json:"warm"`         // known: the log holds the coolant temperature; unknown
	Cold         int         `json:"cold"`         // running but cold
	OpenLoop     int         `json:"open_loop"`    // warm but not in closed loop
	Unsettled    int         `json:"unsettled"`    // warm, in closed loop, but in no state for long enough
	OffGrid      int         `json:"off_grid"`     // trims no service 01 byte can express: rounded or of another source
}

// TrimState is the usual trim of one bank in one state: medians, which a few odd
// seconds do not move.
type TrimState struct {
	State EngineState `json:"state"`
	Bank  int         `json:"bank"`
	Short Reading     `json:"short"` // %
	Long  Reading     `json:"long"`  // %
	Total Reading     `json:"total"` // median of short plus long at the same moment, %
	RPM   Reading     `json:"rpm"`
}

// TrimSlope is how the total trim of one bank changes with the air the engine
// draws: rising where fuel or a low-reading airflow meter falls behind, falling
// where air leaks in behind the meter.
type TrimSlope struct {
	Bank    int     `json:"bank"`
	Airflow string  `json:"airflow"` // what stood for airflow: g/s, kPa·krpm or %·krpm
	Slope   Reading `json:"slope"`   // % per unit of airflow
	Change  Reading `json:"change"`  // trim at the high end less trim at the low end, %
	Low     float64 `json:"low"`     // 5 % and 95 % of the airflow seen
	High    float64 `json:"high"`
}

// trimLog turns rows of a log into moments and sorts them by state.
type trimLog struct {
	lim  TrimLimits
	at   map[Quantity]int // channel of a quantity that belongs to no bank
	bank []bankTrim
	now  []float64 // latest reading by channel
	when []float64

	pending bool
	t       float64
	fresh   bool
	state   EngineState
	since   float64     // when the state began
	put     EngineState // state the moment before was counted in
	out     Trims
}

type bankTrim struct {
	bank        int
	short, long int // channels, -1 without
	cells       map[EngineState]*trimCell
	air, total  []float64 // for the slope
	every, n    int
	rho         autocorrelation
}

type trimCell struct {
	short, long, total series
	rpm                sample
}

// series is a sample that also knows how alike successive values are.
type series struct {
	sample
	autocorrelation
}

func (s *series) put(v float64, follows bool) {
	s.sample.add(v)
	s.autocorrelation.add(v, follows)
}

// autocorrelation gathers the lag-one correlation of values that follow each other.
type autocorrelation struct {
	m          moments
	prev       float64
	sum, pairs float64
	prods      float64
}

func (a *autocorrelation) add(v float64, follows bool) {
	if follows {
		a.prods += v * a.prev
		a.sum += v + a.prev
		a.pairs++
	}
	a.m.add(v)
	a.prev = v
}

// effective is how many independent values n of these are worth, every so manyth
// of them taken: n (1-r)/(1+r) for an autoregressive series of first order, whose
// correlation over k steps is the kth power of that over one.
func (a *autocorrelation) effective(n, every int) float64 {
	if a.pairs < 3 || a.m.m2 == 0 {
		return float64(n)
	}
	mean := a.m.mean
	cov := a.prods/a.pairs - mean*a.sum/a.pairs + mean*mean
	r := min(max(cov/(a.m.m2/float64(a.m.n)), 0), 0.99)
	r = math.Pow(r, float64(max(every, 1)))
	return max(float64(n)*(1-r)/(1+r), 1)
}

// newTrimLog answers nil where the channels hold no trim and engine speed.
func newTrimLog(cs []Column, lim TrimLimits) *trimLog {
	l := &trimLog{lim: lim, at: map[Quantity]int{}}
	for i, c := range cs {
		switch c.Quantity {
		case ShortTrim, LongTrim:
			b := max(c.Bank, 1)
			k := slices.IndexFunc(l.bank, func(t bankTrim) bool { return t.bank == b })
			if k < 0 {
				k = len(l.bank)
				l.bank = append(l.bank, bankTrim{bank: b, short: -1, long: -1, every: 1, cells: map[EngineState]*trimCell{}})
			}
			if c.Quantity == ShortTrim {
				l.bank[k].short = i
			} else {
				l.bank[k].long = i
			}
		default:
			if _, ok := l.at[c.Quantity]; !ok {
				l.at[c.Quantity] = i
			}
		}
	}
	if _, ok := l.at[EngineSpeed]; !ok || len(l.bank) == 0 {
		return nil
	}
	slices.SortFunc(l.bank, func(a, b bankTrim) int { return a.bank - b.bank })
	l.now = slices.Repeat([]float64{math.NaN()}, len(cs))
	l.when = make([]float64, len(cs))
	l.out.ClosedLoop, l.out.Warm = "unknown", "unknown"
	if _, ok := l.at[Coolant]; ok {
		l.out.Warm = "known"
	}
	if _, ok := l.at[FuelSystem]; ok {
		l.out.ClosedLoop = "known"
	}
	return l
}

// add takes rows. Of several rows with one time the last stands for the moment:
// loggers poll one quantity after another and repeat the row as they go.
func (l *trimLog) add(b *Block) {
	for i, t := range b.T {
		if l.pending && (t != l.t || i == 0 && b.Break) {
			l.moment()
		}
		if i == 0 && b.Break {
			l.fresh = true
		}
		l.t, l.pending = t, true
		for c := range l.now {
			if v := b.V[c][i]; v == v {
				l.now[c], l.when[c] = v, t
			}
		}
	}
}

func (l *trimLog) end() {
	if l.pending {
		l.moment()
	}
}

// read answers the latest reading of channel c, NaN where there is none or it is stale.
func (l *trimLog) read(c int) float64 {
	if c < 0 || l.t-l.when[c] > l.lim.StaleS {
		return math.NaN()
	}
	return l.now[c]
}

func (l *trimLog) of(q Quantity) float64 {
	if c, ok := l.at[q]; ok {
		return l.read(c)
	}
	return math.NaN()
}

// moment sorts the pending moment into its state.
func (l *trimLog) moment() {
	l.pending = false
	l.out.Observations++
	fresh := l.fresh
	l.fresh = false
	rpm, load, speed := l.of(EngineSpeed), l.of(EngineLoad), l.of(VehicleSpeed)
	was, put := l.state, l.put
	l.state, l.put = "", ""
	if !(rpm >= l.lim.RunningRPM) {
		return
	}
	l.out.Running++
	if c := l.of(Coolant); c < l.lim.WarmC {
		l.out.Cold++
		return
	}
	if _, known := l.at[FuelSystem]; known {
		if s := l.of(FuelSystem); s != 2 && s != 16 { // SAE J1979 PID 03: closed loop, with and without a sensor fault
			l.out.OpenLoop++
			return
		}
	}
	for k := range l.bank {
		b := &l.bank[k]
		for _, c := range []int{b.short, b.long} {
			if c >= 0 && !onTrimGrid(l.read(c)) {
				l.out.OffGrid++
			}
		}
		if air, ok := l.airflow(rpm, load); ok && !(load < l.lim.CoastPct) {
			b.slopePoint(air, l.read(b.short)+l.read(b.long), fresh)
		}
	}
	l.state = l.lim.state(rpm, load, speed)
	if l.state != was || fresh {
		l.since = l.t
	}
	if l.state == "" || l.t-l.since < l.lim.SettleS {
		l.out.Unsettled++
		return
	}
	follows := put == l.state && !fresh
	l.put = l.state
	for k := range l.bank {
		b := &l.bank[k]
		cell := b.cells[l.state]
		if cell == nil {
			cell = &trimCell{}
			b.cells[l.state] = cell
		}
		short, long := l.read(b.short), l.read(b.long)
		if short == short {
			cell.short.put(short, follows)
		}
		if long == long {
			cell.long.put(long, follows)
		}
		if total := short + long; total == total {
			cell.total.put(total, follows)
		}
		cell.rpm.add(rpm)
	}
}

// state names the state of a running engine; "" is none of them. Load and speed
// are NaN where the log lacks them.
func (l TrimLimits) state(rpm, load, speed float64) EngineState {
	still := speed < l.StillKmh
	moving := speed >= l.CruiseKmh
	if math.IsNaN(speed) { // judge by the load instead
		still = !(load >= l.NoLoadPct)
		moving = rpm > l.IdleRPM
	}
	switch {
	case still && rpm <= l.IdleRPM:
		return Idle
	case still && rpm >= l.FastLow && rpm <= l.FastHigh:
		return FastIdle
	case !still && load >= l.LoadPct:
		return Load
	case moving && !still && !(load < l.CoastPct) && !(load >= l.LoadPct):
		return Cruise
	}
	return ""
}

// onTrimGrid tells whether a trim lies on the grid of its service 01 byte,
// 100/128 % (SAE J1979). Logs print six decimals or fewer.
func onTrimGrid(v float64) bool {
	if v != v {
		return true
	}
	steps := v * 128 / 100
	return math.Abs(steps-math.Round(steps)) < 1e-4
}

// airflow answers the air drawn: measured, else in proportion to manifold
// pressure times speed over absolute temperature, else to load times speed.
func (l *trimLog) airflow(rpm, load float64) (float64, bool) {
	if _, ok := l.at[Airflow]; ok {
		v := l.of(Airflow)
		return v, v == v
	}
	if _, ok := l.at[ManifoldPress]; ok {
		v := l.of(ManifoldPress) * rpm / 1000
		if t := l.of(IntakeAir); t == t {
			v *= 293.15 / (t + 273.15)
		}
		return v, v == v
	}
	v := load * rpm / 1000
	return v, v == v
}

func (l *trimLog) airflowUnit() string {
	if _, ok := l.at[Airflow]; ok {
		return "g/s"
	}
	if _, ok := l.at[ManifoldPress]; ok {
		return "kPa·krpm"
	}
	return "%·krpm"
}

// slopeLimit is how many moments the slope rests on at most; longer logs are
// thinned evenly.
const slopeLimit = 512

func (b *bankTrim) slopePoint(air, total float64, fresh bool) {
	if total != total {
		return
	}
	b.rho.add(total, !fresh && b.n > 0)
	if b.n%b.every == 0 {
		if len(b.air) == slopeLimit {
			for i := range slopeLimit / 2 {
				b.air[i], b.total[i] = b.air[2*i], b.total[2*i]
			}
			b.air, b.total = b.air[:slopeLimit/2], b.total[:slopeLimit/2]
			b.every *= 2
		}
		if b.n%b.every == 0 {
			b.air, b.total = append(b.air, air), append(b.total, total)
		}
	}
	b.n++
}

// trimGrid is one step of a trim byte, %.
const trimGrid = 100.0 / 128

func (l *trimLog) result() Trims {
	out := l.out
	out.States, out.Slopes = []TrimState{}, []TrimSlope{}
	for _, state := range engineStates {
		for k := range l.bank {
			b := &l.bank[k]
			if c := b.cells[state]; c != nil {
				out.States = append(out.States, TrimState{State: state, Bank: b.bank,
					Short: c.short.reading(l.lim, b.short, 1), Long: c.long.reading(l.lim, b.long, 1),
					Total: c.total.reading(l.lim, min(b.short, b.long), 2),
					RPM:   read(c.rpm.median(), "rpm", 2*c.rpm.mad()*madToSigma/math.Sqrt(float64(c.rpm.n)), c.rpm.n)})
			}
		}
	}
	for k := range l.bank {
		out.Slopes = append(out.Slopes, l.bank[k].slope(l.airflowUnit()))
	}
	return out
}

// reading is the median with its uncertainty: twice the standard error of a
// median, 1.2533 σ/√n, with σ from the median distance to the median and n the
// number of independent values the series is worth; and half a step for each trim
// byte in it, which no number of readings makes up for.
func (s *series) reading(lim TrimLimits, channel, bytes int) Reading {
	n := s.sample.n
	switch {
	case channel < 0:
		return refuse("%", NoneSeen, say.T("the log does not hold this trim"))
	case n < lim.LeastN:
		return refuse("%", TooShort, say.T("too few moments in this state: %d of at least %d", n, lim.LeastN))
	}
	u := 2 * 1.2533 * s.mad() * madToSigma / math.Sqrt(s.effective(n, 1))
	return read(s.median(), "%", u+float64(bytes)*trimGrid/2, n)
}

// slope is the Theil-Sen slope: the median of the slopes between all pairs of
// moments (Sen, JASA 63, 1968, 1379-1389). Its interval cuts off as many slopes
// at either end as Kendall's S leaves for 95 %, widened for moments that follow
// each other and so say less than their number.
func (b *bankTrim) slope(unit string) TrimSlope {
	out := TrimSlope{Bank: b.bank, Airflow: unit}
	per := "% per " + unit
	n := len(b.air)
	none := func(why say.Text) TrimSlope {
		out.Slope, out.Change = refuse(per, TooShort, why), refuse("%", TooShort, why)
		return out
	}
	if n < 10 {
		return none(say.T("too few warm moments with trims and airflow: %d of at least 10", n))
	}
	x := slices.Sorted(slices.Values(b.air))
	out.Low, out.High = x[n/20], x[n-1-n/20]
	if !(out.High > 1.3*out.Low) {
		return none(say.T("the airflow hardly changes in this log: drive at several speeds and loads"))
	}
	slopes := make([]float64, 0, n*(n-1)/2)
	for i := range n {
		for j := range i {
			if dx := b.air[i] - b.air[j]; dx != 0 {
				slopes = append(slopes, (b.total[i]-b.total[j])/dx)
			}
		}
	}
	slices.Sort(slopes)
	s := median(slopes)
	worth := b.rho.effective(n, b.every)
	nf := float64(n)
	c := 1.96 * math.Sqrt(nf*(nf-1)*(2*nf+5)/18) * math.Sqrt(nf/worth)
	total := float64(len(slopes))
	lo := slopes[max(int((total-c)/2), 0)]
	hi := slopes[min(int((total+c)/2)+1, len(slopes)-1)]
	u := max(hi-s, s-lo)
	out.Slope = read(s, per, u, n)
	out.Change = read(s*(out.High-out.Low), "%", u*(out.High-out.Low), n)
	return out
}
