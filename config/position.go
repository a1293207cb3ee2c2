package config

import (
	"bytes"
	"sort"

	"github.com/pelletier/go-toml/v2/unstable"
)

// A place is where a key, table or array item stands in the file. Places form
// the same tree as the decoded values, which know no lines.
type place struct {
	line  int
	keys  map[string]*place
	items []*place
}

// key returns the place of a key below p, or nil.
func (p *place) key(name string) *place {
	if p == nil {
		return nil
	}
	return p.keys[name]
}

// item returns the place of the i-th item of an array, or nil.
func (p *place) item(i int) *place {
	if p == nil || i >= len(p.items) {
		return nil
	}
	return p.items[i]
}

// open returns the place of a key below p, made on its first mention. Below
// an array of tables it is in the newest item, as TOML has it.
func (p *place) open(name string, line int) *place {
	if n := len(p.items); n > 0 {
		p = p.items[n-1]
	}
	if p.keys == nil {
		p.keys = make(map[string]*place)
	}
	if p.keys[name] == nil {
		p.keys[name] = &place{line: line}
	}
	return p.keys[name]
}

// places reads where everything stands in data, which must be valid TOML.
func places(data []byte) *place {
	var newlines []int
	for at := 0; ; {
		i := bytes.IndexByte(data[at:], '\n')
		if i < 0 {
			break
		}
		at += i + 1
		newlines = append(newlines, at-1)
	}
	w := walker{line: func(n *unstable.Node) int {
		return sort.SearchInts(newlines, int(n.Raw.Offset)) + 1
	}}
	w.parser.Reset(data)
	root := &place{line: 1}
	current := root
	for w.parser.NextExpression() {
		switch e := w.parser.Expression(); e.Kind {
		case unstable.Table:
			current = w.descend(root, e)
		case unstable.ArrayTable:
			array := w.descend(root, e)
			current = &place{line: w.header(e)}
			array.items = append(array.items, current)
		case unstable.KeyValue:
			w.value(w.descend(current, e), e.Value())
		}
	}
	return root
}

type walker struct {
	parser unstable.Parser
	line   func(*unstable.Node) int
}

// descend follows a dotted key from p.
func (w *walker) descend(p *place, e *unstable.Node) *place {
	for it := e.Key(); it.Next(); {
		p = p.open(string(it.Node().Data), w.line(it.Node()))
	}
	return p
}

// header returns the line of a table's header, which itself has no position.
func (w *walker) header(e *unstable.Node) int {
	it := e.Key()
	it.Next()
	return w.line(it.Node())
}

// value notes what stands inside an array or an inline table. Arrays have no
// position of their own; an item that is one keeps the line of its parent.
func (w *walker) value(p *place, v *unstable.Node) {
	switch v.Kind {
	case unstable.InlineTable:
		for it := v.Children(); it.Next(); {
			w.value(w.descend(p, it.Node()), it.Node().Value())
		}
	case unstable.Array:
		for it := v.Children(); it.Next(); {
			item := &place{line: p.line}
			if it.Node().Raw.Length > 0 {
				item.line = w.line(it.Node())
			}
			w.value(item, it.Node())
			p.items = append(p.items, item)
		}
	}
}
