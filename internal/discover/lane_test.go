package discover

import (
	"fmt"
	"net/netip"
	"strings"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
)

// A large sweep asks a silent address once a pass, in SNMPv2c, v1 and v2c again,
// and the passes follow each other without a pause: by the time one is through,
// its first address has been waited for.
func TestPassesFollowWithoutPause(t *testing.T) {
	const pace = 1000
	o := sweepNet(t, "10.1.0.0/20", Config{Pace: pace, Retries: 2}, nil)
	asked := map[netip.Addr][]sentProbe{}
	for _, p := range o.net.sent {
		asked[p.to] = append(asked[p.to], p)
	}
	if len(asked) != 4094 || len(o.net.sent) != 3*4094 {
		t.Fatalf("%d addresses and %d packets", len(asked), len(o.net.sent))
	}
	want := []gosnmp.SnmpVersion{gosnmp.Version2c, gosnmp.Version1, gosnmp.Version2c}
	for a, list := range asked {
		for i, p := range list {
			if p.p.Version != want[i] {
				t.Fatalf("%s: probe %d is version %v", a, i, p.p.Version)
			}
			if i > 0 && p.at.Sub(list[i-1].at) < time.Duration(i)*DefaultWait {
				t.Fatalf("%s: asked again after %v", a, p.at.Sub(list[i-1].at))
			}
		}
	}
	floor := time.Duration(3*4094)*time.Second/pace + DefaultListen
	if o.took < floor-time.Second/10 || o.took > floor*102/100 {
		t.Errorf("took %v, the packets and the last listening take %v", o.took, floor)
	}
}

// However few of a large range are silent, each is waited for before it is asked
// again.
func TestGapHoldsForTheLastSilent(t *testing.T) {
	hosts := map[string]*fakeHost{}
	for i := range 4094 - 6 {
		hosts[addr4(number4(netip.MustParseAddr("10.1.0.1"))+uint32(i)).String()] = &fakeHost{agent: newAgent(t, laser), delay: time.Millisecond}
	}
	o := sweepNet(t, "10.1.0.0/20", Config{Retries: 2}, hosts)
	last := map[netip.Addr]time.Time{}
	n := map[netip.Addr]int{}
	for _, p := range o.net.sent {
		if n[p.to]++; n[p.to] > 1 && p.at.Sub(last[p.to]) < time.Duration(n[p.to]-1)*DefaultWait {
			t.Errorf("%s: probe %d came after %v", p.to, n[p.to], p.at.Sub(last[p.to]))
		}
		last[p.to] = p.at
	}
	if len(o.net.sent) != 4088+6*3 || o.stats.Printers != 4088 {
		t.Errorf("%d packets, %d printers", len(o.net.sent), o.stats.Printers)
	}
}

// In a large range, too, a device is found that hears only the second question
// or answers late, whichever version it speaks.
func TestLargeSweepOfEveryKind(t *testing.T) {
	only := func(v ...gosnmp.SnmpVersion) *agent {
		a := newAgent(t, laser)
		a.versions = v
		return a
	}
	v1, v2 := gosnmp.Version1, gosnmp.Version2c
	hosts := map[string]*fakeHost{
		"10.1.1.1": {agent: only(v1)},
		"10.1.1.2": {agent: only(v1), skip: 1},
		"10.1.1.3": {agent: only(v2)},
		"10.1.1.4": {agent: only(v2), skip: 1},
		"10.1.1.5": {agent: only(v2), skip: 2},
		"10.1.1.6": {agent: only(v1, v2), skip: 2, delay: 4900 * time.Millisecond},
		"10.1.1.7": {agent: only(v1, v2), delay: 9 * time.Second},
		// The last address of the range has the least time.
		"10.1.15.254": {agent: only(v1, v2), skip: 1, delay: 4 * time.Second},
	}
	o := sweepNet(t, "10.1.0.0/20", Config{Retries: 2}, hosts)
	for a := range hosts {
		if c := o.of(t, a); c == nil || c.Kind != Printer {
			t.Errorf("%s: %+v", a, c)
		}
	}
}

