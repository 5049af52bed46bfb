// Package conventions_test holds the rules of DEVELOPERS.md that a machine
// can check: which package may import which, what pure packages may not use,
// and that every package says what it is for.
package conventions_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const root = "../.."

// layers lists the packages from the ground up. A package may import those of
// its own layer and of the layers before it.
var layers = [][]string{
	{"internal/civil", "internal/units", "internal/diag", "internal/sun", "internal/pattern"},
	{"internal/farm", "internal/catalog"},
	{"internal/estimate", "internal/degreeday", "internal/climate", "internal/phenology", "internal/growth", "internal/belief", "internal/forecast", "internal/sampling", "internal/verdict", "internal/assess", "internal/label", "internal/schedule", "internal/week", "internal/cover", "internal/companion", "internal/trend", "internal/effect", "internal/round", "internal/monthplan", "internal/allot", "internal/geo"},
	{"internal/report", "internal/agenda", "internal/render", "internal/record", "internal/tables", "internal/workbook", "internal/ingest", "internal/sheet", "internal/store", "internal/paper", "plots"},
	{"internal/app", "internal/demo"},
	{"internal/cli", "cmd/leafturn"},
}

// pure packages compute: no files, clock, database, printing or hidden chance.
var pure = layers[2]

var pureForbidden = []string{"os", "io/fs", "embed", "database/sql", "log", "net", "leafturn/internal/catalog"}

// only names who may import what.
var only = map[string][]string{
	"github.com/urfave/cli/v2":    {"internal/cli", "cmd/leafturn"},
	"github.com/jmoiron/sqlx":     {"internal/store"},
	"modernc.org/sqlite":          {"internal/store"},
	"github.com/xuri/excelize/v2": {"internal/sheet", "internal/workbook"},
	"gonum.org/v1/plot":           {"plots"},
	"codeberg.org/go-pdf/fpdf":    {"internal/paper"},
}

// never names packages that a package must not import although the layers
// would let it.
var never = map[string][]string{
	"internal/store":  {"internal/estimate", "internal/degreeday", "internal/climate", "internal/phenology", "internal/growth", "internal/belief", "internal/forecast", "internal/sampling", "internal/verdict", "internal/assess", "internal/label", "internal/schedule", "internal/week", "internal/cover", "internal/companion", "internal/round", "internal/effect", "internal/monthplan", "internal/report", "internal/render"},
	"internal/ingest": {"internal/catalog", "internal/store"},
	"internal/sheet":  {"internal/catalog", "internal/store"},
	"internal/report": {"internal/store"},
	"internal/render": {"internal/store"},
	"plots":           {"internal/store", "internal/farm", "internal/catalog"},
}

type file struct {
	path, pkg string
	ast       *ast.File
	fset      *token.FileSet
	test      bool
}

func files(t *testing.T) []file {
	t.Helper()
	var out []file
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == ".git" || d.Name() == "testdata") {
			return filepath.SkipDir
		}
		if filepath.Ext(path) != ".go" {
			return nil
		}
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		out = append(out, file{path, filepath.ToSlash(rel), f, fset, strings.HasSuffix(path, "_test.go")})
		return nil
	})
	require.NoError(t, err)
	return out
}

func layerOf(pkg string) int {
	for i, l := range layers {
		if slices.Contains(l, pkg) {
			return i
		}
	}
	return -1
}

func TestRulesNameRealPackages(t *testing.T) {
	for _, l := range layers {
		for _, p := range l {
			_, err := os.Stat(filepath.Join(root, p))
			require.NoError(t, err, "a layer names a package that is not there; mend the table")
		}
	}
}

func TestImports(t *testing.T) {
	var wrong []string
	for _, f := range files(t) {
		if f.test {
			continue
		}
		own := layerOf(f.pkg)
		if own < 0 {
			if f.pkg != "internal/conventions" && f.pkg != "internal/testkit" {
				wrong = append(wrong, fmt.Sprintf("%s: package %s is in no layer; add it to the table", f.path, f.pkg))
			}
			continue
		}
		for _, imp := range f.ast.Imports {
			path := strings.Trim(imp.Path.Value, `"`)
			say := func(why string) {
				wrong = append(wrong, fmt.Sprintf("%s: %s must not import %s: %s", f.fset.Position(imp.Pos()), f.pkg, path, why))
			}
			if local, ok := strings.CutPrefix(path, "leafturn/"); ok {
				if l := layerOf(local); l > own {
					say("imports go downwards only")
				}
				if slices.Contains(never[f.pkg], local) {
					say("see the table of what it must never import")
				}
				if local == "internal/testkit" {
					say("only tests may")
				}
			}
			if slices.Contains(pure, f.pkg) && slices.Contains(pureForbidden, path) {
				say("pure computation")
			}
			for lib, who := range only {
				if (path == lib || strings.HasPrefix(path, lib+"/")) && !slices.Contains(who, f.pkg) {
					say("only " + strings.Join(who, ", ") + " may")
				}
			}
			if strings.HasPrefix(path, "github.com/stretchr/testify") {
				say("only tests may")
			}
		}
	}
	require.Empty(t, wrong, strings.Join(wrong, "\n"))
}

