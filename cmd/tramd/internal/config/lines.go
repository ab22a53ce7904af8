package config

import (
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// lines maps the dotted path of each key ("indicator.1.radius_mm"; tables of an array are numbered from 0) to the line
// it stands on, so that a mistake found after decoding can still be pointed at.
type lines map[string]int

func indexLines(text []byte) lines {
	out := lines{}
	var p unstable.Parser
	p.Reset(text)
	counts := map[string]int{}
	table := ""
	for p.NextExpression() {
		e := p.Expression()
		var parts []string
		line := 0
		for it := e.Key(); it.Next(); {
			if line == 0 {
				line = p.Shape(it.Node().Raw).Start.Line
			}
			parts = append(parts, string(it.Node().Data))
		}
		path := strings.Join(parts, ".")
		switch e.Kind {
		case unstable.Table:
			table = within(parts, counts)
		case unstable.ArrayTable:
			n := counts[path]
			counts[path]++
			table = path + "." + strconv.Itoa(n)
		default:
			if table != "" {
				path = table + "." + path
			}
			out[path] = line
			out.within(&p, path, e.Value())
			continue
		}
		out[table] = line
	}
	return out
}

// within adds the keys of inline tables, and of those in a list.
func (l lines) within(p *unstable.Parser, path string, value *unstable.Node) {
	switch value.Kind {
	case unstable.InlineTable:
		for it := value.Children(); it.Next(); {
			pair, key, line := it.Node(), path, 0
			for k := pair.Key(); k.Next(); {
				key, line = key+"."+string(k.Node().Data), p.Shape(k.Node().Raw).Start.Line
			}
			l[key] = line
			l.within(p, key, pair.Value())
		}
	case unstable.Array:
		i := 0
		for it := value.Children(); it.Next(); i++ {
			l.within(p, path+"."+strconv.Itoa(i), it.Node())
		}
	}
}

// within returns the path of a table that lies in the latest one of an array of tables.
func within(parts []string, counts map[string]int) string {
	raw, path := "", ""
	for i, p := range parts {
		if i > 0 {
			raw, path = raw+".", path+"."
		}
		raw, path = raw+p, path+p
		if n := counts[raw]; n > 0 && i < len(parts)-1 {
			path += "." + strconv.Itoa(n-1)
		}
	}
	return path
}

// of finds the line of a key, or of the table that should hold it; 0 when neither is written.
func (l lines) of(path string) int {
	for path != "" {
		if n, ok := l[path]; ok {
			return n
		}
		cut := strings.LastIndexByte(path, '.')
		if cut < 0 {
			break
		}
		path = path[:cut]
	}
	return 0
}
