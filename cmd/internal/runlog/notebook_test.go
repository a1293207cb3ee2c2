package runlog

import (
	"math"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestParseNote(t *testing.T) {
	value := func(v float64) *float64 { return &v }
	for text, want := range map[string]Note{
		"batch 7, oak":           {Kind: "batch", Text: "7, oak"},
		"in 5.5 kg":              {Kind: "in", Text: "5.5 kg", Value: value(5.5), Unit: "kg"},
		"In: 5,5kg":              {Kind: "in", Text: "5,5kg", Value: value(5.5), Unit: "kg"},
		"left 2 lb":              {Kind: "left", Text: "2 lb", Value: value(0.90718474), Unit: "kg"},
		"moisture 8 %":           {Kind: "moisture", Text: "8 %", Value: value(8), Unit: "percent"},
		"return 14":              {Kind: "return", Text: "14", Value: value(14), Unit: "percent"},
		"load 1.2kW":             {Kind: "load", Text: "1.2kW", Value: value(1200), Unit: "W"},
		"lid":                    {Kind: "lid"},
		"in the morning, fog":    {Kind: "remark", Text: "in the morning, fog"},
		"the pump stopped twice": {Kind: "remark", Text: "the pump stopped twice"},
		"remark: load: none":     {Kind: "remark", Text: "load: none"},
	} {
		got, err := ParseNote(text)
		if err != nil || got.Kind != want.Kind || got.Text != want.Text || got.Unit != want.Unit || (got.Value == nil) != (want.Value == nil) ||
			want.Value != nil && math.Abs(*got.Value-*want.Value) > 1e-9 {
			t.Errorf("%q: %+v %v, want %+v", text, got, err, want)
		}
	}
	for text, says := range map[string]string{
		" ": "nothing", "in: much": "number is wanted, in kg", "moisture": "number", "moisture -3": "number", "load 3 bhp": `want W`, "nozzle 11": "",
	} {
		if _, err := ParseNote(text); says == "" && err != nil || says != "" && (err == nil || !strings.Contains(err.Error(), says)) {
			t.Errorf("%q: %v, want %q", text, err, says)
		}
	}
}

func FuzzParseNote(f *testing.F) {
	f.Add("in: 5,5 kg")
	f.Add("moisture 8%")
	f.Fuzz(func(t *testing.T, text string) {
		n, err := ParseNote(text)
		if err != nil {
			return
		}
		if n.Kind == "" || n.Value != nil && !(*n.Value >= 0) || utf8.ValidString(text) && !utf8.ValidString(n.Text) {
			t.Errorf("%q: %+v", text, n)
		}
	})
}
