package store

import (
	"encoding/binary"
	"encoding/json"
	"hash/crc32"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/sweep"
)

// traverse is a line of places, up and down, with its edge turned half way, as another kind of measurement has them.
func traverse(n int) Samples {
	s := Samples{Columns: []Column{{Name: "position_mm"}, {Name: "line_mm"}, {Name: "edge"}}}
	for i := range n {
		s.Points = append(s.Points, sweep.Point{T: float64(i) * 0.5, Angle: math.NaN(),
			Reading: 0.002 * math.Sin(float64(i)), Indicator: i % 2})
		s.Columns[0].Values = append(s.Columns[0].Values, 12.5*float64(i))
		line, edge := math.NaN(), "as_laid"
		if i > n/2 {
			line, edge = 150, "turned"
		}
		s.Columns[1].Values = append(s.Columns[1].Values, line)
		s.Columns[2].Words = append(s.Columns[2].Words, edge)
	}
	return s
}

func sameColumns(t *testing.T, got, want Samples) {
	t.Helper()
	samePoints(t, got.Points, want.Points)
	if len(got.Columns) != len(want.Columns) {
		t.Fatalf("%d columns, want %d", len(got.Columns), len(want.Columns))
	}
	for i, w := range want.Columns {
		g := got.Columns[i]
		same := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 0.51e-6 }
		if g.Name != w.Name || !slices.Equal(g.Words, w.Words) || !slices.EqualFunc(g.Values, w.Values, same) {
			t.Errorf("column %s: got %v %v, want %v %v", w.Name, g.Values, g.Words, w.Values, w.Words)
		}
	}
}

// A measurement that is no sweep is kept, listed by its kind and subject, read, and concluded again.
func TestAnotherKindOfMeasurement(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	setup := setupOf(t, "0.02/300")
	own := json.RawMessage(`{"positions_mm": [0, 12.5, 25], "relation": "cross_to_table"}`)
	sweepRun := checked(t, s, setup, "check", day, true, 0.1)
	id, err := s.BeginRun(ctx, NewRun{Kind: "traverse", Subject: "left rail", Purpose: "check", Setup: setup, Own: own,
		StartedAt: day, ClockSet: true})
	if err != nil {
		t.Fatal(err)
	}
	want := traverse(40)
	for first := 0; first < 40; first += 20 {
		if err := s.AppendSamples(ctx, id, want.part(first, first+20)); err != nil {
			t.Fatal(err)
		}
	}
	finding := Finding{Model: "traverse", Version: 1,
		JSON: json.RawMessage(`{"kind":"traverse","slope":{"mm_per_m":0.02},"detail":{"long":[1,2,3]}}`)}
	if err := s.FinishRunWith(ctx, id, Finished, day.Add(time.Minute), "", &finding); err != nil {
		t.Fatal(err)
	}
	path := s.path
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, path)
	got, err := s.Samples(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	sameColumns(t, got, want)
	if pts, err := s.Points(ctx, id); err != nil || len(pts) != 40 {
		t.Errorf("%d points, %v", len(pts), err)
	}
	run, err := s.Run(ctx, id)
	if err != nil || run.Result != nil || string(run.Raw) != string(finding.JSON) || run.Subject != "left rail" ||
		!strings.Contains(string(run.Own), `"relation":"cross_to_table"`) || run.Setup.Machine != "linnet" {
		t.Errorf("%+v, %v", run, err)
	}
	for _, c := range []struct {
		w    Which
		want []int64
	}{
		{Which{Limit: 9}, []int64{id, sweepRun}}, {Which{Limit: 9, Kind: "traverse"}, []int64{id}},
		{Which{Limit: 9, Kind: "sweep"}, []int64{sweepRun}},
		{Which{Limit: 9, Kind: "traverse", Subject: "left rail"}, []int64{id}},
		{Which{Limit: 9, Kind: "traverse", Subject: "right rail"}, nil},
	} {
		var found []int64
		lines, err := s.Lines(ctx, c.w)
		for _, l := range lines {
			found = append(found, l.ID)
		}
		if err != nil || !slices.Equal(found, c.want) {
			t.Errorf("%+v: %v, %v, want %v", c.w, found, err, c.want)
		}
	}
	lines, err := s.Lines(ctx, Which{Limit: 1, Kind: "traverse"})
	if err != nil || string(lines[0].Result) != `{"kind":"traverse","slope":{"mm_per_m":0.02}}` {
		t.Errorf("the line is %s, %v", lines[0].Result, err)
	}
	finding.Version, finding.JSON = 2, json.RawMessage(`{"kind":"traverse","slope":{"mm_per_m":0.03}}`)
	if err := s.AddFinding(ctx, id, finding); err != nil {
		t.Fatal(err)
	}
	if last, err := s.LastFinished(ctx, "traverse"); err != nil || string(last.Raw) != string(finding.JSON) {
		t.Errorf("%+v, %v", last, err)
	}
	if last, err := s.LastFinished(ctx, "sweep"); err != nil || last.ID != sweepRun {
		t.Errorf("%+v, %v", last, err)
	}
	// Brought in from a file, once.
	im := Import{NewRun: NewRun{Kind: "traverse", Subject: "left rail", Purpose: "check", Setup: setup, StartedAt: day},
		File: "rail.csv", Samples: &want, Finding: &finding}
	im.Again = true
	second, err := s.ImportRun(ctx, im)
	if err != nil {
		t.Fatal(err)
	}
	if got, err = s.Samples(ctx, second); err != nil {
		t.Fatal(err)
	}
	sameColumns(t, got, want)
	im.Again = false
	_, err = s.ImportRun(ctx, im)
	wantErr(t, err, ErrImported)
}

