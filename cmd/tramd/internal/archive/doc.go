// Package archive is the session's way into the record: runs as they begin, grow and end, and the zeros of encoders.
package archive
