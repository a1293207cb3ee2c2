package runlog

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
)

// samplesOf are the lines of a page by series, without the comments, and checks
// what OpenMetrics 1.0 asks of the text as a whole.
func samplesOf(t *testing.T, page string) map[string][]string {
	t.Helper()
	body, whole := strings.CutSuffix(page, "\n# EOF\n")
	if !whole {
		t.Fatalf("no EOF at the end:\n%s", page)
	}
	all := map[string][]string{}
	told := map[string]int{}
	for line := range strings.SplitSeq(body, "\n") {
		if word, ok := strings.CutPrefix(line, "# "); ok {
			told[strings.Join(strings.Fields(word)[:2], " ")]++
			continue
		}
		name, rest, ok := strings.Cut(line, " ")
		value, at, ok2 := strings.Cut(rest, " ")
		if !ok || !ok2 || strings.Contains(rest, "NaN") {
			t.Fatalf("line %q", line)
		}
		family, _, _ := strings.Cut(name, "{")
		if told["TYPE "+strings.TrimSuffix(family, "_total")] != 1 || told["HELP "+strings.TrimSuffix(family, "_total")] != 1 {
			t.Fatalf("line %q without HELP and TYPE before it: %v", line, told)
		}
		var s, ms int64
		if n, err := fmt.Sscanf(at, "%d.%03d", &s, &ms); n != 2 || err != nil {
			t.Fatalf("line %q: %v", line, err)
		}
		before := all[name]
		if len(before) > 0 {
			if _, last, _ := strings.Cut(before[len(before)-1], "@"); at <= last {
				t.Fatalf("line %q after %s", line, last)
			}
		}
		all[name] = append(before, value+"@"+at)
	}
	return all
}

// at is a value at a time after the morning.
func at(value string, after time.Duration) string {
	ms := morning.Add(after).UnixMilli()
	return fmt.Sprintf("%s@%d.%03d", value, ms/1000, ms%1000)
}

