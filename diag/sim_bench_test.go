package diag

import (
	"cmp"
	"flag"
	"fmt"
	"slices"
	"sync"
	"testing"
)

var simJobs = flag.Int("jobs", 200, "simulated jobs in BenchmarkShop and cases in BenchmarkSteady")

// simulate runs jobs on two workers; nature is the model that the cars are drawn from.
func simulate(n int, nature func(i int) *engine, each func(i int, j *job, by bill)) {
	jobs := make(chan int)
	var wg sync.WaitGroup
	var mu sync.Mutex
	for range 2 {
		wg.Go(func() {
			for i := range jobs {
				j := drawJob(nature(i), uint64(i+1))
				b, _ := j.byEngine(trade())
				mu.Lock()
				each(i, &j, b)
				mu.Unlock()
			}
		})
	}
	for i := range n {
		jobs <- i
	}
	close(jobs)
	wg.Wait()
}

// BenchmarkShop runs the simulated shop. With -args -jobs 10000 it is the full
// experiment; -v prints the table by cause.
func BenchmarkShop(b *testing.B) {
	natures := make([]*engine, 50)
	for i := range natures {
		natures[i] = perturbed(1, uint64(i+1))
	}
	for _, x := range []struct {
		name   string
		nature func(i int) *engine
	}{
		{"cars drawn from the engine's model", func(int) *engine { return trade() }},
		{"cars drawn from models off by noise of one in log odds", func(i int) *engine { return natures[i%len(natures)] }},
	} {
		b.Run(x.name, func(b *testing.B) {
			var all, some, code, order tally
			per := map[string]*tally{}
			for b.Loop() {
				simulate(*simJobs, x.nature, func(i int, j *job, by bill) {
					known := j.knowing()
					all.add(by, known)
					if i%3 == 0 { // the others are slow to work out
						some.add(by, known)
						code.add(j.byCode(), known)
						order.add(j.byFixedOrder(trade()), known)
					}
					names := []string{}
					for _, f := range j.car.faults() {
						names = append(names, f.Cause)
					}
					slices.Sort(names)
					if len(names) == 0 {
						names = append(names, "nothing")
					}
					for _, n := range slices.Compact(names) {
						if per[n] == nil {
							per[n] = &tally{}
						}
						per[n].add(by, known)
					}
				})
			}
			b.ReportMetric(all.cost/all.known, "×knowing")
			b.ReportMetric(all.tests/all.known, "×knowing-tests")
			b.ReportMetric(some.cost/code.cost, "×code")
			b.ReportMetric(some.cost/order.cost, "×order")
			b.ReportMetric(100*float64(all.needless)/float64(all.n), "%needless")
			b.ReportMetric(100*float64(all.wrong)/float64(all.n), "%wrong")
			b.ReportMetric(100*float64(all.stuck)/float64(all.n), "%stuck")
			b.ReportMetric(float64(all.steps)/float64(all.n), "tests/job")
			b.ReportMetric(100*float64(code.needless)/float64(code.n), "%needless-by-code")
			b.ReportMetric(0, "ns/op")
			if testing.Verbose() {
				names := []string{}
				for n := range per {
					names = append(names, n)
				}
				slices.SortFunc(names, func(a, b string) int { return cmp.Compare(per[b].n, per[a].n) })
				s := fmt.Sprintf("\nengine  %v\ncode    %v\norder   %v\n", &all, &code, &order)
				for _, n := range names {
					s += fmt.Sprintf("%-26s%v\n", n, per[n])
				}
				b.Log(s)
			}
		})
	}
}
