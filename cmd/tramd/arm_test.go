package main

import (
	"fmt"
	"io"
	"math"
	"sync"
	"testing"
	"time"
)

// handArm is an arm with an indicator and an encoder of 3600 counts on real ptys, moved by the test as a hand would.
type handArm struct {
	indicator, encoder string // their ports
	tilt, nod          float64
	zeroDeg            float64 // the spindle angle at which the encoder shows 0

	mu    sync.Mutex
	deg   float64
	goal  float64
	speed float64 // degrees a second
	lift  float64 // mm, on top of what the lean shows
	mute  bool    // the indicator sends nothing
}

func startHandArm(t *testing.T, tilt, nod, zeroDeg float64) *handArm {
	t.Helper()
	a := &handArm{tilt: tilt, nod: nod, zeroDeg: zeroDeg}
	var ports [2]io.Writer
	for i, name := range []*string{&a.indicator, &a.encoder} {
		master, slave := openPty(t)
		ports[i], *name = master, slave
	}
	stop, done := make(chan struct{}), make(chan struct{})
	t.Cleanup(func() { close(stop); <-done })
	go func() {
		defer close(done)
		tick := time.NewTicker(10 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
				a.step(0.01, ports)
			}
		}
	}()
	return a
}

func (a *handArm) step(s float64, ports [2]io.Writer) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if d := a.goal - a.deg; math.Abs(d) <= a.speed*s {
		a.deg = a.goal
	} else {
		a.deg += math.Copysign(a.speed*s, d)
	}
	th := a.deg * math.Pi / 180
	// A pty that is full loses the line, as a wire would.
	if !a.mute {
		fmt.Fprintf(ports[0], "%.4f\r\n", 1+a.lift+0.12*(a.tilt*math.Cos(th)+a.nod*math.Sin(th)))
	}
	fmt.Fprintf(ports[1], "%d\r\n", int(math.Round((a.deg-a.zeroDeg)*10)))
}

// turn turns the arm to an angle, and waits until it is there.
func (a *handArm) turn(t *testing.T, deg, speed float64) {
	t.Helper()
	a.mu.Lock()
	a.goal, a.speed = deg, speed
	a.mu.Unlock()
	for range 3000 {
		a.mu.Lock()
		there := a.deg == deg
		a.mu.Unlock()
		if there {
			time.Sleep(600 * time.Millisecond) // a hand holds still a moment
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("the arm does not come to %v degrees", deg)
}
