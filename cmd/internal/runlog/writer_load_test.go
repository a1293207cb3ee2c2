package runlog

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"github.com/ncruces/go-sqlite3"

	"charwarden/sensors"
)

// load is the reference load: 12 inputs of a small rig with the noise of real
// sensors, 45 reckoned channels once a second, a tick of 100 ms.
type load struct {
	r        *rand.Rand
	channels []Channel
	inputs   []loadInput
	ticks    []Cell
	seconds  []Cell
	base     []float64
	ms       int64
	begin    int64 // ms of the first head
	samples  int64
}

type loadInput struct {
	every int64   // ms
	value float64 // in Unit
	swing float64 // slow
	noise float64
	step  float64
}

const loadReckoned = 45

func newLoad(seed uint64) *load {
	l := &load{r: rand.New(rand.NewPCG(seed, 1)), ms: 40_000}
	add := func(n int, name string, q sensors.Quantity, every int64, value, swing, noise float64) {
		for i := range n {
			step := StepOf(q)
			l.channels = append(l.channels, Channel{Name: fmt.Sprintf("%s_%d", name, i+1), Quantity: q, Unit: "unit", Step: step, Input: true, Place: "spi0.0", Care: "zero 3 h ago"})
			l.inputs = append(l.inputs, loadInput{every: every, value: value * (1 + float64(i)/7), swing: swing, noise: noise, step: step})
		}
	}
	add(5, "wall", sensors.Temperature, 250, 300, 60, 0.25)
	add(1, "cold", sensors.Temperature, 250, 40, 2, 0.0625)
	add(4, "drop", sensors.Pressure, 100, 700, 200, 4)
	add(1, "co", sensors.CO, 1000, 6, 3, 0.3)
	add(1, "speed", sensors.Speed, 1000, 2900, 60, 8)
	l.ticks = make([]Cell, len(l.channels))
	for i := range loadReckoned {
		q := []sensors.Quantity{sensors.Temperature, sensors.Power, sensors.Mean, sensors.Ratio, sensors.Age}[i%5]
		l.channels = append(l.channels, Channel{Name: fmt.Sprintf("reckoned_%d", i+1), Quantity: q, Unit: "unit", Step: StepOf(q)})
		l.base = append(l.base, []float64{450, 3000, 20, 0.8, 900}[i%5]/StepOf(q))
	}
	l.seconds = make([]Cell, loadReckoned)
	return l
}

func (l *load) head(session string, part int) Head {
	if l.begin == 0 {
		l.begin = l.ms
	}
	return Head{
		Rig: "pump", Boot: "8b1f", Session: session, Part: part, Ms: l.ms, Tick: 100 * time.Millisecond, Version: "test", Channels: l.channels,
		Records: []Record{
			Anchor{Ms: l.ms, Wall: time.Unix(1_700_000_000, 0), Quality: Free},
			Snapshot{Ms: l.ms, What: "configuration", Text: "rig = 'pump'\n"},
			PhaseChange{Ms: l.ms, Phase: "cold"},
			Band{Ms: l.ms, Channel: "wall_1", HalfWidth: 2.2},
		},
	}
}

// step is the next tick; second says whether its seconds are to be stored too.
func (l *load) step() (second bool) {
	l.ms += 100
	t := float64(l.ms) / 1000
	for i := range l.inputs {
		in := &l.inputs[i]
		l.ticks[i] = Cell{}
		if (l.ms+int64(i)*100)%in.every < 100 {
			v := in.value + in.swing*math.Sin(t/300+float64(i)) + in.noise*l.r.NormFloat64()
			l.ticks[i] = Cell{Count: int64(math.Round(v / in.step)), Status: sensors.Good}
			l.samples++
		}
	}
	if l.ms%1000 != 0 {
		return false
	}
	for i := range l.seconds {
		v := l.base[i] * (1 + 0.1*math.Sin(t/200+float64(i)) + 0.001*l.r.NormFloat64())
		l.seconds[i] = Cell{Count: int64(v), Status: sensors.Good}
		l.samples++
	}
	return true
}

// feed gives the next tick to w.
func (l *load) feed(w *Writer) {
	second := l.step()
	w.Tick(l.ms, l.ticks)
	if second {
		w.Second(l.ms, l.seconds)
	}
}

// follow waits until the disk is no more than 4.9 s of rows behind: the rig's
// time runs no faster here than the disk can follow.
func (l *load) follow(w *Writer) {
	for l.ms-max(w.Stats().DurableMs, l.begin) > 4900 {
		time.Sleep(50 * time.Microsecond)
	}
}

func quiet() *slog.Logger { return slog.New(slog.DiscardHandler) }

func testOpts(dir string) Opts {
	return Opts{Dir: dir, Log: quiet(), Keep: Keep{Runs: 100}, Now: time.Now}
}

// running starts w; the returned function ends it, and may be called again.
func running(w *Writer) (end func() error) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	return sync.OnceValue(func() error {
		cancel()
		return <-done
	})
}

// columnText reads the first column of the last row.
func columnText(into *string) func(s *sqlite3.Stmt) error {
	return func(s *sqlite3.Stmt) error { *into = s.ColumnText(0); return nil }
}
