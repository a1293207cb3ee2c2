package main

import (
	"bytes"
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"testing"
)

// A note is said back as it was understood, so that a person sees a slip.
func TestNoteIsSaidBack(t *testing.T) {
	for want, row := range map[string]noteRow{
		"noted: batch 7, oak\n":                       {Kind: "batch", Text: "7, oak"},
		"noted: moisture 8 percent\n":                 {Kind: "moisture", Value: ppm(8), Unit: orNull("percent"), Text: "8 %"},
		"noted: lid\n":                                {Kind: "lid"},
		"noted: batch 7; not stored yet: disk full\n": {Kind: "batch", Text: "7", Why: orNull("disk full")},
	} {
		v := listenTo(t, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { json.NewEncoder(w).Encode(row) }))
		var out, errs bytes.Buffer
		if code := dispatch(t.Context(), []string{"note", "--socket", v.socket, "x"}, nil, &out, &errs); code != exitOK || out.String() != want {
			t.Errorf("%d %q %s, want %q", code, &out, &errs, want)
		}
	}
}

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
