package runlog

import (
	"errors"
	"fmt"
	"time"

	"github.com/ncruces/go-sqlite3"
)

// readHead reads what the file says of itself and checks that it is ours.
func (f *File) readHead() error {
	id, err := f.one("PRAGMA application_id")
	if err != nil {
		return err
	}
	version, err := f.one("PRAGMA user_version")
	if err != nil {
		return err
	}
	switch {
	case id != applicationID:
		return fmt.Errorf("not a file of the run log, or one that was never finished (application_id %d, want %d)", id, applicationID)
	case version > schemaVersion:
		return fmt.Errorf("written by a newer charwarden (schema %d, this one reads up to %d): read it with the version that wrote it, or a later one",
			version, schemaVersion)
	case version < 1:
		return fmt.Errorf("schema %d: never finished: the daemon that began the file was stopped in that moment; nothing is in it", version)
	}
	// A view in place of a table could run for ever.
	tables, err := f.one(`SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name IN ('head', 'channels', 'transitions',
		'commands', 'notes', 'phases', 'gaps', 'anchors', 'bands', 'snapshots', 'runs', 'ticks', 'seconds')`)
	if err != nil {
		return err
	}
	if tables != 13 {
		return fmt.Errorf("%d of 13 tables: damaged: charwarden runs verify saves what can be read", tables)
	}
	return errors.Join(f.readKeys(), f.readChannels(), f.readRun(), f.readLast())
}

// readKeys reads the table head.
func (f *File) readKeys() error {
	m := &f.meta
	seen := 0
	err := f.query("SELECT key, value FROM head LIMIT 100", func(s *sqlite3.Stmt) error {
		seen++
		switch s.ColumnText(0) {
		case "rig":
			m.Rig = s.ColumnText(1)
		case "boot":
			m.Boot = s.ColumnText(1)
		case "session":
			m.Session = s.ColumnText(1)
		case "part":
			m.Part = s.ColumnInt(1)
		case "ms":
			m.Ms = s.ColumnInt64(1)
		case "tick_ms":
			m.Tick = time.Duration(s.ColumnInt64(1)) * time.Millisecond
		case "version":
			m.Version = s.ColumnText(1)
		case "torn":
			m.Torn = s.ColumnBool(1)
		default:
			seen-- // a later version's
		}
		return nil
	})
	if err == nil && seen < 7 { // torn is new where it is true
		err = fmt.Errorf("head: %d of its keys: damaged: charwarden runs verify saves what can be read", seen)
	}
	return err
}

func (f *File) readChannels() error {
	seen := map[string]bool{}
	err := f.query("SELECT name, metric, unit, step, input, place, care FROM channels ORDER BY id", func(s *sqlite3.Stmt) error {
		c := Channel{Name: s.ColumnText(0), Unit: s.ColumnText(2), Step: s.ColumnFloat(3), Input: s.ColumnBool(4),
			Place: s.ColumnText(5), Care: s.ColumnText(6)}
		var ok bool
		if c.Quantity, ok = quantityOf(s.ColumnText(1)); !ok {
			return fmt.Errorf("channel %s: measures %q, which this version does not know: read it with the version that wrote it (%s), or a later one",
				c.Name, s.ColumnText(1), f.meta.Version)
		}
		if !(c.Step > 0 && c.Step <= 1<<20) || c.Name == "" || seen[c.Name] {
			return fmt.Errorf("channel %q: name or step %g: damaged", c.Name, c.Step)
		}
		seen[c.Name] = true
		f.meta.Channels = append(f.meta.Channels, c)
		return nil
	})
	f.inputs, f.reckoned = split(f.meta.Channels)
	return err
}

func (f *File) readRun() error {
	return f.query("SELECT from_ms, to_ms, by, end FROM runs WHERE id = 1", func(s *sqlite3.Stmt) error {
		f.meta.Run = &Run{From: s.ColumnInt64(0), To: s.ColumnInt64(1), By: s.ColumnText(2), End: s.ColumnText(3)}
		return nil
	})
}

func (f *File) readLast() error {
	last, err := f.one("SELECT max(ifnull((SELECT max(ms) FROM ticks), 0), ifnull((SELECT max(ms) FROM seconds), 0))")
	f.meta.LastMs = max(last, f.meta.Ms)
	return err
}
