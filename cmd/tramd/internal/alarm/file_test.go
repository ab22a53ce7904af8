package alarm

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestAFileThatCannotBeReadIsSetAside(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.alarms")
	if err := os.WriteFile(path, []byte(`{"told":[{`), 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := load(path)
	if err == nil || !strings.Contains(err.Error(), "set aside as "+path+".unreadable") {
		t.Errorf("got %v", err)
	}
	if s.Waiting == nil {
		t.Error("no state to go on with")
	}
	if text, err := os.ReadFile(path + ".unreadable"); err != nil || string(text) != `{"told":[{` {
		t.Errorf("kept %q, %v", text, err)
	}
}

func TestAQueueThatIsNeverEmptiedIsBounded(t *testing.T) {
	s := state{Waiting: map[string][]Message{}, Lost: map[string]int{}}
	for i := range maxWaiting + 7 {
		s.wait("webhook", Message{State: "raised",
			Alarm: Alarm{Kind: "shift", Since: noon.Add(time.Duration(i) * time.Hour)}})
	}
	q := s.Waiting["webhook"]
	if len(q) != maxWaiting || s.Lost["webhook"] != 7 || !q[0].Since.Equal(noon.Add(7*time.Hour)) {
		t.Errorf("%d wait, %d lost, the first since %s", len(q), s.Lost["webhook"], q[0].Since)
	}
	gone := Message{State: "raised", Alarm: Alarm{Kind: "shift", Since: noon}}
	s.delivered("webhook", gone) // the queue dropped it while it was being sent
	if len(s.Waiting["webhook"]) != maxWaiting {
		t.Error("another message was taken off the queue in its place")
	}
}

func FuzzLoad(f *testing.F) {
	f.Add(
		[]byte(
			`{"told":[{"alarm":{"kind":"shift"},"told":true}],"waiting":{"webhook":[{"machine":"linnet","state":"cleared","kind":"shift","until":"2026-03-02T12:00:00Z"}]}}`))
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(t.TempDir(), "a.alarms")
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		s, _ := load(path)
		s.wait("webhook", Message{})
		newAlertState("linnet", s.Sent, noon).update(noon, nil)
		for _, q := range s.Waiting {
			for _, m := range q {
				_, _ = m.Title(), words(m)
			}
		}
		if err := s.save(path); err != nil {
			t.Fatal(err)
		}
	})
}
