package assembly

import (
	"encoding/json"
	"strings"
	"testing"

	"tramd/sweep"
)

// FuzzFile reads and fits whatever a file of any kind may hold: it says what is wrong, or gives a result that can be
// written, drawn and read again.
func FuzzFile(f *testing.F) {
	f.Add(
		uint8(0),
		"t_s,position_mm,reading_mm,line_mm,edge\n0,0,0.1,0,as_laid\n1,100,0.2,0,as_laid\n2,0,0.1,50,turned\n3,100,0.3,50,turned\n")
	f.Add(
		uint8(1),
		"t_s,angle_deg,height_mm,reading_mm,turned_deg\n0,0,10,0.1,0\n1,90,10,0.2,0\n2,180,10,0.1,180\n3,270,35,0.3,0\n4,0,35,1,0\n5,120,35,1,0\n")
	f.Add(
		uint8(2),
		"t_s,position_mm,reading_mm,side_deg,turned_deg\n0,0,0.1,0,0\n1,80,0.2,0,0\n2,0,0.1,90,180\n3,80,0.3,90,180\n")
	f.Add(uint8(3), "t_s,position_mm,reading_mm,side_deg\n0,0,0.1,0\n1,100,0.2,0\n")
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		if len(text) > 4000 {
			return
		}
		kind := Kinds[int(which)%len(Kinds)]
		setup := sweep.Setup{Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}
		samples, err := Read(kind, strings.NewReader(text), &setup, which > 127)
		if err != nil {
			return
		}
		o := Options{StraightnessMM: 0.01, RunOutMM: 0.02}
		if kind == sweep.KindTravel {
			o.Of = []string{"bar", "square"}[int(which/4)%2]
		}
		r, err := Fit(kind, samples, setup, o)
		if err != nil {
			return
		}
		finding, err := r.Finding()
		if err != nil {
			t.Fatalf("%s: a result that cannot be written: %v", kind, err)
		}
		again, err := Decode(kind, finding.JSON)
		if err != nil {
			t.Fatalf("%s: a result that cannot be read again: %v", kind, err)
		}
		if svg := again.Picture("x"); strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("%s: a picture with what is no number: %s", kind, svg)
		}
		if _, err := json.Marshal(again.Figures()); err != nil {
			t.Errorf("%s: figures that cannot be written: %v", kind, err)
		}
		_ = again.Brief()
	})
}
