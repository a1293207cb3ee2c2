package main

import (
	"context"
	"maps"
	"os"
	"path/filepath"
	"testing"
	"time"

	"charwarden/sensors"
)

func TestStateOutlivesTheProcess(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new") // made when first written
	f := newStateFile(dir, quiet())
	if got := f.load(); got.Zeros != nil {
		t.Errorf("no file: %+v", got)
	}
	old := map[string]sensors.Zero{"suction": {Pa: 9}}
	want := map[string]sensors.Zero{"suction": {Pa: -31.5, At: time.Date(2026, 5, 3, 9, 0, 0, 0, time.UTC)}}
	f.put(saved{Zeros: old}) // replaced by the newer before anyone writes
	f.put(saved{Zeros: want})
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := f.Run(ctx); err != nil {
		t.Fatal(err)
	}
	if got := newStateFile(dir, quiet()).load(); !maps.Equal(got.Zeros, want) {
		t.Errorf("read back %+v, want %+v", got.Zeros, want)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".state-*")); left != nil {
		t.Errorf("left over: %v", left)
	}
}

func TestSpoiltStateIsKeptAside(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "state.json")
	if err := os.WriteFile(path, []byte(`{"zeros":{"suction":{"pa":`), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := newStateFile(dir, quiet()).load(); got.Zeros != nil {
		t.Errorf("spoilt file: %+v", got)
	}
	if b, err := os.ReadFile(path + ".bad"); err != nil || len(b) == 0 {
		t.Errorf("the spoilt file is lost: %v", err)
	}
}
