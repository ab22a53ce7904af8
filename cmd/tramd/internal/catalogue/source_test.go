package catalogue

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// speaking are the packages whose sentences reach the page or the printed sheets, below the top folder, but for the
// files whose sentences stay in a terminal, a log or a mail: those that read files, above all.
var speaking = []struct {
	dir    string
	except string
}{
	{"sweep", "csv.go csv_blocks.go csv_row.go header.go table.go setup.go indicator.go"},
	{"sweep/mixed", ""}, {"sweep/bar", ""}, {"sweep/line", "read.go"}, {"sweep/travel", ""}, {"sweep/traverse", ""},
	{"sweep/advice", "log.go problem.go"}, {"sweep/stack", "log.go"},
	{"sweep/drift", "csv.go csv_row.go encode.go record.go"},
	{"sweep/finish", ""},
	{"store", "*but history.go"},
	{"cmd/tramd/internal/session", ""}, {"cmd/tramd/internal/interlock", ""}, {"cmd/tramd/internal/unattended", ""},
	{"cmd/tramd/internal/hours", ""}, {"cmd/tramd/internal/motion", "program.go"},
	{"cmd/tramd/internal/alarm", "alertmanager.go file.go mail.go notifier.go webhook.go"},
	{"cmd/tramd/internal/assembly", "options.go read.go fit.go history.go write.go"},
	{"cmd/tramd/internal/picture", ""}, {"cmd/tramd/internal/report", "csv.go"}, {"cmd/tramd/internal/jobsheet", ""},
	{"cmd/tramd/internal/daemon", "socket.go listen.go reload.go secrets.go status.go"},
	{"cmd/tramd/internal/history", ""},
	{"cmd/tramd/internal/inputs", ""}, {"cmd/tramd/internal/temperature", ""}, {"cmd/tramd/internal/archive", ""},
	{"cmd/tramd/internal/service", ""}, {"cmd/tramd/internal/maintenance", "open.go"},
	{"cmd/tramd/internal/runs", "csv.go"}, {"cmd/tramd/internal/api", ""},
	{"cmd/tramd/internal/web", "login.go openapi.go assets.go guard.go"},
}

// single are the words that stand alone in a sentence's blank or in a table's cell.
var single = strings.Fields(
	`tilt nod lean check checks shift trend outside within undecided none never now day days hour
	hours week weeks traverse bar travel cross sweep square table spindle machine swing steady settling drifting stepping live
	absent lost silent opening
	verdict run when then no. step before state history alarms events
	adjusted crashed serviced moved acknowledged note event left right back front edge collet slope straightness twist flatness
	finished abandoned failed interrupted running method interval basis axis kind until began time text size stands level
	expected tolerance encoder stations program typed up down trending from`)

// counted are forms that the source puts together of a number and a word.
var counted = []string{"{#1} weeks", "{#1} days", "{#1} hours", "1 week", "1 day", "1 hour", "less than an hour",
	"95 % from",
	"{1} {#2}, {3} {#4} mm/m", "{1} {#2} mm/m", "sweep again", "measure {1} again", "both axes are",
	"the {1} is", "both"}

var (
	verb    = regexp.MustCompile(`%(?:\[\d+\])?[-+#0]*(?:\*|\d+)?(?:\.(?:\*|\d+))?[a-zA-Z]`)
	enough  = regexp.MustCompile(`[A-Za-z]{2,}[^A-Za-z]* [^A-Za-z]*[A-Za-z]{2,}|[A-Za-z]{2,} |^[A-Za-z]{4,}: `)
	oneWord = regexp.MustCompile(`^[a-z]{4,} \{#?1\}`)
	foreign = regexp.MustCompile(
		`[<>=_]|^https?:|/api/|\x60\{\}|^\{"|^[a-z]+_[a-z_]+$|^[A-Z ]+$|^[A-Z][a-z]+-[A-Z][a-z]+$` +
			`|^ORDER BY|^(GET|POST|DELETE) /|-src |^[A-Z]-[A-Z]|^no-store$|^still here$|^retry:|^export |^[a-z_]+=`)
	ends = regexp.MustCompile(`[.?!] +`)
)

// unheard are the calls whose words no reader of the page sees.
var unheard = map[string]bool{
	"Info": true, "Debug": true, "Warn": true, "Error": true, "panic": true, "MustCompile": true, "Parse": true,
	"Format": true,
	"Split":  true, "Cut": true, "Contains": true, "HasPrefix": true, "HasSuffix": true, "Trim": true,
	"TrimSuffix": true,
	"TrimPrefix": true, "QuoteMeta": true, "Text": true,
}

// forms of all sentences, in order.
func sourceForms(t *testing.T) []string {
	t.Helper()
	found := map[string]bool{}
	for _, word := range single {
		found[word] = true
	}
	for _, form := range counted {
		found[form] = true
	}
	for _, x := range speaking {
		dir := filepath.Join("../../../..", x.dir)
		names, err := filepath.Glob(filepath.Join(dir, "*.go"))
		if err != nil || len(names) == 0 {
			t.Fatal("no source in", dir, err)
		}
		for _, name := range names {
			only, some := strings.CutPrefix(x.except, "*but ")
			base := filepath.Base(name)
			if strings.HasSuffix(name, "_test.go") || some && base != only ||
				slices.Contains(strings.Fields(x.except), base) != some {
				continue
			}
			goForms(t, name, found)
		}
	}
	for _, name := range []string{"../report/page.html", "../jobsheet/page.html"} {
		templateForms(t, name, found)
	}
	return slices.Sorted(maps.Keys(found))
}

