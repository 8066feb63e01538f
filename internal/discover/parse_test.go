package discover

import (
	"context"
	"errors"
	"io/fs"
	"net"
	"net/netip"
	"slices"
	"strings"
	"testing"
)

// names is a resolver for tests.
func names(t map[string][]string) func(context.Context, string) ([]netip.Addr, error) {
	return func(_ context.Context, host string) ([]netip.Addr, error) {
		var out []netip.Addr
		for _, a := range t[host] {
			out = append(out, netip.MustParseAddr(a))
		}
		if out == nil {
			return nil, &net.DNSError{Err: "no such host", Name: host, IsNotFound: true}
		}
		return out, nil
	}
}

func files(t map[string]string) func(string) ([]byte, error) {
	return func(name string) ([]byte, error) {
		s, ok := t[name]
		if !ok {
			return nil, &fs.PathError{Op: "open", Path: name, Err: errors.New("no such file or directory")}
		}
		return []byte(s), nil
	}
}

func testOptions() ParseOptions {
	return ParseOptions{
		Resolve: names(map[string][]string{
			"front.example":  {"2001:db8::9", "10.4.0.9"},
			"six.example":    {"fd00::77"},
			"public.example": {"203.0.113.5"},
			"same.example":   {"10.1.2.3"},
		}),
		ReadFile: files(map[string]string{
			"good.txt":   "\ufeff# the north floor\r\n10.1.2.3\r\n\r\n10.1.2.8-10.1.2.9 # two\r\nfront.example\r\n",
			"empty.txt":  "\n# nothing\n",
			"bad.txt":    "10.1.2.3\n10.1.2\n",
			"nested.txt": "@good.txt\n",
		}),
	}
}

func addresses(s *Scope) []string {
	var out []string
	for i := range s.Len() {
		out = append(out, s.At(i).Addr.String())
	}
	return out
}

func TestParseTargets(t *testing.T) {
	for _, c := range []struct {
		name string
		args string
		skip string
		want string
	}{
		{"address", "10.1.2.3", "", "10.1.2.3"},
		{"address twice", "10.1.2.3 10.1.2.3 ::ffff:10.1.2.3", "", "10.1.2.3"},
		{"range", "10.1.2.254-10.1.3.1", "", "10.1.2.254 10.1.2.255 10.1.3.0 10.1.3.1"},
		{"range of one", "10.1.2.7-10.1.2.7", "", "10.1.2.7"},
		{"subnet without network and broadcast address", "10.1.2.0/30", "", "10.1.2.1 10.1.2.2"},
		{"a /31 has neither (RFC 3021 section 2.1)", "10.1.2.0/31", "", "10.1.2.0 10.1.2.1"},
		{"a /32", "10.1.2.0/32", "", "10.1.2.0"},
		{"overlap belongs to the first", "10.1.2.2 10.1.2.0/30 10.1.2.1-10.1.2.5", "", "10.1.2.2 10.1.2.1 10.1.2.3 10.1.2.4 10.1.2.5"},
		{"skip in the middle", "10.1.2.0/29", "10.1.2.3-10.1.2.5", "10.1.2.1 10.1.2.2 10.1.2.6"},
		{"skip a subnet whole", "10.1.2.3-10.1.2.8", "10.1.2.4/30", "10.1.2.3 10.1.2.8"},
		{"skip a host", "10.1.2.3 10.1.2.4", "same.example", "10.1.2.4"},
		{"IPv6", "fd00::1 [fd00::2] ::1 fd00::1", "", "fd00::1 fd00::2 ::1"},
		{"IPv6 with a zone (RFC 6874 section 2)", "fe80::1%eth0 fe80::1%eth1", "", "fe80::1%eth0 fe80::1%eth1"},
		{"IPv6 /128", "fd00::1/128", "", "fd00::1"},
		{"skip an IPv6 prefix", "fd00::1 fd00:1::1", "fd00::/32", "fd00:1::1"},
		{"host prefers IPv4", "front.example", "", "10.4.0.9"},
		{"host with IPv6 only", "six.example.", "", "fd00::77"},
		{"file", "@good.txt", "", "10.1.2.3 10.1.2.8 10.1.2.9 10.4.0.9"},
		{"link-local, loopback, shared space", "169.254.1.1 127.0.0.9 100.64.0.1 172.31.0.1 192.168.0.1", "", "169.254.1.1 127.0.0.9 100.64.0.1 172.31.0.1 192.168.0.1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := testOptions()
			o.Skip = strings.Fields(c.skip)
			s, problems, err := Parse(context.Background(), strings.Fields(c.args), o)
			if err != nil || len(problems) > 0 {
				t.Fatalf("error %v, problems %v", err, problems)
			}
			if got := strings.Join(addresses(s), " "); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
			for i := range s.Len() {
				at := s.At(i)
				if k, ok := s.Find(at.Addr); !ok || k != i {
					t.Errorf("Find(%s) = %d, %v; want %d", at.Addr, k, ok, i)
				}
				if at.SNMPPort != 161 || at.IPPPort != 631 {
					t.Errorf("ports of %s: %d, %d", at.Addr, at.SNMPPort, at.IPPPort)
				}
			}
		})
	}
}

