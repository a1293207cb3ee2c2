package runlog

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"runtime/debug"
	"time"
)

const (
	// commitSpan is how long a row waits at most before its commit begins. What
	// is left of 5 s is for the disk.
	commitSpan = 4200 * time.Millisecond
	gather     = 2 * time.Millisecond // what records of one burst wait for each other
	stalled    = 15 * time.Second     // an attempt that lasts as long: no longer "soon"
	firstPause = time.Second          // after a fault; doubled up to lastPause
	lastPause  = 30 * time.Second
	busyTries  = 8 // with a file that somebody else keeps locked, before a fresh one is begun
	sweepEvery = time.Hour
)

// Run writes until ctx ends, and then what has come by then. Its error says
// what that last attempt could not store.
func (w *Writer) Run(ctx context.Context) error {
	// The index of a file that is being read by others is mapped memory: a disk
	// that can no longer give it back is a fault like others, not an end.
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	span := time.NewTimer(math.MaxInt64)
	defer span.Stop()
	hourly := time.NewTicker(sweepEvery)
	defer hourly.Stop()
	armed := false
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
			continue
		case <-hourly.C:
			w.tidy()
			continue
		case <-w.wake:
			w.mu.Lock()
			due, any := w.q.due, !w.q.empty()
			w.mu.Unlock()
			if !due {
				if any && !armed {
					span.Reset(commitSpan)
					armed = true
				}
				continue
			}
			pause(ctx, gather)
		case <-span.C:
		}
		span.Stop()
		armed = false
		w.drain(ctx)
	}
	return w.end()
}

// pause is false if ctx ended before d had passed.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-t.C:
		return true
	}
}

// drain takes what waits and stores it, however often that takes.
func (w *Writer) drain(ctx context.Context) {
	w.take()
	for wait := firstPause; ; wait = min(2*wait, lastPause) {
		err := w.attempt()
		if err == nil && w.untidy { // not before what waits is durable: it may take a while
			w.tidy()
		}
		if err == nil || !pause(ctx, wait) {
			return
		}
	}
}

// tidy removes what Keep no longer covers.
func (w *Writer) tidy() {
	defer w.watch()()
	w.sweep(0)
}

// take moves what waits on its way to the disk.
func (w *Writer) take() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.batch.empty() {
		return
	}
	w.batch, w.q = w.q, w.batch
	w.q.droppedRows, w.q.droppedRecords = w.batch.droppedRows, w.batch.droppedRecords
	w.batch.droppedRows, w.batch.droppedRecords = 0, 0
}

// attempt is one attempt to store the batch, and what is done at once about a
// fault: room is made on a full disk, and a file that cannot be continued is
// left for a fresh one.
func (w *Writer) attempt() error {
	stop := w.watch()
	err := w.store()
	if err != nil && w.file != nil && w.leaves(err) {
		w.leave(err)
		err = w.store()
	}
	for err != nil && full(err) && w.sweep(1) > 0 {
		err = w.store()
	}
	stop()
	if err != nil {
		err = w.words(err)
		if w.told != err.Error() {
			w.o.Log.Error("run log cannot be written; trying again", "err", err)
			w.told = err.Error()
		}
	} else if w.told != "" {
		w.o.Log.Info("run log is written again", "file", w.number)
		w.told = ""
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.fault = err; err != nil {
		w.stats.Faults++
	}
	w.tell()
	return err
}

// watch makes it a fault that an attempt does not come to an end, until the
// returned function is called.
func (w *Writer) watch() (stop func()) {
	trying := true
	slow := time.AfterFunc(stalled, func() {
		w.mu.Lock()
		defer w.mu.Unlock()
		if trying {
			w.fault = fmt.Errorf("run log: %s: the disk has not answered for %v: if it stays so, replace the card or disk", w.o.Dir, stalled)
			w.tell()
		}
	})
	return func() {
		slow.Stop()
		w.mu.Lock()
		trying = false
		w.mu.Unlock()
	}
}

// tell wakes who waits. The caller holds mu.
func (w *Writer) tell() {
	close(w.waits)
	w.waits = make(chan struct{})
}

// leaves says whether the open file is to be left because of err.
func (w *Writer) leaves(err error) bool {
	switch {
	case full(err): // nothing was written: there may be room later
		return false
	case busy(err):
		w.tries++
		return w.tries >= busyTries
	}
	return true
}

// leave closes the open file as it is. The next one carries on.
func (w *Writer) leave(err error) {
	f := w.file
	w.file, w.tries = nil, 0
	w.o.Log.Warn("run log: file left as it is, a fresh one begins", "file", f.path, "err", err)
	if cause := f.abandon(); cause != nil {
		w.o.Log.Warn("run log: close", "file", f.path, "err", cause)
	}
	if errors.Is(err, errGone) {
		w.lost += f.rows
	}
	if f.commits == 0 { // it holds nothing but its head
		w.torn = f.torn
		if cause := w.d.remove(f.path); cause != nil {
			w.o.Log.Warn("run log: remove", "file", f.path, "err", cause)
		}
		return
	}
	w.torn = true
	w.shift++
	w.head.Part++
}

// store writes the batch into the open file and those that it begins, and notes
// in the batch what is durable.
func (w *Writer) store() (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %v", errPanic, p)
		}
	}()
	b := &w.batch
	if w.file == nil && !b.empty() && b.stream[b.stored] != entryHead {
		if err := w.resume(); err != nil {
			return err
		}
	}
	stream, item, newest := b.stream[b.stored:], b.storedItems, int64(0)
	for len(stream) > 0 {
		e := next(stream)
		switch e.kind {
		case entryHead:
			if err := w.commit(len(b.stream)-len(stream), item, newest); err != nil {
				return err
			}
			if err := w.turn(b.items[item].(*Head)); err != nil {
				return err
			}
			item++
			b.stored, b.storedItems = len(b.stream)-len(e.rest), item
		case entryRecord:
			if err := w.record(b.items[item].(Record)); err != nil {
				return err
			}
			item++
		default:
			if err := w.cells(&e); err != nil {
				return err
			}
			newest = max(newest, e.ms)
		}
		stream = e.rest
	}
	if err := w.commit(len(b.stream), item, newest); err != nil {
		return err
	}
	b.reset()
	if w.file != nil {
		return w.file.checkpoint(walPages)
	}
	return nil
}

