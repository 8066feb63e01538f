package survey

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/OpenPrinting/goipp"

	"printround/internal/device"
	"printround/internal/ipp"
	"printround/internal/needtest"
)

const (
	opGetJobs              = 0x000a // RFC 8011 section 5.4.15
	opGetPrinterAttributes = 0x000b
)

// replayServer answers Get-Printer-Attributes and Get-Jobs with given messages,
// each with the request's id in octets 4 to 8 (RFC 8010 section 3.1.1). The
// server is plain HTTP, or TLS with the certificate of httptest.
func replayServer(t testing.TB, secure bool, printer, jobs []byte) (IPPTarget, *httptest.Server) {
	t.Helper()
	h := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		b, err := io.ReadAll(r.Body)
		if err != nil || len(b) < 8 {
			http.Error(w, "no IPP", http.StatusBadRequest)
			return
		}
		out := map[uint16][]byte{opGetPrinterAttributes: printer, opGetJobs: jobs}[binary.BigEndian.Uint16(b[2:])]
		if out == nil {
			w.WriteHeader(http.StatusNotImplemented)
			return
		}
		w.Header().Set("Content-Type", "application/ipp")
		out = bytes.Clone(out)
		copy(out[4:8], b[4:8])
		_, _ = w.Write(out)
	})
	s := httptest.NewUnstartedServer(h)
	if secure {
		s.StartTLS()
	} else {
		s.Start()
	}
	t.Cleanup(s.Close)
	return ippTarget(t, s.Listener.Addr(), secure), s
}

func ippTarget(t testing.TB, a net.Addr, secure bool) IPPTarget {
	t.Helper()
	at, err := netip.ParseAddrPort(a.String())
	if err != nil {
		t.Fatal(err)
	}
	return IPPTarget{Addr: at.Addr(), Port: at.Port(), TLS: &secure}
}

var readAt = time.Date(2026, 11, 25, 7, 24, 0, 0, time.UTC)

func ippOptions() ReadOptions {
	return ReadOptions{Timeout: 10 * time.Second, Now: func() time.Time { return readAt }}
}

// expectRow is one line of EXPECT-ipp.tsv, by column.
type expectRow map[string]string

func (e expectRow) list(name string) []string {
	cell := e[name]
	if cell == "" {
		return nil
	}
	values := []string{cell}
	if inner, several := strings.CutPrefix(cell, "["); several {
		values = strings.Split(strings.TrimSuffix(inner, "]"), ",")
	}
	for i := range values {
		values[i] = strings.TrimSuffix(values[i], " [en]") // the language of the text
	}
	return values
}

func expectRows(t *testing.T, path string) []expectRow {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	names := strings.Split(lines[0], "\t")
	var all []expectRow
	for _, line := range lines[1:] {
		row := expectRow{}
		for i, v := range strings.Split(line, "\t") {
			row[names[i]] = v
		}
		all = append(all, row)
	}
	return all
}

// Every recorded response becomes one device whose facts equal what an
// independent decoder reads.
func TestReadIPPCaptures(t *testing.T) {
	dir := needtest.Shared(t, "captures")
	noJobs := ippEncoded(t, goipp.Group{Tag: goipp.TagOperationGroup, Attrs: goipp.Attributes{ippWords("attributes-charset", "utf-8")}})
	compared := 0
	for _, e := range expectRows(t, filepath.Join(dir, "EXPECT-ipp.tsv")) {
		t.Run(e["file"], func(t *testing.T) {
			b, err := os.ReadFile(filepath.Join(dir, "ipp", e["file"]))
			if err != nil {
				t.Fatal(err)
			}
			target, _ := replayServer(t, false, b, noJobs)
			r := ReadIPP(t.Context(), target, ippOptions())
			if len(r.Views) != 1 || len(r.Problems) > 0 || !r.Reach.OK {
				t.Fatalf("%d devices, problems %v", len(r.Views), r.Problems)
			}
			d := r.Views[0]
			checkClean(t, reflect.ValueOf(d), "device")
			compared += compareCapture(t, e, &d)
		})
	}
	if compared < 200 {
		t.Errorf("only %d values compared", compared)
	}
	t.Logf("%d values compared", compared)
}

