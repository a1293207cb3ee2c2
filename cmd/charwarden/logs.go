package main

import (
	"bytes"
	"io"
	"log/slog"
	"os"
	"sync/atomic"
	"time"
)

// logQueue lets the loop write its log without ever waiting for the reader of
// standard error: 256 lines, then the newest is dropped and counted, because
// the first lines of a flood say what began it.
type logQueue struct {
	lines   chan []byte
	done    chan struct{}
	dropped atomic.Uint64
}

func newLogQueue(w io.Writer) *logQueue {
	q := &logQueue{lines: make(chan []byte, 256), done: make(chan struct{})}
	go q.drain(w)
	return q
}

func (q *logQueue) drain(w io.Writer) {
	defer close(q.done)
	for line := range q.lines {
		w.Write(line)
	}
}

func (q *logQueue) Write(line []byte) (int, error) {
	select {
	case q.lines <- bytes.Clone(line):
	default:
		q.dropped.Add(1)
	}
	return len(line), nil
}

// Close writes what waits, for at most a second. No Write may follow.
func (q *logQueue) Close() error {
	close(q.lines)
	select {
	case <-q.done:
	case <-time.After(time.Second):
	}
	return nil
}

// newLog makes the daemon's log; under systemd the journal stamps the time.
func newLog(w io.Writer) *slog.Logger {
	o := &slog.HandlerOptions{}
	if os.Getenv("JOURNAL_STREAM") != "" {
		o.ReplaceAttr = func(groups []string, a slog.Attr) slog.Attr {
			if len(groups) == 0 && a.Key == slog.TimeKey {
				return slog.Attr{}
			}
			return a
		}
	}
	return slog.New(slog.NewTextHandler(w, o))
}
