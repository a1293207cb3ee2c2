package main

import "testing"

// slowUnderRace skips what plays hours in one goroutine, or whole runs: the race
// detector finds nothing there and takes ten times as long. .ci/run plays it
// without.
func slowUnderRace(t *testing.T) {
	t.Helper()
	if underRace {
		t.Skip("without -race only")
	}
}
