package setup

import (
	"errors"
	"fmt"

	"golang.org/x/crypto/bcrypt"
)

// shortestPassword is what `tramd password` asks for, too.
const shortestPassword = 8

// askPassword asks for the password of the page; the configuration holds its hash and never the word itself.
func (p *plan) askPassword(a *Prompter, hide func() (show func())) error {
	question := fmt.Sprintf(
		"Password for changes on the page, at least %d characters (- for none: the page only shows)", shortestPassword)
	for {
		word, again := "", ""
		show := func() {}
		if hide != nil {
			show = hide()
		}
		err := a.ask(question, "-", func(s string) error {
			if s != "-" && len(s) < shortestPassword {
				return errors.New("too short")
			}
			word = s
			return nil
		})
		if err == nil && word != "-" {
			err = a.ask("Once more", "", func(s string) error { again = s; return nil })
		}
		show()
		switch {
		case err != nil || word == "-":
			return err
		case word != again:
			a.say("  the two are not the same")
			continue
		}
		hash, err := bcrypt.GenerateFromPassword([]byte(word), bcrypt.DefaultCost)
		if err != nil { // longer than bcrypt takes
			a.say("  %v", err)
			continue
		}
		p.passwordHash = string(hash)
		return nil
	}
}
