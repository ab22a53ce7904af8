// Package unattended decides when an unattended check is begun, waited for, stopped, tried again or reported as
// missed. Checker is pure: facts come in, acts come out. Runner brings the facts once a second and does the acts.
//
// # Before anything moves
//
// A check by a stepped program is begun only while all of this holds together, and has held for the warm-up: it is
// armed (a separate, explicit act that expires and does not outlive a restart of the daemon), the machine says that it
// is idle, the clock is set, every indicator is alive, inside its travel and still, and nothing else is being measured.
// What does not hold is waited for as long as the patience lasts; then the check is given up, and why is said.
//
// While it moves, packages interlock and motion watch the arming, the machine and the indicators; anything unexpected
// stops it. A check that was stopped for safety is not tried again; one that failed otherwise is, once. What was missed
// is reported and never made up for: nothing begins to move because the power came back.
package unattended
