package config

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

// documents are every text that shows pieces of a configuration. The keys are described in the first two.
var documents = []string{"../../docs/configuration.md", "../../../../device/frame/frames.md", "../../../../README.md",
	"../../docs/first-sweep.md",
	"../../docs/angle-sources.md", "../../docs/adjusting.md", "../../docs/assembly.md", "../../docs/network.md",
	"../../docs/backup.md"}

// block is a piece of a configuration in a document.
type block struct {
	text string
	line int
}

// blocks gives the indented pieces of a document that are TOML.
func blocks(text string) (out []block) {
	var b block
	for i, line := range strings.Split(text+"\nend", "\n") {
		if rest, ok := strings.CutPrefix(line, "    "); ok {
			if b.text == "" {
				b.line = i + 1
			}
			b.text += strings.TrimLeft(rest, " ") + "\n"
			continue
		}
		if strings.HasPrefix(b.text, "[") {
			out = append(out, b)
		}
		b = block{}
	}
	return out
}

// whole adds what a piece leaves out to make a configuration.
func (b block) whole() string {
	has := func(table string) bool {
		return regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(table)).MatchString(b.text)
	}
	out := b.text
	if !has("[[indicator]]") {
		out = "[[indicator]]\nname = \"arm\"\nport = \"/dev/ttyUSB0\"\nradius_mm = 120.0\n" + out
	}
	if !has("[angle]") {
		out += "[angle]\nsource = \"encoder\"\nport = \"/dev/ttyUSB1\"\ncounts_per_turn = 4096\n"
	}
	for table, text := range map[string]string{"[machine]": "name = \"linnet\"\n",
		"[store]": "path = \"/var/lib/tramd/tramd.db\"\n"} {
		if !has(table) {
			out += table + "\n" + text
		}
	}
	return out
}

// What the documents show can be copied as it stands.
func TestWhatTheDocumentsShowIsRight(t *testing.T) {
	for _, name := range documents {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		found := blocks(string(text))
		if len(found) < 1 {
			t.Errorf("%s shows %d pieces", name, len(found))
		}
		for _, b := range found {
			if _, err := Parse(name, []byte(b.whole())); err != nil {
				t.Errorf("%s, the piece at line %d:\n%v", name, b.line, err)
			}
		}
	}
}

// Every key there is stands in one of them.
func TestEveryKeyIsDescribed(t *testing.T) {
	var all strings.Builder
	for _, name := range documents[:2] {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		all.Write(text)
	}
	keys := 0
	var look func(table string, of reflect.Type)
	look = func(table string, of reflect.Type) {
		if of.Kind() == reflect.Slice || of.Kind() == reflect.Pointer {
			of = of.Elem()
		}
		if of.Kind() != reflect.Struct {
			return
		}
		for key, is := range fieldsOf(of) {
			keys++
			if !regexp.MustCompile(`[^a-z_]` + key + `[^a-z_]`).MatchString(all.String()) {
				t.Errorf("nothing is said of %s in [%s]", key, table)
			}
			look(key, is)
		}
	}
	look("", reflect.TypeFor[Config]())
	if keys < 100 {
		t.Errorf("only %d keys were looked at", keys)
	}
}
