package discover

import (
	"encoding/binary"
	"fmt"
	"net/netip"
	"os"
	"os/exec"
	"printround/internal/needtest"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestLinkRoutes(t *testing.T) {
	// Addresses stand in the order of the machine's own octets.
	word := func(a string) string {
		b := netip.MustParseAddr(a).As4()
		return fmt.Sprintf("%08X", binary.NativeEndian.Uint32(b[:]))
	}
	line := func(ifi, to, gateway, flags, mask string) string {
		return strings.Join([]string{ifi, word(to), word(gateway), flags, "0", "0", "100", word(mask), "0", "0", "0"}, "\t") + "\n"
	}
	table := "Iface\tDestination\tGateway\tFlags\tRefCnt\tUse\tMetric\tMask\tMTU\tWindow\tIRTT\n" +
		line("eth0", "0.0.0.0", "10.1.2.1", "0003", "0.0.0.0") +
		line("eth0", "10.1.2.0", "0.0.0.0", "0001", "255.255.255.0") +
		line("eth0", "10.9.0.0", "0.0.0.0", "0001", "255.255.0.0") +
		line("tun0", "10.10.0.0", "0.0.0.0", "0001", "255.255.0.0") +
		line("eth1", "10.11.0.0", "0.0.0.0", "0000", "255.255.0.0") + "broken\n"
	want := []netip.Prefix{netip.MustParsePrefix("10.1.2.0/24"), netip.MustParsePrefix("10.9.0.0/16")}
	if got := parseLinkRoutes([]byte(table)); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// An attached /20 with 42 hosts and nobody at the other addresses: the case in
// which a sweep that is faster than the neighbour table loses most of them. It
// makes two network namespaces, and waits for a quarter of a minute.
func TestOnLinkNamespace(t *testing.T) {
	if role := os.Getenv("PRINTROUND_NETNS_ROLE"); role != "" {
		onLinkRole(t, role)
		return
	}
	t.Parallel()
	if os.Geteuid() != 0 {
		needtest.Missing(t, "the superuser, who may make network namespaces")
	}
	tool := needtest.Program(t, "ip")
	ip := func(args ...string) {
		t.Helper()
		if out, err := exec.Command(tool, args...).CombinedOutput(); err != nil {
			t.Fatalf("ip %s: %v: %s", strings.Join(args, " "), err, out)
		}
	}
	near, far := fmt.Sprintf("pr-near-%d", os.Getpid()), fmt.Sprintf("pr-far-%d", os.Getpid())
	for _, ns := range []string{near, far} {
		ip("netns", "add", ns)
		t.Cleanup(func() { _ = exec.Command(tool, "netns", "del", ns).Run() })
	}
	ip("-n", near, "link", "add", "v0", "type", "veth", "peer", "name", "v1", "netns", far)
	ip("-n", near, "addr", "add", "10.77.0.1/20", "dev", "v0")
	ip("-n", near, "link", "set", "lo", "up") // errors about neighbours come over it
	ip("-n", near, "link", "set", "v0", "up")
	ip("-n", far, "link", "set", "v1", "up")
	for i := range 42 {
		ip("-n", far, "addr", "add", fmt.Sprintf("10.77.%d.%d/20", i%16, 10+i), "dev", "v1")
	}
	role := func(ns, name string) *exec.Cmd {
		c := exec.Command(tool, "netns", "exec", ns, os.Args[0], "-test.run=^TestOnLinkNamespace$", "-test.v")
		c.Env = append(os.Environ(), "PRINTROUND_NETNS_ROLE="+name)
		c.Stderr = os.Stderr
		return c
	}
	server := role(far, "serve")
	stop, err := server.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { stop.Close(); _ = server.Wait() }()
	out, err := role(near, "sweep").Output()
	t.Logf("%s", out)
	if err != nil {
		t.Error(err)
	}
}

// onLinkRole is what runs inside a namespace.
func onLinkRole(t *testing.T, role string) {
	const port = 16161
	if role == "serve" {
		a := newAgent(t, laser)
		startResponderAt(t, port, func(_ netip.Addr, q []byte) []byte { return a.respond(q) })
		_, _ = os.Stdin.Read(make([]byte, 1)) // until the test closes it
		return
	}
	start := time.Now()
	_, stats, err := discoverAll(t, t.Context(), Config{
		Scope: loopScope(t, "10.77.0.0/20", port, 1), Credentials: public(), NoMDNS: true, NoIPP: true,
		Log: func(s string) {
			if strings.Contains(s, "on-link") {
				t.Log(s)
			}
		},
	})
	if err != nil || stats.Printers != 42 {
		t.Errorf("%d of 42 printers, error %v", stats.Printers, err)
	}
	t.Logf("took %v: %d packets, %d requeued, %d unreachable, %d problems", time.Since(start).Round(10*time.Millisecond),
		stats.PacketsSent, stats.Requeued, stats.Unreachable, len(stats.Problems))
}
