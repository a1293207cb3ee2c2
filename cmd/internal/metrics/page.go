package metrics

import (
	"cmp"
	"runtime"
	"slices"
	"strings"
	"time"

	dto "github.com/prometheus/client_model/go"

	"charwarden/alarms"
	"charwarden/cmd/internal/names"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// page is everything that a scrape may show, in the library's own form and
// order. It is made once: the labels of some 2000 samples cost more than their
// values. A scrape shows some of the samples, with new values.
type page struct {
	now      snapshot // what the page shows
	sections []*section
	families []*dto.MetricFamily // of the newest turn

	channels []channelSamples
	rules    []ruleSamples
	standing []*sample           // by Priority
	phases   []*sample           // from phase.Cold
	buses    map[string]*sample  // grows with each new name
	single   map[*family]*sample // of families without labels, and build_info
	of       map[*family]*section
}

// section is one family with all samples that it may have, sorted by labels.
type section struct {
	family  *dto.MetricFamily
	samples []*sample
}

// sample is one line of the page.
type sample struct {
	metric *dto.Metric
	value  *float64 // in metric
	shown  bool     // in this turn
}

type channelSamples struct {
	value, up, age *sample
	faults         []*sample // by Status; nil for Unknown and Good
}

type ruleSamples struct {
	priority alarms.Priority
	states   []*sample // by State
}

func newPage(o Opts) *page {
	p := &page{
		now:    newSnapshot(len(o.Channels), len(o.Rules), time.Time{}),
		buses:  make(map[string]*sample),
		single: make(map[*family]*sample),
		of:     make(map[*family]*section),
	}
	for _, f := range families() {
		p.begin(f)
	}
	p.single[buildInfo] = p.add(buildInfo, pair(names.LabelVersion, strings.ToValidUTF8(o.Version, "?")),
		pair(names.LabelRevision, strings.ToValidUTF8(o.Commit, "?")), pair(names.LabelGoVersion, runtime.Version()))
	p.addChannels(o.Channels)
	p.addRules(o.Rules)
	for ph := phase.Cold; ph <= phase.Sealed; ph++ {
		p.phases = append(p.phases, p.add(phaseNow, pair(names.LabelPhase, ph.String())))
	}
	slices.SortFunc(p.sections, func(a, b *section) int { return cmp.Compare(a.family.GetName(), b.family.GetName()) })
	for _, s := range p.sections {
		s.sort()
	}
	return p
}

func (p *page) begin(f *family) {
	kind := dto.MetricType_GAUGE
	if f.counter {
		kind = dto.MetricType_COUNTER
	}
	s := &section{family: &dto.MetricFamily{Name: &f.name, Help: &f.help, Type: &kind}}
	p.sections = append(p.sections, s)
	p.of[f] = s
	if len(f.labels) == 0 {
		p.single[f] = p.add(f)
	}
}

func (p *page) add(f *family, labels ...*dto.LabelPair) *sample {
	slices.SortFunc(labels, func(a, b *dto.LabelPair) int { return cmp.Compare(a.GetName(), b.GetName()) })
	s := &sample{metric: &dto.Metric{Label: labels}, value: new(float64)}
	if f.counter {
		s.metric.Counter = &dto.Counter{Value: s.value}
	} else {
		s.metric.Gauge = &dto.Gauge{Value: s.value}
	}
	p.of[f].samples = append(p.of[f].samples, s)
	return s
}

func pair(name, value string) *dto.LabelPair {
	return &dto.LabelPair{Name: &name, Value: &value}
}

func (p *page) addChannels(channels []sensors.Channel) {
	faults := make([]*dto.LabelPair, statuses)
	for _, f := range sensors.Statuses() {
		faults[f] = pair(names.LabelFault, f.String())
	}
	for _, ch := range channels {
		name := pair(names.LabelChannel, ch.Name)
		c := channelSamples{
			value:  p.add(quantities[ch.Quantity], name),
			up:     p.add(channelUp, name),
			age:    p.add(channelAge, name),
			faults: make([]*sample, statuses),
		}
		for f := int(sensors.Good) + 1; f < statuses; f++ {
			c.faults[f] = p.add(channelFaults, name, faults[f])
		}
		p.channels = append(p.channels, c)
	}
}

func (p *page) addRules(rules []alarms.Rule) {
	var priorities, states []*dto.LabelPair
	for pr := alarms.Notice; pr <= alarms.Evacuate; pr++ {
		l := pair(names.LabelPriority, pr.String())
		priorities = append(priorities, l)
		p.standing = append(p.standing, p.add(alarmStanding, l))
	}
	for _, st := range alarms.States() {
		states = append(states, pair(names.LabelState, st.String()))
	}
	for _, r := range rules {
		name := pair(names.LabelAlarm, r.Name)
		row := ruleSamples{priority: r.Priority}
		for _, st := range states {
			row.states = append(row.states, p.add(alarmState, name, priorities[r.Priority], st))
		}
		p.rules = append(p.rules, row)
	}
}

// bus returns the sample of a bus.
func (p *page) bus(name string) *sample {
	s := p.buses[name]
	if s == nil {
		s = p.add(busStuck, pair(names.LabelBus, name))
		p.buses[name] = s
		p.of[busStuck].sort()
	}
	return s
}

// sort brings the samples into the order of a registry.
func (s *section) sort() {
	slices.SortFunc(s.samples, func(a, b *sample) int {
		return slices.CompareFunc(a.metric.Label, b.metric.Label, func(x, y *dto.LabelPair) int {
			return cmp.Compare(x.GetValue(), y.GetValue())
		})
	})
}

// turn lists what was shown since the last turn, and shows nothing any more.
func (p *page) turn() []*dto.MetricFamily {
	p.families = p.families[:0]
	for _, s := range p.sections {
		shown := s.family.Metric[:0]
		for _, m := range s.samples {
			if m.shown {
				m.shown = false
				shown = append(shown, m.metric)
			}
		}
		if s.family.Metric = shown; len(shown) > 0 {
			p.families = append(p.families, s.family)
		}
	}
	return p.families
}

func (s *sample) show(value float64) { *s.value, s.shown = value, true }
