package survey

import (
	"context"
	"fmt"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"printround/internal/device"
	"printround/internal/discover"
	"printround/internal/snmp"
)

var testTime = time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)

func addr(s string) netip.Addr { return netip.MustParseAddr(s) }

func target(s string) discover.Target {
	return discover.Target{Addr: addr(s), SNMPPort: 161, IPPPort: 631}
}

func printer(s string) discover.Candidate {
	return discover.Candidate{Target: target(s), Kind: discover.Printer, SNMP: &discover.SNMPAnswer{Version: snmp.V2c}}
}

// office is a set of devices that answer without a network.
type office struct {
	news  []discover.Candidate
	stats discover.Stats
	snmp  map[string][]device.Device // by address
	ipp   map[string][]device.Device // by address or address+path

	mu    sync.Mutex
	asked []string
}

func (o *office) readers() readers {
	return readers{
		discover: func(ctx context.Context, _ discover.Config, found chan<- discover.Candidate) (discover.Stats, error) {
			for _, c := range o.news {
				select {
				case found <- c:
				case <-ctx.Done():
					return o.stats, ctx.Err()
				}
			}
			return o.stats, nil
		},
		snmp: func(_ context.Context, at netip.AddrPort, _ []snmp.Credential, ro ReadOptions) SNMPResult {
			o.log("snmp " + at.Addr().String())
			var r SNMPResult
			for i, v := range o.snmp[at.Addr().String()] {
				v.Addresses = []netip.Addr{at.Addr()}
				v.Reached.SNMP = device.SNMPReach{OK: true, Tried: true, Version: "2c"}
				v.ObservedAt = ro.Now()
				r.Views, r.Indices = append(r.Views, v), append(r.Indices, i+1)
				r.Reach = v.Reached.SNMP
			}
			if len(r.Views) == 0 {
				r.Reach.Tried = true
				r.Problems = []device.Problem{{Address: at.Addr().String(), Stage: "snmp", Message: "no answer"}}
			}
			return r
		},
		ipp: func(_ context.Context, t IPPTarget, ro ReadOptions) IPPResult {
			o.log("ipp " + t.Addr.String() + " " + t.Path)
			var r IPPResult
			views := o.ipp[t.Addr.String()+"/"+t.Path]
			if t.Path == "" {
				views = o.ipp[t.Addr.String()]
			}
			for _, v := range views {
				v.Addresses = []netip.Addr{t.Addr}
				if v.Role == "" {
					v.Role = device.RolePrinter
				}
				path := t.Path
				if path == "" {
					path = "ipp/print"
				}
				v.Reached.IPP = device.IPPReach{OK: true, Tried: true, URI: device.Text("ipp://" + t.Addr.String() + "/" + path)}
				v.ObservedAt = ro.Now()
				r.Views = append(r.Views, v)
				r.Reach = v.Reached.IPP
			}
			if len(views) == 0 {
				r.Reach.Tried = true
				r.Closed = true
			}
			return r
		},
	}
}

func (o *office) log(s string) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.asked = append(o.asked, s)
}

func (o *office) survey(t *testing.T, opts Options) *device.Survey {
	t.Helper()
	opts.Now = func() time.Time { return testTime }
	opts.Credentials = []snmp.Credential{{Label: "office", Version: snmp.V2c, Community: "x"}}
	s, err := run(context.Background(), opts, o.readers())
	if err != nil {
		t.Fatal(err)
	}
	o.sameFromShelves(t, opts, s)
	return s
}

// sameFromShelves: the survey is the same when what was read lay in a file, and
// when there was no room for one; and what is in memory of a device is true.
func (o *office) sameFromShelves(t *testing.T, opts Options, want *device.Survey) {
	t.Helper()
	asked := o.asked
	defer func() { o.asked = asked }()
	for name, shelf := range map[string]*Shelf{
		"file": NewShelf(t.TempDir(), 1), "no file": NewShelf(t.TempDir()+"/missing", 0),
	} {
		opts.Shelf = shelf
		f, err := collect(context.Background(), opts, o.readers())
		if err != nil {
			t.Fatal(err)
		}
		got, err := f.Survey()
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got, asData...); diff != "" {
			t.Errorf("%s: differs from memory (-want +got):\n%s", name, diff)
		}
		for i := range got.Devices {
			if diff := cmp.Diff(outlined(&got.Devices[i]), f.Outline(i), asData...); diff != "" {
				t.Errorf("%s: outline of %s (-want +got):\n%s", name, got.Devices[i].Key, diff)
			}
		}
		f.Close()
		shelf.Close()
	}
}

