package lab

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/OpenPrinting/goipp"
)

// attrs collects the attributes of a printer or a job.
type attrs struct{ goipp.Attributes }

func (a *attrs) put(name string, tag goipp.Tag, first goipp.Value, more ...goipp.Value) {
	a.Add(goipp.MakeAttr(name, tag, first, more...))
}

// words adds an attribute of one or more strings, none when there are none.
func (a *attrs) words(name string, tag goipp.Tag, values ...string) {
	if len(values) == 0 {
		return
	}
	v := make([]goipp.Value, len(values))
	for i, s := range values {
		v[i] = goipp.String(s)
	}
	a.put(name, tag, v[0], v[1:]...)
}

func (a *attrs) octets(name string, values []string) {
	if len(values) == 0 {
		return
	}
	v := make([]goipp.Value, len(values))
	for i, s := range values {
		v[i] = goipp.Binary(s)
	}
	a.put(name, goipp.TagString, v[0], v[1:]...)
}

func (a *attrs) ints(name string, tag goipp.Tag, values ...int) {
	if len(values) == 0 {
		return
	}
	v := make([]goipp.Value, len(values))
	for i, n := range values {
		v[i] = goipp.Integer(n)
	}
	a.put(name, tag, v[0], v[1:]...)
}

func (a *attrs) yes(name string, b bool) { a.put(name, goipp.TagBoolean, goipp.Boolean(b)) }

func (a *attrs) collections(name string, values []goipp.Collection) {
	if len(values) == 0 {
		return
	}
	v := make([]goipp.Value, len(values))
	for i, c := range values {
		v[i] = c
	}
	a.put(name, goipp.TagBeginCollection, v[0], v[1:]...)
}

// service is one IPP service as a client reaches it.
type service struct {
	uris    []string // printer-uri-supported
	more    string   // printer-more-info
	queue   string   // name of the queue, for a print server
	contact string
}

// printerAttributes are the attributes of the machine at a moment (RFC 8011
// section 5.4, PWG 5100.9, PWG 5100.13).
func (d *machine) printerAttributes(s service, now, started time.Time) goipp.Attributes {
	var a attrs
	d.putIdentity(&a, s)
	d.putState(&a, now, started)
	d.putService(&a, s, now)
	d.putMedia(&a)
	d.putDefaults(&a)
	d.putPrinting(&a)
	if s.queue == "" {
		d.putParts(&a)
		d.putMarkers(&a)
		d.putCounts(&a)
	}
	return a.Attributes
}

func (d *machine) putIdentity(a *attrs, s service) {
	name := d.place.Title
	if s.queue != "" {
		name = s.queue
	}
	a.words("printer-name", goipp.TagName, strings.ReplaceAll(name, " ", "_"))
	a.words("printer-info", goipp.TagText, name)
	a.words("printer-location", goipp.TagText, d.place.Location)
	a.words("printer-make-and-model", goipp.TagText, d.Name)
	a.words("printer-more-info", goipp.TagURI, s.more)
	a.words("printer-organization", goipp.TagText, "Quillmere Ferry Trust")
	if s.queue != "" {
		return
	}
	a.words("printer-dns-sd-name", goipp.TagName, name)
	a.words("printer-device-id", goipp.TagText, d.deviceID())
	a.words("printer-uuid", goipp.TagURI, "urn:uuid:"+d.uuid)
	a.words("printer-serial-number", goipp.TagText, d.serial)
	a.words("printer-firmware-name", goipp.TagName, "Engine")
	a.words("printer-firmware-string-version", goipp.TagText, d.version())
	a.octets("printer-firmware-version", []string{d.version()})
	a.words("printer-kind", goipp.TagKeyword, d.printerKinds()...)
	var contact attrs
	contact.words("contact-name", goipp.TagName, s.contact)
	a.put("printer-contact-col", goipp.TagBeginCollection, goipp.Collection(contact.Attributes))
}

