package runlog

import (
	"fmt"
	"math"
	"strings"

	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

// A file is SQLite; application_id says that it is ours, user_version which
// schema it has. Bad readings are words, good ones whole counts: what is no
// value is never a number.
const (
	applicationID = 0x63776c67 // "cwlg"
	schemaVersion = 1
)

// schema are the tables but for ticks and seconds, whose columns are the
// channels.
const schema = `
CREATE TABLE head (key TEXT PRIMARY KEY, value) WITHOUT ROWID; -- rig, boot, session, part, ms, tick_ms, version, torn
CREATE TABLE channels (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE,
  metric TEXT NOT NULL,        -- its family at the metrics page: says what is measured
  unit TEXT NOT NULL, step REAL NOT NULL, -- value = count * step, in unit
  input INTEGER NOT NULL,      -- 1: a column of ticks, 0: of seconds
  place TEXT NOT NULL, care TEXT NOT NULL);
CREATE TABLE transitions (
  id INTEGER PRIMARY KEY, ms INTEGER NOT NULL, alarm TEXT NOT NULL, channel TEXT NOT NULL, priority TEXT NOT NULL,
  from_state TEXT NOT NULL, to_state TEXT NOT NULL, value REAL, limit_value REAL, unit TEXT,
  seq INTEGER NOT NULL, occurrence INTEGER NOT NULL, test INTEGER NOT NULL, restored INTEGER NOT NULL, first_out INTEGER NOT NULL);
CREATE TABLE commands (id INTEGER PRIMARY KEY, ms INTEGER NOT NULL, person TEXT NOT NULL, verb TEXT NOT NULL, body TEXT NOT NULL, err TEXT NOT NULL);
CREATE TABLE notes (id INTEGER PRIMARY KEY, ms INTEGER NOT NULL, person TEXT NOT NULL, kind TEXT NOT NULL, text TEXT NOT NULL, value REAL, unit TEXT);
CREATE TABLE phases (id INTEGER PRIMARY KEY, ms INTEGER NOT NULL, phase TEXT NOT NULL, forced INTEGER NOT NULL);
CREATE TABLE gaps (id INTEGER PRIMARY KEY, ms INTEGER NOT NULL, what TEXT NOT NULL, n INTEGER NOT NULL);
CREATE TABLE anchors (id INTEGER PRIMARY KEY, ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL, quality INTEGER NOT NULL); -- wall_ms: Unix time
CREATE TABLE bands (id INTEGER PRIMARY KEY, ms INTEGER NOT NULL, channel TEXT NOT NULL, half_width REAL NOT NULL, at_least INTEGER NOT NULL);
CREATE TABLE snapshots (id INTEGER PRIMARY KEY, ms INTEGER NOT NULL, what TEXT NOT NULL, text TEXT NOT NULL);
CREATE TABLE runs (id INTEGER PRIMARY KEY CHECK (id = 1), from_ms INTEGER NOT NULL, to_ms INTEGER, by TEXT NOT NULL, end TEXT);
`

// founding are the statements that make an empty database one of our files, up to
// an open transaction for what it begins with. Nothing of it is synced: the file
// has no name yet that anybody would open.
func founding(pageSize int, channels []Channel) string {
	return fmt.Sprintf(`
PRAGMA page_size = %d;
PRAGMA journal_mode = OFF;
PRAGMA synchronous = OFF;
PRAGMA application_id = %d;
PRAGMA user_version = %d;
BEGIN;
`, pageSize, applicationID, schemaVersion) + schema + tables(channels)
}

// tables are ticks and seconds with a view of each, whose values are numbers in
// the channel's unit, NULL where nothing good came.
func tables(channels []Channel) string {
	var b strings.Builder
	for _, t := range []struct {
		name, view string
		input      bool
	}{{"ticks", "tick_values", true}, {"seconds", "second_values", false}} {
		var cols, values strings.Builder
		for _, c := range channels {
			if c.Input != t.input {
				continue
			}
			fmt.Fprintf(&cols, ", %s", quoted(c.Name))
			fmt.Fprintf(&values, ", CASE typeof(%s) WHEN 'integer' THEN %s * %g END AS %[1]s", quoted(c.Name), quoted(c.Name), c.Step)
		}
		fmt.Fprintf(&b, "CREATE TABLE %s (ms INTEGER PRIMARY KEY%s);\n", t.name, cols.String())
		fmt.Fprintf(&b, "CREATE VIEW %s AS SELECT ms%s FROM %s;\n", t.view, values.String(), t.name)
	}
	return b.String()
}

func quoted(name string) string { return `"` + strings.ReplaceAll(name, `"`, `""`) + `"` }

// StepOf is the grain in which values of a quantity are stored, and used from
// then on: a power of two well below what any sensor of the rig resolves, so
// that counts times step is exact.
func StepOf(q sensors.Quantity) float64 {
	switch q {
	case sensors.Temperature, sensors.CO, sensors.Difference, sensors.Mean, sensors.Loading:
		return 1. / 16
	case sensors.Pressure, sensors.Speed, sensors.Power:
		return 1. / 8
	case sensors.Age:
		return 1. / 64
	}
	return 1. / 1024
}

// CountOf is v in steps, to the nearest. It is false for what no count can
// hold.
func (c *Channel) CountOf(v float64) (int64, bool) {
	n := math.RoundToEven(v / c.Step)
	if !(math.Abs(n) < 1<<53) {
		return 0, false
	}
	return int64(n), true
}

// Value of a count.
func (c *Channel) Value(count int64) float64 { return float64(count) * c.Step }

// quantityOf is the inverse of names.Quantity.
func quantityOf(metric string) (sensors.Quantity, bool) {
	for q := sensors.Quantity(0); q < sensors.Quantities; q++ {
		if names.Quantity(q) == metric {
			return q, true
		}
	}
	return 0, false
}
