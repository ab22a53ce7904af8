package identify

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/identify/identifytest"
	"tramd/device/serialport"
)

// heardAs cuts a stream into the reads of a port.
func heardAs(s identifytest.Stream, frames int) Heard {
	h := Heard{Baud: 115200, Line: "8N1"}
	at := time.Duration(0)
	for k := range frames {
		f := s.Frame(k)
		if k == 0 {
			f = f[len(f)/2:] // joined in the middle
		}
		if s.Every > 0 {
			h.Chunks = append(h.Chunks, serialport.Chunk{At: at, Data: f})
			at += s.Every
			continue
		}
		if k%3 == 0 {
			h.Chunks = append(h.Chunks, serialport.Chunk{At: at})
			at += time.Millisecond
		}
		last := &h.Chunks[len(h.Chunks)-1]
		last.Data = append(last.Data, f...)
	}
	return h
}

func TestEveryStreamIsFoundRight(t *testing.T) {
	streams := append(identifytest.Texts(), identifytest.Bytes()...)
	if len(streams) < 30 {
		t.Fatalf("only %d streams", len(streams))
	}
	for _, s := range streams {
		t.Run(s.Name, func(t *testing.T) {
			const frames = 200
			f, ok := Find([]Heard{heardAs(s, frames)})
			if !ok {
				t.Fatal("not found")
			}
			checkFinding(t, s, f, frames)
		})
	}
}

// A block without a radius must not pass for a whole one.
func TestABlockWithoutARadiusIsRefused(t *testing.T) {
	f, ok := Find([]Heard{heardAs(identifytest.Texts()[0], 100)})
	if !ok {
		t.Fatal("not found")
	}
	head := "machine = { name = \"one\" }\nstore = { path = \"/one\" }\nangle = { source = \"stations\" }\n"
	if _, err := config.Parse("x", []byte(head+f.Blocks("/dev/x", 0))); err == nil ||
		!strings.Contains(err.Error(), "radius_mm: missing") {
		t.Errorf("got %v", err)
	}
}

// checkFinding wants what was read to be what was sent, in order, nearly all of it.
func checkFinding(t *testing.T, s identifytest.Stream, f Finding, frames int) {
	t.Helper()
	if f.Line != s.Line {
		t.Errorf("line %s, want %s", f.Line, s.Line)
	}
	k := 0
	for _, x := range f.Samples {
		for k < frames && s.Nm(k) != x.Value {
			k++
		}
		if k == frames {
			t.Fatalf("read %d nm, which was not sent then:\n%s", x.Value, f.Blocks("/dev/x", 100))
		}
		k++
	}
	if len(f.Samples) < frames*8/10 {
		t.Errorf("%d readings of %d:\n%s", len(f.Samples), frames, f.Blocks("/dev/x", 100))
	}
}

func TestNoiseGivesNothing(t *testing.T) {
	for name, data := range identifytest.Noise() {
		t.Run(name, func(t *testing.T) {
			for _, cut := range []int{1, 7, 40, len(data)} {
				h := Heard{Baud: 9600, Line: "8N1"}
				for rest, at := data, time.Duration(0); len(rest) > 0; at += 10 * time.Millisecond {
					n := min(cut, len(rest))
					h.Chunks = append(h.Chunks, serialport.Chunk{At: at, Data: rest[:n]})
					rest = rest[n:]
				}
				if f, ok := Find([]Heard{h}); ok {
					t.Fatalf("in reads of %d bytes it was taken for %s, %d readings, %d bad:\n%s", cut, f.What,
						f.Readings, f.Bad, f.Blocks("/dev/x", 100))
				}
			}
		})
	}
}

var speeds = []int{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600}

// received is what a port hears at one speed, in the reads of a machine that looks each millisecond.
func received(w identifytest.Wire, baud int, line string) Heard {
	h := Heard{Baud: baud, Line: line}
	parity := line[1]
	for _, b := range w.Receive(baud, 8, parity) {
		at := time.Duration(b.At*1000+1) * time.Millisecond
		if n := len(h.Chunks); n == 0 || h.Chunks[n-1].At != at {
			h.Chunks = append(h.Chunks, serialport.Chunk{At: at})
		}
		last := &h.Chunks[len(h.Chunks)-1]
		last.Data = append(last.Data, b.C)
	}
	return h
}

