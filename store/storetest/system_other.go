//go:build !(linux || darwin || freebsd)

package storetest

import "syscall"

func freeBytes(string) uint64 { return 0 }

func ownedByUs(string) bool { return true }

func detached() *syscall.SysProcAttr { return nil }
