//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package cluster

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"strconv"
	"syscall"
)

const supported = true

// credential makes a child another account, in a process group of its own so
// that an interrupt from the terminal reaches the app only.
func credential(who identity) *syscall.SysProcAttr {
	attr := &syscall.SysProcAttr{Setpgid: true}
	if who.drop {
		attr.Credential = &syscall.Credential{Uid: uint32(who.uid), Gid: uint32(who.gid)}
	}
	return attr
}

func kill(pid int, sig syscall.Signal) error { return syscall.Kill(pid, sig) }

func killGroup(pid int) { syscall.Kill(-pid, syscall.SIGKILL) }

// exists tells whether the pid is taken, by a zombie too.
func exists(pid int) bool {
	if pid <= 0 { // kill would take these for process groups
		return false
	}
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}

func owner(path string) (uid, gid int, err error) {
	st, err := os.Lstat(path)
	if err != nil {
		return 0, 0, err
	}
	sys := st.Sys().(*syscall.Stat_t)
	return int(sys.Uid), int(sys.Gid), nil
}

// giveToOwner hands a file that root made in an account's directory to that
// account, which could not write it otherwise.
func giveToOwner(dir, path string) {
	if os.Geteuid() != 0 {
		return
	}
	if uid, gid, err := owner(dir); err == nil && uid != 0 {
		os.Lchown(path, uid, gid) // if it fails, that account is told when it starts
	}
}

func userName(uid int) string {
	if u, err := user.LookupId(strconv.Itoa(uid)); err == nil {
		return u.Username
	}
	return fmt.Sprintf("user %d", uid)
}

// resolveUser decides which account runs the server. PostgreSQL refuses to run
// as root.
func resolveUser(want, dir, data string) (identity, error) {
	self := os.Geteuid()
	if self != 0 {
		if want != "" {
			u, err := user.Lookup(want)
			if err != nil {
				return identity{}, fmt.Errorf("account for the database server: %w", err)
			}
			if u.Uid != strconv.Itoa(self) {
				return identity{}, fmt.Errorf("only root can run the database server as %s: leave the account out, or start as root", want)
			}
		}
		if uid, _, err := owner(dir); err == nil && uid != self {
			return identity{}, fmt.Errorf("the directory %s belongs to %s and you are %s: start as that user, or choose another directory", dir, userName(uid), userName(self))
		}
		return identity{uid: self, gid: os.Getegid(), name: userName(self)}, nil
	}
	if want == "" {
		for _, path := range []string{data, dir} {
			if uid, gid, err := owner(path); err == nil && uid != 0 {
				return identity{uid: uid, gid: gid, name: userName(uid), drop: true}, nil
			}
		}
	}
	names := []string{want}
	if want == "" {
		names = []string{"postgres", "nobody"}
	}
	for _, name := range names {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.Atoi(u.Uid)
		gid, err2 := strconv.Atoi(u.Gid)
		if err := errors.Join(err1, err2); err != nil {
			return identity{}, fmt.Errorf("account %s: %w", name, err)
		}
		if uid == 0 {
			return identity{}, errors.New("the database server must not run as root: name an ordinary account")
		}
		return identity{uid: uid, gid: gid, name: name, drop: true}, nil
	}
	if want != "" {
		return identity{}, fmt.Errorf("there is no account named %q for the database server", want)
	}
	return identity{}, errors.New("no ordinary account for the database server (looked for postgres and nobody): name one")
}
