package main

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"charwarden/config"
)

func TestPrintAlarms(t *testing.T) {
	n := func(v uint64) *uint64 { return &v }
	degC, since := "degC", "2026-03-01T08:00:00.000Z"
	rows := []levelRow{
		{alarmRow: alarmRow{Name: "gas_out_fault", Priority: "caution", State: "normal"}},
		{alarmRow: alarmRow{Name: "filter_in_fault", Priority: "caution", State: "out_of_service", Reason: orNull("couple is ordered"), Order: n(1)}},
		{alarmRow: alarmRow{Name: "return_line_lead", Priority: "caution", State: "shelved", LeftS: ppm(690),
			Value: ppm(20), Limit: ppm(15), Unit: &degC, Hidden: 2}},
		{alarmRow: alarmRow{Name: "wall_far_stop", Priority: "alarm", State: "latched", Order: n(7)}},
		{Level: true, alarmRow: alarmRow{Name: "wall_near_stop", Priority: "alarm", State: "unacknowledged", Order: n(5),
			Value: ppm(100), Limit: ppm(50), Unit: &degC, Since: &since, Seq: 3}},
		{alarmRow: alarmRow{Name: "co_evacuate", Priority: "evacuate", State: "unacknowledged", Order: n(9), Test: true}},
		{alarmRow: alarmRow{Name: "co_odd", Priority: "notice", State: "dancing"}},
	}
	slices.SortStableFunc(rows, func(a, b levelRow) int { return a.compare(b.alarmRow) })
	var out bytes.Buffer
	if err := printAlarms(&out, &config.Config{Display: config.Display{Temperature: "degF"}}, rows); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(out.String(), "\n")
	for i, want := range [][]string{
		{"alarm ", "order", "note"},
		{"co_evacuate", "test"},
		{"wall_near_stop", "212.0 °F", "122.0 °F", " 3 ", " 5 ", "first out"},
		{"wall_far_stop", "latched"},
		{"co_odd", "dancing"}, // no state that is known: an alarm
		{"filter_in_fault", "out: couple is ordered"},
		{"return_line_lead", "20 degC", "15 degC", "left 12m", "came 2 x unheard"}, // a difference has no zero to shift
		{"gas_out_fault", "normal"},
	} {
		for _, w := range want {
			if !strings.Contains(lines[i], w) {
				t.Errorf("line %d %q: want %q in it", i, lines[i], w)
			}
		}
	}
	if !rows[3].stands() || rows[4].stands() {
		t.Error("an unknown state stands, out of service does not")
	}
}

func TestPermitLine(t *testing.T) {
	for want, p := range map[string]permitRow{
		"":                    {},
		"run permit: given\n": {Fitted: true, Held: true},
		"run permit: dropped: wall_near_stop stands\n": {Fitted: true, Why: orNull("wall_near_stop stands")},
	} {
		if got := p.line(); got != want {
			t.Errorf("%+v: %q, want %q", p, got, want)
		}
	}
}
