package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"charwarden/cmd/internal/names"
	"charwarden/config"
	"charwarden/sensors/sim"
)

// demoOpts are the flags of `demo`.
type demoOpts struct {
	speed  float64
	length time.Duration // of real time; 0: one story
	faults faultList
	dir    string
	seed   uint64
}

// fault is a fault at a time of the rig.
type fault struct {
	name string
	at   time.Duration
}

type faultList []fault

func (l *faultList) String() string { return "" }

func (l *faultList) Set(s string) error {
	name, at, timed := strings.Cut(s, "@")
	if s == "list" {
		*l = append(*l, fault{name: s})
		return nil
	}
	if !timed {
		return fmt.Errorf("want NAME@TIME, such as %s@12m", name)
	}
	d, err := time.ParseDuration(at)
	if err != nil || d < 0 {
		return fmt.Errorf("%q: want a time of the rig, such as 12m or 1h5m", at)
	}
	if _, ok := faultMeans()[name]; !ok {
		return fmt.Errorf("no fault %q; `charwarden demo --fault list` prints all", name)
	}
	*l = append(*l, fault{name, d})
	return nil
}

func faultMeans() map[string]string {
	m := make(map[string]string)
	for _, f := range wireFaults() {
		m[f.name] = f.means
	}
	for _, f := range sim.FaultNames() {
		m[f.Name] = f.Means
	}
	return m
}

// storyLength is how long the story lasts on the rig.
const storyLength = 90 * time.Minute

// demo runs the whole daemon on a simulated rig.
func demo(ctx context.Context, c *call) error {
	o := demoOpts{}
	fs := c.flags("demo", "demo [--speed N] [--for DURATION] [--fault NAME@TIME ...] [--dir DIR]")
	fs.Float64Var(&o.speed, "speed", 30, "how many times as fast as life, 1 to 120")
	fs.DurationVar(&o.length, "for", 0, "stop after this `DURATION` of your time (default: one story, 90 minutes on the rig)")
	fs.Var(&o.faults, "fault", "a fault, `NAME@TIME`, TIME of the rig (12m); may be repeated; `list` prints all")
	fs.StringVar(&o.dir, "dir", "", "write only below `DIR` (default: a new temporary one)")
	fs.Uint64Var(&o.seed, "seed", 1, "of everything random")
	if err := c.parse(fs); err != nil {
		return err
	}
	if slices.ContainsFunc(o.faults, func(f fault) bool { return f.name == "list" }) {
		return printFaults(c)
	}
	if o.speed < 1 || o.speed > 120 || o.length < 0 {
		return &usageError{"demo: --speed wants 1 to 120, --for a time above 0"}
	}
	return o.play(ctx, c)
}

var _ flag.Value = (*faultList)(nil)

func printFaults(c *call) error {
	tw := tabwriter.NewWriter(c.out, 0, 8, 2, ' ', 0)
	for _, f := range sim.FaultNames() {
		fmt.Fprintf(tw, "%s\t%s\n", f.Name, f.Means)
	}
	for _, f := range wireFaults() {
		fmt.Fprintf(tw, "%s\t%s\n", f.name, f.means)
	}
	return tw.Flush()
}

