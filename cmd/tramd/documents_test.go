package main

import (
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

// documents are the README and every page of the documentation.
func documents(t *testing.T) map[string]string {
	t.Helper()
	pages, err := filepath.Glob("docs/*.md")
	if err != nil || len(pages) < 13 {
		t.Fatalf("%d pages: %v", len(pages), err)
	}
	out := map[string]string{}
	for _, name := range append(pages, "../../README.md", "../../device/frame/frames.md",
		"../../dashboards/README.md") {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		out[name] = string(text)
	}
	return out
}

// shownCommands are the commands of the program in a document's blocks and between its backquotes.
func shownCommands(text string) []string {
	var out []string
	for _, line := range strings.Split(text, "\n") {
		if rest, ok := strings.CutPrefix(line, "    "); ok && strings.HasPrefix(strings.TrimSpace(rest), "tramd ") {
			out = append(out, strings.TrimSpace(rest))
		}
	}
	return out
}

var (
	spoken = regexp.MustCompile("`tramd ([a-z]+)( config)?")
	links  = regexp.MustCompile(`\]\(([^)#]+)(#[^)]*)?\)|src="([^"]+)"`)
)

// fields splits a command line as a shell does where it uses double quotes only.
func fields(line string) []string {
	var out []string
	for i, part := range strings.Split(line, `"`) {
		if i%2 == 1 {
			out = append(out, part)
		} else {
			out = append(out, strings.Fields(part)...)
		}
	}
	return out
}

// Every command that a document shows is one that the program takes, with its flags.
func TestDocumentsShowCommandsThatThereAre(t *testing.T) {
	known := grammar(t)
	shown := 0
	for name, text := range documents(t) {
		for _, line := range shownCommands(text) {
			if strings.Contains(line, "FILE") { // a pattern
				continue
			}
			shown++
			line, _, _ = strings.Cut(line, " > ") // where the shell writes it to
			var cl commandLine
			parser, err := kong.New(&cl, kong.Name("tramd"), kong.Vars{"model": defaultModel}, kong.Exit(func(int) {}),
				kong.Writers(io.Discard, io.Discard))
			if err != nil {
				t.Fatal(err)
			}
			if _, err := parser.Parse(fields(line)[1:]); err != nil {
				t.Errorf("%s: %s: %v", name, line, err)
			}
		}
		for _, m := range spoken.FindAllStringSubmatch(text, -1) {
			found := false
			for command := range known {
				found = found || command == m[1] || strings.HasPrefix(command, m[1]+" ")
			}
			if !found {
				t.Errorf("%s speaks of tramd %s", name, m[1])
			}
		}
	}
	if shown < 25 {
		t.Errorf("only %d commands are shown", shown)
	}
}

// Every link and every picture of a document leads somewhere, and each page says first what the reader will have at its end.
func TestDocumentsLeadSomewhere(t *testing.T) {
	n := 0
	for name, text := range documents(t) {
		for _, m := range links.FindAllStringSubmatch(text, -1) {
			to := m[1] + m[3]
			if strings.Contains(to, "://") {
				continue
			}
			n++
			if _, err := os.Stat(filepath.Join(filepath.Dir(name), to)); err != nil {
				t.Errorf("%s leads to %s: %v", name, to, err)
			}
		}
		if strings.HasPrefix(name, "docs/") && name != "docs/configuration.md" &&
			!strings.Contains(strings.Join(strings.Split(text, "\n")[:4], "\n"), "At the end ") {
			t.Errorf("%s does not say what the reader will have at the end", name)
		}
	}
	if n < 30 {
		t.Errorf("only %d links", n)
	}
}

// The README stays short, names every page, and begins with the cautions before anything is mounted.
func TestReadme(t *testing.T) {
	docs := documents(t)
	readme := docs["../../README.md"]
	if lines := strings.Count(readme, "\n"); lines >= 130 {
		t.Errorf("%d lines", lines)
	}
	for name := range docs {
		if page, ok := strings.CutPrefix(name, "docs/"); ok && !strings.Contains(readme, "cmd/tramd/docs/"+page) {
			t.Errorf("the README does not name %s", page)
		}
	}
	caution, mount := strings.Index(readme, "Isolate the spindle's power before a hand or an arm is near it"),
		strings.Index(readme, "**Mount**")
	if caution < 0 || mount < caution {
		t.Error("the README has somebody mount an arm before it says to isolate the power")
	}
	for step := range 7 {
		if !strings.Contains(readme, "\n"+string(rune('1'+step))+". **") {
			t.Errorf("no step %d", step+1)
		}
	}
}
