package main

import (
	"context"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/siren"
	"charwarden/sensors"
	"charwarden/sensors/derive/exposure"
)

// saved is what must outlive the process. Anything that JSON carries may be
// added; a NaN it does not carry, and with one in it nothing is stored.
type saved struct {
	Zeros  map[string]sensors.Zero  `json:"zeros"`
	Alarms []alarms.Kept            `json:"alarms"`
	Doses  map[string]exposure.Kept `json:"doses"`
	Cared  map[string]cared         `json:"cared"`
	Permit siren.Kept               `json:"permit"`

	Process processKept `json:"process"`
}

// stateFile stores the newest saved in a journal, in a goroutine of its own: a
// disk that is full, read-only or hangs costs its caller next to nothing.
type stateFile struct {
	log      *slog.Logger
	patience time.Duration // a disk that takes longer hangs
	born     time.Time

	next    chan entry            // one place: the newest waits, an older one is replaced
	handled atomic.Uint64         // the newest entry that was tried
	fault   atomic.Pointer[error] // no pointer, or nil in it: none
	since   atomic.Int64          // when the disk was given what it has not done yet, from born; 0: nothing

	// Of the caller of put and store.
	asked uint64 // entries so far
	late  bool   // store ran out of time
	slow  pace

	// Of Run.
	journal  journal
	failures int  // since the last success
	told     bool // the fault was logged
	failing  pace
}

// entry is a saved on its way.
type entry struct {
	n       uint64
	line    []byte
	err     error     // why there is no line
	written chan bool // takes one
}

func newStateFile(dir string, log *slog.Logger) *stateFile {
	return &stateFile{log: log, patience: 10 * time.Second, born: time.Now(), next: make(chan entry, 1), journal: newJournal(dir)}
}

// load returns what was stored; it comes before Run.
func (f *stateFile) load() saved { return f.journal.load(f.log) }

// put hands s over to be stored. It never waits, and keeps nothing of s. put and
// store are for one goroutine, the loop.
func (f *stateFile) put(s saved) { f.hand(s) }

func (f *stateFile) hand(s saved) (written <-chan bool) {
	f.asked++
	e := entry{n: f.asked, written: make(chan bool, 1)}
	e.line, e.err = encodeLine(s)
	for {
		select {
		case f.next <- e:
			return e.written
		default:
		}
		select {
		case <-f.next:
		default:
		}
	}
}

// store is put, and then waits in real time until s outlives the process, for
// limit at most. Once that was too short it does not wait again before the disk
// has caught up.
func (f *stateFile) store(s saved, limit time.Duration) bool {
	behind := f.late && f.handled.Load() != f.asked
	written := f.hand(s)
	if behind {
		return false
	}
	t := time.NewTimer(limit)
	defer t.Stop()
	select {
	case ok := <-written:
		f.late = false
		return ok
	case <-t.C:
		f.late = true
		if f.slow.due() {
			f.log.Warn("the disk is slow: going on before the state is stored", "file", f.journal.path, "waited", limit)
		}
		return false
	}
}

// Fault is why the newest state would not outlive a power cut; nil while it
// does, or soon will. Any goroutine may ask.
func (f *stateFile) Fault() error {
	if p := f.fault.Load(); p != nil && *p != nil {
		return *p
	}
	return f.hung()
}

func (f *stateFile) hung() error {
	since := time.Duration(f.since.Load())
	if took := time.Since(f.born) - since; since != 0 && took > f.patience {
		return fmt.Errorf("state: %s: the disk has not answered for %v", f.journal.path, took.Round(time.Second))
	}
	return nil
}

// Run stores what put hands over until ctx ends, then what still waits. A disk
// that hangs holds it.
func (f *stateFile) Run(ctx context.Context) error {
	synced := make(chan error, 1)
	syncing := false
	for {
		if f.journal.unsynced && !syncing {
			f.since.Store(int64(time.Since(f.born)))
			sync := f.journal.begin()
			syncing = true
			go func() { synced <- sync() }()
		} else if !syncing {
			f.since.Store(0)
		}
		select {
		case e := <-f.next:
			f.append(e)
		case err := <-synced:
			syncing = false
			f.finish(err)
		case <-ctx.Done():
			select {
			case e := <-f.next:
				f.append(e)
			default:
			}
			if syncing {
				f.finish(<-synced)
			}
			for f.journal.unsynced {
				f.finish(f.journal.begin()())
			}
			return nil
		}
	}
}

func (f *stateFile) append(e entry) {
	f.since.CompareAndSwap(0, int64(time.Since(f.born)))
	err := e.err
	if err == nil {
		err = f.journal.append(e.line)
	}
	f.handled.Store(e.n)
	e.written <- err == nil
	if err != nil {
		f.say(fmt.Errorf("state: %w", err))
	} else if err := f.hung(); err != nil {
		f.say(err)
	}
}

func (f *stateFile) finish(err error) {
	stored, err := f.journal.finish(err)
	if err != nil {
		f.say(fmt.Errorf("state: %w", err))
	} else if stored {
		f.say(nil)
	}
}

// say keeps the fault, nil for its end, and logs both; a fault once a minute at
// most.
func (f *stateFile) say(err error) {
	f.fault.Store(&err)
	if err != nil {
		f.failures++
		if f.failing.due() {
			f.told = true
			f.log.Error("state not stored: a restart or power cut would forget what changed since", "err", err, "failures", f.failures)
		}
		return
	}
	if f.told {
		f.log.Info("state is stored again", "file", f.journal.path, "failures", f.failures)
	}
	f.told, f.failures = false, 0
}

// pace lets one line a minute through.
type pace struct{ last time.Time }

func (p *pace) due() bool {
	now := time.Now()
	if !p.last.IsZero() && now.Sub(p.last) < time.Minute {
		return false
	}
	p.last = now
	return true
}