func compareCapture(t *testing.T, e expectRow, d *device.Device) (compared int) {
	t.Helper()
	same := func(name string, got, want any) {
		t.Helper()
		compared++
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: got %v, want %v", name, got, want)
		}
	}
	state := map[string]string{"3": "idle", "4": "processing", "5": "stopped"} // RFC 8011 section 5.4.11
	orientation := map[string]string{"3": "portrait", "4": "landscape"}        // section 5.2.10
	same("make and model", d.MakeModel, strings.Join(e.list("printer-make-and-model"), ","))
	same("state", d.State.PrinterState, state[e["printer-state"]])
	same("reasons", d.State.Reasons, slices.DeleteFunc(e.list("printer-state-reasons"), func(r string) bool { return r == "none" }))
	same("media default", d.Defaults.Media, e["media-default"])
	same("sides default", d.Defaults.Sides, e["sides-default"])
	same("orientation default", d.Defaults.Orientation, orientation[e["orientation-requested-default"]])
	same("media ready", d.Defaults.Ready, e.list("media-ready"))
	same("UUID", d.UUID, strings.ToLower(strings.TrimPrefix(e["printer-uuid"], "urn:uuid:")))
	queued := ""
	if d.Queue.Queued != nil {
		queued = strconv.Itoa(*d.Queue.Queued)
	}
	same("queued", queued, e["queued-job-count"])
	same("languages", len(d.Languages), len(e.list("document-format-supported")))
	levels, lows := e.list("marker-levels"), e.list("marker-low-levels")
	for i, name := range e.list("marker-names") {
		at := slices.IndexFunc(d.Supplies, func(s device.Supply) bool { return string(s.Name) == name })
		if at < 0 {
			t.Errorf("no supply %q", name)
			continue
		}
		want := map[string]string{"-1": "unlimited", "-2": "unknown", "-3": "some-left"}[levels[i]]
		if want == "" {
			want = levels[i] + "%"
		}
		same("level of "+name, d.Supplies[at].Level, want)
		same("low level of "+name, *d.Supplies[at].LowAt, lows[i])
	}
	return compared
}

// What the index of the recordings says of some of them.
func TestReadIPPCaptureTraps(t *testing.T) {
	dir := needtest.Shared(t, "captures", "ipp")
	read := func(name string) device.Device {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		m, err := ipp.Decode(b)
		if err != nil {
			t.Fatal(err)
		}
		d, _ := ippDevice(m.First(ipp.PrinterGroup), "ipp://192.0.2.1:631/ipp/print")
		return d
	}
	if d := read("print-server-queue-m175.ipp"); d.Role != device.RoleServerQueue || d.Supplies[4].Kind != "opc" {
		t.Errorf("a server's queue reads as %s with %s", d.Role, d.Supplies[4].Kind)
	}
	if d := read("canon-mf6100-toner-low.ipp"); d.State.UptimeS != nil {
		t.Errorf("printer-up-time that is a wall clock: %d", *d.State.UptimeS)
	}
	if d := read("hp-laserjet-m605.ipp"); d.Supplies[0].Kind != "maintenanceKit" || d.Supplies[0].Colorant != "" {
		t.Errorf("maintenance kit: %+v", d.Supplies[0])
	}
	d := read("xerox-b210-toner-empty.ipp")
	if len(d.Alerts) != 1 || d.Alerts[0].Code != "markerTonerEmpty" || d.Alerts[0].Severity != "critical" || !strings.HasPrefix(string(d.Alerts[0].Description), "09-200") {
		t.Errorf("alert with the attribute's name in front: %+v", d.Alerts)
	}
	if p, ok := d.Supplies[0].Level.Percent(); !ok || p != 0 {
		t.Errorf("toner level %v", d.Supplies[0].Level)
	}
	if d := read("xerox-b210-idle.ipp"); len(d.Alerts) != 0 || d.Trays[0].Media.Name != "iso_a4_210x297mm" || d.Trays[0].Unit != "sheets" {
		t.Errorf("printer-alert none: %v; tray %+v", d.Alerts, d.Trays[0])
	}
	if d := read("canon-ts6000.ipp"); len(d.Supplies) != 5 || d.Supplies[1].Colorant != "black" || d.Supplies[3].Colorant != "black" {
		t.Errorf("two blacks: %+v", d.Supplies)
	}
	if d := read("xerox-b235.ipp"); d.Supplies[0].Kind != "tonerCartridge" && d.Supplies[0].Kind != "toner" || len(d.Trays) != 3 {
		t.Errorf("%d trays, supply %+v", len(d.Trays), d.Supplies[0])
	}
	if d := read("epson-xp-6000-low.ipp"); d.Serial == "" || len(d.Trays) != 3 {
		t.Errorf("serial of the device id %q, trays %+v", d.Serial, d.Trays)
	}
}

