package catalogue

import (
	"html"
	"regexp"
	"strings"
)

// What people read of a page: the text between tags, and what stands in attributes for those who cannot see it.
var (
	readable = regexp.MustCompile(`(?s)<style.*?</style>|>[^<>]+`)
	spoken   = regexp.MustCompile(`\b(aria-label|alt|title)="([^"]*)"`)
	language = regexp.MustCompile(`<html lang="[^"]*"`)
)

// Markup returns a page or a picture of the program (HTML or SVG) in the catalogue's language.
func (c *Catalogue) Markup(page string) string {
	if len(c.Said) == 0 {
		return page
	}
	page = readable.ReplaceAllStringFunc(page, func(piece string) string {
		if strings.HasPrefix(piece, "<style") {
			return piece
		}
		return ">" + c.sayEscaped(piece[1:])
	})
	page = spoken.ReplaceAllStringFunc(page, func(piece string) string {
		name, value, _ := strings.Cut(strings.TrimSuffix(piece, `"`), `="`)
		return name + `="` + c.sayEscaped(value) + `"`
	})
	return language.ReplaceAllString(page, `<html lang="`+c.Language+`"`)
}

// sayEscaped translates a text as it stands in a page, with the white space about it kept.
func (c *Catalogue) sayEscaped(text string) string {
	inner := strings.TrimSpace(text)
	if inner == "" {
		return text
	}
	before, after, _ := strings.Cut(text, inner)
	plain := html.UnescapeString(strings.Join(strings.Fields(inner), " "))
	said := c.Say(plain)
	if said == plain {
		return text
	}
	return before + html.EscapeString(said) + after
}
