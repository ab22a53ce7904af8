package manual

import (
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// command is one command, or a group of them, as the person types it.
type command struct {
	path string // "config check"; "" for the program itself
	node *kong.Node
}

// commands lists every command that is shown, groups before what is in them, in the order of the grammar.
func commands(app *kong.Application) []command {
	var out []command
	var walk func(prefix string, n *kong.Node)
	walk = func(prefix string, n *kong.Node) {
		for _, c := range n.Children {
			if c.Hidden {
				continue
			}
			path := strings.TrimSpace(prefix + " " + c.Name)
			out = append(out, command{path, c})
			walk(path, c)
		}
	}
	walk("", app.Node)
	return out
}

// words are what may follow a command: the commands in it, or the values its arguments may have.
func (c command) words() []word {
	var out []word
	for _, n := range c.node.Children {
		if !n.Hidden {
			out = append(out, word{n.Name, n.Help})
		}
	}
	for _, a := range c.node.Positional {
		for _, v := range enum(a) {
			out = append(out, word{v, ""})
		}
	}
	return out
}

// flags are the flags a command takes, --help included.
func (c command) flags() []*kong.Flag {
	var out []*kong.Flag
	for _, group := range c.node.AllFlags(true) {
		out = append(out, group...)
	}
	return out
}

type word struct{ text, help string }

// enum returns the values that v may have; nil where it may have any. The empty value stands for a flag left out.
func enum(v *kong.Value) []string {
	if v.Enum == "" {
		return nil
	}
	return slices.DeleteFunc(v.EnumSlice(), func(s string) bool { return s == "" })
}

func takesValue(f *kong.Flag) bool { return !f.IsBool() && !f.IsCounter() }
