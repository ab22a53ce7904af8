package alarm

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// maxWaiting bounds what waits for one receiver: a network that never comes back must not fill the disk. The oldest go
// first.
const maxWaiting = 500

// state is everything that must survive a restart.
type state struct {
	Sent    []entry              `json:"told"`
	Waiting map[string][]Message `json:"waiting"` // by receiver, the oldest first
	Lost    map[string]int       `json:"lost,omitempty"`
	Over    []Message            `json:"over,omitempty"` // cleared, and no Alertmanager has heard of it yet
}

// load reads the state; a file that cannot be understood is set aside, since alarms of today matter more.
func load(path string) (state, error) {
	s := state{Waiting: map[string][]Message{}, Lost: map[string]int{}}
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err != nil {
		return s, fmt.Errorf("read the alarms that wait: %w", err)
	}
	var got state
	if err := json.Unmarshal(text, &got); err != nil {
		aside := path + ".unreadable"
		return s, errors.Join(fmt.Errorf("alarms that waited in %s cannot be read and were set aside as %s: %w", path,
			aside, err), os.Rename(path, aside))
	}
	if got.Waiting == nil {
		got.Waiting = s.Waiting
	}
	if got.Lost == nil {
		got.Lost = s.Lost
	}
	got.Over = slices.DeleteFunc(got.Over, func(m Message) bool { return m.Until == nil })
	return got, nil
}

// save replaces the file in one step, so that a power cut leaves the old one or the new one.
func (s state) save(path string) error {
	text, err := json.Marshal(s)
	if err != nil {
		return err
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".alarms-*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name()) // gone already when all went well
	_, err = tmp.Write(text)
	err = errors.Join(err, tmp.Sync(), tmp.Close())
	if err != nil {
		return err
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer dir.Close()
	return dir.Sync()
}

// wait puts a message in the queue of a receiver.
func (s *state) wait(receiver string, m Message) {
	q := append(s.Waiting[receiver], m)
	if over := len(q) - maxWaiting; over > 0 {
		q = q[over:]
		s.Lost[receiver] += over
	}
	s.Waiting[receiver] = q
}

// delivered takes a message that was sent off the queue, unless the queue dropped it meanwhile.
func (s *state) delivered(receiver string, m Message) {
	if q := s.Waiting[receiver]; len(q) > 0 && q[0].same(m) {
		s.Waiting[receiver] = q[1:]
	}
}

func (m Message) same(o Message) bool {
	return m.State == o.State && m.key() == o.key() && m.Since.Equal(o.Since)
}