// asData compares surveys by what they hold: a reading loses the difference
// between the ways of having nothing.
var asData = []cmp.Option{
	cmp.Comparer(func(a, b netip.Addr) bool { return a == b }), cmp.AllowUnexported(device.Level{}, device.Status{}), cmpopts.EquateEmpty(),
}

// outlined is a device with no more than an outline holds.
func outlined(d *device.Device) device.Device {
	out := device.Device{
		Key: d.Key, Aliases: d.Aliases, Site: d.Site, Role: d.Role, Addresses: d.Addresses, MakeModel: d.MakeModel,
		Sole: d.Sole, Languages: families(d.Languages),
	}
	out.Reached.SNMP.OK, out.Reached.IPP.OK, out.Reached.MDNS.OK = d.Reached.SNMP.OK, d.Reached.IPP.OK, d.Reached.MDNS.OK
	return out
}

func keys(s *device.Survey) []string {
	var out []string
	for _, d := range s.Devices {
		out = append(out, d.Key)
	}
	return out
}

func life(n int64) device.Counters {
	return device.Counters{Life: device.Count{Value: &n, Unit: "impressions", Source: device.SourceSNMP}}
}

func TestRunJoinsWhatIsOneDevice(t *testing.T) {
	const uuid = "8d1f1c1e-0d1c-4c1b-9c51-2a1f00aa0001"
	tests := []struct {
		name string
		o    *office
		want []string // keys
		// addresses of the first device
		addrs []string
	}{
		{
			name: "both protocols at one address",
			o: &office{
				news: []discover.Candidate{printer("127.0.9.1")},
				snmp: map[string][]device.Device{"127.0.9.1": {{MakeModel: "Corvane P310 fw 1.2", Serial: "CV001122"}}},
				ipp:  map[string][]device.Device{"127.0.9.1": {{MakeModel: "Corvane P310", UUID: uuid}}},
			},
			want: []string{"uuid:" + uuid}, addrs: []string{"127.0.9.1"},
		},
		{
			name: "one device with two interfaces, same serial and MAC",
			o: &office{
				news: []discover.Candidate{printer("127.0.9.1"), printer("127.0.9.2")},
				snmp: map[string][]device.Device{
					"127.0.9.1": {{MakeModel: "Corvane P310", Serial: "CV001122", MAC: "02:00:5e:00:00:01"}},
					"127.0.9.2": {{MakeModel: "Corvane P310", Serial: "CV001122", MAC: "02:00:5e:00:00:01"}},
				},
			},
			want: []string{"serial:corvane-p310:CV001122"}, addrs: []string{"127.0.9.1", "127.0.9.2"},
		},
		{
			name: "a serial that the maker gives to every device",
			o: &office{
				news: []discover.Candidate{printer("127.0.9.1"), printer("127.0.9.2")},
				snmp: map[string][]device.Device{
					"127.0.9.1": {{MakeModel: "Corvane P310", Serial: "CV777777", MAC: "02:00:5e:00:00:01", Counters: life(100)}},
					"127.0.9.2": {{MakeModel: "Corvane P310", Serial: "CV777777", MAC: "02:00:5e:00:00:02", Counters: life(200)}},
				},
			},
			want: []string{"mac:02:00:5e:00:00:01", "mac:02:00:5e:00:00:02"}, addrs: []string{"127.0.9.1"},
		},
		{
			name: "serials that are none",
			o: &office{
				news: []discover.Candidate{printer("127.0.9.1"), printer("127.0.9.2")},
				snmp: map[string][]device.Device{
					"127.0.9.1": {{MakeModel: "Corvane P310", Serial: "0000000000"}},
					"127.0.9.2": {{MakeModel: "Corvane P310", Serial: "Unknown"}},
				},
			},
			want: []string{"addr:127.0.9.1", "addr:127.0.9.2"}, addrs: []string{"127.0.9.1"},
		},
		{
			name: "two printers behind one address",
			o: &office{
				news: []discover.Candidate{printer("127.0.9.1")},
				snmp: map[string][]device.Device{"127.0.9.1": {{MakeModel: "Corvane P310"}, {MakeModel: "Tessel 40"}}},
			},
			want: []string{"addr:127.0.9.1#1", "addr:127.0.9.1#2"}, addrs: []string{"127.0.9.1"},
		},
		{
			name: "a path announced late adds nothing to a printer already read",
			o: &office{
				news: []discover.Candidate{printer("127.0.9.1"), {
					Target: target("127.0.9.1"),
					Service: &discover.Service{Instance: "Front desk", Host: "front.local.", Port: 631,
						TXT: map[string]string{"rp": "ipp/print", "uuid": uuid}},
				}},
				snmp: map[string][]device.Device{"127.0.9.1": {{MakeModel: "Corvane P310"}}},
				ipp: map[string][]device.Device{
					"127.0.9.1":           {{MakeModel: "Corvane P310", UUID: uuid}},
					"127.0.9.1/ipp/print": {{MakeModel: "Corvane P310", UUID: uuid}},
				},
			},
			want: []string{"uuid:" + uuid}, addrs: []string{"127.0.9.1"},
		},
		{
			name: "queues of a server stay apart",
			o: &office{
				news: []discover.Candidate{
					{Target: target("127.0.9.1"), Service: &discover.Service{Instance: "a", Port: 631, TXT: map[string]string{"rp": "printers/a"}}},
					{Target: target("127.0.9.1"), Service: &discover.Service{Instance: "b", Port: 631, TXT: map[string]string{"rp": "printers/b"}}},
				},
				ipp: map[string][]device.Device{
					"127.0.9.1/printers/a": {{MakeModel: "Corvane P310", Role: device.RoleServerQueue}},
					"127.0.9.1/printers/b": {{MakeModel: "Corvane P310", Role: device.RoleServerQueue}},
				},
			},
			want: []string{"addr:127.0.9.1#/printers/a", "addr:127.0.9.1#/printers/b"}, addrs: []string{"127.0.9.1"},
		},
		{
			name: "a printer found once is never lost",
			o:    &office{news: []discover.Candidate{printer("127.0.9.1")}},
			want: []string{"addr:127.0.9.1"}, addrs: []string{"127.0.9.1"},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s := tt.o.survey(t, Options{})
			if got := keys(s); !slices.Equal(got, tt.want) {
				t.Fatalf("keys: got %q, want %q", got, tt.want)
			}
			var got []string
			for _, a := range s.Devices[0].Addresses {
				got = append(got, a.String())
			}
			if !slices.Equal(got, tt.addrs) {
				t.Errorf("addresses: got %q, want %q", got, tt.addrs)
			}
		})
	}
}

