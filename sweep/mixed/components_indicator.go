package mixed

import (
	"fmt"
	"math"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
)

// stemTilt is the angle in degrees that a stem may be off square where nothing is stated, either way (common practice,
// no source).
const stemTilt = 3.0

// indicatorParts lists what the indicators and the arm bring to one axis, whose lean is own mm/m. Of several indicators
// the worst permissible error and calibration count, since they may err alike; scale errors are averaged by each one's
// share.
func (f *fitting) indicatorParts(own, perMM float64) uncertainty.Budget {
	var mpe, table, radius, stem, factor, total float64
	stated := true
	for k := range f.in.tracks {
		ind := &f.in.setup.Indicators[f.in.tracks[k].indicator]
		w := float64(len(f.in.tracks[k].z)) * sq(ind.RadiusMM)
		total += w
		radius = math.Hypot(radius, w*ind.RadiusUMM/ind.RadiusMM)
		stem = math.Hypot(stem, w*stemScaleU(ind))
		if ind.FactorU > 0 {
			factor = math.Hypot(factor, w*ind.FactorU/math.Max(ind.Factor, 0.1))
		}
		stated = stated && ind.StemUDeg > 0
		if ind.Calibration != nil { // which takes the permissible error's place (JCGM 100:2008, F.2.4.2, from memory)
			table = math.Max(table, ind.Calibration.UMM)
			continue
		}
		mpe = math.Max(mpe, ind.MPEMM)
	}
	part := func(name, unit string, u, sensitivity float64, note string) uncertainty.Component {
		return uncertainty.Component{Name: name, Type: uncertainty.B, U: u, Unit: unit, Sensitivity: sensitivity,
			DoF: math.Inf(1), Note: note}
	}
	stemNote := fmt.Sprintf("cosine of an angle within %.0f degrees", stemTilt)
	if stated {
		stemNote = "cosine of the stated angle"
	}
	b := uncertainty.Budget{
		part("permissible error", "mm", mpe/math.Sqrt(3), perMM/2,
			"rectangular on the difference of two readings across the circle"),
		part("radius", "mm", radius/total*f.in.radius, -own/f.in.radius, "as stated in the setup"),
		part("stem angle", "1", stem/total, own, stemNote),
	}
	if table > 0 {
		b = append(b, part("calibration", "mm", table, perMM/math.Sqrt2,
			"of two true values across the circle, from the certificate"))
	}
	if factor > 0 {
		b = append(b, part("lever factor", "1", factor/total, own, "as stated in the setup"))
	}
	return b
}

// stemScaleU is the relative standard uncertainty of the cosine of a stem's angle a: tan(a) u(a), and the second order
// term of an angle that is rectangular about a, which is all there is for a stem thought square.
func stemScaleU(ind *sweep.Indicator) float64 {
	u := sweep.Radians(stemTilt) / math.Sqrt(3)
	if ind.StemUDeg > 0 {
		u = sweep.Radians(ind.StemUDeg)
	}
	return math.Hypot(math.Tan(sweep.Radians(ind.StemDeg))*u, 3*u*u/2*math.Sqrt(4.0/45))
}
