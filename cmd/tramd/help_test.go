package main

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

// Each command has an example, and each example is a command line that the program accepts.
func TestEveryCommandHasExamplesThatParse(t *testing.T) {
	for path := range grammar(t) {
		if len(examples[path]) == 0 {
			t.Errorf("tramd %s has no example", path)
		}
		status, out, errOut := call(t, append(strings.Fields(path), "--help")...)
		if status != exitDone || !strings.Contains(out, "Examples:\n  ") {
			t.Errorf("tramd %s --help: status %d, %s%s", path, status, out, errOut)
		}
	}
	known := grammar(t)
	for path, list := range examples {
		if _, ok := known[path]; !ok && path != "" {
			t.Errorf("examples of %q, which is no command", path)
		}
		for _, x := range list {
			line := strings.TrimSuffix(strings.TrimPrefix(x.Line, "source <("), ")")
			line, _, _ = strings.Cut(line, " > ")
			line, _, _ = strings.Cut(line, " | ")
			words := shellWords(line)
			if words[0] != "tramd" {
				t.Errorf("%q does not run tramd", x.Line)
				continue
			}
			var cl commandLine
			parser, err := newParser(&cl, kong.Exit(func(int) {}))
			if err != nil {
				t.Fatal(err)
			}
			if _, err := parser.Parse(words[1:]); err != nil {
				t.Errorf("%s: %v", x.Line, err)
			}
		}
	}
}

// shellWords splits a line at spaces outside single quotes.
func shellWords(line string) []string {
	var words []string
	for i, part := range strings.Split(line, "'") {
		if i%2 == 1 {
			words = append(words, part)
		} else {
			words = append(words, strings.Fields(part)...)
		}
	}
	return words
}

func TestHelpAndVersionByEveryUsualWay(t *testing.T) {
	_, want, _ := call(t, "config", "check", "--help")
	for _, args := range [][]string{{"help", "config", "check"}, {"config", "check", "-h"}} {
		if status, got, errOut := call(t, args...); status != exitDone || got != want || errOut != "" {
			t.Errorf("%v: status %d, %s%s", args, status, got, errOut)
		}
	}
	_, want, _ = call(t, "--help")
	for _, group := range groups {
		if !strings.Contains(want, group.Title+"\n") {
			t.Errorf("the help has no group %q", group.Title)
		}
	}
	for _, args := range [][]string{{"help"}, {"-h"}, {}} {
		if status, got, _ := call(t, args...); status != exitDone || got != want {
			t.Errorf("%v: status %d, %s", args, status, got)
		}
	}
	if status, _, errOut := call(t, "help", "config", "chek"); status != exitUsage ||
		!strings.Contains(errOut, "config chek") {
		t.Errorf("an unknown command: status %d, %s", status, errOut)
	}
	_, want, _ = call(t, "version")
	if status, got, _ := call(t, "--version"); status != exitDone || got != want || !strings.HasPrefix(got, "tramd ") {
		t.Errorf("--version: status %d, %q; version says %q", status, got, want)
	}
}

func TestFindConfig(t *testing.T) {
	none, one, two := t.TempDir(), t.TempDir(), t.TempDir()
	linnet, wren := filepath.Join(two, "linnet.toml"), filepath.Join(two, "wren.toml")
	mustWrite(t, filepath.Join(one, "linnet.toml"), "")
	mustWrite(t, linnet, "")
	mustWrite(t, wren, "")
	for _, x := range []struct{ flag, env, dir, want, says string }{
		{"a.toml", "b.toml", two, "a.toml", ""},
		{"", "b.toml", two, "b.toml", ""},
		{"", "", one, filepath.Join(one, "linnet.toml"), ""},
		{"", "", none, "", "give --config FILE, set TRAMD_CONFIG"},
		{"", "", two, "", "2 configurations: say which by --config or TRAMD_CONFIG: " + linnet + ", " + wren},
	} {
		got, err := findConfig(x.flag, x.env, x.dir)
		if got != x.want || x.says == "" && err != nil || x.says != "" &&
			(err == nil || !strings.Contains(err.Error(), x.says)) {
			t.Errorf("flag %q, environment %q: %q, %v", x.flag, x.env, got, err)
		}
	}
}

func TestTheEnvironmentNamesTheConfiguration(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	t.Setenv("TRAMD_CONFIG", s.config)
	status, out, errOut := call(t, "config", "check")
	if status != exitDone || !strings.HasPrefix(out, s.config+" is right: machine linnet") {
		t.Errorf("status %d, %s%s", status, out, errOut)
	}
	t.Setenv("TRAMD_CONFIG", s.config+".gone")
	if status, _, errOut := call(t, "runs"); status != exitFailed || !strings.Contains(errOut, s.config+".gone") {
		t.Errorf("a missing file: status %d, %s", status, errOut)
	}
}
