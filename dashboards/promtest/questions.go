package promtest

import (
	"encoding/json"
	"os"
	"regexp"
	"strings"
	"testing"
)

// Questions reads every expression of a dashboard, as Grafana would send it for one machine.
func Questions(t testing.TB, dashboard, machine string) []string {
	t.Helper()
	text, err := os.ReadFile(dashboard)
	if err != nil {
		t.Fatal(err)
	}
	var board struct {
		Panels []struct {
			Targets []struct{ Expr string }
		}
	}
	if err := json.Unmarshal(text, &board); err != nil {
		t.Fatal(err)
	}
	fill := strings.NewReplacer("$machine", machine, "$shop", ".*", "$__rate_interval", "1m")
	var out []string
	for _, p := range board.Panels {
		for _, q := range p.Targets {
			out = append(out, fill.Replace(q.Expr))
		}
	}
	if len(out) < 8 {
		t.Fatalf("%s asks only %d questions", dashboard, len(out))
	}
	return out
}

var name = regexp.MustCompile(`\btramd_[a-z_]+\b`)

// Names are the metrics of ours that a text (rules, an expression) speaks of, those that the rules themselves record
// left out.
func Names(text string) []string {
	seen := map[string]bool{}
	var out []string
	for _, at := range name.FindAllStringIndex(text, -1) {
		n := text[at[0]:at[1]]
		recorded := at[0] > 0 && text[at[0]-1] == ':'
		if !recorded && !seen[n] {
			seen[n] = true
			out = append(out, n)
		}
	}
	return out
}
