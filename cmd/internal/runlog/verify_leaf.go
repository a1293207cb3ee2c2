package runlog

import (
	"encoding/binary"
	"errors"
	"io"
	"os"

	"github.com/ncruces/go-sqlite3"
)

// columns is a row of a table: a *sqlite3.Stmt, or a leafRow.
type columns interface {
	DataCount() int
	ColumnType(col int) sqlite3.Datatype
	ColumnInt64(col int) int64
	ColumnFloat(col int) float64
	ColumnText(col int) string
	ColumnRawBlob(col int) []byte
}

// leafRow is a row of ticks or seconds as it stands in a page, whatever has
// become of the pages that lead there.
type leafRow struct {
	ms    int64
	cells []leafCell
}

type leafCell struct {
	kind  sqlite3.Datatype // NULL, INTEGER or TEXT
	count int64
	text  string
}

func (r *leafRow) DataCount() int { return 1 + len(r.cells) }
func (r *leafRow) ColumnType(col int) sqlite3.Datatype {
	if col == 0 {
		return sqlite3.INTEGER
	}
	return r.cells[col-1].kind
}
func (r *leafRow) ColumnInt64(col int) int64 {
	if col == 0 {
		return r.ms
	}
	return r.cells[col-1].count
}
func (r *leafRow) ColumnText(col int) string { return r.cells[col-1].text }
func (r *leafRow) ColumnFloat(int) float64   { return 0 } // a row has none
func (r *leafRow) ColumnRawBlob(int) []byte  { return nil }

// leaves reads the pages of the file one by one and calls row with each row of
// so many cells that a leaf of a table holds. What is in the write-ahead log
// alone is not found.
//
// The format is that of https://sqlite.org/fileformat2.html, sections 1.3.2
// (page size), 1.6 (pages of a table) and 2.1 (records).
func (r *rescue) leaves(cells int, row func(*leafRow) error) (err error) {
	f, err := os.Open(r.path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	var start [18]byte
	if _, err := f.ReadAt(start[:], 0); err != nil {
		return err
	}
	size := int(binary.BigEndian.Uint16(start[16:]))
	if size < 512 || size&(size-1) != 0 {
		size = pageSize
	}
	page := make([]byte, size)
	for off := int64(size); ; off += int64(size) { // the first page holds the schema
		n, err := f.ReadAt(page, off)
		if n < 8 && errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil && !errors.Is(err, io.EOF) {
			continue // a part of the disk that cannot be read
		}
		if err := r.ctx.Err(); err != nil {
			return err
		}
		b := page[:n]
		if b[0] != 0x0d {
			continue
		}
		for i := range int(binary.BigEndian.Uint16(b[3:])) {
			at := 8 + 2*i
			if at+2 > len(b) {
				break
			}
			cell := int(binary.BigEndian.Uint16(b[at:]))
			if cell >= len(b) {
				continue
			}
			if got, ok := leafRowOf(b[cell:], cells); ok {
				if err := row(got); err != nil {
					return err
				}
			}
		}
	}
}

// varint of SQLite: seven bits a byte, highest first, eight in the ninth.
func varint(b []byte) (v int64, n int) {
	var u uint64
	for n < len(b) && n < 9 {
		if n == 8 {
			return int64(u<<8 | uint64(b[8])), 9
		}
		u = u<<7 | uint64(b[n]&0x7f)
		n++
		if b[n-1] < 0x80 {
			return int64(u), n
		}
	}
	return 0, 0
}

// leafRowOf decodes a cell of a leaf that is a row of so many cells and says
// what a row can.
func leafRowOf(b []byte, cells int) (*leafRow, bool) {
	size, n := varint(b)
	ms, m := varint(b[n:])
	if n == 0 || m == 0 || size < int64(cells)+2 || size > int64(len(b)-n-m) {
		return nil, false
	}
	b = b[n+m:][:size]
	head, n := varint(b)
	if n == 0 || head < int64(n) || head > size {
		return nil, false
	}
	types, body := b[n:head], b[head:]
	row := &leafRow{ms: ms, cells: make([]leafCell, cells)}
	for col := -1; col < cells; col++ {
		kind, n := varint(types)
		if n == 0 || col < 0 && kind != 0 { // the number of the row is no column
			return nil, false
		}
		types = types[n:]
		if col < 0 {
			continue
		}
		c := &row.cells[col]
		width := int64(0)
		switch {
		case kind == 0:
			c.kind = sqlite3.NULL
			continue
		case kind >= 1 && kind <= 6:
			width = []int64{0, 1, 2, 3, 4, 6, 8}[kind]
		case kind == 8, kind == 9:
			c.kind, c.count = sqlite3.INTEGER, kind-8
			continue
		case kind >= 13 && kind%2 == 1:
			width = (kind - 13) / 2
		default:
			return nil, false
		}
		if width > int64(len(body)) {
			return nil, false
		}
		if kind >= 13 {
			c.kind, c.text = sqlite3.TEXT, string(body[:width])
			if _, err := parseCell(c.text); err != nil {
				return nil, false
			}
		} else {
			c.kind, c.count = sqlite3.INTEGER, int64(int8(body[0]))
			for _, low := range body[1:width] {
				c.count = c.count<<8 | int64(low)
			}
		}
		body = body[width:]
	}
	return row, len(types) == 0 && len(body) == 0
}
