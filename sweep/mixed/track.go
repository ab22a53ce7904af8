package mixed

import (
	"fmt"
	"math"

	"tramd/sweep"
)

// track is what one indicator said, in the order it said it.
type track struct {
	indicator int
	scale     float64 // radius over the mean radius: how strongly it sees the lean
	t, th, z  []float64
	why       []code // per reading: kept, or the reason it was left out
	way       []int8 // per reading: which way round the arm went (see directions); nil until that is asked
	atEnd     []int  // readings at an end of the travel that the setup states
	cuts      []int  // readings with which a new offset begins: the first after a jump
	maybe     []int  // first readings after jumps that were seen and not taken for knocks: the model judges them
}

// input is the checked sweep.
type input struct {
	setup      sweep.Setup
	basis      basis
	tracks     []track
	radius     float64 // mean radius, mm
	resolution float64 // mean resolution, mm
	readings   int
	unknown    int // readings without an angle
	unknownT   [2]float64
	backwards  bool
	timeless   bool       // all times of a track are equal
	spike      float64    // mm: a reading further from the middle of its segment is left out; 0 where that was not judged
	scatter    float64    // mm: of readings about the middle of their segment; 0 where that was not judged
	coarse     [2]float64 // mm: the step that the readings show where it is coarser than stated, and the one stated
}

// check refuses what cannot be fitted and sorts readings by indicator. A NaN angle means not known and is left out; any
// other number that is not finite is an error.
func check(pts []sweep.Point, setup sweep.Setup) (*input, error) {
	if err := setup.Validate(); err != nil {
		return nil, err
	}
	if len(pts) == 0 {
		return nil, fmt.Errorf("no readings: nothing to fit")
	}
	in := &input{setup: setup, readings: len(pts)}
	count := make([]int, len(setup.Indicators))
	for i, p := range pts {
		switch {
		case p.Indicator < 0 || p.Indicator >= len(count):
			return nil, fmt.Errorf("reading %d: indicator number %d is not in the setup, which has %d", i+1,
				p.Indicator+1, len(count))
		case bad(p.Reading) || math.Abs(p.Reading) > 9e3:
			return nil, fmt.Errorf("reading %d: %v mm is not a usable reading: take the row out", i+1, p.Reading)
		case bad(p.T) || math.Abs(p.T) > 1e12:
			return nil, fmt.Errorf("reading %d: time %v s is not a usable time: take the row out", i+1, p.T)
		case math.IsInf(p.Angle, 0) || math.Abs(p.Angle) > 6e6:
			return nil, fmt.Errorf("reading %d: angle %v is not a usable angle: leave it empty if it is not known",
				i+1, p.Angle)
		}
		count[p.Indicator]++
	}
	in.coarsen(pts)
	setup = in.setup
	var radii, weight float64
	for i, n := range count {
		radii += float64(n) * setup.Indicators[i].RadiusMM
		in.resolution += float64(n) * setup.Indicators[i].ResolutionMM
		weight += float64(n)
	}
	in.radius, in.resolution = radii/weight, in.resolution/weight
	at := make([]int, len(count))
	for i, n := range count {
		at[i] = -1
		if n > 0 {
			at[i] = len(in.tracks)
			in.tracks = append(in.tracks, track{
				indicator: i, scale: setup.Indicators[i].RadiusMM / in.radius,
				t: make([]float64, 0, n), th: make([]float64, 0, n), z: make([]float64, 0, n),
			})
		}
	}
	for _, p := range pts {
		if math.IsNaN(p.Angle) {
			if in.unknown == 0 {
				in.unknownT[0] = p.T
			}
			in.unknownT[1] = p.T
			in.unknown++
			continue
		}
		tr := &in.tracks[at[p.Indicator]]
		ind := &setup.Indicators[p.Indicator]
		phase := sweep.Radians(ind.PhaseDeg)
		tr.t, tr.th, tr.z = append(tr.t, p.T), append(tr.th, p.Angle+phase), append(tr.z, ind.Correct(p.Reading))
		if ind.AtEnd(p.Reading) {
			tr.atEnd = append(tr.atEnd, len(tr.z)-1)
		}
	}
	kept := in.tracks[:0]
	for _, tr := range in.tracks {
		if len(tr.t) > 0 {
			tr.why = make([]code, len(tr.t))
			for _, i := range tr.atEnd {
				tr.why[i] = endOfTravel
			}
			if err := tr.oneUnit(); err != nil {
				return nil, err
			}
			tr.unwind()
			back, none := tr.mendTime()
			in.backwards, in.timeless = in.backwards || back, in.timeless || none
			kept = append(kept, tr)
		}
	}
	in.tracks = kept
	if len(kept) == 0 {
		return nil, fmt.Errorf("no reading has a spindle angle: give the angles, or measure at stations of known angle")
	}
	return in, nil
}

// usualStep is the step of a display of which the setup says nothing, in mm (common practice, no source).
const usualStep = 0.001

// step is the display's step, mm. What an indicator cannot be asked for goes with it: its plunger's lost motion is some
// steps (common practice, no source), and so is the least height that is worth the name of a slot. Measured so,
// readings written in other units give the same lean.
func (in *input) step() float64 {
	if in.resolution > 0 {
		return in.resolution
	}
	return usualStep
}

// grain is the least difference that single readings show: a step, or half their scatter where that is more.
func (in *input) grain() float64 { return math.Max(in.step(), in.scatter/2) }

func bad(x float64) bool { return math.IsNaN(x) || math.IsInf(x, 0) }

// unwind counts on where angles were written from 0 to 360 degrees: where all of a track lie within one turn and two
// neighbours are more than three quarters of it apart, the spindle went over the end. Left as it is, such a place looks
// like a reading the other way round, alone against all others, which makes a delay of it.
func (tr *track) unwind() {
	low, high := math.Inf(1), math.Inf(-1)
	for _, a := range tr.th {
		low, high = min(low, a), max(high, a)
	}
	if high-low > 2*math.Pi*(1+1e-9) || high-low < 1.5*math.Pi {
		return
	}
	was, turns := tr.th[0], 0.0
	for i, a := range tr.th {
		switch d := a - was; {
		case d > 1.5*math.Pi:
			turns--
		case d < -1.5*math.Pi:
			turns++
		}
		was = a
		tr.th[i] = a + 2*math.Pi*turns
	}
}

// mendTime makes time never run backwards: the order of the readings is taken as the truth, and a step back as a clock
// that was set. It says whether it had to, and whether no time passed at all; such a track gets one second a reading.
func (tr *track) mendTime() (back, none bool) {
	var shift float64
	for i := 1; i < len(tr.t); i++ {
		if step := tr.t[i] + shift - tr.t[i-1]; step < 0 {
			back = true
			shift -= step
		}
		tr.t[i] += shift
	}
	if n := len(tr.t); n > 1 && tr.t[n-1] <= tr.t[0] {
		for i := range tr.t {
			tr.t[i] = tr.t[0] + float64(i)
		}
		none = !back
	}
	return back, none
}
