package config

import (
	"bytes"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"charwarden/alarms"
	"charwarden/sensors"
)

// maxSize bounds what Parse reads; the reference file is a thirtieth of it.
const maxSize = 256 << 10

var (
	busName  = regexp.MustCompile(`^/dev/i2c-[0-9]{1,3}$`)
	portName = regexp.MustCompile(`^/dev/spidev[0-9]{1,3}\.[0-9]{1,3}$`)
	pinName  = regexp.MustCompile(`^GPIO[0-9]{1,3}$`)
)

// Parse reads the file called name in messages. It looks at nothing but data.
// The error is an *Errors with everything that is wrong.
func Parse(name string, data []byte) (*Config, error) {
	f := &file{name: name, adcs: map[string]ADC{}, claims: map[string]claim{}, channels: map[string]*channel{}, roles: map[string][]*channel{}}
	f.reserve()
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")) // some editors write a byte order mark
	if len(data) > maxSize {
		return nil, &Errors{{name, 1, "toml", fmt.Sprintf("%d bytes: too long for a configuration (allowed: %d)", len(data), maxSize)}}
	}
	var values map[string]any
	if err := toml.Unmarshal(data, &values); err != nil {
		return nil, &Errors{tomlError(name, data, err)}
	}
	f.root = &table{f: f, at: places(data), values: values}
	if len(values) == 0 {
		return nil, &Errors{{name, 1, "toml", "the file says nothing: begin with what `charwarden config` prints"}}
	}
	c := &Config{Text: veilText(string(data))}
	f.sections(c)
	f.converters(c)
	f.thermocouples(c)
	f.pressures(c)
	f.cos(c)
	f.tachos(c)
	f.ambients(c)
	f.supplies(c)
	f.scales(c)
	f.process(c)
	f.selects()
	f.references()
	f.board(c)
	f.ties(c)
	f.loop(c)
	f.rules(c)
	f.root.done()
	if !f.watches() && len(f.errs) == 0 {
		f.root.fail("channel", "nothing to watch: the file has no sensor (allowed: %s)", strings.Join(sensorTables, ", "))
	}
	if len(f.errs) > 0 {
		errs := f.errs.sorted()
		return nil, &errs
	}
	for _, ch := range f.order() {
		if ch.origin < fromCell {
			c.Channels = append(c.Channels, ch.Channel)
		} else {
			c.Derived = append(c.Derived, ch.Channel)
		}
	}
	for _, w := range f.warnings.sorted() {
		c.Warnings = append(c.Warnings, w.Error())
	}
	return c, nil
}

var sensorTables = []string{"[[thermocouple]]", "[[pressure]]", "[[co]]", "[[tacho]]", "[[ambient]]", "[[supply]]", "[[scale]]"}

// file is what is known of the file while it is read.
type file struct {
	name     string
	root     *table
	errs     Errors
	warnings Errors
	adcs     map[string]ADC
	claims   map[string]claim
	channels map[string]*channel
	roles    map[string][]*channel // by the word of `watch`, and "speed"
	couples  []couple
	refs     []mention
}

// A channel with what its sensor can show and where it was named.
type channel struct {
	sensors.Channel
	low, high float64       // ends of what it can show
	rules     []alarms.Rule // built in
	table     *table
	key       string // that named it
	number    int    // in order of reading
	origin    origin
	cause     string // what takes it down together with others
	steel     alarms.Steel
}

// origin is where a channel's values come from. Channels stand in this order.
type origin uint8

const (
	fromSensor origin = iota // a table of the file
	fromBoard                // what the board says of itself
	fromCell                 // reckoned from one CO cell
	fromWall                 // reckoned from one wall
	fromAll                  // reckoned from several channels, or from the daemon's own work
)

// claim is something that only one sensor can have.
type claim struct {
	line int // 0 = charwarden itself
	key  string
}

// mention is a channel that another table names.
type mention struct {
	table *table
	key   string
	name  string
	want  sensors.Quantity
}

// table returns [name], empty if the file has none.
func (f *file) table(name string) *table {
	v, ok := f.root.value(name)
	m, isTable := v.(map[string]any)
	if ok && !isTable {
		f.root.fail(name, "a table is wanted: write [%s] on a line of its own", name)
	}
	return &table{f: f, name: name, head: "[" + name + "]", at: f.root.at.key(name), values: m}
}

