package session

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"tramd/device"
	"tramd/device/devicetest"
	"tramd/device/frame"
)

// instrumentsEnv makes this test binary the instruments of a sweep: "KIND RATE BESIDE", where the kind is one of
// spoken, at so many frames a second unless it is asked, and beside it are so many lines of the encoder a second; below
// 0, so many index pulses. They are a process of their own so that the processor time of the reader stands alone.
const instrumentsEnv = "SESSION_BENCH_INSTRUMENTS"

// frameKind is what an indicator sends, each frame saying so many micrometres.
type frameKind struct {
	spec     device.Spec
	frame    func(dst []byte, um int64) []byte
	question int     // how many bytes ask for a frame; 0: it sends by itself
	uneven   float64 // within which part of its period a frame is due; 0: all of it
}

const benchAsk = "?\r"

// benchRegister is asked for by eight bytes: address, function, register, how many, check value.
var benchRegister = frame.Register{Address: 1, Function: 4, Register: 16, Type: "int32", Scale: "1 um"}

var spoken = map[string]frameKind{
	"text": {frame: textFrame},
	"text_asked": {spec: device.Spec{Asking: device.Asking{Asks: []frame.Ask{{Request: benchAsk}}}}, frame: textFrame,
		question: len(benchAsk)},
	"pattern": {spec: device.Spec{Frame: frame.FramePattern,
		Pattern: &frame.Pattern{Form: "{channel:2}N{value:9}{unit:2}"}},
		frame: func(dst []byte, um int64) []byte { return fmt.Appendf(dst, "01N%9.3fMM\r\n", float64(um)/1000) }},
	"digits": {spec: device.Spec{Frame: frame.FrameDigits, Digits: &frame.Digits{Map: "FF 0 dddddd 3", Decimals: 3}},
		frame: digitsFrame},
	// Guarded by 16 bits of check value, so handed on as it comes.
	"binary_crc16": {spec: binarySpec("AA 55 value check", "crc16_modbus", 0),
		frame: func(dst []byte, um int64) []byte {
			return withCRC(dst, countFrame(nil, um))
		}},
	// Not guarded: held until the next is good too, or until a silence.
	"binary_bare": {spec: binarySpec("AA 55 value", "", 0), frame: countFrame},
	// Found by the silence before it, and handed on when the one after it is over.
	"binary_gap": {spec: binarySpec("AA 55 value", "", 5), frame: countFrame, uneven: 0.3},
	"modbus": {spec: device.Spec{Frame: frame.FrameModbus, Registers: []frame.Register{benchRegister}}, question: 8,
		frame: func(dst []byte, um int64) []byte {
			return withCRC(dst, binary.BigEndian.AppendUint32([]byte{1, 4, 4}, uint32(um)))
		}},
}

func binarySpec(layout, check string, gapMS float64) device.Spec {
	return device.Spec{Frame: frame.FrameBinary, Binary: &frame.Binary{Layout: layout, Bits: 24, Order: "high_first",
		Scale: "1 um", Check: check, GapMS: gapMS}}
}

func textFrame(dst []byte, um int64) []byte {
	return fmt.Appendf(dst, "%+09.3f\r\n", float64(um)/1000)
}

func digitsFrame(dst []byte, um int64) []byte {
	dst = append(dst, 0xFF)
	for k, d := 0, fmt.Sprintf("0%06d3", um); k < len(d); k += 2 {
		dst = append(dst, (d[k]-'0')<<4|(d[k+1]-'0'))
	}
	return dst
}

func countFrame(dst []byte, um int64) []byte {
	return append(dst, 0xAA, 0x55, byte(um>>16), byte(um>>8), byte(um))
}

// withCRC ends a frame with its check value.
func withCRC(dst, frame []byte) []byte {
	return binary.LittleEndian.AppendUint16(append(dst, frame...), devicetest.CRC(frame))
}

// said is what the instruments tell at their end: when they began to write each frame and each line beside, on the
// clock that all processes share, in nanoseconds, and the 99th percentile of how late they were by their own plan.
type said struct {
	Frames, Beside []int64
	LateP99        int64
}

