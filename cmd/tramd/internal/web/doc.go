// Package web is the face of the daemon over HTTP: the page, the live stream behind it, the stored runs, and the few
// requests that change something.
//
// Lengths are millimetres, leans mm/m, angles degrees counter-clockwise from the operator's right seen from above,
// moments RFC 3339. Every error is JSON, {"error":"what happened and what to do"}.
//
// Two doors: over TCP anyone may read who names the machine by an allowed Host, and changing needs a login; over
// the local socket (Options.Local) file permissions have already decided. Cautions that belong beside a control that
// starts a sweep are on the page.
//
// The page shows what is happening at / and one stored run in full at /#run-12.
//
// # The live stream
//
// GET /api/v1/live sends server-sent events. `state` is api.Snapshot as JSON, its curve null, with `region` and
// `last_region`: the ellipse that covers the true lean, both axes together, in 95 % of cases. `curve` is the mean
// reading in each degree where an indicator touched and, by indicator, the fitted reading mean_mm + cos_mm*cos(angle) +
// sin_mm*sin(angle). The state comes up to 15 times a second and the curve up to 4 times, when it changed; each is
// always the newest there is, and what a slow client missed is not sent again.
//
// Everything that is measured or stored is reached through the interfaces below, so the package knows neither database
// nor port. A Handler may be used from any number of goroutines.
package web
