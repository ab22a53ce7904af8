package manual

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"
)

// Both scripts walk the words before the cursor to the command they name, and then offer: after a flag that takes one
// of a few values, those; after a dash, the flags; else the commands or values that may follow, and files where there
// are none.

// Bash writes the completion for bash.
func Bash(w io.Writer, app *kong.Application) error {
	out := bufio.NewWriter(w)
	all := append([]command{{"", app.Node}}, commands(app)...)
	fmt.Fprintf(out, `# bash completion for tramd
_tramd() {
  local cur=${COMP_WORDS[COMP_CWORD]} prev=${COMP_WORDS[COMP_CWORD-1]} at='' i words flags
  for ((i = 1; i < COMP_CWORD; i++)); do
    case "${at:+$at }${COMP_WORDS[i]}" in
      %s) at="${at:+$at }${COMP_WORDS[i]}" ;;
    esac
  done
  COMPREPLY=()
  case "$at $prev" in
%s  esac
  case "$at" in
%s  esac
  case $cur in
    -*) words=$flags ;;
  esac
  mapfile -t COMPREPLY < <(compgen -W "$words" -- "$cur")
}
complete -o default -F _tramd tramd
`, patterns(all), afterFlags(all, `mapfile -t COMPREPLY < <(compgen -W %s -- "$cur"); return`), follows(all, func(c command) string {
		return fmt.Sprintf("words=%s flags=%s", quote(texts(c.words())), quote(flagNames(c)))
	}))
	return out.Flush()
}

// Zsh writes the completion for zsh.
func Zsh(w io.Writer, app *kong.Application) error {
	out := bufio.NewWriter(w)
	all := append([]command{{"", app.Node}}, commands(app)...)
	fmt.Fprintf(out, `#compdef tramd
_tramd() {
  local at='' prev=${words[CURRENT-1]} i
  local -a follow flags
  for ((i = 2; i < CURRENT; i++)); do
    case "${at:+$at }${words[i]}" in
      %s) at="${at:+$at }${words[i]}" ;;
    esac
  done
  case "$at $prev" in
%s  esac
  case "$at" in
%s  esac
  if [[ ${words[CURRENT]} == -* ]]; then
    _describe flag flags
  elif (( ${#follow} )); then
    _describe word follow
  else
    _files
  fi
}
if [[ ${funcstack[1]} == _tramd ]]; then _tramd "$@"; elif (( ${+functions[compdef]} )); then compdef _tramd tramd; fi
`, patterns(all), afterFlags(all, `follow=(%s); _describe value follow; return`), follows(all, func(c command) string {
		return fmt.Sprintf("follow=(%s) flags=(%s)", described(c.words()), described(flagWords(c)))
	}))
	return out.Flush()
}

// Fish writes the completion for fish. Its conditions ask for the words typed so far, so each line stands for itself.
func Fish(w io.Writer, app *kong.Application) error {
	out := bufio.NewWriter(w)
	all := append([]command{{"", app.Node}}, commands(app)...)
	fmt.Fprintf(out, `# fish completion for tramd
function __tramd_at
  set -l at
  for word in (commandline -opc)[2..-1]
    set -l longer (string join -- ' ' $at $word)
    contains -- $longer %s; and set at $at $word
  end
  set -l here (string join -- ' ' $at)
  test "$here" = "$argv"
end
complete -c tramd -f
`, patternsFish(all))
	for _, c := range all {
		here := `complete -c tramd -n ` + quoteFish("__tramd_at "+c.path)
		for _, x := range c.words() {
			fmt.Fprintf(out, "%s -a %s -d %s\n", here, quoteFish(x.text), quoteFish(x.help))
		}
		if len(c.words()) == 0 {
			fmt.Fprintf(out, "%s -F\n", here)
		}
		for _, f := range c.flags() {
			fmt.Fprintf(out, "%s -l %s -d %s", here, f.Name, quoteFish(f.Help))
			switch e := enum(f.Value); {
			case e != nil:
				fmt.Fprintf(out, " -x -a %s", quoteFish(strings.Join(e, " ")))
			case takesValue(f):
				fmt.Fprint(out, " -r -F")
			}
			fmt.Fprintln(out)
		}
	}
	return out.Flush()
}

func patternsFish(all []command) string {
	var out []string
	for _, c := range all[1:] {
		out = append(out, quoteFish(c.path))
	}
	return strings.Join(out, " ")
}

// quoteFish makes one word of fish's: inside single quotes it reads a backslash before a quote or a backslash.
func quoteFish(s string) string {
	return "'" + strings.NewReplacer(`\`, `\\`, "'", `\'`).Replace(s) + "'"
}

// patterns are the paths of all commands, for a case.
func patterns(all []command) string {
	var out []string
	for _, c := range all[1:] {
		out = append(out, quote(c.path))
	}
	return strings.Join(out, "|")
}

// afterFlags is what follows a flag that takes a value: one of a few, or a file.
func afterFlags(all []command, reply string) string {
	var b strings.Builder
	bash := strings.Contains(reply, "compgen")
	for _, c := range all {
		for _, f := range c.flags() {
			if !takesValue(f) {
				continue
			}
			var offer string
			switch e := enum(f.Value); {
			case e != nil && bash:
				offer = fmt.Sprintf(reply, quote(strings.Join(e, " ")))
			case e != nil:
				offer = fmt.Sprintf(reply, strings.Join(e, " "))
			case bash:
				offer = "return" // the shell's own completion of files
			default:
				offer = "_files; return"
			}
			fmt.Fprintf(&b, "    %s) %s ;;\n", quote(c.path+" --"+f.Name), offer)
		}
	}
	return b.String()
}

func follows(all []command, set func(command) string) string {
	var b strings.Builder
	for _, c := range all {
		fmt.Fprintf(&b, "    %s) %s ;;\n", quote(c.path), set(c))
	}
	return b.String()
}

func flagWords(c command) []word {
	var out []word
	for _, f := range c.flags() {
		out = append(out, word{"--" + f.Name, f.Help})
	}
	return out
}

func flagNames(c command) string { return texts(flagWords(c)) }

func texts(ws []word) string {
	var out []string
	for _, w := range ws {
		out = append(out, w.text)
	}
	return strings.Join(out, " ")
}

// described writes words as zsh's _describe takes them: word:help, a colon in the word escaped.
func described(ws []word) string {
	var out []string
	for _, w := range ws {
		s := strings.ReplaceAll(w.text, ":", `\:`)
		if w.help != "" {
			s += ":" + w.help
		}
		out = append(out, quote(s))
	}
	return strings.Join(out, " ")
}

// quote makes one word of the shell's.
func quote(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }
