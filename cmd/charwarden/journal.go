package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
)

// journal is a file of lines that each hold all of a saved. The last line that
// is right counts:
//
//	bytes 0-7  CRC-32C of the JSON, lower-case hex
//	byte 8     space
//	bytes 9-   JSON
//	last byte  newline
//
//	86f551a2 {"zeros":{"suction":{"pa":-31.5,"at":"2026-05-03T09:00:00Z"}}}
//
// What a line outlives, in the order in which that is brought about:
//
//  1. It is appended with one write(2): the end of the process, kill -9 too.
//  2. fsync of the file: a power cut. More lines are appended meanwhile, for a
//     memory card may take seconds. (fdatasync saves nothing on a file that
//     grows.)
//  3. In place of 2, at the first line of a process, after a fault, and once
//     the file is longer than limit: the newest line is written to a new file;
//     fsync of that; a line that came meanwhile is appended to it; it is renamed
//     to be the journal; fsync of it and of the directory. At every instant the
//     name leads to a whole journal that keeps what 1 and 2 promised. A fault
//     needs it because the kernel may drop the pages it could not write, and
//     call the next fsync a success.
type journal struct {
	path  string
	limit int64 // bytes

	newest   []byte // line
	made     []byte // line that a new file begins with; nil: none is being made
	unsynced bool   // lines wait for step 2 or 3
	anew     bool   // the next is step 3
	renamed  bool   // the directory is not synced
	torn     bool   // the file may end within a line
}

func newJournal(dir string) journal {
	return journal{path: filepath.Join(dir, "state.journal"), limit: 256 << 10, anew: true, torn: true}
}

// append is step 1. A line that it fails on is still stored by a step 3 that
// goes well.
func (j *journal) append(line []byte) error {
	j.newest, j.unsynced = line, true
	if err := j.write(line); err != nil {
		j.torn, j.anew = true, true
		return err
	}
	j.torn = false
	return nil
}

func (j *journal) write(line []byte) error {
	if err := os.MkdirAll(filepath.Dir(j.path), 0o750); err != nil {
		return err
	}
	file, err := os.OpenFile(j.path, os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer file.Close() // tells nothing that fsync will not
	st, err := file.Stat()
	if err != nil {
		return err
	}
	if st.Size() == 0 || st.Size() > j.limit {
		j.anew = true
	} else if j.torn {
		line = append([]byte("\n"), line...)
	}
	_, err = file.Write(line)
	return err
}

// begin returns the slow part of step 2 or 3, which may run beside append.
func (j *journal) begin() func() error {
	j.unsynced = false
	path, renamed := j.path, j.renamed
	if j.anew {
		line := j.newest
		j.made = line
		return func() error { return writeFile(path+".new", line) }
	}
	return func() error {
		err := syncPath(path)
		if err == nil && renamed {
			if err = syncPath(filepath.Dir(path)); err == nil {
				os.Rename(older(path), older(path)+".old") // seldom there
			}
		}
		return err
	}
}

// finish is the rest of the step, given how its slow part went; stored tells
// that all lines up to begin outlive a power cut. After an error the next line
// begins a step 3.
func (j *journal) finish(err error) (stored bool, _ error) {
	made := j.made != nil
	if made && err == nil {
		err = j.rename()
	}
	j.made = nil
	switch {
	case err != nil:
		j.anew = true
	case made:
		j.anew, j.torn, j.renamed, j.unsynced = false, false, true, true
	case !j.anew:
		j.renamed = false
		return true, nil
	}
	return false, err
}

func (j *journal) rename() error {
	if !bytes.Equal(j.newest, j.made) {
		file, err := os.OpenFile(j.path+".new", os.O_WRONLY|os.O_APPEND, 0)
		if err != nil {
			return err
		}
		_, err = file.Write(j.newest)
		if err = errors.Join(err, file.Close()); err != nil {
			return err
		}
	}
	return os.Rename(j.path+".new", j.path)
}

// load returns what was stored; nothing stored is empty. A file that cannot be
// read is moved aside, so that nothing is lost, and said.
func (j *journal) load(log *slog.Logger) (s saved) {
	path := j.path
	b, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		path = older(path)
		if b, err = os.ReadFile(path); errors.Is(err, fs.ErrNotExist) {
			return s
		}
		if err == nil {
			err = json.Unmarshal(b, &s)
		}
	case err == nil && len(b) > 0:
		var tail int
		if s, tail, err = decodeJournal(b); err == nil && tail > 0 {
			log.Warn("the end of the stored state is damaged and not used", "file", path, "bytes", tail)
		}
	}
	if err != nil {
		log.Error("the stored state cannot be read; going on without it", "file", path, "err", err, "kept_as", path+".bad")
		if err := os.Rename(path, path+".bad"); err != nil {
			log.Error("the stored state is not kept", "err", err)
		}
		return saved{}
	}
	return s
}

// older is the file of releases without a journal: JSON alone.
func older(path string) string { return filepath.Join(filepath.Dir(path), "state.json") }

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

func encodeLine(s saved) ([]byte, error) {
	b, err := json.Marshal(s)
	if err != nil {
		return nil, err
	}
	return fmt.Appendf(nil, "%08x %s\n", crc32.Checksum(b, castagnoli), b), nil
}

// decodeJournal returns what the last right line holds, and how many bytes come
// after it. A line that lacks only its newline is right.
func decodeJournal(b []byte) (s saved, tail int, err error) {
	for end := len(b); end >= 0; {
		start := bytes.LastIndexByte(b[:end], '\n') + 1
		if s, ok := decodeLine(b[start:end]); ok {
			return s, max(0, len(b)-end-1), nil
		}
		end = start - 1
	}
	return saved{}, len(b), errors.New("no line is right")
}

func decodeLine(line []byte) (s saved, ok bool) {
	if len(line) < 9 {
		return saved{}, false
	}
	b := line[9:]
	if string(line[:9]) != fmt.Sprintf("%08x ", crc32.Checksum(b, castagnoli)) || json.Unmarshal(b, &s) != nil {
		return saved{}, false
	}
	return s, true
}

func writeFile(path string, line []byte) error {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = file.Write(line)
	if err = errors.Join(err, file.Sync(), file.Close()); err != nil {
		os.Remove(path) // gives a full disk its room back
	}
	return err
}

func syncPath(path string) error {
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(file.Sync(), file.Close())
}