// Two devices swap addresses; IPP is hidden in one run and SNMP in the next.
func TestIdentityHoldsAcrossRuns(t *testing.T) {
	const uuid1, uuid2 = "8d1f1c1e-0d1c-4c1b-9c51-2a1f00aa0001", "8d1f1c1e-0d1c-4c1b-9c51-2a1f00aa0002"
	snmp1 := device.Device{MakeModel: "Corvane P310", Serial: "CV001", MAC: "02:00:5e:00:00:01"}
	snmp2 := device.Device{MakeModel: "Corvane P310", Serial: "CV002", MAC: "02:00:5e:00:00:02"}
	ipp1 := device.Device{MakeModel: "Corvane P310", UUID: uuid1}
	ipp2 := device.Device{MakeModel: "Corvane P310", UUID: uuid2}
	snmp1.Serial, snmp2.Serial = "CV0011", "CV0022"
	news := []discover.Candidate{printer("127.0.9.1"), printer("127.0.9.2")}

	first := (&office{
		news: news,
		snmp: map[string][]device.Device{"127.0.9.1": {snmp1}, "127.0.9.2": {snmp2}},
		ipp:  map[string][]device.Device{"127.0.9.1": {ipp1}, "127.0.9.2": {ipp2}},
	}).survey(t, Options{})
	want := []string{"uuid:" + uuid1, "uuid:" + uuid2}
	if got := keys(first); !slices.Equal(got, want) {
		t.Fatalf("first run: %q", got)
	}
	hidden := (&office{ // addresses swapped, IPP hidden
		news: news,
		snmp: map[string][]device.Device{"127.0.9.1": {snmp2}, "127.0.9.2": {snmp1}},
	}).survey(t, Options{Known: first.Devices})
	if got := keys(hidden); !slices.Equal(got, []string{want[1], want[0]}) {
		t.Fatalf("IPP hidden: %q", got)
	}
	ippOnly := func(s string) discover.Candidate { return discover.Candidate{Target: target(s), IPPOpen: true} }
	back := (&office{ // swapped back, SNMP hidden
		news: []discover.Candidate{ippOnly("127.0.9.1"), ippOnly("127.0.9.2")},
		ipp:  map[string][]device.Device{"127.0.9.1": {ipp1}, "127.0.9.2": {ipp2}},
	}).survey(t, Options{Known: hidden.Devices})
	if got := keys(back); !slices.Equal(got, want) {
		t.Fatalf("SNMP hidden: %q", got)
	}
}

