//go:build darwin || freebsd || netbsd || openbsd || dragonfly

package cluster

import (
	"os/exec"
	"strconv"
	"strings"
	"syscall"
)

const (
	deathSignal     = false
	socketPathLimit = 103 // sun_path holds 104 bytes with the closing zero
)

func attributes(who identity, _ syscall.Signal, _ bool) *syscall.SysProcAttr {
	return credential(who)
}

func stateOf(pid int) state {
	if !exists(pid) {
		return gone
	}
	if strings.HasPrefix(ps(pid, "stat="), "Z") {
		return zombie
	}
	return alive
}

// serverOf tells whether the process is a PostgreSQL server on data, by its
// command line, which launch wrote.
func serverOf(pid int, data string) bool {
	line := ps(pid, "command=")
	return strings.Contains(line, "postgres") && strings.Contains(line, "-D "+data)
}

// workingIn cannot see sessions here; starting the server is tried again while
// they hold its memory.
func workingIn(string) []int { return nil }

func ps(pid int, column string) string {
	out, err := exec.Command("ps", "-o", column, "-p", strconv.Itoa(pid)).Output()
	if err != nil {
		return "" // no such process
	}
	return strings.TrimSpace(string(out))
}
