package mqtt

import (
	"context"
	"io"
	"log/slog"
	"math"
	"sync"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
	"charwarden/sensors"
)

const i2c = "the I2C bus /dev/i2c-1"

// The rig of these tests stands on an irrigation pump. All its data are
// invented.

var (
	start = time.Date(2026, 5, 3, 9, 12, 0, 0, time.UTC)

	pumpChannels = []sensors.Channel{
		{Name: "wall_near", Quantity: sensors.Temperature, Period: 250 * time.Millisecond},
		{Name: "gas_out", Quantity: sensors.Temperature, Period: 250 * time.Millisecond},
		{Name: "co", Quantity: sensors.CO, Period: 500 * time.Millisecond},
		{Name: "speed", Quantity: sensors.Speed, Period: 250 * time.Millisecond},
		{Name: "supply", Quantity: sensors.Voltage, Period: time.Second},
		{Name: "suction", Quantity: sensors.Pressure, Period: 100 * time.Millisecond},
	}
	pumpRules = []alarms.Rule{
		{Name: "wall_near_stop", Channel: "wall_near", Kind: alarms.Above, Priority: alarms.High, Limit: 650,
			Means: "The wall near the nozzle is hotter than its lining stands", DoFirst: "Close the air slide."},
		{Name: "co_evacuate", Channel: "co", Kind: alarms.Above, Priority: alarms.Evacuate, Limit: 200, Latch: true,
			Means: "Deadly gas.", DoFirst: "Leave, upwind."},
		{Name: "supply_low", Channel: "supply", Kind: alarms.Below, Priority: alarms.Notice, Limit: 11.8},
		{Name: "gas_out_fault", Channel: "gas_out", Kind: alarms.Fault, Priority: alarms.Caution,
			Means: "Nobody is watching gas_out.", DoFirst: "Look at its plug."},
		{Name: "suction_unzeroed", Channel: "suction", Kind: alarms.Zeroing, Priority: alarms.Notice},
		{Name: "co_fault", Channel: "co", Kind: alarms.Fault, Priority: alarms.High, Latch: true, Cause: i2c,
			Means: "Nobody is watching the air.", DoFirst: "Step back upwind."},
		{Name: "suction_fault", Channel: "suction", Kind: alarms.Fault, Priority: alarms.Caution, Cause: i2c},
		{Name: "supply_fault", Channel: "supply", Kind: alarms.Fault, Priority: alarms.Notice, Cause: i2c},
		{Name: "wall_near_fault", Channel: "wall_near", Kind: alarms.Fault, Priority: alarms.Caution, Cause: "the SPI bus /dev/spidev0.0"},
	}
)

// wallClock is the machine's.
type wallClock struct{}

func (wallClock) Now() time.Time                             { return time.Now() }
func (wallClock) Sleep(ctx context.Context, d time.Duration) { panic("not used here") }

func pumpTopics(t testing.TB) names.Topics {
	t.Helper()
	top, err := names.NewTopics("charwarden", "pump")
	if err != nil {
		t.Fatal(err)
	}
	return top
}

func pumpOpts(t testing.TB, broker string) Opts {
	t.Helper()
	return Opts{
		Broker: broker, ClientID: "charwarden-pump", Topics: pumpTopics(t),
		Channels: pumpChannels, Rules: pumpRules,
		Boot: "5e1f", Start: start, MonoStart: 83.06,
		Clock: wallClock{}, Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Version: "0.1.0",
		OnCommand: func(Command) {},
	}
}

func pumpPublisher(t testing.TB, o Opts) *Publisher {
	t.Helper()
	p, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func goodReadings(at time.Time) []sensors.Reading {
	values := []float64{480.25, 62, 3, 2950, 12.62, -1480}
	rs := make([]sensors.Reading, len(values))
	for i, v := range values {
		rs[i] = sensors.Reading{Channel: pumpChannels[i].Name, At: at, Value: v, Raw: v, Cold: math.NaN(), Status: sensors.Good}
	}
	return rs
}

func normalAlarms() []alarms.Alarm {
	as := make([]alarms.Alarm, len(pumpRules))
	for i := range as {
		as[i] = alarms.Alarm{Rule: &pumpRules[i], Value: math.NaN()}
	}
	return as
}

// loop stands in for the daemon's: it calls Update every 20 ms, on a clock that
// runs ten times as fast as the machine's.
type loop struct {
	p     *Publisher
	begin time.Time
	mu    sync.Mutex
	as    []alarms.Alarm
	rs    []sensors.Reading
	tr    []alarms.Transition
}

func drive(t *testing.T, p *Publisher) *loop {
	l := &loop{p: p, begin: time.Now(), as: normalAlarms(), rs: goodReadings(time.Now())}
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
				now := l.now()
				l.mu.Lock()
				for i := range l.rs {
					l.rs[i].At = now
				}
				p.Update(now, l.rs, l.as, l.tr, "running")
				l.tr = l.tr[:0]
				l.mu.Unlock()
			}
		}
	}()
	t.Cleanup(func() { close(stop); <-done })
	return l
}

func (l *loop) now() time.Time { return l.begin.Add(10 * time.Since(l.begin)) }

// turn brings an alarm into another state.
func (l *loop) turn(i int, to alarms.State, value float64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	a, now := &l.as[i], l.now()
	tr := alarms.Transition{At: now, From: a.State}
	if to == alarms.Unacknowledged && a.State != alarms.Acknowledged {
		a.Seq++
	}
	a.State, a.Value, a.Since = to, value, now
	tr.Alarm = *a
	l.tr = append(l.tr, tr)
}

// running starts Run; the returned func ends it and checks how.
func running(t *testing.T, p *Publisher) (stop func()) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	result := make(chan error, 1)
	go func() { result <- p.Run(ctx) }()
	var once sync.Once
	stop = func() {
		once.Do(func() {
			cancel()
			select {
			case err := <-result:
				if err != nil {
					t.Errorf("Run: %v", err)
				}
			case <-time.After(3 * time.Second):
				t.Error("Run did not end within 3 s of the cancel")
			}
		})
	}
	t.Cleanup(stop)
	return stop
}

// eventually waits for cond.
func eventually(t *testing.T, within time.Duration, what string, cond func() bool) {
	t.Helper()
	for end := time.Now().Add(within); !cond(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not within %v: %s", within, what)
		}
	}
}