// Every refusal says what, and what to do instead.
func TestParseErrors(t *testing.T) {
	for _, c := range []struct{ name, arg, want string }{
		{"unparsable", "10.1.2", "no address, range, subnet or host name"},
		{"octet too large", "10.1.2.300", "no address, range"},
		{"leading zero", "010.1.2.3", "no address, range"},
		{"empty", "", "a target is empty"},
		{"space inside", "a b", "no address, range"},
		{"control characters are quoted", "x\x1b[2J", `"x\x1b[2J"`},
		{"long", strings.Repeat("x.", 500), "..."},
		{"reversed range", "10.1.2.40-10.1.2.10", "reversed; write 10.1.2.10-10.1.2.40"},
		{"short range", "10.1.2.10-40", "write both ends in full"},
		{"half a range", "10.1.2.10-", "write both ends in full"},
		{"IPv6 range", "fd00::1-fd00::5", "name IPv6 addresses one by one"},
		{"host bits", "10.1.2.3/24", "write 10.1.2.0/24 for the subnet, or 10.1.2.3"},
		{"bad prefix length", "10.1.2.0/33", "no subnet"},
		{"mask instead of length", "10.1.2.0/255.255.255.0", "no subnet"},
		{"IPv6 subnet", "fd00::/64", "IPv6 subnets are not swept"},
		{"mapped subnet", "::ffff:10.1.2.0/120", "write an IPv4 subnet in IPv4 form"},
		{"URL", "http://10.1.2.3/", "a URL is no target"},
		{"port", "10.1.2.3:161", "--snmp-port"},
		{"IPv6 with port", "[fd00::1]:631", "--ipp-port"},
		{"public", "203.0.113.1", "--allow-public"},
		{"public IPv6", "2001:db8::1", "--allow-public"},
		{"partly public", "172.31.255.0-172.32.0.1", "--allow-public"},
		{"wider than the private block", "10.0.0.0/7", "--allow-public"},
		{"this host", "0.0.0.0", "no address to ask"},
		{"multicast", "224.0.0.251", "multicast"},
		{"IPv6 multicast", "ff02::fb", "multicast"},
		{"broadcast", "255.255.255.255", "reserved or broadcast"},
		{"link-local without a zone", "fe80::1", "write fe80::1%INTERFACE"},
		{"too many", "10.0.0.0/15", "131071 addresses, more than 65536"},
		{"file without a name", "@", "no file name"},
		{"bad line in a file", "@bad.txt", "@bad.txt line 2:"},
		{"file in a file", "@nested.txt", "cannot name another one"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, _, err := Parse(context.Background(), []string{"10.9.9.9", c.arg}, testOptions())
			if err == nil {
				t.Fatalf("no error, %d addresses", s.Len())
			}
			if !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
				t.Errorf("got %q, want it to contain %q in one line", err, c.want)
			}
		})
	}
}

// What is wrong with the surroundings does not stop the other targets.
func TestParseProblems(t *testing.T) {
	for _, c := range []struct{ name, arg, stage, want string }{
		{"unknown host", "nowhere.example", "name", "nowhere.example: host name not found: no such host"},
		{"unreadable file", "@gone.txt", "file", "@gone.txt: no such file or directory"},
		{"empty file", "@empty.txt", "file", "no targets in the file"},
		{"public host", "public.example", "target", "--allow-public"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, problems, err := Parse(context.Background(), []string{c.arg, "10.1.2.3"}, testOptions())
			if err != nil || s.Len() != 1 {
				t.Fatalf("error %v", err)
			}
			if len(problems) != 1 || problems[0].Stage != c.stage || !strings.Contains(problems[0].Message, c.want) {
				t.Errorf("got %+v, want %s: %s", problems, c.stage, c.want)
			}
		})
	}
}

