package runlog

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"sort"
	"time"
)

// ExportOpts say what of the files is exported and how. The zero value is all
// of their runs.
type ExportOpts struct {
	From, To   time.Time     // wall time, both included; zero: from the beginning, to the end
	Begin, End time.Duration // since each run's beginning, both included; End 0: to its end
	Whole      bool          // all of each file, not only its run; a file without a run is always whole
	Channels   []string      // empty: all
	Every      time.Duration // at most one reading a channel in so much time: the newest of it, good or not; 0: each

	Long     bool   // CSV: a line a reading, as charwarden replay --readings takes it
	RunLabel bool   // OpenMetrics: every series gets the label run, with the number of its file
	Rig      string // OpenMetrics: every series gets the label rig; "" for none

	// Progress is told of how much is done, in milliseconds of the log; nil: nobody
	// asks.
	Progress func(done, total int64)
}

// Counts are what was written.
type Counts struct {
	Rows    int64         // lines of CSV but for the header; rows of ticks and seconds in SQLite
	Samples int64         // values in CSV and SQLite, samples in OpenMetrics
	Series  []SeriesCount // OpenMetrics: every series, sorted
	Quality Quality       // of the worst clock among the files; meaningless without a file
}

// SeriesCount is one series of OpenMetrics.
type SeriesCount struct {
	Name    string // with its labels
	Samples int64
}

// errNothing is an export of nothing, which would look like an empty log.
var errNothing = errors.New("nothing in this time: charwarden runs shows what there is")

// part is what is exported of one file.
type part struct {
	file             *File
	clock            Clock
	begin            int64 // ms, from which seconds count
	from, to         int64 // ms, both included
	inputs, reckoned []Channel
}

// plan is what is exported of the files, in the order of their wall time.
func (o *ExportOpts) plan(files []*File) (parts []part, err error) {
	found := map[string]bool{}
	for _, f := range files {
		p := part{file: f, clock: f.Clock()}
		p.begin, p.to = f.meta.span(o.Whole)
		p.from = p.begin + o.Begin.Milliseconds()
		if o.End > 0 {
			p.to = min(p.to, p.begin+o.End.Milliseconds())
		}
		if !o.From.IsZero() {
			p.from = max(p.from, p.clock.notBefore(o.From, f.meta.Ms, f.meta.LastMs+1))
		}
		if !o.To.IsZero() {
			p.to = min(p.to, p.clock.notBefore(o.To.Add(1), f.meta.Ms, f.meta.LastMs+1)-1)
		}
		p.inputs, p.reckoned = o.chosen(f.inputs, found), o.chosen(f.reckoned, found)
		if p.from <= p.to {
			parts = append(parts, p)
		}
	}
	for _, name := range o.Channels {
		if !found[name] {
			return nil, fmt.Errorf("channel %q: none of the files has it", name)
		}
	}
	if len(parts) == 0 {
		return nil, errNothing
	}
	slices.SortStableFunc(parts, func(a, b part) int { return a.wall(a.from).Compare(b.wall(b.from)) })
	return parts, nil
}

func (p *part) wall(ms int64) time.Time { return p.clock.Wall(ms) }

// chosen are those of the channels that are asked for.
func (o *ExportOpts) chosen(channels []Channel, found map[string]bool) (all []Channel) {
	for _, c := range channels {
		if len(o.Channels) == 0 || slices.Contains(o.Channels, c.Name) {
			found[c.Name] = true
			all = append(all, c)
		}
	}
	return all
}

// notBefore is the first moment from lo on, and before hi, that is not before
// the wall time; hi if there is none.
func (c Clock) notBefore(wall time.Time, lo, hi int64) int64 {
	return lo + int64(sort.Search(int(max(hi-lo, 0)), func(i int) bool { return !c.Wall(lo + int64(i)).Before(wall) }))
}

// worst quality of the parts' clocks.
func worst(parts []part) Quality {
	return slices.MinFunc(parts, func(a, b part) int { return cmp.Compare(a.clock.Quality(), b.clock.Quality()) }).clock.Quality()
}

// progress of parts.
type progress struct {
	done, total int64
	tell        func(done, total int64)
}

func newProgress(parts []part, o *ExportOpts) *progress {
	p := &progress{tell: o.Progress}
	for _, part := range parts {
		p.total += part.to - part.from + 1
	}
	if p.tell == nil {
		p.tell = func(int64, int64) {}
	}
	return p
}

// at says that the part has been done up to a moment.
func (p *progress) at(part *part, ms int64) { p.tell(p.done+ms-part.from+1, p.total) }

// ended says that the whole part has been done.
func (p *progress) ended(part *part) {
	p.done += part.to - part.from + 1
	p.tell(p.done, p.total)
}
