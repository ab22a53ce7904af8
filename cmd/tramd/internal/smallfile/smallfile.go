// Package smallfile reads files that a person or another program wrote and that are small: configurations,
// certificates, sensors. A path may name anything, a device that never ends too.
package smallfile

import (
	"fmt"
	"io"
	"os"
)

// Most is the most bytes a small file has.
const Most = 1 << 20

// Read returns what a file holds. More than Most bytes are an error, whatever the file says its size is.
func Read(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, Most+1))
	if err == nil && len(text) > Most {
		err = fmt.Errorf("%s: longer than %d bytes: this is another file than is wanted here", path, Most)
	}
	if err != nil {
		return nil, err
	}
	return text, nil
}