// Pure packages never read the clock, print, or draw from the hidden source
// of random numbers.
func TestPureCalls(t *testing.T) {
	var wrong []string
	for _, f := range files(t) {
		if f.test || !slices.Contains(pure, f.pkg) && f.pkg != "internal/report" && f.pkg != "internal/render" && f.pkg != "plots" {
			continue
		}
		ast.Inspect(f.ast, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			x, ok := sel.X.(*ast.Ident)
			if !ok || x.Obj != nil {
				return true
			}
			call := x.Name + "." + sel.Sel.Name
			switch {
			case call == "time.Now", call == "time.Since", strings.HasPrefix(call, "fmt.Print"),
				x.Name == "rand" && !slices.Contains([]string{"New", "Rand", "NewPCG", "NewChaCha8", "Source", "NewSource"}, sel.Sel.Name):
				wrong = append(wrong, fmt.Sprintf("%s: %s in a package that must stay pure", f.fset.Position(sel.Pos()), call))
			}
			return true
		})
	}
	require.Empty(t, wrong, strings.Join(wrong, "\n"))
}

// Each package says once what it is for, and every exported name is documented.
func TestComments(t *testing.T) {
	docs := map[string]int{}
	var wrong []string
	for _, f := range files(t) {
		if f.test {
			continue
		}
		if f.ast.Doc != nil {
			docs[f.pkg]++
		} else if _, ok := docs[f.pkg]; !ok {
			docs[f.pkg] = 0
		}
		for _, d := range f.ast.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if d.Name.IsExported() && d.Doc == nil && exportedReceiver(d) {
					wrong = append(wrong, fmt.Sprintf("%s: %s has no comment", f.fset.Position(d.Pos()), d.Name.Name))
				}
			case *ast.GenDecl:
				for _, s := range d.Specs {
					if ts, ok := s.(*ast.TypeSpec); ok && ts.Name.IsExported() && d.Doc == nil && ts.Doc == nil {
						wrong = append(wrong, fmt.Sprintf("%s: type %s has no comment", f.fset.Position(ts.Pos()), ts.Name.Name))
					}
				}
			}
		}
	}
	for pkg, n := range docs {
		if n != 1 {
			wrong = append(wrong, fmt.Sprintf("package %s has %d package comments, want one", pkg, n))
		}
	}
	slices.Sort(wrong)
	require.Empty(t, wrong, strings.Join(wrong, "\n"))
}

func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	typ := d.Recv.List[0].Type
	if p, ok := typ.(*ast.StarExpr); ok {
		typ = p.X
	}
	if g, ok := typ.(*ast.IndexExpr); ok {
		typ = g.X
	}
	id, ok := typ.(*ast.Ident)
	return ok && id.IsExported()
}

// A pattern is compiled when it is first used, so that none can be wrong is
// seen here: each text is put together from the constants of its package and
// compiled. Only pattern may compile, or the time comes back.
func TestEveryPattern(t *testing.T) {
	all := files(t)
	words := map[string]ast.Expr{} // by package and name
	for _, f := range all {
		ast.Inspect(f.ast, func(n ast.Node) bool {
			if v, ok := n.(*ast.ValueSpec); ok && len(v.Values) == len(v.Names) {
				for i, name := range v.Names {
					words[f.pkg+" "+name.Name] = v.Values[i]
				}
			}
			return true
		})
	}
	var text func(f file, e ast.Expr) (string, bool)
	text = func(f file, e ast.Expr) (string, bool) {
		switch e := e.(type) {
		case *ast.BasicLit:
			s, err := strconv.Unquote(e.Value)
			return s, err == nil
		case *ast.BinaryExpr:
			x, ok := text(f, e.X)
			y, ok2 := text(f, e.Y)
			return x + y, ok && ok2
		case *ast.Ident:
			v, ok := words[f.pkg+" "+e.Name]
			if !ok {
				return "", false
			}
			return text(f, v)
		}
		return "", false
	}
	seen := 0
	for _, f := range all {
		ast.Inspect(f.ast, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			of, ok := call.Fun.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			at := f.fset.Position(call.Pos())
			switch from, _ := of.X.(*ast.Ident); {
			case from == nil:
			case from.Name == "regexp" && !f.test && f.pkg != "internal/pattern":
				t.Errorf("%s: use pattern.New, which compiles when the expression is needed", at)
			case from.Name == "pattern" && of.Sel.Name == "New":
				seen++
				s, ok := text(f, call.Args[0])
				if !ok {
					t.Errorf("%s: write the expression as a constant", at)
				} else if _, err := regexp.Compile(s); err != nil {
					t.Errorf("%s: %v", at, err)
				}
			}
			return true
		})
	}
	require.Greater(t, seen, 50)
}