func TestExpectedDevices(t *testing.T) {
	o := office{
		news: []discover.Candidate{printer("127.0.9.1")},
		snmp: map[string][]device.Device{"127.0.9.1": {{MakeModel: "Corvane P310", Serial: "CV0011", Name: "np1"}}},
	}
	s := o.survey(t, Options{Site: "North", Expected: []device.Expected{
		{Address: "127.0.9.1", Name: "Front desk", Location: "Hall", Sole: true},
		{Address: "127.0.9.7", Name: "Archive", Location: "Cellar"},
		{Key: "serial:corvane-p310:CV9999", Name: "Workshop"},
	}})
	want := []string{"serial:corvane-p310:CV0011", "addr:127.0.9.7", "serial:corvane-p310:CV9999"}
	if got := keys(s); !slices.Equal(got, want) {
		t.Fatalf("keys: got %q, want %q", got, want)
	}
	if d := s.Devices[0]; d.Name != "Front desk" || d.Location != "Hall" || !d.Sole || d.Site != "North" {
		t.Errorf("the site's names were not taken: %+v", d)
	}
	if d := s.Devices[1]; d.Name != "Archive" || d.Reached.SNMP.OK || d.Reached.IPP.OK {
		t.Errorf("silent row: %+v", d)
	}
	if s.Scope.SilentExpected != 2 {
		t.Errorf("silent expected: got %d, want 2", s.Scope.SilentExpected)
	}
}

func TestHintedAndOtherHosts(t *testing.T) {
	o := office{
		news: []discover.Candidate{
			{Target: target("127.0.9.3"), Kind: discover.Hinted, Reason: "says printer", SNMP: &discover.SNMPAnswer{Description: "Tessel print box"}},
			{Target: target("127.0.9.4"), Kind: discover.Hinted, Reason: "says printer", SNMP: &discover.SNMPAnswer{}},
			{Target: target("127.0.9.4"), Kind: discover.Hinted, IPPOpen: true},
		},
		stats: discover.Stats{Answered: 3, OtherHosts: 1},
		ipp:   map[string][]device.Device{"127.0.9.4": {{MakeModel: "Tessel 40"}}},
	}
	s := o.survey(t, Options{})
	if got := keys(s); !slices.Equal(got, []string{"addr:127.0.9.4"}) {
		t.Errorf("devices: %q", got)
	}
	if len(s.Unconfirmed) != 1 || s.Unconfirmed[0].Address != addr("127.0.9.3") || s.Scope.Unconfirmed != 1 {
		t.Errorf("unconfirmed: %+v", s.Unconfirmed)
	}
	if slices.Contains(o.asked, "snmp 127.0.9.3") {
		t.Error("a host without the Printer MIB was read over SNMP")
	}
}

