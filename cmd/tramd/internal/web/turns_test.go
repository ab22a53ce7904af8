package web

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"tramd/sweep"
)

// The page asks for no more turns than the daemon grants.
func TestThePageKnowsTheMostTurns(t *testing.T) {
	text, err := os.ReadFile("assets/shell.html")
	if err != nil {
		t.Fatal(err)
	}
	if want := fmt.Sprintf(`id="turns" type="number" min="1" max="%d"`, sweep.MaxTurns); !strings.Contains(
		string(text), want) {
		t.Errorf("no %s on the page", want)
	}
}
