package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"os/user"
	"strings"
	"sync"
	"testing"
	"time"

	"charwarden/alarms"
	"charwarden/sensors"
	"charwarden/sensors/derive/phase"
)

// safeLog is a log that a test reads while it is written.
type safeLog struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *safeLog) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *safeLog) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// testDesk is a desk that listens, with a stand-in for the loop.
type testDesk struct {
	*desk
	core *core
	log  safeLog
	in   chan request
	v    *visit
}

// newTestDesk starts a desk on the reference rig, of which nothing has been
// read for a minute: faults stand. carry begins to carry requests out.
func newTestDesk(t *testing.T) (d *testDesk, carry func()) {
	t.Helper()
	b := newBenchRig(t, nil)
	d = &testDesk{core: b.loop.core, in: make(chan request, perTick)}
	d.desk = &desk{path: b.cfg.Socket, rig: b.rig, signals: b.loop.core.signals, requests: d.in, log: slog.New(slog.NewTextHandler(&d.log, nil))}
	d.v = newVisit(b.cfg.Socket, nil)
	now := time.Now()
	for _, ch := range d.core.channels {
		*d.core.reading(ch.Name) = sensors.Bad(ch.Name, now, sensors.NoAnswer, nil)
	}
	for i := range 61 {
		d.core.engine.Step(now.Add(time.Duration(i)*time.Second), d.core.readings, phase.Running)
	}
	ctx, cancel := context.WithCancel(t.Context())
	var wg sync.WaitGroup
	wg.Go(func() { d.Run(ctx) })
	t.Cleanup(func() { cancel(); wg.Wait() })
	within(t, 5*time.Second, "the desk listens", func() bool {
		c, err := net.Dial("unix", d.path)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	return d, func() {
		wg.Go(func() {
			for {
				select {
				case r := <-d.in:
					r(now.Add(2*time.Minute), d.core)
				case <-ctx.Done():
					return
				}
			}
		})
	}
}

// raw posts a body as it is.
func (d *testDesk) raw(t *testing.T, path, body string) (code int, text string) {
	t.Helper()
	resp, err := d.v.client.Post("http://charwarden"+path, "application/json", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, strings.TrimSpace(string(b))
}

func TestDeskOrders(t *testing.T) {
	d, carry := newTestDesk(t)
	carry()
	for _, c := range []struct {
		path, body string
		code       int
		says       string
	}{
		{"/ack", `{"alarm":"gas_out_fault"}`, 200, `"acknowledged"`},
		{"/ack", `{"alarm":"gas_out_fault"}`, 409, "acknowledged already"},
		{"/ack", `{"alarm":"dragon_alarm"}`, 404, "no alarm of this name"},
		{"/reset", `{"alarm":"gas_out_fault"}`, 409, "condition is still there"},
		{"/shelve", `{"alarm":"gas_out_fault","seconds":600}`, 200, `"shelved"`},
		{"/shelve", `{"alarm":"gas_out_fault","seconds":1801}`, 400, "at most 1800"},
		{"/shelve", `{"alarm":"gas_out_fault","seconds":-1}`, 400, "more than 0"},
		{"/unshelve", `{"alarm":"gas_out_fault"}`, 200, `"unacknowledged"`},
		{"/unshelve", `{"alarm":"gas_out_fault"}`, 409, "not shelved"},
		{"/out", `{"alarm":"gas_out_fault"}`, 400, "reason: missing"},
		{"/out", `{"alarm":"gas_out_fault","reason":"couple is ordered"}`, 200, `"out_of_service"`},
		{"/in", `{"alarm":"gas_out_fault"}`, 200, `"unacknowledged"`},
		{"/shelve", `{"alarm":"co_evacuate","seconds":60}`, 409, "neither shelved"},
		{"/note", `{"text":"hopper filled"}`, 200, ""},
		{"/note", `{"text":"two\nlines"}`, 400, "cannot be printed"},
		{"/phase", `{"phase":"running"}`, 200, ""},
		{"/phase", `{"phase":"flying"}`, 400, "unknown word"},
		{"/phase", `{"phase":"auto"}`, 200, ""},
		{"/silence", ``, 409, "nothing sounds"},
		{"/sound", ``, 200, ""},
		{"/silence", `{"for":"ever"}`, 400, "unknown field"},
		{"/calibrate", `{"channel":"dragon","what":"zero"}`, 404, "no channel"},
		{"/calibrate", `{"channel":"co","what":"paint"}`, 400, "zero or span"},
		{"/calibrate", `{"channel":"co","what":"span"}`, 400, "needs one"},
		{"/calibrate", `{"channel":"co","what":"zero"}`, 409, ""},
		{"/reset/permit", `{}`, 409, "permit"},
		{"/bumptest/start", `{"channel":"dragon","ppm":50}`, 404, "no channel"},
		{"/bumptest/start", `{"channel":"co","ppm":-50}`, 400, "ppm"},
		{"/bumptest/start", `{"channel":"co","ppm":50}`, 409, ""},
		{"/ack", `{"alarm":"co_fault"`, 400, "order"},
		{"/ack", `{"alarm":"co_fault"}{}`, 400, "more than one"},
		{"/ack", `{"alarm":7}`, 400, "order"},
		{"/ack", `null`, 400, "object"},
		{"/ack", "{\"alarm\":\"\xff\"}", 400, "UTF-8"},
		{"/ack", `{"alarm":"` + strings.Repeat("a", maxOrder) + `"}`, 413, "more than 4096"},
		{"/nothing", `{}`, 404, ""},
	} {
		code, text := d.raw(t, c.path, c.body)
		if code != c.code || !strings.Contains(text, c.says) {
			t.Errorf("%s %.60s: %d %q, want %d and %q", c.path, c.body, code, text, c.code, c.says)
		}
	}
	if len(d.core.made) < 5 {
		t.Errorf("%d transitions handed to the loop, want those of ack, shelve, unshelve, out, in", len(d.core.made))
	}
	me, err := user.Current()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"msg=command person=" + me.Username, "verb=ack alarm=gas_out_fault\n", `reason="couple is ordered"`,
		`text="hopper filled"`, `msg="command refused"`, "alarm=dragon_alarm err=",
	} {
		if !strings.Contains(d.log.String(), want) {
			t.Errorf("the log lacks %q", want)
		}
	}
}

// Horn and lamps are played on demand, but not while the horn calls in earnest.
func TestDeskSound(t *testing.T) {
	d, carry := newTestDesk(t)
	carry()
	if code, text := d.raw(t, "/sound", ""); code != 200 {
		t.Errorf("nothing calls: %d %s", code, text)
	}
	d.core.signals.siren.Update(time.Now(), d.core.engine.Alarms(nil), nil)
	if code, text := d.raw(t, "/sound", ""); code != 409 || !strings.Contains(text, "an alarm calls") {
		t.Errorf("an alarm calls: %d %s, want 409", code, text)
	}
}

func TestDeskAlarms(t *testing.T) {
	d, carry := newTestDesk(t)
	carry()
	if err := d.v.post(t.Context(), "/out", outOrder{"filter_in_fault", "couple is ordered"}, nil); err != nil {
		t.Fatal(err)
	}
	var rows []levelRow
	if err := d.v.get(t.Context(), "/alarms", &rows); err != nil {
		t.Fatal(err)
	}
	all := d.core.engine.Alarms(nil)
	if len(rows) != len(all) {
		t.Fatalf("%d rows, want one for each of %d rules", len(rows), len(all))
	}
	for i, r := range rows {
		a := &all[i]
		if r.Name != a.Rule.Name || r.State != a.State.String() || r.Seq != a.Seq || (r.Order == nil) != (a.Order == 0) {
			t.Errorf("row %+v is not alarm %s %v", r, a.Rule.Name, a.State)
		}
		if a.Rule.Kind.Limited() != (r.Limit != nil) || r.Value != nil {
			t.Errorf("%s: limit %v, value %v, of a rig without a value", r.Name, r.Limit, r.Value)
		}
		if out := r.Name == "filter_in_fault"; out != (r.State == "out_of_service") || out && *r.Reason != "couple is ordered" {
			t.Errorf("%s: %s, reason %v", r.Name, r.State, r.Reason)
		}
	}
}

// A flood is refused, not waited for, and takes neither the desk nor the log.
func TestDeskFlood(t *testing.T) {
	d, _ := newTestDesk(t)
	const n = 1000
	var wg sync.WaitGroup
	var mu sync.Mutex
	var late, many, other int
	began := time.Now()
	gate := make(chan struct{}, 50)
	for range n {
		wg.Go(func() {
			gate <- struct{}{}
			defer func() { <-gate }()
			err := d.v.post(t.Context(), "/ack", named{"gas_out_fault"}, nil)
			mu.Lock()
			defer mu.Unlock()
			switch {
			case err != nil && strings.Contains(err.Error(), errTooMany.Error()):
				many++
			case err != nil && strings.Contains(err.Error(), errNoAnswer.Error()):
				late++
			default:
				other++
				t.Logf("%v", err)
			}
		})
	}
	wg.Wait()
	if many != n-perTick || late != perTick || other != 0 {
		t.Errorf("%d too many, %d not answered, %d others; want %d, %d, 0", many, late, other, n-perTick, perTick)
	}
	if took := time.Since(began); took > 3*askLimit {
		t.Errorf("took %v: somebody was kept waiting", took)
	}
	if lines := strings.Count(d.log.String(), "too many"); lines == 0 || lines > 10 {
		t.Errorf("%d lines of the log about the flood, want one a second", lines)
	}
	for range perTick { // whom the person was told of as not done must stay so
		(<-d.in)(time.Now(), d.core)
	}
	for _, a := range d.core.engine.Alarms(nil) {
		if a.State == alarms.Acknowledged {
			t.Errorf("%s: acknowledged after its person gave up", a.Rule.Name)
		}
	}
}

func TestDeskCallerGoesAway(t *testing.T) {
	d, _ := newTestDesk(t)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() {
		done <- d.ask(ctx, func(time.Time, *core) error { t.Error("carried out for nobody"); return nil })
	}()
	r := <-d.in
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want that it was cancelled", err)
	}
	r(time.Now(), d.core) // must not block
}

func TestVisitWithoutDaemon(t *testing.T) {
	_, err := askRows(t.Context(), t.TempDir()+"/none", nil)
	if err == nil || !strings.Contains(err.Error(), "charwarden run") {
		t.Errorf("%v, want the advice to start it", err)
	}
}

// Beside an alarm stands what its channel shows now, never what it showed last.
func TestAlarmRowsShowNothingOld(t *testing.T) {
	d, _ := newTestDesk(t)
	c := d.core
	now := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	x := c.reading("gas_out")
	shown := func() *float64 {
		for _, r := range alarmRows(c) {
			if r.Name == "gas_out_caution" {
				return r.Value
			}
		}
		t.Fatal("no gas_out_caution")
		return nil
	}
	*x = sensors.Reading{Channel: "gas_out", At: now, Value: 450, Status: sensors.Good}
	c.engine.Step(now, c.readings, phase.Running)
	if v := shown(); v == nil || *v != 450 {
		t.Errorf("%v, want 450", v)
	}
	*x = sensors.Bad("gas_out", now, sensors.Open, nil)
	c.engine.Step(now.Add(time.Second), c.readings, phase.Running)
	if v := shown(); v != nil {
		t.Errorf("%g of an open couple", *v)
	}
}
