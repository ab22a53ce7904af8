package runs

import (
	"bufio"
	"io"
	"math"
	"strconv"

	"tramd/sweep"
)

// WriteCSV writes readings as a recorded sweep, at the resolution the store keeps: 1 µs, 0.0001 degree, 1 nm.
func WriteCSV(w io.Writer, setup sweep.Setup, pts []sweep.Point) error {
	out := bufio.NewWriter(w)
	if _, err := out.WriteString(sweep.CSVHeader + "\n"); err != nil {
		return err
	}
	var line []byte
	for _, p := range pts {
		line = strconv.AppendFloat(line[:0], p.T, 'f', 6, 64)
		line = append(line, ',')
		if !math.IsNaN(p.Angle) {
			line = strconv.AppendFloat(line, sweep.Degrees(p.Angle), 'f', 4, 64)
		}
		line = append(line, ',')
		line = strconv.AppendFloat(line, p.Reading, 'f', 6, 64)
		line = append(line, ',')
		if p.Indicator >= 0 && p.Indicator < len(setup.Indicators) {
			line = append(line, setup.Indicators[p.Indicator].Name...)
		}
		line = append(line, '\n')
		if _, err := out.Write(line); err != nil {
			return err
		}
	}
	return out.Flush()
}