// printerKinds is printer-kind: what is printed on.
func (d *machine) printerKinds() []string {
	switch d.Kind {
	case "label":
		return []string{"label", "roll"}
	case "receipt":
		return []string{"receipt", "roll"}
	case "wide-format inkjet":
		return []string{"large-format", "roll"}
	}
	return []string{"document", "envelope"}
}

func (d *machine) putState(a *attrs, now, started time.Time) {
	up := d.up() + now.Sub(started)
	a.ints("printer-state", goipp.TagEnum, d.state())
	a.words("printer-state-reasons", goipp.TagKeyword, d.reasons()...)
	a.words("printer-state-message", goipp.TagText, strings.TrimSpace(strings.Join(d.panel(), " ")))
	a.yes("printer-is-accepting-jobs", !d.taking.refuses)
	a.ints("queued-job-count", goipp.TagInteger, len(d.jobs))
	a.ints("printer-up-time", goipp.TagInteger, int(up/time.Second))
	a.put("printer-current-time", goipp.TagDateTime, goipp.Time{Time: now.Add(d.set.clock).UTC()})
	changed := up - 5*time.Minute
	if w := d.worst(); w != nil {
		changed = up - now.Sub(started) - w.age
	}
	a.ints("printer-state-change-time", goipp.TagInteger, max(int(changed/time.Second), 1))
	a.ints("printer-config-change-time", goipp.TagInteger, 30)
	alerts, texts := d.alertStrings()
	a.octets("printer-alert", alerts)
	a.words("printer-alert-description", goipp.TagText, texts...)
}

// alertStrings are printer-alert and printer-alert-description (PWG 5100.9
// section 5.2): the code first, no semicolon at the end.
func (d *machine) alertStrings() (values, texts []string) {
	for _, al := range d.alertRows() {
		values = append(values, fmt.Sprintf("code=%s;index=%d;severity=%s;training=%s;group=%s;groupindex=%d;location=%d;time=%d",
			al.code, al.row, al.severity, al.training, al.group, al.index, al.location, d.raisedAt(al.age)))
		texts = append(texts, al.text)
	}
	if len(values) == 0 {
		return []string{"code=unknown;severity=other;group=other"}, []string{"no alert"}
	}
	return values, texts
}

// Operations that every printer lists (RFC 8011 section 5.4.15).
var operations = []int{opPrintJob, opValidateJob, 0x0008, 0x0009, 0x000a, 0x000b}

// operations lists operations-supported; a print server's queue is no box to be
// found.
func (d *machine) operations(s service) []int {
	all := slices.Clone(operations)
	if d.createsJobs() {
		all = append(all, opCreateJob, opSendDocument)
	}
	if s.queue == "" && d.identifyActions() != nil {
		all = append(all, opIdentify)
	}
	return all
}

func (d *machine) putService(a *attrs, s service, now time.Time) {
	var security, authentication []string
	for _, u := range s.uris {
		security = append(security, map[bool]string{true: "tls", false: "none"}[strings.HasPrefix(u, "ipps:")])
		authentication = append(authentication, "none")
	}
	a.words("printer-uri-supported", goipp.TagURI, s.uris...)
	a.words("uri-security-supported", goipp.TagKeyword, security...)
	a.words("uri-authentication-supported", goipp.TagKeyword, authentication...)
	a.words("ipp-versions-supported", goipp.TagKeyword, "1.1", "2.0")
	a.words("charset-configured", goipp.TagCharset, "utf-8")
	a.words("charset-supported", goipp.TagCharset, "utf-8")
	a.words("natural-language-configured", goipp.TagLanguage, d.Language)
	a.words("generated-natural-language-supported", goipp.TagLanguage, d.Language)
	a.words("compression-supported", goipp.TagKeyword, "none", "gzip")
	a.words("pdl-override-supported", goipp.TagKeyword, "attempted")
	a.ints("operations-supported", goipp.TagEnum, d.operations(s)...)
	a.yes("multiple-document-jobs-supported", false)
	if s.queue == "" {
		a.words("identify-actions-supported", goipp.TagKeyword, d.identifyActions()...)
	}
}