// A device is read while the sweep still runs, and never more at once than
// asked for.
func TestRunStreamsAndIsBounded(t *testing.T) {
	const devices, limit = 40, 4
	firstRead := make(chan struct{})
	var once sync.Once
	var now, most atomic.Int32
	via := (&office{}).readers()
	via.discover = func(ctx context.Context, _ discover.Config, found chan<- discover.Candidate) (discover.Stats, error) {
		for i := range devices {
			found <- printer(fmt.Sprintf("127.0.8.%d", i+1))
			if i == 0 {
				<-firstRead // blocks for ever if reading waited for the sweep's end
			}
		}
		return discover.Stats{}, nil
	}
	via.ipp = func(context.Context, IPPTarget, ReadOptions) IPPResult { return IPPResult{} }
	via.snmp = func(_ context.Context, at netip.AddrPort, _ []snmp.Credential, _ ReadOptions) SNMPResult {
		once.Do(func() { close(firstRead) })
		n := now.Add(1)
		for {
			m := most.Load()
			if n <= m || most.CompareAndSwap(m, n) {
				break
			}
		}
		defer now.Add(-1)
		return SNMPResult{Views: []device.Device{{Addresses: []netip.Addr{at.Addr()}}}, Indices: []int{1}}
	}
	s, err := run(context.Background(), Options{Concurrency: limit, Credentials: []snmp.Credential{{}}}, via)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Devices) != devices {
		t.Errorf("devices: got %d, want %d", len(s.Devices), devices)
	}
	if m := most.Load(); m > limit {
		t.Errorf("%d devices were read at once, limit %d", m, limit)
	}
}

func TestInterruptedRunKeepsWhatItHas(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	via := (&office{snmp: map[string][]device.Device{"127.0.9.1": {{MakeModel: "Corvane P310"}}}}).readers()
	read := via.snmp
	via.snmp = func(ctx context.Context, at netip.AddrPort, c []snmp.Credential, o ReadOptions) SNMPResult {
		if at.Addr() == addr("127.0.9.2") {
			cancel()
			<-ctx.Done()
			return SNMPResult{}
		}
		return read(ctx, at, c, o)
	}
	via.discover = func(ctx context.Context, _ discover.Config, found chan<- discover.Candidate) (discover.Stats, error) {
		found <- printer("127.0.9.1")
		found <- printer("127.0.9.2")
		<-ctx.Done()
		return discover.Stats{}, ctx.Err()
	}
	s, err := run(ctx, Options{
		Concurrency: 1, Credentials: []snmp.Credential{{}}, Now: func() time.Time { return testTime },
		Expected: []device.Expected{{Address: "127.0.9.9", Name: "not asked yet"}},
	}, via)
	if err != nil {
		t.Fatal(err)
	}
	if !s.Partial || s.PartialReason == "" {
		t.Errorf("not marked partial: %v %q", s.Partial, s.PartialReason)
	}
	got := keys(s)
	if !slices.Contains(got, "addr:127.0.9.1") {
		t.Errorf("devices: %q", got)
	}
	if slices.Contains(got, "addr:127.0.9.9") || s.Scope.SilentExpected != 0 {
		t.Error("an expected device that was not asked is called silent")
	}
}

