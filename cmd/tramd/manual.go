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
	return manual.Page(e.out, k.Model, manual.Words{Version: version, Date: at, Cautions: cautions})
}

type completionCmd struct {
	Shell string `arg:"" enum:"bash,zsh" help:"bash or zsh."`
}

func (c *completionCmd) Run(e *env, k *kong.Kong) error {
	if c.Shell == "zsh" {
		return manual.Zsh(e.out, k.Model)
	}
	return manual.Bash(e.out, k.Model)
}