func TestExportOpenMetrics(t *testing.T) {
	h := pump()
	h.Channels = h.Channels[2:4] // co, gas_flow
	m := makeFile(t, t.TempDir(), 7, h)
	for i := range int64(700) { // 70 s
		var cell any = 16*i + 1
		switch {
		case i == 100:
			cell = "checksum"
		case i == 101:
			cell = "clipped_high 16000"
		case i > 350:
			cell = nil // stands
		}
		m.tick(1000+100*i, cell)
	}
	m.second(1000, 1024)
	m.second(2000, 1025)
	m.second(3000, nil) // nothing is no value: it does not stand
	m.second(4000, nil)
	m.anchor(1000, morning, Synced)
	m.put("INSERT INTO phases VALUES (NULL, 1000, '', 0)")
	m.put("INSERT INTO phases VALUES (NULL, 3000, 'running', 0)")
	m.put("INSERT INTO gaps VALUES (NULL, 4000, 'ticks missed', 3)")
	m.transition(2000, "co_alarm", "alarm", "normal", "unacknowledged")
	m.transition(5050, "co_alarm", "alarm", "unacknowledged", "acknowledged")
	m.transition(5050, "co_alarm", "alarm", "acknowledged", "normal")
	m.transition(5050, "co_caution", "caution", "suppressed", "unacknowledged")
	m.transition(80_000, "co_alarm", "alarm", "normal", "returned") // after the last row
	f := opened(t, m.done())

	var b bytes.Buffer
	counts, err := ExportOpenMetrics(t.Context(), &b, []*File{f}, ExportOpts{})
	if err != nil {
		t.Fatal(err)
	}
	got := samplesOf(t, b.String())
	total := int64(0)
	for _, c := range counts.Series {
		if int64(len(got[c.Name])) != c.Samples {
			t.Errorf("%s: counted %d, written %d", c.Name, c.Samples, len(got[c.Name]))
		}
		total += c.Samples
	}
	if total != counts.Samples || len(counts.Series) != len(got) || !slices.IsSortedFunc(counts.Series, func(a, b SeriesCount) int { return strings.Compare(a.Name, b.Name) }) {
		t.Errorf("counts %d, %d of %d series", counts.Samples, len(counts.Series), len(got))
	}
	sec := func(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
	for name, want := range map[string][]string{
		`charwarden_channel_up{channel="co"}`:                                              {at("1", 0), at("0", sec(10)), at("1", sec(10.2)), at("1", sec(30)), at("1", sec(60))},
		`charwarden_channel_faults_total{channel="co",fault="checksum"}`:                   {at("0", sec(9.9)), at("1", sec(10)), at("1", sec(30)), at("1", sec(60))},
		`charwarden_channel_faults_total{channel="co",fault="clipped_high"}`:               {at("0", sec(10)), at("1", sec(10.1)), at("1", sec(30)), at("1", sec(60))},
		`charwarden_gas_flow_nm3_per_hour{channel="gas_flow"}`:                             {at("1", 0), at("1.0009765625", sec(1))},
		`charwarden_channel_up{channel="gas_flow"}`:                                        {at("1", 0), at("0", sec(2)), at("0", sec(30)), at("0", sec(60))},
		`charwarden_alarm_state{alarm="co_alarm",priority="alarm",state="normal"}`:         {at("1", 0), at("0", sec(1)), at("1", sec(4.05)), at("1", sec(30)), at("1", sec(60))},
		`charwarden_alarm_state{alarm="co_alarm",priority="alarm",state="unacknowledged"}`: {at("0", 0), at("1", sec(1)), at("0", sec(4.05)), at("0", sec(30)), at("0", sec(60))},
		`charwarden_alarm_state{alarm="co_alarm",priority="alarm",state="acknowledged"}`:   {at("0", 0), at("0", sec(1)), at("0", sec(4.05)), at("0", sec(30)), at("0", sec(60))},
		`charwarden_alarm_state{alarm="co_caution",priority="caution",state="suppressed"}`: {at("1", 0), at("0", sec(4.05)), at("0", sec(30)), at("0", sec(60))},
		`charwarden_alarm_standing{priority="alarm"}`:                                      {at("0", 0), at("1", sec(1)), at("0", sec(4.05)), at("0", sec(30)), at("0", sec(60))},
		`charwarden_alarm_standing{priority="caution"}`:                                    {at("0", 0), at("0", sec(1)), at("1", sec(4.05)), at("1", sec(30)), at("1", sec(60))},
		`charwarden_phase{phase="running"}`:                                                {at("0", 0), at("1", sec(2)), at("1", sec(30)), at("1", sec(60))},
		`charwarden_ticks_missed_total`:                                                    {at("0", 0), at("3", sec(3)), at("3", sec(30)), at("3", sec(60))},
	} {
		if !slices.Equal(got[name], want) {
			t.Errorf("%s\n%v\nwant\n%v", name, got[name], want)
		}
	}
	co := got[`charwarden_co_ppm{channel="co"}`]
	if len(co) != 350 || co[0] != at("0.0625", 0) || co[100] != at("102.0625", sec(10.2)) || co[349] != at("350.0625", sec(64)) {
		t.Errorf("co: %d samples, %v", len(co), co[:min(len(co), 101)])
	}
}

// An alarm that stood when the file began stands, also if nothing happens to
// it: the earlier parts of the session tell.
func TestExportStandingFromBefore(t *testing.T) {
	dir := t.TempDir()
	part := func(n int, session string, part int, change func(made)) *File {
		h := pump()
		h.Session, h.Part, h.Ms = session, part, int64(n)*100_000
		m := makeFile(t, dir, n, h)
		m.tick(h.Ms, 1, 2, 3)
		m.anchor(h.Ms, morning, Synced)
		change(m)
		return opened(t, m.done())
	}
	part(1, "s0", 1, func(m made) { m.transition(100_000, "wall_stop", "alarm", "normal", "unacknowledged") }) // another session
	part(2, "s1", 1, func(m made) {
		m.transition(200_000, "co_evacuate", "evacuate", "normal", "unacknowledged")
		m.transition(200_000, "co_alarm", "alarm", "normal", "unacknowledged")
	})
	part(3, "s1", 2, func(m made) { m.transition(300_000, "co_evacuate", "evacuate", "unacknowledged", "latched") })
	f := part(4, "s1", 3, func(m made) { m.transition(400_000, "co_alarm", "alarm", "unacknowledged", "normal") })
	var b bytes.Buffer
	if _, err := ExportOpenMetrics(t.Context(), &b, []*File{f}, ExportOpts{}); err != nil {
		t.Fatal(err)
	}
	got := samplesOf(t, b.String())
	start := f.Clock().Wall(400_000).Sub(morning)
	for name, want := range map[string]string{
		`charwarden_alarm_state{alarm="co_evacuate",priority="evacuate",state="latched"}`:  "1",
		`charwarden_alarm_state{alarm="co_alarm",priority="alarm",state="normal"}`:         "1",
		`charwarden_alarm_state{alarm="co_alarm",priority="alarm",state="unacknowledged"}`: "0",
		`charwarden_alarm_standing{priority="evacuate"}`:                                   "1",
		`charwarden_alarm_standing{priority="alarm"}`:                                      "0",
	} {
		if !slices.Equal(got[name], []string{at(want, start)}) {
			t.Errorf("%s: %v, want %s", name, got[name], want)
		}
	}
	if strings.Contains(b.String(), "wall_stop") {
		t.Error("an alarm of another session")
	}
}

// Runs whose clocks tell the same time are not mixed up.
func TestExportOverlap(t *testing.T) {
	dir := t.TempDir()
	file := func(n int, boot string, wall time.Time) *File {
		h := pump()
		h.Boot = boot
		m := makeFile(t, dir, n, h)
		m.tick(1000, 1, 2, 3)
		m.tick(61_000, 1, 2, 3)
		m.anchor(1000, wall, Free)
		return opened(t, m.done())
	}
	first, cut := file(7, "b1", morning), file(8, "b2", morning.Add(30*time.Second))
	later := file(9, "b3", morning.Add(time.Hour))
	var b bytes.Buffer
	_, err := ExportOpenMetrics(t.Context(), &b, []*File{cut, first}, ExportOpts{})
	if err == nil || !strings.Contains(err.Error(), "runs 7 and 8 overlap in wall time (2026-05-01 08:00:30 to 2026-05-01 08:01:00 UTC)") || b.Len() > 0 {
		t.Errorf("%v, wrote %d", err, b.Len())
	}
	if _, err := ExportOpenMetrics(t.Context(), &b, []*File{later, first}, ExportOpts{}); err != nil {
		t.Error(err)
	}
	samplesOf(t, b.String())
	b.Reset()
	if _, err := ExportOpenMetrics(t.Context(), &b, []*File{cut, first}, ExportOpts{RunLabel: true}); err != nil {
		t.Error(err)
	}
	got := samplesOf(t, b.String())
	for _, name := range []string{`charwarden_co_ppm{channel="co",run="7"}`, `charwarden_co_ppm{channel="co",run="8"}`, `charwarden_ticks_missed_total{run="8"}`} {
		if len(got[name]) == 0 {
			t.Errorf("no %s", name)
		}
	}
}

// However long the run, an export needs no more memory.
func TestExportMemory(t *testing.T) {
	file := func(rows int) *File {
		m := makeFile(t, t.TempDir(), 1, pump())
		m.exec(fmt.Sprintf("WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < %d) INSERT INTO ticks SELECT 1000 + i * 100, i, 0, 0 FROM n", rows-1))
		m.anchor(1000, morning, Synced)
		return opened(t, m.done())
	}
	allocated := func(f *File) uint64 {
		f.Clock()
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		for _, export := range []func(context.Context, io.Writer, []*File, ExportOpts) (Counts, error){ExportCSV, ExportOpenMetrics} {
			if _, err := export(t.Context(), io.Discard, []*File{f}, ExportOpts{}); err != nil {
				t.Fatal(err)
			}
		}
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc
	}
	short, long := allocated(file(4*batchRows)), allocated(file(40*batchRows))
	if long > short+short/4 {
		t.Errorf("%d bytes for 27 minutes, %d for 4.5 hours", short, long)
	}
}
