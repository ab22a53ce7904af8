package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"mime"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// described is the daemon's own description of its API, as it is served, held against what the daemon answers.
type described struct {
	doc    map[string]any
	schema *jsonschema.Compiler
	http   *http.Client
	done   map[string]bool // operations that were answered with success
}

// describe reads the description from a daemon. A key of an answer that the description does not name is an error,
// though readers of a later version must bear it.
func describe(t *testing.T, s shop) *described {
	t.Helper()
	d := &described{done: map[string]bool{}}
	d.to(t, s)
	resp, err := d.http.Get("http://localhost/api/v1/openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	doc, err := jsonschema.UnmarshalJSON(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	d.doc = closeObjects(doc).(map[string]any)
	d.schema = jsonschema.NewCompiler()
	d.schema.AssertFormat()
	if err := d.schema.AddResource("api.json", d.doc); err != nil {
		t.Fatal(err)
	}
	return d
}

// to asks another daemon from now on.
func (d *described) to(t *testing.T, s shop) {
	d.http = &http.Client{Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (
		net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", s.socket)
	}}}
	t.Cleanup(d.http.CloseIdleConnections)
}

// closeObjects forbids keys that are not named.
func closeObjects(x any) any {
	switch x := x.(type) {
	case map[string]any:
		for k, v := range x {
			x[k] = closeObjects(v)
		}
		if _, some := x["additionalProperties"]; x["type"] == "object" && x["properties"] != nil && !some {
			x["additionalProperties"] = false
		}
	case []any:
		for i, v := range x {
			x[i] = closeObjects(v)
		}
	}
	return x
}

func pointer(parts ...string) string {
	for i, p := range parts {
		parts[i] = strings.ReplaceAll(strings.ReplaceAll(p, "~", "~0"), "/", "~1")
	}
	return "api.json#/" + strings.Join(parts, "/")
}

// holds says that a value is as a part of the description wants it.
func (d *described) holds(t *testing.T, what, text string, parts ...string) {
	t.Helper()
	s, err := d.schema.Compile(pointer(parts...))
	if err != nil {
		t.Errorf("%s: %v", what, err)
		return
	}
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	if err == nil {
		err = s.Validate(v)
	}
	if err != nil {
		t.Errorf("%s is not as internal/web/openapi.json says; describe it there: %v\n%.2000s", what, err, text)
	}
}