// One whole device with its jobs, over TLS.
func TestReadIPP(t *testing.T) {
	job := func(id, state, created int) goipp.Group {
		return goipp.Group{Tag: goipp.TagJobGroup, Attrs: goipp.Attributes{
			ippInts("job-id", id), ippAttr("job-state", goipp.TagEnum, state), ippWords("job-state-reasons", "job-printing", "job-printing"),
			ippInts("time-at-creation", created), ippInts("job-printer-up-time", 1000), ippInts("job-impressions-completed", 2),
			ippAttr("job-name", goipp.TagName, "salaries.pdf"), ippAttr("job-originating-user-name", goipp.TagName, "someone"),
		}}
	}
	printer := ippEncoded(t, goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: goipp.Attributes{
		ippAttr("printer-name", goipp.TagName, "Lab"), ippAttr("printer-state", goipp.TagEnum, 4), ippAttr("operations-supported", goipp.TagEnum, opGetJobs, opGetPrinterAttributes),
	}})
	jobs := ippEncoded(t, job(7, 5, 400), job(8, 3, 990), goipp.Group{Tag: goipp.TagJobGroup, Attrs: goipp.Attributes{}})
	target, server := replayServer(t, true, printer, jobs)
	r := ReadIPP(t.Context(), target, ippOptions())
	if len(r.Views) != 1 || len(r.Problems) > 0 {
		t.Fatalf("%d devices, %v", len(r.Views), r.Problems)
	}
	d := r.Views[0]
	if want := fmt.Sprintf("ipps://127.0.0.1:%d/ipp/print", target.Port); !r.Reach.OK || !r.Reach.Tried || string(r.Reach.URI) != want || d.Reached.IPP.URI != r.Reach.URI {
		t.Errorf("reach %+v", r.Reach)
	}
	cert := server.Certificate()
	if tls := r.Reach.TLS; tls == nil || len(tls.Fingerprint) != 64 || !tls.NotAfter.Equal(cert.NotAfter) {
		t.Errorf("TLS %+v", tls)
	}
	if !d.ObservedAt.Equal(readAt) {
		t.Errorf("observed at %v", d.ObservedAt)
	}
	if len(d.Queue.Jobs) != 2 {
		t.Fatalf("%d jobs", len(d.Queue.Jobs))
	}
	j := d.Queue.Jobs[0]
	if j.ID != 7 || j.State != "processing" || *j.AgeS != 600 || *j.Pages != 2 || !slices.Equal(j.Reasons, []string{"job-printing"}) {
		t.Errorf("job %+v", j)
	}
	if j.Name != "" || j.Owner != "" {
		t.Errorf("name %q and owner %q without being asked for", j.Name, j.Owner)
	}
	o := ippOptions()
	o.ShowJobNames, o.ShowOwners = true, true
	if j := ReadIPP(t.Context(), target, o).Views[0].Queue.Jobs[0]; j.Name != "salaries.pdf" || j.Owner != "someone" {
		t.Errorf("name %q, owner %q", j.Name, j.Owner)
	}
}

// Several printer groups in one answer are several views, and an incomplete or
// malformed answer is kept and reported.
func TestReadIPPOddAnswers(t *testing.T) {
	name := func(n string) goipp.Group {
		return goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: goipp.Attributes{ippAttr("printer-name", goipp.TagName, n), ippInts("printer-up-time", 5)}}
	}
	two := ippEncoded(t, name("a"), goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: goipp.Attributes{}}, name("b"))
	target, _ := replayServer(t, false, two, nil)
	if r := ReadIPP(t.Context(), target, ippOptions()); len(r.Views) != 2 || r.Views[1].Name != "b" {
		t.Errorf("%d views", len(r.Views))
	}
	whole := ippEncoded(t, name("a"))
	tests := []struct {
		name    string
		b       []byte
		problem string
	}{
		{"cut off", whole[:len(whole)-2], "the answer is incomplete, what came before is kept"},
		{"an integer of three octets", bytes.Replace(whole, []byte("\x00\x04\x00\x00\x00\x05"), []byte("\x00\x03\x00\x00\x05"), 1), "1 malformed values read as unknown, the first is printer-up-time: integer of 3 octets"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			jobs := ippEncoded(t)
			target, _ := replayServer(t, false, tt.b, jobs)
			r := ReadIPP(t.Context(), target, ippOptions())
			if len(r.Views) != 1 || r.Views[0].Name != "a" || r.Views[0].State.UptimeS != nil {
				t.Fatalf("views %+v", r.Views)
			}
			if len(r.Problems) != 1 || !strings.Contains(r.Problems[0].Message, tt.problem) || r.Problems[0].Stage != "ipp" {
				t.Errorf("problems %v", r.Problems)
			}
		})
	}
}

