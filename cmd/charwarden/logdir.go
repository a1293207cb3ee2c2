package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"

	"charwarden/cmd/internal/runlog"
	"charwarden/config"
)

// runsDir is where the runs are of a daemon whose file does not say.
const runsDir = "/var/lib/charwarden/runs"

// logFlags are the flags by which a command finds the runs.
type logFlags struct{ file, dir *string }

func addLogFlags(fs *flag.FlagSet) logFlags {
	return logFlags{
		fs.String("c", "", "the daemon's configuration `FILE`, for the place of its runs and units"),
		fs.String("dir", "", "where the runs are, `DIR` (default "+runsDir+"); the directory of a demo will do"),
	}
}

// open returns the directory of the runs and, where a file was named, its
// configuration.
func (f logFlags) open(cmd string) (dir string, cfg *config.Config, err error) {
	dir = runsDir
	if *f.file != "" {
		if cfg, err = loadConfig(cmd, *f.file); err != nil {
			return "", nil, err
		}
		if dir = cfg.RunLog.Dir; dir == "" && *f.dir == "" {
			return "", nil, fmt.Errorf("%s: %s: the run log is switched off there ([runlog] dir)", cmd, *f.file)
		}
	}
	if *f.dir != "" {
		dir = *f.dir
		if below := filepath.Join(dir, "runs"); isDir(below) {
			dir = below
		}
	}
	if !isDir(dir) {
		return "", nil, fmt.Errorf("%s: %s: no such directory: name the one of the runs with --dir or -c", cmd, dir)
	}
	return dir, cfg, nil
}

func isDir(name string) bool {
	info, err := os.Stat(name)
	return err == nil && info.IsDir()
}

// openRuns opens the runs that words name: "7", "last", or a file.
func openRuns(dir string, words []string) (files []*runlog.File, err error) {
	for _, word := range words {
		path, err := runlog.Find(dir, word)
		if err == nil {
			var f *runlog.File
			if f, err = runlog.Open(path); err == nil {
				files = append(files, f)
				continue
			}
		}
		closeRuns(files)
		return nil, err
	}
	return files, nil
}

func closeRuns(files []*runlog.File) {
	for _, f := range files {
		f.Close() // was only read
	}
}
