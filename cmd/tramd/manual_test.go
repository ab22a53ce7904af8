package main

import (
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

// grammar is every command of the program with its flags, read off kong's model here and not by what is tested.
func grammar(t *testing.T) map[string][]string {
	t.Helper()
	var cl commandLine
	k, err := newParser(&cl, kong.Exit(func(int) {}))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	for _, leaf := range k.Model.Leaves(true) {
		var flags []string
		for _, f := range leaf.Flags {
			flags = append(flags, "--"+f.Name)
		}
		out[strings.TrimPrefix(leaf.FullPath(), "tramd ")] = flags
	}
	if len(out) < 15 || len(out["sweep"]) < 5 {
		t.Fatalf("%d commands: %v", len(out), out)
	}
	return out
}

func TestEveryCommandAndFlagIsInTheManual(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", "1767225600")
	status, page, errOut := call(t, "manual")
	if status != exitDone {
		t.Fatal(errOut)
	}
	lint := exec.Command(tool(t, "mandoc", "mandoc"), "-T", "lint", "-W", "warning")
	lint.Stdin = strings.NewReader(page)
	if out, err := lint.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("mandoc: %v\n%s", err, out)
	}
	show := exec.Command("mandoc", "-T", "ascii", "-O", "width=1000")
	show.Stdin = strings.NewReader(page)
	out, err := show.Output()
	if err != nil {
		t.Fatal(err)
	}
	text := unstruck(string(out))
	for _, want := range []string{"isolate the spindle's power", "2026-01-01", "EXIT STATUS", "SIGHUP",
		"One of plain, full", "One of tilt, nod.", "tramd help config check"} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in the manual", want)
		}
	}
	for path, flags := range grammar(t) {
		_, after, ok := strings.Cut(text, "\n   tramd "+path+"\n")
		if !ok {
			t.Errorf("tramd %s is not in the manual", path)
			continue
		}
		section, _, _ := strings.Cut(after, "\n   tramd ")
		for _, f := range flags {
			if !strings.Contains(section, "\n       "+f) {
				t.Errorf("tramd %s: %s is not in the manual", path, f)
			}
		}
	}
}

// unstruck takes out the overstriking that stands for bold and underlined type.
func unstruck(s string) string {
	var out []rune
	for _, c := range s {
		if c == '\b' {
			out = out[:len(out)-1]
			continue
		}
		out = append(out, c)
	}
	return string(out)
}

// The scripts are run by the shells they are for; each answers what it would offer after some words.
var shells = map[string]string{
	"bash": `source "$1"; while read -ra COMP_WORDS; do [[ ${COMP_WORDS[-1]} == _ ]] && COMP_WORDS[-1]=; COMP_CWORD=$((${#COMP_WORDS[@]}-1)); _tramd; echo "${COMPREPLY[*]}"; done`,
	"zsh": `_files() { print -r -- }
_describe() { print -r -- ${(P)2%%:*} }
source "$1"; while read -A words; do [[ ${words[-1]} == _ ]] && words[-1]=; CURRENT=${#words}; _tramd; done`,
	"fish": `source $argv[2]
while read -l line
  echo (complete -C (string replace -r ' _$' ' ' -- $line) | string replace -r '\t.*' '')
end`,
}

func TestTheShellsOfferWhatTheProgramTakes(t *testing.T) {
	t.Parallel()
	type question struct {
		line string // a lone _ at the end is an empty word
		want []string
	}
	questions := []question{
		{"tramd config _", []string{"check"}}, {"tramd completion _", []string{"bash", "zsh", "fish"}},
		{"tramd event _", []string{"log", "list", "undo"}}, {"tramd sweep --half-turn _", []string{"tilt", "nod"}},
		{"tramd fit --model _", []string{"plain", "full"}}, {"tramd fit --config _", nil}, {"tramd fit x.csv _", nil},
	}
	top := []string{}
	for path, flags := range grammar(t) {
		questions = append(questions, question{"tramd " + path + " --", append(flags, "--help", "--version")})
		name, _, _ := strings.Cut(path, " ")
		if !slices.Contains(top, name) {
			top = append(top, name)
		}
	}
	questions = append(questions, question{"tramd _", top})
	for name, script := range shells {
		t.Run(name, func(t *testing.T) {
			shell := tool(t, name, name)
			status, text, errOut := call(t, "completion", name)
			if status != exitDone {
				t.Fatal(errOut)
			}
			file := filepath.Join(t.TempDir(), "completion")
			mustWrite(t, file, text)
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			cmd := exec.CommandContext(ctx, shell, "-c", script, name, file)
			var lines strings.Builder
			for _, q := range questions {
				lines.WriteString(q.line + "\n")
			}
			cmd.Stdin = strings.NewReader(lines.String())
			cmd.Dir = t.TempDir() // no files to offer
			cmd.Env = append(os.Environ(), "HOME="+cmd.Dir)
			out, err := cmd.CombinedOutput()
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			answers := strings.Split(strings.TrimSuffix(string(out), "\n"), "\n")
			if len(answers) != len(questions) {
				t.Fatalf("%d answers to %d questions:\n%s", len(answers), len(questions), out)
			}
			for i, q := range questions {
				got := strings.Fields(answers[i])
				slices.Sort(got)
				want := slices.Sorted(slices.Values(q.want))
				if !slices.Equal(got, want) {
					t.Errorf("after %q it offers %v, want %v", q.line, got, want)
				}
			}
		})
	}
	if status := run(t.Context(), []string{"completion", "tcsh"}, nil, io.Discard, io.Discard); status != exitUsage {
		t.Errorf("an unknown shell: status %d", status)
	}
}
