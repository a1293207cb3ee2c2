package sim

import (
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"periph.io/x/conn/v3/gpio"
	"periph.io/x/conn/v3/physic"
	"periph.io/x/conn/v3/spi"
)

// hand is a clock that a test moves; Sleep moves it at once.
type hand struct {
	mu sync.Mutex
	t  time.Time
}

func newHand() *hand { return &hand{t: time.Date(2026, 6, 1, 14, 0, 0, 0, time.UTC)} }

func (h *hand) Now() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.t
}

func (h *hand) Sleep(_ context.Context, d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.t = h.t.Add(d)
}

func (h *hand) pass(d time.Duration) { h.Sleep(context.Background(), d) }

// system is the clock of a testing/synctest bubble.
type system struct{}

func (system) Now() time.Time { return time.Now() }

func (system) Sleep(ctx context.Context, d time.Duration) {
	select {
	case <-ctx.Done():
	case <-time.After(d):
	}
}

func steady(v float64) func(time.Time) float64 { return func(time.Time) float64 { return v } }

// connect opens a port as the drivers do.
func connect(t *testing.T, b *Board, port string, mode spi.Mode) spi.Conn {
	t.Helper()
	p, err := b.SPI(port)
	if err != nil {
		t.Fatal(err)
	}
	c, err := p.Connect(5*physic.MegaHertz, mode, 8)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// frameOf reads 32 bits.
func frameOf(t *testing.T, c spi.Conn) uint32 {
	t.Helper()
	var r [4]byte
	if err := c.Tx(nil, r[:]); err != nil {
		t.Fatal(err)
	}
	return uint32(r[0])<<24 | uint32(r[1])<<16 | uint32(r[2])<<8 | uint32(r[3])
}

func out(t *testing.T, b *Board, name string, l gpio.Level) {
	t.Helper()
	p, err := b.Pin(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := p.Out(l); err != nil {
		t.Fatal(err)
	}
}

// published returns the rows of a table of published values by column name.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 {
		t.Fatalf("%s: no rows", name)
	}
	var all []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, v := range row {
			m[rows[0][i]] = v
		}
		all = append(all, m)
	}
	return all
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func hex(t *testing.T, s string) uint32 {
	t.Helper()
	v, err := strconv.ParseUint(strings.TrimPrefix(s, "0x"), 16, 32)
	if err != nil {
		t.Fatal(err)
	}
	return uint32(v)
}
