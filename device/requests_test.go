package device

import (
	"math/rand/v2"
	"strconv"
	"testing"
	"time"

	"tramd/device/frame"
)

// slow plays an instrument on a made-up clock. Each answer holds the number of its question, and late says when it
// comes.
type slow struct {
	late  func(n int, request string) time.Duration // negative: never
	asked int
	due   []lateAnswer
}

type lateAnswer struct {
	at   Stamp
	text string
}

// believedOf runs requests against an instrument for so long and gives what was believed: the number of the question
// that it answers, and of the one that was in hand.
func believedOf(asks []frame.Ask, answer time.Duration, s *slow, long time.Duration) (believed [][2]int,
	channels map[string]int) {
	f := frame.Layout{Frame: frame.FrameText, Asks: asks}.Framer().(frame.Requester)
	t := newRequests(f, Spec{Baud: 115200, Asking: Asking{Every: 10 * time.Millisecond, Answer: answer}})
	t.opened(0)
	channels = map[string]int{}
	const step = Stamp(time.Millisecond)
	for now := Stamp(0); now < Stamp(long); now += step {
		var got []byte
		kept := s.due[:0]
		for _, d := range s.due {
			if d.at <= now {
				got = append(got, d.text...)
			} else {
				kept = append(kept, d)
			}
		}
		s.due = kept
		if len(got) > 0 {
			for _, x := range f.Feed(nil, got, now) {
				believed = append(believed, [2]int{int(x.Value / 1000), s.asked})
				channels[x.Channel]++
			}
			t.talked(now)
		}
		if !t.heard(now) {
			t.late(now)
		}
		if t.due(now, false) {
			r := t.next(now)
			t.sent(r, now)
			s.asked++
			if wait := s.late(s.asked, r); wait >= 0 {
				s.due = append(s.due,
					lateAnswer{now + Stamp(wait), strconv.FormatFloat(float64(s.asked)/1000, 'f', 3, 64) + "\r\n"})
			}
		}
	}
	return believed, channels
}

// However late an instrument answers, no answer is taken for that of another question.
func TestNoAnswerIsTakenForThatOfAnotherQuestion(t *testing.T) {
	const answer = 100 * time.Millisecond
	two := []frame.Ask{{Request: "A\r", Channel: "left"}, {Request: "B\r", Channel: "right"}}
	prompt := 20 * time.Millisecond
	const slowForGood = "it becomes up to 31 times as slow, and stays so"
	for name, late := range map[string]func(rng *rand.Rand) func(int, string) time.Duration{
		"one in ten up to 2.5 times as late": func(rng *rand.Rand) func(int, string) time.Duration {
			return func(int, string) time.Duration {
				if rng.IntN(10) == 0 {
					return answer + time.Duration(rng.Int64N(int64(answer*3/2)))
				}
				return prompt
			}
		},
		"one in ten up to 10 times as late": func(rng *rand.Rand) func(int, string) time.Duration {
			return func(int, string) time.Duration {
				if rng.IntN(10) == 0 {
					return answer + time.Duration(rng.Int64N(int64(9*answer)))
				}
				return prompt
			}
		},
		"one of two is slow": func(rng *rand.Rand) func(int, string) time.Duration {
			lag := answer + time.Duration(rng.Int64N(int64(9*answer)))
			return func(_ int, r string) time.Duration {
				if r == "A\r" {
					return lag
				}
				return prompt
			}
		},
		slowForGood: func(rng *rand.Rand) func(int, string) time.Duration {
			lag := answer + time.Duration(rng.Int64N(int64(30*answer)))
			return func(n int, _ string) time.Duration {
				if n > 20 {
					return lag
				}
				return prompt
			}
		},
		"some are lost": func(rng *rand.Rand) func(int, string) time.Duration {
			return func(int, string) time.Duration {
				if rng.IntN(10) == 0 {
					return -1
				}
				return prompt + time.Duration(rng.Int64N(int64(10*time.Millisecond)))
			}
		},
	} {
		total, wrong := 0, 0
		for seed := range uint64(40) {
			rng := rand.New(rand.NewPCG(3, seed))
			believed, _ := believedOf(two, answer, &slow{late: late(rng)}, 30*time.Second)
			for _, b := range believed {
				total++
				if b[0] != b[1] {
					wrong++
				}
			}
			if len(believed) < 10 {
				t.Errorf("%s: only %d answers were believed", name, len(believed))
			}
		}
		// Later than ten times its time an answer is caught by the proof, unless chance puts it where the true one
		// would be.
		if wrong > 0 && (name != slowForGood || wrong > total/100) {
			t.Errorf("%s: %d of %d answers were taken for those of other questions", name, wrong, total)
		}
	}
}

// One instrument of two that is off must not keep the other from being read.
func TestAMuteInstrumentLeavesTheOtherItsTurns(t *testing.T) {
	s := &slow{late: func(_ int, r string) time.Duration {
		if r == "A\r" {
			return -1
		}
		return 20 * time.Millisecond
	}}
	_, channels := believedOf([]frame.Ask{{Request: "A\r", Channel: "left"}, {Request: "B\r", Channel: "right"}},
		100*time.Millisecond, s, 60*time.Second)
	if channels["left"] != 0 || channels["right"] < 1000 {
		t.Errorf("read %v", channels)
	}
}

// An echo of the question is no answer, and does not make room for the next one.
func TestAnEchoIsNoAnswer(t *testing.T) {
	asks := []frame.Ask{{Request: "A\r", Channel: "left"}, {Request: "B\r", Channel: "right"}}
	f := frame.Layout{Frame: frame.FrameText, Asks: asks}.Framer().(frame.Requester)
	turns := newRequests(f, Spec{Baud: 115200, Asking: Asking{Every: time.Millisecond, Answer: 100 * time.Millisecond}})
	turns.sent("A\r", 1)
	f.Feed(nil, []byte("A\r"), 2)
	if turns.heard(2) {
		t.Fatal("the echo was taken for the answer")
	}
	if got := f.Feed(nil, []byte("1.5\r\n"), 3); len(got) != 1 || got[0].Channel != "left" || !turns.heard(3) {
		t.Errorf("%+v", got)
	}
}
