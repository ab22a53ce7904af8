package bar

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tramd/sweep"
	"tramd/sweep/units"
)

// turning makes up a bar that runs out, with lobes of its own.
type turning struct {
	off, lean [2]float64 // mm at height 0; mm per mm
	lobes     float64    // mm
	white     float64
	angles    int
}

func (b turning) read(r *rand.Rand, heights ...float64) []Reading {
	var out []Reading
	t := 0.0
	for _, h := range heights {
		for k := range b.angles {
			th := 2 * math.Pi * float64(k) / float64(b.angles)
			s, c := math.Sincos(th)
			z := 0.7 + (b.off[0]+b.lean[0]*h)*c + (b.off[1]+b.lean[1]*h)*s + b.lobes*math.Cos(3*th+1) +
				b.white*r.NormFloat64()
			out = append(out, Reading{T: t, Angle: th, Height: h, MM: math.Round(z*1000) / 1000})
			t += 2
		}
	}
	return out
}

var plain = Options{Indicator: sweep.Indicator{ResolutionMM: 0.001}}

// Common practice, no source: a shank that is 0.05 mm off after 25 mm leans by 2 mm/m.
func TestFiveHundredthsOverTwentyFive(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	b := turning{lean: [2]float64{0.05 / 25, 0}, angles: 36}
	nose := 25.0
	res, err := Fit(b.read(r, 0, 25), nil, Options{Indicator: sweep.Indicator{ResolutionMM: 0.001}, NoseMM: &nose})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(res.Angle.MMPerM-2) > 0.02 || math.Abs(res.AtNose.Eccentricity-0.05) > 0.0005 ||
		math.Abs(res.Heights[1].RunOut-0.1) > 0.001 {
		t.Errorf("%+v %+v %+v", res.Angle, res.AtNose, res.Heights[1])
	}
}

func TestIntervalsOfBarsHoldTheTruth(t *testing.T) {
	held, all := 0, 0
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 2))
		b := turning{off: [2]float64{0.01 * r.NormFloat64(), 0.01 * r.NormFloat64()},
			lean:  [2]float64{3e-4 * r.NormFloat64(), 3e-4 * r.NormFloat64()},
			lobes: 0.001, white: 0.001, angles: []int{8, 24, 300}[seed%3]}
		res, err := Fit(b.read(r, 5, 20, 40), nil, plain)
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range res.Heights {
			all++
			if math.Abs(h.Eccentricity-math.Hypot(b.off[0]+b.lean[0]*h.AtMM, b.off[1]+b.lean[1]*h.AtMM)) <= h.U {
				held++
			}
		}
		all++
		if math.Abs(res.Angle.MMPerM-1000*math.Hypot(b.lean[0], b.lean[1])) <= res.Angle.Expanded {
			held++
		}
	}
	t.Logf("%d of %d held", held, all)
	if held < all*91/100 {
		t.Errorf("%d of %d intervals hold the truth", held, all)
	}
}

func TestRechuckingTellsColletAndBarApart(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	collet, own := [2]float64{0.012, 0.004}, [2]float64{-0.003, 0.009}
	first := turning{off: [2]float64{collet[0] + own[0], collet[1] + own[1]}, white: 0.0005, angles: 36}
	again := turning{off: [2]float64{collet[0] - own[0], collet[1] - own[1]}, white: 0.0005, angles: 36}
	res, err := Fit(first.read(r, 10, 40), again.read(r, 10, 40), plain)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 2 {
		if e := res.Collet.Heights[i].Eccentricity; math.Abs(e-math.Hypot(collet[0], collet[1])) > 0.0006 {
			t.Errorf("collet %v", e)
		}
		if e := res.BarItself.Heights[i].Eccentricity; math.Abs(e-math.Hypot(own[0], own[1])) > 0.0006 {
			t.Errorf("bar %v", e)
		}
	}
}

func TestHeightsThatDoNotDiffer(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 2))
	tol, err := units.ParseTolerance("0.02/300")
	if err != nil {
		t.Fatal(err)
	}
	res, err := Fit(turning{white: 0.001, angles: 24}.read(r, 20), nil,
		Options{Indicator: plain.Indicator, Tolerance: tol})
	if err != nil {
		t.Fatal(err)
	}
	if res.Angle != nil || res.Verdict != sweep.Undecided || res.Warnings[len(res.Warnings)-1].Code != WarnOneHeight {
		t.Errorf("%+v", res)
	}
}

func TestABentBarIsSaidToBe(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	b := turning{white: 0.0005, angles: 36}
	in := b.read(r, 0, 40)
	b.off[0] = 0.02
	in = append(in, b.read(r, 20)...)
	res, err := Fit(in, nil, plain)
	if err != nil {
		t.Fatal(err)
	}
	if res.BentBy == nil || *res.BentBy < 5 {
		t.Errorf("%+v", res.BentBy)
	}
}

func TestBadBars(t *testing.T) {
	head := "t_s,angle_deg,height_mm,reading_mm\n"
	for text, want := range map[string]string{
		head: "no readings",
		head + "0,0,20,1\n1,180,20,1\n2,0,20,1\n": "two opposite angles",
		head + "0,0,20,1\n1,0,20,1\n":             "height 20 mm",
		head + "0,,20,1\n":                        "line 2, column angle_deg: found nothing",
	} {
		in, _, err := readCSV(text)
		if err == nil {
			_, err = Fit(in, nil, plain)
		}
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func FuzzBar(f *testing.F) {
	f.Add(
		"t_s,angle_deg,height_mm,reading_mm\n0,0,20,1\n1,120,20,1.01\n2,240,20,1\n3,0,50,1\n4,120,50,1\n5,240,50,1.1\n")
	f.Fuzz(func(t *testing.T, text string) {
		if in, _, err := readCSV(text); err == nil {
			Fit(in, nil, plain)
		}
	})
}

// readCSV reads a recorded bar test.
func readCSV(text string) (first, turned []Reading, err error) {
	t, err := sweep.ReadTable(strings.NewReader(text), Columns, false)
	if err != nil {
		return nil, nil, err
	}
	return Split(t)
}
