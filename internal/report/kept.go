package report

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"printround/internal/device"
)

// HistorySchema names the published JSON document of an exported history.
const HistorySchema = "printround.history/1"

// HistoryFormats returns the formats that a history is exported in.
func HistoryFormats() []Format { return []Format{CSV, JSON} }

// KeptHistory is the head of an exported history.
type KeptHistory struct {
	Schema   string       `json:"schema"`
	Exported time.Time    `json:"exported"`
	Runs     []KeptRun    `json:"runs"`
	Devices  []KeptDevice `json:"devices"`
}

// KeptRun is one run.
type KeptRun struct {
	Started       time.Time   `json:"started"`
	Finished      time.Time   `json:"finished"`
	ToolVersion   string      `json:"tool_version"`
	Partial       bool        `json:"partial"`
	PartialReason device.Text `json:"partial_reason"`
	Answered      int         `json:"answered"` // devices
	Missed        int         `json:"missed"`
}

// KeptDevice is everything that is kept of one device.
type KeptDevice struct {
	Key        string         `json:"key"`
	Aliases    []string       `json:"aliases"`
	Site       device.Text    `json:"site"`
	Name       device.Text    `json:"name"`
	Location   device.Text    `json:"location"`
	MakeModel  device.Text    `json:"make_model"`
	Serial     device.Text    `json:"serial"`
	Technology device.Text    `json:"technology"`
	Addresses  []string       `json:"addresses"`
	FirstSeen  *time.Time     `json:"first_seen"`
	LastSeen   *time.Time     `json:"last_seen"`
	Misses     int            `json:"misses"`
	Nights     []KeptNight    `json:"nights"`
	Findings   []KeptInterval `json:"findings"`
	Alerts     []KeptInterval `json:"alerts"`
}

// KeptNight is one night of a device.
type KeptNight struct {
	At        time.Time        `json:"at"`
	Attention device.Attention `json:"attention"`
	Address   device.Text      `json:"address"`
	UptimeS   *int64           `json:"uptime_s"`
	Readings  []KeptReading    `json:"readings"`
}

// KeptReading is one number of a night, as the device gave it.
type KeptReading struct {
	Group    string        `json:"group"`  // supply, tray, output, finisher, insert, counter, storage
	Parent   int           `json:"parent"` // index of the finisher; 0: none
	Index    int           `json:"index"`
	Name     device.Text   `json:"name"`
	Kind     device.Text   `json:"kind"`
	Role     device.Text   `json:"role"`
	Colorant device.Text   `json:"colorant"`
	Value    *int64        `json:"value"`
	Unit     device.Text   `json:"unit"`
	Capacity *int64        `json:"capacity"`
	Percent  *float64      `json:"percent"`
	Reason   device.Text   `json:"reason"` // why there is no percentage
	Source   device.Source `json:"source"`
}

// KeptInterval is how long a finding or an alert held.
type KeptInterval struct {
	Code      string      `json:"code"`
	Group     string      `json:"group"`
	Index     int         `json:"index"`
	Level     string      `json:"level"` // impact of a finding, severity of an alert
	What      device.Text `json:"what"`
	FirstSeen time.Time   `json:"first_seen"`
	LastSeen  time.Time   `json:"last_seen"`
	Cleared   *time.Time  `json:"cleared"` // null: it holds
}

// keptRow is one reading in CSV.
type keptRow struct {
	d *KeptDevice
	n *KeptNight
	KeptReading
}

