// Package web is the face of the daemon over HTTP: the page, the live stream behind it, the stored runs, and the few
// requests that change something.
//
// Lengths are millimetres, leans mm/m, angles degrees counter-clockwise from the operator's right seen from above, moments
// RFC 3339. Every error is JSON, {"error":"what happened and what to do"}.
//
// Two doors: over TCP reading is open to whoever names the machine by an allowed Host, and changing needs a login; over
// the local socket (Options.Local) file permissions have already decided. Cautions that belong beside a control that
// starts a sweep are on the page.
//
// Everything that is measured or stored is reached through the interfaces below, so the package knows neither database nor
// port. A Handler may be used from any number of goroutines.
package web
