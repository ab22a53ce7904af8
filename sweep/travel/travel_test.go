package travel

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tramd/sweep"
	"tramd/sweep/line"
)

// assembly makes up readings at an artefact of known lean from the formulae of the package's comment, written out once
// more.
type assembly struct {
	way, own [2]float64 // relation and artefact, mm/m
	white    float64
}

func (a assembly) record(r *rand.Rand, of string, sides, turns []float64) string {
	var b strings.Builder
	b.WriteString("t_s,position_mm,reading_mm,side_deg,turned_deg\n")
	t := 0.0
	for _, turned := range turns {
		for _, side := range sides {
			for h := 0.0; h <= 240; h += 20 {
				s := 1.0
				if turned == 180 {
					s = -1
				}
				sin, cos := math.Sincos(side * math.Pi / 180)
				x, y := a.way[0]+s*a.own[0], a.way[1]+s*a.own[1]
				if of == OfSquare {
					x, y = a.way[0]-s*a.own[0], a.way[1]-s*a.own[1]
				}
				z := 1.5 - (x*cos+y*sin)*h/1000 + a.white*r.NormFloat64()
				if of == OfTable {
					z = 1.5 + (a.way[0]*cos+a.way[1]*sin)*h/1000 + a.white*r.NormFloat64()
				}
				fmt.Fprintf(&b, "%.1f,%.0f,%.3f,%v,%v\n", t, h, z, side, turned)
				t += 6
			}
		}
	}
	return b.String()
}

func fit(t *testing.T, text, of string) *Result {
	t.Helper()
	if of == OfTable {
		text = strings.ReplaceAll(strings.ReplaceAll(text, ",turned_deg", ""), ",0\n", "\n")
	}
	res, err := fitCSV(text, Options{Of: of, Setup: line.Setup{Indicators: []sweep.Indicator{{ResolutionMM: 0.001}}}})
	if err != nil {
		t.Fatal(err)
	}
	return res
}

func codes(ws []sweep.Warning) string {
	var out []string
	for _, w := range ws {
		out = append(out, w.Code)
	}
	return strings.Join(out, " ")
}

func TestReversalTellsArtefactAndMachineApart(t *testing.T) {
	const n = 40
	held, all := 0, 0
	for seed := range uint64(n) {
		r := rand.New(rand.NewPCG(seed, 5))
		a := assembly{[2]float64{0.2 * r.NormFloat64(), 0.2 * r.NormFloat64()},
			[2]float64{0.3 * r.NormFloat64(), 0.3 * r.NormFloat64()}, 0.001}
		of := []string{OfBar, OfSquare}[seed%2]
		sides := [][]float64{{0, 90}, {180, 270}, {0, 90, 180, 270}, {45, 135}}[seed%4]
		res := fit(t, a.record(r, of, sides, []float64{0, 180}), of)
		for _, c := range []struct {
			got  *sweep.Axis
			want float64
		}{{res.Tilt, a.way[0]}, {res.Nod, a.way[1]}, {res.Artefact.Tilt, a.own[0]}, {res.Artefact.Nod, a.own[1]}} {
			all++
			off := math.Abs(c.got.Slope.MMPerM() - c.want)
			if off <= c.got.Expanded.MMPerM() {
				held++
			}
			if off > 0.03 {
				t.Errorf("seed %d, %s: %v, want %v", seed, of, c.got.Slope.MMPerM(), c.want)
			}
		}
	}
	t.Logf("%d of %d held", held, all)
	if held < all*91/100 {
		t.Errorf("%d of %d intervals hold the truth", held, all)
	}
}

func TestTheTableHasNoArtefact(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 6))
	a := assembly{way: [2]float64{0.15, -0.08}, white: 0.001}
	res := fit(t, a.record(r, OfTable, []float64{0, 90}, []float64{0}), OfTable)
	if res.Kind != sweep.KindCross || res.Relation != "cross_to_table" || res.Artefact != nil {
		t.Errorf("%+v", res)
	}
	if math.Abs(res.Tilt.Slope.MMPerM()-0.15) > 0.02 || math.Abs(res.Nod.Slope.MMPerM()+0.08) > 0.02 {
		t.Errorf("%v %v", res.Tilt.Slope.MMPerM(), res.Nod.Slope.MMPerM())
	}
}

func TestOneSideAndOneTurnSayWhatCannotBeTold(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 7))
	a := assembly{[2]float64{0.1, 0}, [2]float64{0.4, 0}, 0.001}
	res := fit(t, a.record(r, OfBar, []float64{0}, []float64{0}), OfBar)
	if res.Nod != nil || res.Artefact.Tilt != nil || res.Verdict != sweep.None {
		t.Errorf("%+v", res)
	}
	if got := codes(res.Warnings); !strings.Contains(got, "turned_once") ||
		!strings.Contains(got, "axis_not_measured") {
		t.Errorf("warnings %s", got)
	}
	if off := math.Abs(res.Tilt.Slope.MMPerM() - 0.1); off > res.Tilt.Expanded.MMPerM() {
		t.Errorf("off by %v, U %v: the bar's own lean is not in the interval", off, res.Tilt.Expanded.MMPerM())
	}
}

func TestBadTravels(t *testing.T) {
	head := "t_s,position_mm,reading_mm,side_deg,turned_deg\n"
	for text, want := range map[string]string{
		head + "0,0,1,45,0\n1,10,1,45,0\n": "shows neither axis",
		head + "0,0,1,0,90\n":              "neither 0 nor 180",
		head + "0,5,1,0,0\n1,5,1,0,0\n":    "one position",
		head:                               "no readings",
		head + "0,5,x,0,0\n":               "line 2, column reading_mm",
		head + "0,5,1,0\n":                 "found 4 columns, not 5",
		"t_s,position_mm,reading_mm\n":     "side_deg is missing",
		"":                                 "empty",
	} {
		_, err := fitCSV(text, Options{
			Of: OfBar, Setup: line.Setup{Indicators: []sweep.Indicator{{ResolutionMM: 0.001}}}})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func FuzzTravel(f *testing.F) {
	f.Add("t_s,position_mm,reading_mm,side_deg,turned_deg\n0,0,1,0,0\n1,10,1.01,0,180\n2,20,1,90,0\n")
	f.Add("t_s,position_mm,reading_mm,side_deg\n0,0,1,0\n1,1e5,1.01,0\n2,20,1,90\n")
	f.Fuzz(func(t *testing.T, text string) {
		for _, of := range []string{OfBar, OfTable} {
			fitCSV(text, Options{Of: of, Setup: line.Setup{Indicators: []sweep.Indicator{{ResolutionMM: 0.001}}}})
		}
	})
}

// fitCSV fits a recorded travel.
func fitCSV(text string, opt Options) (*Result, error) {
	t, err := sweep.ReadTable(strings.NewReader(text), line.TravelColumns, false)
	if err != nil {
		return nil, err
	}
	in, err := line.Split(t)
	if err != nil {
		return nil, err
	}
	return Fit(in, opt)
}
