package cluster

import (
	"cmp"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
)

// oldest is the oldest major version that the schema and this package work on.
const oldest = 14

// Installation is one installed PostgreSQL.
type Installation struct {
	Dir     string // directory of its programs
	Version string // as it names itself: "15.18"
	Major   int
	minor   int
}

func (in Installation) program(name string) string {
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	return filepath.Join(in.Dir, name)
}

// ErrNoPostgres reports that no usable PostgreSQL is installed.
type ErrNoPostgres struct {
	Old     []Installation // found, but older than the oldest that works
	Install Command        // installs one, if a way is known
}

func (e *ErrNoPostgres) Error() string {
	s := "no PostgreSQL is installed here"
	if len(e.Old) > 0 {
		s = fmt.Sprintf("PostgreSQL %s is too old, %d or newer is needed", e.Old[0].Version, oldest)
	}
	if len(e.Install.Steps) == 0 {
		return s + fmt.Sprintf(": install PostgreSQL %d or newer, or set DATABASE_URL to a server", oldest)
	}
	return s + ". Install it: " + e.Install.String()
}

// where PostgreSQL's programs live when they are not in PATH: Debian; Red Hat;
// SUSE; Alpine; built from source; Homebrew on its three prefixes; MacPorts; the
// macOS application bundle.
var places = []string{
	"/usr/lib/postgresql/*/bin",
	"/usr/pgsql-*/bin",
	"/usr/lib/postgresql*/bin",
	"/usr/libexec/postgresql*",
	"/usr/local/pgsql/bin",
	"/opt/homebrew/opt/postgresql*/bin",
	"/usr/local/opt/postgresql*/bin",
	"/home/linuxbrew/.linuxbrew/opt/postgresql*/bin",
	"/opt/local/lib/postgresql*/bin",
	"/Applications/Postgres.app/Contents/Versions/*/bin",
}

// Find lists the installed servers, newest first. If binDir is not empty it
// looks there only.
func Find(binDir string) []Installation {
	return slices.DeleteFunc(find(binDir, "postgres"), func(in Installation) bool {
		_, err := exec.LookPath(in.program("initdb"))
		return err != nil
	})
}

// Client finds one of the client programs, such as pg_dump, in a version that
// works with a server of the given major version: the same, else the next newer.
func Client(binDir, name string, major int) (path string, err error) {
	all := find(binDir, name)
	for _, in := range slices.Backward(all) { // oldest first
		if in.Major >= major {
			return in.program(name), nil
		}
	}
	have := "none is installed"
	if len(all) > 0 {
		have = "the newest here is " + all[0].Version
	}
	return "", fmt.Errorf("%s of PostgreSQL %d or newer is needed (%s): install the client programs of PostgreSQL %d, or run this where they are", name, major, have, major)
}

// find lists the directories that have a program, by its version, newest first.
func find(binDir, name string) []Installation {
	dirs := []string{binDir}
	if binDir == "" {
		for _, pattern := range places {
			found, _ := filepath.Glob(pattern) // patterns are well formed
			dirs = append(dirs, found...)
		}
		dirs = append(filepath.SplitList(os.Getenv("PATH")), dirs...)
	}
	var all []Installation
	seen := map[string]bool{}
	for _, dir := range dirs {
		if dir == "" {
			continue
		}
		path, err := exec.LookPath(Installation{Dir: dir}.program(name))
		if err != nil {
			continue
		}
		// A link in PATH leads to a directory that has the other programs too. The
		// client wrapper that some systems have in PATH is no program of that name.
		if path, err = filepath.EvalSymlinks(path); err != nil || filepath.Base(path) != filepath.Base(Installation{}.program(name)) {
			continue
		}
		in := Installation{Dir: filepath.Dir(path)}
		if seen[in.Dir] {
			continue
		}
		seen[in.Dir] = true
		out, err := exec.Command(path, "--version").Output()
		if err == nil && in.parse(string(out)) {
			all = append(all, in)
		}
	}
	slices.SortStableFunc(all, func(a, b Installation) int {
		return cmp.Or(cmp.Compare(b.Major, a.Major), cmp.Compare(b.minor, a.minor))
	})
	return all
}

var versionLine = regexp.MustCompile(`^\w+ \(PostgreSQL\) ((\d+)(?:\.(\d+))?\S*)`)

// parse reads "postgres (PostgreSQL) 15.18 (Debian ...)", "... 18beta1".
func (in *Installation) parse(line string) bool {
	m := versionLine.FindStringSubmatch(line)
	if m == nil {
		return false
	}
	in.Version = m[1]
	in.Major, _ = strconv.Atoi(m[2]) // digits
	in.minor, _ = strconv.Atoi(m[3]) // digits or nothing
	return true
}

// choose picks the newest version, or the one that made the data.
func choose(binDir, data string, need int) (Installation, error) {
	all := Find(binDir)
	if need == 0 {
		if len(all) == 0 || all[0].Major < oldest {
			install, _ := InstallCommand(0)
			return Installation{}, &ErrNoPostgres{Old: all, Install: install}
		}
		return all[0], nil
	}
	for _, in := range all {
		if in.Major == need {
			return in, nil
		}
	}
	install, _ := InstallCommand(need)
	return Installation{}, &ErrVersion{Dir: data, Need: need, Have: all, Install: install}
}
