package zootest

import (
	"context"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"printround/internal/alonetest"
	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/forecast"
	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/snmp"
	"printround/internal/survey"
)

func TestMain(m *testing.M) { os.Exit(alonetest.Main(m).Run()) }

// get is what a user gets of a device that misbehaves.
type get struct {
	name    string
	alone   bool          // only the protocol that misbehaves is asked
	timeout time.Duration // of one request; 0: long enough for a busy machine
	snmp    bool          // facts came over SNMP
	ipp     bool          // facts came over IPP
	whole   bool          // levels, trays and the life count are those of the honest device
	says    []string      // each line about trouble says one of these, and each is said
	lines   int           // at most so many lines; 0: one for each of says
	more    func(t *testing.T, d, honest *device.Device)
}

// short is for devices that are waited for in vain.
const short = 400 * time.Millisecond

// notAsked is said where nothing that came answers what was asked.
const notAsked = "answers came, but none to what was asked"

var gets = []get{
	{name: "snmp-stops", timeout: short, snmp: true, ipp: true, says: []string{"values, what was read until then counts: no SNMP answer"}, more: partial},
	{name: "snmp-late", timeout: short, ipp: true, says: []string{`no SNMP answer: switched off, blocked, SNMP disabled, or the credential is not accepted (tried credential "office")`}},
	{name: "snmp-duplicates", snmp: true, ipp: true, whole: true},
	{name: "snmp-reorders", snmp: true, ipp: true, whole: true},
	{name: "snmp-drops", snmp: true, ipp: true, whole: true},
	{name: "snmp-wrong-id", timeout: short, ipp: true, says: []string{notAsked}},
	{name: "snmp-wrong-community", timeout: short, ipp: true, says: []string{notAsked}},
	{name: "snmp-no-such-name", ipp: true, says: []string{"answers SNMP but shows no Printer MIB"}},
	{name: "snmp-too-big", ipp: true, says: []string{"40 requests in a row were refused, however small"}},
	{name: "snmp-no-bulk", timeout: short, snmp: true, ipp: true, whole: true, more: func(t *testing.T, d, _ *device.Device) {
		if d.Reached.SNMP.Version != "1" {
			t.Errorf("version %q", d.Reached.SNMP.Version)
		}
	}},
	{name: "snmp-bulk-one-row", snmp: true, ipp: true, whole: true},
	{name: "snmp-repeats", ipp: true, says: []string{"answers SNMP but shows no Printer MIB: no printer, or the credential does not let it be seen; 20 oddities in its answers, the first: asked for what follows"}},
	{name: "snmp-decreases", ipp: true, says: []string{"20 oddities in its answers, the first: asked for what follows"}},
	{name: "snmp-endless-tables", snmp: true, ipp: true, says: []string{"index numbers instead of", "left out", "oddities more in its answers"}, lines: 4, more: bounded},
	{name: "snmp-rows-come-and-go", alone: true, snmp: true, more: func(t *testing.T, d, honest *device.Device) {
		// What did not stay is unknown, what did is right.
		known := 0
		for i, s := range d.Supplies {
			if s.Level.Known() {
				known++
				if s.Level.String() != honest.Supplies[i].Level.String() {
					t.Errorf("%s at %s, it has %s", s.Name, s.Level, honest.Supplies[i].Level)
				}
			}
		}
		if known == 0 || len(d.Trays) == 0 {
			t.Errorf("%d known of %d supplies, %d trays", known, len(d.Supplies), len(d.Trays))
		}
	}},
	{name: "snmp-long-texts", alone: true, snmp: true, says: []string{"has 60000 octets: only the first 1024 are kept", "oddities more in its answers"}, lines: 4, more: levelsKept},
	{name: "snmp-wrong-lengths", timeout: short, ipp: true, says: []string{notAsked}},
	{name: "snmp-indefinite-lengths", timeout: short, ipp: true, says: []string{notAsked}},
	{name: "snmp-deep-nesting", snmp: true, ipp: true, says: []string{"could not be decoded: left out", "oddities more in its answers"}, lines: 4},
	{name: "snmp-reboots", snmp: true, ipp: true, whole: true, more: func(t *testing.T, d, _ *device.Device) {
		if up := d.State.UptimeS; up == nil {
			t.Error("no uptime")
		}
	}},
	{name: "snmp-counter-wraps", alone: true, snmp: true, more: func(t *testing.T, d, _ *device.Device) {
		if n := d.Counters.Life.Value; n == nil || *n != 1<<32-6 {
			t.Errorf("life count %+v", d.Counters.Life)
		}
	}},
	{name: "snmp-counter-resets", alone: true, snmp: true, whole: true},
	{name: "snmp-huge-numbers", alone: true, snmp: true, says: []string{"could not be decoded: left out", "oddities more in its answers"}, lines: 4, more: levelsAre(device.LevelNotReported)},
	{name: "snmp-negative-capacity", alone: true, snmp: true, more: levelsAre(device.LevelContradictory)},
	{name: "snmp-level-over-capacity", alone: true, snmp: true, more: levelsAre(device.LevelContradictory)},
	{name: "snmp-wrong-types", snmp: true, ipp: true, says: []string{"is OCTET STRING instead of a number: left out", "oddities more in its answers"}, lines: 4, more: levelsKept},
	{name: "snmp-10000-alerts", snmp: true, ipp: true, whole: true, says: []string{"prtAlert has more than 128 rows: the others were not read"}, more: bounded},

	{name: "v3-time-jumps", says: []string{"SNMPv3 access refused: the device's clock keeps running out of the time window"}},
	{name: "v3-new-engines", says: []string{"SNMPv3 access refused: the device shows another engine with every answer"}},
	{name: "v3-reports", says: []string{"SNMPv3 access refused: report without a known reason"}},
	{name: "v3-downgrade", timeout: short, says: []string{"SNMPv3 access refused: the device answers with less security than it was asked with"}},

	{name: "text-invalid-utf8", snmp: true, ipp: true, whole: true, more: named("Accounts")},
	{name: "text-escapes", snmp: true, ipp: true, whole: true, more: named("Corridor")},
	{name: "text-bidi", snmp: true, ipp: true, whole: true, more: named("Copy room 1")},
	{name: "text-html", snmp: true, ipp: true, whole: true, more: named("Copy room 2")},
	{name: "text-formula", snmp: true, ipp: true, whole: true, more: named("Studio plans")},
	{name: "text-nul", snmp: true, ipp: true, whole: true, more: named("Harbour copy room")},

	{name: "ipp-endless-body", alone: true, ipp: true, says: []string{"the answer is incomplete, what came before is kept: decoding the message: message is larger than 1 MiB"}, more: levelsKept},
	{name: "ipp-gzip-bomb", alone: true, ipp: true, says: []string{"the answer is incomplete, what came before is kept: decoding the message: message is larger than 1 MiB"}, more: levelsKept},
	{name: "ipp-length-too-short", snmp: true, ipp: true, whole: true, says: []string{"the answer is incomplete, what came before is kept"}},
	{name: "ipp-length-too-long", alone: true, ipp: true, more: levelsKept},
	{name: "ipp-http-1.0", alone: true, ipp: true, more: levelsKept},
	{name: "ipp-redirect-loop", snmp: true, whole: true, says: []string{"redirect not followed: HTTP 307 in a circle at /ipp/print"}},
	{name: "ipp-redirect-away", snmp: true, whole: true, says: []string{"redirect not followed: HTTP 307 to another host, port or scheme (http://192.0.2.1:631/ipp/print)"}},
	{name: "ipp-basic", snmp: true, whole: true, says: []string{"the device wants a user name and password for IPP, and none is sent"}},
	{name: "ipp-digest", snmp: true, whole: true, says: []string{"the device wants a user name and password for IPP, and none is sent"}},
	{name: "ipp-426", alone: true, ipp: true, more: encrypted("")},
	{name: "ipp-tls-1.0", alone: true, ipp: true, more: encrypted("TLS 1.0")},
	{name: "ipp-expired", alone: true, ipp: true, more: func(t *testing.T, d, honest *device.Device) {
		encrypted("")(t, d, honest)
		if d.Reached.IPP.TLS.NotAfter == nil || d.Reached.IPP.TLS.NotAfter.After(time.Now()) {
			t.Errorf("valid until %v", d.Reached.IPP.TLS.NotAfter)
		}
	}},
	{name: "ipp-other-name", alone: true, ipp: true, more: encrypted("")},
	// Plain IPP answers on the port that never answers TLS.
	{name: "ipp-endless-handshake", alone: true, timeout: 2 * time.Second, ipp: true, more: func(t *testing.T, d, honest *device.Device) {
		levelsKept(t, d, honest)
		if d.Reached.IPP.TLS != nil {
			t.Errorf("TLS %+v", d.Reached.IPP.TLS)
		}
	}},
	{name: "ipp-truncated", snmp: true, ipp: true, whole: true, says: []string{"the answer is incomplete, what came before is kept: decoding the message: Message truncated at"}},
	{name: "ipp-deep-collections", alone: true, ipp: true, says: []string{"the answer is incomplete, what came before is kept: decoding the message: collections are nested deeper than 16"}, more: levelsKept},
	{name: "ipp-value-overrun", snmp: true, ipp: true, whole: true, says: []string{"the answer is incomplete, what came before is kept: decoding the message: Message truncated at"}},
	{name: "ipp-wrong-version", snmp: true, whole: true, says: []string{"not IPP: the answer at /ipp/print says that it is IPP and is not"}},
	{name: "ipp-50000-jobs", alone: true, ipp: true, says: []string{"jobs: the answer is incomplete, what came before is kept: decoding the message: message is larger than 1 MiB"}, more: func(t *testing.T, d, honest *device.Device) {
		levelsKept(t, d, honest)
		if len(d.Queue.Jobs) != 200 { // as many as are asked for
			t.Errorf("%d jobs", len(d.Queue.Jobs))
		}
	}},
}

