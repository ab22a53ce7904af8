package alarm

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"
)

// An Alertmanager forgets an alert that is not repeated, so what stands is sent each minute. What is wrong with the
// machine holds while the computer is switched off, as in the rules; what is wrong with the computer ends by itself a
// few repeats after the program died (its API, version 2: endsAt).
const (
	repeatEvery = time.Minute
	endsAfter   = 4 * repeatEvery
	holdsFor    = 14 * 24 * time.Hour
)

// ends is when an alert ends by itself unless it is repeated.
func (a Alarm) ends(now time.Time) time.Time {
	switch a.Kind {
	case "device", "store", "clock", "chore":
		return now.Add(endsAfter)
	}
	return now.Add(holdsFor)
}

// postable is one alert as the Alertmanager's API (version 2) takes it.
type postable struct {
	Labels      map[string]string `json:"labels"`
	Annotations map[string]string `json:"annotations"`
	StartsAt    time.Time         `json:"startsAt"`
	EndsAt      time.Time         `json:"endsAt"`
}

// alertNames are those of the rules in dashboards/rules, so that one routing serves both ways.
var alertNames = map[string]string{
	"shift": "TramdLeanShifted", "trend": "TramdLeanMoving", "outside": "TramdLeanOutside",
	"again": "TramdLeanOutsideAgain",
	"due":   "TramdCheckDue", "overdue": "TramdCheckOverdue",
	"device": "TramdDeviceLost", "store": "TramdStoreStuck", "clock": "TramdClockNotSet", "chore": "TramdTrouble",
}

// assemblyNames are those of the rules about measurements of the assembly.
var assemblyNames = map[string]string{"shift": "TramdAssemblyAlarm", "trend": "TramdAssemblyAlarm",
	"outside": "TramdAssemblyAlarm", "overdue": "TramdAssemblyCheckOverdue"}

func alert(machine, page string, a Alarm, ends time.Time) postable {
	p := postable{
		Labels:      map[string]string{"alertname": alertNames[a.Kind], "machine": machine, "severity": a.Severity},
		Annotations: map[string]string{"summary": machine + ": " + a.Text},
		StartsAt:    a.Since, EndsAt: ends,
	}
	if page != "" {
		p.Annotations["page"], p.Annotations["runbook_url"] = page, runbook(page, a)
	}
	if a.Name != "" {
		p.Labels["alertname"], p.Labels["name"], p.Labels["measurement"] = assemblyNames[a.Kind], a.Name, a.Measured
		if a.Kind != "overdue" {
			p.Labels["kind"] = a.Kind
		}
		if a.About != "" {
			p.Labels["axis"] = a.About
		}
		return p
	}
	switch {
	case p.Labels["alertname"] == "":
		p.Labels["alertname"] = "Tramd" + a.Kind
	case a.Kind == "device":
		p.Labels["device"] = a.About
	case a.Kind == "chore":
		p.Labels["kind"] = a.About
	case a.About != "":
		p.Labels["axis"] = a.About
	}
	return p
}

// push tells every Alertmanager what stands and what is over; one that answers is enough, since they tell each other.
func push(ctx context.Context, urls []string, alerts []postable) error {
	if len(alerts) == 0 {
		return nil
	}
	var errs []error
	for _, u := range urls {
		errs = append(errs, postJSON(ctx, strings.TrimSuffix(u, "/")+"/api/v2/alerts", alerts))
	}
	if slices.Contains(errs, nil) {
		return nil
	}
	return errors.Join(errs...)
}
