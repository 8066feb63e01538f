// Package device holds the nouns of a survey: a device with its supplies,
// trays, alerts and findings, and the survey that holds the devices. It
// imports nothing of the project; every other package speaks in its words.
// The JSON form of these types is the published output (schemas
// printround.survey/1 and printround.device/1).
package device

import (
	"net/netip"
	"time"
)

// Role tells a device apart from a queue that a server keeps for one.
type Role string

// Roles.
const (
	RolePrinter     Role = "printer"
	RoleServerQueue Role = "server-queue"
)

// Source is the protocol or place a fact came from.
type Source string

// Sources of facts.
const (
	SourceSNMP    Source = "snmp"
	SourceIPP     Source = "ipp"
	SourceMDNS    Source = "mdns"
	SourceSite    Source = "site"    // the site file
	SourceHistory Source = "history" // earlier nights
	SourceDerived Source = "derived" // concluded by the tool
)

// Device is everything known of one device at one moment. Facts that are not
// known are empty: an empty Text, a nil pointer, an unknown Level.
type Device struct {
	Key        string       `json:"key"`
	Aliases    []string     `json:"aliases"`
	Site       Text         `json:"site"`
	Name       Text         `json:"name"` // what people call it: site file, DNS-SD, IPP printer-name, sysName
	Role       Role         `json:"role"`
	Technology Text         `json:"technology"` // PrtMarkerMarkTechTC label
	ObservedAt time.Time    `json:"observed_at"`
	Addresses  []netip.Addr `json:"addresses"`
	Hostname   Text         `json:"hostname"`
	MakeModel  Text         `json:"make_model"`
	Serial     Text         `json:"serial"`
	Location   Text         `json:"location"`
	Contact    Text         `json:"contact"`
	Firmware   Text         `json:"firmware"`
	UUID       Text         `json:"uuid"` // 8-4-4-4-12 lower-case hex
	MAC        Text         `json:"mac"`  // six lower-case hex pairs joined by colons
	Sole       bool         `json:"sole"` // its site calls it the only one

	// The history tells these; nil without one.
	LastSeen       *time.Time `json:"last_seen"`        // the last answer, of a device that did not answer now
	PagesSinceLast *int64     `json:"pages_since_last"` // growth of the life counter since the night before, in its unit

	Reached   Reached   `json:"reached"`
	Attention Attention `json:"attention"`
	Urgency   int       `json:"urgency"` // 0..100
	State     State     `json:"state"`
	NotJudged []string  `json:"not_judged"` // conditions whose facts are missing
	Findings  []Finding `json:"findings"`   // worst first

	Supplies  []Supply   `json:"supplies"`
	Trays     []Tray     `json:"trays"`
	Outputs   []Output   `json:"outputs"`
	Covers    []Cover    `json:"covers"`
	Finishers []Finisher `json:"finishers"`
	Paths     []Path     `json:"media_paths"`
	Channels  []Channel  `json:"channels"`
	Languages []Language `json:"languages"`
	Storage   []Storage  `json:"storage"`
	Counters  Counters   `json:"counters"`
	Queue     Queue      `json:"queue"`
	Defaults  Defaults   `json:"defaults"`
	Alerts    []Alert    `json:"alerts"`

	Disagreements []Disagreement `json:"disagreements"`
	Errors        []Problem      `json:"errors"`
}

// Reached says how the device answered.
type Reached struct {
	SNMP SNMPReach `json:"snmp"`
	IPP  IPPReach  `json:"ipp"`
	MDNS MDNSReach `json:"mdns"`
}

// SNMPReach is the outcome of reading over SNMP.
type SNMPReach struct {
	OK         bool `json:"ok"`
	Tried      bool `json:"tried"`
	Version    Text `json:"version"`    // 1, 2c or 3
	Credential Text `json:"credential"` // the label of the credential that worked, never the secret
	RoundTrips int  `json:"round_trips"`
	Values     int  `json:"values"` // object instances read
	Bytes      int  `json:"bytes"`  // UDP payload received
	Partial    bool `json:"partial"`
	Delivered  bool `json:"default_community"` // the community that worked is the one of delivery
}

// IPPReach is the outcome of reading over IPP.
type IPPReach struct {
	OK    bool `json:"ok"`
	Tried bool `json:"tried"`
	URI   Text `json:"uri"`
	TLS   *TLS `json:"tls"` // nil: not encrypted, or not reached
}

// TLS is what the device showed of its certificate.
type TLS struct {
	Version     Text       `json:"version"`
	Fingerprint Text       `json:"fingerprint"` // SHA-256 of the certificate, lower-case hex
	SelfSigned  bool       `json:"self_signed"`
	NotAfter    *time.Time `json:"not_after"`
}

// MDNSReach is the outcome of browsing DNS-SD.
type MDNSReach struct {
	OK       bool `json:"ok"`
	Instance Text `json:"instance"`
}

