package device

import (
	"context"
	"testing"
	"time"

	"tramd/device/devicetest"
	"tramd/device/frame"
	"tramd/device/serialport"
)

func TestAProbeListensAndAsks(t *testing.T) {
	l := devicetest.Open(t)
	instrumentOf(t, l, func(q []byte) ([]byte, time.Duration) {
		if string(q) == "?\r" {
			return []byte("0.5\r\n"), 0
		}
		return nil, 0
	})
	e, err := serialport.OpenProbe(l.Path)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	ctx := context.Background()
	if got, err := e.Listen(ctx, 9600, "8N1", 50*time.Millisecond, 100, "", 0); err != nil || len(got) != 0 {
		t.Errorf("listened, and got %v, %v of an instrument that is silent", got, err)
	}
	got, err := e.Listen(ctx, 19200, "7E1", 5*time.Second, 15, "?\r", 20*time.Millisecond)
	if err != nil {
		t.Fatal(err)
	}
	spec := Spec{Name: "arm", Role: frame.RoleIndicator, Port: l.Path,
		Asking: Asking{Asks: []frame.Ask{{Request: "?\r"}}}}
	samples, faults, err := spec.Decode(got)
	if err != nil || len(samples) < 3 || samples[0].Value != 500_000 || faults["unasked"] != 0 {
		t.Errorf("listened, and got %v: %v, faults %v, %v", got, samples, faults, err)
	}
	ctx, cancel := context.WithTimeout(ctx, 30*time.Millisecond)
	defer cancel()
	begin := time.Now()
	if _, err := e.Listen(ctx, 9600, "8N1", time.Minute, 100, "", 0); err == nil || time.Since(begin) > 10*time.Second {
		t.Errorf("listening went on: %v", err)
	}
}