// goForms finds the sentences of a source file: texts, and texts put together by +, whose other parts are blanks.
func goForms(t *testing.T, name string, found map[string]bool) {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	var visit func(n ast.Node) bool
	visit = func(n ast.Node) bool {
		switch x := n.(type) {
		case *ast.ImportSpec:
			return false
		case *ast.Field: // a tag is no text
			ast.Inspect(x.Type, visit)
			return false
		case *ast.IndexExpr:
			return false
		case *ast.KeyValueExpr: // what a component or a step is called may be one word
			if key, ok := x.Key.(*ast.Ident); ok && key.Name == "Name" {
				if lit, ok := x.Value.(*ast.BasicLit); ok && lit.Kind == token.STRING {
					found[text(lit)] = true
				}
			}
		case *ast.CallExpr:
			if name := called(x); len(x.Args) > 0 && (name == "part" || name == "component") { // of a budget: its name
				if lit, ok := x.Args[0].(*ast.BasicLit); ok && lit.Kind == token.STRING {
					found[text(lit)] = true
				}
			} else if unheard[name] {
				return false
			}
		case *ast.BasicLit:
			if x.Kind == token.STRING {
				addForm(text(x), found)
				for _, m := range spoken.FindAllStringSubmatch(text(x), -1) { // of a picture
					addForm(m[2], found)
				}
			}
		case *ast.BinaryExpr:
			if x.Op != token.ADD {
				return x.Op != token.EQL && x.Op != token.NEQ
			}
			whole, words := joined(x)
			if words {
				addForm(whole, found)
				for _, part := range operands(x) { // a sentence may stand in a call among them
					if _, plain := part.(*ast.BasicLit); !plain {
						ast.Inspect(part, visit)
					}
				}
				return false
			}
		}
		return true
	}
	ast.Inspect(file, visit)
}

func called(x *ast.CallExpr) string {
	switch f := x.Fun.(type) {
	case *ast.Ident:
		return f.Name
	case *ast.SelectorExpr:
		return f.Sel.Name
	}
	return ""
}

func text(x *ast.BasicLit) string {
	s, err := strconv.Unquote(x.Value)
	if err != nil {
		return ""
	}
	return s
}

func operands(x ast.Expr) []ast.Expr {
	switch b := x.(type) {
	case *ast.BinaryExpr:
		if b.Op == token.ADD {
			return append(operands(b.X), operands(b.Y)...)
		}
	case *ast.ParenExpr:
		return operands(b.X)
	}
	return []ast.Expr{x}
}

// joined returns a sum of texts with %v for what is no text, and whether there is a text in it.
func joined(x *ast.BinaryExpr) (string, bool) {
	var out strings.Builder
	words := false
	for _, part := range operands(x) {
		if lit, ok := part.(*ast.BasicLit); ok && lit.Kind == token.STRING {
			out.WriteString(text(lit))
			words = true
		} else {
			out.WriteString("%v")
		}
	}
	return out.String(), words
}

// addForm takes each sentence of a text by itself, with numbered blanks.
func addForm(s string, found map[string]bool) {
	s = strings.ReplaceAll(s, "%%", "\x00")
	for _, part := range split(s) {
		part = strings.TrimRight(strings.TrimLeft(strings.TrimSpace(part), ";:,. )\n·"), "(,;: ")
		if strings.HasPrefix(part, "(") {
			part = strings.Trim(part, "()")
		}
		if strings.HasSuffix(part, ".") && !strings.HasSuffix(part, "..") {
			part = part[:len(part)-1]
		}
		n := 0
		part = verb.ReplaceAllStringFunc(part, func(verb string) string {
			n++
			if strings.Contains("dfgexX", verb[len(verb)-1:]) {
				return fmt.Sprintf("{#%d}", n)
			}
			return fmt.Sprintf("{%d}", n)
		})
		part = strings.ReplaceAll(part, "\x00", "%")
		bare := blank.ReplaceAllString(part, "")
		if (enough.MatchString(bare) || oneWord.MatchString(part)) && !foreign.MatchString(part) {
			found[part] = true
		}
	}
}

func split(s string) []string {
	var out []string
	from := 0
	for _, at := range ends.FindAllStringIndex(s, -1) {
		if at[1] < len(s) && (s[at[1]] >= 'A' && s[at[1]] <= 'Z' || s[at[1]] == '%') && at[0] > 1 {
			out = append(out, s[from:at[0]+1])
			from = at[1]
		}
	}
	return append(out, s[from:])
}

var (
	action  = regexp.MustCompile(`\{\{[^}]*\}\}`)
	control = regexp.MustCompile(`\{\{-? *(?:if|else|end|range|with)[^}]*\}\}`)
)

// templateForms finds the texts of a template: what stands between tags, and what is read aloud.
func templateForms(t *testing.T, name string, found map[string]bool) {
	t.Helper()
	file, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	page := control.ReplaceAllString(string(file), "<>")
	var texts []string
	for _, m := range readable.FindAllString(page, -1) {
		if !strings.HasPrefix(m, "<style") {
			texts = append(texts, m[1:])
		}
	}
	for _, m := range spoken.FindAllStringSubmatch(page, -1) {
		texts = append(texts, m[2])
	}
	for _, text := range texts {
		text = strings.Join(strings.Fields(action.ReplaceAllString(text, "%v")), " ")
		addForm(strings.ReplaceAll(text, "%%v", "%%%v"), found)
	}
}
