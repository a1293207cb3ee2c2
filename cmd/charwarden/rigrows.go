package main

import "fmt"

// massOrder is charcoal: {"kilograms":5.5}.
type massOrder struct {
	Kilograms float64 `json:"kilograms"`
}

func (o massOrder) check() error {
	if !(o.Kilograms >= 0 && o.Kilograms <= 1000) {
		return fmt.Errorf("kilograms: %g: want 0 to 1000", o.Kilograms)
	}
	return nil
}
func (o massOrder) about() []any { return []any{"kilograms", o.Kilograms} }

// hopperRow is the charcoal; null where it is not known.
type hopperRow struct {
	Left  *float64 `json:"charcoal_left"`
	Burnt *float64 `json:"charcoal_burnt"`
}

// holdRow is how a hold test goes or went.
type holdRow struct {
	Running bool     `json:"running"`
	Begun   *float64 `json:"begun_pa"`
	Now     *float64 `json:"now_pa"`
	Leak    *float64 `json:"hold_leak"` // Pa/min; null: not known
	Best    *float64 `json:"best_leak"` // Pa/min of this rig at its best
	Tight   bool     `json:"tight"`
	Verdict string   `json:"verdict"`
}

// causeRow is one likely cause of what the channels show.
type causeRow struct {
	Cause     string   `json:"cause"`
	Certainty string   `json:"certainty"`
	Score     float64  `json:"score"` // 0 to 1
	Means     string   `json:"means"`
	For       []string `json:"for"`
	Against   []string `json:"against"`
	DoFirst   *string  `json:"do_first"`
	Since     *string  `json:"since"`
}