// Without a printer there is one problem in one line: what, where, what to do.
func TestReadIPPProblems(t *testing.T) {
	serve := func(status int, kind, body string) IPPTarget {
		s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", kind)
			w.WriteHeader(status)
			_, _ = io.WriteString(w, body)
		}))
		t.Cleanup(s.Close)
		return ippTarget(t, s.Listener.Addr(), false)
	}
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := ippTarget(t, closed.Addr(), false)
	_ = closed.Close()
	busy := ippEncoded(t)
	copy(busy[2:], "\x05\x07") // server-error-busy, RFC 8011 appendix B.1.5.8
	tests := []struct {
		name, stage, message string
		target               IPPTarget
		notIPP, closed       bool
	}{
		{"closed port", "tcp", "nothing listens on TCP port", nobody, false, true},
		{"web server", "http", "a web server, no IPP printer", serve(200, "text/html", "<html>"), true, false},
		{"password", "http", "authentication needed", serve(401, "text/html", ""), false, false},
		{"access list", "http", "access refused", serve(403, "text/html", ""), false, false},
		{"no such path", "http", "tried /ipp/print, /ipp/printer, /ipp, /", serve(404, "text/html", ""), false, false},
		{"IPP error status", "ipp", "server-error-busy", serve(200, "application/ipp", string(busy)), false, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := ReadIPP(t.Context(), tt.target, ippOptions())
			if len(r.Views) != 0 || r.Reach.OK || !r.Reach.Tried || r.NotIPP != tt.notIPP || r.Closed != tt.closed {
				t.Errorf("result %+v", r)
			}
			if len(r.Problems) != 1 {
				t.Fatalf("problems %v", r.Problems)
			}
			p := r.Problems[0]
			if p.Address != "127.0.0.1" || p.Stage != tt.stage || !strings.Contains(p.Message, tt.message) || strings.Contains(p.Message, "\n") {
				t.Errorf("problem %+v", p)
			}
		})
	}
}

// A refused Get-Jobs is a problem beside the device, not instead of it; a
// printer that does not list the operation is not asked.
func TestReadIPPJobsRefused(t *testing.T) {
	for ops, problems := range map[int]int{opGetJobs: 1, opGetPrinterAttributes: 0} {
		printer := ippEncoded(t, goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: goipp.Attributes{
			ippAttr("printer-name", goipp.TagName, "Lab"), ippAttr("operations-supported", goipp.TagEnum, ops),
		}})
		target, _ := replayServer(t, false, printer, nil) // HTTP 501 for Get-Jobs
		r := ReadIPP(t.Context(), target, ippOptions())
		if len(r.Views) != 1 || len(r.Problems) != problems {
			t.Errorf("%d devices, problems %v, want %d", len(r.Views), r.Problems, problems)
		}
	}
}

// Jobs are asked for unless the printer cannot list them, or is idle and counts
// none: then there is none that is not completed (RFC 8011 section 5.4.24).
func TestJobsAreAskedForWhereTheyCanBe(t *testing.T) {
	const idle, processing, stopped = 3, 4, 5
	for _, tt := range []struct {
		name  string
		attrs goipp.Attributes
		want  bool
	}{
		{"nothing known", goipp.Attributes{}, true},
		{"idle, no count", goipp.Attributes{ippAttr("printer-state", goipp.TagEnum, idle)}, true},
		{"count 0, no state", goipp.Attributes{ippInts("queued-job-count", 0)}, true},
		{"idle, one job", goipp.Attributes{ippAttr("printer-state", goipp.TagEnum, idle), ippInts("queued-job-count", 1)}, true},
		{"processing, count 0", goipp.Attributes{ippAttr("printer-state", goipp.TagEnum, processing), ippInts("queued-job-count", 0)}, true},
		{"stopped, count 0", goipp.Attributes{ippAttr("printer-state", goipp.TagEnum, stopped), ippInts("queued-job-count", 0)}, true},
		{"idle, count 0", goipp.Attributes{ippAttr("printer-state", goipp.TagEnum, idle), ippInts("queued-job-count", 0)}, false},
		{"cannot list", goipp.Attributes{ippAttr("operations-supported", goipp.TagEnum, opGetPrinterAttributes), ippInts("queued-job-count", 3)}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m, err := ipp.Decode(ippEncoded(t, goipp.Group{Tag: goipp.TagPrinterGroup, Attrs: tt.attrs}))
			if err != nil {
				t.Fatal(err)
			}
			if got := asksJobs(m.First(ipp.PrinterGroup)); got != tt.want {
				t.Errorf("asked %v, want %v", got, tt.want)
			}
		})
	}
}