func TestSamplesThatCannotBeKept(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	id := begin(t, s)
	pts := []sweep.Point{{T: 1, Angle: math.NaN()}}
	for says, c := range map[string]Column{
		"2 values for 1":      {Name: "position_mm", Values: []float64{1, 2}},
		"cannot be stored":    {Name: "position_mm", Values: []float64{math.Inf(1)}},
		"small letters":       {Name: "Position, mm", Values: []float64{1}},
		"longer than":         {Name: "edge", Words: []string{strings.Repeat("x", 100)}},
		"0 words and 0 value": {Name: "edge", Words: []string{}},
	} {
		wantErr(t, s.AppendSamples(ctx, id, Samples{Points: pts, Columns: []Column{c}}), nil, says)
	}
	twice := Column{Name: "position_mm", Values: []float64{1}}
	wantErr(t, s.AppendSamples(ctx, id, Samples{Points: pts, Columns: []Column{twice, twice}}), nil,
		"a name of its own")
	if err := s.FinishRunWith(ctx, id, Finished, day, "",
		&Finding{Model: "x", JSON: json.RawMessage(`[1]`)}); err == nil {
		t.Error("a result that is no object was taken")
	}
	if _, err := s.BeginRun(ctx, NewRun{Kind: "bar", Own: json.RawMessage(`"words"`), StartedAt: day}); err == nil {
		t.Error("a setup that is no object was taken")
	}
}

// Chunks of other columns join: what one lacks is not known.
func TestColumnsJoin(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	id := begin(t, s)
	pt := []sweep.Point{{T: 1, Angle: math.NaN()}}
	for _, cols := range [][]Column{nil, {{Name: "height_mm", Values: []float64{20}}},
		{{Name: "edge", Words: []string{"turned"}}}} {
		if err := s.AppendSamples(ctx, id, Samples{Points: pt, Columns: cols}); err != nil {
			t.Fatal(err)
		}
	}
	got, err := s.Samples(ctx, id)
	if err != nil {
		t.Fatal(err)
	}
	sameColumns(t, got, Samples{Points: []sweep.Point{pt[0], pt[0], pt[0]}, Columns: []Column{
		{Name: "height_mm", Values: []float64{math.NaN(), 20, math.NaN()}},
		{Name: "edge", Words: []string{"", "", "turned"}}}})
}

func FuzzSamples(f *testing.F) {
	for _, n := range []int{1, 2, 40} {
		data, err := encodeSamples(traverse(n))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data[:len(data)-4])
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := decodeSamples(binary.LittleEndian.AppendUint32(slices.Clone(data),
			crc32.Checksum(data, castagnoli)))
		if err != nil {
			return
		}
		again, err := encodeSamples(got)
		if err != nil {
			t.Fatalf("what was decoded cannot be encoded: %v", err)
		}
		back, err := decodeSamples(again)
		if err != nil {
			t.Fatal(err)
		}
		sameColumns(t, back, got)
	})
}
