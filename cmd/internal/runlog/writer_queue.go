package runlog

import (
	"encoding/binary"
	"time"

	"charwarden/sensors"
)

// QueueBytes is the room for rows that wait for the disk: 60 s of 20 inputs ten
// times and 50 reckoned channels once a second, none of them silent. As many
// bytes again may be on their way to the disk.
//
// Drop policy: a row or record that finds no room is dropped and counted, and
// so are those of its kind after it until the queue is taken: what led up to the
// trouble is kept, and there is one hole. Then a Gap says how many are missing.
// Rows never take the room of records, nor records that of rows.
const QueueBytes = 64 << 10

const (
	queueRecords = 1024 // records that wait at most
	queueHeads   = 8    // files that wait to be begun at most; one more takes the place of the last
	queueMarks   = queueRecords + 2*queueHeads
)

// Entries of the stream.
const (
	entryTick   = 't' // varint ms, uvarint number of cells, cells
	entrySecond = 's' // the same
	entryRecord = 'r' // the next of items
	entryHead   = 'h' // the next of items, a *Head
)

const lagged = 0x80 // set in the status byte of a cell that is followed by its lag

// queue is what waits for the disk, in the order in which it came.
type queue struct {
	stream []byte
	items  []any // Records and *Heads
	marks  int   // entries of the stream that stand for items
	heads  int
	from   int64 // ms of its first row
	rows   bool
	due    bool // to be stored at once

	stored, storedItems int // of stream and items, what is durable

	droppedRows, droppedRecords int64                        // since the last Gap
	droppedHere                 struct{ rows, records bool } // since it was last empty
	gaps                        Ticket                       // records that the queue put in by itself since noted
}

func newQueue() queue {
	return queue{stream: make([]byte, 0, QueueBytes+queueMarks), items: make([]any, 0, 64)}
}

func (q *queue) empty() bool { return q.stored == len(q.stream) }

// noted is the number of gaps put in since it was last asked.
func (q *queue) noted() (n Ticket) {
	n, q.gaps = q.gaps, 0
	return n
}

// row appends one; false where it is dropped.
func (q *queue) row(kind byte, ms int64, cells []Cell) bool {
	const most = 1 + binary.MaxVarintLen64 + binary.MaxVarintLen32 // and for each cell its status, count and lag
	if q.droppedHere.rows || len(q.stream)-q.marks+most+len(cells)*(1+binary.MaxVarintLen64+binary.MaxVarintLen32) > QueueBytes {
		q.droppedRows++
		q.droppedHere.rows = true
		return false
	}
	if q.droppedRows+q.droppedRecords > 0 && !q.droppedHere.records {
		q.gap(ms)
	}
	if !q.rows {
		q.rows, q.from = true, ms
	}
	b := append(q.stream, kind)
	b = binary.AppendVarint(b, ms)
	b = binary.AppendUvarint(b, uint64(len(cells)))
	for i := range cells {
		c := &cells[i]
		status := byte(c.Status)
		lag := uint64(max(c.Lag.Milliseconds(), 0))
		if lag > 0 {
			status |= lagged
		}
		b = append(b, status)
		if counts(c.Status) {
			b = binary.AppendVarint(b, c.Count)
		}
		if lag > 0 {
			b = binary.AppendUvarint(b, lag)
		}
	}
	q.stream = b
	return true
}

// counts says whether a cell of that status has a count.
func counts(s sensors.Status) bool {
	return s == sensors.Good || s == sensors.ClippedHigh || s == sensors.ClippedLow
}

// gap notes before the row or record at ms what was dropped.
func (q *queue) gap(ms int64) {
	for _, g := range []struct {
		what string
		n    *int64
	}{{"rows dropped", &q.droppedRows}, {"records dropped", &q.droppedRecords}} {
		if *g.n > 0 && q.marks < queueMarks {
			q.item(entryRecord, Gap{Ms: ms, What: g.what, N: *g.n})
			q.gaps++
			*g.n = 0
		}
	}
}

// put appends a record; false where it is dropped.
func (q *queue) put(r Record) bool {
	if q.droppedHere.records || q.marks-q.heads >= queueRecords {
		q.droppedRecords++
		q.droppedHere.records = true
		return false
	}
	q.item(entryRecord, r)
	return true
}

// begin appends the head of a new file.
func (q *queue) begin(h *Head) {
	if q.heads >= queueHeads {
		for i := len(q.items) - 1; ; i-- {
			if _, ok := q.items[i].(*Head); ok {
				q.items[i] = h
				return
			}
		}
	}
	q.heads++
	q.item(entryHead, h)
}

func (q *queue) item(kind byte, it any) {
	q.stream = append(q.stream, kind)
	q.items = append(q.items, it)
	q.marks++
}

// reset empties q and keeps its memory, but for what was dropped.
func (q *queue) reset() {
	clear(q.items)
	*q = queue{stream: q.stream[:0], items: q.items[:0], droppedRows: q.droppedRows, droppedRecords: q.droppedRecords}
}

// entry is one of a stream.
type entry struct {
	kind byte
	ms   int64
	n    int    // cells
	rest []byte // begins with the cells
}

// next splits the first entry off a stream that row, put and begin made. For a
// row, cells are to be read from rest, n times.
func next(stream []byte) (e entry) {
	e.kind, e.rest = stream[0], stream[1:]
	if e.kind == entryTick || e.kind == entrySecond {
		var n int
		e.ms, n = binary.Varint(e.rest)
		cells, m := binary.Uvarint(e.rest[n:])
		e.n, e.rest = int(cells), e.rest[n+m:]
	}
	return e
}

// cell reads one cell off rest.
func (e *entry) cell() (c Cell) {
	status := e.rest[0]
	e.rest = e.rest[1:]
	c.Status = sensors.Status(status &^ lagged)
	if counts(c.Status) {
		var n int
		c.Count, n = binary.Varint(e.rest)
		e.rest = e.rest[n:]
	}
	if status&lagged != 0 {
		lag, n := binary.Uvarint(e.rest)
		c.Lag = time.Duration(lag) * time.Millisecond
		e.rest = e.rest[n:]
	}
	return c
}
