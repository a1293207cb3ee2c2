package runlog

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3"

	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

// pump is the head of a file of the demo's irrigation pump.
func pump() Head {
	in := func(name string, q sensors.Quantity) Channel {
		return Channel{Name: name, Quantity: q, Unit: q.Unit(), Step: StepOf(q), Input: true, Place: "spi0.0"}
	}
	out := func(name string, q sensors.Quantity) Channel {
		return Channel{Name: name, Quantity: q, Unit: q.Unit(), Step: StepOf(q)}
	}
	return Head{
		Rig: "pump", Boot: "b1", Session: "s1", Part: 1, Ms: 1000, Tick: 100 * time.Millisecond, Version: "1.0",
		Channels: []Channel{in("wall_near", sensors.Temperature), in("filter_drop", sensors.Pressure), in("co", sensors.CO),
			out("gas_flow", sensors.GasFlow), out("charcoal_left", sensors.Mass)},
	}
}

// made is a file that a test makes without a writer, by its schema alone.
type made struct {
	tb   testing.TB
	path string
	conn *sqlite3.Conn
}

// make begins file number n of the directory.
func makeFile(tb testing.TB, dir string, n int, h Head) made {
	tb.Helper()
	m := made{tb: tb, path: filepath.Join(dir, fmt.Sprintf("%06d.db", n))}
	var err error
	if m.conn, err = sqlite3.Open(m.path); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { m.conn.Close() })
	m.exec("PRAGMA journal_mode=WAL")
	m.exec(fmt.Sprintf("PRAGMA synchronous=OFF; PRAGMA application_id=%d; PRAGMA user_version=%d", applicationID, schemaVersion))
	m.exec(schema)
	m.exec(tables(h.Channels))
	for k, v := range map[string]any{"rig": h.Rig, "boot": h.Boot, "session": h.Session, "part": h.Part, "ms": h.Ms,
		"tick_ms": h.Tick.Milliseconds(), "version": h.Version, "torn": 0} {
		m.put("INSERT INTO head VALUES (?, ?)", k, v)
	}
	for i, c := range h.Channels {
		m.put("INSERT INTO channels VALUES (?, ?, ?, ?, ?, ?, ?, ?)", i+1, c.Name, names.Quantity(c.Quantity), c.Unit, c.Step, c.Input, c.Place, c.Care)
	}
	return m
}

func (m made) exec(sql string) {
	m.tb.Helper()
	if err := m.conn.Exec(sql); err != nil {
		m.tb.Fatal(err)
	}
}

// put executes a statement with values of type nil, bool, int, int64, float64
// or string.
func (m made) put(sql string, values ...any) {
	m.tb.Helper()
	s, _, err := m.conn.Prepare(sql)
	if err != nil {
		m.tb.Fatal(err)
	}
	defer s.Close()
	for i, v := range values {
		switch v := v.(type) {
		case nil:
			err = s.BindNull(i + 1)
		case bool:
			err = s.BindBool(i+1, v)
		case int:
			err = s.BindInt(i+1, v)
		case int64:
			err = s.BindInt64(i+1, v)
		case float64:
			err = s.BindFloat(i+1, v)
		case string:
			err = s.BindText(i+1, v)
		}
		if err != nil {
			m.tb.Fatal(err)
		}
	}
	if err := s.Exec(); err != nil {
		m.tb.Fatal(err)
	}
}

// tick puts a row of ticks; a cell is nil, a count or a word.
func (m made) tick(ms int64, cells ...any) {
	m.tb.Helper()
	m.row("ticks", ms, cells)
}

// second puts a row of seconds.
func (m made) second(ms int64, cells ...any) {
	m.tb.Helper()
	m.row("seconds", ms, cells)
}

func (m made) row(table string, ms int64, cells []any) {
	m.tb.Helper()
	q := "INSERT INTO " + table + " VALUES (?"
	for range cells {
		q += ", ?"
	}
	m.put(q+")", append([]any{ms}, cells...)...)
}

func (m made) anchor(ms int64, wall time.Time, q Quality) {
	m.tb.Helper()
	m.put("INSERT INTO anchors VALUES (NULL, ?, ?, ?)", ms, wall.UnixMilli(), int(q))
}

func (m made) run(from int64, to any) {
	m.tb.Helper()
	m.put("INSERT INTO runs VALUES (1, ?, ?, 'phase', 'phase')", from, to)
}

func (m made) transition(ms int64, alarm, priority, from, to string) {
	m.tb.Helper()
	m.put("INSERT INTO transitions VALUES (NULL, ?, ?, 'co', ?, ?, ?, 120.5, 100, 'ppm', 1, 1, 0, 0, 1)", ms, alarm, priority, from, to)
}

// done closes the file as a daemon does that ends in order: without companions.
func (m made) done() string {
	m.tb.Helper()
	if err := m.conn.Close(); err != nil {
		m.tb.Fatal(err)
	}
	return m.path
}

// opened opens a file for reading until the test's end.
func opened(tb testing.TB, path string) *File {
	tb.Helper()
	f, err := Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := f.Close(); err != nil {
			tb.Error(err)
		}
	})
	return f
}
