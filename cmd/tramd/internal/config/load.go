package config

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"sort"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"tramd/cmd/tramd/internal/smallfile"
)

// Mistake is one thing that is wrong in a configuration file.
type Mistake struct {
	File string
	Line int // 0: nowhere in particular
	Text string
}

func (m Mistake) Error() string {
	if m.Line == 0 {
		return fmt.Sprintf("%s: %s", m.File, m.Text)
	}
	return fmt.Sprintf("%s:%d: %s", m.File, m.Line, m.Text)
}

// Mistakes are all that is wrong in one file, in the order of its lines.
type Mistakes []Mistake

func (ms Mistakes) Error() string {
	texts := make([]string, len(ms))
	for i, m := range ms {
		texts[i] = m.Error()
	}
	return strings.Join(texts, "\n")
}

// Load reads and validates a file.
func Load(path string) (*Config, error) {
	text, err := smallfile.Read(path)
	if err != nil {
		return nil, fmt.Errorf("cannot read the configuration: %w", err)
	}
	return Parse(path, text)
}

// Parse decodes and validates the text of a file; name is used in messages only.
func Parse(name string, text []byte) (*Config, error) {
	text, wrong, keys := wrongKinds(name, text)
	c, found, err := decode(name, text, keys)
	if err != nil {
		return nil, errors.Join(wrong.orNil(), err)
	}
	v := &validator{name: name, at: indexLines(text), told: map[string]bool{}}
	numbers := numbersOf("", reflect.ValueOf(&c).Elem(), false, v.at, nil)
	c.setDefaults()
	v.config(&c)
	v.numbers(numbers)
	v.found = append(slices.DeleteFunc(v.found, func(m Mistake) bool { return keys[keyOf(m.Text)] }),
		append(found, wrong...)...)
	if len(v.found) > 0 {
		sort.SliceStable(v.found, func(i, j int) bool { return v.found[i].Line < v.found[j].Line })
		return nil, v.found
	}
	return &c, nil
}

// orNil returns the mistakes as an error; nil for none.
func (ms Mistakes) orNil() error {
	if len(ms) == 0 {
		return nil
	}
	return ms
}

// wrongKinds returns a text without the values that are of a wrong kind, what is wrong with them, and their keys: the
// decoder would stop at the first, and the rest is to be looked at too. A value over several lines ends the search.
func wrongKinds(name string, text []byte) (rest []byte, wrong Mistakes, keys map[string]bool) {
	keys = map[string]bool{}
	for range 100 {
		var c Config
		var de *toml.DecodeError
		err := toml.Unmarshal(text, &c)
		if !errors.As(err, &de) || !kindMismatch.MatchString(de.Error()) || len(de.Key()) == 0 {
			break
		}
		row, _ := de.Position()
		rows := strings.SplitAfter(string(text), "\n")
		if row < 1 || row > len(rows) {
			break
		}
		rows[row-1] = "#" + rows[row-1]
		without := []byte(strings.Join(rows, ""))
		if err := toml.Unmarshal(without, &Config{}); errors.As(err, &de) && !kindMismatch.MatchString(de.Error()) {
			break // the line was a part of something longer
		}
		var found Mistakes
		if !errors.As(decodeMistakes(name, err), &found) {
			break
		}
		wrong, text = append(wrong, found...), without
		keys[keyOf(found[0].Text)] = true
	}
	return text, wrong, keys
}

// keyOf returns the key that a mistake's text begins with, without the numbers of the tables it stands in.
func keyOf(text string) string {
	key, _, _ := strings.Cut(text, ": ")
	return indexes.ReplaceAllString(key, ".")
}

var indexes = regexp.MustCompile(`\.[0-9]+\.`)

// decode returns what the text says, and the keys that no table has: what else is wrong is found all the same, so that
// one look shows everything. Keys gains those whose values, once their names are put right, are of a wrong kind. Text
// that is no TOML ends it.
func decode(name string, text []byte, keys map[string]bool) (c Config, found Mistakes, err error) {
	d := toml.NewDecoder(strings.NewReader(string(text))).DisallowUnknownFields()
	if err = d.Decode(&c); err == nil {
		return c, nil, nil
	}
	var strict *toml.StrictMissingError
	unknown := errors.As(err, &strict)
	if err = decodeMistakes(name, err); !unknown || !errors.As(err, &found) {
		return c, nil, err
	}
	c = Config{} // a strict decoder may stop short of the end
	meant, wrong, more := wrongKinds(name, asMeant(text, strict))
	if e := toml.Unmarshal(meant, &c); e != nil {
		return c, nil, err // what was meant stands there already: say what was written
	}
	maps.Copy(keys, more)
	return c, append(found, wrong...), nil
}

// asMeant returns the text with misspelt keys put right, so that a slip of the pen does not bring "missing" as well.
func asMeant(text []byte, strict *toml.StrictMissingError) []byte {
	rows := strings.SplitAfter(string(text), "\n")
	for _, e := range slices.Backward(strict.Errors) { // from the end, so that columns before it stay
		key := e.Key()
		word := key[len(key)-1]
		best := closest(word, knownKeys(strings.Join(key[:len(key)-1], ".")))
		row, col := e.Position()
		if best == "" || row < 1 || row > len(rows) || col < 1 || col > len(rows[row-1]) {
			continue
		}
		line := rows[row-1]
		rows[row-1] = line[:col-1] + strings.Replace(line[col-1:], word, best, 1)
	}
	return []byte(strings.Join(rows, ""))
}

func decodeMistakes(name string, err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) {
		var ms Mistakes
		for _, e := range strict.Errors {
			row, _ := e.Position()
			ms = append(ms, Mistake{name, row, unknownKey(e.Key())})
		}
		return ms
	}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		row, _ := de.Position()
		text := strings.TrimPrefix(de.Error(), "toml: ")
		text = plainKind(text)
		if key := strings.Join(de.Key(), "."); key != "" {
			text = key + ": " + text
		}
		return Mistakes{{name, row, text}}
	}
	return fmt.Errorf("%s: %w", name, err)
}

func unknownKey(key []string) string {
	path := strings.Join(key, ".")
	table := strings.Join(key[:len(key)-1], ".")
	if best := closest(key[len(key)-1], knownKeys(table)); best != "" {
		return fmt.Sprintf("unknown key %q; did you mean %q?", path, best)
	}
	known := knownKeys(table)
	if len(known) == 0 {
		return fmt.Sprintf("unknown key %q; there is no table of that name", path)
	}
	where := "at the top level"
	if table != "" {
		where = "in [" + table + "]"
	}
	return fmt.Sprintf("unknown key %q; the keys %s are %s", path, where, strings.Join(known, ", "))
}

var kindMismatch = regexp.MustCompile(`cannot decode TOML (\w+) into (?:a )?(?:struct field \S+ of type )?(\S+)`)

// plainKind says a mismatch of kinds without Go's names for them.
func plainKind(text string) string {
	m := kindMismatch.FindStringSubmatch(text)
	if m == nil {
		return text
	}
	want := map[string]string{
		"int": "a whole number", "int64": "a whole number", "float64": "a number", "string": `text in quotes`,
		"bool": "true or false", "[]float64": "a list of numbers", "[]string": "a list of texts in quotes",
		"[]int": "a list of whole numbers",
	}[m[2]]
	if want == "" {
		want = "a table"
	}
	return fmt.Sprintf("the value is a TOML %s; write %s", m[1], want)
}
