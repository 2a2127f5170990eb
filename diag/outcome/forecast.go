package outcome

import (
	"math"
	"slices"
	"strconv"
)

// Forecast is a probability that was issued, and whether the thing came true.
type Forecast struct {
	P   float64 // 0 to 1
	Hit bool
}

func (f Forecast) outcome() float64 {
	if f.Hit {
		return 1
	}
	return 0
}

func checkForecasts(fs []Forecast) error {
	if len(fs) == 0 {
		return bad("forecasts", "none given; at least one is needed")
	}
	for i, f := range fs {
		if !(f.P >= 0 && f.P <= 1) {
			return bad("forecasts["+strconv.Itoa(i)+"].p", "%v is not a probability from 0 to 1", f.P)
		}
	}
	return nil
}

// Brier is the mean squared error of the probabilities (Brier, Monthly Weather
// Review 78, 1950, for one event): 0 is perfect, 0.25 is saying one half always.
func Brier(fs []Forecast) (float64, error) {
	if err := checkForecasts(fs); err != nil {
		return 0, err
	}
	sum := 0.0
	for _, f := range fs {
		e := f.P - f.outcome()
		sum += e * e
	}
	return sum / float64(len(fs)), nil
}

// LogScore is the mean of -ln of the probability given to what happened (Good,
// JRSS B 14, 1952), in nats: 0 is perfect, ln 2 is saying one half always. It is
// +Inf when something called impossible happened.
func LogScore(fs []Forecast) (float64, error) {
	if err := checkForecasts(fs); err != nil {
		return 0, err
	}
	sum := 0.0
	for _, f := range fs {
		p := f.P
		if !f.Hit {
			p = 1 - p
		}
		sum -= math.Log(p)
	}
	return sum / float64(len(fs)), nil
}

// Bin is a group of forecasts with about the same probability.
type Bin struct {
	Low, High float64 // probabilities from Low up to High; equal for one issued value
	N, Hits   int
	MeanP     float64  // mean probability issued
	Rate      float64  // share that came true
	Interval  Interval // Wilson interval of Rate
}

// EqualWidth gives the edges of n bins of one width over 0 to 1 (n from 1 to 1000).
func EqualWidth(n int) ([]float64, error) {
	if n < 1 || n > 1000 {
		return nil, bad("n", "%d bins; give 1 to 1000", n)
	}
	edges := make([]float64, n+1)
	for i := range edges {
		edges[i] = float64(i) / float64(n)
	}
	return edges, nil
}

// Reliability groups forecasts and sets the mean probability of each group against
// the share that came true, with its Wilson interval at the level. Edges rise from
// 0 to 1; a forecast on an inner edge belongs to the bin above it. With nil edges
// there is one group per issued value. Empty bins are left out.
func Reliability(fs []Forecast, edges []float64, level float64) ([]Bin, error) {
	if err := checkForecasts(fs); err != nil {
		return nil, err
	}
	if err := checkLevel(level); err != nil {
		return nil, err
	}
	if err := checkEdges(edges); err != nil {
		return nil, err
	}
	bins := group(fs, edges)
	for i := range bins {
		b := &bins[i]
		var err error
		if b.Interval, err = (Rate{b.Hits, b.N}).Wilson(level); err != nil {
			return nil, err
		}
	}
	return bins, nil
}

func checkEdges(edges []float64) error {
	if edges == nil {
		return nil
	}
	if len(edges) < 2 || edges[0] != 0 || edges[len(edges)-1] != 1 {
		return bad("edges", "must start at 0 and end at 1")
	}
	for i := 1; i < len(edges); i++ {
		if !(edges[i] > edges[i-1]) {
			return bad("edges["+strconv.Itoa(i)+"]", "%v does not rise above %v before it", edges[i], edges[i-1])
		}
	}
	return nil
}

// group makes bins of checked forecasts, without intervals.
func group(fs []Forecast, edges []float64) []Bin {
	sorted := slices.Clone(fs)
	slices.SortFunc(sorted, func(a, b Forecast) int {
		switch {
		case a.P < b.P:
			return -1
		case a.P > b.P:
			return 1
		}
		return 0
	})
	var bins []Bin
	for _, f := range sorted {
		low, high := f.P, f.P
		if edges != nil {
			i, found := slices.BinarySearch(edges, f.P)
			if !found {
				i--
			}
			i = min(i, len(edges)-2)
			low, high = edges[i], edges[i+1]
		}
		if len(bins) == 0 || bins[len(bins)-1].Low != low {
			bins = append(bins, Bin{Low: low, High: high})
		}
		b := &bins[len(bins)-1]
		b.N++
		b.MeanP += f.P
		if f.Hit {
			b.Hits++
		}
	}
	for i := range bins {
		b := &bins[i]
		b.MeanP = b.MeanP / float64(b.N)
		b.Rate = float64(b.Hits) / float64(b.N)
		if b.Low == b.High {
			b.MeanP = b.Low
		}
	}
	return bins
}

