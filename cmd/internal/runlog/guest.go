package runlog

import (
	"errors"
	"io/fs"
	"sync"

	"github.com/ncruces/go-sqlite3/vfs"
)

// guest is the system's file layer for those who may read the log's directory
// and not write there, as the people of the daemon's group may. SQLite asks for
// its write-ahead log for writing even where it only reads; a guest gets it for
// reading, which is all that it needs while the daemon keeps the companions.
type guest struct{ vfs.VFSFilename }

// guestVFS is its name to SQLite, which knows it after the first call.
var guestVFS = sync.OnceValue(func() string {
	const name = "charwarden-guest"
	vfs.Register(name, guest{vfs.Find("").(vfs.VFSFilename)})
	return name
})

func (g guest) OpenFilename(name *vfs.Filename, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	f, got, err := g.VFSFilename.OpenFilename(name, flags)
	if flags&vfs.OPEN_WAL == 0 || !errors.Is(err, fs.ErrPermission) {
		return f, got, err
	}
	return g.VFSFilename.OpenFilename(name, flags&^(vfs.OPEN_READWRITE|vfs.OPEN_CREATE)|vfs.OPEN_READONLY)
}
