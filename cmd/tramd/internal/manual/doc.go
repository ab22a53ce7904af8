// Package manual writes the manual page and the shells' completions from the program's own grammar, so that neither can
// fall behind it.
package manual
