package main

import (
	"bufio"
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/creack/pty"
)

// onScreen runs do with a terminal, and returns what it wrote there until that is enough.
func onScreen(t *testing.T, enough func(text string) bool, do func(screen *os.File)) string {
	t.Helper()
	keys, screen, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		do(screen)
		screen.Close()
	}()
	t.Cleanup(func() { <-done; keys.Close() })
	var text strings.Builder
	for s := bufio.NewScanner(keys); s.Scan() && !enough(text.String()); {
		text.WriteString(s.Text() + "\n")
	}
	go func() { _, _ = io.Copy(io.Discard, keys) }() // it ends with the terminal
	return text.String()
}

// A page that the shop's network reaches is shown with its QR code, by setup and by run.
func TestAPhoneNeedNotTypeTheAddress(t *testing.T) {
	t.Parallel()
	host, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	shown := func(text string) bool {
		_, code, found := strings.Cut(text, "http://"+host+":9743")
		return found && strings.Count(code, "▀") > 30
	}
	file := filepath.Join(t.TempDir(), "wren.toml")
	answers := strings.Join([]string{"wren", "", "typed", "", "120", "", "", "", "", "",
		filepath.Join(t.TempDir(), "wren.db"), "0.0.0.0:9743", "", ""}, "\n") + "\n"
	c := &setupCmd{File: file, roots: madeUpSys(t)}
	said := onScreen(t, shown, func(screen *os.File) {
		if err := c.Run(&env{ctx: t.Context(), in: strings.NewReader(answers), out: screen, err: screen}); err != nil {
			t.Error(err)
		}
	})
	if !shown(said) {
		t.Fatalf("setup shows no code: %s", said)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	mustWrite(t, file, strings.Replace(string(text), "0.0.0.0:9743", "127.0.0.1:0", 1)+
		"\n[control]\nsocket = \""+filepath.Join(t.TempDir(), "s")+"\"\n[alarm]\npage = \"http://"+host+":9743\"\n")
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	said = onScreen(t, shown, func(screen *os.File) {
		_ = run(ctx, []string{"run", "--config", file}, strings.NewReader(""), screen, screen)
	})
	if !shown(said) {
		t.Errorf("run shows no code: %s", said)
	}
}