// A skip list always holds: one that cannot be understood stops everything.
func TestParseSkipErrors(t *testing.T) {
	for _, skip := range []string{"nowhere.example", "@gone.txt", "10.1.2.3/24", "@empty.txt", "10.1.2"} {
		o := testOptions()
		o.Skip = []string{skip}
		if s, _, err := Parse(context.Background(), []string{"10.1.2.3"}, o); err == nil || !strings.HasPrefix(err.Error(), "skip list: ") {
			t.Errorf("skip %s: error %v, scope %v", skip, err, s)
		}
	}
	o := testOptions()
	o.Skip = []string{"10.0.0.0/8"}
	if _, _, err := Parse(context.Background(), []string{"10.1.2.3"}, o); err == nil || !strings.Contains(err.Error(), "nothing is left") {
		t.Errorf("everything skipped: error %v", err)
	}
}

func TestParseLimits(t *testing.T) {
	o := testOptions()
	s, _, err := Parse(context.Background(), []string{"10.1.0.0/16"}, o)
	if err != nil || s.Len() != 65534 || len(s.spans) != 1 {
		t.Fatalf("a /16: %v, %v", s.Len(), err)
	}
	o.Large = true
	s, _, err = Parse(context.Background(), []string{"10.0.0.0/8"}, o)
	if err != nil || s.Len() != 1<<24-2 {
		t.Fatalf("a /8 when large: %v", err)
	}
	o.AllowPublic = true
	if _, _, err = Parse(context.Background(), []string{"16.0.0.0/5"}, o); err == nil || !strings.Contains(err.Error(), "survey them in parts") {
		t.Errorf("more than an index holds: %v", err)
	}
	if s, _, err = Parse(context.Background(), []string{"203.0.113.0/24"}, o); err != nil || s.Len() != 254 {
		t.Errorf("public when allowed: %v", err)
	}
}

func TestScopeOrigin(t *testing.T) {
	s, _, err := Parse(context.Background(), []string{"10.1.2.5", "10.1.2.0/24", "same.example"}, testOptions())
	if err != nil {
		t.Fatal(err)
	}
	for addr, want := range map[string]string{"10.1.2.5": "10.1.2.5", "10.1.2.3": "10.1.2.0/24", "10.1.2.254": "10.1.2.0/24"} {
		if got, ok := s.Origin(netip.MustParseAddr(addr)); !ok || got != want {
			t.Errorf("origin of %s: %q, want %q", addr, got, want)
		}
	}
	for _, out := range []string{"10.1.2.0", "10.1.2.255", "10.1.3.1", "fd00::1"} {
		if s.Contains(netip.MustParseAddr(out)) {
			t.Errorf("%s is in scope", out)
		}
	}
	if !s.Contains(netip.MustParseAddr("::ffff:10.1.2.9")) {
		t.Error("an IPv4-mapped address is not recognised")
	}
	if got := s.Targets(); !slices.Equal(got, []string{"10.1.2.5", "10.1.2.0/24", "same.example"}) {
		t.Errorf("targets %v", got)
	}
}

func TestNewScope(t *testing.T) {
	a := netip.MustParseAddr("127.0.0.1")
	s := NewScope([]Target{{a, 2001, 8001}, {a, 2002, 8002}, {a, 2001, 9}, {}, {netip.MustParseAddr("127.0.0.2"), 2001, 8001}})
	if s.Len() != 3 {
		t.Fatalf("%d targets, want 3", s.Len())
	}
	if s.At(1) != (Target{a, 2002, 8002}) || s.At(2).Addr.String() != "127.0.0.2" {
		t.Errorf("targets %v %v", s.At(1), s.At(2))
	}
	if i, ok := s.Find(a); !ok || i != 0 {
		t.Errorf("Find = %d, %v", i, ok)
	}
}

