package metrics

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
)

// stable is a rig of 20 channels and 60 rules, all well.
func stable(b *testing.B) (*Exporter, time.Time, []sensors.Reading, []alarms.Alarm, Health) {
	d := newDial()
	o := pumpOpts(d)
	o.Channels, o.Rules = nil, nil
	var rs []sensors.Reading
	for i := range 20 {
		c := sensors.Channel{Name: fmt.Sprintf("place_%d", i), Quantity: sensors.Quantity(i % len(quantities))}
		o.Channels = append(o.Channels, c)
		rs = append(rs, reading(c.Name, d.Now(), float64(i)+0.123))
		for p := alarms.Caution; p <= alarms.Evacuate; p++ {
			o.Rules = append(o.Rules, alarms.Rule{Name: c.Name + "_" + p.String(), Channel: c.Name, Priority: p})
		}
	}
	as := make([]alarms.Alarm, len(o.Rules))
	for i := range o.Rules {
		as[i].Rule = &o.Rules[i]
	}
	e, err := New(o)
	if err != nil {
		b.Fatal(err)
	}
	return e, d.Now(), rs, as, Health{Ticks: 1, Bus: []BusHealth{{"/dev/i2c-1", 0}, {"/dev/spidev0.0", 0}}}
}

func BenchmarkUpdate(b *testing.B) {
	e, now, rs, as, h := stable(b)
	b.ReportAllocs()
	for b.Loop() {
		e.Update(now, rs, as, h)
	}
}

// nowhere is a client that reads at once and keeps nothing.
type nowhere struct {
	header http.Header
	n      int
}

func (w *nowhere) Header() http.Header         { return w.header }
func (w *nowhere) WriteHeader(int)             {}
func (w *nowhere) Write(p []byte) (int, error) { w.n += len(p); return len(p), nil }

func BenchmarkScrape(b *testing.B) {
	for _, f := range []struct{ name, accept string }{{"text", acceptText}, {"openmetrics", acceptOpenMetrics}} {
		b.Run(f.name, func(b *testing.B) {
			e, now, rs, as, h := stable(b)
			e.Update(now, rs, as, h)
			r := httptest.NewRequest("GET", "/metrics", nil)
			r.Header.Set("Accept", f.accept)
			b.ReportAllocs()
			w := &nowhere{header: http.Header{}}
			for b.Loop() {
				w.n = 0
				e.server.Handler.ServeHTTP(w, r)
			}
			b.ReportMetric(float64(w.n), "page-B")
		})
	}
}

// BenchmarkGather is the part of a scrape that is ours.
func BenchmarkGather(b *testing.B) {
	e, now, rs, as, h := stable(b)
	e.Update(now, rs, as, h)
	g := ownFamilies(e)
	b.ReportAllocs()
	for b.Loop() {
		_, done, err := g.Gather()
		if err != nil {
			b.Fatal(err)
		}
		done()
	}
}
