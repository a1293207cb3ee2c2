package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// From the simulated rig to the graph: two whole runs, lit and sealed, exported
// and backfilled into a real Prometheus, on which every expression of the
// dashboards has data and no sample is missing.
func TestRunsToDashboards(t *testing.T) {
	slowUnderRace(t)
	if testing.Short() {
		t.Skip("plays two whole runs")
	}
	for _, tool := range []string{"prometheus", "promtool"} {
		if _, err := exec.LookPath(tool); err != nil {
			lacks(t, "%v: apt-get install -y prometheus", err)
		}
	}
	dir := t.TempDir()
	for day := range 2 { // what is against the last run, or the best, takes two
		playRig(t, outing{seed: uint64(day + 1), length: storyLength + 35*time.Minute, dir: dir, later: time.Duration(day) * 3 * time.Hour,
			during: func(ctx context.Context, s *simRig, w *watch) {
				person(w, "weighed", massOrder{6})
				s.clock.Sleep(ctx, 40*time.Minute)
				adc := s.cfg.ADCs[0]
				s.board.NACK(adc.Bus, adc.Address, -1)
				s.clock.Sleep(ctx, time.Minute)
				s.board.Heal(adc.Bus)
			}})
	}
	om := filepath.Join(dir, "runs.om")
	var out strings.Builder
	if code := dispatch(t.Context(), []string{"export", "1", "2", "--dir", dir, "--format", "openmetrics", "--run-label", "-o", om},
		strings.NewReader(""), &out, &out); code != 0 {
		t.Fatalf("exit %d: %s", code, &out)
	}
	cmd := exec.CommandContext(t.Context(), "go", "test", "-count=1", "-run", "TestEveryExpressionHasData", "../internal/dashboards")
	cmd.Env = append(os.Environ(), "CHARWARDEN_OPENMETRICS="+om)
	cmd.WaitDelay = time.Second
	if answer, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, answer)
	}
	t.Log(out.String())
}
