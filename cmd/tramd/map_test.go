package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "draw the map of packages in DEVELOPERS.md again")

const (
	mapBegins = "<!-- map -->\n"
	mapEnds   = "<!-- end of map -->"
)

// TestTheMapIsTrue draws the packages of today and compares them with the picture in DEVELOPERS.md.
func TestTheMapIsTrue(t *testing.T) {
	const file = "../../DEVELOPERS.md"
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(text), mapBegins)
	old, after, ok2 := strings.Cut(rest, mapEnds)
	if !ok || !ok2 {
		t.Fatalf("%s has no %q and %q", file, mapBegins, mapEnds)
	}
	drawn := picture(imports(t))
	if *update {
		if err := os.WriteFile(file, []byte(before+mapBegins+drawn+mapEnds+after), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if old != drawn {
		t.Errorf("the picture in DEVELOPERS.md is old: go test ./cmd/tramd -run TestTheMapIsTrue -update; want\n%s",
			drawn)
	}
}

// TestTheMapsPlacesAreThere looks up each file and each file:function that DEVELOPERS.md and the decisions name.
func TestTheMapsPlacesAreThere(t *testing.T) {
	const top = "../.."
	files := map[string]string{} // by the path's end
	err := filepath.WalkDir(top, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		if strings.HasSuffix(path, ".go") || strings.HasSuffix(path, ".js") {
			text, err := os.ReadFile(path)
			files[strings.TrimPrefix(path, top+"/")] = string(text)
			return err
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	place := regexp.MustCompile("`([a-z0-9_/]+\\.(?:go|js))(?::(\\w+))?`")
	text, err := os.ReadFile(top + "/DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	found := place.FindAllStringSubmatch(string(text), -1)
	if len(found) < 30 {
		t.Fatalf("DEVELOPERS.md names only %d places", len(found))
	}
	for _, m := range found {
		there := false
		for path, code := range files {
			if (path == m[1] || strings.HasSuffix(path, "/"+m[1])) &&
				(m[2] == "" || regexp.MustCompile(`(?m)^func (\([^)]*\) )?`+m[2]+`\(`).MatchString(code)) {
				there = true
			}
		}
		if !there {
			t.Errorf("DEVELOPERS.md names %s, which is not there", m[0])
		}
	}
}

// imports returns which package uses which; device, store, sweep and dashboards stand for all beneath them.
func imports(t *testing.T) map[string][]string {
	cmd := exec.Command("go", "list", "-json=ImportPath,Imports", "-tags",
		"sqlite_omit_load_extension osusergo netgo nethttpomithttp2", "tramd/...")
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	uses := map[string][]string{}
	for d := json.NewDecoder(bytes.NewReader(text)); d.More(); {
		var p listed
		if err := d.Decode(&p); err != nil {
			t.Fatal(err)
		}
		from := short(p.ImportPath)
		for _, imp := range p.Imports {
			to := short(imp)
			if strings.HasPrefix(imp, "tramd/") && to != from && !strings.HasSuffix(from, "test") &&
				!slices.Contains(uses[from], to) {
				uses[from] = append(uses[from], to)
			}
		}
	}
	return uses
}

func short(path string) string {
	path = strings.TrimPrefix(path, "tramd/")
	if first, _, _ := strings.Cut(path, "/"); first != "cmd" {
		return first
	}
	return strings.TrimPrefix(path, "cmd/tramd/internal/")
}

// picture writes the imports as a Mermaid flowchart, without those that a longer way implies.
func picture(uses map[string][]string) string {
	var reaches func(from, to string) bool
	reaches = func(from, to string) bool {
		return slices.ContainsFunc(uses[from], func(n string) bool { return n == to || reaches(n, to) })
	}
	var lines []string
	for from, all := range uses {
		for _, to := range all {
			if !slices.ContainsFunc(all, func(n string) bool { return n != to && reaches(n, to) }) {
				lines = append(lines, fmt.Sprintf("  %s --> %s\n", from, to))
			}
		}
	}
	slices.Sort(lines)
	return "```mermaid\nflowchart TD\n" + strings.Join(lines, "") + "```\n"
}
