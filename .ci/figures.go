// Command figures prints how large the program is and how it hangs together, to compare before a change with after it:
//
//	go run .ci/figures.go
//
// It reads the Go files that Git knows below the folder it runs in. Lines of tests are counted apart.
package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"log"
	"os"
	"os/exec"
	"path"
	"slices"
	"strings"
)

const longFunction = 60 // lines

// figures are what the files of one package, or of all, come to.
type figures struct {
	files, lines, testFiles, testLines int
	long, exported                     int
	json                               int // functions that build a JSON answer
	motion                             int // functions outside the interlock that ask for, or answer, a bar to motion
	imports                            map[string]bool
}

func main() {
	log.SetFlags(0)
	list, err := exec.Command("git", "ls-files", "*.go").Output()
	if err != nil {
		log.Fatal(err)
	}
	all, packages := figures{}, map[string]*figures{}
	for _, name := range strings.Fields(string(list)) {
		text, err := os.ReadFile(name)
		if err != nil {
			log.Fatal(err)
		}
		p := packages[path.Dir(name)]
		if p == nil {
			p = &figures{imports: map[string]bool{}}
			packages[path.Dir(name)] = p
		}
		lines := strings.Count(string(text), "\n")
		if strings.HasSuffix(name, "_test.go") {
			all.testFiles, all.testLines = all.testFiles+1, all.testLines+lines
			p.testFiles, p.testLines = p.testFiles+1, p.testLines+lines
			continue
		}
		all.files, all.lines = all.files+1, all.lines+lines
		p.files, p.lines = p.files+1, p.lines+lines
		if err := p.read(name, text); err != nil {
			log.Fatal(err)
		}
	}
	var rows []string
	for name, p := range packages {
		all.long, all.exported = all.long+p.long, all.exported+p.exported
		all.json, all.motion = all.json+p.json, all.motion+p.motion
		own := 0
		for i := range p.imports {
			if strings.HasPrefix(i, "tramd/") {
				own++
			}
		}
		rows = append(rows, fmt.Sprintf("%-46s %5d %7d %8d %8d %5d %8d %5d", name, p.files, p.lines, p.testLines,
			p.exported, p.long, own, p.json))
	}
	slices.Sort(rows)
	fmt.Printf("files %d, lines %d, lines a file %d; tests: files %d, lines %d\n", all.files, all.lines,
		all.lines/all.files, all.testFiles, all.testLines)
	fmt.Printf("packages %d; exported %d; functions over %d lines %d\n", len(packages), all.exported,
		longFunction, all.long)
	fmt.Printf("functions that build a JSON answer %d; functions outside the interlock that decide motion %d\n\n",
		all.json, all.motion)
	fmt.Printf("%-46s %5s %7s %8s %8s %5s %8s %5s\n", "package", "files", "lines", "of tests", "exported", "long",
		"imports", "JSON")
	fmt.Println(strings.Join(rows, "\n"))
}

func (p *figures) read(name string, text []byte) error {
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, name, text, parser.SkipObjectResolution)
	if err != nil {
		return err
	}
	for _, i := range file.Imports {
		p.imports[strings.Trim(i.Path.Value, `"`)] = true
	}
	for _, d := range file.Decls {
		switch d := d.(type) {
		case *ast.FuncDecl:
			p.function(set, name, d)
		case *ast.GenDecl:
			for _, s := range d.Specs {
				switch s := s.(type) {
				case *ast.TypeSpec:
					p.count(s.Name)
				case *ast.ValueSpec:
					p.count(s.Names...)
				}
			}
		}
	}
	return nil
}

func (p *figures) count(names ...*ast.Ident) {
	for _, n := range names {
		if n.IsExported() {
			p.exported++
		}
	}
}

func (p *figures) function(set *token.FileSet, file string, f *ast.FuncDecl) {
	p.count(f.Name)
	if set.Position(f.End()).Line-set.Position(f.Pos()).Line >= longFunction {
		p.long++
	}
	json, motion := false, false
	ast.Inspect(f, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			on, _ := s.X.(*ast.Ident)
			switch is := func(name string) bool { return on != nil && on.Name == name }; {
			case is("json") && slices.Contains([]string{"Marshal", "MarshalIndent", "NewEncoder"}, s.Sel.Name):
				json = true
			case is("interlock") && s.Sel.Name == "Bar":
				motion = true
			}
		}
		if l, ok := n.(*ast.CallExpr); ok {
			if name, ok := l.Fun.(*ast.Ident); ok && name.Name == "writeJSON" {
				json = true
			}
		}
		return true
	})
	if json && strings.HasPrefix(file, "cmd/") {
		p.json++
	}
	if motion && !strings.Contains(file, "/interlock/") {
		p.motion++
	}
}
