package runlog

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"github.com/ncruces/go-sqlite3"
)

// records are the rows of a table by time, and those of one time in the order
// in which they were written.
func records[R Record](f *File, table, columns string, read func(s *sqlite3.Stmt) R) (all []R, err error) {
	// The numbers rise in a sound file; in a damaged one it might go on for ever.
	last := int64(0)
	err = f.query("SELECT id, "+columns+" FROM "+table+" ORDER BY id", func(s *sqlite3.Stmt) error {
		id := s.ColumnInt64(0)
		if id <= last {
			return fmt.Errorf("row %d after row %d: %w", id, last, sqlite3.CORRUPT)
		}
		last = id
		all = append(all, read(s))
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("%s: %s: %w", f.path, table, explain(err))
	}
	slices.SortStableFunc(all, func(a, b R) int { return cmp.Compare(a.when(), b.when()) })
	return all, nil
}

// optional is a number that may be missing.
func optional(s *sqlite3.Stmt, col int) *float64 {
	if s.ColumnType(col) == sqlite3.NULL {
		return nil
	}
	v := s.ColumnFloat(col)
	return &v
}

// Transitions by time.
func (f *File) Transitions() ([]Transition, error) {
	return records(f, "transitions", "ms, alarm, channel, priority, from_state, to_state, value, limit_value, unit, seq, occurrence, test, restored, first_out",
		func(s *sqlite3.Stmt) Transition {
			return Transition{Ms: s.ColumnInt64(1), Alarm: s.ColumnText(2), Channel: s.ColumnText(3), Priority: s.ColumnText(4),
				From: s.ColumnText(5), To: s.ColumnText(6), Value: optional(s, 7), Limit: optional(s, 8), Unit: s.ColumnText(9),
				Seq: uint64(s.ColumnInt64(10)), Order: uint64(s.ColumnInt64(11)),
				Test: s.ColumnBool(12), Restored: s.ColumnBool(13), FirstOut: s.ColumnBool(14)}
		})
}

// Commands by time.
func (f *File) Commands() ([]Command, error) {
	return records(f, "commands", "ms, person, verb, body, err", func(s *sqlite3.Stmt) Command {
		return Command{Ms: s.ColumnInt64(1), Person: s.ColumnText(2), Verb: s.ColumnText(3), Body: s.ColumnText(4), Err: s.ColumnText(5)}
	})
}

// Notes by time.
func (f *File) Notes() ([]Note, error) {
	return records(f, "notes", "ms, person, kind, text, value, unit", func(s *sqlite3.Stmt) Note {
		return Note{Ms: s.ColumnInt64(1), Person: s.ColumnText(2), Kind: s.ColumnText(3), Text: s.ColumnText(4), Value: optional(s, 5), Unit: s.ColumnText(6)}
	})
}

// Phases by time.
func (f *File) Phases() ([]PhaseChange, error) {
	return records(f, "phases", "ms, phase, forced", func(s *sqlite3.Stmt) PhaseChange {
		return PhaseChange{Ms: s.ColumnInt64(1), Phase: s.ColumnText(2), Forced: s.ColumnBool(3)}
	})
}

// Gaps by time.
func (f *File) Gaps() ([]Gap, error) {
	return records(f, "gaps", "ms, what, n", func(s *sqlite3.Stmt) Gap {
		return Gap{Ms: s.ColumnInt64(1), What: s.ColumnText(2), N: s.ColumnInt64(3)}
	})
}

// Anchors of the file itself by time; Clock knows those of its neighbours too.
func (f *File) Anchors() ([]Anchor, error) {
	return records(f, "anchors", "ms, wall_ms, quality", func(s *sqlite3.Stmt) Anchor {
		return Anchor{Ms: s.ColumnInt64(1), Wall: time.UnixMilli(s.ColumnInt64(2)).UTC(), Quality: Quality(min(max(s.ColumnInt64(3), 0), int64(Synced)))}
	})
}

// Bands by time.
func (f *File) Bands() ([]Band, error) {
	return records(f, "bands", "ms, channel, half_width, at_least", func(s *sqlite3.Stmt) Band {
		return Band{Ms: s.ColumnInt64(1), Channel: s.ColumnText(2), HalfWidth: s.ColumnFloat(3), AtLeast: s.ColumnBool(4)}
	})
}

// Snapshots by time.
func (f *File) Snapshots() ([]Snapshot, error) {
	return records(f, "snapshots", "ms, what, text", func(s *sqlite3.Stmt) Snapshot {
		return Snapshot{Ms: s.ColumnInt64(1), What: s.ColumnText(2), Text: s.ColumnText(3)}
	})
}
