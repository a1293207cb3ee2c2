package sim

import (
	"testing"
	"testing/synctest"
	"time"

	"periph.io/x/conn/v3/gpio"
)

func tacho(t *testing.T, hz func(time.Time) float64, edge gpio.Edge) gpio.PinIO {
	t.Helper()
	b := NewBoard(system{}, 1)
	b.AddPulses("GPIO17", hz)
	p, err := b.Pin("GPIO17")
	if err != nil {
		t.Fatal(err)
	}
	if err := p.In(gpio.PullUp, edge); err != nil {
		t.Fatal(err)
	}
	return p
}

// Edges come at the asked rate, whichever kind is looked for.
func TestPulses(t *testing.T) {
	for edge, want := range map[gpio.Edge]int{gpio.RisingEdge: 500, gpio.FallingEdge: 500, gpio.BothEdges: 1000} {
		synctest.Test(t, func(t *testing.T) {
			p := tacho(t, steady(50), edge)
			n, end := 0, time.Now().Add(10*time.Second)
			for time.Now().Before(end) {
				if p.WaitForEdge(100 * time.Millisecond) {
					n++
				}
			}
			if abs(n-want) > 1 {
				t.Errorf("%s: %d edges in 10 s of 50 Hz, want %d", edge, n, want)
			}
		})
	}
}

// Edges that came while nobody waited are not lost.
func TestPulsesWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := tacho(t, steady(50), gpio.RisingEdge)
		time.Sleep(2*time.Second + time.Millisecond)
		n := 0
		for began := time.Now(); time.Since(began) == 0; n++ {
			p.WaitForEdge(time.Second)
		}
		if n != 101 { // 100 of the past, one that had to be waited for
			t.Errorf("%d edges, want 101", n)
		}
	})
}

func TestNoPulses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := tacho(t, steady(0), gpio.RisingEdge)
		began := time.Now()
		if p.WaitForEdge(300*time.Millisecond) || time.Since(began) != 300*time.Millisecond {
			t.Errorf("an edge, or not after the limit: %s", time.Since(began))
		}
		// As gpioioctl does: a negative limit has passed, none waits until Halt.
		began = time.Now()
		if p.WaitForEdge(-1) || time.Since(began) != 0 {
			t.Error("WaitForEdge(-1) waited")
		}
		ended := make(chan bool)
		go func() { ended <- p.WaitForEdge(0) }()
		time.Sleep(time.Hour)
		if err := p.Halt(); err != nil {
			t.Error(err)
		}
		if <-ended {
			t.Error("Halt counted as an edge")
		}
	})
}

func TestOutputs(t *testing.T) {
	b := NewBoard(newHand(), 1)
	p, err := b.Pin("GPIO22")
	if err != nil {
		t.Fatal(err)
	}
	check := func(l gpio.Level, edges int) {
		t.Helper()
		if gl, ge := b.Output("GPIO22"); gl != l || ge != edges {
			t.Errorf("%s after %d edges, want %s after %d", gl, ge, l, edges)
		}
	}
	check(gpio.Low, 0)
	for _, l := range []gpio.Level{gpio.Low, gpio.High, gpio.High, gpio.Low, gpio.High} {
		if err := p.Out(l); err != nil {
			t.Fatal(err)
		}
	}
	check(gpio.High, 3)
	if same, _ := b.Pin("GPIO22"); same != p || p.Number() != 22 || p.Name() != "GPIO22" {
		t.Errorf("pin %v number %d", p, p.Number())
	}
	// The trap of gpioioctl: reading an output lets go of it.
	if p.Read() != gpio.High || p.Pull() != gpio.PullUp {
		t.Error("Read of an output did not make it a pulled-up input")
	}
	check(gpio.Low, 4)
}
