package web

import (
	"bytes"
	"encoding/json"
	"math"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// stateView is the snapshot as the stream sends it: without the curve, and with what a drawing needs beside it.
type stateView struct {
	*api.Snapshot
	Last       json.RawMessage `json:"last"`        // the snapshot's own
	Region     *region         `json:"region"`      // of the live result
	LastRegion *region         `json:"last_region"` // of the last finished one
}

// curveView is the curve and the fit through it.
type curveView struct {
	Run    int64            `json:"run"`
	Points []api.CurvePoint `json:"points"`
	Fit    []harmonic       `json:"fit"`
}

// harmonic is the fitted reading of one indicator where it touches at the angle, mean + cos*cos(angle) +
// sin*sin(angle), in mm.
type harmonic struct {
	Indicator int     `json:"indicator"`
	MeanMM    float64 `json:"mean_mm"`
	CosMM     float64 `json:"cos_mm"`
	SinMM     float64 `json:"sin_mm"`
}

// frameBuilder turns snapshots into frames and remembers the last curve, which is made more seldom than the state.
type frameBuilder struct {
	indicators []sweep.Indicator
	curve      []byte
	curveNo    uint64
	curveAt    time.Time
	// as it was written last: a result with its budgets is most of a state, and stays the same
	last     *api.LastRun
	lastText json.RawMessage
	stateLen int // of the last state's event
}

func (p *frameBuilder) paint(s *api.Snapshot, now time.Time) (*frame, error) {
	if p.curve == nil || now.Sub(p.curveAt) >= curveEvery {
		c, err := event("curve", len(p.curve), curveView{Run: s.Sweep.Run, Points: orEmpty(s.Sweep.Curve),
			Fit: fits(s.Sweep.Result, p.indicators)})
		if err != nil {
			return nil, err
		}
		if !bytes.Equal(c, p.curve) {
			p.curve, p.curveNo = c, p.curveNo+1
		}
		p.curveAt = now
	}
	if p.lastText == nil || p.last != s.Last {
		text, err := json.Marshal(s.Last)
		if err != nil {
			return nil, err
		}
		p.last, p.lastText = s.Last, text
	}
	view := stateView{Snapshot: shorn(s), Last: p.lastText, Region: regionOf(s.Sweep.Result)}
	if held := s.HeldBack(); held != nil {
		view.LastRegion = regionOf(held.Result)
	} else if s.Last != nil {
		view.LastRegion = regionOf(&s.Last.Result)
	}
	state, err := event("state", p.stateLen, view)
	if err != nil {
		return nil, err
	}
	p.stateLen = len(state)
	return &frame{state: state, curve: p.curve, curveNo: p.curveNo}, nil
}

// event writes a value as JSON, which has no line breaks, as an event that all clients are sent. About says how long
// the event will be.
func event(name string, about int, of any) ([]byte, error) {
	const spare = 512 // the next is seldom longer by more
	var b bytes.Buffer
	b.Grow(about + spare)
	b.WriteString("event: ")
	b.WriteString(name)
	b.WriteString("\ndata: ")
	if err := json.NewEncoder(&b).Encode(of); err != nil {
		return nil, err
	}
	b.WriteByte('\n')
	return b.Bytes(), nil
}

// shorn is the snapshot without its curve. The original is shared and stays as it is.
func shorn(s *api.Snapshot) *api.Snapshot {
	c := *s
	c.Sweep.Curve = nil
	return &c
}

func orEmpty(c []api.CurvePoint) []api.CurvePoint {
	if c == nil {
		return []api.CurvePoint{}
	}
	return c
}

// fits writes the result as the curve each indicator should have read, by the geometry of package sweep. The angles of
// a curve are those of the contact point, so an indicator's phase is in them already.
func fits(r *sweep.Result, indicators []sweep.Indicator) []harmonic {
	out := []harmonic{}
	if r == nil || r.Tilt == nil || r.Nod == nil { // one axis alone does not make a curve
		return out
	}
	for i, ind := range indicators {
		if i >= len(r.OffsetMM) {
			break
		}
		h := harmonic{
			Indicator: i, MeanMM: r.OffsetMM[i],
			CosMM: r.Tilt.Slope.Over(ind.RadiusMM), SinMM: r.Nod.Slope.Over(ind.RadiusMM),
		}
		if finite(h.MeanMM, h.CosMM, h.SinMM) {
			out = append(out, h)
		}
	}
	return out
}

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
