package interop

import (
	"bytes"
	"context"
	"flag"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"printround/internal/alonetest"
)

// TestMain lets the test binary also be the helper program that snmpd starts
// to ask for the values of a recording.
func TestMain(m *testing.M) {
	if recording := os.Getenv(passRecordingEnv); recording != "" {
		os.Exit(servePass(recording, os.Stdin, os.Stdout))
	}
	// Most tests wait for the network more than they work.
	if f := flag.Lookup("test.parallel"); f != nil {
		_ = f.Value.Set("5")
	}
	status := alonetest.Main(m).Run()
	if builtIn != "" {
		_ = os.RemoveAll(builtIn)
	}
	os.Exit(status)
}

// files returns the files of a shared folder that match a pattern; none at all
// is an error, so that a renamed folder cannot turn a check into nothing.
func files(t *testing.T, dir, pattern string) []string {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dir, pattern))
	if err != nil {
		t.Fatal(err)
	}
	if len(found) == 0 {
		t.Fatalf("no %s in %s", pattern, dir)
	}
	return found
}

// freeUDP and freeTCP return a port that was free a moment ago.
func freeUDP(t *testing.T) uint16 {
	t.Helper()
	c, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	return uint16(c.LocalAddr().(*net.UDPAddr).Port)
}

func freeTCP(t *testing.T) uint16 {
	t.Helper()
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return uint16(l.Addr().(*net.TCPAddr).Port)
}

func portText(port uint16) string { return strconv.Itoa(int(port)) }

// output collects what a process prints, for failures and for waiting.
type output struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.buf.Len() > 1<<20 {
		return len(p), nil
	}
	return o.buf.Write(p)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.buf.String()
}

// server is a started program.
type server struct {
	name   string
	out    output
	exited chan struct{}
}

// startServer starts a program and stops it by its process id when the test
// ends: politely first, then not.
func startServer(t *testing.T, env []string, name string, args ...string) *server {
	t.Helper()
	s := &server{name: filepath.Base(name), exited: make(chan struct{})}
	cmd := exec.Command(name, args...)
	cmd.Env = append(os.Environ(), env...)
	cmd.Stdout, cmd.Stderr = &s.out, &s.out
	cmd.WaitDelay = 2 * time.Second
	if err := cmd.Start(); err != nil {
		t.Fatalf("starting %s: %v", name, err)
	}
	go func() {
		defer close(s.exited)
		_ = cmd.Wait()
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		select {
		case <-s.exited:
		case <-time.After(5 * time.Second):
			_ = cmd.Process.Kill()
			<-s.exited
		}
		if t.Failed() {
			t.Logf("%s printed:\n%s", s.name, tail(s.out.String(), 30))
		}
	})
	return s
}

// await polls until ready says so, at most half a minute.
func (s *server) await(t *testing.T, ready func() bool) {
	t.Helper()
	deadline := time.Now().Add(30 * time.Second)
	for !ready() {
		select {
		case <-s.exited:
			t.Fatalf("%s ended before it was ready:\n%s", s.name, tail(s.out.String(), 30))
		case <-time.After(50 * time.Millisecond):
		}
		if time.Now().After(deadline) {
			t.Fatalf("%s is not ready after 30 s:\n%s", s.name, tail(s.out.String(), 30))
		}
	}
}

func (s *server) printed(text string) func() bool {
	return func() bool { return strings.Contains(s.out.String(), text) }
}

func tail(text string, lines int) string {
	all := strings.Split(strings.TrimRight(text, "\n"), "\n")
	if len(all) > lines {
		all = all[len(all)-lines:]
	}
	return strings.Join(all, "\n")
}

// run starts a program that ends by itself and returns what it printed.
func run(t *testing.T, name string, args ...string) (string, error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, name, args...)
	// No configuration and no MIB files of this machine: numbers in, numbers out.
	cmd.Env = append(os.Environ(), "SNMPCONFPATH="+t.TempDir(), "MIBS=", "LC_ALL=C.UTF-8")
	out, err := cmd.CombinedOutput()
	return string(out), err
}
