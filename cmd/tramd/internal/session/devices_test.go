package session

import (
	"strings"
	"sync"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// Two indicators on one port are two instruments: each has its place, its reading and its silence.
func TestEachIndicatorOfASharedPortIsSeen(t *testing.T) {
	var mu sync.Mutex
	status := device.Status{State: device.StateLive, Talk: device.Talking, SilentFor: 200 * time.Millisecond,
		Since: device.Now(), Readings: 7}
	sh := &shelf{}
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "linnet", AngleSource: "stations", Indicators: []sweep.Indicator{
			{Name: "front", RadiusMM: 120}, {Name: "rear", RadiusMM: 120, PhaseDeg: 180}}},
		Indicators: []IndicatorRoute{{Device: 0, Channel: "A"}, {Device: 0, Channel: "B"}},
		Angle:      AngleRoute{Device: -1, Stations: sweep.StationOptions{AnglesDeg: []float64{0, 180}, Indicators: 2}},
		Ports: []Port{{Name: "front", Role: "indicator", Path: "/dev/bus", Status: func() device.Status {
			mu.Lock()
			defer mu.Unlock()
			return status
		}}},
		Archive: sh, Fit: sweep.FitPlain,
	})
	if err != nil {
		t.Fatal(err)
	}
	keepRunning(t, s)
	read := func(channel string, mm float64) {
		z, _ := units.FromMM(mm)
		s.Sink(device.Batch{Device: 0,
			Samples: []device.Sample{{At: device.Now(), Kind: frame.Length, Channel: channel, Value: int64(z)}}})
	}
	read("A", 0.5)
	read("A", 0.25)
	read("B", -0.125)
	snap, err := s.Snapshot(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if len(snap.Devices) != 2 {
		t.Fatalf("%d instruments are shown: %+v", len(snap.Devices), snap.Devices)
	}
	for i, want := range []struct {
		name string
		mm   float64
		n    uint64
	}{{"front", 0.25, 2}, {"rear", -0.125, 1}} {
		d := snap.Devices[i]
		if d.Name != want.name || d.ReadingMM == nil || *d.ReadingMM != want.mm || d.Readings != want.n ||
			d.State != "live" || d.Role != "indicator" {
			t.Errorf("%+v, want %+v", d, want)
		}
	}
	for range 60 {
		read("A", 0.25)
		time.Sleep(10 * time.Millisecond)
	}
	if snap, err = s.Snapshot(t.Context()); err != nil {
		t.Fatal(err)
	}
	if snap.Devices[0].State != "live" || snap.Devices[1].State != api.StateSilent ||
		!strings.Contains(snap.Devices[1].Error, `channel "B"`) {
		t.Errorf("rear has stopped: %+v", snap.Devices)
	}
	refused := "the indicator B answered that it has no such register"
	mu.Lock()
	status.Err, status.Unanswered = refused, map[string]string{"B": refused}
	mu.Unlock()
	read("A", 0.25)
	if snap, err = s.Snapshot(t.Context()); err != nil {
		t.Fatal(err)
	}
	if snap.Devices[0].Error != "" || snap.Devices[1].State != api.StateSilent || snap.Devices[1].Error != refused {
		t.Errorf("rear has answered with a refusal: %+v", snap.Devices)
	}
}

// What stands in the way is said as it is: a port that is plugged in and cannot be opened is not to be plugged in.
func TestWhatIsMissingIsSaidAsItIs(t *testing.T) {
	for _, x := range []struct {
		st        device.Status
		want, not string
	}{
		{device.Status{State: device.StateAbsent}, "not plugged in", ""},
		{device.Status{State: device.StateLost}, "was unplugged", ""},
		{device.Status{State: device.StateOpening, Err: "port /dev/x may not be opened: join the group dialout"},
			"join the group dialout", "Plug it in"},
		{device.Status{State: device.StateOpening}, "is being opened", "Plug it in"},
		{device.Status{State: device.StateLive, Talk: device.Silent,
			Err: "port is open, but no reading has come for 5 s: check it"}, "arm is silent", "Plug it in"},
		{device.Status{State: device.StateLive, Talk: device.Talking}, "", "arm"},
		{device.Status{State: device.StateSettling, Talk: device.NotExpected}, "", "arm"},
	} {
		got := absent(Port{Name: "arm", Path: "/dev/x", Status: func() device.Status { return x.st }})
		if !strings.Contains(got, x.want) || (x.want == "") != (got == "") || x.not != "" &&
			strings.Contains(got, x.not) {
			t.Errorf("%+v: %q", x.st, got)
		}
	}
}
