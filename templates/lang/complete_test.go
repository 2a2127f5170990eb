package lang

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// TestCatalogueHasWhatTheCodeSays reads the code for what it says where no walk through
// the pages comes by: refusals, hints, what was done, and rare branches.
func TestCatalogueHasWhatTheCodeSays(t *testing.T) {
	var missing []string
	fset := token.NewFileSet()
	for _, dir := range []string{"..", "../paper", "../linemap", "../../web", "../../store"} {
		names, err := filepath.Glob(filepath.Join(dir, "*.go"))
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %d files, %v", dir, len(names), err)
		}
		for _, name := range names {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			src, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			file, err := parser.ParseFile(fset, name, src, 0)
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range saidIn(file, filepath.Base(dir)) {
				if !load().has[s.words] {
					missing = append(missing, fmt.Sprintf("%s:%d: %q", filepath.Join(dir, filepath.Base(name)), fset.Position(s.at).Line, s.words))
				}
			}
		}
	}
	slices.Sort(missing)
	if missing = slices.Compact(missing); len(missing) > 0 {
		t.Errorf("%d texts are not in the catalogue:\n%s", len(missing), strings.Join(missing, "\n"))
	}
}

type saidText struct {
	words string
	at    token.Pos
}

var (
	wordsInIt  = regexp.MustCompile(`\p{L}{3,}`)
	noSentence = regexp.MustCompile(`^[a-z0-9_./:#?=&;%*+-]*$|^/|^[A-Z0-9_-]+$`)
)

// saidIn finds string literals that people get to read: the first of T, the texts of
// Mend, Field and Option, the sections of pages, constants, and the store's sentences.
func saidIn(file *ast.File, pkg string) []saidText {
	var out []saidText
	add := func(e ast.Expr) {
		if s, ok := literalOf(e); ok && wordsInIt.MatchString(s) {
			out = append(out, saidText{s, e.Pos()})
		}
	}
	sentence := func(e ast.Expr) {
		if s, ok := literalOf(e); ok && !noSentence.MatchString(s) {
			add(e)
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			switch nameOf(n.Fun) {
			case "T":
				for _, a := range n.Args[:min(2, len(n.Args))] {
					if _, ok := literalOf(a); ok {
						add(a)
						break
					}
				}
			case "Sec":
				add(n.Args[1])
				add(n.Args[2])
			case "Head":
				add(n.Args[0])
				add(n.Args[1])
			case "navLink":
				add(n.Args[3])
			}
		case *ast.CompositeLit:
			switch nameOf(n.Type) {
			case "Mend":
				for _, e := range n.Elts {
					if kv, ok := e.(*ast.KeyValueExpr); ok {
						e = kv.Value
					}
					add(e)
				}
			case "Field":
				for _, e := range n.Elts {
					if kv, ok := e.(*ast.KeyValueExpr); ok && slices.Contains([]string{"Label", "Hint", "Unit"}, nameOf(kv.Key)) {
						add(kv.Value)
					}
				}
			case "Option":
				options(n, add)
			}
			if at, ok := n.Type.(*ast.ArrayType); ok && nameOf(at.Elt) == "Option" {
				for _, e := range n.Elts {
					if c, ok := e.(*ast.CompositeLit); ok {
						options(c, add)
					}
				}
			}
			if at, ok := n.Type.(*ast.ArrayType); ok && nameOf(at.Elt) == "string" && pkg != "store" && pkg != "web" {
				for _, e := range n.Elts {
					if s, ok := literalOf(e); ok && strings.Contains(s, " ") {
						sentence(e)
					}
				}
			}
			if m, ok := n.Type.(*ast.MapType); ok && pkg == "store" && nameOf(m.Key) == "string" {
				for _, e := range n.Elts {
					if kv, ok := e.(*ast.KeyValueExpr); ok {
						if c, ok := kv.Value.(*ast.CompositeLit); ok && len(c.Elts) == 2 {
							add(c.Elts[1])
						}
					}
				}
			}
		case *ast.KeyValueExpr:
			if pkg == "store" && nameOf(n.Key) == "Sentence" {
				add(n.Value)
			}
		case *ast.GenDecl:
			if n.Tok == token.CONST && pkg != "store" && pkg != "web" {
				for _, s := range n.Specs {
					if v := s.(*ast.ValueSpec); v.Type == nil {
						for _, e := range v.Values {
							sentence(e)
						}
					}
				}
			}
		case *ast.FuncDecl:
			// A function of words that returns constants: they are said where they are shown.
			if pkg == "store" || pkg == "web" || n.Body == nil || n.Type.Results == nil {
				return true
			}
			ast.Inspect(n.Body, func(n ast.Node) bool {
				if r, ok := n.(*ast.ReturnStmt); ok {
					for _, e := range r.Results {
						if s, ok := literalOf(e); ok && strings.Contains(s, " ") {
							sentence(e)
						}
					}
				}
				return true
			})
		}
		return true
	})
	return out
}

func options(n *ast.CompositeLit, add func(ast.Expr)) {
	for i, e := range n.Elts {
		if kv, ok := e.(*ast.KeyValueExpr); ok {
			if nameOf(kv.Key) == "Label" {
				add(kv.Value)
			}
		} else if i == 1 {
			add(e)
		}
	}
}

func nameOf(e ast.Expr) string {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name
	case *ast.SelectorExpr:
		return e.Sel.Name
	}
	return ""
}

// literalOf joins the parts of a constant text.
func literalOf(e ast.Expr) (string, bool) {
	switch e := e.(type) {
	case *ast.BasicLit:
		if e.Kind == token.STRING {
			s, err := strconv.Unquote(e.Value)
			return s, err == nil
		}
	case *ast.BinaryExpr:
		a, ok := literalOf(e.X)
		b, also := literalOf(e.Y)
		return a + b, ok && also && e.Op == token.ADD
	case *ast.ParenExpr:
		return literalOf(e.X)
	}
	return "", false
}
