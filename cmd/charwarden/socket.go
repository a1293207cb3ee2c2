package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/sensors"
)

// desk is where local commands ask the running daemon, over HTTP on a Unix
// socket. `check` is answered from its own copy of the last frame; everything
// else by the loop, through requests.
type desk struct {
	path     string
	rig      *rig
	signals  *signals
	requests chan<- request
	book     *logbook // nil: no run log
	log      *slog.Logger

	mu       sync.Mutex
	readings []sensors.Reading
	floods   flood
}

// update is the desk's output.
func (d *desk) update(f *frame) {
	d.mu.Lock()
	d.readings = append(d.readings[:0], f.readings...)
	d.mu.Unlock()
}

func (d *desk) rows() []checkRow {
	d.mu.Lock()
	readings := slices.Clone(d.readings)
	d.mu.Unlock()
	if readings == nil {
		return nil
	}
	return append(rowsOf(d.rig, readings), d.signals.rows()...)
}

// askLimit is how long a person waits for the loop: 20 of its usual ticks.
const askLimit = 2 * time.Second

var (
	errTooMany  = errors.New("too many at once: ask again in a second")
	errNoAnswer = fmt.Errorf("the loop did not answer within %v; nothing was done", askLimit)
)

// ask has the loop carry out do and returns its error. What the loop has not
// begun when the person goes away, or after askLimit, it never does.
func (d *desk) ask(ctx context.Context, do func(now time.Time, c *core) error) error {
	var taken atomic.Bool // by the loop, or by the person who gave up
	done := make(chan error, 1)
	select {
	case d.requests <- func(now time.Time, c *core) {
		if taken.CompareAndSwap(false, true) {
			done <- do(now, c)
		}
	}:
	default:
		return errTooMany
	}
	ctx, cancel := context.WithTimeoutCause(ctx, askLimit, errNoAnswer)
	defer cancel()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		if taken.CompareAndSwap(false, true) {
			return context.Cause(ctx)
		}
		return <-done // the loop is at it
	}
}

// stored waits until what the loop has carried out would outlive a power cut,
// and says why it would not.
func (d *desk) stored(ctx context.Context) error {
	if d.book == nil {
		return errNoLog
	}
	ctx, cancel := context.WithTimeout(ctx, askLimit)
	defer cancel()
	var t runlog.Ticket
	// The next tick: the one that carried it out has told the run log by then.
	if err := d.ask(ctx, func(time.Time, *core) error { t = d.book.ticket; return nil }); err != nil {
		return err
	}
	return d.book.w.Wait(ctx, t)
}

var errNoLog = errors.New("the run log is switched off ([runlog] dir)")

// Run answers until ctx ends. A socket that cannot be had is said and costs
// only the local commands.
func (d *desk) Run(ctx context.Context) error {
	l, err := d.listen()
	if err != nil {
		d.log.Error("local commands will not reach this daemon", "socket", d.path, "err", err)
		return nil
	}
	srv := &http.Server{Handler: d.routes(), ReadHeaderTimeout: 2 * time.Second, ReadTimeout: 5 * time.Second,
		WriteTimeout: 5 * time.Second, IdleTimeout: 10 * time.Second, MaxHeaderBytes: 8 << 10,
		ConnContext: withPeer, ErrorLog: slog.NewLogLogger(d.log.Handler(), slog.LevelWarn)}
	stop := context.AfterFunc(ctx, func() { srv.Close() })
	defer stop()
	if err := srv.Serve(newPlaces(l)); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("socket: %w", err)
	}
	return nil
}

// listen takes the socket over from a daemon that died: the board's lock, held
// by now, says that no other is alive.
func (d *desk) listen() (*net.UnixListener, error) {
	if err := os.Remove(d.path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(d.path), 0o750); err != nil {
		return nil, err
	}
	l, err := net.Listen("unix", d.path)
	if err != nil {
		return nil, err
	}
	if err := os.Chmod(d.path, 0o660); err != nil {
		l.Close()
		return nil, err
	}
	return l.(*net.UnixListener), nil
}
