package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// The job leads from the rails up. What is moved at a joint upsets what is measured from there up, and nothing below.
func TestTheJobLeadsThroughTheAssembly(t *testing.T) {
	t.Parallel()
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.addTo(t, shopAdjusters+`
[[adjuster]]
name = "rear bolts"
nod_mm_per_m = 3.3
[[traverse]]
name = "left rail"
positions_mm = [0, 100, 200, 300]
tolerance = "0.1/300"
adjusters = ["rear bolts"]
[[square]]
name = "cylinder square"
travel_mm = [0, 80]
[[step]]
name = "rails parallel"
kind = "traverse"
of = "left rail"
do = "Shift the rail at its rear bolts."
[[step]]
name = "column upright"
kind = "travel"
of = "cylinder square"
[[step]]
name = "spindle square"
kind = "sweep"
[clock]
trusted = true
`)
	s.daemon(t)
	job := func() (j api.Job) {
		t.Helper()
		status, out, errOut := call(t, "job", "--json", "--config", s.config)
		if status != exitDone {
			t.Fatalf("exit status %d: %s", status, errOut)
		}
		if err := json.Unmarshal([]byte(out), &j); err != nil {
			t.Fatalf("%v in %q", err, out)
		}
		return j
	}
	states := func(j api.Job) string {
		var all []string
		for _, x := range j.Steps {
			all = append(all, x.State)
		}
		return strings.Join(all, ", ")
	}
	minutes := 40
	bring := func(name, csv string, args ...string) {
		t.Helper()
		minutes -= 10
		args = append(args, "--at", time.Now().Add(-time.Duration(minutes)*time.Minute).Format(time.RFC3339))
		path := filepath.Join(s.dir, name+".csv")
		if err := os.WriteFile(path, []byte(csv), 0o600); err != nil {
			t.Fatal(err)
		}
		if status, _, errOut := call(
			t, append([]string{"import", "--config", s.config, path}, args...)...); status == exitFailed ||
			status == exitUsage {
			t.Fatalf("import: exit status %d: %s", status, errOut)
		}
	}
	if j := job(); states(j) != "to do, to do, to do" || j.Next == nil || *j.Next != 0 ||
		!strings.Contains(j.Say, "tramd traverse \"left rail\"") {
		t.Errorf("at first: %s; %s", states(j), j.Say)
	}
	rail := func(per100 string) string {
		out := "t_s,position_mm,reading_mm\n"
		for i, mm := range []string{"0.000", "0." + per100, "0." + per100, "0.000"} {
			x := []string{"0", "100", "200", "300"}[i]
			if i >= 2 { // a straight slope: 0, 1, 2 and 3 times
				mm = map[string][2]string{"100": {"0.200", "0.300"}, "010": {"0.020", "0.030"}}[per100][i-2]
			}
			out += x + "," + x + "," + mm + "\n"
		}
		return out
	}
	bring("rail-1", rail("100"), "--name", "left rail", "--tolerance", "0.1/300")
	if j := job(); states(j) != "outside, to do, to do" ||
		!strings.Contains(j.Say, "Shift the rail at its rear bolts.") {
		t.Errorf("a rail that leans: %s; %s", states(j), j.Say)
	}
	bring("rail-2", rail("010"), "--name", "left rail", "--tolerance", "0.1/300")
	square := "t_s,position_mm,reading_mm,side_deg,turned_deg\n"
	for _, side := range []string{"0", "90"} {
		for _, turned := range []string{"0", "180"} {
			for _, x := range []string{"0", "40", "80"} {
				square += x + "," + x + ",0.100," + side + "," + turned + "\n"
			}
		}
	}
	bring("square", square, "--of", "square", "--name", "cylinder square", "--tolerance", "0.1/300")
	j := job()
	if states(j) != "done, done, to do" || len(j.Steps[0].Before) == 0 || j.Steps[0].Before[0].Value < 0.99 ||
		j.Steps[0].Now[0].Value > 0.11 {
		t.Errorf("measured: %s; %+v", states(j), j.Steps[0])
	}
	log := func(args ...string) {
		t.Helper()
		if status, _, errOut := call(t, append([]string{"event", "--config", s.config, "adjusted"},
			args...)...); status != exitDone {
			t.Fatal(errOut)
		}
	}
	log("--move", "swing=-0.2") // the head's own: nothing below it is upset
	if j := job(); states(j) != "done, done, to do" {
		t.Errorf("the head was moved: %s", states(j))
	}
	log("--move", "rear bolts=0.1")
	j = job()
	if states(j) != "upset, upset, to do" || !strings.Contains(j.Steps[1].Upset, "rear bolts moved") || *j.Next != 0 {
		t.Errorf("the rail was moved: %s; %+v", states(j), j.Steps[1])
	}
	status, out, _ := call(t, "job", "--text", "--config", s.config)
	if status != exitDone || !strings.Contains(out, "1 rails parallel: upset: rear bolts moved") ||
		!strings.Contains(out, "slope +0.100 ± ") || !strings.Contains(out, "(before: +1.000") {
		t.Errorf("as text: %s", out)
	}
	page := filepath.Join(s.dir, "job.html")
	if status, _, errOut := call(t, "job", "--config", s.config, "--out", page); status != exitDone {
		t.Fatal(errOut)
	}
	html, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"The assembly, step by step", "rails parallel", "upset: rear bolts moved",
		"slope &#43;0.100"} {
		if !strings.Contains(string(html), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}
