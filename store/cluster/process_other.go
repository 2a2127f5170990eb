//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package cluster

import (
	"errors"
	"syscall"
)

// Start refuses on these systems before any of this is reached.
const (
	supported       = false
	deathSignal     = false
	socketPathLimit = 0
)

func attributes(identity, syscall.Signal, bool) *syscall.SysProcAttr { return nil }

func kill(int, syscall.Signal) error { return errors.ErrUnsupported }

func killGroup(int) {}

func stateOf(int) state { return gone }

func serverOf(int, string) bool { return false }

func workingIn(string) []int { return nil }

func owner(string) (uid, gid int, err error) { return 0, 0, errors.ErrUnsupported }

func giveToOwner(string, string) {}

func userName(int) string { return "" }

func resolveUser(string, string, string) (identity, error) { return identity{}, errors.ErrUnsupported }
