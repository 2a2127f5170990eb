//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package flock

import "errors"

func (l *File) lock(exclusive, wait bool) error { return errors.ErrUnsupported }

func (l *File) unlock() error { return errors.ErrUnsupported }
