package mixed

import (
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every number that the model was given, and not the readings, stands in constants.md with its value.
func TestConstantsStandInTheTable(t *testing.T) {
	text, err := os.ReadFile("constants.md")
	if err != nil {
		t.Fatal(err)
	}
	table := map[string]string{}
	for _, line := range strings.Split(string(text), "\n") {
		cells := strings.Split(line, "|")
		if len(cells) == 8 {
			table[strings.TrimSpace(cells[1])] = strings.TrimSpace(cells[2])
		}
	}
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range f.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.CONST && g.Tok != token.VAR {
				continue
			}
			for _, spec := range g.Specs {
				v := spec.(*ast.ValueSpec)
				for i, value := range v.Values {
					if !hasNumber(value) {
						continue
					}
					var b strings.Builder
					if err := printer.Fprint(&b, set, value); err != nil {
						t.Fatal(err)
					}
					seen++
					if got, want := table[v.Names[i].Name], b.String(); got != want {
						t.Errorf("%s: %s is %s, constants.md says %q", name, v.Names[i].Name, want, got)
					}
					delete(table, v.Names[i].Name)
				}
			}
		}
	}
	delete(table, "name")
	delete(table, "---")
	for name := range table {
		t.Errorf("constants.md has %s, which the code has not", name)
	}
	if seen < 90 {
		t.Errorf("only %d constants were found", seen)
	}
}

func hasNumber(e ast.Expr) (found bool) {
	ast.Inspect(e, func(n ast.Node) bool {
		if l, ok := n.(*ast.BasicLit); ok && (l.Kind == token.INT || l.Kind == token.FLOAT) {
			found = true
		}
		return !found
	})
	return found
}
