package uncertainty

import (
	"encoding/json"
	"math"
)

type componentJSON struct {
	Name         string   `json:"name"`
	Type         Type     `json:"type"`
	U            float64  `json:"u"`
	Unit         string   `json:"unit"`
	Sensitivity  float64  `json:"sensitivity"`
	DoF          *float64 `json:"dof"` // null: taken as known
	Contribution float64  `json:"contribution"`
	Share        float64  `json:"share"`
	Note         string   `json:"note,omitempty"`
}

// MarshalJSON writes every component with its contribution and share; infinite degrees of freedom become null.
func (b Budget) MarshalJSON() ([]byte, error) {
	out := make([]componentJSON, len(b))
	for i, c := range b {
		out[i] = componentJSON{c.Name, c.Type, c.U, c.Unit, c.Sensitivity, nil, c.Contribution(), b.Share(i), c.Note}
		if !math.IsInf(c.DoF, 0) && !math.IsNaN(c.DoF) {
			out[i].DoF = &c.DoF
		}
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (b *Budget) UnmarshalJSON(data []byte) error {
	var in []componentJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return err
	}
	*b = nil
	for _, c := range in {
		dof := math.Inf(1)
		if c.DoF != nil {
			dof = *c.DoF
		}
		*b = append(*b, Component{c.Name, c.Type, c.U, c.Unit, c.Sensitivity, dof, c.Note})
	}
	return nil
}
