// Package flock locks files between processes. The kernel lets go of a lock when
// its holder ends, however it ends.
package flock

import (
	"errors"
	"fmt"
	"os"
)

// ErrHeld reports that another process holds the lock.
var ErrHeld = errors.New("the lock is held by another process")

// File is an open lock file.
type File struct{ f *os.File }

// Open opens path, and creates it where it is missing. It takes no lock.
func Open(path string) (*File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open lock file: %w", err)
	}
	return &File{f}, nil
}

// TryExclusive takes the lock for this process alone, or returns ErrHeld.
func (l *File) TryExclusive() error { return l.lock(true, false) }

// Exclusive waits for the lock for this process alone.
func (l *File) Exclusive() error { return l.lock(true, true) }

// Shared waits for the lock together with other holders of a shared one.
func (l *File) Shared() error { return l.lock(false, true) }

// Unlock gives the lock back and keeps the file open.
func (l *File) Unlock() error { return l.unlock() }

// Close gives the lock back.
func (l *File) Close() error { return l.f.Close() }

// Note replaces the content of the file, for people and error messages.
func (l *File) Note(text string) error {
	if err := l.f.Truncate(0); err != nil {
		return err
	}
	_, err := l.f.WriteAt([]byte(text), 0)
	return err
}
