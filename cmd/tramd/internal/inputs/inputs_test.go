package inputs

import (
	"testing"
	"time"

	"tramd/device"
	"tramd/device/input"
)

func TestAnInputThatIsNotKnownIsNotIdle(t *testing.T) {
	line, err := input.New(input.Spec{Name: "door", Source: input.SourceModbus}, nil)
	if err != nil {
		t.Fatal(err)
	}
	say := func(want string) {
		t.Helper()
		if got := WhyNotIdle(line, input.Off); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	say("input door is unknown")
	line.Feed(device.Now(), false)
	say("")
	line.Feed(device.Now(), true)
	say("input door is on")
	line.Feed(device.Now()-device.Stamp(time.Hour), false) // an old word
	say("input door is on")
}
