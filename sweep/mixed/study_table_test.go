package mixed

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
)

// tableIsOfThisModel wants the table that is kept to be of this version of the model, and of every kind there is now.
func tableIsOfThisModel(t *testing.T) {
	text, err := os.ReadFile("study.md")
	if err != nil {
		t.Fatal(err)
	}
	if want := fmt.Sprintf("model version %d.", ModelVersion); !strings.Contains(string(text), want) {
		t.Errorf("study.md is not of %s run make study", want)
	}
	for _, f := range slices.Concat(families(), unseen(), keptBack()) {
		if !strings.Contains(string(text), "| "+f.name+" |") {
			t.Errorf("study.md has no row %q; run make study", f.name)
		}
	}
}
