package drift

import (
	"os"
	"strings"
	"testing"
)

// tableHasEveryKind wants the table that is kept to be of the kinds there are now.
func tableHasEveryKind(t *testing.T) {
	text, err := os.ReadFile("study.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range healthies() {
		if !strings.Contains(string(text), "| "+f.name) {
			t.Errorf("study.md has no row %q; run make study", f.name)
		}
	}
}