// formats lists document-format-supported.
func (d *machine) formats() []string {
	out := []string{"application/octet-stream", "image/pwg-raster"}
	if d.Color && !slices.Contains(out, "image/jpeg") {
		out = append(out, "image/jpeg")
	}
	for _, l := range d.speaks {
		if l.MIME != "" && !slices.Contains(out, l.MIME) {
			out = append(out, l.MIME)
		}
	}
	return out
}

func (d *machine) putDefaults(a *attrs) {
	portrait := 3 // RFC 8011 section 5.2.10
	if d.landscape {
		portrait = 4
	}
	a.ints("orientation-requested-default", goipp.TagEnum, portrait)
	a.ints("orientation-requested-supported", goipp.TagEnum, 3, 4, 5, 6)
	a.words("sides-default", goipp.TagKeyword, d.sidesDefault())
	a.words("sides-supported", goipp.TagKeyword, d.sidesSupported()...)
	a.words("print-color-mode-default", goipp.TagKeyword, d.colorModeDefault())
	a.words("print-color-mode-supported", goipp.TagKeyword, d.colorModes()...)
	a.yes("color-supported", d.Color)
	a.ints("finishings-default", goipp.TagEnum, d.finishingDefault())
	a.ints("finishings-supported", goipp.TagEnum, d.finishings()...)
	a.ints("copies-default", goipp.TagInteger, 1)
	a.put("copies-supported", goipp.TagRange, goipp.Range{Lower: 1, Upper: 999})
	a.ints("print-quality-default", goipp.TagEnum, 4)
	a.ints("print-quality-supported", goipp.TagEnum, 3, 4, 5)
	r := goipp.Resolution{Xres: d.Resolution, Yres: d.Resolution, Units: goipp.UnitsDpi}
	def := goipp.Resolution{Xres: d.resolutionDefault(), Yres: d.resolutionDefault(), Units: goipp.UnitsDpi}
	a.put("printer-resolution-default", goipp.TagResolution, def)
	a.put("printer-resolution-supported", goipp.TagResolution, r)
	a.ints("number-up-default", goipp.TagInteger, 1)
	a.ints("number-up-supported", goipp.TagInteger, 1, 2, 4)
	a.words("job-sheets-default", goipp.TagKeyword, "none")
	a.words("job-sheets-supported", goipp.TagKeyword, "none", "standard")
	a.words("multiple-document-handling-default", goipp.TagKeyword, "separate-documents-collated-copies")
	a.words("document-format-default", goipp.TagMimeType, "application/octet-stream")
	a.words("document-format-supported", goipp.TagMimeType, d.formats()...)
	if d.CounterUnit == "impressions" {
		a.ints("pages-per-minute", goipp.TagInteger, d.Speed)
		if d.Color {
			a.ints("pages-per-minute-color", goipp.TagInteger, d.Speed)
		}
	}
}

// finishings lists finishings-supported (RFC 8011 section 5.2.6): none, staple,
// punch.
func (d *machine) finishings() []int {
	out := []int{finishNone}
	for _, f := range d.finishers {
		switch f.Kind {
		case "stitcher":
			out = append(out, 4, 20)
		case "puncher":
			out = append(out, 5)
		}
	}
	return out
}

func (d *machine) putCounts(a *attrs) {
	if d.CounterUnit != "impressions" {
		return
	}
	a.ints("printer-impressions-completed", goipp.TagInteger, d.life)
	a.ints("printer-media-sheets-completed", goipp.TagInteger, d.life*7/10)
	if !d.Color {
		return
	}
	var c attrs
	c.ints("monochrome", goipp.TagInteger, d.life-d.colored)
	c.ints("full-color", goipp.TagInteger, d.colored)
	a.put("printer-impressions-completed-col", goipp.TagBeginCollection, goipp.Collection(c.Attributes))
}
