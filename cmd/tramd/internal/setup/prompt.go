package setup

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Prompter puts questions to a person, or to a file of answers, a line each.
type Prompter struct {
	ctx   context.Context
	out   io.Writer
	lines <-chan string // closed at the end of the answers
}

// longestAnswer is more than any answer needs.
const longestAnswer = 4096

// NewPrompter asks on out and reads the answers from in. A read that is still waiting when ctx ends is left behind: the
// program is about to end with it.
func NewPrompter(ctx context.Context, in io.Reader, out io.Writer) *Prompter {
	lines := make(chan string)
	go func() {
		defer close(lines)
		s := bufio.NewScanner(in)
		s.Buffer(nil, longestAnswer)
		for s.Scan() {
			select {
			case lines <- strings.TrimSpace(s.Text()):
			case <-ctx.Done():
				return
			}
		}
	}()
	return &Prompter{ctx: ctx, out: out, lines: lines}
}

// errNoAnswer ends the questions when the answers do.
var errNoAnswer = errors.New("the answers ended too early; nothing was written")

// say tells something between two questions.
func (a *Prompter) say(format string, args ...any) { fmt.Fprintf(a.out, format+"\n", args...) }

// ask puts a question until its answer is taken. An empty line means what is usual; take says what is wrong with an
// answer.
func (a *Prompter) ask(question, usual string, take func(answer string) error) error {
	for {
		if usual == "" {
			fmt.Fprintf(a.out, "%s: ", question)
		} else {
			fmt.Fprintf(a.out, "%s [%s]: ", question, usual)
		}
		var answer string
		var more bool
		select {
		case answer, more = <-a.lines:
		case <-a.ctx.Done():
			return a.ctx.Err()
		}
		if !more {
			return fmt.Errorf("%q: %w", question, errNoAnswer)
		}
		if answer == "" {
			answer = usual
		}
		err := take(answer)
		if err == nil {
			return nil
		}
		a.say("  %v", err)
	}
}

// yes asks for a yes or a no.
func (a *Prompter) yes(question string, usual bool) (yes bool, err error) {
	word := map[bool]string{true: "y", false: "n"}[usual]
	err = a.ask(question+" (y/n)", word, func(s string) error {
		switch strings.ToLower(s) {
		case "y", "yes":
			yes = true
		case "n", "no":
			yes = false
		default:
			return errors.New("write y or n")
		}
		return nil
	})
	return yes, err
}
