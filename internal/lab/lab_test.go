package lab

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"printround/internal/needtest"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// start starts a lab for one test.
func start(t *testing.T, o Options) *Lab {
	t.Helper()
	o.NoMDNS = true
	l, err := Start(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
	})
	return l
}

func named(t *testing.T, l *Lab, name string) Device {
	t.Helper()
	for _, d := range l.Devices() {
		if d.Name == name {
			return d
		}
	}
	t.Fatalf("no device %s", name)
	return Device{}
}

// TestOrganisation holds the scenario to what a survey has to cope with.
func TestOrganisation(t *testing.T) {
	l := start(t, Options{})
	sites, models, found := map[string]int{}, map[string]int{}, map[string]bool{}
	printers, silent, ippOnly, snmpOnly, v1Only, v3Only, twoAddresses, otherIndex := 0, 0, 0, 0, 0, 0, 0, 0
	for _, d := range l.Devices() {
		if !d.Printer {
			if len(d.Conditions) > 0 {
				t.Errorf("%s is no printer and has conditions %v", d.Name, d.Conditions)
			}
			continue
		}
		printers++
		sites[d.Site]++
		models[d.Model]++
		for _, c := range d.Conditions {
			found[c] = true
		}
		silent += count(d.Silent && d.Expected)
		ippOnly += count(d.SNMPPort == 0 && d.IPPPort != 0)
		snmpOnly += count(d.SNMPPort != 0 && d.IPPPort == 0)
		v1Only += count(d.SNMP == "1")
		v3Only += count(d.SNMP == "3")
		twoAddresses += count(len(d.Addrs) == 2)
		otherIndex += count(d.Index != 1)
		if !d.Addr.IsLoopback() || d.Title == "" || d.Location == "" || d.Serial == "" {
			t.Errorf("%s: incomplete: %+v", d.Name, d)
		}
	}
	if printers < 24 || len(sites) != 3 || models["Okvarna L420dn"] < 5 {
		t.Errorf("%d printers at %d sites, models %v", printers, len(sites), models)
	}
	for what, n := range map[string]int{"silent": silent, "IPP only": ippOnly, "SNMP only": snmpOnly, "v1 only": v1Only,
		"v3 only": v3Only, "two addresses": twoAddresses, "hrDeviceIndex not 1": otherIndex} {
		if n == 0 {
			t.Errorf("no device is %s", what)
		}
	}
	for _, c := range []string{"media-jam", "cover-open", "toner-empty", "toner-low", "opc-near-eol", "subunit-life-over",
		"marker-waste-toner-receptacle-full", "stapler-empty", "derived-media-mismatch", "derived-queue-stalled",
		"derived-no-answer", "subunit-offline", "input-pick-roller-life-warn", "media-empty", "output-area-full",
		"input-tray-missing", "marker-ink-almost-empty", "derived-default-orientation", "marker-waste-ink-receptacle-almost-full"} {
		if !found[c] {
			t.Errorf("no device has %s", c)
		}
	}
	if notes := l.Notes(); len(notes) != 0 {
		t.Errorf("notes: %v", notes)
	}
}

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}

// TestSeed: the same seed gives the same lab, another one other serials and
// levels, and the conditions stay.
func TestSeed(t *testing.T) {
	values := func(seed int64) (string, []Device) {
		l := start(t, Options{Seed: seed})
		var b bytes.Buffer
		for _, name := range []string{"front-desk", "copy-1", "packing-a"} {
			if err := l.Record(&b, name); err != nil {
				t.Fatal(err)
			}
		}
		clock := regexp.MustCompile(`(?m)^1\.3\.6\.1\.2\.1\.(1\.3|25\.1\.[12])\.0\|.*$`)
		ds := l.Devices()
		for i := range ds {
			ds[i].SNMPPort, ds[i].IPPPort = 0, 0
		}
		return clock.ReplaceAllString(b.String(), ""), ds
	}
	a, da := values(3)
	b, db := values(3)
	c, dc := values(4)
	if a != b || !reflect.DeepEqual(da, db) {
		t.Error("the same seed gives different labs")
	}
	if a == c {
		t.Error("another seed gives the same values")
	}
	for i := range da {
		if !slices.Equal(da[i].Conditions, dc[i].Conditions) {
			t.Errorf("%s: conditions %v and %v", da[i].Name, da[i].Conditions, dc[i].Conditions)
		}
		if da[i].Printer && da[i].Serial == dc[i].Serial {
			t.Errorf("%s: the serial does not depend on the seed", da[i].Name)
		}
	}
}

