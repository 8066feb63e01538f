package lab

import (
	"context"
	"net/netip"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"printround/internal/lab/agent"
	"printround/internal/needtest"
)

func crowd(t testing.TB, o LoadOptions) *Load {
	t.Helper()
	if !agent.OneSocket {
		needtest.Missing(t, "IP_PKTINFO of Linux, by which one socket serves all addresses")
	}
	l, err := StartLoad(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

// TestCrowdStandsApart: every device has an address of its own inside the
// prefix, never the network or broadcast address, and every other address is
// silent.
func TestCrowdStandsApart(t *testing.T) {
	prefix := netip.MustParsePrefix("127.96.0.0/16")
	l := crowd(t, LoadOptions{Devices: 655, Prefix: prefix})
	at := map[netip.Addr]int{}
	for i := range 655 {
		a := l.Addr(i)
		if other, taken := at[a]; taken || !prefix.Contains(a) || a == prefix.Addr() || !prefix.Contains(a.Next()) {
			t.Errorf("device %d stands at %s (device %d)", i, a, other)
		}
		at[a] = i
	}
	found := 0
	for a := prefix.Addr(); prefix.Contains(a); a = a.Next() {
		h, _, ok := l.find(netip.AddrPortFrom(a, uint16(l.Port())), time.Now())
		i, there := at[a]
		if ok != there || ok && int(h.ID) != i {
			t.Fatalf("%s: answers %v, a device stands there: %v", a, ok, there)
		}
		found += count(ok)
	}
	if found != 655 {
		t.Errorf("%d devices found", found)
	}
}

// TestCrowdAnswers reads devices of the crowd with a reference tool: names,
// serials and addresses differ, the number of values is the lab's own.
func TestCrowdAnswers(t *testing.T) {
	walk := needtest.Program(t, "snmpbulkwalk")
	l := crowd(t, LoadOptions{Devices: 300, Prefix: netip.MustParsePrefix("127.97.0.0/22"), Delay: time.Millisecond})
	seen := map[string]bool{}
	for _, i := range []int{0, 1, 2, 5, 9, 150, 299} {
		at := netip.AddrPortFrom(l.Addr(i), uint16(l.Port())).String()
		out, err := exec.Command(walk, "-v2c", "-cpublic", "-On", "-Cr30", at, "1").Output()
		lines := strings.Count("\n"+string(out), "\n.1.") - strings.Count(string(out), "No more variables")
		if err != nil || l.Values(i) < 350 || lines != l.Values(i) {
			t.Errorf("device %d: %d values read, %d there, %v", i, lines, l.Values(i), err)
		}
		for line := range strings.Lines(string(out)) {
			for _, o := range []string{".1.3.6.1.2.1.1.5.0 ", ".1.3.6.1.2.1.2.2.1.6.1 ", ".1.3.6.1.2.1.43.5.1.1.17.1 "} {
				if strings.HasPrefix(line, o) {
					if seen[line] {
						t.Errorf("device %d repeats %s", i, line)
					}
					seen[line] = true
				}
			}
		}
	}
	if len(seen) != 21 {
		t.Errorf("%d names, serials and addresses, want 21", len(seen))
	}
	if l.Requests() == 0 {
		t.Error("requests are not counted")
	}
}

func TestLoadOptions(t *testing.T) {
	for what, o := range map[string]LoadOptions{
		"no device":       {},
		"too many":        {Devices: 300, Prefix: netip.MustParsePrefix("127.1.0.0/24")},
		"not loopback":    {Devices: 3, Prefix: netip.MustParsePrefix("10.0.0.0/24")},
		"a whole network": {Devices: 3, Prefix: netip.MustParsePrefix("127.0.0.0/7")},
	} {
		if l, err := StartLoad(context.Background(), o); err == nil {
			l.Close()
			t.Errorf("%s: no error", what)
		}
	}
}

// BenchmarkCrowdMemory reports what a crowd of a thousand devices holds.
func BenchmarkCrowdMemory(b *testing.B) {
	var before, after runtime.MemStats
	for b.Loop() {
		runtime.GC()
		runtime.ReadMemStats(&before)
		l, err := StartLoad(context.Background(), LoadOptions{Devices: 1000})
		if err != nil {
			b.Fatal(err)
		}
		runtime.GC()
		runtime.ReadMemStats(&after)
		b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/1000, "B/device")
		b.ReportMetric(float64(l.Values(0)), "values/device")
		if err := l.Close(); err != nil {
			b.Fatal(err)
		}
	}
}

func TestServeRecordings(t *testing.T) {
	walk := needtest.Program(t, "snmpwalk")
	rec, err := OpenRecording("../../testdata/recordings/two-behind-one.snmprec")
	if err != nil {
		t.Fatal(err)
	}
	p, err := ServeRecordings(context.Background(), 0, map[netip.Addr]*Recording{loopback: rec})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	out, err := exec.Command(walk, "-v1", "-cpublic", "-On", "127.0.0.1:"+strconv.Itoa(p.Port()), "1").Output()
	lines := 0
	for line := range strings.Lines(string(out)) {
		lines += count(strings.HasPrefix(line, ".1."))
	}
	if lines != rec.Len() {
		t.Errorf("%d values read, %d there, %v", lines, rec.Len(), err)
	}
	if _, err := OpenRecording("testdata/none.snmprec"); err == nil {
		t.Error("a missing file gives no error")
	}
	if _, err := ServeRecordings(context.Background(), 0, nil); err == nil {
		t.Error("nothing to serve gives no error")
	}
}
