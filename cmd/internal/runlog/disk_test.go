package runlog

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/ncruces/go-sqlite3/util/vfsutil"
	"github.com/ncruces/go-sqlite3/vfs"
)

// badDisk is a disk of SQLite's and of the writer whose every operation is
// asked for and told in order.
type badDisk struct {
	vfs.VFS
	name string

	mu     sync.Mutex
	before func(op) error // may wait, and may refuse
	log    []op           // if keep
	keep   bool
	nosync bool // nothing is really synchronised, which makes tests fast
}

// op is one operation.
type op struct {
	kind string // create write truncate sync rename remove syncdir read mark
	path string // base name
	off  int64  // or size
	data []byte // or nil
	to   string // of rename
	mark any
}

var disks atomic.Int64

func newBadDisk(t testing.TB) *badDisk {
	d := &badDisk{VFS: vfs.Find(""), name: fmt.Sprintf("bad%d", disks.Add(1)), nosync: true}
	vfs.Register(d.name, d)
	t.Cleanup(func() { vfs.Unregister(d.name) })
	return d
}

// disk for a Writer.
func (d *badDisk) disk() disk {
	return disk{
		vfs: d.name,
		fill: func(path string, n int64) error {
			if err := d.do(op{kind: "create", path: path}); err != nil {
				return err
			}
			for off := int64(0); off < n; off += 1 << 18 {
				if err := d.do(op{kind: "write", path: path, off: off, data: make([]byte, min(n-off, 1<<18))}); err != nil {
					return err
				}
			}
			if err := os.WriteFile(path, make([]byte, n), 0o644); err != nil {
				return err
			}
			return d.do(op{kind: "sync", path: path})
		},
		settle: func(from, to string) error {
			if err := d.do(op{kind: "sync", path: from}); err != nil {
				return err
			}
			if err := d.do(op{kind: "rename", path: from, to: filepath.Base(to)}); err != nil {
				return err
			}
			if err := os.Rename(from, to); err != nil {
				return err
			}
			return d.do(op{kind: "syncdir"})
		},
		remove: func(path string) error {
			for _, end := range append([]string{""}, companions...) {
				if present(path + end) {
					if err := d.do(op{kind: "remove", path: path + end}); err != nil {
						return err
					}
				}
			}
			return remove(path)
		},
	}
}