func partial(t *testing.T, d, honest *device.Device) {
	if !d.Reached.SNMP.Partial {
		t.Error("not marked as partial")
	}
	levelsKept(t, d, honest)
}

// bounded: a table without end gives no more rows than any printer has.
func bounded(t *testing.T, d, _ *device.Device) {
	if len(d.Supplies) > 80 || len(d.Trays) > 80 || len(d.Alerts) > 140 || d.Reached.SNMP.RoundTrips > 700 || d.Reached.SNMP.Bytes > 2<<20 {
		t.Errorf("%d supplies, %d trays, %d alerts, %+v", len(d.Supplies), len(d.Trays), len(d.Alerts), d.Reached.SNMP)
	}
}

// levelsKept: each supply of the honest device is there with its level.
func levelsKept(t *testing.T, d, honest *device.Device) {
	t.Helper()
	if len(d.Supplies) != len(honest.Supplies) {
		t.Fatalf("%d supplies, want %d", len(d.Supplies), len(honest.Supplies))
	}
	for i, s := range d.Supplies {
		if want := honest.Supplies[i].Level; s.Level.String() != want.String() {
			t.Errorf("supply %d at %s, want %s", i+1, s.Level, want)
		}
	}
}

func levelsAre(reason device.LevelReason) func(*testing.T, *device.Device, *device.Device) {
	return func(t *testing.T, d, honest *device.Device) {
		if len(d.Supplies) != len(honest.Supplies) {
			t.Errorf("%d supplies, want %d", len(d.Supplies), len(honest.Supplies))
		}
		for _, s := range d.Supplies {
			if s.Level.Known() || s.Level.Reason() != reason {
				t.Errorf("%s at %s, want %s", s.Name, s.Level, reason)
			}
		}
	}
}