// ask sends a request of an operation, whose path is written as in the description, and holds request and answer
// against it. It returns the status and the body.
func (d *described) ask(t *testing.T, operation, address, body string) (int, string) {
	t.Helper()
	method, path, _ := strings.Cut(operation, " ")
	op, ok := d.doc["paths"].(map[string]any)[path].(map[string]any)[strings.ToLower(method)].(map[string]any)
	if !ok {
		t.Errorf("%s is not described", operation)
		return 0, ""
	}
	at := []string{"paths", path, strings.ToLower(method)}
	part := func(more ...string) []string { return append(append([]string{}, at...), more...) }
	req, err := http.NewRequestWithContext(t.Context(), method, "http://localhost"+address, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	if in, ok := op["requestBody"].(map[string]any); ok && body != "" {
		for kind := range in["content"].(map[string]any) {
			req.Header.Set("Content-Type", kind)
			if kind == "application/json" {
				d.holds(t, operation+", what is sent", body, part("requestBody", "content", kind, "schema")...)
			}
		}
	}
	resp, err := d.http.Do(req)
	if err != nil {
		t.Errorf("%s: %v", operation, err)
		return 0, ""
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Errorf("%s: %v", operation, err)
	}
	code := fmt.Sprint(resp.StatusCode)
	answers := op["responses"].(map[string]any)
	answer, named := answers[code].(map[string]any)
	if !named {
		if _, ok := answers["default"]; !ok || resp.StatusCode < 400 {
			t.Errorf("%s answers %s, which is not described: %.300s", operation, code, text)
			return resp.StatusCode, string(text)
		}
		d.holds(t, operation+" "+code, string(text), "components", "schemas", "Error")
		return resp.StatusCode, string(text)
	}
	d.done[operation] = d.done[operation] || resp.StatusCode < 300
	kind, _, err := mime.ParseMediaType(resp.Header.Get("Content-Type"))
	if err != nil {
		t.Errorf("%s: %v", operation, err)
	}
	content := answer["content"].(map[string]any)
	if content[kind] == nil {
		t.Errorf("%s sends %s, described are %v", operation, kind, content)
	} else if kind == "application/json" {
		d.holds(t, operation+" "+code, string(text), part("responses", code, "content", kind, "schema")...)
	}
	return resp.StatusCode, string(text)
}

// must asks for something that has to work.
func (d *described) must(t *testing.T, operation, address, body string) string {
	t.Helper()
	code, text := d.ask(t, operation, address, body)
	if code < 200 || code > 299 {
		t.Errorf("%s: %d %s", operation, code, text)
	}
	return text
}

// soon asks again while the daemon answers 409: the arm is still moving, or no reading has come yet.
func (d *described) soon(t *testing.T, operation, address, body string) {
	t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(100 * time.Millisecond) {
		if code, _ := d.ask(t, operation, address, body); code != http.StatusConflict {
			break
		}
	}
}

// stream reads the first state and curve of the live stream.
func (d *described) stream(t *testing.T) {
	t.Helper()
	resp, err := d.http.Get("http://localhost/api/v1/live")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	var head strings.Builder
	piece := make([]byte, 4096)
	for !strings.Contains(head.String(), "event: state") || !strings.HasSuffix(head.String(), "\n\n") {
		n, err := resp.Body.Read(piece)
		head.Write(piece[:n])
		if err != nil {
			t.Fatal(err)
		}
	}
	for name, schema := range map[string]string{"state": "StateView", "curve": "CurveView"} {
		_, rest, _ := strings.Cut(head.String(), "event: "+name+"\ndata: ")
		line, _, _ := strings.Cut(rest, "\n")
		d.holds(t, "the stream's "+name, line, "components", "schemas", schema)
	}
	d.done["GET /api/v1/live"] = resp.StatusCode == http.StatusOK
}

// Every address and method of the description is asked of real daemons, and what they are sent and what they answer is
// as it says.
func TestTheDaemonAnswersAsItsDescriptionSays(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--tilt", "0.3", "--nod", "-0.2", "--rate", "200", "--encoder-rate", "200", "--seconds", "8",
		"--noise", "0.001",
		"--form", "2:0.003:20")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder)+shopAdjusters+"[clock]\ntrusted = true\n")
	s.storeSweep(t, 0.3, -0.2)
	s.storeSweep(t, 0.28, -0.2)
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	d := describe(t, s)
	for path := range d.doc["paths"].(map[string]any) {
		if strings.HasPrefix(path, "/api/v1/motion") || strings.HasPrefix(path, "/api/v1/sweeps/") {
			continue
		}
		// What reads: with a run that is there and one that is not.
		if !strings.Contains(path, "{id}") {
			if d.doc["paths"].(map[string]any)[path].(map[string]any)["get"] != nil && path != "/api/v1/live" {
				d.ask(t, "GET "+path, path, "")
			}
		} else if d.doc["paths"].(map[string]any)[path].(map[string]any)["get"] != nil {
			d.ask(t, "GET "+path, strings.ReplaceAll(path, "{id}", "1")+"?turned=2", "")
			d.ask(t, "GET "+path, strings.ReplaceAll(path, "{id}", "4711")+"?turned=2", "")
			d.ask(t, "GET "+path, strings.ReplaceAll(path, "{id}", "none")+"?turned=2", "")
		}
	}
	d.stream(t)
	var swept struct{ Run int64 }
	read := func(text string) {
		t.Helper()
		if err := json.Unmarshal([]byte(text), &swept); err != nil {
			t.Fatalf("%v in %s", err, text)
		}
	}
	read(d.must(t, "POST /api/v1/sweeps", "/api/v1/sweeps", `{"turns":1,"purpose":"check","temperature_c":21.5}`))
	d.stream(t)
	d.ask(t, "POST /api/v1/sweeps", "/api/v1/sweeps", `{}`) // one is going on
	m.turn(t)
	waitState(t, s, "a lean while the arm turns", func(x *api.Snapshot) bool { return x.Sweep.Result != nil })
	d.stream(t)
	waitState(t, s, "the end", func(x *api.Snapshot) bool { return x.Sweep.Phase == api.PhaseIdle })
	d.stream(t)
	d.must(t, "GET /api/v1/chain.svg", "/api/v1/chain.svg", "") // what is logged below makes the sweep an old one
	run := fmt.Sprintf("/api/v1/runs/%d", swept.Run)
	d.must(t, "GET /api/v1/runs/{id}", run, "")
	d.must(t, "GET /api/v1/runs/{id}/curve", run+"/curve", "")
	csv := d.must(t, "GET /api/v1/runs/{id}/readings.csv", run+"/readings.csv", "")
	d.must(t, "POST /api/v1/runs/{id}/refit", run+"/refit", `{"keep":true}`)
	d.ask(t, "POST /api/v1/runs/{id}/refit", "/api/v1/runs/4711/refit", `{}`)
	d.must(t, "POST /api/v1/imports", "/api/v1/imports?name=old.csv&at=2026-03-02T07:30:00Z&temperature_c=19&again=1",
		csv)
	d.ask(t, "POST /api/v1/imports", "/api/v1/imports?name=old.csv&at=2026-03-02T07:30:00Z", "no,csv\n")
	d.must(t, "POST /api/v1/events", "/api/v1/events", `{"kind":"adjusted","text":"by hand","moved":{"swing":-0.05}}`)
	var noted struct{ Event int64 }
	note := d.must(t, "POST /api/v1/events", "/api/v1/events", `{"kind":"note","text":"new way oil"}`)
	if err := json.Unmarshal([]byte(note), &noted); err != nil {
		t.Fatal(err)
	}
	d.must(t, "DELETE /api/v1/events/{id}", fmt.Sprintf("/api/v1/events/%d", noted.Event), "")
	d.ask(t, "DELETE /api/v1/events/{id}", "/api/v1/events/4711", "")
	d.must(t, "GET /api/v1/events", "/api/v1/events?limit=10", "")
	d.must(t, "GET /api/v1/runs", "/api/v1/runs?limit=2&before=4", "")
	d.must(t, "GET /api/v1/drift", "/api/v1/drift", "")
	d.must(t, "GET /api/v1/advice", "/api/v1/advice", "")
	d.must(t, "GET /api/v1/job", "/api/v1/job", "")
	d.soon(t, "POST /api/v1/zero", "/api/v1/zero", `{"step":"right"}`)
	d.must(t, "DELETE /api/v1/zero", "/api/v1/zero", "")
	d.ask(t, "POST /api/v1/pair", "/api/v1/pair", `{"axis":"tilt"}`)
	d.must(t, "POST /api/v1/login", "/api/v1/login", `{"password":"instrument-case"}`)
	d.must(t, "POST /api/v1/logout", "/api/v1/logout", "")
	d.ask(t, "POST /api/v1/motion/arm", "/api/v1/motion/arm", "")

	d.typedByHand(t)
	d.pair(t)
	d.motion(t)
	for path, methods := range d.doc["paths"].(map[string]any) {
		for method := range methods.(map[string]any) {
			if operation := strings.ToUpper(method) + " " + path; !d.done[operation] {
				t.Errorf("%s was never answered with success", operation)
			}
		}
	}
}