func TestFaultOptions(t *testing.T) {
	t.Run("instead of the scenario's", func(t *testing.T) {
		l := start(t, Options{Faults: map[string]string{"front-desk": "cover-open:2,media-jam", "copy-1": "none"}})
		if got := named(t, l, "front-desk").Conditions; !slices.Equal(got, []string{"cover-open", "media-jam"}) {
			t.Errorf("front-desk: %v", got)
		}
		if got := named(t, l, "copy-1").Conditions; len(got) != 0 {
			t.Errorf("copy-1: %v", got)
		}
		if got := named(t, l, "accounts").Conditions; !slices.Equal(got, []string{"media-jam"}) {
			t.Errorf("accounts: %v", got)
		}
	})
	t.Run("clean", func(t *testing.T) {
		for _, d := range start(t, Options{Clean: true}).Devices() {
			if len(d.Conditions)+len(d.Notes) > 0 || d.Silent {
				t.Errorf("%s: %v %v", d.Name, d.Conditions, d.Notes)
			}
		}
	})
	for what, c := range map[string]struct {
		faults map[string]string
		want   string
	}{
		"unknown device": {map[string]string{"front-dask": "media-jam"}, `no printer called "front-dask": did you mean front-desk`},
		"unknown fault":  {map[string]string{"front-desk": "paper-jam"}, `no fault is called "paper-jam": did you mean media-jam`},
		"does not fit":   {map[string]string{"labels": "fuser-end"}, "labels (label) cannot have fuser-end: it needs a fuser"},
	} {
		t.Run(what, func(t *testing.T) {
			l, err := Start(context.Background(), Options{Faults: c.faults, NoMDNS: true})
			if err == nil {
				l.Close()
			}
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want %q in it", err, c.want)
			}
		})
	}
}

func TestRandomFaults(t *testing.T) {
	a, err := RandomFaults(11)
	if err != nil {
		t.Fatal(err)
	}
	b, err := RandomFaults(11)
	if err != nil || !reflect.DeepEqual(a, b) {
		t.Errorf("the same seed gives %v and %v, %v", a, b, err)
	}
	if len(a) < 5 {
		t.Errorf("only %d faults", len(a))
	}
	kinds := map[string]bool{}
	for seed := range int64(20) {
		f, err := RandomFaults(seed)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range f {
			kinds[name] = true
		}
	}
	if len(kinds) < 20 {
		t.Errorf("twenty seeds give only %d kinds of faults", len(kinds))
	}
	l := start(t, Options{Seed: 11, Faults: a, Clean: true})
	for _, d := range l.Devices() {
		if _, faulty := a[d.Name]; d.Printer && faulty != (len(d.Conditions) > 0) {
			t.Errorf("%s: fault %q, conditions %v", d.Name, a[d.Name], d.Conditions)
		}
	}
	for name, help := range FaultNames() {
		if help == "" {
			t.Errorf("%s has no help", name)
		}
	}
}

