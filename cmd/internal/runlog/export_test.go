package runlog

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"math"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"charwarden/sensors"
)

// smallRun is file 7: three rows of ticks and two seconds, with every kind of
// cell.
func smallRun(t *testing.T, dir string, n int, wall time.Time) string {
	h := pump()
	m := makeFile(t, dir, n, h)
	m.tick(1000, 6401, "clipped_high 16000", nil)
	m.tick(1100, nil, nil, "12@250")
	m.tick(1200, nil, nil, nil)
	m.tick(2000, "open", -3, 0)
	m.second(1500, 3073, nil)
	m.second(2000, "stale", 2048)
	m.anchor(1000, wall, Synced)
	return m.done()
}

const smallWide = `time,seconds,wall_near_degC,filter_drop_Pa,co_ppm,gas_flow_Nm3/h,charcoal_left_kg
2026-05-01T08:00:00.000Z,0.000,400.0625,,,,
2026-05-01T08:00:00.100Z,0.100,,,0.75,,
2026-05-01T08:00:00.500Z,0.500,,,,3.0009765625,
2026-05-01T08:00:01.000Z,1.000,,-0.375,0,,2
`

const smallLong = `time,seconds,channel,value,fault
2026-05-01T08:00:00.000Z,0.000,wall_near,400.0625,
2026-05-01T08:00:00.000Z,0.000,filter_drop,2000,clipped_high
2026-05-01T08:00:00.100Z,0.100,co,0.75,
2026-05-01T08:00:01.000Z,1.000,wall_near,,open
2026-05-01T08:00:01.000Z,1.000,filter_drop,-0.375,
2026-05-01T08:00:01.000Z,1.000,co,0,
`

func TestExportCSV(t *testing.T) {
	f := opened(t, smallRun(t, t.TempDir(), 7, morning))
	for what, c := range map[string]struct {
		o             ExportOpts
		want          string
		rows, samples int64
	}{
		"wide": {ExportOpts{}, smallWide, 4, 6},
		"long": {ExportOpts{Long: true}, smallLong, 6, 5},
		"long, of what is reckoned": {ExportOpts{Long: true, Channels: []string{"charcoal_left", "gas_flow"}}, `time,seconds,channel,value,fault
2026-05-01T08:00:00.500Z,0.500,gas_flow,3.0009765625,
2026-05-01T08:00:01.000Z,1.000,gas_flow,,stale
2026-05-01T08:00:01.000Z,1.000,charcoal_left,2,
`, 3, 2},
		"wall time": {ExportOpts{From: morning.Add(100 * time.Millisecond), To: morning.Add(time.Second - 1), Channels: []string{"co"}},
			"time,seconds,co_ppm\n2026-05-01T08:00:00.100Z,0.100,0.75\n", 1, 1},
		"offsets": {ExportOpts{Begin: time.Second, End: time.Hour, Channels: []string{"co"}}, "time,seconds,co_ppm\n2026-05-01T08:00:01.000Z,1.000,0\n", 1, 1},
		"thinned": {ExportOpts{Every: time.Second}, `time,seconds,wall_near_degC,filter_drop_Pa,co_ppm,gas_flow_Nm3/h,charcoal_left_kg
2026-05-01T08:00:00.500Z,0.500,400.0625,,0.75,3.0009765625,
2026-05-01T08:00:01.000Z,1.000,,-0.375,0,,2
`, 2, 6},
	} {
		var b bytes.Buffer
		var done, total int64
		c.o.Progress = func(d, all int64) { done, total = d, all }
		counts, err := ExportCSV(t.Context(), &b, []*File{f}, c.o)
		if err != nil || b.String() != c.want {
			t.Errorf("%s: %v\n%s\nwant\n%s", what, err, b.String(), c.want)
		}
		if counts.Rows != c.rows || counts.Samples != c.samples || counts.Quality != Synced {
			t.Errorf("%s: %+v, want %d rows, %d samples", what, counts, c.rows, c.samples)
		}
		if done != total || total == 0 {
			t.Errorf("%s: progress %d of %d", what, done, total)
		}
	}
}