// typedByHand steers a sweep whose readings a person types.
func (d *described) typedByHand(t *testing.T) {
	s := newShop(
		t, "[[indicator]]\nname = \"dial\"\nradius_mm = 140.0\nresolution_mm = 0.001\n[angle]\nsource = \"typed\"\n"+
			"[[traverse]]\nname = \"left rail\"\npositions_mm = [0, 100, 200]\ntolerance = \"0.1/300\"\n")
	s.daemon(t)
	d.to(t, s)
	begin := func() string {
		var out struct{ Run int64 }
		if err := json.Unmarshal([]byte(d.must(t, "POST /api/v1/sweeps", "/api/v1/sweeps", "")), &out); err != nil {
			t.Fatal(err)
		}
		return fmt.Sprintf("/api/v1/sweeps/%d", out.Run)
	}
	at := begin()
	d.must(t, "POST /api/v1/sweeps/{id}/reading", at+"/reading", `{"text":"0.012"}`)
	d.must(t, "POST /api/v1/sweeps/{id}/redo", at+"/redo", `{"station":0}`)
	d.must(t, "POST /api/v1/sweeps/{id}/reading", at+"/reading", `{"indicator":"dial","text":"0.013"}`)
	d.ask(t, "POST /api/v1/sweeps/{id}/reading", at+"/reading", `{"text":"a hair"}`)
	d.must(t, "POST /api/v1/sweeps/{id}/skip", at+"/skip", "")
	d.stream(t)
	d.must(t, "DELETE /api/v1/sweeps/{id}", at, "")
	d.ask(t, "DELETE /api/v1/sweeps/{id}", "/api/v1/sweeps/4711", "")
	waitState(t, s, "the end", func(x *api.Snapshot) bool { return x.Sweep.Phase == api.PhaseIdle })

	var out struct{ Run int64 }
	begun := d.must(t, "POST /api/v1/measurements", "/api/v1/measurements", `{"kind":"traverse","typed":true}`)
	if err := json.Unmarshal([]byte(begun), &out); err != nil {
		t.Fatal(err)
	}
	d.ask(t, "POST /api/v1/measurements", "/api/v1/measurements", `{"kind":"bar"}`)
	for _, mm := range []string{"0.010", "0.012", "0.015"} {
		d.must(t, "POST /api/v1/sweeps/{id}/reading", fmt.Sprintf("/api/v1/sweeps/%d/reading", out.Run),
			`{"text":"`+mm+`"}`)
		d.stream(t)
	}
	waitState(t, s, "the end", func(x *api.Snapshot) bool { return x.Sweep.Phase == api.PhaseIdle })
	d.must(t, "GET /api/v1/runs/{id}", fmt.Sprintf("/api/v1/runs/%d", out.Run), "")
	d.must(t, "GET /api/v1/runs", "/api/v1/runs", "")
	d.must(t, "GET /api/v1/runs/{id}/measured", fmt.Sprintf("/api/v1/runs/%d/measured", out.Run), "")
	d.must(t, "GET /api/v1/runs/{id}/picture.svg", fmt.Sprintf("/api/v1/runs/%d/picture.svg", out.Run), "")
	d.must(t, "GET /api/v1/job", "/api/v1/job", "")
	d.must(t, "POST /api/v1/runs/{id}/refit", fmt.Sprintf("/api/v1/runs/%d/refit", out.Run), `{}`)
}