// keptColumns is the CSV file of a history, one row for each reading.
var keptColumns = []column[keptRow]{
	{"at", "when the device was looked at, RFC 3339, UTC", func(r keptRow) string { return timeCell(r.n.At) }},
	{"site", "site of the site file", func(r keptRow) string { return string(r.d.Site) }},
	{"key", "stable name of the device", func(r keptRow) string { return r.d.Key }},
	{"name", "what people call it", func(r keptRow) string { return string(r.d.Name) }},
	{"location", "where it stands", func(r keptRow) string { return string(r.d.Location) }},
	{"group", "supply, tray, output, finisher, insert, counter or storage", func(r keptRow) string { return r.Group }},
	{"parent", "index of the finisher", func(r keptRow) string { return indexCell(r.Parent) }},
	{"index", "index in its group", func(r keptRow) string { return indexCell(r.Index) }},
	{"reading", "the device's own name", func(r keptRow) string { return string(r.Name) }},
	{"kind", "PrtMarkerSuppliesTypeTC label of a supply, medium of a tray", func(r keptRow) string { return string(r.Kind) }},
	{"role", "consumed or receptacle", func(r keptRow) string { return string(r.Role) }},
	{"colorant", "black, cyan, …", func(r keptRow) string { return string(r.Colorant) }},
	{"value", "the number as the device gave it; for a receptacle and an output bin the space left", func(r keptRow) string { return intCell(r.Value) }},
	{"unit", "its unit, a label of RFC 3805; octets for storage", func(r keptRow) string { return string(r.Unit) }},
	{"capacity", "of what, in the same unit, as the device gave it", func(r keptRow) string { return statedCell(r.Capacity) }},
	{"percent", "empty when it is not known", func(r keptRow) string { return floatCell(r.Percent) }},
	{"reason", "why there is no percentage", func(r keptRow) string { return string(r.Reason) }},
	{"source", "snmp or ipp", func(r keptRow) string { return string(r.Source) }},
}

// HistoryColumns returns the columns of an exported history.
func HistoryColumns() []Column { return documented(keptColumns) }

// statedCell leaves out the special values of RFC 3805, which are negative: the
// reason says what they mean.
func statedCell(v *int64) string {
	if v == nil || *v < 0 {
		return ""
	}
	return intCell(v)
}

func indexCell(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// HistoryWriter writes an exported history, device by device.
type HistoryWriter struct {
	w     io.Writer
	csv   *csv.Writer // nil: JSON
	cell  func(string) string
	enc   *jsonEncoder
	tail  []byte
	count int
}

// NewHistoryWriter begins an export in CSV or JSON. Close ends it.
func NewHistoryWriter(w io.Writer, head KeptHistory, o Options) (*HistoryWriter, error) {
	h := &HistoryWriter{w: w}
	switch o.Format {
	case CSV:
		var err error
		if h.cell, err = beginCSV(w, o, inert); err != nil {
			return nil, err
		}
		h.csv = csv.NewWriter(w)
		h.csv.UseCRLF = true
		writeHeading(h.csv, keptColumns)
		return h, nil
	case JSON:
		return h, h.begin(head)
	}
	return nil, fmt.Errorf("a history is exported as csv or json, not as %s", o.Format)
}

func (h *HistoryWriter) begin(head KeptHistory) error {
	head.Schema, head.Devices = HistorySchema, nil
	whole, err := newJSONEncoder("").encode(head)
	if err != nil {
		return err
	}
	const empty = "\n  \"devices\": []" // indented by two, so of the history itself; texts hold no line break
	before, after, ok := bytes.Cut(whole, []byte(empty))
	if !ok {
		return errors.New("the head of the history has no list of devices")
	}
	h.tail, h.enc = bytes.Clone(after), newJSONEncoder("    ")
	_, err = fmt.Fprintf(h.w, "%s\n  \"devices\": [", before)
	return err
}

// Device writes one device.
func (h *HistoryWriter) Device(d *KeptDevice) error {
	if h.csv != nil {
		record := make([]string, len(keptColumns))
		for i := range d.Nights {
			n := &d.Nights[i]
			for _, r := range n.Readings {
				for k, c := range keptColumns {
					record[k] = h.cell(c.cell(keptRow{d, n, r}))
				}
				if err := h.csv.Write(record); err != nil {
					return err
				}
			}
		}
		return nil
	}
	b, err := h.enc.encode(*d)
	if err != nil {
		return err
	}
	comma := ","
	if h.count == 0 {
		comma = ""
	}
	h.count++
	_, err = fmt.Fprintf(h.w, "%s\n    %s", comma, bytes.TrimSuffix(b, []byte("\n")))
	return err
}

// Close ends the export.
func (h *HistoryWriter) Close() error {
	if h.csv != nil {
		h.csv.Flush()
		return h.csv.Error()
	}
	end := "]"
	if h.count > 0 {
		end = "\n  ]"
	}
	_, err := fmt.Fprintf(h.w, "%s%s", end, h.tail)
	return err
}
