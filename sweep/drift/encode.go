package drift

import (
	"encoding/json"
	"io"
	"math"
	"strconv"
	"time"

	"tramd/sweep"
)

// number writes a figure with so many digits after the point.
func number(x float64, digits int) string { return strconv.FormatFloat(x, 'f', digits, 64) }

// appendFigure writes a figure for programs; what is not known is null.
func appendFigure(b []byte, x float64) []byte {
	if !finite(x) {
		return append(b, "null"...)
	}
	return strconv.AppendFloat(b, x, 'g', 7, 64)
}

func appendTime(b []byte, t time.Time) []byte {
	b = append(b, '"')
	b = t.UTC().AppendFormat(b, time.RFC3339)
	return append(b, '"')
}

// AppendJSON writes one row. A history may have a hundred thousand, so not by reflection.
func (r *Row) AppendJSON(b []byte) []byte {
	b = append(b, `{"time":`...)
	b = appendTime(b, r.Time)
	b = append(b, `,"axis":{`...)
	for i, x := range r.Axis {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, '"')
		b = append(b, Axes[i]...)
		b = append(b, `":`...)
		b = x.appendJSON(b)
	}
	b = append(b, `},"alarm":"`...)
	b = append(b, r.Alarm...)
	b = append(b, '"')
	if len(r.Alarms) > 0 {
		b = append(b, `,"alarms":[`...)
		for i := range r.Alarms {
			if i > 0 {
				b = append(b, ',')
			}
			b = r.Alarms[i].appendJSON(b)
		}
		b = append(b, ']')
	}
	return append(b, '}')
}

func (x *Lean) appendJSON(b []byte) []byte {
	if x == nil {
		return append(b, "null"...)
	}
	b = append(b, `{"level_mm_per_m":`...)
	b = appendFigure(b, x.Level)
	b = append(b, `,"u_mm_per_m":`...)
	b = appendFigure(b, x.U)
	b = append(b, `,"rate_mm_per_m_per_day":`...)
	b = appendFigure(b, x.Rate)
	b = append(b, `,"rate_u_mm_per_m_per_day":`...)
	b = appendFigure(b, x.RateU)
	return append(b, '}')
}

func (a *Alarm) appendJSON(b []byte) []byte {
	b = append(b, `{"kind":"`...)
	b = append(b, a.Kind...)
	b = append(b, `","axis":"`...)
	b = append(b, a.Axis...)
	b = append(b, `","since":`...)
	b = appendTime(b, a.Since)
	b = append(b, `,"size_mm_per_m":`...)
	b = appendFigure(b, a.SizeMMPerM)
	if a.Kind == Trend {
		b = append(b, `,"rate_mm_per_m_per_day":`...)
		b = appendFigure(b, a.Rate)
	}
	return append(b, '}')
}

// NextJSON and OutsideJSON are the shapes other programs rely on.
type (
	NextJSON struct {
		Time          string   `json:"time"`
		Days          float64  `json:"days"`
		SpindleHours  *float64 `json:"spindle_hours"`
		ByHours       bool     `json:"by_hours,omitempty"`     // the hours decide, and the time comes of the present use
		ChanceOutside *float64 `json:"chance_outside_by_then"` // null where the record does not bear it
		Basis         string   `json:"basis"`
		Reason        Reason   `json:"reason"`
	}
	OutsideJSON struct {
		Time     string `json:"time"`
		Low      string `json:"low"`
		High     string `json:"high"`
		HighOpen bool   `json:"high_is_open,omitempty"` // nothing is known beyond high
	}
	alarmJSON struct {
		Alarm
		Text string `json:"text"`
	}
	axisJSON struct {
		Scatter *float64           `json:"scatter_mm_per_m"`
		Process map[string]float64 `json:"process"`
		ByHours *float64           `json:"by_hours,omitempty"` // chance that it moves by the spindle's hours
		Per100  *float64           `json:"rate_mm_per_m_per_100_h,omitempty"`
		Per100U *float64           `json:"rate_u_mm_per_m_per_100_h,omitempty"`
		WithT   *float64           `json:"with_temperature,omitempty"` // chance that it leans with the temperature
		PerK    *float64           `json:"mm_per_m_per_k,omitempty"`   // if it does, as likely as not
		PerKU   *float64           `json:"u_mm_per_m_per_k,omitempty"`
	}
	tailJSON struct {
		Next     *NextJSON            `json:"next_check"`
		Outside  *OutsideJSON         `json:"outside_expected"`
		Why      string               `json:"why,omitempty"`
		Alarms   []alarmJSON          `json:"alarms"` // that stand now
		Verdict  sweep.Verdict        `json:"verdict"`
		AtC      *float64             `json:"at_temperature_c,omitempty"` // that levels are stated at: the median of those recorded
		Axes     map[string]*axisJSON `json:"axes"`
		Warnings []sweep.Warning      `json:"warnings"`
	}
)