// That a host is not there is said once; a port that is closed, and whoever is
// expected, gets another try.
func TestUnreachableIsNotAskedAgain(t *testing.T) {
	o := sweepNet(t, "10.1.2.0/29", Config{Retries: 2, Expected: []netip.Addr{netip.MustParseAddr("10.1.2.3")}}, map[string]*fakeHost{
		"10.1.2.1": {gone: true}, "10.1.2.2": {gone: true, refuses: true}, "10.1.2.3": {gone: true},
	})
	per := map[string]int{}
	for _, p := range o.net.sent {
		per[p.to.String()]++
	}
	// A later pass asks in two versions at the same moment: what the first
	// brings may be heard before the second leaves, which then stays.
	again := func(n int) bool { return n == 2 || n == 3 }
	if per["10.1.2.1"] != 1 || !again(per["10.1.2.2"]) || !again(per["10.1.2.3"]) || per["10.1.2.4"] != 5 {
		t.Errorf("asked %v", per)
	}
	if o.stats.Unreachable != 3 {
		t.Errorf("%d unreachable", o.stats.Unreachable)
	}
}

// near makes the whole scope on-link, behind a table of neighbours.
func near(table *fakeTable) func(*sweep, *fakeNet) {
	return func(s *sweep, f *fakeNet) {
		f.neighbours = table
		pace := min(s.cfg.Pace, nearPace)
		s.attach(func(netip.Addr) bool { return true }, pace, &places{limit: table.limit, resolved: table.resolved})
	}
}

func newFakeTable(limit int) *fakeTable {
	return &fakeTable{limit: limit, until: map[netip.Addr]time.Time{}, live: map[netip.Addr]bool{}}
}

// An attached /20 of which almost nothing lives: everybody is found, the table
// keeps room for others, and the run ends when its last address is known to be
// nobody's.
func TestOnLinkMostlyEmpty(t *testing.T) {
	hosts := map[string]*fakeHost{}
	for i := range 42 {
		hosts[fmt.Sprintf("10.1.%d.%d", i%16, 10+5*i)] = &fakeHost{agent: newAgent(t, laser), delay: time.Millisecond}
	}
	table := newFakeTable(1024)
	o := sweepNet(t, "10.1.0.0/20", Config{Retries: 2}, hosts, near(table))
	if o.stats.Printers != 42 || len(o.net.sent) != 4094 || o.stats.Unreachable != 4094-42 {
		t.Errorf("%d printers, %d packets, %d unreachable", o.stats.Printers, len(o.net.sent), o.stats.Unreachable)
	}
	if table.most > 1024-reserved(1024) {
		t.Errorf("%d places were taken at once", table.most)
	}
	// An unresolved address keeps its place for three seconds; some errors are not
	// reported. One pass takes 12 s of the test's own clock, asking everybody
	// again would take 24 s and more; how near to 12 s it comes is the bench's.
	if limit := 2 * 3 * time.Second * 4094 / 1024; o.took > limit {
		t.Errorf("took %v, want at most %v", o.took, limit)
	}
}

// The same with a live host at each address: they leave the table only slowly,
// and each is found nevertheless, with a word about the wait.
func TestOnLinkAllAlive(t *testing.T) {
	hosts := map[string]*fakeHost{}
	for i := range 1022 {
		hosts[addr4(number4(netip.MustParseAddr("10.1.0.1"))+uint32(i)).String()] = &fakeHost{agent: newAgent(t, laser), delay: time.Millisecond}
	}
	table := newFakeTable(256)
	o := sweepNet(t, "10.1.0.0/22", Config{Retries: 2}, hosts, near(table))
	if o.stats.Printers != 1022 {
		t.Errorf("%d printers", o.stats.Printers)
	}
	if len(o.sweep.notes) != 1 || !strings.Contains(o.sweep.notes[0], "table of neighbours takes 256") {
		t.Errorf("notes %q", o.sweep.notes)
	}
	if floor := 3 * 30 * time.Second; o.took > floor*11/10 {
		t.Errorf("took %v, the table alone takes %v", o.took, floor)
	}
}

// A network that goes away in the middle and comes back costs nothing but time.
func TestNetworkComesBack(t *testing.T) {
	hosts := map[string]*fakeHost{}
	for i := 1; i < 250; i += 7 {
		hosts[fmt.Sprintf("10.1.2.%d", i)] = &fakeHost{agent: newAgent(t, laser)}
	}
	o := sweepNet(t, "10.1.2.0/24", Config{Pace: 100}, hosts, func(_ *sweep, f *fakeNet) {
		start := time.Now()
		f.outage = func(now time.Time) bool { d := now.Sub(start); return d > time.Second && d < 20*time.Second }
	})
	if o.stats.Printers != len(hosts) || len(o.stats.Problems) != 0 || o.stats.Probed != 254 {
		t.Errorf("%d of %d printers, %d probed, problems %v", o.stats.Printers, len(hosts), o.stats.Probed, o.stats.Problems)
	}
}

