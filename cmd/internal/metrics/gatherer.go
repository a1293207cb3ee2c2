package metrics

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// gatherer makes a scrape's families from the exporter's last snapshot: those
// of the rig, and behind them those of the registry: the process's, and its own
// about scrapes. New has seen to it that no two samples are of one series, so
// none is checked here.
type gatherer struct {
	*Exporter
	process  seldom
	registry *prometheus.Registry
}

// Gather takes a page that no scrape is reading. There is mostly just one;
// those of scrapes at the same time are thrown away.
func (g *gatherer) Gather() (families []*dto.MetricFamily, done func(), err error) {
	var p *page
	select {
	case p = <-g.spare:
	default:
		p = newPage(g.opts)
	}
	g.mu.Lock()
	p.now.copyFrom(&g.last)
	g.mu.Unlock()

	now := g.opts.Clock.Now()
	defect := p.fill(now)
	families = p.turn()
	process, err := g.process.gather(now)
	defect = errors.Join(defect, err)
	library, err := g.registry.Gather()
	families = slices.Concat(families, process, library) // in the order of their names
	return families, func() {
		select {
		case g.spare <- p:
		default:
		}
	}, errors.Join(defect, err)
}

// processEvery is how often the process's families are read at most: that costs
// as much as all the rest of a scrape.
const processEvery = 5 * time.Second

// seldom keeps what a collector said last. It is safe for concurrent scrapes.
type seldom struct {
	of prometheus.Gatherer

	mu       sync.Mutex
	at       time.Time
	families []*dto.MetricFamily // read by scrapes, changed by nobody
	err      error
}

func (s *seldom) gather(now time.Time) ([]*dto.MetricFamily, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if age := now.Sub(s.at); s.at.IsZero() || age < 0 || age >= processEvery {
		s.at = now
		s.families, s.err = s.of.Gather()
	}
	return s.families, s.err
}

// fill shows what the snapshot says. The error is of samples that no page may
// hold; the others are not less true for it.
func (p *page) fill(now time.Time) error {
	dead := p.now.dead(now)
	p.show(buildInfo, 1)
	p.fillChannels(now, dead)
	p.fillAlarms(dead)
	p.fillHealth(now, dead)
	return p.fillBuses(dead)
}

func (p *page) show(f *family, value float64) { p.single[f].show(value) }

func (p *page) fillChannels(now time.Time, dead bool) {
	for i := range p.channels {
		c, row := &p.now.channels[i], &p.channels[i]
		good := c.good() && !dead
		if good {
			row.value.show(c.value)
		}
		row.up.show(number(good))
		if !c.at.IsZero() {
			row.age.show(now.Sub(c.at).Seconds())
		}
		// Zeros too: of a counter that begins at 1, increase() misses the first fault.
		for f := int(sensors.Good) + 1; f < statuses; f++ {
			row.faults[f].show(float64(p.now.faults[i*statuses+f]))
		}
	}
}

func (p *page) fillAlarms(dead bool) {
	var standing [alarms.Evacuate + 1]float64
	for i, row := range p.rules {
		r := p.now.rules[i]
		if r.known && r.state.Standing() {
			standing[row.priority]++
		} else if !r.known || dead {
			continue
		}
		for st, s := range row.states {
			s.show(number(alarms.State(st) == r.state))
		}
	}
	for priority, n := range standing {
		if n > 0 || !dead {
			p.standing[priority].show(n)
		}
	}
}

func (p *page) fillHealth(now time.Time, dead bool) {
	h, live := &p.now.health, p.now.live
	p.show(loopAge, now.Sub(p.now.updated).Seconds())
	p.show(ticks, float64(h.Ticks))
	p.show(ticksMissed, float64(h.Missed))
	p.show(readingsDropped, float64(h.ReadingsDropped))
	p.show(readingsMissed, float64(h.ReadingsMissed))
	if live {
		p.show(tickLast, h.Step.Seconds())
		p.show(tickMax, h.StepMax.Seconds())
	}
	if live && !dead {
		for i, s := range p.phases {
			s.show(number(h.Phase == phase.Cold+phase.Phase(i)))
		}
		if h.PermitFitted {
			p.show(runPermit, number(h.PermitHeld))
		}
	}
	if !h.LogOff && live {
		if !dead {
			p.show(logQueued, float64(h.LogQueued))
			p.show(logFile, float64(h.LogFile))
		}
		p.show(logDropped, float64(h.LogDropped))
		p.show(logFaults, float64(h.LogFaults))
	}
	if h.MQTTOff || !live {
		return
	}
	if !dead {
		p.show(mqttConnected, number(h.MQTTConnected))
	}
	p.show(mqttConnects, float64(h.MQTTConnects))
	p.show(mqttRebuilds, float64(h.MQTTRebuilds))
	p.show(mqttPublished, float64(h.MQTTPublished))
	p.show(mqttDropped, float64(h.MQTTDropped))
}

func (p *page) fillBuses(dead bool) (err error) {
	if dead {
		return nil
	}
	for _, b := range p.now.health.Bus {
		if !utf8.ValidString(b.Name) {
			err = fmt.Errorf("metrics: bus %q: not UTF-8", b.Name)
			continue
		}
		p.bus(b.Name).show(b.Stuck.Seconds())
	}
	return err
}

func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
