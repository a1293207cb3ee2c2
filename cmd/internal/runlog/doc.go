// Package runlog remembers every run: a durable SQLite file for each, its
// writer, its reader, and what can be made of it.
//
// A log directory holds files named by number, "000001.db", "000002.db", ...,
// oldest first. A daemon logs always: a file begins when it starts, when a run
// starts and when a file without a run becomes a day old. Each file holds at
// most one run; the number of the file is the number of its run. Files of one
// life of a daemon are the parts of one session: from its first part, which
// holds the state that the daemon began with, every later tick can be reckoned
// again exactly.
//
// Time inside a file is milliseconds since the machine's boot, which no clock
// that is set and no power cut can confuse. Anchors tell what the wall clock
// said at such a moment and how good it was; what is shown or exported uses the
// best of them.
package runlog
