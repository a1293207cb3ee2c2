package runlog

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"
)

// Opts is what a Writer needs.
type Opts struct {
	Dir  string // of the files; made if its parent is there
	Log  *slog.Logger
	Keep Keep
	Now  func() time.Time // for the ages of files, and for nothing else
}

// Keep says how long files are kept. A zero field sets no limit, except Runs.
type Keep struct {
	Age   time.Duration // since a file was last written
	Bytes int64         // of all files with their companions
	Runs  int           // the newest so many runs are never removed
}

// Ticket is the place of a record in the log, for Wait. The zero Ticket is that
// of a record which was dropped: the queue was full, or no file begun yet.
type Ticket uint64

// Stats tells how the Writer does.
type Stats struct {
	Queued         int    // bytes of rows that wait, of at most QueueBytes
	Dropped        uint64 // rows that found the queue full, or no file begun
	DroppedRecords uint64 // records that did
	Number         int    // of the open file; 0: none is
	Bytes          int64  // of it and its companions, at the last commit
	DurableMs      int64  // ms since boot of the newest row that outlives a power cut; 0: none does
	Commits        uint64
	Faults         uint64 // attempts to write that went wrong
}

// Writer writes the log. Begin, Tick, Second and Put belong to the loop: they
// copy, never wait for a disk and, once warm, allocate nothing for a row. Run
// is the one that writes.
type Writer struct {
	o Opts
	d disk

	mu      sync.Mutex // held for microseconds, never while a disk is asked for something
	q       queue
	begun   bool
	given   Ticket        // of the newest record taken in
	durable Ticket        // of the newest that outlives a power cut
	fault   error         // of the last attempt, or of one that does not come to an end; nil: it went well
	ended   error         // why Run is over; nil while it is not
	waits   chan struct{} // closed and replaced whenever durable, fault or ended change
	stats   Stats

	wake chan struct{}

	// What follows belongs to Run.
	batch   queue // taken out of q, on its way to the disk
	file    *store
	head    Head // of the file, with what is in force by now
	session string
	shift   int // parts that faults added to the session
	torn    bool
	lost    int64 // rows that went with a file that somebody removed
	number  int   // highest ever used
	tries   int   // in a row that found the file locked by somebody else
	told    string
	seen    map[int]seen
	untidy  bool // a file has begun since the last sweep
}

// New opens nothing and starts nothing.
func New(o Opts) *Writer {
	return &Writer{
		o: o, d: systemDisk, q: newQueue(), batch: newQueue(),
		waits: make(chan struct{}), wake: make(chan struct{}, 1), seen: map[int]seen{},
	}
}

// Begin starts a new file from here on: what came before goes to the file
// before. A head that names a session continues its parts; where a fault made
// the Writer begin one by itself, h.Part is counted on accordingly.
func (w *Writer) Begin(h Head) {
	h.Channels, h.Records = slices.Clone(h.Channels), slices.Clone(h.Records)
	w.mu.Lock()
	defer w.mu.Unlock()
	w.begun = true
	w.q.begin(&h)
	w.poke(true)
}

// Tick takes one row of inputs at ms since boot.
func (w *Writer) Tick(ms int64, inputs []Cell) { w.row(entryTick, ms, inputs) }

// Second takes one row of reckoned channels at ms since boot.
func (w *Writer) Second(ms int64, reckoned []Cell) { w.row(entrySecond, ms, reckoned) }

func (w *Writer) row(kind byte, ms int64, cells []Cell) {
	w.mu.Lock()
	defer w.mu.Unlock()
	first := w.q.empty()
	if !w.begun || !w.q.row(kind, ms, cells) {
		w.stats.Dropped++
		return
	}
	w.given += w.q.noted()
	if first || ms-w.q.from >= commitSpan.Milliseconds() {
		w.poke(ms-w.q.from >= commitSpan.Milliseconds())
	}
}

// Put takes a record. It is committed at once, and with it the rows before it;
// a Band, a Gap or an Anchor, which are worth no more than the rows they stand
// by, go with the next commit.
func (w *Writer) Put(r Record) Ticket {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.begun || !w.q.put(r) {
		w.stats.DroppedRecords++
		return 0
	}
	w.given += w.q.noted()
	w.given++
	w.poke(urgent(r))
	return w.given
}

// urgent says whether r forces a commit.
func urgent(r Record) bool {
	switch r.(type) {
	case Band, Gap, Anchor:
		return false
	}
	return true
}

// poke wakes Run: now if the queue is due, else to let it see that something
// waits. The caller holds mu.
func (w *Writer) poke(due bool) {
	w.q.due = w.q.due || due
	select {
	case w.wake <- struct{}{}:
	default: // it is awake, or will be
	}
}

// errDropped is what became of a record with the zero Ticket.
var errDropped = errors.New("run log: record dropped: the queue before the disk is full, or no file has begun")

// Wait returns when the record of t outlives a power cut, or at once with the
// reason while it cannot be made to.
func (w *Writer) Wait(ctx context.Context, t Ticket) error {
	if t == 0 {
		return errDropped
	}
	for {
		w.mu.Lock()
		durable, fault, ended, waits := w.durable, w.fault, w.ended, w.waits
		w.mu.Unlock()
		switch {
		case t <= durable:
			return nil
		case ended != nil:
			return ended
		case fault != nil:
			return fault
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("run log: not yet on the disk: %w", context.Cause(ctx))
		case <-waits:
		}
	}
}

// Fault says why the newest records would not outlive a power cut, in words for
// the person who can do something about it; nil while they do or soon will.
func (w *Writer) Fault() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.fault
}

// Stats of this moment.
func (w *Writer) Stats() Stats {
	w.mu.Lock()
	defer w.mu.Unlock()
	s := w.stats
	s.Queued = len(w.q.stream)
	return s
}
