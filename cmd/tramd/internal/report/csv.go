package report

import (
	"encoding/csv"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"tramd/sweep/drift"
)

// WriteCSV writes a history as tramd drift reads it.
func WriteCSV(w io.Writer, h *drift.History) error {
	out := csv.NewWriter(w)
	head := strings.Split(drift.CSVHeader, ",")
	warm := slices.ContainsFunc(h.Entries, func(e drift.Entry) bool {
		return e.Check != nil && e.Check.TemperatureC != nil
	})
	if warm {
		head = append(head, drift.TemperatureColumn)
	}
	if err := out.Write(head); err != nil {
		return err
	}
	for _, e := range h.Entries {
		row := make([]string, len(head))
		switch {
		case e.Check != nil:
			row[0] = e.Check.Time.UTC().Format(time.RFC3339Nano)
			for i, v := range e.Check.Axis {
				if v == nil {
					continue
				}
				row[1+2*i] = exact(v.MMPerM)
				if v.U > 0 {
					row[2+2*i] = exact(v.U)
				}
			}
			if !math.IsNaN(e.Check.SpindleHours) {
				row[5] = exact(e.Check.SpindleHours)
			}
			if c := e.Check.TemperatureC; c != nil {
				row[7] = exact(*c)
			}
		case e.Event.Kind == drift.HoursEvent: // the format has no row for it
			continue
		default:
			row[0], row[6] = e.Event.Time.UTC().Format(time.RFC3339Nano), e.Event.Kind
			if e.Event.Text != "" && !strings.HasPrefix(strings.ToLower(e.Event.Text), e.Event.Kind) {
				row[6] += ": " + e.Event.Text
			} else if e.Event.Text != "" {
				row[6] = e.Event.Text
			}
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func exact(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }
