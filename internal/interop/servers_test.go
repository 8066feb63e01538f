package interop

import (
	"fmt"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"printround/internal/needtest"
	"strings"
	"testing"
)

// startSimulator serves recordings with snmpsimd on a free port and returns
// host:port.
func startSimulator(t *testing.T, recordings ...string) string {
	t.Helper()
	addr := net.JoinHostPort("127.0.0.1", portText(freeUDP(t)))
	startSimulatorAt(t, addr, recordings...)
	return addr
}

// startSimulatorAt serves recordings at an address, each under the community
// that is its file name without extension.
//
// snmpsimd refuses to run as root, so it gets an account without rights, and a
// directory of its own for copies of the recordings and its index of them.
func startSimulatorAt(t *testing.T, addr string, recordings ...string) {
	t.Helper()
	snmpsimd := needtest.Program(t, "snmpsimd")
	dir := openDir(t)
	data, cache := filepath.Join(dir, "data"), filepath.Join(dir, "cache")
	for _, d := range []string{data, cache} {
		if err := os.Mkdir(d, 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(d, 0o777); err != nil {
			t.Fatal(err)
		}
	}
	for _, from := range recordings {
		text, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(data, filepath.Base(from)), text, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	args := []string{"--data-dir=" + data, "--cache-dir=" + cache, "--agent-udpv4-endpoint=" + addr, "--logging-method=stderr"}
	if os.Geteuid() == 0 {
		args = append(args, "--process-user=nobody", "--process-group=nogroup")
	}
	s := startServer(t, nil, snmpsimd, args...)
	s.await(t, s.printed("Listening at UDP/IPv4 endpoint"))
}

// recordingCommunity is the community under which startSimulator serves a file.
func recordingCommunity(path string) string {
	return strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
}

// openDir returns a directory below the system's temporary one that an account
// without rights can reach too, which t.TempDir does not promise.
func openDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "printround-interop-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	return dir
}

// Passphrases of the users that startAgent makes; invented, for loopback only.
const (
	agentUser = "reader"
	agentAuth = "authentication-of-the-lab"
	agentPriv = "privacy-of-the-lab"
)

// startAgent starts net-snmp's snmpd, an agent of its own making whose host and
// printer groups come from a recording through pass_persist, and returns
// host:port. Community public reads, and so do users who authenticate and
// encrypt: reader (SHA, AES), reader-md5-des and reader-sha256-aes.
func startAgent(t *testing.T, recording string) string {
	t.Helper()
	snmpd := needtest.Program(t, "snmpd")
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	recording, err = filepath.Abs(recording)
	if err != nil {
		t.Fatal(err)
	}
	dir := openDir(t) // -c splits at commas, which the name of a test may hold
	conf := filepath.Join(dir, "agent.conf")
	text := fmt.Sprintf(`rocommunity public 127.0.0.1
createUser reader SHA "%[1]s" AES "%[2]s"
createUser reader-md5-des MD5 "%[1]s" DES "%[2]s"
createUser reader-sha256-aes SHA-256 "%[1]s" AES "%[2]s"
createUser reader-auth SHA "%[1]s"
rouser reader authPriv
rouser reader-md5-des authPriv
rouser reader-sha256-aes authPriv
rouser reader-auth authNoPriv
sysLocation  Ground floor, lab
sysContact  desk@lab.example
sysName  lab-agent
pass_persist .1.3.6.1.2.1.43 %[3]s
pass_persist .1.3.6.1.2.1.25 %[3]s
`, agentAuth, agentPriv, self)
	if err := os.WriteFile(conf, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	addr := net.JoinHostPort("127.0.0.1", portText(freeUDP(t)))
	env := []string{
		passRecordingEnv + "=" + recording,
		"SNMP_PERSISTENT_DIR=" + filepath.Join(dir, "state"),
		"SNMPCONFPATH=" + dir, "MIBS=",
	}
	// Its own host resources group would stand where the recording's goes.
	s := startServer(t, env, snmpd, "-f", "-Lo", "-C", "-c", conf, "-p", filepath.Join(dir, "pid"),
		"-I", "-hr_device,hr_disk,hr_filesys,hr_network,hr_other,hr_partition,hr_print,hr_proc,hr_storage,hr_system,hr_swrun,hr_swinst,hrh_filesys,hrh_storage,host,hrSWRunTable,hrSWRunPerfTable,hrSWInstalledTable,snmpNotifyTable",
		"udp:"+addr)
	s.await(t, s.printed("NET-SNMP version"))
	return addr
}

// addrPort reads host:port of a started server.
func addrPort(t *testing.T, addr string) netip.AddrPort {
	t.Helper()
	ap, err := netip.ParseAddrPort(addr)
	if err != nil {
		t.Fatal(err)
	}
	return ap
}
