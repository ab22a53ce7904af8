package main

import (
	"fmt"
	"strings"

	"github.com/alecthomas/kong"
)

type helpCmd struct {
	Command []string `arg:"" optional:"" help:"The command, for example: config check."`
}

// Run prints the help of a command; of the program without one.
func (c *helpCmd) Run(e *env) error {
	var cl commandLine
	parser, err := newParser(&cl, kong.Writers(e.out, e.err), kong.Exit(func(int) {}))
	if err != nil {
		return err
	}
	if !isCommand(parser.Model.Node, c.Command) {
		return usageError{fmt.Errorf("there is no command %q; tramd help lists them", strings.Join(c.Command, " "))}
	}
	_, err = parser.Parse(append(c.Command, "--help"))
	if _, ok := err.(*kong.ParseError); ok { // the help is printed before a missing argument is noticed
		return nil
	}
	return err
}

// isCommand reports whether words lead from n to a command.
func isCommand(n *kong.Node, words []string) bool {
	if len(words) == 0 {
		return true
	}
	for _, c := range n.Children {
		if c.Name == words[0] {
			return isCommand(c, words[1:])
		}
	}
	return false
}

// printHelp prints a command's help with its examples.
func printHelp(options kong.HelpOptions, ctx *kong.Context) error {
	if err := kong.DefaultHelpPrinter(options, ctx); err != nil {
		return err
	}
	path := ""
	if n := ctx.Selected(); n != nil {
		path = commandPath(n)
	}
	shown := examples[path]
	if len(shown) == 0 {
		return nil
	}
	var b strings.Builder
	b.WriteString("\nExamples:\n")
	for _, x := range shown {
		fmt.Fprintf(&b, "  %s\n      %s\n", x.Line, x.Does)
	}
	_, err := fmt.Fprint(ctx.Stdout, b.String())
	return err
}

// commandPath returns what a person types after tramd for n: "config check".
func commandPath(n *kong.Node) string {
	if n.Parent == nil {
		return ""
	}
	return strings.TrimSpace(commandPath(n.Parent) + " " + n.Name)
}
