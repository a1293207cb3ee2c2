package runlog

import (
	"fmt"
	"slices"

	"github.com/ncruces/go-sqlite3"
)

// insert stores one record.
func insert(conn *sqlite3.Conn, r Record) error {
	switch r := r.(type) {
	case Transition:
		return execute(conn, "INSERT INTO transitions VALUES (NULL, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
			r.Ms, r.Alarm, r.Channel, r.Priority, r.From, r.To, r.Value, r.Limit, r.Unit,
			r.Seq, r.Order, r.Test, r.Restored, r.FirstOut)
	case Command:
		return execute(conn, "INSERT INTO commands VALUES (NULL, ?, ?, ?, ?, ?)", r.Ms, r.Person, r.Verb, r.Body, r.Err)
	case Note:
		return execute(conn, "INSERT INTO notes VALUES (NULL, ?, ?, ?, ?, ?, ?)", r.Ms, r.Person, r.Kind, r.Text, r.Value, r.Unit)
	case PhaseChange:
		return execute(conn, "INSERT INTO phases VALUES (NULL, ?, ?, ?)", r.Ms, r.Phase, r.Forced)
	case Gap:
		return execute(conn, "INSERT INTO gaps VALUES (NULL, ?, ?, ?)", r.Ms, r.What, r.N)
	case Anchor:
		return execute(conn, "INSERT INTO anchors VALUES (NULL, ?, ?, ?)", r.Ms, r.Wall.UnixMilli(), r.Quality)
	case Band:
		return execute(conn, "INSERT INTO bands VALUES (NULL, ?, ?, ?, ?)", r.Ms, r.Channel, r.HalfWidth, r.AtLeast)
	case Snapshot:
		return execute(conn, "INSERT INTO snapshots VALUES (NULL, ?, ?, ?)", r.Ms, r.What, r.Text)
	case RunMark:
		if r.Ends {
			return execute(conn, "UPDATE runs SET to_ms = ?, end = ? WHERE to_ms IS NULL", r.Ms, r.By)
		}
		return execute(conn, "INSERT INTO runs VALUES (1, ?, NULL, ?, NULL)", r.Ms, r.By)
	}
	return fmt.Errorf("run log: record %T: no table for it", r)
}

// follow keeps in Records what is in force after r, so that a fresh file that
// begins with them stands on its own: the newest Band of each channel, phase and
// Snapshot of each kind, the newest of the best Anchors, and the begin of a run
// that lasts.
func (h *Head) follow(r Record) {
	mark, isMark := r.(RunMark)
	at := slices.IndexFunc(h.Records, func(old Record) bool { return replaces(r, old) })
	switch r := r.(type) {
	case Transition, Command, Note, Gap:
		return
	case Anchor:
		if at >= 0 && h.Records[at].(Anchor).Quality > r.Quality {
			return
		}
	}
	switch {
	case isMark && mark.Ends && at >= 0:
		h.Records = slices.Delete(h.Records, at, at+1)
	case isMark && mark.Ends:
	case at >= 0:
		h.Records[at] = r
	default:
		h.Records = append(h.Records, r)
	}
}

// replaces says whether r takes the place of old in what is in force.
func replaces(r, old Record) bool {
	switch r := r.(type) {
	case Band:
		o, ok := old.(Band)
		return ok && o.Channel == r.Channel
	case PhaseChange:
		_, ok := old.(PhaseChange)
		return ok
	case Anchor:
		_, ok := old.(Anchor)
		return ok
	case Snapshot:
		o, ok := old.(Snapshot)
		return ok && o.What == r.What
	case RunMark:
		_, ok := old.(RunMark)
		return ok
	}
	return false
}

// execute runs one statement. A nil pointer is NULL.
func execute(conn *sqlite3.Conn, sql string, values ...any) (err error) {
	s, _, err := conn.Prepare(sql)
	if err != nil {
		return err
	}
	defer func() {
		if cause := s.Close(); err == nil {
			err = cause
		}
	}()
	for i, v := range values {
		if err := bind(s, i+1, v); err != nil {
			return err
		}
	}
	return s.Exec()
}

func bind(s *sqlite3.Stmt, at int, v any) error {
	switch v := v.(type) {
	case string:
		return s.BindText(at, v)
	case int64:
		return s.BindInt64(at, v)
	case int:
		return s.BindInt(at, v)
	case uint64:
		return s.BindInt64(at, int64(v))
	case Quality:
		return s.BindInt(at, int(v))
	case bool:
		return s.BindBool(at, v)
	case float64:
		return s.BindFloat(at, v)
	case *float64:
		if v == nil {
			return s.BindNull(at)
		}
		return s.BindFloat(at, *v)
	}
	return fmt.Errorf("run log: %T: cannot be stored", v)
}
