package runlog

import (
	"time"

	"charwarden/sensors"
)

// Channel is one channel as the log has it. Values are stored as whole counts.
type Channel struct {
	Name     string
	Quantity sensors.Quantity
	Unit     string  // of Quantity
	Step     float64 // what one count is worth, in Unit; a power of two, so that values come back exactly
	Input    bool    // measured, or told by the daemon of itself: a cell in the tick in which it came; else reckoned: a cell a second
	Place    string  // chip and bus; "" for what is reckoned
	Care     string  // zero, span and calibration in force when the file began, in words; "" for none
}

// Cell is one reading as the log has it: the value is Count*Channel.Step. Of an
// input the zero Cell is no new reading: the one before still stands. Of what is
// reckoned it is no value: every row of seconds stands for itself.
type Cell struct {
	Count  int64 // only if Status is Good, ClippedHigh or ClippedLow
	Status sensors.Status
	Lag    time.Duration // how much older than its row the reading was, whole ms; 0 where that is less than two ticks
}

// Row is one row of cells, in the order of the inputs or of the reckoned
// channels.
type Row struct {
	Ms    int64 // since boot
	Cells []Cell
}

// Record is anything that happens at one moment and is stored at once:
// Transition, Command, Note, PhaseChange, Gap, Anchor, Band, Snapshot or
// RunMark.
type Record interface{ when() int64 }

// Transition is one change of state of an alarm.
type Transition struct {
	Ms             int64
	Alarm, Channel string
	Priority       string
	From, To       string
	Value, Limit   *float64 // nil: none
	Unit           string   // of both
	Seq, Order     uint64   // of the occurrence, and among those of all alarms
	Test, Restored bool
	FirstOut       bool // nothing above a notice stood when it came
}

// Command is what a person asked for, carried out between the readings and the
// alarms of the tick at Ms.
type Command struct {
	Ms     int64
	Person string // "phone", "operator", a login
	Verb   string // "ack", "filled", ...
	Body   string // JSON of the order
	Err    string // why it was refused; "" where it was carried out
}

// Note is a line of the notebook.
type Note struct {
	Ms     int64
	Person string // "" for what the daemon noted by itself
	Kind   string // one of NoteKinds
	Text   string // as it was said, without the kind's word
	Value  *float64
	Unit   string // of Value
}

// PhaseChange is a new phase of the rig; Phase is "" while it is not known.
type PhaseChange struct {
	Ms     int64
	Phase  string
	Forced bool
}

// Gap is what is missing before the row at Ms.
type Gap struct {
	Ms   int64
	What string // "ticks missed", "rows dropped", ...
	N    int64
}

// Anchor is what the wall clock said at a moment of the boot.
type Anchor struct {
	Ms      int64
	Wall    time.Time
	Quality Quality
}

// Quality of the wall clock; the higher, the better.
type Quality uint8

// Qualities.
const (
	Unset  Quality = iota // before the daemon's build: it has surely not been set
	Free                  // set at some time, by nobody knows whom: it may be an hour late after a power cut
	Synced                // the system says that it is synchronised
)

// String is the word for it in tables.
func (q Quality) String() string {
	switch q {
	case Synced:
		return "synced"
	case Free:
		return "free"
	}
	return "unset"
}

// Band is the half width of a channel's readings from Ms on, until the next.
type Band struct {
	Ms        int64
	Channel   string
	HalfWidth float64 // 0: none is stated
	AtLeast   bool    // its values are lower bounds
}

// Snapshot is a text that belongs to the file.
type Snapshot struct {
	Ms   int64
	What string // "configuration" (TOML as loaded), "state" (JSON of what outlives the process)
	Text string
}

// RunMark begins or ends the file's run.
type RunMark struct {
	Ms   int64
	Ends bool
	By   string // "phase", or the person who asked
}

func (r Transition) when() int64  { return r.Ms }
func (r Command) when() int64     { return r.Ms }
func (r Note) when() int64        { return r.Ms }
func (r PhaseChange) when() int64 { return r.Ms }
func (r Gap) when() int64         { return r.Ms }
func (r Anchor) when() int64      { return r.Ms }
func (r Band) when() int64        { return r.Ms }
func (r Snapshot) when() int64    { return r.Ms }
func (r RunMark) when() int64     { return r.Ms }

// Head is what a file begins with.
type Head struct {
	Rig      string        // its name
	Boot     string        // id of the boot
	Session  string        // id of this life of the daemon
	Part     int           // 1, 2, ... of the session
	Ms       int64         // of the first tick
	Tick     time.Duration // of the loop
	Version  string        // of the daemon
	Channels []Channel     // inputs first, then what is reckoned
	Records  []Record      // an Anchor, Snapshots, the phase, Bands: what is in force
}

// Meta is Head as it was stored, without Records, and what became of it.
type Meta struct {
	Head
	Number int    // of the file, and of its run
	Torn   bool   // begun in the middle, after a fault of the file before
	LastMs int64  // of the newest row
	Run    *Run   // nil: no run in it
	Size   int64  // bytes of the file and its companions
	Why    string // "" or why it cannot be read in whole
}

// Run is the run of a file.
type Run struct {
	From, To int64  // ms since boot; To is 0 while it lasts, or where a power cut ended it
	By, End  string // who began and who ended it
}

// Span is the time of the run, ms since boot, both included; without a run that
// of the file. A run that nobody ended ends with the file.
func (m *Meta) Span() (from, to int64) { return m.span(false) }

func (m *Meta) span(whole bool) (from, to int64) {
	from, to = m.Ms, m.LastMs
	if m.Run == nil || whole {
		return from, to
	}
	if m.Run.To != 0 {
		to = m.Run.To
	}
	return m.Run.From, to
}