// The cutting of intervals is checked against marking each address.
func TestDisjointAgainstMarking(t *testing.T) {
	rnd := uint32(1)
	next := func(n uint32) uint32 { rnd = rnd*1664525 + 1013904223; return rnd >> 8 % 32 % n }
	for range 500 {
		var in []interval
		want := map[uint32]int{}
		for owner := range int(next(6)) + 1 {
			lo := next(40)
			v := interval{lo, lo + next(12), owner - 1} // owner -1 is the skip list
			in = append(in, v)
			for a := v.lo; a <= v.hi; a++ {
				if o, ok := want[a]; !ok || v.owner < o {
					want[a] = v.owner
				}
			}
		}
		got := map[uint32]int{}
		for _, v := range disjoint(slices.Clone(in)) {
			for a := v.lo; a <= v.hi; a++ {
				if _, ok := got[a]; ok {
					t.Fatalf("%v: %d twice", in, a)
				}
				got[a] = v.owner
			}
		}
		for a := range uint32(64) {
			w, ok := want[a]
			g, found := got[a]
			if ok && w != skipped != found || found && g != w {
				t.Fatalf("%v: address %d has owner %d (%v), want %d", in, a, g, found, w)
			}
		}
	}
	top := []interval{{0xfffffffe, 0xffffffff, 0}, {0xffffffff, 0xffffffff, 1}}
	if got := disjoint(top); len(got) != 1 || got[0] != (interval{0xfffffffe, 0xffffffff, 0}) {
		t.Errorf("end of the address space: %v", got)
	}
}

func TestLocalPrefixes(t *testing.T) {
	mac := net.HardwareAddr{2, 0, 0, 0, 0, 1}
	up := net.FlagUp | net.FlagBroadcast | net.FlagMulticast
	at := func(s ...string) (out []netip.Prefix) {
		for _, x := range s {
			out = append(out, netip.MustParsePrefix(x))
		}
		return
	}
	ifi := func(name string, flags net.Flags, hw net.HardwareAddr, physical bool, p ...string) attached {
		return attached{net.Interface{Name: name, Flags: flags, HardwareAddr: hw}, at(p...), physical}
	}
	got := localPrefixes([]attached{
		ifi("lo", net.FlagUp|net.FlagLoopback, nil, false, "127.0.0.1/8"),
		ifi("eth0", up, mac, true, "10.1.2.3/24", "10.1.2.4/24", "fd00::1/64", "203.0.113.4/24"),
		ifi("eth1", up, mac, true, "172.16.200.1/16", "169.254.1.1/16"),
		ifi("eth2", net.FlagBroadcast, mac, true, "10.7.0.1/24"),
		ifi("eth3", up, mac, true, "10.8.0.1/32", "10.8.0.4/31"),
		ifi("eth4", up, mac, false, "10.9.0.1/24"),
		ifi("tun0", up|net.FlagPointToPoint, nil, true, "10.10.0.1/24"),
		ifi("docker0", up, mac, true, "172.17.0.1/16"),
		ifi("vEthernet (Switch)", up, mac, true, "172.20.0.1/20"),
		ifi("bond0", up, mac, true, "192.168.7.7/22"),
	})
	want := at("10.1.2.0/24", "172.16.192.0/20", "192.168.4.0/22")
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	if _, err := LocalPrefixes(); err != nil {
		t.Error(err)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"10.1.2.3", "10.1.2.0/24", "10.1.2.10-10.1.2.40", "front.example", "@good.txt", "fd00::1%x", "[::1]:1", "0-0", "-", "/", "::/0"} {
		f.Add(s, "10.1.2.0/25")
	}
	f.Fuzz(func(t *testing.T, arg, skip string) {
		o := testOptions()
		o.Skip = []string{skip}
		s, problems, err := Parse(context.Background(), []string{arg}, o)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r\x1b") {
				t.Errorf("error is not one clean line: %q", err)
			}
			return
		}
		for _, p := range problems {
			if strings.ContainsAny(p.Address+p.Message, "\n\r\x1b") {
				t.Errorf("problem is not one clean line: %q", p)
			}
		}
		if s.Len() == 0 && len(problems) == 0 {
			t.Errorf("%q: nothing, and nobody says why", arg)
		}
		for i := 0; i < s.Len(); i += 1 + s.Len()/64 {
			if k, ok := s.Find(s.At(i).Addr); !ok || k != i {
				t.Fatalf("%q: Find(At(%d)) = %d, %v", arg, i, k, ok)
			}
		}
	})
}
