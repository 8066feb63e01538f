package ipp

import (
	"bytes"
	"encoding/binary"
	"fmt"

	goippreq "github.com/phin1x/go-ipp"
)

// Versions that requests are sent with; the older one is tried when a printer
// does not support the newer (RFC 8011 appendix B.1.5.4).
const (
	version20 uint16 = 0x0200
	version11 uint16 = 0x0101
)

// naturalLanguage is asked for; a printer that does not have it answers in its
// own.
const naturalLanguage = "en-us"

// userName is the requesting-user-name of every request: some printers refuse
// Get-Jobs without one. It names the program, never a person.
const userName = "printround"

// PrinterAttributes are the attributes that Get-Printer-Attributes asks for.
// The list is not "all": a printer may build large collections for that.
func PrinterAttributes() []string { return append([]string(nil), printerAttributes...) }

var printerAttributes = []string{
	"printer-state", "printer-state-reasons", "printer-state-message", "printer-is-accepting-jobs",
	"queued-job-count", "printer-up-time", "printer-current-time",
	"printer-alert", "printer-alert-description",
	"marker-names", "marker-types", "marker-colors", "marker-levels", "marker-low-levels", "marker-high-levels",
	"printer-supply", "printer-supply-description",
	"printer-input-tray", "printer-output-tray", "media-source-supported", "output-bin-supported",
	"media-ready", "media-col-ready",
	"printer-finisher", "printer-finisher-description",
	"printer-finisher-supplies", "printer-finisher-supplies-description",
	"printer-cover", "printer-cover-description",
	"printer-name", "printer-dns-sd-name", "printer-info", "printer-location", "printer-make-and-model",
	"printer-device-id", "printer-uuid", "device-uuid", "printer-serial-number", "printer-contact-col",
	"printer-firmware-name", "printer-firmware-string-version", "printer-firmware-version",
	"media-default", "orientation-requested-default", "sides-default", "finishings-default",
	"print-color-mode-default", "document-format-supported",
	"printer-resolution-default", "output-bin-default", "finishings-supported",
	"printer-impressions-completed", "printer-impressions-completed-col",
	"printer-media-sheets-completed", "printer-pages-completed",
	"operations-supported", "printer-uri-supported",
	// A queue of a general-purpose print server answers these; a printer does not know them.
	"device-uri", "member-names", "cups-version", "printer-type",
}

// jobAttributes are asked for by Get-Jobs; names and owners of jobs only when
// they are to be shown.
var jobAttributes = []string{
	"job-id", "job-state", "job-state-reasons", "time-at-creation", "job-printer-up-time",
	"date-time-at-creation", "job-impressions-completed",
}

// requestedJobAttribute names in a request what a caller may want beside them.
const (
	jobName  = "job-name"
	jobOwner = "job-originating-user-name"
)

// MaxJobs is the most jobs asked for.
const MaxJobs = 200

// attr is one operation attribute of a request.
type attr struct {
	name  string
	value any
}

// request is one operation, ready to be encoded for any URI of the printer.
type request struct {
	operation int16
	attrs     []attr
}

func getPrinterAttributes(names []string) request {
	r := request{operation: goippreq.OperationGetPrinterAttributes, attrs: []attr{{goippreq.AttributeRequestingUserName, userName}}}
	if len(names) > 0 {
		r.attrs = append(r.attrs, attr{goippreq.AttributeRequestedAttributes, names})
	}
	return r
}

func getJobs(names []string) request {
	return request{operation: goippreq.OperationGetJobs, attrs: []attr{
		{goippreq.AttributeRequestingUserName, userName},
		{goippreq.AttributeLimit, MaxJobs},
		{goippreq.AttributeRequestedAttributes, names},
		{goippreq.AttributeWhichJobs, "not-completed"},
	}}
}

// encode writes the request. The library's own request type keeps attributes
// in a map; here their order is that of RFC 8011 section 4.1.4 and 4.1.5:
// charset, language, target, the rest.
func (r request) encode(version uint16, id uint32, uri string) ([]byte, error) {
	var b bytes.Buffer
	head := binary.BigEndian.AppendUint16(nil, version)
	head = binary.BigEndian.AppendUint16(head, uint16(r.operation))
	head = binary.BigEndian.AppendUint32(head, id)
	b.Write(append(head, byte(goippreq.TagOperation)))
	enc := goippreq.NewAttributeEncoder(&b)
	all := append([]attr{
		{goippreq.AttributeCharset, goippreq.Charset},
		{goippreq.AttributeNaturalLanguage, naturalLanguage},
		{goippreq.AttributePrinterURI, uri},
	}, r.attrs...)
	for _, a := range all {
		if err := enc.Encode(a.name, a.value); err != nil {
			return nil, fmt.Errorf("encoding %s: %w", a.name, err)
		}
	}
	b.WriteByte(byte(goippreq.TagEnd))
	return b.Bytes(), nil
}