// JSON is the next check for other programs; nil for none.
func (n *NextCheck) JSON(reliability float64) *NextJSON {
	if n == nil {
		return nil
	}
	return &NextJSON{stamp(n.Time), round(n.Days, 4), known4(n.SpindleHours), n.ByHours, rounded(n.ChanceOutside, 6),
		n.Basis(reliability), n.LimitedBy}
}

// JSON is the date of being outside for other programs; nil for none.
func (o *OutsideDate) JSON() *OutsideJSON {
	if o == nil {
		return nil
	}
	return &OutsideJSON{stamp(o.Time), stamp(o.Low), stamp(o.High), o.HighOpen}
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

func round(x float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(x*p) / p
}

func known4(x float64) *float64 { return rounded(x, 4) }

// rounded is a figure with so many digits after the point; nil where it is not known.
func rounded(x float64, digits int) *float64 {
	if !finite(x) {
		return nil
	}
	x = round(x, digits)
	return &x
}

// WorkJSON works out a history and writes the whole answer as one object, its rows while those after them are worked
// out. Of a history that cannot be followed nothing is written.
func WorkJSON(w io.Writer, h *History, reliability float64) (*Answer, error) {
	var text []byte
	between := `{"checks":[`
	a, err := workEach(h, reliability, func(rows []Row) error {
		text = text[:0]
		for i := range rows {
			text = append(text, between...)
			text = rows[i].AppendJSON(text)
			between = ",\n"
		}
		_, err := w.Write(text)
		return err
	})
	if err != nil {
		return nil, err
	}
	text = text[:0]
	if len(a.Rows) == 0 {
		text = append(text, between...)
	}
	tail, err := json.Marshal(a.tail(reliability))
	if err != nil {
		return nil, err
	}
	text = append(text, ']', ',')
	text = append(text, tail[1:]...) // the rest of the same object
	text = append(text, '\n')
	_, err = w.Write(text)
	return a, err
}

// tail is everything but the checks.
func (a *Answer) tail(reliability float64) tailJSON {
	tail := tailJSON{Next: a.Forecast.Next.JSON(reliability), Outside: a.Forecast.Outside.JSON(), Why: a.Forecast.Why,
		Alarms:  []alarmJSON{},
		Verdict: a.Verdict, Axes: map[string]*axisJSON{}, Warnings: a.Warnings}
	for _, al := range a.Alarms {
		tail.Alarms = append(tail.Alarms, alarmJSON{al, al.Text()})
	}
	if finite(a.AtC) {
		at := round(a.AtC, 1)
		tail.AtC = &at
	}
	if tail.Warnings == nil {
		tail.Warnings = []sweep.Warning{}
	}
	for i, name := range Axes {
		if a.Process[i] == nil {
			tail.Axes[name] = nil
			continue
		}
		x := &axisJSON{Process: map[string]float64{}, ByHours: known4(a.ByHours[i])}
		if rate, u, ok := a.RatePer100Hours(i); ok {
			rate, u = round(rate, 6), round(u, 6)
			x.Per100, x.Per100U = &rate, &u
		}
		if w := a.Warmth[i]; w != nil {
			x.WithT = known4(w.Chance)
		}
		if perK, u, ok := a.PerKelvin(i); ok {
			perK, u = round(perK, 6), round(u, 6)
			x.PerK, x.PerKU = &perK, &u
		}
		if s := a.Scatter[i]; finite(s) {
			s = round(s, 7)
			x.Scatter = &s
		}
		for k, p := range a.Process[i] {
			x.Process[k.String()] = round(p, 4)
		}
		tail.Axes[name] = x
	}
	return tail
}