// encrypted: the answer came over TLS, of this version if it matters.
func encrypted(version string) func(*testing.T, *device.Device, *device.Device) {
	return func(t *testing.T, d, honest *device.Device) {
		t.Helper()
		levelsKept(t, d, honest)
		x := d.Reached.IPP.TLS
		if x == nil || x.Fingerprint == "" || version != "" && string(x.Version) != version {
			t.Fatalf("TLS %+v", x)
		}
	}
}

// named: the device's own name is still to be read between what harms.
func named(own string) func(*testing.T, *device.Device, *device.Device) {
	return func(t *testing.T, d, _ *device.Device) {
		if !strings.Contains(string(d.Name), own) {
			t.Errorf("name %q, want %q in it", d.Name, own)
		}
	}
}

// plain: no text of a device turns or ends the line that it is shown in.
func plain(t *testing.T, d *device.Device) {
	t.Helper()
	texts := []device.Text{d.Name, d.MakeModel, d.Serial, d.Location, d.Contact, d.Hostname, d.Firmware, d.State.Message}
	for _, s := range d.Supplies {
		texts = append(texts, s.Name)
	}
	for _, x := range d.Trays {
		texts = append(texts, x.Name, x.Media.Name)
	}
	for _, c := range d.State.Console {
		texts = append(texts, device.Text(c))
	}
	for _, x := range texts {
		if !utf8.ValidString(string(x)) || len(x) > 1024 || strings.ContainsFunc(string(x), harmful) {
			t.Errorf("text %q", x)
		}
	}
}

// harmful are control characters and the marks that turn the direction of
// writing (Unicode Standard Annex 9 section 2).
func harmful(r rune) bool {
	return unicode.IsControl(r) || r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069' || r == utf8.RuneError
}

