// Package published reads the published tables that results are checked against. Each names its source in its first
// lines.
package published

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
)

// Column returns the numbers of one column of a table in this folder, to the test of a package two folders down.
func Column(t testing.TB, file, name string) []float64 {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 || !slices.Contains(rows[0], name) {
		t.Fatalf("%s has no column %s", file, name)
	}
	at := slices.Index(rows[0], name)
	var out []float64
	for _, row := range rows[1:] {
		x, err := strconv.ParseFloat(row[at], 64)
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		out = append(out, x)
	}
	return out
}

// Near fails a test whose figure is further from the published one than it may be.
func Near(t testing.TB, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %v, want %v within %v", what, got, want, within)
	}
}
