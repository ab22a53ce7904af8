package store

import "testing"

// A job ends with a crash, a service or a move, and with a sweep that is within and followed by no adjustment.
func TestLastJob(t *testing.T) {
	at := func(run int64, verdict string, kinds ...string) Trial {
		return Trial{Run: run, Verdict: verdict, Kinds: kinds}
	}
	for _, x := range []struct {
		name   string
		trials []Trial
		first  int64
	}{
		{"one sweep", []Trial{at(1, "outside")}, 1},
		{"adjusted until within", []Trial{at(1, "outside", "adjusted"), at(2, "outside", "adjusted"), at(3, "within")},
			1},
		{"a check after it", []Trial{at(1, "outside", "adjusted"), at(2, "within"), at(3, "within")}, 3},
		{"a crash after it", []Trial{at(1, "outside", "adjusted"), at(2, "within", "crashed"),
			at(3, "outside", "adjusted"), at(4, "within")}, 3},
		{"made better still", []Trial{at(1, "outside", "adjusted"), at(2, "within", "adjusted"), at(3, "within")}, 1},
		{"moved while outside", []Trial{at(1, "outside", "moved"), at(2, "outside")}, 2},
		{"swept twice while outside", []Trial{at(1, "outside"), at(2, "outside", "adjusted"), at(3, "undecided")}, 1},
	} {
		if got := LastJob(x.trials)[0].Run; got != x.first {
			t.Errorf("%s: the job begins with run %d, want %d", x.name, got, x.first)
		}
	}
}