// pulsesApart keeps index pulses apart: two that are read within 30 ms are taken for one.
const pulsesApart = int64(60 * time.Millisecond)

// plan says when lines are due. They keep no step with each other or with any timer, since timers of two processes that
// tick together flatter a reader that sleeps: each is due at a random place within its period, or within a part of it.
type plan struct {
	start, gap int64
	within     float64
	rnd        *rand.Rand
	n          int64
	next       int64
}

func newPlan(rate int, within float64, seed uint64) *plan {
	p := &plan{start: monotonic(), gap: int64(time.Second) / int64(rate), within: within,
		rnd: rand.New(rand.NewPCG(1, seed)), n: -1}
	p.step()
	return p
}

func (p *plan) step() {
	p.n++
	p.next = p.start + p.n*p.gap + int64(p.rnd.Float64()*p.within*float64(p.gap))
}

// instruments speak on descriptors 3 (the indicator) and 4 (the encoder, or the index pulse) until standard input ends.
func instruments() error {
	var kind string
	var rate, beside int
	if _, err := fmt.Sscan(os.Getenv(instrumentsEnv), &kind, &rate, &beside); err != nil {
		return err
	}
	k := spoken[kind]
	arm, other := os.NewFile(3, "arm"), os.NewFile(4, "beside")
	var over atomic.Bool
	go func() {
		_, _ = io.Copy(io.Discard, os.Stdin)
		over.Store(true)
	}()
	within := 1.0
	if k.uneven > 0 {
		within = k.uneven
	}
	frames := newPlan(rate, within, 2)
	var lines *plan
	if beside > 0 {
		lines = newPlan(beside, 1, 3)
	} else {
		lines = newPlan(-beside, 0.3, 3)
	}
	asked := &answers{kind: k, arm: arm}
	if k.question > 0 {
		frames.next = math.MaxInt64
		go asked.run()
	}
	var out said
	var late []int64
	var line []byte
	for !over.Load() {
		next := min(frames.next, lines.next)
		// The last stretch is spun, not slept.
		if ahead := time.Duration(next - monotonic()); ahead > 2*time.Millisecond {
			time.Sleep(ahead - 2*time.Millisecond)
		}
		for monotonic() < next {
			runtime.Gosched()
		}
		if next == frames.next {
			line = k.frame(line[:0], frames.n)
			at := monotonic()
			if _, err := arm.Write(line); err != nil {
				return err
			}
			out.Frames = append(out.Frames, at)
			late = append(late, at-next)
			frames.step()
			continue
		}
		at := monotonic()
		if beside > 0 {
			line = fmt.Appendf(line[:0], "%d\n", int64(math.Round(float64(at-lines.start)/1e9*benchCounts/benchTurnS)))
			at = monotonic()
		} else {
			line = append(line[:0], 'I')
		}
		if _, err := other.Write(line); err != nil {
			return err
		}
		out.Beside = append(out.Beside, at)
		late = append(late, at-next)
		lines.step()
		if beside < 0 {
			lines.next = max(lines.next, at+pulsesApart) // after it was held up too
		}
	}
	if k.question > 0 {
		var err error
		if out.Frames, err = asked.end(); err != nil {
			return err
		}
	}
	slices.Sort(late)
	out.LateP99 = late[len(late)*99/100]
	return json.NewEncoder(os.Stdout).Encode(out)
}

// answers are given by an instrument that is asked, each at once.
type answers struct {
	kind frameKind
	arm  *os.File
	mu   sync.Mutex
	sent []int64
	err  error
}

func (a *answers) run() {
	buf := make([]byte, 256)
	var line []byte
	heard := 0
	for {
		n, err := a.arm.Read(buf)
		for heard += n; err == nil && heard >= a.kind.question; heard -= a.kind.question {
			a.mu.Lock()
			line = a.kind.frame(line[:0], int64(len(a.sent)))
			a.sent = append(a.sent, monotonic())
			a.mu.Unlock()
			_, err = a.arm.Write(line)
		}
		if err != nil {
			a.mu.Lock()
			a.err = err
			a.mu.Unlock()
			return
		}
	}
}

func (a *answers) end() ([]int64, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.sent, a.err
}
