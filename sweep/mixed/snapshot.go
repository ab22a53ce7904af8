package mixed

import (
	"math"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
)

// Snapshot is what a fit found out about a sweep, small enough to keep: for callers that go on from it without fitting
// again. Lengths are in mm, slopes in mm/m.
type Snapshot struct {
	Points     []GridPoint
	Belief     uncertainty.Mixture // tilt and nod in mm/m, all parts of the budget in it
	Axes       [2]bool             // which of tilt and nod were measured
	RadiusMM   float64             // mean radius; coefficients of the lean in mm are the slopes times this
	Resolution float64             // mean step of the displays, mm
	Readings   float64             // of a typical block: what one WhiteMM stands for
	Rejections []sweep.Rejection
	Knocks     []Knock
	Waves      []sweep.Wave
	Band       *Band   // noise within a band of frequencies; nil where there is none
	PlayMM     float64 // half the lost motion of the plunger
	DelayS     float64 // by which the angles are late
}

// GridPoint is one set of variances with its weight. Standard deviations are in mm.
type GridPoint struct {
	Weight   float64
	WhiteMM  float64 // white noise of the mean of a typical block
	SlowMM   float64 // slow noise, all its parts together
	TauS     []float64
	FormMM   float64 // harmonic 2 of the surface; harmonic k is FormMM * (k/2)^-FormFall
	FormFall float64
	DriftMM  float64 // first drift polynomial, which goes from -1 to 1 over the sweep
}

// Knock is a place where the reading jumped and stayed.
type Knock struct {
	Indicator int     // place in the setup
	AtS       float64 // time of the first reading after it
	SizeMM    float64
}

// Band is noise within a band of frequencies.
type Band struct {
	Hertz, Quality float64
	SizeMM         float64 // standard deviation
}

// FitSnapshot is FitWith, with what the fit found out beside its result.
func FitSnapshot(pts []sweep.Point, setup sweep.Setup, opt Options) (sweep.Result, Snapshot, error) {
	f, r, err := fit(pts, setup, opt)
	if err != nil {
		return sweep.Result{}, Snapshot{}, err
	}
	return r, f.snapshot(), nil
}

func (f *fitting) snapshot() Snapshot {
	s := Snapshot{
		Axes: f.axes, RadiusMM: f.in.radius, Resolution: f.in.resolution, Rejections: f.in.rejections(), Waves: f.timeWaves(),
		PlayMM: f.way.playMM, DelayS: f.way.delayS, Knocks: f.knocks(),
	}
	s.Belief, _ = f.belief()
	counts := make([]float64, len(f.bs))
	for i := range f.bs {
		counts[i] = f.bs[i].n
	}
	s.Readings = median(counts)
	if f.band.variance > 0 {
		s.Band = &Band{f.band.hertz, f.band.quality, math.Sqrt(f.band.variance * f.ans.best.s2)}
	}
	l := f.levels()
	for _, p := range normalise(append([]point(nil), f.points...)) {
		white := math.Sqrt(p.s2)
		nz := l.noise(p.h)
		g := GridPoint{
			Weight: p.weight, WhiteMM: white, SlowMM: white * math.Sqrt(nz.slow), TauS: nz.tau, FormMM: white * l.form[p.h.form],
			FormFall: l.fall[p.h.fall], DriftMM: white * l.drift[p.h.drift],
		}
		s.Points = append(s.Points, g)
	}
	return s
}

// knocks lists the offset groups after the first of each track, and the jumps that are parts.
func (f *fitting) knocks() (out []Knock) {
	first := f.d.form + f.d.drift + f.d.extra
	for i := 1; i < len(f.bs); i++ {
		a, b := &f.bs[i-1], &f.bs[i]
		if a.track == b.track && a.group != b.group {
			out = append(out, Knock{f.in.tracks[b.track].indicator, b.t, f.coef[first+b.group] - f.coef[first+a.group]})
		}
	}
	for j, p := range f.d.parts {
		if p.kind == jumps {
			for k, size := range f.jumpSizes(j) {
				out = append(out, Knock{f.in.tracks[p.track].indicator, p.times[k], size})
			}
		}
	}
	return out
}