// commit makes the batch durable up to a place in its stream and items, and
// tells so.
func (w *Writer) commit(stream, item int, newest int64) error {
	b := &w.batch
	if stream == b.stored {
		return nil
	}
	if err := w.file.commit(); err != nil {
		return err
	}
	w.tries = 0
	records := item - b.storedItems
	for _, r := range b.items[b.storedItems:item] {
		w.head.follow(r.(Record))
	}
	b.stored, b.storedItems = stream, item
	bytes := w.file.size()
	w.mu.Lock()
	defer w.mu.Unlock()
	w.stats.DurableMs = max(w.stats.DurableMs, newest)
	w.stats.Number, w.stats.Bytes = w.file.number, bytes
	w.stats.Commits++
	w.durable += Ticket(records)
	w.tell()
	return nil
}

// turn ends the open file and begins that of h.
func (w *Writer) turn(h *Head) error {
	if f := w.file; f != nil {
		w.file = nil
		if err := f.close(); err != nil {
			w.o.Log.Warn("run log: close", "file", f.path, "err", err)
		}
	}
	if h.Session != w.session {
		w.session, w.shift = h.Session, 0
	}
	w.head, w.torn, w.lost = *h, false, 0
	w.head.Part += w.shift
	return w.create()
}

// resume begins a fresh file that carries on with what is in force. Where the
// commit that failed has reached the disk after all, the file before holds the
// rows from Head.Ms on a second time.
func (w *Writer) resume() error {
	b := &w.batch
	if e := next(b.stream[b.stored:]); e.kind != entryRecord {
		w.head.Ms = e.ms
	} else if r, ok := b.items[b.storedItems].(Record); ok {
		w.head.Ms = r.when()
	}
	return w.create()
}

func (w *Writer) create() error {
	h := w.head
	if w.lost > 0 {
		h.Records = append(h.Records[:len(h.Records):len(h.Records)], Gap{Ms: h.Ms, What: "rows lost with the file before", N: w.lost})
	}
	n, err := highest(w.o.Dir)
	if err != nil {
		return err
	}
	f, err := w.d.create(w.o.Dir, max(n, w.number)+1, &h, w.torn)
	if err != nil {
		return err
	}
	if w.number == 0 {
		w.cutOff(pathOf(w.o.Dir, n))
	}
	f.torn = w.torn
	w.file, w.number, w.lost = f, f.number, 0
	w.o.Log.Info("run log begins a file", "file", f.path, "part", h.Part)
	w.untidy = true
	return nil
}

// cutOff says so if the daemon before this one came to no orderly end: the file
// that it wrote last still has its companion.
func (w *Writer) cutOff(last string) {
	if present(last + "-wal") {
		w.o.Log.Warn("the watch before this one was cut off, by the power or by a kill: up to 5 s of its readings may be missing", "file", last)
	}
}

func (w *Writer) record(r Record) error {
	err := w.file.put(r)
	if unfit(err) {
		w.o.Log.Error("run log: record left out", "record", fmt.Sprintf("%T", r), "err", err)
		return nil
	}
	return err
}

func (w *Writer) cells(e *entry) error {
	err := w.file.row(e)
	if unfit(err) {
		w.o.Log.Error("run log: row left out", "ms", e.ms, "err", err)
		return nil
	}
	return err
}

// end stores what came last and closes the file.
func (w *Writer) end() error {
	err := w.attempt()
	if err == nil {
		w.take()
		err = w.attempt()
	}
	if w.file != nil {
		if cause := w.file.close(); cause != nil {
			err = cmp.Or(err, fmt.Errorf("run log: %s: close: %w", w.file.path, cause))
		}
		w.file = nil
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ended = cmp.Or(err, errEnded)
	w.stats.Number = 0
	w.tell()
	return err
}

var errEnded = errors.New("run log: the writer has ended")

// words are what a person is told of err.
func (w *Writer) words(err error) error {
	where := w.o.Dir
	if w.file != nil {
		where = w.file.path
	}
	return fmt.Errorf("run log: %s: %s: %w", where, advice(explained(w.o.Dir, err)), err)
}
