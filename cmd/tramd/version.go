package main

import (
	"fmt"
	"runtime"
)

// version is set when the program is built (-ldflags "-X main.version=...").
var version = "dev"

type versionCmd struct{}

func (versionCmd) Run(e *env) error {
	_, err := fmt.Fprintf(e.out, "tramd %s (%s, %s/%s)\n", version, runtime.Version(), runtime.GOOS, runtime.GOARCH)
	return err
}
