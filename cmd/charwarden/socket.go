package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"charwarden/sensors"
)

// desk is where local commands ask the running daemon, over HTTP on a Unix
// socket: GET /check answers the rows of `check`. It answers from its own copy
// of the last frame.
type desk struct {
	path     string
	rig      *rig
	requests chan<- request
	log      *slog.Logger

	mu       sync.Mutex
	readings []sensors.Reading
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
	return rowsOf(d.rig, readings)
}

// Run answers until ctx ends. A socket that cannot be had is said and costs
// only the local commands.
func (d *desk) Run(ctx context.Context) error {
	l, err := d.listen()
	if err != nil {
		d.log.Error("local commands will not reach this daemon", "socket", d.path, "err", err)
		return nil
	}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /check", func(w http.ResponseWriter, _ *http.Request) {
		rows := d.rows()
		if rows == nil {
			http.Error(w, "no tick yet: ask again in a second", http.StatusServiceUnavailable)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(rows)
	})
	srv := &http.Server{Handler: mux, ReadHeaderTimeout: 2 * time.Second, ReadTimeout: 5 * time.Second,
		WriteTimeout: 5 * time.Second, IdleTimeout: 10 * time.Second, MaxHeaderBytes: 8 << 10}
	stop := context.AfterFunc(ctx, func() { srv.Close() })
	defer stop()
	if err := srv.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("socket: %w", err)
	}
	return nil
}

// listen takes the socket over from a daemon that died: the board's lock, held
// by now, says that no other is alive.
func (d *desk) listen() (net.Listener, error) {
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
	return l, nil
}

// askRows asks a running daemon for the rows of `check`.
func askRows(ctx context.Context, socket string) ([]checkRow, error) {
	client := &http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, "unix", socket)
		}}}
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://charwarden/check", nil)
	if err != nil {
		return nil, err
	}
	resp, err := client.Do(req)
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(io.LimitReader(resp.Body, 200))
		return nil, fmt.Errorf("the daemon says: %s", bytes.TrimSpace(text))
	}
	var rows []checkRow
	if err := json.NewDecoder(resp.Body).Decode(&rows); err != nil {
		return nil, fmt.Errorf("answer of the daemon: %w", err)
	}
	return rows, nil
}