// One that stays away ends the sweep in time, with one line and what there is.
func TestNetworkStaysAway(t *testing.T) {
	hosts := map[string]*fakeHost{"10.1.2.1": {agent: newAgent(t, laser)}, "10.1.2.250": {agent: newAgent(t, laser)}}
	o := sweepNet(t, "10.1.2.0/24", Config{Pace: 100, Retries: 2}, hosts, func(_ *sweep, f *fakeNet) {
		start := time.Now()
		f.outage = func(now time.Time) bool { return now.Sub(start) > time.Second }
	})
	if o.stats.Printers != 1 || len(o.stats.Problems) != 1 {
		t.Fatalf("%d printers, problems %v", o.stats.Printers, o.stats.Problems)
	}
	if m := o.stats.Problems[0].Message; !strings.Contains(m, "10.1.2.0/24: its network went away during the sweep") || !strings.Contains(m, "addresses were not asked") {
		t.Errorf("problem %q", m)
	}
	if o.took > away+30*time.Second {
		t.Errorf("took %v", o.took)
	}
}

// A link that goes down is a problem of its own: sends still succeed, and get
// nowhere. When it comes back in time the others are found.
func TestLinkGoesDown(t *testing.T) {
	for back, all := range map[time.Duration]bool{10 * time.Second: true, time.Hour: false} {
		hosts := map[string]*fakeHost{}
		for i := 1; i < 250; i += 7 {
			hosts[fmt.Sprintf("10.1.2.%d", i)] = &fakeHost{agent: newAgent(t, laser)}
		}
		o := sweepNet(t, "10.1.2.0/24", Config{Pace: 50, Retries: 2}, hosts, func(s *sweep, f *fakeNet) {
			start := time.Now()
			s.attach(func(netip.Addr) bool { return true }, 50, nil)
			down := func(now time.Time) bool { d := now.Sub(start); return d > 1500*time.Millisecond && d < back }
			f.silence = down
			s.links = func() []string {
				if down(time.Now()) {
					return []string{"eth7"}
				}
				return nil
			}
		})
		if p := o.stats.Problems; len(p) != 1 || p[0].Stage != "route" || !strings.Contains(p[0].Message, "eth7 lost its link during the sweep") {
			t.Errorf("problems %v", p)
		}
		if o.stats.Printers == 0 || (o.stats.Printers == len(hosts)) != all {
			t.Errorf("back after %v: %d of %d printers", back, o.stats.Printers, len(hosts))
		}
		if o.took > away+2*time.Minute {
			t.Errorf("took %v", o.took)
		}
	}
}

// Loss that shows, and answers that this system drops, slow the sweep down; it
// never gets faster than it was told.
func TestSweepSlowsDown(t *testing.T) {
	const pace = 1000
	per := func(o outcome, from, to int) float64 {
		list := o.net.sent
		return float64(to-from) / list[to].at.Sub(list[from].at).Seconds()
	}
	hosts := map[string]*fakeHost{}
	for i := range 100 {
		hosts[fmt.Sprintf("10.1.%d.%d", i%16, 1+i)] = &fakeHost{agent: newAgent(t, laser), skip: i % 2}
	}
	o := sweepNet(t, "10.1.0.0/20", Config{Pace: pace, Retries: 2}, hosts)
	if first, last := per(o, 0, 4000), per(o, 8500, 12000); first < 0.98*pace || last > 0.52*pace {
		t.Errorf("half of the hosts answered only in the second pass: %0.f packets a second before, %.0f after", first, last)
	}
	o = sweepNet(t, "10.1.0.0/20", Config{Pace: pace}, nil, func(_ *sweep, f *fakeNet) {
		time.AfterFunc(time.Second, func() { f.drops.Store(9) })
	})
	if before, after := per(o, 0, 900), per(o, 1100, 1400); before < 0.98*pace || after > 0.8*pace {
		t.Errorf("answers were dropped: %.0f packets a second before, %.0f after", before, after)
	}
	if end := per(o, 3800, 4090); end < 0.8*pace || end > 1.02*pace {
		t.Errorf("%.0f packets a second at the end", end)
	}
	if n := o.sweep.notes; len(n) != 1 || !strings.Contains(n[0], "dropped 9 answers") {
		t.Errorf("notes %q", n)
	}
}

func TestSafePace(t *testing.T) {
	for room, want := range map[int]int{8 << 20: 81920, 212992: 2080, 4096: DefaultPace / 10} {
		if got := safePace(room); got != want {
			t.Errorf("%d octets: %d, want %d", room, got, want)
		}
	}
	if safePace(0) < 100000 {
		t.Error("an unknown room limits the pace")
	}
}
