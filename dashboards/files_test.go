package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/grafana/grafana-foundation-sdk/go/cog/plugins"
	"github.com/grafana/grafana-foundation-sdk/go/dashboard"
)

// tool runs a Debian tool on a file here; that it is missing is a failure, with the package to install.
func tool(t *testing.T, dir, pkg, name string, args ...string) {
	t.Helper()
	if _, err := exec.LookPath(name); err != nil {
		t.Fatalf("%s is missing: apt-get install %s", name, pkg)
	}
	cmd := exec.Command(name, args...)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
}

func TestRules(t *testing.T) {
	t.Parallel()
	tool(t, "rules", "prometheus", "promtool", "check", "rules", "--lint=all", "--lint-fatal", "tramd.yml")
	tool(t, "rules", "prometheus", "promtool", append([]string{"test", "rules"}, rulesTests...)...)
}

// rulesTests are the files of promtool's tests; each has its own interval between two workings of the rules.
var rulesTests = []string{"tramd.test.yml", "tramd.night.test.yml", "tramd.days.test.yml"}

// A test that passes whatever the rule says would be worth nothing: with every alert silenced, the tests must miss
// each.
func TestTheRulesTestsMissASilentAlert(t *testing.T) {
	t.Parallel()
	rules, err := os.ReadFile("rules/tramd.yml")
	if err != nil {
		t.Fatal(err)
	}
	alert := regexp.MustCompile(`(?m)^      - alert: (\w+)\n        expr:`)
	names := alert.FindAllSubmatch(rules, -1)
	if len(names) < 13 {
		t.Fatalf("only %d alerts found", len(names))
	}
	silent := alert.ReplaceAll(rules,
		[]byte("      - alert: $1\n        expr: vector(0) == 1\n      - alert: Was$1\n        expr:"))
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "tramd.yml"), silent, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, name := range rulesTests {
		text, err := os.ReadFile(filepath.Join("rules", name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command("promtool", append([]string{"test", "rules"}, rulesTests...)...)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err == nil {
		t.Fatal("the tests pass with every alert silenced")
	}
	for _, n := range names {
		if !strings.Contains(string(out), "alertname: "+string(n[1])+",") {
			t.Errorf("nothing tests that %s ever fires", n[1])
		}
	}
}

func TestExampleConfigs(t *testing.T) {
	tool(t, ".", "prometheus", "promtool", "check", "config", "prometheus.yml")
	tool(t, ".", "prometheus-alertmanager", "amtool", "check-config", "alertmanager.yml")
	var lists []struct{ Targets []string }
	text, err := os.ReadFile("machines.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &lists); err != nil || len(lists) == 0 || len(lists[0].Targets) != 2 {
		t.Errorf("machines.json: %v, %v", err, lists)
	}
}

func TestDashboardsAreWhatTheGeneratorWrites(t *testing.T) {
	for name, b := range boards() {
		want, err := render(b)
		if err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(filepath.Join("grafana", name))
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != string(want) {
			t.Errorf("grafana/%s is not what go generate ./dashboards writes", name)
		}
	}
}

// read decodes a dashboard strictly: a key that the library does not know is an error.
func read(t *testing.T, name string) dashboard.Dashboard {
	t.Helper()
	plugins.RegisterDefaultPlugins()
	text, err := os.ReadFile(filepath.Join("grafana", name))
	if err != nil {
		t.Fatal(err)
	}
	var d dashboard.Dashboard
	// The library answers success with a non-nil error that says nothing.
	if err := d.UnmarshalJSONStrict(text); err != nil && err.Error() != "" {
		t.Fatalf("%s: %v", name, err)
	}
	// That same error makes it leave the panels out, so they are read again the ordinary way.
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if err := d.Validate(); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return d
}

// kinds counts the panels of each type.
func kinds(d dashboard.Dashboard) map[string]int {
	out := map[string]int{}
	for _, p := range d.Panels {
		out[p.Panel.Type]++
	}
	return out
}

func TestDashboardsDecodeStrictly(t *testing.T) {
	ids := map[string]bool{}
	for name := range boards() {
		d := read(t, name)
		if d.Uid == nil || ids[*d.Uid] {
			t.Errorf("%s: no uid of its own", name)
			continue
		}
		ids[*d.Uid] = true
		if len(d.Panels) < 8 {
			t.Errorf("%s: only %d panels", name, len(d.Panels))
		}
		for _, p := range d.Panels {
			panel := p.Panel
			if panel == nil {
				t.Errorf("%s: a panel that is none", name)
				continue
			}
			if panel.Title == nil || panel.FieldConfig == nil || panel.FieldConfig.Defaults.Unit == nil {
				t.Errorf("%s: a panel without title or unit: %+v", name, panel.Title)
			}
			if panel.Datasource == nil || *panel.Datasource.Uid != "${datasource}" {
				t.Errorf("%s: %s is tied to one server's data source", name, *panel.Title)
			}
		}
	}
	machine, fleet := read(t, "tramd-machine.json"), read(t, "tramd-fleet.json")
	for what, has := range map[string]bool{
		"alarms and events":          len(machine.Annotations.List) == 2,
		"a timeline of alarms":       kinds(machine)["state-timeline"] == 2,
		"shop, machine, data source": len(machine.Templating.List) == 3 && len(fleet.Templating.List) == 3,
		"a table of all machines":    kinds(fleet)["table"] == 3,
	} {
		if !has {
			t.Errorf("the dashboards lack %s", what)
		}
	}
	broken := []byte(`{"title":"x","panles":[]}`)
	var d dashboard.Dashboard
	if err := d.UnmarshalJSONStrict(broken); err == nil || err.Error() == "" {
		t.Error("strict decoding let a misspelt key pass")
	}
}
