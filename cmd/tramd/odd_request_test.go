package main

import (
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
)

// asker makes up requests from the daemon's description of its API: mostly of the right shape, with values that are
// seldom the right ones.
type asker struct {
	*rand.Rand
	doc map[string]any
	run string // the run begun last
}

func (a *asker) of(list ...any) any { return list[a.IntN(len(list))] }

// odd returns a value that no schema asked for.
func (a *asker) odd() any {
	return a.of(nil, true, 0, -1, 1e308, 1e-320, 0.5, "", "nod", "0x10", "NaN", "\u202e<b>'--", "../../etc/passwd",
		"9999-12-31T23:59:59Z",
		"2026-03-02T07:30:00Z", strings.Repeat("a", 5000), []any{1, "x"}, map[string]any{"kind": []any{}})
}

// value returns a value of a schema, and now and then one that is not.
func (a *asker) value(schema map[string]any, deep int) any {
	if ref, ok := schema["$ref"].(string); ok {
		at := any(a.doc)
		for _, key := range strings.Split(strings.TrimPrefix(ref, "#/"), "/") {
			at = at.(map[string]any)[key]
		}
		return a.value(at.(map[string]any), deep)
	}
	if deep > 5 || a.IntN(8) == 0 {
		return a.odd()
	}
	if list, ok := schema["enum"].([]any); ok {
		return a.of(list...)
	}
	kind, _ := schema["type"].(string)
	if kinds, ok := schema["type"].([]any); ok {
		kind = a.of(kinds...).(string)
	}
	switch kind {
	case "object":
		out := map[string]any{}
		properties, _ := schema["properties"].(map[string]any)
		for _, key := range slices.Sorted(maps.Keys(properties)) {
			if a.IntN(3) > 0 {
				out[key] = a.value(properties[key].(map[string]any), deep+1)
			}
		}
		if more, ok := schema["additionalProperties"].(map[string]any); ok {
			out[a.of("swing", "shim", "x").(string)] = a.value(more, deep+1)
		}
		return out
	case "array":
		items, _ := schema["items"].(map[string]any)
		out := make([]any, a.IntN(4))
		for i := range out {
			out[i] = a.value(items, deep+1)
		}
		return out
	case "integer", "number":
		return a.of(0, 1, 2, 3, -1, 0.1, 90, 180, 1e9, -1e300, 1e-300)
	case "boolean":
		return a.of(true, false)
	}
	return a.odd()
}

// request returns a request of an operation.
func (a *asker) request(t *testing.T, method, path string, op map[string]any) *http.Request {
	t.Helper()
	id := url.PathEscape(fmt.Sprint(a.of(1, 2, 3, a.run, a.run, a.run, a.odd())))
	address, query := "http://localhost"+strings.ReplaceAll(path, "{id}", id), url.Values{}
	list, _ := op["parameters"].([]any)
	for _, p := range list {
		if p := p.(map[string]any); p["in"] == "query" && a.IntN(4) > 0 {
			query.Set(p["name"].(string), fmt.Sprint(a.value(p["schema"].(map[string]any), 0)))
		}
	}
	if len(query) > 0 {
		address += "?" + query.Encode()
	}
	body, kind := "", ""
	if in, ok := op["requestBody"].(map[string]any); ok {
		content := in["content"].(map[string]any)
		kind = slices.Sorted(maps.Keys(content))[0]
		body = a.of("", "\x00\x01", "t_s,angle_deg,reading_mm\n0,0,1\n", "{").(string)
		if schema, ok := content[kind].(map[string]any)["schema"].(map[string]any); ok && kind == "application/json" &&
			a.IntN(10) > 0 {
			text, err := json.Marshal(a.value(schema, 0))
			if err != nil {
				t.Fatal(err)
			}
			body = string(text)
		}
	}
	req, err := http.NewRequestWithContext(t.Context(), strings.ToUpper(method), address, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Content-Type", kind)
	return req
}

// Each request is answered or refused with a reason: none makes the daemon fail, and it serves on.
func TestNoRequestFailsInside(t *testing.T) {
	t.Parallel()
	s := newShop(
		t, "[[indicator]]\nname = \"dial\"\nradius_mm = 140.0\nresolution_mm = 0.001\n[angle]\nsource = \"typed\"\n"+
			shopAdjusters+
			"[[traverse]]\nname = \"left-rail\"\npositions_mm = [0, 100, 200]\ntolerance = \"0.1/300\"\n[[bar]]\nname = \"shank\"\nheights_mm = [10, 35]\n[clock]\ntrusted = true\n")
	s.storeSweep(t, 0.3, -0.2)
	d := s.daemon(t)
	api := describe(t, s)
	a := &asker{rand.New(rand.NewPCG(7, 11)), api.doc, "3"}
	paths := api.doc["paths"].(map[string]any)
	for range 3000 {
		path := slices.Sorted(maps.Keys(paths))[a.IntN(len(paths))]
		methods := paths[path].(map[string]any)
		method := slices.Sorted(maps.Keys(methods))[a.IntN(len(methods))]
		if path == "/api/v1/live" || method == "parameters" {
			continue // the stream does not end
		}
		req := a.request(t, method, path, methods[method].(map[string]any))
		resp, err := api.http.Do(req)
		if err != nil {
			t.Fatalf("%s %.300s: %v\n%s", method, req.URL, err, d.err.String())
		}
		text, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		if err != nil {
			t.Errorf("%s %.300s: %v", method, req.URL, err)
		}
		var why struct {
			Error string
			Run   int64
		}
		broken := json.Unmarshal(text, &why)
		if resp.StatusCode >= 500 || resp.StatusCode >= 400 && (broken != nil || why.Error == "") {
			t.Errorf("%s %.300s: %d %.300s", method, req.URL, resp.StatusCode, text)
		}
		if resp.StatusCode == http.StatusCreated && why.Run > 0 {
			a.run = fmt.Sprint(why.Run)
		}
	}
	if code, text := status(t, "http://"+s.page+"/healthz"); code != http.StatusOK {
		t.Errorf("health: %d %s", code, text)
	}
}