// TestSite: the site file is TOML of the shape that the site package reads;
// secrets are in files that only their owner can read.
func TestSite(t *testing.T) {
	l := start(t, Options{})
	dir := t.TempDir()
	path, err := l.WriteSite(dir)
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	var f struct {
		Part  []struct{ Model, Supply, Colorant, Number, Name string }
		Model []struct {
			Match         string
			PagesPerMonth int `toml:"pages_per_month"`
			Roller        []struct {
				Name      string
				Diameter  float64 `toml:"diameter_mm"`
				Tolerance float64 `toml:"tolerance_mm"`
				Part      string
			}
			Service []struct {
				Part  string
				Pages int
			}
		}
		Site []struct {
			Name, Location, Contact string
			Targets, Skip           []string
			ExpectedMedia           []string            `toml:"expected_media"`
			Credential              []map[string]string `toml:"credential"`
			Norm                    []struct {
				Model, Media, Sides string
				ColorMode           string   `toml:"color_mode"`
				Resolution          int      `toml:"resolution_dpi"`
				OutputBin           string   `toml:"output_bin"`
				Ready               []string `toml:"ready_media"`
				Finishings, Punch   []string
				Tray                []struct {
					Index int
					Type  string
					Grams int `toml:"weight_gsm"`
				}
			}
			Device []struct {
				Address, Name, Location string
				Sole                    bool
			}
		}
	}
	if err := toml.NewDecoder(bytes.NewReader(b)).DisallowUnknownFields().Decode(&f); err != nil {
		t.Fatal(err)
	}
	if len(f.Site) != 3 {
		t.Fatalf("%d sites", len(f.Site))
	}
	for _, s := range f.Site {
		if len(s.Norm) == 0 {
			t.Errorf("%s has no norms", s.Name)
		}
	}
	if len(f.Part) == 0 || len(f.Model) == 0 {
		t.Errorf("the catalogue has %d parts and %d models", len(f.Part), len(f.Model))
	}
	models := l.scenario.Models
	known := func(pattern string) bool {
		return slices.ContainsFunc(models, func(m *model) bool { return strings.HasPrefix(m.Name, strings.TrimSuffix(pattern, "*")) })
	}
	for _, p := range f.Part {
		if !known(p.Model) {
			t.Errorf("a part for %q, which nobody has", p.Model)
		}
	}
	for _, m := range f.Model {
		if !known(m.Match) {
			t.Errorf("a model %q, which nobody has", m.Match)
		}
	}
	expected := 0
	for _, s := range f.Site {
		expected += len(s.Device)
		if len(s.Targets) == 0 || len(s.Credential) == 0 || len(s.ExpectedMedia) == 0 {
			t.Errorf("%s is incomplete", s.Name)
		}
		for _, c := range s.Credential {
			for key, name := range c {
				if !strings.HasSuffix(key, "_file") {
					continue
				}
				info, err := os.Stat(filepath.Join(dir, name))
				if err != nil || info.Mode().Perm()&0o077 != 0 {
					t.Errorf("%s: %v %v", name, info, err)
				}
			}
		}
	}
	want := 0
	for _, d := range l.Devices() {
		want += count(d.Expected)
		inside := slices.ContainsFunc(l.Targets(), func(p string) bool { return netip.MustParsePrefix(p).Contains(d.Addr) })
		if !inside {
			t.Errorf("%s at %s is in no target", d.Name, d.Addr)
		}
	}
	if expected != want || want == 0 {
		t.Errorf("%d expected devices in the file, %d in the lab", expected, want)
	}
	for _, secret := range []string{"ferry-read", "mill-read", "slack-water-at-noon"} {
		if bytes.Contains(b, []byte(secret)) {
			t.Errorf("the site file holds the secret %q", secret)
		}
	}
}

func TestChangeHideSwap(t *testing.T) {
	l := start(t, Options{})
	if err := l.Change("front-desk", "media-jam"); err != nil {
		t.Fatal(err)
	}
	if got := named(t, l, "front-desk").Conditions; !slices.Equal(got, []string{"media-jam"}) {
		t.Errorf("after Change: %v", got)
	}
	if err := l.Change("front-desk", "none"); err != nil || len(named(t, l, "front-desk").Conditions) != 0 {
		t.Errorf("after clearing: %v %v", named(t, l, "front-desk").Conditions, err)
	}
	if err := l.Change("front-desk", "nothing"); err == nil {
		t.Error("an unknown fault is accepted")
	}
	listening := func(d Device) bool {
		c, err := net.DialTimeout("tcp", fmt.Sprintf("%s:%d", d.Addr, l.nodes[0].ippPorts[0]), 5*time.Second)
		if err == nil {
			c.Close()
		}
		return err == nil
	}
	if err := l.Hide("front-desk", false, true); err != nil {
		t.Fatal(err)
	}
	if d := named(t, l, "front-desk"); d.IPPPort != 0 || d.SNMPPort == 0 || listening(d) {
		t.Errorf("hidden IPP: %+v", d)
	}
	if err := l.Hide("front-desk", true, false); err != nil {
		t.Fatal(err)
	}
	if d := named(t, l, "front-desk"); d.IPPPort == 0 || d.SNMPPort != 0 || !listening(d) {
		t.Errorf("hidden SNMP: %+v", d)
	}
	a, b := named(t, l, "accounts"), named(t, l, "post-room")
	if err := l.Swap("accounts", "post-room"); err != nil {
		t.Fatal(err)
	}
	if c := named(t, l, "accounts"); c.Addr != b.Addr || c.Serial != a.Serial {
		t.Errorf("after Swap: %s %s", c.Addr, c.Serial)
	}
	h, _, ok := l.find(netip.AddrPortFrom(b.Addr, uint16(b.SNMPPort)), time.Now())
	if !ok || h.EngineID == nil || !strings.HasSuffix(string(h.EngineID), "accounts") {
		t.Error("SNMP does not follow the swap")
	}
	if err := l.Swap("accounts", "meeting"); err == nil {
		t.Error("one address for two is accepted")
	}
	if err := errorsOf(l); err != nil {
		t.Error(err)
	}
}