// The long form gives every reading back exactly, with its fault.
func TestExportLongRoundTrip(t *testing.T) {
	dir := t.TempDir()
	m := makeFile(t, dir, 1, pump())
	src := rand.New(rand.NewPCG(1, 2))
	for i := range 500 {
		cell := func() any {
			switch src.IntN(6) {
			case 0:
				return nil
			case 1:
				return sensors.Statuses()[int(sensors.Open)+src.IntN(5)].String()
			case 2:
				return "clipped_low " + strconv.Itoa(src.IntN(9000)-4500)
			}
			return src.IntN(1<<20) - 1<<19
		}
		m.tick(1000+100*int64(i), cell(), cell(), cell())
	}
	f := opened(t, m.done())
	var b bytes.Buffer
	if _, err := ExportCSV(t.Context(), &b, []*File{f}, ExportOpts{Long: true}); err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(&b).ReadAll() // RFC 4180
	if err != nil {
		t.Fatal(err)
	}
	lines = lines[1:]
	for r, err := range f.Ticks(t.Context(), 0, 0) {
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range r.Cells {
			if c.Status == sensors.Unknown {
				continue
			}
			line := lines[0]
			lines = lines[1:]
			seconds, _ := strconv.ParseFloat(line[1], 64)
			status := sensors.Good
			if line[4] != "" {
				if status, err = sensors.ParseStatus(line[4]); err != nil {
					t.Fatal(err)
				}
			}
			got := Cell{Status: status}
			if line[3] != "" {
				v, err := strconv.ParseFloat(line[3], 64)
				if err != nil || math.IsNaN(v) {
					t.Fatal(line)
				}
				got.Count, _ = f.Inputs()[i].CountOf(v)
			}
			if got != c || line[2] != f.Inputs()[i].Name || math.Round(seconds*1000) != float64(r.Ms-1000) {
				t.Fatalf("%q: %+v, want %+v at %d", line, got, c, r.Ms)
			}
		}
	}
	if len(lines) != 0 {
		t.Errorf("%d lines too many", len(lines))
	}
}

func TestExportSeveral(t *testing.T) {
	dir := t.TempDir()
	early := smallRun(t, dir, 8, morning)
	h := pump()
	h.Boot, h.Channels = "b2", h.Channels[2:4]
	m := makeFile(t, dir, 9, h)
	m.tick(1000, 16)
	m.second(1000, 1024)
	m.anchor(1000, morning.Add(-time.Hour), Unset) // surely wrong
	a, z := opened(t, early), opened(t, m.done())
	var b bytes.Buffer
	counts, err := ExportCSV(t.Context(), &b, []*File{a, z}, ExportOpts{Channels: []string{"co", "gas_flow"}})
	want := `run,time,seconds,co_ppm,gas_flow_Nm3/h
9,,0.000,1,1
8,2026-05-01T08:00:00.100Z,0.100,0.75,
8,2026-05-01T08:00:00.500Z,0.500,,3.0009765625
8,2026-05-01T08:00:01.000Z,1.000,0,
`
	if err != nil || b.String() != want || counts.Quality != Unset {
		t.Errorf("%v %+v\n%s\nwant\n%s", err, counts, b.String(), want)
	}
}

