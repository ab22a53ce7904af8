package metrics

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
)

// History is what scrapes would have found in the past: the metrics of the checks, each with its moment. It uses the
// code that answers a scrape, so names, labels and units cannot differ.
type History struct {
	moments  []time.Time
	families map[*prometheus.Desc]map[string]*series // by labels as written
}

type series struct{ points []point }

type point struct {
	moment int
	value  float64
}

// Add takes in the state from a moment on. Moments come in the order of time; one at the time of the last takes its
// place. Of the state it uses the last check, the limit, the drift and the next check.
func (h *History) Add(at time.Time, s *api.Snapshot) error {
	at = at.Truncate(time.Millisecond) // Prometheus keeps no more
	k := len(h.moments)
	switch {
	case k > 0 && at.Before(h.moments[k-1]):
		return fmt.Errorf("state of %s after that of %s", at.Format(time.RFC3339), h.moments[k-1].Format(time.RFC3339))
	case k > 0 && at.Equal(h.moments[k-1]):
		k--
		h.forget(k)
	default:
		h.moments = append(h.moments, at)
	}
	ch := make(chan prometheus.Metric, len(all)*8) // more than one state has of these
	e := emitter{ch: ch, machine: text(s.Machine)}
	e.result(s)
	e.drift(s.Drift, s.Last)
	close(ch)
	for m := range ch {
		if err := h.put(k, m); err != nil {
			return err
		}
	}
	return nil
}

// forget takes the values of the newest moment back.
func (h *History) forget(moment int) {
	for _, family := range h.families {
		for labels, s := range family {
			if n := len(s.points) - 1; s.points[n].moment == moment {
				s.points = s.points[:n]
			}
			if len(s.points) == 0 {
				delete(family, labels)
			}
		}
	}
}

func (h *History) put(moment int, m prometheus.Metric) error {
	var got dto.Metric
	if err := m.Write(&got); err != nil {
		return err
	}
	if h.families == nil {
		h.families = map[*prometheus.Desc]map[string]*series{}
	}
	family := h.families[m.Desc()]
	if family == nil {
		family = map[string]*series{}
		h.families[m.Desc()] = family
	}
	key := labels(&got)
	if family[key] == nil {
		family[key] = &series{}
	}
	family[key].points = append(family[key].points, point{moment, got.GetGauge().GetValue()})
	return nil
}

var escape = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)

func labels(m *dto.Metric) string {
	var out []string
	for _, l := range m.GetLabel() {
		out = append(out, l.GetName()+`="`+escape.Replace(l.GetValue())+`"`)
	}
	return "{" + strings.Join(out, ",") + "}"
}

// Write writes the history in the OpenMetrics text format 1.0: families whole, the values of a series in the order of
// time, and the end marked. A value stands once, at its moment; with every above 0 it is repeated so often until the
// next moment, as a scrape would have found it.
func (h *History) Write(w io.Writer, every time.Duration) error {
	out := bufio.NewWriter(w)
	var families []*prometheus.Desc
	for d := range h.families {
		families = append(families, d)
	}
	slices.SortFunc(families, func(a, b *prometheus.Desc) int { return strings.Compare(named[a].name, named[b].name) })
	for _, d := range families {
		f := named[d]
		fmt.Fprintf(out, "# TYPE %s gauge\n# HELP %s %s\n", f.name, f.name, escape.Replace(f.help))
		var keys []string
		for key := range h.families[d] {
			keys = append(keys, key)
		}
		slices.Sort(keys)
		for _, key := range keys {
			h.writeSeries(out, f.name+key, h.families[d][key], every)
		}
	}
	fmt.Fprint(out, "# EOF\n")
	return out.Flush() // the first error of all the writing
}

func (h *History) writeSeries(out *bufio.Writer, name string, s *series, every time.Duration) {
	for _, p := range s.points {
		at := h.moments[p.moment]
		next := at // it is not known how long the last one holds
		if p.moment+1 < len(h.moments) {
			next = h.moments[p.moment+1]
		}
		value := strconv.FormatFloat(p.value, 'g', -1, 64)
		for {
			fmt.Fprintf(out, "%s %s %s\n", name, value, strconv.FormatFloat(float64(at.UnixMilli())/1e3, 'f', -1, 64))
			if at = at.Add(every); every <= 0 || !at.Before(next) {
				break
			}
		}
	}
}
