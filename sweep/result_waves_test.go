package sweep

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
)

// What oscillated goes through the stored form and back; a result without it does not name the member at all.
func TestWavesThroughJSON(t *testing.T) {
	in := Result{Waves: []Wave{{Hertz: 0.5, PeriodS: 2, AmplitudeMM: 0.004}}}
	text, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	if want := `"waves":[{"hertz":0.5,"period_s":2,"amplitude_mm":0.004}]`; !strings.Contains(string(text), want) {
		t.Errorf("%s does not hold %s", text, want)
	}
	var out Result
	if err := json.Unmarshal(text, &out); err != nil || !reflect.DeepEqual(out.Waves, in.Waves) {
		t.Errorf("came back as %+v, %v", out.Waves, err)
	}
	if text, err = json.Marshal(Result{}); err != nil || strings.Contains(string(text), "waves") {
		t.Errorf("without waves: %s, %v", text, err)
	}
}