func TestExportRefuses(t *testing.T) {
	dir := t.TempDir()
	f := opened(t, smallRun(t, dir, 7, morning))
	var b bytes.Buffer
	for want, o := range map[string]ExportOpts{
		`channel "nose"`:       {Channels: []string{"co", "nose"}},
		"nothing in this time": {From: morning.Add(time.Hour)},
		"nothing in this ":     {Begin: time.Hour},
	} {
		if _, err := ExportCSV(t.Context(), &b, []*File{f}, o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%+v: %v", o, err)
		}
	}
	if b.Len() > 0 {
		t.Errorf("wrote %q", b.String())
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := ExportCSV(ctx, &b, []*File{f}, ExportOpts{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	full := errors.New("card is full")
	for what, export := range map[string]func() (Counts, error){
		"csv":         func() (Counts, error) { return ExportCSV(t.Context(), failing{full}, []*File{f}, ExportOpts{}) },
		"openmetrics": func() (Counts, error) { return ExportOpenMetrics(t.Context(), failing{full}, []*File{f}, ExportOpts{}) },
	} {
		if _, err := export(); !errors.Is(err, full) {
			t.Errorf("%s: %v", what, err)
		}
	}
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

// A row that cannot be read ends the export with an error, and so does one
// that cannot be written: nobody waits for the other.
func TestExportDamaged(t *testing.T) {
	m := makeFile(t, t.TempDir(), 1, pump())
	m.exec("WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i < 50000) INSERT INTO ticks SELECT 1000 + i * 100, i, 0, 0 FROM n")
	m.tick(1000+50_001*100, "boiling", 0, 0)
	f := opened(t, m.done())
	var b bytes.Buffer
	counts, err := ExportCSV(t.Context(), &b, []*File{f}, ExportOpts{})
	if err == nil || !strings.Contains(err.Error(), "boiling") || counts.Rows != 50_001 {
		t.Errorf("%v, %d rows", err, counts.Rows)
	}
	if _, err := ExportOpenMetrics(t.Context(), failing{errNothing}, []*File{f}, ExportOpts{}); err == nil {
		t.Error("no error")
	}
}

func TestExportSQLite(t *testing.T) {
	dir := t.TempDir()
	f := opened(t, smallRun(t, dir, 7, morning))
	path := filepath.Join(dir, "out.db")
	counts, err := ExportSQLite(t.Context(), path, []*File{f}, ExportOpts{Channels: []string{"co", "wall_near", "gas_flow"}, Begin: 100 * time.Millisecond})
	if err != nil || counts.Rows != 4 || counts.Samples != 3 {
		t.Fatalf("%v %+v", err, counts)
	}
	if more, err := filepath.Glob(path + "?*"); err != nil || len(more) > 0 {
		t.Errorf("companions: %v %v", more, err)
	}
	g := opened(t, path)
	wantRows(t, g, 0, 0, "ticks",
		Row{1100, []Cell{{}, {Count: 12, Status: sensors.Good, Lag: 250 * time.Millisecond}}},
		Row{2000, []Cell{{Status: sensors.Open}, {Status: sensors.Good}}})
	wantRows(t, g, 0, 0, "seconds", Row{1500, []Cell{{Count: 3073, Status: sensors.Good}}}, Row{2000, []Cell{{Status: sensors.Stale}}})
	wantRecords(t, g.Anchors, Anchor{1000, morning, Synced})
	if g.Meta().Rig != "pump" || !reflect.DeepEqual(g.Inputs(), []Channel{f.Inputs()[0], f.Inputs()[2]}) {
		t.Errorf("%+v", g.Meta())
	}
	if _, err := ExportSQLite(t.Context(), path, []*File{f}, ExportOpts{}); err == nil || !strings.Contains(err.Error(), "there already") {
		t.Error(err)
	}
	if _, err := ExportSQLite(t.Context(), path+"2", []*File{f, g}, ExportOpts{}); err == nil || !strings.Contains(err.Error(), "2 files") {
		t.Error(err)
	}
}

// strconv is the reference of how a number is written.
func TestDecimals(t *testing.T) {
	src := rand.New(rand.NewPCG(3, 4))
	for _, step := range []float64{1, 1. / 2, 1. / 8, 1. / 16, 1. / 64, 1. / 1024, 1. / 4096, 2, 0.1} {
		d := newDecimals(step)
		for i := range 20_000 {
			n := int64(i) - 10_000
			if i%4 == 0 {
				n = src.Int64N(1<<31) - 1<<30 // so few digits that the shortest text is the exact one
			}
			if got, want := string(d.append(nil, n)), strconv.FormatFloat(float64(n)*step, 'f', -1, 64); got != want {
				t.Fatalf("%d steps of %g: %s, want %s", n, step, got, want)
			}
		}
	}
	for n, want := range map[int64]string{0: "0.000", 5: "0.005", -5: "-0.005", 1777622400123: "1777622400.123", -61_020: "-61.020"} {
		if got := string(appendThousandths(nil, n)); got != want {
			t.Errorf("%d: %s, want %s", n, got, want)
		}
	}
	s := newStamps()
	for range 2000 {
		at := time.UnixMilli(src.Int64N(8e12) - 4e12).UTC()
		for range 3 {
			if got, want := string(s.append(nil, at.UnixMilli())), at.Format("2006-01-02T15:04:05.000Z"); got != want {
				t.Fatalf("%s, want %s", got, want)
			}
			at = at.Add(333 * time.Millisecond)
		}
	}
}
