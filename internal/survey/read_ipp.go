package survey

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"printround/internal/device"
	"printround/internal/ipp"
)

// ReadIPP asks one printer for its attributes and its jobs and maps the answers
// into views of devices that hold IPP facts only. A device that does not answer
// is a result, not an error: Problems says in one line which step failed.
func ReadIPP(ctx context.Context, t IPPTarget, o ReadOptions) IPPResult {
	s := openIPP(t, o)
	defer s.Close()
	r := IPPResult{Reach: device.IPPReach{Tried: true}}
	problem := func(stage, format string, args ...any) {
		r.Problems = append(r.Problems, device.Problem{
			Address: t.Addr.String(), Stage: stage, Message: string(device.Clean(fmt.Sprintf(format, args...))),
		})
	}
	answer, err := s.Printer(ctx)
	if err != nil {
		r.NotIPP = errors.Is(err, ipp.ErrNotIPP) || errors.Is(err, ipp.ErrNotHTTP)
		r.Mute = ipp.TimedOut(err)
		r.Closed = errors.Is(err, ipp.ErrRefused) || errors.Is(err, ipp.ErrNoAnswer) || errors.Is(err, ipp.ErrNoRoute)
		if ctx.Err() != nil {
			err = errors.New("the time for this device ran out, or the run was stopped, before it answered over IPP")
		}
		problem(stageOf(err), "%v", err)
		return r
	}
	r.Reach.OK = true
	r.Reach.URI = device.Clean(answer.URI)
	r.Reach.TLS = reachTLS(s.TLS())
	for _, note := range answerNotes(answer) {
		problem("ipp", "%s", note)
	}
	for _, attrs := range answer.All(ipp.PrinterGroup) {
		if len(attrs) > 0 && len(r.Views) < maxIPPPrinters {
			d, why := ippDevice(attrs, answer.URI)
			if why != "" && o.Log != nil {
				o.Log(fmt.Sprintf("ipp %s: a server's queue, because of %s", t.Addr, why))
			}
			d.ObservedAt = o.Now().UTC()
			d.State.ClockOffS = clockOff(attrs, d.ObservedAt)
			d.Reached.IPP = r.Reach
			r.Views = append(r.Views, d)
		}
	}
	if len(r.Views) == 1 && asksJobs(answer.First(ipp.PrinterGroup)) {
		jobs, err := s.Jobs(ctx, o.ShowJobNames, o.ShowOwners)
		switch {
		case err == nil:
			r.Views[0].Queue.Jobs = ippJobs(jobs.Message, clockOf(answer.First(ipp.PrinterGroup)), o)
			for _, note := range answerNotes(jobs) {
				problem("ipp", "jobs: %s", note)
			}
		case ctx.Err() == nil:
			r.Mute = ipp.TimedOut(err)
			problem(stageOf(err), "jobs: %v", err)
		}
	}
	return r
}

// openIPP prepares to ask a printer, over the line that all printers of the
// device share if there is one.
func openIPP(t IPPTarget, o ReadOptions) *ipp.Session {
	at := ipp.Target{Addr: t.Addr, Port: t.Port, TLSPort: t.TLSPort, Path: t.Path, Host: t.Host, TLS: t.TLS}
	if o.share.line != nil {
		return o.share.line.Open(at)
	}
	return ipp.Open(at, ippReading(o))
}

func ippReading(o ReadOptions) ipp.Options {
	return ipp.Options{Timeout: o.Timeout, Retries: o.Retries, Log: o.Log}
}

// maxIPPPrinters bounds the printers that one answer may hold. RFC 8011 knows
// one; some print servers send all their queues.
const maxIPPPrinters = 32

func stageOf(err error) string {
	var e *ipp.Error
	if errors.As(err, &e) {
		return e.Stage
	}
	return "ipp"
}

func reachTLS(info *ipp.TLSInfo) *device.TLS {
	if info == nil {
		return nil
	}
	t := &device.TLS{
		Version: device.Clean(info.Version), Fingerprint: device.Text(info.Fingerprint), SelfSigned: info.SelfSigned,
	}
	if !info.NotAfter.IsZero() {
		t.NotAfter = &info.NotAfter
	}
	return t
}

// answerNotes says what was wrong with an answer that was still of use.
func answerNotes(a *ipp.Answer) []string {
	var notes []string
	if a.Incomplete != nil {
		notes = append(notes, fmt.Sprintf("the answer is incomplete, what came before is kept: %v", a.Incomplete))
	}
	if n := len(a.Malformed); n > 0 {
		notes = append(notes, fmt.Sprintf("%d malformed values read as unknown, the first is %s", n, a.Malformed[0]))
	}
	return notes
}

// asksJobs reports whether Get-Jobs (0x000a) is worth sending: when the printer
// lists its operations, it must be among them. An idle printer that counts no
// job has none that is not completed (RFC 8011 sections 5.4.11 and 5.4.24).
func asksJobs(a ipp.Attributes) bool {
	const getJobs = 0x000a
	state, known := a.Int("printer-state")
	count, counted := a.Int("queued-job-count")
	if known && counted && count == 0 && ipp.PrinterState(state) == ipp.PrinterStateIdle {
		return false
	}
	ops := a.Get("operations-supported")
	for _, v := range ops {
		if n, ok := v.Int(); ok && n == getJobs {
			return true
		}
	}
	return len(ops) == 0
}

