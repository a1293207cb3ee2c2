package metrics

import (
	"cmp"
	"runtime"
	"slices"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// labels are sorted by label name, as the registry wants them. They are made
// once and shared by every page.
type labels []*dto.LabelPair

func makeLabels(pairs ...*dto.LabelPair) labels {
	slices.SortFunc(pairs, func(a, b *dto.LabelPair) int { return cmp.Compare(a.GetName(), b.GetName()) })
	return pairs
}

func pair(name, value string) *dto.LabelPair {
	return &dto.LabelPair{Name: &name, Value: &value}
}

// sample is one line of the page. The library's own constant metrics would
// make all labels anew for every scrape.
type sample struct {
	family
	labels labels
	value  float64
}

func (s *sample) Desc() *prometheus.Desc { return s.desc }

func (s *sample) Write(m *dto.Metric) error {
	m.Label = s.labels
	if s.counter {
		m.Counter = &dto.Counter{Value: &s.value}
	} else {
		m.Gauge = &dto.Gauge{Value: &s.value}
	}
	return nil
}

// series are the labels of everything that Opts lists.
type series struct {
	build    labels
	channels []channelSeries
	rules    []ruleSeries
	standing []labels // by Priority
}

type channelSeries struct {
	quantity sensors.Quantity
	channel  labels
	faults   []labels // by Status; nil for Unknown and Good
}

type ruleSeries struct {
	priority alarms.Priority
	states   []labels // by State
}

func makeSeries(o Opts) series {
	s := series{build: makeLabels(
		pair(names.LabelVersion, o.Version),
		pair(names.LabelRevision, o.Commit),
		pair(names.LabelGoVersion, runtime.Version()),
	)}
	faults := make([]*dto.LabelPair, statuses)
	for _, f := range sensors.Statuses() {
		faults[f] = pair(names.LabelFault, f.String())
	}
	for _, ch := range o.Channels {
		name := pair(names.LabelChannel, ch.Name)
		c := channelSeries{quantity: ch.Quantity, channel: makeLabels(name), faults: make([]labels, statuses)}
		for f := sensors.Good + 1; int(f) < statuses; f++ {
			c.faults[f] = makeLabels(name, faults[f])
		}
		s.channels = append(s.channels, c)
	}
	states := make([]*dto.LabelPair, 0, len(alarms.States()))
	for _, st := range alarms.States() {
		states = append(states, pair(names.LabelState, st.String()))
	}
	for p := alarms.Notice; p <= alarms.Evacuate; p++ {
		s.standing = append(s.standing, makeLabels(pair(names.LabelPriority, p.String())))
	}
	for _, r := range o.Rules {
		name := pair(names.LabelAlarm, r.Name)
		row := ruleSeries{priority: r.Priority}
		for _, st := range states {
			row.states = append(row.states, makeLabels(name, s.standing[r.Priority][0], st))
		}
		s.rules = append(s.rules, row)
	}
	return s
}

// phaseLabels of the phases, in their order.
var phaseLabels = func() (all []labels) {
	for ph := phase.Cold; ph <= phase.Sealed; ph++ {
		all = append(all, makeLabels(pair(names.LabelPhase, ph.String())))
	}
	return all
}()

// size is how many samples a page has at most, buses not counted.
func (s *series) size() int {
	return 40 + len(s.channels)*(3+statuses) + len(s.rules)*len(alarms.States()) + len(s.standing)
}

// collector makes the page's samples from the exporter's last snapshot.
type collector struct{ *Exporter }

func (c collector) Describe(ch chan<- *prometheus.Desc) {
	for _, f := range families() {
		ch <- f.desc
	}
}

func (c collector) Collect(ch chan<- prometheus.Metric) {
	s := newSnapshot(len(c.series.channels), len(c.series.rules), time.Time{})
	p := page{samples: make([]sample, 0, c.series.size())}
	c.mu.Lock()
	s.copyFrom(&c.last)
	c.mu.Unlock()

	p.fill(&c.series, &s, c.opts.Clock.Now())
	for i := range p.samples {
		ch <- &p.samples[i]
	}
}

// page collects samples.
type page struct{ samples []sample }

func (p *page) add(f family, l labels, value float64) {
	p.samples = append(p.samples, sample{family: f, labels: l, value: value})
}

func (p *page) fill(l *series, s *snapshot, now time.Time) {
	dead := s.dead(now)
	p.add(buildInfo, l.build, 1)
	p.channels(l, s, now, dead)
	p.alarms(l, s, dead)
	p.health(s, now, dead)
}

func (p *page) channels(l *series, s *snapshot, now time.Time, dead bool) {
	for i := range l.channels {
		c, row := &s.channels[i], &l.channels[i]
		good := c.good() && !dead
		if good {
			p.add(quantities[row.quantity], row.channel, c.value)
		}
		p.add(channelUp, row.channel, number(good))
		if !c.at.IsZero() {
			p.add(channelAge, row.channel, now.Sub(c.at).Seconds())
		}
		// Zeros too: of a counter that begins at 1, increase() misses the first fault.
		for f := int(sensors.Good) + 1; f < statuses; f++ {
			p.add(channelFaults, row.faults[f], float64(s.faults[i*statuses+f]))
		}
	}
}

func (p *page) alarms(l *series, s *snapshot, dead bool) {
	var standing [alarms.Evacuate + 1]float64
	for i, row := range l.rules {
		r := s.rules[i]
		if r.known && r.state.Standing() {
			standing[row.priority]++
		} else if !r.known || dead {
			continue
		}
		for st, labels := range row.states {
			p.add(alarmState, labels, number(alarms.State(st) == r.state))
		}
	}
	for priority, n := range standing {
		if n > 0 || !dead {
			p.add(alarmStanding, l.standing[priority], n)
		}
	}
}

func (p *page) health(s *snapshot, now time.Time, dead bool) {
	h := &s.health
	p.add(loopAge, nil, now.Sub(s.updated).Seconds())
	p.add(ticks, nil, float64(h.Ticks))
	p.add(ticksMissed, nil, float64(h.Missed))
	p.add(readingsDropped, nil, float64(h.ReadingsDropped))
	p.add(readingsMissed, nil, float64(h.ReadingsMissed))
	if s.live {
		p.add(tickLast, nil, h.Step.Seconds())
		p.add(tickMax, nil, h.StepMax.Seconds())
	}
	if s.live && !dead {
		for ph, labels := range phaseLabels {
			p.add(phaseNow, labels, number(h.Phase == phase.Phase(ph)))
		}
		if h.PermitFitted {
			p.add(runPermit, nil, number(h.PermitHeld))
		}
	}
	for _, b := range h.Bus {
		if !dead {
			p.add(busStuck, makeLabels(pair(names.LabelBus, b.Name)), b.Stuck.Seconds())
		}
	}
	if h.MQTTOff || !s.live {
		return
	}
	if !dead {
		p.add(mqttConnected, nil, number(h.MQTTConnected))
	}
	p.add(mqttConnects, nil, float64(h.MQTTConnects))
	p.add(mqttRebuilds, nil, float64(h.MQTTRebuilds))
	p.add(mqttPublished, nil, float64(h.MQTTPublished))
	p.add(mqttDropped, nil, float64(h.MQTTDropped))
}

func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
