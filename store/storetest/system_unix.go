//go:build linux || darwin || freebsd

package storetest

import (
	"os"
	"syscall"
)

// freeBytes is the room on the file system of path, 0 if there is none.
func freeBytes(path string) uint64 {
	var st syscall.Statfs_t
	if err := syscall.Statfs(path, &st); err != nil {
		return 0
	}
	return uint64(st.Bavail) * uint64(st.Bsize)
}

func ownedByUs(dir string) bool {
	st, err := os.Lstat(dir)
	if err != nil || !st.IsDir() {
		return false
	}
	sys, ok := st.Sys().(*syscall.Stat_t)
	return ok && int(sys.Uid) == os.Geteuid()
}

// detached keeps an interrupt from the terminal away from a child.
func detached() *syscall.SysProcAttr { return &syscall.SysProcAttr{Setsid: true} }