// hosts are the printers that speak SNMP version 2c and IPP, at one address.
var hosts = []string{
	"front-desk", "accounts", "corridor", "copy-1", "copy-2", "studio", "harbour-copy", "purser", "workshop",
	"plan-room", "depot-office", "training", "stores", "mill-copy",
}

// texts belong to a device whose name is known; see named.
var textHosts = map[string]string{
	"text-invalid-utf8": "accounts", "text-escapes": "corridor", "text-bidi": "copy-1", "text-html": "copy-2",
	"text-formula": "studio", "text-nul": "harbour-copy", "ipp-50000-jobs": "training",
}

// pen is a lab with room for one misbehaviour on each device.
type pen struct {
	*lab.Lab
	taken map[string]bool
	users map[string]snmp.Credential // of version 3, by site
}

func newPen(t *testing.T, o lab.Options) *pen {
	t.Helper()
	o.Clean = true
	l := labtest.Start(t, o)
	return &pen{Lab: l, taken: map[string]bool{}, users: labtest.Users(t, l)}
}

func (p *pen) device(t *testing.T, name string) lab.Device {
	t.Helper()
	return labtest.Device(t, p.Lab, name)
}

func (p *pen) target(t *testing.T, name string) discover.Target {
	d := p.device(t, name)
	return discover.Target{Addr: d.Addr, SNMPPort: uint16(d.SNMPPort), IPPPort: uint16(d.IPPPort)}
}

// look reads one device as the user's command does.
func (p *pen) look(ctx context.Context, t *testing.T, name string, o survey.Options) (*device.Survey, error) {
	d := p.device(t, name)
	cred := snmp.Credential{Label: "office", Version: snmp.V2c, Community: snmp.Secret(d.Community)}
	if d.SNMP == "3" {
		cred = p.users[d.Site]
	}
	o.Credentials, o.Retries = []snmp.Credential{cred}, 2
	o.NoIPP = o.NoIPP || d.IPPPort == 0
	if o.Timeout == 0 {
		o.Timeout = 10 * time.Second
	}
	return survey.Check(ctx, survey.CheckTarget{Query: name, Targets: []discover.Target{p.target(t, name)}}, o)
}

// pens finds a device for each misbehaviour and lets it misbehave.
type pens struct{ all []*pen }

func (ps *pens) place(t *testing.T, misbehaviour string) (*pen, string) {
	t.Helper()
	wanted := hosts
	switch name := textHosts[misbehaviour]; {
	case name != "":
		wanted = []string{name}
	case strings.HasPrefix(misbehaviour, "v3-"):
		wanted = []string{"customs"}
	}
	for {
		for _, p := range ps.all {
			for _, name := range wanted {
				if p.taken[name] {
					continue
				}
				p.taken[name] = true
				if err := p.Change(name, misbehaviour); err != nil {
					t.Fatal(err)
				}
				return p, name
			}
		}
		ps.all = append(ps.all, newPen(t, lab.Options{NoMDNS: true}))
	}
}

// atOnce is how many devices are read at the same time.
const atOnce = 8

// Each misbehaviour of the lab: the facts that are right are kept, what went
// wrong is said in few lines, and reading ends by itself.
func TestZoo(t *testing.T) {
	honest := map[string]*device.Device{}
	good := newPen(t, lab.Options{NoMDNS: true})
	for _, name := range append(slices.Clone(hosts), "customs") {
		s, err := good.look(t.Context(), t, name, survey.Options{})
		if err != nil || len(s.Devices) != 1 || len(s.Errors) != 0 {
			t.Fatalf("%s behaves: %v, %+v", name, err, s)
		}
		honest[name] = &s.Devices[0]
	}
	type seen struct {
		host   string
		survey *device.Survey
		err    error
	}
	results := make([]seen, len(gets))
	var ps pens
	var reading sync.WaitGroup
	room := make(chan struct{}, atOnce)
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute) // far longer than it takes; it ends by itself
	defer cancel()
	for i, g := range gets {
		p, name := ps.place(t, g.name)
		results[i].host = name
		o := survey.Options{Timeout: g.timeout, NoIPP: g.alone && g.snmp, NoSNMP: g.alone && g.ipp}
		reading.Go(func() {
			room <- struct{}{}
			defer func() { <-room }()
			results[i].survey, results[i].err = p.look(ctx, t, name, o)
		})
	}
	reading.Wait()
	if ctx.Err() != nil {
		t.Error("reading did not end by itself")
	}
	for i, g := range gets {
		t.Run(g.name, func(t *testing.T) {
			r := results[i]
			if r.err != nil || len(r.survey.Devices) != 1 {
				t.Fatalf("%v, %+v", r.err, r.survey)
			}
			g.check(t, r.survey, honest[r.host])
		})
	}
	for _, p := range ps.all {
		if changes := p.Received(); len(changes) > 0 {
			t.Errorf("the tool tried to change devices: %v", changes)
		}
	}
}

