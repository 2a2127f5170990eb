package cluster

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
)

const (
	deathSignal     = true
	socketPathLimit = 107 // sun_path holds 108 bytes with the closing zero, unix(7)
)

func attributes(who identity, onDeath syscall.Signal, orphanable bool) *syscall.SysProcAttr {
	attr := credential(who)
	if !orphanable {
		attr.Pdeathsig = onDeath
	}
	return attr
}

// stateOf reads the state letter that follows the command's name in
// /proc/PID/stat, proc(5).
func stateOf(pid int) state {
	if !exists(pid) {
		return gone
	}
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		if exists(pid) {
			return alive // no /proc here
		}
		return gone
	}
	if i := bytes.LastIndexByte(b, ')'); i >= 0 && i+2 < len(b) && (b[i+2] == 'Z' || b[i+2] == 'X') {
		return zombie
	}
	return alive
}

// serverOf tells whether the process is a PostgreSQL server or session on data:
// all of them have the data as their working directory.
func serverOf(pid int, data string) bool {
	comm, err := os.ReadFile(fmt.Sprintf("/proc/%d/comm", pid))
	if err != nil {
		return false
	}
	if name := string(bytes.TrimSpace(comm)); name != "postgres" && name != "postmaster" {
		return false
	}
	there, err := os.Stat(fmt.Sprintf("/proc/%d/cwd", pid))
	if err != nil {
		return false
	}
	here, err := os.Stat(data)
	return err == nil && os.SameFile(here, there)
}

// workingIn lists the living PostgreSQL processes on data.
func workingIn(data string) []int {
	var pids []int
	dirs, _ := filepath.Glob("/proc/[0-9]*") // pattern is well formed
	for _, d := range dirs {
		pid, err := strconv.Atoi(filepath.Base(d))
		if err == nil && serverOf(pid, data) && stateOf(pid) == alive {
			pids = append(pids, pid)
		}
	}
	return pids
}
