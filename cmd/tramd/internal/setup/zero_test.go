package setup

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// playedArm stands at the next place with each press.
type playedArm struct {
	places []int64
	at     int
	moving int // presses at which it still moves
	zero   float64
}

func (p *playedArm) Still() error {
	if p.moving > 0 {
		p.moving--
		return errors.New("the arm is still moving")
	}
	return nil
}
func (p *playedArm) Place() int64                     { p.at++; return p.places[p.at-1] }
func (p *playedArm) TravelDeg(from, to int64) float64 { return float64(to-from) / 10 }
func (p *playedArm) SetZero(right int64, reversed bool) float64 {
	p.zero = math.Mod(3600-float64(right), 3600) / 10
	return p.zero
}

func TestTwoPressesInSetup(t *testing.T) {
	for _, x := range []struct {
		name    string
		answers []string
		arm     playedArm
		want    string
		said    string
		kept    bool
	}{
		{"not now", []string{""}, playedArm{}, "", "", false},
		{"a counter", []string{"y", "", "", "n"}, playedArm{places: []int64{500, 1400}}, "reversed = false", "", false},
		{"a counter that counts clockwise", []string{"y", "", "", ""}, playedArm{places: []int64{500, -300}},
			"reversed = true", "", false},
		{"an absolute encoder", []string{"y", "", "", "y"}, playedArm{places: []int64{900, 1790}},
			"zero_deg = 270.0", "", true},
		{"slips", []string{"y", "", "x", "", "", "", "n"}, playedArm{places: []int64{10, 20, 30, 900}, moving: 1},
			"reversed = false", "the encoder shows 1 degrees", false},
	} {
		t.Run(x.name, func(t *testing.T) {
			var out strings.Builder
			a := NewPrompter(t.Context(), strings.NewReader(strings.Join(x.answers, "\n")+"\n"), &out)
			done := false
			lines, kept, err := AskZero(a, func() (Arm, func(), error) { return &x.arm, func() { done = true }, nil })
			if err != nil || kept != x.kept || !strings.Contains(lines, x.want) || (x.want == "") != (lines == "") ||
				!strings.Contains(out.String(), x.said) {
				t.Errorf("%q, kept %v, %v\n%s", lines, kept, err, out.String())
			}
			if !done && lines != "" {
				t.Error("the port was not let go")
			}
		})
	}
	var out strings.Builder
	a := NewPrompter(t.Context(), strings.NewReader("y\n"), &out)
	if lines, _, err := AskZero(a, func() (Arm, func(), error) {
		return nil, nil, errors.New("there is no such port")
	}); err != nil || lines != "" || !strings.Contains(out.String(), "no such port") {
		t.Errorf("%q %v %s", lines, err, out.String())
	}
}