// CalibrationError is the expected calibration error of bins: the mean distance
// between probability and share that came true, weighted by size, 0 to 1 (Naeini,
// Cooper and Hauskrecht, AAAI 2015).
func CalibrationError(bins []Bin) (float64, error) {
	n, sum := 0, 0.0
	for i, b := range bins {
		if b.N < 1 {
			return 0, bad("bins["+strconv.Itoa(i)+"].n", "%d; a bin holds at least one forecast", b.N)
		}
		n += b.N
		sum += float64(b.N) * math.Abs(b.MeanP-b.Rate)
	}
	if n == 0 {
		return 0, bad("bins", "none given; at least one is needed")
	}
	return sum / float64(n), nil
}

// Decomposition splits the Brier score:
//
//	Brier = Reliability - Resolution + Uncertainty + WithinVariance - WithinCovariance
type Decomposition struct {
	Brier            float64
	Reliability      float64 // how far probabilities are from shares; lower is better
	Resolution       float64 // how much the groups differ; higher is better
	Uncertainty      float64 // of the event itself; not ours to change
	WithinVariance   float64 // spread of probabilities inside a bin
	WithinCovariance float64 // twice the covariance with the outcome inside a bin
	Base             float64 // share that came true over all
}

// Skill is the Brier skill score against always issuing the base rate: 1 is
// perfect, 0 no better, negative worse. It is 0 when the event was certain either
// way, where there is nothing to be skilled at.
func (d Decomposition) Skill() float64 {
	if d.Uncertainty == 0 {
		return 0
	}
	return 1 - d.Brier/d.Uncertainty
}

// Decompose splits the Brier score (Murphy, Journal of Applied Meteorology 12,
// 1973). With nil edges forecasts are grouped by issued value and the last two
// terms are zero; with bins they are needed for the sum to be exact (Stephenson,
// Coelho and Jolliffe, Weather and Forecasting 23, 2008). Edges are as for
// Reliability.
func Decompose(fs []Forecast, edges []float64) (Decomposition, error) {
	score, err := Brier(fs)
	if err != nil {
		return Decomposition{}, err
	}
	if err := checkEdges(edges); err != nil {
		return Decomposition{}, err
	}
	bins := group(fs, edges)
	n, hits := float64(len(fs)), 0
	for _, b := range bins {
		hits += b.Hits
	}
	d := Decomposition{Brier: score, Base: float64(hits) / n}
	d.Uncertainty = d.Base * (1 - d.Base)
	for _, b := range bins {
		d.Reliability += float64(b.N) / n * (b.MeanP - b.Rate) * (b.MeanP - b.Rate)
		d.Resolution += float64(b.N) / n * (b.Rate - d.Base) * (b.Rate - d.Base)
	}
	if edges == nil {
		return d, nil
	}
	for _, f := range fs {
		i, found := slices.BinarySearchFunc(bins, f.P, func(b Bin, p float64) int {
			switch {
			case b.Low < p:
				return -1
			case b.Low > p:
				return 1
			}
			return 0
		})
		if !found {
			i--
		}
		b := bins[i]
		d.WithinVariance += (f.P - b.MeanP) * (f.P - b.MeanP) / n
		d.WithinCovariance += 2 * (f.outcome() - b.Rate) * (f.P - b.MeanP) / n
	}
	return d, nil
}

// Calibrated tests whether the Brier score is what well-calibrated probabilities
// would give (Spiegelhalter, Statistics in Medicine 5, 1986): z is standard normal
// if they are; p is the two-sided probability of so large a z. Forecasts that are
// all 0, 1/2 or 1 carry no information here and are refused.
func Calibrated(fs []Forecast) (z, p float64, err error) {
	if err := checkForecasts(fs); err != nil {
		return 0, 0, err
	}
	num, variance := 0.0, 0.0
	for _, f := range fs {
		w := 1 - 2*f.P
		num += (f.outcome() - f.P) * w
		variance += w * w * f.P * (1 - f.P)
	}
	if variance == 0 {
		return 0, 0, bad("forecasts", "all are 0, 1/2 or 1, so their calibration cannot be tested; add others")
	}
	z = num / math.Sqrt(variance)
	return z, chiSquare1Tail(z * z), nil
}