// State is what the device says of itself as a whole.
type State struct {
	Device       Text     `json:"device"`        // hrDeviceStatus label (RFC 2790)
	Printer      Text     `json:"printer"`       // hrPrinterStatus label (RFC 2790)
	PrinterState Text     `json:"printer_state"` // IPP printer-state: idle, processing, stopped (RFC 8011 section 5.4.11)
	Message      Text     `json:"message"`       // IPP printer-state-message
	Overall      Text     `json:"overall"`       // row of RFC 3805's table of states, section 2.2.13.2
	ErrorBits    []string `json:"error_bits"`    // hrPrinterDetectedErrorState labels (RFC 2790)
	Reasons      []string `json:"reasons"`       // printer-state-reasons as reported, with suffixes, without none
	Conditions   []string `json:"conditions"`    // codes of the findings that hold now, sorted
	Console      []string `json:"console"`       // the panel's own lines, word for word
	Lights       []Light  `json:"lights"`
	UptimeS      *int64   `json:"uptime_s"`
	ClockOffS    *int64   `json:"clock_off_s"` // printer-current-time minus this machine's time; above 0: ahead of it
}

// Light is one lamp of the panel (prtConsoleLightTable, RFC 3805).
type Light struct {
	Name  Text `json:"name"`
	Color Text `json:"color"`
	State Text `json:"state"` // on, off, blinking
}

// SupplyRole says whether a supply is used up or filled
// (PrtMarkerSuppliesClassTC, RFC 3805).
type SupplyRole string

// Supply roles; the empty role is not stated.
const (
	Consumed   SupplyRole = "consumed"
	Receptacle SupplyRole = "receptacle"
)

// Supply is one consumable or long-life part that the device keeps count of.
type Supply struct {
	Index    int        `json:"index"`
	Name     Text       `json:"name"`     // the device's own words
	Kind     Text       `json:"kind"`     // PrtMarkerSuppliesTypeTC label
	Role     SupplyRole `json:"role"`     // consumed or receptacle
	Colorant Text       `json:"colorant"` // black, cyan, …; the device's word when it is none of ours
	Unit     Text       `json:"unit"`     // PrtMarkerSuppliesSupplyUnitTC label
	Capacity *int64     `json:"capacity"` // in Unit; nil: not stated
	Level    Level      `json:"level"`
	LowAt    *float64   `json:"low_at"` // the device's own low level, percent
	Source   Source     `json:"source"`
	Object   string     `json:"object"` // object instance or attribute value of the level
	Other    *Reading   `json:"other"`  // what the other protocol says of the same supply
}

// Reading is a level as one source gives it.
type Reading struct {
	Source Source `json:"source"`
	Object string `json:"object"`
	Level  Level  `json:"level"`
}

// Media describes a medium. Sizes are in millimetres, weight in g/m².
type Media struct {
	Name     Text     `json:"name"` // PWG 5101.1 self-describing name where known, else the device's word
	WidthMM  *float64 `json:"width_mm"`
	LengthMM *float64 `json:"length_mm"` // nil also for roll media without a length
	Type     Text     `json:"type"`
	Color    Text     `json:"color"`
	WeightG  *float64 `json:"weight_gsm"`
}

// Tray is one input subunit.
type Tray struct {
	Index    int    `json:"index"`
	Name     Text   `json:"name"`
	Kind     Text   `json:"kind"` // PrtInputTypeTC label
	Media    Media  `json:"media"`
	Unit     Text   `json:"unit"` // PrtCapacityUnitTC label
	Capacity *int64 `json:"capacity"`
	Level    Level  `json:"level"`
	Status   Status `json:"status"`
	Source   Source `json:"source"`
	Object   string `json:"object"`
}

// Output is one output bin; its level is the room left.
type Output struct {
	Index    int    `json:"index"`
	Name     Text   `json:"name"`
	Kind     Text   `json:"kind"` // PrtOutputTypeTC label
	Unit     Text   `json:"unit"`
	Capacity *int64 `json:"capacity"`
	Level    Level  `json:"level"`
	Status   Status `json:"status"`
	Source   Source `json:"source"`
	Object   string `json:"object"`
}

// Cover is one cover or interlock.
type Cover struct {
	Index  int    `json:"index"`
	Name   Text   `json:"name"`
	Status Text   `json:"status"` // PrtCoverStatusTC label
	Object string `json:"object"`
}

// Finisher is one finishing device (finDeviceTable, RFC 3806).
type Finisher struct {
	Index      int               `json:"index"`
	Name       Text              `json:"name"`
	Kind       Text              `json:"kind"`    // FinDeviceTypeTC label
	Present    Text              `json:"present"` // PresentOnOff label
	Status     Status            `json:"status"`
	Supplies   []Supply          `json:"supplies"`   // Kind is a PrtMarkerSuppliesTypeTC label, as finSupplyType is
	Inputs     []Tray            `json:"inputs"`     // media it adds, such as covers (finSupplyMediaInputTable)
	Attributes map[string]string `json:"attributes"` // FinAttributeTypeTC label -> value
	Object     string            `json:"object"`
}

