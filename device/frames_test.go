package device

import (
	"fmt"
	"testing"
	"time"

	"tramd/device/devicetest"
	"tramd/device/frame"
)

// Frames come each millisecond and are read four at a time; a frame that is held back belongs to the read before. Each
// stamp must be that of its own last byte, within a fraction of the distance between frames.
func TestStampsOfFramesReadTogether(t *testing.T) {
	for _, kind := range []string{"digits", "binary_crc16", "binary_bare"} {
		t.Run(kind, func(t *testing.T) {
			const ms = Stamp(time.Millisecond)
			f := spoken[kind].spec
			f.Role = frame.RoleIndicator
			d := frame.NewDecoder(f.layout().Framer(), 0)
			d.Opened(true, 0)
			got := map[int64]Stamp{}
			from := Stamp(0)
			for k := 0; k < 400; k += 4 {
				var p []byte
				for i := range 4 {
					p = spoken[kind].frame(p, k+i)
				}
				at := Stamp(k+4) * ms // frame i has come at (i + 1) ms
				for _, s := range d.Read(p, frame.Arrival{From: from, At: at, Prompt: true}) {
					got[s.Value/1000] = s.At
				}
				from = at
			}
			if len(got) < 395 {
				t.Fatalf("%d readings of 400", len(got))
			}
			for i, at := range got {
				if off := time.Duration(at - Stamp(i+1)*ms); off < -300*time.Microsecond || off > 300*time.Microsecond {
					t.Errorf("frame %d is stamped %v off", i, off)
				}
			}
		})
	}
}

// No kind of frame costs an allocation for a reading.
func TestNoFrameAllocates(t *testing.T) {
	for kind, x := range spoken {
		spec := x.spec
		spec.Role = frame.RoleIndicator
		f := spec.layout().Framer()
		var in []byte
		for i := range 50 {
			in = x.frame(in, 900_000+i)
		}
		dst := make([]Sample, 0, 64)
		f.Feed(dst, in, 1)
		read := 0
		if n := testing.AllocsPerRun(100, func() { read = len(f.Feed(dst, in, 1)) }); n != 0 || read < 49 {
			t.Errorf("%s: %v allocations for %d readings", kind, n, read)
		}
	}
}

// An adapter is pulled in the middle of a frame and put back in the middle of another. What was sent is known by its
// value.
func TestUnpluggedInMidFrame(t *testing.T) {
	for _, kind := range []string{"pattern", "digits", "binary_crc16", "binary_bare"} {
		t.Run(kind, func(t *testing.T) {
			socket := devicetest.NewSocket(t)
			spec := spoken[kind].spec
			spec.Port = socket.Path
			x := spoken[kind]
			l := socket.Plug()
			r := start(t, spec)
			next := 1000
			for part := range 3 {
				r.wait(t, StateSettling)
				var p []byte
				for range 20 {
					next++
					p = x.frame(p, next)
				}
				size := len(x.frame(nil, next))
				cut := 1 + part
				before := r.Status().Readings
				l.Write(p[size/2 : len(p)-cut]) // joined in mid-frame, and left in mid-frame
				wait(t, "readings", func() bool { return r.Status().Readings >= before+10 })
				socket.Unplug(l)
				r.wait(t, StateLost)
				if part < 2 {
					l = socket.Plug()
				}
			}
			r.stop()
			last := int64(0)
			for _, s := range r.all() {
				if s.Value%1000 != 0 || s.Value/1000 <= max(last, 1000) || s.Value/1000 > int64(next) {
					t.Fatalf("read %d nm after %d um, which was not sent then", s.Value, last)
				}
				last = s.Value / 1000
			}
		})
	}
}

// An indicator that is asked is unplugged while its answer is awaited, and answers again when it is back.
func TestUnpluggedBeforeItsAnswer(t *testing.T) {
	socket := devicetest.NewSocket(t)
	l := socket.Plug()
	r := start(t, Spec{Port: socket.Path, Frame: frame.FrameModbus,
		Registers: []frame.Register{{Address: 1, Type: "int16", Scale: "1 um"}},
		Asking:    Asking{Every: 5 * time.Millisecond, Answer: 20 * time.Second}})
	wait(t, "a question", func() bool { return r.Status().Asked == 1 })
	l.Write([]byte{1, 3, 2, 0}) // half an answer
	socket.Unplug(l)
	r.wait(t, StateLost)
	instrumentOf(t, socket.Plug(), func([]byte) ([]byte, time.Duration) {
		return devicetest.Seal([]byte{1, 3, 2, 0, 100}), 0
	})
	wait(t, "answers", func() bool { return r.Status().Answered >= 3 })
	for _, s := range r.all() {
		if s.Value != 100_000 {
			t.Errorf("read %v", s)
		}
	}
	if fmt.Sprint(r.Status().Err) != "" {
		t.Errorf("it still says %q", r.Status().Err)
	}
}
