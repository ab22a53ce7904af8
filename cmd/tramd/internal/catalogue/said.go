package catalogue

import (
	"cmp"
	"regexp"
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

// A form is an English sentence with blanks, {1} for words and {#2} for a figure, and its translation. Units that a
// reader may change, mm/m and mm, are blanks too: what stands there in the sentence stands there in the translation.
type form struct {
	translation string
	longest     string // the longest piece of its words: a sentence without it is not of this form
	words       int    // letters and other fixed characters
	blanks      []string
	pattern     func() *regexp.Regexp
}

type forms struct{ list []form } // those with the most words first

const (
	leanUnits   = `(mm/m|arcsec|mrad|thou/ft|(?:mm|in) over [0-9.]+ ?(?:mm|cm|m|in))`
	lengthUnits = `(mm|in)`
	figures     = `([+−-]?[0-9][0-9.,e+-]*|NaN|–)`
)

// blank finds the blanks of a form and its units.
var blank = regexp.MustCompile(`\{#?\d+\}|\bmm/m\b|\bmm\b`)

func newForms(c *Catalogue) *forms {
	out := &forms{}
	for english, translation := range c.Said {
		out.list = append(out.list, newForm(english, translation))
	}
	slices.SortFunc(out.list, func(a, b form) int {
		return cmp.Or(cmp.Compare(b.words, a.words), cmp.Compare(a.translation, b.translation))
	})
	return out
}

func newForm(english, translation string) form {
	english, translation = strings.TrimSuffix(english, "."), strings.TrimSuffix(translation, ".")
	f := form{translation: translation}
	value := blankOf(english)
	var pattern strings.Builder
	pattern.WriteString("^")
	from := 0
	literal := func(piece string) {
		f.words += len(piece)
		body := piece
		if from == 0 && piece != "" { // it may begin a sentence or stand inside of one
			_, n := utf8.DecodeRuneInString(piece)
			body = piece[n:]
			pattern.WriteString("(?i:" + regexp.QuoteMeta(piece[:n]) + ")")
		}
		pattern.WriteString(regexp.QuoteMeta(body))
		if len(body) > len(f.longest) {
			f.longest = body
		}
	}
	for _, at := range blank.FindAllStringSubmatchIndex(english, -1) {
		literal(english[from:at[0]])
		from = at[1]
		name := english[at[0]:at[1]]
		f.blanks = append(f.blanks, name)
		switch {
		case name == "mm/m":
			pattern.WriteString(leanUnits)
		case name == "mm":
			pattern.WriteString(lengthUnits)
		case name[1] == '#':
			pattern.WriteString(figures)
		default:
			pattern.WriteString(value)
		}
	}
	literal(english[from:])
	pattern.WriteString("$")
	f.pattern = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile("(?s)" + pattern.String()) })
	return f
}

// blankOf returns what may stand in a form's blanks. A form of few words of its own would fit too much: "{1} to {2}".
func blankOf(english string) string {
	first, _, _ := strings.Cut(english, "{")
	letters := func(s string) (n int) {
		for _, r := range s {
			if unicode.IsLetter(r) {
				n++
			}
		}
		return n
	}
	switch {
	case letters(blank.ReplaceAllString(english, "")) >= fewLetters:
		return "(.*?)"
	case letters(first) >= 4:
		return `((?:[^;:]|:\d)*?)`
	}
	return `(\S+?)`
}

const fewLetters = 12

// Say returns a text of the program in the catalogue's language. A text may be several sentences, or a list. Names,
// figures and sentences without an entry stay unchanged.
func (c *Catalogue) Say(text string) string {
	if len(c.Said) == 0 {
		return text
	}
	return c.forms().say(text)
}

// sentence finds where one sentence ends and the next begins.
var sentence = regexp.MustCompile(`[.?!] +[A-Z0-9]`)

// separators are what parts a text into pieces that may be known by themselves, the strongest first.
var separators = []string{"\n", ". ", "; ", ": ", ", ", " (", ") ", ")", " · "}

func (f *forms) say(text string) string {
	if strings.IndexFunc(text, unicode.IsLetter) < 0 {
		return text
	}
	if inner := strings.TrimSpace(text); inner != text {
		before, after, _ := strings.Cut(text, inner)
		return before + f.say(inner) + after
	}
	if at := sentence.FindStringIndex(text); at != nil { // no form goes on over the end of a sentence
		return f.say(text[:at[0]+1]) + text[at[0]+1:at[1]-1] + f.say(text[at[1]-1:])
	}
	parted, best := f.known(text) // or it is parted where more of it is one sentence of the catalogue
	for _, separator := range separators {
		for from := 0; ; {
			i := strings.Index(text[from:], separator)
			if i < 0 {
				break
			}
			left, right := text[:from+i], text[from+i+len(separator):]
			if out, score := f.known(left); score > best {
				best, parted = score, out+separator+f.say(right)
			}
			if out, score := f.known(right); score > best {
				best, parted = score, f.say(left)+separator+out
			}
			from += i + len(separator)
		}
	}
	if best > 0 {
		return parted
	}
	for _, separator := range separators {
		if left, right, found := strings.Cut(text, separator); found {
			return f.say(left) + separator + f.say(right)
		}
	}
	return text
}

// known returns the translation of a text that is one sentence or one word of the catalogue, and how much of it is
// fixed words; 0: it is none.
func (f *forms) known(text string) (string, int) {
	bare := strings.TrimRight(text, ".:")
	for i := range f.list {
		x := &f.list[i]
		if !strings.Contains(bare, x.longest) {
			continue
		}
		if m := x.pattern().FindStringSubmatch(bare); m != nil {
			return likeCase(f.fill(x, m[1:]), bare) + text[len(bare):], x.words
		}
	}
	return "", 0
}

// fill puts the values into the translation's blanks; a value may be words of the catalogue itself. Units go into their
// places in their order.
func (f *forms) fill(x *form, values []string) string {
	next := 0 // of the units
	return blank.ReplaceAllStringFunc(x.translation, func(name string) string {
		if name[0] == '{' {
			if i := slices.Index(x.blanks, name); i >= 0 {
				return f.say(values[i])
			}
			return name
		}
		for ; next < len(x.blanks); next++ {
			if x.blanks[next] == name {
				next++
				return values[next-1]
			}
		}
		return name
	})
}

// likeCase begins a translation with a capital where the text did.
func likeCase(out, text string) string {
	first, _ := utf8.DecodeRuneInString(text)
	mine, n := utf8.DecodeRuneInString(out)
	if unicode.IsUpper(first) && unicode.IsLower(mine) {
		return string(unicode.ToUpper(mine)) + out[n:]
	}
	return out
}
