package main

import (
	"fmt"
	"runtime"
)

// version is set when the program is built (-ldflags "-X main.version=...").
var version = "dev"

type versionCmd struct{}

func (versionCmd) Run(e *env) error {
	_, err := fmt.Fprintln(e.out, versionLine())
	return err
}

// versionLine returns the version with the Go release and the platform it was built for.
func versionLine() string {
	return fmt.Sprintf("tramd %s (%s, %s/%s)", version, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}
