package runlog

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// NoteKind is a word that a note may begin with, and what follows it.
type NoteKind struct {
	Word, Means string
	Unit        string             // of the number that it wants; "" where words will do
	units       map[string]float64 // other units, and what one of them is in Unit
}

var (
	kilograms  = map[string]float64{"kg": 1, "lb": 0.45359237, "g": 1e-3}
	shares     = map[string]float64{"percent": 1, "%": 1}
	lengths    = map[string]float64{"mm": 1, "cm": 10, "in": 25.4, "inch": 25.4}
	volumes    = map[string]float64{"ml": 1, "l": 1000}
	powers     = map[string]float64{"W": 1, "kW": 1000, "hp": 745.69987}
	remark     = "remark"
	errNoWords = errors.New("note: nothing is said")
)

// NoteKinds are the words of the notebook, in the order of a run. A note that
// begins with none of them is a remark.
func NoteKinds() []NoteKind {
	return []NoteKind{
		{Word: "batch", Means: "the charcoal: its batch or maker"},
		{Word: "in", Means: "kilograms put into the hopper", Unit: "kg", units: kilograms},
		{Word: "left", Means: "kilograms left in it", Unit: "kg", units: kilograms},
		{Word: "size", Means: "size of the pieces"},
		{Word: "moisture", Means: "moisture of the charcoal, wet basis", Unit: "percent", units: shares},
		{Word: "nozzle", Means: "bore of the nozzle", Unit: "mm", units: lengths},
		{Word: "return", Means: "setting of the exhaust return, in percent of the blast", Unit: "percent", units: shares},
		{Word: "trim", Means: "position of the trim air"},
		{Word: "cleaned", Means: "the filter was cleaned, and how"},
		{Word: "load", Means: "load on the engine", Unit: "W", units: powers},
		{Word: "wind", Means: "wind, and where you stand"},
		{Word: "flare", Means: "the gas flares steadily"},
		{Word: "engine", Means: "the engine runs on gas"},
		{Word: "lid", Means: "the lid was opened or shut"},
		{Word: "refuel", Means: "charcoal was filled up"},
		{Word: "condensate", Means: "condensate drained", Unit: "ml", units: volumes},
		{Word: "ash", Means: "ash taken out", Unit: "kg", units: kilograms},
		{Word: "clinker", Means: "clinker at the nozzle or grate"},
		{Word: "seals", Means: "state of the seals"},
		{Word: "oil", Means: "oil of the engine"},
		{Word: "ready", Means: "what was looked at before the fire"},
		{Word: remark, Means: "anything else"},
	}
}

// ParseNote reads a line of the notebook: "moisture 8 %", "in: 5.5 kg", "wind
// from the west". A word that wants a number and is followed by none is an
// error, because the number would be missed later.
func ParseNote(text string) (n Note, err error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return n, errNoWords
	}
	word, rest, colon := strings.Cut(text, ":")
	if !colon || strings.ContainsAny(word, " \t") {
		word, rest, _ = strings.Cut(text, " ")
	}
	word = strings.ToLower(word)
	i := slices.IndexFunc(NoteKinds(), func(k NoteKind) bool { return k.Word == word })
	if i < 0 {
		return Note{Kind: remark, Text: text}, nil
	}
	k := NoteKinds()[i]
	n = Note{Kind: k.Word, Text: strings.TrimSpace(rest)}
	if k.Unit == "" {
		return n, nil
	}
	v, err := k.number(n.Text)
	if err != nil && !colon && strings.Contains(n.Text, " ") && !strings.ContainsAny(n.Text[:1], "0123456789-") {
		return Note{Kind: remark, Text: text}, nil // a sentence that begins with such a word, as "in the morning ..."
	}
	if err != nil {
		return Note{}, fmt.Errorf("note: %s: %w", k.Word, err)
	}
	n.Value, n.Unit = &v, k.Unit
	return n, nil
}

// number reads "5.5 kg", "5,5kg" or "5.5", words after it allowed.
func (k *NoteKind) number(text string) (float64, error) {
	end := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789.,-", r) })
	if end < 0 {
		end = len(text)
	}
	v, err := strconv.ParseFloat(strings.Replace(text[:end], ",", ".", 1), 64)
	if err != nil || math.IsInf(v, 0) || v < 0 {
		return 0, fmt.Errorf("%q: a number is wanted, in %s", text, k.Unit)
	}
	unit, _, _ := strings.Cut(strings.TrimSpace(text[end:]), " ")
	if unit == "" {
		return v, nil
	}
	per, known := k.units[unit]
	if !known {
		return 0, fmt.Errorf("%q: unit %q: want %s", text, unit, k.Unit)
	}
	return v * per, nil
}

// String is the note as a person reads it: "moisture 8 %", "refuel 5.5 kg".
func (n Note) String() string {
	s := n.Kind
	switch {
	case n.Text != "":
		s += " " + n.Text
	case n.Value != nil:
		s += fmt.Sprintf(" %.4g %s", *n.Value, n.Unit)
	}
	if n.Person != "" {
		s += " (" + n.Person + ")"
	}
	return s
}
