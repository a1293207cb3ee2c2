package config

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// A table is one table of the file while it is read. Every key is asked for by
// name and kind; what was never asked for is unknown. Nothing stops at the
// first error: a wrong value is reported and reads as absent.
type table struct {
	f      *file
	name   string // "thermocouple"
	head   string // "[[thermocouple]]"
	at     *place
	values map[string]any
	asked  []string
	broken bool // an error was reported on one of its keys
}

// fail reports what is wrong with a key, at its line or the table's.
func (t *table) fail(key, format string, args ...any) {
	t.broken = true
	line := t.line(key)
	if key == "" { // TOML allows it, but nobody could see it in a message
		key = `""`
	}
	t.f.errs = append(t.f.errs, Error{t.f.name, line, strings.TrimPrefix(t.name+"."+key, "."), fmt.Sprintf(format, args...)})
}

// line returns where the key stands, or the table if it has no such key.
func (t *table) line(key string) int {
	if p := t.at.key(key); p != nil {
		return p.line
	}
	if t.at != nil {
		return t.at.line
	}
	return 1
}

// value notes that a key was asked for and returns what the file says.
func (t *table) value(key string) (any, bool) {
	if !slices.Contains(t.asked, key) {
		t.asked = append(t.asked, key)
	}
	v, ok := t.values[key]
	return v, ok
}

func (t *table) has(key string) bool {
	_, ok := t.value(key)
	return ok
}

// require reports keys that must be there, and not empty.
func (t *table) require(keys ...string) {
	for _, key := range keys {
		if v, ok := t.value(key); !ok {
			t.fail(key, "missing: %s needs it", t.head)
		} else if v == "" {
			t.fail(key, "empty: %s needs it", t.head)
		}
	}
}

// done reports every key that nobody asked for.
func (t *table) done() {
	slices.Sort(t.asked)
	for _, key := range slices.Sorted(maps.Keys(t.values)) {
		if !slices.Contains(t.asked, key) {
			t.fail(key, "unknown key%s (allowed: %s)", didYouMean(key, t.asked), strings.Join(t.asked, ", "))
		}
	}
}

// text returns a string, or def.
func (t *table) text(key, def string) string {
	if s, ok := t.read(key); ok {
		return s
	}
	return def
}

// read returns a string; ok is false if the key is absent or wrong.
func (t *table) read(key string) (s string, ok bool) {
	v, ok := t.value(key)
	if !ok {
		return "", false
	}
	s, ok = v.(string)
	if !ok {
		t.fail(key, "%s: a text is wanted: write it in quotes", written(v))
		return "", false
	}
	if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		t.fail(key, "%q: one line without control characters is wanted", s)
		return "", false
	}
	return s, true
}

// word returns one of the allowed words, or the first of them.
func (t *table) word(key string, allowed ...string) string {
	s := t.text(key, allowed[0])
	if !slices.Contains(allowed, s) {
		t.fail(key, "%q: unknown word%s (allowed: %s)", s, didYouMean(s, allowed), strings.Join(allowed, ", "))
		return allowed[0]
	}
	return s
}

// identifier returns a name that topics, labels and file names can carry:
// a-z, 0-9 and the one extra letter. Empty is as absent.
func (t *table) identifier(key, extra string) string {
	s := t.text(key, "")
	if len(s) > 32 || !plain(s, extra) {
		t.fail(key, "%q: not a usable name (allowed: 1 to 32 of a-z, 0-9 and %s)", s, extra)
		return ""
	}
	return s
}

func plain(s, extra string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || strings.ContainsRune(extra, r))
	})
}

// flag returns true or false, or def.
func (t *table) flag(key string, def bool) bool {
	v, ok := t.value(key)
	if !ok {
		return def
	}
	b, ok := v.(bool)
	if !ok {
		t.fail(key, "%s: (allowed: true, false)", written(v))
		return def
	}
	return b
}

// number returns a plain number within lo..hi, or def.
func (t *table) number(key string, def, lo, hi float64) float64 {
	v, ok := t.value(key)
	if !ok {
		return def
	}
	var x float64
	switch n := v.(type) {
	case int64:
		x = float64(n)
	case float64:
		x = n
	default:
		t.fail(key, "%s: a plain number is wanted, without quotes and unit (allowed: %v to %v)", written(v), lo, hi)
		return def
	}
	if !(x >= lo && x <= hi) {
		t.fail(key, "%v: out of range (allowed: %v to %v)", written(v), lo, hi)
		return def
	}
	return x
}

// whole returns a whole number within lo..hi, or def.
func (t *table) whole(key string, def, lo, hi int) int {
	v, ok := t.value(key)
	if !ok {
		return def
	}
	n, ok := v.(int64)
	if !ok || n < int64(lo) || n > int64(hi) {
		t.fail(key, "%s: a whole number is wanted (allowed: %d to %d)", written(v), lo, hi)
		return def
	}
	return int(n)
}

// measure returns a value with its unit as parse reads it; ok is false if the
// key is absent or wrong.
func (t *table) measure(key string, parse func(string) (float64, error), d dimension) (x float64, ok bool) {
	v, ok := t.value(key)
	if !ok {
		return 0, false
	}
	s, isText := v.(string)
	if !isText {
		t.fail(key, "%s: unit missing: write %s (allowed: %s)", written(v), d.example(written(v)), d.names())
		return 0, false
	}
	x, err := parse(s)
	if err != nil {
		t.fail(key, "%v", err)
		return 0, false
	}
	return x, true
}

// span returns a duration within lo..hi, or def.
func (t *table) span(key string, def, lo, hi time.Duration) time.Duration {
	d := duration
	d.sample = human(max(def, lo))
	x, ok := t.measure(key, d.parse, d)
	if !ok {
		return def
	}
	if x < lo.Seconds() || x > hi.Seconds() {
		t.fail(key, "%s: out of range (allowed: %s to %s)", written(t.values[key]), human(lo), human(hi))
		return def
	}
	return time.Duration(math.Round(x * 1e9))
}

// date returns a day, zero if the key is absent or wrong.
func (t *table) date(key string) time.Time {
	v, ok := t.value(key)
	if !ok {
		return time.Time{}
	}
	d, ok := v.(toml.LocalDate)
	if !ok {
		t.fail(key, "%s: a day is wanted, without quotes: write 2026-03-31", written(v))
		return time.Time{}
	}
	return d.AsTime(time.UTC)
}

// list returns texts; sample shows how one is written.
func (t *table) list(key, sample string) []string {
	v, ok := t.value(key)
	if !ok {
		return nil
	}
	items, ok := v.([]any)
	var texts []string
	for _, item := range items {
		s, isText := item.(string)
		ok = ok && isText
		texts = append(texts, s)
	}
	if !ok {
		t.fail(key, "%s: a list of texts is wanted: write [%q]", written(v), sample)
		return nil
	}
	return texts
}

// written shows a value as the file has it, shortened.
func written(v any) string {
	var s string
	switch v := v.(type) {
	case string:
		s = strconv.Quote(v)
	case []any:
		return "a list"
	case map[string]any:
		return "a table"
	default:
		s = fmt.Sprint(v)
	}
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "..."
	}
	return s
}
