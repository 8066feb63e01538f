package main

import (
	"encoding/binary"
	"io"
	"net"
	"net/http"
	"net/netip"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"printround/internal/lab/agent"
)

// cmdServe starts a server on 127.0.0.1 for the rest of the script and puts
// its port into a variable: serve KIND VARIABLE [FILE].
func cmdServe(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: serve KIND VARIABLE [FILE]")
	}
	var port int
	switch args[0] {
	case "closed":
		port = closedPort(ts)
	case "udp-garbage":
		port = serveUDP(ts, []byte("\x30\x82\xff\xffnot a message\x1b[2J"))
	case "udp-silent":
		port = serveUDP(ts, nil)
	case "tcp-garbage":
		port = serveTCPGarbage(ts)
	case "http":
		port = serveHTTP(ts, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/html")
			_, _ = io.WriteString(w, "<html><body>Intranet</body></html>")
		})
	case "ipp-busy":
		port = serveHTTP(ts, ippBusy)
	case "snmp":
		port = serveSNMP(ts, args[2])
	default:
		ts.Fatalf("unknown kind of server %q", args[0])
	}
	ts.Setenv(args[1], strconv.Itoa(port))
}

// closedPort is a port that was free a moment ago, for UDP and TCP.
func closedPort(ts *testscript.TestScript) int {
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	ts.Check(err)
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// asked maps the port of a UDP server to a channel that is closed at its
// first datagram.
var asked sync.Map

// serveUDP answers every datagram with the same bytes, or not at all.
func serveUDP(ts *testscript.TestScript, answer []byte) int {
	c, err := net.ListenUDP("udp4", net.UDPAddrFromAddrPort(netip.AddrPortFrom(loopback[0], 0)))
	ts.Check(err)
	ts.Defer(func() { c.Close() })
	port := c.LocalAddr().(*net.UDPAddr).Port
	first := make(chan struct{})
	asked.Store(strconv.Itoa(port), first)
	go func() {
		b := make([]byte, 2048)
		for n := 0; ; n++ {
			_, from, err := c.ReadFromUDPAddrPort(b)
			if err != nil {
				return
			}
			if n == 0 {
				close(first)
			}
			if answer != nil {
				_, _ = c.WriteToUDPAddrPort(answer, from)
			}
		}
	}()
	return port
}

// cmdAsked waits until a UDP server has been asked: asked PORT.
func cmdAsked(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: asked PORT")
	}
	first, ok := asked.Load(args[0])
	if !ok {
		ts.Fatalf("no UDP server at port %s", args[0])
	}
	select {
	case <-first.(chan struct{}):
	case <-time.After(time.Minute):
		ts.Fatalf("nothing came to port %s in a minute", args[0])
	}
}

func serveTCPGarbage(ts *testscript.TestScript) int {
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	ts.Check(err)
	ts.Defer(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				_ = c.SetDeadline(time.Now().Add(5 * time.Second))
				_, _ = io.WriteString(c, "220 \x00\x1b[31m welcome to something else\r\n")
				_, _ = io.Copy(io.Discard, io.LimitReader(c, 64<<10))
			}()
		}
	}()
	return l.Addr().(*net.TCPAddr).Port
}

func serveHTTP(ts *testscript.TestScript, h http.HandlerFunc) int {
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	ts.Check(err)
	s := &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second}
	ts.Defer(func() { s.Close() })
	go func() { _ = s.Serve(l) }()
	return l.Addr().(*net.TCPAddr).Port
}

// ippBusy answers every request with server-error-busy, 0x0507 (RFC 8011
// appendix B.1.5.8), and the two attributes that every response has (RFC 8011
// section 4.1.4.2), encoded by hand after RFC 8010 section 3.
func ippBusy(w http.ResponseWriter, r *http.Request) {
	request := make([]byte, 8)
	if _, err := io.ReadFull(r.Body, request); err != nil {
		http.Error(w, "no IPP", http.StatusBadRequest)
		return
	}
	b := []byte{2, 0, 0x05, 0x07}
	b = append(b, request[4:8]...) // request-id
	b = append(b, 0x01)            // operation-attributes-tag
	add := func(tag byte, name, value string) {
		b = append(b, tag)
		b = binary.BigEndian.AppendUint16(b, uint16(len(name)))
		b = append(b, name...)
		b = binary.BigEndian.AppendUint16(b, uint16(len(value)))
		b = append(b, value...)
	}
	add(0x47, "attributes-charset", "utf-8")
	add(0x48, "attributes-natural-language", "en")
	b = append(b, 0x03) // end-of-attributes-tag
	w.Header().Set("Content-Type", "application/ipp")
	_, _ = w.Write(b)
}

// serveSNMP serves a recording to the community "public".
func serveSNMP(ts *testscript.TestScript, file string) int {
	tree, err := agent.ReadRecording(strings.NewReader(ts.ReadFile(file)))
	ts.Check(err)
	host := &agent.Host{V1: true, V2c: true, Communities: []string{"public"}, Booted: time.Now()}
	host.Serve(tree)
	s, err := agent.ListenEach([]netip.AddrPort{netip.AddrPortFrom(loopback[0], uint16(closedPort(ts)))},
		func(netip.AddrPort, time.Time) (*agent.Host, time.Duration, bool) { return host, 0, true })
	ts.Check(err)
	ts.Defer(func() { s.Close() })
	return s.Port()
}

// cmdLabReady waits for the site file of a lab that was started in the
// background, which it writes when everything answers: labready VARIABLE.
func cmdLabReady(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: labready VARIABLE")
	}
	for deadline := time.Now().Add(time.Minute); time.Now().Before(deadline); time.Sleep(10 * time.Millisecond) {
		files, err := filepath.Glob(filepath.Join(ts.MkAbs(".tmp"), "printround-lab-*", "printround.toml"))
		ts.Check(err)
		if len(files) == 1 {
			ts.Setenv(args[0], files[0])
			return
		}
	}
	ts.Fatalf("no lab was ready in a minute")
}