// Path is one media path (prtMediaPathTable).
type Path struct {
	Index  int    `json:"index"`
	Name   Text   `json:"name"`
	Kind   Text   `json:"kind"` // PrtMediaPathTypeTC label
	Speed  *int64 `json:"speed"`
	Unit   Text   `json:"unit"`
	Status Status `json:"status"`
}

// Channel is one way data comes in (prtChannelTable).
type Channel struct {
	Index  int    `json:"index"`
	Kind   Text   `json:"kind"`  // PrtChannelTypeTC label
	State  Text   `json:"state"` // PrtChannelStateTC label
	Status Status `json:"status"`
}

// Language is one page description language the device interprets.
type Language struct {
	Family      Text `json:"family"` // PrtInterpreterLangFamilyTC label, or a MIME type
	Level       Text `json:"level"`
	Version     Text `json:"version"`
	Orientation Text `json:"orientation"`
}

// Storage is one memory or disk (hrStorageTable, RFC 2790); sizes in bytes.
type Storage struct {
	Name  Text   `json:"name"`
	Kind  Text   `json:"kind"`
	Size  *int64 `json:"size"`
	Used  *int64 `json:"used"`
	Fails *int64 `json:"allocation_failures"`
}

// Count is one counter; a nil Value is unknown.
type Count struct {
	Value  *int64 `json:"value"`
	Unit   Text   `json:"unit"`   // PrtMarkerCounterUnitTC label
	Reason Text   `json:"reason"` // why there is no value
	Source Source `json:"source"`
	Object string `json:"object"`
}

// Counters are the device's counters.
type Counters struct {
	Life         Count `json:"life"`           // prtMarkerLifeCount
	SincePowerOn Count `json:"since_power_on"` // prtMarkerPowerOnCount
	Color        Count `json:"color"`
	Monochrome   Count `json:"monochrome"`
}

// Queue is the device's own list of jobs.
type Queue struct {
	Accepting *bool `json:"accepting"` // printer-is-accepting-jobs
	Queued    *int  `json:"queued"`    // queued-job-count
	Jobs      []Job `json:"jobs"`
}

// Job is one job in a queue (RFC 8011 section 5.3).
type Job struct {
	ID      int      `json:"id"`
	Name    Text     `json:"name"`  // null unless asked for
	Owner   Text     `json:"owner"` // null unless asked for
	State   Text     `json:"state"` // pending, pending-held, processing, processing-stopped, canceled, aborted, completed
	Reasons []string `json:"reasons"`
	AgeS    *int64   `json:"age_s"`
	Pages   *int64   `json:"pages_done"` // job-impressions-completed
}

// Defaults are what the device does when a job says nothing.
type Defaults struct {
	Media       Text     `json:"media"`
	Orientation Text     `json:"orientation"` // portrait, landscape, reverse-landscape, reverse-portrait, none
	Sides       Text     `json:"sides"`
	Finishings  []string `json:"finishings"`
	ColorMode   Text     `json:"color_mode"`
	Ready       []string `json:"media_ready"` // media-ready
	Resolution  Text     `json:"resolution"`  // printer-resolution-default: 600dpi, or 600x1200dpi across and along the feed
	OutputBin   Text     `json:"output_bin"`  // output-bin-default
	CanFinish   []string `json:"finishings_supported"`
	Source      Source   `json:"source"`
}

// Alert is one row of prtAlertTable (RFC 3805) or one value of printer-alert
// (PWG 5100.9).
type Alert struct {
	Source      Source `json:"source"`
	Object      string `json:"object"` // such as prtAlertCode.1.7 or printer-alert[2]
	Index       int    `json:"index"`
	Code        string `json:"code"`     // PrtAlertCodeTC label; the number when it has none
	Severity    string `json:"severity"` // PrtAlertSeverityLevelTC label
	Training    string `json:"training"` // PrtAlertTrainingLevelTC label
	Group       string `json:"group"`    // PrtAlertGroupTC label
	GroupIndex  int    `json:"group_index"`
	Location    int    `json:"location"`
	Description Text   `json:"description"`
	AgeS        *int64 `json:"age_s"`
	AgeReason   Text   `json:"age_reason"` // why there is no age
}

// Disagreement records that two protocols differ beyond tolerance.
type Disagreement struct {
	Fact string `json:"fact"` // such as supply[2].level
	SNMP string `json:"snmp"`
	IPP  string `json:"ipp"`
	Kept Source `json:"kept"`
}

// Problem is something that went wrong while reading, in one line a person can
// act on.
type Problem struct {
	Address string `json:"address"`
	Stage   string `json:"stage"` // name, route, snmp, tcp, tls, http, ipp, mdns, target, file
	Message string `json:"message"`
}
