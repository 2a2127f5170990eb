//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package diag

import "time"

// processor is not known here.
func processor() time.Duration { return 0 }
