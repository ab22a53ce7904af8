package hours

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

func p(x float64) *float64 { return &x }

func near(t *testing.T, m *Meter, want float64, what string) {
	t.Helper()
	if got, known := m.Hours(); !known || math.Abs(got-want) > 1e-9 {
		t.Errorf("%s: %v h (known %v), want %v", what, got, known, want)
	}
}

func TestARunningSignalAddsUpAndAPersonSetsItRight(t *testing.T) {
	m := New(nil, nil, 0)
	if _, known := m.Hours(); known || m.Counter() != nil {
		t.Error("hours out of nothing")
	}
	m.Ran(90 * time.Minute)
	m.Ran(-time.Hour)
	near(t, m, 1.5, "an hour and a half")
	m.Type(1234)
	m.Ran(30 * time.Minute)
	near(t, m, 1234.5, "typed and on")
	m = New(p(1234.5), nil, 0)
	m.Ran(time.Hour)
	near(t, m, 1235.5, "after a restart")
}

// reads feeds readings a minute apart.
func reads(m *Meter, from time.Duration, xs ...float64) (said string) {
	for i, x := range xs {
		said += m.Read(from+time.Duration(i)*time.Minute, x)
	}
	return said
}

func TestTheHoursGoOnWhateverBecomesOfTheCounter(t *testing.T) {
	m := New(nil, nil, 0.1)
	if said := reads(m, 0, 200, 200, 200.1, 200.1); said != "" {
		t.Error(said)
	}
	near(t, m, 200.1, "the counter's own")
	if said := reads(m, time.Hour, 0, 201); said != "" { // it was read while the controller started
		t.Error(said)
	}
	near(t, m, 201, "after a slip to nothing")
	if said := reads(m, 2*time.Hour, 65737, 201.3, 66000, 201.4); said != "" { // read while its high word changed
		t.Error(said)
	}
	near(t, m, 201.4, "after slips far ahead")
	said := reads(m, 3*time.Hour, 3, 3, 3.1)
	if !strings.Contains(said, "went back from 201.4 to 3.1 h") {
		t.Errorf("said %q", said)
	}
	near(t, m, 201.4, "another controller")
	if said = reads(m, 4*time.Hour, 4.1); said != "" {
		t.Error(said)
	}
	near(t, m, 202.4, "by what the other adds")
	m.Type(1000)
	if said = reads(m, 5*time.Hour, 4.6); said != "" {
		t.Error(said)
	}
	near(t, m, 1000.5, "from what was typed")
	hours, _ := m.Hours()
	m = New(&hours, m.Counter(), 0.1)
	if said = reads(m, 0, 10.6, 10.7); said != "" { // the machine ran six hours with nobody to count
		t.Error(said)
	}
	near(t, m, 1006.6, "after a restart")
	hours, _ = m.Hours()
	m = New(&hours, m.Counter(), 0.1)
	said = reads(m, 0, 500.7, 500.7, 500.7)
	if !strings.Contains(said, "from 10.7 to 500.7 h while it was not read") {
		t.Errorf("said %q", said)
	}
	near(t, m, 1496.6, "after three weeks without a reader")
	said = reads(m, time.Hour, 9000, 9000, 9000)
	if !strings.Contains(said, "more than the time that passed") {
		t.Errorf("said %q", said)
	}
	near(t, m, 1496.6, "a used controller")
}

func TestTheFirstReadingAndWhatWasTypedBefore(t *testing.T) {
	m := New(p(1234), nil, 1)
	if said := m.Read(0, 1300); said != "" {
		t.Error(said)
	}
	near(t, m, 1300, "the same counter, later")
	m = New(p(1234), nil, 1)
	if said := m.Read(0, 20); !strings.Contains(said, "less than the 1234.0 h that were known") {
		t.Errorf("said %q", said)
	}
	near(t, m, 1234, "another counter")
	for _, x := range []float64{math.NaN(), math.Inf(1), -1} {
		m.Read(time.Hour, x)
	}
	near(t, m, 1234, "no readings at all")
}

// A counter whose scale is wrong never makes the hours run away.
func TestACounterThatIsFasterThanTimeIsHeldBack(t *testing.T) {
	m := New(nil, nil, 1)
	said := ""
	for i := range 600 { // ten hours, in which it counts minutes that are taken for hours
		said += m.Read(time.Duration(i)*time.Minute, 100+float64(i))
	}
	if h, _ := m.Hours(); h > 100+10*pace+10 || !strings.Contains(said, "its scale is wrong") {
		t.Errorf("%v h; said %.100q", h, said)
	}
}

// Whatever is read, the hours never go back by themselves, nor ahead of time and the steps that were borne out; a whole
// counter that is read with slips and restarts gives the truth.
func TestHoursNeverGoBackAndAreTheTruth(t *testing.T) {
	for seed := range uint64(300) {
		rng := rand.New(rand.NewPCG(seed, 4))
		m := New(nil, nil, 0.1)
		now, truth, was := time.Duration(0), 50.0, 0.0
		for range 2000 {
			lag := time.Duration(1+rng.IntN(300)) * time.Second
			now += lag
			if rng.IntN(3) > 0 {
				truth += lag.Hours()
			}
			x := math.Floor(truth*10) / 10
			if rng.IntN(20) == 0 { // a slip
				x = []float64{0, x + 6553.6, 0.1, x - 20}[rng.IntN(4)]
				if m.Counter() == nil {
					continue // of the very first reading nothing tells that it is one
				}
			}
			m.Read(now, x)
			h, known := m.Hours()
			if h < was || !known {
				t.Fatalf("seed %d: from %v to %v h", seed, was, h)
			}
			was = h
			if rng.IntN(50) == 0 {
				m = New(&h, m.Counter(), 0.1)
				now = 0
			}
		}
		if was > truth+1e-6 || was < truth-2 { // slips that bear each other out cost what ran meanwhile
			t.Errorf("seed %d: %v h, in truth %v", seed, was, truth)
		}
	}
}

func FuzzMeter(f *testing.F) {
	f.Add(100.0, 100.1, 3.0, int64(60))
	f.Fuzz(func(t *testing.T, a, b, c float64, s int64) {
		m := New(nil, nil, 0.1)
		was := 0.0
		for i, x := range []float64{a, b, c, c, c, b, a, a, a} {
			m.Read(time.Duration(i)*time.Duration(s), x)
			h, known := m.Hours()
			if known && (math.IsNaN(h) || h < was) {
				t.Fatalf("from %v to %v", was, h)
			}
			if known {
				was = h
			}
		}
	})
}
