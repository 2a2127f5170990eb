package web

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"crosscount/diag"
	"crosscount/diag/model"
	"crosscount/diag/obd"
	"crosscount/diag/signal"
	"crosscount/templates/lang"
)

// TestEngineIsTranslated asks the catalogue for all that the engine and its model have
// to say.
func TestEngineIsTranslated(t *testing.T) {
	marked := lang.Marked()
	var untold []string
	want := func(t *testing.T, texts ...string) {
		t.Helper()
		for _, s := range texts {
			if s != "" && !strings.HasPrefix(marked.T(s), lang.Open) {
				t.Errorf("not in the catalogue: %q", s)
				untold = append(untold, s)
			}
		}
	}
	t.Run("tests, causes, quantities and remarks of the model", func(t *testing.T) {
		for _, x := range diag.Tests() {
			want(t, x.Name, x.Expect, string(x.Scope))
			want(t, slices.Concat(x.SetUps, x.Tools, x.Cautions, x.Steps)...)
			for _, o := range x.Outcomes {
				want(t, o.Name)
			}
		}
		for _, x := range diag.Causes() {
			want(t, x.Name, x.Plain, x.Mend)
		}
		for _, x := range model.Trade().Causes {
			want(t, x.Watch)
		}
		for _, x := range model.Trade().Quantities {
			want(t, x.Name)
		}
		for _, x := range diag.RemarkWords() {
			want(t, x.Name)
		}
	})
	t.Run("the sheets of the model's page", func(t *testing.T) {
		for _, x := range model.Trade().Sheets() {
			want(t, x.Group)
			for _, line := range x.About {
				want(t, line.Format)
			}
			for _, r := range x.Rows {
				want(t, r.What.Format, string(r.Source.Kind))
			}
		}
	})
	t.Run("what codes mean", func(t *testing.T) {
		for _, c := range obd.Known() {
			m, _ := c.Meaning()
			want(t, m.Title.Format, m.Testifies.Format)
			for _, a := range m.Testifies.Args {
				if s, ok := a.(interface{ Phrase() (string, []any) }); ok {
					f, _ := s.Phrase()
					want(t, f)
				}
			}
		}
		for n := range 1 << 16 { // and codes whose structure alone says something
			c := obd.Code(n)
			want(t, c.Group(), string(c.System()))
		}
	})
	t.Run("what a recording can hold", func(t *testing.T) {
		for _, q := range signal.Quantities() {
			want(t, q.Words())
		}
	})
	t.Run("sentences written in the engine", func(t *testing.T) {
		n := 0
		for _, s := range slices.Sorted(maps.Keys(sentencesUnder(t, "../diag"))) {
			if n++; worded.MatchString(holes.ReplaceAllString(s, "")) {
				want(t, s)
			}
		}
		if n < 300 {
			t.Errorf("only %d sentences were found: the test looks at too little", n)
		}
	})
	if name := os.Getenv("CROSSCOUNT_UNTOLD"); name != "" {
		slices.Sort(untold)
		if err := os.WriteFile(name, []byte(strings.Join(slices.Compact(untold), "\n")), 0o600); err != nil {
			t.Error(err)
		}
	}
}

// A format that is all blanks and signs needs no other language.
var (
	holes  = regexp.MustCompile(`%[-+# 0-9.]*[a-zA-Z]`)
	worded = regexp.MustCompile(`[a-zA-Z]{2}`)
)

// sentencesUnder finds the texts handed to T, and those of tables handed on to it
// through helpers, in the Go files of a folder.
func sentencesUnder(t *testing.T, dir string) map[string]bool {
	out := map[string]bool{}
	helpers := []string{"T", "fail", "bad", "add", "wrong"}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() && slices.Contains([]string{"model", "plan", "outcome", "internal"}, d.Name()) {
			return fs.SkipDir // what they refuse is ours to mend
		}
		if err != nil || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			name := ""
			switch f := call.Fun.(type) {
			case *ast.SelectorExpr:
				name = f.Sel.Name
			case *ast.Ident:
				name = f.Name
			}
			if !slices.Contains(helpers, name) {
				return true
			}
			for _, a := range call.Args {
				if s, ok := constant(a); ok && (name == "T" || strings.Contains(s, " ")) {
					out[s] = true
				}
				if name == "T" {
					break // its further arguments fill the blanks
				}
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func constant(e ast.Expr) (string, bool) {
	switch e := e.(type) {
	case *ast.BasicLit:
		s, err := strconv.Unquote(e.Value)
		return s, err == nil && e.Kind == token.STRING
	case *ast.BinaryExpr:
		a, ok := constant(e.X)
		b, also := constant(e.Y)
		return a + b, ok && also
	}
	return "", false
}