func TestTheSpeedIsFound(t *testing.T) {
	pick := func(name string) identifytest.Stream {
		for _, s := range append(identifytest.Texts(), identifytest.Bytes()...) {
			if s.Name == name {
				return s
			}
		}
		t.Fatalf("no stream %q", name)
		return identifytest.Stream{}
	}
	for _, tc := range []struct {
		name   string
		baud   int
		data   int
		parity byte
		pause  int // bits between frames
		line   string
	}{
		{"bare", 9600, 8, 'N', 300, "8N1"},
		{"bare", 2400, 8, 'N', 20, "8N1"},
		{"comma and unit", 19200, 8, 'N', 500, "8N1"},
		{"seven bits even", 4800, 8, 'N', 200, "7E1"}, // the eighth bit is the parity
		{"seven bits odd", 1200, 8, 'N', 100, "7O1"},
		{"columns with a flag", 38400, 8, 'N', 300, "8N1"},
		{"24 bits, xor", 57600, 8, 'N', 600, "8N1"},
		{"32 bits, crc16_modbus, without a pause", 115200, 8, 'N', 0, "8N1"},
		{"16 bits, sum, a last byte", 9600, 8, 'N', 200, "8N1"},
		{"two channels, xor", 460800, 8, 'N', 5000, "8N1"},
		{"digits after a silence", 9600, 8, 'N', 300, "8N1"},
		{"32 bits, crc16_kermit", 19200, 8, 'E', 300, "8E1"},
	} {
		t.Run(fmt.Sprintf("%s at %d", tc.name, tc.baud), func(t *testing.T) {
			s := pick(tc.name)
			const frames = 120
			var sent [][]byte
			for k := range frames {
				sent = append(sent, s.Frame(k))
			}
			w := identifytest.Send(sent, tc.baud, tc.data, tc.parity, tc.pause)
			var all, wrong []Heard
			for _, baud := range speeds {
				for _, line := range []string{"8N1", "8E1"} {
					h := received(w, baud, line)
					all = append(all, h)
					if baud != tc.baud {
						wrong = append(wrong, h)
					}
				}
			}
			f, ok := Find(all)
			if !ok {
				t.Fatal("not found")
			}
			if f.Baud != tc.baud || f.Line != tc.line {
				t.Errorf("found %d baud %s, want %d %s", f.Baud, f.Line, tc.baud, tc.line)
			}
			s.Line = tc.line
			checkFinding(t, s, f, frames)
			slices.Reverse(wrong)
			if f, ok := Find(wrong); ok {
				t.Errorf("without the right speed it was taken for %s at %d:\n%s", f.What, f.Baud,
					f.Blocks("/dev/x", 100))
			}
		})
	}
}

// FuzzFind takes anything for what was heard: nothing makes it panic, and what it claims is a configuration that reads
// it.
func FuzzFind(f *testing.F) {
	for _, s := range []int{0, 11, 19, 30} {
		var data []byte
		streams := append(identifytest.Texts(), identifytest.Bytes()...)
		for k := range 30 {
			data = append(data, streams[s].Frame(k)...)
		}
		f.Add(data, uint8(9), "")
	}
	f.Add([]byte("\x01\x03\x02\x00\x64\xb9\xaf"), uint8(7), string([]byte{1, 3, 0, 0, 0, 1, 0x84, 0x0A}))
	f.Fuzz(func(t *testing.T, data []byte, cut uint8, request string) {
		h := Heard{Baud: 9600, Line: "8N1", Request: request}
		for at := time.Duration(0); len(data) > 0; at += 10 * time.Millisecond {
			n := min(int(cut)+1, len(data))
			if request != "" {
				h.Chunks = append(h.Chunks, serialport.Chunk{At: at, Data: []byte(request), Asked: true})
			}
			h.Chunks = append(h.Chunks, serialport.Chunk{At: at + time.Millisecond, Data: data[:n]})
			data = data[n:]
		}
		found, ok := Find([]Heard{h})
		if !ok {
			return
		}
		spec, err := found.spec()
		if err != nil {
			t.Fatalf("%v in\n%s", err, found.Blocks("/dev/x", 100))
		}
		if got, _, err := spec.Decode(h.Chunks); err != nil || len(got) != found.Readings {
			t.Fatalf("%d readings, then %d, %v", found.Readings, len(got), err)
		}
	})
}
