package survey

import (
	"time"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/snmp"
)

// ReadOptions are what reading one device over one protocol needs.
type ReadOptions struct {
	Timeout      time.Duration    // of one request, > 0
	Retries      int              // of one request, >= 0
	Now          func() time.Time // never nil
	ShowJobNames bool             // otherwise job names are not kept
	ShowOwners   bool             // otherwise job owners are not kept
	Log          func(string)     // --verbose lines without secrets; may be nil

	share sharing // with who else reads the device
}

// Options are what a survey needs.
type Options struct {
	Discover      discover.Config
	Credentials   []snmp.Credential // in the order to try
	Expected      []device.Expected
	Site          string          // name of the site surveyed; may be empty
	Known         []device.Device // devices of an earlier survey: their keys are kept
	Concurrency   int             // devices read at the same time, > 0
	DeviceTimeout time.Duration   // for one device, all protocols; 0: DeviceLimit
	Timeout       time.Duration   // of one request
	Retries       int             // of one request
	NoSNMP        bool
	NoIPP         bool
	ShowJobNames  bool
	ShowOwners    bool
	Shelf         *Shelf // for what was read, left open; nil: one of the survey's own
	ToolVersion   string
	Now           func() time.Time // nil: time.Now
	Progress      func(Progress)   // nil: none; called from one goroutine
	Log           func(string)     // --verbose lines; may be nil

	single bool // one device is looked at: nobody else is missed
}

// Progress is a snapshot of a running survey.
type Progress struct {
	Discover discover.Progress
	Found    int // devices to read so far
	Read     int // devices read
	Done     bool
}

// DeviceLimit is how long reading one device may take, all protocols: the
// default, or longer where the waiting for single answers asks for it. A
// device that stops answering is waited for twice as long as all tries of one
// request take; a shorter limit would cut that, and the report would say that
// the time ran out instead of what was silent.
func DeviceLimit(timeout time.Duration, retries int) time.Duration {
	return max(DefaultDeviceTimeout, 2*time.Duration(max(retries, 0)+1)*timeout+limitSpare)
}

// limitSpare is for what was answered before the device fell silent.
const limitSpare = 5 * time.Second
