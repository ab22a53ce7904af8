package web

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"math"
	"net/http"
	"strconv"
	"strings"

	"tramd/cmd/tramd/internal/api"
)

// storedCurve answers with the curve of a stored run in the form of the stream's: the mean reading in each degree where
// an indicator touched, and the fit through it. It spares a phone the readings themselves.
func (s *server) storedCurve(r *http.Request) (any, error) {
	id, err := s.recordID(r)
	if err != nil {
		return nil, err
	}
	return s.curveOf(r.Context(), id)
}

func (s *server) curveOf(ctx context.Context, id int64) (*curveView, error) {
	run, err := s.Records.Run(ctx, id)
	if err != nil {
		return nil, err
	}
	var result *struct {
		Tilt     *leanJSON  `json:"tilt"`
		Nod      *leanJSON  `json:"nod"`
		OffsetMM *float64   `json:"offset_mm"`
		Offsets  []*float64 `json:"offsets_mm"`
	}
	if run.Result != nil {
		if err := json.Unmarshal(run.Result, &result); err != nil {
			return nil, err
		}
	}
	bins := newBins()
	for _, x := range run.Setup.Indicators {
		bins.add(x.Name, x.PhaseDeg)
	}
	in, out := io.Pipe()
	go func() { out.CloseWithError(s.Records.WriteReadingsCSV(ctx, id, out)) }()
	err = bins.read(in)
	in.CloseWithError(err) // the writer must not wait for a reader that has stopped
	if err != nil {
		return nil, err
	}
	view := &curveView{Run: id, Points: bins.points(), Fit: []harmonic{}}
	if res := result; res != nil && res.Tilt != nil && res.Nod != nil {
		offsets := res.Offsets
		if offsets == nil {
			offsets = []*float64{res.OffsetMM}
		}
		for i, x := range run.Setup.Indicators {
			if i < len(offsets) && offsets[i] != nil {
				view.Fit = append(view.Fit, harmonic{i, *offsets[i], res.Tilt.MMPerM * x.RadiusMM / 1000,
					res.Nod.MMPerM * x.RadiusMM / 1000})
			}
		}
	}
	return view, nil
}

// bins gather readings by indicator and by the degree in which it touched.
type bins struct {
	names map[string]int
	phase []float64
	sum   [][360]float64
	count [][360]int
}

func newBins() *bins { return &bins{names: map[string]int{}} }

func (b *bins) add(name string, phase float64) {
	b.names[name] = len(b.phase)
	b.phase = append(b.phase, phase)
	b.sum, b.count = append(b.sum, [360]float64{}), append(b.count, [360]int{})
}

// read takes readings as WriteReadingsCSV writes them: t_s,angle_deg,reading_mm,indicator. A reading without an angle
// has no place.
func (b *bins) read(r io.Reader) error {
	lines := bufio.NewScanner(r)
	for first := true; lines.Scan(); first = false {
		f := strings.SplitN(lines.Text(), ",", 4)
		if first || len(f) < 3 || f[1] == "" || f[2] == "" {
			continue
		}
		i := 0
		if len(f) == 4 {
			i = b.names[f[3]]
		}
		deg, err := strconv.ParseFloat(f[1], 64)
		mm, err2 := strconv.ParseFloat(f[2], 64)
		if err != nil || err2 != nil || !finite(deg, mm) || i >= len(b.phase) {
			continue
		}
		k := int(math.Mod(math.Mod(deg+b.phase[i], 360)+360, 360)) % 360
		b.sum[i][k] += mm
		b.count[i][k]++
	}
	return lines.Err()
}

func (b *bins) points() []api.CurvePoint {
	out := []api.CurvePoint{}
	for i := range b.sum {
		for k, n := range b.count[i] {
			if n > 0 {
				out = append(out, api.CurvePoint{Deg: float64(k) + 0.5, MM: b.sum[i][k] / float64(n), Indicator: i})
			}
		}
	}
	return out
}
