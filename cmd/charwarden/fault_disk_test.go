package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"charwarden/cmd/internal/runlog"
	"charwarden/config"
)

// card mounts a small file system of its own for the state and the runs.
func card(t *testing.T) (dir string) {
	t.Helper()
	dir = filepath.Join(t.TempDir(), "card")
	if err := os.Mkdir(dir, 0o750); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=8m,mode=0750", "tmpfs", dir).CombinedOutput(); err != nil {
		lacks(t, "be root: mount: %v: %s", err, out)
	}
	t.Cleanup(func() { exec.Command("umount", "-l", dir).Run() })
	return dir
}

func remount(t *testing.T, dir, how string) {
	t.Helper()
	if out, err := exec.Command("mount", "-o", "remount,"+how, dir).CombinedOutput(); err != nil {
		t.Fatalf("mount: %v: %s", err, out)
	}
}

// diskTrial has the whole daemon, run log and state included, on a disk that
// something happens to 30 s after the start and is put right 2 min later. want
// are the alarms that must call; those of state and run log may.
func diskTrial(t *testing.T, dir string, before, harm, mend func(), want ...string) {
	const whole = 5 * time.Minute
	if before != nil {
		before()
	}
	synctest.Test(t, func(t *testing.T) {
		b := newBenchRig(t, func(c *config.Config) {
			c.State, c.RunLog.Dir = dir, filepath.Join(dir, "runs")
		})
		b.boot = func() (string, time.Duration) { return "boot", time.Minute }
		b.parts = append(b.parts, part{"state", b.loop.state.Run}, part{"run log", b.loop.book.w.Run})
		var calls []string
		b.loop.outputs = append(b.loop.outputs, func(f *frame) {
			for _, tr := range f.transitions {
				if tr.Annunciates() && tr.Rule.Channel != "co_zero_age" && tr.Rule.Channel != "co_bump_age" {
					calls = append(calls, tr.Rule.Name)
				}
			}
		})
		b.play(t, whole, func() {
			time.Sleep(30 * time.Second)
			if harm != nil {
				harm()
			}
			time.Sleep(2 * time.Minute)
			synctest.Wait()
			for _, name := range want {
				if !slices.Contains(calls, name) {
					t.Errorf("%s did not call, only %v", name, calls)
				}
			}
			mend()
		})
		wantPunctual(t, b, whole)
		if err := b.loop.state.Fault(); err != nil {
			t.Errorf("the state is not stored again: %v", err)
		}
		if err := b.loop.book.w.Fault(); err != nil {
			t.Errorf("the run is not written again: %v", err)
		}
		for _, name := range calls {
			if name != "state_unsaved_caution" && name != "log_unsaved_caution" {
				t.Errorf("%s called: what has the disk to do with it?", name)
			}
		}
		if got := newStateFile(dir, quiet()).load(); len(got.Alarms) == 0 {
			t.Error("nothing is stored at the end")
		}
	})
	metas, err := runlog.List(filepath.Join(dir, "runs"))
	if err != nil || len(metas) == 0 {
		t.Fatalf("%d runs at the end, %v", len(metas), err)
	}
	if last := metas[len(metas)-1]; last.LastMs < (time.Minute + whole - 10*time.Second).Milliseconds() {
		t.Errorf("the last run ends %d ms after the boot", last.LastMs)
	}
}

// The disk fills up under the daemon, and somebody makes room. The run log has
// room of its own for some minutes, so that it may notice nothing.
func TestDiskFullUnderTheDaemon(t *testing.T) {
	dir := card(t)
	ballast := filepath.Join(dir, "ballast")
	diskTrial(t, dir, nil, func() {
		f, err := os.Create(ballast)
		if err != nil {
			t.Error(err)
			return
		}
		for b := make([]byte, 4096); err == nil; {
			_, err = f.Write(b)
		}
		f.Close()
	}, func() { os.Remove(ballast) }, "state_unsaved_caution")
}

// The disk can only be read, as one that the system found damaged at the start.
func TestDiskReadOnlyUnderTheDaemon(t *testing.T) {
	dir := card(t)
	diskTrial(t, dir, func() { remount(t, dir, "ro") }, nil, func() { remount(t, dir, "rw") }, "state_unsaved_caution", "log_unsaved_caution")
}

// Everything that the daemon has written is deleted under it: it begins anew,
// and what stands is stored again within a minute.
func TestDiskEmptiedUnderTheDaemon(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "state")
	diskTrial(t, dir, nil, func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Error(err)
		}
	}, func() {})
}
