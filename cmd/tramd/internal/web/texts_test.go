package web

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/catalogue"
)

var (
	inShell = regexp.MustCompile(`\{\{t "([^"]+)"\}\}`)
)

// Every text that the page asks for is in the catalogue, and every text of the catalogue is asked for somewhere.
func TestTheCatalogueIsWhole(t *testing.T) {
	words := catalogue.Preferred(catalogue.English).Texts
	var source strings.Builder
	for name, f := range files {
		if strings.HasSuffix(name, ".js") && !strings.HasPrefix(name, "texts.") {
			source.Write(f.body)
		}
	}
	shellText := string(read("shell.html"))
	for _, m := range inShell.FindAllStringSubmatch(shellText, -1) {
		if words[m[1]] == "" {
			t.Errorf("shell.html asks for %q", m[1])
		}
	}
	for _, m := range regexp.MustCompile(`\bt\('([\w.-]+)'`).FindAllStringSubmatch(source.String(), -1) {
		if words[m[1]] == "" {
			t.Errorf("a script asks for %q", m[1])
		}
	}
	for _, m := range regexp.MustCompile(`\bmany\('([\w.-]+)'`).FindAllStringSubmatch(source.String(), -1) {
		if words[m[1]+".one"] == "" || words[m[1]+".other"] == "" {
			t.Errorf("a script counts %q", m[1])
		}
	}
	everywhere := source.String() + shellText + goSource(t)
	for key := range words {
		stem, tail, _ := cutLast(key)
		dotted := strings.Contains(everywhere, stem+".${") || strings.Contains(everywhere, stem+`."`) ||
			strings.Contains(everywhere, stem+".%s")
		counted := (tail == "one" || tail == "other") && strings.Contains(everywhere, stem)
		if !strings.Contains(everywhere, key) && !dotted && !counted && !computed(key, everywhere) {
			t.Errorf("nothing asks for %q", key)
		}
	}
}

func cutLast(key string) (stem, tail string, ok bool) {
	i := strings.LastIndex(key, ".")
	if i < 0 {
		return key, "", false
	}
	return key[:i], key[i+1:], true
}

// computed says whether a key is put together from its first word and something else.
func computed(key, source string) bool {
	first, _, dotted := strings.Cut(key, ".")
	return dotted && (strings.Contains(source, first+".${") || strings.Contains(source, "'"+first+"'") ||
		strings.Contains(source, `"`+first+`."`))
}

// goSource is the package itself, its tests apart.
func goSource(t *testing.T) string {
	t.Helper()
	names, err := filepath.Glob("*.go")
	if err != nil || len(names) == 0 {
		t.Fatal("no source", err)
	}
	var all strings.Builder
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		all.Write(text)
	}
	return all.String()
}

// No sentence for people stands in a script: a translation would miss it.
func TestScriptsHoldNoSentences(t *testing.T) {
	sentence := regexp.MustCompile("['`]([A-Z][a-z]+ [a-z]+[^'`]*|[a-z]+ [a-z]+ [a-z]+ [a-z]+[^'`]*)['`]")
	for name, f := range files {
		if !strings.HasSuffix(name, ".js") || strings.HasPrefix(name, "texts.") {
			continue
		}
		for i, line := range strings.Split(string(f.body), "\n") {
			code, _, _ := strings.Cut(line, "// ")
			if m := sentence.FindString(code); m != "" && !strings.Contains(code, "import ") {
				t.Errorf("%s, line %d: %s belongs into the catalogue", name, i+1, m)
			}
		}
	}
	if sentence.FindString(`setText(x, 'Nothing was measured yet.')`) == "" {
		t.Error("a sentence is not seen")
	}
}
