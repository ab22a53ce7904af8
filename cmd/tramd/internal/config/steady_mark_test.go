package config

import "testing"

// A mark of the start that a person takes lies where the page asks for it; a pulse lies where the configuration says.
func TestThePlaceOfAPulseIsKnownWhereItIsWritten(t *testing.T) {
	for _, x := range []struct {
		name, angle string
		known       bool
	}{
		{"a pulse whose place is written", "port = \"/dev/index\"\nmark_deg = 90.0\n", true},
		{"a pulse to the right", "port = \"/dev/index\"\nmark_deg = 0.0\n", true},
		{"a pulse", "port = \"/dev/index\"\n", false},
		{"a start that is marked by hand", "turns_per_min = 6.0\n", true},
	} {
		text :=
			"[machine]\nname = \"wren\"\n[store]\npath = \"/var/lib/tramd/wren.db\"\n[[indicator]]\nname = \"lever\"\nport = \"/dev/lever\"\nradius_mm = 120.0\n[angle]\nsource = \"steady\"\n" + x.angle
		c, err := Parse("wren.toml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		if got := c.Setup().Zero.Known(); got != x.known {
			t.Errorf("%s: known %v", x.name, got)
		}
	}
}
