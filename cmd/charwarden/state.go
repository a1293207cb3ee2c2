package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"

	"charwarden/sensors"
)

// stateFile keeps what must outlive the process: the zeros of the pressure
// channels, with their dates.
type stateFile struct {
	path string
	next chan saved // one place: the newest state waits, older is replaced
	log  *slog.Logger
}

type saved struct {
	Zeros map[string]sensors.Zero `json:"zeros"`
}

func newStateFile(dir string, log *slog.Logger) *stateFile {
	return &stateFile{path: filepath.Join(dir, "state.json"), next: make(chan saved, 1), log: log}
}

// load reads the stored state. A file that is not there is an empty one; one
// that cannot be read is moved aside, so that nothing is lost, and said.
func (f *stateFile) load() saved {
	var s saved
	b, err := os.ReadFile(f.path)
	if errors.Is(err, fs.ErrNotExist) {
		return s
	}
	if err == nil {
		err = json.Unmarshal(b, &s)
	}
	if err != nil {
		f.log.Error("stored zeros cannot be read; going on without them", "file", f.path, "err", err, "kept_as", f.path+".bad")
		os.Rename(f.path, f.path+".bad")
		return saved{}
	}
	return s
}

// put hands over a new state; it never waits.
func (f *stateFile) put(s saved) {
	for {
		select {
		case f.next <- s:
			return
		default:
		}
		select {
		case <-f.next:
		default:
		}
	}
}

// Run writes what put hands over until ctx ends, then what still waits.
func (f *stateFile) Run(ctx context.Context) error {
	for {
		select {
		case s := <-f.next:
			f.write(s)
		case <-ctx.Done():
			select {
			case s := <-f.next:
				f.write(s)
			default:
			}
			return nil
		}
	}
}

func (f *stateFile) write(s saved) {
	if err := writeDurably(f.path, s); err != nil {
		f.log.Error("zeros not stored: after a restart they must be taken again", "err", err)
		return
	}
	f.log.Info("zeros stored", "file", f.path, "channels", len(s.Zeros))
}

// writeDurably leaves either the old file or the new one after a power cut.
func writeDurably(path string, s saved) (err error) {
	b, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return fmt.Errorf("state: %w", err)
	}
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return fmt.Errorf("state: %w", err)
	}
	tmp, err := os.CreateTemp(dir, ".state-*")
	if err != nil {
		return fmt.Errorf("state: %w", err)
	}
	defer os.Remove(tmp.Name()) // gone already when all went well
	_, err = tmp.Write(append(b, '\n'))
	err = errors.Join(err, tmp.Sync(), tmp.Close())
	if err == nil {
		err = os.Rename(tmp.Name(), path)
	}
	if err == nil {
		err = syncDir(dir)
	}
	if err != nil {
		return fmt.Errorf("state: %w", err)
	}
	return nil
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
