package sweep

import "encoding/json"

// MarshalJSON writes an estimate in the units people and programs read, as it stands in a sweep's result.
func (a Axis) MarshalJSON() ([]byte, error) { return json.Marshal(axisOut(&a)) }

// UnmarshalJSON reads what MarshalJSON wrote.
func (a *Axis) UnmarshalJSON(data []byte) error {
	var in axisJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return err
	}
	*a = *axisIn(&in)
	return nil
}
