// Package metrics turns the daemon's snapshot into Prometheus metrics, at the moment of the scrape: lengths in metres,
// leans in radians, moments in seconds since 1970 (UTC).
//
// The lean metrics speak of the last stored check and stay when a device is lost; the metrics of a device's present
// reading vanish with it, so that no old value stands for a new one. A scrape whose snapshot cannot be had fails as a
// whole, which the scraper records as up == 0.
//
// Every method may be called from any goroutine. The package never changes what it reads.
package metrics