func errorsOf(l *Lab) error {
	for _, err := range []error{l.Hide("nobody", true, true), l.Change("nobody", "none"), l.Swap("nobody", "front-desk")} {
		if err == nil {
			return fmt.Errorf("an unknown name is accepted")
		}
	}
	return nil
}

// TestDeepSleep: the first probe is lost, the next is answered after four
// seconds, later ones at once. The clock is the test's.
func TestDeepSleep(t *testing.T) {
	l := start(t, Options{Faults: map[string]string{"post-room": "deep-sleep"}})
	d := named(t, l, "post-room")
	at := netip.AddrPortFrom(d.Addr, uint16(d.SNMPPort))
	now := time.Now()
	if _, _, ok := l.find(at, now); ok {
		t.Error("the first probe is answered")
	}
	if _, delay, ok := l.find(at, now.Add(time.Second)); !ok || delay != 4*time.Second {
		t.Errorf("the second probe: %v %v", delay, ok)
	}
	if _, delay, ok := l.find(at, now.Add(3*time.Second)); !ok || delay != 2*time.Second {
		t.Errorf("while it wakes: %v %v", delay, ok)
	}
	if _, delay, ok := l.find(at, now.Add(6*time.Second)); !ok || delay != 0 {
		t.Errorf("awake: %v %v", delay, ok)
	}
}

// TestOnePort is the lab of a system without other loopback addresses.
func TestOnePort(t *testing.T) {
	walk := needtest.Program(t, "snmpwalk")
	l := start(t, Options{OnePort: true})
	ports := map[int]string{}
	for _, d := range l.Devices() {
		if d.Addr != loopback || len(d.Addrs) != 1 {
			t.Errorf("%s is at %v", d.Name, d.Addrs)
		}
		if other, taken := ports[d.SNMPPort]; taken && d.SNMPPort != 0 && !strings.HasPrefix(d.Name, "packing") {
			t.Errorf("%s and %s share port %d", d.Name, other, d.SNMPPort)
		}
		ports[d.SNMPPort] = d.Name
	}
	d := named(t, l, "corridor")
	out, err := exec.Command(walk, "-v2c", "-c", d.Community, "-Oqv", fmt.Sprintf("%s:%d", d.Addr, d.SNMPPort), "1.3.6.1.2.1.1.5").Output()
	if err != nil || strings.TrimSpace(string(out)) != "\"nq-corridor\"" && strings.TrimSpace(string(out)) != "nq-corridor" {
		t.Errorf("%q, %v", out, err)
	}
}

func TestEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	l, err := Start(ctx, Options{NoMDNS: true})
	if err != nil {
		t.Fatal(err)
	}
	d := named(t, l, "front-desk")
	cancel()
	if err := l.Close(); err != nil {
		t.Error(err)
	}
	if err := l.Close(); err != nil {
		t.Error(err)
	}
	if c, err := net.DialTimeout("tcp", fmt.Sprintf("%s:%d", d.Addr, d.IPPPort), time.Second); err == nil {
		c.Close()
		t.Error("the IPP port is still open")
	}
	if _, err := Start(ctx, Options{NoMDNS: true}); err == nil {
		t.Error("a lab starts under a context that has ended")
	}
}
