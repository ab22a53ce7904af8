package main

import (
	"fmt"
	"os"
	"strconv"
	"time"

	"github.com/alecthomas/kong"

	"tramd/cmd/tramd/internal/manual"
)

type manualCmd struct{}

// Run writes the page with the date of SOURCE_DATE_EPOCH, so that two builds of one version are the same.
func (manualCmd) Run(e *env, k *kong.Kong) error {
	at := time.Now()
	if text := os.Getenv("SOURCE_DATE_EPOCH"); text != "" {
		sec, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return fmt.Errorf("SOURCE_DATE_EPOCH=%q is no time in seconds: %w", text, err)
		}
		at = time.Unix(sec, 0)
	}
	return manual.Page(e.out, k.Model, manual.Words{Version: version, Date: at, Cautions: cautions,
		Examples: manualExamples})
}

// manualExamples returns the examples of a command for the manual.
func manualExamples(command string) []manual.Example {
	var out []manual.Example
	for _, x := range examples[command] {
		out = append(out, manual.Example(x))
	}
	return out
}

type completionCmd struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}

func (c *completionCmd) Run(e *env, k *kong.Kong) error {
	switch c.Shell {
	case "zsh":
		return manual.Zsh(e.out, k.Model)
	case "fish":
		return manual.Fish(e.out, k.Model)
	}
	return manual.Bash(e.out, k.Model)
}
