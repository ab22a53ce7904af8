package main

import (
	"encoding/json"
	"fmt"
	"runtime"
)

// version is set when the program is built (-ldflags "-X main.version=...").
var version = "dev"

type versionCmd struct {
	JSON bool `name:"json" help:"Print one JSON object."`
}

func (c versionCmd) Run(e *env) error {
	if c.JSON {
		return json.NewEncoder(e.out).Encode(map[string]string{
			"version": version, "go": runtime.Version(), "os": runtime.GOOS, "arch": runtime.GOARCH,
		})
	}
	_, err := fmt.Fprintln(e.out, versionLine())
	return err
}

// versionLine returns the version with the Go release and the platform it was built for.
func versionLine() string {
	return fmt.Sprintf("tramd %s (%s, %s/%s)", version, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}
