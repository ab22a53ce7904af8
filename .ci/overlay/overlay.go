// Package overlay puts another text in the place of a source file, for one run of the go command (-overlay). It does
// not change the file on disk.
package overlay

import (
	"encoding/json"
	"os"
	"path/filepath"
)

// Write keeps the text in a directory, which must outlive the run, and returns the file to give to -overlay.
func Write(dir, file string, text []byte) (string, error) {
	full, err := filepath.Abs(file)
	if err != nil {
		return "", err
	}
	instead := filepath.Join(dir, "instead.go")
	if err := os.WriteFile(instead, text, 0o600); err != nil {
		return "", err
	}
	replace, err := json.Marshal(map[string]map[string]string{"Replace": {full: instead}})
	if err != nil {
		return "", err
	}
	out := filepath.Join(dir, "overlay.json")
	return out, os.WriteFile(out, replace, 0o600)
}
