package outcome

import (
	"math"
	"slices"
	"sort"
	"strconv"
)

// Summary describes amounts of money (or minutes): what jobs cost, or what each
// saved against another way of doing it.
type Summary struct {
	N              int
	Total          float64
	Mean           float64
	MeanInterval   Interval // Student's t; infinite for a single amount
	Median         float64
	MedianInterval Interval // between order statistics; infinite for too few amounts
	Low, High      float64  // smallest and largest
}

// Summarise sums up amounts, in their own unit. The mean's interval is Student's
// ("Student", Biometrika 6, 1908); it leans on the mean being near normal, which a
// few very dear jobs can upset, so the median stands beside it with an interval
// that assumes nothing of the shape (binomial order statistics; Thompson, Annals
// of Mathematical Statistics 7, 1936). For "what did it save" give the differences
// job by job.
func Summarise(amounts []float64, level float64) (Summary, error) {
	if err := checkLevel(level); err != nil {
		return Summary{}, err
	}
	if len(amounts) == 0 {
		return Summary{}, bad("amounts", "none given; at least one is needed")
	}
	for i, a := range amounts {
		if !finite(a) {
			return Summary{}, bad("amounts["+strconv.Itoa(i)+"]", "%v is not a number", a)
		}
	}
	sorted := slices.Sorted(slices.Values(amounts))
	n := len(sorted)
	s := Summary{N: n, Low: sorted[0], High: sorted[n-1], Median: (sorted[(n-1)/2] + sorted[n/2]) / 2}
	for _, a := range sorted {
		s.Total += a
	}
	s.Mean = s.Total / float64(n)
	unbounded := Interval{math.Inf(-1), math.Inf(1)}
	s.MeanInterval, s.MedianInterval = unbounded, unbounded
	if n == 1 {
		return s, nil
	}
	ss := 0.0
	for _, a := range sorted {
		ss += (a - s.Mean) * (a - s.Mean)
	}
	t, err := studentT(float64(n-1), level)
	if err != nil {
		return Summary{}, err
	}
	half := t * math.Sqrt(ss/float64(n-1)/float64(n))
	s.MeanInterval = Interval{s.Mean - half, s.Mean + half}
	if r := medianRank(n, level); r > 0 {
		s.MedianInterval = Interval{sorted[r-1], sorted[n-r]}
	}
	return s, nil
}

// medianRank is the largest r for which the r-th smallest and r-th largest of n
// hold the median with at least the level: P(Binomial(n, 1/2) < r) is at most half
// of what is left out. 0 when even the smallest and largest do not.
func medianRank(n int, level float64) int {
	return sort.Search(n/2, func(i int) bool {
		r := float64(i + 1)
		return Beta{float64(n) - r + 1, r}.CDF(0.5) > (1-level)/2
	})
}
