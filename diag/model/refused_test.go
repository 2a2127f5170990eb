package model

import (
	"errors"
	"strings"
	"testing"
)

// The files of the trade model, each with one thing spoiled: the fault is told with its
// line and how to mend it.
func TestAModelThatIsNotSoundIsRefused(t *testing.T) {
	texts := map[string]string{"tests.model": testsText, "quantities.model": quantitiesText, "causes.model": causesText}
	load := func(file, text string) error {
		var files []File
		for _, name := range []string{"tests.model", "quantities.model", "causes.model"} {
			f := File{name, texts[name]}
			if name == file {
				f.Text = text
			}
			files = append(files, f)
		}
		_, err := Load(files...)
		return err
	}
	// in finds a line of a block, by the block's first line.
	in := func(file, block, line string) int {
		t.Helper()
		at := 0
		for i, l := range strings.Split(texts[file], "\n") {
			switch l = strings.TrimSpace(l); {
			case l == block || strings.HasPrefix(l, block+" "):
				at = i + 1
				if line == "" {
					return at
				}
			case at > 0 && strings.HasPrefix(l, line):
				return i + 1
			}
		}
		t.Fatalf("%s has no %q in %q", file, line, block)
		return 0
	}
	for _, x := range []struct {
		what, file, block, line string
		to                      string // what the line becomes
		atBlock                 bool   // the fault is told at the block
		problem                 string
	}{
		{"a number without its source", "causes.model", "cause pcv_fault", "prior", "prior 0.005", false, "source"},
		{"a kind of source that is not known", "causes.model", "cause pcv_fault", "prior", "prior 0.005 ; hearsay", false, "source"},
		{"a published number without its reference", "causes.model", "cause pcv_fault", "prior", "prior 0.005 ; published", false, "published"},
		{"a chance of nought", "causes.model", "cause pcv_fault", "says hiss", "says hiss 0 ; estimate", false, "0 is not a probability"},
		{"a chance of one", "causes.model", "cause pcv_fault", "says hiss", "says hiss 1 ; estimate", false, "1 is not a probability"},
		{"a chance that is a word", "causes.model", "cause pcv_fault", "says hiss", "says hiss often ; estimate", false, "often"},
		{"a prior of the normal state", "causes.model", "cause pcv_fault", "prior", "prior 0.4 ; estimate", true, "prior of 0.4"},
		{"a cause without a prior", "causes.model", "cause pcv_fault", "prior", "", true, "no prior"},
		{"causes that make each other", "causes.model", "cause sensor_oil", "says oil_use", "makes oil_burning 0.1 ; estimate", false, "make"},
		{"a cause that makes itself", "causes.model", "cause oil_burning", "makes sensor_oil", "makes oil_burning 0.1 ; estimate", false, "make"},
		{"a cause that makes what is not there", "causes.model", "cause oil_burning", "makes sensor_oil", "makes sensor_rust 0.1 ; estimate", false, "no cause \"sensor_rust\""},
		{"a repair quicker than its set-ups", "causes.model", "cause sensor_shifted", "repair", "repair minutes 20 price 95 ; estimate", true, "less than its set-ups, 25 minutes"},
		{"a repair that needs an unknown set-up", "causes.model", "cause catalyst_worn", "setup", "setup pit", true, "the set-up \"pit\""},
		{"variants that do not add up", "causes.model", "cause fuel_delivery_low", "variant volume", "variant volume chance 0.5 ; estimate", true, "add up to"},
		{"a sign of a variant that is not there", "causes.model", "cause fuel_delivery_low", "shows fuel.kpa -6", "shows fuel.kpa -6 sd 5 @flow ; estimate", false, "no variant \"flow\""},
		{"a finding of a test that is not there", "causes.model", "cause pcv_fault", "finds pcv_pinch", "finds pcv_squeeze changed 0.9 ; estimate", false, "no test \"pcv_squeeze\""},
		{"a finding that is the default", "causes.model", "cause pcv_fault", "finds pcv_pinch", "finds pcv_pinch unchanged 0.9 ; estimate", false, "default outcome"},
		{"a remark that is not there", "causes.model", "cause pcv_fault", "says hiss", "says murmur 0.2 ; estimate", false, "no remark \"murmur\""},
		{"a quantity that is not there", "causes.model", "cause fuel_pressure_high", "shows fuel.kpa", "shows fuel.psi 22 sd 9 ; estimate", false, "no quantity"},
		{"a spread below nought", "causes.model", "cause fuel_pressure_high", "shows fuel.kpa", "shows fuel.kpa 22 sd -9 ; estimate", false, "spread"},
		{"a trim beyond any module", "causes.model", "cause pcv_fault", "maf need idle", "maf need idle 140 sd 4 ; estimate", false, "trim of 140"},
		{"a statement nobody knows", "causes.model", "cause pcv_fault", "age wear", "colour blue", false, "\"colour\""},
		{"words after a statement", "causes.model", "cause pcv_fault", "age wear", "age wear quickly", false, "quickly"},
		{"a test without minutes", "tests.model", "test tip_look", "minutes", "", true, "no minutes"},
		{"a test of no time", "tests.model", "test tip_look", "minutes", "minutes 0 ; estimate", true, "no minutes"},
		{"a test that needs an unknown set-up", "tests.model", "test tip_look", "setup lift", "setup pit", true, "the set-up \"pit\""},
		{"a test that leaves an unknown set-up", "tests.model", "test tip_look", "leaves", "leaves order", true, "the set-up \"order\""},
		{"a set-up that undoes an unknown one", "tests.model", "setup cold_exhaust", "undoes", "undoes warmth", true, "the set-up \"warmth\""},
		{"a set-up without minutes", "tests.model", "setup lift", "minutes", "", true, "its minutes"},
		{"a set-up of a bank", "tests.model", "setup plug_open", "scope", "scope bank", true, "\"bank\""},
		{"a test that is wrong half the time", "tests.model", "test purge_pinch", "outcome changed", "outcome changed false 0.5 ; estimate", true, "add up to 0.50"},
		{"a test named twice", "tests.model", "test pcv_pinch", "", "test purge_pinch", false, "there already"},
		{"a curve that goes back", "quantities.model", "curve wear", "", "curve wear 20000 0.3 10000 0.8 ; estimate", false, "rise"},
		{"a setting that is missing", "quantities.model", "setting wild", "", "", true, "setting wild is missing"},
		{"a setting nobody uses", "quantities.model", "setting wild", "", "setting mild 0.03 ; estimate", false, "setting mild is not used"},
	} {
		t.Run(x.what, func(t *testing.T) {
			n := in(x.file, x.block, x.line)
			lines := strings.Split(texts[x.file], "\n")
			lines[n-1] = x.to
			err := load(x.file, strings.Join(lines, "\n"))
			es, ok := errors.AsType[Errors](err)
			if !ok {
				t.Fatalf("taken for sound (%v)", err)
			}
			if x.atBlock {
				n = in(x.file, x.block, "")
			}
			for _, e := range es {
				if e.Mend == "" {
					t.Errorf("no mend: %v", e)
				}
				if strings.Contains(e.Problem+" "+e.Mend, x.problem) && (e.File == x.file && e.Line == n || strings.HasPrefix(x.problem, "setting") && x.to == "") {
					return
				}
			}
			t.Errorf("want %q at %s:%d, have %v", x.problem, x.file, n, err)
		})
	}
}

// FuzzLoad: no text makes loading fall over, and what is refused says where and how to
// mend it.
func FuzzLoad(f *testing.F) {
	for _, s := range []string{"", "version 1", "cause x\n  prior 0.1 ; estimate\n", "test x\n  minutes 5 ; published", "setup x\n undoes x\n comes_after -3 ; estimate",
		"remark a usual 0.5 ; estimate\n name a\n noticed", "curve c 1 2 3 4 ; estimate", "quantity q\n good 1 times 0 ; estimate\n between 2 1", "cause a\n makes a 0.5 ; estimate"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, files := range [][]File{{{"a.model", text}}, {{"tests.model", testsText}, {"quantities.model", quantitiesText}, {"causes.model", causesText}, {"a.model", text}}} {
			_, err := Load(files...)
			es, ok := errors.AsType[Errors](err)
			if err != nil && (!ok || len(es) == 0) {
				t.Fatalf("refused with %T", err)
			}
			for _, e := range es {
				if e.Problem == "" || e.Mend == "" || e.File == "" {
					t.Fatalf("%q: %+v", text, e)
				}
			}
		}
	})
}
