package motion

import (
	"bufio"
	"errors"
	"io"
)

const longestLine = 512

// listen reads lines until the port ends.
func listen(line io.Reader, heard chan<- string, quit <-chan struct{}) error {
	s := bufio.NewScanner(line)
	s.Buffer(make([]byte, 0, longestLine), longestLine)
	s.Split(anyEnd)
	for s.Scan() {
		select {
		case heard <- s.Text():
		case <-quit:
			return nil
		}
	}
	if err := s.Err(); err != nil {
		return err
	}
	return errors.New("the far end went away")
}

// anyEnd splits at CR and at LF; a line that is too long is cut, since a controller that babbles must still be heard.
func anyEnd(data []byte, atEOF bool) (advance int, token []byte, err error) {
	for i, c := range data {
		if c == '\n' || c == '\r' {
			return i + 1, data[:i], nil
		}
	}
	if len(data) >= longestLine-1 || atEOF && len(data) > 0 {
		return len(data), data, nil
	}
	return 0, nil, nil
}
