// Package alarm tells people, from one small computer without a Prometheus, what is wrong with the machine: it looks at
// the present state every few seconds, decides what stands, and sends it to an Alertmanager, a webhook or by mail.
//
// Messages that still wait lie in a file beside the database, so that it survives a restart and a network that is away
// for days. Nothing here is waited for by the part that measures.
package alarm
