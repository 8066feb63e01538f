package device

import (
	"net/netip"
	"time"
)

// SurveySchema and DeviceSchema name the published JSON documents.
const (
	SurveySchema = "printround.survey/1"
	DeviceSchema = "printround.device/1"
)

// Survey is the result of looking at many devices.
type Survey struct {
	Schema        string        `json:"schema"`
	Started       time.Time     `json:"started"`
	Finished      time.Time     `json:"finished"`
	Partial       bool          `json:"partial"`
	PartialReason Text          `json:"partial_reason"`
	ToolVersion   string        `json:"tool_version"`
	Site          Text          `json:"site"`
	Scope         Scope         `json:"scope"`
	Devices       []Device      `json:"devices"` // ranked, worst first
	Unconfirmed   []Unconfirmed `json:"unconfirmed"`
	Changes       *Changes      `json:"changes"` // against an earlier survey; nil: none given
	Errors        []Problem     `json:"errors"`
}

// Document is the JSON document of one device.
type Document struct {
	Schema string `json:"schema"`
	Device Device `json:"device"`
}

// Scope says what was looked at.
type Scope struct {
	Targets        []string `json:"targets"`
	Addresses      int      `json:"addresses"` // in scope
	Probed         int      `json:"probed"`    // asked at least once
	Answered       int      `json:"answered"`  // gave any answer, printers included
	NotPrinters    int      `json:"not_printers"`
	Unconfirmed    int      `json:"unconfirmed"`
	SilentExpected int      `json:"silent_expected"`
	Prefixes       []Prefix `json:"prefixes"`
	Notes          []string `json:"notes"` // what was not seen, in words
}

// Prefix is the outcome for one target of the scope.
type Prefix struct {
	Target   string `json:"target"`
	Probed   int    `json:"probed"`
	Answered int    `json:"answered"`
	Printers int    `json:"printers"`
	Note     Text   `json:"note"` // "no route, firewall or empty" when nothing answered
}

// Unconfirmed is a host with hints of a printer that showed neither the
// Printer MIB nor IPP printer attributes.
type Unconfirmed struct {
	Address     netip.Addr `json:"address"`
	Description Text       `json:"description"`
	Reason      string     `json:"reason"`
}

// Changes compares two surveys.
type Changes struct {
	Since   time.Time `json:"since"`
	New     []Change  `json:"new"`     // findings that were not there
	Cleared []Change  `json:"cleared"` // findings that are gone
	Moved   []Change  `json:"moved"`   // devices with other addresses
	Arrived []Change  `json:"arrived"` // devices not seen before
	Gone    []Change  `json:"gone"`    // devices not seen now

	// The history tells these; a comparison of two surveys leaves them empty.
	Silent   []Change      `json:"silent"`   // devices that fell silent
	Replaced []Change      `json:"replaced"` // supplies that were replaced or refilled
	Pages    *PagesPrinted `json:"pages"`    // nil: not told
}

// PagesPrinted is how far the life counters that count pages went.
type PagesPrinted struct {
	Total   int64 `json:"total"`
	Devices int   `json:"devices"` // counted in Total
	Unknown int   `json:"unknown"` // that answered, and whose pages are not known
}

// Change is one difference.
type Change struct {
	Key    string `json:"key"`
	Device string `json:"device"` // name for people
	Code   string `json:"code"`   // finding code; empty when a device moved, arrived or is gone
	What   string `json:"what"`   // one line for people
}

// Expected is a device that its site says is there.
type Expected struct {
	Key      string // an alias such as serial:…, or empty
	Address  string // address or host name, or empty
	Name     string
	Location string
	Site     string
	Sole     bool // the only one its people have
}
