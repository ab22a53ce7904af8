// Package service is what the page and the API may ask of the daemon beside the live session: the record, what it comes
// to, and what is brought into it.
package service
