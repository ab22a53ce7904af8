package advice

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
)

// node is one JSON value with its line, so that a mistake in it can be pointed at.
type node struct {
	line  int
	value any      // nil, bool, json.Number, string; json.Delim '{' or '['
	keys  []string // of an object, in order
	inner []*node  // values of an object, items of a list
}

// maxDepth is deeper than any log goes.
const maxDepth = 8

// lineError is a mistake with its line.
type lineError struct {
	line int
	err  error
}

func (e lineError) Error() string { return fmt.Sprintf("line %d: %v", e.line, e.err) }
func (e lineError) Unwrap() error { return e.err }

// readTree reads one JSON value and nothing after it.
func readTree(text []byte) (*node, error) {
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	r := treeReader{d, text}
	n, err := r.value(0)
	if err != nil {
		return nil, r.explain(err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, lineError{r.line(), errors.New("something follows the end of the log; write one JSON object")}
	}
	return n, nil
}

type treeReader struct {
	d    *json.Decoder
	text []byte
}

// line is that of the token to come.
func (r treeReader) line() int {
	at := int(r.d.InputOffset())
	for at < len(r.text) && strings.IndexByte(" \t\r\n,:", r.text[at]) >= 0 {
		at++
	}
	return 1 + bytes.Count(r.text[:at], []byte("\n"))
}

func (r treeReader) explain(err error) error {
	var at lineError
	if errors.As(err, &at) {
		return err
	}
	line := r.line()
	var syntax *json.SyntaxError
	switch {
	case errors.As(err, &syntax):
		line = 1 + bytes.Count(r.text[:min(int(syntax.Offset), len(r.text))], []byte("\n"))
	case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
		return lineError{line, errors.New("the log ends in the middle; is it whole?")}
	}
	return lineError{line, fmt.Errorf("not JSON: %w", err)}
}

func (r treeReader) value(depth int) (*node, error) {
	n := &node{line: r.line()}
	if depth > maxDepth {
		return nil, lineError{n.line, errors.New("lists within lists too deep for a log of moves")}
	}
	t, err := r.d.Token()
	if err != nil {
		return nil, err
	}
	n.value = t
	open, ok := t.(json.Delim)
	if !ok {
		return n, nil
	}
	for r.d.More() {
		if open == '{' {
			line := r.line()
			k, err := r.d.Token()
			if err != nil {
				return nil, err
			}
			key, _ := k.(string) // the decoder gives nothing else here
			for _, have := range n.keys {
				if have == key {
					return nil, lineError{line, fmt.Errorf("%q stands twice in one object; keep one", key)}
				}
			}
			n.keys = append(n.keys, key)
		}
		v, err := r.value(depth + 1)
		if err != nil {
			return nil, err
		}
		n.inner = append(n.inner, v)
	}
	_, err = r.d.Token() // the closing bracket
	return n, err
}

func (n *node) kind() string {
	switch v := n.value.(type) {
	case nil:
		return "null"
	case bool:
		return "true or false"
	case json.Number:
		return "a number"
	case string:
		return "text"
	case json.Delim:
		if v == '{' {
			return "an object"
		}
	}
	return "a list"
}
