package sim

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

func TestHandIsUnevenAndComplete(t *testing.T) {
	for seed := range uint64(20) {
		for _, turns := range []float64{2, -2, 1, -0.25, 7.5} {
			const from, rpm = 33.0, 20.0
			h := newTurning(rand.New(rand.NewPCG(seed, 1)), time.Second, from, turns, rpm)
			if want := time.Duration(math.Abs(turns) / rpm * 60e9); (h.length - want).Abs() > 1 {
				t.Fatalf("the turn takes %v, want %v", h.length, want)
			}
			if got := h.angle(time.Second + h.length); got != from+turns*360 {
				t.Fatalf("the turn ends at %v, want %v", got, from+turns*360)
			}
			const step = time.Millisecond
			last, fastest, slow, steps := from, 0.0, 0, 0
			mean := turns * 360 / h.length.Seconds()
			for now := time.Second; now <= time.Second+h.length+step; now += step {
				deg := h.angle(now)
				speed := (deg - last) / step.Seconds() / mean // of the mean
				if speed < -1e-9 {
					t.Fatalf("the hand went back by %v deg", deg-last)
				}
				if speed < 0.1 {
					slow++
				}
				steps++
				fastest, last = math.Max(fastest, speed), deg
			}
			if fastest < 1.3 || fastest > 6 || slow == 0 || slow > steps*2/3 {
				t.Errorf("%v turns: fastest %.2f of the mean, slow for %d of %d steps: want uneven, but a turn", turns,
					fastest, slow, steps)
			}
			if last != from+turns*360 {
				t.Errorf("%v turns came to %v", turns, last)
			}
		}
	}
}

func TestUselessTurnsRest(t *testing.T) {
	m := start(t, Linnet())
	for _, c := range [][2]float64{{0, 10}, {1, 0}, {1, -5}, {math.NaN(), 10}, {math.Inf(1), 10}, {1, math.NaN()},
		{1, 1e-300}} {
		m.Turn(c[0], c[1])
		select {
		case <-m.TurnDone():
		default:
			t.Errorf("%v turns at %v rpm began", c[0], c[1])
		}
		if m.Angle() != 0 {
			t.Fatalf("%v turns at %v rpm moved the arm to %v", c[0], c[1], m.Angle())
		}
	}
}

func TestSurfaceSigns(t *testing.T) {
	p := Params{RadiusMM: 100}
	for _, c := range []struct {
		truth Truth
		deg   float64
		want  float64
	}{
		{Truth{TiltMMPerM: 1}, 0, 0.1},    // leaning right, the arm on the right: nearer
		{Truth{TiltMMPerM: 1}, 180, -0.1}, // and on the left: farther
		{Truth{NodMMPerM: 1}, 90, 0.1},    // leaning back, the arm at the back: nearer
		{Truth{NodMMPerM: 1}, 0, 0},
	} {
		if got := p.surface(c.truth, 0, c.deg); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%+v at %v deg reads %v, want %v", c.truth, c.deg, got, c.want)
		}
	}
}

func TestNoiseHasItsSizeAndMemory(t *testing.T) {
	n := noise{rng: rand.New(rand.NewPCG(7, 7)), slow: 1}
	const step, count = 100 * time.Millisecond, 200000
	var sum, square, lagged float64
	var x []float64
	for i := range count {
		x = append(x, n.at(time.Duration(i)*step))
	}
	lag := int(slowNoiseTime / step)
	for i := range count {
		sum += x[i]
		square += x[i] * x[i]
		if i >= lag {
			lagged += x[i] * x[i-lag]
		}
	}
	// 200,000 steps span 10,000 memories: the mean is known to 1.4 %, the variance to 1.4 %, five times that is
	// allowed.
	if mean := sum / count; math.Abs(mean) > 0.07 {
		t.Errorf("mean %v, want 0", mean)
	}
	if v := square / count; math.Abs(v-1) > 0.07 {
		t.Errorf("variance %v, want 1", v)
	}
	if r := lagged / square; math.Abs(r-math.Exp(-1)) > 0.07 {
		t.Errorf("correlation after %v is %v, want 1/e", slowNoiseTime, r)
	}
}

func TestDisplay(t *testing.T) {
	for _, c := range []struct {
		resolution, mm float64
		want           string
	}{
		{0.001, 0.12345, "  +0.123 mm\r\n"},
		{0.001, -0.0004, "  +0.000 mm\r\n"},
		{0.001, -12.3456, "  -12.346 mm\r\n"},
		{0.01, 0.126, "  +0.130 mm\r\n"},
		{0.0005, 0.12345, "  +0.1235 mm\r\n"},
		{0.00127, 0.12345, "  +0.12319 mm\r\n"}, // 0.00005 in: 97 steps
		{0, 0.1234567, "  +0.123457 mm\r\n"},
	} {
		if got := string(newDisplay(c.resolution).append(nil, c.mm)); got != c.want {
			t.Errorf("%v mm in steps of %v: %q, want %q", c.mm, c.resolution, got, c.want)
		}
	}
}

func TestParamsRefused(t *testing.T) {
	for want, change := range map[string]func(*Params){
		"radius in mm is 0, write a value from 1 to 10000": func(p *Params) {
			p.RadiusMM = 0
		},
		"tilt in mm/m is NaN": func(p *Params) {
			p.TiltMMPerM = math.NaN()
		},
		"encoder rate in Hz is +Inf": func(p *Params) {
			p.EncoderHz = math.Inf(1)
		},
		"waves in a turn of the table's form is 1, write a value from 2": func(p *Params) {
			p.Form = []Harmonic{{K: 1}}
		},
		"counts per turn is 0": func(p *Params) {
			p.CountsPerTurn = 0
		},
		"bad line every is -1": func(p *Params) {
			p.BadLineEvery = -1
		},
		"noise in mm is -0.001, write a value from 0 to 10": func(p *Params) {
			p.NoiseMM = -0.001
		},
		"simulate a machine: resolution in mm is -1": func(p *Params) {
			p.ResolutionMM = -1
		},
		"simulate a machine: indicator rate in Hz is 0, write a value from 0.01 to 20": func(p *Params) {
			p.IndicatorHz = 0
		},
	} {
		p := Linnet()
		change(&p)
		m, err := Start(t.Context(), p)
		if err == nil {
			_ = m.Close()
			t.Errorf("accepted, want an error with %q", want)
		} else if !strings.Contains(err.Error(), want) {
			t.Errorf("got %q, want it to say %q", err, want)
		}
	}
}
