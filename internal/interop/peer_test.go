package interop

import (
	"fmt"
	"net"
	"os"
	"path/filepath"
	"printround/internal/needtest"
	"testing"
)

// startResponder starts a message bus and a multicast DNS responder of their
// own on the loopback interface, and returns the environment under which
// programs find them.
func startResponder(t *testing.T) []string {
	t.Helper()
	dbus, avahi := needtest.Program(t, "dbus-daemon"), needtest.Program(t, "avahi-daemon")
	if os.Geteuid() != 0 {
		needtest.Missing(t, "avahi-daemon starts for root only")
	}
	dir := openDir(t)
	bus := filepath.Join(dir, "bus")
	busConf := filepath.Join(dir, "bus.conf")
	writeFile(t, busConf, fmt.Sprintf(`<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>system</type>
  <listen>unix:path=%s</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow user="*"/>
    <allow own="*"/>
    <allow send_type="method_call"/>
    <allow send_destination="*"/>
    <allow receive_sender="*"/>
  </policy>
</busconfig>
`, bus))
	b := startServer(t, nil, dbus, "--nofork", "--config-file="+busConf)
	b.await(t, func() bool { _, err := os.Stat(bus); return err == nil })

	avahiConf := filepath.Join(dir, "avahi.conf")
	writeFile(t, avahiConf, `[server]
host-name=lab-peer
use-ipv4=yes
use-ipv6=no
allow-interfaces=lo
enable-dbus=yes
[publish]
publish-hinfo=no
publish-workstation=no
`)
	env := []string{"DBUS_SYSTEM_BUS_ADDRESS=unix:path=" + bus}
	a := startServer(t, env, avahi, "-f", avahiConf, "--no-drop-root", "--no-chroot", "--no-rlimits")
	a.await(t, a.printed("Server startup complete"))
	return env
}

func writeFile(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// peer is a running sample IPP printer.
type peer struct {
	port uint16
	name string // DNS-SD instance
	uri  string
	env  []string // under which programs find its announcement
}

// startPrinter starts the sample IPP printer and announces it. command, a
// shell script, runs for each job: what it prints as STATE: and ATTR: lines
// becomes state of the printer.
func startPrinter(t *testing.T, command string, options ...string) peer {
	t.Helper()
	printer := needtest.Program(t, "ippeveprinter")
	env := startResponder(t)
	dir := t.TempDir()
	script := filepath.Join(dir, "command")
	if err := os.WriteFile(script, []byte("#!/bin/sh\n"+command+"\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, d := range []string{"spool", "keys"} {
		if err := os.Mkdir(filepath.Join(dir, d), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	p := peer{port: freeTCP(t), name: "Sample printer of the lab", env: env}
	p.uri = "ipp://" + net.JoinHostPort("localhost", portText(p.port)) + "/ipp/print"
	args := append([]string{"-p", portText(p.port), "-n", "localhost", "-d", filepath.Join(dir, "spool"),
		"-K", filepath.Join(dir, "keys"), "-c", script, "-vv"}, options...)
	s := startServer(t, env, printer, append(args, p.name)...)
	s.await(t, func() bool {
		c, err := net.Dial("tcp4", net.JoinHostPort("127.0.0.1", portText(p.port)))
		if err != nil {
			return false
		}
		_ = c.Close()
		return true
	})
	return p
}
