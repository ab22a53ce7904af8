package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/compose-spec/compose-go/v2/cli"
	"github.com/moby/buildkit/frontend/dockerfile/instructions"
	"github.com/moby/buildkit/frontend/dockerfile/linter"
	"github.com/moby/buildkit/frontend/dockerfile/parser"

	"tramd/cmd/tramd/internal/config"
)

const containerDir = "../../systemd/container"

// lintContainerfile returns the stages of a Containerfile and what Docker's own parser and linter have against it.
func lintContainerfile(text string) (stages []instructions.Stage, said []string) {
	file, err := parser.Parse(strings.NewReader(text))
	if err != nil {
		return nil, []string{err.Error()}
	}
	for _, w := range file.Warnings {
		said = append(said, w.Short)
	}
	rules := linter.New(&linter.Config{Warn: func(rule, _, _, text string, _ []parser.Range) {
		said = append(said, rule+": "+text)
	}})
	stages, _, err = instructions.Parse(file.AST, rules)
	if err != nil {
		said = append(said, err.Error())
	}
	return stages, said
}

// The image is built as its own parser wants it, runs tramd without being root, and looks at its health by a command
// that there is.
func TestTheContainerfileIsRight(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join(containerDir, "Containerfile"))
	if err != nil {
		t.Fatal(err)
	}
	if _, said := lintContainerfile(strings.Replace(string(text), "COPY . .", "COPPY . .", 1)); len(said) == 0 {
		t.Error("a wrong instruction is not found")
	}
	stages, said := lintContainerfile(string(text))
	if len(said) != 0 || len(stages) != 2 {
		t.Fatalf("%d stages; %q", len(stages), said)
	}
	var user, from string
	var commands [][]string
	for _, c := range stages[1].Commands {
		switch c := c.(type) {
		case *instructions.UserCommand:
			user = c.User
		case *instructions.CopyCommand:
			from = c.SourcePaths[0]
		case *instructions.CmdCommand:
			commands = append(commands, c.CmdLine)
		case *instructions.HealthCheckCommand:
			commands = append(commands, slices.DeleteFunc(c.Health.Test, func(s string) bool {
				return s == "CMD" || s == "tramd"
			}))
		}
	}
	if user != "tramd" || from != "/src/bin/tramd" || len(commands) != 2 {
		t.Errorf("user %q, program from %q, commands %q", user, from, commands)
	}
	for _, args := range commands {
		var cl commandLine
		k, err := newParser(&cl, kong.Exit(func(int) {}))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := k.Parse(args); err != nil {
			t.Errorf("tramd %q: %v", args, err)
		}
	}
}

// The compose file is one by the reference loader of the Compose specification, and each file that it mounts is there
// and right.
func TestTheComposeFileIsRight(t *testing.T) {
	t.Parallel()
	load := func(path string) (mounts map[string]string, err error) {
		o, err := cli.NewProjectOptions([]string{path}, cli.WithoutEnvironmentResolution)
		if err != nil {
			return nil, err
		}
		project, err := o.LoadProject(t.Context())
		if err != nil {
			return nil, err
		}
		mounts = map[string]string{}
		for _, s := range project.Services {
			if _, tag, tagged := strings.Cut(s.Image, ":"); s.Build == nil && (!tagged || tag == "latest") {
				t.Errorf("%s: an image without a version: %s", s.Name, s.Image)
			}
			if s.Build != nil {
				mounts["Containerfile"] = filepath.Join(s.Build.Context, s.Build.Dockerfile)
			}
			for _, v := range s.Volumes {
				if v.Type == "bind" {
					mounts[v.Target] = v.Source
				}
			}
		}
		return mounts, nil
	}
	mounts, err := load(filepath.Join(containerDir, "compose.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	for _, source := range mounts {
		if st, err := os.Stat(source); err != nil || !st.Mode().IsRegular() {
			t.Errorf("%s: %v", source, err)
		}
	}
	cfg, err := config.Load(mounts["/etc/tramd/tramd.toml"])
	if err != nil {
		t.Fatal(err)
	}
	if cfg.HTTP.Listen != "0.0.0.0:9743" || !slices.Contains(cfg.HTTP.Hosts, "tramd") {
		t.Errorf("Prometheus does not reach %+v", cfg.HTTP)
	}
	dir := t.TempDir()
	for target, source := range mounts {
		if inside, ok := strings.CutPrefix(target, "/etc/prometheus/"); ok {
			text, err := os.ReadFile(source)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.MkdirAll(filepath.Dir(filepath.Join(dir, inside)), 0o755); err != nil {
				t.Fatal(err)
			}
			mustWrite(t, filepath.Join(dir, inside), string(text))
		}
	}
	cmd := exec.Command(tool(t, "promtool", "prometheus"), "check", "config", "prometheus.yml")
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("promtool: %v\n%s", err, out)
	}
	spoiled := filepath.Join(dir, "compose.yaml")
	text, err := os.ReadFile(filepath.Join(containerDir, "compose.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	mustWrite(t, spoiled, strings.Replace(string(text), "depends_on", "depends_of", 1))
	if _, err := load(spoiled); err == nil || !strings.Contains(err.Error(), "depends_of") {
		t.Errorf("a key that there is not: %v", err)
	}
}
