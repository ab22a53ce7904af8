// Package picture draws measurements of the assembly as SVG: a line with its form enlarged, a plane as a grid of
// colours, a bar as eccentric circles, the relations as a chain with arrows. A picture stands on its own light ground
// and bears no style sheet, so that page and printed sheet show the same one; all it says stands in words beside it,
// too.
package picture
