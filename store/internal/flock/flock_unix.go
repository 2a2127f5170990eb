//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package flock

import (
	"errors"
	"fmt"
	"syscall"
)

func (l *File) lock(exclusive, wait bool) error {
	how := syscall.LOCK_SH
	if exclusive {
		how = syscall.LOCK_EX
	}
	if !wait {
		how |= syscall.LOCK_NB
	}
	for {
		err := syscall.Flock(int(l.f.Fd()), how)
		switch {
		case err == nil:
			return nil
		case errors.Is(err, syscall.EINTR):
		case errors.Is(err, syscall.EWOULDBLOCK):
			return ErrHeld
		default:
			return fmt.Errorf("lock %s: %w", l.f.Name(), err)
		}
	}
}

func (l *File) unlock() error { return syscall.Flock(int(l.f.Fd()), syscall.LOCK_UN) }
