package runlog

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
)

// numbered is a file of a directory.
type numbered struct {
	number int
	path   string
}

// numberedFiles of a directory, oldest first.
func numberedFiles(dir string) (all []numbered, err error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("run log: %w", err)
	}
	for _, e := range entries {
		if n, ok := numberOf(e.Name()); ok && e.Type().IsRegular() {
			all = append(all, numbered{n, filepath.Join(dir, e.Name())})
		}
	}
	slices.SortFunc(all, func(a, b numbered) int { return cmp.Compare(a.number, b.number) })
	return all, nil
}

// List tells of every file of the directory, oldest first. Of one that cannot
// be read it tells the number, the size and, in Why, the cause.
func List(dir string) ([]Meta, error) {
	files, err := numberedFiles(dir)
	if err != nil {
		return nil, err
	}
	all := make([]Meta, 0, len(files))
	for _, n := range files {
		all = append(all, metaOf(n))
	}
	return all, nil
}

// metaOf a file, or why there is none.
func metaOf(n numbered) Meta {
	f, err := open(n.path)
	if err == nil {
		err = f.conn.Close()
	}
	if err != nil {
		return Meta{Number: n.number, Size: sizeOf(n.path), Why: err.Error()}
	}
	return f.meta
}

// Find is the path of the file that the word means: the number of a run ("7"),
// "last" (the newest file with a run in it), or a path.
func Find(dir, word string) (path string, err error) {
	number, err := strconv.Atoi(word)
	if err != nil && word != "last" {
		if present(word) {
			return word, nil
		}
		return "", fmt.Errorf("run %q: neither a number, nor last, nor a file: charwarden runs lists them", word)
	}
	files, err := numberedFiles(dir)
	if err != nil {
		return "", err
	}
	if word != "last" {
		i := slices.IndexFunc(files, func(n numbered) bool { return n.number == number })
		if i < 0 {
			return "", fmt.Errorf("run %d: no such file in %s: charwarden runs lists them", number, dir)
		}
		return files[i].path, nil
	}
	for _, n := range slices.Backward(files) {
		if metaOf(n).Run != nil {
			return n.path, nil
		}
	}
	return "", fmt.Errorf("run last: no run in %s yet", dir)
}

// Session are the paths of the parts 1 to m.Part of m's session, in their
// order. A part that is missing, or that cannot be read, is an error.
func Session(dir string, m Meta) ([]string, error) {
	files, err := numberedFiles(dir)
	if err != nil {
		return nil, err
	}
	parts := make([]string, max(m.Part, 0))
	missing := len(parts)
	var unread []error
	for _, n := range slices.Backward(files) {
		if missing == 0 {
			break
		}
		if m.Number > 0 && n.number > m.Number {
			continue
		}
		o := metaOf(n)
		if o.Why != "" {
			unread = append(unread, fmt.Errorf("%s: %s", n.path, o.Why))
			continue
		}
		if o.Session == m.Session && o.Part >= 1 && o.Part <= len(parts) && parts[o.Part-1] == "" {
			parts[o.Part-1] = n.path
			missing--
		}
	}
	if i := slices.Index(parts, ""); i >= 0 {
		return nil, errors.Join(append([]error{fmt.Errorf("run log: %s: part %d of session %s is not there: from it on nothing can be reckoned again",
			dir, i+1, m.Session)}, unread...)...)
	}
	return parts, nil
}
