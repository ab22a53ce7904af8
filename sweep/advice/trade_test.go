package advice

import (
	"math"
	"strconv"
	"testing"
)

// What people who do this say of it (common practice, no source): the head of a small machine nods, and some 0.3 mm
// behind one bolt row is a usual first correction; correcting front-back then often throws left-right by 0.1 to 0.2 mm
// over a circle of 280 mm. The bolt rows are 140 mm apart here, so 0.3 mm is 2.14 mm/m.
func TestTheUsualFirstCorrectionAndWhatItUpsets(t *testing.T) {
	const head = `{"tolerance":"0.02/300","adjusters":[{"name":"swing","unit":"mm","tilt_mm_per_m":4.2,"nod_mm_per_m":0,"step":0},
		{"name":"lower shim","unit":"mm","tilt_mm_per_m":0,"nod_mm_per_m":7.143,"step":0.05}],"history":[`
	a := ask(t, head+`{"tilt_mm_per_m":0.02,"nod_mm_per_m":-2.14,"u_mm_per_m":0.01}]}`)
	if by := a.by("lower shim"); math.Abs(by-0.3) > 0.051 {
		t.Errorf("a head that nods by 2.14 mm/m is to be packed by %v mm, not about 0.3", by)
	}
	for _, thrownMM := range []float64{0.1, 0.15, 0.2} {
		thrown := thrownMM / 280 * 1000
		text := head + `{"tilt_mm_per_m":0.02,"nod_mm_per_m":-2.14,"u_mm_per_m":0.01,"moved":{"lower shim":0.3}},
			{"tilt_mm_per_m":` + strconv.FormatFloat(thrown, 'f', 4, 64) + `,"nod_mm_per_m":-0.05,"u_mm_per_m":0.01}]}`
		a := ask(t, text)
		if a.has("contradiction") || a.has("changed_unmoved") {
			t.Errorf("thrown by %g mm over 280 mm, as often happens, it warns %v", thrownMM, a.Warnings)
		}
		if want := thrown / 4.2; a.Done || math.Abs(a.by("swing")+want) > 0.35*want {
			t.Errorf("thrown by %g mm over 280 mm it swings by %v mm, want about %.3f", thrownMM, a.by("swing"), -want)
		}
		for _, l := range a.Learned {
			if l.Adjuster == "lower shim" && l.Tilt < 0.3*thrown/0.3 {
				t.Errorf("thrown by %g mm over 280 mm, it believes that the shim does %.2f mm/m of tilt for 1 mm",
					thrownMM, l.Tilt)
			}
		}
	}
}
