// Package metrics shows the daemon to Prometheus: the newest good value of each
// channel, what is wrong with the others, the alarms, and the daemon's health.
//
// Data flows one way. The loop hands its snapshot to Update once per tick; a
// scrape copies the last one and never reaches back. What is not known is
// absent from the page and never a number: a channel that is not good has no
// sample, and when the loop has been silent for 3 s no value is left at all.
//
// The page has no time stamps of its own. Prometheus would otherwise go on
// showing a vanished series for 5 minutes, and a board without a clock battery
// would have its samples refused.
package metrics

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"unicode/utf8"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"charwarden/alarms"
	"charwarden/sensors"
)

// Opts is all that an Exporter needs.
type Opts struct {
	Listen          string            // "127.0.0.1:9455"; port 0 takes a free one
	Channels        []sensors.Channel // measured and derived; names are unique
	Rules           []alarms.Rule     // names are unique
	Version, Commit string            // of charwarden_build_info
	Clock           sensors.Clock     // the one whose times Update gets
	Log             *slog.Logger
}

// Exporter serves the metrics page. Update belongs to the loop; Listen, Addr
// and Run to whoever starts the daemon.
type Exporter struct {
	opts     Opts
	server   *http.Server
	listener net.Listener // nil before Listen

	// Fixed by New.
	channelIndex map[string]int
	ruleIndex    map[string]int

	mu   sync.Mutex // guards last; held for a copy, never during I/O
	last snapshot

	spare chan *page // at rest, for the next scrape
}

// New checks o and makes an Exporter that does not listen yet. Its page has this
// daemon's families and those of the process (memory, open files; at most 5 s
// old); the Go runtime's are left out, since they cost more than they tell about
// a rig.
func New(o Opts) (*Exporter, error) {
	if o.Clock == nil || o.Log == nil {
		return nil, errors.New("metrics: options: Clock and Log are needed")
	}
	if _, _, err := net.SplitHostPort(o.Listen); err != nil {
		return nil, fmt.Errorf("metrics: listen address %q: %w (want host:port, such as 127.0.0.1:9455)", o.Listen, err)
	}
	e := &Exporter{opts: o, spare: make(chan *page, 1)}
	var err error
	if e.channelIndex, err = index("channel", o.Channels, func(c sensors.Channel) string { return c.Name }); err != nil {
		return nil, err
	}
	if e.ruleIndex, err = index("rule", o.Rules, func(r alarms.Rule) string { return r.Name }); err != nil {
		return nil, err
	}
	for _, c := range o.Channels {
		if int(c.Quantity) >= len(quantities) {
			return nil, fmt.Errorf("metrics: channel %q: quantity %d: unknown", c.Name, c.Quantity)
		}
	}
	for _, r := range o.Rules {
		if r.Priority > alarms.Evacuate {
			return nil, fmt.Errorf("metrics: rule %q: %v: unknown", r.Name, r.Priority)
		}
	}
	e.last = newSnapshot(len(o.Channels), len(o.Rules), o.Clock.Now())
	process := prometheus.NewRegistry()
	process.MustRegister(collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	e.server = newServer(&gatherer{Exporter: e, process: seldom{of: process}, registry: prometheus.NewRegistry()})
	return e, nil
}

// index numbers things by name. Two of one name would be two samples of one
// series, which Prometheus refuses together with the whole page.
func index[T any](what string, all []T, name func(T) string) (map[string]int, error) {
	m := make(map[string]int, len(all))
	for i, v := range all {
		n := name(v)
		if n == "" || !utf8.ValidString(n) {
			return nil, fmt.Errorf("metrics: %s %d: name %q: empty or not UTF-8", what, i, n)
		}
		if _, twice := m[n]; twice {
			return nil, fmt.Errorf("metrics: %s %q: named twice", what, n)
		}
		m[n] = i
	}
	return m, nil
}
