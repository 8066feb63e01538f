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
}

// Options are what a survey needs.
type Options struct {
	Discover      discover.Config
	Credentials   []snmp.Credential // in the order to try
	Expected      []device.Expected
	Site          string          // name of the site surveyed; may be empty
	Known         []device.Device // devices of an earlier survey: their keys are kept
	Concurrency   int             // devices read at the same time, > 0
	DeviceTimeout time.Duration   // for one device, all protocols
	Timeout       time.Duration   // of one request
	Retries       int             // of one request
	NoSNMP        bool
	NoIPP         bool
	ShowJobNames  bool
	ShowOwners    bool
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