// ippDevice maps the attributes of one printer:
//
//	Name        printer-dns-sd-name, printer-name
//	MakeModel   printer-make-and-model, printer-device-id MFG and MDL
//	Serial      printer-serial-number, printer-device-id SN or SERN
//	Firmware    printer-firmware-string-version, printer-firmware-version
//	UUID        printer-uuid, device-uuid
//	Location    printer-location
//	Contact     printer-contact-col
//	State       printer-state, -reasons, -message, printer-up-time
//
// The string says by which evidence the printer is a server's queue; it is
// empty for a printer.
func ippDevice(a ipp.Attributes, uri string) (d device.Device, queue string) {
	id := ipp.ParseDeviceID(a.Text("printer-device-id"))
	d.Role = device.RolePrinter
	if queue = queueEvidence(a, uri); queue != "" {
		d.Role = device.RoleServerQueue
	}
	d.Name = firstText(a.Text("printer-dns-sd-name"), a.Text("printer-name"))
	d.MakeModel = firstText(a.Text("printer-make-and-model"), makeModel(id))
	d.Serial = firstText(a.Text("printer-serial-number"), id.Serial())
	d.Location = device.Clean(a.Text("printer-location"))
	d.Contact = ippContact(a)
	d.Firmware = ippFirmware(a)
	d.UUID = ippUUID(a)
	d.State = ippState(a)
	d.Supplies = ippSupplies(a)
	d.Trays = ippTrays(a)
	d.Outputs = ippOutputs(a)
	d.Covers = ippCovers(a)
	d.Finishers = ippFinishers(a)
	d.Alerts = ippAlerts(a)
	d.Languages = ippLanguages(a, id)
	d.Counters = ippCounters(a)
	d.Queue = ippQueue(a)
	d.Defaults = ippDefaults(a)
	return d, queue
}

// firstText returns the first of the texts that is not empty once cleaned.
func firstText(raw ...string) device.Text {
	for _, s := range raw {
		if t := device.Clean(s); t != "" {
			return t
		}
	}
	return ""
}

// queueEvidence says what shows that the answer is a general-purpose host's
// shared queue and not a device: where the queue sends its jobs, its members,
// or the path and version of a print server (CUPS Implementation of IPP).
func queueEvidence(a ipp.Attributes, uri string) string {
	for _, name := range []string{"device-uri", "member-names", "cups-version"} {
		if a.Has(name) {
			return name
		}
	}
	path := resourcePath(uri)
	if strings.HasPrefix(path, "/printers/") || strings.HasPrefix(path, "/classes/") {
		return "the path " + path
	}
	for _, r := range a.Texts("printer-state-reasons") {
		if strings.HasPrefix(r, "cups-") {
			return "the reason " + r
		}
	}
	return ""
}

func makeModel(id ipp.DeviceID) string {
	maker, model := id.Maker(), id.Model()
	if strings.HasPrefix(strings.ToLower(model), strings.ToLower(maker)) {
		return model
	}
	return maker + " " + model
}

func ippContact(a ipp.Attributes) device.Text {
	for _, v := range a.Get("printer-contact-col") {
		if m, ok := v.Members(); ok {
			return device.Clean(m.Text("contact-name"))
		}
	}
	return ""
}

// ippFirmware names every component and its version; one component alone goes
// without its name.
func ippFirmware(a ipp.Attributes) device.Text {
	versions := a.Texts("printer-firmware-string-version")
	if len(versions) == 0 {
		versions = a.Texts("printer-firmware-version")
	}
	names := a.Texts("printer-firmware-name")
	if len(versions) == 1 || len(versions) != len(names) {
		return firstText(versions...)
	}
	var parts []string
	for i := range versions {
		version, name := device.CleanTo(versions[i], 64), device.CleanTo(names[i], 64)
		switch {
		case version == "":
		case name == "" || name == version:
			parts = append(parts, string(version))
		default:
			parts = append(parts, string(name+" "+version))
		}
	}
	return device.CleanTo(strings.Join(parts, ", "), 256)
}

// ippUUID returns the UUID of the printer in lower case, without the URN in
// front (RFC 9562 section 4); a malformed, nil or all-ones one is none.
func ippUUID(a ipp.Attributes) device.Text {
	for _, name := range []string{"printer-uuid", "device-uuid"} {
		s := strings.ToLower(strings.TrimSpace(a.Text(name)))
		s = strings.TrimPrefix(s, "urn:uuid:")
		if isUUID(s) && usableUUID(s) != "" {
			return device.Text(s)
		}
	}
	return ""
}

// isUUID reports whether s has the form 8-4-4-4-12 in lower-case hex.
func isUUID(s string) bool {
	if len(s) != 36 {
		return false
	}
	for i, r := range s {
		switch i {
		case 8, 13, 18, 23:
			if r != '-' {
				return false
			}
		default:
			if (r < '0' || r > '9') && (r < 'a' || r > 'f') {
				return false
			}
		}
	}
	return true
}

// maxReasons bounds the state reasons kept of one device.
const maxReasons = 64

// ippState maps the printer's own state. Reasons keep their suffix; none and
// repetitions are left out.
func ippState(a ipp.Attributes) device.State {
	s := device.State{Message: device.Clean(a.Text("printer-state-message"))}
	if n, ok := a.Int("printer-state"); ok && ipp.PrinterState(n).Registered() {
		s.PrinterState = device.Text(ipp.PrinterState(n).String())
	}
	s.Reasons = keywords(a.Texts("printer-state-reasons"))
	if up, ok := a.Int("printer-up-time"); ok && up > 0 && up < epochLike {
		s.UptimeS = &up
	}
	return s
}

// keywords cleans a list of keywords and drops none and repetitions.
func keywords(raw []string) []string {
	var out []string
	seen := map[string]bool{"": true, "none": true}
	for _, r := range raw {
		k := string(device.CleanTo(r, 128))
		if !seen[k] && len(out) < maxReasons {
			seen[k] = true
			out = append(out, k)
		}
	}
	return out
}
