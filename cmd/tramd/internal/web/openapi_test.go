package web

import (
	"bytes"
	"encoding/json"
	"flag"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// The schema is the OpenAPI Initiative's own, https://spec.openapis.org/oas/3.1/schema/2022-10-07 (Apache-2.0).
func TestTheDescriptionIsOpenAPI(t *testing.T) {
	t.Parallel()
	schema, err := os.ReadFile("testdata/openapi-3.1-schema.json")
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	rules, err := jsonschema.UnmarshalJSON(strings.NewReader(string(schema)))
	if err != nil {
		t.Fatal(err)
	}
	if err := c.AddResource("openapi-3.1.json", rules); err != nil {
		t.Fatal(err)
	}
	openAPI, err := c.Compile("openapi-3.1.json")
	if err != nil {
		t.Fatal(err)
	}
	document := func() any {
		d, err := jsonschema.UnmarshalJSON(bytes.NewReader(openAPIFile().body))
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	if err := openAPI.Validate(document()); err != nil {
		t.Error(err)
	}
	spoiled := document()
	delete(spoiled.(map[string]any)["info"].(map[string]any), "version")
	if openAPI.Validate(spoiled) == nil {
		t.Error("a description without a version is taken for one")
	}
}

// What programs may use is described, each address and method; what is described is served.
func TestTheDescriptionKnowsEveryRoute(t *testing.T) {
	t.Parallel()
	var served, described []string
	s := newServer(Options{Metrics: http.NotFoundHandler()})
	s.routes(func(pattern string, _ http.HandlerFunc) {
		for _, view := range append([]string{"{$}", "runs/{id}", "runbook", "assets/{name}", "app.webmanifest"},
			views[1:]...) {
			if pattern == "GET /"+view {
				return // for people
			}
		}
		served = append(served, pattern)
	})
	var d struct{ Paths map[string]map[string]any }
	if err := json.Unmarshal(openAPIFile().body, &d); err != nil {
		t.Fatal(err)
	}
	for path, methods := range d.Paths {
		for method := range methods {
			described = append(described, strings.ToUpper(method)+" "+path)
		}
	}
	slices.Sort(served)
	slices.Sort(described)
	for _, x := range served {
		if !slices.Contains(described, x) {
			t.Errorf("openapi.json does not describe %s", x)
		}
	}
	for _, x := range described {
		if !slices.Contains(served, x) {
			t.Errorf("openapi.json describes %s, which is not served", x)
		}
	}
	if len(served) < 35 {
		t.Errorf("only %d routes: %q", len(served), served)
	}
}

var update = flag.Bool("update", false, "write openapi.json.gz again")

// What the program holds is what stands in openapi.json.
func TestTheDescriptionIsPacked(t *testing.T) {
	text, err := os.ReadFile("openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile("openapi.json.gz", pack(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if !bytes.Equal(openAPIFile().body, text) {
		t.Error("openapi.json has changed: write openapi.json.gz again with -update, or make texts")
	}
}