// do asks and notes.
func (d *badDisk) do(o op) error {
	o.path = filepath.Base(o.path)
	d.mu.Lock()
	before := d.before
	d.mu.Unlock()
	if before != nil {
		if err := before(o); err != nil {
			return err
		}
	}
	if o.kind == "read" {
		return nil
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.keep {
		o.data = slices.Clone(o.data)
		d.log = append(d.log, o)
	}
	return nil
}

// refuse sets what is asked before each operation.
func (d *badDisk) refuse(before func(op) error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.before = before
}

func (d *badDisk) Open(name string, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	return d.wrap(name, flags, func() (vfs.File, vfs.OpenFlag, error) { return vfsutil.WrapOpen(d.VFS, name, flags) })
}

func (d *badDisk) OpenFilename(name *vfs.Filename, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	return d.wrap(name.String(), flags, func() (vfs.File, vfs.OpenFlag, error) { return vfsutil.WrapOpenFilename(d.VFS, name, flags) })
}

func (d *badDisk) wrap(name string, flags vfs.OpenFlag, open func() (vfs.File, vfs.OpenFlag, error)) (vfs.File, vfs.OpenFlag, error) {
	if name != "" && flags&vfs.OPEN_CREATE != 0 && !present(name) {
		if err := d.do(op{kind: "create", path: name}); err != nil {
			return nil, flags, err
		}
	}
	f, flags, err := open()
	if err != nil {
		return nil, flags, err
	}
	return &badFile{File: f, d: d, name: name}, flags, nil
}

func (d *badDisk) Delete(name string, syncDir bool) error {
	if err := d.do(op{kind: "remove", path: name}); err != nil {
		return err
	}
	if syncDir {
		if err := d.do(op{kind: "syncdir"}); err != nil {
			return err
		}
	}
	return d.VFS.Delete(name, false)
}

type badFile struct {
	vfs.File
	d    *badDisk
	name string
}

func (f *badFile) Unwrap() vfs.File               { return f.File }
func (f *badFile) SharedMemory() vfs.SharedMemory { return vfsutil.WrapSharedMemory(f.File) }
func (f *badFile) LockState() vfs.LockLevel       { return vfsutil.WrapLockState(f.File) }
func (f *badFile) HasMoved() (bool, error)        { return vfsutil.WrapHasMoved(f.File) }
func (f *badFile) PowersafeOverwrite() bool       { return vfsutil.WrapPowersafeOverwrite(f.File) }
func (f *badFile) SetPowersafeOverwrite(on bool)  { vfsutil.WrapSetPowersafeOverwrite(f.File, on) }

func (f *badFile) ReadAt(p []byte, off int64) (int, error) {
	if err := f.d.do(op{kind: "read", path: f.name, off: off, data: p}); err != nil {
		return 0, err
	}
	return f.File.ReadAt(p, off)
}

func (f *badFile) WriteAt(p []byte, off int64) (int, error) {
	if err := f.d.do(op{kind: "write", path: f.name, off: off, data: p}); err != nil {
		return 0, err
	}
	return f.File.WriteAt(p, off)
}

func (f *badFile) Truncate(n int64) error {
	if err := f.d.do(op{kind: "truncate", path: f.name, off: n}); err != nil {
		return err
	}
	return f.File.Truncate(n)
}

func (f *badFile) SizeHint(n int64) error {
	if size, err := f.Size(); err != nil || size >= n {
		return err
	}
	return f.Truncate(n)
}

func (f *badFile) Sync(flags vfs.SyncFlag) error {
	if err := f.d.do(op{kind: "sync", path: f.name}); err != nil {
		return err
	}
	if f.d.nosync {
		return nil
	}
	return f.File.Sync(flags)
}

// inode is a file as the device has it.
type inode struct {
	synced  []byte
	pending []op // writes and truncates since
}

func (i *inode) apply(o op) {
	end := o.off + int64(len(o.data))
	if o.kind == "truncate" && int64(len(i.synced)) > end {
		i.synced = i.synced[:end]
		return
	}
	if grow := end - int64(len(i.synced)); grow > 0 {
		i.synced = append(i.synced, make([]byte, grow)...)
	}
	copy(i.synced[o.off:], o.data)
}

// cut builds in dir what is left when the power goes after the first n
// operations: all that was synchronised; of the rest a random choice, in which
// writes may be torn at sectors of 512 B and of what was done to names only the
// beginning is left.
func cut(dir string, log []op, n int, r *rand.Rand) error {
	type name = map[string]*inode
	now, durable := name{}, name{}
	var names []op // since the last that is durable
	link := func(to name, o op, node *inode) {
		switch o.kind {
		case "create":
			to[o.path] = node
		case "remove":
			delete(to, o.path)
		case "rename":
			to[o.to] = to[o.path]
			delete(to, o.path)
		}
	}
	made := map[int]*inode{}
	settle := func(upTo int) {
		for _, o := range names[:upTo] {
			link(durable, o, made[int(o.off)])
		}
		names = names[upTo:]
	}
	for k, o := range log[:n] {
		switch o.kind {
		case "create":
			made[k] = &inode{}
			o.off = int64(k)
			names = append(names, o)
			link(now, o, made[k])
		case "remove", "rename":
			names = append(names, o)
			link(now, o, nil)
		case "write", "truncate":
			if now[o.path] == nil {
				return fmt.Errorf("operation %d: %s of %s, which is not there", k, o.kind, o.path)
			}
			now[o.path].pending = append(now[o.path].pending, o)
		case "sync":
			if node := now[o.path]; node != nil {
				for _, p := range node.pending {
					node.apply(p)
				}
				node.pending = nil
			}
		case "syncdir":
			settle(len(names))
		}
	}
	settle(r.IntN(len(names) + 1))
	for path, node := range durable {
		for _, p := range node.pending {
			switch r.IntN(3) {
			case 0:
			case 1:
				node.apply(p)
			case 2:
				if p.kind == "truncate" {
					node.apply(p)
					break
				}
				for off := 0; off < len(p.data); {
					end := min(len(p.data), off+512-int((p.off+int64(off))%512))
					if r.IntN(2) == 0 {
						node.apply(op{kind: "write", off: p.off + int64(off), data: p.data[off:end]})
					}
					off = end
				}
			}
		}
		node.pending = nil
		if filepath.Ext(path) == ".db-shm" {
			continue
		}
		if err := os.WriteFile(filepath.Join(dir, path), node.synced, 0o644); err != nil {
			return err
		}
	}
	return nil
}
