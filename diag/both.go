package diag

import (
	"sync"
	"sync/atomic"
)

// A technician waits for one decision, and a second core makes that shorter. Where many
// wait it gains nothing and costs next to nothing. What comes out is the same on one core
// and on two.

// atOnce does two things that do not depend on each other.
func atOnce(one, other func()) {
	var wg sync.WaitGroup
	var failed any
	wg.Go(func() {
		// Here a panic would end the program, there it is the caller's.
		defer func() { failed = recover() }()
		other()
	})
	one()
	wg.Wait()
	if failed != nil {
		panic(failed)
	}
}

// sideBySide does n things that do not depend on each other, in any order. What goes with
// them is memory to work with.
func sideBySide[T any](n int, one, other T, do func(with T, i int)) {
	var next atomic.Int64
	work := func(with T) func() {
		return func() {
			for i := next.Add(1); i <= int64(n); i = next.Add(1) {
				do(with, int(i-1))
			}
		}
	}
	atOnce(work(one), work(other))
}
