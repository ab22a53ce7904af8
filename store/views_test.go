package store

import (
	"encoding/json"
	"fmt"
	"os/exec"
	"testing"
	"time"
)

// Another program opens the record and sees leans: Python's own sqlite3, as a notebook would.
func TestAnotherProgramSeesLeans(t *testing.T) {
	s := fresh(t)
	id := checked(t, s, setupOf(t, "0.02/300"), "check", day, true, 0.25)
	checked(t, s, setupOf(t, "0.02/300"), "check", day.Add(time.Hour), false, 0.5) // its time is not known
	if _, err := s.AddEvent(t.Context(), Event{At: day, Kind: "crashed", Text: "into the vice"}); err != nil {
		t.Fatal(err)
	}
	const script = `import json, sqlite3, sys
db = sqlite3.connect("file:" + sys.argv[1] + "?mode=ro", uri=True)
print(json.dumps([db.execute("SELECT run, started, machine, tilt_rad, tilt_u_rad, nod_rad, verdict FROM checks").fetchall(),
    db.execute("SELECT time, kind, text FROM events").fetchall(), db.execute("SELECT count(*) FROM sweeps").fetchone()[0]]))`
	text, err := exec.Command("python3", "-c", script, s.path).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	var got, want any
	const answer = `[[[%d, "2026-03-02T07:30:00.123Z", "linnet", 0.00025, 4e-06, null, "within"]], [["2026-03-02T07:30:00.123Z", "crashed", "into the vice"]], 2]`
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	if err := json.Unmarshal([]byte(fmt.Sprintf(answer, id)), &want); err != nil {
		t.Fatal(err)
	}
	a, errA := json.Marshal(got)
	b, errB := json.Marshal(want)
	if errA != nil || errB != nil || string(a) != string(b) {
		t.Errorf("got %s, want %s", a, b)
	}
}
