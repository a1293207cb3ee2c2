package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"charwarden/cmd/internal/runlog"
)

// verifyFile checks one file and, where salvage is a name, copies what can be
// read of it.
func verifyFile(ctx context.Context, path, salvage string, p *progress) (verifyRow, error) {
	number, _ := strconv.Atoi(strings.TrimSuffix(filepath.Base(path), ".db")) // 0 for a file of another name
	row := verifyRow{Run: number}
	v, err := runlog.Verify(ctx, path, p.at)
	if err == nil && salvage != "" {
		v, err = runlog.Salvage(ctx, path, salvage, p.at)
		row.Copy = &salvage
	}
	p.done()
	if errors.Is(err, runlog.ErrBeyond) {
		row.Text = err.Error()
		return row, nil
	}
	row.Good = len(v.Wrong) == 0
	row.Text = verdictText(&v)
	return row, err
}

func verdictText(v *runlog.Verdict) string {
	var rows int64
	for _, t := range v.Tables {
		rows += t.Rows
	}
	if len(v.Wrong) == 0 {
		return fmt.Sprintf("whole: %d rows", rows)
	}
	return fmt.Sprintf("damaged: %d rows can be read, %d cannot; %s; --salvage FILE copies what can", rows, v.Lost(), strings.Join(v.Wrong, "; "))
}
