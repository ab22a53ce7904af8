// Command doubled says what doubling a constant of the measurement model does to a dozen kinds of simulated sweeps:
//
//	go run ./.ci/doubled NAME...
//
// It prints the name and what TestTwelveKinds finds with the number doubled, for the last column of
// sweep/mixed/constants.md. A name of nothing, "as", prints it as all constants stand. The files on disk stay as they
// are.
package main

import (
	"fmt"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"

	"tramd/.ci/overlay"
)

const model = "sweep/mixed"

func main() {
	log.SetFlags(0)
	dir, err := os.MkdirTemp("", "doubled")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(dir)
	for _, name := range os.Args[1:] {
		found, err := doubled(dir, name)
		if err != nil {
			log.Printf("%s: %v", name, err)
			continue
		}
		fmt.Printf("| %s | %s |\n", name, found)
	}
}

var figures = regexp.MustCompile(`twelve kinds: (.*)`)

// doubled returns what the twelve kinds come to with a constant doubled.
func doubled(dir, name string) (string, error) {
	args := []string{"test", "-trimpath", "-run", "TestTwelveKinds", "-study"}
	if name != "as" {
		file, err := overlayOf(dir, name)
		if err != nil {
			return "", err
		}
		args = append(args, "-overlay", file)
	}
	cmd := exec.Command("go", append(args, "-v")...)
	cmd.Dir = model
	out, err := cmd.CombinedOutput()
	if m := figures.FindSubmatch(out); m != nil {
		return string(m[1]), nil
	}
	return "", fmt.Errorf("no figures (%v):\n%s", err, out)
}

// overlayOf writes the file in which the constant stands with the number doubled, and what puts it in place.
func overlayOf(dir, name string) (string, error) {
	files, err := filepath.Glob(model + "/*.go")
	if err != nil {
		return "", err
	}
	line := regexp.MustCompile(`(?m)^((?:const |var |\t)` + name + ` += )([^/\n{]+?)( *(?://.*)?)$`)
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			return "", err
		}
		if !line.Match(text) {
			continue
		}
		return overlay.Write(dir, file, line.ReplaceAll(text, []byte("${1}2 * (${2})${3}")))
	}
	return "", fmt.Errorf("no such constant, or no plain number")
}
