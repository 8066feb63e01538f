package main

import (
	"bytes"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"printround/internal/lab"
	"printround/internal/labtest"
	"printround/internal/needtest"
)

// Secrets that lets somebody in, and some that let nobody in; all are invented.
var seeded = map[string]string{
	"right.community": "ferry-read", "right.auth": "slack-water-at-noon", "right.priv": "two-bells-and-a-buoy",
	"wrong.community": "kelp-and-barnacles", "wrong.auth": "an-anchor-of-cork", "wrong.priv": "a-sail-made-of-lead",
}

// Of many credentials a device is asked with three.
const (
	seededTargets = `
[[site]]
name = "Harbour office"
targets = ["127.20.1.11", "127.20.1.20", "127.20.2.11", "127.20.1.250"]
`
	seededWrong = `
  [[site.credential]]
  label = "wrong digest"
  version = "3"
  user = "reader"
  auth_protocol = "SHA256"
  auth_file = "wrong.auth"
  priv_protocol = "AES"
  priv_file = "right.priv"

  [[site.credential]]
  label = "wrong key"
  version = "3"
  user = "reader"
  auth_protocol = "SHA256"
  auth_file = "right.auth"
  priv_protocol = "AES"
  priv_file = "wrong.priv"

  [[site.credential]]
  label = "refused"
  version = "2c"
  community_file = "wrong.community"
`
	seededRight = `
  [[site.credential]]
  label = "from the environment"
  version = "2c"
  community_env = "PRINTROUND_TEST_COMMUNITY"

  [[site.credential]]
  label = "secure"
  version = "3"
  user = "reader"
  auth_protocol = "SHA256"
  auth_file = "right.auth"
  priv_protocol = "AES"
  priv_file = "right.priv"

  [[site.credential]]
  label = "office"
  version = "2c"
  community_file = "right.community"
`
)

// Whatever is asked with which verbosity, in which format, of devices that
// behave and that do not: no secret is in an output, a log, a file that is
// written, a temporary file, or what a killed process leaves.
func TestNoSecretIsEverShown(t *testing.T) {
	l := labtest.Start(t, lab.Options{NoMDNS: true, Faults: map[string]string{"accounts": "snmp-wrong-community", "copy-1": "text-escapes"}})
	snmp, ipp := portsOf(t, l)
	files, written := t.TempDir(), t.TempDir()
	for name, secret := range seeded {
		if err := os.WriteFile(filepath.Join(files, name), []byte(secret+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	wrong, right := filepath.Join(files, "wrong.toml"), filepath.Join(files, "right.toml")
	for site, text := range map[string]string{wrong: seededTargets + seededWrong, right: seededTargets + seededRight} {
		if err := os.WriteFile(site, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	ports := []string{"--snmp-port", strconv.Itoa(int(snmp)), "--ipp-port", strconv.Itoa(int(ipp)),
		"--no-mdns", "--timeout", "300ms", "--retries", "0", "--verbose"}
	runs := [][]string{
		{"check", "127.20.2.11", "--site", wrong}, {"check", "127.20.2.11", "--site", right, "--format", "json"},
		{"check", "127.20.1.11", "--site", right}, {"check", "127.20.1.250", "--site", wrong, "--explain"},
		{"nightly", "--site", right, "--out", filepath.Join(written, "nights")},
	}
	for _, f := range []string{"table", "csv", "json", "markdown", "html"} {
		runs = append(runs, []string{"sweep", "--site", right, "--format", f})
	}
	runs = append(runs, []string{"sweep", "--site", wrong, "--format", "json", "--out", filepath.Join(written, "survey.json")})
	all := make([]*bytes.Buffer, len(runs))
	var running sync.WaitGroup
	for i, args := range runs {
		c, said := secretChild(t, written, append(args, ports...))
		all[i] = said
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		running.Go(func() { _ = c.Wait() }) // that something is wrong with a device is a status too
	}
	running.Wait()
	let := 0 // how often it is said that a credential was let in
	for i, args := range runs {
		noSecret(t, strings.Join(args, " "), all[i].Bytes())
		let += bytes.Count(all[i].Bytes(), []byte(`"secure"`))
	}
	if let == 0 {
		t.Error("nothing was said about the credential that lets in")
	}
	t.Run("killed with its stacks shown", func(t *testing.T) {
		if runtime.GOOS == "windows" {
			needtest.Missing(t, "SIGQUIT, at which a program shows its stacks")
		}
		noSecret(t, "the stacks", stacks(t, written, right))
	})
	looked := 0
	err := filepath.WalkDir(written, func(path string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		b, err := os.ReadFile(path)
		noSecret(t, path, b)
		looked++
		return err
	})
	if err != nil || looked < 3 {
		t.Errorf("%d files were looked at: %v", looked, err)
	}
}

// secretChild is the program with all that it writes below one folder.
func secretChild(t *testing.T, written string, args []string) (*exec.Cmd, *bytes.Buffer) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	temp := filepath.Join(written, "tmp")
	if err := os.MkdirAll(temp, 0o700); err != nil {
		t.Fatal(err)
	}
	return &exec.Cmd{Path: self, Args: append([]string{"printround"}, args...), Stdout: &said, Stderr: &said,
		Env: append(os.Environ(), "NO_COLOR=1", "HOME="+written, "XDG_CONFIG_HOME="+written, "XDG_CACHE_HOME="+written, "XDG_DATA_HOME="+written,
			"TMPDIR="+temp, "GOTRACEBACK=all", "PRINTROUND_TEST_COMMUNITY=brackish-water")}, &said
}

// stacks ends the program in the middle of reading a device that never answers,
// in the way that makes it show its goroutines.
func stacks(t *testing.T, written, site string) []byte {
	mute, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer mute.Close()
	port := strconv.Itoa(mute.LocalAddr().(*net.UDPAddr).Port)
	c, said := secretChild(t, written, []string{"check", "127.0.0.1", "--site", site, "--snmp-port", port, "--ipp-port", "1", "--no-mdns",
		"--timeout", "30s", "--retries", "0", "--verbose", "--community-file", filepath.Join(filepath.Dir(site), "right.community")})
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	_ = mute.SetReadDeadline(time.Now().Add(30 * time.Second))
	if _, _, err := mute.ReadFrom(make([]byte, 2048)); err != nil { // it is asking now
		_ = c.Process.Kill()
		t.Errorf("it asked nothing: %v", err)
	}
	_ = c.Process.Signal(syscall.SIGQUIT)
	_ = c.Wait()
	if !strings.Contains(said.String(), "goroutine ") {
		t.Errorf("no stacks: %s", said)
	}
	return said.Bytes()
}

// noSecret looks for each secret as it is and as it is often coded.
func noSecret(t *testing.T, where string, b []byte) {
	t.Helper()
	secrets := []string{"brackish-water"}
	for _, s := range seeded {
		secrets = append(secrets, s)
	}
	for _, s := range secrets {
		for _, form := range []string{s, hex.EncodeToString([]byte(s)), base64.StdEncoding.EncodeToString([]byte(s))[:8], fmt.Sprint([]byte(s))} {
			if bytes.Contains(b, []byte(form)) {
				t.Errorf("%s shows the secret %q", where, s)
			}
		}
	}
}