func TestCheckReadsOneDevice(t *testing.T) {
	o := office{
		snmp: map[string][]device.Device{"127.0.9.1": {{MakeModel: "Corvane P310", Serial: "CV0011"}}},
		ipp:  map[string][]device.Device{"127.0.9.1": {{MakeModel: "Corvane P310"}}},
	}
	opts := Options{Credentials: []snmp.Credential{{}}, Expected: []device.Expected{{Address: "127.0.9.9", Name: "other"}}}
	s, err := check(context.Background(), CheckTarget{Query: "x", Targets: []discover.Target{target("127.0.9.1")}}, opts, o.readers())
	if err != nil {
		t.Fatal(err)
	}
	if got := keys(s); !slices.Equal(got, []string{"serial:corvane-p310:CV0011"}) {
		t.Errorf("devices: %q", got)
	}
	s, err = check(context.Background(), CheckTarget{Query: "y", Targets: []discover.Target{target("127.0.9.2")}}, opts, o.readers())
	if err != nil {
		t.Fatal(err)
	}
	if got := keys(s); !slices.Equal(got, []string{"addr:127.0.9.2"}) || Answered(&s.Devices[0]) {
		t.Errorf("a silent address: %q", got)
	}
	if len(s.Errors) != 1 || s.Errors[0].Message != "no answer" {
		t.Errorf("a silent address: errors %v", s.Errors)
	}
	// One protocol answers, the other does not: that is said once.
	half := office{ipp: map[string][]device.Device{"127.0.9.3": {{MakeModel: "Corvane P310"}}}}
	via := half.readers()
	via.snmp = func(_ context.Context, at netip.AddrPort, _ []snmp.Credential, _ ReadOptions) SNMPResult {
		return SNMPResult{Problems: []device.Problem{{Address: at.Addr().String(), Stage: "snmp", Message: "port closed"}}}
	}
	s, err = check(context.Background(), CheckTarget{Query: "z", Targets: []discover.Target{target("127.0.9.3")}}, opts, via)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Devices) != 1 || len(s.Errors) != 1 || s.Errors[0].Message != "port closed" {
		t.Errorf("half an answer: %d devices, errors %v", len(s.Devices), s.Errors)
	}
	if _, err := Check(context.Background(), CheckTarget{}, opts); err == nil {
		t.Error("a check of nothing succeeded")
	}
}

// A device that trips a decoder costs its own facts, not the survey.
func TestOneDeviceThatBreaksTheReader(t *testing.T) {
	o := office{
		news: []discover.Candidate{printer("127.0.9.1"), printer("127.0.9.2")},
		snmp: map[string][]device.Device{"127.0.9.1": {{MakeModel: "Corvane P310"}}, "127.0.9.2": {{MakeModel: "Tessel 40"}}},
	}
	via := o.readers()
	read := via.snmp
	via.snmp = func(ctx context.Context, at netip.AddrPort, c []snmp.Credential, ro ReadOptions) SNMPResult {
		if at.Addr() == addr("127.0.9.2") {
			panic("secret bytes of the device")
		}
		return read(ctx, at, c, ro)
	}
	via.ipp = func(_ context.Context, at IPPTarget, _ ReadOptions) IPPResult {
		if at.Addr == addr("127.0.9.1") {
			panic("secret bytes of the device")
		}
		return IPPResult{Closed: true}
	}
	s, err := run(context.Background(), Options{Credentials: []snmp.Credential{{}}}, via)
	if err != nil {
		t.Fatal(err)
	}
	if got := keys(s); !slices.Equal(got, []string{"addr:127.0.9.1", "addr:127.0.9.2"}) {
		t.Errorf("devices: %q", got)
	}
	var broken int
	for _, e := range s.Errors {
		if e.Message == unexpected {
			broken++
		}
	}
	if broken != 2 {
		t.Errorf("%d problems say it, want 2: %v", broken, s.Errors)
	}
}

// No device is tried with more credentials than three, and the reader is told
// which limit was met.
func TestCheckTriesThreeCredentials(t *testing.T) {
	via := (&office{}).readers()
	read, tried := via.snmp, 0
	via.snmp = func(ctx context.Context, at netip.AddrPort, c []snmp.Credential, o ReadOptions) SNMPResult {
		tried = len(c)
		return read(ctx, at, c, o)
	}
	s, err := check(context.Background(), CheckTarget{Targets: []discover.Target{target("127.0.9.2")}}, Options{Credentials: make([]snmp.Credential, 5)}, via)
	if err != nil {
		t.Fatal(err)
	}
	if tried != 3 {
		t.Errorf("%d credentials were tried, want 3", tried)
	}
	said := slices.ContainsFunc(s.Errors, func(p device.Problem) bool { return strings.Contains(p.Message, "of 5 credentials 3 were tried") })
	if !said {
		t.Errorf("nobody says so: %v", s.Errors)
	}
}
