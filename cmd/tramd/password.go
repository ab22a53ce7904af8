package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/crypto/bcrypt"
	"golang.org/x/term"
)

type passwdCmd struct {
	Bare bool `help:"Print the hash alone, for a credential's file."`
}

// Run reads the password from standard input, so that it stands in no list of processes and in no shell history.
func (c *passwdCmd) Run(e *env) error {
	word, err := readPassword(e)
	if err != nil {
		return err
	}
	if len(word) < 8 {
		return errors.New("the password is too short; use at least 8 characters")
	}
	hash, err := bcrypt.GenerateFromPassword([]byte(word), bcrypt.DefaultCost)
	if err != nil {
		return fmt.Errorf("cannot make the hash: %w", err)
	}
	form := "password_hash = %q\n"
	if c.Bare {
		form = "%s\n"
	}
	_, err = fmt.Fprintf(e.out, form, hash)
	return err
}

func readPassword(e *env) (string, error) {
	if f, ok := e.in.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		fmt.Fprint(e.err, "Password: ")
		word, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(e.err)
		return string(word), err
	}
	line, err := bufio.NewReader(io.LimitReader(e.in, 1<<12)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	return strings.TrimRight(line, "\r\n"), nil
}
