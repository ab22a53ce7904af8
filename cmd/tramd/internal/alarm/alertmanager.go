package alarm

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"
)

// An Alertmanager forgets an alert that is not repeated, so what stands is sent each minute; an alert of a program that died
// ends by itself a few repeats later (its API, version 2: endsAt).
const (
	repeatEvery = time.Minute
	endsAfter   = 4 * repeatEvery
)

// postable is one alert as the Alertmanager's API (version 2) takes it.
type postable struct {
	Labels      map[string]string `json:"labels"`
	Annotations map[string]string `json:"annotations"`
	StartsAt    time.Time         `json:"startsAt"`
	EndsAt      time.Time         `json:"endsAt"`
}

// alertNames are those of the rules in dashboards/rules, so that one routing serves both ways.
var alertNames = map[string]string{
	"shift": "TramdLeanShifted", "trend": "TramdLeanWillCross", "outside": "TramdLeanOutside", "due": "TramdCheckDue",
	"device": "TramdDeviceLost", "store": "TramdStoreStuck", "clock": "TramdClockNotSet", "chore": "TramdTrouble",
}

func alert(machine string, a Alarm, ends time.Time) postable {
	p := postable{
		Labels:      map[string]string{"alertname": alertNames[a.Kind], "machine": machine, "severity": a.Severity, "job": "tramd"},
		Annotations: map[string]string{"summary": machine + ": " + a.Text},
		StartsAt:    a.Since, EndsAt: ends,
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
