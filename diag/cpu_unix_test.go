//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package diag

import (
	"syscall"
	"time"
)

// processor is the time that processors have worked for this process.
func processor() time.Duration {
	var r syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &r) != nil {
		return 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}