func (o *demoOpts) play(ctx context.Context, c *call) error {
	cfg, err := config.Parse("reference.toml", config.Reference())
	if err != nil {
		return err
	}
	cfg = withoutBoard(cfg)
	if o.dir == "" {
		if o.dir, err = os.MkdirTemp("", "charwarden-demo-"); err != nil {
			return fmt.Errorf("demo: %w", err)
		}
	} else if err := os.MkdirAll(o.dir, 0o750); err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	mqttBroker := &demoBroker{}
	if err := mqttBroker.start(); err != nil {
		return err
	}
	defer mqttBroker.stop()
	cfg.State, cfg.Socket = o.dir, filepath.Join(o.dir, "charwarden.sock")
	cfg.RunLog.Dir = filepath.Join(o.dir, "runs")
	cfg.MQTT.Broker, cfg.Metrics.Listen = "tcp://"+mqttBroker.addr, "127.0.0.1:0"

	logFile, err := os.Create(filepath.Join(o.dir, "log"))
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	defer logFile.Close()
	lines := newLogQueue(logFile)
	defer lines.Close()

	clock := newFastClock(o.speed)
	rig, err := newSimRig(cfg, clock, o.seed)
	if err != nil {
		return err
	}
	rig.broker = mqttBroker
	tale := &story{w: c.out, cfg: cfg, start: clock.start, clock: clock}
	w := &watch{cfg: cfg, board: rig.board, clock: clock, log: newLog(lines), more: []output{tale.update}}
	w.prepare = func(s *saved) { // the operator of the story has looked after the cell
		s.Cared = make(map[string]cared)
		for _, co := range cfg.COs {
			s.Cared[co.Channel] = cared{ZeroAt: clock.start.AddDate(0, 0, -20).Round(0), BumpAt: clock.start.Add(-time.Hour).Round(0)}
		}
	}
	if err := w.assemble(); err != nil {
		return err
	}
	tale.causes = w.loop.core.causes.Findings
	hopper, err := deedOf("weighed", massOrder{sim.DefaultPlan().Charcoal}) // and says what is in it
	if err != nil {
		return err
	}
	w.loop.requests <- func(now time.Time, c *core) { c.carryOut(now, "operator", hopper) }
	topics, err := names.NewTopics(cfg.MQTT.Prefix, cfg.Rig.Name)
	if err != nil {
		return err
	}
	fmt.Fprintf(c.out, "An irrigation pump's gas rig, simulated, %g times as fast as life. Everything but the chips is the real daemon.\n\n", o.speed)
	fmt.Fprintf(c.out, "  MQTT     %s, topics %s\n", mqttBroker.addr, cfg.MQTT.Prefix+"/"+cfg.Rig.Name+"/#")
	fmt.Fprintf(c.out, "  metrics  http://%s/metrics\n", w.http.Addr())
	fmt.Fprintf(c.out, "  files    %s\n", o.dir)
	fmt.Fprintf(c.out, "  commands charwarden alarms --socket %s\n", cfg.Socket)
	fmt.Fprintf(c.out, "  runs     charwarden report last --dir %s -o run.html\n\n", o.dir)

	length := o.length
	if length == 0 {
		length = time.Duration(float64(storyLength) / o.speed)
	}
	ctx, cancel := context.WithTimeout(ctx, length)
	defer cancel()
	flows, end := context.WithCancel(context.WithoutCancel(ctx)) // until the last bus has answered
	defer end()
	go clock.Run(flows)
	listener := &phone{broker: mqttBroker.addr, topics: topics, clock: clock, say: tale.say}
	go listener.Run(ctx)
	go narrate(ctx, rig, tale)
	for _, f := range o.faults {
		go inject(ctx, rig, tale, f)
	}
	err = w.start(ctx)
	stats := w.mqtt.Stats()
	tale.summary(stats.Published, stats.Dropped)
	return err
}

// inject makes a fault happen at its time. The rig's own are the model's to
// begin; those of wires and buses are done to the board.
func inject(ctx context.Context, s *simRig, tale *story, f fault) {
	wires := wireFaults()
	i := slices.IndexFunc(wires, func(w wireFault) bool { return w.name == f.name })
	if i < 0 {
		if err := s.Inject(f.name, f.at); err != nil {
			tale.say("FAULT", err.Error())
			return
		}
	}
	s.clock.Sleep(ctx, f.at-s.clock.Now().Sub(tale.start))
	if ctx.Err() != nil {
		return
	}
	tale.say("FAULT", faultMeans()[f.name])
	if i >= 0 {
		wires[i].do(ctx, s)
	}
}

// narrate tells what the operator does.
func narrate(ctx context.Context, s *simRig, tale *story) {
	told := 0
	for ctx.Err() == nil {
		events := s.Happening(s.clock.Now())
		for _, e := range events[told:] {
			tale.say("rig", e.Text)
		}
		told = len(events)
		s.clock.Sleep(ctx, time.Second)
	}
}

// withoutBoard leaves out what the machine shows of itself: it is no part of a
// simulated rig.
func withoutBoard(cfg *config.Config) *config.Config {
	named := known(cfg)
	for _, ch := range []string{"board_temp", "disk_free", "clock_unsynced"} {
		delete(named, ch)
	}
	return fitted(cfg, named)
}
