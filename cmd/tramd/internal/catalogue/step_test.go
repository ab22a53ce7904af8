package catalogue

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"testing"
)

var update = flag.Bool("update", false, "write the sentences of the source into the list")

// The list holds every sentence of the source that a reader may see, so that a translation can be whole.
func TestTheCatalogueHoldsEverySentence(t *testing.T) {
	const name = "cataloguetest/sentences.json"
	old, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var in struct {
		Said map[string]string `json:"said"`
	}
	if err := json.Unmarshal(old, &in); err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	out.WriteString("{\n\"said\": {")
	forms := sourceForms(t)
	for i, form := range forms {
		if i > 0 {
			out.WriteString(",")
		}
		out.WriteString("\n ")
		e := json.NewEncoder(&out)
		e.SetEscapeHTML(false)
		if err := e.Encode(form); err != nil {
			t.Fatal(err)
		}
		out.Truncate(out.Len() - 1)
		out.WriteString(`: ""`)
		if _, ok := in.Said[form]; !ok && !*update {
			t.Errorf("not in %s: %q", name, form)
		}
		delete(in.Said, form)
	}
	out.WriteString("\n}\n}\n")
	for form := range in.Said {
		if !*update {
			t.Errorf("nothing says any more: %q", form)
		}
	}
	if *update {
		if err := os.WriteFile(name, out.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	} else if t.Failed() {
		t.Error("write it again with -update")
	}
	if len(forms) < 300 {
		t.Errorf("only %d sentences were found", len(forms))
	}
}
