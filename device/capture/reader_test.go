package capture

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"
)

func TestDamageIsNamedByItsLine(t *testing.T) {
	head := magic + "\n# note\n0 partial \"\"\n5 data \"x\\n1.5\\n\"\n"
	for _, tc := range []struct{ text, want string }{
		{head + "9 data \"2.5",
			"capture line 5: the line is not finished: the recording was cut off here; everything before it is good"},
		{head + "9 data 2.5\n", "capture line 5: the bytes are not in double quotes"},
		{head + "9 data \"2.5\n", "capture line 5: the bytes are not a closed string in double quotes"},
		{head + "9 data\n", `capture line 5: want NANOSECONDS WHAT "BYTES"`},
		{head + "-9 data \"\"\n", `capture line 5: time "-9" is not a number of nanoseconds`},
		{head + "9 date \"\"\n",
			`capture line 5: record "date" is not known: want clean, partial, data, asked or lost`},
		{head + "4 data \"\"\n", "capture line 5: time runs backwards: the line is damaged, or lines were moved"},
		{head + "9223372036854775807 data \"\"\n", "capture line 5: time is out of range: the line is damaged"},
		{head + strings.Repeat("#", maxRecord+1) + "\n",
			"capture line 5: longer than any record: the file is not a capture, or is damaged"},
		{"", `capture line 1: not a capture: the first line must be "# tramd capture 1"`},
		{"0.1\n", `capture line 1: not a capture: the first line must be "# tramd capture 1"`},
	} {
		c := NewReader(strings.NewReader(tc.text))
		n := 0
		var err error
		for err == nil {
			if _, err = c.Next(); err == nil {
				n++
			}
		}
		if err.Error() != tc.want || strings.HasPrefix(tc.text, head) && n != 2 {
			t.Errorf("%d records, then %q; want %q", n, err, tc.want)
		}
		if _, again := c.Next(); again != err {
			t.Errorf("after its error the reader went on: %v", again)
		}
	}
}

func FuzzReader(f *testing.F) {
	f.Add([]byte(magic + "\n0 partial \"\"\n5 data \"x\\n1.5\\n\"\n9 lost \"gone\"\n"))
	f.Add([]byte(magic + "\n0 clean \"\"\n" + magic + "\n1 data \"\\xff\\u00e9\"\n# end"))
	f.Add([]byte("0 data \"\"\n"))
	f.Fuzz(func(t *testing.T, p []byte) {
		c := NewReader(bytes.NewReader(p))
		var last time.Duration
		for {
			rec, err := c.Next()
			if err != nil {
				var ce *Error
				if !errors.Is(err, io.EOF) &&
					(!errors.As(err, &ce) || ce.Line < 1 || ce.Line > 1+bytes.Count(p, []byte{'\n'})) {
					t.Fatalf("error %v names no line of the file", err)
				}
				return
			}
			if rec.At < last {
				t.Fatalf("time ran backwards: %v after %v", rec.At, last)
			}
			last = rec.At
		}
	})
}
