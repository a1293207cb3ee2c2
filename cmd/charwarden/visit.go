package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"syscall"
	"time"

	"charwarden/config"
)

// socketPath is where a daemon listens whose file does not say.
const socketPath = "/run/charwarden/charwarden.sock"

// visit is a local command's way to the running daemon.
type visit struct {
	socket string
	cfg    *config.Config // nil where only the socket was named
	client *http.Client
}

func newVisit(socket string, cfg *config.Config) *visit {
	return &visit{socket, cfg, &http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return new(net.Dialer).DialContext(ctx, "unix", socket)
		}}}}
}

// visitFlags are the flags by which a local command finds the daemon.
type visitFlags struct{ file, socket *string }

func addVisitFlags(fs *flag.FlagSet) visitFlags {
	return visitFlags{
		fs.String("c", "", "the daemon's configuration `FILE`, for its socket and units"),
		fs.String("socket", "", "the daemon's socket, `PATH` (default "+socketPath+")"),
	}
}

// visit opens no connection yet.
func (f visitFlags) visit(cmd string) (*visit, error) {
	socket := socketPath
	var cfg *config.Config
	if *f.file != "" {
		var err error
		if cfg, err = loadConfig(cmd, *f.file); err != nil {
			return nil, err
		}
		socket = cfg.Socket
	}
	if *f.socket != "" {
		socket = *f.socket
	}
	return newVisit(socket, cfg), nil
}

// get asks a question; the answer goes into into.
func (v *visit) get(ctx context.Context, path string, into any) error {
	return v.do(ctx, http.MethodGet, path, nil, into)
}

// post gives an order; the answer goes into into unless that is nil.
func (v *visit) post(ctx context.Context, path string, o order, into any) error {
	body, err := json.Marshal(o)
	if err != nil {
		return err
	}
	return v.do(ctx, http.MethodPost, path, body, into)
}

func (v *visit) do(ctx context.Context, method, path string, body []byte, into any) error {
	req, err := http.NewRequestWithContext(ctx, method, "http://charwarden"+path, bytes.NewReader(body))
	if err != nil {
		return err
	}
	resp, err := v.client.Do(req)
	switch {
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ECONNREFUSED):
		return fmt.Errorf("no daemon answers at %s: start it with `charwarden run -c FILE`, or name its socket with -c or --socket", v.socket)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s: not allowed: become a member of the group that owns it", v.socket)
	case err != nil:
		return err
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		text, _ := io.ReadAll(io.LimitReader(resp.Body, 1000))
		return fmt.Errorf("the daemon says: %s", bytes.TrimSpace(text))
	}
	if into == nil {
		return nil
	}
	if err := json.NewDecoder(resp.Body).Decode(into); err != nil {
		return fmt.Errorf("answer of the daemon: %w", err)
	}
	return nil
}

// askRows asks a running daemon for the rows of `check`, after it has played
// its horn and lamps where heard is not nil.
func askRows(ctx context.Context, socket string, heard io.Writer) ([]checkRow, error) {
	v := newVisit(socket, nil)
	if heard != nil {
		if err := v.post(ctx, "/sound", bare{}, nil); err != nil {
			return nil, err
		}
		listen(ctx, systemClock{}, heard)
	}
	var rows []checkRow
	err := v.get(ctx, "/check", &rows)
	return rows, err
}
