package seed

import (
	"cmp"
	"context"
	"fmt"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"crosscount/diag"
)

const (
	labourPerHour = 120.0
	currency      = "USD"
)

// step is what one act at the car left in the log.
type step struct {
	test    string
	minutes float64
	entries []diag.Entry
	from    *recording // nil: read off and typed in
}

// job is a story with its evidence and what the engine made of it.
type job struct {
	story
	stage    stage // of an open job
	openedAt time.Time
	on       car
	platform platform
	km       int
	believed []diag.CauseRef
	told     []diag.Entry
	steps    []step
	asked    bool // the engine was asked
	asCase   diag.Case
	decision diag.Decision
	rng      *rand.Rand
}

// plans works all stories out, oldest first, without touching the store. The same
// now gives the same plans.
func plans(ctx context.Context, now time.Time) ([]*job, error) {
	var jobs []*job
	for _, s := range finished {
		jobs = append(jobs, &job{story: s, openedAt: morning(now, s.days, len(jobs))})
	}
	for _, o := range opened {
		jobs = append(jobs, &job{story: o.story, stage: o.stage, openedAt: now.Add(-time.Duration(o.hours * float64(time.Hour)))})
	}
	for i, j := range jobs {
		j.rng = rand.New(rand.NewPCG(2026, uint64(i)))
	}
	slices.SortStableFunc(jobs, func(a, b *job) int { return a.openedAt.Compare(b.openedAt) })

	byKey := map[string]car{}
	for _, c := range customers {
		for _, k := range c.cars {
			byKey[k.key] = k
		}
	}
	errs := make([]error, len(jobs))
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				if errs[i] = ctx.Err(); errs[i] == nil {
					errs[i] = jobs[i].work(byKey)
				}
			}
		})
	}
	for i := range jobs {
		next <- i
	}
	close(next)
	wg.Wait()
	for i, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("story of %s, %d days ago: %w", jobs[i].car, jobs[i].days, err)
		}
	}
	return jobs, nil
}

// morning is a time between eight and eleven on a working day about so many days ago.
func morning(now time.Time, days, i int) time.Time {
	y, m, d := now.UTC().AddDate(0, 0, -days).Date()
	t := time.Date(y, m, d, 8, (37*i)%180, 0, 0, time.UTC)
	switch t.Weekday() {
	case time.Saturday:
		t = t.AddDate(0, 0, -1)
	case time.Sunday:
		t = t.AddDate(0, 0, -2)
	}
	return t
}

func refs(words string) ([]diag.CauseRef, error) {
	var out []diag.CauseRef
	for w := range strings.FieldsSeq(words) {
		r, err := ref(w)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// work gathers the evidence and asks the engine.
func (j *job) work(cars map[string]car) error {
	var ok bool
	if j.on, ok = cars[j.car]; !ok {
		return fmt.Errorf("no car %q", j.car)
	}
	if j.platform, ok = platforms[j.on.platform]; !ok {
		return fmt.Errorf("no platform %q", j.on.platform)
	}
	j.km = j.on.km + j.on.kmPerDay*(730-j.days)
	faults, err := refs(j.faults)
	if err != nil {
		return err
	}
	if j.believed, err = refs(cmp.Or(j.story.believed, j.faults)); err != nil {
		return err
	}
	b := &bench{car: j.platform.vehicle(j.km), ohm: j.platform.heaterOhm, pump: j.platform.pumpKPa,
		faults: faults, told: strings.Fields(j.story.told), rng: j.rng}
	if !strings.Contains(j.tests, "history_ask") {
		j.told = b.history(place{})
	}
	if j.codes != "" {
		j.steps = append(j.steps, step{test: "codes", minutes: 15, entries: codeEntries(j.codes)})
	}
	for t := range strings.FieldsSeq(j.tests) {
		if err := j.test(b, t); err != nil {
			return err
		}
	}
	if j.stage == takenIn || j.stage == codesRead || j.stage == midway {
		return nil
	}
	for extra := 0; ; extra++ {
		if err := j.ask(b); err != nil {
			return err
		}
		if j.decision.Verdict.Decision != diag.DecideOpen || j.override.reason != "" || j.outcome != "" ||
			j.decision.Next == nil || extra == 6 {
			return nil
		}
		// The engine wants more than the story tells: do what it says.
		n := j.decision.Next
		if err := j.test(b, at(n.Test, n.Bank, n.Position)); err != nil {
			return nil // not a thing for the bench; the verdict stays open
		}
	}
}

func at(name string, bank, position int) string {
	switch {
	case position > 0:
		return fmt.Sprintf("%s@%d.%d", name, bank, position)
	case bank > 0:
		return fmt.Sprintf("%s@%d", name, bank)
	}
	return name
}

func (j *job) test(b *bench, test string) error {
	es, err := b.do(test)
	if err != nil {
		return err
	}
	name, _, _ := strings.Cut(test, "@")
	minutes := 10.0
	if t, ok := diag.TestByID(name); ok {
		minutes = t.Minutes
	}
	s := step{test: test, minutes: minutes, entries: es}
	if r, _ := ref(test); name == "signal_capture" && toSee[key(j.car, j.days)].recorded && len(es) > 0 {
		p := place{r.Bank, r.Position}
		if s.from, s.entries, err = b.cellAt(p).record(p, "bay 2 scope.csv", uint64(j.days)); err != nil {
			return err
		}
	}
	j.steps = append(j.steps, s)
	return nil
}

func (j *job) ask(b *bench) error {
	j.asCase = diag.Case{Version: diag.CaseVersion, Vehicle: b.car,
		Costs: diag.Costs{LabourPerHour: labourPerHour, Currency: currency}}
	j.asCase.Evidence = append(j.asCase.Evidence, j.told...)
	for _, s := range j.steps {
		j.asCase.Evidence = append(j.asCase.Evidence, s.entries...)
	}
	var err error
	j.decision, err = diag.Decide(j.asCase)
	j.asked = err == nil
	return err
}

func codeEntries(codes string) []diag.Entry {
	var es []diag.Entry
	for c := range strings.FieldsSeq(codes) {
		code, pending := strings.CutSuffix(c, "?")
		e := diag.Entry{Kind: diag.KindCode, Code: code, Status: "stored"}
		if pending {
			e.Status = "pending"
		}
		es = append(es, e)
	}
	return append(es, diag.Entry{Kind: diag.KindCodeList, Status: "stored"})
}
