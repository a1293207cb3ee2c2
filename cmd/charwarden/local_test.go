package main

import (
	"io"
	"strings"
	"testing"
)

func TestWords(t *testing.T) {
	for _, c := range []struct {
		args  string
		n     int
		words string
		wrong string
	}{
		{"co zero --x 5", flagsAnywhere, "co|zero", ""},
		{"--x 5 co zero", flagsAnywhere, "co|zero", ""},
		{"co --x 5 zero", flagsAnywhere, "co|zero", ""},
		{"co", flagsAnywhere, "", "WHAT is missing"},
		{"co zero more", flagsAnywhere, "", `"more": not expected`},
		{"co zero --y", flagsAnywhere, "", "-y"},
		{"--x 5 co --y", flagsFirst, "co|--y", ""},
	} {
		cl := &call{args: strings.Fields(c.args), out: io.Discard}
		fs := cl.flags("test", "test")
		fs.Int("x", 0, "")
		words, err := cl.words(fs, c.n, 0, "CHANNEL", "WHAT")
		if (err == nil) != (c.wrong == "") || err != nil && !strings.Contains(err.Error(), c.wrong) {
			t.Errorf("%q: %v, want %q", c.args, err, c.wrong)
		}
		if got := strings.Join(words, "|"); got != c.words {
			t.Errorf("%q: %q, want %q", c.args, got, c.words)
		}
	}
}
