package frame

// names interns the channel names of one port, so that a reading costs no allocation.
type names struct {
	last  string // most ports carry one name
	known map[string]string
}

// maxNames bounds the table. A port has a handful of channels; if noise fills the table it is begun again, so that no
// true name is ever shut out by false ones.
const maxNames = 64

func (t *names) intern(b []byte) string {
	if len(b) == 0 {
		return ""
	}
	if string(b) == t.last {
		return t.last
	}
	s, ok := t.known[string(b)]
	if !ok {
		if t.known == nil || len(t.known) >= maxNames {
			t.known = make(map[string]string)
		}
		s = string(b)
		t.known[s] = s
	}
	t.last = s
	return s
}
