package report

import (
	"fmt"

	"charwarden/cmd/internal/runlog"
)

// rows takes the rows of some channels of the run.
type rows struct {
	run    *run
	tracks []*track
	input  bool
	step   int64 // ms between two rows
	at     int64 // of the last one, or where they begin
}

func (s *rows) add(row *runlog.Row) error {
	if len(row.Cells) != len(s.tracks) {
		return fmt.Errorf("%s: row at %d ms: %d cells for %d channels", s.run.name(), row.Ms, len(row.Cells), len(s.tracks))
	}
	s.hole(row.Ms)
	s.at = row.Ms
	for i := range row.Cells {
		s.tracks[i].add(row.Ms, &row.Cells[i])
	}
	return nil
}

// hole notes that rows are missing before ms, if they are.
func (s *rows) hole(ms int64) {
	if ms-s.at <= live+s.step {
		return
	}
	for _, t := range s.tracks {
		t.lost()
	}
	if s.input {
		s.run.holes = append(s.run.holes, stretch{s.at, ms, "no record"})
	}
}

// close ends what still goes on after the last row.
func (r *run) close(ticks, seconds *rows) {
	ticks.hole(r.end)
	seconds.hole(r.end)
	for _, t := range r.tracks {
		if t.ill {
			t.spells[len(t.spells)-1].to = r.end
		}
	}
	r.episodes = r.occurrences()
}
