package mixed

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tramd/sweep"
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

// TestTwelveKinds prints, with -study, what a dozen kinds of sweeps come to: the figures that constants.md gives for
// each constant doubled. Without, it fits one sweep of each.
func TestTwelveKinds(t *testing.T) {
	t.Parallel()
	runs := 1
	if *studyOn {
		runs = 15
	}
	names := []string{
		"8 stations by eye", "form", "slots", "coarse resolution", "both ways, hysteresis", "late encoder, form", "1/f",
		"white only", "stepped table",
		"hum of 0.2 to 3 Hz",
	}
	var held, wide, against []float64
	count := func(s tally) {
		if s.refused > 0 || s.n == 0 {
			t.Fatalf("%d refused of %d", s.refused, s.n)
		}
		held, wide, against = append(held, s.coverage()), append(wide, math.Log(s.wide())),
			append(against, math.Log(s.against()))
	}
	for _, f := range append(families(), unseen()...) {
		for _, name := range names {
			if f.name == name {
				count(study(t, f, runs, 91))
			}
		}
	}
	for _, k := range []int{2, 5} { // two knocks, a dent
		var s tally
		r := rand.New(rand.NewPCG(91, uint64(k)))
		for range runs {
			tr := drawGround(r).draw(r, disturbances()[k])
			got, err := Fit(tr.pts, tr.setup)
			plain, err2 := sweep.FitPlain(tr.pts, tr.setup)
			s.add(tr, got, plain, err, err2)
		}
		count(s)
	}
	if len(held) != 12 {
		t.Fatalf("%d kinds", len(held))
	}
	mean := func(x []float64) (m float64) {
		for _, v := range x {
			m += v / float64(len(x))
		}
		return m
	}
	if c := mean(held); c < 0.8 {
		t.Errorf("held the truth in %.0f %%", 100*c)
	}
	fmt.Printf("twelve kinds: %.1f %%, %.2f, %.2f\n", 100*mean(held), math.Exp(mean(wide)), math.Exp(mean(against)))
}
