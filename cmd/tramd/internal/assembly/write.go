package assembly

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"

	"tramd/store"
	"tramd/sweep"
)

// WriteCSV writes readings as a recorded file of their kind, at the resolution that the record keeps.
func WriteCSV(w io.Writer, kind string, s store.Samples, setup sweep.Setup) error {
	out := bufio.NewWriter(w)
	header := "t_s"
	if kind == sweep.KindBar {
		header += ",angle_deg"
	}
	for _, c := range s.Columns {
		header += "," + c.Name
	}
	header += ",reading_mm"
	named := kind != sweep.KindBar && len(setup.Indicators) > 1
	if named {
		header += ",indicator"
	}
	fmt.Fprintln(out, header)
	var row []byte
	for i, p := range s.Points {
		row = strconv.AppendFloat(row[:0], p.T, 'f', 6, 64)
		if kind == sweep.KindBar {
			row = append(row, ',')
			row = number(row, sweep.Degrees(p.Angle), 4)
		}
		for _, c := range s.Columns {
			row = append(row, ',')
			if c.Words != nil {
				row = append(row, c.Words[i]...)
			} else {
				row = number(row, c.Values[i], 6)
			}
		}
		row = append(row, ',')
		row = number(row, p.Reading, 6)
		if named {
			row = append(row, ',')
			if p.Indicator >= 0 && p.Indicator < len(setup.Indicators) {
				row = append(row, setup.Indicators[p.Indicator].Name...)
			}
		}
		row = append(row, '\n')
		if _, err := out.Write(row); err != nil {
			return err
		}
	}
	return out.Flush()
}

// number writes a number, and nothing for one that is not known.
func number(row []byte, x float64, digits int) []byte {
	if math.IsNaN(x) {
		return row
	}
	return strconv.AppendFloat(row, x, 'f', digits, 64)
}
