package diag

import (
	"cmp"
	"flag"
	"fmt"
	"maps"
	"slices"
	"sync"
	"testing"

	"crosscount/diag/plan"
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
					code.add(j.byCode(), known)
					if i%3 == 0 { // slow to work out
						some.add(by, known)
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
			b.ReportMetric(all.goneOn/all.known, "×knowing-going-on")
			b.ReportMetric(all.tests/all.known, "×knowing-tests")
			b.ReportMetric(all.cost/all.expected, "×expected")
			b.ReportMetric(all.cost/code.cost, "×code")
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

// BenchmarkNearest bounds from below what any plan costs on jobs at arrival, and sets the
// best plan found by long search and what the engine does against it. The bound is that
// of the search, or the sum of those of the job split into groups of kinds of work, as if
// someone told for nothing in which group the fault lies: what is told for nothing can
// only make it cheaper.
func BenchmarkNearest(b *testing.B) {
	const long = 3_000_000
	var least, found, expected, does, known float64 // the first three by what the engine believes
	for b.Loop() {
		for i := range *simJobs {
			j := drawJob(trade(), uint64(i+1))
			c := Case{Version: CaseVersion, Vehicle: j.car.w.v, Evidence: j.arrival(), Costs: Costs{LabourPerHour: 120, Currency: "USD"}}
			d := trade().weigh(c, nil)
			pr := d.pr
			expected += d.costView(0).CauseKnown
			p := pr.problem
			p.Questions = p.Questions[:pr.proof]
			all := p.Hypotheses
			total := 0.0
			mass := map[int]float64{} // kind of work
			for s, h := range all {
				total += h.P
				mass[pr.compass.group[s]] += h.P
			}
			solve := func(keep func(kind int) bool, budget int) (lower, upper float64) {
				p.Hypotheses = slices.Clone(all)
				share := 0.0
				for s := range p.Hypotheses {
					if keep(pr.compass.group[s]) {
						share += all[s].P / total
					} else {
						p.Hypotheses[s].P = 0
					}
				}
				if share == 0 {
					return 0, 0
				}
				r, err := plan.Solve(&p, plan.Options{Budget: budget, Gap: 1e-4})
				if err != nil {
					b.Fatal(err)
				}
				return share * r.Lower, share * r.Total
			}
			lower, upper := solve(func(int) bool { return true }, long)
			kinds := slices.SortedFunc(maps.Keys(mass), func(x, y int) int { return cmp.Or(cmp.Compare(mass[y], mass[x]), cmp.Compare(x, y)) })
			for size := 3; size <= 6; size++ {
				sum := 0.0
				for part := range slices.Chunk(kinds, size) {
					l, _ := solve(func(k int) bool { return slices.Contains(part, k) }, long)
					sum += l
				}
				lower = max(lower, sum)
			}
			bill, _ := j.byEngine(trade())
			least, found, does, known = least+lower, found+upper, does+bill.total, known+j.knowing()
		}
	}
	b.ReportMetric(least/expected, "×knowing-least")
	b.ReportMetric(found/expected, "×knowing-found")
	b.ReportMetric(does/known, "×knowing")
	b.ReportMetric(0, "ns/op")
}
