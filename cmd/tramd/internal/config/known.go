package config

import (
	"maps"
	"reflect"
	"sort"
	"strings"
)

// knownKeys lists the keys of a table ("" for the top level), read off the types so that it cannot fall behind them.
func knownKeys(table string) []string {
	keys := fieldsOf(reflect.TypeFor[Config]())
	for table != "" {
		var name string
		name, table, _ = strings.Cut(table, ".")
		t, ok := keys[name]
		if !ok {
			return nil
		}
		if t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct {
			return nil
		}
		keys = fieldsOf(t)
	}
	out := make([]string, 0, len(keys))
	for k := range keys {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

func fieldsOf(t reflect.Type) map[string]reflect.Type {
	out := map[string]reflect.Type{}
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Anonymous {
			maps.Copy(out, fieldsOf(f.Type))
		}
		if tag := f.Tag.Get("toml"); tag != "" && tag != "-" {
			out[tag] = f.Type
		}
	}
	return out
}

// closest finds the known word within two slips of the pen, or the shortest that goes on where the word ends, as where
// the unit was left off; "" when there is none.
func closest(word string, known []string) string {
	best, bestD := "", 3
	for _, k := range known {
		if d := slips(word, k); d < bestD && d < len(k) {
			best, bestD = k, d
		}
	}
	if best != "" {
		return best
	}
	for _, k := range known {
		if strings.HasPrefix(k, word+"_") && (best == "" || len(k) < len(best)) {
			best = k
		}
	}
	return best
}

// slips is the Levenshtein distance of two short words.
func slips(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			diag, row[j+1] = row[j+1], min(diag+cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
