package drift

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// constantsRow is a row of constants.md: name, file, value, why.
var constantsRow = regexp.MustCompile("(?m)^\\| `(\\w+)` \\| (\\w+\\.go) \\| `([^`]+)` \\| (.*) \\|$")

// constantsOf returns every number that the package's code names, by file and name, as the code writes it.
func constantsOf(t *testing.T) map[string]string {
	t.Helper()
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	positions := token.NewFileSet()
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(positions, file, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(tree, func(n ast.Node) bool {
			spec, ok := n.(*ast.ValueSpec)
			if !ok {
				return true
			}
			for i, value := range spec.Values {
				if !numeric(value) {
					continue
				}
				var text bytes.Buffer
				if err := printer.Fprint(&text, positions, value); err != nil {
					t.Fatal(err)
				}
				key := file + ":" + spec.Names[i].Name
				if _, twice := out[key]; twice {
					t.Errorf("%s names two numbers %s: give one another name", file, spec.Names[i].Name)
				}
				out[key] = strings.Join(strings.Fields(text.String()), " ") // wherever its line is broken
			}
			return true
		})
	}
	return out
}

// numeric reports whether a value is written with figures and calls nothing.
func numeric(value ast.Expr) bool {
	figures, only := false, true
	ast.Inspect(value, func(n ast.Node) bool {
		switch x := n.(type) {
		case *ast.BasicLit:
			figures = figures || x.Kind == token.INT || x.Kind == token.FLOAT
			only = only && x.Kind != token.STRING
		case *ast.CallExpr, *ast.FuncLit, *ast.IndexExpr:
			only = false
		}
		return only
	})
	return figures && only
}

// The table of constants has every one of them, as the code has it, and says why.
func TestConstantsAreAllInTheTable(t *testing.T) {
	text, err := os.ReadFile("constants.md")
	if err != nil {
		t.Fatal(err)
	}
	code, rows := constantsOf(t), constantsRow.FindAllStringSubmatch(string(text), -1)
	if len(code) < 50 {
		t.Fatalf("found %d constants in the code: the search is broken", len(code))
	}
	for _, row := range rows {
		key, value, why := row[2]+":"+row[1], row[3], row[4]
		switch is, ok := code[key]; {
		case !ok:
			t.Errorf("constants.md has %s, the code has not, or the table has it twice: take the row out", key)
		case is != value:
			t.Errorf("constants.md says that %s is %s, the code says %s", key, value, is)
		case len(strings.Fields(why)) < 4:
			t.Errorf("constants.md does not say why %s is %s", key, value)
		}
		delete(code, key)
	}
	for key, value := range code {
		t.Errorf("constants.md has no row for %s = %s", key, value)
	}
	if !strings.Contains(string(text), fmt.Sprintf("%d constants", len(rows))) {
		t.Errorf("constants.md does not say that there are %d constants", len(rows))
	}
}
