package sine

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// The figures are scipy's, with its call beside them in the file.
func TestFourParametersAgreeWithScipy(t *testing.T) {
	text, err := os.ReadFile("../../testdata/published/steady_sine_fit.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases map[string]struct {
			T      []float64 `json:"t_s"`
			X      []float64
			Omega0 float64
			A, B   float64
			C      float64
			Omega  float64
			SD     [4]float64
			RSS    float64
		}
	}
	if err := json.Unmarshal(text, &file); err != nil || len(file.Cases) < 3 {
		t.Fatalf("%d cases, %v", len(file.Cases), err)
	}
	for name, c := range file.Cases {
		t.Run(name, func(t *testing.T) {
			got, err := Fit(c.T, c.X, c.Omega0, Options{})
			if err != nil {
				t.Fatal(err)
			}
			near := func(what string, got, want, scale float64) {
				if math.Abs(got-want) > scale {
					t.Errorf("%s %.10g, scipy %.10g", what, got, want)
				}
			}
			// Of its own standard deviation, a millionth.
			near("A", got.A, c.A, 1e-6*c.SD[0])
			near("B", got.B, c.B, 1e-6*c.SD[1])
			near("C", got.C, c.C, 1e-6*c.SD[2])
			near("omega", got.Omega, c.Omega, 1e-6*c.SD[3])
			near("rss", got.RSS, c.RSS, 1e-9*c.RSS)
			for i := range got.SD {
				near("sd", got.SD[i], c.SD[i], 1e-4*c.SD[i]) // scipy's Jacobian is made of differences
			}
			if rms := math.Sqrt(c.RSS / float64(len(c.T)-4)); math.Abs(got.RMS()-rms) > 1e-9*rms {
				t.Errorf("rms %v, want %v", got.RMS(), rms)
			}
		})
	}
}

func TestASurfaceWithWavesAndADriftLeavesTheFrequencyRight(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const omega = 0.628
	hit, n := 0, 200
	for range n {
		var ts, xs []float64
		p2, p3 := rng.Float64()*7, rng.Float64()*7
		for i := range 300 {
			at := float64(i) * 0.1
			ts = append(ts, at)
			xs = append(xs, 0.1*math.Cos(omega*at+1)+0.03*math.Cos(2*omega*at+p2)+0.01*math.Cos(3*omega*at+p3)+
				0.0005*at+0.002*rng.NormFloat64())
		}
		got, err := Fit(ts, xs, 0.65, Options{Harmonics: 4, Drift: 1})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.Omega-omega) < 1.96*got.SD[3] {
			hit++
		}
		if math.Abs(got.Amplitude()-0.1) > 0.001 {
			t.Fatalf("amplitude %v", got.Amplitude())
		}
	}
	// Binomial(200, 0.95): 95 % of the time between 184 and 196.
	if hit < 182 || hit > 198 {
		t.Errorf("the interval held the frequency %d times of %d", hit, n)
	}
}

func TestSearchFindsTheWaveWithinItsRange(t *testing.T) {
	var ts, xs []float64
	for i := range 400 {
		at := 50 + float64(i)*0.05
		ts, xs = append(ts, at), append(xs, 2+math.Cos(1.7*at)+0.8*math.Cos(3.4*at+1))
	}
	w, err := Search(ts, xs, 1.3, 2.1, Options{})
	if err != nil {
		t.Fatal(err)
	}
	got, err := Fit(ts, xs, w, Options{Harmonics: 2})
	if err != nil || math.Abs(got.Omega-1.7) > 1e-9 {
		t.Errorf("found %v, then %v, %v", w, got.Omega, err)
	}
	if _, err := Search(ts, xs, 1, 1e6, Options{}); err == nil {
		t.Error("a range without end was looked through")
	}
}

func TestWhatIsNoWaveIsRefused(t *testing.T) {
	flat := make([]float64, 50)
	ts := make([]float64, 50)
	for i := range ts {
		ts[i] = float64(i)
	}
	if _, err := Fit(ts, flat, 0.3, Options{}); !errors.Is(err, ErrNoWave) {
		t.Errorf("flat: %v", err)
	}
	for name, c := range map[string]struct {
		t, x []float64
		w    float64
	}{
		"nothing": {nil, nil, 1}, "lengths": {ts, flat[:9], 1}, "too few": {ts[:4], flat[:4], 1},
		"no frequency": {ts, flat, 0},
		"not a number": {ts, append([]float64{math.NaN()}, flat[1:]...), 1}, "one time": {make([]float64, 50), flat, 1},
		"infinite": {ts, flat, math.Inf(1)},
	} {
		if _, err := Fit(c.t, c.x, c.w, Options{}); err == nil {
			t.Errorf("%s: fitted", name)
		}
	}
}

func FuzzFit(f *testing.F) {
	f.Add(uint64(1), 30, 0.5, 2)
	f.Fuzz(func(t *testing.T, seed uint64, n int, w float64, harmonics int) {
		if n < 0 || n > 300 {
			return
		}
		rng := rand.New(rand.NewPCG(seed, 1))
		var ts, xs []float64
		for range n {
			ts, xs = append(ts, rng.NormFloat64()*100), append(xs, rng.NormFloat64())
		}
		got, err := Fit(ts, xs, w, Options{Harmonics: harmonics, Drift: harmonics % 5})
		if err == nil && (math.IsNaN(got.Omega) || !(got.Omega > 0)) {
			t.Errorf("omega %v", got.Omega)
		}
	})
}
