package sweep

import (
	"fmt"
	"io"
	"io/fs"
	"math"
)

// The plain model: least squares with its textbook covariance.
const (
	ModelPlain        = "plain"
	ModelPlainVersion = 1
)

// maxIndicators bounds what one arm carries, so that a file of made-up names cannot grow the design without end.
const maxIndicators = 16

// maxTurns is as far as an angle may count on. Beyond it the fraction of a turn loses digits that the fit needs.
const maxTurns = 1e6

// maxReadingMM is longer than any indicator: a reading beyond it is a slip of units or columns.
const maxReadingMM = 10_000

// estimate is what a solver hands over: the model's unknowns and how the design would spread them, for a reading of
// weight one.
type estimate struct {
	slope  [2]float64 // tilt, nod; zero where not measured
	spread [2][2]float64
	offset []float64 // per indicator; NaN for one that gave no reading
	rss    float64   // weighted
	params int
}

// FitPlain fits all points at once.
func FitPlain(pts []Point, setup Setup) (Result, error) {
	f, err := NewPlain(setup)
	if err != nil {
		return Result{}, err
	}
	pts, turning, err := Unroll(pts, setup)
	if err != nil {
		return Result{}, err
	}
	for i, p := range pts {
		if err := f.Add(p); err != nil {
			return Result{}, fmt.Errorf("point %d: %w", i+1, err)
		}
	}
	r, err := f.Result()
	r.WarnTurning(turning)
	return r, err
}

// FitPlainCSV fits one recorded sweep. Indicators are matched by name where the setup names them, otherwise in the
// order in which the file first shows them.
func FitPlainCSV(r io.Reader, setup Setup) (Result, error) {
	if setup.AngleSource == SourceSteady { // the angles come of all readings together
		pts, err := ReadPoints(r, setup)
		if err != nil {
			return Result{}, err
		}
		return FitPlain(pts, setup)
	}
	f, err := NewPlain(setup)
	if err != nil {
		return Result{}, err
	}
	if _, err := ReadCSVNamed(r, indicatorNames(setup), f.Add); err != nil {
		return Result{}, err
	}
	return f.Result()
}

// ReadPoints reads one recorded sweep whole, its indicators matched as in FitPlainCSV.
func ReadPoints(r io.Reader, setup Setup) ([]Point, error) {
	var pts []Point
	var c *csvReader
	c = newCSVReader(r, indicatorNames(setup), func(p Point) error {
		if _, err := checkPoint(p, len(setup.Indicators)); err != nil {
			return err
		}
		if pts == nil { // growing by and by copies it all over and over
			pts = make([]Point, 0, c.rows(sizeOf(r)))
		}
		pts = append(pts, p)
		return nil
	})
	if err := c.read(); err != nil {
		return nil, err
	}
	return pts, nil
}

// sizeOf is how many bytes a reader will give, 0 where it cannot say.
func sizeOf(r io.Reader) int64 {
	switch f := r.(type) {
	case interface{ Stat() (fs.FileInfo, error) }:
		if info, err := f.Stat(); err == nil && info.Mode().IsRegular() {
			return info.Size()
		}
	case interface{ Len() int }:
		return int64(f.Len())
	}
	return 0
}

// indicatorNames gives the names to match a file against, nil where the setup does not name every indicator or has only
// one: then whatever the file calls it is that one.
func indicatorNames(setup Setup) []string {
	if len(setup.Indicators) < 2 {
		return nil
	}
	names := make([]string, 0, len(setup.Indicators))
	for _, ind := range setup.Indicators {
		if ind.Name == "" {
			return nil
		}
		names = append(names, ind.Name)
	}
	return names
}

// checkPoint refuses what would poison every later sum. An unknown angle is no mistake: known is false then.
func checkPoint(p Point, indicators int) (known bool, err error) {
	switch {
	case p.Indicator < 0 || p.Indicator >= indicators:
		return false,
			fmt.Errorf("a reading of indicator %d, but the setup describes %d: give each its radius in a config file",
				p.Indicator+1, indicators)
	case !finite(p.T):
		return false, fmt.Errorf("time %v is not a number of seconds", p.T)
	case !(math.Abs(p.Reading) <= maxReadingMM):
		return false, fmt.Errorf("reading %v mm is not one an indicator can show", p.Reading)
	case math.IsNaN(p.Angle):
		return false, nil
	case !(math.Abs(p.Angle) <= maxTurns*2*math.Pi):
		return false, fmt.Errorf("angle %v rad is not a spindle angle: give it within a million turns", p.Angle)
	}
	return true, nil
}

// weights returns each indicator's weight, 1 for all unless they state different qualities. An indicator's share is the
// inverse of the standard deviation that its resolution and its permissible error allow (both rectangular).
func weights(setup Setup) []float64 {
	w := make([]float64, len(setup.Indicators))
	best := math.Inf(1)
	for i, ind := range setup.Indicators {
		w[i] = math.Hypot(ind.ResolutionMM/math.Sqrt(12), ind.MPEMM/math.Sqrt(3))
		best = min(best, w[i])
	}
	for i := range w {
		if best == 0 { // one of them states nothing: there is nothing to compare
			w[i] = 1
		} else {
			w[i] = best / w[i]
		}
	}
	return w
}