// pair zeroes two opposite indicators by a half turn.
func (d *described) pair(t *testing.T) {
	var heights [2]chan float64
	ports := ""
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	for i, name := range []string{"near", "far"} {
		far, port := openPty(t)
		heights[i] = make(chan float64, 1)
		go dial(far, heights[i], make(chan bool), stop)
		ports += fmt.Sprintf("[[indicator]]\nname = %q\nport = %q\nradius_mm = 100.0\nphase_deg = %d\n", name,
			port, 180*i)
		heights[i] <- 0.5 + 0.02*math.Pow(-1, float64(i))
	}
	s := newShop(t, ports+"[angle]\nsource = \"stations\"\nsettle_s = 0.3\n")
	s.daemon(t)
	d.to(t, s)
	waitState(t, s, "both indicators live", func(x *api.Snapshot) bool { return live(x) && x.Paired })
	var out struct{ Run int64 }
	if err := json.Unmarshal([]byte(d.must(t, "POST /api/v1/pair", "/api/v1/pair", `{"axis":"nod"}`)),
		&out); err != nil {
		t.Fatal(err)
	}
	d.soon(t, "POST /api/v1/sweeps/{id}/take", fmt.Sprintf("/api/v1/sweeps/%d/take", out.Run), "")
	d.stream(t)
	d.must(t, "DELETE /api/v1/sweeps/{id}", fmt.Sprintf("/api/v1/sweeps/%d", out.Run), "")
	d.must(t, "DELETE /api/v1/pair", "/api/v1/pair", "")
}

// motion arms, starts, holds and lets go of a motion of an arm that a controller plays.
func (d *described) motion(t *testing.T) {
	c := startController(t)
	s := c.shop(t)
	s.daemon(t)
	d.to(t, s)
	waitState(t, s, "the indicator", func(x *api.Snapshot) bool { return x.Devices[0].State == "live" })
	arm := func() string {
		var out struct{ Key string }
		if err := json.Unmarshal([]byte(d.must(t, "POST /api/v1/motion/arm", "/api/v1/motion/arm", "")),
			&out); err != nil {
			t.Fatal(err)
		}
		return `{"key":"` + out.Key + `"}`
	}
	arm()
	d.must(t, "DELETE /api/v1/motion/arm", "/api/v1/motion/arm", "")
	key := arm()
	d.must(t, "POST /api/v1/motion/hold", "/api/v1/motion/hold", key)
	var out struct{ Run int64 }
	if err := json.Unmarshal([]byte(d.must(t, "POST /api/v1/motion/start", "/api/v1/motion/start", key)),
		&out); err != nil {
		t.Fatal(err)
	}
	d.must(t, "POST /api/v1/motion/hold", "/api/v1/motion/hold", key)
	d.stream(t)
	d.must(t, "POST /api/v1/motion/hold/{id}", fmt.Sprintf("/api/v1/motion/hold/%d", out.Run), ".")
	waitState(t, s, "the stop", func(x *api.Snapshot) bool { return x.Sweep.Phase == api.PhaseIdle })
	arm()
	if code, _ := d.ask(t, "POST /api/v1/motion/start", "/api/v1/motion/start", `{"key":"none"}`); code < 400 {
		t.Errorf("a key that is none: %d", code)
	}
	key = arm()
	d.must(t, "POST /api/v1/motion/start", "/api/v1/motion/start", key)
	d.must(t, "POST /api/v1/motion/release", "/api/v1/motion/release", key)
	waitState(t, s, "the stop", func(x *api.Snapshot) bool { return x.Sweep.Phase == api.PhaseIdle })
}