// tables returns every [[name]], in the order of the file.
func (f *file) tables(name string) []*table {
	v, ok := f.root.value(name)
	items, isArray := v.([]any)
	at := f.root.at.key(name)
	var all []*table
	for i, item := range items {
		m, isTable := item.(map[string]any)
		isArray = isArray && isTable
		all = append(all, &table{f: f, name: name, head: "[[" + name + "]]", at: at.item(i), values: m})
	}
	if ok && !isArray {
		f.root.fail(name, "write [[%s]] with two brackets, once for each", name)
		return nil
	}
	return all
}

// warn notes what is allowed but should be heard.
func (t *table) warn(key, format string, args ...any) {
	t.f.warnings = append(t.f.warnings, Error{t.f.name, t.line(key), t.name + "." + key, fmt.Sprintf(format, args...)})
}

// claim takes something that only one can have; false if it is taken.
func (t *table) claim(key, kind, id string) bool {
	what := kind + " " + id
	if by, taken := t.f.claims[what]; taken && by.line == 0 {
		t.fail(key, "%q is a channel of charwarden's own: choose another name", id)
		return false
	} else if taken {
		t.fail(key, "%q is used twice: line %d has it already (%s)", id, by.line, by.key)
		return false
	}
	t.f.claims[what] = claim{t.line(key), t.name + "." + key}
	return true
}

// add registers a channel whose sensor ends at low and high, if its name is
// usable and free. Cause is what takes it down together with others.
func (t *table) add(key string, ch sensors.Channel, low, high float64, cause string) *channel {
	c := &channel{Channel: ch, low: ch.Gain*low + ch.Offset, high: ch.Gain*high + ch.Offset, table: t, key: key, number: len(t.f.channels)}
	c.rules = []alarms.Rule{alarms.FaultRule(ch)}
	c.cause, c.rules[0].Cause = cause, cause
	if ch.Name != "" && t.claim(key, "channel", ch.Name) {
		t.f.channels[ch.Name] = c
	}
	return c
}

// order returns the channels by origin, then in the order of the file.
func (f *file) order() []*channel {
	return slices.SortedFunc(maps.Values(f.channels), func(a, b *channel) int {
		if a.origin != b.origin {
			return int(a.origin) - int(b.origin)
		}
		if d := a.table.line(a.key) - b.table.line(b.key); d != 0 {
			return d
		}
		return a.number - b.number
	})
}

// refer notes that a key names a channel; it may stand further down.
func (t *table) refer(key, name string, want sensors.Quantity) {
	if name != "" {
		t.f.refs = append(t.f.refs, mention{t, key, name, want})
	}
}

// references checks every channel that a sensor table names.
func (f *file) references() {
	for _, r := range f.refs {
		ch, ok := f.channels[r.name]
		switch {
		case !ok:
			var fit []string
			for _, c := range f.order() {
				if c.Quantity == r.want {
					fit = append(fit, c.Name)
				}
			}
			r.table.fail(r.key, "%q: no such channel%s%s", r.name, didYouMean(r.name, fit), allowed(fit))
		case ch.Quantity != r.want:
			r.table.fail(r.key, "%q is a channel in %s: one in %s is wanted", r.name, ch.Quantity.Unit(), r.want.Unit())
		}
	}
}

func (f *file) adcNames() []string { return slices.Sorted(maps.Keys(f.adcs)) }

// watches reports whether the file has a sensor.
func (f *file) watches() bool {
	for _, ch := range f.channels {
		if ch.origin == fromSensor {
			return true
		}
	}
	return false
}

// named returns the channel that a key names, or nil.
func (t *table) named(key string) *channel {
	name := t.text(key, "")
	ch, known := t.f.channels[name]
	if name != "" && !known {
		var names []string
		for _, other := range t.f.order() {
			names = append(names, other.Name)
		}
		t.fail(key, "%q: no such channel%s%s", name, didYouMean(name, names), allowed(names))
	}
	return ch
}

// allowed lists names that would be right, if there are any.
func allowed(names []string) string {
	if len(names) == 0 {
		return " (there is none)"
	}
	return fmt.Sprintf(" (allowed: %s)", strings.Join(names, ", "))
}

// volts returns a voltage within lo..hi, or def.
func (t *table) volts(key string, def, lo, hi float64) (v float64, given bool) {
	v, ok := t.measure(key, voltage.parse, voltage)
	if !ok {
		return def, false
	}
	if !(v >= lo && v <= hi) {
		t.fail(key, "%s: out of range (allowed: %v V to %v V)", written(t.values[key]), lo, hi)
		return def, false
	}
	return v, true
}

// infinite is the end of a range that has none.
var infinite = math.Inf(1)