func (g get) check(t *testing.T, s *device.Survey, honest *device.Device) {
	d := &s.Devices[0]
	if d.Reached.SNMP.OK != g.snmp || d.Reached.IPP.OK != g.ipp {
		t.Errorf("over SNMP %v, over IPP %v", d.Reached.SNMP.OK, d.Reached.IPP.OK)
	}
	if g.ipp && d.Key != honest.Key {
		t.Errorf("key %s, want %s", d.Key, honest.Key)
	}
	lines(t, s.Errors, g)
	plain(t, d)
	if g.whole {
		levelsKept(t, d, honest)
		if len(d.Trays) != len(honest.Trays) {
			t.Errorf("%d trays, want %d", len(d.Trays), len(honest.Trays))
		}
		if got, want := d.Counters.Life.Value, honest.Counters.Life.Value; (got == nil) != (want == nil) || got != nil && *got != *want {
			t.Errorf("life count %v, want %v", got, want)
		}
	}
	// What the protocol that behaves says is kept in any case.
	if !g.alone && !g.whole && g.ipp && g.more == nil {
		levelsKept(t, d, honest)
	}
	if g.more != nil {
		g.more(t, d, honest)
	}
}

// lines: each line is one line, says what it should, and all is said.
func lines(t *testing.T, got []device.Problem, g get) {
	t.Helper()
	most := max(g.lines, len(g.says))
	said := make([]bool, len(g.says))
	for _, p := range got {
		known := false
		for i, want := range g.says {
			if strings.Contains(p.Message, want) {
				known, said[i] = true, true
			}
		}
		if !known || strings.ContainsFunc(p.Message, func(r rune) bool { return r < ' ' || r == 0x7f }) {
			t.Errorf("line %q", p.Message)
		}
	}
	for i, want := range g.says {
		if !said[i] {
			t.Errorf("nothing says %q: %+v", want, got)
		}
	}
	if len(got) > most {
		t.Errorf("%d lines, at most %d wanted: %+v", len(got), most, got)
	}
}

// Every misbehaviour that the lab lists has a test, and none is tested that it
// does not list.
func TestEveryMisbehaviourHasATest(t *testing.T) {
	tested := map[string]bool{}
	for _, g := range gets {
		tested[g.name] = true
	}
	for _, g := range announced {
		tested[g.name] = true
	}
	for _, m := range lab.Misbehaviours() {
		if !tested[m.Name] {
			t.Errorf("%s has no test", m.Name)
		}
		delete(tested, m.Name)
	}
	for name := range tested {
		t.Errorf("%s is no misbehaviour of the lab", name)
	}
}

// A life count that wraps or begins anew is no day of four thousand million
// pages: what was printed up to then is taken for nothing.
func TestCountersOverManyNights(t *testing.T) {
	p := newPen(t, lab.Options{NoMDNS: true})
	for name, misbehaviour := range map[string]string{"accounts": "snmp-counter-wraps", "copy-1": "snmp-counter-resets"} {
		t.Run(misbehaviour, func(t *testing.T) {
			if err := p.Change(name, misbehaviour); err != nil {
				t.Fatal(err)
			}
			series := forecast.Series{Key: name}
			at := time.Date(2026, 3, 2, 18, 0, 0, 0, time.UTC)
			for n := range 21 {
				s, err := p.look(t.Context(), t, name, survey.Options{NoIPP: true})
				if err != nil || len(s.Devices) != 1 || s.Devices[0].Counters.Life.Value == nil {
					t.Fatalf("%v, %+v", err, s)
				}
				c := s.Devices[0].Counters.Life
				series.Nights = append(series.Nights, device.Night{At: at.AddDate(0, 0, n), LifeCount: c.Value, LifeUnit: string(c.Unit)})
			}
			if *series.Nights[1].LifeCount >= *series.Nights[0].LifeCount {
				t.Fatalf("the count went from %d to %d", *series.Nights[0].LifeCount, *series.Nights[1].LifeCount)
			}
			// It counts 10 from reading to reading.
			d := forecast.One(series, nil, forecast.Options{})
			if d.PagesPerDay == nil || *d.PagesPerDay < 5 || *d.PagesPerDay > 20 {
				t.Errorf("%+v pages a day", d.PagesPerDay)
			}
		})
	}
}
