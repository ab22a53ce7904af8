package catalogue

import "strings"

// Readable returns the texts of a page that people read.
func Readable(page string) []string {
	var out []string
	for _, piece := range readable.FindAllString(page, -1) {
		if !strings.HasPrefix(piece, "<style") && strings.TrimSpace(piece[1:]) != "" {
			out = append(out, strings.TrimSpace(piece[1:]))
		}
	}
	for _, m := range spoken.FindAllStringSubmatch(page, -1) {
		out = append(out, m[2])
	}
	return out
}
