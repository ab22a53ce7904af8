package main

import (
	"bytes"
	"encoding/json"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// forbidden says, for each room of the house, what must never be imported there.
var forbidden = []struct {
	room  string
	never []string
}{
	{"tramd/sweep/units", []string{"tramd/", "gonum.org/"}},
	{"tramd/sweep", []string{"tramd/device", "tramd/store", "tramd/cmd", "database/sql", "net", "os", "log"}},
	{"tramd/device", []string{"tramd/store", "tramd/cmd", "net/http", "database/sql"}},
	{"tramd/device/serialport", []string{"tramd/"}},
	{"tramd/device/capture", []string{"tramd/sweep", "tramd/device/serialport", "net", "log", "context"}},
	{"tramd/device/frame", []string{"tramd/device", "os", "io", "net", "log", "context", "sync", "golang.org/"}},
	{"tramd/store", []string{"tramd/device", "tramd/cmd", "net/http"}},
	{"tramd/cmd/tramd/internal/api", []string{"tramd/store", "tramd/device", "tramd/cmd", "database/sql", "os", "log"}},
	{"tramd/cmd/tramd/internal/session", []string{"tramd/store", "github.com/prometheus", "database/sql", "net/http"}},
	{"tramd/cmd/tramd/internal/runs", []string{"tramd/device", "tramd/cmd/tramd/internal/daemon",
		"tramd/cmd/tramd/internal/web"}},
	{"tramd/cmd/tramd/internal/tui", []string{"tramd/store", "tramd/cmd/tramd/internal/web",
		"tramd/cmd/tramd/internal/daemon", "tramd/cmd/tramd/internal/session", "database/sql"}},
	{"tramd/cmd/tramd/internal/mqtt", []string{"tramd/store", "tramd/device", "tramd/cmd/tramd/internal/session"}},
	{"tramd/cmd/tramd/internal/client", []string{"tramd/device", "tramd/cmd/tramd/internal/session"}},
	{"tramd/cmd/tramd/internal/motion", []string{"tramd/", "os", "net", "database/sql"}},
	{"tramd/cmd/tramd/internal/interlock", []string{"tramd/", "os", "net", "database/sql"}},
	{"tramd/cmd/tramd/internal/metrics", []string{"tramd/store", "tramd/device", "tramd/cmd/tramd/internal/web",
		"tramd/cmd/tramd/internal/session"}},
	{"tramd/cmd/tramd/internal/alarm", []string{"tramd/store", "tramd/device", "tramd/cmd/tramd/internal/web",
		"tramd/cmd/tramd/internal/session"}},
	{"tramd/cmd/tramd/internal/web", []string{"tramd/store", "tramd/device", "tramd/cmd/tramd/internal/metrics",
		"tramd/cmd/tramd/internal/session"}},
	{"tramd/cmd/tramd/internal/unattended", []string{"tramd/sweep", "tramd/device", "database/sql", "net", "os"}},
	{"tramd/cmd/tramd/internal/hours", []string{"tramd/sweep", "database/sql", "net", "os"}},
	{"tramd/cmd/tramd/internal/archive", []string{"tramd/device", "tramd/cmd/tramd/internal/web",
		"tramd/cmd/tramd/internal/daemon", "net"}},
	{"tramd/cmd/tramd/internal/service", []string{"tramd/device", "tramd/cmd/tramd/internal/web",
		"tramd/cmd/tramd/internal/daemon", "net"}},
	{"tramd/cmd/tramd/internal/maintenance", []string{"tramd/device", "tramd/cmd/tramd/internal/web",
		"tramd/cmd/tramd/internal/daemon", "net"}},
	{"tramd/cmd/tramd/internal/history", []string{"tramd/device", "tramd/cmd/tramd/internal/web",
		"tramd/cmd/tramd/internal/daemon", "net"}},
	{"tramd/cmd/tramd/internal/watchdog", []string{"tramd/store", "tramd/sweep", "tramd/cmd/tramd/internal/daemon",
		"net", "os"}},
	{"tramd/cmd/tramd/internal/schedule", []string{"tramd/", "database/sql", "net", "os", "log"}},
	{"tramd/cmd/tramd/internal/identify", []string{"tramd/sweep", "tramd/store", "os", "net"}},
	{"tramd/cmd/tramd/internal/identify/identifytest", []string{"tramd/"}},
	{"tramd/cmd/tramd/internal/sim", []string{"tramd/sweep", "tramd/device", "tramd/store"}},
	// Nothing that runs with the daemon starts another program.
	{"tramd/cmd", []string{"os/exec"}}, {"tramd/device", []string{"os/exec"}}, {"tramd/store", []string{"os/exec"}},
	{"tramd/sweep", []string{"os/exec"}},
}

type listed struct {
	ImportPath string
	Doc        string
	Name       string
	Imports    []string
}

func TestNoRoomReachesWhereItMustNot(t *testing.T) {
	cmd := exec.Command("go", "list", "-json=ImportPath,Doc,Name,Imports", "-tags",
		"sqlite_omit_load_extension osusergo netgo nethttpomithttp2", "tramd/...")
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	plan, err := os.ReadFile("../../DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for d := json.NewDecoder(bytes.NewReader(text)); d.More(); {
		var p listed
		if err := d.Decode(&p); err != nil {
			t.Fatal(err)
		}
		seen++
		if p.Doc == "" {
			t.Errorf("%s has no package comment", p.ImportPath)
		}
		if room := path.Base(p.ImportPath); !regexp.MustCompile("[`/{,]" + room + "[`,}]").Match(plan) {
			t.Errorf("%s does not stand in DEVELOPERS.md", p.ImportPath)
		}
		for _, rule := range forbidden {
			if p.ImportPath != rule.room && !strings.HasPrefix(p.ImportPath, rule.room+"/") {
				continue
			}
			for _, imp := range p.Imports {
				for _, never := range rule.never {
					own := strings.HasPrefix(imp, rule.room)
					if !own && (imp == never || strings.HasPrefix(imp, strings.TrimSuffix(never, "/")+"/")) {
						t.Errorf("%s imports %s", p.ImportPath, imp)
					}
				}
			}
		}
	}
	if seen < 8 {
		t.Fatalf("only %d packages were looked at", seen)
	}
}

// TestTheCoresArePure looks at packages that hold a pure core with its loop beside it: the core's files import neither
// what reads and writes nor what logs.
func TestTheCoresArePure(t *testing.T) {
	for file, may := range map[string][]string{
		"hours/meter.go": nil, "unattended/checker.go": {"tramd/cmd/tramd/internal/schedule"},
		"unattended/conditions.go": nil, "unattended/facts.go": nil,
		"motion/machine.go": nil, "motion/stop.go": nil,
	} {
		f, err := parser.ParseFile(token.NewFileSet(), "internal/"+file, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range f.Imports {
			imp, _ := strconv.Unquote(x.Path.Value)
			if !slices.Contains(append(may, "cmp", "fmt", "math", "slices", "strconv", "strings", "time"), imp) {
				t.Errorf("%s imports %s", file, imp)
			}
		}
	}
}

func TestOnlyOnePackageKnowsTheSerialLibrary(t *testing.T) {
	const format = `{{$p := .ImportPath}}{{range .Imports}}{{if eq . "go.bug.st/serial"}}{{$p}}{{"\n"}}{{end}}{{end}}`
	text, err := exec.Command("go", "list", "-f", format, "tramd/...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	if got := strings.TrimSpace(string(text)); got != "tramd/device/serialport" {
		t.Errorf("the serial library is imported by %q", got)
	}
}
