package frame

import "testing"

func TestTheIndexMarkOfAnEncoder(t *testing.T) {
	for _, tc := range []struct {
		mark, line string
		want       Sample
		fault      string
	}{
		{"index", "1024 index", Sample{Kind: Count, Value: 1024, Mark: true}, ""},
		{"index", "1024index", Sample{Kind: Count, Value: 1024, Mark: true}, ""},
		{"index", "-12.5 deg index", Sample{Kind: Angle, Value: -12_500_000, Mark: true}, ""},
		{"index", "1024", Sample{Kind: Count, Value: 1024}, ""},
		{"index", "index", Sample{Kind: Index}, ""},
		{"*", "7 *", Sample{Kind: Count, Value: 7, Mark: true}, ""},
		{"index", "1024 inde", Sample{}, "bad_unit"}, // half a mark is no mark, and no count either
		{"index", "1024 index index", Sample{}, "bad_unit"},
		{"index", "inde", Sample{}, "garbage"},
		{"", "1024 index", Sample{}, "bad_unit"},
	} {
		f := NewEncoderFramer(4096).MarkedBy(tc.mark)
		got := f.Feed(nil, []byte(tc.line+"\n"), 7)
		if tc.fault != "" {
			if len(got) != 0 || f.Faults()[tc.fault] != 1 {
				t.Errorf("%q by %q: got %v, faults %v; want one %s", tc.line, tc.mark, got, f.Faults(), tc.fault)
			}
			continue
		}
		tc.want.At = 7
		if len(got) != 1 || got[0] != tc.want {
			t.Errorf("%q by %q: got %v, want %v", tc.line, tc.mark, got, tc.want)
		}
	}
}
