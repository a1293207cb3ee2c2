package main

import (
	"bytes"
	"context"
	"fmt"
	"hash/crc32"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"charwarden/sensors"
)

// RFC 3720, appendix B.4: CRC examples (the bytes there are in the order of the
// wire, lowest first).
func TestChecksumIsCRC32C(t *testing.T) {
	up := make([]byte, 32)
	for i := range up {
		up[i] = byte(i)
	}
	for _, c := range []struct {
		in   []byte
		want uint32
	}{
		{make([]byte, 32), 0x8a9136aa},
		{bytes.Repeat([]byte{0xff}, 32), 0x62a8ab43},
		{up, 0x46dd794e},
	} {
		if got := crc32.Checksum(c.in, castagnoli); got != c.want {
			t.Errorf("% x: %08x, want %08x", c.in, got, c.want)
		}
	}
}

// The line of the documentation; its checksum is from a second independent
// implementation, bit by bit.
func TestLine(t *testing.T) {
	const line = `86f551a2 {"zeros":{"suction":{"pa":-31.5,"at":"2026-05-03T09:00:00Z"}}}` + "\n"
	want := saved{Zeros: map[string]sensors.Zero{"suction": {Pa: -31.5, At: time.Date(2026, 5, 3, 9, 0, 0, 0, time.UTC)}}}
	got, tail, err := decodeJournal([]byte(line))
	if err != nil || tail != 0 || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %d bytes after it, %v", got, tail, err)
	}
	again, err := encodeLine(got)
	if err != nil {
		t.Fatal(err)
	}
	if got, _, err = decodeJournal(again); err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%q: %+v, %v", again, got, err)
	}
	if _, err := encodeLine(saved{Zeros: map[string]sensors.Zero{"suction": {Pa: math.NaN()}}}); err == nil {
		t.Error("JSON has no NaN")
	}
}

// three is a journal of the states 1, 2 and 3, and where the last begins.
func three(t testing.TB) (b []byte, last int) {
	for n := range 3 {
		line, err := encodeLine(state(1 + n))
		if err != nil {
			t.Fatal(err)
		}
		last = len(b)
		b = append(b, line...)
	}
	return b, last
}

// Torn anywhere, the last whole line counts, the rest is said, and what is stored
// next is found.
func TestTornJournal(t *testing.T) {
	whole, _ := three(t)
	for cut := 1; cut <= len(whole); cut++ {
		f := newStateFile(t.TempDir(), quiet())
		var said lines
		f.log = said.log()
		torn := whole[:cut]
		if err := os.WriteFile(f.journal.path, torn, 0o600); err != nil {
			t.Fatal(err)
		}
		// A line that lacks only its newline is whole.
		want := bytes.Count(append(bytes.Clone(torn), whole[cut:min(cut+1, len(whole))]...), []byte("\n"))
		if got := number(f.load()); got != want {
			t.Errorf("torn at byte %d: read %d, want %d", cut, got, want)
		}
		if tail := cut - bytes.LastIndexByte(torn, '\n') - 1; tail > 0 && want > 0 && whole[cut] != '\n' &&
			said.count(fmt.Sprintf("bytes=%d\n", tail)) != 1 {
			t.Errorf("torn at byte %d: said %q, want bytes=%d", cut, said.b.String(), tail)
		}
		f.journal.anew = false // the line goes after the torn one
		f.put(state(4))
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		f.Run(ctx)
		if b, _ := os.ReadFile(f.journal.path); want > 0 && !bytes.HasPrefix(b, torn) {
			t.Errorf("torn at byte %d: made anew", cut)
		}
		if got := number(newStateFile(filepath.Dir(f.journal.path), quiet()).load()); got != 4 {
			t.Errorf("torn at byte %d: then stored 4, read %d", cut, got)
		}
	}
}

// A flipped bit anywhere in the last line: the one before it counts.
func TestFlippedBit(t *testing.T) {
	whole, last := three(t)
	for at := last; at < len(whole); at++ {
		for bit := range 8 {
			b := bytes.Clone(whole)
			b[at] ^= 1 << bit
			got, tail, err := decodeJournal(b)
			if err != nil || number(got) != 2 || tail != len(whole)-last {
				t.Errorf("byte %d bit %d: read %d and %d bytes after it (%v)", at-last, bit, number(got), tail, err)
			}
		}
	}
}

// Whatever the file holds, what is appended to it is read, and what is read is
// there without the tail.
func FuzzJournal(f *testing.F) {
	whole, last := three(f)
	f.Add(whole)
	f.Add(whole[:last+20])
	f.Add([]byte("\n\n"))
	f.Add([]byte("00000000 \n"))
	line, err := encodeLine(state(9))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		got, tail, err := decodeJournal(b)
		if tail < 0 || tail > len(b) || err != nil && tail != len(b) {
			t.Fatalf("%d bytes after the right line of %d (%v)", tail, len(b), err)
		}
		if err == nil {
			again, left, err := decodeJournal(b[:len(b)-tail])
			if err != nil || left != 0 || !reflect.DeepEqual(again, got) {
				t.Fatalf("without its tail: %+v, %d, %v", again, left, err)
			}
		}
		b = append(append(bytes.Clone(b), '\n'), line...)
		if got, tail, err := decodeJournal(b); err != nil || tail != 0 || number(got) != 9 {
			t.Fatalf("appended 9: read %d and %d bytes after it (%v)", number(got), tail, err)
		}
	})
}
