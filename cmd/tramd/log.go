package main

import (
	"io"
	"log/slog"
	"os"
)

// newLogger writes text for people. Under the journal, which stamps each line itself, the time is left out.
func newLogger(w io.Writer) *slog.Logger {
	_, journal := os.LookupEnv("JOURNAL_STREAM")
	return slog.New(slog.NewTextHandler(
		w, &slog.HandlerOptions{ReplaceAttr: func(groups []string, a slog.Attr) slog.Attr {
			if journal && len(groups) == 0 && a.Key == slog.TimeKey {
				return slog.Attr{}
			}
			return a
		}}))
}
